"""Oxygen in the pores: carried by the gas, spreading, taken up by decay.

Units: mole fraction of dry gas, mol, seconds. Conventions: implicit Euler with the uptake in the
matrix, so that oxygen can neither turn negative nor overshoot; what decay uses afterwards is the
same number to round-off.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.kernels import uptake
from heapwright.engine.process import Process

__all__ = ["PROCESS", "enter"]

PROCESS = Process(
    name="oxygen",
    reads=(
        "o2", "temp_c", "pools", "biomass", "acid", "act_m", "act_t", "act_f", "living",
        "n_org", "n_nh4", "water_m", "water_f", "ash", "p_pa",
    ),
    writes=("o2",),
    sources=(
        "effective diffusion D0 eps^1.8: see engine.toml",
        "Monod uptake, half-saturation 0.03: Richard, Walker and Gossett 2006; Haug 1993",
    ),
    note="the pores' gas is moved at the fluxes of the beginning of the step",
)  # fmt: skip


def enter(host: Any) -> None:
    """Enter what has happened since the last call into the account."""
    sums, account = host.breath, host.ledger.oxygen
    account.add("used", -float(sums[uptake.USED]))
    account.add("with the air flow", float(sums[uptake.CARRIED]), moved=float(sums[uptake.MOVED]))
    account.add("by diffusion", float(sums[uptake.SPREAD]))
    account.add("gas that came or went with warmth", float(sums[uptake.GREW]))
    sums[:] = 0.0
