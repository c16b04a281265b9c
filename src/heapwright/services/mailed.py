"""Yards that come together: books mailed in and trials of the keeper's own book, read and checked.

Conventions: a mailed book is one yard, named after its file, and never changes; one trial of a
yard is one block, and so is every season of it. What the yards locked must be the same in all
that decides; a book that is there twice is noticed by its entries and refused.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from heapwright.domain.entries import Reading, Sample
from heapwright.domain.trial import Locked
from heapwright.errors import (
    BookError,
    HeapwrightError,
    InputError,
    NotEnoughError,
    UnknownNameError,
)
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.store.book import Book
from heapwright.store.readonly import file_of, open_read_only

__all__ = [
    "YardRecord", "YardSetting", "check_apart", "check_same_question", "gather", "said_day",
    "setting_of", "yard_name",
]  # fmt: skip

_DOUBLE = 0.5  # share of the shorter record's entries from which two records are one yard's


@dataclass(frozen=True, slots=True)
class YardRecord:
    """One trial of one yard.

    block : its name here, unique; yard : the yard's; book : where it was read; own : it is a
    trial of the keeper's own book; record : all that stands there.
    """

    block: str
    yard: str
    book: str
    own: bool
    record: TrialRecord


@dataclass(frozen=True, slots=True)
class YardSetting:
    """What else differs between yards: heaps with volume [m3] and day of building, ways in words.

    heaps : (heap, way, volume or None, day or None); ways : details by way, as locked.
    """

    yard: str
    heaps: tuple[tuple[str, str, float | None, date | None], ...]
    ways: Mapping[str, str]

    @property
    def text(self) -> str:
        """One line."""
        said = []
        for heap, way, volume, built in self.heaps:
            size = "volume unknown" if volume is None else f"{volume:.2g} m3"
            day = "day of building unknown" if built is None else f"built {said_day(built)}"
            said.append(f"{heap} ({way}) {size}, {day}")
        return f"{self.yard}: {'; '.join(said)}"


def gather(
    books: Sequence[str],
    *,
    trials: Sequence[str] = (),
    names: Sequence[str] = (),
    own: Book | None = None,
    own_trials: Sequence[str] = (),
) -> tuple[YardRecord, ...]:
    """The records of all yards, mailed books first.

    Parameters
    ----------
    books : sequence of str
        Paths or addresses of mailed books; read, never written to.
    trials : sequence of str
        Trials to take from every book that has them, as seasons; the only one unless given.
    names : sequence of str
        Names of the yards in the order of *books*; from the files unless given.
    own : Book, optional
        The keeper's own book, taken beside them.
    own_trials : sequence of str
        Trials to take from *own* where they are others than *trials*.

    Raises
    ------
    BookError
        A book is missing, damaged, or no book.
    NotEnoughError, UnknownNameError
        A book has no trial, none of those named, several to choose from, or no locked plan.
    InputError
        Names that do not fit, or a book that is there twice.
    """
    _check_paths(books, own)
    yards = _names(books, names)
    found: list[tuple[str, str, bool, TrialRecord]] = []
    for yard, where in zip(yards, books, strict=True):
        with open_read_only(where) as book:
            found += [(yard, where, False, r) for r in _records(book, where, trials)]
    if own is not None:
        yard, wanted = yard_name(own.where) or "own book", own_trials or trials
        found += [(yard, own.shown, True, r) for r in _records(own, own.shown, wanted)]
    taken = {r.name.lower() for *_, r in found}
    for trial in (*trials, *own_trials):
        if trial.strip().lower() not in taken:
            raise UnknownNameError(
                "none of the books has a trial of that name",
                field="trial",
                value=trial,
                way_out="Taken so far: " + ", ".join(dict.fromkeys(r.name for *_, r in found)),
            )
    made = tuple(YardRecord(b, *row) for b, row in zip(_blocks(found), found, strict=True))
    check_apart(made)
    return made


def check_apart(yards: Sequence[YardRecord]) -> None:
    """Refuses two records that hold the same entries; raises `InputError` naming both.

    Ids alone do not tell: two yards that gave their trials one name and read at the same times
    have the same ids in imported sheets. So a reading or sample is the same where id and value
    are, and half of the shorter record is enough.
    """
    marks = [_marks(y.record) for y in yards]
    for (one, a), (other, b) in itertools.combinations(zip(yards, marks, strict=True), 2):
        same, shorter = len(a & b), min(len(a), len(b))
        if shorter and same >= _DOUBLE * shorter:
            raise InputError(
                f"{one.block} and {other.block} hold the same entries ({same} of {shorter} alike): "
                "they are one yard, which would count twice",
                field="book",
                value=other.book,
                way_out=f"Leave it or {one.book} out",
            )


def check_same_question(yards: Sequence[YardRecord]) -> None:
    """Refuses yards that did not lock the same in what decides; raises `InputError`.

    The same must be: deciding outcome, unit, window, control, names and kinds of ways (whatever
    their order and case). Seeds, ends, spreads and what would matter may differ.
    """
    first, *rest = yards
    mine = _question(first.record.plan.locked)
    for other in rest:
        theirs = _question(other.record.plan.locked)
        apart = [key for key in {**mine, **theirs} if mine.get(key) != theirs.get(key)]
        if apart:
            said = "; ".join(
                f"{key}: {mine.get(key, 'none')} in {first.block}, "
                f"{theirs.get(key, 'none')} in {other.block}"
                for key in apart
            )
            raise InputError(
                f"{first.block} and {other.block} did not lock the same question ({said})",
                field=apart[0],
                value=theirs.get(apart[0], "none"),
                way_out=f"Leave {other.block} out, or judge it by itself with heapwright findings",
            )


def setting_of(yard: YardRecord) -> YardSetting:
    """The setting of one yard, as its plan and its record have it."""

    def row(heap: HeapRecord) -> tuple[str, str, float | None, date | None]:
        built = heap.built.date() if heap.built is not None else None
        return heap.name, heap.heap.way or "", heap.volume_m3, built

    heaps = tuple(row(h) for h in yard.record.heaps.values())
    return YardSetting(yard.block, heaps, dict(yard.record.plan.locked.ways))


def said_day(day: date) -> str:
    """A day as it is said.

    >>> said_day(date(2026, 6, 1))
    '1 June 2026'
    """
    return f"{day.day} {day:%B %Y}"


def _question(locked: Locked) -> dict[str, str]:
    """What has to be the same, by name, as text that can be compared."""
    low, high = locked.window_d
    return {
        "decides": locked.decides,
        "unit": locked.unit.strip(),
        "window": f"{low:g} to {high:g} days",
        "control": (locked.control or "none").lower(),
        **{f"way {name.lower()}": details.split(",")[0] for name, details in locked.ways},
    }


def _marks(record: TrialRecord) -> frozenset[tuple[object, ...]]:
    """What tells entries of one record from those of another yard's."""
    heaps = record.heaps.values()
    measured: list[Reading | Sample] = []
    for heap in heaps:
        measured += [*heap.readings, *heap.samples]
    if measured:
        return frozenset((e.trail.root or e.id, e.value) for e in measured)
    return frozenset((e.trail.root or e.id, e.trail.recorded) for h in heaps for e in h.events)


