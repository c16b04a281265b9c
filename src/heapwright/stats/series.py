"""From readings to one number a heap: spots, rounds, air averaged back, windows of heap age.

Units: ages in days since the heap was built, temperatures in degrees C. The air series of a heap
is on that heap's age axis: air time minus the time the heap was built.
Conventions: spots are averaged before anything else; nothing is interpolated outside the rounds
of a heap; missing air is refused by name and never taken as zero.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import InputError, NotEnoughError
from heapwright.stats.air import (
    AIR_SHORT,
    ROUND_SLACK_D,
    SAME_HOUR,
    checked_pair,
    trailing_air,
)
from heapwright.stats.prior import air_memory_d

__all__ = [
    "AIR_SHORT",
    "SAME_HOUR",
    "SPOTS_APART",
    "HeapExcess",
    "HeapSeries",
    "HeapValue",
    "checked_window",
    "excess_series",
    "heap_value",
    "shared_window",
    "trailing_air",
]

Floats = NDArray[np.float64]
SPOTS_APART = "spots changed with no round in common, so they could not be put on one footing"
Measure = Literal["mean", "peak"]


@dataclass(frozen=True, slots=True)
class HeapSeries:
    """The readings of one heap: name, and (age_d, temp_c) arrays of equal length by spot.

    Raises `InputError` for arrays that do not match or are not finite, `NotEnoughError` if there
    is no reading at all. Readings need not be in order.
    """

    heap: str
    spots: Mapping[str, tuple[Floats, Floats]]

    @classmethod
    def of(cls, heap: str, spots: Mapping[str, tuple[ArrayLike, ArrayLike]]) -> HeapSeries:
        """Readings as any arrays; spots without a reading are left out.

        >>> HeapSeries.of("A", {"core": ([0, 3], [20, 50])}).heap
        'A'
        """
        kept: dict[str, tuple[Floats, Floats]] = {}
        for spot, (age, temp) in spots.items():
            pair = checked_pair(age, temp, field=f"heap {heap}, spot {spot}")
            if pair[0].size:
                kept[spot] = pair
        if not kept:
            raise NotEnoughError(
                f"heap {heap} has no readings",
                field="readings",
                way_out="Read it, or leave it out of the comparison and say so",
            )
        return cls(heap, kept)


@dataclass(frozen=True, slots=True)
class HeapExcess:
    """Degrees above air of one heap: one value a round, spots averaged.

    heap : name; age_d, excess_c, temp_c, air_c : arrays, shape (rounds,), by age; air_c is
    averaged back; flags : what a reader must know.
    """

    heap: str
    age_d: Floats
    excess_c: Floats
    temp_c: Floats
    air_c: Floats
    flags: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HeapValue:
    """The one number of a heap: value [degrees C], rounds used, longest gap [day], flags."""

    heap: str
    value: float
    rounds: int
    longest_gap_d: float
    flags: tuple[str, ...]


def excess_series(
    series: HeapSeries,
    air: tuple[ArrayLike, ArrayLike] | None,
    *,
    window: tuple[float, float] | None = None,
    memory_d: float | None = None,
) -> HeapExcess:
    """Degrees above air, one value a round, for the rounds that a window needs.

    Readings of a round are put on one footing by an additive fit (round + spot, spots adding to
    zero), so that a spot missing in some rounds does not move them; with all spots in all rounds
    this is the plain mean.

    Parameters
    ----------
    series : HeapSeries
        The readings of one heap.
    air : (age_d, temp_c) or None
        Air temperature on the heap's own age axis; None if nobody read it.
    window : (float, float), optional
        First and last age [day]; only rounds inside it and the two around it are used.
    memory_d : float, optional
        Days the air is averaged back; that of science/values/spread.toml unless given.

    Returns
    -------
    HeapExcess

    Raises
    ------
    NotEnoughError
        If the air is missing (named with heap and age), or no round lies in the window.
    InputError
        If the window runs backwards or a number is not finite.

    Examples
    --------
    >>> s = HeapSeries.of("A", {"n": ([0, 3], [20.0, 50.0]), "s": ([0, 3], [22.0, 52.0])})
    >>> excess_series(s, ([-6, 3], [10.0, 10.0])).excess_c.tolist()
    [11.0, 41.0]
    """
    spot, age, temp = _rows(series)
    which = _rounds(spot, age)
    count = int(which.max()) + 1
    round_age = np.bincount(which, age, count) / np.bincount(which, minlength=count)
    if window is not None:
        used = _needed(round_age, checked_window(window), series.heap)
        keep = used[which]
        spot, temp = spot[keep], temp[keep]
        which = (np.cumsum(used) - 1)[which[keep]]
        round_age = round_age[used]
    mean, apart = _one_footing(spot, which, temp)
    air_c, flags = trailing_air(
        round_age, air, heap=series.heap, memory_d=air_memory_d() if memory_d is None else memory_d
    )
    if apart:
        flags = (*flags, SPOTS_APART)
    return HeapExcess(series.heap, round_age, mean - air_c, mean, air_c, flags)


def heap_value(
    excess: HeapExcess, window: tuple[float, float], *, measure: Measure = "mean"
) -> HeapValue:
    """The mean over a window (time-weighted, straight lines between rounds) or its peak.

    Parameters
    ----------
    excess : HeapExcess
        Degrees above air, one value a round.
    window : (float, float)
        First and last age [day]; the heap must cover it, to half a day.
    measure : {"mean", "peak"}, default "mean"
        "peak" is the highest round inside the window.

    Returns
    -------
    HeapValue

    Raises
    ------
    NotEnoughError
        If the heap does not cover the window; names the heap and what is missing.

    Examples
    --------
    >>> s = HeapSeries.of("A", {"n": ([0, 2, 6], [10.0, 30.0, 30.0])})
    >>> e = excess_series(s, (range(-6, 7), [10.0] * 13))
    >>> round(heap_value(e, (0, 6)).value, 3), heap_value(e, (0, 6), measure="peak").value
    (16.667, 20.0)
    """
    low, high = checked_window(window)
    age, value = excess.age_d, excess.excess_c
    _refuse_uncovered(excess.heap, age, low, high)
    low, high = max(low, float(age[0])), min(high, float(age[-1]))
    inside = (age > low) & (age < high)
    t = np.concatenate(([low], age[inside], [high]))
    y = np.interp(t, age, value)
    rounds = int(((age >= low) & (age <= high)).sum())
    around = age[_needed(age, (low, high), excess.heap)]
    gap = float(np.diff(around).max(initial=0.0))
    if measure == "peak":
        near = (age >= low) & (age <= high)
        if not near.any():
            raise _missing(excess.heap, low, high, "has no round inside it")
        number = float(value[near].max())
    elif high - low <= 0:
        raise _missing(excess.heap, low, high, "has a single round there")
    else:
        number = float((np.diff(t) * (y[1:] + y[:-1])).sum() / 2 / (high - low))
    return HeapValue(excess.heap, number, rounds, gap, excess.flags)


def shared_window(excesses: Mapping[str, HeapExcess]) -> tuple[float, float]:
    """The ages that every heap covers; `NotEnoughError` if there are none.

    >>> s = HeapSeries.of("A", {"n": ([0, 2, 6], [10.0, 30.0, 30.0])})
    >>> shared_window({"A": excess_series(s, (range(-6, 7), [10.0] * 13))})
    (0.0, 6.0)
    """
    if not excesses:
        raise NotEnoughError("no heap has readings", field="heaps")
    low = max(float(e.age_d[0]) for e in excesses.values())
    high = min(float(e.age_d[-1]) for e in excesses.values())
    if high <= low:
        late = max(excesses, key=lambda h: float(excesses[h].age_d[0]))
        raise NotEnoughError(
            f"there is no age at which every heap was read; heap {late} was first read at "
            f"{low:.0f} days",
            field="window",
            way_out="Leave that heap out and say so, or keep reading",
        )
    return low, high


# --- parts ---------------------------------------------------------------------------------------


def _rows(series: HeapSeries) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Spot number, age and temperature of every reading, by age."""
    spots = sorted(series.spots)
    number = np.concatenate([np.full(series.spots[s][0].size, i) for i, s in enumerate(spots)])
    age = np.concatenate([series.spots[s][0] for s in spots])
    temp = np.concatenate([series.spots[s][1] for s in spots])
    order = np.lexsort((number, age))
    return number[order].astype(np.intp), age[order], temp[order]


