"""The skin of a heap between its cells and the weather: parameters, surroundings, and the call.

Units: SI, degrees C, hours since the start of the weather. Conventions: sun on each face direction
is worked out once an hour for the whole series (no shading by buildings or trees) and joined by
straight lines; wind at the heap is the wind at 10 m times the exposure. What leaves a cell through
its skin is conduction and the liquid that evaporates there; see the kernel for the balance.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.kernels import passes
from heapwright.engine.kernels import skin as kernel
from heapwright.engine.parameters import Parameters
from heapwright.engine.process import Process
from heapwright.engine.surroundings import Air, air_of
from heapwright.errors import QuantityError
from heapwright.science import sky
from heapwright.science.values import value
from heapwright.units import quantity

__all__ = ["PROCESS", "Skin", "Surroundings", "enter", "skin_parameters"]

Floats = NDArray[np.float64]
#: Share of a cell's water that its skin may take within one step.
_SHARE = 0.5
#: The last step towards the temperature of a skin [K]; it is then right to about 2e-5 K.
_CLOSE_K = 0.02

PROCESS = Process(
    name="skin: sun, sky, wind, evaporation and dew",
    reads=("temp_c", "water_m", "water_f"),
    writes=("enthalpy_j", "water_m"),
    sources=(
        "convection 5.7 + 3.8 u: McAdams 1954 after Juerges 1924 (from memory)",
        "vapour film from the heat film by the Lewis analogy, in series with still air",
        "sky: Brutsaert 1975; clouds: Unsworth and Monteith 1975, Kasten and Czeplak 1980",
        "beam and diffuse sun: Erbs, Klein and Duffie 1982; sun position: Reda and Andreas 2004",
    ),
    note="one temperature for skin and evaporating wood; ground as warm as the air; no shading",
)


def skin_parameters(par: Parameters, close_k: float = _CLOSE_K) -> Floats:
    """The parameter row of the skin kernel, in the order of its indices.

    close_k : how small the last step towards a skin temperature has to be [K].
    """
    return np.array(
        [
            value("sky", "sigma").value,
            value("sky", "heap_emissivity").value,
            par.latent_0c,
            par.cp_vapour,
            par.cp_water,
            par.r_gas / par.molar_mass_water,
            value("sky", "film.lewis").value,
            value("sky", "vapour_diffusion").value,
            _SHARE,
            close_k,
        ]
    )


class Skin:
    """The skin of a heap, and what lies behind each of its open faces.

    layer_m : still air between the evaporating wood and the skin [m], 0 to 0.1, one number or one
    a face; by default 10 mm (5-15), as in open chips; ``Skin.wet_fine()`` has 2 mm.
    film : heat given to the air [W/m2K], calm and for every m/s of wind, without radiation;
    emissivity : 0 to 1; vapour : share of the skin that lets vapour through, 0 to 1.
    ``totals`` holds the sums of the last step: conduction into the cells [W], sun, convection, long
    wave [W into the skin], vapour leaving [kg/s] and its enthalpy [W]; ``terms`` the same by face.
    Raises `QuantityError` for what is out of range.
    """

    def __init__(
        self,
        layer_m: float | Floats | None = None,
        *,
        film: tuple[float, float] | None = None,
        emissivity: float | None = None,
        vapour: float = 1.0,
    ) -> None:
        layer = value("sky", "dry_layer").value if layer_m is None else layer_m
        self.layer_m = np.atleast_1d(np.asarray(layer, dtype=np.float64))
        if not ((self.layer_m >= 0) & (self.layer_m <= 0.1)).all():
            raise QuantityError(
                "the dry layer of a skin is 0 to 10 cm", field="layer_m", value=layer_m,
                way_out="Chips have about 0.01 m, wet fine mixes 0.002 m",
            )  # fmt: skip
        calm = float(sky.film(0.0))
        self.calm, self.per_wind = film or (calm, float(sky.film(1.0)) - calm)
        self.emissivity, self.vapour = emissivity, vapour
        for name, number, high in (
            ("film", self.calm, 1000.0), ("film", self.per_wind, 1000.0),
            ("emissivity", emissivity or 0.0, 1.0), ("vapour", vapour, 1.0),
        ):  # fmt: skip
            if not 0 <= number <= high:
                raise QuantityError(f"lies within 0 to {high:g}", field=name, value=number)
        self.totals = np.zeros(6)
        self.terms = np.zeros((0, 6))
        self.skin_c = self.before_c = np.zeros(0)
        self.shared: Floats = np.zeros(0)
        self.layer: Floats = np.zeros(0)
        self.front: Floats = np.zeros(0)
        self.par: Floats = np.zeros(0)
        self._mesh: Any = None

    @classmethod
    def wet_fine(cls) -> Skin:
        """The skin of a wet, fine mix: 2 mm of still air."""
        return cls(value("sky", "dry_layer_wet_fine").value)

    @classmethod
    def closed(cls) -> Skin:
        """A skin that neither heat nor vapour passes, but the air that flows."""
        return cls(film=(0.0, 0.0), emissivity=0.0, vapour=0.0)

    def deepen(self, host: Any, air_c: float) -> None:
        """Find how deep below each face the drying wood lies; it moves slowly.

        host : the stepper; air_c : of the air, as first guess of a new skin.
        """
        self._fit(host, air_c)
        kernel.front_depth(
            host.fcell, host.fdir, host.sy, host.sz, host.active, host.mesh.dx_m,
            host.work["water"], host.work["dry"], host.par.fibre_saturation, self.front,
        )  # fmt: skip

    def _fit(self, host: Any, air_c: float) -> None:
        """Make the lists of faces fit a new or changed mesh."""
        if self._mesh is host.mesh:
            return
        n = int(host.fcell.size)
        self._mesh = host.mesh
        self.par = skin_parameters(host.par)
        if self.emissivity is not None:
            self.par[kernel.EMISSIVITY] = self.emissivity
        self.skin_c, self.before_c = np.full(n, air_c), np.full(n, air_c)
        self.terms = np.zeros((n, 6))
        counted = np.bincount(host.fcell.astype(np.int64), minlength=int(host.mesh.size))
        self.shared = np.maximum(counted, 1).astype(np.float64)
        self.layer = np.array(np.broadcast_to(self.layer_m, (n,)))
        self.front = np.zeros(n)


def enter(host: Any) -> None:
    """Enter what the weather has given to the skin since the last call."""
    energy = host.ledger.energy
    host.enter(energy, "sun, sky and air at the skin", passes.SKIN_HEAT)
    host.enter(energy, "vapour from the skin", passes.SKIN_VAPOUR_HEAT)
    host.enter(host.ledger.water, "vapour from the skin", passes.SKIN_VAPOUR)


@dataclass(slots=True)
class Surroundings:
    """The weather of a series as the stepper wants it: call it with hours since the series' start.

    exposure : ``open``, ``partly``, ``sheltered`` or the share of the wind at 10 m that reaches the
    heap; x_bearing_deg : where the heap's +x points, 90 is east; deep_c : temperature of the deep
    soil, by default the mean air temperature of the series; span_h : hours that will be asked for,
    by default all: outside, no sun is worked out.
    Without latitude and longitude all sun is taken as coming from the whole sky. Raises
    `QuantityError` for an exposure or bearing that cannot be.
    """

    series: WeatherSeries
    exposure: str | float = "sheltered"
    x_bearing_deg: float = 90.0
    deep_c: float | None = None
    span_h: tuple[float, float] | None = None
    _factor: float = field(init=False, repr=False)
    _table: Floats = field(init=False, repr=False)
    _rain: Floats = field(init=False, repr=False)

    def __post_init__(self) -> None:
        if not -360 <= self.x_bearing_deg <= 360:
            raise QuantityError(
                "a bearing lies within 0 to 360 degrees", field="x_bearing_deg",
                value=self.x_bearing_deg,
            )  # fmt: skip
        self._factor = sky.exposure_factor(self.exposure)
        if self.deep_c is None:
            self.deep_c = float(self.series.air_temp_c.mean())
        quantity("temp_c").check(self.deep_c, field="deep_c")
        s = self.series
        self._table = np.column_stack(
            [
                s.air_temp_c, s.vapour_pa, s.pressure_pa, s.wind_m_s * self._factor, s.sky_temp_c,
                np.zeros(s.count), np.full(s.count, float(self.deep_c)),
                self._taken_up().reshape(s.count, 12),
            ]
        )  # fmt: skip
        self._rain = s.rain_mm / s.step_s

    def _taken_up(self) -> Floats:
        """Beam and diffuse sun taken up by a face of each direction in every step, (n, 2, 6)."""
        s = self.series
        low, high = self.span_h or (0.0, s.hours)
        seen = (s.middles_h >= low - s.step_s / 3600) & (s.middles_h <= high + s.step_s / 3600)
        seconds = s.start.timestamp() + s.middles_h[seen] * 3600
        height, azimuth = np.zeros(seconds.size), np.zeros(seconds.size)
        if s.latitude_deg is not None and s.longitude_deg is not None:
            height, azimuth = sky.sun_position(
                seconds, latitude_deg=s.latitude_deg, longitude_deg=s.longitude_deg
            )
        fallen = sky.face_sun(s.sun_w_m2[seen], height, azimuth, x_bearing_deg=self.x_bearing_deg)
        made = np.zeros((s.count, 2, 6))
        made[seen] = np.moveaxis(fallen, 2, 0) * (1.0 - value("sky", "heap_albedo").value)
        return made

    def hours_of(self, moment: datetime) -> float:
        """Hours from the start of the series to an aware datetime."""
        return (moment.astimezone(UTC) - self.series.start).total_seconds() / 3600

    def __call__(self, hours: float) -> Air:
        """The `Air` at *hours*; raises `NotEnoughError` outside the series."""
        return air_of(self.rows(np.array([hours]))[0])

    def rows(self, hours: Floats) -> Floats:
        """The weather at some *hours*, a row each as the kernels take it.

        Values of the series hold in the middle of its steps and are joined by straight lines; rain
        falls evenly over a step. Raises `NotEnoughError` outside the series.
        """
        for hour in (hours.min(), hours.max()):
            if not 0 <= hour <= self.series.hours:
                self.series.at(float(hour))  # says what is missing
        made = np.empty((hours.size, passes.AIR_COLUMNS))
        passes.weather(self._table, self._rain, float(self.series.step_s), hours, made)
        return made
