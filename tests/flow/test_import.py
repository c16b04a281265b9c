"""Importing people's own sheets and loggers: what is asked, what is written, and what is not."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from tests.flow.commands import Command, dump

from heapwright.errors import ConflictError, EntryError, QuestionError, TableError
from heapwright.services.importing import KEYS, Imported, import_sheet
from heapwright.services.plans import example_plan, lock_plan
from heapwright.store.book import Added, Book

TRIAL = "Ferncombe 2026"
DATA = Path(__file__).parents[1] / "data"


@pytest.fixture
def book(tmp_path: Path, now: datetime) -> Book:
    """A book on SQLite with the locked example plan (heaps A-F; core, south, north)."""
    return planned(str(tmp_path / "book.sqlite"), tmp_path, now)


def planned(url: str, folder: Path, now: datetime) -> Book:
    plan = folder / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    opened = Book(url)
    lock_plan(opened, plan, now=now - timedelta(days=75))
    return opened


class Sheets:
    """Writes a sheet and imports it."""

    def __init__(self, book: Book, folder: Path, now: datetime) -> None:
        self.book, self.folder, self.now = book, folder, now

    def __call__(
        self, text: str, answers: Mapping[str, str] | None = None, **more: bool
    ) -> Imported:
        path = self.folder / "sheet.csv"
        path.write_text(text, encoding="utf-8")
        return import_sheet(
            self.book, path, None, answers=answers or {}, now=self.now,
            dry_run=more.get("dry_run", False), ask_again=more.get("ask_again", False),
        )  # fmt: skip

    def asks(self, text: str, answers: Mapping[str, str] | None = None) -> dict[str, str | None]:
        """Keys and suggestions of the questions that come at once."""
        with pytest.raises(QuestionError) as caught:
            self(text, answers)
        return {q.key: q.default for q in caught.value.questions}

    def readings(self) -> list[tuple[str, str, str, float]]:
        return [
            (f"{r.when.low:%d %H:%M}", r.heap, r.spot, round(r.value, 2))
            for r in sorted(
                self.book.current("reading", TRIAL), key=lambda r: (r.when.low, r.heap, r.spot)
            )
        ]


@pytest.fixture
def sheets(book: Book, tmp_path: Path, now: datetime) -> Sheets:
    return Sheets(book, tmp_path, now)


# --- shapes --------------------------------------------------------------------------------------


def test_a_long_sheet_whose_headers_say_all_is_not_asked_about(sheets: Sheets) -> None:
    done = sheets(
        "Time;Heap;Spot;Temp (°C);Air (°C);Reader\n"
        "2026-05-01 07:10;A;core;52,5;11;Ada\n"
        "2026-05-01 07:10;a;South;48;11;Ada\n"
        "2026-05-04 07:00;B;core;NA;9,5;Bo\n"
    )
    assert (done.added, done.kind) == (Added(new=4), "readings")
    assert sheets.readings() == [("01 06:10", "A", "core", 52.5), ("01 06:10", "A", "south", 48)]
    reading = next(r for r in sheets.book.current("reading", TRIAL) if r.spot == "core")
    assert (reading.typed, reading.typed_unit, reading.reader) == ("52,5", "C", "Ada")
    assert (reading.depth_m, reading.trail.source) == (0.5, "import sheet.csv")
    air = sheets.book.current("weather", TRIAL)
    assert [(w.value, w.source) for w in air] == [(11, "round"), (9.5, "round")]
    assert "1 empty cells skipped" in done.notes


def test_a_wide_sheet_by_heap_and_spot(sheets: Sheets) -> None:
    done = sheets(
        "date,time,A core (F),A south (F),B core (F),air (F)\n"
        "13/5/2026,7:10 AM,131,122,-,50\n14/5/2026,7:10 AM,133.2,x,120,52\n"
    )
    assert done.added.new == 6
    assert sheets.readings() == [
        ("13 06:10", "A", "core", 55), ("13 06:10", "A", "south", 50),
        ("14 06:10", "A", "core", 56.22), ("14 06:10", "B", "core", 48.89),
    ]  # fmt: skip


def test_spots_beside_a_column_of_heaps_and_units_in_the_cells(sheets: Sheets) -> None:
    sheets("time,heap,core,south\n2026-05-01 07:10,A,131F,50 C\n")
    assert sheets.readings() == [
        ("01 06:10", "A", "core", 55), ("01 06:10", "A", "south", 50),
    ]  # fmt: skip


def test_a_logger_of_one_heap_asks_for_kind_heap_spot_and_unit(sheets: Sheets) -> None:
    text = (
        "Logger: north\ntimestamp,temperature\n"
        "2026-05-01T07:10:00Z,52.1\n2026-05-01T07:20:00Z,52.2\n"
    )
    assert sheets.asks(text) == {"kind": "readings", "unit": "C", "heap": None, "spot": None}
    answers = {"kind": "readings", "unit": "C", "heap": "A", "spot": "core"}
    assert sheets(text, answers).added.new == 2
    assert sheets.readings()[0] == ("01 07:10", "A", "core", 52.1)
    # layout is remembered, the heap of the logger is not: the next logger stands elsewhere
    assert set(sheets.asks(text)) == {"heap", "spot"}
    again = sheets(text, {"heap": "A", "spot": "core"})
    assert again.added == Added(known=2)
    assert again.reused["unit"] == "C"
    assert any("Answered as last time for this header" in line for line in again.lines())


def test_an_event_sheet_with_its_own_words(sheets: Sheets) -> None:
    text = (
        "time,heap,what,litres,minutes,who\n"
        "2026-05-01 09:00,A,turned,,20,Ada\n"
        "about 3 May 2026,B,Watering,30,,Bo\n"
        "2026-05-04,all,fluffed up,,,\n"
    )
    assert sheets.asks(text) == {"what.fluffed up": None}
    done = sheets(text, {"what.fluffed up": "note"})
    assert done.added.new == 8
    events = sheets.book.current("event", TRIAL)
    done_to = {(e.heap, e.what): (e.water_l, e.minutes, e.who) for e in events}
    assert done_to["A", "turned"] == (None, 20, "Ada")
    assert done_to["B", "watered"] == (30, None, "Bo")
    watering = next(e for e in events if e.what == "watered")
    assert not watering.when.exact
    assert sum(e.what == "note" and e.note == "fluffed up" for e in events) == 6


def test_a_sample_sheet_with_units_and_dry_basis(sheets: Sheets) -> None:
    text = "heap,carbon (%),moisture (%),height (cm)\nA,24.5,100,95\nB,22,50,\n"
    assert set(sheets.asks(text)) == {"when", "column.moisture (%)", "column.height (cm)"}
    done = sheets(text, {"when": "1 July", "columns": "suggested", "basis": "dry"})
    assert done.added.new == 5
    got = {(s.heap, s.quantity): s.value for s in sheets.book.current("sample", TRIAL)}
    assert got[("A", "carbon_dm")] == pytest.approx(0.245)
    assert got[("A", "moisture_wb")] == pytest.approx(0.5)
    assert got[("B", "moisture_wb")] == pytest.approx(1 / 3)
    assert got[("A", "length_m")] == pytest.approx(0.95)


def test_shares_without_a_unit_are_asked_about(sheets: Sheets) -> None:
    text = "heap,c\nA,24.5\n"
    answers = {"when": "1 July", "column.c": "carbon_dm"}
    assert sheets.asks(text, answers) == {"column.c": "carbon_dm:%"}
    sheets(text, answers | {"column.c": "carbon_dm:%"})
    assert sheets.book.current("sample", TRIAL)[0].value == pytest.approx(0.245)


def test_air_and_weather_from_a_logger(sheets: Sheets) -> None:
    rows = "".join(f"2026-05-01 {h:02d}:00,{10 + h / 10},{h % 3}\n" for h in range(8))
    done = sheets("time,air (C),rain (mm)\n" + rows)
    assert (done.kind, done.added.new) == ("air", 16)
    weather = sheets.book.current("weather", TRIAL)
    assert {(w.quantity, w.source) for w in weather} == {
        ("air_temp_c", "logger"), ("rain_mm", "logger"),
    }  # fmt: skip


# --- numbers, dates, clocks ----------------------------------------------------------------------


def test_mixed_decimals_are_asked_about(sheets: Sheets) -> None:
    text = 'time,heap,spot,temp (C)\n2026-05-01,A,core,"52,5"\n2026-05-02,A,core,51.5\n'
    assert sheets.asks(text) == {"decimal": "mixed"}
    with pytest.raises(TableError, match=r"line 3: temp \(C\) = '51.5': no number with a decimal"):
        sheets(text, {"decimal": "comma"})
    sheets(text, {"decimal": "mixed"})
    assert [r[3] for r in sheets.readings()] == [52.5, 51.5]


def test_day_or_month_first(sheets: Sheets) -> None:
    text = "time,heap,spot,temp (C)\n3/5/2026 07:10,A,core,52\n4/5/2026 07:10,A,core,53\n"
    assert sheets.asks(text) == {"dates": None}
    sheets(text, {"dates": "month-first"})
    assert [f"{r.when.low:%m-%d}" for r in sheets.book.current("reading", TRIAL)] == [
        "03-05", "04-05",
    ]  # fmt: skip
    with pytest.raises(TableError, match="some dates have the day first"):
        sheets("time,heap,spot,temp (C)\n13/5/2026,A,core,52\n4/15/2026,A,core,53\n")


def test_an_hour_that_comes_twice_is_resolved_in_the_order_of_the_file(sheets: Sheets) -> None:
    head = "time,heap,spot,temp (C)\n"
    clock = ["00:30", "01:00", "01:30", "01:00", "01:30", "02:00"]
    text = head + "".join(f"2025-10-26 {t},A,core,{50 + i}\n" for i, t in enumerate(clock))
    assert sheets.asks(text) == {"duplicated_hours": "both-kept"}
    done = sheets(text, {"duplicated_hours": "both-kept"})
    assert done.added.new == 6
    assert sheets.readings() == [
        ("25 23:30", "A", "core", 50), ("26 00:00", "A", "core", 51), ("26 00:30", "A", "core", 52),
        ("26 01:00", "A", "core", 53), ("26 01:30", "A", "core", 54), ("26 02:00", "A", "core", 55),
    ]  # fmt: skip


@pytest.mark.parametrize(("answer", "kept"), [("first", [50, 51, 52]), ("second", [50, 53, 52])])
def test_or_only_one_pass_is_kept(answer: str, kept: list[float], sheets: Sheets) -> None:
    clock = [("00:30", 50), ("01:30", 51), ("01:30", 53), ("02:00", 52)]
    text = "time,heap,spot,temp (C)\n" + "".join(f"2025-10-26 {t},A,core,{v}\n" for t, v in clock)
    sheets(text, {"duplicated_hours": answer})
    assert [r[3] for r in sheets.readings()] == kept


def test_a_clock_that_goes_back_without_a_known_zone_asks_for_it(
    tmp_path: Path, now: datetime
) -> None:
    plan = tmp_path / "p.toml"
    plan.write_text(example_plan().replace('time_zone = "Europe/London"\n', ""), encoding="utf-8")
    with Book(tmp_path / "b.sqlite") as book:
        lock_plan(book, plan, now=now)
        sheets = Sheets(book, tmp_path, now)
        text = "time,heap,spot,temp (C)\n" + "".join(
            f"2025-11-02 {t},A,core,{v}\n"
            for t, v in [("00:30", 50), ("01:30", 51), ("01:00", 52), ("01:30", 53)]
        )
        assert set(sheets.asks(text)) == {"zone", "same_time"}
        answers = {"zone": "America/Denver", "duplicated_hours": "both-kept"}
        sheets(text, answers)
        assert [r[0] for r in sheets.readings()] == ["02 06:30", "02 07:30", "02 08:00", "02 08:30"]


def test_an_hour_that_never_was(sheets: Sheets) -> None:
    text = "time,heap,spot,temp (C)\n" + "".join(
        f"2026-03-29 {t},A,core,{v}\n" for t, v in [("00:30", 50), ("01:30", 51), ("02:30", 52)]
    )
    assert sheets.asks(text) == {"missing_hours": "winter-time"}
    assert sheets(text, {"missing_hours": "skip"}, dry_run=True).added.new == 2
    sheets(text, {"missing_hours": "winter-time"})
    assert [r[0] for r in sheets.readings()] == ["29 00:30", "29 01:30", "29 02:30"]


# --- doubts --------------------------------------------------------------------------------------


def test_what_probes_show_when_they_fail_is_asked_about_with_its_line(sheets: Sheets) -> None:
    temps = ["40.5", "85", "-127", "41", "9999", "131", "82", "42"]
    text = "time,heap,spot,temp (C)\n" + "".join(
        f"2026-05-01 {7 + i:02d}:00,A,core,{t}\n" for i, t in enumerate(temps)
    )
    with pytest.raises(QuestionError) as caught:
        sheets(text)
    asked = {q.key: q.text for q in caught.value.questions}
    assert set(asked) == {"out_of_range", "power_on", "hot"}
    assert (
        "line 4 temp (C) -127, line 6 temp (C) 9999, line 7 temp (C) 131" in asked["out_of_range"]
    )
    assert "line 3 temp (C) 85" in asked["power_on"]
    assert "line 8 temp (C) 82" in asked["hot"]
    answers = {"out_of_range": "F", "power_on": "skip", "hot": "keep"}
    done = sheets(text, answers)
    assert [r[3] for r in sheets.readings()] == [40.5, 41, 55, 82, 42]
    assert any(n.startswith("2 values that cannot be left out: line 4") for n in done.notes)


def test_two_values_for_one_time(sheets: Sheets) -> None:
    text = "time,heap,spot,temp (C)\n" + "2026-05-01 07:00,A,core,50\n2026-05-01 07:00,A,core,52\n"
    assert sheets.asks(text) == {"same_time": "both-kept"}
    assert sheets(text, {"same_time": "last"}, dry_run=True).added.new == 1
    assert sheets(text, {"same_time": "both-kept"}).added.new == 2
    assert sheets(text, {"same_time": "both-kept"}).added == Added(known=2)


def test_names_that_the_plan_does_not_have_are_asked_about(sheets: Sheets) -> None:
    text = "time,heap,spot,temp (C)\n2026-05-01,Heap 1,middle,50\n2026-05-01,Z,core,52\n"
    assert set(sheets.asks(text)) == {"heap.Heap 1", "heap.Z", "spot.middle"}
    sheets(text, {"heap.Heap 1": "a", "heap.Z": "ignore", "spot.middle": "core"})
    assert [r[1:] for r in sheets.readings()] == [("A", "core", 50)]


# --- all or nothing, twice, dry ------------------------------------------------------------------


def test_a_second_import_adds_nothing_on_either_database(
    book_url: str, tmp_path: Path, now: datetime
) -> None:
    with planned(book_url, tmp_path, now) as book:
        sheets = Sheets(book, tmp_path, now)
        rows = [f"2026-05-{d:02d} 07:00,{h},core,{40 + d}\n" for d in range(1, 29) for h in "ABC"]
        text = "time,heap,spot,temp (C)\n" + "".join(rows)
        assert sheets(text).added == Added(new=84)
        assert sheets(text).added == Added(known=84)
        assert sheets(text + "2026-05-29 07:00,A,core,50\n").added == Added(new=1, known=84)
        with pytest.raises(ConflictError, match=r"line 2: temp \(C\) = 99"):
            sheets(text.replace(",A,core,41\n", ",A,core,41.5\n").replace("41.5", "99 F"))
        assert len(book.current("reading", TRIAL)) == 85


def test_a_dry_run_writes_nothing(ferncombe: Path, tmp_path: Path, command: Command) -> None:
    path = tmp_path / "s.csv"
    path.write_text("time,heap,spot,temp (C)\n2026-05-01 07:00,A,core,50\n")
    before = dump(ferncombe)
    code, out, _ = command("import", str(path), "--dry-run")
    assert code == 0
    assert "Dry run, nothing was written; it would be: 1 new, 0 already there." in out
    assert dump(ferncombe) == before
    assert command("import", str(path))[0] == 0
    _, out, _ = command("import", str(path))
    assert out.endswith("0 new, 1 already there.\n")
    _, out, _ = command("import", str(path), "--json")
    assert (json.loads(out)["new"], json.loads(out)["known"]) == (0, 1)


def test_all_rows_or_none_when_row_19999_is_bad(
    ferncombe: Path, tmp_path: Path, command: Command
) -> None:
    start = datetime(2025, 11, 1, tzinfo=UTC)
    rows = [
        f"{start + timedelta(minutes=10 * i):%Y-%m-%dT%H:%MZ},50.{i % 10}" for i in range(20000)
    ]
    rows[19998] = rows[19998].split(",")[0] + ",fifty"
    path = tmp_path / "logger.csv"
    path.write_text("time,A core (C)\n" + "\n".join(rows) + "\n")
    before = dump(ferncombe)
    code, out, err = command("import", str(path))
    assert (code, out) == (2, "")
    assert err == (
        "heapwright: logger.csv, line 20000: A core (C) = 'fifty': a number was expected. "
        "Correct it, or leave the cell empty.\n"
    )
    assert dump(ferncombe) == before


def test_all_questions_come_at_once_and_nothing_is_written(
    ferncombe: Path, tmp_path: Path, command: Command
) -> None:
    path = tmp_path / "s.csv"
    path.write_text('time,heap,spot,temp\n3/5/2026,Z,core,"52,5"\n4/5/2026,A,core,51.5\n')
    before = dump(ferncombe)
    code, out, err = command("import", str(path))
    assert (code, out) == (3, "")
    assert "nothing was written; 4 questions first" in err
    for key in ("heap.Z", "decimal", "dates", "unit"):
        assert f"\n  {key}: " in err
    assert dump(ferncombe) == before


def test_answers_that_nothing_asks_for_are_mistyped(sheets: Sheets) -> None:
    text = "time,heap,spot,temp (C)\n2026-05-01,A,core,50\n"
    with pytest.raises(EntryError, match="Did you mean decimal"):
        sheets(text, {"decimals": "comma"})
    with pytest.raises(TableError, match="no such column"):
        sheets(text, {"column.tmp": "value"})
    with pytest.raises(EntryError, match="none of the answers"):
        sheets(text, {"decimal": "full stop"})
    assert sheets.readings() == []


# --- real data -----------------------------------------------------------------------------------


def test_the_88_batches_with_mixed_decimals_and_shared_yields(
    tmp_path: Path, command: Command, now: datetime
) -> None:
    file = str(DATA / "lytras2024_island_88batches.csv")
    code, out, err = command("import", file, "--trial", "Island", "--new")
    assert (code, out) == (3, "")
    assert "decimal: decimal commas and points stand in one sheet (10,8 in line 2, 313.4" in err
    assert "pairs: 11 groups of batches have exactly the same yield (1+2, 3+4, 5+6, 7+8" in err
    words = [
        "import", file, "--trial", "Island", "--new", "--when", "2015-06-01",
        "--answer", "kind=batches", "--answer", "columns=suggested", "--answer", "decimal=mixed",
        "--answer", "unit=C", "--answer", "pairs=not-independent",
    ]  # fmt: skip
    code, out, err = command(*words)
    assert (code, err) == (0, "")
    assert "968 samples for Island" in out
    assert "Not independent, each group shares one yield: 1+2, 3+4" in out
    with Book(tmp_path / "book.sqlite") as book:
        samples = book.current("sample", "Island")
        noted = {s.heap for s in samples if s.note}
        assert noted == {str(k) for k in range(1, 21)} | {"26", "28"}
        one = {s.part: s for s in samples if s.heap == "3"}
        assert one["compost crude"].value == 151.5
        assert one["compost crude"].note == "shares its yield with batch 4: not independent"
        assert one["ambient temperature"].value == 13.4
        assert one["max temperature"].quantity == "temp_c"
        assert len({s.heap for s in samples}) == 88
    code, out, _ = command(
        "import", file, "--when", "2015-06-01", "--answer", "pairs=not-independent"
    )
    assert code == 0
    assert "Answered as last time for this header: kind=batches, decimal=mixed, unit=C." in out
    assert out.endswith("0 new, 968 already there.\n")


def test_the_coffee_husk_trial_without_manure(tmp_path: Path, command: Command) -> None:
    assert command("plan", "lock", str(DATA / "coffee_husk_plan.toml"))[0] == 0
    code, out, err = command(
        "import", str(DATA / "expdes_ex4_turning_interval_x_manure.csv"),
        "--where", "esterco=sem", "--when", "2010-01-01", "--answer", "heap=revol+rep",
        "--answer", "column.c=carbon_dm:%", "--answer", "column.n=nitrogen_dm:%",
        "--answer", "columns=named",
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert "12 rows left out by --where." in out
    assert out.endswith("24 new, 0 already there.\n")
    with Book(tmp_path / "book.sqlite") as book:
        got = {(s.heap, s.quantity): s.value for s in book.current("sample", "Coffee husk")}
    assert got[("5-1", "carbon_dm")] == pytest.approx(0.33)
    assert got[("10-2", "nitrogen_dm")] == pytest.approx(0.0096)
    assert got[("20-3", "carbon_dm")] == pytest.approx(0.33)
    assert len(got) == 24


def test_every_answer_key_stands_in_the_how_to() -> None:
    page = Path(__file__).parents[2] / "docs" / "how-to" / "import-your-sheets.md"
    text = page.read_text(encoding="utf-8")
    assert [k for k in KEYS if f"`{k}`" not in text] == []
