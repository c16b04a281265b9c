"""Oxygen with zero-order uptake and conduction of heat against exact solutions."""

from __future__ import annotations

import numpy as np
import pytest
from tests.verification.porous import faces, uptake

from heapwright.engine.kernels import heat
from heapwright.engine.mesh import Mesh, mesh_from_mask


def slab(cells: int, length: float) -> Mesh:
    """A row of cells along x whose only open faces are its two ends (others are left out)."""
    return mesh_from_mask(np.ones((1, 1, cells), dtype=bool), length / cells, ground=False)


def ends(mesh: Mesh) -> Mesh:
    """The same mesh with the faces at the ends of x only."""
    from dataclasses import replace

    keep = mesh.bdir < 2
    return replace(
        mesh, bcell=mesh.bcell[keep].copy(), bdir=mesh.bdir[keep].copy(),
        bkind=mesh.bkind[keep].copy(), bcross=mesh.bcross[keep].copy(),
    )  # fmt: skip


def ball(across: int, radius: float) -> Mesh:
    """A voxel sphere whose cell size gives it exactly the volume of the true one."""
    x = np.arange(across) + 0.5 - across / 2
    r2 = x[:, None, None] ** 2 + x[None, :, None] ** 2 + x[None, None, :] ** 2
    mask = r2 < (across / 2) ** 2
    size = (4 / 3 * np.pi * radius**3 / mask.sum()) ** (1 / 3)
    return mesh_from_mask(mask, float(size), ground=False)


@pytest.mark.reference(
    source="classical: zero-order uptake in a slab", where="penetration sqrt(2 D C0 / R)"
)
def test_oxygen_reaches_into_a_slab_as_far_as_it_should() -> None:
    depth = np.sqrt(2 * 1.0 * 0.21 / 2.0)  # D 1, C0 0.21, R 2
    errors = []
    for cells in (100, 200):
        mesh = ends(slab(cells, 4.0))
        y = uptake(mesh, diffusivity=1.0, air=0.21, rate=2.0, half=1e-5)
        x = (np.arange(cells) + 0.5) * mesh.dx_m
        exact = np.where(x < depth, 0.21 * (1 - x / depth) ** 2, 0.0)
        half = cells // 2
        errors.append(np.abs(y[:half] - exact[:half]).max())
        # the profile is a parabola, so that sqrt(y) falls linearly to nought at the depth
        wet = y[:half] > 0.02
        slope, start = np.polyfit(x[:half][wet], np.sqrt(y[:half][wet]), 1)
        assert -start / slope == pytest.approx(depth, rel=0.01)
    assert errors[1] < errors[0]
    assert errors[1] < 1e-3


@pytest.mark.reference(
    source="classical: zero-order uptake in a sphere",
    where="critical radius sqrt(6 D C0 / R); centre C0 - R a^2 / (6 D)",
)
def test_the_centre_of_a_sphere_at_half_the_critical_uptake() -> None:
    rate = 0.5 * 6 * 1.0 * 0.21 / 1.0**2
    mesh = ball(24, 1.0)
    y = uptake(mesh, diffusivity=1.0, air=0.21, rate=rate, half=1e-5)
    centre = y[np.argsort((mesh.centres() - mesh.centres().mean(axis=0)).__pow__(2).sum(axis=1))][
        :8
    ]
    assert centre.mean() == pytest.approx(0.105, rel=0.06)


@pytest.mark.reference(
    source="classical: partly anoxic sphere", where="1 - 3 x^2 + 2 x^3 = 6 D C0 / (R a^2)"
)
def test_the_anoxic_core_of_a_sphere() -> None:
    x = 0.5
    rate = 6 * 0.21 / (1 - 3 * x**2 + 2 * x**3)
    mesh = ball(32, 1.0)
    y = uptake(mesh, diffusivity=1.0, air=0.21, rate=rate, half=1e-5)
    empty = (y < 1e-3).sum() * mesh.dx_m**3
    radius = (3 * empty / (4 * np.pi)) ** (1 / 3)
    # near the core the oxygen vanishes as a parabola, so the edge is broad: 1e-3 lies 6 % outside
    assert radius == pytest.approx(x, abs=0.05)


