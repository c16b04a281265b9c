"""Layers in series: gas and oxygen through unequal chips, heat into the ground.

A wrong mean at an interface passes order and balance checks; unequal layers show it. Exact to
round-off where the state is steady.
"""

from __future__ import annotations

import numpy as np
import pytest
from tests.verification.claims import check
from tests.verification.porous import only

from heapwright.engine.kernels import flow, gas, material, soil
from heapwright.engine.mesh import Mesh, mesh_from_mask
from heapwright.engine.parameters import Parameters

P = Parameters.published()
CELLS, DRY, VERTICAL = 10, 40.0, 0.6


def along(axis: int) -> Mesh:
    """Ten cells along x (0), y (1) or z (2), open at both ends only."""
    shape = [1, 1, 1]
    shape[2 - axis] = CELLS
    mesh = mesh_from_mask(np.ones(shape, dtype=bool), 0.1, ground=False)
    return only(mesh, mesh.bdir // 2 == axis)


@pytest.mark.reference(source="exact: resistances in series", where="steady flow and diffusion")
@pytest.mark.parametrize("axis", [0, 1, 2])
def test_gas_and_oxygen_through_two_layers(axis: int) -> None:
    m = along(axis)
    c, d, n = m.cells, m.dx_m, 2
    k, spread = m.field(1e-8), m.field(2e-4)
    k[c[6:]], spread[c[6:]] = 1e-9, 1e-5
    g, head, spreads = [m.field() for _ in range(3)], m.field(), [m.field() for _ in range(3)]
    rho, none = m.field(1.2), np.zeros(n)
    bg, bh, bd, bf = (np.zeros(n) for _ in range(4))
    par = P.gas(101325.0)
    gas.conductances(
        m.runs, m.sy, m.sz, d, k, VERTICAL, spread, m.field(DRY), rho, 1.2, par, *g, head,
        *spreads,
    )  # fmt: skip
    gas.open_faces(
        m.bcell, m.bdir, d, k, VERTICAL, spread, m.field(DRY), rho, 1.2, par, none, bg, bh, bd
    )
    diag, inverse, rhs, p, r, s, q, fx, fy, fz = (m.field() for _ in range(10))
    bp = np.array([1.0, 0.0])
    flow.diagonal(m.runs, m.sy, m.sz, *g, m.bcell, bg, diag, inverse)
    flow.right_side(m.runs, m.sz, g[2], head, m.field(), m.bcell, bg, bh, bp, rhs)
    flow.solve_pressure(m.runs, m.sy, m.sz, *g, diag, inverse, rhs, p, r, s, q, 1e-14, 400)
    flow.fluxes(m.runs, m.sy, m.sz, *g, head, p, m.bcell, bg, bh, bp, fx, fy, fz, bf)
    factor = VERTICAL if axis == 2 else 1.0
    exact = DRY / P.viscosity * factor / (0.6 / 1e-8 + 0.4 / 1e-9) * d * d
    check("gas through two layers", bf[1] / exact)
    # the same for diffusion, as resistances of faces
    through = 1 / (1 / bd.astype(float)).sum()
    inner = 1 / spreads[axis][c[:-1]]
    got = 1 / (inner.sum() + 1 / through)
    check("oxygen through two layers", got / (d * d / (0.6 / 2e-4 + 0.4 / 1e-5)))


def ground(thickness: np.ndarray, *, steps: int, dt: float, cell: float) -> tuple[float, float]:
    """Heat [W/m2] out of a cell held at 60 C into soil at 10 C: at the last step, mean of all."""
    layers = np.full((1, thickness.size), 10.0)
    t, heat = np.array([60.0]), np.zeros(1)
    total, got = 0.0, 0.0
    for _ in range(steps):
        got, _ = soil.soil_step(
            np.zeros(1, dtype=np.uint64), dt, cell, np.array([0.4]), t, layers, thickness, 1.0,
            2e6, 10.0, heat,
        )  # fmt: skip
        total += got
    return -got / cell**2, -total / steps / cell**2


@pytest.mark.reference(
    source="exact: resistances in series; Carslaw and Jaeger, half-space with a step at its face",
    where="steady flow of heat; mean flow 2 k dT/sqrt(pi a t)",
)
def test_heat_into_the_ground() -> None:
    thickness = np.array([0.1, 0.2, 0.4, 0.8])
    steady, _ = ground(thickness, steps=20000, dt=2000.0, cell=0.1)
    check("ground, steady", steady / (50.0 / (0.05 / 0.4 + 1.5 / 1.0)))
    # a thin cell of the heap gives its temperature to the face of the soil
    errors = []
    for thin in (0.04, 0.02, 0.01):
        layers = thin * np.ones(round(2.0 / thin))
        hours, dt = 24, 0.2 * 2e6 * thin**2
        steps = round(hours * 3600 / dt)
        _, mean = ground(layers, steps=steps, dt=hours * 3600 / steps, cell=1e-6)
        exact = 2 * 50.0 / np.sqrt(np.pi * 0.5e-6 * hours * 3600)
        errors.append(mean / exact)
    check("ground, first day", errors[2])
    assert abs(errors[0] - 1) > abs(errors[1] - 1) > abs(errors[2] - 1)


@pytest.mark.reference(
    source="Kozeny and Carman, eps^3/(1 - eps)^2 (classical)", where="pores 0.6 to 0.5: 0.3704"
)
def test_permeability_follows_the_pores() -> None:
    """Chips with pores of 0.6 when built; water fills a tenth of the space between them."""
    cells = np.zeros(1, dtype=np.uint64)
    density = 0.4 * P.particle_density
    cap = 1000 * (1 / P.particle_density - 1 / P.cell_wall_density)
    out = [np.zeros(1) for _ in range(5)]
    for extra in (0.0, 0.1):
        water = np.array([density * cap + 1000 * extra])
        material.material(
            cells, 1.0, np.array([density]), water, np.array([0.6]), P.material(), *out
        )
        assert out[1][0] == pytest.approx(0.6 - extra, abs=1e-9)
        if extra == 0.0:
            dry = out[2][0]
    assert dry == pytest.approx(P.permeability * P.ageing)
    check("permeability and pores", out[2][0] / dry)
