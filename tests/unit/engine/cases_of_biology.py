"""Arguments for the kernels of decay, for the test that compares compiled with plain Python."""

from __future__ import annotations

from typing import Any

import numpy as np

from heapwright.engine.biology import Decay
from heapwright.engine.composition import chips
from heapwright.engine.kernels import biology, six_groups
from heapwright.engine.mesh import box_mesh
from heapwright.engine.six_groups import SixGroups
from heapwright.engine.state import State, Work, empty_state

MESH = box_mesh(4, 3, 3, 0.1)


def heap(kinetics: Decay | SixGroups, seed: int) -> tuple[State, Work]:
    """A heap in the midst of rotting, every cell different, with gas that runs through."""
    rng = np.random.default_rng(seed)
    state, work, c = empty_state(MESH, kinetics.rows, 1), Work(MESH), MESH.cells
    kinetics.start(state, MESH, rng.uniform(0.1, 0.3, c.size))
    state.pools[:, c] *= rng.uniform(0.2, 1.0, (kinetics.rows, c.size))
    state.pools[2, c[:5]] = 0.0
    state.n_nh4[c] = rng.uniform(0, 1e-3, c.size)
    state.temp_c[c] = rng.uniform(0, 80, c.size)
    state.o2[c] = rng.uniform(0, 0.21, c.size)
    state.o2[c[:6]] = 0.0
    work["water"][c] = rng.uniform(0.1, 0.4, c.size)
    work["moisture"][c] = rng.uniform(0.3, 0.7, c.size)
    for name in ("fx", "fy", "fz"):
        work[name][c] = rng.normal(0, 1e-3, c.size)
    work["gas_through"][c] = rng.uniform(0, 2e-3, c.size)
    if isinstance(kinetics, Decay):
        state.biomass[c] = rng.uniform(0, 0.02, c.size)
        state.acid[c] = rng.uniform(0, 0.02, c.size)
        for field in (state.act_m, state.act_t, state.act_f, state.living):
            field[c] = rng.uniform(0, 1, c.size)
    return state, work


def _first(seed: int) -> dict[str, Any]:
    k = Decay(chips(0.1))
    s, w = heap(k, seed)
    factors, zero = np.zeros((biology.FACTOR_ROWS, MESH.size)), MESH.field
    before = np.random.default_rng(seed + 1).uniform(0, 1, factors.shape)
    rates = [
        MESH.cells, s.temp_c, w["moisture"], s.pools, s.biomass, s.acid, s.act_m, s.act_t, s.act_f,
        s.living, s.n_org, s.n_nh4, k.pool_par, k.par, k.warm, k.wet, 0.5, before, factors, zero(),
    ]  # fmt: skip
    done = np.random.default_rng(seed).uniform(0, 1, factors.shape)
    flux = [w[name].astype(np.float64) for name in ("fx", "fy", "fz")]
    return {
        "rates": (biology.rates, rates),
        "advance": (
            biology.advance,
            [MESH.cells, 1200.0, s.temp_c, w["water"], s.o2, w["gas_through"], s.pools, s.biomass,
             s.acid, s.act_m, s.act_t, s.act_f, s.living, s.n_org, s.n_nh4, s.nh3_lost,
             k.pool_par, k.par, k.warm, k.wet, w["moisture"], done, zero(), zero(), zero(), zero()],
        ),
        "_ahead": (biology._ahead, [0.4, 0.3, 0.5]),
        "_ahead of nothing": (biology._ahead, [0.1, 0.9, 0.5]),
        "_place": (biology._place, [51.3, k.warm.shape[0]]),
        "_place below the table": (biology._place, [-300.0, k.warm.shape[0]]),
        "_place above the table": (biology._place, [300.0, k.warm.shape[0]]),
        "_wetness": (biology._wetness, [0.4711, k.wet]),
        "_wetness, all water": (biology._wetness, [1.0, k.wet]),
        "_activity": (biology._activity, [0.3, 0.1, 0.02, 0.01]),
        "_activity below its floor": (biology._activity, [0.001, 0.0, 0.02, 0.01]),
        "gas_through": (
            biology.gas_through,
            [MESH.runs, MESH.sy, MESH.sz, *flux, zero()],
        ),
    }  # fmt: skip


def _second(seed: int) -> dict[str, Any]:
    k = SixGroups(chips(0.1))
    s, w = heap(k, seed)
    kinds, zero = k.pool_par.shape[0], MESH.field
    factors = np.zeros((six_groups.FACTOR_ROWS, MESH.size))
    rng = np.random.default_rng(seed)
    done = rng.uniform(0, 1, factors.shape)
    done[six_groups.UPTAKE] /= 3600.0
    i = MESH.cells[7]
    return {
        "rates of six groups": (
            six_groups.rates,
            [MESH.cells, s.temp_c, w["moisture"], w["water"], s.pools, s.n_org, s.n_nh4,
             k.pool_par, k.solute_par, k.mu, k.par, k.warm, k.wet, factors, zero()],
        ),
        "advance of six groups": (
            six_groups.advance,
            [MESH.cells, 1200.0, s.temp_c, w["moisture"], w["water"], s.o2, w["gas_through"],
             s.pools, s.n_org, s.n_nh4, s.nh3_lost, k.pool_par, k.solute_par, k.mu, k.par, k.warm,
             k.wet, done, np.zeros(3), zero(), zero(), zero(), zero()],
        ),
        "_place of six groups": (six_groups._place, [51.3, k.warm.shape[0]]),
        "_wetness of six groups": (six_groups._wetness, [0.4711, k.wet]),
        "_own_nitrogen": (six_groups._own_nitrogen, [i, s.pools, s.n_org, k.pool_par]),
        "_hydrolyse": (
            six_groups._hydrolyse, [i, 1200.0, 0.5, 0.1, s.pools, k.pool_par, done]
        ),
        "_take_up": (
            six_groups._take_up,
            [i, 1200.0, 0.5, s.pools, kinds, k.solute_par, k.mu, k.par, done, np.zeros(3)],
        ),
        "_die": (six_groups._die, [i, 1200.0, 400, 0.3, 0.9, s.pools, kinds, k.par, k.warm]),
    }  # fmt: skip


def biology_cases() -> dict[str, Any]:
    """Name -> (kernel, arguments); arguments are made afresh by each call."""
    return {**_first(11), **_second(12)}
