"""The calendar of work: dates of turns, hours of rounds, clock changes, and what skipping costs."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest

from heapwright.domain.heap import Heap, Spot
from heapwright.domain.trial import Locked, Place, RoundRule, Trial, WaterRule
from heapwright.domain.way import Treatment, Vent
from heapwright.planning.calendar import work_calendar
from heapwright.planning.task import TASK_KINDS, at_clock
from heapwright.services.calendar import local_sunrise
from heapwright.units import Ranged

LONDON = Place(latitude_deg=51.2, longitude_deg=-2.9, time_zone="Europe/London")


def a_trial(
    *,
    place: Place = LONDON,
    built: datetime | None = datetime(2026, 4, 18, 12, tzinfo=ZoneInfo("Europe/London")),
    ends: date = date(2026, 6, 18),
    window: tuple[float, float] = (5.0, 55.0),
    decides: str = "mean_excess_c",
    rounds: RoundRule = RoundRule(every_d=3, at="07:00", first_after_d=1),
    water: WaterRule = WaterRule(),
    volume: Ranged | None = Ranged(1.2, 1.1, 1.3),
) -> Trial:
    ways = (
        Treatment("turned", "turned", first_after_d=5, every_d=14),
        Treatment(
            "vented",
            "vented",
            vent=Vent(2, state="plugged", open_after_d=7, pull_after_d=30),
        ),
        Treatment("left", "left alone"),
    )
    locked = Locked(
        question="Which is hotter?", decides=decides, unit="C", window_d=window, ends=ends,
        matters=8.0, spread=4.0, control="left", ways=tuple((w.name, w.kind) for w in ways),
        seed=7,
    )  # fmt: skip
    names = (("A", "turned"), ("B", "vented"), ("C", "left"))
    return Trial(
        "Ferncombe",
        locked,
        ways=ways,
        heaps=tuple(Heap(n, w, built=built, volume_m3=volume) for n, w in names),
        spots=(Spot("core", 0.5), Spot("south", 0.35)),
        place=place,
        rounds=rounds,
        water=water,
        invented=True,
    )


NOW = datetime(2026, 4, 18, 15, tzinfo=UTC)


def dates(tasks: object, kind: str) -> list[str]:
    return [t.due.isoformat() for t in tasks if t.kind == kind]  # type: ignore[attr-defined]


def test_turns_and_pipes_stand_on_the_days_of_the_plan() -> None:
    tasks = work_calendar(a_trial(), now=NOW)
    assert dates(tasks, "turn") == ["2026-04-23", "2026-05-07", "2026-05-21", "2026-06-04"]
    assert [t.key for t in tasks if t.kind == "turn"] == [f"turn A {k}" for k in (1, 2, 3, 4)]
    assert dates(tasks, "open pipes") == ["2026-04-25"]
    assert dates(tasks, "pull pipes") == ["2026-05-18"]
    assert all(t.heaps == ("B",) for t in tasks if "pipes" in t.kind)
    assert {t.kind for t in tasks} == set(TASK_KINDS) - {"water check"}


def test_first_and_last_measures_frame_the_trial() -> None:
    tasks = work_calendar(a_trial(), now=NOW)
    first = [t for t in tasks if t.kind == "first measures"]
    assert [t.heaps for t in first] == [("A",), ("B",), ("C",)]
    assert all(t.due == date(2026, 4, 18) for t in first)
    assert first[0].parts == (
        "volume and height with a tape",
        "bucket density",
        "a moisture sample",
        "a photo with a scale",
    )
    assert first[0].skipping_costs.startswith("what cannot be had again")
    assert dates(tasks, "final measures") == ["2026-06-17"]
    assert tasks[-1].kind == "end date"
    assert tasks[-1].due == date(2026, 6, 18)
    assert max(t.due for t in tasks) == date(2026, 6, 18)


def test_a_deciding_sample_is_asked_for_at_its_own_age() -> None:
    tasks = work_calendar(a_trial(decides="carbon_dm", window=(56.0, 56.0)), now=NOW)
    decides = [t for t in tasks if t.key.startswith("decides")]
    assert [t.key for t in decides] == ["decides A", "decides B", "decides C"]
    assert {t.due for t in decides} == {date(2026, 6, 13)}
    assert decides[0].skipping_costs.startswith("the finding")
    assert decides[0].parts == ("carbon as a fraction of dry matter",)


def test_rounds_follow_the_rule_and_cost_almost_nothing() -> None:
    rounds = [t for t in work_calendar(a_trial(), now=NOW) if t.kind == "round"]
    gaps = {(b.due - a.due).days for a, b in pairwise(rounds)}
    assert rounds[0].due == date(2026, 4, 19)
    assert gaps == {3}
    assert all(t.at is not None and t.at.strftime("%H:%M") == "07:00" for t in rounds)
    assert all(t.skipping_short == "almost nothing" for t in rounds[4:-4])
    # 3 heaps of 2 spots: 3 + 6 x 2 minutes; one spot each: 3 + 3 x 2.
    assert rounds[0].minutes.typical == pytest.approx(15.0)
    assert rounds[0].short_minutes is not None
    assert rounds[0].short_minutes.typical == pytest.approx(9.0)
    assert "15 C to 14 C" in rounds[5].skipping_costs


def test_the_only_round_at_an_edge_of_the_window_costs_the_finding() -> None:
    trial = a_trial(rounds=RoundRule(every_d=10, at="07:00", first_after_d=1))
    rounds = [t for t in work_calendar(trial, now=NOW) if t.kind == "round"]
    dear = [t for t in rounds if t.skipping_costs.startswith("the finding")]
    # Rounds at 0.8, 10.8 ... 50.8, 60.8 days: day 5 is covered by the first, day 55 by the last.
    assert [t.due for t in dear] == [date(2026, 4, 19), date(2026, 6, 18)]
    assert "start of the window (day 5) of A, B and C" in dear[0].skipping_costs
    assert "end of the window (day 55)" in dear[1].skipping_costs


def test_a_round_is_added_where_none_would_close_the_window() -> None:
    trial = a_trial(
        rounds=RoundRule(every_d=14, at="07:00", first_after_d=8), ends=date(2026, 6, 16)
    )
    rounds = [t for t in work_calendar(trial, now=NOW) if t.kind == "round"]
    added = [t for t in rounds if t.key.startswith("round window")]
    assert [t.due for t in added] == [date(2026, 4, 23), date(2026, 6, 12)]
    for task, low, high in ((added[0], 0.0, 5.5), (added[1], 54.5, 60.0)):
        assert task.at is not None
        age = (task.at - trial.heaps[0].built) / timedelta(days=1)  # type: ignore[operator]
        assert low <= age <= high


def test_a_window_from_the_build_gets_a_round_at_the_build() -> None:
    tasks = work_calendar(a_trial(window=(0.0, 55.0)), now=NOW)
    opening = next(t for t in tasks if t.key.startswith("round window start"))
    assert opening.due == date(2026, 4, 18)
    assert opening.at is None
    assert "as soon as the heap stands" in opening.note


def test_rounds_before_the_build_are_moved_to_the_next_morning() -> None:
    trial = a_trial(rounds=RoundRule(every_d=3, at="07:00", first_after_d=0))
    first = next(t for t in work_calendar(trial, now=NOW) if t.key == "round 1")
    assert first.due == date(2026, 4, 19)


def test_a_heap_built_later_joins_the_rounds_later() -> None:
    from dataclasses import replace

    trial = a_trial()
    late = replace(trial.heaps[2], built=datetime(2026, 4, 22, 15, tzinfo=UTC))
    trial = replace(trial, heaps=(*trial.heaps[:2], late))
    rounds = [t for t in work_calendar(trial, now=NOW) if t.key in ("round 1", "round 2")]
    assert [t.heaps for t in rounds] == [("A", "B"), ("A", "B")]
    later = next(t for t in work_calendar(trial, now=NOW) if t.key == "round 3")
    assert later.heaps == ("A", "B", "C")


def test_several_rounds_a_day_become_one() -> None:
    trial = a_trial(rounds=RoundRule(every_d=0.25, at="07:00"))
    rounds = [t for t in work_calendar(trial, now=NOW) if t.kind == "round"]
    assert len({t.due for t in rounds}) == len(rounds)
    assert "one round a day" in rounds[0].reason


def test_water_checks_name_the_aim_and_equal_water() -> None:
    water = WaterRule(target_wb=Ranged(0.55, 0.5, 0.6), every_d=7)
    checks = [t for t in work_calendar(a_trial(water=water), now=NOW) if t.kind == "water check"]
    assert checks[0].due == date(2026, 4, 25)
    assert len(checks) == 8
    assert "50 to 60 % water" in checks[0].reason
    assert "same litres" in checks[0].reason


def test_without_a_building_day_dates_count_from_today() -> None:
    tasks = work_calendar(a_trial(built=None), now=NOW)
    assert all(t.provisional for t in tasks)
    assert dates(tasks, "turn")[0] == "2026-04-23"


def test_unknown_volume_widens_the_minutes_and_says_so() -> None:
    known = next(t for t in work_calendar(a_trial(), now=NOW) if t.kind == "turn")
    unknown = next(t for t in work_calendar(a_trial(volume=None), now=NOW) if t.kind == "turn")
    assert unknown.minutes.high - unknown.minutes.low > known.minutes.high - known.minutes.low
    assert "volume not given" in unknown.note
    assert known.minutes.typical == pytest.approx(1.2 * 40)
    assert known.minutes_from == "common practice, no source"


# --- clock changes -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("zone", "day", "clock", "utc", "word"),
    [
        ("Europe/London", date(2026, 3, 29), time(1, 30), "2026-03-29T01:30", "forward"),
        ("Europe/London", date(2026, 10, 25), time(1, 30), "2026-10-25T00:30", "back"),
        ("America/Denver", date(2026, 3, 8), time(2, 15), "2026-03-08T09:15", "forward"),
        ("America/Denver", date(2026, 11, 1), time(1, 15), "2026-11-01T07:15", "back"),
        ("Australia/Melbourne", date(2026, 10, 4), time(2, 30), "2026-10-03T16:30", "forward"),
        ("Australia/Melbourne", date(2026, 4, 5), time(2, 30), "2026-04-04T15:30", "back"),
        ("Australia/Lord_Howe", date(2026, 10, 4), time(2, 15), "2026-10-03T15:45", "forward"),
        ("Europe/London", date(2026, 6, 1), time(7), "2026-06-01T06:00", ""),
    ],
)
def test_hours_at_clock_changes(zone: str, day: date, clock: time, utc: str, word: str) -> None:
    moment, note = at_clock(day, clock, ZoneInfo(zone))
    assert moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M") == utc
    assert moment.date() == day
    assert (word in note) if word else note == ""


def test_a_turn_after_a_clock_change_keeps_its_date() -> None:
    """14 days over the change are 14 dates, not 336 hours: a heap built at 23:30 shows it."""
    built = datetime(2026, 3, 20, 23, 30, tzinfo=ZoneInfo("Europe/London"))
    trial = a_trial(built=built, ends=date(2026, 5, 30), window=(5.0, 50.0))
    assert dates(work_calendar(trial, now=built), "turn")[:2] == ["2026-03-25", "2026-04-08"]
    built = datetime(2026, 10, 20, 0, 30, tzinfo=ZoneInfo("Europe/London"))
    trial = a_trial(built=built, ends=date(2026, 12, 30), window=(5.0, 50.0))
    assert dates(work_calendar(trial, now=built), "turn")[:2] == ["2026-10-25", "2026-11-08"]


def test_a_round_in_the_missing_hour_says_so() -> None:
    built = datetime(2026, 3, 27, 12, tzinfo=ZoneInfo("Europe/London"))
    trial = a_trial(
        built=built,
        ends=date(2026, 5, 30),
        window=(5.0, 50.0),
        rounds=RoundRule(every_d=1, at="01:30", first_after_d=1),
    )
    rounds = {t.due: t for t in work_calendar(trial, now=built) if t.kind == "round"}
    changed = rounds[date(2026, 3, 29)]
    assert changed.at is not None
    assert changed.at.strftime("%H:%M %Z") == "02:30 BST"
    assert "does not exist" in changed.note
    assert rounds[date(2026, 3, 30)].note == ""


# --- sunrise ------------------------------------------------------------


def test_no_place_means_seven_by_the_clock_and_says_what_a_place_would_sharpen() -> None:
    trial = a_trial(place=Place(), rounds=RoundRule(every_d=3, at="sunrise", first_after_d=1))
    assert local_sunrise(trial.place) is None
    first = next(t for t in work_calendar(trial, now=NOW) if t.key == "round 1")
    assert first.at is not None
    assert first.at.strftime("%H:%M") == "07:00"
    assert "latitude, longitude and time_zone under [place]" in first.note
    half = a_trial(place=Place(time_zone="Europe/London"), rounds=RoundRule(3, "sunrise", 1))
    first = next(t for t in work_calendar(half, now=NOW) if t.key == "round 1")
    assert first.at is not None
    assert first.at.strftime("%H:%M %Z") == "07:00 BST"
    assert "latitude and longitude under" in first.note


def test_sunrise_is_local_in_either_hemisphere() -> None:
    rule = RoundRule(every_d=30, at="sunrise", first_after_d=1)
    for place, month, expected in (
        (Place(39.74, -105.18, "America/Denver"), 10, "07:1"),
        (Place(-37.8, 145.0, "Australia/Melbourne"), 12, "05:5"),
    ):
        zone = ZoneInfo(place.time_zone or "")
        built = datetime(2026, month, 15, 12, tzinfo=zone)
        trial = a_trial(place=place, built=built, rounds=rule, ends=date(2027, 2, 20))
        tasks = work_calendar(trial, now=built, sunrise=local_sunrise(place))
        first = next(t for t in tasks if t.key == "round 1")
        assert first.at is not None
        assert first.due == date(2026, month, 16)
        assert first.at.date() == first.due
        assert first.at.strftime("%H:%M").startswith(expected)


def test_polar_night_and_day_fall_back_to_the_clock_with_a_note() -> None:
    place = Place(69.65, 18.96, "Europe/Oslo")
    rule = RoundRule(every_d=20, at="sunrise", first_after_d=1)
    zone = ZoneInfo("Europe/Oslo")
    for month in (12, 6):
        built = datetime(2026, month, 10, 12, tzinfo=zone)
        ends = date(2027, 2, 20) if month == 12 else date(2026, 8, 20)
        trial = a_trial(place=place, built=built, rounds=rule, ends=ends)
        tasks = work_calendar(trial, now=built, sunrise=local_sunrise(place))
        first = next(t for t in tasks if t.key == "round 1")
        assert first.at is not None
        assert first.at.strftime("%H:%M") == "07:00"
        assert "does not rise" in first.note
        last = [t for t in tasks if t.kind == "round"][-1]
        assert last.note == "", "the sun is back by the end"


def test_coarse_sunrise_stays_within_an_hour_of_the_exact_one() -> None:
    near = local_sunrise(LONDON, around=date(2026, 6, 1))
    exact = local_sunrise(LONDON)
    assert near is not None
    assert exact is not None
    for day in (date(2026, 3, 22), date(2026, 4, 5), date(2026, 6, 3)):
        a, b = near(day), exact(day)
        assert a is not None
        assert b is not None
        assert a.date() == day
        assert abs(a - b) < timedelta(minutes=45)
    assert near(date(2026, 6, 3)) == exact(date(2026, 6, 3))
