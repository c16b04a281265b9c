"""The ground under a heap: heat into soil layers and back.

Units: degrees C, W, m. Conventions: one column of layers under every ground face, coarser with
depth, no exchange between columns; below the last layer the soil keeps its temperature.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.kernels import passes
from heapwright.engine.process import Process

__all__ = ["PROCESS", "enter"]

PROCESS = Process(
    name="ground",
    reads=("temp_c", "soil_c", "water_m", "water_f"),
    writes=("enthalpy_j", "soil_c"),
    sources=("moist soil 1.0 W/mK, 2.0 MJ/m3K: general tables (from memory)",),
    note="dry for water: what drains is gone; frost in the soil is left out",
)


def enter(host: Any) -> None:
    """Enter the heat that the ground has given since the last call."""
    if host.gcell.size:
        host.enter(host.ledger.energy, "ground", passes.GROUND)
