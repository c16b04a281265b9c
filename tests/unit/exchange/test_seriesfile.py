"""A measured series as people write it: layouts that are understood, and what is refused where."""

from __future__ import annotations

from pathlib import Path

import pytest

from heapwright.errors import TableError
from heapwright.exchange.seriesfile import Series, read_series

TWO = {"A": ("core", "top"), "B": ("core",)}
ONE = {"V": ("core",)}


def _read(folder: Path, text: str, places: dict[str, tuple[str, ...]]) -> Series:
    path = folder / "series.csv"
    path.write_text(text, encoding="utf-8")
    return read_series(path, places)


def _told(made: Series) -> list[tuple[str, str, float | None, str, float]]:
    return [
        (c.heap, c.spot, None if c.day is None else round(c.day, 6), c.quantity, round(c.value, 6))
        for c in made.cells
    ]


@pytest.mark.parametrize(
    ("text", "quantity", "value"),
    [
        ("day,temp (C)\n1,20\n", "temp_c", 20.0),
        ("day,temp_f\n1,68\n", "temp_c", 20.0),
        ("day,temperature [°F]\n1,68\n", "temp_c", 20.0),
        ("day,temp\n1,68 F\n", "temp_c", 20.0),
        ("day;core (C)\n1;20,5\n", "temp_c", 20.5),
        ("day\ttemp_c\n1\t20\n", "temp_c", 20.0),
        ("hours,temp_c\n24,20\n", "temp_c", 20.0),
        ("time (h),temp_c\n24,20\n", "temp_c", 20.0),
        ("age (d),temp_c\n1,20\n", "temp_c", 20.0),
        ("day,oxygen (%)\n1,5\n", "o2", 0.05),
        ("day,o2_frac\n1,0.05\n", "o2", 0.05),
        ("day,moisture (%)\n1,55\n", "moisture_wb", 0.55),
        ("day,moisture_pct_wb\n1,55\n", "moisture_wb", 0.55),
        ("day,moisture (% db)\n1,150\n", "moisture_wb", 0.6),
        ("day,moisture_wb\n1,0.55\n", "moisture_wb", 0.55),
        ("day,mass (g)\n1,900\n", "mass_kg", 0.9),
        ("day,dry mass (kg)\n1,0.9\n", "dry_kg", 0.9),
        ("day,dry_mass_kg\n1,0.9\n", "dry_kg", 0.9),
        ("day,loss of dry matter (% of the first)\n1,4.1\n", "loss", 0.041),
        ("day,height (cm)\n1,90\n", "height_m", 0.9),
        ("day,volume (L)\n1,800\n", "volume_m3", 0.8),
    ],
)
def test_headers_that_are_understood(
    text: str, quantity: str, value: float, tmp_path: Path
) -> None:
    (cell,) = _read(tmp_path, text, ONE).cells
    assert (cell.heap, cell.quantity, cell.value) == ("V", quantity, pytest.approx(value))
    assert cell.day == pytest.approx(1.0)


def test_heaps_and_spots_beside_each_other_or_in_columns(tmp_path: Path) -> None:
    wide = _read(
        tmp_path, "day,A core (C),A top (C),B (C),air (C)\n0,20,21,22,10\n", TWO
    )  # fmt: skip
    assert _told(wide) == [
        ("A", "core", 0.0, "temp_c", 20.0), ("A", "top", 0.0, "temp_c", 21.0),
        ("B", "core", 0.0, "temp_c", 22.0), ("A", "", 0.0, "air_c", 10.0),
        ("B", "", 0.0, "air_c", 10.0),
    ]  # fmt: skip
    long = _read(
        tmp_path, "week,heap,spot,temp (C),oxygen (%)\n1,a,top,20,20.9\n1,B,,30,\n", TWO
    )  # fmt: skip
    assert _told(long) == [
        ("A", "top", 7.0, "temp_c", 20.0), ("A", "top", 7.0, "o2", 0.209),
        ("B", "core", 7.0, "temp_c", 30.0),
    ]  # fmt: skip
    assert long.notes == ("1 empty cell skipped",)


def test_a_temperature_without_a_spot_is_that_of_the_heap(tmp_path: Path) -> None:
    (cell,) = _read(tmp_path, "day,heap,temp (C)\n1,A,20\n", TWO).cells
    assert cell.spot == ""


def test_dates_and_clocks(tmp_path: Path) -> None:
    both = _read(tmp_path, "date,time,temp (C)\n2026-05-01,07:10,20\n2026-05-02,,21\n", ONE)
    assert [c.at and c.at.isoformat() for c in both.cells] == [
        "2026-05-01T07:10:00", "2026-05-02T12:00:00",
    ]  # fmt: skip


def test_columns_that_are_not_known_are_named_and_left_out(tmp_path: Path) -> None:
    made = _read(tmp_path, "day,bag,mood,temp (C)\n1,2,3,20\n,1,1,30\n", ONE)
    assert made.notes == (
        "columns of series.csv not used: bag, mood", "1 row without a time left out",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("day,temp (C)\n0,20\n1,140\n", ("line 3, column temp (C)", "140 C", "Write 140 F")),
        ("day,temp (C)\n0,hot\n", ("line 2, column temp (C)", "hot", "number was expected")),
        ("day,temp\n0,20\n", ("column temp", "unit", "temperature (C)")),
        ("day,moisture (%)\n0,0.55\n", ("column moisture (%)", "0.55 %", "fraction")),
        ("day,moisture_wb\n0,55\n", ("column moisture_wb", "Write 55 %")),
        ("day,oxygen (%)\n0,30\n", ("column oxygen (%)", "0 to 21 %")),
        ("day,mass (kg)\n0,0\n", ("column mass (kg)", "above 0")),
        ("day,mass (bushels)\n0,1\n", ("column mass (bushels)", "does not fit")),
        ("day,temp (C)\n-1,20\n", ("line 2, column day", "-1")),
        ("day,temp (C)\n2026-05-01,20\n", ("line 2, column day", "2026-05-01")),
        ("date,temp (C)\n3/5/2026,20\n", ("cannot be told apart", "2026-05-03")),
        ("date,temp (C)\nMay,20\n", ("line 2, column date", "no date")),
        ("temp (C),oxygen (%)\n1,2\n", ("no column says when", "day, hour or week")),
        ("day,week,temp_c\n1,1,2\n", ("day and week both say when",)),
        ("day,mood\n1,2\n", ("no column holds values", "day, mood")),
        ("day,temp_c,temp (C)\n1,2,3\n", ("temp_c and temp (C) hold the same",)),
        ("day;mass (kg)\n1;1,250\n", ("comma before three digits",)),
        ("day,temp_c\n1,\n", ("all its values are missing",)),
        ("day,heap,temp (C)\n0,Z,20\n", ("column heap", "no such heap", "It has V")),
        ("day,spot,temp (C)\n0,deep,20\n", ("column spot", "deep", "It has core")),
    ],
)
def test_what_cannot_be_is_refused_with_row_and_column(
    text: str, words: tuple[str, ...], tmp_path: Path
) -> None:
    with pytest.raises(TableError) as error:
        _read(tmp_path, text, ONE)
    for part in ("series.csv", *words):
        assert part in error.value.message


def test_a_reading_of_no_heap_is_refused(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="which heap"):
        _read(tmp_path, "day,temp (C)\n0,20\n", TWO)
