"""Ingredients and mixes: what goes into a heap, how much of it, and what the keeper measured.

Units: m3, kg, litres; fractions of dry matter, moisture on wet basis.
Conventions: an ingredient is like a row of the table of materials; the keeper's own measurement
stands before the table and keeps its method and basis. Barrow loads stay loads, because a wrong
guess at the barrow shifts all of them together.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

from heapwright.errors import InputError, QuantityError
from heapwright.science.feedstocks import Feedstock, match
from heapwright.science.mixing import per_dry_matter, wet_basis
from heapwright.units import Ranged, quantity, show

__all__ = ["MEASURABLE", "Ingredient", "Measured", "Mix"]

#: What a keeper can measure of an ingredient.
MEASURABLE = (
    "moisture_wb",
    "nitrogen_dm",
    "carbon_dm",
    "cn_ratio",
    "bulk_density_kg_m3",
    "lignin_vs",
    "ash_dm",
    "vs_dm",
)
_OF_DRY = ("nitrogen_dm", "carbon_dm", "ash_dm")


@dataclass(frozen=True, slots=True)
class Measured:
    """A keeper's own measurement.

    value : as measured, in the unit of its quantity; method : how, in the keeper's words;
    basis : "wet" or "dry", what a fraction is a fraction of ("" : the usual one, wet for moisture
    and dry for carbon, nitrogen and ash); date : when; note.

    Examples
    --------
    >>> half = Measured(Ranged.exact(0.5), method="kitchen oven", basis="dry")
    >>> value, said = half.as_kept("moisture_wb")
    >>> round(value.typical, 2), said
    (0.33, '50 % on dry basis is 33 % on wet basis')
    """

    value: Ranged
    method: str = ""
    basis: str = ""
    date: dt.date | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.basis not in ("", "wet", "dry"):
            raise InputError(
                "a fraction is on wet or on dry basis",
                field="basis",
                value=self.basis,
                way_out="Write wet (of fresh weight) or dry (of dry weight)",
            )

    def as_kept(self, key: str, moisture_wb: Ranged | None = None) -> tuple[Ranged, str]:
        """The value on the basis of quantity *key*, and a sentence if it had to be converted.

        moisture_wb : needed to bring a fraction of fresh weight to dry matter; `InputError`
        without it.
        """
        if key == "moisture_wb" and self.basis == "dry":
            v = self.value
            kept = Ranged(wet_basis(v.typical), wet_basis(v.low), wet_basis(v.high))
            said = f"{show(v.typical, key)} on dry basis is {show(kept.typical, key)} on wet basis"
            return kept, said
        if key in _OF_DRY and self.basis == "wet":
            if moisture_wb is None:
                raise InputError(
                    "a fraction of fresh weight needs the moisture to be of use",
                    field=key,
                    value=show(self.value.typical, key),
                    way_out="Give the moisture as well, or the fraction of dry matter",
                )
            v, m = self.value, moisture_wb
            kept = Ranged(
                per_dry_matter(v.typical, m.typical),
                per_dry_matter(v.low, m.low),
                per_dry_matter(v.high, m.high),
            )
            quantity(key).check(kept.high, field=key, typed=show(v.high, key) + " of fresh weight")
            shown = f"{show(v.typical, key, digits=2)} of fresh weight"
            return kept, f"{shown} is {show(kept.typical, key, digits=1)} of dry matter"
        return self.value, ""


@dataclass(frozen=True, slots=True)
class Ingredient:
    """One material that goes in.

    name : in the keeper's words; like : a material of the table, by key or name (None: the name
    itself is looked up when needed); amount : any of loads (barrow loads), volume_m3, mass_kg;
    a mass stands before a volume, a volume before loads; measured : the keeper's own numbers by
    quantity key (`MEASURABLE`), each `Measured` or a plain `Ranged`.
    Raises `InputError` or `QuantityError` for what cannot be.

    Examples
    --------
    >>> chips = Ingredient("arborist chips", loads=Ranged.exact(6))
    >>> chips.feedstock.name
    'arborist chips green with leaves/twigs'
    """

    name: str
    like: str | None = None
    volume_m3: Ranged | None = None
    mass_kg: Ranged | None = None
    measured: Mapping[str, Measured | Ranged] = field(default_factory=dict, hash=False)
    loads: Ranged | None = None

    def __post_init__(self) -> None:
        if not self.name.strip():
            raise InputError("an ingredient needs a name", field="name")
        for key, amount in (("volume_m3", self.volume_m3), ("mass_kg", self.mass_kg)):
            if amount is not None:
                quantity(key).check(amount.low, field=f"{self.name}, {key}")
                quantity(key).check(amount.high, field=f"{self.name}, {key}")
        if self.loads is not None and not 0 <= self.loads.low <= self.loads.high <= 1e5:
            raise QuantityError(
                "loads are counted from 0 to 100 000", field=self.name, value=self.loads.typical
            )
        for key, own in self.measured.items():
            if key not in MEASURABLE:
                raise InputError(
                    "that is not kept of an ingredient",
                    field=f"{self.name}, measured",
                    value=key,
                    way_out=f"Choose from {', '.join(MEASURABLE)}",
                )
            value = own.value if isinstance(own, Measured) else own
            dry_moisture = key == "moisture_wb" and isinstance(own, Measured) and own.basis == "dry"
            row = quantity("moisture_db" if dry_moisture else key)
            row.check(value.low, field=f"{self.name}, {key}")
            row.check(value.high, field=f"{self.name}, {key}")
        object.__setattr__(self, "measured", dict(self.measured))

    @property
    def has_amount(self) -> bool:
        """True when loads, volume or mass is given."""
        return not (self.loads is None and self.volume_m3 is None and self.mass_kg is None)

    @property
    def feedstock(self) -> Feedstock:
        """The row of the table it is like; raises `UnknownNameError` naming the nearest."""
        return match(self.like or self.name)

    def own(self, key: str) -> Measured | None:
        """The keeper's measurement of quantity *key*, if there is one."""
        value = self.measured.get(key)
        return Measured(value) if isinstance(value, Ranged) else value


@dataclass(frozen=True, slots=True)
class Mix:
    """Ingredients put together.

    ingredients : one or more, each with an amount; barrow_m3 : one barrow load, needed when an
    ingredient is counted in loads; water_l : water added; nitrogen_kg : nitrogen from a product.
    Raises `InputError` for an empty mix or an ingredient without an amount.
    """

    ingredients: tuple[Ingredient, ...]
    barrow_m3: Ranged | None = None
    water_l: float = 0.0
    nitrogen_kg: float = 0.0

    def __post_init__(self) -> None:
        if not self.ingredients:
            raise InputError(
                "a mix needs at least one ingredient",
                field="mix",
                way_out='Write it as "6 barrows arborist chips"',
            )
        for part in self.ingredients:
            if not part.has_amount:
                raise InputError(
                    "no amount given",
                    field=part.name,
                    way_out='Write how much, as in "6 barrows", "0.5 m3" or "40 kg"',
                )
            only_loads = part.volume_m3 is None and part.mass_kg is None
            if only_loads and self.barrow_m3 is None:
                raise InputError(
                    "loads are counted but no barrow is given",
                    field=part.name,
                    way_out="Say what a barrow holds, as in 85-100 L",
                )
        if self.barrow_m3 is not None:
            quantity("container_l").check(self.barrow_m3.low * 1000, field="barrow")
            quantity("container_l").check(self.barrow_m3.high * 1000, field="barrow")
        quantity("water_l").check(self.water_l)
        quantity("nitrogen_dose_kg").check(self.nitrogen_kg)
