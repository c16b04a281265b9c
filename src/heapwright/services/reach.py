"""What a plan can show before anything is built: heaps, sizes, a neighbour's pair, chance floors.

Units: degrees C (differences), m3, days. Conventions: degrees are told where the deciding outcome
has a known spread between heaps, else standard deviations; how warm heaps of each size run comes
from the simulator with its own doubt (an ensemble before any reading), if weather is given.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np

from heapwright.domain.trial import Trial
from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.exchange.planfile import read_plan
from heapwright.inference.crew import Crew
from heapwright.inference.fit import cell_of
from heapwright.inference.members import Subject
from heapwright.inference.priors import Space
from heapwright.services.fairstart import thinned
from heapwright.services.plans import with_lots
from heapwright.services.simulating import Job, prepare
from heapwright.stats.outcomes import outcome
from heapwright.stats.power import Layout, floor_in_blocks, sampling_variance
from heapwright.stats.prior import SpreadPrior

__all__ = ["Reach", "Size", "SplitRow", "reach_of"]

_MOST_EACH, _MOST_YARDS, _SEVERAL = 6, 6, 4
_MEMBERS, _DAYS, _HOT_C, _HOT_D, _LEAST_M3 = 16, 21.0, 45.0, 3.0, 0.15


@dataclass(frozen=True, slots=True)
class SplitRow:
    """What so many heaps each (or yards with a pair) can show.

    each : heaps of every way, or yards; floor : smallest two-sided chance figure; half_width_c : of
    the 95 % range, as far apart can ways that do nothing come out; detectable_c : found in 80 % of
    trials; found : share of trials in which the locked difference is found, None where none is
    locked; in_sds : found in 80 % of trials, in standard deviations between heaps of one way.
    Degrees are None where the deciding outcome has no known spread, in_sds where it has, or where
    no heap is left over to show a spread.
    """

    each: int
    floor: float
    half_width_c: float | None = None
    detectable_c: float | None = None
    found: float | None = None
    in_sds: float | None = None

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Size:
    """How warm a heap runs that holds a share of the material.

    each : heaps of every way; volume_m3 : of one heap; peak_c : of its core, (low, median, high) of
    the ensemble; days_hot : above 45 C, likewise; cold : share of members with less than three such
    days.
    """

    each: int
    volume_m3: float
    peak_c: tuple[float, float, float]
    days_hot: tuple[float, float, float]
    cold: float

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {**asdict(self), "peak_c": list(self.peak_c), "days_hot": list(self.days_hot)}


@dataclass(frozen=True, slots=True)
class Reach:
    """All of it for one plan; now : the plan as it stands, None where a way has no heap.

    splits, yards : in degrees, or splits alone in standard deviations, from two heaps each on;
    rests : what the figures for the plan as it stands rest on, in words, "" for heaps a way;
    repeated : whether half of what is varied together has a second heap; spots : "" where spots and
    rounds have nothing to do with it.
    """

    trial: Trial
    counts: Mapping[str, int]
    now: SplitRow | None
    splits: tuple[SplitRow, ...]
    yards: tuple[SplitRow, ...]
    sizes: tuple[Size, ...]
    without_sizes: str
    spots: str
    rests: str = ""
    repeated: bool = True

    @property
    def temperature(self) -> bool:
        """Whether the deciding outcome is one that the figures in degrees are for."""
        return outcome(self.trial.locked.decides).informed

    @property
    def title(self) -> str:
        """The deciding outcome as it is called on screen."""
        return outcome(self.trial.locked.decides).title

    def sentences(self) -> list[str]:
        """What to know before building, shortest first."""
        if self.now is None:
            return ["A way has no heap, so nothing can be compared."]
        said = [self.rests] if self.rests else []
        said += self._in_degrees(self.now) if self.temperature else self._in_sds(self.now)
        if self.now.each == 1:
            said.append("One heap each can never name a winner, however large the gap.")
        elif not self.repeated:
            said.append(
                "Fewer than half of the combinations have a second heap, which can never name a "
                "winner, however large the gap."
            )
        said.append(
            "However the lots fall, the smallest chance figure that these heaps can give is "
            f"{self.now.floor:.2g}."
        )
        late = thinned(self.trial)
        return [*said, late] if late else said

    def _in_degrees(self, now: SplitRow) -> list[str]:
        single = max(self.counts.values()) == 1 and not self.rests
        who = "two that are treated" if single else "ways that do nothing at all"
        how = "alike can differ by {:.0f} C" if single else "can still come out {:.0f} C apart"
        said = [
            f"With these heaps, {who} {how.format(now.half_width_c)}; a true difference of "
            f"{now.detectable_c:.0f} C would be found in four of five such trials."
        ]
        if now.found is not None:
            said.append(
                f"The {self.trial.locked.matters:.0f} C that would change practice would be found "
                f"in {100 * now.found:.0f} % of trials, if it is there."
            )
        return said

    def _in_sds(self, now: SplitRow) -> list[str]:
        if now.in_sds is None:
            more = "can be told but not tested: nothing shows how far heaps treated alike differ."
            return [f"With these heaps, {self.title} {more}"]
        return [
            f"With these heaps, a true difference in {self.title} of {now.in_sds:.1f} times how "
            "far heaps of one way usually differ (their standard deviation) would be found in four "
            "of five such trials."
        ]

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {
            "trial": self.trial.name, "heaps": dict(self.counts), "rests": self.rests,
            "now": self.now.to_json() if self.now else None,
            "splits": [r.to_json() for r in self.splits],
            "yards": [r.to_json() for r in self.yards],
            "sizes": [r.to_json() for r in self.sizes],
            "without_sizes": self.without_sizes, "spots": self.spots,
            "sentences": self.sentences(),
        }  # fmt: skip


def reach_of(
    plan: Path | Trial,
    *,
    now: datetime,
    weather: Path | None = None,
    answers: Mapping[str, str] | None = None,
    workers: int = 1,
    on_progress: Callable[[int, int], None] | None = None,
) -> Reach:
    """What a plan can show, from its file or as it was read.

    weather : a weather file, for how warm heaps run that a plan file names; workers : processes.
    Raises `PlanError`, and `NotEnoughError` where the plan compares nothing.
    """
    trial = with_lots(plan if isinstance(plan, Trial) else read_plan(plan, now=now))
    if not trial.compares:
        raise NotEnoughError(
            "the plan compares nothing, so there is no difference to find", field="way",
            value=trial.name, way_out="Write a second [[way]]",
        )  # fmt: skip
    what = outcome(trial.locked.decides)
    if not what.tested:
        raise NotEnoughError(
            f"{what.title} is described and never tested, so no number of heaps shows a difference",
            field="decides", value=what.key, way_out="Let another outcome decide",
        )  # fmt: skip
    counts = {w.name: sum(1 for h in trial.heaps if h.way == w.name) for w in trial.ways}
    design = _design(trial, [(h.way, h.block) for h in trial.heaps if h.way is not None])
    sizes, why = _sizes(trial, plan, now, weather, answers, workers, on_progress)
    return Reach(
        trial=trial,
        counts=counts,
        now=None if design is None else _row(trial, design),
        splits=_splits(trial),
        yards=_yards(trial),
        sizes=sizes,
        without_sizes=why,
        spots=_spots(trial),
        rests="" if design is None else design.rests,
        repeated=design is None or design.repeated,
    )


@dataclass(frozen=True, slots=True)
class _Design:
    """What figures rest on: heaps of each side, the smallest chance figure, the same in words."""

    layout: Layout
    floor: float
    rests: str = ""
    repeated: bool = True


def _design(trial: Trial, heaps: Sequence[tuple[str, str | None]]) -> _Design | None:
    """The design of heaps as (way, block); None where a side has no heap.

    Sides are the ways, or the levels of the first factor. Blocks count where every heap has one and
    every way stands in each. What is counted is compared by way only.
    """
    counted = outcome(trial.locked.decides).model in ("share", "rate")
    factor = "" if counted else next(iter(trial.factors), "")
    side = {w.name: dict(w.factors)[factor] if factor else w.name for w in trial.ways}
    first = side[trial.locked.control or trial.ways[0].name]
    counts = Counter(side[way] for way, _ in heaps)
    others = sorted({*side.values()} - {first}, key=lambda s: (counts[s], s))
    if not (counts[first] and counts[others[0]]):
        return None
    blocks: dict[str | None, list[str]] = {}
    for way, block in heaps:
        blocks.setdefault(block or None, []).append(way)
    if counted or None in blocks or any({*ways} != {*side} for ways in blocks.values()):
        blocks = {None: [way for way, _ in heaps]}
    dealt = [Counter(side[way] for way in ways) for ways in blocks.values()]
    free = len(heaps) - len(others) - len(dealt)
    each = Counter(way for way, _ in heaps)  # a way is a combination of levels
    taken = min(_taken(trial, {*each}), free) if factor else 0
    layout = Layout(counts[first], tuple(counts[s] for s in others), len(dealt), taken)
    a, b = (f"{s} ({counts[s]} heap{'s'[: counts[s] - 1]})" for s in (others[0], first))
    rests = f"Figures are for {factor} {a} against {b}, whatever else is varied. " if factor else ""
    whole = math.prod(len(levels) for levels in trial.factors.values())
    if factor and (len(each) < whole or len({*each.values()}) > 1):
        rests += "Combinations have unlike numbers of heaps, so real ranges are wider. "
    if len(dealt) > 1:
        rests += f"Heaps are compared within their {len(dealt)} blocks."
    floor = floor_in_blocks([(d[others[0]], d[first]) for d in dealt])
    repeated = not factor or 2 * sum(n > 1 for n in each.values()) >= len(each)
    return _Design(layout, floor, rests.strip(), repeated)


def _taken(trial: Trial, there: set[str]) -> int:
    """Degrees of freedom that factors beyond the first take up, with pairs as in the findings."""
    factors, levels = trial.factors, [dict(trial.way(w).factors) for w in there]
    pairs = list(combinations(factors, 2))
    alone = sum(len(found) - 1 for found in list(factors.values())[1:])
    size = {f: len(found) for f, found in factors.items()}
    if any(len({(d[f], d[g]) for d in levels}) < size[f] * size[g] for f, g in pairs):
        return alone
    return alone + sum((size[f] - 1) * (size[g] - 1) for f, g in pairs)


def _splits(trial: Trial) -> tuple[SplitRow, ...]:
    """So many heaps of every way, without blocks."""
    made = []
    for n in range(1 if outcome(trial.locked.decides).informed else 2, _MOST_EACH + 1):
        design = _design(trial, [(w.name, None) for w in trial.ways] * n)
        made += [] if design is None else [replace(_row(trial, design), each=n)]
    return tuple(made)


def _yards(trial: Trial) -> tuple[SplitRow, ...]:
    """So many yards with a pair each: nothing assumed about the spread, as the claim is."""
    if not outcome(trial.locked.decides).informed:
        return ()
    pairs = [_Design(Layout.pairs(n), 2 * 0.5**n) for n in range(2, _MOST_YARDS + 1)]
    return tuple(_row(trial, design, informed=False) for design in pairs)


def _row(trial: Trial, design: _Design, *, informed: bool = True) -> SplitRow:
    layout, locked = design.layout, trial.locked
    each = min(layout.control, *layout.others)
    if not outcome(locked.decides).informed:
        tested = each > 1 and layout.within_df > 0 and design.repeated
        return SplitRow(each, design.floor, in_sds=layout.gap_in_sds() if tested else None)
    prior = SpreadPrior.assumed(locked.spread, locked.spread_worth)
    how: dict[str, Any] = {"prior": prior, "informed": informed}
    found = None if locked.matters is None else layout.power(locked.matters, **how)
    return SplitRow(each, design.floor, layout.half_width(**how), layout.detectable(**how), found)


def _spots(trial: Trial) -> str:
    """What more spots or a skipped round would change, so that nobody suffers for nothing.

    "" where the mean over several rounds does not decide.
    """
    low, high = trial.locked.window_d
    rounds = int((high - low) / trial.rounds.every_d) + 1
    if trial.locked.decides != "mean_excess_c" or rounds < _SEVERAL:
        return ""
    spots = max(len(trial.spots), 1)
    all_c, half_c = (
        sampling_variance(spots, n, span_d=high - low) ** 0.5 for n in (rounds, rounds // 2)
    )
    usual, half = f"{all_c:.1f} C", f"{half_c:.1f} C"
    return (
        f"{spots} spot{'s' if spots > 1 else ''} and about {rounds} rounds leave "
        f"{usual} of doubt about a heap's mean; half the rounds would leave "
        f"{'hardly more' if half == usual else half}. "
        "Heaps treated alike usually differ by 3 to 6 C, so a skipped round costs little and "
        "another heap buys much."
    )


# --- how warm heaps of each size run -------------------------------------------------------------


def _sizes(
    trial: Trial,
    plan: Path | Trial,
    now: datetime,
    weather: Path | None,
    answers: Mapping[str, str] | None,
    workers: int,
    on_progress: Callable[[int, int], None] | None,
) -> tuple[tuple[Size, ...], str]:
    if weather is None or isinstance(plan, Trial):
        return (), "Give --weather FILE to see how warm heaps of each size would run."
    try:
        jobs = prepare(now=now, plan=plan, days=_DAYS, weather=weather, answers=answers)
    except HeapwrightError as error:
        return (), f"How warm heaps of each size would run cannot be said: {error.message}"
    total = sum(j.case.spec.volume_m3 for j in jobs)
    ways = len(trial.ways)
    shares = {
        n: total / (n * ways) for n in range(1, _MOST_EACH + 1) if total / (n * ways) >= _LEAST_M3
    }
    if not shares:
        return (), f"All the material makes less than {_LEAST_M3:g} m3 a heap: too little to warm."
    space = Space(("heap",), ())
    drawn = space.draw(_MEMBERS, seed=1)
    members = [space.numbers(column, "heap") for column in drawn.T]
    done = [0]

    def tell(more: int) -> None:
        done[0] += more
        if on_progress is not None:
            on_progress(done[0], len(shares) * _MEMBERS)

    made = []
    with Crew(workers) as crew:
        for n, volume in shares.items():
            # cells in proportion to the heap, so that sizes differ in size alone
            cell_m = cell_of(total / ways) * (volume * ways / total) ** (1 / 3)
            work = [(_subject(jobs[0], volume), members)]
            made.append(_size(n, volume, crew.run(work, _DAYS, cell_m, on_done=tell)[0]))
    return tuple(made), ""


def _subject(job: Job, volume_m3: float) -> Subject:
    """A heap of another size of the same shape and matter, left alone."""
    spec = job.case.spec
    by = (volume_m3 / spec.volume_m3) ** (1 / 3)

    def scaled(length: float | None) -> float | None:
        return None if length is None else length * by

    made = replace(
        spec, volume_m3=volume_m3, height_m=scaled(spec.height_m), width_m=scaled(spec.width_m),
        length_m=scaled(spec.length_m), dx_m=None, spots=(), pipes=(),
    )  # fmt: skip
    return Subject("heap", made, job.weather, job.start_h, job.case.recipe)


def _size(each: int, volume_m3: float, courses: list[Any]) -> Size:
    peaks = np.array([c.curves["core_c"].max() for c in courses])
    hot = np.array([_days_hot(c) for c in courses])

    def range_of(values: np.ndarray) -> tuple[float, float, float]:
        low, mid, high = np.quantile(values, (0.1, 0.5, 0.9))
        return float(low), float(mid), float(high)

    return Size(each, volume_m3, range_of(peaks), range_of(hot), float(np.mean(hot < _HOT_D)))


def _days_hot(course: Any) -> float:
    hours = np.asarray(course.hours)
    above = (np.asarray(course.curves["core_c"]) > _HOT_C).astype(float)
    return float(np.trapezoid(above, hours) / 24.0)
