"""Heat and vapour inside a heap: conduction, gas flow, diffusion of vapour, air along pipes.

Units: W, kg/s, seconds. Conventions: explicit, limited to second order in space inside the heap;
vapour carries its enthalpy 2.501e6 + 1860 T, so that evaporation and condensation need no term of
their own. The step is cut to 0.8 of the stable one, the latent slope included.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from heapwright.engine.kernels import pipes, transport
from heapwright.engine.process import Process

__all__ = ["PROCESS", "carry", "stable"]

_LIMIT = 0.8
#: heat passing from air to the wall of a pipe [W/m2K], slow flow
_WALL = 5.0

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


def stable(host: Any, dt: float) -> float:
    """The longest stable step up to *dt* [s]."""
    w, s = host.work, host.state
    best = transport.shortest_step(
        host.runs, host.sy, host.sz, w["kx"], w["ky"], w["kz"], w["dox"], w["doy"], w["doz"],
        w["fx"], w["fy"], w["fz"], host.bcell, host.bf, host.bextra, s.temp_c, w["ratio"],
        w["capacity"], host.transport_par, w["c1"],
    )  # fmt: skip
    return float(min(dt, _LIMIT * best))


def carry(host: Any, air: Any, dt: float) -> None:
    """Add what inner faces, pipes and the air flow through the skin bring to every cell."""
    w, s, m = host.work, host.state, host.mesh
    heat, vapour = w["heat"], w["vapour"]
    ratio = air.vapour_pa / (air.pressure_pa - air.vapour_pa)
    host.bt.fill(air.temp_c)
    host.bw.fill(ratio)
    transport.inner(
        host.runs, host.sy, host.sz, host.active, w["kx"], w["ky"], w["kz"], w["dox"], w["doy"],
        w["doz"], w["fx"], w["fy"], w["fz"], s.temp_c, w["ratio"], host.order,
        host.transport_par, heat, vapour,
    )  # fmt: skip
    at, walls = host.n_open, np.zeros(1)
    for line in host.lines:
        k = line.cells.size
        split = at + (k + 1) // 2 if line.both_open else at + k
        pipes.pipe_air(
            at, at + k, split, host.bcell, host.bf, s.temp_c, w["ratio"], air.temp_c, ratio,
            _WALL * 2 * math.pi * line.radius_m * m.dx_m, host.par.cp_dry_gas, host.bt, host.bw,
            heat, walls,
        )  # fmt: skip
        at += k
    total = np.zeros(3)
    transport.through_faces(
        host.bcell, host.bf, host.bt, host.bw, s.temp_c, w["ratio"], host.transport_par, heat,
        vapour, total,
    )  # fmt: skip
    energy, water = host.ledger.energy, host.ledger.water
    if host.lines:
        energy.add("pipe walls", float(walls[0]) * dt)
    energy.add("dry air", float(total[0]) * dt)
    energy.add("vapour with the air flow", float(total[1]) * dt)
    water.add("vapour with the air flow", float(total[2]) * dt)
