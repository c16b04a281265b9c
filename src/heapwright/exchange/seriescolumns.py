"""What the columns of a measured series are: age or date, heap, spot, and values with their units.

Units: as the headers say. Conventions: a header is a quantity with its unit (``temperature (C)``,
``temp_f``, ``dry mass [kg]``), with a heap or spot beside it or instead of the word temperature
(``A core (C)``), or a name of the register (``temp_c``, ``moisture_wb``), whose unit is then known.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from heapwright.errors import TableError
from heapwright.exchange.sheets import Sheet, plain_header, unit_in

__all__ = ["Column", "columns_of"]

#: names of the register and of readings, whose unit is known
_OWN = {
    "temp_c": "temp_c", "o2_frac": "o2", "o2": "o2", "moisture_wb": "moisture_wb",
    "mass_kg": "mass_kg", "dry_mass_kg": "dry_kg", "dry_kg": "dry_kg", "length_m": "height_m",
    "height_m": "height_m", "volume_m3": "volume_m3", "air_temp_c": "air_c", "dry_loss": "loss",
}  # fmt: skip
_WORDS: dict[str, tuple[str, ...]] = {
    "temp_c": ("temp", "temperature", "heap temp", "heap temperature", "reading", "value"),
    "o2": ("oxygen", "o2", "oxygen content"),
    "moisture_wb": ("moisture", "moisture content", "water content"),
    "mass_kg": ("mass", "weight", "wet mass", "wet weight", "fresh mass", "fresh weight"),
    "dry_kg": ("dry mass", "dry matter", "dry weight"),
    "loss": ("loss", "loss of dry matter", "loss of dry mass", "dry matter loss", "dry mass loss",
             "dry matter lost", "dry mass lost"),
    "height_m": ("height",),
    "volume_m3": ("volume",),
    "air_c": ("air", "air temp", "air temperature", "ambient", "ambient temp",
              "ambient temperature", "room", "room temp", "room temperature", "outside"),
}  # fmt: skip
_QUANTITY = {word: key for key, words in _WORDS.items() for word in words}
_EXAMPLE = {
    "temp_c": "temperature (C)", "o2": "oxygen (%)", "moisture_wb": "moisture (%)",
    "mass_kg": "mass (kg)", "dry_kg": "dry mass (kg)", "loss": "loss of dry matter (%)",
    "height_m": "height (cm)", "volume_m3": "volume (m3)", "air_c": "air (C)",
}  # fmt: skip
_AGES = {
    "d": 1.0, "day": 1.0, "days": 1.0, "h": 1 / 24, "hour": 1 / 24, "hours": 1 / 24, "hr": 1 / 24,
    "hrs": 1 / 24, "min": 1 / 1440, "minute": 1 / 1440, "minutes": 1 / 1440, "week": 7.0,
    "weeks": 7.0, "wk": 7.0,
}  # fmt: skip
_AGE_WORDS = ("age", "time", "elapsed", "elapsed time", "age of heap")
_DATES = ("date", "time", "datetime", "date time", "timestamp", "when", "date and time", "datum")
_HEAPS = ("heap", "vessel", "pile", "windrow", "reactor", "heap name", "vessel name")
_SPOTS = ("spot", "position", "place", "point", "probe position")
#: units behind a header without brackets
_TAILS = {
    "c": "C", "f": "F", "%": "%", "pct": "%", "percent": "%", "kg": "kg", "g": "g", "t": "t",
    "cm": "cm", "m": "m", "mm": "mm", "l": "L", "m3": "m3", "ppm": "ppm",
}  # fmt: skip
_BASIS = re.compile(r"[\s,;]*(?:\b(?:wet|dry) basis|\b[wd]\.?\s?b\.?(?=\W|$))", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Column:
    """One column: index; what : age, date, clock, heap, spot, value or ignore; quantity, unit (""
    where each cell has to say), own (the unit is that of the register), dry_basis, heap and spot of
    a value; factor : days of an age of 1; example : a header with a unit."""

    index: int
    what: str
    quantity: str = ""
    unit: str = ""
    own: bool = False
    dry_basis: bool = False
    heap: str = ""
    spot: str = ""
    factor: float = 1.0

    @property
    def example(self) -> str:
        """A header of this quantity with its unit."""
        return _EXAMPLE.get(self.quantity, "temperature (C)")


def columns_of(sheet: Sheet, heaps: Sequence[str], spots: Sequence[str]) -> tuple[Column, ...]:
    """What every column of *sheet* is.

    Raises `TableError` where no column holds the time or none a value, or two hold the same.
    """
    plain = [plain_header(h) for h in sheet.header]
    dated = any(p in ("date", "datum") for p in plain)
    made = [_column(i, h, heaps, spots, dated) for i, h in enumerate(sheet.header)]
    times = [c for c in made if c.what in ("age", "date")]
    shown = ", ".join(sheet.header)
    if not times:
        raise TableError(
            f"no column says when it was read (columns: {shown})", where=sheet.name,
            way_out="Name one day, hour or week (the age), or date",
        )  # fmt: skip
    if len(times) > 1:
        names = " and ".join(sheet.header[c.index] for c in times)
        raise TableError(
            f"{names} both say when it was read", where=sheet.name,
            way_out="Leave one out; a clock time beside a date is named time",
        )  # fmt: skip
    values = [c for c in made if c.what == "value" and c.quantity != "air_c"]
    if not values:
        raise TableError(
            f"no column holds values that can be scored (columns: {shown})", where=sheet.name,
            way_out="Name one as in " + ", ".join(_EXAMPLE[k] for k in _EXAMPLE if k != "air_c"),
        )  # fmt: skip
    seen: dict[tuple[str, str, str], int] = {}
    for c in values:
        key = (c.quantity, c.heap, c.spot)
        if key in seen:
            raise TableError(
                f"{sheet.header[seen[key]]} and {sheet.header[c.index]} hold the same",
                where=sheet.name, way_out="Name the heap or spot in the header, or leave one out",
            )  # fmt: skip
        seen[key] = c.index
    return tuple(made)


def _column(
    index: int, header: str, heaps: Sequence[str], spots: Sequence[str], dated: bool
) -> Column:
    own = _OWN.get(header.strip().lower())
    if own is not None:
        return Column(index, "value", own, own=True)
    words, unit = plain_header(header), unit_in(header) or ""
    found = _time(index, words, unit, dated)
    if found is not None:
        return found
    if words in _HEAPS:
        return Column(index, "heap")
    if words in _SPOTS:
        return Column(index, "spot")
    return _value(index, header, heaps, spots)


def _time(index: int, words: str, unit: str, dated: bool) -> Column | None:
    if words in _AGES and words not in ("d", "h", "min"):
        return Column(index, "age", factor=_AGES[words])
    bare, _, tail = words.rpartition(" ")
    if words in _AGE_WORDS and unit.lower() in _AGES:
        return Column(index, "age", factor=_AGES[unit.lower()])
    if bare in _AGE_WORDS and tail in _AGES:
        return Column(index, "age", factor=_AGES[tail])
    if words == "time" and dated:
        return Column(index, "clock")
    if words == "age":
        return Column(index, "age")
    return Column(index, "date") if words in _DATES else None


def _value(index: int, header: str, heaps: Sequence[str], spots: Sequence[str]) -> Column:
    dry = bool(re.search(r"\bdry basis|\bd\.?\s?b\.?(?=\W|$)", header.replace("_", " "), re.I))
    clean = _BASIS.sub("", header.replace("_", " "))
    unit = unit_in(clean) or ""
    if unit.startswith("%"):
        unit = "%"
    words = plain_header(clean)
    for heap, spot, rest, tail in _readings(words, heaps, spots, bool(unit)):
        mine = unit or tail
        quantity = _QUANTITY.get(rest, "")
        if not rest and (heap or spot) and (mine in ("C", "F", "")):
            quantity = "temp_c"
        if quantity:
            dry_basis = dry and quantity == "moisture_wb"
            return Column(index, "value", quantity, mine, dry_basis=dry_basis, heap=heap, spot=spot)
    return Column(index, "ignore")


def _readings(
    words: str, heaps: Sequence[str], spots: Sequence[str], has_unit: bool
) -> list[tuple[str, str, str, str]]:
    """How a header may be read: (heap, spot, what is left, unit behind it), names first."""
    made = []
    bare, _, tail = words.rpartition(" ")
    endings = [(words, "")]
    if not has_unit and tail in _TAILS and bare:
        endings.append((bare, _TAILS[tail]))
    for text, unit in endings:
        left, heap = _without(re.sub(r"^(?:heap|vessel) (?=.)", "", text), heaps)
        rest, spot = _without(left, spots)
        made.append((heap, spot, rest, unit))
        made.append(("", "", text, unit))
    return made


def _without(words: str, names: Sequence[str]) -> tuple[str, str]:
    """*words* without the name at its beginning or end, and the name ("" for none)."""
    for name in sorted(names, key=len, reverse=True):
        plain = plain_header(name)
        if words == plain:
            return "", name
        if words.startswith(f"{plain} "):
            return words[len(plain) + 1 :], name
        if words.endswith(f" {plain}"):
            return words[: -len(plain) - 1], name
    return words, ""
