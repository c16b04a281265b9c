"""Reference evaporation and its parts after FAO-56: what a short wet grass would evaporate.

Units: degrees C, kPa, MJ/m2 a day, mm of water a day, m/s, metres; latitudes in degrees north,
``day`` is the day of the year, 1 to 366. Conventions: functions take floats or arrays. Saturation
is Tetens' form here, as printed, because the published examples use it; the engine uses the better
curve of `heapwright.science.air`. Source of every function: Allen, Pereira, Raes and Smith 1998,
FAO Irrigation and Drainage Paper 56, by its equation number; constants in ``values/sky.toml``.
Accuracy: all worked examples of tests/reference/test_fao56.py within the printed digits.
"""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from heapwright.errors import QuantityError
from heapwright.science.values import raw
from heapwright.units import quantity

__all__ = [
    "actual_from_extremes",
    "actual_from_wet_bulb",
    "clear_sky",
    "daylight_hours",
    "declination",
    "extraterrestrial",
    "hargreaves",
    "inverse_distance",
    "mean_saturation",
    "net_long_wave",
    "net_short_wave",
    "pressure",
    "psychrometric",
    "reference_evaporation",
    "saturation",
    "soil_heat_month",
    "sun_from_hours",
    "sun_from_range",
    "sunset_angle",
    "vapour_slope",
    "wind_at_2m",
]

_ZERO_K = 273.16


@functools.cache
def _numbers(table: str) -> dict[str, float]:
    found: dict[str, Any] = raw("sky")["fao56"][table]
    return {k: float(v) for k, v in found.items() if isinstance(v, (int, float))}


def _array(value: ArrayLike) -> Any:
    return np.asarray(value, dtype=np.float64)


def pressure(altitude_m: float) -> float:
    """Air pressure [kPa] at a height [m]; eq. 7. Raises `QuantityError` off the globe.

    >>> round(pressure(1800), 1)
    81.8
    """
    quantity("altitude_m").check(altitude_m)
    c = _numbers("pressure")
    warm = c["sea_kelvin"]
    lapsed: float = (warm - c["lapse_k_m"] * altitude_m) / warm
    return float(c["sea_kpa"] * lapsed ** c["exponent"])


def psychrometric(pressure_kpa: ArrayLike) -> Any:
    """Psychrometric constant [kPa/C]; eq. 8.

    >>> round(float(psychrometric(81.8)), 3)
    0.054
    """
    return _numbers("pressure")["psychrometer_per_c"] * _array(pressure_kpa)


def saturation(temp_c: ArrayLike) -> Any:
    """Saturation vapour pressure [kPa], Tetens' form; eq. 11. Drifts low above 50 C.

    >>> round(float(saturation(20.0)), 3)
    2.338
    """
    c, t = _numbers("saturation"), _array(temp_c)
    return c["base_kpa"] * np.exp(c["factor"] * t / (t + c["offset_c"]))


def mean_saturation(highest_c: ArrayLike, lowest_c: ArrayLike) -> Any:
    """Mean of the saturation pressures [kPa] at a day's highest and lowest temperature; eq. 12.

    >>> round(float(mean_saturation(24.5, 15.0)), 2)
    2.39
    """
    return (saturation(highest_c) + saturation(lowest_c)) / 2


def vapour_slope(temp_c: ArrayLike) -> Any:
    """Slope of the saturation curve [kPa/C]; eq. 13.

    >>> round(float(vapour_slope(30.2)), 3)
    0.246
    """
    c, t = _numbers("saturation"), _array(temp_c)
    return c["factor"] * c["offset_c"] * saturation(t) / (t + c["offset_c"]) ** 2


def actual_from_wet_bulb(
    dry_c: ArrayLike, wet_c: ArrayLike, *, pressure_kpa: ArrayLike, kind: str = "ventilated"
) -> Any:
    """Vapour pressure [kPa] from a dry and a wet thermometer; eqs. 15, 16.

    kind : ``ventilated`` (5 m/s), ``natural`` (1 m/s) or ``indoor``; `QuantityError` for another.

    >>> round(float(actual_from_wet_bulb(25.6, 19.5, pressure_kpa=87.9)), 2)
    1.91
    """
    c = _numbers("wet_bulb")
    if f"{kind}_per_c" not in c:
        raise QuantityError(
            "no such kind of psychrometer", field="kind", value=kind,
            way_out="One of ventilated, natural, indoor",
        )  # fmt: skip
    fall = c[f"{kind}_per_c"] * _array(pressure_kpa) * (_array(dry_c) - _array(wet_c))
    return saturation(wet_c) - fall


