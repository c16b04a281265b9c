"""What is due today: done work goes, intervals count, and minutes pick what costs most."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from tests.unit.planning.test_calendar import a_trial

from heapwright.domain.entries import Event, Reading, Sample
from heapwright.domain.when import When, parse_when
from heapwright.errors import QuantityError
from heapwright.planning.calendar import work_calendar
from heapwright.planning.task import Task
from heapwright.planning.today import Today, today_list

ZONE = ZoneInfo("Europe/London")
TASKS = work_calendar(a_trial(), now=datetime(2026, 4, 18, 15, tzinfo=UTC))


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def event(heap: str, what: str, when: When) -> Event:
    return Event(f"{heap}{what}{when.typed}", "Ferncombe", heap, when, what)


def read(heap: str, moment: datetime) -> Reading:
    return Reading(f"{heap}{moment}", "Ferncombe", heap, "core", When.instant(moment), 50.0)


def ask(text: str, *entries: object, minutes: float | None = None, tasks: object = TASKS) -> Today:
    return today_list(
        tasks,  # type: ignore[arg-type]
        entries,  # type: ignore[arg-type]
        now=at(text),
        zone=ZONE,
        minutes=minutes,
    )


def first_measures() -> list[object]:
    out: list[object] = []
    moment = When.instant(at("2026-04-18T14:00"))
    for heap in "ABC":
        out.append(event(heap, "photo", moment))
        for key, number in (("volume_m3", 1.2), ("bulk_density_kg_m3", 300), ("moisture_wb", 0.5)):
            out.append(Sample(f"{heap}{key}", "Ferncombe", heap, moment, key, number))
    return out


def test_due_now_and_what_comes() -> None:
    answer = ask(
        "2026-04-23T08:00", *first_measures(), *(read(h, at("2026-04-22T06:30")) for h in "ABC")
    )
    assert [(d.title, d.state) for d in answer.due] == [("Turn A", "due now")]
    assert answer.due[0].tasks[0].skipping_costs.startswith("the way itself")
    assert [(d.title, d.state) for d in answer.soon][:2] == [
        ("Round over A, B and C", "in 2 days, at 07:00"),
        ("Open the 2 pipes of B", "in 2 days"),
    ]
    assert answer.sentence == "To do: turn A. About 48 min."
    assert answer.missed == ()


def test_nothing_to_do_says_so_and_names_the_next_look() -> None:
    rounds = [read(h, at("2026-04-28T07:10")) for h in "ABC"]
    turned = event("A", "turned", When.instant(at("2026-04-23T10:00")))
    opened = event("B", "vent opened", When.instant(at("2026-04-25T10:00")))
    answer = ask("2026-04-29T12:00", *rounds, turned, opened, *first_measures())
    assert answer.due == ()
    assert (
        answer.sentence
        == "Nothing needs doing. Next look Friday; skipping it costs almost nothing."
    )


def test_next_work_and_next_look_are_both_named() -> None:
    rounds = [read(h, at("2026-05-04T07:10")) for h in "ABC"]
    done = (
        event("A", "turned", When.instant(at("2026-04-23T10:00"))),
        event("B", "vent opened", When.instant(at("2026-04-25T10:00"))),
    )
    tasks = [t for t in TASKS if not (t.kind == "round" and t.due == at("2026-05-07").date())]
    answer = ask("2026-05-05T12:00", *rounds, *done, tasks=tasks)
    assert answer.sentence.startswith("Nothing needs doing. Next: turn A, Thursday (in 2 days).")
    assert "Next look Sunday; skipping it costs almost nothing." in answer.sentence


def test_an_interval_that_overlaps_counts_as_done() -> None:
    now = at("2026-04-24T09:00")
    about = parse_when("about Tuesday", now=now, zone=ZONE)
    assert not about.exact
    assert any(d.kind == "turn" for d in ask("2026-04-24T09:00").due)
    answer = ask("2026-04-24T09:00", event("A", "turned", about))
    assert not any(d.kind == "turn" for d in answer.due + answer.missed)


def test_a_turn_counts_for_the_occasion_it_lies_nearest_to() -> None:
    late = event("A", "turned", When.instant(at("2026-04-27T10:00")))
    answer = ask("2026-05-07T09:00", late)
    assert [d.tasks[0].key for d in answer.due if d.kind == "turn"] == ["turn A 2"]
    early = event("A", "turned", When.instant(at("2026-05-05T10:00")))
    answer = ask("2026-05-07T09:00", late, early)
    assert not any(d.kind == "turn" for d in answer.due)


def test_an_evening_reading_does_not_tick_off_tomorrow() -> None:
    from heapwright.domain.trial import RoundRule

    tasks = work_calendar(
        a_trial(rounds=RoundRule(every_d=1, at="07:00", first_after_d=1)),
        now=at("2026-04-18T15:00"),
    )
    evening = [read(h, at("2026-04-20T22:00")) for h in "ABC"]
    answer = ask("2026-04-21T08:00", *evening, tasks=tasks)
    assert [d.due.isoformat() for d in answer.due if d.kind == "round"] == ["2026-04-21"]
    answer = ask("2026-04-20T23:00", *evening, tasks=tasks)
    assert not any(d.kind == "round" for d in answer.due)


def test_a_round_half_walked_names_the_heaps_that_are_left() -> None:
    answer = ask("2026-04-22T12:00", read("A", at("2026-04-22T07:00")), *first_measures())
    left = next(d for d in answer.due if d.kind == "round")
    assert left.heaps == ("B", "C")
    assert left.title == "Round over B and C"
    assert left.minutes.typical == pytest.approx(10.0)


def test_single_first_measures_are_ticked_off() -> None:
    moment = When.instant(at("2026-04-18T13:00"))
    volume = Sample("v", "Ferncombe", "A", moment, "volume_m3", 1.2)
    photo = event("A", "photo", moment)
    answer = ask("2026-04-19T12:00", volume, photo)
    rows = {d.heaps: d for d in answer.due if d.kind == "first measures"}
    assert rows["A",].parts == ("bucket density", "a moisture sample")
    assert rows["A",].state == "due since yesterday"
    assert len(rows["B", "C"].parts) == 4


def test_a_skipped_round_is_not_asked_for_again_but_a_missed_turn_is_named_once() -> None:
    answer = ask("2026-05-30T12:00", *first_measures())
    titles = [d.title for d in answer.missed]
    assert titles.count("Turn A") == 1
    assert not any("Round" in t for t in titles)
    assert sum(1 for d in answer.due if d.kind == "round") <= 1


def test_minutes_take_what_costs_most_first() -> None:
    answer = ask("2026-04-25T12:00", *first_measures(), minutes=14)
    kinds = [(d.kind, d.fits) for d in answer.due]
    assert kinds == [("turn", False), ("open pipes", True), ("round", True)]
    round_ = answer.due[-1]
    assert round_.minutes.typical == pytest.approx(9.0)
    assert "one spot in every heap" in round_.why
    assert "48 min and 14 min are left" in answer.due[0].why
    assert "open the 2 pipes of B" in answer.sentence
    assert "turn A" not in answer.sentence


def test_too_few_minutes_say_how_long_the_shortest_takes() -> None:
    answer = ask("2026-04-25T12:00", *first_measures(), minutes=1)
    assert answer.sentence == (
        "Nothing that is due fits into the 1 min you have; the shortest takes about 2 min."
    )


@pytest.mark.parametrize("bad", [0, -5, float("nan")])
def test_impossible_minutes_are_refused(bad: float) -> None:
    with pytest.raises(QuantityError) as found:
        ask("2026-04-25T12:00", minutes=bad)
    assert "minutes" in str(found.value)


def test_a_lost_heap_is_asked_for_nothing() -> None:
    lost = event("A", "lost", When.instant(at("2026-04-21T10:00")))
    answer = ask("2026-04-25T12:00", lost, *first_measures())
    assert all("A" not in d.heaps for d in answer.due)


def test_after_the_end_only_the_findings_are_asked_for() -> None:
    answer = ask("2026-07-10T12:00", *first_measures())
    assert answer.sentence == "The trial ended on Thursday 18 June 2026: ask for the findings."
    assert [d.kind for d in answer.due] == ["end date"]
    assert {d.kind for d in answer.missed} == {"final measures"}


def test_a_round_later_today_has_its_hour() -> None:
    answer = ask("2026-04-22T05:00", *first_measures())
    assert next(d for d in answer.due if d.kind == "round").state == "today at 07:00"


def test_rows_of_one_day_and_kind_stand_together() -> None:
    answer = ask("2026-04-18T16:00")
    first = [d for d in answer.due if d.kind == "first measures"]
    assert [d.heaps for d in first] == [("A", "B", "C")]
    assert first[0].minutes.typical == pytest.approx(60)
    assert all(isinstance(t, Task) for t in first[0].tasks)
    assert answer.moment - at("2026-04-18T16:00") == timedelta(0)
