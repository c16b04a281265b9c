"""The skin of a heap between its cells and the weather: parameters, surroundings, and the call.

Units: SI, degrees C, hours since the start of the weather. Conventions: sun on each face direction
is worked out once an hour for the whole series (no shading by buildings or trees) and joined by
straight lines; wind at the heap is the wind at 10 m times the exposure. What leaves a cell through
its skin is conduction and the liquid that evaporates there; see the kernel for the balance.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.kernels import skin as kernel
from heapwright.engine.parameters import Parameters
from heapwright.engine.process import Process
from heapwright.engine.surroundings import Air
from heapwright.errors import QuantityError
from heapwright.science import sky
from heapwright.science.values import value
from heapwright.units import quantity

__all__ = ["PROCESS", "Skin", "SkinHost", "Surroundings", "skin_parameters"]

Floats = NDArray[np.float64]
#: Share of a cell's water that its skin may take within one step.
_SHARE = 0.5

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


def skin_parameters(par: Parameters) -> Floats:
    """The parameter row of the skin kernel, in the order of its indices."""
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
        ]
    )


class SkinHost(Protocol):
    """What the skin needs of the stepper that calls it."""

    mesh: Any
    state: Any
    work: Any
    par: Parameters
    fcell: NDArray[np.uint64]
    fdir: NDArray[np.int8]
    fcross: Floats
    bextra: Floats
    water_c: Floats
    ice_c: Floats
    cover: float


class Skin:
    """The exchange through all open faces, as the stepper calls it.

    layer_m : still air between the evaporating wood and the skin [m], 0 to 0.1, one number or one
    a face; by default 10 mm (5-15), as in open chips; ``Skin.wet_fine()`` has 2 mm.
    ``totals`` holds the sums of the last call: conduction into the cells [W], sun, convection, long
    wave [W into the skin], vapour leaving [kg/s] and its enthalpy [W].
    Raises `QuantityError` for a layer out of range.
    """

    def __init__(self, layer_m: float | Floats | None = None) -> None:
        layer = value("sky", "dry_layer").value if layer_m is None else layer_m
        self.layer_m = np.atleast_1d(np.asarray(layer, dtype=np.float64))
        if not ((self.layer_m >= 0) & (self.layer_m <= 0.1)).all():
            raise QuantityError(
                "the dry layer of a skin is 0 to 10 cm", field="layer_m", value=layer_m,
                way_out="Chips have about 0.01 m, wet fine mixes 0.002 m",
            )  # fmt: skip
        self.totals = np.zeros(6)
        self.terms = np.zeros((0, 6))
        self.skin_c = np.zeros(0)
        self._faces: Floats = np.zeros(0)
        self._mesh: Any = None
        self._layer: Floats = np.zeros(0)
        self._front: Floats = np.zeros(0)
        self._active = np.zeros(0, dtype=bool)
        self._par: Floats = np.zeros(0)

    @classmethod
    def wet_fine(cls) -> Skin:
        """The skin of a wet, fine mix: 2 mm of still air."""
        return cls(value("sky", "dry_layer_wet_fine").value)

    def __call__(self, host: SkinHost, air: Any, dt: float) -> tuple[float, float, float]:
        """Add heat and vapour of all open faces to the work fields ``heat`` and ``vapour``.

        Returns what entered the heap: heat by sun, air and sky [W], enthalpy with vapour [W], and
        vapour [kg/s]; the last two are negative while the heap dries.
        """
        self._fit(host, air)
        n = host.fcell.size
        self.totals = np.zeros(6)
        slope = np.zeros(n)
        sun = np.zeros((2, 6))
        # (6,): all of it as beam; (2, 6): beam and diffuse
        sun[: np.ndim(air.sun_w_m2)] = air.sun_w_m2
        if n:
            kernel.front_depth(
                host.fcell, host.fdir, host.mesh.sy, host.mesh.sz, self._active, host.mesh.dx_m,
                host.work["water"], host.work["dry"], host.par.fibre_saturation, self._front,
            )  # fmt: skip
            kernel.skin_exchange(
                host.fcell, host.fdir, host.fcross, self._faces, host.mesh.dx_m, dt,
                host.state.temp_c, host.work["conductivity"], host.work["activity"],
                host.work["water"], self._layer, self._front, sun,
                float(sky.film(air.wind_m_s)), 1.0 - host.cover, air.temp_c, air.vapour_pa,
                air.sky_c, host.water_c, host.ice_c, self._par, self.skin_c, slope,
                self.terms, host.work["heat"], host.work["vapour"], self.totals,
            )  # fmt: skip
        host.bextra[:n] = slope
        dry = float(self.totals[kernel.Q_SUN : kernel.VAPOUR].sum())
        return dry, -float(self.totals[kernel.Q_VAPOUR]), -float(self.totals[kernel.VAPOUR])

    def _fit(self, host: SkinHost, air: Any) -> None:
        """Make the lists of faces fit a new or changed mesh."""
        n, size = int(host.fcell.size), int(host.mesh.size)
        if self._mesh is host.mesh:
            return
        self._mesh = host.mesh
        self._par = skin_parameters(host.par)
        self.skin_c = np.full(n, float(air.temp_c))
        self.terms = np.zeros((n, 6))
        counted = np.bincount(host.fcell.astype(np.int64), minlength=size)
        self._faces = np.maximum(counted, 1).astype(np.float64)
        self._layer = np.array(np.broadcast_to(self.layer_m, (n,)))
        self._front = np.zeros(n)
        self._active = host.mesh.active.ravel()


@dataclass(slots=True)
class Surroundings:
    """The weather of a series as the stepper wants it: call it with hours since the series' start.

    exposure : ``open``, ``partly``, ``sheltered`` or the share of the wind at 10 m that reaches the
    heap; x_bearing_deg : where the heap's +x points, 90 is east; deep_c : temperature of the deep
    soil, by default the mean air temperature of the series.
    Without latitude and longitude all sun is taken as coming from the whole sky. Raises
    `QuantityError` for an exposure or bearing that cannot be.
    """

    series: WeatherSeries
    exposure: str | float = "sheltered"
    x_bearing_deg: float = 90.0
    deep_c: float | None = None
    _sun: Floats = field(init=False, repr=False)
    _factor: float = field(init=False, repr=False)
    _table: Floats = field(init=False, repr=False)
    _rain: Floats = field(init=False, repr=False)
    _deep: float = field(init=False, repr=False)

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
        self._sun = self._taken_up()
        s = self.series
        self._table = np.column_stack(
            [s.air_temp_c, s.vapour_pa, s.pressure_pa, s.wind_m_s * self._factor, s.sky_temp_c]
        )
        self._rain = s.rain_mm / s.step_s
        self._deep = float(self.deep_c)

    def _taken_up(self) -> Floats:
        """Beam and diffuse sun taken up by a face of each direction in every step, (n, 2, 6)."""
        s = self.series
        seconds = s.start.timestamp() + s.middles_h * 3600
        if s.latitude_deg is None or s.longitude_deg is None:
            height, azimuth = np.zeros(s.count), np.zeros(s.count)
        else:
            height, azimuth = sky.sun_position(
                seconds, latitude_deg=s.latitude_deg, longitude_deg=s.longitude_deg
            )
        fallen = sky.face_sun(s.sun_w_m2, height, azimuth, x_bearing_deg=self.x_bearing_deg)
        taken = 1.0 - value("sky", "heap_albedo").value
        return np.ascontiguousarray(np.moveaxis(fallen, 2, 0) * taken)

    def sun_at(self, hours: float) -> Floats:
        """Beam and diffuse sun taken up by a face of each direction [W/m2], shape (2, 6)."""
        k, after, share = self._between(hours)
        mixed = (1 - share) * self._sun[k] + share * self._sun[after]
        return np.asarray(mixed, dtype=np.float64)

    def hours_of(self, moment: datetime) -> float:
        """Hours from the start of the series to an aware datetime."""
        return (moment.astimezone(UTC) - self.series.start).total_seconds() / 3600

    def __call__(self, hours: float) -> Air:
        """The `Air` of the stepper at *hours*; raises `NotEnoughError` outside the series."""
        if not 0 <= hours <= self.series.hours:
            self.series.at(hours)  # says what is missing
        k, after, share = self._between(hours)
        temp, vapour, pressure, wind, sky_c = (
            (1 - share) * self._table[k] + share * self._table[after]
        ).tolist()
        step = min(int(hours * 3600 / self.series.step_s), self.series.count - 1)
        return Air(
            temp_c=temp,
            vapour_pa=vapour,
            pressure_pa=pressure,
            wind_m_s=wind,
            sky_c=sky_c,
            sun_w_m2=self.sun_at(hours),
            rain_kg_m2_s=float(self._rain[step]),
            deep_c=self._deep,
        )

    def _between(self, hours: float) -> tuple[int, int, float]:
        """The two steps around *hours*, and the share of the second."""
        last = self.series.count - 1
        x = min(max(hours * 3600 / self.series.step_s - 0.5, 0.0), float(last))
        k = min(int(x), max(last - 1, 0))
        return k, min(k + 1, last), x - k
