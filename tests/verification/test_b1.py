"""Benchmark B1 through the engine's kernels against the method of lines with tight steps."""

from __future__ import annotations

import numpy as np
import pytest
from tests.verification.claims import check

from heapwright.engine import b1
from heapwright.engine.b1 import run_b1
from heapwright.engine.kernels import b1 as own
from heapwright.engine.kernels import flow, heat, oxygen
from heapwright.engine.mesh import OPEN, box_mesh
from heapwright.errors import InputError


@pytest.mark.reference(
    source="the same equations by scipy solve_ivp BDF, rtol 1e-4, computed once for this project",
    where="7k cells: core at 48 h and 240 h, mean substrate",
)
@pytest.mark.parametrize(("permeability", "left"), [(1e-8, 0.249), (1e-7, 0.539)])
def test_the_core_follows_the_reference(permeability: float, left: float) -> None:
    got = run_b1("7k", permeability)
    check(f"benchmark B1, {permeability:g}, 48 h", got["core_48h_c"])
    check(f"benchmark B1, {permeability:g}, 240 h", got["core_240h_c"])
    assert got["s_mean"] == pytest.approx(left, abs=0.001)


def test_another_grid_is_refused() -> None:
    with pytest.raises(InputError, match="One of 2k, 7k, 32k, 108k"):
        run_b1("9k")


def test_its_box_is_laid_out_as_the_mesh_of_a_box() -> None:
    mesh = box_mesh(6, 4, 3, 0.1)
    box = b1.box_of(mesh.active, 1.0)
    assert np.array_equal(box.lines, mesh.runs)
    assert (box.sy, box.sz) == (mesh.sy, mesh.sz)
    assert np.array_equal(box.roof, mesh.bcell[mesh.bdir == 5])
    assert np.array_equal(np.sort(np.concatenate([box.halo, mesh.cells])), np.arange(
        mesh.sz, 4 * mesh.sz, dtype=np.uint64))  # fmt: skip


def test_the_joined_loop_is_the_loops_of_the_engine_one_after_the_other(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Flux, heat and oxygen coefficients: open faces as faces of the halo, or as a list.

    In double precision throughout, so that only the algebra is set side by side.
    """
    monkeypatch.setattr(b1, "SINGLE", np.float64)
    rng = np.random.default_rng(8)
    mesh, dx, dt = box_mesh(6, 4, 3, 0.1), 0.1, 600.0
    box, (g, open_g, k, d), state, work = b1._set_up((3, 4, 6), dx, dt, 1e-8)
    store, volume = b1.EPS * dx**3 / dt, dx**3
    heap, cells = mesh.active.ravel(), mesh.cells
    for field, low, high in ((state.t, 5, 70), (state.y, 0.01, 0.2), (state.p, -0.3, 0.3)):
        field[cells] = rng.uniform(low, high, cells.size)
    t, y = state.t.copy(), state.y.copy()
    own.buoyancy(box.runs, box.sz, t, g[2], box.roof, box.roof_g, dx, 16.0, b1.RHO0 * b1.G,
                 state.p, state.p[:].copy(), work.four[0])  # fmt: skip
    push, p = work.four[0].copy(), state.p.copy()
    demand, gain, diag = np.zeros(heap.size), np.zeros(heap.size), np.zeros(heap.size)
    warmer = np.zeros(heap.size)
    own.carry(
        box.layers, box.halo, box.sy, box.sz, open_g, push, p, k, d, b1.RHOCG,
        1 / (b1.RHOC * volume), 0.5, dt, volume, b1.RATE, b1.HALF, store, b1.HEAT, t, state.s, y,
        state.y_before[0], state.gain, demand, gain, diag, work.into, work.out_of, warmer,
    )  # fmt: skip
    faces = mesh.bkind == OPEN
    cell, n, zero = mesh.bcell[faces], faces.sum(), mesh.field
    heads = np.zeros(n)
    roof = mesh.bdir[faces] == 5
    side = np.full(n, 2 * 1e-8 / b1.MU * dx)
    heads[roof] = push[cell[roof]] / side[roof]
    lift = np.divide(push, g[2], out=zero(), where=g[2] > 0)
    fx, fy, fz, bf = zero(), zero(), zero(), np.zeros(n)
    flow.fluxes(mesh.runs, mesh.sy, mesh.sz, *g, lift, p, cell, side, heads, np.zeros(n), fx, fy,
                fz, bf)  # fmt: skip
    inner = np.stack([np.where(x > 0, b1.LAMBDA * dx, 0.0) for x in g])
    film = dx * dx / (1 / b1.H_FILM + dx / (2 * b1.LAMBDA))
    heats = zero()
    heat.conduction_advection(
        mesh.runs, mesh.sy, mesh.sz, *inner, fx, fy, fz, b1.RHOCG, t, cell, np.full(n, film), bf,
        np.full(n, 16.0), gain, heats,
    )  # fmt: skip
    assert state.gain[heap] == pytest.approx(heats[heap], rel=1e-9, abs=1e-9)
    risen = t + 1.5 * dt * heats / (b1.RHOC * volume)
    assert warmer[heap] == pytest.approx(risen[heap], rel=1e-12)
    assert np.array_equal(warmer[box.halo], np.full(box.halo.size, 16.0))
    spread = np.stack([np.where(x > 0, b1.D_GAS * dx, 0.0) for x in g])
    whole, rhs = zero(), zero()
    into, out_of = np.zeros((3, heap.size)), np.zeros((3, heap.size))
    oxygen.coefficients(
        mesh.runs, mesh.sy, mesh.sz, mesh.field(store), zero(), *spread, fx, fy, fz, cell,
        np.full(n, 2 * b1.D_GAS * dx), bf, np.full(n, 0.21), state.y_before[0], whole, rhs, into,
        out_of,
    )  # fmt: skip
    assert diag[heap] * store == pytest.approx(whole[heap], rel=1e-12)
    both = g > 0
    assert work.into[both] * store == pytest.approx(into[both], rel=1e-9)
    assert work.out_of[both] * store == pytest.approx(out_of[both], rel=1e-9)
