"""What a column of a sheet is: guessed from the words of its header, or as the keeper says.

Conventions: a role is written ``time``, ``heap``, ``value``, ``ignore`` ... (`SIMPLE`),
``reading:A/core`` (``*`` for the heap of the heap column), ``weather:rain_mm``, or a registered
quantity with unit and part, as in ``carbon_dm:%`` or ``mass_kg:kg@compost net``.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from heapwright.errors import TableError
from heapwright.exchange.sheets import plain_header, unit_in
from heapwright.units import REGISTER

__all__ = ["SIMPLE", "Guess", "Role", "guess_role", "parse_role"]

#: Roles without details.
SIMPLE: dict[str, str] = {
    "time": "date and time",
    "date": "date, with the clock in a column of its own",
    "clock": "clock time beside a date",
    "heap": "name of the heap",
    "spot": "name of the spot",
    "value": "temperature read",
    "air": "air temperature beside it",
    "what": "what was done",
    "litres": "litres of water",
    "minutes": "minutes of work",
    "who": "who read or did it",
    "probe": "name of the probe",
    "unit": "unit of the temperature in this row",
    "method": "how it was measured",
    "note": "note",
    "ignore": "nothing that is kept",
}

_WORDS: dict[str, tuple[str, ...]] = {
    "time": (
        "time", "datetime", "date time", "timestamp", "time stamp", "when", "date and time",
        "local time", "utc", "zeit", "read at", "logged at",
    ),
    "date": ("date", "datum", "read on"),
    "heap": ("heap", "pile", "windrow", "heap name", "bin"),
    "spot": ("spot", "position", "place", "point", "probe position", "where"),
    "value": (
        "value", "temp", "temperature", "reading", "heap temp", "heap temperature",
        "core temperature",
    ),
    "air": ("air", "ambient", "air temp", "ambient temp", "air temperature",
            "ambient temperature", "outside", "outside temp", "shade"),
    "what": ("what", "event", "done", "what was done", "action", "task", "activity"),
    "litres": ("litres", "liters", "water", "water l", "water litres", "l"),
    "minutes": ("minutes", "mins", "min", "duration min"),
    "who": ("who", "reader", "by", "person", "name of reader"),
    "probe": ("probe", "sensor", "thermometer"),
    "unit": ("unit", "units"),
    "method": ("method",),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
    "ignore": ("no", "nr", "row", "index", "#", "line", "record"),
}  # fmt: skip
_SIMPLE_OF = {word: role for role, words in _WORDS.items() for word in words}

#: Header words of quantities: word -> key, and whether the word alone is certain enough.
_QUANTITIES: dict[str, tuple[str, bool]] = {
    "moisture": ("moisture_wb", False), "moisture content": ("moisture_wb", False),
    "carbon": ("carbon_dm", True), "total carbon": ("carbon_dm", True), "c": ("carbon_dm", False),
    "nitrogen": ("nitrogen_dm", True), "total nitrogen": ("nitrogen_dm", True),
    "n": ("nitrogen_dm", False), "cn": ("cn_ratio", True), "c n": ("cn_ratio", True),
    "c n ratio": ("cn_ratio", True), "ash": ("ash_dm", True), "ph": ("ph", True),
    "volume": ("volume_m3", False), "mass": ("mass_kg", False), "weight": ("mass_kg", False),
    "dry mass": ("dry_mass_kg", False), "height": ("length_m", False),
    "bulk density": ("bulk_density_kg_m3", False), "duration": ("duration_d", False),
    "duration days": ("duration_d", True), "oxygen": ("o2_frac", False),
    "mean temperature": ("temp_c", False), "max temperature": ("temp_c", False),
    "min temperature": ("temp_c", False), "rain": ("rain_mm", False), "wind": ("wind_m_s", False),
    "humidity": ("relative_humidity", False), "relative humidity": ("relative_humidity", False),
}  # fmt: skip
_WEATHER = frozenset(("rain_mm", "wind_m_s", "relative_humidity"))
_MASSES = re.compile(r"\b(feed|feedstock|input|compost|yield|output|product|crude|net|residue)\b")
#: A quantity given per cent or in its own unit, as suggested for a bare header.
_USUAL_UNIT = {"%": "%", "kg": "kg", "d": "day", "m3": "m3", "m": "m", "kg/m3": "kg/m3"}


@dataclass(frozen=True, slots=True)
class Role:
    """What a column is. ``what`` is a key of `SIMPLE`, ``reading``, ``weather`` or ``quantity``."""

    what: str
    key: str = ""
    unit: str = ""
    part: str = ""
    heap: str = ""
    spot: str = ""

    def __str__(self) -> str:
        if self.what == "reading":
            return f"reading:{self.heap}/{self.spot}" + (f":{self.unit}" if self.unit else "")
        tail = (f":{self.unit}" if self.unit else "") + (f"@{self.part}" if self.part else "")
        if self.what in ("quantity", "weather"):
            return ("weather:" if self.what == "weather" else "") + self.key + tail
        return self.what + tail


@dataclass(frozen=True, slots=True)
class Guess:
    """A guessed role; ``sure`` when nothing needs to be asked."""

    role: Role
    sure: bool = False


def parse_role(text: str, *, column: str) -> Role:
    """The role written in *text*; raises `TableError` naming the column and what can stand.

    >>> parse_role("carbon_dm:%", column="c").unit, str(parse_role("reading:A/core", column="A"))
    ('%', 'reading:A/core')
    """
    typed = text.strip()
    found = re.fullmatch(r"reading:\s*([^/]+?)\s*/\s*([^:]+?)\s*(?::([^:]+))?", typed, re.I)
    if found:
        return Role("reading", "temp_c", heap=found[1], spot=found[2], unit=found[3] or "")
    found = re.fullmatch(
        r"(?P<weather>weather:)?(?P<key>\w+)(?::(?P<unit>[^@]+))?(?:@(?P<part>.+))?", typed
    )
    if found:
        key, unit = found["key"].lower(), (found["unit"] or "").strip()
        if key in SIMPLE and not found["weather"]:
            return Role(key, unit=unit)
        if key in REGISTER:
            what = "weather" if found["weather"] else "quantity"
            return Role(what, key, unit, (found["part"] or "").strip())
    raise TableError(
        "this is no role of a column",
        field=f"column.{column}",
        value=text,
        way_out=f"One of {', '.join(SIMPLE)}, reading:A/core, or a quantity as carbon_dm:%",
    )


def guess_role(
    header: str, *, heaps: Sequence[str], spots: Sequence[str], timed: bool, dated: bool
) -> Guess:
    """What a column probably is.

    timed : the sheet has a column of times; dated : a column of dates beside one of clock times.
    """
    words = plain_header(header)
    unit = unit_in(header) or ""
    channel = _channel(words, unit, heaps, spots)
    if channel:
        return channel
    simple = _SIMPLE_OF.get(words)
    if simple == "time" and dated:
        return Guess(Role("clock"), sure=True)
    marked = re.fullmatch(r"(.+) ([cf])", words)
    if simple is None and marked and _SIMPLE_OF.get(marked[1]) in ("air", "value"):
        simple, unit = _SIMPLE_OF[marked[1]], unit or marked[2].upper()
    if simple == "air" and not timed:
        return Guess(Role("quantity", "air_temp_c", unit, header.strip().lower()))
    if simple is not None:
        tail = unit if simple in ("value", "air", "litres", "minutes") else ""
        return Guess(Role(simple, unit=tail), sure=words not in ("where", "water", "l"))
    if words in _QUANTITIES:
        key, sure = _QUANTITIES[words]
        if key in _WEATHER:
            return Guess(Role("weather", key, unit or _usual(key)), sure=bool(unit))
        part = words if key == "temp_c" else ""
        return Guess(Role("quantity", key, unit or _usual(key), part), sure=sure and bool(unit))
    if words in ("id", "batch", "batch id", "batch no", "heap id", "pile id"):
        return Guess(Role("heap"))
    if _MASSES.search(words):
        return Guess(Role("quantity", "mass_kg", unit or "kg", words))
    return Guess(Role("ignore"))


def _usual(key: str) -> str:
    return _USUAL_UNIT.get(REGISTER[key].shown, "")


def _channel(words: str, unit: str, heaps: Sequence[str], spots: Sequence[str]) -> Guess | None:
    """A column of readings: ``A core``, ``core A``, or a spot beside a column of heaps."""
    names = sorted(heaps, key=len, reverse=True)
    words = re.sub(r"^heap ", "", words)
    bare = re.sub(r" (?:temp|temperature|[cf])$", "", words) if words not in spots else words
    for text in dict.fromkeys((words, bare)):
        for spot in spots:
            if text == plain_header(spot):
                return Guess(Role("reading", "temp_c", unit, heap="*", spot=spot), sure=True)
        for heap in names:
            name = plain_header(heap)
            if text == name:
                only = spots[0] if len(spots) == 1 else ""
                role = Role("reading", "temp_c", unit, heap=heap, spot=only or "core")
                return Guess(role, sure=bool(only))
            for pattern in (rf"{re.escape(name)} (.+)", rf"(.+) {re.escape(name)}"):
                found = re.fullmatch(pattern, text)
                spot_found = found and next(
                    (s for s in spots if plain_header(s) == found[1]), None if spots else found[1]
                )
                if spot_found:
                    role = Role("reading", "temp_c", unit, heap=heap, spot=spot_found)
                    return Guess(role, sure=bool(spots))
    return None
