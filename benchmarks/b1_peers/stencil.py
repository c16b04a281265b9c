"""Sparse matrices on the cells of benchmark B1, for the peers that use scipy.

Cells are numbered in C order of (nz, ny, nx). A pattern is built once; filling it with new numbers
is a few indexed writes, so nothing is sorted or converted inside the time loop.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import scipy.sparse as sp
from b1_problem import Faces, Floats, Grid


class Stencil:
    """The seven-point pattern of a grid as a CSR matrix whose numbers can be replaced."""

    def __init__(self, grid: Grid) -> None:
        n = grid.cells
        at = np.arange(n).reshape(grid.shape)
        self.shape = grid.shape
        pairs = [(at[:, :, :-1], at[:, :, 1:]), (at[:, :-1], at[:, 1:]), (at[:-1], at[1:])]
        rows, cols, tags = [np.arange(n)], [np.arange(n)], [np.full(n, 0)]
        for k, (left, right) in enumerate(pairs):
            rows += [left.ravel(), right.ravel()]
            cols += [right.ravel(), left.ravel()]
            tags += [np.full(left.size, 1 + 2 * k), np.full(left.size, 2 + 2 * k)]
        row, col, tag = (np.concatenate(part) for part in (rows, cols, tags))
        order = np.lexsort((col, row))
        where = np.argsort(order, kind="stable")
        ends = np.cumsum(np.bincount(tag))[:-1]
        self.places = np.split(where, ends)
        indptr = np.concatenate(([0], np.cumsum(np.bincount(row, minlength=n))))
        self.matrix = sp.csr_array(
            (np.zeros(row.size), col[order].astype(np.int32), indptr.astype(np.int32)), shape=(n, n)
        )

    def fill(self, diagonal: Floats, beside: list[Floats]) -> Any:
        """The matrix with this diagonal and these six neighbours: (x+, x-, y+, y-, z+, z-).

        "x+" is what the left cell of an inner x face takes from the right one, "x-" the reverse.
        The same array is filled again at every call.
        """
        data = self.matrix.data
        for place, values in zip(self.places, [diagonal, *beside], strict=True):
            data[place] = values.ravel()
        return self.matrix


def inner(faces: Faces) -> tuple[Floats, Floats, Floats]:
    """The faces between cells."""
    return faces.x[:, :, 1:-1], faces.y[:, 1:-1], faces.z[1:-1]


def conduction(stencil: Stencil, g: Faces) -> Any:
    """Matrix of the outflow of a conserved quantity driven by its own difference."""
    diagonal = (
        g.x[:, :, :-1] + g.x[:, :, 1:] + g.y[:, :-1] + g.y[:, 1:] + g.z[:-1] + g.z[1:]
    )  # fmt: skip
    beside = [v for face in inner(g) for v in (-face, -face)]
    return stencil.fill(diagonal, beside)


def transport(stencil: Stencil, g: Faces, flux: Faces, carried: float) -> Any:
    """Matrix of the outflow by conduction and by upwinded *flux*; open faces count as air at 0."""
    ahead = [carried * np.maximum(f, 0.0) for f in flux]
    back = [carried * np.minimum(f, 0.0) for f in flux]
    up = Faces(*(a + k for a, k in zip(ahead, g, strict=True)))
    down = Faces(*(b - k for b, k in zip(back, g, strict=True)))
    diagonal = (
        up.x[:, :, 1:] - down.x[:, :, :-1] + up.y[:, 1:] - down.y[:, :-1] + up.z[1:] - down.z[:-1]
    )  # fmt: skip
    beside = [v for d, u in zip(inner(down), inner(up), strict=True) for v in (d, -u)]
    return stencil.fill(diagonal, beside)


def from_outside(shape: tuple[int, int, int], g: Faces, flux: Faces, carried: float) -> Floats:
    """What each cell gains through its open faces for one unit of the quantity in the air."""
    gain = np.zeros(shape)
    for k, (cond, through) in enumerate(zip(g, flux, strict=True)):
        axis = 2 - k
        cell, face = np.moveaxis(gain, axis, 0), np.moveaxis(cond, axis, 0)
        moved = np.moveaxis(through, axis, 0)
        cell[0] += face[0] + carried * np.maximum(moved[0], 0.0)
        cell[-1] += face[-1] - carried * np.minimum(moved[-1], 0.0)
    return gain


def lift_inflow(pushed: Floats) -> Floats:
    """Right side of the pressure equation from the buoyant flux through the z faces."""
    return pushed[:-1] - pushed[1:]
