"""iCalendar: parsed back with zone, stable UID, growing SEQUENCE, and right clock changes."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import icalendar
import pytest
from tests.unit.planning.test_calendar import a_trial

from heapwright.domain.trial import Place, RoundRule, Trial
from heapwright.errors import InputError
from heapwright.exchange.ical import calendar_ics, task_uid
from heapwright.planning.calendar import work_calendar

NOW = datetime(2026, 4, 18, 15, tzinfo=UTC)


def parsed(trial: Trial, *, now: datetime = NOW, version: int = 1) -> icalendar.Calendar:
    text = calendar_ics(work_calendar(trial, now=now), trial, now=now, version=version)
    return icalendar.Calendar.from_ical(text)


def events(calendar: icalendar.Calendar) -> dict[str, Any]:
    return {str(e["uid"]): e for e in calendar.walk("VEVENT")}


def test_every_task_comes_back_with_its_day_and_zone() -> None:
    trial = a_trial()
    tasks = work_calendar(trial, now=NOW)
    back = events(parsed(trial))
    assert len(back) == len(tasks)
    for task in tasks:
        event = back[task_uid(trial.name, task.key)]
        start = event["dtstart"].dt
        assert str(event["summary"]).startswith(task.title)
        assert "Skipping costs" in str(event["description"])
        if task.at is None:
            assert start == task.due
            assert event["dtend"].dt == task.due + timedelta(days=1)
        else:
            assert start == task.at
            assert event["dtstart"].params["TZID"] == "Europe/London"
            assert event["dtend"].dt > start
    assert "(invented)" in str(next(iter(back.values()))["summary"])


def test_uid_stays_and_sequence_grows_when_the_plan_moves() -> None:
    trial = a_trial()
    moved = replace(
        trial,
        heaps=tuple(replace(h, built=datetime(2026, 4, 20, 12, tzinfo=UTC)) for h in trial.heaps),
    )
    before, after = events(parsed(trial)), events(parsed(moved, version=3))
    uid = task_uid("ferncombe", "turn A 1")
    assert before[uid]["dtstart"].dt == date(2026, 4, 23)
    assert after[uid]["dtstart"].dt == date(2026, 4, 25)
    assert int(before[uid]["sequence"]) == 0
    assert int(after[uid]["sequence"]) == 2
    assert len(set(before) & set(after)) > 20


def test_stamp_is_the_moment_given_and_the_text_repeats() -> None:
    trial = a_trial()
    tasks = work_calendar(trial, now=NOW)
    assert calendar_ics(tasks, trial, now=NOW) == calendar_ics(tasks, trial, now=NOW)
    event = next(iter(events(parsed(trial)).values()))
    assert event["dtstamp"].dt == NOW


@pytest.mark.parametrize(
    ("name", "onset", "before", "after", "kind"),
    [
        ("Europe/London", datetime(2026, 10, 25, 2), 1, 0, "STANDARD"),
        ("Europe/London", datetime(2026, 3, 29, 1), 0, 1, "DAYLIGHT"),
        ("America/Denver", datetime(2026, 3, 8, 2), -7, -6, "DAYLIGHT"),
        ("America/Denver", datetime(2026, 11, 1, 2), -6, -7, "STANDARD"),
        ("Australia/Melbourne", datetime(2026, 4, 5, 3), 11, 10, "STANDARD"),
        ("Australia/Melbourne", datetime(2026, 10, 4, 2), 10, 11, "DAYLIGHT"),
    ],
)
def test_clock_changes_stand_in_the_zone(
    name: str, onset: datetime, before: int, after: int, kind: str
) -> None:
    """RFC 5545 3.6.5: the onset is written by the clock before the change."""
    place = Place(time_zone=name)
    built = datetime(2026, 4, 1, 12, tzinfo=ZoneInfo(name))
    zone = parsed(a_trial(place=place, built=built, ends=date(2026, 7, 1))).walk("VTIMEZONE")[0]
    assert str(zone["tzid"]) == name
    found = [o for o in zone.walk(kind) if o["dtstart"].dt == onset]
    assert len(found) == 1
    assert found[0]["tzoffsetfrom"].td == timedelta(hours=before)
    assert found[0]["tzoffsetto"].td == timedelta(hours=after)


def test_a_zone_without_changes_has_one_observance() -> None:
    place = Place(time_zone="Asia/Kolkata")
    zone = parsed(a_trial(place=place)).walk("VTIMEZONE")[0]
    assert len(zone.walk("STANDARD")) == 1
    assert not zone.walk("DAYLIGHT")


def test_without_a_zone_the_clock_on_the_wall_is_written() -> None:
    trial = a_trial(place=Place(), built=datetime(2026, 4, 18, 12, tzinfo=UTC))
    back = parsed(trial)
    assert not back.walk("VTIMEZONE")
    start = events(back)[task_uid(trial.name, "round 1")]["dtstart"].dt
    assert start == datetime(2026, 4, 19, 7)
    assert start.tzinfo is None


def test_a_round_over_a_clock_change_keeps_its_length() -> None:
    built = datetime(2026, 10, 23, 12, tzinfo=ZoneInfo("Europe/London"))
    rule = RoundRule(every_d=1, at="00:55", first_after_d=1)
    trial = a_trial(built=built, ends=date(2026, 12, 30), rounds=rule, window=(5.0, 50.0))
    tasks = work_calendar(trial, now=built)
    key = next(t.key for t in tasks if t.kind == "round" and t.due == date(2026, 10, 25))
    event = events(parsed(trial, now=built))[task_uid(trial.name, key)]
    length = event["dtend"].dt.astimezone(UTC) - event["dtstart"].dt.astimezone(UTC)
    assert length == timedelta(minutes=15)


def test_dates_counted_from_today_are_tentative() -> None:
    trial = a_trial(built=None)
    event = events(parsed(trial))[task_uid(trial.name, "turn A 1")]
    assert str(event["status"]) == "TENTATIVE"
    assert "as if the heap were built" in str(event["description"])


def test_a_version_below_one_and_a_naive_moment_are_refused() -> None:
    trial = a_trial()
    with pytest.raises(InputError, match="version"):
        calendar_ics([], trial, now=NOW, version=0)
    with pytest.raises(InputError, match="zone"):
        calendar_ics([], trial, now=datetime(2026, 4, 18))
