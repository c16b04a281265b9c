"""Screening of readings as they come in: what the book holds, and the questions that follow.

Units: temperatures in degrees C, times in UTC. Conventions: one service for lines, sheets and
pages; it asks and never changes: what is done follows from an answer. A round is judged by what
was read before it; a reading that was answered for is not asked about again.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from heapwright.domain.when import When
from heapwright.errors import EntryError
from heapwright.exchange.pasted import Typed
from heapwright.services.asking import Asker
from heapwright.services.screenwords import Asked, about_reading, celsius, words_of
from heapwright.services.yard import Yard
from heapwright.stats.screenlog import Doubt, Mark, screen_log
from heapwright.store.book import Book
from heapwright.units import quantity

__all__ = [
    "Cell",
    "Past",
    "Screened",
    "heap_pair",
    "past_of",
    "screen_cells",
    "screen_sheet",
]

#: What may move the temperature of a heap at once.
MOVES = {
    "turned", "added", "covered", "uncovered", "vent opened", "vent plugged", "vent pulled",
    "air on", "air off",
}  # fmt: skip
_DAY = 86400.0
_HISTORY = timedelta(days=150)


@dataclass(frozen=True, slots=True)
class Cell:
    """One number of a round: key and words of the place it was typed at, its heap and spot."""

    key: str
    shown: str
    heap: str
    spot: str
    typed: Typed
    note: str = ""


@dataclass(frozen=True, slots=True)
class Past:
    """What the book holds about a trial: readings, air, what moved heaps, and notes by place.

    notes : by round, heap and spot, the note of a reading.
    """

    marks: tuple[Mark, ...] = ()
    air: tuple[tuple[float, float], ...] = ()
    moved: dict[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    start: datetime | None = None
    notes: dict[tuple[str, str, str], str] = field(default_factory=dict)

    def day(self, moment: datetime) -> float:
        """*moment* in days from the start of the past."""
        assert self.start is not None
        return (moment - self.start).total_seconds() / _DAY


@dataclass(frozen=True, slots=True)
class Screened:
    """The cells as they are to be entered, and by key the question about each doubtful one."""

    cells: tuple[Cell, ...]
    questions: dict[str, Asked] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()


def past_of(book: Book, trial: str, first: datetime) -> Past | None:
    """What the book holds about *trial* from 150 days before *first* on; None without a reading."""
    if trial.lower() not in {t.lower() for t in book.trials()}:
        return None
    start = first - _HISTORY
    readings = [
        r for r in book.current("reading", trial)
        if r.quantity == "temp_c" and r.when.middle >= start
    ]  # fmt: skip
    if not readings:
        return Past(start=start)

    def day(moment: datetime) -> float:
        return (moment - start).total_seconds() / _DAY

    moved: dict[str, list[tuple[float, float]]] = {}
    for event in book.current("event", trial):
        if event.what in MOVES and event.when.high >= start:
            moved.setdefault(event.heap, []).append((day(event.when.low), day(event.when.high)))
    return Past(
        tuple(
            Mark(day(r.when.middle), r.heap, r.spot.lower(), r.value, walk=r.round or "")
            for r in readings
        ),
        tuple(
            (day(w.when.middle), w.value)
            for w in book.current("weather", trial)
            if w.quantity == "air_temp_c" and w.when.middle >= start
        ),
        {heap: tuple(spans) for heap, spans in moved.items()},
        start,
        {(r.round, r.heap, r.spot): r.note for r in readings if r.round},
    )


# --- one round -----------------------------------------------------------------------------------


def screen_cells(
    book: Book, yard: Yard, asker: Asker, when: When, cells: Sequence[Cell], *, unit: str,
    walk: str, air: Typed | None = None,
) -> Screened:  # fmt: skip
    """Screen one round before it is written.

    Parameters
    ----------
    book, yard : Book, Yard
        Where it will stand; nothing is written here.
    asker : Asker
        Takes the questions about whole rounds and exchanged heaps: ``unit``, ``round``,
        ``exchange.A.B``. Answers to them are applied to the cells that come back.
    when : When
        Time of the round.
    cells : sequence of Cell
        The numbers as typed.
    unit : str
        ``C`` or ``F`` for numbers without a mark.
    walk : str
        Id of the round; what the book holds of it already is asked about only if it was then.
    air : Typed, optional
        The air of the round.

    Returns
    -------
    Screened
        Cells, with a note where an answer changed them, and questions about single readings.

    Raises
    ------
    EntryError
        An answer cannot stand.
    """
    cells, left_out = _answered(asker, cells)
    past = past_of(book, yard.trial, when.middle)
    if past is None or not cells:
        return Screened(tuple(cells), {}, left_out)
    day = past.day(when.middle)
    before = [m for m in past.marks if m.day < day]
    fresh = [_mark(asker, day, n, c, unit, walk) for n, c in enumerate(cells)]
    airs = [a for a in past.air if a[0] < day - 1e-9] + _air_now(asker, day, air, unit)
    doubts = screen_log(
        before + [m for m in fresh if m is not None],
        air=([a[0] for a in airs], [a[1] for a in airs]) if airs else None,
        moved=past.moved,
    )
    questions: dict[str, Asked] = {}
    for doubt in doubts:
        if _stands(past, walk, [cells[n] for n in doubt.new]):
            continue
        if doubt.kind == "reading":
            cell = cells[doubt.new[0]]
            questions[cell.key] = about_reading(cell.shown, cell.typed, cell.note, doubt, unit)
        elif doubt.kind == "exchange":
            _ask_exchange(asker, doubt)
        else:
            _ask_round(asker, doubt, cells, unit)
    return Screened(tuple(cells), questions, left_out)


def _stands(past: Past, walk: str, cells: Sequence[Cell]) -> bool:
    """Whether the book holds these readings of the same round, taken without a question."""
    return all(past.notes.get((walk, c.heap, c.spot)) == "" for c in cells)


def _mark(asker: Asker, day: float, n: int, cell: Cell, unit: str, walk: str) -> Mark | None:
    """The cell as a mark; None when its own answer settles it as something else."""
    value = celsius(cell.typed, unit)
    answer = asker.given(cell.key)
    sure = answer is not None and answer.strip().lower().replace("_", "-") == "as-written"
    if answer is not None and not sure:
        return None
    return Mark(day, cell.heap, cell.spot.lower(), value, n, walk, sure)


def _air_now(asker: Asker, day: float, air: Typed | None, unit: str) -> list[tuple[float, float]]:
    if air is None or asker.given("air") is not None:
        return []
    value = celsius(air, unit)
    row = quantity("air_temp_c")
    return [(day, value)] if row.low <= value <= row.high else []


def _answered(asker: Asker, cells: Sequence[Cell]) -> tuple[list[Cell], tuple[str, ...]]:
    """The cells after the answers about the whole round and about exchanged heaps."""
    out = list(cells)
    left: list[str] = []
    answer = asker.given("round")
    if answer is not None:
        answer = asker.check("round", answer, ("as-written", "tenth", "tenfold", "withdraw"))
        if answer == "withdraw":
            left += [f"{c.shown} typed {c.typed.text} was left out" for c in out]
            out = []
        elif answer == "as-written":
            out = [replace(c, note="round kept as written on asking") for c in out]
        else:
            factor = 0.1 if answer == "tenth" else 10.0
            out = [_scaled(c, factor, f"typed {c.typed.text} at first") for c in out]
    known = {c.heap.lower(): c.heap for c in cells}
    for key in [k for k in asker.answers if k.lower().startswith("exchange.")]:
        a, b = heap_pair(key, known)
        answer = asker.check(key, asker.given(key) or "", ("exchanged", "as-written", "withdraw"))
        if answer == "withdraw":
            gone = [c for c in out if c.heap in (a, b)]
            left += [f"{c.shown} typed {c.typed.text} was left out" for c in gone]
            out = [c for c in out if c.heap not in (a, b)]
        other = {a: b, b: a}
        if answer == "as-written":
            out = [
                replace(c, note=f"not exchanged with {other[c.heap]}, on asking")
                if c.heap in other else c
                for c in out
            ]  # fmt: skip
        if answer == "exchanged":
            out = [
                replace(c, heap=other[c.heap], note=f"exchanged with {c.heap} on asking")
                if c.heap in other else c
                for c in out
            ]  # fmt: skip
    return out, tuple(left)


def heap_pair(key: str, known: dict[str, str]) -> tuple[str, str]:
    """The two heaps of an ``exchange.A.B``; names may hold points themselves."""
    rest = key.split(".", 1)[1].lower()
    for a in known:
        if rest.startswith(a + ".") and rest[len(a) + 1 :] in known:
            return known[a], known[rest[len(a) + 1 :]]
    raise EntryError(
        "these are not two heaps of the round",
        field="--answer",
        value=key,
        way_out="Write it as in exchange.A.B=exchanged",
    )


def _scaled(cell: Cell, factor: float, note: str) -> Cell:
    text = f"{cell.typed.number * factor:.6g}"
    return replace(cell, typed=Typed(text, cell.typed.unit), note=note)


def _settled(asker: Asker, key: str) -> bool:
    return asker.given(key) is not None


def _ask_exchange(asker: Asker, doubt: Doubt) -> None:
    a, b = doubt.heaps
    for key in (f"exchange.{a}.{b}", f"exchange.{b}.{a}"):
        if _settled(asker, key):
            return
    asker.get(
        f"exchange.{a}.{b}", words_of(doubt), ("exchanged", "as-written", "withdraw"),
        suggested="exchanged",
    )  # fmt: skip


def _ask_round(asker: Asker, doubt: Doubt, cells: Sequence[Cell], unit: str) -> None:
    """A question about the whole round, unless it was answered."""
    if doubt.kind in ("F", "C"):
        bare = all(not cells[n].typed.unit for n in doubt.new) and unit != doubt.kind
        if bare and not _settled(asker, "unit"):
            asker.get("unit", words_of(doubt), (doubt.kind, unit), suggested=doubt.kind)
        return
    if not _settled(asker, "round"):
        more = (doubt.kind,) if doubt.kind in ("tenth", "tenfold") else ()
        asker.get("round", words_of(doubt), (*more, "as-written", "withdraw"))


# --- whole sheets --------------------------------------------------------------------------------


def screen_sheet(
    book: Book, trial: str, fresh: Sequence[tuple[str, str, When, float]],
    air: Sequence[tuple[When, float]], moved: Sequence[tuple[str, When]],
    *, step_h: float,
) -> list[Doubt]:  # fmt: skip
    """Screen the readings of a sheet together with what the book holds.

    Parameters
    ----------
    fresh : sequence of (heap, spot, when, temp_c)
        The readings; a `Doubt` names them by their place here.
    air : sequence of (when, temp_c)
        Air in the sheet.
    moved : sequence of (heap, when)
        Turns in the sheet.
    step_h : float
        A sheet read at least so often is a logger's, which makes no slips of the pen: not screened.

    Returns
    -------
    list of Doubt
        Readings that stand in the book already are not among them.
    """
    if not fresh or _is_logger(fresh, step_h):
        return []
    first = min(w.middle for _, _, w, _ in fresh)
    past = past_of(book, trial, first) or Past(start=first - _HISTORY)
    there = {(m.heap.lower(), m.spot, round(m.day, 5)) for m in past.marks}
    marks: list[Mark] = list(past.marks)
    for n, (heap, spot, when, value) in enumerate(fresh):
        day = past.day(when.middle)
        if (heap.lower(), spot.lower(), round(day, 5)) not in there:
            marks.append(Mark(day, heap, spot.lower(), value, n))
    airs = sorted({*past.air, *((past.day(w.middle), v) for w, v in air)})
    spans = {h: list(s) for h, s in past.moved.items()}
    for heap, when in moved:
        spans.setdefault(heap, []).append((past.day(when.low), past.day(when.high)))
    return screen_log(
        marks, air=([a[0] for a in airs], [a[1] for a in airs]) if airs else None,
        moved=spans, sheet=True,
    )  # fmt: skip


def _is_logger(fresh: Sequence[tuple[str, str, When, float]], step_h: float) -> bool:
    """Whether half of the steps at a spot are shorter than a person walks."""
    places: dict[tuple[str, str], list[datetime]] = {}
    for heap, spot, when, _ in fresh:
        places.setdefault((heap, spot), []).append(when.middle)
    steps = sorted(
        (b - a).total_seconds() / 3600
        for times in places.values()
        for a, b in itertools.pairwise(sorted(set(times)))
    )
    return len(steps) > 2 and steps[len(steps) // 2] <= step_h
