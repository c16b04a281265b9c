"""Set-ups that drive the engine's own kernels with other coefficients and boundaries.

Nothing is solved here: matrices, sweeps and steps are those of `heapwright.engine.kernels`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import flow, oxygen, transport
from heapwright.engine.mesh import Mesh, mesh_from_mask

Floats = NDArray[np.float64]


def faces(mesh: Mesh, value: float) -> tuple[Floats, Floats, Floats]:
    """Face fields with *value* where both sides are heap."""
    a = mesh.active.ravel()
    made = []
    for step in (1, int(mesh.sy), int(mesh.sz)):
        f = np.zeros(mesh.size)
        f[:-step] = np.where(a[:-step] & a[step:], value, 0.0)
        made.append(f)
    return made[0], made[1], made[2]


@dataclass
class Convection:
    """A porous slice (one cell deep) with unit permeability over viscosity, unit diffusivity.

    Heat and buoyancy in the usual scaling: q = -(grad p - Ra T z), dT/dt = laplace T - q grad T.
    The lower or left side is warm (1), the opposite one cold (0); ``open_top`` lets gas through
    the top at pressure 0.
    """

    nx: int
    nz: int
    height: float
    ra: float
    heated: str = "below"
    open_top: bool = False
    order: int = 2
    made: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.dx = self.height / self.nz
        self.mesh = mesh_from_mask(
            np.ones((self.nz, 1, self.nx), dtype=bool), self.dx, ground=False
        )
        m, d = self.mesh, self.dx
        self.g = faces(m, 1.0)  # conductance k/mu * A/dx of a slice one cell deep: dx^2/dx / dx
        self.k = faces(m, 1.0)
        k, _, i = np.unravel_index(m.cells.astype(int), m.active.shape)
        self.x, self.z = (i - 0.5) * d, (k - 0.5) * d
        wanted = {"below": (4, 5), "side": (0, 1)}[self.heated]
        self.warm = m.bcell[m.bdir == wanted[0]].copy()
        self.cold = m.bcell[m.bdir == wanted[1]].copy()
        self.top = m.bcell[m.bdir == 5].copy() if self.open_top else m.bcell[:0].copy()
        self.t = m.field()
        self.p = m.field()
        n = self.top.size
        self.bg, self.bh, self.bp, self.bf = np.full(n, 2.0), np.zeros(n), np.zeros(n), np.zeros(n)
        self.f = [m.field() for _ in range(3)]
        self.scratch = [m.field() for _ in range(5)]
        self.diag, self.inverse = m.field(1.0), m.field(1.0)
        self.active = m.active.ravel()
        # a closed box floats in pressure: tie one cell to 0 with a conductance that carries no flow
        cells = self.top if n else m.cells[:1].copy()
        ties = self.bg if n else np.full(1, 1e-9)
        flow.diagonal(m.runs, m.sy, m.sz, *self.g, cells, ties, self.diag, self.inverse)

    def solve_flow(self) -> None:
        m, ra, d = self.mesh, self.ra, self.dx
        hz, nothing, rhs, r, s = self.scratch
        a = self.active
        step = int(m.sz)
        hz[:] = 0.0
        inner = a[:-step] & a[step:]
        hz[:-step][inner] = 0.5 * (self.t[:-step] + self.t[step:])[inner] * ra * d
        if self.top.size:
            self.bh[:] = self.t[self.top] * ra * d / 2
        flow.right_side(
            m.runs, m.sz, self.g[2], hz, nothing, self.top, self.bg, self.bh, self.bp, rhs
        )
        flow.solve_pressure(
            m.runs, m.sy, m.sz, *self.g, self.diag, self.inverse, rhs, self.p, r, s, m.field(),
            1e-9, 4000,
        )  # fmt: skip
        flow.fluxes(
            m.runs, m.sy, m.sz, *self.g, hz, self.p, self.top, self.bg, self.bh, self.bp,
            *self.f, self.bf,
        )  # fmt: skip

    def gain(self) -> Floats:
        """What every cell gains per unit of time, times its area (dx^2)."""
        m = self.mesh
        heat, vapour = m.field(), m.field()
        w = m.field()
        par = np.array([1.0, 0.0, 0.0, 0.0, 1.0])
        zero = faces(m, 0.0)
        transport.inner(
            m.runs, m.sy, m.sz, self.active, *self.k, *zero, *self.f, self.t, w, self.order, par,
            heat, vapour,
        )  # fmt: skip
        np.add.at(heat, self.warm, 2.0 * (1.0 - self.t[self.warm]))
        np.add.at(heat, self.cold, 2.0 * (0.0 - self.t[self.cold]))
        if self.top.size:
            total = np.zeros(3)
            transport.through_faces(
                self.top, self.bf, np.zeros(self.top.size), np.zeros(self.top.size), self.t, w,
                par, heat, vapour, total,
            )  # fmt: skip
        return heat

    def step(self, dt: float) -> None:
        self.solve_flow()
        self.t += dt / self.dx**2 * self.gain()

    @property
    def nusselt(self) -> float:
        """Heat through the warm side over that of conduction alone."""
        through = float((2.0 * (1.0 - self.t[self.warm])).sum())
        length = self.nx * self.dx if self.heated == "below" else self.height
        return through / (length / (self.height if self.heated == "below" else self.nx * self.dx))


def uptake(mesh: Mesh, *, diffusivity: float, air: float, rate: float, half: float) -> Floats:
    """Steady oxygen of a body with uptake ``rate`` (near zero order), its skin at ``air``.

    Uses the engine's implicit step with no storage and sweeps to convergence.
    """
    d, n = mesh.dx_m, mesh.bcell.size
    spread = faces(mesh, diffusivity * d)
    none = faces(mesh, 0.0)
    y = mesh.field(air)
    diag, rhs, c1, c2, nothing = (mesh.field() for _ in range(5))
    into, out_of = np.zeros((3, mesh.size)), np.zeros((3, mesh.size))
    demand = mesh.field(rate * d**3)
    oxygen.coefficients(
        mesh.runs, mesh.sy, mesh.sz, nothing, nothing, *spread, *none, mesh.bcell,
        np.full(n, 2 * diffusivity * d), np.zeros(n), np.full(n, air), y, diag, rhs, into, out_of,
    )  # fmt: skip
    oxygen.solve_oxygen(
        mesh.runs, mesh.sy, mesh.sz, demand, half, diag, rhs, into, out_of, y, c1, c2, 1e-10, 40000
    )
    return y[mesh.cells]
