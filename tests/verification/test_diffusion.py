"""Oxygen with zero-order uptake and conduction of heat against exact solutions.

Both are of order 2 in the cell size where the mesh follows the body; a sphere of cells has stairs.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.verification.claims import check
from tests.verification.porous import (
    Floats,
    Shells,
    ball,
    conduction,
    faces,
    observed,
    octant,
    richardson,
    row,
    uptake,
)

from heapwright.engine.kernels import heat, oxygen, transport
from heapwright.engine.mesh import Mesh

AIR = 0.21


def breathed(cells: int, power: int, rate: float) -> tuple[Shells, Floats, float]:
    """A body of half width or radius 1, diffusivity 1: shells, oxygen, share of uptake met."""
    body = Shells(cells, power)
    y, share = uptake(body.mesh, spread=body.k, skin=body.bk, demand=rate * body.volume, air=AIR)
    return body, y, share


@pytest.mark.reference(
    source="classical: zero-order uptake in a slab", where="penetration sqrt(2 D C0 / R)"
)
def test_oxygen_reaches_into_a_slab_as_far_as_it_should() -> None:
    depth = 0.4
    rate = 2 * AIR / depth**2
    errors = []
    for cells in (25, 50, 100):
        body, y, share = breathed(cells, 0, rate)
        x = 1 - body.centre
        exact = np.where(x < depth, AIR * (1 - x / depth) ** 2, 0.0)
        errors.append(float(np.abs(y - exact).max()))
    # what enters is what the layer that has oxygen takes up: its depth is the share of the slab
    check("oxygen in a slab, depth", share)
    check("oxygen in a slab, order", np.log2(errors[1] / errors[2]))
    assert errors[2] < 1e-4


@pytest.mark.reference(
    source="classical: zero-order uptake in a sphere",
    where="critical radius sqrt(6 D C0 / R), centre C0 - R a^2/(6 D)",
)
def test_the_critical_radius_of_a_sphere() -> None:
    """The centre runs out (below a thousandth of the air) where it should, by bisection."""
    low, high = 0.5 * 6 * AIR, 2.0 * 6 * AIR
    _, y, _ = breathed(40, 2, low)
    check("oxygen at the centre of a sphere, in shells", y[0] / AIR)
    for _ in range(14):
        rate = (low + high) / 2
        _, y, _ = breathed(40, 2, rate)
        low, high = (low, rate) if y[0] < 1e-3 * AIR else (rate, high)
    # the radius of 1 over the critical radius at that uptake
    check("critical radius of a sphere", 1 / np.sqrt(6 * AIR / low))


@pytest.mark.reference(
    source="classical: partly anoxic sphere", where="1 - 3 x^2 + 2 x^3 = 6 D C0 / (R a^2)"
)
def test_the_anoxic_core_of_a_sphere() -> None:
    x = 0.5
    rate = 6 * AIR / (1 - 3 * x**2 + 2 * x**3)
    _, _, share = breathed(40, 2, rate)
    check("anoxic core, in shells", (1 - share) ** (1 / 3))
    off = []
    for across in (16, 32, 48):
        mesh = octant(across, 1.0)
        d = mesh.dx_m
        skin = np.full(mesh.bcell.size, 2 * d)
        demand = mesh.field(rate * d**3)
        _, share = uptake(mesh, spread=faces(mesh, d), skin=skin, demand=demand, air=AIR)
        off.append(abs((1 - share) ** (1 / 3) - x))
    assert off[0] > off[1] > off[2]
    check("anoxic core, in cells", (1 - share) ** (1 / 3))
    half = mesh.field(0.5 * 6 * AIR * d**3)
    y, _ = uptake(mesh, spread=faces(mesh, d), skin=skin, demand=half, air=AIR)
    check("oxygen at the centre of a sphere, in cells", y[0] / AIR)


def conduct(
    mesh: Mesh,
    t: Floats,
    *,
    until: float,
    k: tuple[Floats, Floats, Floats] | None = None,
    bk: Floats | None = None,
    capacity: Floats | None = None,
    limit: float = 0.08,
) -> Floats:
    """Explicit conduction with unit diffusivity by the two-step rule, the skin held at 0."""
    d, n = mesh.dx_m, mesh.bcell.size
    k = k or faces(mesh, d)
    none = mesh.field()
    bk = np.full(n, 2 * d) if bk is None else bk
    capacity = mesh.field(d**3) if capacity is None else capacity
    gain, before, zeros = mesh.field(), mesh.field(), np.zeros(n)
    steps = int(np.ceil(until / (limit * d * d)))
    for s in range(steps):
        conduction(mesh.runs, mesh.sy, mesh.sz, *k, none, t, mesh.bcell, bk, zeros, none, gain)
        heat.step_two(mesh.runs, until / steps, capacity, gain, before, 0.5 if s else 0.0, t)
    return t


@pytest.mark.reference(
    source="Carslaw and Jaeger, series for a sphere", where="centre at Fo 0.1: 0.70710"
)
def test_the_centre_of_a_cooling_sphere() -> None:
    exact = -2 * sum((-1) ** n * np.exp(-((n * np.pi) ** 2) * 0.1) for n in range(1, 30))
    check("cooling sphere, series", exact)
    shells = []
    for cells in (12, 24, 48):
        body = Shells(cells, 2)
        t = body.mesh.field(1.0)
        conduct(
            body.mesh, t, until=0.1, k=body.k, bk=body.bk, capacity=body.volume + (body.volume == 0)
        )
        c = body.mesh.cells
        # a parabola through the two innermost shells, from the means of r^2 over them
        r2 = 0.6 * np.array([1.0, (2**5 - 1) / (2**3 - 1)]) * body.depth**2
        shells.append(float(t[c[0]] - r2[0] * (t[c[1]] - t[c[0]]) / (r2[1] - r2[0])))
    check("cooling sphere, in shells", richardson(*shells[1:]))
    check("cooling sphere, order", observed(*shells))
    voxels = []
    for across in (25, 49):
        mesh = ball(across, 1.0)
        t = conduct(mesh, mesh.field(1.0), until=0.1)
        middle = mesh.nearest(tuple(mesh.centres().mean(axis=0)))
        voxels.append(float(t[mesh.cells][middle]))
    assert abs(voxels[1] - exact) < abs(voxels[0] - exact)
    check("cooling sphere, in cells", voxels[1])


def two_layers(mean: str) -> float:
    """Largest gain of a cell [share of the flux] at the exact steady state of two layers."""
    mesh = row(10, 1.0)
    cells = mesh.cells
    conductivity = mesh.field(1.0)
    conductivity[cells[5:]] = 0.05
    kx, ky, kz = (mesh.field() for _ in range(3))
    d = mesh.dx_m
    transport.heat_faces(
        mesh.runs, mesh.sy, mesh.sz, mesh.active.ravel(), d, conductivity, kx, ky, kz
    )
    if mean == "arithmetic":
        kx[cells[4]] = 0.5 * (1.0 + 0.05) * d
    bk = 2 * d * conductivity[mesh.bcell]
    bt = np.where(mesh.bdir == 0, 1.0, 0.0)
    flux = 1.0 / (0.5 / 1.0 + 0.5 / 0.05)
    x = (np.arange(10) + 0.5) * d
    t = mesh.field()
    t[cells] = np.where(x < 0.5, 1 - flux * x, flux * (1 - x) / 0.05)
    none, out = mesh.field(), mesh.field()
    conduction(mesh.runs, mesh.sy, mesh.sz, kx, ky, kz, none, t, mesh.bcell, bk, bt, none, out)
    return float(np.abs(out[cells]).max() / (flux * d * d))


@pytest.mark.reference(source="exact: steady conduction through two layers", where="series sum")
def test_two_layers_in_series() -> None:
    """Unequal conductivities meet in a harmonic mean: exact to round-off at any cell size."""
    check("two layers", two_layers("harmonic"))
    assert two_layers("arithmetic") > 1.0  # a wrong mean would show


def test_the_order_claimed_in_time_and_space() -> None:
    """Conduction is of order 2 in space; the two-step rule of order 2 in time, Euler of order 1."""
    mode = []
    for cells in (8, 16, 32):
        mesh = row(cells, 1.0)
        x = (np.arange(cells) + 0.5) * mesh.dx_m
        t = mesh.field()
        t[mesh.cells] = np.sin(np.pi * x)
        t = conduct(mesh, t, until=0.05)
        exact = np.exp(-(np.pi**2) * 0.05) * np.sin(np.pi * x)
        mode.append(float(np.abs(t[mesh.cells] - exact).max()))
    check("conduction in space, order", np.log2(mode[1] / mode[2]))
    for name, weight in (("Euler", 0.0), ("two-step", 0.5)):
        errors = []
        for steps in (40, 80, 160):
            mesh = row(1, 1.0)
            t, gain, before = mesh.field(1.0), mesh.field(), mesh.field()
            capacity = mesh.field(1.0)
            for s in range(steps):
                gain[:] = -t
                heat.step_two(mesh.runs, 1 / steps, capacity, gain, before, weight if s else 0.0, t)
            errors.append(abs(float(t[mesh.cells[0]]) - np.exp(-1)))
        check(f"{name} steps in time, order", np.log2(errors[1] / errors[2]))


def test_the_order_of_oxygen_in_time() -> None:
    """One cell that fills with oxygen from outside: y = air (1 - exp(-t))."""
    errors = []
    for steps in (40, 80, 160):
        mesh = row(1, 1.0)
        none, storage = mesh.field(), mesh.field(steps)
        y, diag, rhs, c1, c2 = (mesh.field() for _ in range(5))
        into, out_of = np.zeros((3, mesh.size)), np.zeros((3, mesh.size))
        skin, still, air = np.full(2, 0.5), np.zeros(2), np.full(2, AIR)
        for _ in range(steps):
            oxygen.coefficients(
                mesh.runs, mesh.sy, mesh.sz, storage, none, none, none, none, none, none, none,
                mesh.bcell, skin, still, air, y, diag, rhs, into, out_of,
            )  # fmt: skip
            oxygen.solve_oxygen(
                mesh.runs, mesh.sy, mesh.sz, none, 0.03, diag, rhs, into, out_of, y, c1, c2, 1e-14,
                100,
            )  # fmt: skip
        errors.append(abs(float(y[mesh.cells[0]]) - AIR * (1 - np.exp(-1))))
    check("oxygen in time, order", np.log2(errors[1] / errors[2]))
