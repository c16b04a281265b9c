"""Moist air: saturation pressure, humidity ratio, enthalpy, density, wet bulb and dew point.

Units: degrees C, Pa, J per kg of dry air, kg/m3, kg of vapour per kg of dry air.
Conventions: functions take floats or numpy arrays. Air is an ideal-gas mixture (no enhancement
factor), so near sea level saturated humidity ratios stand 0.4-0.7 % below real moist air up to
50 C and 1.2 % below at 85 C; see tests/reference/test_air.py.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import QuantityError
from heapwright.science.values import raw, value
from heapwright.units import quantity

__all__ = [
    "dew_point",
    "enthalpy",
    "humidity_ratio",
    "humidity_ratio_from_wet_bulb",
    "moist_air_density",
    "relative_humidity",
    "saturation_pressure",
    "specific_volume",
    "standard_pressure",
    "vapour_pressure",
]

_COLDEST, _HOTTEST = -100.0, 200.0
_ZERO_C = 273.15
_TERMS = ("a_inv", "a0", "a1", "a2", "a3", "a4", "a_ln")


def saturation_pressure(temp_c: ArrayLike) -> Any:
    """Vapour pressure over ice (below 0.01 C) or water [Pa], -100 to 200 C.

    Hyland and Wexler 1983 as in ASHRAE Fundamentals 2017, ch. 1, eqs. 5 and 6 (coefficients from
    memory, checked against the printed table within 0.03 % from -20 to 100 C and against psychrolib
    within 0.01 % from -30 to 85 C). Raises `QuantityError` outside the range. Fitter
    than Tetens' form at 55-70 C, where that drifts.

    >>> round(float(saturation_pressure(25.0)), 1)
    3169.2
    """
    t = np.asarray(temp_c, dtype=np.float64)
    if not np.all((t >= _COLDEST) & (t <= _HOTTEST)):
        raise QuantityError(
            "saturation is known from -100 to 200 C",
            field="temp_c",
            value=temp_c,
            way_out="Check the number and its unit",
        )
    ice = t < value("air", "triple_point_c").value
    kelvin = t + _ZERO_C
    result = np.exp(np.where(ice, _series(kelvin, "ice"), _series(kelvin, "water")))
    return result if result.ndim else float(result)


def _series(kelvin: NDArray[np.float64], phase: str) -> NDArray[np.float64]:
    entry = raw("air")[f"saturation_{phase}"]
    a_inv, a0, a1, a2, a3, a4, a_ln = (float(entry[name]) for name in _TERMS)
    powers = a0 + kelvin * (a1 + kelvin * (a2 + kelvin * (a3 + kelvin * a4)))
    return np.asarray(a_inv / kelvin + powers + a_ln * np.log(kelvin), dtype=np.float64)


def vapour_pressure(temp_c: ArrayLike, relative_humidity: ArrayLike) -> Any:
    """Partial pressure of vapour [Pa] at a relative humidity [0-1]."""
    return np.asarray(relative_humidity, dtype=np.float64) * saturation_pressure(temp_c)


def humidity_ratio(vapour_pressure_pa: ArrayLike, pressure_pa: ArrayLike = 101325.0) -> Any:
    """Vapour per dry air [kg/kg]: 0.621945 p_v / (p - p_v).

    Within 0.02 % of psychrolib up to 85 C; no enhancement factor, as said at the top.

    Raises `QuantityError` unless 0 <= p_v < p (above that it boils).

    >>> round(float(humidity_ratio(saturation_pressure(25.0))), 4)
    0.0201
    """
    pv = np.asarray(vapour_pressure_pa, dtype=np.float64)
    p = np.asarray(pressure_pa, dtype=np.float64)
    if np.any(pv < 0) or np.any(pv >= p):
        raise QuantityError(
            "vapour pressure must lie between 0 and the air pressure",
            field="vapour_pressure_pa",
            value=vapour_pressure_pa,
        )
    return value("air", "mass_ratio").value * pv / (p - pv)


def relative_humidity(
    temp_c: ArrayLike, humidity_ratio: ArrayLike, *, pressure_pa: ArrayLike = 101325.0
) -> Any:
    """Relative humidity [0-1, or above 1 if oversaturated] from the humidity ratio."""
    w = np.asarray(humidity_ratio, dtype=np.float64)
    pv = np.asarray(pressure_pa) * w / (value("air", "mass_ratio").value + w)
    return pv / saturation_pressure(temp_c)


def enthalpy(temp_c: ArrayLike, humidity_ratio: ArrayLike) -> Any:
    """Enthalpy of moist air [J per kg dry air], zero for dry air and liquid water at 0 C.

    1006 t + w (2.501e6 + 1860 t), ASHRAE Fundamentals 2017 ch. 1. Within 1 % of the printed
    saturation table and 0.1 % of psychrolib up to 85 C.

    >>> round(float(enthalpy(25.0, 0.0)))
    25150
    """
    t = np.asarray(temp_c, dtype=np.float64)
    w = np.asarray(humidity_ratio, dtype=np.float64)
    vapour = value("air", "vapour_heat_0c").value + value("air", "heat_capacity_vapour").value * t
    return value("air", "heat_capacity_air").value * t + w * vapour


def specific_volume(
    temp_c: ArrayLike, humidity_ratio: ArrayLike, *, pressure_pa: ArrayLike = 101325.0
) -> Any:
    """Volume of moist air that holds 1 kg of dry air [m3/kg], ideal gas.

    Within 0.02 % of psychrolib up to 85 C.

    >>> round(float(specific_volume(25.0, 0.0)), 4)
    0.8446
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + _ZERO_C
    w = np.asarray(humidity_ratio, dtype=np.float64)
    r = value("air", "gas_constant_dry").value
    return r * kelvin * (1.0 + w / value("air", "mass_ratio").value) / np.asarray(pressure_pa)


