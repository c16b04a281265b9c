"""Self-heating with an exponential source: the largest source that still has a steady state.

The engine's heat kernel carries the heat; only the source is put in from outside. Two ways to the
critical source. A body just below it settles, one just above runs away: 2 % either side of the
exact value, in cells. And the branch of steady states is followed: the source is driven so that the
middle keeps its temperature, which makes every state of the branch stable, and the largest source
on it is the critical one; of order 2 in the cell size in shells.
"""

from __future__ import annotations

import numba as nb
import numpy as np
import pytest
from tests.verification.claims import check
from tests.verification.porous import (
    Floats,
    Shells,
    conduction,
    faces,
    observed,
    octant,
    quadrant,
    richardson,
    row,
)

from heapwright.engine.mesh import Mesh

#: critical source, and the temperature of the middle there (both Frank-Kamenetskii)
SLAB, CYLINDER, SPHERE = (0.8785, 1.187), (2.000, 1.386), (3.322, 1.607)


@nb.njit
def _runs_away(
    runs, sy, sz, kx, ky, kz, none, t, bcell, bk, zeros, source, gain, cells, delta, volume, dt,
    steps,
):  # fmt: skip
    """1 when the body runs away, -1 when it settles, 0 when neither is seen."""
    for _ in range(steps):
        for n in range(cells.shape[0]):
            source[cells[n]] = delta * np.exp(t[cells[n]]) * volume
        conduction(runs, sy, sz, kx, ky, kz, none, t, bcell, bk, zeros, source, gain)
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


@nb.njit
def _held(
    runs, sy, sz, kx, ky, kz, none, t, bcell, bk, zeros, source, gain, cells, volume, dt, steps
):  # fmt: skip
    """The source with which the first cell keeps its temperature, once nothing moves; 0 if never.

    ``source`` stays 0: what heat flows out of the first cell sets the source of all.
    """
    middle = cells[0]
    for s in range(steps):
        conduction(runs, sy, sz, kx, ky, kz, none, t, bcell, bk, zeros, source, gain)
        delta = -gain[middle] / volume[middle] / np.exp(t[middle])
        most = 0.0
        for n in range(cells.shape[0]):
            i = cells[n]
            rate = gain[i] / volume[i] + delta * np.exp(t[i])
            t[i] += dt * rate
            most = max(most, abs(rate))
        if s > 10 and most < 1e-5:
            return delta
    return 0.0


def fate(mesh: Mesh, delta: float) -> int:
    d, n = mesh.dx_m, mesh.bcell.size
    dt = 0.15 * d * d  # a cell with three outer faces and three inner ones has 2 / 9 d^2
    return int(
        _runs_away(
            mesh.runs, mesh.sy, mesh.sz, *faces(mesh, d), mesh.field(), mesh.field(), mesh.bcell,
            np.full(n, 2 * d), np.zeros(n), mesh.field(), mesh.field(), mesh.cells, delta, d**3,
            dt, int(40 / dt),
        )
    )  # fmt: skip


def critical(
    mesh: Mesh,
    k: tuple[Floats, Floats, Floats],
    bk: Floats,
    volume: Floats,
    dt: float,
    about: float,
) -> float:
    """The largest source on the branch, from three states about the temperature of the fold."""
    tops = np.array([about - 0.1, about, about + 0.1])
    zeros = np.zeros(mesh.bcell.size)
    found = []
    for top in tops:
        t = mesh.field(float(top))
        got = _held(
            mesh.runs, mesh.sy, mesh.sz, *k, mesh.field(), t, mesh.bcell, bk, zeros, mesh.field(),
            mesh.field(), mesh.cells, volume, dt, 100000,
        )  # fmt: skip
        assert got > 0, "not steady"
        found.append(got)
    a, b, c = np.polyfit(tops - about, found, 2)
    return float(c - b * b / (4 * a))


@pytest.mark.reference(
    source="Frank-Kamenetskii, critical parameters of a slab, a cylinder and a sphere",
    where="0.8785, 2.000, 3.322",
)
@pytest.mark.parametrize(
    ("body", "answer"), [("slab", SLAB[0]), ("cylinder", CYLINDER[0]), ("sphere", SPHERE[0])]
)
def test_a_body_ignites_where_it_should(body: str, answer: float) -> None:
    """Cylinder and sphere are 48 cells across; planes of symmetry are walls."""
    mesh = {"slab": lambda: row(40, 2.0), "cylinder": lambda: quadrant(48, 1.0),
            "sphere": lambda: octant(48, 1.0)}[body]()  # fmt: skip
    assert fate(mesh, 0.98 * answer) == -1
    assert fate(mesh, 1.02 * answer) == 1


@pytest.mark.reference(
    source="Frank-Kamenetskii, critical parameters of a slab, a cylinder and a sphere",
    where="0.8785, 2.000, 3.322",
)
@pytest.mark.parametrize(
    ("body", "power", "about"),
    [("slab", 0, SLAB[1]), ("cylinder", 1, CYLINDER[1]), ("sphere", 2, SPHERE[1])],
)
def test_the_critical_source_in_shells(body: str, power: int, about: float) -> None:
    got = []
    for cells in (12, 24, 48):
        s = Shells(cells, power)
        dt = 0.4 * s.depth**2 / (power + 1)
        got.append(critical(s.mesh, s.k, s.bk, s.volume, dt, about))
    assert observed(*got) == pytest.approx(2.0, abs=0.05)
    check(f"ignition of a {body}, in shells", richardson(*got[1:]))


@pytest.mark.reference(
    source="Frank-Kamenetskii, critical parameters of a cylinder and a sphere", where="2.000, 3.322"
)
@pytest.mark.parametrize(("body", "about"), [("cylinder", CYLINDER[1]), ("sphere", SPHERE[1])])
def test_the_critical_source_in_cells(body: str, about: float) -> None:
    """What the stairs of 48 cells across cost."""
    mesh = {"cylinder": quadrant, "sphere": octant}[body](48, 1.0)
    d = mesh.dx_m
    skin = np.full(mesh.bcell.size, 2 * d)
    got = critical(mesh, faces(mesh, d), skin, mesh.field(d**3), 0.14 * d * d, about)
    check(f"ignition of a {body}, 48 cells across", got)
