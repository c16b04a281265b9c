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
        return _from_file(path, book=book, now=now)
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
    found: list[Entry] = []
    if entries:
        for kind in ("event", "sample", "reading"):
            found += book.current(kind, name)
    trial = _as_built(stored.trial, [e for e in found if isinstance(e, Event)])
    return WhichPlan(trial, stored.version, stored.fingerprint, True, False, tuple(found))


def _from_file(path: Path, *, book: str | None, now: datetime) -> WhichPlan:
    trial = read_plan(path, now=now)
    version, locked = 1, False
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
    except BookError:
        pass
    return WhichPlan(trial, max(version, 1), trial.locked.fingerprint, locked, True)


def _as_built(trial: Trial, events: list[Event]) -> Trial:
    """*trial* with the building times that were logged; they stand before those planned."""
    built: dict[str, datetime] = {}
    for event in events:
        if event.what == "built":
            built.setdefault(event.heap.lower(), event.when.middle)
    heaps = tuple(replace(h, built=built.get(h.name.lower(), h.built)) for h in trial.heaps)
    return replace(trial, heaps=heaps)
