"""Flow of gas through a heap: density with vapour and carbon dioxide, pressure, fluxes of dry gas.

Units: SI; pressure relative to the hydrostatic pressure outside [Pa], fluxes [mol/s] of dry gas.
Conventions: quasi-steady; wind presses on the windward side (-x) and pulls at the lee; the skin
and open pipes stand at the pressure outside, blowers at theirs; the ground is closed.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.kernels import gas
from heapwright.engine.process import Process

__all__ = ["PROCESS", "properties"]

PROCESS = Process(
    name="flow of gas",
    reads=("temp_c", "o2", "water_m", "water_f", "pools", "ash", "biomass", "acid", "p_pa"),
    writes=("p_pa",),
    sources=(
        "Darcy's law with buoyancy: Nield and Bejan, Convection in Porous Media (from memory)",
        "flow from a line to the cells around it: Peaceman 1978 (from memory)",
        "pressure coefficient of wind: own choice, see engine.toml",
    ),
    note="no friction along pipes; wind always blows along +x; as much carbon dioxide as oxygen",
)


def properties(host: Any, pressure_pa: float) -> None:
    """Fill dry gas, vapour, density and diffusion of every cell."""
    w, s = host.work, host.state
    host.gas_par[gas.P_AIR] = pressure_pa
    gas.properties(
        host.runs, s.temp_c, s.o2, w["activity"], w["tortuous"], host.table, host.gas_par,
        w["dry_gas"], w["ratio"], w["rho"], w["spread"],
    )  # fmt: skip
