"""What a phone sends from the heaps, put into the book entry by entry.

Units: temperatures as typed with their unit, degrees C in the book; times as aware moments.
Conventions: each entry has an id made on the phone and is judged by itself, so that a wrong one
never takes a right one with it; sending twice changes nothing; what is doubtful is asked about and
stays on the phone until it is answered.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from heapwright.domain.entries import Entry, Reading, Round
from heapwright.domain.when import When
from heapwright.errors import EntryError, HeapwrightError, Question, QuestionError
from heapwright.exchange.pasted import RoundLine, Typed, parse_round_line
from heapwright.services.asking import Asker
from heapwright.services.doings import log_event
from heapwright.services.fieldentry import PHOTO_BYTES, FieldAnswer, FieldEntry, refused
from heapwright.services.log import Taker, check_id, log_round
from heapwright.services.mend import withdraw
from heapwright.services.screening import Cell, Screened, heap_pair, screen_cells
from heapwright.services.screenwords import celsius
from heapwright.services.yard import Yard, yard_of
from heapwright.store.book import Book, next_version
from heapwright.units import parse_number, quantity

__all__ = ["MOST", "SMELLS", "SQUEEZES", "take"]

#: Words for a squeezed handful, from wet to dry, and for a smell; as the diagnosis takes them.
SQUEEZES = ("streams", "drops", "damp", "crumbles", "no_ball", "dusty")
SMELLS = ("none", "earthy", "ammonia", "rotten egg", "sour", "vinegar", "burnt")
#: Most entries in one call.
MOST = 500
_AHEAD = timedelta(minutes=15)
_SOURCE = "round page"
_LEAVE = "withdraw"


# --- taking entries ------------------------------------------------------------------------------


def take(
    book: Book, trial: str | None, raws: Sequence[object], *, now: datetime
) -> list[FieldAnswer]:
    """Enter what a phone sends, each entry by itself.

    Parameters
    ----------
    book : Book
        Open for writing.
    trial : str or None
        Its name; None for the only one in the book.
    raws : sequence
        Decoded JSON objects, see `FieldEntry`; at most `MOST`.
    now : datetime
        The present, aware.

    Returns
    -------
    list of FieldAnswer
        One for each entry, in order. Readings of one visit are screened together, with those of the
        visit that the book holds already.

    Raises
    ------
    UnknownNameError, EntryError
        No such trial; too many entries at once.
    """
    if len(raws) > MOST:
        raise EntryError(f"at most {MOST} entries at once", field="entries", value=len(raws),
                         way_out="Send the rest after these")  # fmt: skip
    yard = yard_of(book, trial)
    answers: dict[int, FieldAnswer] = {}
    entries: dict[int, FieldEntry] = {}
    for n, raw in enumerate(raws):
        try:
            entries[n] = FieldEntry.read(raw)
        except HeapwrightError as error:
            named = str(raw.get("id", ""))[:64] if isinstance(raw, Mapping) else ""
            answers[n] = refused(named, error)
    there = {e.id: v for e in entries.values() if (v := _there(book, yard, e)) is not None}
    asked = _asked(book, yard, [e for e in entries.values() if e.id not in there], now)
    for n, entry in entries.items():
        try:
            answers[n] = _take_one(book, yard, entry, there, asked.get(entry.id, ()), now)
        except QuestionError as error:
            answers[n] = FieldAnswer(entry.id, "asked", questions=tuple(error.questions))
        except HeapwrightError as error:
            answers[n] = refused(entry.id, error)
    _exchange(book, yard, entries.values(), now)
    return [answers[n] for n in range(len(raws))]


def _there(book: Book, yard: Yard, entry: FieldEntry) -> Entry | None:
    """The first version of the entry with this id, if the book has it."""
    found = [v for v in book.history(yard.trial, id=entry.id) if v.id == entry.id]
    return found[0] if found else None


def _take_one(
    book: Book, yard: Yard, entry: FieldEntry, there: Mapping[str, Entry],
    asked: Sequence[Question], now: datetime,
) -> FieldAnswer:  # fmt: skip
    before = there.get(entry.id)
    if before is not None:
        return _known(entry, before)
    if any(v.strip().lower() == _LEAVE for v in entry.answers.values()):
        return FieldAnswer(entry.id, "left out")
    if entry.kind == "undo":
        return _undo(book, yard, entry, now)
    if asked:
        raise QuestionError(list(asked))
    moment, walk = _when(yard, entry, now)
    if entry.kind in ("reading", "air"):
        return _measured(book, yard, entry, moment, walk, now)
    if entry.kind == "line":
        return _line(book, yard, entry, now)
    return _noted(book, yard, entry, moment, now)


def _known(entry: FieldEntry, before: Entry) -> FieldAnswer:
    """The same id again: harmless with the same content, refused with another."""
    same = before.heap.lower() == entry.heap.lower() or entry.kind == "air"
    if isinstance(before, Reading):
        noted = f"typed {_plain(entry.text)} at first" in before.note
        typed = before.typed == _plain(entry.text) or noted
        same = same and before.spot.lower() == entry.spot.lower() and typed
    if same:
        return FieldAnswer(entry.id, "known")
    return FieldAnswer(entry.id, "refused", "This id already stands for another entry.",
                       "Type it again: it gets an id of its own")  # fmt: skip


def _when(yard: Yard, entry: FieldEntry, now: datetime) -> tuple[When, Round | None]:
    """When it was read, and its round; a phone whose clock is ahead is asked about."""
    late = max(entry.time, entry.began) > now + _AHEAD
    if late and entry.answers.get("when", "").lower() != "now":
        said = max(entry.time, entry.began).astimezone(yard.zone)
        text = (
            f"the phone's clock says {said:%Y-%m-%d %H:%M}, which is still to come. "
            "Was it read just now?"
        )
        raise QuestionError([Question("when", text, ("now", _LEAVE), "now")])
    if late:
        return When.instant(now.replace(microsecond=0), ""), None
    walk = Round(entry.visit, yard.trial, When.instant(entry.began, ""), entry.reader)
    return When.instant(entry.time, ""), walk


def _undo(book: Book, yard: Yard, entry: FieldEntry, now: datetime) -> FieldAnswer:
    """Withdraw what was sent before; nothing where the book never took it."""
    check_id(entry.text)
    chain = book.history(yard.trial, id=entry.text)
    if all(e.id != entry.text for e in chain):
        return FieldAnswer(entry.id, "known")
    if max(chain, key=lambda e: e.trail.version).trail.action == "withdrawn":
        return FieldAnswer(entry.id, "known")
    withdraw(book, yard.trial, entry.text, why="undone on the round", now=now)
    return FieldAnswer(entry.id, "kept")


# --- readings ------------------------------------------------------------------------------------


def _plain(text: str) -> str:
    return text.strip().rstrip("CcFf° ")


def _typed(entry: FieldEntry, *, named: bool = False) -> Typed:
    """The number of an entry; raises `QuantityError` where there is none.

    named : mark the number with its unit. An answer about the round's unit or marks is applied.
    """
    text = entry.text.strip()
    mark = text[-1:].upper() if text[-1:].upper() in ("C", "F") else ""
    number = parse_number(_plain(text), field=entry.spot or entry.kind)
    scale = {"tenth": 0.1, "tenfold": 10.0}.get(entry.answers.get("round", "").lower())
    plain = _plain(text) if scale is None else f"{number * scale:.6g}"
    unit = entry.answers.get("unit", "").upper()[:1]
    return Typed(plain, mark or (unit if unit in ("C", "F") else entry.unit if named else ""))


def _measured(
    book: Book, yard: Yard, entry: FieldEntry, moment: When, walk: Round | None, now: datetime
) -> FieldAnswer:  # fmt: skip
    typed = _typed(entry)
    spot = next((s for s in yard.spot_names if s.lower() == entry.spot.lower()), entry.spot)
    heap = yard.heap(entry.heap) if entry.kind == "reading" else ""
    key = f"{heap}.{spot}" if heap else "air"
    asker = Asker({k: v for k, v in entry.answers.items() if k.lower() == key.lower()})
    taker = Taker(yard, asker, moment, entry.unit, entry.visit, entry.reader, entry.probe, _SOURCE)
    made: list[Any]
    if heap:
        if not spot or (yard.spot_names and spot not in yard.spot_names):
            raise EntryError("there is no spot of that name", field="spot", value=entry.spot,
                             way_out="Known: " + ", ".join(yard.spot_names))  # fmt: skip
        cell = Cell(key, f"{heap} {spot}", heap, spot, typed, _note(entry))
        made = list(taker.readings(Screened((cell,))))
    else:
        made = list(taker.air(RoundLine({}, typed)))
    asker.settle()
    made = [replace(m, id=entry.id, round=walk.id if walk else None) for m in made]
    added = book.add(made, rounds=[walk] if walk else [], now=now)
    return FieldAnswer(entry.id, "kept" if added.new else "known")


def _note(entry: FieldEntry) -> str:
    """What the answers about the whole round say, kept with each reading."""
    notes = [f"not exchanged with {k.split('.')[-1]}, on asking" for k, v in entry.answers.items()
             if k.lower().startswith("exchange.") and v.lower() == "as-written"]  # fmt: skip
    word = entry.answers.get("round", "").lower()
    if word == "as-written":
        notes.append("round kept as written on asking")
    elif word:
        notes.append(f"typed {_plain(entry.text)} at first")
    if "unit" in entry.answers:
        notes.append(f"typed without unit; {entry.answers['unit'].upper()[:1]} on asking")
    if entry.answers.get("when", "").lower() == "now":
        notes.append("the phone's clock was ahead")
    return "; ".join(notes)


def _asked(
    book: Book, yard: Yard, entries: Sequence[FieldEntry], now: datetime
) -> dict[str, list[Question]]:
    """Questions that the history raises, by id; readings of one visit and unit are one round."""
    groups: dict[tuple[str, str], list[FieldEntry]] = {}
    for entry in entries:
        if entry.kind == "reading" and _LEAVE not in {v.lower() for v in entry.answers.values()}:
            try:
                yard.heap(entry.heap), _typed(entry)
            except HeapwrightError:
                continue  # said when it is taken
            groups.setdefault((entry.visit, entry.unit), []).append(entry)
    if not groups:
        return {}
    kept = book.current("reading", yard.trial)
    out: dict[str, list[Question]] = {}
    for (visit, unit), mine in groups.items():
        out |= _screened(book, yard, mine, [r for r in kept if r.round == visit], unit)
    return out


def _screened(
    book: Book, yard: Yard, mine: Sequence[FieldEntry], kept: Sequence[Reading], unit: str
) -> dict[str, list[Question]]:
    cells: list[Cell] = []
    own: dict[str, str] = {}
    for e in mine:
        heap = yard.heap(e.heap)
        key = f"{heap}.{e.spot}".lower()
        cells.append(Cell(e.id, f"{heap} {e.spot}", heap, e.spot, _typed(e)))
        for name, answer in e.answers.items():
            if name.lower() == key:
                own[e.id] = answer
            elif name.startswith("exchange.") or name == "round":
                own[e.id] = "exchanged" if answer.lower() == "exchanged" else "as-written"
    for r in kept:
        cells.append(Cell(r.id, "", r.heap, r.spot, Typed(f"{r.value:.6g}", "C")))
        own |= {r.id: "as-written"} if r.note else {}
    asker = Asker(own)
    when = When.instant(min(e.began for e in mine), "")
    found = screen_cells(book, yard, asker, when, cells, unit=unit, walk="")
    settled = {r.heap for r in kept if "not exchanged with" in r.note}
    out: dict[str, list[Question]] = {}
    for entry, cell in zip(mine, cells, strict=False):
        if entry.id in own:
            continue
        for q in asker.open:
            pair = _heaps_of(yard, q.key)
            if q.key in entry.answers or (pair and (cell.heap not in pair or cell.heap in settled)):
                continue
            out.setdefault(entry.id, []).append(q)
        single = found.questions.get(entry.id)
        if single is not None and entry.id not in out and not _impossible(cell, unit):
            text, choices, suggested = single
            key = f"{cell.heap}.{cell.spot}"
            out[entry.id] = [Question(key, text, choices, suggested)]
    return out


def _heaps_of(yard: Yard, key: str) -> tuple[str, ...]:
    """The two heaps of the key of a question about an exchange; none for any other."""
    if not key.lower().startswith("exchange."):
        return ()
    try:
        return heap_pair(key, {h.lower(): h for h in yard.heaps})
    except EntryError:
        return ()


def _impossible(cell: Cell, unit: str) -> bool:
    """Whether a number is asked about anyway, because it cannot be."""
    row = quantity("temp_c")
    return not row.low <= celsius(cell.typed, unit) <= row.high


def _exchange(book: Book, yard: Yard, entries: Iterable[FieldEntry], now: datetime) -> None:
    """Exchange two heaps of a visit after a yes: new versions with the reason; once only."""
    wanted: dict[tuple[str, str, str], datetime] = {}
    for e in entries:
        for key, answer in e.answers.items():
            pair = _heaps_of(yard, key)
            if pair and answer.lower() == "exchanged":
                place = e.visit, min(pair), max(pair)
                wanted[place] = max(e.time, wanted.get(place, e.time))
    for (visit, a, b), last in wanted.items():
        other = {a: b, b: a}
        for reading in book.current("reading", yard.trial):
            fits = reading.round == visit and reading.heap in other and reading.when.low <= last
            if fits and reading.trail.version == 1:
                heap = other[reading.heap]
                made = next_version(
                    reading, "corrected", why=f"exchanged with {heap} on asking", source="exchange",
                    heap=heap, pipe_distance_m=yard.place_of(heap, reading.spot)[1],
                )  # fmt: skip
                book.append(made, now=now)


# --- what is not a number ------------------------------------------------------------------------


def _noted(book: Book, yard: Yard, entry: FieldEntry, moment: When, now: datetime) -> FieldAnswer:
    """A note, smell, squeeze or photo, kept as something done to the heap."""
    kind, words = entry.kind, entry.text
    for name, known in (("smell", SMELLS), ("squeeze", SQUEEZES)):
        if kind == name:
            if words not in known:
                raise EntryError("not known here", field=name, value=words,
                                 way_out="One of " + ", ".join(known))  # fmt: skip
            words = f"{name}: {words}"
    if kind == "photo":
        words = f"{_photo(book, entry)} {words}".strip()
    logged = log_event(
        book, yard.trial, [yard.heap(entry.heap)], "photo" if kind == "photo" else "note",
        now=now, when=moment.low, who=entry.reader, note=words, entry_id=entry.id, source=_SOURCE,
    )  # fmt: skip
    return FieldAnswer(entry.id, "kept" if logged.added.new else "known")


def _photo(book: Book, entry: FieldEntry) -> str:
    """The name of the picture, kept in a folder beside the book."""
    if book.is_url:
        raise EntryError("a photo is kept beside a book that is a file", field="photo",
                         way_out="Keep it on the phone and send a note")  # fmt: skip
    try:
        data = base64.b64decode(entry.photo, validate=True)
    except (binascii.Error, ValueError):
        data = b""
    if not data.startswith(b"\xff\xd8\xff") or len(data) > PHOTO_BYTES:
        raise EntryError(f"a JPEG of at most {PHOTO_BYTES // 1_000_000} MB was expected",
                         field="photo", way_out="Take it again")  # fmt: skip
    folder = Path(book.where + ".photos")
    try:
        folder.mkdir(exist_ok=True)
        (folder / f"{entry.id}.jpg").write_bytes(data)
    except OSError as error:
        raise EntryError(
            f"the photo cannot be kept ({error.strerror})", field="photo",
            way_out="Make room beside the book and send it again",
        ) from None  # fmt: skip
    return f"{entry.id}.jpg"


def _line(book: Book, yard: Yard, entry: FieldEntry, now: datetime) -> FieldAnswer:
    """A pasted line: as good as the same numbers by key; words such as 7:10 count from typing."""
    read = parse_round_line(entry.text, heaps=yard.heaps, spots=yard.spot_names)
    typed = min(entry.time, now)
    moment = yard.when(read.when, now=typed) if read.when else When.instant(typed, "")
    inexact = None if moment.exact else read.when
    logged = log_round(
        book, yard.trial, replace(read, when=""), now=now, when=inexact or moment.low,
        reader=entry.reader, probe=entry.probe, unit=entry.unit, answers=entry.answers,
        entry_id=entry.id, source=_SOURCE,
    )  # fmt: skip
    state = "kept" if logged.added.new else "known"
    return FieldAnswer(entry.id, state, "; ".join(logged.remarks))
