"""Times as people say them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from heapwright.domain.when import When, local_zone, parse_date, parse_when
from heapwright.errors import InputError

NOW = datetime(2026, 5, 7, 12, 0, tzinfo=UTC)  # a Thursday
LONDON = ZoneInfo("Europe/London")


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-05-03", date(2026, 5, 3)),
        ("3 May 2026", date(2026, 5, 3)),
        ("May 3, 2026", date(2026, 5, 3)),
        ("3 May", date(2026, 5, 3)),
        ("28 Dec", date(2025, 12, 28)),
        ("yesterday", date(2026, 5, 6)),
        ("Tuesday", date(2026, 5, 5)),
        ("thursday", date(2026, 5, 7)),
        ("3 weeks ago", date(2026, 4, 16)),
        ("a day ago", date(2026, 5, 6)),
    ],
)
def test_dates(text: str, day: date) -> None:
    assert parse_date(text, field="when", now=NOW) == day


@pytest.mark.parametrize("text", ["3/5/2026", "soon", "", "31 June", "2026-02-30", "5"])
def test_what_is_no_date(text: str) -> None:
    with pytest.raises(InputError):
        parse_date(text, field="when", now=NOW)


def test_an_exact_time_is_an_instant_in_the_zone() -> None:
    when = parse_when("2026-05-03 07:10", now=NOW, zone=LONDON)
    assert when.low == when.high == datetime(2026, 5, 3, 6, 10, tzinfo=UTC)
    assert when.exact


def test_a_time_alone_is_today() -> None:
    assert parse_when("7:10", now=NOW).low == datetime(2026, 5, 7, 7, 10, tzinfo=UTC)
    assert parse_when("yesterday at 7:10", now=NOW).low.day == 6


def test_a_day_is_the_whole_local_day() -> None:
    when = parse_when("Tuesday", now=NOW, zone=LONDON)
    assert when.low == datetime(2026, 5, 4, 23, 0, tzinfo=UTC)
    assert when.high == datetime(2026, 5, 5, 22, 59, 59, tzinfo=UTC)
    assert not when.exact


def test_about_widens() -> None:
    plain, about = (parse_when(t, now=NOW) for t in ("Tuesday", "about Tuesday"))
    assert plain.low - about.low == timedelta(days=1)
    assert about.high - plain.high == timedelta(days=1)
    assert about.middle == plain.middle


def test_between_two_days() -> None:
    when = parse_when("between 3 May and 5 May", now=NOW)
    assert (when.low.day, when.high.day) == (3, 5)


def test_a_written_offset_stands_before_the_zone() -> None:
    when = parse_when("2026-05-03T07:10+02:00", now=NOW, zone=LONDON)
    assert when.low == datetime(2026, 5, 3, 5, 10, tzinfo=UTC)


@pytest.mark.parametrize("text", ["25:10", "2026-05-03 07:99", "next week", "about"])
def test_what_is_no_time(text: str) -> None:
    with pytest.raises(InputError):
        parse_when(text, now=NOW)


def test_a_time_without_zone_is_refused() -> None:
    with pytest.raises(InputError, match="without zone"):
        When(datetime(2026, 5, 3), datetime(2026, 5, 3))


def test_unknown_zone() -> None:
    with pytest.raises(InputError, match="no such time zone"):
        local_zone("Europe/Ferncombe")


@pytest.mark.parametrize(
    "text", ["0001-01-01", "about 0001-01-01", "1026-04-20 07:00", "9999-12-31", "3 May 2999"]
)
def test_a_year_that_is_a_slip_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="so long ago or so far ahead"):
        parse_when(text, now=NOW, zone=LONDON)


def test_a_year_that_is_a_slip_is_refused_in_dates_of_a_file() -> None:
    for slip in (datetime(1, 1, 1), datetime(9999, 12, 31, 23)):
        with pytest.raises(InputError, match="so long ago or so far ahead"):
            parse_when(slip, now=NOW, zone=LONDON)
    with pytest.raises(InputError, match="so long ago or so far ahead"):
        parse_date(date(9999, 12, 31), field="starts", now=NOW)
    with pytest.raises(InputError, match="so long ago or so far ahead"):
        parse_when("0001-01-01T00:30:00+14:00", now=NOW)
