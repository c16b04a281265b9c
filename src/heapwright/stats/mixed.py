"""A second opinion on two ways: every reading in one mixed model, with the heap as the unit.

Units: degrees C above air, ages in days. Conventions: the estimate is way minus control, averaged
over a window of heap ages; every way has a smooth course of its own over age (a natural cubic
spline), and around it heaps differ, wander, and have spots and reading noise. It stands beside the
one-number-a-heap interval, never in its place. The model itself is in `heapwright.stats.mixedfit`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats.air import ROUND_SLACK_D
from heapwright.stats.contrast import Interval, t_quantile
from heapwright.stats.mixedfit import FTest, MixedFit, fit_reml
from heapwright.stats.series import checked_window

__all__ = [
    "FTest",
    "HeapReadings",
    "MixedFit",
    "SecondOpinion",
    "fit_reml",
    "opinions",
    "second_opinion",
]

Floats = NDArray[np.float64]
_MOST_KNOTS, _ROUNDS_A_KNOT = 7, 3
#: Fewest rounds a heap from which a wander can be told from reading noise.
_ROUNDS_FOR_WANDER = 6
#: More ages a heap than this (a logger) are averaged down, spot by spot: the work grows as their
#: cube, and readings minutes apart tell next to nothing new about a heap.
_MOST_AGES = 80
_PLAIN = {
    "heap": "heaps of one way came out no further apart than their readings explain",
    "spot": "spots of a heap came out alike",
    "wander": "heaps came out without a wander of their own",
    "reading": "readings came out without noise of their own",
    "range_d": "how long a wander lasts could not be told within the window",
}


@dataclass(frozen=True, slots=True)
class HeapReadings:
    """The readings of one heap: its name and way, and spot, age and value of each.

    spot : names, length n; age_d : age of the heap [day], (n,); excess_c : degrees above air [C],
    (n,). Raises `InputError` if lengths differ or a number is not finite, `NotEnoughError` if
    there is no reading.
    """

    heap: str
    way: str
    spot: tuple[str, ...]
    age_d: Floats
    excess_c: Floats

    @classmethod
    def of(
        cls, heap: str, way: str, spot: Iterable[str], age_d: ArrayLike, excess_c: ArrayLike
    ) -> HeapReadings:
        """Readings as any arrays.

        >>> HeapReadings.of("A", "turned", ["n", "s"], [3, 3], [41.0, 40.0]).way
        'turned'
        """
        return cls(
            heap,
            way,
            tuple(spot),
            np.asarray(age_d, dtype=np.float64),
            np.asarray(excess_c, dtype=np.float64),
        )

    def __post_init__(self) -> None:
        field = f"heap {self.heap}"
        if not len(self.spot) == self.age_d.size == self.excess_c.size:
            raise InputError("every reading needs a spot, an age and a value", field=field)
        if not len(self.spot):
            raise NotEnoughError(
                f"heap {self.heap} has no readings",
                field="readings",
                way_out="Read it, or leave it out of the comparison and say so",
            )
        if not (np.isfinite(self.age_d).all() and np.isfinite(self.excess_c).all()):
            raise InputError("ages and degrees above air must be numbers", field=field)

    def within(self, low: float, high: float) -> HeapReadings:
        """Only the readings of a window, to half a day; ages brought into it."""
        kept = (self.age_d >= low - ROUND_SLACK_D) & (self.age_d <= high + ROUND_SLACK_D)
        first, last = float(self.age_d.min()), float(self.age_d.max())
        if first > low + ROUND_SLACK_D or last < high - ROUND_SLACK_D or not kept.any():
            raise NotEnoughError(
                f"heap {self.heap} does not cover day {low:g} to day {high:g}: it was read from "
                f"{first:.1f} to {last:.1f} days",
                field="window",
                way_out="Read on until every heap covers it, or leave the heap out and say so",
            )
        spot = tuple(s for s, k in zip(self.spot, kept.tolist(), strict=True) if k)
        age = np.clip(self.age_d[kept], low, high)
        return HeapReadings(self.heap, self.way, spot, age, self.excess_c[kept])

    def averaged(self, low: float, step_d: float) -> HeapReadings:
        """Means of each spot over steps of age from *low* on; ages are means too."""
        names, spot = np.unique(np.array(self.spot), return_inverse=True)
        step = np.floor((self.age_d - low) / step_d).astype(np.intp)
        cells, cell = np.unique(step * names.size + spot, return_inverse=True)
        count = np.bincount(cell)
        # one age a step for all spots, so that they stay readings of one round
        steps, which = np.unique(step, return_inverse=True)
        age = np.bincount(which, self.age_d) / np.bincount(which)
        return HeapReadings(
            self.heap,
            self.way,
            tuple(str(names[k]) for k in cells % names.size),
            age[np.searchsorted(steps, cells // names.size)],
            np.bincount(cell, self.excess_c) / count,
        )


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """What the mixed model says.

    interval : way minus control over the window [C]; heap_sd_c, spot_sd_c, wander_sd_c,
    reading_sd_c : standard deviations between heaps, between spots of a heap, of the wander and of
    a reading [C], 0 if the part came out at 0, None if it was not in the model; wander_d : days
    after which a wander has lost two thirds of itself; satterthwaite_df : degrees of freedom
    before they were held within those of the heaps; at_boundary : parts at an end of their range;
    heaps, readings : how many; notes : what a reader must know.
    """

    interval: Interval
    heap_sd_c: float
    spot_sd_c: float | None
    wander_sd_c: float | None
    wander_d: float | None
    reading_sd_c: float
    satterthwaite_df: float
    at_boundary: tuple[str, ...]
    heaps: int
    readings: int
    notes: tuple[str, ...]


def second_opinion(
    heaps: Sequence[HeapReadings],
    way: str,
    control: str,
    window: tuple[float, float],
    *,
    level: float = 0.95,
) -> SecondOpinion:
    """The difference of two ways over a window, from every reading at once.

    Reading = course of the way over age + heap + spot + wander of the heap + noise. Each way's
    course is a natural cubic spline whose columns have mean 0 over the window, so that the
    difference of two ways' constants is the difference of their window means. Spots are in the
    model if a heap has two, the wander if every heap has six rounds; readings at more than 80
    ages of a heap are averaged down first, spot by spot.

    Parameters
    ----------
    heaps : sequence of HeapReadings
        All heaps of the trial under all its ways, as they share the variances.
    way, control : str
        Which two; the estimate is way minus control.
    window : (float, float)
        First and last age [day]; every heap must cover it, to half a day.
    level : float, default 0.95
        Level of the interval, 0 to 1.

    Returns
    -------
    SecondOpinion

    Raises
    ------
    UnknownNameError
        If no heap is managed in one of the two ways.
    NotEnoughError
        If every way has a single heap, a heap does not cover the window or has a single round in
        it, or the search does not settle.
    InputError
        If the window runs backwards, a heap comes twice, or the two ways are one.

    Notes
    -----
    Degrees of freedom are Satterthwaite's, held between 1 and heaps minus ways: no reading tells
    more about how far heaps differ than the heaps do. Without that hold a heap variance of 0
    (common with few heaps) would count readings as heaps. With all heaps read on the same rounds
    the estimate is nearly that of `contrast.pooled_t` on the window means. On invented trials
    without effect (20 rounds, 3 spots) the interval left out 0 in .028 of 1000 with two heaps each
    and .046 of 500 with three, the pooled one in .054 of both; watched on fewer in
    tests/unit/stats/test_mixed.py.

    Examples
    --------
    >>> age = np.arange(3.0, 24.0, 3.0)
    >>> def heap(name, way, top, seed):
    ...     noise = np.random.default_rng(seed).normal(size=age.size)
    ...     return HeapReadings.of(name, way, ["core"] * age.size, age, top - age / 3 + noise)
    >>> rows = [heap("A", "left", 30, 1), heap("B", "left", 33, 2), heap("C", "turned", 37, 3),
    ...         heap("D", "turned", 41, 4)]
    >>> r = second_opinion(rows, "turned", "left", (3, 21))
    >>> r.interval.estimate > 5, r.interval.df <= 2, r.spot_sd_c is None
    (True, True, True)
    """
    return opinions(heaps, (way,), control, window, level=level)[way]


def opinions(
    heaps: Sequence[HeapReadings],
    others: Sequence[str],
    control: str,
    window: tuple[float, float],
    *,
    level: float = 0.95,
) -> dict[str, SecondOpinion]:
    """`second_opinion` of several ways against one control: the model is fitted once for all.

    others : the ways held against *control*; raises as `second_opinion`.
    """
    low, high = checked_window(window)
    ways: list[str] = []
    for way in others:
        ways = _ways(heaps, way, control)
    if not ways:
        return {}
    inside = [h.within(low, high) for h in heaps]
    notes: tuple[str, ...] = ()
    if max(np.unique(h.age_d).size for h in inside) > _MOST_AGES:
        step_d = (high - low) / _MOST_AGES
        inside = [h.averaged(low, step_d) for h in inside]
        notes = (f"readings of a spot were averaged over {24 * step_d:.2g} hours first",)
    rounds = min(_rounds(h) for h in inside)
    if rounds < 2:
        raise NotEnoughError(
            "a heap has a single round in the window, which shows no course",
            field="window",
            value=f"{low:g} to {high:g} days",
            way_out="Take a longer window, or rest on the pooled interval",
        )
    fit = _fit(inside, ways, (low, high), rounds)
    most = float(len(heaps) - len(ways))
    return {
        way: _held(fit, (ways.index(way), ways.index(control)), most, level, inside, notes)
        for way in others
    }


# --- parts ---------------------------------------------------------------------------------------


def _held(
    fit: MixedFit, pair: tuple[int, int], most: float, level: float,
    heaps: Sequence[HeapReadings], notes: tuple[str, ...],
) -> SecondOpinion:  # fmt: skip
    """The difference of two ways by the fit, its degrees of freedom at most *most*."""
    weights = np.zeros(fit.coef.size)
    weights[pair[0]], weights[pair[1]] = 1.0, -1.0
    raw = fit.df(weights)
    df = min(max(raw, 1.0), most)
    estimate, se = float(weights @ fit.coef), math.sqrt(weights @ fit.cov @ weights)
    reach = t_quantile(level, df) * se
    wander = ", wander" if "wander" in fit.parts else ""
    method = (
        f"mixed model of all readings at once (REML: heap{wander}, noise), its doubt held to the "
        "number of heaps"
    )
    return _told(
        fit,
        Interval(estimate, se, df, estimate - reach, estimate + reach, level, method),
        raw,
        heaps,
        notes,
    )


def _fit(
    heaps: Sequence[HeapReadings],
    ways: Sequence[str],
    window: tuple[float, float],
    rounds: int,
) -> MixedFit:
    """The model of all heaps: first a constant for each way, then its course."""
    age = np.concatenate([h.age_d for h in heaps])
    course = _course(age, window, min(_MOST_KNOTS, max(2, rounds // _ROUNDS_A_KNOT)))
    which = np.repeat([ways.index(h.way) for h in heaps], [h.age_d.size for h in heaps])
    member = np.eye(len(ways))[which]
    x = np.hstack([member, *(course * member[:, [k]] for k in range(len(ways)))])
    spots = any(len(set(h.spot)) > 1 for h in heaps)
    return fit_reml(
        np.concatenate([h.excess_c for h in heaps]),
        x,
        [h.heap for h in heaps for _ in h.spot],
        spot=[s for h in heaps for s in h.spot] if spots else None,
        age_d=age if rounds >= _ROUNDS_FOR_WANDER else None,
    )


def _course(age_d: Floats, window: tuple[float, float], count: int) -> Floats:
    """Columns of a natural cubic spline with mean 0 over the window, (n, count - 1)."""
    low, high = window
    inner = np.quantile(age_d, np.linspace(0, 1, count))[1:-1]
    knots = np.unique(np.concatenate(([low], inner[(inner > low) & (inner < high)], [high])))
    if knots.size == 2:
        return np.asarray((age_d - (low + high) / 2) / (high - low))[:, None]
    spline = CubicSpline(knots, np.eye(knots.size), bc_type="natural")
    mean = spline.integrate(low, high) / (high - low)
    return np.asarray((spline(age_d) - mean)[:, 1:])


def _told(
    fit: MixedFit,
    interval: Interval,
    raw: float,
    heaps: Sequence[HeapReadings],
    notes: tuple[str, ...],
) -> SecondOpinion:
    def sd(name: str) -> float | None:
        return math.sqrt(max(fit.parts[name], 0.0)) if name in fit.parts else None

    wander = sd("wander")
    return SecondOpinion(
        interval=interval,
        heap_sd_c=sd("heap") or 0.0,
        spot_sd_c=sd("spot"),
        wander_sd_c=wander,
        wander_d=fit.parts["range_d"] if wander else None,
        reading_sd_c=sd("reading") or 0.0,
        satterthwaite_df=raw,
        at_boundary=fit.at_boundary,
        heaps=len(heaps),
        readings=sum(h.age_d.size for h in heaps),
        notes=(*notes, *(_PLAIN[name] for name in fit.at_boundary)),
    )


def _rounds(heap: HeapReadings) -> int:
    """Rounds of a heap: a new one begins when half a day has passed."""
    ages = np.unique(heap.age_d)
    count, start = 1, float(ages[0])
    for age in ages.tolist():
        if age - start > ROUND_SLACK_D:
            count, start = count + 1, age
    return count


def _ways(heaps: Sequence[HeapReadings], way: str, control: str) -> list[str]:
    """The ways of the trial, with the two there and at least one way with two heaps."""
    ways = list(dict.fromkeys(h.way for h in heaps))
    for name, field in ((way, "way"), (control, "control")):
        if name not in ways:
            raise UnknownNameError(
                "there is no way of that name in this comparison",
                field=field,
                value=name,
                way_out=f"Choose one of {', '.join(ways)}",
            )
    if way == control:
        raise InputError("a way cannot be compared with itself", field="way", value=way)
    names = [h.heap for h in heaps]
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise InputError(
            "a heap comes twice",
            field="heap",
            value=twice[0],
            way_out="Put all its readings in one row",
        )
    if len(heaps) == len(ways):
        raise NotEnoughError(
            "with one heap each nothing in the trial shows how far heaps treated alike differ, "
            "however many readings there are",
            field="heaps",
            way_out="Build a second heap of at least one way, or rest on the informed interval",
        )
    return ways
