"""Microbes: a share of what is decomposed becomes microbes, and is oxidised when they decay.

Units: kg, 1/s. Conventions: composition of bacteria (C5H7O2N) for all; oxygen, heat, water and
carbon dioxide of that share come when the microbes decay, not when they grow. Decay of microbes
follows the best of the temperature curves, moisture and oxygen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import DAY_S, Kinetics
from heapwright.engine.process import Process
from heapwright.science.stoichiometry import of_substance

__all__ = ["PROCESS", "fill"]

Floats = NDArray[np.float64]

PROCESS = Process(
    name="growth and decay of microbes",
    reads=("biomass", "pools", "acid", "temp_c", "water_m", "water_f", "ash", "n_org", "o2"),
    writes=("biomass", "n_org", "n_nh4"),
    sources=(
        "Sole-Mauri et al. 2007 (yield 0.35)",
        "Haug 1980, as in Polprasert 2007 (formula of bacteria)",
    ),
    note="one kind of microbe, no humus formed from the dead",
)


def fill(par: Floats, kinetics: Kinetics) -> None:
    """Put the constants of this process into the parameter row of the kernel."""
    microbe = of_substance("bacteria")
    par[kernel.YIELD] = kinetics.biomass_yield
    par[kernel.UPKEEP] = kinetics.biomass_decay / DAY_S
    par[kernel.BIO_O2] = microbe.oxygen
    par[kernel.BIO_C] = microbe.carbon
    par[kernel.BIO_W] = microbe.water
    par[kernel.BIO_N] = microbe.carbon / kinetics.biomass_cn