def _rounds(spot: NDArray[np.intp], age: Floats) -> NDArray[np.intp]:
    """Round of every reading: a new one begins when a spot comes again or half a day has passed."""
    which = np.empty(age.size, dtype=np.intp)
    seen: set[int] = set()
    current, start = 0, float(age[0])
    for i, (s, t) in enumerate(zip(spot.tolist(), age.tolist(), strict=True)):
        if s in seen or t - start > ROUND_SLACK_D:
            current, start = current + 1, t
            seen.clear()
        seen.add(s)
        which[i] = current
    return which


def _needed(age: Floats, window: tuple[float, float], heap: str) -> NDArray[np.bool_]:
    """The rounds inside a window, with the one before and the one after it."""
    low, high = window
    first = max(int(np.searchsorted(age, low, side="right")) - 1, 0)
    last = min(int(np.searchsorted(age, high, side="left")), age.size - 1)
    used = np.zeros(age.size, dtype=np.bool_)
    used[first : last + 1] = True
    if not used.any():
        raise _missing(heap, low, high, "has no round there")
    return used


def _one_footing(
    spot: NDArray[np.intp], which: NDArray[np.intp], temp: Floats
) -> tuple[Floats, bool]:
    """Round means with the spots on one footing, and whether spots had no round in common.

    Least squares of round + spot: with n readings a round, the spot effects solve
    (D - N' n^-1 N) s = y_s - N' (round means), D the readings a spot. Spots adding to zero over
    those linked by shared rounds; groups without a link cannot be told from their rounds.
    """
    labels, s = np.unique(spot, return_inverse=True)
    count = int(which.max()) + 1
    table = np.zeros((count, labels.size))
    np.add.at(table, (which, s), 1.0)
    a_round = table.sum(axis=1)
    raw = np.bincount(which, temp, count) / a_round
    if (table == table[0]).all() and (table[0] == table[0][0]).all():
        return raw, False
    matrix = np.diag(table.sum(axis=0)) - table.T @ (table / a_round[:, None])
    right = np.bincount(s, temp, labels.size) - table.T @ raw
    groups = _linked(table)
    effect = np.zeros(labels.size)
    for members in groups:
        effect[members] = np.linalg.pinv(matrix[np.ix_(members, members)]) @ right[members]
        effect[members] -= effect[members].mean()
    return raw - (table @ effect) / a_round, len(groups) > 1


