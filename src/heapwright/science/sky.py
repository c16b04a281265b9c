"""Sun and sky over a heap: sun position, sun on its faces, warmth of the sky, wind at the heap.

Units: degrees C, W/m2, Pa, m/s; angles in degrees, azimuth clockwise from north; times are seconds
since 1970 (UTC). Conventions: functions take floats or arrays. Faces are those of the mesh, 0 -x,
1 +x, 2 -y, 3 +y, 4 -z, 5 +z; +x points to ``x_bearing_deg`` (90, east) and +y a quarter turn
counter-clockwise from it (north). Shading by houses, trees and other heaps is left out.
Constants with their sources: ``values/sky.toml``.
"""

from __future__ import annotations

import functools
import importlib
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import QuantityError
from heapwright.science.fao56 import wind_at_2m
from heapwright.science.values import raw, value, values
from heapwright.units import quantity

__all__ = [
    "beam_and_diffuse",
    "clear_hour",
    "cloud_cover",
    "emissivity",
    "exposure_factor",
    "face_sun",
    "film",
    "sky_temperature",
    "sun_position",
    "wind_to_10m",
    "wood_activity",
]

Floats = NDArray[np.float64]
_ZERO_C = 273.15


@functools.cache
def _numbers(table: str) -> dict[str, float]:
    found: dict[str, Any] = raw("sky")["sky"][table]
    return {k: float(v) for k, v in found.items() if isinstance(v, (int, float))}


def _array(number: ArrayLike) -> Floats:
    return np.asarray(number, dtype=np.float64)


def sun_position(
    seconds: ArrayLike, *, latitude_deg: float, longitude_deg: float
) -> tuple[Floats, Floats]:
    """Height [degrees above the horizon, without refraction] and azimuth of the sun.

    seconds : since 1970-01-01 UTC, shape (n,). Raises `QuantityError` off the globe. Solar Position
    Algorithm, Reda and Andreas 2004, through pvlib; within 0.001 degrees.

    Examples
    --------
    >>> height, azimuth = sun_position([1066419030], latitude_deg=39.742476,
    ...                                longitude_deg=-105.1786)
    >>> round(90 - float(height[0]), 1), round(float(azimuth[0]), 1)
    (50.1, 194.3)
    """
    quantity("latitude_deg").check(latitude_deg)
    quantity("longitude_deg").check(longitude_deg)
    from pvlib import solarposition

    pd: Any = importlib.import_module("pandas")
    stamps = np.atleast_1d(_array(seconds))
    index = pd.DatetimeIndex(pd.to_datetime(stamps, unit="s", utc=True))
    table = solarposition.get_solarposition(index, latitude_deg, longitude_deg)
    return _array(table["elevation"].to_numpy()), _array(table["azimuth"].to_numpy())


def clear_hour(sun_height_deg: ArrayLike, altitude_m: float = 0.0) -> Any:
    """Sun on level ground under a clear sky [W/m2], as FAO-56 eq. 37 has it for a day.

    (0.75 + 2e-5 z) S0 sin(height): too high near the horizon, right in the daily sum.

    >>> round(float(clear_hour(90.0)))
    1021
    """
    c: dict[str, Any] = raw("sky")["fao56"]["radiation"]
    through = float(c["clear"]) + float(c["clear_per_m"]) * altitude_m
    up = np.maximum(np.sin(np.radians(_array(sun_height_deg))), 0.0)
    return through * value("sky", "solar_constant").value * up


