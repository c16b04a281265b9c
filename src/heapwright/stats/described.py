"""Outcomes that are noisy or only described: degree-hours, days to the peak, cooling half-life.

Units: degrees C, hours and days as named. Convention: compared on identical rounds only, because
a round more or less changes them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import NotEnoughError
from heapwright.stats.series import HeapExcess, heap_value

__all__ = ["days_above", "days_to_peak", "degree_hours", "half_cooling_d", "same_schedule"]


Floats = NDArray[np.float64]


def degree_hours(excess: HeapExcess, window: tuple[float, float], above_c: float) -> float:
    """Degree-hours of the heap's own temperature above a limit, straight lines between rounds.

    Parameters
    ----------
    excess : HeapExcess
        The rounds of one heap.
    window : (float, float)
        First and last age [day]; the heap must cover it, else `NotEnoughError`.
    above_c : float
        The limit [degrees C].

    Returns
    -------
    float
        [degrees C x hours], >= 0.

    Examples
    --------
    >>> from heapwright.stats.series import HeapSeries, excess_series
    >>> s = HeapSeries.of("A", {"n": ([0, 2], [50.0, 60.0])})
    >>> degree_hours(excess_series(s, ([-6, 2], [10.0, 10.0])), (0, 2), 55.0)
    60.0
    """
    a, b, dt, share = _above(excess, window, above_c)
    return float((dt * (np.maximum(a, 0) + np.maximum(b, 0)) / 2 * share).sum() * 24)


def days_above(excess: HeapExcess, window: tuple[float, float], above_c: float) -> float:
    """Days that the heap's own temperature stood above a limit, straight lines between rounds.

    Arguments and errors as in `degree_hours`; [day], >= 0.

    >>> from heapwright.stats.series import HeapSeries, excess_series
    >>> s = HeapSeries.of("A", {"n": ([0, 2], [50.0, 60.0])})
    >>> days_above(excess_series(s, ([-6, 2], [10.0, 10.0])), (0, 2), 55.0)
    1.0
    """
    a, b, dt, share = _above(excess, window, above_c)
    return float((dt * share * ((a > 0) | (b > 0))).sum())


def _above(
    excess: HeapExcess, window: tuple[float, float], above_c: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """By step between rounds: degrees over the limit at both ends, days, and the share over it."""
    heap_value(excess, window)  # refuses a window the heap does not cover
    low = max(window[0], float(excess.age_d[0]))
    high = min(window[1], float(excess.age_d[-1]))
    inside = (excess.age_d > low) & (excess.age_d < high)
    t = np.concatenate(([low], excess.age_d[inside], [high]))
    y = np.interp(t, excess.age_d, excess.temp_c) - above_c
    a, b, dt = y[:-1], y[1:], np.diff(t)
    crossing = a * b < 0
    share = np.where(crossing, np.maximum(a, b) / np.where(crossing, np.abs(a - b), 1.0), 1.0)
    return a, b, dt, share


def days_to_peak(excess: HeapExcess, window: tuple[float, float]) -> float:
    """Age of the round with the highest degrees above air in a window [day]."""
    peak = heap_value(excess, window, measure="peak").value
    inside = (excess.age_d >= window[0]) & (excess.age_d <= window[1])
    hit = inside & (excess.excess_c == peak)
    at = hit if hit.any() else excess.excess_c == peak
    return float(excess.age_d[at][0])


def half_cooling_d(excess: HeapExcess, window: tuple[float, float]) -> float:
    """Days from the peak of a window until degrees above air have halved for good.

    Raises `NotEnoughError` if they have not halved by the last round of the window.
    """
    top = days_to_peak(excess, window)
    after = (excess.age_d >= top) & (excess.age_d <= window[1])
    t, y = excess.age_d[after], excess.excess_c[after]
    half = y[0] / 2
    above = np.flatnonzero(y > half)
    last = int(above[-1]) if above.size else 0
    if last == y.size - 1:
        raise NotEnoughError(
            f"heap {excess.heap} has not yet fallen halfway from its peak on day {top:.0f}",
            field="window",
            way_out="Read on, or leave this description out",
        )
    step = (y[last] - half) / (y[last] - y[last + 1])
    return float(t[last] + step * (t[last + 1] - t[last]) - top)


def same_schedule(ages: dict[str, list[float]], *, within_d: float = 0.5) -> bool:
    """Whether all heaps were read at the same ages, to *within_d* days.

    >>> same_schedule({"A": [0, 3.1], "B": [0, 3]}), same_schedule({"A": [0, 3], "B": [0]})
    (True, False)
    """
    rows = [sorted(row) for row in ages.values()]
    if len({len(row) for row in rows}) > 1:
        return False
    return all(max(at) - min(at) <= within_d for at in zip(*rows, strict=True))
