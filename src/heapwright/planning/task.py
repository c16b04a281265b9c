"""One piece of work in the calendar, and the hour of a clock on days when clocks change.

Units: minutes of work; dates and hours are those of the clock of the place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, tzinfo
from typing import Literal, get_args

from heapwright.planning import workwords as words
from heapwright.units import Ranged

__all__ = ["TASK_KINDS", "Sunrise", "Task", "TaskKind", "at_clock"]

#: The local sunrise of a date, None where the sun does not rise on it.
Sunrise = Callable[[date], datetime | None]

TaskKind = Literal[
    "first measures",
    "round",
    "turn",
    "open pipes",
    "pull pipes",
    "water check",
    "final measures",
    "end date",
]

#: Every kind of task; the order is that of one day.
TASK_KINDS: tuple[str, ...] = get_args(TaskKind)


@dataclass(frozen=True, slots=True)
class Task:
    """One piece of work.

    key : stays the same when dates move; kind : one of `TASK_KINDS`; heaps : names; due : local
    date; at : aware local time or None (any hour will do); stem : the title, ``{}`` standing for
    the heaps; reason, note : in words; minutes : estimate with range; minutes_from : its source;
    skipping_costs : what is lost when it is left out; parts : single measures asked for;
    provisional : True when a heap has no building day and the date counts from today;
    span_d : days before and after in which doing it counts as doing this one;
    short_minutes, short_way : a shorter version of it, if there is one.
    """

    key: str
    kind: TaskKind
    heaps: tuple[str, ...]
    due: date
    stem: str
    reason: str
    minutes: Ranged
    minutes_from: str
    skipping_costs: str
    at: datetime | None = None
    note: str = ""
    parts: tuple[str, ...] = ()
    provisional: bool = False
    span_d: tuple[float, float] = (1.0, 1.0)
    short_minutes: Ranged | None = None
    short_way: str = ""

    @property
    def title(self) -> str:
        """What is to be done, with the heaps."""
        return self.stem.replace("{}", words.listed(self.heaps))

    @property
    def skipping_short(self) -> str:
        """What skipping costs, without the reason behind it."""
        return self.skipping_costs.split(":")[0]


def at_clock(day: date, clock: time, zone: tzinfo) -> tuple[datetime, str]:
    """The local time *clock* on *day*, and a word on clock changes ("" on other days).

    An hour that does not exist is moved forward by the change; of an hour that comes twice the
    first is taken.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> moment, note = at_clock(date(2026, 3, 29), time(1, 30), ZoneInfo("Europe/London"))
    >>> moment.isoformat(), note
    ('2026-03-29T02:30:00+01:00', 'the clocks go forward: 01:30 does not exist that day')
    """
    typed = datetime.combine(day, clock, tzinfo=zone)
    real = typed.astimezone(UTC).astimezone(zone)
    if real.replace(tzinfo=None) != typed.replace(tzinfo=None):
        return real, f"the clocks go forward: {clock:%H:%M} does not exist that day"
    if typed.utcoffset() != typed.replace(fold=1).utcoffset():
        return typed, f"the clocks go back: {clock:%H:%M} comes twice that day, the first is meant"
    return typed, ""
