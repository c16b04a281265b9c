"""Flow of gas through a heap: density with vapour and carbon dioxide, pressure, fluxes of dry gas.

Units: SI; pressure relative to the hydrostatic pressure outside [Pa], fluxes [mol/s] of dry gas.
Conventions: quasi-steady; wind presses on the windward side (-x) and pulls at the lee; the skin
and open pipes stand at the pressure outside, blowers at theirs; the ground is closed.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from heapwright.engine.kernels import flow as kernel
from heapwright.engine.kernels import gas
from heapwright.engine.process import Process

__all__ = ["PROCESS", "density_outside", "move", "properties"]

#: pressure a blower begins with, and can reach [Pa]
_FIRST_PA, _MOST_PA = 20.0, 5000.0
_MOST = 2000

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


def properties(host: Any, pressure_pa: float) -> Any:
    """Fill dry gas, vapour, density and diffusion of every cell; gives the gas parameters."""
    w, s = host.work, host.state
    par = host.par.gas(pressure_pa)
    gas.properties(
        host.mesh.cells, s.temp_c, s.o2, w["activity"], w["pores"], host.water_c, host.ice_c,
        par, w["dry_gas"], w["ratio"], w["rho"], w["spread"],
    )  # fmt: skip
    return par


def move(host: Any, air: Any, par: Any) -> None:
    """Solve the pressure and fill the fluxes of inner and open faces."""
    w, s, m, p = host.work, host.state, host.mesh, host.par
    runs, sy, sz, n = host.runs, host.sy, host.sz, host.n_open
    outside = density_outside(air, p)
    gas.conductances(
        runs, sy, sz, host.active, m.dx_m, w["permeability"], p.kz_over_kh, w["spread"],
        w["dry_gas"], w["rho"], outside, par, w["gx"], w["gy"], w["gz"], w["hz"], w["dox"],
        w["doy"], w["doz"],
    )  # fmt: skip
    host.closed.fill(host.cover)
    gas.open_faces(
        host.fcell, host.fdir, m.dx_m, w["permeability"], p.kz_over_kh, w["spread"], w["dry_gas"],
        w["rho"], outside, par, host.closed, host.bg[:n], host.bh[:n], host.bd[:n],
    )  # fmt: skip
    gust = 0.5 * outside * air.wind_m_s**2 * p.wind_pressure
    np.multiply(host.windward, gust, out=host.bp[:n])
    at = n
    for line in host.lines:
        k = line.cells.size
        around = max(math.log(0.2 * m.dx_m / line.radius_m), 0.5)
        shape = 2 * math.pi * m.dx_m / around * line.holes / p.viscosity
        host.bg[at : at + k] = w["dry_gas"][line.cells] * w["permeability"][line.cells] * shape
        host.bp[at : at + k] = line.pressure_pa
        at += k
    kernel.diagonal(
        runs, sy, sz, w["gx"], w["gy"], w["gz"], host.bcell, host.bg, w["p_diag"], w["p_inverse"]
    )
    kernel.right_side(
        runs, sz, w["gz"], w["hz"], w["nothing"], host.bcell, host.bg, host.bh, host.bp, w["p_rhs"]
    )
    kernel.extrapolate(runs, s.p_pa, w["p_before"])
    done, _ = kernel.solve_pressure(
        runs, sy, sz, w["gx"], w["gy"], w["gz"], w["p_diag"], w["p_inverse"], w["p_rhs"], s.p_pa,
        w["c1"], w["c2"], w["c3"], host.pressure_tolerance, _MOST,
    )  # fmt: skip
    host.iterations += done
    kernel.fluxes(
        runs, sy, sz, w["gx"], w["gy"], w["gz"], w["hz"], s.p_pa, host.bcell, host.bg, host.bh,
        host.bp, w["fx"], w["fy"], w["fz"], host.bf,
    )  # fmt: skip
    _blow(host, air)


def _blow(host: Any, air: Any) -> None:
    """Fit the pressure of blowers that are given by their flow, for the next step."""
    at = host.n_open
    for line in host.lines:
        k = line.cells.size
        if line.flow_l_s > 0:
            molar = air.pressure_pa / (host.par.r_gas * (air.temp_c + 273.15))
            given = -float(host.bf[at : at + k].sum()) / molar * 1000.0
            if line.pressure_pa <= 0 or given <= 0:
                line.pressure_pa = max(2.0 * line.pressure_pa, _FIRST_PA)
            else:
                factor = min(max(line.flow_l_s / given, 0.2), 5.0)
                line.pressure_pa = min(line.pressure_pa * factor, _MOST_PA)
        at += k


def density_outside(air: Any, par: Any) -> float:
    """Density of the air outside [kg/m3], vapour included."""
    rt = par.r_gas * (air.temp_c + 273.15)
    dry = (air.pressure_pa - air.vapour_pa) / rt
    return float(dry * par.molar_mass_dry_air + air.vapour_pa / rt * par.molar_mass_water)