def actual_from_extremes(
    lowest_c: ArrayLike,
    highest_c: ArrayLike,
    *,
    humidity_max: ArrayLike,
    humidity_min: ArrayLike | None = None,
) -> Any:
    """Vapour pressure [kPa] from a day's extremes of temperature and relative humidity [0-1].

    Eq. 17; without the least humidity eq. 18.

    >>> round(float(actual_from_extremes(18, 25, humidity_max=0.82, humidity_min=0.54)), 2)
    1.7
    """
    morning = saturation(lowest_c) * _array(humidity_max)
    if humidity_min is None:
        return morning
    return (morning + saturation(highest_c) * _array(humidity_min)) / 2


def inverse_distance(day: ArrayLike) -> Any:
    """Relative inverse square distance of earth and sun [-]; eq. 23."""
    c = _numbers("sun")
    return 1 + c["distance"] * np.cos(2 * np.pi * _array(day) / c["year_days"])


def declination(day: ArrayLike) -> Any:
    """Declination of the sun [radians], within about a degree; eq. 24."""
    c = _numbers("sun")
    turned = 2 * np.pi * _array(day) / c["year_days"] - c["declination_phase"]
    return c["declination"] * np.sin(turned)


def sunset_angle(latitude_deg: ArrayLike, day: ArrayLike) -> Any:
    """Hour angle of sunset [radians]; eq. 25. 0 in the polar night, pi where it never sets.

    >>> round(float(sunset_angle(-20.0, 246)), 3)
    1.527
    """
    phi = np.radians(_array(latitude_deg))
    return np.arccos(np.clip(-np.tan(phi) * np.tan(declination(day)), -1.0, 1.0))


def extraterrestrial(latitude_deg: ArrayLike, day: ArrayLike) -> Any:
    """Sun above the air on a level square metre [MJ/m2 a day]; eq. 21.

    >>> round(float(extraterrestrial(-20.0, 246)), 1)
    32.2
    """
    phi, delta = np.radians(_array(latitude_deg)), declination(day)
    ws = sunset_angle(latitude_deg, day)
    geometry = ws * np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.sin(ws)
    minutes = 24 * 60 / np.pi
    return minutes * _numbers("sun")["solar_constant_mj_m2_min"] * inverse_distance(day) * geometry


def daylight_hours(latitude_deg: ArrayLike, day: ArrayLike) -> Any:
    """Hours between sunrise and sunset, without refraction; eq. 34.

    >>> round(float(daylight_hours(-20.0, 246)), 1)
    11.7
    """
    return 24 / np.pi * sunset_angle(latitude_deg, day)


def sun_from_hours(extra_mj: ArrayLike, sun_hours: ArrayLike, *, day_hours: ArrayLike) -> Any:
    """Sun on the ground [MJ/m2 a day] from hours of sunshine (Angstrom); eq. 35.

    >>> round(float(sun_from_hours(25.1, 7.1, day_hours=10.9)), 2)
    14.45
    """
    c = _numbers("radiation")
    long = _array(day_hours)
    share = np.where(long > 0, _array(sun_hours) / np.where(long > 0, long, 1.0), 0.0)
    return (c["angstrom_a"] + c["angstrom_b"] * np.clip(share, 0, 1)) * _array(extra_mj)


def clear_sky(extra_mj: ArrayLike, altitude_m: float = 0.0) -> Any:
    """Sun on the ground on a clear day [MJ/m2 a day]; eq. 37.

    >>> round(float(clear_sky(38.06, 2)), 2)
    28.55
    """
    c = _numbers("radiation")
    return (c["clear"] + c["clear_per_m"] * altitude_m) * _array(extra_mj)


def sun_from_range(
    extra_mj: ArrayLike, highest_c: ArrayLike, lowest_c: ArrayLike, *, coastal: bool = False
) -> Any:
    """Sun on the ground [MJ/m2 a day] from the day's range of temperature (Hargreaves); eq. 50.

    >>> round(float(sun_from_range(40.6, 26.6, 14.8)), 1)
    22.3
    """
    c = _numbers("radiation")
    k = c["hargreaves_coastal" if coastal else "hargreaves_interior"]
    return k * np.sqrt(np.maximum(_array(highest_c) - _array(lowest_c), 0.0)) * _array(extra_mj)


