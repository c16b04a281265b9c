"""The ground under a heap: heat into soil layers and back.

Units: degrees C, W, m. Conventions: one column of layers under every ground face, coarser with
depth, no exchange between columns; below the last layer the soil keeps its temperature.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.kernels import soil as kernel
from heapwright.engine.process import Process

__all__ = ["PROCESS", "conduct"]

PROCESS = Process(
    name="ground",
    reads=("temp_c", "soil_c", "water_m", "water_f"),
    writes=("enthalpy_j", "soil_c"),
    sources=("moist soil 1.0 W/mK, 2.0 MJ/m3K: general tables (from memory)",),
    note="dry for water: what drains is gone; frost in the soil is left out",
)


def conduct(host: Any, air: Any, dt: float) -> None:
    """Move heat between the heap and the soil under it."""
    if not host.gcell.size:
        return
    given, _ = kernel.soil_step(
        host.gcell, dt, host.mesh.dx_m, host.work["conductivity"], host.state.temp_c,
        host.state.soil_c, host.thickness, host.par.soil_conductivity, host.par.soil_capacity,
        air.deep_c, host.work["heat"],
    )  # fmt: skip
    host.ledger.energy.add("ground", float(given) * dt)