def beam_and_diffuse(sun_w_m2: ArrayLike, sun_height_deg: ArrayLike) -> tuple[Floats, Floats]:
    """Beam (across the ray) and diffuse (on level ground) [W/m2] from sun on level ground.

    Erbs, Klein and Duffie 1982, by the clearness of the hour; scatter of single hours about 20 %.
    Under 3 degrees of sun height all of it is diffuse. Beam is at most the solar constant.

    >>> beam, diffuse = beam_and_diffuse(600.0, 45.0)
    >>> round(float(beam)), round(float(diffuse))
    (519, 233)
    """
    c = _numbers("erbs")
    sun = np.maximum(_array(sun_w_m2), 0.0)
    up = np.sin(np.radians(_array(sun_height_deg)))
    low = np.sin(np.radians(value("sky", "sky.least_height_deg").value))
    steady = np.maximum(up, low)
    top = value("sky", "solar_constant").value
    kt = np.clip(sun / (top * steady), 0.0, 1.0)
    middle = c["c0"] + kt * (c["c1"] + kt * (c["c2"] + kt * (c["c3"] + kt * c["c4"])))
    share = np.where(kt <= c["low_kt"], 1 - c["low_slope"] * kt, middle)
    share = np.where(kt > c["high_kt"], c["high_share"], share)
    share = np.where(up < low, 1.0, np.clip(share, 0.0, 1.0))
    beam = np.minimum(sun * (1 - share) / steady, top)
    return _array(beam), _array(sun - beam * np.where(up < low, 0.0, steady))


def face_sun(
    sun_w_m2: ArrayLike,
    sun_height_deg: ArrayLike,
    sun_azimuth_deg: ArrayLike,
    *,
    x_bearing_deg: float = 90.0,
) -> Floats:
    """Sun that falls on each face of a box in the open [W/m2], shape (2, 6, ...).

    First index: beam, then diffuse with what the ground reflects (isotropic sky: a side sees half
    of it). On a staircase of faces the beam adds up to that on the true slope; the diffuse part is
    to be cut by the staircase factor.

    >>> fallen = face_sun(600.0, 45.0, 180.0)     # noon, sun in the south
    >>> round(float(fallen[:, 5].sum())), round(float(fallen[0, 2]))
    (600, 367)
    """
    height, azimuth = np.radians(_array(sun_height_deg)), np.radians(_array(sun_azimuth_deg))
    beam, diffuse = beam_and_diffuse(sun_w_m2, sun_height_deg)
    turned = azimuth - np.radians(x_bearing_deg)
    along_x, along_y = np.cos(height) * np.cos(turned), -np.cos(height) * np.sin(turned)
    up = np.sin(height)
    parts = [-along_x, along_x, -along_y, along_y, -up, up]
    direct = np.stack([beam * np.maximum(p, 0.0) for p in parts])
    ground = value("sky", "ground_albedo").value * np.maximum(_array(sun_w_m2), 0.0)
    side = 0.5 * diffuse + 0.5 * ground
    spread = np.stack([side, side, side, side, ground, diffuse])
    return np.stack([np.where(up > 0, direct, 0.0), spread])


def cloud_cover(
    sun_w_m2: ArrayLike, sun_height_deg: ArrayLike, *, altitude_m: float = 0.0
) -> Floats:
    """Cloud cover [0-1] in every hour of a series from its sun, the day's cover at night.

    sun_w_m2, sun_height_deg : hourly, shape (n,). Kasten and Czeplak 1980 turned round, on the sun
    summed over 24 hours about each hour, so that single thin clouds do not jump. Half covered where
    the sun does not rise.

    >>> cloud_cover(clear_hour([30.0] * 5), [30.0] * 5).tolist()
    [0.0, 0.0, 0.0, 0.0, 0.0]
    """
    c = _numbers("cover")
    sun = np.atleast_1d(_array(sun_w_m2))
    clear = np.atleast_1d(_array(clear_hour(sun_height_deg, altitude_m)))
    got, could = _day_sums(sun), _day_sums(clear)
    share = np.where(could > 1.0, got / np.maximum(could, 1.0), np.nan)
    gone = np.clip((1 - share) / c["depth"], 0.0, 1.0)
    return np.where(np.isnan(gone), 0.5, gone ** (1 / c["exponent"]))


def _day_sums(series: Floats) -> Floats:
    """Sums over the 24 hours about every hour, fewer at the ends."""
    total = np.concatenate(([0.0], np.cumsum(series)))
    at = np.arange(series.size)
    return _array(total[np.minimum(at + 12, series.size)] - total[np.maximum(at - 12, 0)])


