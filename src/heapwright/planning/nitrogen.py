"""Nitrogen from a product: how much in all, and in which doses.

Units: kg of nitrogen, kg and cups of product, m3 of mix.
Conventions: the first dose is at most 0.4 kg N per m3; later ones are given only if the heap
answers. An oxidising fertiliser is refused: with dry wood or sawdust it can burn.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from heapwright.errors import InputError
from heapwright.science.values import value
from heapwright.units import Ranged, parse, quantity

__all__ = ["Dose", "NitrogenPlan", "NitrogenProduct", "nitrogen_plan", "parse_product"]

_OXIDISING = re.compile(r"nitrate|saltpet|nitre\b|calcium ammonium|\bcan\b", re.IGNORECASE)
_SMALLEST_KG = 1e-3


@dataclass(frozen=True, slots=True)
class NitrogenProduct:
    """A fertiliser or meal: its name, nitrogen as a fraction of it as sold, and kg in a litre.

    Raises `InputError` for an oxidising one and `QuantityError` for a fraction out of range.
    """

    name: str
    nutrient_frac: float
    kg_per_l: Ranged | None = None

    def __post_init__(self) -> None:
        quantity("nutrient_frac").check(self.nutrient_frac, field=f"{self.name}, nitrogen")
        if self.nutrient_frac <= 0:
            raise InputError(
                "a product without nitrogen is of no help", field=self.name, value="0 %"
            )
        if _OXIDISING.search(self.name):
            raise InputError(
                "an oxidising fertiliser must never be mixed with dry wood or sawdust: it can burn",
                field="nitrogen",
                value=self.name,
                way_out="Use urea, ammonium sulphate, a meal or manure",
            )

    @property
    def density(self) -> Ranged:
        """Kilograms in a litre, as given or by the name."""
        if self.kg_per_l is not None:
            return self.kg_per_l
        name = self.name.lower()
        kind = "urea" if "urea" in name else "sulphate" if "sul" in name else "other"
        return value("mixing", f"product_density_{kind}").ranged


@dataclass(frozen=True, slots=True)
class Dose:
    """One dose: nitrogen [kg], product [kg and cups], and when."""

    nitrogen_kg: float
    product_kg: float
    cups: Ranged
    when: str


@dataclass(frozen=True, slots=True)
class NitrogenPlan:
    """Nitrogen for a mix, in doses.

    full_sum_kg : what the C:N sum asks for; total_kg : half to two thirds of it, the most ever to
    give; doses : the first, then those given only by response; note.
    """

    product: NitrogenProduct
    full_sum_kg: float
    total_kg: Ranged
    doses: tuple[Dose, ...]
    note: str


def parse_product(text: str) -> NitrogenProduct:
    """``"urea 46%"`` as a product; `InputError` if name or per cent is missing.

    >>> parse_product("urea 46 %").nutrient_frac
    0.46
    """
    found = re.fullmatch(r"\s*(?P<name>[^\d%]*?[^\d%\s])\s+(?P<share>[\d.,]+\s*%)\s*(N)?\s*", text)
    if found is None:
        raise InputError(
            "a nitrogen product is its name and its nitrogen in per cent",
            field="nitrogen",
            value=text,
            way_out='Write it as "urea 46 %"',
        )
    share = parse(found["share"], "nutrient_frac", field="nitrogen").typical
    return NitrogenProduct(found["name"], share)


def nitrogen_plan(
    full_sum_kg: float, volume_m3: float, *, product: NitrogenProduct
) -> NitrogenPlan:
    """Doses for a mix of *volume_m3* whose C:N sum asks for *full_sum_kg* of nitrogen.

    >>> plan = nitrogen_plan(1.67, 1.0, product=NitrogenProduct("urea", 0.46))
    >>> [round(dose.nitrogen_kg, 2) for dose in plan.doses], round(plan.total_kg.high, 2)
    ([0.4, 0.4, 0.17], 1.11)
    """
    share = value("mixing", "fertiliser_share").ranged
    total = share.scaled(max(0.0, full_sum_kg))
    limit = value("mixing", "first_dose_kg_m3").value * volume_m3
    doses: list[Dose] = []
    left = total.typical
    while left > _SMALLEST_KG and limit > 0:
        part = min(left, limit)
        doses.append(_dose(part, product, "at building" if not doses else _LATER))
        left -= part
    return NitrogenPlan(
        product=product,
        full_sum_kg=max(0.0, full_sum_kg),
        total_kg=total,
        doses=tuple(doses),
        note=_NOTE if doses else "No nitrogen needed for this C:N.",
    )


_LATER = "only if the heap cools early, at a turn, moist, without ammonia smell"
_NOTE = (
    "Half to two thirds of the full sum is the most ever needed: much of a chip's carbon is out of "
    "reach. Stop at the first smell of ammonia."
)


def _dose(nitrogen_kg: float, product: NitrogenProduct, when: str) -> Dose:
    mass = nitrogen_kg / product.nutrient_frac
    cup, density = value("mixing", "cup_l").value, product.density
    cups = Ranged(mass / density.typical / cup, mass / density.high / cup, mass / density.low / cup)
    return Dose(nitrogen_kg, mass, cups, when)
