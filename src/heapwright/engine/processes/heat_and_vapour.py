"""Heat and vapour inside a heap: conduction, gas flow, diffusion of vapour, air along pipes.

Units: W, kg/s, seconds. Conventions: explicit, limited to second order in space inside the heap;
vapour carries its enthalpy 2.501e6 + 1860 T, so that evaporation and condensation need no term of
their own. The step is cut to 0.8 of the stable one, the latent slope included.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.kernels import passes
from heapwright.engine.process import Process

__all__ = ["PROCESS", "enter"]

PROCESS = Process(
    name="heat and vapour inside the heap",
    reads=("temp_c", "water_m", "water_f", "pools", "ash", "biomass", "acid", "o2", "p_pa"),
    writes=("enthalpy_j", "water_m"),
    sources=(
        "enthalpy of vapour 2.501e6 + 1860 T J/kg: general tables (from memory)",
        "limiter: van Leer 1974 (from memory)",
        "air relaxes to the wall along a pipe: slow flow, about 5 W/m2K (own choice)",
    ),
    note="gas and material of a cell have one temperature",
)


def enter(host: Any) -> None:
    """Enter what the air that flows has brought since the last call."""
    energy, water = host.ledger.energy, host.ledger.water
    if host.lines:
        host.enter(energy, "pipe walls", passes.PIPE_WALLS)
    host.enter(energy, "dry air", passes.DRY_AIR)
    host.enter(energy, "vapour with the air flow", passes.FLOWN_HEAT)
    host.enter(water, "vapour with the air flow", passes.FLOWN_VAPOUR)
