"""Oxygen in the pores: carried by the gas, spreading, taken up by decay.

Units: mole fraction of dry gas, mol, seconds. Conventions: implicit Euler with the uptake in the
matrix, so that oxygen can neither turn negative nor overshoot; what decay uses afterwards is the
same number to round-off.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.kernels import oxygen as kernel
from heapwright.engine.kernels import uptake
from heapwright.engine.process import Process

__all__ = ["PROCESS", "breathe"]

_KG_PER_MOL = 0.031998
_MOST = 200

PROCESS = Process(
    name="oxygen",
    reads=(
        "o2", "temp_c", "pools", "biomass", "acid", "act_m", "act_t", "act_f", "n_org", "n_nh4",
        "water_m", "water_f", "ash", "p_pa",
    ),
    writes=("o2",),
    sources=(
        "effective diffusion D0 eps^1.8: see engine.toml",
        "Monod uptake, half-saturation 0.03: Richard, Walker and Gossett 2006; Haug 1993",
    ),
    note="the pores' gas is moved at the fluxes of the beginning of the step",
)  # fmt: skip


def breathe(host: Any, dt: float) -> None:
    """Solve the oxygen at the end of the step and enter it into the account."""
    w, s, m = host.work, host.state, host.mesh
    runs, sy, sz, half = host.runs, host.sy, host.sz, host.par.k_oxygen
    volume = m.dx_m**3
    host.biology.rates(s, w)
    uptake.prepare(
        m.cells, dt, volume, _KG_PER_MOL, host.par.oxygen_in_air, w["o2_max"], w["dry_gas"],
        w["pores"], s.o2, w["y_before"], w["y_old"], w["demand"], w["storage"],
    )  # fmt: skip
    kernel.coefficients(
        runs, sy, sz, w["storage"], w["nothing"], w["dox"], w["doy"], w["doz"], w["fx"], w["fy"],
        w["fz"], host.bcell, host.bd, host.bf, host.by, w["y_old"], w["y_diag"], w["y_rhs"],
        host.into, host.out_of,
    )  # fmt: skip
    done, _ = kernel.solve_oxygen(
        runs, sy, sz, w["demand"], half, w["y_diag"], w["y_rhs"], host.into, host.out_of, s.o2,
        w["c1"], w["c2"], host.oxygen_tolerance, _MOST,
    )  # fmt: skip
    host.sweeps += done
    sums = host.breath
    uptake.account(
        m.cells, volume, half, host.par.oxygen_in_air, w["demand"], w["dry_gas"],
        w["pores"], w["gas_held"], s.o2, w["y_old"], host.bcell, host.bd, host.bf, host.by, sums,
    )  # fmt: skip
    account = host.ledger.oxygen
    account.add("used", -float(sums[uptake.USED]) * dt)
    moved = float(sums[uptake.MOVED]) * dt
    account.add("with the air flow", float(sums[uptake.CARRIED]) * dt, moved=moved)
    account.add("by diffusion", float(sums[uptake.SPREAD]) * dt)
    account.add("gas that came or went with warmth", float(sums[uptake.GREW]))
