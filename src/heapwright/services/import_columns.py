"""The questions an import asks about a sheet as a whole: its kind, columns, decimals, units, dates.

Conventions: every question has a stable key (listed in `KEYS`); what the data decide is not asked;
an answer beats what was remembered for the header, and that beats a guess.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

from heapwright.errors import TableError
from heapwright.exchange.roles import Role, guess_role, parse_role
from heapwright.exchange.sheets import (
    Decimal,
    Sheet,
    is_gap,
    number_of,
    numbers_look,
    plain_header,
)
from heapwright.exchange.sheettimes import Order, date_order
from heapwright.services.asking import Asker
from heapwright.services.yard import Yard
from heapwright.units import REGISTER

__all__ = ["KEYS", "KINDS", "Columns", "read_columns"]

#: What a sheet can be.
KINDS = ("readings", "samples", "events", "air", "batches")

#: Every key of ``--answer`` for an import, and what it settles.
KEYS: dict[str, str] = {
    "kind": "what the sheet holds: " + ", ".join(KINDS),
    "columns": "suggested (take every suggested role) or named (ignore columns no answer names)",
    "column.HEADER": "role of one column",
    "where.HEADER": "take only rows with this value there",
    "decimal": "comma, point, or mixed (every mark is a decimal mark)",
    "unit": "C or F for temperatures without a unit",
    "dates": "day-first or month-first in dates such as 3/5/2026",
    "zone": "time zone of the clock in the sheet, or as-typed",
    "when": "time of all rows, for a sheet without times",
    "heap": "the one heap of the sheet, or columns whose words make its name, as revol+rep",
    "heap.NAME": "the heap meant by a name in the sheet, or ignore",
    "spot": "the one spot of the sheet",
    "spot.NAME": "the spot meant by a name in the sheet, or ignore",
    "what.WORD": "what was done, for a word in the sheet, or ignore",
    "out_of_range": "skip (leave those rows out) or F (these were degrees F)",
    "power_on": "skip or keep readings of exactly 85 C that stand alone",
    "hot": "keep or skip readings hotter than life in a heap makes",
    "duplicated_hours": "both-kept (in the order of the file), first, or second",
    "missing_hours": "winter-time (the clock never moves), later (put forward late) or skip",
    "same_time": "both-kept, first or last of several values for one time",
    "pairs": "not-independent or independent, for batches with the same yield",
    "air_source": "round, logger or station",
    "method": "how samples were measured",
    "basis": "wet or dry basis of moisture",
}  # fmt: skip

_NUMERIC = ("value", "air", "litres", "minutes", "reading", "weather", "quantity")


@dataclass(slots=True)
class Columns:
    """A sheet with its columns understood.

    roles : by column; rows : indices of the rows taken; kind : one of `KINDS`; decimal, unit,
    order : how numbers, temperatures and dates are read; left_by_where : rows not taken.
    """

    sheet: Sheet
    kind: str
    roles: list[Role]
    rows: list[int]
    decimal: Decimal = "point"
    unit: str = "C"
    order: Order = "day-first"
    left_by_where: int = 0
    heap_columns: list[int] = field(default_factory=list)

    def column(self, what: str) -> int | None:
        """The first column of a role, or None."""
        return next((i for i, r in enumerate(self.roles) if r.what == what), None)

    def columns(self, *what: str) -> list[int]:
        """All columns of these roles."""
        return [i for i, r in enumerate(self.roles) if r.what in what]


def read_columns(sheet: Sheet, yard: Yard, asker: Asker) -> Columns:
    """Understand the columns of *sheet*, noting open questions with *asker*.

    Raises `TableError` for answers that name no column, roles that do not exist, or data that
    contradict themselves.
    """
    heap_columns, taken = _heap_columns(sheet, asker)
    rows, filtered = _where(sheet, asker)
    roles = _roles(sheet, yard, asker, taken | filtered)
    kind = _kind(sheet, roles, bool(heap_columns), asker)
    made = Columns(
        sheet, kind, roles, rows, left_by_where=len(sheet.rows) - len(rows),
        heap_columns=heap_columns or made_heap(roles),
    )  # fmt: skip
    made.decimal = _decimal(made, asker)
    made.order = _order(made, asker)
    _percent(made, asker)
    made.unit = _unit(made, asker)
    return made


def made_heap(roles: Sequence[Role]) -> list[int]:
    """The column that names the heap, as a list of none or one."""
    return [i for i, r in enumerate(roles) if r.what == "heap"][:1]


def _heap_columns(sheet: Sheet, asker: Asker) -> tuple[list[int], set[int]]:
    """Columns joined into the heap's name by the answer ``heap=a+b``."""
    answer = asker.given("heap")
    if answer is None:
        return [], set()
    found = [sheet.index(part) for part in answer.split("+")]
    columns = [i for i in found if i is not None]
    if len(columns) == len(found):
        return columns, set(columns)
    if "+" in answer:
        missing = answer.split("+")[found.index(None)]
        raise TableError(
            "the sheet has no such column",
            where=sheet.name,
            field="heap",
            value=missing,
            way_out="Columns: " + ", ".join(sheet.header),
        )
    return [], set()


