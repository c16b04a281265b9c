"""The rows of a sheet as drafts of entries: times, names, values; and what is doubtful in them.

Units: temperatures in degrees C, times in UTC; other values in the unit of their register row.
Conventions: a draft knows its row, so that every complaint names the line; gaps are counted.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from heapwright.domain.names import check_name
from heapwright.domain.when import When, check_year, local_zone
from heapwright.errors import HeapwrightError, TableError
from heapwright.exchange.roles import Role
from heapwright.exchange.sheets import is_gap, number_of
from heapwright.exchange.sheettimes import (
    Moment,
    exists_twice,
    never_exists,
    read_moment,
    to_utc,
    winter_time,
)
from heapwright.services.asking import Asker
from heapwright.services.doings import event_kind, sample_value
from heapwright.services.import_columns import Columns
from heapwright.services.log import to_celsius
from heapwright.services.yard import Yard
from heapwright.units import REGISTER

__all__ = ["Draft", "Rows", "read_rows"]


@dataclass(slots=True)
class Draft:
    """One entry to be: which kind, from which row and column, of what, when, how much."""

    kind: str
    row: int
    column: int
    when: When
    heap: str = ""
    spot: str = ""
    key: str = ""
    value: float = 0.0
    typed: str = ""
    unit: str = ""
    part: str = ""
    what: str = ""
    water_l: float | None = None
    minutes: float | None = None
    who: str = ""
    probe: str = ""
    method: str = ""
    note: str = ""
    ordinal: int = 0


@dataclass(slots=True)
class Rows:
    """Reads all rows of a sheet once its columns are understood."""

    columns: Columns
    yard: Yard
    asker: Asker
    now: datetime
    gaps: int = 0
    notes: list[str] = field(default_factory=list)
    drafts: list[Draft] = field(default_factory=list)
    _heaps: dict[str, str | None] = field(default_factory=dict)
    _spots: dict[str, str | None] = field(default_factory=dict)
    _whats: dict[str, str | None] = field(default_factory=dict)
    _times: dict[int, When] = field(default_factory=dict)

    # -- small helpers ----------------------------------------------------------------------------

    def cell(self, row: int, column: int | None) -> str:
        """The text of a cell, empty for no column or a gap."""
        if column is None:
            return ""
        text = self.columns.sheet.rows[row][column]
        return "" if is_gap(text) else text

    def wrong(self, error: HeapwrightError, row: int, column: int | None = None) -> TableError:
        """*error* at its place in the sheet."""
        sheet = self.columns.sheet
        return TableError(
            error.what,
            field=sheet.header[column] if column is not None else error.field,
            value=error.value,
            way_out=error.way_out,
            where=f"{sheet.name}, line {sheet.lines[row]}",
        )

    def number(self, row: int, column: int) -> tuple[float, str] | None:
        """Number and unit mark of a cell; None for a gap, which is counted."""
        text = self.cell(row, column)
        if not text:
            self.gaps += 1
            return None
        try:
            return number_of(text, self.columns.decimal)
        except TableError as error:
            raise self.wrong(error, row, column) from None

    # -- names ------------------------------------------------------------------------------------

    def heap(self, row: int) -> str | None:
        """The heap of a row; None when it is to be ignored."""
        columns = self.columns.heap_columns
        if not columns:
            return self._only_heap(row)
        name = "-".join(self.columns.sheet.rows[row][c] for c in columns)
        if is_gap(name):
            raise self.wrong(
                TableError("this row names no heap", way_out="Fill it in, or delete the row"),
                row, columns[0],
            )  # fmt: skip
        return self.named_heap(name, row, columns[0])

    def _only_heap(self, row: int) -> str | None:
        answer = self.asker.given("heap")
        if answer is None:
            self.asker.get(
                "heap",
                "which heap is this sheet about (or which columns name it, as revol+rep)?",
                self.yard.heaps,
            )
            return None
        return self.named_heap(answer, row, None)

    def named_heap(self, name: str, row: int, column: int | None) -> str | None:
        """The trial's heap for a name in the sheet."""
        if name in self._heaps:
            return self._heaps[name]
        found = next((h for h in self.yard.heaps if h.lower() == name.lower()), None)
        if found is None and self.yard.new and not self.yard.planned:
            try:
                found = check_name(name, field="heap")
            except HeapwrightError as error:
                raise self.wrong(error, row, column) from None
        if found is None and not self.yard.heaps:
            try:
                self.yard.heap(name)
            except HeapwrightError as error:
                raise self.wrong(error, row, column) from None
        if found is None:
            more = "" if self.yard.planned else " (add --new to take new heaps as they come)"
            answer = self.asker.get(
                f"heap.{name}",
                f"{self.yard.trial} has no heap {name}; which one is meant{more}?",
                (*self.yard.heaps, "ignore"),
            )
            found = None if answer in (None, "ignore") else answer
        self._heaps[name] = found
        return found

    def spot(self, name: str, row: int) -> str | None:
        """The trial's spot for a name in the sheet, or the one of the whole sheet."""
        if name in self._spots:
            return self._spots[name]
        known = self.yard.spot_names
        found: str | None
        if not name:
            if len(known) == 1:
                found = known[0]
            else:
                suggested = None if known else "core"
                found = self.asker.get(
                    "spot", "at which spot was this read?", known, suggested=suggested
                )
        else:
            found = next((s for s in known if s.lower() == name.lower()), None)
            if found is None and not known:
                found = name
            if found is None:
                answer = self.asker.get(
                    f"spot.{name}",
                    f"the plan has no spot {name}; which one is meant?",
                    (*known, "ignore"),
                )
                found = None if answer in (None, "ignore") else answer
        if found is not None and not known:
            try:
                check_name(found, field="spot")
            except HeapwrightError as error:
                raise self.wrong(error, row) from None
        self._spots[name] = found
        return found

    # -- times ------------------------------------------------------------------------------------

    def read_times(self) -> None:
        """Find the time of every row, asking about hours that come twice or never."""
        time, day = self.columns.column("time"), self.columns.column("date")
        rows = self.columns.rows
        if time is None and day is None:
            self._one_time(rows)
            return
        moments: dict[int, Moment | When] = {}
        for row in rows:
            moments[row] = self._moment(row, time, day)
        naive = {
            r: m.at
            for r, m in moments.items()
            if isinstance(m, Moment) and not m.whole_day and m.at.tzinfo is None
        }
        zone_name = self._zone(naive)
        zone = local_zone(zone_name)
        zone, missing = self._missing(naive, zone)
        folds = self._folds(naive, zone)
        for row, moment in moments.items():
            if row in missing or folds.get(row) == -1:
                continue
            if isinstance(moment, When):
                when = moment
            else:
                low = to_utc(moment.at, zone, fold=folds.get(row, 0))
                high = low
                if moment.whole_day:
                    high = to_utc(moment.at + timedelta(days=1), zone) - timedelta(seconds=1)
                when = When(low, high, self._typed_time(row, time, day))
            slack = timedelta(minutes=15) if zone_name else timedelta(hours=14)
            if when.low > self.now + slack:
                raise self.wrong(
                    TableError(
                        "this is still to come",
                        value=when.typed,
                        way_out="Check day, month and year; or answer dates=month-first",
                    ),
                    row,
                    time if time is not None else day,
                )
            self._times[row] = when
        if naive and not zone_name:
            self.notes.append("no time zone is known: clock times are kept as they stand")

    def _one_time(self, rows: Sequence[int]) -> None:
        answer = self.asker.get("when", "the sheet has no times; when was this?")
        if answer is None:
            when = When.instant(self.now)
        else:
            when = self.yard.when(answer, now=self.now)
        self._times = dict.fromkeys(rows, when)

    def _typed_time(self, row: int, time: int | None, day: int | None) -> str:
        clock = self.columns.column("clock") if day is not None else None
        text = self.cell(row, time if time is not None else day)
        return f"{text} {self.cell(row, clock)}".strip()

    def _moment(self, row: int, time: int | None, day: int | None) -> Moment | When:
        text = self._typed_time(row, time, day)
        column = time if time is not None else day
        if not text:
            raise self.wrong(
                TableError("this row has no time", way_out="Fill it in, or delete the row"),
                row, column,
            )  # fmt: skip
        try:
            moment = read_moment(text, self.columns.order)
        except TableError as error:
            if "no such date" in error.what:
                raise self.wrong(error, row, column) from None
            try:
                return self.yard.when(text, now=self.now)
            except HeapwrightError:
                raise self.wrong(error, row, column) from None
        try:
            check_year(moment.at, field="time", typed=text)
        except HeapwrightError as error:
            raise self.wrong(error, row, column) from None
        return moment

    def _zone(self, naive: dict[int, datetime]) -> str | None:
        """Name of the zone of the sheet's clock; None keeps the clock as it stands."""
        answer = self.asker.given("zone")
        if answer is not None and answer.lower() == "as-typed":
            return None
        if answer is not None:
            local_zone(answer)
            return answer
        if self.yard.zone_name:
            return self.yard.zone_name
        for rows in self._series(naive):
            for before, after in itertools.pairwise(rows):
                back = naive[before] - naive[after]
                if timedelta() < back <= timedelta(hours=1):
                    self.asker.get(
                        "zone",
                        f"the clock goes back in line {self.columns.sheet.lines[after]}; in which "
                        "time zone was it set (as Europe/London), or as-typed?",
                    )
                    return None
        return None

    def _series(self, naive: dict[int, datetime]) -> list[list[int]]:
        """Rows of one heap and spot, in order of time as the file has it."""
        keys = [
            c for c in (*self.columns.heap_columns, self.columns.column("spot")) if c is not None
        ]
        cells = self.columns.sheet.rows
        groups: dict[tuple[str, ...], list[int]] = {}
        for row in naive:
            groups.setdefault(tuple(cells[row][k] for k in keys), []).append(row)
        return [
            rows if naive[rows[0]] <= naive[rows[-1]] else rows[::-1] for rows in groups.values()
        ]

    def _folds(self, naive: dict[int, datetime], zone: tzinfo) -> dict[int, int]:
        """1 for rows in the second pass of a doubled hour, -1 for rows to leave out."""
        if zone is UTC:
            return {}
        doubled = {r for r, at in naive.items() if exists_twice(at, zone)}
        if not doubled:
            return {}
        second: set[int] = set()
        for rows in self._series(naive):
            last: datetime | None = None
            passed = False
            for row in rows:
                if row not in doubled:
                    last, passed = None, False
                    continue
                passed = passed or (last is not None and naive[row] <= last)
                last = naive[row]
                if passed:
                    second.add(row)
        if not second:
            self.notes.append(
                f"{len(doubled)} times fall into an hour that came twice; taken as its first pass"
            )
            return {}
        line = self.columns.sheet.lines[min(second)]
        answer = self.asker.get(
            "duplicated_hours",
            f"{len(second)} times come twice because the clock went back (from line {line}); keep "
            "both in the order of the file, or only the first or second pass?",
            ("both-kept", "first", "second"),
            suggested="both-kept",
        )
        if answer == "both-kept":
            self.notes.append(f"{len(second)} readings of a doubled hour kept as its second pass")
            return dict.fromkeys(second, 1)
        dropped = second if answer == "first" else doubled - second
        self.notes.append(f"{len(dropped)} rows of a doubled hour left out")
        return dict.fromkeys(dropped, -1) | dict.fromkeys(second - dropped, 1)

    def _missing(self, naive: dict[int, datetime], zone: tzinfo) -> tuple[tzinfo, set[int]]:
        """The clock to read by, and rows to leave out because their hour never was."""
        rows = [r for r, at in naive.items() if never_exists(at, zone)] if zone is not UTC else []
        if not rows:
            return zone, set()
        answer = self.asker.get(
            "missing_hours",
            f"{len(rows)} times never were, because clocks were put forward then (from line "
            f"{self.columns.sheet.lines[rows[0]]}); did this clock keep winter-time all year, was "
            "it put forward later, or skip them?",
            ("winter-time", "later", "skip"),
            suggested="winter-time",
        )
        if answer == "winter-time":
            self.notes.append("the clock of the sheet keeps winter time all year")
            return winter_time(zone, naive[rows[0]].year), set()
        if answer == "skip":
            self.notes.append(f"{len(rows)} rows of an hour that never was left out")
            return zone, set(rows)
        self.notes.append(f"{len(rows)} times of an hour that never was read as winter time")
        return zone, set()

    # -- values -----------------------------------------------------------------------------------

    def read_values(self) -> None:
        """Fill ``drafts`` from all rows that have a time."""
        build: Callable[[int, When], Iterable[Draft]] = {
            "readings": self._readings,
            "samples": self._samples,
            "batches": self._samples,
            "events": self._events,
            "air": self._air_only,
        }[self.columns.kind]
        self._check_kind()
        for row, when in self._times.items():
            self.drafts += build(row, when)

    def _check_kind(self) -> None:
        needed = {
            "readings": ("value", "reading"), "samples": ("quantity",), "batches": ("quantity",),
            "events": ("what",), "air": ("air", "value", "weather"),
        }[self.columns.kind]  # fmt: skip
        if not self.columns.columns(*needed):
            raise TableError(
                f"no column of the sheet holds {' or '.join(needed)}",
                where=self.columns.sheet.name,
                field="kind",
                value=self.columns.kind,
                way_out="Name it, as in --answer column.HEADER=" + needed[0],
            )

    def _temp(self, row: int, column: int, role: Role) -> tuple[float, str, str] | None:
        """Value [degrees C], text and unit of a temperature cell."""
        found = self.number(row, column)
        if found is None:
            return None
        number, mark = found
        typed = self.cell(row, column)
        own = self.columns.column("unit") if role.what in ("value", "reading") else None
        unit = mark or role.unit or self.cell(row, own) or self.columns.unit
        letter = unit.strip("° ").upper()[:1]
        if letter not in ("C", "F"):
            raise self.wrong(
                TableError("temperatures are in C or F", value=typed, way_out="Correct the unit"),
                row, column,
            )  # fmt: skip
        return to_celsius(number, letter), typed, letter

    def _more(self, row: int) -> dict[str, Any]:
        c = self.columns
        return {
            "who": self.cell(row, c.column("who")),
            "probe": self.cell(row, c.column("probe")),
            "note": self.cell(row, c.column("note")),
        }

    def _readings(self, row: int, when: When) -> list[Draft]:
        c = self.columns
        more = self._more(row)
        out: list[Draft] = []
        for column in c.columns("value", "reading"):
            role = c.roles[column]
            taken = self._temp(row, column, role)
            if taken is None:
                continue
            if role.what == "reading" and role.heap != "*":
                heap = self.named_heap(role.heap, row, column)
            else:
                heap = self.heap(row)
            spot_text = role.spot if role.what == "reading" else self.cell(row, c.column("spot"))
            spot = self.spot(spot_text, row)
            if heap is None or spot is None:
                continue
            value, typed, unit = taken
            out.append(
                Draft(
                    "reading", row, column, when, heap, spot, "temp_c", value, typed, unit, **more
                )
            )
        return out + self._air(row, when, ("air",)) + self._weather(row, when)

    def _air_only(self, row: int, when: When) -> list[Draft]:
        return self._air(row, when, ("air", "value")) + self._weather(row, when)

    def _air(self, row: int, when: When, roles: tuple[str, ...]) -> list[Draft]:
        out: list[Draft] = []
        for column in self.columns.columns(*roles):
            taken = self._temp(row, column, self.columns.roles[column])
            if taken is not None:
                value, typed, unit = taken
                out.append(
                    Draft(
                        "weather", row, column, when, key="air_temp_c", value=value, typed=typed,
                        unit=unit,
                    )
                )  # fmt: skip
        return out

    def _weather(self, row: int, when: When) -> list[Draft]:
        return [
            d for column in self.columns.columns("weather")
            if (d := self._quantity(row, column, when, "weather")) is not None
        ]  # fmt: skip

    def _quantity(self, row: int, column: int, when: When, kind: str) -> Draft | None:
        role = self.columns.roles[column]
        if REGISTER[role.key].unit == "degC":
            taken = self._temp(row, column, role)
            if taken is None:
                return None
            value, typed, unit = taken
        else:
            found = self.number(row, column)
            if found is None:
                return None
            number, mark = found
            unit = mark or ("" if role.unit == "1" else role.unit)
            typed = self.cell(row, column)
            try:
                value = self._converted(role.key, number, unit)
            except HeapwrightError as error:
                raise self.wrong(error, row, column) from None
        return Draft(
            kind, row, column, when, key=role.key, value=value, typed=typed, unit=unit,
            part=role.part or "whole",
        )  # fmt: skip

    def _converted(self, key: str, number: float, unit: str) -> float:
        basis = self.asker.given("basis") or ""
        return sample_value(key, repr(number), basis=basis, unit=unit or None)[0]

    def _samples(self, row: int, when: When) -> list[Draft]:
        heap = self.heap(row)
        out: list[Draft] = []
        for column in self.columns.columns("quantity"):
            draft = self._quantity(row, column, when, "sample")
            if draft is not None and heap is not None:
                draft.heap = heap
                draft.note = self.cell(row, self.columns.column("note"))
                draft.method = self.cell(row, self.columns.column("method")) or (
                    self.asker.given("method") or ""
                )
                out.append(draft)
        return out

    def _events(self, row: int, when: When) -> list[Draft]:
        c = self.columns
        column = c.column("what")
        words = self.cell(row, column)
        if not words:
            self.gaps += 1
            return []
        what = self._what(words)
        heaps: list[str | None]
        cell = self.cell(row, c.heap_columns[0]) if c.heap_columns else ""
        heaps = list(self.yard.heaps) if cell.lower() == "all" else [self.heap(row)]
        amounts: dict[str, float | None] = {"water_l": None, "minutes": None}
        typed: list[str] = []
        for role, key in (("litres", "water_l"), ("minutes", "minutes")):
            at = c.column(role)
            if at is None or not self.cell(row, at):
                continue
            number, mark = self.number(row, at) or (0.0, "")
            typed.append(f"{role} {self.cell(row, at)}")
            try:
                amounts[key] = self._converted(key, number, mark or c.roles[at].unit)
            except HeapwrightError as error:
                raise self.wrong(error, row, at) from None
        more = self._more(row)
        if what is None:
            return []
        if what == "note" and not more["note"]:
            more["note"] = words
        return [
            Draft(
                "event", row, column or 0, when, heap, what=what, typed=", ".join(typed),
                water_l=amounts["water_l"], minutes=amounts["minutes"], **more,
            )
            for heap in heaps
            if heap is not None
        ]  # fmt: skip

    def _what(self, words: str) -> str | None:
        if words not in self._whats:
            try:
                self._whats[words] = event_kind(words)
            except HeapwrightError:
                from heapwright.domain.entries import EVENT_KINDS

                answer = self.asker.get(
                    f"what.{words}", f"what was done when it says {words!r}?",
                    (*EVENT_KINDS, "ignore"),
                )  # fmt: skip
                self._whats[words] = None if answer in (None, "ignore") else answer
        return self._whats[words]


def read_rows(columns: Columns, yard: Yard, asker: Asker, *, now: datetime) -> Rows:
    """All rows of a sheet as drafts; open questions are noted with *asker*."""
    rows = Rows(columns, yard, asker, now)
    rows.read_times()
    rows.read_values()
    if columns.kind == "batches":
        doubles = Counter(d.key for d in rows.drafts if d.row == columns.rows[0])
        for draft in rows.drafts:
            if draft.part == "whole" and doubles[draft.key] > 1:
                draft.part = columns.sheet.header[draft.column].lower()
    return rows
