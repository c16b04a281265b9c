"""What a plan means and what its heaps can show, before it is locked and after.

Conventions: one object for the command and the page; a plan that compares nothing has no reach.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from heapwright.planning.workwords import long_day
from heapwright.services.cautions import planning_cautions
from heapwright.services.hygiene import planning_notes
from heapwright.services.mixwords import material_line
from heapwright.services.plans import (
    PlanSummary,
    StoredPlan,
    describe_plan,
    describe_text,
    plan_text,
    stored_plan,
)
from heapwright.stats.outcomes import OUTCOMES
from heapwright.store.book import Book
from heapwright.units import quantity

if TYPE_CHECKING:
    from heapwright.services.reach import Reach

__all__ = ["LockedPlan", "PlanCheck", "check_plan", "check_text", "locked_plan", "reach_in_book"]


@dataclass(frozen=True, slots=True)
class PlanCheck:
    """A plan that can be carried out: what it means; can_show : sentences, empty where nothing is
    compared; cautions : of what goes into its heaps, and of the rule of heat it names."""

    summary: PlanSummary
    can_show: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {**self.summary.to_json(), "can_show": list(self.can_show),
                "cautions": list(self.cautions)}  # fmt: skip


@dataclass(frozen=True, slots=True)
class LockedPlan:
    """A plan of the book in words: rows : (what, as locked); notes; materials : lines for a mix."""

    stored: StoredPlan
    rows: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    materials: tuple[str, ...]


def check_plan(path: Path, *, now: datetime) -> PlanCheck:
    """The plan at *path*, checked; raises `PlanError`."""
    return _checked(describe_plan(path, now=now), now)


def check_text(text: str, *, now: datetime) -> PlanCheck:
    """A plan at hand as text, checked; raises `PlanError`."""
    return _checked(describe_text(text, now=now), now)


def _checked(summary: PlanSummary, now: datetime) -> PlanCheck:
    mind = (*(c.said for c in planning_cautions(summary.trial)), *planning_notes(summary.trial))
    if not summary.trial.compares:
        return PlanCheck(summary, cautions=mind)
    from heapwright.services.reach import reach_of  # heavy

    return PlanCheck(summary, tuple(reach_of(summary.trial, now=now).sentences()), mind)


def reach_in_book(book: Book, name: str, *, now: datetime) -> Reach:
    """What the locked plan of a trial can show, without weather.

    Raises `NotEnoughError` where none was locked or it compares nothing.
    """
    from heapwright.services.reach import reach_of  # heavy

    return reach_of(stored_plan(book, name).trial, now=now)


def locked_plan(book: Book, name: str, *, now: datetime) -> LockedPlan:
    """The plan of a trial in words; raises `NotEnoughError` where none was locked."""
    stored = stored_plan(book, name)
    summary = describe_text(plan_text(book, name), now=now)
    lines = (material_line(i) for i in stored.trial.ingredients)
    return LockedPlan(stored, _rows(stored), summary.notes, tuple(x for x in lines if x))


def _rows(stored: StoredPlan) -> tuple[tuple[str, str], ...]:
    """What was locked, row by row."""
    locked = stored.locked
    low, high = locked.window_d
    known = OUTCOMES.get(locked.decides)
    rows = [
        ("question", locked.question),
        ("decides", known.title if known else quantity(locked.decides).meaning),
        ("over heap ages", f"{low:g} to {high:g} days" if low < high else f"{low:g} days"),
        ("claims from", long_day(locked.ends)),
        *((f"way {name}", details) for name, details in locked.ways),
        ("held against", locked.control or ""),
        ("would change practice", _with_unit(locked.matters, locked.unit)),
        ("heaps treated alike differ by about", _with_unit(locked.spread, locked.unit)),
        ("lots drawn from seed", str(locked.seed)),
    ]
    return tuple((name, said) for name, said in rows if said)


def _with_unit(number: float | None, unit: str) -> str:
    return "" if number is None else f"{number:g} {unit}".strip()
