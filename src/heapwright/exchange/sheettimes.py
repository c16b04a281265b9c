"""Times in other people's sheets: order of day and month, clocks, and changes of the clock.

Units: naive datetimes are local clock times, aware ones carry the offset that stood in the cell.
Conventions: a date alone is the whole day; 24:00 is midnight at the end of the day; an hour that
exists twice is told apart by `fold`, as Python does.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from typing import Literal

from heapwright.errors import TableError

__all__ = [
    "Moment",
    "date_order",
    "exists_twice",
    "never_exists",
    "read_moment",
    "to_utc",
    "winter_time",
]

Order = Literal["day-first", "month-first"]
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_CLOCK = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<second>\d{2})(?:[.,]\d+)?)?"
    r"\s*(?P<half>[ap]\.?m\.?)?\s*(?P<offset>z|utc|[+-]\d{2}:?\d{2})?"
)
_TAIL = rf"(?:(?:t|[\s,]+){_CLOCK})?"
_YEAR_FIRST = re.compile(rf"(?P<y>\d{{4}})[-/.](?P<m>\d{{1,2}})[-/.](?P<d>\d{{1,2}}){_TAIL}", re.I)
_YEAR_LAST = re.compile(
    rf"(?P<a>\d{{1,2}})(?P<sep>[-/.])(?P<b>\d{{1,2}})(?P=sep)(?P<y>\d{{4}}|\d{{2}}){_TAIL}", re.I
)
_NAMED = re.compile(
    rf"(?:(?P<d1>\d{{1,2}})\.?[\s-]+(?P<n1>[a-z]{{3,9}})\.?|(?P<n2>[a-z]{{3,9}})\.?[\s-]+"
    rf"(?P<d2>\d{{1,2}}),?)[\s-]+(?P<y>\d{{4}}|\d{{2}}){_TAIL}",
    re.I,
)


@dataclass(frozen=True, slots=True)
class Moment:
    """A time from a cell: naive local or aware; ``whole_day`` when only the date stood there."""

    at: datetime
    whole_day: bool = False


def date_order(cells: Iterable[str]) -> Order | Literal["either", "contradiction", "clear"]:
    """Whether day or month stands first in dates such as 3/5/2026.

    ``clear``: no such dates, or all written with points (day first); ``either``: the data do not
    decide; ``contradiction``: some say one and some the other.

    >>> date_order(["3/5/2026", "13/5/2026"]), date_order(["3/5/2026"]), date_order(["3.5.2026"])
    ('day-first', 'either', 'clear')
    """
    day = month = open_ = False
    for cell in cells:
        found = _YEAR_LAST.fullmatch(cell.strip())
        if found is None or found["sep"] == ".":
            continue
        first, second = int(found["a"]), int(found["b"])
        day = day or first > 12
        month = month or second > 12
        open_ = open_ or first != second
    if day and month:
        return "contradiction"
    if day or month:
        return "day-first" if day else "month-first"
    return "either" if open_ else "clear"


def read_moment(cell: str, order: Order) -> Moment:
    """The time in a cell; raises `TableError` (without place) when there is none.

    >>> read_moment("3/5/2026 7:10 PM", "day-first").at.isoformat()
    '2026-05-03T19:10:00'
    """
    text = cell.strip()
    found = _YEAR_FIRST.fullmatch(text)
    if found:
        return _made(found, cell, int(found["y"]), int(found["m"]), int(found["d"]))
    found = _YEAR_LAST.fullmatch(text)
    if found:
        first, second = int(found["a"]), int(found["b"])
        day_first = order == "day-first" or found["sep"] == "."
        day, month = (first, second) if day_first else (second, first)
        return _made(found, cell, int(found["y"]), month, day)
    found = _NAMED.fullmatch(text)
    if found:
        name = (found["n1"] or found["n2"])[:3].lower()
        if name in _MONTHS:
            day = int(found["d1"] or found["d2"])
            return _made(found, cell, int(found["y"]), _MONTHS.index(name) + 1, day)
    raise TableError(
        "no date and time found",
        value=repr(cell),
        way_out="Write 2026-05-03 07:10",
    )


def _made(found: re.Match[str], cell: str, year: int, month: int, day: int) -> Moment:
    try:
        start = date(year + 2000 if len(found["y"]) == 2 else year, month, day)
        midnight = datetime(start.year, start.month, start.day)
        if found["hour"] is None:
            return Moment(midnight, whole_day=True)
        hour, minute = int(found["hour"]), int(found["minute"])
        if found["half"]:
            if not 1 <= hour <= 12:
                raise ValueError
            hour = hour % 12 + (12 if found["half"][0].lower() == "p" else 0)
        second = int(found["second"] or 0)
        if minute > 59 or second > 59 or hour > 24 or (hour == 24 and (minute or second)):
            raise ValueError
        at = midnight + timedelta(hours=hour, minutes=minute, seconds=second)
    except (ValueError, OverflowError):
        raise TableError(
            "there is no such date or time",
            value=repr(cell),
            way_out="Correct it; if day and month are exchanged, answer dates=month-first",
        ) from None
    offset = found["offset"]
    if offset is None:
        return Moment(at)
    if offset.lower() in ("z", "utc"):
        return Moment(at.replace(tzinfo=UTC))
    sign = -1 if offset[0] == "-" else 1
    shift = timedelta(hours=int(offset[1:3]), minutes=int(offset[-2:]))
    return Moment(at.replace(tzinfo=timezone(sign * shift)))


def exists_twice(local: datetime, zone: tzinfo) -> bool:
    """True when a local clock time comes twice because the clock goes back."""
    first = local.replace(tzinfo=zone, fold=0).utcoffset()
    second = local.replace(tzinfo=zone, fold=1).utcoffset()
    return first is not None and second is not None and first > second


def never_exists(local: datetime, zone: tzinfo) -> bool:
    """True when a local clock time is jumped over because the clock goes forward."""
    first = local.replace(tzinfo=zone, fold=0).utcoffset()
    second = local.replace(tzinfo=zone, fold=1).utcoffset()
    return first is not None and second is not None and first < second


def to_utc(local: datetime, zone: tzinfo, *, fold: int = 0) -> datetime:
    """A naive local time in UTC; aware times are only converted."""
    if local.tzinfo is not None:
        return local.astimezone(UTC)
    return local.replace(tzinfo=zone, fold=fold).astimezone(UTC)


def winter_time(zone: tzinfo, year: int) -> tzinfo:
    """A clock that stays at the winter time of *zone* all year, as many loggers do.

    >>> from zoneinfo import ZoneInfo
    >>> winter_time(ZoneInfo("Europe/Paris"), 2026).utcoffset(None)
    datetime.timedelta(seconds=3600)
    """
    offsets = [datetime(year, month, 1, tzinfo=zone).utcoffset() for month in (1, 7)]
    return timezone(min(o for o in offsets if o is not None))
