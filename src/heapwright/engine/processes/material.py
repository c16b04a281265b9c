"""The material as it is now: air space, permeability, conduction of heat, activity of its water.

Units: SI. Conventions: air flows between particles only; what is known of the material when built
stands in the parameters, and here it follows mass and water. Worked out every few steps, since it
changes slowly.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.kernels import gas, transport
from heapwright.engine.kernels import material as kernel
from heapwright.engine.process import Process

__all__ = ["PROCESS", "look"]

PROCESS = Process(
    name="material: pores, permeability, conduction",
    reads=("pools", "ash", "biomass", "acid", "water_m", "water_f"),
    writes=(),
    sources=(
        "air-filled space: Richard et al. 2004 (from memory), between particles only",
        "permeability with eps^3/(1 - eps)^2: Kozeny and Carman",
        "conductivity linear in water: Ahn et al. 2009",
    ),
    note="ageing of the permeability is one factor from the start; pores are alike in a cell",
)


def look(host: Any) -> None:
    """Fill moisture, pores, permeability, conductivity and activity, and conductances of faces."""
    w, m = host.work, host.mesh
    kernel.material(
        m.cells, m.dx_m**3, w["dry"], w["water"], host.eps0, host.material_par,
        w["moisture"], w["pores"], w["permeability"], w["conductivity"], w["activity"],
    )  # fmt: skip
    gas.tortuosity(host.runs, w["pores"], host.gas_par, w["tortuous"])
    transport.heat_faces(
        host.runs, host.sy, host.sz, host.active, m.dx_m, w["conductivity"],
        w["kx"], w["ky"], w["kz"],
    )  # fmt: skip
