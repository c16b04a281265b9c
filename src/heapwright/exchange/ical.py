"""The calendar of work as an iCalendar file (RFC 5545) for any phone or wall calendar.

Conventions: rounds have an hour, other work is all-day; a trial with a time zone carries that zone
(VTIMEZONE), one without is written in floating time, the clock on the wall. The UID of a task
follows from the trial's name and the key of the task, so that a second import moves entries instead
of doubling them; SEQUENCE grows with the version of the plan.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any

from heapwright.domain.trial import Trial
from heapwright.domain.when import local_zone
from heapwright.errors import InputError
from heapwright.planning.task import Task

__all__ = ["calendar_ics", "task_uid"]


def task_uid(trial: str, key: str) -> str:
    """The UID of a task: the same for the same trial name (whatever its case) and key.

    >>> task_uid("Ferncombe", "turn A 1") == task_uid("ferncombe", "turn A 1")
    True
    """
    space = uuid.uuid5(uuid.NAMESPACE_URL, f"heapwright:trial:{trial.strip().lower()}")
    return str(uuid.uuid5(space, f"task:{key}"))


def calendar_ics(tasks: Sequence[Task], trial: Trial, *, now: datetime, version: int = 1) -> str:
    """The tasks as the text of an iCalendar file.

    Parameters
    ----------
    tasks : sequence of Task
        Of `heapwright.planning.calendar.work_calendar`.
    trial : Trial
        Gives name, place and time zone.
    now : datetime
        Aware; DTSTAMP of every entry.
    version : int
        Version of the plan, >= 1; SEQUENCE is one less.

    Raises
    ------
    InputError
        A version below 1, or a time without zone.

    Examples
    --------
    >>> from heapwright.services.plans import example_plan
    >>> from heapwright.exchange.planfile import read_plan_text
    >>> from heapwright.planning.calendar import work_calendar
    >>> now = datetime(2026, 4, 1, tzinfo=UTC)
    >>> trial = read_plan_text(example_plan(), now=now)
    >>> text = calendar_ics(work_calendar(trial, now=now), trial, now=now)
    >>> "TZID:Europe/London" in text
    True
    """
    if version < 1:
        raise InputError("a plan version counts from 1", field="version", value=version)
    if now.tzinfo is None:
        raise InputError("a time without zone cannot be kept", field="now", value=now)
    import icalendar

    made = icalendar.Calendar()
    made.add("prodid", "-//Heapwright//calendar of work//EN")
    made.add("version", "2.0")
    made.add("x-wr-calname", trial.name)
    for task in tasks:
        made.add_component(_event(task, trial, now=now, sequence=version - 1))
    if trial.place.time_zone and tasks:
        zone = _zone(trial.place.time_zone, [t.due for t in tasks])
        made.subcomponents.insert(0, zone)
    return str(made.to_ical().decode("utf-8"))


def _zone(name: str, days: Sequence[date]) -> Any:
    """The VTIMEZONE of a zone, one observance a clock change, from a year before to a year after.

    Built here because the library's own dates a change to summer time by the clock after it; the
    standard asks for the clock before.
    """
    import icalendar

    zone = local_zone(name)
    moment = datetime.combine(min(days) - timedelta(days=366), time(), tzinfo=UTC)
    last = datetime.combine(max(days) + timedelta(days=366), time(), tzinfo=UTC)
    made = icalendar.Timezone()
    made.add("tzid", name)
    made.add_component(_observance(zone, moment, moment))
    while moment < last:
        after = moment + timedelta(days=1)
        if _offset(zone, after) != _offset(zone, moment):
            made.add_component(_observance(zone, moment, _change(zone, moment, after)))
        moment = after
    return made


def _offset(zone: tzinfo, moment: datetime) -> timedelta:
    return moment.astimezone(zone).utcoffset() or timedelta()


def _change(zone: tzinfo, low: datetime, high: datetime) -> datetime:
    """The first second in UTC at which the offset is that of *high*."""
    while high - low > timedelta(seconds=1):
        middle = (low + (high - low) / 2).replace(microsecond=0)
        if _offset(zone, middle) == _offset(zone, low):
            low = middle
        else:
            high = middle
    return high


def _observance(zone: tzinfo, before: datetime, change: datetime) -> Any:
    import icalendar

    local = change.astimezone(zone)
    kind = icalendar.TimezoneDaylight if local.dst() else icalendar.TimezoneStandard
    made = kind()
    was = _offset(zone, before)
    made.add("dtstart", change.replace(tzinfo=None) + was)
    made.add("tzoffsetfrom", was)
    made.add("tzoffsetto", _offset(zone, change))
    made.add("tzname", local.tzname() or "")
    return made


def _event(task: Task, trial: Trial, *, now: datetime, sequence: int) -> Any:
    import icalendar

    event = icalendar.Event()
    event.add("uid", task_uid(trial.name, task.key))
    event.add("dtstamp", now.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", sequence)
    mark = " (invented)" if trial.invented else ""
    event.add("summary", f"{task.title} · {trial.name}{mark}")
    event.add("description", _description(task))
    event.add("categories", [task.kind])
    event.add("status", "TENTATIVE" if task.provisional else "CONFIRMED")
    place = trial.place
    if place.latitude_deg is not None and place.longitude_deg is not None:
        event.add("geo", (place.latitude_deg, place.longitude_deg))
    if task.at is None:
        event.add("dtstart", task.due)
        event.add("dtend", task.due + timedelta(days=1))
        event.add("transp", "TRANSPARENT")
        return event
    # Ends are counted in UTC: over a clock change the wall clock would stretch or shrink them.
    zone = local_zone(place.time_zone)
    length = timedelta(minutes=max(5, round(task.minutes.typical / 5) * 5))
    end = (task.at.astimezone(UTC) + length).astimezone(zone)
    start = task.at.astimezone(zone)
    if not place.time_zone:
        start, end = start.replace(tzinfo=None), end.replace(tzinfo=None)
    event.add("dtstart", start)
    event.add("dtend", end)
    return event


def _description(task: Task) -> str:
    low, high = task.minutes.low, task.minutes.high
    lines = [
        f"Why: {task.reason}.",
        f"Takes about {task.minutes.typical:.0f} minutes ({low:.0f} to {high:.0f}; "
        f"{task.minutes_from}).",
        f"Skipping costs {task.skipping_costs}.",
    ]
    if task.parts:
        lines.insert(0, "Measure: " + ", ".join(task.parts) + ".")
    if task.note:
        lines.append(f"Note: {task.note}.")
    if task.provisional:
        lines.append("The date counts as if the heap were built on the day this was written.")
    return "\n".join(lines)
