"""Check, show and lock plans; the plan of a trial as it stands, and what was edited since.

Conventions: the first locked version decides; later versions may change anything that is not
locked, and an edit of a locked part is stored too, but shown wherever the trial is reported.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

from heapwright.domain.trial import Locked, Trial
from heapwright.errors import LockedError, NotEnoughError, PlanError, UnknownNameError
from heapwright.exchange.planfile import read_plan, read_plan_text
from heapwright.stats.outcomes import OUTCOMES
from heapwright.store.book import Book
from heapwright.units import quantity

__all__ = [
    "Edit", "PlanSummary", "StoredPlan", "describe_plan", "describe_text", "example_plan",
    "lock_plan", "lock_text", "only_trial", "plan_text", "stored_plan", "with_lots",
]  # fmt: skip


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

    def to_json(self) -> dict[str, Any]:
        """What was locked and what was edited since, as plain JSON values."""
        return {
            "trial": self.trial.name,
            "fingerprint": self.fingerprint,
            "locked_on": self.locked_on.isoformat(),
            "locked": self.locked.parts(),
            "edits": [
                {"version": e.version, "part": e.part, "before": e.before, "after": e.after,
                 "why": e.why, "recorded": e.recorded.isoformat()}
                for e in self.edits
            ],
        }  # fmt: skip

    def locked_json(self) -> dict[str, Any]:
        """What locking did, as plain JSON values; edits are counted."""
        return {
            "trial": self.trial.name,
            "fingerprint": self.fingerprint,
            "locked_on": self.locked_on.isoformat(),
            "version": self.version,
            "edits": len(self.edits),
        }


def example_plan() -> str:
    """The text of the example plan, the invented Ferncombe trial."""
    return (
        resources.files("heapwright.services")
        .joinpath("ferncombe.toml")
        .read_text(encoding="utf-8")
    )


def with_lots(trial: Trial) -> Trial:
    """*trial* with lots drawn for heaps that have no way yet, from the locked seed.

    Heaps are drawn within blocks where blocks are given, ways as even as the heaps allow. The
    same plan gives the same lots.
    """
    open_heaps = [h for h in trial.heaps if h.way is None]
    if not open_heaps or not trial.ways:
        return trial
    import numpy as np

    from heapwright.stats.sharing import draw_lots

    rng = np.random.default_rng(trial.locked.seed)
    drawn: dict[str, str] = {}
    for block in dict.fromkeys(h.block for h in trial.heaps):
        members = [h for h in trial.heaps if h.block == block]
        unassigned = [h.name for h in members if h.way is None]
        counts = {w.name: sum(1 for h in members if h.way == w.name) for w in trial.ways}
        wanted = dict.fromkeys(counts, 0)
        for _ in unassigned:
            fewest = min(counts, key=lambda name: counts[name])
            counts[fewest] += 1
            wanted[fewest] += 1
        drawn |= draw_lots(unassigned, wanted, rng)
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
    return _lock(book, trial, text, path.name, now=now, why=why, unlock=unlock)


def lock_text(
    book: Book, text: str, *, now: datetime, why: str = "", unlock: bool = False
) -> StoredPlan:
    """`lock_plan` for a plan that is at hand as text; ``plan`` stands for its file in errors."""
    trial = read_plan_text(text, now=now)
    return _lock(book, trial, text, "plan", now=now, why=why, unlock=unlock)


def _lock(
    book: Book, trial: Trial, text: str, where: str, *, now: datetime, why: str, unlock: bool
) -> StoredPlan:
    versions = book.plans(trial.name) if trial.name.lower() in _lower(book) else []
    first = next((v for v in versions if v.locked), None)
    if first is None:
        _refuse_untested(trial, where)
    else:
        before = read_plan_text(first.text, now=first.recorded)
        changes = trial.locked.changes(before.locked) | _dealt_changes(trial, before)
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


def _refuse_untested(trial: Trial, where: str) -> None:
    """A comparison is decided by something that can be tested; the rest may stand beside it."""
    unknown = [key for key in trial.also if key not in OUTCOMES]
    if unknown:
        raise PlanError(
            "this is read and never compared",
            where=where,
            field="also",
            value=unknown[0],
            way_out="Name outcomes: " + ", ".join(OUTCOMES),
        )
    decides = trial.locked.decides
    if not trial.compares or (decides in OUTCOMES and OUTCOMES[decides].tested):
        return
    said = (
        f"{OUTCOMES[decides].title} is described and never tested"
        if decides in OUTCOMES
        else f"{quantity(decides).meaning} is read and never compared"
    )
    raise PlanError(
        f"{said}, so it cannot decide which way is better",
        where=where,
        field="decides",
        value=decides,
        way_out="Let mean_excess_c or another tested outcome decide, and name this one in also",
    )


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
    start = read_plan_text(first.text, now=first.recorded)
    edits: list[Edit] = []
    before = start
    for version in versions[first.version :]:
        after = read_plan_text(version.text, now=version.recorded)
        changed = after.locked.changes(before.locked) | _dealt_changes(after, before)
        if set(after.also) != set(before.also):
            changed["outcomes beside"] = (", ".join(after.also), ", ".join(before.also))
        edits += [
            Edit(version.version, version.recorded, part, old, new, version.why)
            for part, (new, old) in changed.items()
        ]
        before = after
    last = versions[-1]
    return StoredPlan(
        trial=_as_dealt(before, start),
        locked=start.locked,
        fingerprint=first.fingerprint,
        locked_on=first.recorded,
        version=last.version,
        edits=tuple(edits),
    )


def plan_text(book: Book, name: str) -> str:
    """The newest text of the plan of a trial; empty where there is none."""
    versions = book.plans(name)
    return versions[-1].text if versions else ""


def _dealt(trial: Trial) -> dict[str, tuple[str | None, str | None]]:
    """Way and block of every heap, lots drawn."""
    return {h.name: (h.way, h.block) for h in with_lots(trial).heaps}


def _dealt_changes(after: Trial, before: Trial) -> dict[str, tuple[Any, Any]]:
    """Heaps whose way or block would be another, or that come or go: part -> (after, before)."""
    new, old = _dealt(after), _dealt(before)
    made: dict[str, tuple[Any, Any]] = {}
    for name in {**old, **new}:
        for k, part in enumerate(("way", "block")):
            mine, theirs = (d[name][k] if name in d else "no heap" for d in (new, old))
            if mine != theirs:
                made[f"{part} of heap {name}"] = (mine, theirs)
    return made


def _as_dealt(last: Trial, first: Trial) -> Trial:
    """The plan as it stands, with the ways and blocks that heaps had when it was locked."""
    dealt = _dealt(first)
    drawn = with_lots(last)
    heaps = tuple(
        replace(h, way=dealt[h.name][0], block=dealt[h.name][1])
        if h.name in dealt and (dealt[h.name][0] is None or _has_way(last, dealt[h.name][0]))
        else h
        for h in drawn.heaps
    )
    return replace(drawn, heaps=heaps)


def _has_way(trial: Trial, name: str | None) -> bool:
    return any(w.name == name for w in trial.ways)


def _lower(book: Book) -> set[str]:
    return {name.lower() for name in book.trials()}


@dataclass(frozen=True, slots=True)
class PlanSummary:
    """What a plan means: one sentence, notes, and the fingerprint it would be locked with."""

    trial: Trial
    headline: str
    notes: tuple[str, ...]
    fingerprint: str

    def to_json(self) -> dict[str, Any]:
        """The summary as plain JSON values."""
        return {
            "trial": self.trial.name,
            "headline": self.headline,
            "notes": list(self.notes),
            "fingerprint": self.fingerprint,
            "locked": self.trial.locked.parts(),
        }


def describe_plan(path: Path, *, now: datetime) -> PlanSummary:
    """Read the plan at *path* and say what it means; raises `PlanError`."""
    return _described(read_plan(path, now=now), path.name)


def describe_text(text: str, *, now: datetime) -> PlanSummary:
    """`describe_plan` for a plan that is at hand as text."""
    return _described(read_plan_text(text, now=now), "plan")


def _described(trial: Trial, where: str) -> PlanSummary:
    _refuse_untested(trial, where)
    heaps = len(trial.heaps)
    named = ", ".join(w.name for w in trial.ways)
    headline = f"{trial.name}: {heaps} heap{'s' if heaps != 1 else ''}, " + (
        f"{len(trial.ways)} ways compared ({named})." if trial.compares else "nothing compared."
    )
    return PlanSummary(trial, headline, tuple(_notes(trial)), trial.locked.fingerprint)


def _notes(trial: Trial) -> list[str]:
    """What a careful neighbour would say about a plan."""
    locked = trial.locked
    low, high = locked.window_d
    notes = [
        f"Decides: {quantity(locked.decides).meaning}, heap ages {low:g} to {high:g} days, "
        f"claims from {locked.ends.isoformat()} on."
    ]
    if trial.compares and locked.matters is None:
        notes.append("No difference that would change practice is named: add matters to [outcome].")
    if trial.compares:
        counts = {
            w.name: sum(1 for h in with_lots(trial).heaps if h.way == w.name) for w in trial.ways
        }
        if counts and min(counts.values()) == 0:
            empty = next(name for name, n in counts.items() if n == 0)
            notes.append(f"No heap is left for the way {empty}: it cannot be compared.")
        elif counts and min(counts.values()) == 1:
            notes.append(
                "One heap each: heap and way cannot be told apart, so no winner can be named."
            )
    drawn = [h.name for h in trial.heaps if h.way is None]
    if drawn and trial.ways:
        notes.append(f"Ways of {', '.join(drawn)} are drawn by lot from seed {locked.seed}.")
    if trial.starts and locked.ends < trial.starts + timedelta(days=int(high)):
        notes.append("The end date comes before the window is over for a heap built on the start.")
    if trial.place.latitude_deg is None:
        notes.append("No place given: rounds stand at a clock hour instead of sunrise.")
    if not trial.place.downhill and trial.compares:
        notes.append("Does water run from one heap into the next? Name them in place.downhill.")
    return notes


def only_trial(book: Book, name: str | None) -> str:
    """*name*, or the only trial of the book when none is named.

    Raises `UnknownNameError` when there are several to choose from, `NotEnoughError` for none.
    """
    if name is not None:
        return name
    known = book.trials()
    if len(known) == 1:
        return known[0]
    if not known:
        raise NotEnoughError(
            "the book has no trial yet", field="trial",
            way_out="Write a plan (heapwright start) and lock it: heapwright plan lock FILE",
        )  # fmt: skip
    raise UnknownNameError(
        "the book has several trials", field="trial", way_out="Name one: " + ", ".join(known)
    )
