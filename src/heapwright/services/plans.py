"""Check, show and lock plans; the plan of a trial as it stands, and what was edited since.

Conventions: the first locked version decides; later versions may change anything that is not
locked, and an edit of a locked part is stored too, but shown wherever the trial is reported.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from importlib import resources
from pathlib import Path
from typing import Any

from heapwright.domain.trial import Locked, Trial
from heapwright.errors import LockedError, NotEnoughError
from heapwright.exchange.planfile import read_plan, read_plan_text
from heapwright.store.book import Book

__all__ = ["Edit", "StoredPlan", "example_plan", "lock_plan", "stored_plan", "with_lots"]


@dataclass(frozen=True, slots=True)
class Edit:
    """A locked part that was changed later: version, when, name of the part, before, after, why."""

    version: int
    recorded: datetime
    part: str
    before: Any
    after: Any
    why: str


@dataclass(frozen=True, slots=True)
class StoredPlan:
    """The plan of a trial: as it stands now, what was locked first, and edits of locked parts."""

    trial: Trial
    locked: Locked
    fingerprint: str
    locked_on: datetime
    version: int
    edits: tuple[Edit, ...] = ()


def example_plan() -> str:
    """The text of the example plan, the invented Ferncombe trial."""
    return (
        resources.files("heapwright.services").joinpath("ferncombe.toml").read_text(encoding="utf-8")
    )


def with_lots(trial: Trial) -> Trial:
    """*trial* with lots drawn for heaps that have no way yet, from the locked seed.

    Heaps are drawn within blocks where blocks are given. The same plan gives the same lots.
    """
    open_heaps = [h for h in trial.heaps if h.way is None]
    if not open_heaps or not trial.ways:
        return trial
    import numpy as np

    from heapwright.stats.sharing import draw_lots

    rng = np.random.default_rng(trial.locked.seed)
    names = [w.name for w in trial.ways]
    drawn: dict[str, str] = {}
    for block in dict.fromkeys(h.block for h in open_heaps):
        members = [h.name for h in open_heaps if h.block == block]
        drawn |= draw_lots(members, names, rng=rng)
    heaps = tuple(h if h.way is not None else replace(h, way=drawn[h.name]) for h in trial.heaps)
    return replace(trial, heaps=heaps)


def lock_plan(
    book: Book, path: Path, *, now: datetime, why: str = "", unlock: bool = False
) -> StoredPlan:
    """Put a plan into the book and lock its question.

    Raises
    ------
    PlanError
        The file cannot be carried out.
    LockedError
        A locked part would change and *unlock* is false; with *unlock* and a reason the edit is
        stored and shown in every report.
    """
    trial = read_plan(path, now=now)
    text = path.read_text(encoding="utf-8")
    versions = book.plans(trial.name) if trial.name.lower() in _lower(book) else []
    first = next((v for v in versions if v.locked), None)
    if first is not None:
        before = read_plan_text(first.text, now=first.recorded).locked
        changes = trial.locked.changes(before)
        if changes and not (unlock and why.strip()):
            part, (new, old) = next(iter(changes.items()))
            raise LockedError(
                f"{', '.join(changes)} of {trial.name} was locked on {first.recorded:%Y-%m-%d} "
                f"as {old!r} (fingerprint {first.fingerprint})",
                field=part,
                value=repr(new),
                way_out='Restore it, or store the edit openly with --edit --why "reason"',
            )
    book.save_plan(
        trial.name,
        text,
        heaps=[h.name for h in trial.heaps],
        fingerprint=trial.locked.fingerprint,
        locked=True,
        now=now,
        why=why,
    )
    return stored_plan(book, trial.name)


def stored_plan(book: Book, name: str) -> StoredPlan:
    """The plan of the trial called *name*; raises `NotEnoughError` when none was locked."""
    versions = book.plans(name)
    first = next((v for v in versions if v.locked), None)
    if first is None:
        raise NotEnoughError(
            "this trial has readings but no locked plan, so nothing was fixed beforehand",
            field="trial",
            value=name,
            way_out="Write a plan with this name and lock it: heapwright plan lock FILE",
        )
    locked = read_plan_text(first.text, now=first.recorded).locked
    edits: list[Edit] = []
    before = locked
    for version in versions[first.version :]:
        after = read_plan_text(version.text, now=version.recorded).locked
        edits += [
            Edit(version.version, version.recorded, part, old, new, version.why)
            for part, (new, old) in after.changes(before).items()
        ]
        before = after
    last = versions[-1]
    return StoredPlan(
        trial=with_lots(read_plan_text(last.text, now=last.recorded)),
        locked=locked,
        fingerprint=first.fingerprint,
        locked_on=first.recorded,
        version=last.version,
        edits=tuple(edits),
    )


def _lower(book: Book) -> set[str]:
    return {name.lower() for name in book.trials()}
