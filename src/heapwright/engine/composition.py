"""What an ingredient is made of: pools by class, ash and nitrogen, per kg of dry matter.

Units: kg per kg of dry matter; rates 1/d; moisture on wet basis. Conventions: ash, lignin, nitrogen
and carbon come from the keeper's own numbers, else from the table of materials, else from the
middle of the class of the material. Soluble matter, fat and protein come next, carbohydrate is what
is left. The classes have fixed carbon, so the carbon of that sum is brought to the carbon of the
ingredient by trading carbohydrate against lignin, then against fat, each within its bounds; what
cannot be reached is said in ``notes``. Leaf among chips counts by its share of the dry matter.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.material import Ingredient, Mix
from heapwright.engine.kinetics import CLASSES, Kinetics, oxidations
from heapwright.errors import ImpossibleError, InputError
from heapwright.science.feedstocks import Feedstock, feedstocks
from heapwright.science.mixing import carbon_from_ash
from heapwright.science.stoichiometry import of_substance
from heapwright.science.values import raw
from heapwright.units import Ranged, quantity, show

__all__ = ["Composition", "Recipe", "chips", "compose", "recipe"]

Floats = NDArray[np.float64]
_CARBON = np.array([o.carbon for o in oxidations()])
_WORTH_SAYING = 0.002


@dataclass(frozen=True, slots=True)
class Composition:
    """One ingredient, per kg of its dry matter.

    name; pools (10,) : by class in the order of `CLASSES`; pool_n (10,) : nitrogen in a kg of each
    pool; rate_per_d (10,) : at the best temperature; woody : 1 where wood fungi take part; ash;
    mineral_n : ammonium and urea nitrogen; moisture_wb, bulk_density : as it comes; notes : what
    was assumed or could not be met; fresh : 1 where its tissue may still live, as that of chips
    does. Pools and ash sum to 1.
    """

    name: str
    pools: Floats
    pool_n: Floats
    rate_per_d: Floats
    woody: float
    ash: float
    mineral_n: float
    moisture_wb: float
    bulk_density: float
    notes: tuple[str, ...] = ()
    fresh: float = 0.0

    @property
    def carbon(self) -> float:
        """Carbon [kg per kg of dry matter]."""
        return float(self.pools @ _CARBON)

    @property
    def organic_n(self) -> float:
        """Nitrogen in the pools [kg per kg of dry matter]."""
        return float(self.pools @ self.pool_n)


@dataclass(frozen=True, slots=True)
class Recipe:
    """The pools of a mix, per kg of its dry matter, as the simulator starts with them.

    pools, pool_n, rate_per_d, woody (P,) and classes (P,) : ordered by ingredient and class; ash;
    organic_n, mineral_n; dry_kg : dry mass of the whole mix; water_kg : in it; volume_m3 : loose;
    parts : the ingredients; notes; fresh (P,) : 1 where the tissue of a pool may still live, none
    where it is empty.
    """

    pools: Floats
    pool_n: Floats
    rate_per_d: Floats
    woody: Floats
    classes: NDArray[np.int8]
    ash: float
    organic_n: float
    mineral_n: float
    dry_kg: float = 1.0
    water_kg: float = 0.0
    volume_m3: float = 0.0
    parts: tuple[Composition, ...] = field(default=())
    notes: tuple[str, ...] = ()
    fresh: Floats = field(default_factory=lambda: np.zeros(0))

    @property
    def carbon(self) -> float:
        """Carbon [kg per kg of dry matter]."""
        return float(self.pools @ _CARBON[self.classes])

    @property
    def moisture_wb(self) -> float:
        """Moisture of the mix, wet basis."""
        return self.water_kg / (self.water_kg + self.dry_kg)


def compose(
    ingredient: Ingredient,
    *,
    kinetics: Kinetics | None = None,
    leafy_share: float | None = None,
    soluble: float | None = None,
    accessible: float | None = None,
) -> Composition:
    """Pools of one ingredient.

    leafy_share : leaf as a share of the dry matter of chips, 0 to 1 (0.1 for chips that come with
    leaf, 0 for other wood; other materials take no notice of it); soluble, accessible : overrule
    the class. Raises `UnknownNameError` if the ingredient is like no material, `QuantityError` for
    a share outside 0 to 1, `ImpossibleError` if ash, protein and lignin leave no room.

    Examples
    --------
    >>> chips = compose(Ingredient("arborist chips"), leafy_share=0.1)
    >>> round(float(chips.pools.sum()) + chips.ash, 9), round(chips.carbon, 2)
    (1.0, 0.48)
    """
    kin = kinetics or Kinetics.published()
    row = ingredient.feedstock
    facts = _facts(ingredient, row)
    kind = raw("composition")[row.carbon_class]
    leaf = _leaf(row, kind, leafy_share)
    notes: list[str] = []
    for name, share in (("soluble", soluble), ("accessible", accessible)):
        if share is not None:
            quantity("degradable_vs").check(share, field=name)
    sol = _blend(kind, "soluble", leaf) if soluble is None else soluble
    protein, bound_n = _nitrogen(facts["nitrogen_dm"] * (1.0 - float(kind["mineral_nitrogen"])))
    sol, protein, lignin, fat, rest = _balanced(
        ingredient.name, facts, kind, sol, protein, row, notes
    )
    reach = accessible if accessible is not None else _reach(row, kind, leaf, rest)
    hemi = float(kind["hemicellulose"])
    own = _own_reach(row, kind)
    protein_in = _in_reach(kind, leaf, protein, 1, max(own, _share("protein", "in_chips")))
    fat_in = _in_reach(kind, leaf, fat, 2, own)
    pools = np.array(
        [
            sol, protein * protein_in, fat * fat_in, rest * hemi * reach,
            rest * (1 - hemi) * reach, lignin, rest * hemi * (1 - reach),
            rest * (1 - hemi) * (1 - reach), protein * (1 - protein_in), fat * (1 - fat_in),
        ]
    )  # fmt: skip
    pool_n = np.zeros(len(CLASSES))
    pool_n[[1, 8]] = of_substance("protein").nitrogen
    if lignin > 0:
        pool_n[5] = bound_n / lignin
    return Composition(
        name=ingredient.name,
        pools=pools,
        pool_n=pool_n,
        rate_per_d=_rates(kin, str(kind["matter"]), leaf, rest * reach),
        woody=1.0 if kind["matter"] == "chip" else 0.0,
        ash=1.0 - float(pools.sum()),
        mineral_n=max(0.0, facts["nitrogen_dm"] - float(pools @ pool_n)),
        moisture_wb=facts["moisture_wb"],
        bulk_density=facts["bulk_density_kg_m3"],
        notes=tuple(notes),
        fresh=1.0 if kind["matter"] == "chip" and not _is_fine(row) else 0.0,
    )


def chips(leafy_share: float = 0.1, *, kinetics: Kinetics | None = None) -> Recipe:
    """One kg of dry matter of ordinary chips with a share of leaf, as a recipe of one ingredient.

    >>> bool(chips(0.2).pools[0] > chips(0.0).pools[0])
    True
    """
    part = compose(Ingredient("arborist chips"), kinetics=kinetics, leafy_share=leafy_share)
    return _joined(((part, 1.0),), water=0.0, volume=0.0, fertiliser=0.0)


def recipe(
    mix: Mix, *, kinetics: Kinetics | None = None, leafy_share: float | None = None
) -> Recipe:
    """The pools of a mix from the typical values of its ingredients and amounts.

    Water and nitrogen from a product count; that nitrogen is ammonium. Raises as `compose`.
    """
    shares = []
    water, volume = mix.water_l, 0.0
    for ingredient in mix.ingredients:
        part = compose(ingredient, kinetics=kinetics, leafy_share=leafy_share)
        wet, loose = _amount(ingredient, mix, part.bulk_density)
        shares.append((part, wet * (1.0 - part.moisture_wb)))
        water += wet * part.moisture_wb
        volume += loose
    if sum(dry for _, dry in shares) <= 0:
        raise InputError("there is no dry matter in this mix", field="mix")
    return _joined(tuple(shares), water=water, volume=volume, fertiliser=mix.nitrogen_kg)


# --- amounts -------------------------------------------------------------------------------------


def _amount(ingredient: Ingredient, mix: Mix, density: float) -> tuple[float, float]:
    """Wet mass [kg] and loose volume [m3] of an ingredient, typical values."""
    if ingredient.mass_kg is not None:
        return ingredient.mass_kg.typical, ingredient.mass_kg.typical / density
    if ingredient.volume_m3 is not None:
        volume = ingredient.volume_m3.typical
    else:
        loads, barrow = ingredient.loads, mix.barrow_m3
        if loads is None or barrow is None:
            raise InputError("no amount given", field=ingredient.name)
        volume = loads.typical * barrow.typical
    return volume * density, volume


def _joined(
    shares: tuple[tuple[Composition, float], ...],
    *,
    water: float,
    volume: float,
    fertiliser: float,
) -> Recipe:
    """One recipe of compositions with their dry masses."""
    total = sum(dry for _, dry in shares)
    count = len(CLASSES)
    return Recipe(
        pools=np.concatenate([part.pools * (dry / total) for part, dry in shares]),
        pool_n=np.concatenate([part.pool_n for part, _ in shares]),
        rate_per_d=np.concatenate([part.rate_per_d for part, _ in shares]),
        woody=np.repeat([part.woody for part, _ in shares], count),
        classes=np.tile(np.arange(count, dtype=np.int8), len(shares)),
        ash=sum(part.ash * dry for part, dry in shares) / total,
        organic_n=sum(part.organic_n * dry for part, dry in shares) / total,
        mineral_n=(sum(part.mineral_n * dry for part, dry in shares) + fertiliser) / total,
        dry_kg=total,
        water_kg=water,
        volume_m3=volume,
        parts=tuple(part for part, _ in shares),
        notes=tuple(note for part, _ in shares for note in part.notes),
        fresh=np.repeat([part.fresh for part, _ in shares], count),
    )


# --- what is known of an ingredient --------------------------------------------------------------


def _facts(ingredient: Ingredient, row: Feedstock) -> dict[str, float]:
    """Typical moisture, density, nitrogen, ash, lignin and carbon, and the bounds of carbon."""
    found = {"moisture_wb": _typical(ingredient, row, "moisture_wb", None)}
    moisture = found["moisture_wb"]
    for key in ("bulk_density_kg_m3", "nitrogen_dm"):
        found[key] = _typical(ingredient, row, key, moisture)
    volatile = _own(ingredient, "vs_dm", moisture)
    ash = _own(ingredient, "ash_dm", moisture)
    if volatile is not None:
        ash = 1.0 - volatile
    measured_ash = ash is not None
    found["ash_dm"] = sum(row.carbon.ash_dm) / 2 if ash is None else ash
    low, high = row.carbon.carbon_dm
    carbon = _own(ingredient, "carbon_dm", moisture)
    if carbon is None and measured_ash:
        carbon = min(max(carbon_from_ash(found["ash_dm"]), low), high)
    found["carbon_dm"] = (low + high) / 2 if carbon is None else carbon
    ratio = _own(ingredient, "cn_ratio", moisture)
    if ratio is not None and ingredient.own("nitrogen_dm") is None:
        found["nitrogen_dm"] = found["carbon_dm"] / ratio
    found["lignin_dm"] = _lignin(ingredient, row, 1.0 - found["ash_dm"], moisture)
    return found


def _own(ingredient: Ingredient, key: str, moisture: float | None) -> float | None:
    """The keeper's number as kept, or None."""
    own = ingredient.own(key)
    if own is None:
        return None
    kept, _ = own.as_kept(key, None if moisture is None else Ranged.exact(moisture))
    return kept.typical


