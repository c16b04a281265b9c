"""Six groups of microbes: constants, and their tables for the kernel of the second kinetics.

Units: constants in 1/h and kg/kg as published; tables in SI. Conventions: the form is that of
Sole-Mauri et al. 2007. Bacteria open soluble matter inside cells, protein and fat; actinomycetes
hemicellulose; fungi cellulose and lignin; all share what is dissolved. Own additions, without which
it cannot run in a heap of chips: lignin and what lies out of reach go no faster than the slow rate
of the first kinetics (a larger Contois constant); groups rest below their best temperature and when
dry; heat kills above the limits of the first kinetics; nothing is taken up faster than in an hour;
without oxygen bacteria go on opening pools at the same share as there.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import six_groups as kernel
from heapwright.engine.kinetics import DAY_S, REACHABLE, SUBSTANCE, Kinetics
from heapwright.engine.parameters import check_names
from heapwright.engine.process import Process
from heapwright.errors import QuantityError
from heapwright.science.decay import ammonia_partition, cardinal, inactivation
from heapwright.science.stoichiometry import of_substance
from heapwright.science.values import value, values

__all__ = [
    "GROUPS", "PROCESS", "SOLUTES", "SixConstants", "parameter_row", "pool_table", "solute_table",
    "warm_table",
]  # fmt: skip

Floats = NDArray[np.float64]
_HOUR_S = 3600.0
_PRESSURE_PA = 101325.0
_WARM_ROWS = 681
_NEVER = 1e-12

PROCESS = Process(
    name="six groups of microbes",
    reads=("pools", "temp_c", "water_m", "water_f", "ash", "n_org", "n_nh4", "o2", "p_pa"),
    writes=("pools", "n_org", "n_nh4", "nh3_lost"),
    sources=(
        "Sole-Mauri et al. 2007, as coded by a third party (form and constants)",
        "Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447 (temperature)",
        "Haug 1980, as in Polprasert 2007 (formulas of the classes)",
    ),
    note="a choice instead of the usual kinetics; its constants are weakly identifiable",
)

#: the groups, in the order of their rows
GROUPS = (
    "mesophilic_bacteria", "thermophilic_bacteria", "mesophilic_actinomycetes",
    "thermophilic_actinomycetes", "mesophilic_fungi", "thermophilic_fungi",
)  # fmt: skip
#: temperature curve of each group, and above which limit of the first kinetics heat kills it
_CURVES = (
    "mesophilic", "thermophilic", "mesophilic", "thermophilic_actinomycetes", "wood_fungi",
    "thermophilic_fungi",
)  # fmt: skip
_LIMITS = ("mesophilic", "thermophilic", "mesophilic", "thermophilic", "fungi", "fungi")
#: what a group must be able to open to take each class of matter
_OPENED_BY = (
    "carbohydrate", "protein", "fat", "hemicellulose", "cellulose", "lignin", "lignin", "lignin",
    "lignin", "lignin",
)  # fmt: skip
SOLUTES = ("carbohydrate", "protein", "fat", "lignin", "bacteria")
_SLOW = (5, 6, 7, 8, 9)


@dataclass(frozen=True, slots=True)
class SixConstants:
    """Constants of the six groups.

    growth, death (6,) [1/h]; hydrolysis (6, 10) [kg a kg of microbes and hour] by group and class
    of matter; half_saturation [kg/kg water]; contois [kg/kg]; inert [-]; lysis [1/h]; dissolved :
    share of soluble matter that is in the water at the start; start_bacteria, start_fungi, floor
    [kg a kg of organic matter]; transfer_time [h].
    """

    growth: Floats
    death: Floats
    hydrolysis: Floats
    half_saturation: float
    contois: float
    inert: float
    lysis: float
    dissolved: float
    start_bacteria: float
    start_fungi: float
    floor: float
    transfer_time: float

    def __post_init__(self) -> None:
        for name in ("growth", "death", "hydrolysis"):
            numbers = getattr(self, name)
            if not np.all(np.isfinite(numbers) & (numbers >= 0)):
                raise QuantityError(
                    "a rate of microbes is a number from 0 up", field=name, value=numbers.tolist()
                )
        for name in ("half_saturation", "contois", "lysis", "transfer_time"):
            if not (np.isfinite(getattr(self, name)) and getattr(self, name) > 0):
                raise QuantityError("must be above 0", field=name, value=getattr(self, name))
        for name in ("inert", "dissolved", "start_bacteria", "start_fungi", "floor"):
            if not 0 <= getattr(self, name) <= 1:
                raise QuantityError(
                    "a share lies between 0 and 1", field=name, value=getattr(self, name)
                )

    @classmethod
    def published(cls) -> SixConstants:
        """The row of literature values.

        >>> float(SixConstants.published().growth[0])
        0.2
        """
        return _published("six")

    @classmethod
    def refitted(cls) -> SixConstants:
        """The same with the other hydrolysis constants that the same file holds after a refit."""
        return _published("six_refit")

    def with_(self, **changes: Any) -> SixConstants:
        """The same with some changed; raises `QuantityError` for an unknown name or what cannot be.

        >>> SixConstants.published().with_(dissolved=0.5).dissolved
        0.5
        """
        check_names(self, changes)
        return replace(self, **changes)


@functools.cache
def _published(source: str) -> SixConstants:
    known = values("kinetics")

    def opening(group: str, what: str) -> float:
        key = f"{source}.{group}.hydrolysis_{what}"
        return known[key].value if key in known else 0.0

    def single(key: str) -> float:
        return value("kinetics", f"six.{key}").value

    names = (
        "half_saturation", "contois", "inert", "lysis", "dissolved", "start_bacteria",
        "start_fungi", "floor", "transfer_time",
    )  # fmt: skip
    return SixConstants(
        growth=np.array([single(f"{g}.growth") for g in GROUPS]),
        death=np.array([single(f"{g}.death") for g in GROUPS]),
        hydrolysis=np.array([[opening(g, w) for w in _OPENED_BY] for g in GROUPS]),
        **{name: single(name) for name in names},
    )


# --- tables for the kernel -----------------------------------------------------------------------


def pool_table(
    kinetics: Kinetics, constants: SixConstants, classes: NDArray[np.int8], nitrogen: Floats
) -> Floats:
    """The table of pools for the kernel.

    classes (P,) : index into `CLASSES`; nitrogen (P,) [kg/kg of pool].
    """
    table = np.zeros((classes.size, kernel.POOL_COLUMNS))
    slow = kinetics.k_slow / 24.0
    for p, kind in enumerate(int(c) for c in classes):
        speeds = constants.hydrolysis[:, kind]
        table[p, kernel.SOLUTE] = SOLUTES.index(SUBSTANCE[kind])
        table[p, kernel.CONTOIS] = constants.contois
        if kind in _SLOW and slow < _NEVER:
            speeds = np.zeros_like(speeds)
        elif kind in _SLOW:
            table[p, kernel.CONTOIS] = max(constants.contois, float(speeds.max()) / slow)
        table[p, kernel.NITROGEN] = nitrogen[p]
        carbon = of_substance(SUBSTANCE[kind]).carbon
        table[p, kernel.REACH] = carbon if REACHABLE[kind] else 0.0
        table[p, kernel.HYDROLYSIS :] = speeds / _HOUR_S
    return table


def solute_table(kinetics: Kinetics) -> Floats:
    """What a kg of each dissolved substance takes and gives, net of the microbes made of it."""
    microbe, share = of_substance("bacteria"), kinetics.biomass_yield
    table = np.zeros((len(SOLUTES), kernel.SOLUTE_COLUMNS))
    for s, name in enumerate(SOLUTES):
        whole = of_substance(name)
        table[s, kernel.OXYGEN] = whole.oxygen - share * microbe.oxygen
        table[s, kernel.CARBON] = whole.carbon - share * microbe.carbon
        table[s, kernel.WATER] = whole.water - share * microbe.water
        table[s, kernel.HELD] = whole.carbon
    return table


def parameter_row(kinetics: Kinetics, constants: SixConstants) -> Floats:
    """The single constants for the kernel."""
    microbe, sugar = of_substance("bacteria"), of_substance("carbohydrate")
    par = np.zeros(kernel.PAR_LENGTH)
    par[kernel.K_OXYGEN] = kinetics.k_oxygen
    par[kernel.ANOXIC] = kinetics.anoxic_share
    par[kernel.YIELD] = kinetics.biomass_yield
    par[kernel.HEAT_PER_O2] = kinetics.heat_per_oxygen
    par[kernel.CO2_PER_C] = sugar.carbon_dioxide / sugar.carbon
    par[kernel.HALF] = constants.half_saturation
    par[kernel.PER_S] = 1.0 / (constants.transfer_time * _HOUR_S)
    par[kernel.LIMIT_CN] = kinetics.limiting_cn
    par[kernel.BIO_C] = microbe.carbon
    par[kernel.BIO_N] = microbe.carbon / kinetics.biomass_cn
    par[kernel.INERT_SHARE] = constants.inert
    par[kernel.FLOOR] = constants.floor
    par[kernel.ESCAPE] = kinetics.ammonia_escape
    par[kernel.GAS_PER_K] = value("engine", "r_gas").value / _PRESSURE_PA
    return par


def warm_table(kinetics: Kinetics, constants: SixConstants) -> Floats:
    """Growth, death, lysis and ammonia at the temperatures of the table's rows."""
    temps = np.asarray(kernel.T_LOW + np.arange(_WARM_ROWS) / kernel.T_PER_K, dtype=np.float64)
    table = np.zeros((temps.size, kernel.WARM_COLUMNS))
    strength = kinetics.death / value("kinetics", "death").value / DAY_S
    for g, (curve_name, limit) in enumerate(zip(_CURVES, _LIMITS, strict=True)):
        curve = getattr(kinetics, curve_name)
        factor = cardinal(temps, curve)
        table[:, kernel.GROW + g] = factor
        awake = np.where(temps < curve.t_opt, factor, 1.0)
        table[:, kernel.DIE + g] = constants.death[g] / _HOUR_S * awake
        above = value("kinetics", f"death_above_{limit}").value
        table[:, kernel.KILL + g] = inactivation(temps, above_c=above) * strength
    best = table[:, kernel.GROW : kernel.GROW + kernel.GROUPS].max(axis=1)
    table[:, kernel.LYSE] = constants.lysis / _HOUR_S * best
    table[:, kernel.AMMONIA] = ammonia_partition(temps, ph=kinetics.compost_ph)
    return table
