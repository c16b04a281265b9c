"""Set-ups that drive the engine's own kernels with other coefficients and boundaries.

Nothing is solved here: matrices, sweeps and steps are those of `heapwright.engine.kernels`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numba as nb
import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import flow, heat, oxygen, transport
from heapwright.engine.mesh import Mesh, mesh_from_mask

Floats = NDArray[np.float64]
#: no vapour, heat capacity 1 a unit of flow: ``par`` of the transport kernels
BARE = np.array([1.0, 0.0, 0.0, 0.0, 1.0])


# numba wants the kernels under plain names
_inner: Any = transport.inner
_walls: Any = heat.conduction_advection


@nb.njit
def conduction(runs, sy, sz, kx, ky, kz, none, t, bcell, bk, bt, source, out):  # fmt: skip
    """Fill ``out`` with what every cell gains: inner faces by `transport.inner`, as in a heap, and
    walls at ``bt`` behind conductances ``bk``."""
    zeros = np.zeros(bcell.shape[0])
    _walls(
        runs, sy, sz, none, none, none, none, none, none, 0.0, t, bcell, bk, zeros, bt, source, out
    )
    _inner(
        runs, sy, sz, np.zeros(t.shape[0], np.bool_), kx, ky, kz, none, none, none, none, none,
        none, t, none, 1, BARE, np.zeros((10, t.shape[0])), out, np.zeros(t.shape[0]),
    )  # fmt: skip


def faces(mesh: Mesh, value: float) -> tuple[Floats, Floats, Floats]:
    """Face fields with *value* where both sides are heap."""
    a = mesh.active.ravel()
    made = []
    for step in (1, int(mesh.sy), int(mesh.sz)):
        f = np.zeros(mesh.size)
        f[:-step] = np.where(a[:-step] & a[step:], value, 0.0)
        made.append(f)
    return made[0], made[1], made[2]


def row(cells: int, length: float) -> Mesh:
    """Cells along x whose only open faces are the two ends."""
    mesh = mesh_from_mask(np.ones((1, 1, cells), dtype=bool), length / cells, ground=False)
    return only(mesh, mesh.bdir < 2)


def column(cells: int, length: float) -> Mesh:
    """Cells along z whose only open faces are bottom and top."""
    mesh = mesh_from_mask(np.ones((cells, 1, 1), dtype=bool), length / cells, ground=False)
    return only(mesh, mesh.bdir > 3)


def only(mesh: Mesh, keep: NDArray[np.bool_]) -> Mesh:
    """The same mesh with some of its open faces; the others are walls that nothing passes."""
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


def octant(across: int, radius: float) -> Mesh:
    """An eighth of `ball`: the three planes of symmetry are walls. *across* is even."""
    half = across // 2
    x = np.arange(half) + 0.5
    mask = x[:, None, None] ** 2 + x[None, :, None] ** 2 + x[None, None, :] ** 2 < half**2
    size = (4 / 3 * np.pi * radius**3 / (8 * mask.sum())) ** (1 / 3)
    mesh = mesh_from_mask(mask, float(size), ground=False)
    return only(mesh, mesh.bdir % 2 == 1)


def quadrant(across: int, radius: float) -> Mesh:
    """A quarter of a cylinder without end, one layer of cells. *across* is even."""
    half = across // 2
    x = np.arange(half) + 0.5
    mask = (x[:, None] ** 2 + x[None, :] ** 2 < half**2)[None]
    size = (np.pi * radius**2 / (4 * mask.sum())) ** 0.5
    mesh = mesh_from_mask(mask, float(size), ground=False)
    return only(mesh, (mesh.bdir == 1) | (mesh.bdir == 3))


@dataclass
class Shells:
    """A ball (power 2), a cylinder (1) or a slab (0) of half width 1 as shells of equal depth.

    A row of cells with the areas and volumes of the shells: what the kernels see as unequal
    conductances. The middle is a wall, the outer face is open.
    """

    cells: int
    power: int

    def __post_init__(self) -> None:
        r = np.linspace(0.0, 1.0, self.cells + 1)
        self.centre = (r[1:] + r[:-1]) / 2
        self.mesh = row(self.cells, 1.0)
        self.mesh = only(self.mesh, self.mesh.bdir == 1)
        self.depth = 1.0 / self.cells
        c = self.mesh.cells
        self.k = self.mesh.field(), self.mesh.field(), self.mesh.field()
        self.k[0][c[:-1]] = r[1:-1] ** self.power / self.depth
        self.bk = np.array([2.0 / self.depth])
        self.volume = self.mesh.field()
        self.volume[c] = np.diff(r ** (self.power + 1)) / (self.power + 1)


@dataclass
class Convection:
    """A porous slice (one cell deep) with unit permeability over viscosity, unit diffusivity.

    Heat and buoyancy in the usual scaling: q = -(grad p - Ra T z), dT/dt = laplace T - q grad T.
    The lower or left side is warm (1), the opposite one cold (0); ``open_top`` lets gas through
    the top at pressure 0. Pressure counts from that of the conducting layer, as in a heap it
    counts from that of the air. Walls go through `heat.conduction_advection`, conduction and
    advection through `transport.inner` (order 2: limited; 1: upwind), the step is a share of
    `transport.shortest_step`.
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
        self.g = faces(m, 1.0)  # k/mu A/dx of a slice one cell deep, over that depth
        self.k = faces(m, 1.0)
        k, _, i = np.unravel_index(m.cells.astype(int), m.active.shape)
        self.x, self.z = (i - 0.5) * d, (k - 0.5) * d
        wanted = {"below": (4, 5), "side": (0, 1)}[self.heated]
        self.warm = m.bcell[m.bdir == wanted[0]].copy()
        self.wall = np.concatenate([self.warm, m.bcell[m.bdir == wanted[1]]])
        self.wall_t = np.where(np.arange(self.wall.size) < self.warm.size, 1.0, 0.0)
        self.wall_k, self.wall_f = np.full(self.wall.size, 2.0), np.zeros(self.wall.size)
        self.top = m.bcell[m.bdir == 5].copy() if self.open_top else m.bcell[:0].copy()
        n = self.top.size
        self.bg, self.bh, self.bp, self.bf = np.full(n, 2.0), np.zeros(n), np.zeros(n), np.zeros(n)
        self.none = np.zeros(n)
        self.t, self.p, self.still = m.field(), m.field(), m.field()
        if self.heated == "below":
            self.still[m.cells] = 1.0 - self.z / self.height
        self.f = [m.field() for _ in range(3)]
        self.hz, self.rhs, self.zero, self.heat, self.vapour = (m.field() for _ in range(5))
        self.moved = np.zeros((10, m.size))
        self.scratch = [m.field() for _ in range(3)]
        self.capacity = m.field(d * d)
        self.diag, self.inverse = m.field(1.0), m.field(1.0)
        self.active = m.active.ravel()
        # a closed box floats in pressure: tie one cell to 0 with a conductance that carries no flow
        cells = self.top if n else m.cells[:1].copy()
        ties = self.bg if n else np.full(1, 1e-9)
        flow.diagonal(m.runs, m.sy, m.sz, *self.g, cells, ties, self.diag, self.inverse)

    def solve_flow(self) -> None:
        m, lift = self.mesh, self.ra * self.dx
        a, step, u = self.active, int(self.mesh.sz), self.t - self.still
        inner = a[:-step] & a[step:]
        self.hz[:-step][inner] = 0.5 * lift * (u[:-step] + u[step:])[inner]
        self.bh[:] = 0.5 * lift * u[self.top]
        flow.right_side(
            m.runs, m.sz, self.g[2], self.hz, self.zero, self.top, self.bg, self.bh, self.bp,
            self.rhs,
        )  # fmt: skip
        flow.solve_pressure(
            m.runs, m.sy, m.sz, *self.g, self.diag, self.inverse, self.rhs, self.p, *self.scratch,
            1e-8, 4000,
        )  # fmt: skip
        flow.fluxes(
            m.runs, m.sy, m.sz, *self.g, self.hz, self.p, self.top, self.bg, self.bh, self.bp,
            *self.f, self.bf,
        )  # fmt: skip

    def gain(self) -> Floats:
        """What every cell gains per unit of time, times its area (dx^2)."""
        m, z = self.mesh, self.zero
        heat.conduction_advection(
            m.runs, m.sy, m.sz, z, z, z, z, z, z, 0.0, self.t, self.wall, self.wall_k,
            self.wall_f, self.wall_t, z, self.heat,
        )  # fmt: skip
        transport.inner(
            m.runs, m.sy, m.sz, self.active, *self.k, z, z, z, *self.f, self.t, z, self.order,
            BARE, self.moved, self.heat, self.vapour,
        )  # fmt: skip
        transport.through_faces(
            self.top, self.bf, self.none, self.none, self.t, z, BARE, self.heat, self.vapour,
            np.zeros(3),
        )  # fmt: skip
        return self.heat

    def stable(self) -> float:
        """The engine's own limit of the explicit step."""
        m, z = self.mesh, self.zero
        return float(
            transport.shortest_step(
                m.runs, m.sy, m.sz, *self.k, z, z, z, *self.f, self.wall, self.wall_f,
                self.wall_k, self.t, z, self.capacity, BARE, self.scratch[0],
            )
        )  # fmt: skip

    def step(self, dt: float) -> None:
        self.t += dt / self.dx**2 * self.gain()
        self.solve_flow()

    @property
    def nusselt(self) -> float:
        """Heat through the warm side over that of conduction alone."""
        through = float((2.0 * (1.0 - self.t[self.warm])).sum())
        length = self.nx * self.dx if self.heated == "below" else self.height
        return through / (length / (self.height if self.heated == "below" else self.nx * self.dx))


