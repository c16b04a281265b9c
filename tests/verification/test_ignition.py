"""Self-heating with an exponential source: the largest source that still has a steady state.

The engine's heat kernel carries the heat; only the source is put in from outside. A body just
below the critical source settles, one just above runs away: 2 % either side of the exact value.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numba as nb
import numpy as np
import pytest
from tests.verification.porous import faces
from tests.verification.test_diffusion import ball, ends, slab

from heapwright.engine.kernels import heat
from heapwright.engine.mesh import Mesh, mesh_from_mask

_carry: Any = heat.conduction_advection


@nb.njit
def _runs_away(
    runs, sy, sz, kx, ky, kz, none, t, bcell, bk, zeros, source, gain, cells, delta, volume, dt,
    steps,
):  # fmt: skip
    """1 when the body runs away, -1 when it settles, 0 when neither is seen."""
    for _ in range(steps):
        for n in range(cells.shape[0]):
            source[cells[n]] = delta * np.exp(t[cells[n]]) * volume
        _carry(runs, sy, sz, kx, ky, kz, none, none, none, 0.0, t, bcell, bk, zeros, zeros,
               source, gain)  # fmt: skip
        most, top = 0.0, 0.0
        for n in range(cells.shape[0]):
            i = cells[n]
            rate = gain[i] / volume
            t[i] += dt * rate
            most = max(most, abs(rate))
            top = max(top, t[i])
        if top > 2.5:
            return 1
        if most < 1e-3:
            return -1
    return 0


def fate(mesh: Mesh, delta: float) -> int:
    d, n = mesh.dx_m, mesh.bcell.size
    dt = 0.15 * d * d  # a cell with five open faces has 2 / 11 d^2 as its limit
    return int(
        _runs_away(
            mesh.runs,
            mesh.sy,
            mesh.sz,
            *faces(mesh, d),
            mesh.field(),
            mesh.field(),
            mesh.bcell,
            np.full(n, 2 * d),
            np.zeros(n),
            mesh.field(),
            mesh.field(),
            mesh.cells,
            delta,
            d**3,
            dt,
            int(40 / dt),
        )
    )


def disc(across: int, radius: float) -> Mesh:
    """A cylinder without end: one layer of cells with open faces around it only."""
    x = np.arange(across) + 0.5 - across / 2
    mask = x[:, None] ** 2 + x[None, :] ** 2 < (across / 2) ** 2
    size = float((np.pi * radius**2 / mask.sum()) ** 0.5)
    mesh = mesh_from_mask(mask[None], size, ground=False)
    keep = mesh.bdir < 4
    return replace(
        mesh, bcell=mesh.bcell[keep].copy(), bdir=mesh.bdir[keep].copy(),
        bkind=mesh.bkind[keep].copy(), bcross=mesh.bcross[keep].copy(),
    )  # fmt: skip


@pytest.mark.reference(
    source="Frank-Kamenetskii, critical parameters of a slab, a cylinder and a sphere",
    where="0.8785, 2.000, 3.322",
)
@pytest.mark.parametrize(
    ("body", "critical"),
    [("slab", 0.8785), ("cylinder", 2.000), ("sphere", 3.322)],
)
def test_a_body_ignites_where_it_should(body: str, critical: float) -> None:
    mesh = {"slab": lambda: ends(slab(40, 2.0)), "cylinder": lambda: disc(48, 1.0),
            "sphere": lambda: ball(48, 1.0)}[body]()  # fmt: skip
    assert fate(mesh, 0.98 * critical) == -1
    assert fate(mesh, 1.02 * critical) == 1
