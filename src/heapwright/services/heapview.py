"""Heaps of a trial as they stand: what was read, done and sampled, and what comes next.

Units: ages in days, temperatures in the unit of the plan. Conventions: a heap of a trial without a
locked plan is shown too, with what the book holds of it; a heap that takes no more material refuses
it, and says how that is taken back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from heapwright.domain.entries import EVENT_KINDS, Event
from heapwright.domain.when import local_zone
from heapwright.errors import EntryError, HeapwrightError
from heapwright.services.calendar import due_today
from heapwright.services.corespot import core_spot
from heapwright.services.doings import event_kind, log_event
from heapwright.services.log import Logged
from heapwright.services.mend import describe, who
from heapwright.services.noted import FIELDS, last_noted
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.services.reportparts import Clock
from heapwright.store.book import Book

__all__ = ["HeapLine", "HeapView", "Row", "do_work", "heap_lines", "heap_view"]


@dataclass(frozen=True, slots=True)
class Row:
    """An entry as shown: its id, when, age of the heap, what, by whom, note."""

    id: str
    when: str
    age: str
    what: str
    by: str
    note: str


@dataclass(frozen=True, slots=True)
class HeapLine:
    """A heap in one line: name, way, age in words, core, last round, last work, closed or lost."""

    name: str
    way: str
    age: str
    core: str
    read: str
    done: str
    state: str


@dataclass(frozen=True, slots=True)
class HeapView:
    """A heap in full: line; spots : name, last value and when of each; read, done, sampled : last
    first; next : what the calendar says of it; others : other heaps of its trial; facts : what a
    diagnosis may start from, as text by field."""

    trial: str
    invented: bool
    line: HeapLine
    sentence: str
    spots: tuple[tuple[str, str, str], ...]
    read: tuple[Row, ...]
    done: tuple[Row, ...]
    sampled: tuple[Row, ...]
    next: tuple[tuple[str, str, str], ...]
    others: tuple[str, ...]
    facts: dict[str, str]

    def to_json(self) -> dict[str, Any]:
        """All of it as plain values."""
        return asdict(self)


def _clock(record: TrialRecord) -> Clock:
    unit = record.plan.locked.shown_in
    return Clock(local_zone(record.plan.trial.place.time_zone), unit)


def heap_lines(book: Book, trial: str, *, now: datetime) -> list[HeapLine]:
    """One line a heap of a trial, in the order of the plan.

    Raises `UnknownNameError` for no such trial, `NotEnoughError` when no plan was locked.
    """
    record = load_record(book, trial)
    clock = _clock(record)
    return [_line(record, h, clock, now) for h in record.heaps.values()]


def _line(record: TrialRecord, heap: HeapRecord, clock: Clock, now: datetime) -> HeapLine:
    warm = [r for r in heap.readings if r.quantity == "temp_c" and r.when.low <= now]
    spot = core_spot(record, heap)
    core = [r for r in warm if r.spot == spot]
    last = max(heap.events, key=lambda e: e.when.middle, default=None)
    shut = _shut(heap)
    state = "lost" if heap.lost else "takes no more material" if shut else ""
    return HeapLine(
        name=heap.name, way=heap.heap.way or "",
        age=f"{heap.age_d(now):.0f} days" if heap.built and heap.built <= now else "not built yet",
        core=f"{clock.temp(core[-1].value):.0f} °{clock.unit}" if core else "never read",
        read=clock.moment(max(r.when.middle for r in warm)) if warm else "never",
        done=f"{EVENT_KINDS[last.what]}, {clock.day(last.when.middle)}" if last else "nothing yet",
        state=state,
    )  # fmt: skip


def heap_view(book: Book, trial: str, heap: str, *, now: datetime) -> HeapView:
    """One heap of a trial in full; *heap* in any case of letters.

    Raises `UnknownNameError` for no such trial or heap, `NotEnoughError` without a locked plan.
    """
    from heapwright.domain.names import one_of

    record = load_record(book, trial)
    name = one_of("heap", heap, {n: n for n in record.heaps})
    mine, clock = record.heaps[name], _clock(record)
    line = _line(record, mine, clock, now)
    spots: dict[str, tuple[str, str, str]] = {}
    for r in sorted(mine.readings, key=lambda r: r.when.middle):
        if r.quantity == "temp_c":
            said = f"{clock.temp(r.value):.0f} °{clock.unit}"
            spots[r.spot] = (r.spot, said, clock.moment(r.when.middle))
    return HeapView(
        trial=record.name, invented=record.plan.trial.invented, line=line,
        sentence=_sentence(mine, line), spots=tuple(spots.values()),
        read=_rows(mine, mine.readings, clock), done=_rows(mine, mine.events, clock),
        sampled=_rows(mine, mine.samples, clock), next=_next(record.name, name, book, now),
        others=tuple(n for n in record.heaps if n != name), facts=_facts(record, mine, now),
    )  # fmt: skip


def _sentence(heap: HeapRecord, line: HeapLine) -> str:
    if line.read == "never":
        return (
            f"Nothing was read in heap {heap.name} yet. Walk a round with the probe, and its curve "
            "begins here."
        )
    old = f"; the heap is {line.age} old" if line.age.endswith("days") else ""
    state = f" It {'was ' if line.state == 'lost' else ''}{line.state}." if line.state else ""
    return f"The core of heap {heap.name} read {line.core} on {line.read}{old}.{state}"


def _rows(heap: HeapRecord, entries: Sequence[Any], clock: Clock) -> tuple[Row, ...]:
    """Entries as rows, the last first."""
    return tuple(
        Row(
            e.id,
            clock.moment(e.when.middle) if e.when.exact else f"{clock.day(e.when.middle)}, about",
            f"{heap.age_d(e.when.middle):.0f}" if heap.built else "–",
            describe(e).removeprefix(f"{e.heap} "), who(e), e.note,
        )
        for e in sorted(entries, key=lambda e: e.when.middle, reverse=True)
    )  # fmt: skip


def _next(trial: str, heap: str, book: Book, now: datetime) -> tuple[tuple[str, str, str], ...]:
    """What is due and what comes: title, state, cost of skipping."""
    try:
        _, found = due_today(trial, book=book.where, now=now)
    except HeapwrightError:
        return ()
    return tuple(
        (d.title, d.state, d.tasks[0].skipping_costs)
        for d in (*found.due, *found.soon) if heap in d.heaps
    )  # fmt: skip


def _facts(record: TrialRecord, heap: HeapRecord, now: datetime) -> dict[str, str]:
    """What the book knows that a diagnosis asks for, with units."""
    out: dict[str, str] = {}
    if heap.built is not None and heap.built <= now:
        out["age_d"] = f"{heap.age_d(now):.0f} d"
    if heap.volume_m3 is not None:
        out["volume_m3"] = f"{heap.volume_m3:.2g} m3"
    spot = core_spot(record, heap)
    core = [r for r in heap.readings if r.quantity == "temp_c" and r.spot == spot]
    if core:
        out["core_c"] = f"{core[-1].value:.0f} C"
        out["peak_c"] = f"{max(r.value for r in core):.0f} C"
    if record.air:
        out["air_c"] = f"{record.air[-1].value:.0f} C"
    noted = last_noted(heap, now)
    return out | {FIELDS[what]: n.word for what, n in noted.items()}


# --- no more adding -------------------------------------------------------------------------------


def _shut(heap: HeapRecord) -> Event | None:
    """The entry since which nothing is added to a heap."""
    return next((e for e in heap.events if e.what == "closed"), None)


def do_work(
    book: Book,
    trial: str,
    heap: str,
    what: str,
    *,
    now: datetime,
    when: str | None = None,
    litres: str | None = None,
    minutes: str | None = None,
    who: str = "",
    note: str = "",
    entry_id: str | None = None,
) -> Logged:
    """Enter something done to one heap, unless it is an adding to a heap that takes no more.

    Raises `EntryError` for that, and as `heapwright.services.doings.log_event`.
    """
    shut = [
        e for e in book.current("event", trial, heap=heap)
        if e.what == "closed"
    ] if event_kind(what) == "added" else []  # fmt: skip
    if shut:
        raise EntryError(
            "this heap takes no more material, so that its age is that of all that is in it",
            field="heap", value=heap,
            way_out=f"Start another heap; or, if it was closed by mistake, withdraw the entry "
            f"{shut[0].id[:8]} in the book, with the reason",
        )  # fmt: skip
    return log_event(
        book, trial, [heap], what, now=now, when=when, litres=litres, minutes=minutes, who=who,
        note=note, entry_id=entry_id, source="page",
    )  # fmt: skip