# --- reading -------------------------------------------------------------------------------------


def _records(book: Book, where: str, trials: Sequence[str]) -> Iterator[TrialRecord]:
    """The wanted trials of one book; errors name the book."""
    try:
        for trial in _chosen(book, trials):
            yield load_record(book, trial)
    except BookError:
        raise
    except HeapwrightError as error:
        raise error.at(f"{where}, {error.where}" if error.where else where) from None
    except (ValueError, TypeError):  # text or times that no program wrote
        raise BookError(
            "something in the book cannot be read: it is damaged",
            field="book",
            value=where,
            way_out="Have it mailed again, or leave it out",
        ) from None


def _chosen(book: Book, trials: Sequence[str]) -> list[str]:
    known = book.trials()
    if not known:
        raise NotEnoughError(
            "the book has no trial", field="trial", way_out="Leave it out, or have it mailed again"
        )
    if not trials and len(known) == 1:
        return known
    if not trials:
        raise UnknownNameError(
            "the book has several trials",
            field="trial",
            way_out="Name one with --trial, or several as seasons: " + ", ".join(known),
        )
    wanted = {t.strip().lower() for t in trials}
    found = [t for t in known if t.lower() in wanted]
    if not found:
        raise UnknownNameError(
            "the book has no trial of that name",
            field="trial",
            value=", ".join(trials),
            way_out="Known: " + ", ".join(known),
        )
    return found


# --- names ---------------------------------------------------------------------------------------


def yard_name(where: str) -> str:
    """The name of a yard from its book: the file's stem or the database's name, on one line.

    >>> yard_name("/yards/mill lane.sqlite")
    'mill lane'
    """
    file = file_of(where)
    stem = where.split("?")[0].rstrip("/").rsplit("/", 1)[-1] if file is None else file.stem
    return " ".join("".join(c if c.isprintable() else " " for c in stem).split())


def _check_paths(books: Sequence[str], own: Book | None) -> None:
    seen: dict[object, str] = {}
    for where in (*books, *([own.where] if own is not None else [])):
        file = file_of(where)
        place: object = where if file is None else _resolved(file)
        if place in seen:
            raise InputError(
                "the same book stands here twice, and would count twice",
                field="book",
                value=where,
                way_out="Name it once",
            )
        seen[place] = where


def _resolved(file: Path) -> object:
    try:
        status = file.stat()
    except OSError:
        return file.absolute()  # missing: said when it is opened
    return (status.st_dev, status.st_ino)


def _names(books: Sequence[str], names: Sequence[str]) -> list[str]:
    """One name a mailed book."""
    given = [" ".join(n.split()) for n in names]
    if names and (len(given) != len(books) or not all(given)):
        raise InputError(
            f"there are {len(books)} mailed books and {sum(map(bool, given))} names",
            field="--names",
            value=",".join(names),
            way_out="Give every book a name, in the order of the books: --names north,south",
        )
    return given or [yard_name(w) or f"yard {i + 1}" for i, w in enumerate(books)]


def _blocks(found: Sequence[tuple[str, str, bool, TrialRecord]]) -> list[str]:
    """A name a block: the yard's, with the trial where it has several; refuses names alike."""
    books = {where for _, where, *_ in found}
    made = []
    for yard, where, _, record in found:
        alone = sum(w == where for _, w, *_ in found) == 1
        made.append(yard if alone else record.name if len(books) == 1 else f"{yard}, {record.name}")
    lower = [b.lower() for b in made]
    for block in made:
        if lower.count(block.lower()) > 1:
            raise InputError(
                "two books have that name, and the yards could not be told apart",
                field="yard",
                value=block,
                way_out="Name the yards in the order of the books: --names north,south",
            )
    return made
