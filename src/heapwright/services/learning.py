"""Learn from a trial in the book: its heaps as subjects, its readings, and a fit that is kept.

Units: ages in days, temperatures in degrees C. Conventions: all heaps of a trial are fitted at
once, since they share their material. What is kept of a fit is a cache: it is made again when a
reading, a heap or the weather is another. What is done now is taken as done, and what is planned as
planned, until the last day that is asked for.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import dist
from pathlib import Path

import numpy as np

from heapwright.domain.entries import Reading, Sample
from heapwright.domain.heap import Spot
from heapwright.domain.names import one_of
from heapwright.engine.scenario import HeapSpec, ProbeSpot
from heapwright.errors import NotEnoughError
from heapwright.inference.crew import Crew
from heapwright.inference.exchanged import Exchange
from heapwright.inference.fit import CAREFUL, ROUGH, Fitted, Passed, Settings, cell_of, fit
from heapwright.inference.members import Subject
from heapwright.inference.readings import Read
from heapwright.services.heapplaces import outline_of, spots_of
from heapwright.services.plans import only_trial
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.services.settings import open_book
from heapwright.services.simulating import Job, prepare

__all__ = ["Task", "gather", "learn"]

#: names of readings and samples in the book, and what they are called in a fit
_READ = {"temp_c": "temp_c", "o2_frac": "o2", "moisture_wb": "moisture_wb"}
_SAMPLED = {
    "moisture_wb": "moisture_wb", "mass_kg": "mass_kg", "volume_m3": "volume_m3",
    "length_m": "height_m",
}  # fmt: skip
#: what was measured at the build makes the heap; what was measured later is fitted [d]
_LATER_D = 3.0
#: places to watch keep this far from spots [m]
_APART_M = 0.15
#: a depth noted with a reading counts when it differs from that of its spot by more [m]
_OTHER_DEPTH = 0.03

Tell = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be learned: trial; jobs : its heaps as `services.simulating` has them; subjects;
    reads; now; ages : of every heap now [d]; days : how far ahead of the build all are run;
    ahead_d : how far ahead of now; left_out : why readings were left out, in words."""

    trial: str
    jobs: tuple[Job, ...]
    subjects: tuple[Subject, ...]
    reads: tuple[Read, ...]
    now: datetime
    ages: Mapping[str, float]
    days: float
    ahead_d: float
    left_out: tuple[str, ...] = ()

    @property
    def invented(self) -> bool:
        """True for a trial of invented data."""
        return any(j.case.invented for j in self.jobs)

    def heap(self, typed: str) -> str:
        """The heap of that name as the plan writes it; raises `UnknownNameError`."""
        return one_of("heap", typed, {s.name: s.name for s in self.subjects})

    def when(self, heap: str, day: float) -> datetime:
        """The moment of a heap's age."""
        built = next(j.case.built for j in self.jobs if j.case.name == heap)
        return built + timedelta(days=day)


def gather(
    *,
    now: datetime,
    trial: str | None = None,
    book: str | None = None,
    ahead_d: float = 7.0,
    weather: Path | None = None,
    answers: Mapping[str, str] | None = None,
    exposure: str | float | None = None,
    seed: int = 1,
) -> Task:
    """The heaps of a trial in the book and what was read of them until *now*.

    Raises as `heapwright.services.simulating.prepare`, and `NotEnoughError` where no heap was
    built.
    """
    with open_book(book, create=False) as opened:
        record = load_record(opened, only_trial(opened, trial))
    built = {n: h for n, h in record.heaps.items() if h.built is not None and h.age_d(now) > 0}
    if not built:
        raise NotEnoughError(
            "no heap of this trial was built yet, so nothing can be learned", field="built",
            value=record.name, way_out="heapwright log event HEAP built",
        )  # fmt: skip
    ages = {n: h.age_d(now) for n, h in built.items()}
    days = max(ages.values()) + ahead_d
    jobs = prepare(
        now=now, trial=record.name, book=book, heaps=tuple(built), days=days, weather=weather,
        answers=answers, exposure=exposure, seed=seed,
    )  # fmt: skip
    subjects, reads, said = [], [], []
    for job in jobs:
        mine = built[job.case.name]
        found, places, notes = _reads(record, mine, job, now)
        reads += found
        said += notes
        spec = replace(job.case.spec, spots=(*job.case.spec.spots, *places), dx_m=None)
        subjects.append(
            Subject(
                job.case.name,
                spec,
                job.weather,
                job.start_h,
                job.case.recipe,
                job.case.actions,
                watch=_watched(spec),
            )
        )
    order = sorted(reads, key=lambda r: (r.day, r.heap, r.spot, r.quantity))
    return Task(
        record.name, tuple(jobs), tuple(subjects), tuple(order), now, ages, days, ahead_d,
        tuple(said),
    )  # fmt: skip