def _typical(ingredient: Ingredient, row: Feedstock, key: str, moisture: float | None) -> float:
    """The keeper's number, else that of the table, else the middle of the category."""
    own = _own(ingredient, key, moisture)
    if own is not None:
        return own
    near = [row] if key in row.spans else []
    near = near or [r for r in feedstocks().values() if r.category == row.category]
    near = [r for r in near if key in r.spans] or [
        r for r in feedstocks().values() if key in r.spans
    ]
    middles = []
    for other in near:
        span = other.spans[key]
        middles.append(
            span.typical if span.typical is not None else sum(span.numbers) / len(span.numbers)
        )
    return float(np.median(middles))


def _lignin(
    ingredient: Ingredient, row: Feedstock, volatile: float, moisture: float | None
) -> float:
    own = _own(ingredient, "lignin_vs", moisture)
    if own is not None:
        return own * volatile
    for key, factor in (("lignin_dm", 1.0), ("lignin_vs", volatile)):
        if key in row.spans:
            span = row.spans[key]
            middle = span.typical
            return factor * (
                middle if middle is not None else sum(span.numbers) / len(span.numbers)
            )
    return sum(row.carbon.lignin_dm) / 2


# --- from facts to classes -----------------------------------------------------------------------


@functools.cache
def _share(table: str, key: str) -> float:
    return float(raw("composition")[table][key]["typical"])