def emissivity(temp_c: ArrayLike, vapour_pressure_pa: ArrayLike, *, cloud: ArrayLike = 0.0) -> Any:
    """Long-wave emissivity of the sky [0-1] for air at the ground.

    Clear: Brutsaert 1975, 1.24 (e/T)^(1/7); cloud [0-1] as Unsworth and Monteith 1975. A clear
    night comes out within about 0.05.

    >>> [round(float(emissivity(15.0, 1200.0, cloud=c)), 2) for c in (0, 1)]
    [0.79, 0.97]
    """
    b, weight = _numbers("brutsaert"), _numbers("cloud")["weight"]
    hpa = np.maximum(_array(vapour_pressure_pa), 1.0) / 100
    clear = b["factor"] * (hpa / (_array(temp_c) + _ZERO_C)) ** b["exponent"]
    covered = weight * np.clip(_array(cloud), 0.0, 1.0)
    return np.minimum((1 - covered) * clear + covered, 1.0)


def sky_temperature(
    temp_c: ArrayLike, vapour_pressure_pa: ArrayLike, *, cloud: ArrayLike = 0.0
) -> Any:
    """Temperature [C] of a black sky that sends as much long wave as the real one.

    >>> round(float(sky_temperature(15.0, 1200.0)), 1)
    -1.7
    """
    share = emissivity(temp_c, vapour_pressure_pa, cloud=cloud)
    return (_array(temp_c) + _ZERO_C) * share**0.25 - _ZERO_C


def exposure_factor(exposure: str | float) -> float:
    """Wind at the heap over wind at 10 m: ``open``, ``partly``, ``sheltered``, or a number 0-1.

    Raises `QuantityError` for any other word or number.

    >>> exposure_factor("open"), exposure_factor("sheltered"), exposure_factor(0.4)
    (0.5, 0.25, 0.4)
    """
    names = [k.partition(".")[2] for k in values("sky") if k.startswith("exposure.")]
    if isinstance(exposure, str):
        if exposure in names:
            return value("sky", f"exposure.{exposure}").value
    elif 0 <= exposure <= 1:
        return float(exposure)
    raise QuantityError(
        "the site is described by a word or by the share of the wind that reaches the heap, 0 to 1",
        field="exposure",
        value=exposure,
        way_out="One of " + ", ".join(names),
    )


def wind_to_10m(wind_m_s: ArrayLike, height_m: float) -> Any:
    """Wind at 10 m [m/s] from wind at another height over short grass (FAO-56 eq. 47 twice).

    >>> round(float(wind_to_10m(2.4, 2.0)), 1)
    3.2
    """
    return _array(wind_m_s) * wind_at_2m(1.0, height_m) / wind_at_2m(1.0, 10.0)


def film(wind_m_s: ArrayLike) -> Any:
    """Heat given to air per area and degree [W/m2K] at a wind over the heap, without radiation.

    5.7 + 3.8 u (McAdams 1954), below 5 m/s; radiation adds about 5. Raises nothing.

    >>> float(film(1.0))
    9.5
    """
    return value("sky", "film.calm").value + value("sky", "film.wind").value * _array(wind_m_s)


def wood_activity(water_kg_kg: ArrayLike, fibre_saturation: float = 0.28) -> Any:
    """Relative humidity over wood [0-1] that holds *water_kg_kg* of water a kg of dry wood.

    1 from fibre saturation up; below it Henderson's form, 1 - exp(-k x^n) over its value there
    (common form, from memory; k and n fitted to the Hailwood-Horrobin curve of the FPL Wood
    Handbook at 20 C, within 0.02). Warmth raises it a little: 0.65 -> 0.72 at 12 % from 20 to 50 C,
    left out.

    >>> [round(float(wood_activity(x)), 2) for x in (0.05, 0.12, 0.2, 0.5)]
    [0.24, 0.64, 0.9, 1.0]
    """
    c: dict[str, Any] = raw("sky")["sorption"]["wood"]
    k, n = float(c["factor"]), float(c["exponent"])
    x = np.clip(_array(water_kg_kg), 0.0, fibre_saturation)
    return np.minimum(-np.expm1(-k * x**n) / -np.expm1(-k * fibre_saturation**n), 1.0)
