"""Nitrogen: freed by decay, taken up by growth, lost as ammonia with the gas.

Units: kg N, 1/s. Conventions: a pool frees the nitrogen it holds; growth takes ammonium up to the
C:N of microbes, less where there is less; ammonium in the water stands in equilibrium with ammonia
in the gas, and the gas that runs through carries it away, times the share that escapes the heap.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.process import Process
from heapwright.science.decay import ammonia_partition
from heapwright.science.values import value

__all__ = ["PROCESS", "fill", "warm_columns"]

Floats = NDArray[np.float64]
_PRESSURE_PA = 101325.0

PROCESS = Process(
    name="nitrogen",
    reads=("n_org", "n_nh4", "pools", "biomass", "temp_c", "water_m", "water_f", "p_pa"),
    writes=("n_org", "n_nh4", "nh3_lost"),
    sources=(
        "Emerson et al. 1975, J. Fish. Res. Board Can. 32:2379 (pKa; from memory)",
        "Sander's compilation of Henry's law constants (from memory)",
        "Michel, Reddy and Forney 1993 (C:N 22 to 48 all rot)",
    ),
    note="constant pH; no nitrate, no nitrous oxide, no ammonia caught again in cooler cells",
)


def warm_columns(kinetics: Kinetics, temp_c: Floats, table: Floats) -> None:
    """Fill the ammonia column of the table of temperature."""
    table[:, kernel.AMMONIA] = ammonia_partition(temp_c, ph=kinetics.compost_ph)


def fill(par: Floats, kinetics: Kinetics) -> None:
    """Put the constants of this process into the parameter row of the kernel."""
    par[kernel.ESCAPE] = kinetics.ammonia_escape
    par[kernel.GAS_PER_K] = value("engine", "r_gas").value / _PRESSURE_PA