def _leaf(row: Feedstock, kind: Mapping[str, Any], leafy_share: float | None) -> float:
    """Leaf as a share of dry matter; only for materials of wood."""
    if leafy_share is not None:
        quantity("leafiness").check(leafy_share, field="leafy_share")
    if kind["matter"] != "chip" or not row.carbon.woody:
        return 0.0
    if leafy_share is not None:
        return leafy_share if row.carbon_class in raw("composition")["leafy"]["classes"] else 0.0
    listed = row.carbon_class in raw("composition")["leafy"]["classes"]
    return _share("leafy", "share") if listed else 0.0


def _blend(kind: Mapping[str, Any], key: str, leaf: float) -> float:
    """A share of the class, with that of leaf for the leafy part."""
    return (1.0 - leaf) * float(kind[key]["typical"]) + leaf * _share("leaves", key)


def _nitrogen(organic: float) -> tuple[float, float]:
    """Protein [kg/kg] of organic nitrogen, and the nitrogen bound in lignin."""
    share = _share("protein", "share")
    return organic * share / of_substance("protein").nitrogen, organic * (1.0 - share)


def _balanced(
    name: str,
    facts: Mapping[str, float],
    kind: Mapping[str, Any],
    soluble: float,
    protein: float,
    row: Feedstock,
    notes: list[str],
) -> tuple[float, float, float, float, float]:
    """Soluble, protein, lignin, fat and other carbohydrate that meet mass and carbon."""
    volatile = 1.0 - facts["ash_dm"]
    fat, lignin = float(kind["fat"]["typical"]), facts["lignin_dm"]
    room = volatile - lignin - protein
    if room < 0:
        if volatile <= 0 or volatile - lignin <= 0:
            raise ImpossibleError(
                f"ash of {show(facts['ash_dm'], 'ash_dm')} and lignin leave no room for the rest",
                field=name,
                way_out="Check the ash and the lignin",
            )
        notes.append(f"{name}: part of its nitrogen cannot be protein and counts as ammonium")
        protein, room = volatile - lignin, 0.0
    if soluble + fat > room:
        scale = room / (soluble + fat)
        soluble, fat = soluble * scale, fat * scale
    rest = room - soluble - fat
    sugar, wood, oil = (of_substance(s).carbon for s in ("carbohydrate", "lignin", "fat"))

    def short(lig: float, oily: float, other: float) -> float:
        held = _CARBON[0] * soluble + _CARBON[1] * protein + wood * lig + oil * oily
        return facts["carbon_dm"] - float(held + sugar * other)

    moved = short(lignin, fat, rest) / (wood - sugar)
    lignin, rest = _trade(lignin, rest, moved, _lignin_bounds(facts["lignin_dm"], row))
    moved = short(lignin, fat, rest) / (oil - sugar)
    bounds = (float(kind["fat"]["low"]), float(kind["fat"]["high"]))
    fat, rest = _trade(fat, rest, moved, bounds)
    missed = short(lignin, fat, rest)
    if abs(missed) > _WORTH_SAYING:
        way = "less" if missed > 0 else "more"
        reached = facts["carbon_dm"] - missed
        notes.append(
            f"{name}: its parts hold {show(reached, 'carbon_dm', digits=1)} carbon, {way} than the "
            f"{show(facts['carbon_dm'], 'carbon_dm', digits=1)} it should have"
        )
    return soluble, protein, lignin, fat, rest


