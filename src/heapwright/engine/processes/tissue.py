"""Respiration of living tissue: fresh chips warm themselves before microbes do.

Units: 1/s in the table, share of the tissue that still lives 0 to 1. Conventions: parenchyma of
bark and sapwood goes on eating the soluble matter of its own piece, from the day of chipping, with
a Q10 instead of an optimum; it dies away by itself, and within hours above its limit. What it burns
counts as the soluble pool of wood that is not fine; what it keeps of it counts as microbes. Only
the usual kinetics has it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import DAY_S, Kinetics
from heapwright.engine.process import Process
from heapwright.science.values import value

__all__ = ["PROCESS", "pool_column", "warm_columns"]

Floats = NDArray[np.float64]

PROCESS = Process(
    name="respiration of living wood",
    reads=("living", "pools", "temp_c", "water_m", "water_f", "ash", "biomass", "acid", "o2",
           "n_org", "n_nh4"),
    writes=("living", "pools", "biomass", "n_org", "n_nh4"),
    sources=(
        "living cells heat fresh piles in their first weeks: Assarsson 1969, Springer and Hajny "
        "1970 (from memory)",
        "respiration of sapwood of willow and poplar stems, 50-300 umol CO2 a m3 and s at 20 C "
        "(from memory, low confidence)",
    ),
    note="as alive in every chip of a heap, however long it has lain; leaf and grass left out",
)  # fmt: skip


def pool_column(
    kinetics: Kinetics, classes: NDArray[np.int8], fresh: Floats, table: Floats
) -> None:
    """Fill the rate at which tissue eats the soluble pools of fresh wood, at 20 C [1/s]."""
    if fresh.size:
        table[:, kernel.K_TISSUE] = kinetics.k_tissue / DAY_S * fresh * (classes == 0)


def warm_columns(kinetics: Kinetics, temp_c: Floats, table: Floats) -> None:
    """Fill how fast tissue breathes against 20 C, and how fast it dies [1/s]."""
    limit = value("kinetics", "tissue_dies_above").value
    warm = kinetics.tissue_q10 ** ((np.minimum(temp_c, limit) - 20.0) / 10.0)
    table[:, kernel.TISSUE] = np.where(temp_c > 0.0, warm, 0.0)
    hot = np.maximum(temp_c - limit, 0.0)
    table[:, kernel.DIE_TISSUE] = kinetics.tissue_dies / DAY_S * (1.0 + hot * 20.0)
