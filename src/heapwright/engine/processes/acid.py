"""Acids: what hydrolysis makes where oxygen is short, and how it goes when air returns.

Units: kg, 1/s, J/kg. Conventions: below K the pools that ferment go on at a share of what bacteria
do with plenty of oxygen, anoxic_share (1 - y/K), into acetic acid, which stands for all acids. All
their carbon stays; about 5 % of the heat comes at once and the rest when the acid is oxidised.
Energy and carbon close exactly; of protein 3 % of the oxygen demand is lost, because acetic acid is
more oxidised.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import DAY_S, FERMENTS, Kinetics, oxidations
from heapwright.engine.process import Process
from heapwright.science.stoichiometry import of_substance

__all__ = ["PROCESS", "acid_heat", "fill", "pool_columns"]

Floats = NDArray[np.float64]

PROCESS = Process(
    name="acids where oxygen is short",
    reads=("acid", "pools", "o2", "temp_c", "water_m", "water_f", "act_m", "act_t", "act_f"),
    writes=("acid", "pools", "biomass", "n_org", "n_nh4"),
    sources=("own choice of rates; acetic acid keeps nearly all the energy of sugar",),
    note="no methane, no loss of acids with the gas, no effect of pH",
)


def acid_heat(kinetics: Kinetics) -> float:
    """Heat of oxidising 1 kg of acid [J/kg], less what fermentation has set free."""
    whole = of_substance("acid").oxygen * kinetics.heat_per_oxygen
    return (1.0 - kinetics.anoxic_heat) * whole


def pool_columns(kinetics: Kinetics, classes: NDArray[np.int8], table: Floats) -> None:
    """Fill what each pool gives as it ferments."""
    acid = of_substance("acid")
    for p, kind in enumerate(int(c) for c in classes):
        if not FERMENTS[kind]:
            continue
        whole = oxidations()[kind]
        made = whole.carbon / acid.carbon
        table[p, kernel.ACID] = made
        table[p, kernel.ACID_WATER] = whole.water - made * acid.water
        table[p, kernel.ACID_HEAT] = whole.oxygen * kinetics.heat_per_oxygen - made * acid_heat(
            kinetics
        )


def fill(par: Floats, kinetics: Kinetics) -> None:
    """Put the constants of this process into the parameter row of the kernel."""
    acid, microbe = of_substance("acid"), of_substance("bacteria")
    share = kinetics.biomass_yield
    par[kernel.ANOXIC] = kinetics.anoxic_share
    par[kernel.K_ACID] = kinetics.k_acid / DAY_S
    par[kernel.ACID_O2] = acid.oxygen - share * microbe.oxygen
    par[kernel.ACID_C] = acid.carbon - share * microbe.carbon
    par[kernel.ACID_W] = acid.water - share * microbe.water
    par[kernel.ACID_LACK] = acid.oxygen * kinetics.heat_per_oxygen - acid_heat(kinetics)
