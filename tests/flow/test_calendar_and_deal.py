"""deal, calendar and today as they are typed, on a plan file and on a book."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import icalendar
import pytest
import typer
from typer.testing import CliRunner

from heapwright.cli.calendar import calendar, today
from heapwright.cli.dealing import deal
from heapwright.domain.entries import Event, Reading, Sample
from heapwright.domain.when import When, parse_when
from heapwright.errors import HeapwrightError
from heapwright.services.plans import example_plan, lock_plan
from heapwright.services.settings import open_book

app = typer.Typer()
for command in (calendar, deal, today):
    app.command()(command)

START = datetime(2026, 4, 17, 9, tzinfo=UTC)


def run(*words: str, code: int = 0) -> str:
    answer = CliRunner().invoke(app, list(words), catch_exceptions=True)
    if code:
        assert isinstance(answer.exception, HeapwrightError), answer.output
        assert answer.exception.exit_code == code
        return str(answer.exception)
    assert answer.exit_code == 0, (answer.output, answer.exception)
    return answer.stdout


def at(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setenv("HEAPWRIGHT_NOW", text)


@pytest.fixture
def plan(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    path = tmp_path / "ferncombe.toml"
    path.write_text(example_plan(), encoding="utf-8")
    at(monkeypatch, START.isoformat())
    return str(path)


@pytest.fixture
def locked(plan: str) -> str:
    with open_book() as book:
        lock_plan(book, Path(plan), now=START)
    return plan


def turned(heap: str, when: When) -> Event:
    return Event(f"t{heap}{when.low}", "Ferncombe 2026", heap, when, "turned")


def test_lots_are_hidden_until_they_are_asked_for(locked: str) -> None:
    plain = run("deal", locked, "--loads", "12").replace("(invented)", "")
    for way in ("turned", "vented", "left alone", "418"):
        assert way not in plain
    shown = run("deal", locked, "--loads", "12", "--lots")
    assert "seed 418" in shown
    assert "not locked yet" not in shown
    answer = json.loads(run("deal", locked, "--loads", "12", "--json"))
    assert "lots" not in answer
    assert answer["locked"] is True
    opened = json.loads(run("deal", "Ferncombe 2026", "--loads", "12", "--json", "--lots"))
    assert opened["lots"]["seed"] == 418
    assert opened["fingerprint"] == answer["fingerprint"]
    assert sorted(set(opened["lots"]["ways"])) == list("ABCDEF")


def test_the_lots_of_the_calendar_are_those_of_the_deal(locked: str) -> None:
    ways = json.loads(run("deal", locked, "--loads", "12", "--json", "--lots"))["lots"]["ways"]
    tasks = json.loads(run("calendar", "Ferncombe 2026", "--json"))["tasks"]
    turning = {t["heaps"][0] for t in tasks if t["kind"] == "turn"}
    assert turning == {h for h, w in ways.items() if w == "turned"}


def test_where_does_the_next_load_go(plan: str) -> None:
    said = run("deal", plan, "--rule", "one-at-a-time", "--scores", "20 35 50", "--next", "70")
    assert said.startswith("Load 4 (70 % leaf) goes to heap D.")
    said = run("deal", plan, "--scores", "20 35 50", "--next", "70")
    assert said.startswith("Load 4 stands by: 2 more before the 6 are dealt.")
    said = run("deal", plan, "--scores", "20 35 50 10 30", "--next", "70")
    assert said.startswith("Load 6 (70 % leaf) goes to heap A.")


def test_sheets_are_written(plan: str, tmp_path: Path) -> None:
    sheet, lots = tmp_path / "deal.html", tmp_path / "lots.html"
    said = run("deal", plan, "--loads", "48", "--sheet", str(sheet), "--lots-sheet", str(lots))
    assert f"Written: {sheet}" in said
    assert "turned" not in sheet.read_text()
    assert "turned" in lots.read_text()
    missing = str(tmp_path / "no" / "such" / "deal.html")
    assert "cannot be written" in run("deal", plan, "--loads", "12", "--sheet", missing, code=2)


def test_calendar_lists_all_work_and_warns_that_it_gives_the_lots_away(plan: str) -> None:
    said = run("calendar", plan)
    assert said.startswith("Ferncombe 2026 (invented): ")
    assert "give the lots away" in said
    assert "Thu 2026-04-23" in said
    assert "06:08" in said, "sunrise of 19 April 2026 in British summer time"


def test_ics_grows_its_sequence_with_the_version_of_the_plan(
    locked: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def events(name: str) -> dict[str, Any]:
        file = tmp_path / name
        run("calendar", "Ferncombe 2026", "--ics", str(file))
        parsed = icalendar.Calendar.from_ical(file.read_bytes())
        assert len(parsed.walk("VTIMEZONE")) == 1
        return {str(e["uid"]): e for e in parsed.walk("VEVENT")}

    before = events("one.ics")
    Path(locked).write_text(example_plan().replace("2026-04-18", "2026-04-19"), encoding="utf-8")
    with open_book() as book:
        lock_plan(book, Path(locked), now=START)
    after = events("two.ics")
    shared = set(before) & set(after)
    assert len(shared) > 40
    assert {int(before[u]["sequence"]) for u in shared} == {0}
    assert {int(after[u]["sequence"]) for u in shared} == {1}
    moved = [u for u in shared if "Turn" in before[u]["summary"]]
    assert all((after[u]["dtstart"].dt - before[u]["dtstart"].dt).days == 1 for u in moved)


def test_today_follows_what_was_logged(locked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    at(monkeypatch, "2026-04-23T08:00:00+00:00")
    said = run("today")
    assert "Turn A and B: due now" in said
    assert "Skipping costs the way itself" in said
    now = datetime(2026, 4, 24, 8, tzinfo=UTC)
    about = parse_when("about Thursday", now=now)
    moment = When.instant(datetime(2026, 4, 23, 6, tzinfo=UTC))
    readings = [Reading(f"r{h}", "Ferncombe 2026", h, "core", moment, 48.0) for h in "ABCDEF"]
    with open_book() as book:
        book.add([turned("A", about), turned("B", about), *readings], now=now)
    at(monkeypatch, now.isoformat())
    assert run("today") == run("today", locked), "a plan file follows the book as well"
    answer = json.loads(run("today", "ferncombe 2026", "--json"))
    assert [d["kind"] for d in answer["due"]] == []
    assert answer["sentence"].startswith("Nothing needs doing. Next look tomorrow")
    assert answer["sentence"].endswith("skipping it costs almost nothing.")


def test_today_uses_the_building_day_that_was_logged(
    locked: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    built = When.instant(datetime(2026, 4, 20, 10, tzinfo=UTC))
    with open_book() as book:
        book.add(
            [Event(f"b{h}", "Ferncombe 2026", h, built, "built") for h in "ABCDEF"],
            now=built.low,
        )
    at(monkeypatch, "2026-04-23T08:00:00+00:00")
    assert "Turn A and B: due" not in run("today")
    at(monkeypatch, "2026-04-25T08:00:00+00:00")
    assert "Turn A and B: due now" in run("today")


def test_today_with_minutes_says_what_fits(locked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    at(monkeypatch, "2026-04-23T08:00:00+00:00")
    answer = json.loads(run("today", "--minutes", "20", "--json"))
    assert [(d["kind"], d["fits"]) for d in answer["due"]] == [("turn", False), ("round", True)]
    assert "one spot in every heap" in answer["due"][1]["why"]
    said = run("today", "--minutes", "20")
    assert "does not fit" in said


def test_today_ticks_samples_off(locked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    at(monkeypatch, "2026-04-18T18:00:00+00:00")
    moment = When.instant(datetime(2026, 4, 18, 15, tzinfo=UTC))
    with open_book() as book:
        book.add(
            [Sample(f"s{h}", "Ferncombe 2026", h, moment, "volume_m3", 1.2) for h in "ABCDEF"],
            now=moment.low,
        )
    answer = json.loads(run("today", "--json"))
    assert answer["due"][0]["parts"] == [
        "bucket density",
        "a moisture sample",
        "a photo with a scale",
    ]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("deal", "PLAN", "--loads", "2"), "cannot go into 6 heaps"),
        (("deal", "PLAN", "--scores", "20,5 30"), "decimal comma"),
        (("deal", "PLAN", "--scores", " "), "no score"),
        (("deal", "PLAN", "--scores", "1 2", "--scores-file", "x"), "given twice"),
        (("deal", "PLAN", "--scores-file", "missing.txt"), "cannot be read"),
        (("deal", "PLAN", "--next", "10 20"), "one score was expected"),
        (("deal", "PLAN", "--rule", "feel"), "no such rule"),
        (("deal", "nowhere.toml", "--loads", "12"), "no such file"),
        (("calendar", "nowhere.toml"), "no such file"),
        (("calendar", "Nowhere"), "there is no book yet"),
        (("calendar", "PLAN", "--ics", "/no/such/folder/x.ics"), "cannot be written"),
        (("today",), "there is no book yet"),
        (("today", "PLAN", "--minutes", "-3"), "minutes"),
    ],
)
def test_malformed_input_is_one_clear_message(plan: str, words: tuple[str, ...], said: str) -> None:
    found = run(*(plan if w == "PLAN" else w for w in words), code=2)
    assert said in found
    assert "\n" not in found


def test_a_trial_the_book_does_not_have(locked: str) -> None:
    said = run("calendar", "Fernycombe", code=2)
    assert "neither a plan file nor a trial" in said
    assert "Ferncombe 2026" in said
