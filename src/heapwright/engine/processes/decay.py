"""Decay of the pools of organic matter: what it reads and writes, and its rows for the kernel.

Units: rates 1/s in the table, kg per kg of pool, J/kg. Conventions: a pool loses
k s f_T f_w f_N A y/(K + y); soluble matter, protein, fat and hemicellulose by the better of
mesophiles and thermophiles, cellulose and lignin of wood by the fungi as well. What is out of reach
in a chip goes with the lignin that encloses it: at its rate, and by fungi too. f_N counts what can
be reached: pools but lignin and what it encloses, microbes and ammonium.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import DAY_S, REACHABLE, Kinetics, oxidations
from heapwright.engine.process import Process
from heapwright.science.decay import moisture_logistic
from heapwright.science.stoichiometry import of_substance

__all__ = ["PROCESS", "fill", "pool_rows", "wet_table"]

Floats = NDArray[np.float64]

PROCESS = Process(
    name="decay of organic matter",
    reads=(
        "pools", "temp_c", "water_m", "water_f", "ash", "biomass", "acid", "act_m", "act_t",
        "act_f", "n_org", "n_nh4", "o2",
    ),
    writes=("pools", "biomass", "n_org", "n_nh4"),
    sources=(
        "Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447",
        "Haug 1993, Practical Handbook of Compost Engineering (first order, product of factors)",
        "Haug 1980, as in Polprasert 2007 (formulas of the classes)",
        "Michel, Reddy and Forney 1993 (rates of leaf and grass fractions)",
    ),
    note="the moisture factor is the same for bacteria and fungi; macrofauna is left out",
)  # fmt: skip


def wet_table(kinetics: Kinetics, rows: int = 401) -> Floats:
    """The moisture factor at ``rows`` moistures from 0 to 1, for the kernel."""
    moisture = np.linspace(0.0, 1.0, rows)
    found = moisture_logistic(
        moisture, midpoint=kinetics.moisture_midpoint, slope=kinetics.moisture_slope
    )
    return np.asarray(found, dtype=np.float64)


def pool_rows(
    kinetics: Kinetics, classes: NDArray[np.int8], k_per_d: Floats, nitrogen: Floats, woody: Floats
) -> Floats:
    """The table of pools for the kernel, acids left at nought.

    classes (P,) : index into `CLASSES`; k_per_d (P,) [1/d]; nitrogen (P,) [kg/kg of pool];
    woody (P,) : 1 where cellulose and lignin are of wood, which fungi take too.
    """
    table = np.zeros((classes.size, kernel.POOL_COLUMNS))
    microbe, share = of_substance("bacteria"), kinetics.biomass_yield
    for p, kind in enumerate(int(c) for c in classes):
        whole = oxidations()[kind]
        table[p, kernel.K_BEST] = k_per_d[p] / DAY_S
        table[p, kernel.BY_FUNGI] = woody[p] if kind >= 4 else 0.0
        table[p, kernel.NITROGEN] = nitrogen[p]
        table[p, kernel.REACH] = whole.carbon if REACHABLE[kind] else 0.0
        table[p, kernel.OXYGEN] = whole.oxygen - share * microbe.oxygen
        table[p, kernel.CARBON] = whole.carbon - share * microbe.carbon
        table[p, kernel.WATER] = whole.water - share * microbe.water
    return table


def fill(par: Floats, kinetics: Kinetics) -> None:
    """Put the constants of this process into the parameter row of the kernel."""
    carbon = of_substance("carbohydrate")
    par[kernel.K_OXYGEN] = kinetics.k_oxygen
    par[kernel.FUNGAL_RATE] = kinetics.fungal_rate
    par[kernel.LIMIT_CN] = kinetics.limiting_cn
    par[kernel.HEAT_PER_O2] = kinetics.heat_per_oxygen
    par[kernel.CO2_PER_C] = carbon.carbon_dioxide / carbon.carbon
