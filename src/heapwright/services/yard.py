"""What has to be known about a trial before something can be entered: names, spots, clock, hose.

Conventions: heaps and spots come from the locked plan where there is one; without a plan the
heaps the book knows are the heaps, and a new name needs the keeper's word (``new``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo

from heapwright.domain.heap import Spot
from heapwright.domain.when import When, local_zone, parse_when
from heapwright.errors import EntryError, UnknownNameError
from heapwright.store.book import Book

__all__ = ["Yard", "pick_trial", "yard_of"]

#: The farthest a local clock runs ahead of UTC.
_FARTHEST_CLOCK = timedelta(hours=14)


@dataclass(frozen=True, slots=True)
class Yard:
    """The frame of a trial for entries.

    trial : its name as the book spells it; heaps : names in the order of the plan; spots : of
    the plan, may be empty; piped : heaps of vented ways; zone : name of the clock or None;
    flow_l_min : of the hose [L/min] or None; planned : a plan was locked; new : new heap names
    may be taken as they come.
    """

    trial: str
    heaps: tuple[str, ...] = ()
    spots: tuple[Spot, ...] = ()
    piped: frozenset[str] = frozenset()
    zone_name: str | None = None
    flow_l_min: float | None = None
    planned: bool = False
    new: bool = False
    by_name: Mapping[str, Spot] = field(default_factory=dict)

    @property
    def zone(self) -> tzinfo:
        """The clock of the place; UTC when unknown."""
        return local_zone(self.zone_name)

    @property
    def spot_names(self) -> tuple[str, ...]:
        """Names of the spots of the plan."""
        return tuple(s.name for s in self.spots)

    def heap(self, typed: str) -> str:
        """The heap called *typed* in the spelling of the trial.

        Raises `UnknownNameError`; a new name passes when ``new`` and no plan was locked.
        """
        from heapwright.domain.names import check_name

        for name in self.heaps:
            if name.lower() == typed.strip().lower():
                return name
        if self.new and not self.planned:
            return check_name(typed.strip(), field="heap")
        known = "Known: " + ", ".join(self.heaps) if self.heaps else "The trial has no heap yet"
        more = "" if self.planned else ". Add --new for a heap that is new"
        raise UnknownNameError(
            f"{self.trial} has no heap of that name",
            field="heap",
            value=typed,
            way_out=known + more,
        )

    def place_of(self, heap: str, spot: str) -> tuple[float | None, float | None]:
        """Depth [m] and distance to the nearest pipe [m] of a spot; None where unknown."""
        found = self.by_name.get(spot.lower())
        if found is None:
            return None, None
        return found.depth_m, found.pipe_distance_m if heap in self.piped else None

    def when(self, text: str | datetime | None, *, now: datetime, field: str = "when") -> When:
        """*text* as a `When` on the clock of the place, now for None.

        Raises `InputError` when it cannot be read and `EntryError` when it is still to come.
        """
        if text is None:
            return When.instant(now, "")
        when = parse_when(text, now=now, zone=self.zone, field=field)
        slack = timedelta(minutes=15) if self.zone_name else _FARTHEST_CLOCK
        if when.low > now + slack:
            raise EntryError(
                "this is still to come",
                field=field,
                value=text,
                way_out="Only what was done or read can be entered; check day and year",
            )
        return when


def pick_trial(book: Book, name: str | None, *, new: bool = False) -> str:
    """The trial meant: *name*, or the only one in the book.

    Raises `UnknownNameError` when there is none or more than one, or none of that name (unless
    *new*).
    """
    known = book.trials()
    if name is None:
        if len(known) == 1:
            return known[0]
        raise UnknownNameError(
            "say which trial is meant" if known else "the book has no trial yet",
            field="trial",
            way_out="Add --trial NAME; known: " + ", ".join(known)
            if known
            else "Lock a plan (heapwright plan lock FILE), or add --trial NAME --new",
        )
    for trial in known:
        if trial.lower() == name.strip().lower():
            return trial
    if new and name.strip():
        from heapwright.domain.names import check_trial_name

        return check_trial_name(name.strip())
    raise UnknownNameError(
        "the book has no trial of that name",
        field="trial",
        value=name,
        way_out=("Known: " + ", ".join(known) + ". " if known else "")
        + "Lock a plan (heapwright plan lock FILE), or add --new to keep a record without one",
    )


def yard_of(book: Book, name: str | None, *, new: bool = False) -> Yard:
    """The frame of the trial called *name* (of the only trial for None)."""
    trial = pick_trial(book, name, new=new)
    if trial not in book.trials():
        return Yard(trial, new=new)
    if not any(v.locked for v in book.plans(trial)):
        return Yard(trial, heaps=tuple(book.heap_ids(book.trial_id(trial))), new=new)
    from heapwright.services.plans import stored_plan

    plan = stored_plan(book, trial).trial
    vented = {w.name.lower() for w in plan.ways if w.vent is not None}
    return Yard(
        trial,
        heaps=tuple(h.name for h in plan.heaps),
        spots=plan.spots,
        piped=frozenset(h.name for h in plan.heaps if h.way and h.way.lower() in vented),
        zone_name=plan.place.time_zone,
        flow_l_min=plan.water.flow_l_min,
        planned=True,
        new=new,
        by_name={s.name.lower(): s for s in plan.spots},
    )