def uptake(
    mesh: Mesh,
    *,
    spread: tuple[Floats, Floats, Floats],
    skin: Floats,
    demand: Floats,
    air: float = 0.21,
    half: float = 1e-6,
) -> tuple[Floats, float]:
    """Steady oxygen of a still body with its skin at ``air``: y, and the share of uptake met.

    The engine's implicit step with no storage, swept to convergence; a tiny half-saturation makes
    the uptake one of zero order.
    """
    n = mesh.bcell.size
    none = mesh.field()
    y = mesh.field(air)
    diag, rhs, c1, c2 = (mesh.field() for _ in range(4))
    into, out_of = np.zeros((3, mesh.size)), np.zeros((3, mesh.size))
    oxygen.coefficients(
        mesh.runs, mesh.sy, mesh.sz, none, none, *spread, none, none, none, mesh.bcell, skin,
        np.zeros(n), np.full(n, air), y, diag, rhs, into, out_of,
    )  # fmt: skip
    oxygen.solve_oxygen(
        mesh.runs, mesh.sy, mesh.sz, demand, half, diag, rhs, into, out_of, y, c1, c2, 1e-12,
        200000,
    )  # fmt: skip
    entered = float((skin * (air - y[mesh.bcell])).sum())
    return y[mesh.cells], entered / float(demand[mesh.cells].sum())


def richardson(coarse: float, fine: float, order: int = 2) -> float:
    """The limit of two grids, the second with cells half as large."""
    return fine + (fine - coarse) / (2**order - 1)


def observed(coarse: float, middle: float, fine: float) -> float:
    """The order seen on three grids, each with cells half as large."""
    return float(np.log2((coarse - middle) / (middle - fine)))
