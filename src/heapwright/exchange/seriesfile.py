"""A measured series as a sheet: one row a time, one column a quantity, in the units of its headers.

Units: out come degrees C, mole fractions, wet basis, kg, m, m3 and shares of the first dry mass;
ages in days. Conventions: headers and layout are in docs/how-to/check-a-forecast.md; nothing is
asked: what could be read in two ways is refused with row and column. Times are ages of the heap, or
dates, which the caller turns into ages.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from heapwright.errors import HeapwrightError, TableError
from heapwright.exchange.seriescolumns import Column, columns_of
from heapwright.exchange.sheets import (
    Decimal,
    Sheet,
    is_gap,
    number_of,
    numbers_look,
    read_sheet,
)
from heapwright.exchange.sheettimes import Order, date_order, read_moment
from heapwright.units import parse, quantity

__all__ = ["Cell", "Series", "read_series"]

#: what an age is kept as, by quantity read
_KEY = {
    "temp_c": "temp_c", "o2": "o2_frac", "moisture_wb": "moisture_wb", "mass_kg": "mass_kg",
    "dry_kg": "dry_mass_kg", "loss": "dry_loss", "height_m": "length_m", "volume_m3": "volume_m3",
    "air_c": "air_temp_c",
}  # fmt: skip
#: wetter than this is all that rots: less is a fraction in a column of per cent (own choice)
_DRIEST = 0.02
_NOON = timedelta(hours=12)
_AT_A_SPOT = ("temp_c", "o2", "moisture_wb")


@dataclass(frozen=True, slots=True)
class Cell:
    """One number of a sheet: heap; spot ("" where none is named); day : age [d], or at : local
    time (naive or aware) when the sheet has dates; quantity : as in `inference.readings`, or
    ``loss`` (share of the first dry mass) or ``air_c``; value; where : file, line and column."""

    heap: str
    spot: str
    day: float | None
    at: datetime | None
    quantity: str
    value: float
    where: str


@dataclass(frozen=True, slots=True)
class Series:
    """All numbers of a sheet in the order of its rows; notes : what was skipped or left out."""

    name: str
    cells: tuple[Cell, ...]
    notes: tuple[str, ...]


def read_series(path: Path, places: Mapping[str, Sequence[str]]) -> Series:
    """The series in the sheet at *path*; places : names of the spots of every heap or vessel.

    Raises
    ------
    TableError
        No sheet, no column of times or values, a heap or spot that is not there, a cell that is no
        number or cannot be; with line and column.
    """
    sheet = read_sheet(path)
    spots = tuple(dict.fromkeys(s for mine in places.values() for s in mine))
    columns = columns_of(sheet, tuple(places), spots)
    return _Reader(sheet, columns, places).read()


class _Reader:
    """One pass over the rows of a sheet."""

    def __init__(
        self, sheet: Sheet, columns: Sequence[Column], places: Mapping[str, Sequence[str]]
    ) -> None:
        self.sheet, self.places = sheet, places
        self.time = next(c for c in columns if c.what in ("age", "date"))
        self.clock = next((c for c in columns if c.what == "clock"), None)
        self.heap = next((c for c in columns if c.what == "heap"), None)
        self.spot = next((c for c in columns if c.what == "spot"), None)
        self.values = [c for c in columns if c.what == "value"]
        self.ignored = [sheet.header[c.index] for c in columns if c.what == "ignore"]
        self.decimal = self._decimal()
        self.order: Order = self._order() if self.time.what == "date" else "day-first"

    def read(self) -> Series:
        cells: list[Cell] = []
        gaps = timeless = 0
        for row, texts in enumerate(self.sheet.rows):
            if is_gap(texts[self.time.index]):
                timeless += any(not is_gap(texts[c.index]) for c in self.values)
                continue
            day, at = self._when(row)
            for column in self.values:
                if is_gap(texts[column.index]):
                    gaps += 1
                    continue
                heaps, spot = self._place(row, column)
                value = self._value(row, column)
                where = self.sheet.where(row, column.index)
                cells += [Cell(h, spot, day, at, column.quantity, value, where) for h in heaps]
        if not cells:
            raise TableError(
                "all its values are missing", where=self.sheet.name,
                way_out="Fill in at least one column of values",
            )  # fmt: skip
        notes = []
        if self.ignored:
            notes.append(f"columns of {self.sheet.name} not used: {', '.join(self.ignored)}")
        if gaps:
            notes.append(f"{gaps} empty cell{'s' if gaps > 1 else ''} skipped")
        if timeless:
            notes.append(f"{timeless} row{'s' if timeless > 1 else ''} without a time left out")
        return Series(self.sheet.name, tuple(cells), tuple(notes))

    # --- rows ------------------------------------------------------------------------------------

    def _when(self, row: int) -> tuple[float | None, datetime | None]:
        text = self.sheet.rows[row][self.time.index]
        where = self.sheet.where(row, self.time.index)
        if self.time.what == "age":
            try:
                number, unit = number_of(text, self.decimal)
                age = f"{number!r} {unit}" if unit else number * self.time.factor
                return parse(age, "age_d", field="age").typical, None
            except HeapwrightError as error:
                way = error.way_out or "Write the age as a number, or name the column date"
                raise TableError(
                    error.what, where=where, field="cell", value=text, way_out=way
                ) from None
        if self.clock is not None and not is_gap(self.sheet.rows[row][self.clock.index]):
            text = f"{text} {self.sheet.rows[row][self.clock.index]}"
        try:
            moment = read_moment(text, self.order)
        except HeapwrightError as error:
            raise error.at(where, field="cell") from None
        return None, moment.at + _NOON if moment.whole_day else moment.at

    def _place(self, row: int, column: Column) -> tuple[tuple[str, ...], str]:
        """The heap of a cell (all of them for the air where none is named), and its spot."""
        heap = column.heap
        if not heap and self.heap is not None:
            heap = self._named(row, self.heap, tuple(self.places), "heap or vessel")
        if not heap and (len(self.places) == 1 or column.quantity == "air_c"):
            heaps = tuple(self.places)
        elif not heap:
            raise TableError(
                "nothing says which heap this was read in",
                where=self.sheet.where(row, column.index),
                way_out="Add a column heap with one of " + ", ".join(self.places),
            )  # fmt: skip
        else:
            heaps = (heap,)
        if column.quantity not in _AT_A_SPOT:
            return heaps, ""
        known = tuple(self.places[heaps[0]])
        spot = column.spot
        if not spot and self.spot is not None and not is_gap(
            self.sheet.rows[row][self.spot.index]
        ):  # fmt: skip
            spot = self._named(row, self.spot, known, "spot")
        if not spot and column.quantity == "temp_c" and len(known) == 1:
            spot = known[0]
        return heaps, spot

    def _named(self, row: int, column: Column, known: Sequence[str], what: str) -> str:
        text = self.sheet.rows[row][column.index].strip()
        found = next((k for k in known if k.lower() == text.lower()), None)
        if found is None:
            raise TableError(
                f"the plan has no such {what}", where=self.sheet.where(row, column.index),
                field="cell", value=text, way_out="It has " + ", ".join(known),
            )  # fmt: skip
        return found

    def _value(self, row: int, column: Column) -> float:
        text = self.sheet.rows[row][column.index]
        where = self.sheet.where(row, column.index)
        key = _KEY[column.quantity]
        try:
            number, mark = number_of(text, self.decimal)
        except HeapwrightError as error:
            raise error.at(where, field="cell") from None
        unit = mark or column.unit
        if not unit and not column.own:
            raise TableError(
                "nothing says in which unit this is", where=where, field="cell", value=text,
                way_out=f"Write the unit into the header, as in {column.example}",
            )  # fmt: skip
        try:
            if column.dry_basis:
                over = parse(f"{number!r} {unit}".strip(), "moisture_db").typical
                value = quantity(key).check(over / (1.0 + over))
            else:
                value = parse(f"{number!r} {unit}".strip(), key).typical
        except HeapwrightError as error:
            shown = f"{text} {column.unit}".strip() if not mark else text
            raise TableError(
                error.what, where=where, field="cell", value=shown, way_out=error.way_out
            ) from None
        if column.quantity == "moisture_wb" and value < _DRIEST:
            raise TableError(
                "nothing that rots is as dry", where=where, field="cell",
                value=f"{text} {unit}".strip(),
                way_out="Is it a fraction in a column of per cent? Then name the column "
                "moisture_wb, or write per cent",
            )  # fmt: skip
        if column.quantity in ("mass_kg", "dry_kg", "volume_m3") and value <= 0:
            raise TableError(
                "is above 0", where=where, field="cell", value=text, way_out="Leave it empty"
            )
        return value

    # --- the sheet as a whole --------------------------------------------------------------------

    def _decimal(self) -> Decimal:
        numeric = [c.index for c in self.values]
        numeric += [self.time.index] if self.time.what == "age" else []
        found = numbers_look(row[c] for row in self.sheet.rows for c in numeric)
        if found == "thousands":
            raise TableError(
                "a comma before three digits may part thousands or be a decimal comma",
                where=self.sheet.name, way_out="Write such numbers with a decimal point",
            )  # fmt: skip
        return "point" if found == "none" else found

    def _order(self) -> Order:
        found = date_order(row[self.time.index] for row in self.sheet.rows)
        if found in ("either", "contradiction"):
            raise TableError(
                "day and month of these dates cannot be told apart", where=self.sheet.name,
                field=self.sheet.header[self.time.index], way_out="Write dates as 2026-05-03",
            )  # fmt: skip
        return "month-first" if found == "month-first" else "day-first"
