"""What a plan can show before anything is built: heaps, sizes, a neighbour's pair, chance floors.

Units: degrees C (differences), m3, days. Conventions: figures are for mean degrees above air, the
spread of which between heaps is the best known; how warm heaps of each size run comes from the
simulator with its own doubt (an ensemble before any reading), and only where weather is given.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
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
from heapwright.stats.power import Layout, classical_gap, permutation_floor, sampling_variance
from heapwright.stats.prior import SpreadPrior

__all__ = ["Reach", "Size", "SplitRow", "reach_of"]

_MOST_EACH, _MOST_YARDS = 6, 6
_MEMBERS, _DAYS, _HOT_C, _HOT_D, _LEAST_M3 = 16, 21.0, 45.0, 3.0, 0.15


@dataclass(frozen=True, slots=True)
class SplitRow:
    """What so many heaps each (or yards with a pair) can show.

    each : heaps of every way, or yards; half_width_c : of the 95 % range, by as much can heaps
    treated alike differ; detectable_c : found in 80 % of trials; found : share of trials in which
    the locked difference is found, None where none is locked; floor : smallest two-sided chance
    figure.
    """

    each: int
    half_width_c: float
    detectable_c: float
    found: float | None
    floor: float

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {
            "each": self.each, "half_width_c": self.half_width_c,
            "detectable_c": self.detectable_c, "found": self.found, "floor": self.floor,
        }  # fmt: skip


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
        return {
            "each": self.each, "volume_m3": self.volume_m3, "peak_c": list(self.peak_c),
            "days_hot": list(self.days_hot), "cold": self.cold,
        }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reach:
    """All of it for one plan; now : the plan as it stands, None where a way has no heap."""

    trial: Trial
    counts: Mapping[str, int]
    now: SplitRow | None
    splits: tuple[SplitRow, ...]
    yards: tuple[SplitRow, ...]
    sizes: tuple[Size, ...]
    without_sizes: str
    spots: str

    @property
    def temperature(self) -> bool:
        """Whether the deciding outcome is one that the figures in degrees are for."""
        return outcome(self.trial.locked.decides).informed

    def sentences(self) -> list[str]:
        """What to know before building, shortest first."""
        if self.now is None:
            return ["A way has no heap, so nothing can be compared."]
        said = []
        fewest = min(self.counts.values())
        if self.temperature:
            said.append(
                f"With these heaps, two of them treated alike can differ by "
                f"{self.now.half_width_c:.0f} C; a true difference of "
                f"{self.now.detectable_c:.0f} C would be found in four of five such trials."
            )
            matters = self.trial.locked.matters
            if matters is not None and self.now.found is not None:
                said.append(
                    f"The {matters:.0f} C that would change practice would be found in "
                    f"{self.now.found:.0%} of trials, if it is there."
                )
        elif fewest == 1:
            said.append(
                f"With one heap of a way, {outcome(self.trial.locked.decides).title} can be told "
                "but not tested: nothing shows how far heaps treated alike differ."
            )
        else:
            sds = classical_gap(fewest, 1.0)
            said.append(
                f"With {fewest} heaps each, a difference of {sds:.1f} times the standard deviation "
                "between heaps would be found in four of five such trials."
            )
        if fewest == 1:
            said.append("One heap each can never name a winner, however large the gap.")
        said.append(
            "The smallest chance figure that shuffling the labels can give is "
            f"{self.now.floor:.2g}."
        )
        late = thinned(self.trial)
        return [*said, late] if late else said

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {
            "trial": self.trial.name, "heaps": dict(self.counts),
            "now": self.now.to_json() if self.now else None,
            "splits": [r.to_json() for r in self.splits],
            "yards": [r.to_json() for r in self.yards],
            "sizes": [r.to_json() for r in self.sizes],
            "without_sizes": self.without_sizes, "spots": self.spots,
            "sentences": self.sentences(),
        }  # fmt: skip


def reach_of(
    path: Path,
    *,
    now: datetime,
    weather: Path | None = None,
    answers: Mapping[str, str] | None = None,
    workers: int = 1,
    on_progress: Callable[[int, int], None] | None = None,
) -> Reach:
    """What the plan at *path* can show.

    weather : a weather file, for the heat of heaps of each size; workers : processes.
    Raises `PlanError`, and `NotEnoughError` where the plan compares nothing.
    """
    trial = with_lots(read_plan(path, now=now))
    if not trial.compares:
        raise NotEnoughError(
            "the plan compares nothing, so there is no difference to find", field="way",
            value=trial.name, way_out="Write a second [[way]]",
        )  # fmt: skip
    prior = SpreadPrior.published()
    if trial.locked.spread is not None:
        prior = prior.with_spread(trial.locked.spread)
    ways = len(trial.ways)
    matters = trial.locked.matters if outcome(trial.locked.decides).informed else None
    counts = {w.name: sum(1 for h in trial.heaps if h.way == w.name) for w in trial.ways}
    layout = _layout(trial, counts)
    sizes, why = _sizes(trial, path, now, weather, answers, workers, on_progress)
    return Reach(
        trial=trial,
        counts=counts,
        now=None if layout is None else _row(min(counts.values()), layout, matters, prior),
        splits=tuple(
            _row(n, Layout.even(n, ways), matters, prior) for n in range(1, _MOST_EACH + 1)
        ),
        yards=tuple(
            _row(n, Layout.pairs(n), matters, prior, paired=True) for n in range(1, _MOST_YARDS + 1)
        ),
        sizes=sizes,
        without_sizes=why,
        spots=_spots(trial),
    )


def _layout(trial: Trial, counts: Mapping[str, int]) -> Layout | None:
    control = trial.locked.control or next(iter(counts))
    others = sorted(n for way, n in counts.items() if way != control)
    if not others or min(others) < 1 or counts[control] < 1:
        return None
    return Layout(counts[control], tuple(others))


def _row(
    each: int, layout: Layout, matters: float | None, prior: SpreadPrior, *, paired: bool = False
) -> SplitRow:
    floor = 2.0 ** (1 - each) if paired else permutation_floor(layout.others[0], layout.control)
    return SplitRow(
        each, layout.half_width(prior=prior), layout.detectable(prior=prior),
        None if matters is None else layout.power(matters, prior=prior), floor,
    )  # fmt: skip


def _spots(trial: Trial) -> str:
    """What more spots or a skipped round would change, so that nobody suffers for nothing."""
    low, high = trial.locked.window_d
    spots = max(len(trial.spots), 1)
    rounds = max(int((high - low) / trial.rounds.every_d) + 1, 2)
    usual = sampling_variance(spots, rounds, span_d=max(high - low, 1.0)) ** 0.5
    half = sampling_variance(spots, max(rounds // 2, 2), span_d=max(high - low, 1.0)) ** 0.5
    return (
        f"{spots} spot{'s' if spots > 1 else ''} and about {rounds} rounds leave "
        f"{usual:.1f} C of doubt about a heap's mean; half the rounds would leave {half:.1f} C. "
        "Heaps treated alike differ by 3 to 6 C, so a skipped round costs little and another heap "
        "buys much."
    )


# --- how warm heaps of each size run -------------------------------------------------------------


def _sizes(
    trial: Trial,
    path: Path,
    now: datetime,
    weather: Path | None,
    answers: Mapping[str, str] | None,
    workers: int,
    on_progress: Callable[[int, int], None] | None,
) -> tuple[tuple[Size, ...], str]:
    if weather is None:
        return (), "Give --weather FILE to see how warm heaps of each size would run."
    try:
        jobs = prepare(now=now, plan=path, days=_DAYS, weather=weather, answers=answers)
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
