"""How fast organic matter rots: factors for temperature, moisture, air, oxygen and nitrogen.

Units: degrees C, fractions 0 to 1, moisture on wet basis, rates in 1/d. Conventions: functions
take floats or arrays and give a factor between 0 and 1 unless said otherwise. Numbers are those of
``values/kinetics.toml``. The published factors of Haug and of Stombaugh and Nokes are here to be
compared with; the simulator uses the cardinal curves, the moisture logistic and Monod oxygen.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import QuantityError
from heapwright.science.values import raw, value

__all__ = [
    "Cardinal",
    "ammonia_partition",
    "cardinal",
    "group_curve",
    "haug_free_air",
    "haug_moisture",
    "haug_oxygen",
    "haug_temperature",
    "inactivation",
    "matric_moisture",
    "moisture_logistic",
    "monod",
    "nitrogen_factor",
    "rate_from_loss",
    "stombaugh_moisture",
    "stombaugh_temperature",
]

Floats = NDArray[np.float64]
_KELVIN = 273.15


def _number(key: str) -> float:
    return value("kinetics", key).value


def _array(x: ArrayLike) -> Floats:
    return np.asarray(x, dtype=np.float64)


def _back(x: Any) -> Any:
    """A float for what came in as a float."""
    x = np.asarray(x)
    return x if x.ndim else float(x)


@dataclass(frozen=True, slots=True)
class Cardinal:
    """Lowest, best and highest temperature [degrees C] of a group of microbes.

    Raises `QuantityError` unless t_min < t_opt < t_max and t_opt lies above the middle of the
    other two; below it the curve of Rosso et al. has a pole or more than one hump.

    >>> Cardinal(2, 37, 47).t_opt
    37
    """

    t_min: float
    t_opt: float
    t_max: float

    def __post_init__(self) -> None:
        shown = f"{self.t_min:g} / {self.t_opt:g} / {self.t_max:g} C"
        if not self.t_min < self.t_opt < self.t_max:
            raise QuantityError(
                "the best temperature lies between the lowest and the highest",
                field="cardinal temperatures",
                value=shown,
            )
        if self.t_opt <= (self.t_min + self.t_max) / 2:
            raise QuantityError(
                "the best temperature must lie above the middle of lowest and highest",
                field="cardinal temperatures",
                value=shown,
                way_out="Raise the best temperature, or lower the highest",
            )


@functools.cache
def group_curve(name: str) -> Cardinal:
    """The curve of a group: mesophilic, thermophilic, thermophilic_actinomycetes, wood_fungi,
    thermophilic_fungi or lumped. Raises `QuantityError` for another name.

    >>> group_curve("wood_fungi")
    Cardinal(t_min=0.0, t_opt=30.0, t_max=42.0)
    """
    known = raw("kinetics")["curve"]
    if name not in known:
        raise QuantityError(
            "no temperature curve of that name",
            field="group",
            value=name,
            way_out="One of " + ", ".join(known),
        )
    return Cardinal(*(_number(f"curve.{name}.{end}") for end in ("t_min", "t_opt", "t_max")))


def cardinal(temp_c: ArrayLike, curve: Cardinal) -> Any:
    """Cardinal temperature model with inflection: 1 at t_opt, 0 at and outside t_min and t_max.

    Source: Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447, eq. of the abstract; exact.

    >>> round(cardinal(20.0, Cardinal(2, 57, 78)), 2)
    0.21
    """
    t = _array(temp_c)
    a, b, c = curve.t_min, curve.t_opt, curve.t_max
    top = (t - c) * (t - a) ** 2
    bottom = (b - a) * ((b - a) * (t - b) - (b - c) * (b + a - 2 * t))
    inside = (t > a) & (t < c)
    return _back(np.where(inside, top / np.where(inside, bottom, 1.0), 0.0))


def haug_temperature(temp_c: ArrayLike) -> Any:
    """Rate at a temperature over that at 20 C (above 1 when warmer): 1.066^(T-20) - 1.21^(T-60).

    Peaks near 71 C, 10-15 K too hot for wood and straw. Source: Haug 1993 (from memory).

    >>> round(haug_temperature(60.0), 1)
    11.9
    """
    t = _array(temp_c)
    return _back(_number("haug_rise") ** (t - 20) - _number("haug_fall") ** (t - 60))


def stombaugh_temperature(temp_c: ArrayLike) -> Any:
    """T/30 to 30 C, 1 to 55 C, 2.833 - T/30 above. Source: Stombaugh and Nokes 1996 (from memory).

    >>> stombaugh_temperature(15.0)
    0.5
    """
    t = _array(temp_c)
    full = _number("stombaugh_full_from")
    falling = _number("stombaugh_intercept") - t / full
    found = np.where(t > _number("stombaugh_full_to"), falling, np.minimum(t / full, 1.0))
    return _back(np.clip(found, 0.0, 1.0))


def stombaugh_moisture(moisture_wb: ArrayLike) -> Any:
    """0 below 20 %, 1 above 40 %, a line between. Source: Stombaugh and Nokes 1996 (from memory).

    >>> round(stombaugh_moisture(0.3), 2)
    0.5
    """
    dry, wet = _number("stombaugh_dry"), _number("stombaugh_wet")
    return _back(np.clip((_array(moisture_wb) - dry) / (wet - dry), 0.0, 1.0))


def haug_moisture(moisture_wb: ArrayLike) -> Any:
    """1/(1 + exp(-17.684 w + 7.0622)). Source: Haug 1993 (from memory).

    >>> round(haug_moisture(0.5), 2)
    0.86
    """
    w = _array(moisture_wb)
    shift = _number("haug_moisture_shift")
    return _back(1.0 / (1.0 + np.exp(shift - _number("haug_moisture_slope") * w)))


def haug_free_air(free_air_frac: ArrayLike) -> Any:
    """1/(1 + exp(-23.675 F + 3.4945)). Source: Haug 1993 (from memory).

    It stands in for the supply of oxygen: where oxygen is solved for, using it as well counts the
    same want twice.

    >>> round(haug_free_air(0.2), 2)
    0.78
    """
    f = _array(free_air_frac)
    return _back(1.0 / (1.0 + np.exp(_number("haug_air_shift") - _number("haug_air_slope") * f)))


def haug_oxygen(o2_frac: ArrayLike) -> Any:
    """O2/(2 + O2) with O2 in per cent by volume. Source: Haug 1993 (from memory).

    >>> haug_oxygen(0.02)
    0.5
    """
    return monod(o2_frac, half=_number("haug_oxygen_half"))


def monod(o2_frac: ArrayLike, *, half: float) -> Any:
    """y/(half + y), y not below 0. ``half`` must be above 0 or `QuantityError` is raised.

    >>> monod(0.06, half=0.03)
    0.6666666666666666
    """
    if not half > 0:
        raise QuantityError("a half-saturation is above 0", field="half", value=half)
    y = np.maximum(_array(o2_frac), 0.0)
    return _back(y / (half + y))


def moisture_logistic(
    moisture_wb: ArrayLike, *, midpoint: float | None = None, slope: float | None = None
) -> Any:
    """1/(1 + exp(-slope (w - midpoint))); 0.43 and 30 unless given. Own choice, weak.

    >>> round(moisture_logistic(0.43), 3)
    0.5
    """
    mid = _number("moisture_midpoint") if midpoint is None else midpoint
    steep = _number("moisture_slope") if slope is None else slope
    return _back(1.0 / (1.0 + np.exp(-steep * (_array(moisture_wb) - mid))))


def nitrogen_factor(cn_ratio: ArrayLike, *, limit: float | None = None) -> Any:
    """1 up to the limiting C:N of what can be reached (30 unless given), limit/(C:N) above.

    Practice; Michel, Reddy and Forney 1993 saw mixes of C:N 22 to 48 all rot.

    >>> nitrogen_factor(60.0)
    0.5
    """
    ratio = _array(cn_ratio)
    if np.any(ratio <= 0):
        raise QuantityError("a C:N is above 0", field="cn_ratio", value=cn_ratio)
    return _back(np.minimum(1.0, (_number("limiting_cn") if limit is None else limit) / ratio))


def matric_moisture(suction_kpa: ArrayLike) -> Any:
    """Moisture [wet basis] of sewage sludge with chips at a suction [kPa]: 0.6405 - 0.00142 |psi|.

    Source: Miller 1989 (author from memory), R 0.95. Colonisation fails beyond about 20 kPa.

    >>> round(matric_moisture(20.0), 2)
    0.61
    """
    return _back(
        _number("miller_intercept") - _number("miller_slope") * np.abs(_array(suction_kpa))
    )


def inactivation(temp_c: ArrayLike, *, above_c: float) -> Any:
    """Rate [1/d] at which activity dies: 0 up to ``above_c``, 2 1/d above it, and from 70 C ten
    times as fast for every 10 K. Own choice; see ``kinetics.toml``.

    >>> inactivation([40.0, 50.0, 80.0], above_c=48.0).tolist()
    [0.0, 2.0, 20.0]
    """
    t = _array(temp_c)
    beyond = np.clip(t - _number("inactivation_from"), 0.0, 50.0)
    rate = _number("death") * 10.0 ** (beyond / _number("inactivation_tenfold"))
    return _back(np.where(t > above_c, rate, 0.0))


def ammonia_partition(temp_c: ArrayLike, *, ph: float | None = None) -> Any:
    """Ammonia nitrogen in gas over ammonia and ammonium nitrogen in water, both per volume [-].

    Free share 1/(1 + 10^(pKa - pH)), pKa = 0.09018 + 2729.92/T (Emerson et al. 1975), times the
    Henry ratio 1/(H R T) (Sander's compilation); both from memory. No salt, nothing held on solids.

    >>> round(ammonia_partition(60.0) / ammonia_partition(25.0))
    25
    """
    kelvin = _array(temp_c) + _KELVIN
    acid = _number("compost_ph") if ph is None else ph
    gas = value("engine", "r_gas").value
    pka = _number("pka_intercept") + _number("pka_slope") / kelvin
    henry = _number("henry_25c") * np.exp(_number("henry_slope") * (1.0 / kelvin - 1.0 / 298.15))
    return _back(1.0 / (1.0 + 10.0 ** (pka - acid)) / (henry * gas * kelvin))


def rate_from_loss(lost_frac: ArrayLike, *, days: float) -> Any:
    """First-order rate [1/d] that loses that fraction in so many days: -ln(1 - loss)/days.

    Raises `QuantityError` unless 0 <= loss < 1 and days > 0.

    >>> round(rate_from_loss(0.61, days=43), 3)
    0.022
    """
    loss = _array(lost_frac)
    if not (days > 0 and np.all((loss >= 0) & (loss < 1))):
        raise QuantityError(
            "a loss lies within 0 and 1 and takes more than no time",
            field="lost_frac",
            value=lost_frac,
        )
    return _back(-np.log1p(-loss) / days)
