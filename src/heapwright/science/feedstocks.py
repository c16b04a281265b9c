"""What common materials hold: the table of feedstocks, the carbon classes, and names people type.

Holds: `Feedstock`, `CarbonClass`, the checked table, and the search by name.
Units: fractions of dry matter for nitrogen, carbon, ash and lignin; moisture on wet basis;
kg/m3 for bulk density.
Conventions: a table row gives nitrogen, the class of the material gives carbon. The product of a
published nitrogen and a published C:N is never taken for carbon: the two columns average different
samples, and the product can pass 100 %.
"""

from __future__ import annotations

import difflib
import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from heapwright.errors import TableError, UnknownNameError
from heapwright.science.values import SEEN, raw
from heapwright.units import quantity

__all__ = [
    "CarbonClass",
    "Feedstock",
    "Span",
    "carbon_classes",
    "carbon_warning",
    "check_feedstock",
    "feedstock",
    "feedstocks",
    "implied_carbon",
    "match",
]

#: Implied carbon this far outside its class is a slip of the pen, not a difference of samples.
_IMPLIED_FLOOR, _IMPLIED_CEILING = 0.35, 2.5
_QUANTITIES = (
    "nitrogen_dm",
    "cn_ratio",
    "moisture_wb",
    "bulk_density_kg_m3",
    "lignin_dm",
    "lignin_vs",
)
_CHECKED_AS = {"lignin_dm": "carbon_dm"}


@dataclass(frozen=True, slots=True)
class Span:
    """A published range; any of the three numbers may be missing (None)."""

    low: float | None
    typical: float | None
    high: float | None

    @property
    def numbers(self) -> tuple[float, ...]:
        """The numbers that are there, low first."""
        return tuple(x for x in (self.low, self.typical, self.high) if x is not None)


@dataclass(frozen=True, slots=True)
class CarbonClass:
    """Bounds for a kind of material: carbon, ash, lignin [fraction of dry matter] and density."""

    key: str
    carbon_dm: tuple[float, float]
    ash_dm: tuple[float, float]
    lignin_dm: tuple[float, float]
    bulk_density_kg_m3: tuple[float, float]
    woody: bool
    source: str
    seen: str


@dataclass(frozen=True, slots=True)
class Feedstock:
    """One row of the table of materials.

    spans : what the source gives, by quantity key (missing quantities are absent); seen : one of
    `values.SEEN`; caution : a sentence to show whenever the row is used.
    """

    key: str
    name: str
    also: tuple[str, ...]
    category: str
    carbon_class: str
    spans: Mapping[str, Span]
    source: str
    seen: str
    caution: str | None = None

    @property
    def carbon(self) -> CarbonClass:
        """The class that bounds its carbon."""
        return carbon_classes()[self.carbon_class]

    @property
    def from_memory(self) -> bool:
        """True when the row, or a part of it, was not read in a source."""
        return self.seen != "seen"


@functools.cache
def carbon_classes() -> Mapping[str, CarbonClass]:
    """Every carbon class by key, checked against the register."""
    result = {}
    for key, entry in raw("carbon_classes").items():
        pairs = {}
        for name in ("carbon_dm", "ash_dm", "lignin_dm", "bulk_density_kg_m3"):
            low, high = float(entry[name]["low"]), float(entry[name]["high"])
            row = quantity(_CHECKED_AS.get(name, name))
            row.check(low, field=f"{key}.{name}")
            row.check(high, field=f"{key}.{name}")
            if low > high:
                raise TableError(
                    "low exceeds high", field=name, where=f"carbon_classes.toml, {key}"
                )
            pairs[name] = (low, high)
        result[key] = CarbonClass(
            key=key,
            woody=bool(entry.get("woody", False)),
            source=str(entry["source"]),
            seen=str(entry["seen"]),
            **pairs,
        )
    return MappingProxyType(result)


@functools.cache
def feedstocks() -> Mapping[str, Feedstock]:
    """Every material by key, each row checked by `check_feedstock`.

    >>> len(feedstocks())
    83
    """
    rows = {key: _row(key, entry) for key, entry in raw("feedstocks").items()}
    for row in rows.values():
        check_feedstock(row)
    return MappingProxyType(rows)


def check_feedstock(row: Feedstock) -> None:
    """Refuse a row that cannot be right: raises `TableError` or `QuantityError`.

    Checked: every number inside its register range and in order; bulk density inside the limits of
    the class (a reprint gives lb/yd3 as kg/m3); carbon implied by nitrogen times C:N not absurdly
    far from the class (a reprint gives C:N 1.8 for 18). Milder contradictions pass here and are
    named by `carbon_warning`.
    """
    where = f"feedstocks.toml, {row.key}"
    if row.seen not in SEEN:
        raise TableError("unknown mark of provenance", field="seen", value=row.seen, where=where)
    for name, span in row.spans.items():
        known = quantity(_CHECKED_AS.get(name, name))
        for number in span.numbers:
            known.check(number, field=f"{row.key}.{name}")
        if list(span.numbers) != sorted(span.numbers):
            raise TableError("low, typical and high are out of order", field=name, where=where)
    low, high = row.carbon.bulk_density_kg_m3
    density = row.spans.get("bulk_density_kg_m3")
    for number in density.numbers if density else ():
        if not low <= number <= high:
            raise TableError(
                f"bulk density of this kind of material lies within {low:g} to {high:g} kg/m3",
                field="bulk_density_kg_m3",
                value=f"{number:g}",
                where=where,
                way_out="Is it in lb/yd3? Then multiply by 0.593",
            )
    implied = implied_carbon(row)
    floor, ceiling = row.carbon.carbon_dm
    if implied is not None and not (
        _IMPLIED_FLOOR * floor <= implied <= _IMPLIED_CEILING * ceiling
    ):
        raise TableError(
            f"nitrogen times C:N would mean {100 * implied:.0f} % carbon in dry matter",
            field="cn_ratio",
            value=row.spans["cn_ratio"].typical,
            where=where,
            way_out="Look for a lost digit in the source",
        )


