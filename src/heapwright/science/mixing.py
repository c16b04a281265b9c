"""Sums for a mix: moisture, C:N, amendments, water, air space, oxygen, and tests with a bucket.

Units: kg, m3 and litres; moisture on wet basis; carbon and nitrogen as fractions of dry matter.
Conventions: functions take floats or numpy arrays. Sums over ingredients run over the first axis,
so an array of shape (ingredients, draws) gives one answer a draw. Nothing here averages C:N ratios:
a ratio of a mix is the carbon of all parts over the nitrogen of all parts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import ImpossibleError, QuantityError
from heapwright.science.values import value
from heapwright.units import quantity

__all__ = [
    "AsFresh",
    "amendment_for_cn",
    "amendment_for_moisture",
    "as_fresh",
    "bulk_density_from_bucket",
    "carbon_from_ash",
    "degradable_share",
    "dry_basis",
    "fertiliser_nitrogen",
    "free_air_space",
    "free_air_space_from_bucket",
    "free_air_space_quick",
    "joint_amendment",
    "mix_cn",
    "mix_moisture",
    "moisture_from_weights",
    "oxygen_demand",
    "per_dry_matter",
    "water_for_dry_mass",
    "water_to_add",
    "wet_basis",
]

Floats = NDArray[np.float64]
Number = TypeVar("Number", float, Floats)


def moisture_from_weights(
    wet_mass_kg: float, dry_mass_kg: float, *, container_mass_kg: float = 0.0
) -> float:
    """Moisture on wet basis [0-1] from the weight before and after the oven.

    Both weights with their container, whose weight is taken off; any unit of mass will do.
    105-110 C for 24 h or to constant weight. Raises `QuantityError` if the dry weight exceeds the
    wet one or the container exceeds either. Source: Richard and Trautmann, Moisture Content.

    >>> round(moisture_from_weights(14, 6.3, container_mass_kg=4), 3)
    0.77
    """
    wet, dry = wet_mass_kg - container_mass_kg, dry_mass_kg - container_mass_kg
    if not 0 <= dry <= wet or wet <= 0:
        raise QuantityError(
            "the dry weight must lie between the container and the wet weight",
            field="dry_mass_kg",
            value=f"{dry_mass_kg:g} of {wet_mass_kg:g}, container {container_mass_kg:g}",
            way_out="Check which weight is which, and whether both hold the container",
        )
    return (wet - dry) / wet


def wet_basis(moisture_db: Number) -> Number:
    """Moisture on wet basis [0-1] from water over dry mass [>= 0].

    >>> round(wet_basis(0.5), 3)
    0.333
    """
    return moisture_db / (1.0 + moisture_db)


def dry_basis(moisture_wb: Number) -> Number:
    """Water over dry mass [>= 0] from moisture on wet basis [0-1).

    >>> dry_basis(0.5)
    1.0
    """
    if np.any(np.asarray(moisture_wb) >= 1):
        raise QuantityError("pure water has no dry mass", field="moisture_wb", value=moisture_wb)
    return moisture_wb / (1.0 - moisture_wb)


def per_dry_matter(fraction_fresh: Number, moisture_wb: Number) -> Number:
    """A fraction of fresh weight as a fraction of dry matter, given moisture on wet basis [0-1).

    Many lists give nitrogen "fresh": 0.8 % of fresh manure at 80 % moisture is 4 % of dry matter.

    >>> round(per_dry_matter(0.008, 0.80), 3)
    0.04
    """
    if np.any(np.asarray(moisture_wb) >= 1):
        raise QuantityError("pure water has no dry mass", field="moisture_wb", value=moisture_wb)
    return fraction_fresh / (1.0 - moisture_wb)


def mix_moisture(mass_kg: ArrayLike, moisture_wb: ArrayLike) -> Any:
    """Moisture of a mix on wet basis [0-1]: all water over all wet mass.

    Source: Richard and Trautmann, G = sum(Q M) / sum(Q).

    >>> round(float(mix_moisture([10, 6.8], [0.77, 0.35])), 3)
    0.6
    """
    mass, moisture = _pair(mass_kg, moisture_wb)
    return (mass * moisture).sum(axis=0) / mass.sum(axis=0)


def mix_cn(
    mass_kg: ArrayLike,
    moisture_wb: ArrayLike,
    *,
    carbon_dm: ArrayLike,
    nitrogen_dm: ArrayLike,
) -> Any:
    """C:N of a mix: all carbon over all nitrogen.

    mass_kg : wet mass of each part; carbon_dm, nitrogen_dm : fractions of dry matter.
    Raises `QuantityError` if there is no nitrogen at all. Source: Richard and Trautmann,
    R = sum[Q C (100-M)] / sum[Q N (100-M)]. This is not the average of the ratios.

    >>> mix = dict(carbon_dm=[0.45, 0.50], nitrogen_dm=[0.024, 0.0075])
    >>> round(float(mix_cn([10, 3.474], [0.77, 0.35], **mix)), 1)
    30.0
    """
    mass, moisture = _pair(mass_kg, moisture_wb)
    dry = mass * (1.0 - moisture)
    nitrogen = (dry * np.asarray(nitrogen_dm, dtype=np.float64)).sum(axis=0)
    if np.any(nitrogen <= 0):
        raise QuantityError("a mix without nitrogen has no C:N", field="nitrogen_dm", value=0)
    return (dry * np.asarray(carbon_dm, dtype=np.float64)).sum(axis=0) / nitrogen


def amendment_for_moisture(
    mass_kg: float, moisture_wb: float, *, amendment_moisture_wb: float, goal_moisture_wb: float
) -> float:
    """Mass of a second material [kg] that brings *mass_kg* to the moisture wished.

    Raises `ImpossibleError` unless the goal lies between the two moistures. Source: Richard and
    Trautmann, the moisture sum solved for one mass.

    >>> goal = dict(amendment_moisture_wb=0.35, goal_moisture_wb=0.60)
    >>> round(amendment_for_moisture(10, 0.77, **goal), 2)
    6.8
    """
    _check_moistures(moisture_wb, amendment_moisture_wb, goal_moisture_wb)
    if goal_moisture_wb == moisture_wb:
        return 0.0
    low, high = sorted((moisture_wb, amendment_moisture_wb))
    if not low < goal_moisture_wb < high:
        raise ImpossibleError(
            f"mixing {_pct(moisture_wb)} with {_pct(amendment_moisture_wb)} moisture gives "
            f"something between the two, not {_pct(goal_moisture_wb)}",
            field="goal_moisture_wb",
            value=_pct(goal_moisture_wb),
            way_out="Add a drier material" if goal_moisture_wb <= low else "Add water",
        )
    return mass_kg * (moisture_wb - goal_moisture_wb) / (goal_moisture_wb - amendment_moisture_wb)


def amendment_for_cn(
    mass_kg: float,
    moisture_wb: float,
    *,
    carbon_dm: float,
    nitrogen_dm: float,
    amendment_moisture_wb: float,
    amendment_carbon_dm: float,
    amendment_nitrogen_dm: float,
    goal_cn_ratio: float,
) -> float:
    """Mass of a second material [kg] that brings *mass_kg* to the C:N wished.

    Raises `ImpossibleError` unless the goal lies between the two ratios. Source: Richard and
    Trautmann, the C:N sum solved for one mass.
    """
    _check_moistures(moisture_wb, amendment_moisture_wb)
    quantity("cn_ratio").check(goal_cn_ratio, field="goal_cn_ratio")
    here = carbon_dm - goal_cn_ratio * nitrogen_dm
    there = amendment_carbon_dm - goal_cn_ratio * amendment_nitrogen_dm
    if here == 0:
        return 0.0
    if here * there >= 0:
        raise ImpossibleError(
            f"mixing C:N {_ratio(carbon_dm, nitrogen_dm)} with C:N "
            f"{_ratio(amendment_carbon_dm, amendment_nitrogen_dm)} gives something between the "
            f"two, not {goal_cn_ratio:g}",
            field="goal_cn_ratio",
            value=f"{goal_cn_ratio:g}",
            way_out="Add a third material on the far side of the goal",
        )
    return -mass_kg * (1 - moisture_wb) * here / ((1 - amendment_moisture_wb) * there)


def joint_amendment(
    mass_kg: float,
    moisture_wb: float,
    *,
    carbon_dm: float,
    nitrogen_dm: float,
    amendment_moisture_wb: float,
    amendment_carbon_dm: float,
    amendment_nitrogen_dm: float,
    goal_cn_ratio: float,
    goal_moisture_wb: float,
) -> tuple[float, float]:
    """Mass of a second material and of water [kg, kg] that meet C:N and moisture at once.

    Raises `ImpossibleError` where water would have to be taken out: a wet ingredient cannot lower
    moisture, and water only adds. Source: Cornell pages on simultaneous solution.
    """
    amendment = amendment_for_cn(
        mass_kg,
        moisture_wb,
        carbon_dm=carbon_dm,
        nitrogen_dm=nitrogen_dm,
        amendment_moisture_wb=amendment_moisture_wb,
        amendment_carbon_dm=amendment_carbon_dm,
        amendment_nitrogen_dm=amendment_nitrogen_dm,
        goal_cn_ratio=goal_cn_ratio,
    )
    total = mass_kg + amendment
    moisture = (mass_kg * moisture_wb + amendment * amendment_moisture_wb) / total
    water = total * (goal_moisture_wb - moisture) / (1 - goal_moisture_wb)
    if water < -1e-9 * total:
        raise ImpossibleError(
            f"C:N {goal_cn_ratio:g} needs {amendment:.3g} kg of the second material, and that mix "
            f"holds {100 * moisture:.1f} % moisture; {_pct(goal_moisture_wb)} would need "
            f"{-water:.2g} kg of water taken out",
            field="goal_moisture_wb",
            value=_pct(goal_moisture_wb),
            way_out="Add a third, drier material, or accept one of the two goals as a range",
        )
    return amendment, max(0.0, water)


@dataclass(frozen=True, slots=True)
class AsFresh:
    """Carbon and nitrogen of a mix given per fresh weight: masses [kg] and their ratio."""

    carbon_kg: float
    nitrogen_kg: float
    cn_ratio: float


def as_fresh(mass_kg: ArrayLike, carbon_fresh: ArrayLike, nitrogen_fresh: ArrayLike) -> AsFresh:
    """C:N of parts whose carbon and nitrogen are fractions of FRESH weight, as many lists give.

    Moisture then plays no part. Raises `QuantityError` if there is no nitrogen.

    >>> round(as_fresh([50, 10, 2], [0.40, 0.10, 0.25], [0.01, 0.01, 0.01]).cn_ratio, 1)
    34.7
    """
    mass, carbon = _pair(mass_kg, carbon_fresh)
    total_c = float((mass * carbon).sum())
    total_n = float((mass * np.asarray(nitrogen_fresh, dtype=np.float64)).sum())
    if total_n <= 0:
        raise QuantityError("a mix without nitrogen has no C:N", field="nitrogen_fresh", value=0)
    return AsFresh(total_c, total_n, total_c / total_n)


def carbon_from_ash(ash_dm: Number) -> Number:
    """Carbon [fraction of dry matter] from ash: volatile solids over 1.8.

    Takes 55 % carbon in volatile solids; most materials hold 45-60 %. Source: Adams et al. 1951,
    quoted by Richard, Cornell.

    >>> round(carbon_from_ash(0.10), 3)
    0.5
    """
    return (1.0 - ash_dm) / value("mixing", "vs_per_carbon").value


def water_to_add(mass_kg: Number, moisture_wb: Number, *, goal_moisture_wb: Number) -> Number:
    """Water [kg, that is litres] that brings *mass_kg* from one moisture to another; 0 if wetter.

    Source: NRAES-54 form, W = m (Mt - M) / (100 - Mt) (from memory).

    >>> round(water_to_add(1000, 0.40, goal_moisture_wb=0.55), 1)
    333.3
    """
    if np.any(np.asarray(goal_moisture_wb) >= 1):
        raise QuantityError(
            "no amount of water makes it all water", field="goal_moisture_wb", value="100 %"
        )
    need = mass_kg * (goal_moisture_wb - moisture_wb) / (1.0 - goal_moisture_wb)
    return _not_negative(need)


def water_for_dry_mass(
    dry_mass_kg: Number, moisture_wb: Number, *, goal_moisture_wb: Number
) -> Number:
    """Water [kg] that brings material of that dry mass from one moisture to another; 0 if wetter.

    >>> round(water_for_dry_mass(160, 0.40, goal_moisture_wb=0.60))
    133
    """
    return _not_negative(dry_mass_kg * (dry_basis(goal_moisture_wb) - dry_basis(moisture_wb)))


def degradable_share(lignin_vs: Number) -> Number:
    """Share of volatile solids that microbes can take [0-0.83], from lignin [fraction of VS].

    0.830 - 2.8 X, not below 0 (X above 29.6 %). Source: Chandler et al. 1980 (number form from
    memory). Made from anaerobic digestion: fungi in a chip heap can go further.

    >>> round(degradable_share(0.219), 3)
    0.217
    """
    a = value("mixing", "degradable_intercept").value
    b = value("mixing", "degradable_per_lignin").value
    return _not_negative(a - b * lignin_vs)


def free_air_space(bulk_density_kg_m3: Number, moisture_wb: Number, *, vs_dm: Number) -> Number:
    """Free air space [0-1] from wet bulk density, moisture and volatile solids.

    FAS = 1 - BD [(1-DM)/1000 + DM OM/1600 + DM (1-OM)/2500], not below 0. Source: Haug 1993;
    Richard et al. 2004 (densities from memory).

    >>> round(free_air_space(450, 0.55, vs_dm=0.80), 3)
    0.635
    """
    water = value("mixing", "density_water").value
    organic = value("mixing", "density_organic").value
    ash = value("mixing", "density_ash").value
    dry = 1.0 - moisture_wb
    filled = moisture_wb / water + dry * vs_dm / organic + dry * (1.0 - vs_dm) / ash
    return _not_negative(1.0 - bulk_density_kg_m3 * filled)


def free_air_space_quick(bulk_density_kg_m3: Number) -> Number:
    """Free air space [0-1] from wet bulk density alone; rough.

    Source: Agnew et al. 2003 and TMECC, FAS % = 100 (1 - 0.0009 BD) (from memory).

    >>> round(free_air_space_quick(450), 3)
    0.595
    """
    return _not_negative(1.0 - value("mixing", "quick_air_space_slope").value * bulk_density_kg_m3)


def oxygen_demand(
    dry_mass_kg: Number, vs_dm: Number, *, degradable_vs: Number, oxygen_kg_kg: Number
) -> Number:
    """Oxygen [kg] to rot all that can rot: dry mass x volatile solids x share x O2 per kg lost."""
    return dry_mass_kg * vs_dm * degradable_vs * oxygen_kg_kg


def bulk_density_from_bucket(
    gross_mass_kg: float, *, empty_mass_kg: float, container_l: float
) -> float:
    """Wet bulk density [kg/m3] from a bucket weighed full and empty.

    Fill in three lifts, settle each the same way, and note the way: methods do not compare.
    Raises `QuantityError` if the full bucket is not heavier.

    >>> bulk_density_from_bucket(10, empty_mass_kg=1, container_l=20)
    450.0
    """
    quantity("container_l").check(container_l)
    if gross_mass_kg <= empty_mass_kg:
        raise QuantityError(
            "the full bucket must be heavier than the empty one",
            field="gross_mass_kg",
            value=f"{gross_mass_kg:g}",
            way_out="Give the weight of the full bucket first",
        )
    return 1000.0 * (gross_mass_kg - empty_mass_kg) / container_l


def free_air_space_from_bucket(water_l: float, container_l: float) -> float:
    """Free air space [0-1] from the water a filled bucket takes to its brim.

    Read quickly: what soaks into the material makes it look airier. In a 5 US gal pail each gallon
    is 20 %. Raises `QuantityError` if the water exceeds the bucket.

    >>> free_air_space_from_bucket(1, 5)
    0.2
    """
    if not 0 <= water_l <= container_l or container_l <= 0:
        raise QuantityError(
            "the water poured in cannot exceed the bucket",
            field="water_l",
            value=f"{water_l:g} of {container_l:g}",
        )
    return water_l / container_l


def fertiliser_nitrogen(carbon_kg: Number, nitrogen_kg: Number, *, goal_cn_ratio: float) -> Number:
    """Nitrogen [kg] the full C:N sum asks for on top of what is there; 0 if none.

    Fertiliser nitrogen is taken up at once while much of a chip's carbon is out of reach, so half
    to two thirds of it is enough (see ``fertiliser_share``).

    >>> round(fertiliser_nitrogen(80.0, 1.0, goal_cn_ratio=30), 2)
    1.67
    """
    return _not_negative(carbon_kg / goal_cn_ratio - nitrogen_kg)


def _pair(mass_kg: ArrayLike, other: ArrayLike) -> tuple[Floats, Floats]:
    mass = np.asarray(mass_kg, dtype=np.float64)
    if mass.size == 0 or np.any(mass < 0) or np.any(mass.sum(axis=0) <= 0):
        raise QuantityError(
            "a mix needs at least one part with a mass above 0", field="mass_kg", value=mass_kg
        )
    return mass, np.asarray(other, dtype=np.float64)


def _not_negative(number: Number) -> Number:
    if isinstance(number, np.ndarray):
        return np.maximum(number, 0.0)
    return max(0.0, number)


def _check_moistures(*moistures: float) -> None:
    for moisture in moistures:
        quantity("moisture_wb").check(moisture)


def _pct(fraction: float) -> str:
    return f"{100 * fraction:.3g} %"


def _ratio(carbon: float, nitrogen: float) -> str:
    return f"{carbon / nitrogen:.3g}" if nitrogen else "without nitrogen"