def learn(
    task: Task,
    *,
    careful: bool = False,
    crew: Crew | None = None,
    book: str | None = None,
    trusted: bool = False,
    on_progress: Tell | None = None,
    settings: Settings | None = None,
) -> Fitted:
    """The fit of a task, taken up where an earlier one stopped; what is done is kept in the book.

    trusted : labels that look exchanged were looked at and are right.
    """
    how = settings or (CAREFUL if careful else ROUGH)
    if settings is None:
        largest = max(s.spec.volume_m3 for s in task.subjects)
        how = replace(how, cell_m=cell_of(largest, careful=careful))
    with open_book(book, create=False) as opened:

        def keep(passed: Passed) -> None:
            opened.keep_fit(task.trial, passed.print_, passed.done, _packed(passed))

        def kept(print_: str) -> Passed | None:
            found = opened.kept_fit(task.trial, print_)
            return _unpacked(found[1], task.reads) if found else None

        made = fit(
            task.subjects, task.reads, settings=how, crew=crew, days=task.days, trusted=trusted,
            taken_up=kept, on_pass=keep, on_progress=on_progress,
        )  # fmt: skip
        opened.drop_fits(task.trial, made.print_)
    return made


def _watched(spec: HeapSpec) -> tuple[ProbeSpot, ...]:
    """Places where a probe could go, away from those where it goes."""
    outline, _ = outline_of(spec.shape, spec.volume_m3, height_m=spec.height_m)
    wanted = (
        Spot("middle", outline.height_m / 2, position="top, straight down"),
        Spot("30 cm under the top", 0.3, position="top, straight down"),
        Spot("30 cm into the south flank", 0.3, position="south flank, half way up"),
        Spot("30 cm into the north flank", 0.3, position="north flank, half way up"),
        Spot("40 cm in at the foot", 0.4, position="south flank, foot"),
    )
    places, _ = spots_of(wanted, outline)
    taken = [s.point_m for s in spec.spots]
    return tuple(p for p in places if all(dist(p.point_m, t) > _APART_M for t in taken))


# --- readings ------------------------------------------------------------------------------------


def _reads(
    record: TrialRecord, mine: HeapRecord, job: Job, now: datetime
) -> tuple[list[Read], list[ProbeSpot], list[str]]:
    """Readings and samples of a heap until now, with spots for probes that stood elsewhere."""
    made: list[Read] = []
    places: dict[str, Spot] = {}
    said: list[str] = []
    known = {s.name for s in job.case.spec.spots}
    plan = {s.name: s for s in record.plan.trial.spots}
    for reading in mine.readings:
        day = mine.age_d(reading.when.middle)
        if reading.quantity not in _READ or not 0 <= day <= mine.age_d(now):
            continue
        spot = reading.spot
        at = _elsewhere(reading, plan.get(spot))
        if at is not None:
            spot = f"{spot} at {reading.depth_m:.2f} m"
            places.setdefault(spot, at)
        elif spot not in known:
            said.append(f"heap {mine.name}: spot {spot} is not in the plan; taken as its mean")
        made.append(
            Read(mine.name, spot, day, reading.value, _READ[reading.quantity], reading.probe)
        )
    for sample in mine.samples:
        read = _sampled(mine, sample)
        if read is not None and _LATER_D < read.day <= mine.age_d(now):
            made.append(read)
    outline, _ = outline_of(
        job.case.spec.shape, job.case.spec.volume_m3, height_m=job.case.spec.height_m
    )
    points, _ = spots_of([replace(s, name=n) for n, s in places.items()], outline) if places else (
        (), ())  # fmt: skip
    return made, list(points), list(dict.fromkeys(said))


def _elsewhere(reading: Reading, spot: Spot | None) -> Spot | None:
    """The spot at the depth noted with a reading, where that is another than in the plan."""
    if spot is None or reading.depth_m is None:
        return None
    if abs(reading.depth_m - spot.depth_m) <= _OTHER_DEPTH:
        return None
    return replace(spot, depth_m=reading.depth_m)


def _sampled(mine: HeapRecord, sample: Sample) -> Read | None:
    if sample.quantity not in _SAMPLED or sample.part not in ("whole", "height", "core"):
        return None
    if sample.quantity == "length_m" and sample.part != "height":
        return None
    return Read(
        mine.name, "", mine.age_d(sample.when.middle), sample.value, _SAMPLED[sample.quantity]
    )


# --- what is kept --------------------------------------------------------------------------------


def _packed(passed: Passed) -> bytes:
    """What is kept of a fit as bytes."""
    made = io.BytesIO()
    doubted = [[e.day, e.one, e.other, *e.read_c, *e.expected_c] for e in passed.doubted]
    about = {"done": passed.done, "print": passed.print_, "doubted": doubted}
    np.savez_compressed(
        made, now=passed.now, first=passed.first,
        about=np.frombuffer(json.dumps(about).encode(), dtype=np.uint8),
    )  # fmt: skip
    return made.getvalue()


def _unpacked(payload: bytes, reads: Sequence[Read]) -> Passed:
    with np.load(io.BytesIO(payload), allow_pickle=False) as held:
        now, first = held["now"], held["first"]
        about = json.loads(held["about"].tobytes().decode())
    doubted = []
    for day, one, other, ra, rb, ea, eb in about["doubted"]:
        mine = [
            r for r in reads
            if r.quantity == "temp_c" and r.heap in (one, other) and 0 <= r.day - day <= 0.2
        ]  # fmt: skip
        doubted.append(Exchange(day, one, other, tuple(mine), (ra, rb), (ea, eb)))
    return Passed(about["done"], now, first, tuple(doubted), about["print"])