def implied_carbon(row: Feedstock) -> float | None:
    """Typical nitrogen times typical C:N [fraction of dry matter]; None if one is missing.

    Not a carbon content: the two averages are over different samples. It can pass 1.

    >>> round(implied_carbon(feedstock("sawdust")), 2)
    1.06
    """
    if not (_has(row, "nitrogen_dm") and _has(row, "cn_ratio")):
        return None
    nitrogen, ratio = row.spans["nitrogen_dm"].typical, row.spans["cn_ratio"].typical
    return None if nitrogen is None or ratio is None else nitrogen * ratio


def carbon_warning(row: Feedstock) -> str | None:
    """A sentence if the implied carbon lies outside the class by more than a tenth; else None."""
    implied = implied_carbon(row)
    if implied is None:
        return None
    low, high = row.carbon.carbon_dm
    if 0.9 * low <= implied <= 1.1 * high:
        return None
    return (
        f"{row.name}: the published nitrogen times the published C:N would mean "
        f"{100 * implied:.0f} % carbon; nitrogen is kept and carbon taken as "
        f"{100 * low:.0f}-{100 * high:.0f} %"
    )


def feedstock(name: str) -> Feedstock:
    """The material of that key, name or nickname, exactly or nearly; see `match`."""
    return match(name)


def match(typed: str) -> Feedstock:
    """The material a keeper means by *typed*.

    Exact key, name or nickname first; then all typed words found in one material; then near
    spelling. Raises `UnknownNameError` naming the nearest if none or several fit as well.

    Examples
    --------
    >>> match("arborist chips").key
    'arborist_chips_green_with_leaves_twigs'
    >>> match("grass mowing").key
    'grass_clippings_loose'
    """
    names = _names()
    wanted = _words(typed)
    if not wanted:
        raise UnknownNameError("no material named", field="material", value=typed)
    if wanted in names:
        return feedstocks()[names[wanted]]
    joined = {name.replace(" ", ""): key for name, key in names.items()}
    if wanted.replace(" ", "") in joined:
        return feedstocks()[joined[wanted.replace(" ", "")]]
    tokens = wanted.split()
    scored: dict[str, float] = {}
    for name, key in names.items():
        score = _likeness(tokens, name.split())
        scored[key] = max(score, scored.get(key, 0.0))
    ranked = sorted(scored, key=lambda key: (-scored[key], key))
    best, second = ranked[0], ranked[1]
    if scored[best] >= 0.75 and scored[best] - scored[second] > 0.03:
        return feedstocks()[best]
    near = [feedstocks()[key].name for key in ranked[:4] if scored[key] > 0.3]
    raise UnknownNameError(
        "no material of that name is in the table",
        field="material",
        value=typed,
        way_out=f"Nearest: {'; '.join(near)}" if near else "See the list of materials in the docs",
    )


def _likeness(tokens: list[str], others: list[str]) -> float:
    """How well the typed words match the words of a name: 0 to 1, both ways weighted."""

    def one_way(these: list[str], those: list[str]) -> float:
        return sum(max(_near(a, b) for b in those) for a in these) / len(these)

    return 0.7 * one_way(tokens, others) + 0.3 * one_way(others, tokens)


def _near(a: str, b: str) -> float:
    ratio = difflib.SequenceMatcher(None, a, b).ratio()
    return ratio if ratio >= 0.7 else 0.0


@functools.cache
def _names() -> Mapping[str, str]:
    """Every spelling that names one material, in plain words."""
    result: dict[str, str] = {}
    for key, row in feedstocks().items():
        for text in (*row.also, key, row.name):
            result.setdefault(_words(text), key)
    return MappingProxyType(result)


def _words(text: str) -> str:
    """Lower-case words without punctuation and filler, a plural s dropped."""
    parts = re.findall(r"[a-z0-9]+", text.lower())
    return " ".join(_singular(w) for w in parts if w not in ("of", "the", "and", "with", "from"))


def _singular(word: str) -> str:
    if len(word) > 3 and word.endswith("s") and not word.endswith("ss"):
        return word[:-1]
    return word


def _has(row: Feedstock, name: str) -> bool:
    return name in row.spans


def _row(key: str, entry: Mapping[str, Any]) -> Feedstock:
    where = f"feedstocks.toml, {key}"
    try:
        spans = {
            name: Span(*(entry[name].get(end) for end in ("low", "typical", "high")))
            for name in _QUANTITIES
            if name in entry
        }
        if entry["carbon_class"] not in carbon_classes():
            raise TableError(
                "no such carbon class",
                field="carbon_class",
                value=entry["carbon_class"],
                where=where,
            )
        return Feedstock(
            key=key,
            name=entry["name"],
            also=tuple(entry.get("also", ())),
            category=entry["category"],
            carbon_class=entry["carbon_class"],
            spans=MappingProxyType(spans),
            source=entry["source"],
            seen=entry["seen"],
            caution=entry.get("caution"),
        )
    except KeyError as missing:
        raise TableError(f"the row lacks {missing}", where=where) from None
