"""When something was done or read: an instant, or an interval when nobody knows exactly.

Holds: `When`, `parse_when` and the clock conventions. Units: aware datetimes in UTC.
Conventions: text is read in the time zone of the place; without a place the clock is taken as it
was typed and kept as UTC, so that ages (differences) are right even when the zone is unknown.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from zoneinfo import ZoneInfo

from heapwright.errors import InputError

__all__ = ["When", "check_year", "local_zone", "parse_date", "parse_when"]

_DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august",
    "september", "october", "november", "december",
)  # fmt: skip
_FEW = {"a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4}
#: Years outside are slips of the pen, and near the ends of the calendar sums go wrong.
_YEARS = (1950, 2200)
_WAY_OUT = "Write 2026-05-03 07:10, 3 May 2026, yesterday, Tuesday, or about Tuesday"


@dataclass(frozen=True, slots=True)
class When:
    """An instant or an interval in UTC, and the words it was given in.

    low, high : aware datetimes, low <= high; equal for an instant. typed : text as written.
    Raises `InputError` for naive datetimes or low > high.
    """

    low: datetime
    high: datetime
    typed: str = ""

    def __post_init__(self) -> None:
        if self.low.tzinfo is None or self.high.tzinfo is None:
            raise InputError("a time without zone cannot be kept", field="when", value=self.typed)
        if self.low > self.high:
            raise InputError(
                "the earlier time must come first", field="when", value=self.typed,
                way_out=_WAY_OUT,
            )  # fmt: skip

    @classmethod
    def instant(cls, moment: datetime, typed: str = "") -> When:
        """An exactly known time."""
        return cls(moment, moment, typed or moment.isoformat(timespec="minutes"))

    @property
    def exact(self) -> bool:
        """True when the time is known to within a quarter of an hour."""
        return self.high - self.low <= timedelta(minutes=15)

    @property
    def middle(self) -> datetime:
        """Half way between low and high."""
        return self.low + (self.high - self.low) / 2


def local_zone(name: str | None) -> tzinfo:
    """The time zone called *name* (IANA), UTC for none; raises `InputError` if unknown."""
    if not name:
        return UTC
    try:
        return ZoneInfo(name)
    except Exception:
        raise InputError(
            "no such time zone",
            field="time_zone",
            value=name,
            way_out="Write an IANA name such as Europe/London or America/Denver",
        ) from None


def check_year(day: date, *, field: str, typed: object) -> None:
    """Raise `InputError` when *day* is so far away that its year must be a slip.

    >>> check_year(date(2026, 5, 3), field="when", typed="3 May 2026")
    """
    if not _YEARS[0] <= day.year <= _YEARS[1]:
        raise InputError(
            "no work on our heaps lies so long ago or so far ahead",
            field=field,
            value=typed,
            way_out="Check the year",
        )


def parse_date(text: object, *, field: str, now: datetime) -> date:
    """A calendar date from text (``2026-05-03``, ``3 May``, ``today``, ``3 weeks ago``).

    Raises `InputError`, also for a year before 1950 or after 2200. A date without year is the one
    nearest to *now*.
    """
    day = _read_date(text, field=field, now=now)
    check_year(day, field=field, typed=text)
    return day


def _read_date(text: object, *, field: str, now: datetime) -> date:
    if isinstance(text, datetime):
        return text.date()
    if isinstance(text, date):
        return text
    words = str(text).strip().lower()
    today = now.date()
    if words in ("today", "now"):
        return today
    if words == "yesterday":
        return today - timedelta(days=1)
    if words == "tomorrow":
        return today + timedelta(days=1)
    ago = re.fullmatch(r"(\d{1,3}|an?|one|two|three|four) (day|week)s? ago", words)
    if ago:
        number = int(ago[1]) if ago[1].isdigit() else _FEW[ago[1]]
        return today - timedelta(days=number * (7 if ago[2] == "week" else 1))
    if words in _DAYS:
        return today - timedelta(days=(today.weekday() - _DAYS.index(words)) % 7)
    iso = re.fullmatch(r"(\d{4})-(\d{1,2})-(\d{1,2})", words)
    named = re.fullmatch(r"(\d{1,2})\.?\s+([a-z]+)\.?(?:\s+(\d{4}))?", words) or re.fullmatch(
        r"(?P<m>[a-z]+)\.?\s+(?P<d>\d{1,2}),?(?:\s+(?P<y>\d{4}))?", words
    )
    try:
        if iso:
            return date(int(iso[1]), int(iso[2]), int(iso[3]))
        if named:
            parts = named.groupdict()
            day = int(parts["d"] if parts else named[1])
            month_name = parts["m"] if parts else named[2]
            year = parts["y"] if parts else named[3]
            month = next(
                i
                for i, m in enumerate(_MONTHS, 1)
                if m.startswith(month_name) and len(month_name) > 2
            )
            if year:
                return date(int(year), month, day)
            around = [date(today.year + k, month, day) for k in (-1, 0, 1)]
            return min(around, key=lambda d: abs((d - today).days))
    except (ValueError, StopIteration):
        pass
    raise InputError(
        "no date found (dates written as 3/5/2026 mean different days in different countries)"
        if re.fullmatch(r"\d{1,2}[/.]\d{1,2}[/.]\d{2,4}", words)
        else "no date found",
        field=field,
        value=text,
        way_out="Write 2026-05-03 or 3 May 2026",
    )


def parse_when(text: object, *, now: datetime, zone: tzinfo = UTC, field: str = "when") -> When:
    """Text such as ``about Tuesday`` as a `When`.

    Parameters
    ----------
    text : str, date or datetime
        A date and time is an instant; a date alone is the whole local day; ``about`` adds a day
        on both sides (a quarter of an hour becomes two hours for a time); ``between A and B``.
    now : datetime
        Aware; relative words count from it.
    zone : tzinfo
        The clock the words are in.

    Raises
    ------
    InputError
        Nothing readable, or a time that does not exist.

    Examples
    --------
    >>> now = datetime(2026, 5, 7, 12, 0, tzinfo=UTC)
    >>> w = parse_when("about Tuesday", now=now)
    >>> w.low.date().isoformat(), w.high.date().isoformat(), w.exact
    ('2026-05-04', '2026-05-06', False)
    """
    typed = str(text)
    if isinstance(text, datetime):
        check_year(text, field=field, typed=text)
        moment = text if text.tzinfo else text.replace(tzinfo=zone)
        return When.instant(moment.astimezone(UTC), typed)
    words = typed.strip().lower().replace("  ", " ")
    local_now = now.astimezone(zone)
    if words == "now":
        return When.instant(now.astimezone(UTC), typed)
    between = re.fullmatch(r"between (.+) and (.+)", words)
    if between:
        first = parse_when(between[1], now=now, zone=zone, field=field)
        last = parse_when(between[2], now=now, zone=zone, field=field)
        return When(first.low, last.high, typed)
    about = re.match(r"(?:about|around|roughly|circa|ca\.?)\s+(.+)", words)
    rest = about[1] if about else words
    iso = re.fullmatch(
        r"(\d{4}-\d{2}-\d{2})[t ](\d{1,2}:\d{2}(?::\d{2})?)(z|[+-]\d{2}:?\d{2})?", rest
    )
    clock = re.search(r"(?:^|[ ,]+)(?:at )?(\d{1,2}):(\d{2})(?::(\d{2}))?$", rest)
    if iso and iso[3]:
        try:
            moment = datetime.fromisoformat(rest.upper().replace(" ", "T"))
        except ValueError:
            raise _no_time(field, text) from None
        check_year(moment, field=field, typed=text)
        return _spread(moment, about is not None, timedelta(minutes=60), typed)
    if clock:
        day_text = rest[: clock.start()].strip(" ,") or "today"
        day = parse_date(day_text, field=field, now=local_now)
        try:
            at = time(int(clock[1]), int(clock[2]), int(clock[3] or 0))
        except ValueError:
            raise _no_time(field, text) from None
        return _spread(
            datetime.combine(day, at, tzinfo=zone), about is not None, timedelta(minutes=60), typed
        )
    day = parse_date(text if isinstance(text, date) else rest, field=field, now=local_now)
    low = datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)
    high = datetime.combine(day + timedelta(days=1), time(), tzinfo=zone).astimezone(UTC)
    margin = timedelta(days=1) if about else timedelta()
    return When(low - margin, high + margin - timedelta(seconds=1), typed)


def _spread(moment: datetime, about: bool, margin: timedelta, typed: str) -> When:
    moment = moment.astimezone(UTC)
    return When(moment - margin, moment + margin, typed) if about else When.instant(moment, typed)


def _no_time(field: str, text: object) -> InputError:
    return InputError("there is no such time", field=field, value=text, way_out=_WAY_OUT)
