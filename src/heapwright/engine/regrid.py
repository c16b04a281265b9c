"""A heap that sank or was turned on new cells, with every mass and every joule kept.

Units: SI. Conventions: the box keeps its rows and columns; a column of n cells becomes one of m
cells that share the same matter by overlap, so that what lay on top stays on top. A column that
has become too low gives its matter to the neighbour that lies nearest to the middle. Amounts are
summed; oxygen is averaged by volume, activities and pore space by dry mass.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.mesh import GROUND, Mesh, mesh_from_mask
from heapwright.engine.state import AMOUNTS, BY_MASS, State, empty_state

__all__ = ["column_heights", "regrid", "soil_under", "sunk_mesh"]

Floats = NDArray[np.float64]


def column_heights(mesh: Mesh) -> NDArray[np.int64]:
    """Cells in every column of the box, shape (ny, nx)."""
    return np.asarray(mesh.active[1:-1, 1:-1, 1:-1].sum(axis=0), dtype=np.int64)


def sunk_mesh(built: Mesh, share: float, volume_m3: float) -> Mesh:
    """The cells of the heap at *share* of its first height, holding exactly *volume_m3*.

    Columns keep their foot; at least the highest one keeps one cell.
    """
    first = column_heights(built)
    now = np.floor(first * share + 0.5).astype(np.int64)
    now[np.unravel_index(first.argmax(), first.shape)] = max(1, int(now.max()))
    old = built.active[1:-1, 1:-1, 1:-1]
    foot = old.argmax(axis=0)
    level = np.arange(old.shape[0])[:, None, None]
    mask = (level >= foot) & (level < foot + now) & (first > 0)
    dx = float((volume_m3 / mask.sum()) ** (1 / 3))
    scale = dx / built.dx_m
    x0, y0, z0 = built.origin_m
    return mesh_from_mask(
        mask, dx, origin_m=(x0 * scale, y0 * scale, z0), earth=built.earth, rise=built.rise
    )


def regrid(state: State, old: Mesh, new: Mesh, pores: Floats) -> tuple[State, Floats]:
    """The state and the pore space as built on the cells of another mesh with the same box."""
    source, target, share = _overlaps(old, new)
    made = empty_state(new, state.pools.shape[0], state.soil_c.shape[1])

    def moved(field: Floats) -> Floats:
        out = np.zeros(new.size)
        np.add.at(out, target, share * field[source])
        return out

    for name in AMOUNTS:
        setattr(made, name, moved(getattr(state, name)))
    made.pools = np.stack([moved(pool) for pool in state.pools])
    dry = state.dry_kg
    weight = np.maximum(moved(dry), 1e-300)
    for name in BY_MASS:
        setattr(made, name, moved(getattr(state, name) * dry) / weight)
    volume = np.maximum(moved(old.field(1.0)), 1e-300)
    made.o2 = moved(state.o2) / volume
    made.temp_c = moved(state.temp_c) / volume
    made.soil_c = soil_under(state.soil_c, old, new, by_cell=True)
    return made, moved(pores * dry) / weight


def _overlaps(old: Mesh, new: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats]:
    """Triples (cell of old, cell of new, share of the old cell that goes there)."""
    n_old, n_new = column_heights(old), column_heights(new)
    foot_old = old.active[1:-1, 1:-1, 1:-1].argmax(axis=0)
    foot_new = new.active[1:-1, 1:-1, 1:-1].argmax(axis=0)
    ny, nx = n_old.shape
    rows, steps, shares = [], [], []
    for j in range(ny):
        for i in range(nx):
            n = int(n_old[j, i])
            if n == 0:
                continue
            to_j, to_i = _receiver(n_new, j, i)
            m = int(n_new[to_j, to_i])
            edges_old, edges_new = np.arange(n + 1) / n, np.arange(m + 1) / m
            low = np.maximum(edges_old[:-1, None], edges_new[None, :-1])
            high = np.minimum(edges_old[1:, None], edges_new[None, 1:])
            part = np.maximum(high - low, 0.0) * n
            part /= part.sum(axis=1, keepdims=True)
            a, b = np.nonzero(part)
            rows.append(_flat(old, foot_old[j, i] + a, j, i))
            steps.append(_flat(new, foot_new[to_j, to_i] + b, to_j, to_i))
            shares.append(part[a, b])
    return np.concatenate(rows), np.concatenate(steps), np.concatenate(shares)


def _flat(mesh: Mesh, level: NDArray[np.int64], j: int, i: int) -> NDArray[np.int64]:
    _, ny, nx = mesh.active.shape
    return np.asarray(((level + 1) * ny + j + 1) * nx + i + 1, dtype=np.int64)


def _receiver(heights: NDArray[np.int64], j: int, i: int) -> tuple[int, int]:
    """The column itself, or the nearest one that still stands."""
    if heights[j, i] > 0:
        return j, i
    rows, cols = np.nonzero(heights)
    middle = (heights.shape[0] - 1) / 2, (heights.shape[1] - 1) / 2
    near = (rows - j) ** 2 + (cols - i) ** 2
    inside = (rows - middle[0]) ** 2 + (cols - middle[1]) ** 2
    best = np.lexsort((inside, near))[0]
    return int(rows[best]), int(cols[best])


def soil_under(layers: Floats, old: Mesh, new: Mesh, *, by_cell: bool = False) -> Floats:
    """Soil layers under the ground faces of *new*: those of the nearest face of *old*.

    by_cell : nearest by row and column, for a heap that keeps its box, else by place [m].
    """
    from scipy.spatial import cKDTree

    def places(mesh: Mesh) -> Floats:
        at = mesh.bcell[mesh.bkind == GROUND].astype(np.int64)
        cells = np.column_stack(np.unravel_index(at, mesh.active.shape)).astype(np.float64)
        return cells if by_cell else np.asarray(mesh.origin_m[::-1] + cells * mesh.dx_m)

    if layers.shape[0] == 0:
        return np.zeros((int((new.bkind == GROUND).sum()), layers.shape[1]))
    _, nearest = cKDTree(places(old)).query(places(new))
    return np.asarray(layers[nearest])
