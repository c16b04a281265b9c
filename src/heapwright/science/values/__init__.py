"""Published numbers, each with its unit, range, source and whether the source was seen.

Holds: `Value`, and cached readers of the TOML files beside this module.
Units: those of each entry; fractions are 0 to 1.
Conventions: one table of a file is one number, found under its key; ``squeeze.damp`` names a table
inside a table. ``seen`` is "seen", "partly seen", "computed", "memory", "memory, low confidence",
"common practice, no source" or "own".
"""

from __future__ import annotations

import difflib
import functools
import math
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from heapwright.errors import TableError, UnknownNameError
from heapwright.units import Ranged

__all__ = ["SEEN", "Recommended", "Value", "raw", "recommended", "value", "values"]

#: What can stand under ``seen``.
SEEN = (
    "seen",
    "partly seen",
    "computed",
    "memory",
    "memory, low confidence",
    "common practice, no source",
    "own",
)


@dataclass(frozen=True, slots=True)
class Value:
    """One published number.

    value : the number, in ``unit`` (pint spelling); low, high : its range, equal to the number
    where none is given; source : author, year, work; where : table, page or equation;
    seen : one of `SEEN`.
    """

    value: float
    unit: str
    low: float
    high: float
    source: str
    where: str
    seen: str

    @property
    def ranged(self) -> Ranged:
        """The number with its range."""
        return Ranged(self.value, self.low, self.high)

    @property
    def from_memory(self) -> bool:
        """True when no source was read for it."""
        return self.seen.startswith("memory") or self.seen.startswith("common")


@dataclass(frozen=True, slots=True)
class Recommended:
    """What one guide recommends for one quantity; a missing limit is None. Register units."""

    quantity: str
    acceptable: tuple[float | None, float | None]
    ideal: tuple[float | None, float | None]
    source: str
    seen: str


@functools.cache
def raw(name: str) -> Mapping[str, Any]:
    """The value file *name* (without ``.toml``) as read; `UnknownNameError` if there is none."""
    if re.fullmatch(r"[a-z0-9_]+", name):
        path = files("heapwright.science.values") / f"{name}.toml"
        if path.is_file():
            return MappingProxyType(tomllib.loads(path.read_text(encoding="utf-8")))
    raise UnknownNameError("there is no such file of values", field="values", value=name)


@functools.cache
def values(name: str) -> Mapping[str, Value]:
    """Every number of the value file *name*, by key.

    Raises `UnknownNameError` if there is no such file and `TableError` if an entry is malformed.

    Examples
    --------
    >>> values("mixing")["vs_per_carbon"].value
    1.8
    """
    return MappingProxyType(dict(_walk(raw(name), name, "")))


def value(name: str, key: str) -> Value:
    """The number *key* of the value file *name*; `UnknownNameError` names near keys.

    >>> value("mixing", "us_gallon_l").value
    3.785
    """
    known = values(name)
    if key in known:
        return known[key]
    near = difflib.get_close_matches(key, list(known), n=3)
    raise UnknownNameError(
        f"there is no such number in {name}.toml",
        field="value",
        value=key,
        way_out=f"Did you mean {' or '.join(near)}" if near else None,
    )


@functools.cache
def recommended(quantity: str) -> tuple[Recommended, ...]:
    """What the guides recommend for a registered quantity, one row a guide; may be empty.

    >>> [row.ideal for row in recommended("cn_ratio")][0]
    (25.0, 35.0)
    """
    rows = raw("ranges").get(quantity, {}).values()
    return tuple(
        Recommended(
            quantity=quantity,
            acceptable=_limits(row.get("acceptable", {})),
            ideal=_limits(row.get("ideal", {})),
            source=row["source"],
            seen=row["seen"],
        )
        for row in rows
    )


def _limits(pair: Mapping[str, float]) -> tuple[float | None, float | None]:
    return pair.get("low"), pair.get("high")


def _walk(table: Mapping[str, Any], name: str, prefix: str) -> Iterator[tuple[str, Value]]:
    """All entries with a ``value`` under *table*, with their dotted keys."""
    for key, entry in table.items():
        if not isinstance(entry, dict):
            continue
        if "value" in entry:
            yield prefix + key, _entry(entry, f"{name}.toml, {prefix}{key}")
        else:
            yield from _walk(entry, name, f"{prefix}{key}.")


def _entry(entry: Mapping[str, Any], where: str) -> Value:
    missing = [k for k in ("unit", "source", "where", "seen") if k not in entry]
    if missing:
        raise TableError(f"the number lacks {', '.join(missing)}", where=where)
    number = float(entry["value"])
    low, high = float(entry.get("low", number)), float(entry.get("high", number))
    if not (math.isfinite(number) and low <= number <= high):
        raise TableError(
            "a number must be finite and lie between its low and its high",
            field="value",
            value=f"{low} / {number} / {high}",
            where=where,
        )
    return Value(
        value=number,
        unit=str(entry["unit"]),
        low=low,
        high=high,
        source=str(entry["source"]),
        where=str(entry["where"]),
        seen=str(entry["seen"]),
    )