def _where(sheet: Sheet, asker: Asker) -> tuple[list[int], set[int]]:
    rows = list(range(len(sheet.rows)))
    used: set[int] = set()
    for key in list(asker.answers):
        head, _, header = key.partition(".")
        if head not in ("where", "column"):
            continue
        index = sheet.index(header)
        if index is None:
            raise TableError(
                "the sheet has no such column",
                where=sheet.name,
                field=key,
                way_out="Columns: " + ", ".join(sheet.header),
            )
        if head == "where":
            wanted = (asker.given(key) or "").lower()
            rows = [r for r in rows if sheet.rows[r][index].lower() == wanted]
            used.add(index)
            if not rows:
                raise TableError(
                    "no row is left",
                    where=sheet.name,
                    field=key,
                    value=asker.answers[key],
                    way_out="Values there: " + ", ".join(sorted(set(sheet.column(index)))[:8]),
                )
    return rows, used


def _roles(sheet: Sheet, yard: Yard, asker: Asker, taken: set[int]) -> list[Role]:
    words = [plain_header(h) for h in sheet.header]
    dated = any(w in ("date", "datum") for w in words) and "time" in words
    bare = [guess_role(h, heaps=(), spots=(), timed=False, dated=False) for h in sheet.header]
    timed = any(g.role.what in ("time", "date") for g in bare)
    timed = timed or any(asker.given(f"column.{h}") in ("time", "date") for h in sheet.header)
    rule = asker.given("columns")
    if rule is not None:
        rule = asker.check("columns", rule, ("suggested", "named"))
    roles: list[Role] = []
    for index, header in enumerate(sheet.header):
        key = f"column.{header}"
        answer = asker.given(key)
        if answer is not None:
            roles.append(parse_role(answer, column=header))
            continue
        if index in taken:
            roles.append(Role("ignore"))
            continue
        guess = guess_role(
            header, heaps=yard.heaps, spots=yard.spot_names, timed=timed, dated=dated
        )
        if guess.sure or rule == "suggested":
            roles.append(guess.role)
        elif rule == "named" or all(is_gap(c) for c in sheet.column(index)):
            roles.append(Role("ignore"))
        else:
            example = next((c for c in sheet.column(index) if not is_gap(c)), "")
            asker.get(
                key,
                f"what is this column (first value {example})?",
                suggested=str(guess.role),
            )
            roles.append(guess.role)
    return roles


def _kind(sheet: Sheet, roles: Sequence[Role], named: bool, asker: Asker) -> str:
    has = {r.what for r in roles}
    sure = True
    if "what" in has:
        kind = "events"
    elif "reading" in has:
        kind = "readings"
    elif "value" in has:
        kind = "readings"
        sure = "heap" in has or "spot" in has or named
    elif "quantity" in has:
        fed = any(r.key == "duration_d" or (r.key == "mass_kg" and r.part) for r in roles)
        kind = "batches" if fed and "time" not in has and "date" not in has else "samples"
        sure = kind == "samples" or named
        kind = "samples" if named else kind
    elif has & {"air", "weather"}:
        kind = "air"
    else:
        kind, sure = "", False
    given = asker.given("kind")
    if given is not None:
        return asker.check("kind", given, KINDS)
    if sure:
        return kind
    if not kind:
        asker.get("kind", "what does the sheet hold?", KINDS)
        asker.settle()
    choices = ("readings", "air") if kind == "readings" else KINDS
    return asker.get("kind", "what does the sheet hold?", choices, suggested=kind) or kind


