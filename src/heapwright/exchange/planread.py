"""The tables of a plan file and what stands in them, each value read as `plankeys` declares it.

Holds: `PlanTables`, with file, line, key, value and the way out in every error.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, datetime
from itertools import pairwise
from typing import Any, NoReturn

from heapwright.domain.when import parse_date
from heapwright.errors import HeapwrightError, PlanError
from heapwright.exchange.plankeys import ALL, Key, Table
from heapwright.planning.barrow import guessed_barrow
from heapwright.units import parse

__all__ = ["Lines", "PlanTables"]


class Lines:
    """Where each key of a TOML text stands."""

    def __init__(self, text: str, name: str) -> None:
        self.name = name
        self._line: dict[tuple[str, int, str], int] = {}
        counts: dict[str, int] = {}
        table, index = "", 0
        for number, line in enumerate(text.splitlines(), 1):
            header = re.match(r"\s*(\[\[?)\s*([\w-]+)\s*\]", line)
            key = re.match(r"\s*([\w-]+|\"[^\"]+\")\s*=", line)
            if header:
                table = header[2]
                index = counts.get(table, -1) + 1 if header[1] == "[[" else 0
                counts[table] = index
                self._line.setdefault((table, index, ""), number)
            elif key:
                self._line.setdefault((table, index, key[1].strip('"')), number)

    def where(self, table: str, index: int = 0, key: str = "") -> str:
        line = self._line.get((table, index, key)) or self._line.get((table, index, ""))
        return f"{self.name}, line {line}" if line else self.name


class PlanTables:
    """One pass over a parsed plan, table by table."""

    def __init__(self, raw: Mapping[str, Any], lines: Lines, now: datetime) -> None:
        self.raw, self.lines, self.now = raw, lines, now
        self.barrow = guessed_barrow()
        self._check_names()

    def _check_names(self) -> None:
        known = {t.name: t for t in ALL}
        for name, content in self.raw.items():
            table = known.get(name)
            if table is None:
                self.fail("there is no such table in a plan", name, 0, "", name, known)
            rows = content if isinstance(content, list) else [content]
            if table.many != isinstance(content, list) or not all(
                isinstance(r, dict) for r in rows
            ):
                raise PlanError(
                    f"this table is written {table.header}",
                    where=self.lines.where(name),
                    field=name,
                    way_out=f"Write {table.header} on a line of its own",
                )
            for index, row in enumerate(rows):
                for key in row:
                    if table.key(key) is None:
                        self.fail(
                            f"there is no such key in {_titled(table, row)}",
                            name,
                            index,
                            key,
                            key,
                            [k.name for k in table.keys],
                        )
                for wanted in table.keys:
                    if wanted.required and wanted.name not in row:
                        raise PlanError(
                            f"{_titled(table, row)} needs the key {wanted.name} ({wanted.meaning})",
                            where=self.lines.where(name, index),
                            field=wanted.name,
                            way_out=f"Write {wanted.name} = {wanted.example}",
                        )

    def fail(self, what: str, table: str, index: int, key: str, value: str, known: Any) -> NoReturn:
        near = difflib.get_close_matches(value, list(known), n=1)
        raise PlanError(
            what,
            where=self.lines.where(table, index, key),
            field="key" if key else "table",
            value=value,
            way_out=f"Did you mean {near[0]}" if near else "Known: " + ", ".join(known),
        )

    def rows(self, table: str) -> list[Mapping[str, Any]]:
        content = self.raw.get(table, [])
        return content if isinstance(content, list) else [content]

    def get(self, table: str, key: str, *, index: int = 0, reads: str = "") -> Any:
        """The value of a key as its declaration (or *reads*) says; None when it is not there."""
        rows = self.rows(table)
        if index >= len(rows) or key not in rows[index]:
            return None
        declared = next(t for t in ALL if t.name == table).key(key)
        assert declared is not None
        value = rows[index][key]
        try:
            return self._read(replace(declared, reads=reads) if reads else declared, value)
        except HeapwrightError as error:
            raise PlanError(
                error.what,
                where=self.lines.where(table, index, key),
                field=key,
                value=repr(value) if isinstance(value, str) else value,
                way_out=error.way_out,
            ) from None

    def _read(self, key: Key, value: Any) -> Any:
        if key.reads in ("text", "choice"):
            if isinstance(value, (date, datetime, int, float)) and not isinstance(value, bool):
                value = str(value)
            if not isinstance(value, str) or not value.strip():
                raise PlanError(
                    "text in quotes was expected", way_out=f"Write {key.name} = {key.example}"
                )
            if key.choices and value not in key.choices:
                raise PlanError("no such choice", way_out="One of " + ", ".join(key.choices))
            return value.strip()
        if key.reads == "whole":
            if isinstance(value, bool) or not isinstance(value, int) or value < 0:
                raise PlanError(
                    "a whole number was expected", way_out=f"Write {key.name} = {key.example}"
                )
            return value
        if key.reads == "yes/no":
            if not isinstance(value, bool):
                raise PlanError("true or false was expected", way_out=f"Write {key.name} = true")
            return value
        if key.reads == "date":
            return parse_date(value, field=key.name, now=self.now)
        if key.reads == "names":
            if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
                raise PlanError(
                    "a list of names was expected", way_out=f"Write {key.name} = {key.example}"
                )
            return tuple(v.strip() for v in value)
        if key.reads.startswith("course "):
            return self._course(key, value)
        if key.reads == "age":
            return parse(value, "age_d", field=key.name)
        load = self.barrow.typical
        extra = {"barrow": load, "load": load} if key.reads == "volume_m3" else {}
        return parse(value, key.reads, field=key.name, extra=extra)

    def _course(self, key: Key, value: Any) -> tuple[tuple[float, float], ...]:
        """Pairs of day and value; one value alone holds from day 0 on."""
        kept = key.reads.removeprefix("course ")
        pairs = value if isinstance(value, list) else [[0, value]]
        made = []
        for pair in pairs:
            if not isinstance(pair, list) or len(pair) != 2:
                raise PlanError(
                    "a list of [day, value] was expected",
                    way_out=f"Write {key.name} = {key.example}",
                )
            day = parse(pair[0], "age_d", field=key.name).typical
            made.append((day, parse(pair[1], kept, field=key.name).typical))
        if any(b[0] <= a[0] for a, b in pairwise(made)):
            raise PlanError(
                "days rise from pair to pair", way_out=f"Write {key.name} = {key.example}"
            )
        return tuple(made)

    def one(self, table: str, key: str, *, index: int = 0) -> float | None:
        """The typical value of a quantity, or None."""
        found = self.get(table, key, index=index)
        return None if found is None else float(found.typical)


def _titled(table: Table, row: Mapping[str, Any]) -> str:
    """The header of a table, for vessels with the name of the vessel."""
    name = row.get("name")
    return f"{table.header} {name}" if table.name == "vessel" and name else table.header
