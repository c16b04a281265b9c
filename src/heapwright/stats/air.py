"""The air near the heaps, averaged back over the days in which a core follows it.

Units: ages in days on the heap's own axis, temperatures in degrees C.
Conventions: straight lines between readings; missing air is refused by name, never taken as zero.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import InputError, NotEnoughError

__all__ = ["AIR_SHORT", "ROUND_SLACK_D", "SAME_HOUR", "checked_pair", "trailing_air"]

Floats = NDArray[np.float64]
SAME_HOUR = "only same-hour air"
AIR_SHORT = "less than the full days of air before some rounds"
#: Readings of different spots this close are one round, and a round this close to the edge of a
#: window covers it [day]: a window is given in whole days, a round has an hour.
ROUND_SLACK_D = 0.5
_SAME_HOUR_D = 1.0 / 24


def trailing_air(
    age_d: ArrayLike,
    air: tuple[ArrayLike, ArrayLike] | None,
    *,
    heap: str,
    memory_d: float,
) -> tuple[Floats, tuple[str, ...]]:
    """The air averaged over the days before each age, straight lines between readings.

    Parameters
    ----------
    age_d : array, shape (n,)
        Ages at which it is wanted [day].
    air : (age_d, temp_c) or None
        The air readings on the same axis.
    heap : str
        Named in errors.
    memory_d : float
        Days to average over [day], > 0; where the readings start later, over what there is.

    Returns
    -------
    air_c : array, shape (n,)
        [degrees C]
    flags : tuple of str
        `AIR_SHORT`, `SAME_HOUR` where they apply.

    Raises
    ------
    NotEnoughError
        If no air reading lies in the days before an age; names heap and age.

    Examples
    --------
    >>> trailing_air([6.0], ([0, 6], [0.0, 12.0]), heap="A", memory_d=6.0)[0].tolist()
    [6.0]
    """
    want = np.atleast_1d(np.asarray(age_d, dtype=np.float64))
    t, y = checked_pair(*air, field="air") if air is not None else (np.empty(0), np.empty(0))
    if t.size == 0:
        raise _no_air(heap, None, memory_d)
    near = np.searchsorted(t, want + ROUND_SLACK_D, side="right") - 1
    last = np.where(near >= 0, t[np.maximum(near, 0)], -math.inf)
    missing = last < want - memory_d
    if missing.any():
        raise _no_air(heap, float(want[missing][0]), memory_d)
    high = np.clip(want, t[0], t[-1])
    low = np.clip(want - memory_d, t[0], high)
    width = high - low
    area = _integral(t, y, high) - _integral(t, y, low)
    point = np.interp(high, t, y)
    mean = np.where(width > 1e-9, area / np.where(width > 1e-9, width, 1.0), point)
    flags: list[str] = []
    if (width < memory_d - ROUND_SLACK_D).any():
        flags.append(AIR_SHORT)
    if _same_hour(t):
        flags.append(SAME_HOUR)
    return mean, tuple(flags)


def checked_pair(age: ArrayLike, temp: ArrayLike, *, field: str) -> tuple[Floats, Floats]:
    """Two finite arrays of one length, by age; readings at one moment are averaged."""
    t = np.atleast_1d(np.asarray(age, dtype=np.float64))
    y = np.atleast_1d(np.asarray(temp, dtype=np.float64))
    if t.shape != y.shape or t.ndim != 1:
        raise InputError(
            "every temperature needs one age", field=field, value=f"{t.size} ages, {y.size} values"
        )
    if not (np.isfinite(t).all() and np.isfinite(y).all()):
        raise InputError(
            "ages and temperatures must be finite numbers",
            field=field,
            way_out="Leave a missing reading out",
        )
    moments, which = np.unique(t, return_inverse=True)
    if moments.size == 0:
        return moments, y
    return moments, np.bincount(which, y) / np.bincount(which)


def _integral(t: Floats, y: Floats, at: Floats) -> Floats:
    """Integral of the straight lines through (t, y) from t[0] to *at*, within the readings."""
    steps = np.concatenate(([0.0], np.cumsum(np.diff(t) * (y[1:] + y[:-1]) / 2)))
    i = np.clip(np.searchsorted(t, at, side="right") - 1, 0, t.size - 1)
    here = np.interp(at, t, y)
    return np.asarray(steps[i] + (at - t[i]) * (here + y[i]) / 2)


def _same_hour(t: Floats) -> bool:
    """Whether all moments lie within an hour of one time of day."""
    angle = 2 * np.pi * (t % 1)
    centre = math.atan2(float(np.sin(angle).sum()), float(np.cos(angle).sum()))
    off = np.abs((angle - centre + np.pi) % (2 * np.pi) - np.pi)
    return bool((off <= 2 * np.pi * _SAME_HOUR_D + 1e-9).all())


def _no_air(heap: str, age: float | None, memory_d: float) -> NotEnoughError:
    when = "" if age is None else f" in the {memory_d:g} days up to day {age:.1f}"
    return NotEnoughError(
        f"there is no air reading for heap {heap}{when}, so degrees above air are not known",
        field="air_temp_c",
        way_out="Enter the air of those rounds, or bring in a nearby weather record",
    )
