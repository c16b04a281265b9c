"""What a mix will be: C:N, moisture, density, air space, share that can rot, oxygen it needs.

Units as in the register. Conventions: every answer is a `Ranged` from 5 to 95 % over draws, its
typical value computed from typical inputs; nothing is computed from an average of ratios.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.material import Mix
from heapwright.errors import ImpossibleError, QuantityError
from heapwright.planning.mix_parts import Draws, Known, Part, draw, look_up
from heapwright.science.mixing import degradable_share, free_air_space, mix_cn, mix_moisture
from heapwright.science.values import recommended, value
from heapwright.units import Ranged, show

__all__ = ["IngredientLine", "MixSummary", "describe_mix", "mixed"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class IngredientLine:
    """One ingredient of a summary: amounts, what it brings, and where the numbers come from."""

    name: str
    read_as: str
    loads: Ranged | None
    volume_m3: Ranged
    wet_mass_kg: Ranged
    cn_ratio: Ranged
    known: tuple[Known, ...]

    @property
    def from_memory(self) -> tuple[str, ...]:
        """Keys of the numbers that come from memory."""
        return tuple(k.key for k in self.known if k.from_memory)

    @property
    def notes(self) -> tuple[str, ...]:
        """How numbers were converted or filled in."""
        return tuple(f"{k.key}: {k.said}" for k in self.known if k.said)


@dataclass(frozen=True, slots=True)
class MixSummary:
    """A mix described, each number with its range; register units.

    against : how it stands beside what guides recommend; warnings : what may be wrong;
    assumptions : what the sums take for granted; sources : (source, seen) of every number used.
    """

    cn_ratio: Ranged
    moisture_wb: Ranged
    bulk_density_kg_m3: Ranged
    free_air_frac: Ranged
    degradable_vs: Ranged
    oxygen_demand_kg_m3: Ranged
    wet_mass_kg: Ranged
    dry_mass_kg: Ranged
    volume_m3: Ranged
    carbon_kg: Ranged
    nitrogen_kg: Ranged
    lines: tuple[IngredientLine, ...]
    warnings: tuple[str, ...]
    against: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]
    draws: int


def describe_mix(mix: Mix, *, rng: np.random.Generator, draws: int = 2000) -> MixSummary:
    """What *mix* will be, with ranges.

    rng : generator of the draws; draws : at least 100. Nitrogen is drawn from the table (or the
    keeper's measurement), carbon from the bounded class of each material, moisture, density and
    barrow size from their ranges; one barrow draw holds for all ingredients. Water and nitrogen
    of the mix are taken as exact. Raises `UnknownNameError` for a material that is not known.
    Checked in tests/reference/test_mixing.py against published worked examples.

    Examples
    --------
    >>> from heapwright.domain.material import Ingredient, Mix
    >>> one = Ingredient("sawdust", volume_m3=Ranged.exact(1.0))
    >>> summary = describe_mix(Mix((one,)), rng=np.random.default_rng(1), draws=200)
    >>> summary.cn_ratio.low > 50
    True
    """
    if draws < 100:
        raise QuantityError("a range needs at least 100 draws", field="draws", value=draws)
    parts = tuple(look_up(part) for part in mix.ingredients)
    typical = draw(mix, parts, rng, 0)
    cloud = draw(mix, parts, rng, draws)
    if float(typical.wet_mass_kg.sum()) <= 0:
        raise ImpossibleError("all amounts are nought", field="mix", way_out="Give an amount")
    middle, spread = mixed(mix, typical), mixed(mix, cloud)
    answers = {key: _ranged(middle[key], spread[key]) for key in middle}
    warnings = [w for part in parts for w in part.warnings]
    if answers["free_air_frac"].typical <= 0:
        warnings.append("by these densities nothing is left for air: weigh a bucketful")
    return MixSummary(
        **answers,
        lines=tuple(_line(part, k, typical, cloud) for k, part in enumerate(parts)),
        warnings=tuple(dict.fromkeys(warnings)),
        against=_against(answers),
        assumptions=_assumptions(mix, parts),
        sources=_sources(parts),
        draws=draws,
    )


def mixed(mix: Mix, d: Draws) -> dict[str, Floats]:
    """Every answer for each draw, by quantity key."""
    dry = d.dry_mass_kg
    total_dry = dry.sum(axis=0)
    volume = d.volume_m3.sum(axis=0)
    wet = d.wet_mass_kg.sum(axis=0) + mix.water_l
    nitrogen = (dry * d.nitrogen_dm).sum(axis=0) + mix.nitrogen_kg
    carbon = (dry * d.carbon_dm).sum(axis=0)
    if mix.nitrogen_kg:
        ratio = carbon / nitrogen
    else:
        ratio = mix_cn(
            d.wet_mass_kg, d.moisture_wb, carbon_dm=d.carbon_dm, nitrogen_dm=d.nitrogen_dm
        )
    moisture = mix_moisture(
        np.vstack([d.wet_mass_kg, np.full((1, volume.size), mix.water_l)]),
        np.vstack([d.moisture_wb, np.ones((1, volume.size))]),
    )
    solids = dry * d.vs_dm
    rots = solids * degradable_share(d.lignin_vs)
    density = wet / volume
    return {
        "cn_ratio": ratio,
        "moisture_wb": moisture,
        "bulk_density_kg_m3": density,
        "free_air_frac": free_air_space(density, moisture, vs_dm=solids.sum(axis=0) / total_dry),
        "degradable_vs": rots.sum(axis=0) / solids.sum(axis=0),
        "oxygen_demand_kg_m3": rots.sum(axis=0) * d.oxygen_kg_kg[0] / volume,
        "wet_mass_kg": wet,
        "dry_mass_kg": total_dry,
        "volume_m3": volume,
        "carbon_kg": carbon,
        "nitrogen_kg": nitrogen,
    }


def _ranged(middle: Floats, spread: Floats) -> Ranged:
    typical = float(middle[0])
    low, high = (float(x) for x in np.quantile(spread, (0.05, 0.95)))
    if low == high or np.ptp(spread) < 1e-12 * max(abs(typical), 1e-300):
        return Ranged.exact(typical)
    return Ranged(typical, min(low, typical), max(high, typical))


def _line(part: Part, k: int, typical: Draws, cloud: Draws) -> IngredientLine:
    return IngredientLine(
        name=part.ingredient.name,
        read_as=part.row.name,
        loads=part.ingredient.loads,
        volume_m3=_ranged(typical.volume_m3[k], cloud.volume_m3[k]),
        wet_mass_kg=_ranged(typical.wet_mass_kg[k], cloud.wet_mass_kg[k]),
        cn_ratio=_ranged(
            typical.carbon_dm[k] / typical.nitrogen_dm[k], cloud.carbon_dm[k] / cloud.nitrogen_dm[k]
        ),
        known=tuple(part.known[key] for key in sorted(part.known)),
    )


def _against(answers: dict[str, Ranged]) -> tuple[str, ...]:
    """One sentence a guide whose range the mix may leave."""
    said = []
    for key, name in (
        ("cn_ratio", "C:N"),
        ("moisture_wb", "moisture"),
        ("free_air_frac", "free air space"),
    ):
        here = answers[key]
        for guide in recommended(key):
            low, high = guide.ideal if any(guide.ideal) else guide.acceptable
            if low is not None and here.typical < low:
                place = "most likely" if here.high < low else "perhaps"
                said.append(f"{name} {place} below the {_span(low, high, key)} of {guide.source}")
            elif high is not None and here.typical > high:
                place = "most likely" if here.low > high else "perhaps"
                said.append(f"{name} {place} above the {_span(low, high, key)} of {guide.source}")
    return tuple(said)


def _span(low: float | None, high: float | None, key: str) -> str:
    if low is None or high is None:
        bound = low if high is None else high
        assert bound is not None
        return f"{'least' if high is None else 'most'} {show(bound, key)}"
    first = show(low, key).removesuffix(" %")
    return f"{first}-{show(high, key)}"


def _assumptions(mix: Mix, parts: tuple[Part, ...]) -> tuple[str, ...]:
    said = [
        "Volumes are added up. Fine material partly fills the gaps between chips, so the heap "
        "comes out smaller and denser, with less air, the finer the second material is.",
        "Carbon is taken from what this kind of material can hold, never from nitrogen times a "
        "published C:N.",
    ]
    if any(part.row.carbon.woody for part in parts):
        said.append(
            "The share that can rot comes from lignin and digester tests; fungi in a chip heap "
            "have gone further (willow chips lost 20-23 % of dry matter in about five months)."
        )
    if mix.water_l:
        said.append("Water added is taken as soaked up in full; see the litres for half of it.")
    return tuple(said)


def _sources(parts: tuple[Part, ...]) -> tuple[tuple[str, str], ...]:
    found = {(k.source, k.seen): None for part in parts for k in part.known.values()}
    for name in ("degradable_intercept", "density_organic", "oxygen_lost_matter"):
        entry = value("mixing", name)
        found[(entry.source, entry.seen)] = None
    return tuple(found)
