"""The calendar of work of a plan, and what is due today by what stands in the book."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta, tzinfo
from functools import cache
from pathlib import Path
from typing import Any

from heapwright.domain.trial import Place, Trial
from heapwright.domain.when import local_zone
from heapwright.errors import InputError, NotEnoughError
from heapwright.planning.calendar import work_calendar
from heapwright.planning.task import Sunrise, Task
from heapwright.planning.today import Due, Today, side_by_side, today_list
from heapwright.services.cautions import met_today
from heapwright.services.plans import with_lots
from heapwright.services.whichplan import which_plan

__all__ = [
    "CalendarOfWork", "calendar_of_work", "due_today", "ics_of", "local_sunrise", "write_ics",
]  # fmt: skip

#: Further than this from today a date of `due_today` takes the sunrise of a day nearby [day].
_NEAR_D = 10


@dataclass(frozen=True, slots=True)
class CalendarOfWork:
    """All work of a trial: its plan, the tasks, the plan's version, and what there is to say."""

    trial: Trial
    tasks: tuple[Task, ...]
    version: int
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The calendar as plain JSON values."""
        return {
            "trial": self.trial.name,
            "invented": self.trial.invented,
            "time_zone": self.trial.place.time_zone,
            "plan_version": self.version,
            "notes": list(self.notes),
            "tasks": [task_json(t) for t in self.tasks],
        }


def task_json(task: Task) -> dict[str, Any]:
    """One task as plain JSON values."""
    m = task.minutes
    return {
        "key": task.key,
        "kind": task.kind,
        "heaps": list(task.heaps),
        "due": task.due.isoformat(),
        "at": task.at.isoformat() if task.at else None,
        "title": task.title,
        "reason": task.reason,
        "parts": list(task.parts),
        "minutes": {k: round(v, 1) for k, v in
                    (("typical", m.typical), ("low", m.low), ("high", m.high))},
        "minutes_from": task.minutes_from,
        "skipping_costs": task.skipping_costs,
        "note": task.note,
        "provisional": task.provisional,
    }  # fmt: skip


def due_json(item: Due) -> dict[str, Any]:
    """One piece of due work as plain JSON values."""
    m = item.minutes
    return {
        "keys": [t.key for t in item.tasks],
        "kind": item.kind,
        "title": item.title,
        "heaps": list(item.heaps),
        "parts": list(item.parts),
        "due": item.due.isoformat(),
        "state": item.state,
        "minutes": {k: round(v, 1) for k, v in
                    (("typical", m.typical), ("low", m.low), ("high", m.high))},
        "fits": item.fits,
        "why": item.why,
        "skipping_costs": item.tasks[0].skipping_costs,
    }  # fmt: skip


def local_sunrise(place: Place, *, around: date | None = None) -> Sunrise | None:
    """The sunrise of a place by local date; None unless latitude, longitude and zone are known.

    around : only dates near it are reckoned each on its own; others take the hour of a date at
    most two weeks off, which is quicker and enough to tell past rounds apart.
    """
    if place.latitude_deg is None or place.longitude_deg is None or place.time_zone is None:
        return None
    latitude, longitude = place.latitude_deg, place.longitude_deg
    zone = local_zone(place.time_zone)

    @cache
    def exact(day: date) -> datetime | None:
        from heapwright.science.sun import sun_day

        return sun_day(day, latitude_deg=latitude, longitude_deg=longitude, zone=zone).sunrise

    def near(day: date) -> datetime | None:
        if around is None or abs((day - around).days) <= _NEAR_D:
            return exact(day)
        anchor = date.fromordinal(round(day.toordinal() / 28) * 28)
        risen = exact(anchor)
        return None if risen is None else _moved(risen, (day - anchor).days, zone)

    return near


def _moved(moment: datetime, days: int, zone: tzinfo) -> datetime:
    return (moment.astimezone(UTC) + timedelta(days=days)).astimezone(zone)


def calendar_of_work(which: str, *, book: str | None = None, now: datetime) -> CalendarOfWork:
    """All work that the plan file or trial *which* asks for.

    Raises `PlanError`, `UnknownNameError`, `BookError`; `NotEnoughError` for a plan without heaps.
    """
    found = which_plan(which, book=book, now=now, entries=True)
    trial = with_lots(found.trial)
    _needs_heaps(trial)
    tasks = work_calendar(trial, now=now, sunrise=local_sunrise(trial.place))
    return CalendarOfWork(trial, tasks, found.version, _notes(found.trial, tasks, now))


def _needs_heaps(trial: Trial) -> None:
    if not trial.heaps:
        raise NotEnoughError(
            "the plan names no heaps, so there is no work to put into a calendar",
            field="heap",
            value=trial.name,
            way_out='Write [[heap]] and, below it, name = "A"',
        )


def _notes(planned: Trial, tasks: tuple[Task, ...], now: datetime) -> tuple[str, ...]:
    notes = []
    if any(t.provisional for t in tasks):
        notes.append(
            "No building day is given for some heaps; their dates count as if you built today. "
            "Write starts = DATE under [trial], or log the day they were built."
        )
    by_lot = any(h.way is None for h in planned.heaps) and planned.compares
    built = all(h.built is not None and h.built <= now for h in planned.heaps)
    if by_lot and not built:
        notes.append(
            "Turns and pipes give the lots away: whoever deals the loads should not see this yet."
        )
    if not any(t.kind == "water check" for t in tasks):
        notes.append(
            'No squeeze checks are planned. With every = "7 days" under [water] a heap that '
            "dries out is noticed."
        )
    clock = next((t.note for t in tasks if t.kind == "round" and "[place]" in t.note), "")
    if clock:
        notes.append(f"Rounds stand at {clock}.")
    changes = [t for t in tasks if "the clocks go" in t.note]
    notes += [f"{t.due.isoformat()}: {t.note}." for t in changes]
    sunless = [t for t in tasks if "does not rise" in t.note]
    if sunless:
        notes.append(
            f"On {len(sunless)} dates the sun does not rise here (polar day or night): those "
            "rounds stand at 07:00 by the clock."
        )
    return tuple(notes)


def ics_of(calendar: CalendarOfWork, *, now: datetime) -> str:
    """The calendar as the text of an iCalendar file."""
    from heapwright.exchange.ical import calendar_ics

    return calendar_ics(calendar.tasks, calendar.trial, now=now, version=calendar.version)


def write_ics(calendar: CalendarOfWork, path: Path, *, now: datetime) -> None:
    """Write the calendar to an iCalendar file; raises `InputError` when it cannot be written."""
    text = ics_of(calendar, now=now)
    try:
        path.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise InputError(
            f"this file cannot be written ({error.strerror or error})",
            field="ics",
            value=str(path),
            way_out="Name a file in a folder that exists, as in work.ics",
        ) from None


def due_today(
    which: str | None,
    *,
    book: str | None = None,
    now: datetime,
    minutes: float | None = None,
) -> tuple[Trial, Today]:
    """What is due now, by the plan and by what stands in the book.

    which : name of a trial (None: the only one of the book) or a plan file; minutes : at hand.
    Raises `UnknownNameError`, `NotEnoughError`, `BookError`, `QuantityError`.
    """
    found = which_plan(which, book=book, now=now, entries=True)
    trial = with_lots(found.trial)
    _needs_heaps(trial)
    zone = local_zone(trial.place.time_zone)
    sunrise = local_sunrise(trial.place, around=now.astimezone(zone).date())
    tasks = work_calendar(trial, now=now, sunrise=sunrise)
    answer = today_list(tasks, found.entries, now=now, zone=zone, minutes=minutes)
    return trial, replace(answer, cautions=met_today(trial, answer, found.entries, now=now))


def today_json(trial: Trial, answer: Today, *, minutes: float | None = None) -> dict[str, Any]:
    """What is due now as plain JSON values; the same for the command and the page."""
    return {
        "trial": trial.name,
        "invented": trial.invented,
        "now": answer.moment.isoformat(),
        "minutes": minutes,
        "sentence": answer.sentence,
        "due": [due_json(i) for i in answer.due],
        "soon": [due_json(i) for i in answer.soon],
        "missed": [due_json(i) for i in answer.missed],
        "cautions": [c.to_json() for c in answer.cautions],
    }


def rows_of(tasks: tuple[Task, ...]) -> list[Due]:
    """Tasks as rows of a printed calendar."""
    return side_by_side(tasks)


def totals(tasks: tuple[Task, ...]) -> Mapping[str, float]:
    """Hours of all tasks together: typical, low, high."""
    return {
        name: sum(getattr(t.minutes, name) for t in tasks) / 60
        for name in ("typical", "low", "high")
    }
