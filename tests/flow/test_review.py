"""What a first reader stumbled over: each stumble is kept as a check."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tests.flow.commands import Command, dump
from tests.flow.invented import invented_book

from heapwright.domain.answers import read_answers
from heapwright.errors import HeapwrightError
from heapwright.services.conduct import what_else_differed
from heapwright.services.findings import find
from heapwright.services.plans import example_plan
from heapwright.services.record import load_record
from heapwright.store.book import Book

NOW = datetime(2026, 5, 7, 12, 0, tzinfo=UTC)

PAIR = """
[trial]
name = "{name}"
question = "Is turning hotter?"
starts = 2026-04-01
[outcome]
decides = "mean_excess_c"
window = "5-50 days"
ends = 2026-06-15
matters = "8 C"
control = "alone"
[[way]]
name = "turned"
kind = "turned"
first_after = "5 days"
every = "14 days"
[[way]]
name = "alone"
kind = "left alone"
[[heap]]
name = "{first}"
way = "alone"
built = 2026-04-01
[[heap]]
name = "B"
way = "turned"
built = 2026-04-10
[[spot]]
name = "core"
depth = "40 cm"
[[spot]]
name = "south"
depth = "20 cm"
"""


def _lock(
    command: Command, folder: Path, monkeypatch: pytest.MonkeyPatch, **names: str
) -> tuple[int, str]:
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-03-30T08:00:00+00:00")
    plan = folder / "pair.toml"
    text = PAIR.format(**{"name": "Two", "first": "A", **names}) + names.get("more", "")
    plan.write_text(text, encoding="utf-8")
    code, _, err = command("plan", "lock", str(plan))
    return code, err


@pytest.mark.parametrize("name", ["Ärger", "Ω trial", "Te Awa <b>", "堆肥"])
def test_a_trial_may_be_called_in_any_alphabet(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    code, err = _lock(command, tmp_path, monkeypatch, name=name, first="Öl")
    assert code == 0, err
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-04-12T08:00:00+00:00")
    assert command("log", "öl 52 48 B 41 40 air 12", "--trial", name.upper())[0] == 0
    code, out, err = command("history", "--heap", "ÖL", "--json")
    assert (code, err) == (0, "")
    assert len([e for e in json.loads(out) if e["kind"] == "reading"]) == 2


def test_current_entries_of_a_heap_whatever_its_case(tmp_path: Path) -> None:
    text = example_plan().replace('name = "A"', 'name = "Äpfel"').replace('"A", ', '"Äpfel", ')
    with Book(tmp_path / "b.sqlite") as book:
        plan = tmp_path / "plan.toml"
        plan.write_text(text, encoding="utf-8")
        from heapwright.services.log import log_round
        from heapwright.services.plans import lock_plan

        lock_plan(book, plan, now=NOW)
        log_round(book, None, "Äpfel 50 51 52 B 40 41 42 air 12", now=NOW)
        assert len(book.current("reading", "Ferncombe 2026", heap="ÄPFEL")) == 3


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        ('name = "Ferncombe 2026"', f'name = "{"x" * 500}"', "line 6"),
        ('name = "B"', 'name = "a"', "same name"),
        ('name = "B"', 'name = "air"', "means something else"),
        ('matters = "8 C"', 'matters = "0 C"', "line 16: matters"),
        ('spread = "4 C"', 'spread = "0 C"', "line 17: spread"),
        ('flow = "15 L/min"', 'flow = "4 gal/min"', "in Britain"),
    ],
)
def test_plans_that_would_go_wrong_later(
    command: Command, tmp_path: Path, before: str, after: str, said: str
) -> None:
    text = example_plan()
    assert before in text
    plan = tmp_path / "plan.toml"
    plan.write_text(text.replace(before, after).replace('"B", ', ""), encoding="utf-8")
    code, _, err = command("plan", "check", str(plan))
    assert code == 2
    assert said in err
    assert "\n" not in err.strip()


def test_units_and_a_latitude_as_they_are_said(command: Command, tmp_path: Path) -> None:
    text = example_plan().replace('"15 L/min"', '"4 US gal/min"')
    text = text.replace("latitude = 51.2", 'latitude = "41.3 S"')
    plan = tmp_path / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    code, _, err = command("plan", "check", str(plan))
    assert code == 0, err


def test_f_at_the_last_number_only_is_asked_about(command: Command, ferncombe: Path) -> None:
    line = ("log", "A 131 125 122F air 54F", "--when", "2026-04-20 07:00")
    before = dump(ferncombe)
    code, _, err = command(*line)
    assert code == 3
    assert "unit: some numbers of this line carry F" in err
    assert "A.core" not in err  # not doubtful any more once the unit is known
    assert dump(ferncombe) == before
    assert command(*line, "--answer", "unit=F")[0] == 0
    assert "'125'" in dump(ferncombe)


def test_an_empty_book_option_is_no_book(command: Command) -> None:
    code, _, err = command("history", "--book", "")
    assert code == 2
    assert "no path stands here" in err


def test_start_without_anything_says_how_to_answer(command: Command) -> None:
    code, _, err = command("start")
    assert code == 3
    assert "--what" in err
    assert "key=value" not in err


def test_start_does_not_advise_to_pool_what_is_plenty(command: Command, tmp_path: Path) -> None:
    out = str(tmp_path / "p.toml")
    code, said, _ = command("start", "300 m3 of chips, two heaps, 2 ft probe", "--out", out)
    assert code == 0
    assert "Two of 150 m3 each" in said
    assert "pool it" not in said
    assert "e+" not in said


@pytest.mark.parametrize(
    "what",
    [
        "a truckload of chips", "two loads of manure and a bale of straw", "4 tons of chips",
        "40 gallons of coffee grounds", "10 barrows of chips, 3 months ago",
    ],
)  # fmt: skip
def test_amounts_nobody_can_know_are_not_guessed(what: str) -> None:
    with pytest.raises(HeapwrightError):
        read_answers(what, now=NOW)


def test_every_amount_keeps_its_own_unit() -> None:
    told = read_answers(
        "5 cu yd arborist chips and 300 lb coffee grounds, two heaps, 3 weeks ago, 2 ft probe",
        now=NOW,
    )
    chips, coffee = told.ingredients
    assert chips.volume_m3 is not None
    assert chips.volume_m3.typical == pytest.approx(5 * 0.9144**3)
    assert coffee.name == "coffee grounds"
    assert coffee.mass_kg is not None
    assert coffee.mass_kg.typical == pytest.approx(300 * 0.45359237)
    assert told.made is not None
    assert told.made.isoformat() == "2026-04-16"
    assert told.probe_m == pytest.approx(0.6096)


def test_before_the_end_no_turn_to_come_is_called_missed(tmp_path: Path) -> None:
    with invented_book(tmp_path) as book:
        early = find(book, "Ferncombe 2026", now=datetime(2026, 4, 19, tzinfo=UTC), count=False)
        late = find(book, "Ferncombe 2026", now=datetime(2026, 7, 1, tzinfo=UTC), count=False)
    assert not [d for d in early.deviations if d.kind == "turn"]
    assert all("wrong" in d.kind or d.text for d in late.deviations)


def test_a_lost_heap_leaves_the_planned_finding_standing(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert _lock(command, tmp_path, monkeypatch)[0] == 0
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-07-01T08:00:00+00:00")
    sheet = tmp_path / "wide.csv"
    day = datetime(2026, 4, 2, 7)
    rows = []
    for k in range(24):
        when = day + timedelta(days=3 * k)
        b = f"{45 - k % 3},5;44,0" if when > datetime(2026, 4, 10) else ";"
        rows.append(f"{when:%d.%m.%Y %H:%M};{40 - k % 7},5;{38 - k % 5},0;{b};12,0")
    sheet.write_text(
        "Datum;A core;A south;B core;B south;air\n" + "\n".join(rows) + "\n", encoding="utf-8"
    )
    code, _, err = command("import", str(sheet), "--answer", "unit=C")
    assert code == 0, err  # the column "air" beside "Datum" is not asked about
    assert command("log", "event", "lost", "B", "--when", "2026-05-20")[0] == 0
    code, out, _ = command("findings")
    assert code == 0
    assert "to compare" not in out
    assert "so nothing can be compared as done" in out
    assert "were built 9 days later" in out
    assert "Until each was 5 days old, both heaps stayed" in out
    assert "About the readings: only same-hour air." in out
    assert "planned for day 47" not in out  # the heap was lost before


def test_missing_readings_are_said_once_and_plainly(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert _lock(command, tmp_path, monkeypatch)[0] == 0
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-07-01T08:00:00+00:00")
    code, out, _ = command("findings")
    assert code == 0
    assert "\nHeap A has no readings." in out
    assert "readings:" not in out.lower()


def test_times_of_another_age_are_refused(command: Command, ferncombe: Path) -> None:
    before = dump(ferncombe)
    code, _, err = command("log", "A 50 50 50 air 12", "--when", "1026-04-20 07:00")
    assert code == 2
    assert "so long ago" in err
    sheet = ferncombe.parent / "old.csv"
    sheet.write_text("time,heap,core\n1026-04-20 07:00,A,50\n", encoding="utf-8")
    code, _, err = command("import", str(sheet), "--answer", "unit=C")
    assert code == 2
    assert "so long ago" in err
    for slip in ("0001-01-01", "9999-12-31", "9999-12-31 24:00"):
        sheet.write_text(f"time,heap,core\n{slip},A,50\n", encoding="utf-8")
        code, _, err = command("import", str(sheet), "--answer", "unit=C")
        assert code == 2
        assert "line 2" in err
        assert "there is no such date" in err or "so long ago" in err
    assert dump(ferncombe) == before


def test_a_record_without_a_plan_has_a_short_name_too(command: Command, ferncombe: Path) -> None:
    before = dump(ferncombe)
    code, _, err = command("log", "A 50", "--trial", "x" * 200, "--new")
    assert code == 2
    assert "at most 80 letters" in err
    assert dump(ferncombe) == before


def test_one_heap_alone_is_not_called_incomplete(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-05-07T08:00:00+00:00")
    plan = str(tmp_path / "one.toml")
    assert command("start", "2 m3 of chips, one heap, all alike, today", "--out", plan)[0] == 0
    assert command("plan", "lock", plan)[0] == 0
    code, out, _ = command("findings")
    assert code == 0
    assert "One heap, so nothing is compared" in out
    page = tmp_path / "one.html"
    assert command("report", "--out", str(page))[0] == 0
    said = page.read_text(encoding="utf-8")
    assert "Nothing: no ways were named, so the heaps stand side by side." in said


def test_per_cent_is_not_suggested_twice(command: Command, ferncombe: Path) -> None:
    code, _, err = command("log", "sample", "A", "carbon", "145 %")
    assert code == 2
    assert "Per cent given" not in err


def test_one_value_that_cannot_be_is_one(command: Command, ferncombe: Path) -> None:
    sheet = ferncombe.parent / "hot.csv"
    sheet.write_text(
        "time,heap,core\n2026-04-20 07:00,A,50\n2026-04-21 07:00,A,500\n", encoding="utf-8"
    )
    code, _, err = command("import", str(sheet), "--answer", "unit=C")
    assert code == 3
    assert "1 value cannot be" in err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--heaps", "many"), "no number of heaps found"),
        (("--ways", "pyramid"), "no way of managing found"),
        (("--probe", "0 cm"), "some way into a heap"),
        (("1,000 litres of chips",), "Write 1000 or 1.000"),
    ],
)
def test_start_does_not_pass_over_what_it_cannot_read(
    command: Command, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    plan = tmp_path / "p.toml"
    code, _, err = command("start", *words, "--out", str(plan))
    assert code == 2
    assert said in err
    assert not plan.exists()


def test_start_names_small_and_single_heaps_plainly(command: Command, tmp_path: Path) -> None:
    code, said, _ = command("start", "3 pounds of chips", "--out", str(tmp_path / "a.toml"))
    assert code == 0
    assert "0.00-" not in said
    code, said, _ = command("start", "2 m3 of chips, one heap", "--out", str(tmp_path / "b.toml"))
    assert code == 0
    assert said.startswith("One heap of 2 m3 can stay warm.")
    assert "taking a barrow as" not in said  # no barrow was spoken of


def test_what_a_reader_should_know_has_a_title(tmp_path: Path, command: Command) -> None:
    with invented_book(tmp_path):
        pass
    book = ("--book", str(tmp_path / "b.sqlite"))
    code, out, _ = command("findings", *book)
    assert code == 0
    assert "\nTo know:\n  " in out


def test_heaps_built_apart_are_named_though_the_ways_are_level(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    more = _heap_at("C", "turned", "2026-04-01") + _heap_at("D", "alone", "2026-04-10")
    assert _lock(command, tmp_path, monkeypatch, more=more)[0] == 0
    with Book(tmp_path / "book.sqlite") as book:
        said = what_else_differed(load_record(book, "Two"), "turned", "alone")
    assert said[0] == "The heaps were built up to 9 days apart, on average at the same time."


def _heap_at(name: str, way: str, built: str) -> str:
    return f'[[heap]]\nname = "{name}"\nway = "{way}"\nbuilt = {built}\n'
