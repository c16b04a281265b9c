"""Enter what was read with a probe: a round over the heaps, or the air alone.

Units: temperatures in degrees C after reading; times in UTC (`When`).
Conventions: what cannot be, or hardly can, is asked about and never changed silently; text and
unit stay as typed. Ids come from the enterer or from trial, time and content, so that the same
entry sent twice is one entry.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from heapwright.domain.entries import Event, Reading, Round, Sample, Trail, Weather
from heapwright.domain.when import When
from heapwright.errors import EntryError, HeapwrightError
from heapwright.exchange.pasted import RoundLine, Typed, parse_round_line
from heapwright.science.values import value as published
from heapwright.services.asking import Asker
from heapwright.services.screening import Cell, Screened, screen_cells
from heapwright.services.screenwords import Asked
from heapwright.services.yard import Yard, yard_of
from heapwright.store.book import Added, Book
from heapwright.units import Quantity, parse_number, quantity

__all__ = ["Logged", "Taker", "check_id", "log_air", "log_round", "made_id", "to_celsius"]


@dataclass(frozen=True, slots=True)
class Logged:
    """What one call wrote: entries (their ids are in them), how many were new, and remarks."""

    trial: str
    entries: tuple[Reading | Event | Sample | Weather, ...]
    added: Added
    remarks: tuple[str, ...] = ()
    round: Round | None = None

    @property
    def ids(self) -> tuple[str, ...]:
        """Ids of the entries, in order."""
        return tuple(e.id for e in self.entries)


def made_id(*parts: object) -> str:
    """An id that the same parts always give (UUID of version 5)."""
    return str(uuid.uuid5(uuid.NAMESPACE_URL, "heapwright:" + "|".join(str(p) for p in parts)))


def check_id(entry_id: str) -> str:
    """*entry_id* if it can be kept (1-64 letters, digits, ``-``, ``_``), else `EntryError`."""
    if re.fullmatch(r"[A-Za-z0-9_-]{1,64}", entry_id):
        return entry_id
    raise EntryError(
        "an id has 1 to 64 letters, digits, - or _",
        field="id",
        value=repr(entry_id),
        way_out="Leave it out, or give a UUID",
    )


def to_celsius(number: float, unit: str) -> float:
    """*number* in ``C`` or ``F`` as degrees C.

    >>> to_celsius(131, "F")
    55.0
    """
    return (number - 32) / 1.8 if unit == "F" else number


def log_round(
    book: Book,
    trial: str | None,
    line: str | RoundLine,
    *,
    now: datetime,
    when: str | datetime | None = None,
    reader: str = "",
    probe: str = "",
    unit: str | None = None,
    answers: Mapping[str, str] | None = None,
    entry_id: str | None = None,
    source: str = "log",
    new: bool = False,
) -> Logged:
    """Enter one probe round.

    Parameters
    ----------
    book : Book
        Open for writing.
    trial : str or None
        Its name; None for the only one in the book.
    line : str or RoundLine
        A pasted line, or the same as a structure.
    now, when : datetime, str
        The present, and the time of the round (a time in the line serves as well; now if none).
    reader, probe : str
        Who read, with which probe.
    unit : str, optional
        ``C`` or ``F`` for numbers without a mark; degrees C without.
    answers : mapping
        Answers to questions: ``unit``, ``air``, or ``heap.spot``, each with ``C``, ``F``,
        ``as-written``, ``withdraw`` or a number; ``exchange.A.B`` with ``exchanged``,
        ``as-written`` or ``withdraw``; ``round`` with ``as-written``, ``withdraw``, ``tenth`` or
        ``tenfold``.
    entry_id : str, optional
        Id of the round made by the enterer; those of its readings follow from it.
    source : str
        Where it came from, kept in the trail.
    new : bool
        Heaps and the trial may be new when no plan was locked.

    Raises
    ------
    EntryError, UnknownNameError, InputError
        The line, a name, the time or an answer cannot stand.
    QuestionError
        A value cannot be, is too hot to be taken without asking, or does not fit what the book
        holds (see `heapwright.services.screening`); nothing was written.
    """
    yard = yard_of(book, trial, new=new)
    read = (
        parse_round_line(
            line, heaps=yard.heaps, spots=yard.spot_names, new=yard.new and not yard.planned
        )
        if isinstance(line, str)
        else line
    )
    if read.when and when is not None:
        raise EntryError(
            "the time is given twice, in the line and beside it",
            field="when",
            value=f"{read.when} / {when}",
            way_out="Leave one of them out",
        )
    moment = yard.when(read.when or when, now=now)
    asker = Asker(answers or {})
    default = _unit(asker, read.unit, unit)
    if _half_marked(read) and not (read.unit or unit or asker.given("unit")):
        asker.get(
            "unit", "some numbers of this line carry F and some no unit; those are in", ("F", "C")
        )
        asker.settle()  # what else is doubtful depends on it
    content = (read.text or repr(read), default)
    walk_id = (
        check_id(entry_id)
        if entry_id
        else made_id("round", yard.trial.lower(), moment.low, moment.high, *content)
    )
    taker = Taker(yard, asker, moment, default, walk_id, reader.strip(), probe.strip(), source)
    screened = screen_cells(
        book, yard, asker, moment, taker.cells(read), unit=default, walk=walk_id, air=read.air
    )
    taker.left_out += screened.left_out
    readings = taker.readings(screened)
    air = taker.air(read)
    asker.settle()
    asker.unused(("unit",))
    walk = Round(walk_id, yard.trial, moment, reader.strip(), "; ".join(taker.left_out))
    entries: tuple[Reading | Weather, ...] = (*readings, *air)
    added = book.add(entries, rounds=[walk], now=now, make_heaps=new)
    return Logged(yard.trial, entries, added, tuple(taker.left_out), walk)


def log_air(
    book: Book,
    trial: str | None,
    value: str,
    *,
    now: datetime,
    when: str | datetime | None = None,
    unit: str | None = None,
    answers: Mapping[str, str] | None = None,
    entry_id: str | None = None,
    source: str = "log",
    new: bool = False,
) -> Logged:
    """Enter one reading of the air beside the heaps; arguments and errors as in `log_round`."""
    yard = yard_of(book, trial, new=new)
    found = re.fullmatch(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*°?\s*([CcFf]?)\s*", value)
    if found is None:
        raise EntryError(
            "a temperature was expected", field="air", value=repr(value), way_out="Write 12 or 54F"
        )
    moment = yard.when(when, now=now)
    asker = Asker(answers or {})
    typed = Typed(found[1], found[2].upper())
    default = _unit(asker, "", unit)
    mine = (
        check_id(entry_id)
        if entry_id
        else made_id("air", yard.trial.lower(), moment.low, moment.high, typed, default)
    )
    taker = Taker(yard, asker, moment, default, mine, "", "", source)
    entries = tuple(replace(w, id=mine, round=None) for w in taker.air(RoundLine({}, typed)))
    asker.settle()
    asker.unused(("unit",))
    added = book.add(entries, now=now, make_heaps=new)
    return Logged(yard.trial, entries, added, tuple(taker.left_out))


def _half_marked(read: RoundLine) -> bool:
    """True where F stands at some numbers of a pasted line and nothing at others.

    In ``A 131 125 F`` it may be meant for both; a structure has a unit for each of its numbers.
    """
    typed = [t for row in read.heaps.values() for t in row if t]
    marks = {t.unit for t in [*typed, *([read.air] if read.air else [])]}
    return bool(read.text) and {"", "F"} <= marks


def _unit(asker: Asker, in_line: str, option: str | None) -> str:
    for typed in (asker.given("unit"), in_line, option):
        if typed:
            letter = typed.strip(" °").upper()[:1]
            if letter not in ("C", "F"):
                raise EntryError(
                    "temperatures are in C or F", field="unit", value=typed, way_out="Write F"
                )
            return letter
    return "C"


@dataclass(slots=True)
class Taker:
    """Turns the numbers of one round into readings, asking about what cannot be."""

    yard: Yard
    asker: Asker
    when: When
    unit: str
    walk: str
    reader: str
    probe: str
    source: str
    left_out: list[str] = field(default_factory=list)

    def cells(self, read: RoundLine) -> list[Cell]:
        """The numbers of all heaps with their places."""
        out: list[Cell] = []
        for typed_heap, row in read.heaps.items():
            heap = self.yard.heap(typed_heap)
            names = self.yard.spot_names or tuple(f"spot{k}" for k in range(1, len(row) + 1))
            if len(row) > len(names):
                raise EntryError(
                    f"heap {heap} has more numbers than its {len(names)} spots",
                    field="line",
                    value=len(row),
                    way_out="Leave out what was not read at one of: " + ", ".join(names),
                )
            for spot, typed in zip(names, row, strict=False):
                if typed:
                    out.append(Cell(f"{heap}.{spot}", f"{heap} {spot}", heap, spot, typed))
        return out

    def readings(self, screened: Screened) -> list[Reading]:
        """The readings of all heaps, without those left out."""
        made = [self._reading(c, screened.questions.get(c.key)) for c in screened.cells]
        return [r for r in made if r is not None]

    def _reading(self, cell: Cell, doubt: Asked | None) -> Reading | None:
        row = quantity("temp_c")
        taken = self._value(cell.key, cell.shown, cell.typed, row, doubt)
        if taken is None:
            return None
        value, text, unit, note = taken
        depth, pipe = self.yard.place_of(cell.heap, cell.spot)
        note = "; ".join(n for n in (cell.note, note) if n)
        return Reading(
            made_id("reading", self.walk, cell.heap.lower(), cell.spot.lower()),
            self.yard.trial, cell.heap, cell.spot, self.when, value,
            typed=text, typed_unit=unit, probe=self.probe, reader=self.reader, depth_m=depth,
            pipe_distance_m=pipe, round=self.walk, note=note,
            trail=Trail("", source=self.source),
        )  # fmt: skip

    def air(self, read: RoundLine) -> list[Weather]:
        """The air reading, if there is one."""
        if read.air is None:
            return []
        taken = self._value("air", "the air", read.air, quantity("air_temp_c"))
        if taken is None:
            return []
        value, text, unit, note = taken
        return [
            Weather(
                made_id("air", self.walk), self.yard.trial, self.when, value, typed=text,
                typed_unit=unit, round=self.walk, note=note, trail=Trail("", source=self.source),
            )
        ]  # fmt: skip

    def _value(
        self, key: str, shown: str, typed: Typed, row: Quantity, doubt: Asked | None = None
    ) -> tuple[float, str, str, str] | None:
        """Value [degrees C], text, unit and note of one number; None when it is left out.

        doubt : what its history says against it, asked unless it cannot be at all.
        """
        unit = typed.unit or self.unit
        value = to_celsius(typed.number, unit)
        answer = self.asker.given(key)
        question = _doubt(value, typed, unit, shown, row) or doubt
        if answer is None:
            if question is None:
                return value, typed.text, unit, ""
            text, choices, suggested = question
            self.asker.get(key, text, choices, suggested=suggested)
            return None
        return self._answered(key, shown, typed, unit, answer, row)

    def _answered(
        self, key: str, shown: str, typed: Typed, unit: str, answer: str, row: Quantity
    ) -> tuple[float, str, str, str] | None:
        word = answer.strip().lower().replace("_", "-")
        if word in ("withdraw", "withdrawn", "skip"):
            self.left_out.append(f"{shown} typed {typed.text} was left out")
            return None
        if word in ("c", "f", "as-written"):
            chosen = unit if word == "as-written" else word.upper()
            value, text = to_celsius(typed.number, chosen), typed.text
            note = "" if chosen == unit else f"typed without unit; {chosen} on asking"
            if word == "as-written":
                note = "kept as written on asking"
        else:
            value, text, chosen = _number_or_unit(key, answer, unit)
            note = f"typed {typed.text} at first"
        try:
            row.check(value, field=key, typed=f"{text} {chosen}")
        except HeapwrightError as error:
            raise EntryError(
                error.what, field=key, value=error.value,
                way_out="Answer with C, F, withdraw or another number",
            ) from None  # fmt: skip
        return value, text, chosen, note


def _number_or_unit(key: str, answer: str, unit: str) -> tuple[float, str, str]:
    found = re.fullmatch(r"\s*([-+]?\d+(?:[.,]\d+)?)\s*°?\s*([CcFf]?)\s*", answer)
    if found is None:
        raise EntryError(
            "this is no answer",
            field=key,
            value=answer,
            way_out="Answer with C, F, as-written, withdraw or another number",
        )
    chosen = found[2].upper() or unit
    return to_celsius(parse_number(found[1], field=key), chosen), found[1], chosen


def _doubt(value: float, typed: Typed, unit: str, shown: str, row: Quantity) -> Asked | None:
    """Question, choices and suggestion for a value [degrees C]; None when it can stand."""
    fits = row.low <= value <= row.high
    hot = published("entry", "ask_above_c").value
    if fits and not (row.key == "temp_c" and value > hot):
        return None
    other = "C" if unit == "F" else "F"
    turned = to_celsius(typed.number, other)
    offered = row.low <= turned <= row.high and not typed.unit
    said = f"{shown} reads {typed.text} {unit}"
    if fits:
        text = f"{said}, hotter than life in a heap makes it. As written, or look again?"
        choices = ("as-written", *((other,) if offered else ()), "withdraw", "a number")
        return text, choices, None
    low, high = (f"{limit:g}" for limit in (row.low, row.high))
    text = f"{said}, outside {low} to {high} C and so impossible as written."
    if offered:
        text += f" Degrees {other} ({turned:.0f} C)?"
    return text, (*((other,) if offered else ()), "withdraw", "a number"), (
        other if offered else None
    )  # fmt: skip