def _lignin_bounds(lignin: float, row: Feedstock) -> tuple[float, float]:
    """Bounds of the class, widened so that the ingredient's own figure lies inside."""
    low, high = row.carbon.lignin_dm
    return min(low, lignin), max(high, lignin)


def _trade(
    amount: float, rest: float, moved: float, bounds: tuple[float, float]
) -> tuple[float, float]:
    """Move carbohydrate into a class (or back) as far as its bounds and the rest allow."""
    low, high = bounds
    target = min(max(amount + moved, min(low, amount)), max(high, amount))
    target = min(target, amount + rest)
    return target, rest - (target - amount)


def _own_reach(row: Feedstock, kind: Mapping[str, Any]) -> float:
    """Share of what a piece of the material is made of that microbes reach at once."""
    return _share("fine", "accessible") if _is_fine(row) else float(kind["accessible"]["typical"])


def _is_fine(row: Feedstock) -> bool:
    """Whether it is wood in pieces as small as sawdust."""
    return row.key in raw("composition")["fine"]["materials"]


def _reach(row: Feedstock, kind: Mapping[str, Any], leaf: float, rest: float) -> float:
    """Share of hemicellulose and cellulose in reach; that of leaf all of it."""
    own = _own_reach(row, kind)
    if leaf == 0 or rest <= 0:
        return own
    in_leaf = min(leaf * _leaf_carbohydrate(), rest)
    return (in_leaf * _share("leaves", "accessible") + (rest - in_leaf) * own) / rest