def _decimal(made: Columns, asker: Asker) -> Decimal:
    numeric = made.columns(*_NUMERIC)
    found = numbers_look(made.sheet.rows[r][c] for r in made.rows for c in numeric)
    given = asker.given("decimal")
    if found == "mixed" and given != "mixed" and "decimal" not in asker.answers:
        given = None
        asker.forget("decimal")
    if given is not None:
        return asker.check("decimal", given, ("comma", "point", "mixed"))  # type: ignore[return-value]
    if found == "mixed":
        seen = _examples(made, numeric)
        asker.get(
            "decimal",
            f"decimal commas and points stand in one sheet ({seen}); are both decimal marks?",
            ("mixed", "comma", "point"),
            suggested="mixed",
        )
        return "mixed"
    if found == "thousands":
        asker.get(
            "decimal",
            "is the comma in numbers such as 1,250 a decimal comma, or does it part thousands "
            "(point)?",
            ("comma", "point"),
        )
        return "point"
    return "comma" if found == "comma" else "point"


def _examples(made: Columns, numeric: Sequence[int]) -> str:
    out: dict[str, str] = {}
    for r in made.rows:
        for c in numeric:
            cell = made.sheet.rows[r][c]
            for mark in (",", "."):
                if mark in cell and mark not in out:
                    out[mark] = f"{cell} in line {made.sheet.lines[r]}"
    return ", ".join(out.values())


def _order(made: Columns, asker: Asker) -> Order:
    cells = [made.sheet.rows[r][c] for r in made.rows for c in made.columns("time", "date")]
    found = date_order(cells)
    if found == "contradiction":
        raise TableError(
            "some dates have the day first and some the month",
            where=made.sheet.name,
            field="dates",
            way_out="Write all dates as 2026-05-03",
        )
    orders = ("day-first", "month-first")
    if found in orders and "dates" not in asker.answers:
        return found  # type: ignore[return-value]
    given = asker.given("dates")
    if given is not None:
        return asker.check("dates", given, orders)  # type: ignore[return-value]
    if found == "either":
        example = next(c for c in cells if not is_gap(c))
        asker.get(
            "dates",
            f"does the day or the month stand first in {example}?",
            orders,
        )
    return "month-first" if found == "month-first" else "day-first"


def _percent(made: Columns, asker: Asker) -> None:
    """A share without unit may be per cent or a fraction: ask."""
    for index in made.columns("quantity", "weather"):
        role = made.roles[index]
        if role.unit or REGISTER[role.key].shown != "%":
            continue
        header = made.sheet.header[index]
        name = str(role)
        asker.forget(f"column.{header}")
        asker.get(
            f"column.{header}",
            "are these numbers per cent or fractions?",
            (f"{name}:%", f"{name}:1"),
            suggested=f"{name}:%",
        )
        made.roles[index] = replace(role, unit="%")


def _unit(made: Columns, asker: Asker) -> str:
    given = asker.given("unit")
    if given is not None:
        return asker.check("unit", given.strip(" °")[:1], ("C", "F"))
    bare: list[float] = []
    row_unit = made.column("unit")
    for index, role in enumerate(made.roles):
        warm = role.what in ("value", "air", "reading") or (
            role.what in ("quantity", "weather") and REGISTER[role.key].unit == "degC"
        )
        if not warm or role.unit or (role.what in ("value", "reading") and row_unit is not None):
            continue
        for r in made.rows:
            cell = made.sheet.rows[r][index]
            if not is_gap(cell):
                try:
                    number, mark = number_of(cell, made.decimal)
                except TableError:
                    continue
                if not mark:
                    bare.append(number)
    if bare:
        bare.sort()
        middle = bare[len(bare) // 2]
        asker.get(
            "unit",
            f"are temperatures in C or F (lowest {bare[0]:g}, middle {middle:g}, "
            f"highest {bare[-1]:g})?",
            ("C", "F"),
            suggested="F" if middle > REGISTER["temp_c"].high else "C",
        )
        return "F" if middle > REGISTER["temp_c"].high else "C"
    return "C"
