"""What is known of each ingredient, and draws of what it may be.

Holds: `Known` (one number with its range and where it comes from), `Part` (an ingredient looked
up), and `Draws` (arrays over draws). Units as in the register.
Conventions: the keeper's measurement stands before the table, the table before its category, and
carbon always comes from a measurement or from the bounded class of the material. A range runs from
5 to 95 %; a draw is a two-sided normal or log-normal through low, typical and high.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.material import Ingredient, Mix
from heapwright.errors import QuantityError
from heapwright.science.feedstocks import Feedstock, Span, carbon_warning, feedstocks
from heapwright.science.mixing import carbon_from_ash
from heapwright.science.values import value
from heapwright.units import Ranged, quantity, show

__all__ = ["Draws", "Known", "Part", "draw", "look_up"]

Floats = NDArray[np.float64]

_Z95 = 1.6448536269514722
_Z_END = 2.5
_WETTEST = 0.97
_LEAST_ORGANIC = 0.02
_BOUNDED = ("moisture_wb", "carbon_dm", "vs_dm", "ash_dm", "lignin_vs")


@dataclass(frozen=True, slots=True)
class Known:
    """One quantity of one ingredient: its range, and where that comes from.

    own : the keeper measured it; flat : every value between low and high is as likely;
    said : how it was converted, or why it is wide.
    """

    key: str
    value: Ranged
    source: str
    seen: str
    own: bool = False
    flat: bool = False
    said: str = ""

    @property
    def from_memory(self) -> bool:
        """True when no source was read for it in full and the keeper did not measure it."""
        return not self.own and self.seen != "seen"


@dataclass(frozen=True, slots=True)
class Part:
    """An ingredient looked up: the row it was read as, what is known, and what to warn of."""

    ingredient: Ingredient
    row: Feedstock
    known: Mapping[str, Known]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Draws:
    """Arrays of shape (ingredients, draws); the column of typical values has one draw."""

    volume_m3: Floats
    wet_mass_kg: Floats
    moisture_wb: Floats
    carbon_dm: Floats
    nitrogen_dm: Floats
    vs_dm: Floats
    lignin_vs: Floats
    oxygen_kg_kg: Floats

    @property
    def dry_mass_kg(self) -> Floats:
        """Dry mass [kg]."""
        return self.wet_mass_kg * (1.0 - self.moisture_wb)


def look_up(ingredient: Ingredient) -> Part:
    """What is known of an ingredient; raises `UnknownNameError` if it is like no row."""
    row = ingredient.feedstock
    known: dict[str, Known] = {}
    for key, spread in (
        ("moisture_wb", None),
        ("bulk_density_kg_m3", value("mixing", "spread_density").value),
        ("nitrogen_dm", value("mixing", "spread_composition").value),
    ):
        known[key] = _own(ingredient, key, known) or _table(row, key, spread)
    known["vs_dm"] = _volatile(ingredient, row, known)
    _refuse_empty(ingredient, known)
    known["carbon_dm"] = _carbon(ingredient, row, known)
    known["lignin_vs"] = _own(ingredient, "lignin_vs", known) or _lignin(row, known["vs_dm"])
    ratio = _own(ingredient, "cn_ratio", known)
    warnings = [row.caution] if row.caution else []
    if ratio is not None:
        _with_ratio(ingredient, known, ratio, warnings)
    elif not known["nitrogen_dm"].own and (said := carbon_warning(row)):
        warnings.append(said)
    return Part(ingredient, row, known, tuple(warnings))


def draw(mix: Mix, parts: tuple[Part, ...], rng: np.random.Generator, draws: int) -> Draws:
    """*draws* draws of a mix; 0 draws gives the typical values, as one draw."""
    barrow = _sample("container_l", mix.barrow_m3, rng, draws) if mix.barrow_m3 else None
    oxygen = value("mixing", "oxygen_lost_matter").ranged
    columns: dict[str, list[Floats]] = {name: [] for name in Draws.__dataclass_fields__}
    for part in parts:
        got = {k: _sample(k, v.value, rng, draws, flat=v.flat) for k, v in part.known.items()}
        density, amount = got["bulk_density_kg_m3"], part.ingredient
        if amount.mass_kg is not None:
            wet = _sample("mass_kg", amount.mass_kg, rng, draws)
            volume = wet / density
        else:
            if amount.volume_m3 is not None:
                volume = _sample("volume_m3", amount.volume_m3, rng, draws)
            else:
                assert amount.loads is not None  # both refused by Mix
                assert barrow is not None
                volume = _sample("count", amount.loads, rng, draws) * barrow
            wet = volume * density
        ratio = got.get("cn_ratio")
        nitrogen = got["nitrogen_dm"] if ratio is None else got["carbon_dm"] / ratio
        for name, column in (
            ("volume_m3", volume),
            ("wet_mass_kg", wet),
            ("moisture_wb", got["moisture_wb"]),
            ("carbon_dm", got["carbon_dm"]),
            ("nitrogen_dm", nitrogen),
            ("vs_dm", got["vs_dm"]),
            ("lignin_vs", got["lignin_vs"]),
        ):
            columns[name].append(column)
    columns["oxygen_kg_kg"].append(_sample("ratio", oxygen, rng, draws))
    return Draws(**{name: np.stack(column) for name, column in columns.items()})


# --- from the keeper, the table, the category, the class ---------------------------------------


def _own(ingredient: Ingredient, key: str, known: Mapping[str, Known]) -> Known | None:
    own = ingredient.own(key)
    if own is None:
        return None
    moisture = known["moisture_wb"].value if "moisture_wb" in known else None
    kept, said = own.as_kept(key, moisture)
    how = own.method or "no method noted"
    day = f", {own.date.isoformat()}" if own.date else ""
    note = f", {own.note}" if own.note else ""
    return Known(key, kept, f"your measurement ({how}{day}{note})", "measured", True, False, said)


def _refuse_empty(ingredient: Ingredient, known: Mapping[str, Known]) -> None:
    """Refuse own measurements that leave no dry matter, organic matter or nitrogen at all."""
    for key, bad, said, way_out in (
        ("moisture_wb", known["moisture_wb"].value.typical > _WETTEST, "leaves no dry matter",
         "Leave plain water out of the ingredients; it is added as litres"),
        ("nitrogen_dm", known["nitrogen_dm"].value.typical <= 0, "means no nitrogen at all",
         "Leave it out if it was not measured"),
        ("vs_dm", known["vs_dm"].value.typical < _LEAST_ORGANIC, "leaves no organic matter",
         "Leave soil and stones out of the ingredients"),
    ):  # fmt: skip
        if bad:
            raise QuantityError(
                f"{show(known[key].value.typical, key)} {said}",
                field=f"{ingredient.name}, {key}",
                way_out=way_out,
            )


def _table(row: Feedstock, key: str, spread: float | None) -> Known:
    """From the row; where it has nothing, the whole span of its category."""
    span = row.spans.get(key)
    if span is None:
        return _category(row, key, spread)
    said = "" if span.low is not None and span.high is not None else "one figure only, widened"
    return Known(key, _filled(span, key, spread), row.source, row.seen, said=said)


def _filled(span: Span, key: str, spread: float | None) -> Ranged:
    """A span with its missing numbers put in: the middle, or the spread either side."""
    quantity_row = quantity(key)
    if span.typical is not None:
        typical = span.typical
    else:
        typical = math.fsum(span.numbers) / len(span.numbers)
    if spread is None:
        step = value("mixing", "spread_moisture").value
        low, high = typical - step, typical + step
    else:
        low, high = typical * (1 - spread), typical * (1 + spread)
    low = span.low if span.low is not None else max(quantity_row.low, low)
    high = span.high if span.high is not None else min(quantity_row.high, high)
    return Ranged(typical, min(low, typical), max(high, typical))


def _category(row: Feedstock, key: str, spread: float | None) -> Known:
    spans = [
        r.spans[key] for r in feedstocks().values() if r.category == row.category and key in r.spans
    ]
    if not spans:
        spans = [r.spans[key] for r in feedstocks().values() if key in r.spans]
    ranges = [_filled(span, key, spread) for span in spans]
    typical = statistics.median(r.typical for r in ranges)
    return Known(
        key,
        Ranged(typical, min(r.low for r in ranges), max(r.high for r in ranges)),
        f"no figure for {row.name}; span of all {row.category} materials of the table",
        "memory, low confidence",
        said="not in the table, so very wide",
    )


def _volatile(ingredient: Ingredient, row: Feedstock, known: Mapping[str, Known]) -> Known:
    own = _own(ingredient, "vs_dm", known)
    if own is not None:
        return own
    ash = _own(ingredient, "ash_dm", known)
    if ash is not None:
        v = ash.value
        kept = Ranged(1 - v.typical, 1 - v.high, 1 - v.low)
        return Known("vs_dm", kept, ash.source, ash.seen, True, False, ash.said)
    low, high = row.carbon.ash_dm
    kept = Ranged(1 - (low + high) / 2, 1 - high, 1 - low)
    return Known("vs_dm", kept, row.carbon.source, row.carbon.seen, flat=True)


def _carbon(ingredient: Ingredient, row: Feedstock, known: Mapping[str, Known]) -> Known:
    own = _own(ingredient, "carbon_dm", known)
    if own is not None:
        return own
    low, high = row.carbon.carbon_dm
    solids = known["vs_dm"]
    if solids.own:
        ash = 1 - solids.value.typical
        found = min(max(carbon_from_ash(ash), low), high)
        said = f"from your ash of {show(ash, 'ash_dm')}, carbon = volatile solids / 1.8"
        kept = Ranged(found, max(low, 0.93 * found), min(high, 1.07 * found))
        return Known("carbon_dm", kept, value("mixing", "vs_per_carbon").source, "seen", said=said)
    return Known(
        "carbon_dm",
        Ranged((low + high) / 2, low, high),
        row.carbon.source,
        row.carbon.seen,
        flat=True,
    )


def _lignin(row: Feedstock, solids: Known) -> Known:
    spread = value("mixing", "spread_composition").value
    if "lignin_vs" in row.spans:
        return Known(
            "lignin_vs", _filled(row.spans["lignin_vs"], "lignin_vs", spread), row.source, row.seen
        )
    if "lignin_dm" in row.spans:
        kept = _filled(row.spans["lignin_dm"], "lignin_vs", spread)
        source, seen, flat = row.source, row.seen, False
    else:
        low, high = row.carbon.lignin_dm
        kept = Ranged((low + high) / 2, low, high)
        source, seen, flat = row.carbon.source, row.carbon.seen, True
    kept = kept.scaled(1 / solids.value.typical)
    return Known("lignin_vs", kept, source, seen, flat=flat)


def _with_ratio(
    ingredient: Ingredient, known: dict[str, Known], ratio: Known, warnings: list[str]
) -> None:
    """Use a measured C:N: nitrogen follows from carbon, unless nitrogen was measured as well."""
    carbon, nitrogen = known["carbon_dm"].value, known["nitrogen_dm"]
    if not nitrogen.own:
        known["cn_ratio"] = ratio
        typical = carbon.typical / ratio.value.typical
        kept = Ranged(
            typical,
            min(typical, carbon.typical / ratio.value.high),
            max(typical, carbon.typical / ratio.value.low),
        )
        known["nitrogen_dm"] = Known(
            "nitrogen_dm", kept, ratio.source, ratio.seen, True, False, "carbon over your C:N"
        )
        return
    implied = nitrogen.value.typical * ratio.value.typical
    if not 0.9 * carbon.low <= implied <= 1.1 * carbon.high:
        warnings.append(
            f"{ingredient.name}: your nitrogen times your C:N would mean {100 * implied:.0f} % "
            f"carbon; nitrogen is kept and carbon taken as "
            f"{100 * carbon.low:.0f}-{100 * carbon.high:.0f} %"
        )


def _sample(
    key: str, spread: Ranged, rng: np.random.Generator, draws: int, *, flat: bool = False
) -> Floats:
    """Draws of one quantity; with 0 draws its typical value."""
    if draws == 0:
        return np.array([spread.typical])
    if draws < 0:
        raise QuantityError("draws are counted from 0", field="draws", value=draws)
    if spread.is_exact:
        return np.full(draws, spread.typical)
    if flat:
        return rng.uniform(spread.low, spread.high, draws)
    z = np.clip(rng.standard_normal(draws), -_Z_END, _Z_END) / _Z95
    low, typical, high = spread.low, spread.typical, spread.high
    if low > 0 and key not in _BOUNDED:
        up, down = math.log(high / typical), math.log(typical / low)
        return np.asarray(typical * np.exp(np.where(z > 0, z * up, z * down)), dtype=np.float64)
    line = typical + np.where(z > 0, z * (high - typical), z * (typical - low))
    floor, ceiling = (0.0, 0.97) if key in _BOUNDED else (0.1 * typical, math.inf)
    return np.clip(line, floor, max(ceiling, typical))
