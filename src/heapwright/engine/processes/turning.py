"""Turning: all cells mixed, the pores opened again, warmth and vapour lost on the way.

Units: SI, shares 0 to 1. Conventions: a turn mixes outside in until every cell holds the same
matter; a share of the heat above the air is lost, part of it as vapour; the air in the pores is
changed; the growth of fungi is broken. Pipes are laid again as they were.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from heapwright.engine.mesh import Mesh
from heapwright.engine.process import Process
from heapwright.engine.state import AMOUNTS, BY_MASS, Floats, State, empty_state

__all__ = ["PROCESS", "cooled", "mixed"]

PROCESS = Process(
    name="turning",
    reads=(
        "enthalpy_j", "temp_c", "water_m", "water_f", "pools", "ash", "biomass", "acid", "act_m",
        "act_t", "act_f", "living", "n_org", "n_nh4", "nh3_lost", "soil_c",
    ),
    writes=(
        "enthalpy_j", "temp_c", "water_m", "water_f", "pools", "ash", "biomass", "acid", "act_m",
        "act_t", "act_f", "living", "n_org", "n_nh4", "nh3_lost", "o2", "p_pa", "soil_c",
    ),
    sources=(
        "turn and loss of heat: own choice, a turned heap falls by a third and is back in a day",
        "turning breaks hyphal networks (weak evidence)",
    ),
    note="one turn mixes completely; by hand it does not",
)  # fmt: skip


def mixed(state: State, old: Mesh, new: Mesh, soil_c: Floats) -> State:
    """The matter of all cells of *old*, spread evenly over the cells of *new*."""
    c, to = old.cells, new.cells
    made = empty_state(new, state.pools.shape[0], state.soil_c.shape[1])
    dry = state.dry_kg[c]
    for name in AMOUNTS:
        getattr(made, name)[to] = getattr(state, name)[c].sum() / to.size
    made.pools[:, to] = state.pools[:, c].sum(axis=1)[:, None] / to.size
    for name in BY_MASS:
        getattr(made, name)[to] = np.average(getattr(state, name)[c], weights=dry)
    made.temp_c[to] = state.temp_c[c].mean()
    made.soil_c = soil_c
    return made


def cooled(host: Any, air_c: float) -> tuple[float, float, float]:
    """Take the warmth lost in a turn out of the heap of *host*.

    Returns heat that left with the air [J], heat that left with vapour [J], and vapour [kg].
    """
    s, w, p, c = host.state, host.work, host.par, host.mesh.cells
    excess = np.maximum(w["capacity"][c] * (s.temp_c[c] - air_c), 0.0)
    lost = p.turn_heat_lost * excess
    latent = p.latent_0c + (p.cp_vapour - p.cp_water) * s.temp_c[c]
    vapour = np.minimum(p.turn_as_vapour * lost / latent, 0.5 * s.water_m[c])
    carried = vapour * (p.latent_0c + p.cp_vapour * s.temp_c[c])
    dry = lost - vapour * latent
    s.water_m[c] -= vapour
    s.enthalpy_j[c] -= dry + carried
    return float(dry.sum()), float(carried.sum()), float(vapour.sum())
