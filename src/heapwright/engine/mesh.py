"""The voxels of a heap: a padded box, which cells are heap, and the faces of its skin.

Units: metres, square metres, cubic metres. Conventions: arrays are (nz + 2, ny + 2, nx + 2) in C
order, flattened; z is up; a halo of one cell lies around the box. `Mesh.runs` holds the active
cells as half-open stretches along x, `Mesh.cells` their flat indices. Boundary faces are listed
with cell, direction (0 -x, 1 +x, 2 -y, 3 +y, 4 -z, 5 +z) and kind (0 open air, 1 ground).
The cell size is adjusted so that the cells hold exactly the stated volume.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError
from heapwright.units import quantity

__all__ = ["GROUND", "OPEN", "Mesh", "box_mesh", "heap_mesh", "mesh_from_mask"]

Floats = NDArray[np.float64]
OPEN, GROUND = 0, 1
_NORMALS = np.array(
    [[-1, 0, 0], [1, 0, 0], [0, -1, 0], [0, 1, 0], [0, 0, -1], [0, 0, 1]], dtype=np.float64
)


@dataclass(frozen=True, slots=True)
class Mesh:
    """The cells of one heap and their faces.

    dx_m : edge of a cell; shape : (nz, ny, nx) without halo; active : bool, padded shape;
    runs : uint64 (R, 2); cells : uint64 (n,); bcell, bdir, bkind : boundary faces;
    bcross : staircase factor 1/(|nx| + |ny| + |nz|) of a face, 0.57 to 1; origin_m : corner of the
    box in heap coordinates (x, y from the middle of the foot, z from the ground); earth : places of
    the box that are earth of a slope (shape without halo), or None; rise : of the ground along x.
    """

    dx_m: float
    shape: tuple[int, int, int]
    active: NDArray[np.bool_]
    runs: NDArray[np.uint64]
    cells: NDArray[np.uint64]
    bcell: NDArray[np.uint64]
    bdir: NDArray[np.int8]
    bkind: NDArray[np.int8]
    bcross: Floats
    origin_m: tuple[float, float, float]
    earth: NDArray[np.bool_] | None = None
    rise: float = 0.0

    def lifted(self, point_m: tuple[float, float, float]) -> tuple[float, float, float]:
        """A point given by its height over the ground below it, on the slope of this heap."""
        x, y, z = point_m
        return x, y, z + self.rise * (x - self.origin_m[0])

    @property
    def size(self) -> int:
        """Length of a field: all entries of the padded box."""
        return int(self.active.size)

    @property
    def count(self) -> int:
        """Number of heap cells."""
        return int(self.cells.size)

    @property
    def sy(self) -> np.uint64:
        """Step of the flat index to the next cell along y."""
        return np.uint64(self.shape[2] + 2)

    @property
    def sz(self) -> np.uint64:
        """Step of the flat index to the next cell along z."""
        return np.uint64((self.shape[2] + 2) * (self.shape[1] + 2))

    @property
    def volume_m3(self) -> float:
        """Volume of all heap cells."""
        return float(self.count * self.dx_m**3)

    def field(self, value: float = 0.0) -> Floats:
        """A new field, *value* in heap cells and 0 elsewhere."""
        made = np.zeros(self.size)
        made[self.cells] = value
        return made

    def centres(self) -> Floats:
        """Centres of the heap cells, shape (n, 3) as (x, y, z) in heap coordinates [m]."""
        k, j, i = np.unravel_index(self.cells.astype(np.int64), self.active.shape)
        x0, y0, z0 = self.origin_m
        d = self.dx_m
        return np.column_stack([x0 + (i - 0.5) * d, y0 + (j - 0.5) * d, z0 + (k - 0.5) * d])

    def depth_m(self) -> Floats:
        """Distance of every heap cell's centre to the nearest open face [m], shape (n,)."""
        from scipy.spatial import cKDTree

        open_faces = self.bkind == OPEN
        index = {int(c): n for n, c in enumerate(self.cells)}
        own = self.centres()
        rows = np.array([index[int(c)] for c in self.bcell[open_faces]])
        faces = own[rows] + _NORMALS[self.bdir[open_faces]] * self.dx_m / 2
        distance, _ = cKDTree(faces).query(own)
        return np.asarray(distance, dtype=np.float64)

    def nearest(self, point_m: tuple[float, float, float]) -> int:
        """Position (in `cells`) of the heap cell nearest to a point in heap coordinates."""
        gap = ((self.centres() - np.asarray(point_m)) ** 2).sum(axis=1)
        return int(gap.argmin())


