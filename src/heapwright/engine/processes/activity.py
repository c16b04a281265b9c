"""Activity of mesophiles, thermophiles and fungi: growth with oxygen, death by heat.

Units: activity 0 to 1, table in 1/s and degrees C. Conventions: dA/dt = mu f_T f_w y/(K+y) A (1-A);
above the limit of a group its activity dies towards a floor, from 70 C ever faster. The curve of
fungi is the better of wood fungi and thermophilic fungi.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import DAY_S, Kinetics
from heapwright.engine.process import Process
from heapwright.science.decay import cardinal, inactivation
from heapwright.science.values import value

__all__ = ["PROCESS", "fill", "warm_columns"]

Floats = NDArray[np.float64]

PROCESS = Process(
    name="activity of microbes",
    reads=("temp_c", "water_m", "water_f", "pools", "ash", "biomass", "acid", "o2", "act_m",
           "act_t", "act_f"),
    writes=("act_m", "act_t", "act_f"),
    sources=(
        "Rosso, Lobry and Flandrois 1993, J. Theor. Biol. 162:447",
        "Sole-Mauri et al. 2007 (growth rates)",
        "Deacon, Fungal Biology, ch. 11 (heat kills fungi above 60-65 C)",
    ),
    note="activity does not fall by starvation; what a turn does to fungi is weakly known",
)  # fmt: skip


def warm_columns(kinetics: Kinetics, temp_c: Floats, table: Floats) -> None:
    """Fill growth and death of the groups at the temperatures of the table's rows."""
    wood = cardinal(temp_c, kinetics.wood_fungi)
    table[:, kernel.MESO] = cardinal(temp_c, kinetics.mesophilic)
    table[:, kernel.THERMO] = cardinal(temp_c, kinetics.thermophilic)
    table[:, kernel.FUNGI] = np.maximum(wood, cardinal(temp_c, kinetics.thermophilic_fungi))
    strength = kinetics.death / value("kinetics", "death").value / DAY_S
    for column, group in (
        (kernel.DIE_MESO, "mesophilic"),
        (kernel.DIE_THERMO, "thermophilic"),
        (kernel.DIE_FUNGI, "fungi"),
    ):
        limit = value("kinetics", f"death_above_{group}").value
        table[:, column] = inactivation(temp_c, above_c=limit) * strength


def fill(par: Floats, kinetics: Kinetics) -> None:
    """Put the constants of this process into the parameter row of the kernel."""
    par[kernel.MU_BACTERIA] = kinetics.mu_bacteria / DAY_S
    par[kernel.MU_FUNGI] = kinetics.mu_fungi / DAY_S
    par[kernel.FLOOR_BACTERIA] = kinetics.floor_bacteria
    par[kernel.FLOOR_FUNGI] = kinetics.floor_fungi