def _in_reach(
    kind: Mapping[str, Any], leaf: float, held: float, leaf_class: int, in_chips: float
) -> float:
    """Share of protein or fat in reach: all of it but for what lies inside chips.

    held : of it in a kg; in_chips : the share that microbes reach in the wood.
    """
    if kind["matter"] != "chip" or held <= 0:
        return 1.0
    in_leaf = min(leaf * float(_leaf_pools()[leaf_class]) / held, 1.0)
    return min(in_leaf + (1.0 - in_leaf) * in_chips, 1.0)


@functools.cache
def _leaf_pools() -> Floats:
    """Pools of 1 kg of dry leaf."""
    return compose(Ingredient("leaves")).pools


def _leaf_carbohydrate() -> float:
    """Hemicellulose and cellulose in 1 kg of dry leaf."""
    return float(_leaf_pools()[[3, 4, 6, 7]].sum())


def _rates(kin: Kinetics, matter: str, leaf: float, reached: float) -> Floats:
    """Rate of every class [1/d]; what is in reach by the masses of leaf and of chip in it."""
    quick = kin.k_leaf if matter == "leaf" else kin.k_chip
    if leaf > 0 and reached > 0:
        part = min(leaf * _leaf_carbohydrate() / reached, 1.0)
        quick = part * kin.k_leaf + (1.0 - part) * kin.k_chip
    slow = np.full(len(CLASSES) - 5, kin.k_slow)
    return np.array([kin.k_soluble, kin.k_protein, kin.k_fat, quick, quick, *slow])
