"""The plan meant by one word: a plan file on disk, or a trial whose plan is in the book.

Conventions: a file is read as it is; the book is only looked at, never made, to say whether the
plan is locked and which version it would be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from heapwright.domain.entries import Entry, Event
from heapwright.domain.trial import Trial
from heapwright.errors import BookError, UnknownNameError
from heapwright.exchange.planfile import read_plan
from heapwright.services.plans import only_trial, stored_plan
from heapwright.services.settings import open_book
from heapwright.store.book import Book

__all__ = ["WhichPlan", "which_plan"]


@dataclass(frozen=True, slots=True)
class WhichPlan:
    """A plan and where it stands.

    trial : with the ways as written (lots not drawn) for a file, as drawn for the book; version :
    of the plan, what the file would become if it was edited; fingerprint : of the locked parts;
    locked : the book holds this question locked; file : came from a file; entries : what stands
    in the book.
    """

    trial: Trial
    version: int
    fingerprint: str
    locked: bool
    file: bool
    entries: tuple[Entry, ...] = ()


def which_plan(
    which: str | None, *, book: str | None, now: datetime, entries: bool = False
) -> WhichPlan:
    """The plan in the file *which*, or of the trial called *which* (None: the only one).

    Raises `PlanError` for a file that cannot be carried out, `UnknownNameError` when it is
    neither a file nor a trial, `BookError` when a trial is meant and there is no book.
    """
    path = Path(which) if which else None
    if path is not None and (path.is_file() or path.suffix.lower() == ".toml"):
        return _from_file(path, book=book, now=now, entries=entries)
    try:
        with open_book(book, create=False) as opened:
            return _from_book(opened, which, entries=entries)
    except UnknownNameError as error:
        if which is None:
            raise
        raise UnknownNameError(
            "this is neither a plan file nor a trial of the book",
            field="plan",
            value=which,
            way_out=error.way_out,
        ) from None
    except BookError:
        if which is None or (Path(which).name == which and "." not in which):
            raise
        raise UnknownNameError(
            "there is no such file",
            field="plan",
            value=which,
            way_out="Make one with: heapwright plan example > plan.toml",
        ) from None


def _from_book(book: Book, which: str | None, *, entries: bool) -> WhichPlan:
    name = only_trial(book, which)
    stored = stored_plan(book, name)
    found = _entries(book, name) if entries else []
    trial = _as_built(stored.trial, found)
    return WhichPlan(trial, stored.version, stored.fingerprint, True, False, tuple(found))


def _entries(book: Book, trial: str) -> list[Entry]:
    """Everything that stands now about the heaps of a trial."""
    return [e for kind in ("event", "sample", "reading") for e in book.current(kind, trial)]


def _from_file(path: Path, *, book: str | None, now: datetime, entries: bool) -> WhichPlan:
    trial = read_plan(path, now=now)
    version, locked = 1, False
    found: list[Entry] = []
    try:
        with open_book(book, create=False) as opened:
            known = {n.lower() for n in opened.trials()}
            if trial.name.lower() in known:
                versions = opened.plans(trial.name)
                text = path.read_text(encoding="utf-8")
                same = bool(versions) and versions[-1].text == text
                version = len(versions) if same else len(versions) + 1
                locked = any(
                    v.locked and v.fingerprint == trial.locked.fingerprint for v in versions
                )
                found = _entries(opened, trial.name) if entries else []
    except BookError:
        pass
    return WhichPlan(
        _as_built(trial, found), version, trial.locked.fingerprint, locked, True, tuple(found)
    )


def _as_built(trial: Trial, entries: list[Entry]) -> Trial:
    """*trial* with the building times that were logged; they stand before those planned."""
    built: dict[str, datetime] = {}
    for entry in entries:
        if isinstance(entry, Event) and entry.what == "built":
            built.setdefault(entry.heap.lower(), entry.when.middle)
    heaps = tuple(replace(h, built=built.get(h.name.lower(), h.built)) for h in trial.heaps)
    return replace(trial, heaps=heaps)
