"""Sunrise and sunset against printed rows."""

from __future__ import annotations

import datetime as dt

import pytest

from heapwright.science.sun import sun_day

NREL = "Reda and Andreas 2004, NREL/TP-560-34302"


def _seconds(moment: dt.datetime | None) -> float:
    assert moment is not None
    return moment.hour * 3600 + moment.minute * 60 + moment.second + moment.microsecond / 1e6


def _clock(text: str) -> float:
    hours, minutes, *rest = text.split(":")
    return int(hours) * 3600 + int(minutes) * 60 + (float(rest[0]) if rest else 0.0)


@pytest.mark.reference(source=NREL, where="Table A2.1, longitude 0, UT; within 5 s")
@pytest.mark.parametrize(
    ("day", "latitude", "rise", "down"),
    [
        (dt.date(1994, 1, 2), 35.0, "07:08:12.8", "16:59:55.9"),
        (dt.date(1996, 7, 5), -35.0, "07:08:15.4", "17:01:04.5"),
        (dt.date(2004, 12, 4), -35.0, "04:38:57.1", "19:02:02.5"),
    ],
)
def test_nrel_rows(day: dt.date, latitude: float, rise: str, down: str) -> None:
    found = sun_day(day, latitude_deg=latitude, longitude_deg=0.0)
    assert _seconds(found.sunrise) == pytest.approx(_clock(rise), abs=5)
    assert _seconds(found.sunset) == pytest.approx(_clock(down), abs=5)


@pytest.mark.reference(
    source=NREL, where="Golden, Colorado, 2003-10-17: 6.212, 11.768 and 17.314 h local time"
)
def test_local_date_not_utc_date() -> None:
    zone = dt.timezone(dt.timedelta(hours=-7))
    found = sun_day(
        dt.date(2003, 10, 17), latitude_deg=39.742476, longitude_deg=-105.1786, zone=zone
    )
    assert _seconds(found.sunrise) == pytest.approx(6.212 * 3600, abs=2)
    assert _seconds(found.noon) == pytest.approx(11.768 * 3600, abs=2)
    assert _seconds(found.sunset) == pytest.approx(_clock("17:18:51.7"), abs=2)
    assert abs(_seconds(found.sunset) - _clock("17:20:19")) > 60  # the evening before


@pytest.mark.reference(source="almanac site values, London 51.507 N 0.128 W, UTC", where="1 min")
@pytest.mark.parametrize(
    ("month", "day", "rise", "down"),
    [
        (1, 1, "08:06", "16:01"),
        (12, 1, "07:43", "15:55"),
        (12, 2, "07:45", "15:54"),
        (12, 3, "07:46", "15:54"),
        (12, 12, "07:56", "15:51"),
        (12, 25, "08:05", "15:55"),
    ],
)
def test_london(month: int, day: int, rise: str, down: str) -> None:
    found = sun_day(dt.date(2015, month, day), latitude_deg=51.507, longitude_deg=-0.128)
    assert _seconds(found.sunrise) == pytest.approx(_clock(rise), abs=60)
    assert _seconds(found.sunset) == pytest.approx(_clock(down), abs=60)


@pytest.mark.reference(source="almanac site values, London, UTC", where="noon, 1 min")
@pytest.mark.parametrize(("day", "noon"), [(1, "11:49"), (25, "12:00")])
def test_london_noon(day: int, noon: str) -> None:
    found = sun_day(dt.date(2015, 12, day), latitude_deg=51.507, longitude_deg=-0.128)
    assert _seconds(found.noon) == pytest.approx(_clock(noon), abs=60)


@pytest.mark.reference(source="almanac", where="80 N: 21 June always up, 21 December always down")
def test_far_north() -> None:
    summer = sun_day(dt.date(2015, 6, 21), latitude_deg=80.0, longitude_deg=0.0)
    winter = sun_day(dt.date(2015, 12, 21), latitude_deg=80.0, longitude_deg=0.0)
    assert (summer.sunrise, summer.sunset, summer.up) == (None, None, "always up")
    assert (winter.sunrise, winter.sunset, winter.up) == (None, None, "always down")
    assert summer.noon is not None