def _linked(table: Floats) -> list[list[int]]:
    """Groups of spots that shared rounds link with each other."""
    together = (table.T @ table) > 0
    left, groups = set(range(table.shape[1])), []
    while left:
        group, edge = set(), {min(left)}
        while edge:
            group |= edge
            edge = {j for i in edge for j in np.flatnonzero(together[i]).tolist()} - group
        left -= group
        groups.append(sorted(group))
    return groups


def checked_window(window: tuple[float, float]) -> tuple[float, float]:
    """First and last age of a window [day]; `InputError` unless it runs forwards."""
    low, high = float(window[0]), float(window[1])
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        raise InputError(
            "a window runs from a smaller to a larger age",
            field="window",
            value=f"{low:g} to {high:g} days",
            way_out="Write it as 3 to 60 days",
        )
    return low, high


def _refuse_uncovered(heap: str, age: Floats, low: float, high: float) -> None:
    first, last = float(age[0]), float(age[-1])
    if first > low + ROUND_SLACK_D:
        raise _missing(heap, low, high, f"was first read at {first:.1f} days")
    if last < high - ROUND_SLACK_D:
        raise _missing(heap, low, high, f"was last read at {last:.1f} days")


def _missing(heap: str, low: float, high: float, why: str) -> NotEnoughError:
    return NotEnoughError(
        f"heap {heap} does not cover day {low:g} to day {high:g}: it {why}",
        field="window",
        way_out="Read on until every heap covers it, or leave the heap out and say so",
    )
