"""Paper for the yard: the round sheet, the signs at the heaps, and a filled sheet typed in later.

Units: temperatures as typed, degrees C unless F is said. Conventions: a sheet has heaps and spots
in the order of the plan, then the air; its code of six letters tells trial and day, so that a
sheet found in a coat pocket still finds its place. What is doubtful is asked, cell by cell, and
nothing is written before.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from heapwright.domain.heap import Spot
from heapwright.errors import HeapwrightError, InputError, Question, QuestionError
from heapwright.exchange.pasted import RoundLine, Typed
from heapwright.services.doings import log_event
from heapwright.services.log import Logged, log_round
from heapwright.services.plans import stored_plan
from heapwright.services.yard import pick_trial, yard_of
from heapwright.store.book import Book

__all__ = [
    "Entered", "RoundSheet", "SheetTyped", "Sign", "enter_sheet", "heap_signs", "read_code",
    "round_sheet", "sheet_code",
]  # fmt: skip

_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
_SIZE = len(_LETTERS) ** 3
_FIRST_DAY = date(2020, 1, 1)
_NO_PLAN_SPOTS = tuple(Spot(f"spot{k}", 0.0) for k in (1, 2, 3))
_EMPTY = {"", "-", "--", "–", "—", "x", "?"}
_CELL = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*°?\s*([CcFf]?)\s*")
#: longest text of one cell and of one note
MOST_CELL, MOST_NOTE = 12, 300


@dataclass(frozen=True, slots=True)
class RoundSheet:
    """A sheet for one round: heaps down, spots across, both in the order of the plan.

    code : of trial and day; places : depth and position of each spot in words, "" where unknown.
    """

    trial: str
    invented: bool
    day: date
    code: str
    heaps: tuple[str, ...]
    spots: tuple[str, ...]
    places: tuple[str, ...]

    @property
    def keys(self) -> tuple[str, ...]:
        """``heap.spot`` of every cell, in the order they are written and typed."""
        return tuple(f"{heap}.{spot}" for heap in self.heaps for spot in self.spots)


@dataclass(frozen=True, slots=True)
class Sign:
    """A sign at one heap: its name, its way or "", and (spot, place) to be read."""

    heap: str
    way: str
    spots: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class SheetTyped:
    """A filled sheet as it was typed.

    code : at the top of the sheet, kept with every entry; readings : in the order of
    `RoundSheet.keys`; notes : one a heap; answers : by key, with the
    text that stood there when it was asked, so that an answer ends when its number is changed.
    """

    code: str = ""
    when: str = ""
    reader: str = ""
    probe: str = ""
    unit: str = "C"
    readings: tuple[str, ...] = ()
    air: str = ""
    notes: tuple[str, ...] = ()
    answers: Mapping[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Entered:
    """What came of a typed sheet: what was written, or all that must be settled first.

    questions : with the keys of `log_round`; asked : what stood there, by key; faults : by key, ""
    for the sheet as a whole.
    """

    logged: Logged | None = None
    notes: int = 0
    questions: tuple[Question, ...] = ()
    asked: Mapping[str, str] = field(default_factory=dict)
    faults: Mapping[str, str] = field(default_factory=dict)


def sheet_code(trial: str, day: date) -> str:
    """Six letters for trial and day, three each; raises `InputError` before 2020 or after 2101.

    >>> sheet_code("Ferncombe 2026", date(2026, 6, 21)) == sheet_code(
    ...     "ferncombe 2026", date(2026, 6, 21))
    True
    """
    days = (day - _FIRST_DAY).days
    if not 0 <= days < _SIZE:
        raise InputError(
            "no sheet is made for that day", field="day", value=day.isoformat(),
            way_out="Give a day between 2020 and 2100",
        )  # fmt: skip
    digest = hashlib.sha256(trial.strip().lower().encode()).digest()
    return f"{_spelt(int.from_bytes(digest[:8], 'big') % _SIZE)}-{_spelt(days)}"


def read_code(book: Book, code: str) -> tuple[str, date]:
    """Trial and day of a sheet; raises `InputError` for a code of no trial of the book."""
    typed = "".join(c for c in code.lower() if c.isalnum())
    if len(typed) == 6 and all(c in _LETTERS for c in typed):
        number = 0
        for letter in typed[3:]:
            number = number * len(_LETTERS) + _LETTERS.index(letter)
        day = _FIRST_DAY + timedelta(days=number)
        for trial in book.trials():
            if sheet_code(trial, day).replace("-", "") == typed:
                return trial, day
    raise InputError(
        "no trial of this book has a sheet with that code", field="code", value=code,
        way_out="Look again at the top of the sheet, or leave the code out and give the day",
    )  # fmt: skip


def _spelt(number: int) -> str:
    out = ""
    for _ in range(3):
        number, rest = divmod(number, len(_LETTERS))
        out = _LETTERS[rest] + out
    return out


def round_sheet(book: Book, trial: str | None, *, day: date) -> RoundSheet:
    """The sheet of a trial for one day; without a plan three spots stand on it.

    Raises `UnknownNameError`, and `InputError` for a day far off.
    """
    yard = yard_of(book, trial)
    spots = yard.spots or _NO_PLAN_SPOTS
    return RoundSheet(
        trial=yard.trial,
        invented=bool(yard.planned and stored_plan(book, yard.trial).trial.invented),
        day=day,
        code=sheet_code(yard.trial, day),
        heaps=yard.heaps,
        spots=tuple(s.name for s in spots),
        places=tuple(_place(s) for s in spots),
    )


def _place(spot: Spot) -> str:
    if spot.depth_m <= 0:
        return ""
    return ", ".join(filter(None, (f"{spot.depth_m * 100:.0f} cm", spot.position)))


def heap_signs(book: Book, trial: str | None, *, ways: bool = False) -> tuple[Sign, ...]:
    """One sign a heap; ways : say how each is managed, once nobody deals loads any more."""
    yard = yard_of(book, trial)
    of = {}
    if ways and yard.planned:
        of = {h.name: h.way or "" for h in stored_plan(book, yard.trial).trial.heaps}
    spots = tuple((s.name, _place(s)) for s in yard.spots)
    return tuple(Sign(heap, of.get(heap, ""), spots) for heap in yard.heaps)


# --- typed in later --------------------------------------------------------------------------


def enter_sheet(book: Book, trial: str | None, typed: SheetTyped, *, now: datetime) -> Entered:
    """Enter a filled sheet as one round, with a note a heap where there is one.

    The same sheet typed twice is one round. Nothing is written while a cell cannot be read or a
    question is open. Raises `UnknownNameError` for a trial that is not there.
    """
    name = pick_trial(book, trial)
    sheet = round_sheet(book, name, day=now.date())
    cells, faults = _cells(sheet, typed)
    air = _typed(typed.air, "air", faults)
    if not faults and air is None and not any(cells.values()) and not any(typed.notes):
        faults[""] = "Nothing stands on this sheet yet: type what was read."
    if faults:
        return Entered(faults=faults)
    heaps: dict[str, list[Typed | None]] = {}
    for (heap, _), cell in zip(_places(sheet), cells.values(), strict=True):
        heaps.setdefault(heap, []).append(cell)
    read = RoundLine({h: tuple(row) for h, row in heaps.items() if any(row)}, air)
    source = f"sheet {typed.code.strip().lower()}".strip()
    try:
        logged = None
        if read.heaps or read.air:
            logged = log_round(
                book, name, read, now=now, when=typed.when.strip() or None, reader=typed.reader,
                probe=typed.probe, unit=typed.unit, answers=_standing(sheet, typed), source=source,
            )  # fmt: skip
        notes = _enter_notes(book, sheet, typed, now=now, source=source)
    except QuestionError as error:
        asked = {q.key: _stood(sheet, typed, q.key) for q in error.questions}
        return Entered(questions=error.questions, asked=asked)
    except HeapwrightError as error:
        key = error.field if error.field in {*sheet.keys, "air", "when"} else ""
        return Entered(faults={key or "": error.message})
    return Entered(logged, notes)


def _places(sheet: RoundSheet) -> list[tuple[str, str]]:
    return [(heap, spot) for heap in sheet.heaps for spot in sheet.spots]


def _cells(sheet: RoundSheet, typed: SheetTyped) -> tuple[dict[str, Typed | None], dict[str, str]]:
    """Every cell as read, and what cannot be read, by key."""
    faults: dict[str, str] = {}
    texts = [*typed.readings, *[""] * (len(sheet.keys) - len(typed.readings))]
    if len(texts) > len(sheet.keys):
        faults[""] = "The plan has changed since this page was opened: open it again."
    return {k: _typed(t, k, faults) for k, t in zip(sheet.keys, texts, strict=False)}, faults


def _typed(text: str, key: str, faults: dict[str, str]) -> Typed | None:
    if text.strip().lower() in _EMPTY:
        return None
    found = _CELL.fullmatch(text)
    if found is None:
        faults[key] = f"{text.strip()} is no temperature. Write 52, 52.5, 126F, or - if not read."
        return None
    return Typed(found[1], found[2].upper())


def _standing(sheet: RoundSheet, typed: SheetTyped) -> dict[str, str]:
    """Answers whose numbers still stand as they were asked about."""
    return {
        key: answer
        for key, (answer, stood) in typed.answers.items()
        if answer.strip() and _stood(sheet, typed, key) == stood
    }


def _stood(sheet: RoundSheet, typed: SheetTyped, key: str) -> str:
    """What a question is about: one cell, the air, or all of the sheet."""
    lower = [k.lower() for k in sheet.keys]
    if key.lower() in lower and lower.index(key.lower()) < len(typed.readings):
        return f"{typed.readings[lower.index(key.lower())].strip()} {typed.unit}"
    if key == "air":
        return f"{typed.air.strip()} {typed.unit}"
    return "|".join([*(r.strip() for r in typed.readings), typed.air.strip(), typed.unit])


def _enter_notes(
    book: Book, sheet: RoundSheet, typed: SheetTyped, *, now: datetime, source: str
) -> int:
    written = 0
    for heap, note in zip(sheet.heaps, typed.notes, strict=False):
        if note.strip():
            log_event(
                book, sheet.trial, [heap], "note", now=now, when=typed.when.strip() or None,
                who=typed.reader, note=note, source=source,
            )  # fmt: skip
            written += 1
    return written