def conduct(mesh: Mesh, t: np.ndarray, *, until: float, outside: float) -> np.ndarray:
    """Explicit conduction with unit diffusivity, the skin held at a temperature."""
    d, n = mesh.dx_m, mesh.bcell.size
    k = faces(mesh, d)
    none = faces(mesh, 0.0)
    bk, bf, bt = np.full(n, 2 * d), np.zeros(n), np.full(n, outside)
    gain, before, nothing = mesh.field(), mesh.field(), mesh.field()
    capacity = mesh.field(d**3)
    steps = int(np.ceil(until / (0.08 * d * d)))
    for s in range(steps):
        heat.conduction_advection(
            mesh.runs, mesh.sy, mesh.sz, *k, *none, 0.0, t, mesh.bcell, bk, bf, bt, nothing, gain
        )
        heat.step_two(mesh.runs, until / steps, capacity, gain, before, 0.5 if s else 0.0, t)
    return t


@pytest.mark.reference(
    source="Carslaw and Jaeger, series for a sphere", where="centre at Fo 0.1: 0.70710"
)
def test_the_centre_of_a_cooling_sphere() -> None:
    got = []
    for across in (25, 49):
        mesh = ball(across, 1.0)
        t = conduct(mesh, mesh.field(1.0), until=0.1, outside=0.0)
        middle = mesh.nearest(tuple(mesh.centres().mean(axis=0)))
        got.append(float(t[mesh.cells][middle]))
    assert abs(got[1] - 0.70710) < abs(got[0] - 0.70710)
    assert got[1] == pytest.approx(0.70710, rel=0.02)


@pytest.mark.reference(source="exact: steady conduction through two layers", where="series sum")
def test_two_layers_in_series() -> None:
    """Unequal conductivities meet in a harmonic mean: exact to round-off at any cell size."""
    from heapwright.engine.kernels import transport

    mesh = ends(slab(10, 1.0))
    cells = mesh.cells
    conductivity = mesh.field(1.0)
    conductivity[cells[5:]] = 0.05
    kx, ky, kz = (mesh.field() for _ in range(3))
    active = mesh.active.ravel()
    d = mesh.dx_m
    transport.heat_faces(mesh.runs, mesh.sy, mesh.sz, active, d, conductivity, kx, ky, kz)
    bk = 2 * d * conductivity[mesh.bcell]
    bt = np.where(mesh.bdir == 0, 1.0, 0.0)
    flux = 1.0 / (0.5 / 1.0 + 0.5 / 0.05)
    x = (np.arange(10) + 0.5) * d
    exact = np.where(x < 0.5, 1 - flux * x, flux * (1 - x) / 0.05)
    t = mesh.field()
    t[cells] = exact
    none = faces(mesh, 0.0)
    out = mesh.field()
    heat.conduction_advection(
        mesh.runs, mesh.sy, mesh.sz, kx, ky, kz, *none, 0.0, t, mesh.bcell, bk,
        np.zeros(2), bt, mesh.field(), out,
    )  # fmt: skip
    assert np.abs(out[cells]).max() < 1e-13


def test_the_order_claimed_in_time_and_space() -> None:
    """Conduction is of order 2 in space; the two-step rule of order 2 in time, Euler of order 1."""
    mode = []
    for cells in (8, 16, 32):
        mesh = ends(slab(cells, 1.0))
        x = (np.arange(cells) + 0.5) * mesh.dx_m
        t = mesh.field()
        t[mesh.cells] = np.sin(np.pi * x)
        t = conduct(mesh, t, until=0.05, outside=0.0)
        exact = np.exp(-(np.pi**2) * 0.05) * np.sin(np.pi * x)
        mode.append(np.abs(t[mesh.cells] - exact).max())
    assert np.log2(mode[0] / mode[1]) == pytest.approx(2.0, abs=0.25)
    assert np.log2(mode[1] / mode[2]) == pytest.approx(2.0, abs=0.25)
    for weight, order in ((0.0, 1.0), (0.5, 2.0)):
        errors = []
        for steps in (40, 80, 160):
            mesh = slab(1, 1.0)
            t, gain, before = mesh.field(1.0), mesh.field(), mesh.field()
            capacity = mesh.field(1.0)
            for s in range(steps):
                gain[:] = -t
                heat.step_two(mesh.runs, 1 / steps, capacity, gain, before, weight if s else 0.0, t)
            errors.append(abs(float(t[mesh.cells[0]]) - np.exp(-1)))
        assert np.log2(errors[1] / errors[2]) == pytest.approx(order, abs=0.15)
