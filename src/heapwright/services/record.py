"""The record of a trial as arrays: what was read, done and sampled, by heap and by heap age.

Units: ages in days since the heap was built, temperatures in degrees C, litres, minutes.
Conventions: the build is an event when one was logged, else the date in the plan; a heap with
neither has no age, and only outcomes that need none can be taken from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from datetime import UTC, datetime, time

from heapwright.domain.entries import Event, Reading, Sample, Weather
from heapwright.domain.heap import Heap
from heapwright.domain.names import one_of
from heapwright.domain.when import local_zone
from heapwright.errors import NotEnoughError
from heapwright.services.plans import StoredPlan, stored_plan
from heapwright.stats.series import HeapSeries
from heapwright.store.book import Book

__all__ = ["HeapRecord", "TrialRecord", "load_record", "read_once"]

_DAY = 86400.0


@dataclass(frozen=True, slots=True)
class HeapRecord:
    """Everything that stands in the book about one heap."""

    heap: Heap
    built: datetime | None
    readings: tuple[Reading, ...] = ()
    events: tuple[Event, ...] = ()
    samples: tuple[Sample, ...] = ()

    @property
    def name(self) -> str:
        """Name of the heap."""
        return self.heap.name

    def age_d(self, moment: datetime) -> float:
        """Age of the heap at a moment [d]; raises `NotEnoughError` when its build is unknown."""
        if self.built is None:
            raise NotEnoughError(
                f"nobody wrote down when heap {self.name} was built, so it has no age",
                field="built",
                way_out=f"heapwright log event {self.name} built --when DATE",
            )
        return (moment - self.built).total_seconds() / _DAY

    def series(self) -> HeapSeries:
        """Temperature readings by spot on the axis of heap age; raises `NotEnoughError`."""
        spots: dict[str, tuple[list[float], list[float]]] = {}
        for reading in self.readings:
            if reading.quantity == "temp_c":
                ages, temps = spots.setdefault(reading.spot, ([], []))
                ages.append(self.age_d(reading.when.middle))
                temps.append(reading.value)
        return HeapSeries.of(self.name, spots)

    def total(self, what: str) -> float | None:
        """Sum of ``water_l`` or ``minutes`` over all events; None when nothing was noted."""
        noted = [getattr(e, what) for e in self.events if getattr(e, what) is not None]
        return sum(noted) if noted else None

    @property
    def volume_m3(self) -> float | None:
        """Volume when built [m3]: first sample of volume, else the plan; None if unknown."""
        for sample in self.samples:
            if sample.quantity == "volume_m3" and (
                self.built is None or self.age_d(sample.when.low) < 3
            ):
                return sample.value
        return self.heap.volume_m3.typical if self.heap.volume_m3 else None

    @property
    def lost(self) -> Event | None:
        """The event by which the heap was lost, if it was."""
        return next((e for e in self.events if e.what == "lost"), None)


@dataclass(frozen=True, slots=True)
class TrialRecord:
    """A trial's plan with the records of its heaps, its air and other weather."""

    plan: StoredPlan
    heaps: Mapping[str, HeapRecord]
    air: tuple[Weather, ...] = ()
    corrections: int = 0
    withdrawn: int = 0
    sources: tuple[str, ...] = field(default=())

    @property
    def name(self) -> str:
        """Name of the trial."""
        return self.plan.trial.name

    @property
    def ends_at(self) -> datetime:
        """The moment from which findings may be claimed: the locked day begins at the place."""
        zone = local_zone(self.plan.trial.place.time_zone)
        return datetime.combine(self.plan.locked.ends, time(), tzinfo=zone).astimezone(UTC)

    def air_for(self, heap: HeapRecord) -> tuple[list[float], list[float]] | None:
        """Air temperature on the age axis of a heap; None when nobody read the air."""
        if not self.air:
            return None
        return [heap.age_d(a.when.middle) for a in self.air], [a.value for a in self.air]

    def by_way(self) -> dict[str, list[HeapRecord]]:
        """Heap records by way, in the order of the plan."""
        ways: dict[str, list[HeapRecord]] = {w.name: [] for w in self.plan.trial.ways}
        for record in self.heaps.values():
            if record.heap.way is not None:
                ways[one_of("way", record.heap.way, {w: w for w in ways})].append(record)
        return ways


#: records read so far, by book and name, where an answer is put together of several parts
_READ: ContextVar[dict[tuple[int, str], TrialRecord] | None] = ContextVar("read", default=None)


@contextmanager
def read_once() -> Iterator[None]:
    """Within it every trial is read from the book once, for parts of one answer."""
    before = _READ.set(_READ.get() or {})
    try:
        yield
    finally:
        _READ.reset(before)


def load_record(book: Book, name: str) -> TrialRecord:
    """The record of the trial called *name*.

    Raises `UnknownNameError` for no such trial, `NotEnoughError` when no plan was locked.
    """
    read, key = _READ.get(), (id(book), name)
    if read is None:
        return _loaded(book, name)
    if key not in read:
        read[key] = _loaded(book, name)
    return read[key]


def _loaded(book: Book, name: str) -> TrialRecord:
    plan = stored_plan(book, name)
    readings = book.current("reading", name)
    events = book.current("event", name)
    samples = book.current("sample", name)
    weather = book.current("weather", name)
    trails = book.trails(name)
    heaps: dict[str, HeapRecord] = {}
    for heap in plan.trial.heaps:
        mine = {
            kind: tuple(e for e in entries if e.heap.lower() == heap.name.lower())
            for kind, entries in (("r", readings), ("e", events), ("s", samples))
        }
        built = next((e.when.middle for e in mine["e"] if e.what == "built"), heap.built)
        heaps[heap.name] = HeapRecord(heap, built, mine["r"], mine["e"], mine["s"])
    return TrialRecord(
        plan=plan,
        heaps=heaps,
        air=tuple(w for w in weather if w.quantity == "air_temp_c"),
        corrections=sum(1 for action, _, _ in trails if action == "corrected"),
        withdrawn=len({root for action, root, _ in trails if action == "withdrawn"}),
        sources=tuple(sorted({source for _, _, source in trails if source})),
    )
