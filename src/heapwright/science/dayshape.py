"""The course of a day where only daily figures are known: temperature, sun, and its height.

Units: degrees C, hours of the clock, MJ/m2 a day, W/m2, degrees. Conventions: days are rows of 24
hours of a clock that never changes; entry h stands for the hour from h to h + 1; ``noon_h`` is the
clock time of solar noon. The lowest temperature stands at sunrise, the highest three hours after
solar noon, half cosines between; sun follows the sine of its height.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import InputError
from heapwright.science.fao56 import daylight_hours, declination
from heapwright.science.values import value

__all__ = ["day_temperatures", "hourly_sun", "monthly_curve", "sun_heights"]

Floats = NDArray[np.float64]
_MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
_MJ_TO_WH = 1e6 / 3600
_PARTS = 6


def day_temperatures(
    lowest_c: ArrayLike,
    highest_c: ArrayLike,
    *,
    latitude_deg: float,
    day_of_year: ArrayLike,
    noon_h: float = 12.0,
) -> Floats:
    """Hourly temperatures [C] through given daily extremes, shape (24 n,).

    lowest_c, highest_c, day_of_year : shape (n,). Raises `InputError` when a highest is below its
    lowest. Before the first sunrise and after the last afternoon the neighbouring day is taken to
    be like the first and the last. The hourly means miss the extremes by about 2 % of the range.

    >>> warm = day_temperatures([5.0], [15.0], latitude_deg=50, day_of_year=[100])
    >>> int(warm.argmin()), int(warm.argmax())
    (5, 15)
    """
    low = np.atleast_1d(np.asarray(lowest_c, dtype=np.float64))
    high = np.atleast_1d(np.asarray(highest_c, dtype=np.float64))
    if (high < low).any():
        k = int(np.flatnonzero(high < low)[0])
        raise InputError(
            "the highest temperature of a day lies below its lowest",
            field="air_temp_c", value=f"{high[k]:g} below {low[k]:g} on day {k + 1}",
            way_out="Check that the two columns are not exchanged",
        )  # fmt: skip
    warmest = value("sky", "day.warmest_h").value - 12.0 + noon_h
    half = np.asarray(daylight_hours(latitude_deg, day_of_year), dtype=np.float64) / 2
    sunrise = np.minimum(noon_h - half, warmest - value("sky", "day.least_rise_h").value)
    sunrise = np.broadcast_to(sunrise, low.shape)
    days = np.arange(low.size) * 24.0
    knots = np.concatenate([days + sunrise, days + warmest])
    temps = np.concatenate([low, high])
    order = np.argsort(knots, kind="stable")
    knots, temps = knots[order], temps[order]
    knots = np.concatenate([[knots[1] - 24.0], knots, [knots[-2] + 24.0]])
    temps = np.concatenate([[temps[1]], temps, [temps[-2]]])
    hours = (np.arange(24 * low.size * _PARTS) + 0.5) / _PARTS
    at = np.clip(np.searchsorted(knots, hours, side="right") - 1, 0, knots.size - 2)
    share = np.clip((hours - knots[at]) / (knots[at + 1] - knots[at]), 0.0, 1.0)
    fine = temps[at] + (temps[at + 1] - temps[at]) * (1 - np.cos(np.pi * share)) / 2
    return np.asarray(fine.reshape(-1, _PARTS).mean(axis=1), dtype=np.float64)


def sun_heights(latitude_deg: float, day_of_year: ArrayLike, *, noon_h: float = 12.0) -> Floats:
    """Height of the sun [degrees] at the middle of every hour of the given days, shape (24 n,).

    By FAO-56's declination, within about a degree; for shapes, not for shadows.
    """
    return np.degrees(np.arcsin(_sines(latitude_deg, day_of_year, noon_h, parts=1)))


def _sines(latitude_deg: float, day_of_year: ArrayLike, noon_h: float, *, parts: int) -> Floats:
    day = np.atleast_1d(np.asarray(day_of_year, dtype=np.float64))
    phi, delta = np.radians(latitude_deg), declination(day)[:, None]
    clock = (np.arange(24 * parts) + 0.5) / parts
    angle = (clock - noon_h)[None, :] * np.pi / 12
    high = np.sin(phi) * np.sin(delta) + np.cos(phi) * np.cos(delta) * np.cos(angle)
    return np.asarray(np.clip(high, -1.0, 1.0).ravel(), dtype=np.float64)


def hourly_sun(
    total_mj: ArrayLike, *, latitude_deg: float, day_of_year: ArrayLike, noon_h: float = 12.0
) -> Floats:
    """Hourly sun [W/m2] with given daily sums [MJ/m2], shape (24 n,); sums are kept exactly.

    Sun on a day on which it does not rise is spread evenly (it is twilight or a misprint).

    >>> sun = hourly_sun([20.0], latitude_deg=50, day_of_year=[172])
    >>> round(float(sun.sum()) * 3600 / 1e6, 6), int(sun.argmax()) in (11, 12)
    (20.0, True)
    """
    total = np.atleast_1d(np.asarray(total_mj, dtype=np.float64))
    fine = np.maximum(_sines(latitude_deg, day_of_year, noon_h, parts=_PARTS), 0.0)
    shape = fine.reshape(total.size, 24, _PARTS).mean(axis=2)
    day: Any = shape.sum(axis=1, keepdims=True)
    share = np.where(day > 1e-6, shape / np.maximum(day, 1e-6), 1 / 24)
    return np.asarray((share * total[:, None]).ravel() * _MJ_TO_WH, dtype=np.float64)


def monthly_curve(monthly: ArrayLike) -> Floats:
    """365 daily values that run smoothly through the year and have the given 12 monthly means.

    Straight lines between the middles of months, the twelve corners solved for. Raises
    `InputError` unless there are twelve values.

    >>> curve = monthly_curve([1, 2, 4, 8, 12, 16, 18, 17, 13, 9, 5, 2])
    >>> round(float(curve[:31].mean()), 9), curve.size
    (1.0, 365)
    """
    means = np.asarray(monthly, dtype=np.float64)
    if means.shape != (12,):
        raise InputError(
            "twelve values are needed, one a month", field="month", value=str(means.shape)
        )
    ends = np.cumsum(_MONTH_DAYS)
    middles = ends - _MONTH_DAYS / 2
    day = np.arange(365) + 0.5
    around = np.concatenate([[middles[-1] - 365], middles, [middles[0] + 365]])
    weights = np.empty((365, 12))
    for n in range(12):
        corner = np.zeros(12)
        corner[n] = 1.0
        weights[:, n] = np.interp(day, around, [corner[-1], *corner, corner[0]])
    average = np.repeat(np.eye(12), _MONTH_DAYS, axis=1) / _MONTH_DAYS[:, None]
    return np.asarray(weights @ np.linalg.solve(average @ weights, means), dtype=np.float64)
