"""Sheets as text: encodings, delimiters, headers, numbers, dates and clocks."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from heapwright.errors import TableError
from heapwright.exchange.roles import guess_role, parse_role
from heapwright.exchange.sheets import number_of, numbers_look, read_sheet
from heapwright.exchange.sheettimes import (
    date_order,
    exists_twice,
    never_exists,
    read_moment,
    to_utc,
)

LONDON = ZoneInfo("Europe/London")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
def test_delimiters_and_encodings(delimiter: str, encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    rows = [["time", "heap", "temp (°C)"], ["2026-05-01 07:10", "Süd", "52.5"]]
    path.write_bytes("\r\n".join(delimiter.join(r) for r in rows).encode(encoding))
    sheet = read_sheet(path)
    assert sheet.header == ("time", "heap", "temp (°C)")
    assert sheet.rows == (("2026-05-01 07:10", "Süd", "52.5"),)
    assert sheet.lines == (2,)


def test_a_semicolon_beats_decimal_commas(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("time;A;B\n2026-05-01;52,5;48,1\n2026-05-02;51,5;47,1\n")
    assert read_sheet(path).rows[1] == ("2026-05-02", "51,5", "47,1")


def test_what_a_logger_says_of_itself_is_skipped(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    path.write_text("Logger, north shed\nSerial,77\n\ntime,a,b,air\n2026-05-01,1,2,3\n")
    sheet = read_sheet(path)
    assert (sheet.header, sheet.skipped, sheet.lines) == (("time", "a", "b", "air"), 2, (5,))


def test_the_fingerprint_is_of_the_header_alone(tmp_path: Path) -> None:
    one, two, three = tmp_path / "1.csv", tmp_path / "2.csv", tmp_path / "3.csv"
    one.write_text("time,core\n2026-05-01,52\n")
    two.write_text("Time;Core\n2026-05-02;53\n2026-05-03;54\n")
    three.write_text("time,edge\n2026-05-01,52\n")
    assert read_sheet(one).fingerprint == read_sheet(two).fingerprint
    assert read_sheet(one).fingerprint != read_sheet(three).fingerprint


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\x00\x01\x02PK", "no text file"),
        (b"time\n2026\n", "only one column"),
        (b"time,heap\n", "no row below it"),
        (b"time,,heap\n1,2,3\n", "no header"),
        (b"time,heap,HEAP\n1,2,3\n", "same header"),
        (b"1,2,3\n4,5,6\n", "holds numbers"),
        (b'time,heap\n2026,"A\n', "quotation marks"),
        (b"time,heap\n1,2\n1,2\n1,2,3\n", "3 cells where the header has 2"),
    ],
)
def test_files_that_are_no_sheet(content: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    with pytest.raises(TableError) as caught:
        read_sheet(path)
    assert words in caught.value.message
    assert "bad.csv" in caught.value.message


@pytest.mark.parametrize(
    ("cell", "decimal", "number"),
    [
        ("52", "point", 52), ("52.5", "point", 52.5), ("1,250.5", "point", 1250.5),
        ("1,250", "point", 1250), ("52,5", "comma", 52.5), ("1.250,5", "comma", 1250.5),
        ("1.250", "comma", 1250), ("10,8", "mixed", 10.8), ("313.4", "mixed", 313.4),
        ("-3", "comma", -3), ("−3,5", "comma", -3.5), (".5", "point", 0.5),
        ("1 250,5", "comma", 1250.5), ("1e2", "point", 100),
    ],
)  # fmt: skip
def test_numbers(cell: str, decimal: str, number: float) -> None:
    assert number_of(cell, decimal) == (number, "")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("cell", "decimal"),
    [("50.5", "comma"), ("50,5", "point"), ("abc", "mixed"), ("1.2.3", "mixed"), ("inf", "point")],
)
def test_what_is_no_number(cell: str, decimal: str) -> None:
    with pytest.raises(TableError):
        number_of(cell, decimal)  # type: ignore[arg-type]


def test_how_decimals_look() -> None:
    assert numbers_look(["10,8", "313.4"]) == "mixed"
    assert numbers_look(["1.250,5", "10,8"]) == "comma"
    assert numbers_look(["1,250", "3,100"]) == "thousands"
    assert numbers_look(["52", "NA"]) == "none"


@pytest.mark.parametrize(
    ("cell", "iso"),
    [
        ("2026-05-03 07:10", "2026-05-03T07:10:00"),
        ("3/5/2026 7:10 pm", "2026-05-03T19:10:00"),
        ("03.05.26 07:10:30", "2026-05-03T07:10:30"),
        ("3 May 2026, 7:10", "2026-05-03T07:10:00"),
        ("May 3, 2026 12:05 AM", "2026-05-03T00:05:00"),
        ("2026-05-03 24:00", "2026-05-04T00:00:00"),
        ("2026-05-03T07:10:00Z", "2026-05-03T07:10:00+00:00"),
        ("2026/05/03 07:10+0100", "2026-05-03T07:10:00+01:00"),
    ],
)
def test_times(cell: str, iso: str) -> None:
    assert read_moment(cell, "day-first").at.isoformat() == iso


@pytest.mark.parametrize(
    "cell", ["2026-02-30 07:10", "3/5/2026 25:00", "13:00 pm", "soon", "31/4/26"]
)
def test_times_that_are_none(cell: str) -> None:
    with pytest.raises(TableError):
        read_moment(cell, "day-first")


def test_order_of_day_and_month() -> None:
    assert date_order(["3/5/2026", "13/5/2026"]) == "day-first"
    assert date_order(["3/5/2026", "5/13/2026"]) == "month-first"
    assert date_order(["13/5/2026", "5/13/2026"]) == "contradiction"
    assert date_order(["3/5/2026", "2026-05-13"]) == "either"
    assert date_order(["4/4/2026", "3.5.2026"]) == "clear"


def test_hours_that_come_twice_or_never() -> None:
    autumn, spring = datetime(2025, 10, 26, 1, 30), datetime(2026, 3, 29, 1, 30)
    assert exists_twice(autumn, LONDON)
    assert not exists_twice(autumn.replace(hour=2), LONDON)
    assert never_exists(spring, LONDON)
    assert not never_exists(spring.replace(hour=2), LONDON)
    assert to_utc(autumn, LONDON) == datetime(2025, 10, 26, 0, 30, tzinfo=UTC)
    assert to_utc(autumn, LONDON, fold=1) == datetime(2025, 10, 26, 1, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("header", "role", "sure"),
    [
        ("Time", "time", True), ("Heap", "heap", True), ("temp (°F)", "value:F", True),
        ("A core", "reading:A/core", True), ("core", "reading:*/core", True),
        ("heap_B_south [C]", "reading:B/south:C", True), ("ambient temp", "air", True),
        ("n", "nitrogen_dm:%", False), ("Carbon (%)", "carbon_dm:%", True),
        ("Leaf Feed", "mass_kg:kg@leaf feed", False), ("zn", "ignore", False),
        ("rain (mm)", "weather:rain_mm:mm", True),
    ],
)  # fmt: skip
def test_roles_from_headers(header: str, role: str, sure: bool) -> None:
    guess = guess_role(header, heaps=["A", "B"], spots=["core", "south"], timed=True, dated=False)
    assert (str(guess.role), guess.sure) == (role, sure)
    assert str(parse_role(role, column=header)) == role


def test_a_role_that_is_none() -> None:
    with pytest.raises(TableError, match=r"column\.c = coal: this is no role"):
        parse_role("coal", column="c")
