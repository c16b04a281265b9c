"""The four answers a newcomer gives, from words: what, how many, which ways, how far the probe.

Units: as in the register. Conventions: a clause that says nothing known is kept as unknown; what
is unknown is None and never blocks.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime

from heapwright.domain.material import Ingredient
from heapwright.domain.when import parse_date
from heapwright.errors import HeapwrightError, InputError
from heapwright.units import parse

__all__ = ["Answers", "parse_heaps", "parse_probe", "parse_ways", "parse_what", "read_answers"]

_NUMBERS = {
    "zero": 0, "a": 1, "an": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6,
    "seven": 7, "eight": 8, "nine": 9, "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13,
    "fourteen": 14, "fifteen": 15, "sixteen": 16, "seventeen": 17, "eighteen": 18, "nineteen": 19,
    "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "half a": 0.5, "half": 0.5,
}  # fmt: skip
_UNITS = (
    r"barrow(?:\s?load)?s?|wheelbarrows?|loads?|m3|m³|cubic (?:metres?|meters?|yards?|feet|foot)|"
    r"yd3|ft3|cu\.? (?:yd|ft|m)s?|yards?|litres?|liters?|l|kg|tonnes?|lbs?|pounds?|"
    r"(?:us|imp|imperial|uk) gal(?:lon)?s?|gal(?:lon)?s?"
)
#: Things of no certain size: what each can hold, so that nobody's bale is read as a barrow.
_VAGUE = {
    "bag": "10 to 100 litres", "bucket": "5 to 20 litres", "sack": "20 to 100 litres",
    "bale": "50 to 2000 litres", "truckload": "1 to 40 m3", "truck load": "1 to 40 m3",
    "trailer": "0.5 to 5 m3", "trailer load": "0.5 to 5 m3", "trailerload": "0.5 to 5 m3",
    "truck": "1 to 40 m3", "armful": "20 to 60 litres", "skip": "2 to 12 m3",
    "ton": "907 to 1016 kg",
}  # fmt: skip
_VAGUE_UNITS = "|".join(sorted((f"{word}s?" for word in _VAGUE), key=len, reverse=True))
_WAY_WORDS = {
    "turn": "turned", "vent": "vented", "pipe": "vented", "alone": "left alone",
    "nothing": "left alone", "untouched": "left alone", "cover": "covered", "blow": "forced air",
    "fan": "forced air", "forced": "forced air",
}  # fmt: skip
_MADE = re.compile(r"^(?:(?:made|built|on)\s+)+", re.IGNORECASE)
#: Where clauses and amounts part: a comma between two digits is a decimal comma.
_COMMA = r"(?<!\d),|,(?!\d)"
_CLAUSES = re.compile(rf"{_COMMA}|;|(?<!\bcu)\.\s+", re.IGNORECASE)
_AMOUNTS = re.compile(rf"\s*(?:{_COMMA}|;|\+|\band\b|&)\s*")
_ALIKE = re.compile(r"\b(alike|same|identical)\b")
_DIFFERENT = re.compile(r"\bdifferent(?:ly)?\b")


@dataclass(frozen=True, slots=True)
class Answers:
    """What a newcomer said; None or empty where nothing was said.

    ingredients : with amounts; heaps : how many; made : when; ways : kinds of treatment, empty
    when all are treated alike or nothing was said; alike : True, False or None; probe_m : reach.
    """

    ingredients: tuple[Ingredient, ...] = ()
    heaps: int | None = None
    made: date | None = None
    ways: tuple[str, ...] = ()
    alike: bool | None = None
    probe_m: float | None = None


def parse_what(text: str) -> tuple[Ingredient, ...]:
    """Materials and amounts: ``nine barrows of shredded prunings and two of grass mowings``.

    A unit not repeated is that of the amount before. Raises `InputError` when an amount or a
    material is missing.

    >>> [i.name for i in parse_what("nine barrows of chips and two of grass")]
    ['chips', 'grass']
    """
    parts = [p.strip() for p in _AMOUNTS.split(text) if p.strip()]
    found: list[Ingredient] = []
    unit = ""
    numbers = "|".join(sorted(_NUMBERS, key=len, reverse=True))
    pattern = re.compile(
        rf"^(?:about\s+)?(?P<n>[\d.,]+(?:\s*-\s*[\d.,]+)?|(?:{numbers})\b)\s*(?:a\s+)?"
        rf"(?:(?P<u>{_UNITS}|{_VAGUE_UNITS})(?![\w³]))?\s*(?:of\s+)?(?P<m>.*)$",
        re.IGNORECASE,
    )
    for part in parts:
        match = pattern.match(part)
        if match is None:
            raise InputError(
                "no amount found",
                field="what",
                value=part,
                way_out="Write it as: nine barrows of shredded prunings and two of grass mowings",
            )
        unit = (match["u"] or unit).lower()
        if not match["m"].strip():
            raise InputError(
                "no material named",
                field="what",
                value=part,
                way_out="Write what it is, as in 9 barrows of wood chips",
            )
        if not unit:
            raise InputError(
                "no unit found",
                field="what",
                value=part,
                way_out="Write barrows, m3, litres or kg after the number",
            )
        number = match["n"].lower()
        amount = str(_NUMBERS.get(number, number))
        found.append(_ingredient(match["m"].strip(), amount, unit))
    if not found:
        raise InputError(
            "nothing named",
            field="what",
            value=text,
            way_out="Write it as: nine barrows of shredded prunings",
        )
    return tuple(found)


def _ingredient(name: str, amount: str, unit: str) -> Ingredient:
    if re.match(r"barrow|wheelbarrow|load", unit):
        return Ingredient(name, loads=parse(amount, "count", field="what"))
    vague = _VAGUE.get(unit.rstrip("s"))
    if vague is not None:
        raise InputError(
            f"a {unit.rstrip('s')} can hold {vague}",
            field="what",
            value=f"{amount} {unit}",
            way_out="Write litres, m3, kg or barrows",
        )
    unit = "yd3" if unit in ("yard", "yards") else unit.replace("cu.", "cu")
    if re.match(r"kg|tonne|lb|pound", unit):
        return Ingredient(name, mass_kg=parse(f"{amount} {unit}", "mass_kg", field="what"))
    return Ingredient(name, volume_m3=parse(f"{amount} {unit}", "volume_m3", field="what"))


def parse_heaps(text: str, *, now: datetime) -> tuple[int | None, date | None]:
    """How many heaps, made when: ``three heaps, today``; either may be missing, but not both.

    Raises `InputError`.

    >>> from datetime import UTC
    >>> parse_heaps("three heaps, today", now=datetime(2026, 5, 1, tzinfo=UTC))
    (3, datetime.date(2026, 5, 1))
    """
    count, made = None, None
    numbers = "|".join(sorted(_NUMBERS, key=len, reverse=True))
    number = rf"\b(\d+|{numbers})\b"
    found = re.search(rf"{number}\s*(?:heaps?|piles?|bins?)\b", text, re.IGNORECASE)
    if found is None:  # a number among other words, unless it belongs to the date
        before = re.split(r"\b(?:made|built|on|from)\b", text, flags=re.IGNORECASE)[0]
        found = re.search(number, before, re.IGNORECASE)
    rest = text
    if found:
        said = found[1].lower()
        count = int(_NUMBERS[said]) if said in _NUMBERS else int(said)
        rest = f"{text[: found.start()]} {text[found.end() :]}"
        if not 1 <= count <= 60:
            raise InputError(
                "a yard has 1 to 60 heaps", field="heaps", value=text, way_out="Write 3 heaps"
            )
    for part in re.split(r"[,;]|\b(?:made|built|on|from)\b", rest):
        if part.strip():
            try:
                made = parse_date(part.strip(), field="heaps", now=now)
            except InputError:
                if re.search(r"\d", part):
                    raise
    if count is None and made is None:
        raise InputError(
            "no number of heaps found", field="heaps", value=text, way_out="Write 3 heaps, today"
        )
    return count, made


def parse_ways(text: str) -> tuple[tuple[str, ...], bool | None]:
    """Ways of managing, and whether all heaps are treated alike (None: not said).

    >>> parse_ways("one turned, one with pipes, one left alone")
    (('turned', 'vented', 'left alone'), False)
    """
    lower = text.lower()
    if _ALIKE.search(lower):
        return (), True
    found: list[str] = []
    for word in re.findall(r"[a-z]+", lower):
        for stem, kind in _WAY_WORDS.items():
            if word.startswith(stem) and kind not in found:
                found.append(kind)
    if found:
        if len(found) == 1 and found != ["left alone"]:
            found.append("left alone")
        return tuple(found), len(found) == 1
    return (), False if _DIFFERENT.search(lower) else None


def parse_probe(text: str) -> float | None:
    """How far the probe reaches [m]; None for "no probe". Raises `InputError`.

    >>> parse_probe("probe 50 cm")
    0.5
    """
    if re.search(r"\b(no|none|without)\b", text.lower()):
        return None
    bare = re.sub(r"\b(?:probe|thermometer)\b", "", text, flags=re.IGNORECASE)
    number = re.sub(r"[A-Za-z ]*?(?=[\d.])", "", bare, count=1).strip()
    reach = parse(number or text, "depth_m", field="probe", default_unit="cm").typical
    if reach == 0:
        raise InputError(
            "a probe reaches some way into a heap",
            field="probe",
            value=text,
            way_out="Write 50 cm, or no probe",
        )
    return reach


def read_answers(text: str, *, now: datetime) -> Answers:
    """All four answers from one line, clause by clause, in any order.

    Raises `InputError` naming the clause that cannot be read.
    """
    what: list[str] = []
    heaps: int | None = None
    made: date | None = None
    ways: tuple[str, ...] = ()
    alike: bool | None = None
    probe: float | None = None
    for clause in [c.strip() for c in _CLAUSES.split(text) if c.strip()]:
        lower = clause.lower()
        if re.search(r"\b(probe|thermometer)\b", lower):
            probe = parse_probe(clause)
        elif re.search(r"\b(heaps?|piles?|bins?)\b", lower) and " of " not in lower:
            count, day = parse_heaps(clause, now=now)
            heaps, made = count or heaps, day or made
        elif lower.endswith(" ago") or _is_date(_MADE.sub("", clause), now):
            made = parse_date(_MADE.sub("", clause), field="made", now=now)
        elif parse_ways(clause) != ((), None) and " of " not in lower:
            more, same = parse_ways(clause)
            ways = tuple(dict.fromkeys([*ways, *more]))
            alike = same if not ways else len(ways) == 1
        else:
            what.append(clause)
    if len(ways) > 1:
        alike = False
    return Answers(
        ingredients=parse_what(", ".join(what)) if what else (),
        heaps=heaps,
        made=made,
        ways=ways,
        alike=alike,
        probe_m=probe,
    )


def _is_date(text: str, now: datetime) -> bool:
    try:
        parse_date(text, field="made", now=now)
    except HeapwrightError:
        return False
    return True
