"""Why two heaps differ: the share of each cause, by swapping it from either heap into the other.

Units: degrees C of the mean over common spots and days. Conventions: a cause is swapped in each
possible heap of the ensemble, from B into A and from A into B; its share is the mean of the two
effects, its order the difference between them. Shares need not add up to the gap: what two causes
do together belongs to neither. Positive makes the first heap warmer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.scenario import Action, HeapSpec, Pipe
from heapwright.engine.shapes import measures_of
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.inference.members import Course, Subject
from heapwright.inference.priors import knobs

__all__ = ["CAUSES", "Share", "Why", "gap_of", "judged", "swapped", "why"]

Floats = NDArray[np.float64]
CAUSES = ("material", "air path", "water", "exposure and size", "turning")
_SPEC = {
    "material": ("dry_density", "leafy_share", "field_capacity", "wet_fine"),
    "air path": (),
    "water": ("moisture_wb",),
    "exposure and size": (
        "volume_m3", "shape", "height_m", "width_m", "length_m", "exposure", "slope_deg", "start_c",
        "soil_c", "cover",
    ),
    "turning": (),
}  # fmt: skip
_ACTIONS = {
    "air path": ("vent opened", "vent plugged", "vent pulled", "air on", "air off"),
    "water": ("watered", "moistened"),
    "exposure and size": ("covered", "uncovered"),
    "turning": ("turned",),
}
#: a share smaller than this is no cause worth naming [degrees C]
_WORTH = 2.0
#: a cause is named when it is the largest in at least this share of the members
_SURE = 0.45
#: two causes that trade against each other more than this cannot be told apart
_TRADED = -0.6


@dataclass(frozen=True, slots=True)
class Share:
    """The share of a cause [degrees C]: cause; mean; low, high : 80 % of the members; into_first,
    into_second : means of the effect swapped into one and the other; first : in which share of the
    members it is the largest."""

    cause: str
    mean: float
    low: float
    high: float
    into_first: float
    into_second: float
    first: float


@dataclass(frozen=True, slots=True)
class Why:
    """Why heap *one* is warmer or cooler than *other*: gap : (low, mean, high) of the members;
    shares : the cause that is most often the largest stands first; first : the cause named, None
    for "cannot tell"; confounded : pairs of causes that could each explain what the other does."""

    one: str
    other: str
    gap: tuple[float, float, float]
    shares: tuple[Share, ...]
    first: str | None
    confounded: tuple[tuple[str, str], ...]


def swapped(
    into: Subject,
    numbers: Mapping[str, float],
    source: Subject,
    theirs: Mapping[str, float],
    cause: str,
) -> tuple[Subject, dict[str, float]]:
    """A heap with one cause taken from another: the subject and its numbers."""
    mixed = dict(numbers)
    for name in numbers:
        if _cause_of(name) == cause:
            mixed[name] = theirs.get(name, 0.0)
    changes: dict[str, Any] = {name: getattr(source.spec, name) for name in _SPEC[cause]}
    spec = into.spec
    kinds = _ACTIONS.get(cause, ())
    if cause == "air path":
        changes["pipes"] = _fitted_in(source.spec.pipes, source.spec, spec)
    if cause == "exposure and size":
        changes["spots"] = source.spec.spots
        changes["pipes"] = _fitted_in(spec.pipes, spec, source.spec)
        mixed |= {n: v for n, v in theirs.items() if n.startswith("depth:")}
    if kinds:
        mine = [a for a in into.actions if a.kind not in kinds]
        actions = tuple(sorted((*mine, *_of(source.actions, kinds)), key=lambda a: a.age_d))
    else:
        actions = into.actions
    if "pipes" in changes and not changes["pipes"]:
        actions = tuple(a for a in actions if a.kind not in _ACTIONS["air path"])
    new = replace(into, spec=replace(spec, **changes), actions=actions)
    if cause == "material":
        new = replace(new, recipe=source.recipe)
    if cause == "exposure and size":
        new = replace(new, weather=source.weather, start_h=source.start_h)
    return new, mixed


def _cause_of(name: str) -> str:
    """The cause that a number belongs to; that of a spot is written NAME:SPOT."""
    return next(k.cause for k in knobs() if k.name == name.partition(":")[0])


def _of(actions: Sequence[Action], kinds: Sequence[str]) -> list[Action]:
    return [a for a in actions if a.kind in kinds]


def _fitted_in(pipes: tuple[Pipe, ...], of: HeapSpec, into: HeapSpec) -> tuple[Pipe, ...]:
    """Pipes of a heap laid into another one in proportion to its measures."""
    if not pipes:
        return ()
    (w, h, long), (w2, h2, long2) = (
        measures_of(
            s.shape, s.volume_m3, height_m=s.height_m, width_m=s.width_m, length_m=s.length_m
        )
        for s in (of, into)
    )
    by = (long2 / long, w2 / w, h2 / h)
    return tuple(
        replace(
            p,
            points_m=tuple((x * by[0], y * by[1], z * by[2]) for x, y, z in p.points_m),
        )
        for p in pipes
    )


def gap_of(one: Sequence[Course], other: Sequence[Course], days: Sequence[float]) -> Floats:
    """How much warmer *one* is than *other*, (members,): mean over common spots and *days*."""
    return np.array(
        [_mean(a, b, days) - _mean(b, a, days) for a, b in zip(one, other, strict=True)]
    )


def _mean(course: Course, beside: Course, days: Sequence[float]) -> float:
    spots = [s for s in course.spots if s in beside.spots]
    curves = [course.spots[s]["temp_c"] for s in spots] or [course.curves["mean_c"]]
    hours = np.asarray(days) * 24.0
    return float(np.mean([np.interp(hours, course.hours, c) for c in curves]))


def why(
    fitted: Fitted, one: str, other: str, days: Sequence[float], *, crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Why:  # fmt: skip
    """Why heap *one* differs from *other*, over the mean of *days*.

    Only causes in which the two can differ are swapped. Raises `UnknownNameError` for a heap that
    was not fitted.
    """
    team = crew or Crew(1)
    a, b = fitted.subject(one), fitted.subject(other)
    mine, theirs = fitted.numbers(one), fitted.numbers(other)
    causes = [c for c in CAUSES if _differs(a, b, mine[0], theirs[0], c)]
    work: list[tuple[Any, Any]] = []
    for cause in causes:
        for x, xs, y, ys in ((a, mine, b, theirs), (b, theirs, a, mine)):
            pairs = [swapped(x, n, y, m, cause) for n, m in zip(xs, ys, strict=True)]
            work.append((pairs[0][0], [p[1] for p in pairs]))
    until = max(days) + 0.01
    count, total = [0], sum(len(m) for _, m in work)

    def tell(more: int) -> None:
        count[0] += more
        if on_progress is not None:
            on_progress(count[0], total)

    made = team.run(work, until, fitted.settings.cell_m, on_done=tell)
    as_is = fitted.courses[one], fitted.courses[other]
    effects: dict[str, tuple[Floats, Floats]] = {}
    whole = gap_of(*as_is, days)
    for n, cause in enumerate(causes):
        effects[cause] = (
            whole - gap_of(made[2 * n], as_is[1], days),
            whole - gap_of(as_is[0], made[2 * n + 1], days),
        )
    return judged(one, other, whole, effects)


def judged(one: str, other: str, gap: Floats, effects: Mapping[str, tuple[Floats, Floats]]) -> Why:
    """Shares, the cause that is named, and what cannot be told apart, from effects by member."""
    each = {c: (x + y) / 2 for c, (x, y) in effects.items()}
    table = np.array(list(each.values())) if each else np.zeros((0, gap.size))
    largest = np.abs(table).argmax(axis=0) if each else np.zeros(gap.size, dtype=int)
    shares = [
        Share(
            c, float(s.mean()), float(np.quantile(s, 0.1)), float(np.quantile(s, 0.9)),
            float(effects[c][0].mean()), float(effects[c][1].mean()),
            float(np.mean(largest == n)),
        )
        for n, (c, s) in enumerate(each.items())
    ]  # fmt: skip
    # by the chance of being the main cause: a mean share hides a cause whose sign is not known
    shares.sort(key=lambda s: (-s.first, -abs(s.mean)))
    first = None
    if shares and abs(shares[0].mean) >= _WORTH and shares[0].first >= _SURE:
        first = shares[0].cause
    low, high = np.quantile(gap, (0.1, 0.9))
    return Why(
        one, other, (float(low), float(gap.mean()), float(high)), tuple(shares), first,
        _confounded(each),
    )  # fmt: skip


def _confounded(each: Mapping[str, Floats]) -> tuple[tuple[str, str], ...]:
    """Causes that trade against each other over the members, both of some size."""
    names = [c for c, s in each.items() if s.std() > _WORTH / 4]
    found = []
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            if np.corrcoef(each[a], each[b])[0, 1] < _TRADED:
                found.append((a, b))
    return tuple(found)


def _differs(
    a: Subject, b: Subject, mine: Mapping[str, float], theirs: Mapping[str, float], cause: str
) -> bool:
    if any(_cause_of(n) == cause and v != theirs.get(n) for n, v in mine.items()):
        return True
    new, _ = swapped(a, mine, b, theirs, cause)
    return new != a