def net_short_wave(sun_mj: ArrayLike) -> Any:
    """Sun that short grass takes up [MJ/m2 a day], albedo 0.23; eq. 38."""
    return (1 - _numbers("radiation")["albedo"]) * _array(sun_mj)


def net_long_wave(
    highest_c: ArrayLike,
    lowest_c: ArrayLike,
    *,
    vapour_kpa: ArrayLike,
    sun_mj: ArrayLike,
    clear_mj: ArrayLike,
) -> Any:
    """Long wave lost to the sky [MJ/m2 a day]; eq. 39.

    >>> round(float(net_long_wave(25.1, 19.1, vapour_kpa=2.1, sun_mj=14.5, clear_mj=18.8)), 1)
    3.5
    """
    c = _numbers("longwave")
    fourth = ((_array(highest_c) + _ZERO_K) ** 4 + (_array(lowest_c) + _ZERO_K) ** 4) / 2
    humid = c["vapour_a"] - c["vapour_b"] * np.sqrt(_array(vapour_kpa))
    share = np.minimum(_array(sun_mj) / _array(clear_mj), 1.0)
    return c["sigma_mj"] * fourth * humid * (c["cloud_a"] * share - c["cloud_b"])


def soil_heat_month(before_c: float, now_c: float, after_c: float | None = None) -> float:
    """Heat that the ground takes up in a month [MJ/m2 a day] from monthly means; eqs. 43, 44.

    after_c : mean of the next month, None when not known. *now_c* is used without it only.

    >>> round(soil_heat_month(14.1, 16.1, 18.8), 2)
    0.33
    """
    c = _numbers("soil")
    if after_c is None:
        return c["month_before"] * (now_c - before_c)
    return c["month_between"] * (after_c - before_c)


def wind_at_2m(wind_m_s: ArrayLike, height_m: float) -> Any:
    """Wind at 2 m [m/s] over short grass from wind at a height [m]; eq. 47.

    Raises `QuantityError` below 0.5 m, where the profile has no meaning.

    >>> round(float(wind_at_2m(3.2, 10)), 1)
    2.4
    """
    if not 0.5 <= height_m <= 500:
        raise QuantityError(
            "wind is measured at 0.5 to 500 m", field="height_m", value=f"{height_m:g}"
        )
    c = _numbers("wind")
    return _array(wind_m_s) * c["numerator"] / np.log(c["per_m"] * height_m - c["offset"])


def reference_evaporation(
    temp_c: ArrayLike,
    net_mj: ArrayLike,
    *,
    soil_mj: ArrayLike,
    wind_2m: ArrayLike,
    deficit_kpa: ArrayLike,
    gamma: ArrayLike,
) -> Any:
    """Evaporation of the reference grass [mm a day] (Penman-Monteith); eq. 6.

    temp_c : mean of the day; net_mj, soil_mj : net radiation and heat into the ground [MJ/m2 a
    day]; wind_2m [m/s]; deficit_kpa : saturation less actual vapour pressure; gamma [kPa/C].

    >>> round(float(reference_evaporation(30.2, 14.33, soil_mj=0.14, wind_2m=2.0,
    ...                                   deficit_kpa=1.57, gamma=0.0674)), 1)
    5.7
    """
    c = _numbers("reference")
    t, u, slope, g = _array(temp_c), _array(wind_2m), vapour_slope(temp_c), _array(gamma)
    sun = c["mj_to_mm"] * slope * (_array(net_mj) - _array(soil_mj))
    wind = g * c["wind_numerator"] / (t + c["kelvin"]) * u * _array(deficit_kpa)
    return (sun + wind) / (slope + g * (1 + c["wind_denominator"] * u))


def hargreaves(highest_c: ArrayLike, lowest_c: ArrayLike, *, extra_mj: ArrayLike) -> Any:
    """Reference evaporation [mm a day] from temperatures alone; eq. 52.

    >>> round(float(hargreaves(25, 19, extra_mj=32)), 2)
    2.93
    """
    c = _numbers("hargreaves")
    high, low = _array(highest_c), _array(lowest_c)
    water = _numbers("reference")["mj_to_mm"] * _array(extra_mj)
    span = np.sqrt(np.maximum(high - low, 0.0))
    return c["factor"] * ((high + low) / 2 + c["offset_c"]) * span * water