def mesh_from_mask(
    mask: NDArray[np.bool_],
    dx_m: float,
    *,
    origin_m: tuple[float, float, float] = (0.0, 0.0, 0.0),
    ground: bool = True,
    earth: NDArray[np.bool_] | None = None,
    rise: float = 0.0,
) -> Mesh:
    """A mesh of the cells where *mask* (nz, ny, nx) is true.

    ground : faces towards -z of cells in the lowest layer are ground, all others open; earth :
    places of the box that are earth of a slope, faces towards which are ground too; rise : of it.
    Raises `InputError` for an empty mask or a cell size of 0 or less.
    """
    if not mask.any():
        raise InputError("no cell lies in the heap", field="mesh", way_out="Use smaller cells")
    quantity("length_m").check(dx_m, field="cell size")
    nz, ny, nx = mask.shape
    active = np.zeros((nz + 2, ny + 2, nx + 2), dtype=bool)
    active[1:-1, 1:-1, 1:-1] = mask
    flat = active.ravel()
    edges = np.diff(flat.astype(np.int8))
    starts = np.flatnonzero(edges == 1) + 1
    ends = np.flatnonzero(edges == -1) + 1
    runs = np.column_stack([starts, ends]).astype(np.uint64)
    cells = np.flatnonzero(flat).astype(np.uint64)
    sy, sz = nx + 2, (nx + 2) * (ny + 2)
    below_it = np.zeros_like(active)
    if earth is not None:
        below_it[1:-1, 1:-1, 1:-1] = earth
    soil = below_it.ravel()
    bcell, bdir, bkind = [], [], []
    index = cells.astype(np.int64)
    for direction, step in enumerate((-1, 1, -sy, sy, -sz, sz)):
        outside = index[~flat[index + step]]
        bcell.append(outside)
        bdir.append(np.full(outside.size, direction, dtype=np.int8))
        below = (outside // sz == 1) if direction == 4 and ground else np.zeros(outside.size, bool)
        bkind.append(np.where(below | soil[outside + step], GROUND, OPEN).astype(np.int8))
    faces = np.concatenate(bcell)
    directions, kinds = np.concatenate(bdir), np.concatenate(bkind)
    return Mesh(
        dx_m=dx_m,
        shape=(nz, ny, nx),
        active=active,
        runs=runs,
        cells=cells,
        bcell=faces.astype(np.uint64),
        bdir=directions,
        bkind=kinds,
        bcross=_staircase(active, faces, kinds, directions),
        origin_m=origin_m,
        earth=earth,
        rise=rise,
    )


def _staircase(
    active: NDArray[np.bool_],
    faces: NDArray[np.int64],
    kinds: NDArray[np.int8],
    directions: NDArray[np.int8],
) -> Floats:
    """1/(|nx| + |ny| + |nz|) from the smoothed normal of the skin around each face."""
    from scipy.ndimage import gaussian_filter

    smooth = gaussian_filter(active.astype(np.float64), 1.5, mode="nearest")
    grads = np.stack([g.ravel()[faces] for g in np.gradient(smooth)], axis=1)
    norm = np.sqrt((grads**2).sum(axis=1))
    ones = np.abs(grads).sum(axis=1)
    factor = np.where(ones > 1e-9, norm / np.maximum(ones, 1e-9), 1.0)
    return np.where(kinds == GROUND, 1.0, np.clip(factor, 1 / np.sqrt(3), 1.0))


def box_mesh(nx: int, ny: int, nz: int, dx_m: float) -> Mesh:
    """A full box on the ground.

    >>> box_mesh(4, 3, 2, 0.1).count
    24
    """
    return mesh_from_mask(
        np.ones((nz, ny, nx), dtype=bool), dx_m, origin_m=(-nx * dx_m / 2, -ny * dx_m / 2, 0.0)
    )


def heap_mesh(
    inside: Callable[[Floats, Floats, Floats], NDArray[np.bool_]],
    *,
    size_m: tuple[float, float, float],
    volume_m3: float,
    dx_m: float,
    slope_deg: float = 0.0,
) -> Mesh:
    """The cells of a heap given by *inside(x, y, z)*, holding exactly *volume_m3*.

    Parameters
    ----------
    inside : callable
        True where a point (heap coordinates, arrays) lies in the heap.
    size_m : (float, float, float)
        Length, width and height of a box around it.
    volume_m3 : float
        The stated volume; the cell size is scaled so that the cells hold it exactly.
    dx_m : float
        Cell size wished for; the one used differs by a few per cent.
    slope_deg : float
        Slope of the ground, rising towards +x; z of *inside* counts from the ground.

    Raises
    ------
    InputError, QuantityError
        No cell inside, more than two million cells, or a volume that the shape cannot hold to
        within a fifth.
    """
    quantity("volume_m3").check(volume_m3)
    length, width, height = size_m
    rise = float(np.tan(np.radians(slope_deg)))
    height += rise * length
    nx, ny, nz = (max(1, int(np.ceil(s / dx_m - 1e-9))) for s in (length, width, height))
    if nx * ny * nz > 2_000_000:
        raise InputError(
            f"this heap would need {nx * ny * nz} cells",
            field="cell size",
            value=f"{dx_m:g} m",
            way_out="Use larger cells",
        )
    z, y, x = np.meshgrid(
        (np.arange(nz) + 0.5) * dx_m,
        (np.arange(ny) + 0.5 - ny / 2) * dx_m,
        (np.arange(nx) + 0.5 - nx / 2) * dx_m,
        indexing="ij",
    )
    above = z - rise * (x + nx / 2 * dx_m)
    mask = np.asarray(inside(x, y, above), dtype=bool) & (above >= 0)
    if not mask.any():
        raise InputError("no cell lies in the heap", field="cell size", value=f"{dx_m:g} m",
                         way_out="Use smaller cells")  # fmt: skip
    scaled = float((volume_m3 / mask.sum()) ** (1 / 3))
    if not 0.8 <= scaled / dx_m <= 1.25:
        raise InputError(
            f"a heap of these measures holds about {mask.sum() * dx_m**3:.2g} m3",
            field="volume",
            value=f"{volume_m3:g} m3",
            way_out="Check shape, height and volume",
        )
    return mesh_from_mask(
        mask, scaled, origin_m=(-nx * scaled / 2, -ny * scaled / 2, 0.0),
        earth=(above < 0) if rise > 0 else None, rise=rise,
    )  # fmt: skip