def moist_air_density(
    temp_c: ArrayLike, humidity_ratio: ArrayLike, *, pressure_pa: ArrayLike = 101325.0
) -> Any:
    """Mass of moist air per volume [kg/m3], vapour included.

    Warm wet air is the lighter: 1.22 at 15 C, 0.98 at 60 C saturated. Within 0.02 % of psychrolib
    up to 85 C.

    >>> round(float(moist_air_density(15.0, 0.006)), 2)
    1.22
    """
    w = np.asarray(humidity_ratio, dtype=np.float64)
    return (1.0 + w) / specific_volume(temp_c, w, pressure_pa=pressure_pa)


def humidity_ratio_from_wet_bulb(
    temp_c: float, wet_bulb_c: float, *, pressure_pa: float = 101325.0
) -> float:
    """Vapour per dry air [kg/kg] from a dry and a wet thermometer, above freezing.

    ASHRAE Fundamentals 2017 ch. 1 (wet-bulb equation); within 0.2 % of psychrolib up to 85 C.
    Raises `QuantityError` if the wet bulb is the warmer or below 0 C.

    >>> round(humidity_ratio_from_wet_bulb(40.0, 20.0), 4)
    0.0064
    """
    if not 0 <= wet_bulb_c <= temp_c:
        raise QuantityError(
            "the wet bulb lies between 0 C and the dry one",
            field="wet_bulb_c",
            value=f"{wet_bulb_c:g}",
        )
    saturated = float(humidity_ratio(saturation_pressure(wet_bulb_c), pressure_pa))
    heat, slope = value("air", "vapour_heat_0c").value, value("air", "wet_bulb_slope").value
    cp, cv = value("air", "heat_capacity_air").value, value("air", "heat_capacity_vapour").value
    gained = (heat - slope * wet_bulb_c) * saturated - cp * (temp_c - wet_bulb_c)
    water = value("air", "heat_capacity_water").value * wet_bulb_c
    return max(0.0, gained / (heat + cv * temp_c - water))


def dew_point(vapour_pressure_pa: float) -> float:
    """Temperature [C] at which that vapour pressure saturates; to 1e-6 C, by halving.

    Raises `QuantityError` outside 0.0015 Pa to 1.55 MPa.

    >>> round(dew_point(saturation_pressure(12.0)), 3)
    12.0
    """
    low, high = _COLDEST, _HOTTEST
    inside = saturation_pressure(low) <= vapour_pressure_pa <= saturation_pressure(high)
    if not (math.isfinite(vapour_pressure_pa) and inside):
        raise QuantityError(
            "no dew point between -100 and 200 C",
            field="vapour_pressure_pa",
            value=f"{vapour_pressure_pa:g}",
        )
    while high - low > 1e-6:
        middle = (low + high) / 2
        if saturation_pressure(middle) < vapour_pressure_pa:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def standard_pressure(altitude_m: float) -> float:
    """Mean air pressure [Pa] at a height above the sea [m].

    ASHRAE Fundamentals 2017 ch. 1: 101325 (1 - 2.25577e-5 z)^5.2559.

    >>> round(standard_pressure(1000))
    89875
    """
    quantity("altitude_m").check(altitude_m)
    sea, lapse = value("air", "sea_level_pressure").value, value("air", "pressure_lapse").value
    return float(sea * (1 - lapse * altitude_m) ** value("air", "pressure_exponent").value)
