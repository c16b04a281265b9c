"""Heaps as voxels from their shape, volume and measures; pipes as lists of cells.

Units: metres, cubic metres. Conventions: heap coordinates have x along the heap, y across it and z
up, from the middle of the foot; what is not measured follows from the volume (a mound 1.7 times as
wide as high, common practice).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.mesh import Mesh, heap_mesh
from heapwright.errors import InputError

__all__ = ["cells_along", "default_cell_m", "measures_of", "mesh_of"]

Floats = NDArray[np.float64]
_WIDE = 1.7
#: volume over width^2 height of round heaps, area over width height of long ones
_ROUND = {"cone": math.pi / 12, "mound": math.pi / 8, "bin": math.pi / 4}
_LONG = {
    "windrow triangle": 0.5, "windrow parabola": 2 / 3, "windrow trapezoid": 0.75, "box": 1.0,
}  # fmt: skip


def default_cell_m(volume_m3: float) -> float:
    """10 cm for garden heaps, 20 to 25 cm above 50 m3.

    >>> default_cell_m(1.3), default_cell_m(60.0)
    (0.1, 0.2)
    """
    if volume_m3 <= 20:
        return 0.1
    return 0.2 if volume_m3 <= 120 else 0.25


def mesh_of(
    shape: str,
    volume_m3: float,
    *,
    height_m: float | None = None,
    width_m: float | None = None,
    length_m: float | None = None,
    dx_m: float | None = None,
    slope_deg: float = 0.0,
) -> Mesh:
    """The voxels of a heap.

    shape : cone, mound, windrow parabola, windrow triangle, windrow trapezoid, bin or box;
    the cells hold exactly *volume_m3*. Of a round heap either height or width may be given, of a
    windrow or box height, width and length follow from each other and the volume. slope_deg : of
    the ground, rising towards +x; heights are counted from the ground under each place.

    Raises
    ------
    InputError
        No such shape, or measures that do not fit the volume.
    """
    width, height, length = measures_of(
        shape, volume_m3, height_m=height_m, width_m=width_m, length_m=length_m
    )
    inside = _inside_round if shape in _ROUND else _inside_long
    return heap_mesh(
        inside(shape, width, height), size_m=(length, width, height), volume_m3=volume_m3,
        dx_m=dx_m or default_cell_m(volume_m3), slope_deg=slope_deg,
    )  # fmt: skip


def measures_of(
    shape: str,
    volume_m3: float,
    *,
    height_m: float | None = None,
    width_m: float | None = None,
    length_m: float | None = None,
) -> tuple[float, float, float]:
    """Width, height and length [m] of a heap, those not given following from the volume.

    The length of a round heap is its width. Raises `InputError` for no such shape.

    >>> [round(m, 2) for m in measures_of("mound", 1.2, height_m=1.1)]
    [1.67, 1.1, 1.67]
    """
    if shape in _ROUND:
        w, h = _round(_ROUND[shape], volume_m3, height_m, width_m)
        return w, h, w
    if shape not in _LONG:
        raise InputError(
            "no such shape",
            field="shape",
            value=shape,
            way_out="One of " + ", ".join([*_ROUND, *_LONG]),
        )
    return _long(_LONG[shape], volume_m3, height_m, width_m, length_m)


def _round(
    share: float, volume: float, height: float | None, width: float | None
) -> tuple[float, float]:
    if height is not None and width is not None:
        return width, height
    if height is not None:
        return math.sqrt(volume / (share * height)), height
    if width is not None:
        return width, volume / (share * width**2)
    h = (volume / (share * _WIDE**2)) ** (1 / 3)
    return _WIDE * h, h


def _long(
    share: float, volume: float, height: float | None, width: float | None, length: float | None
) -> tuple[float, float, float]:
    if height is None and width is None:
        if length is None:
            height = (volume / (share * 2 * _WIDE * 2)) ** (1 / 3)
            width = 2 * height
        else:
            height = math.sqrt(volume / (share * 2 * length))
            width = 2 * height
    elif width is None:
        assert height is not None
        width = 2 * height if length is None else volume / (share * height * length)
    elif height is None:
        height = width / 2 if length is None else volume / (share * width * length)
    return width, height, length if length is not None else volume / (share * width * height)


def _inside_round(shape: str, w: float, h: float):  # type: ignore[no-untyped-def]
    def inside(x: Floats, y: Floats, z: Floats) -> NDArray[np.bool_]:
        r2 = (x * x + y * y) / (w / 2) ** 2
        if shape == "mound":
            return np.asarray(z < h * (1 - r2))
        if shape == "cone":
            return np.asarray(z < h * (1 - np.sqrt(r2)))
        return np.asarray((r2 < 1) & (z < h))

    return inside


def _inside_long(shape: str, w: float, h: float):  # type: ignore[no-untyped-def]
    def inside(x: Floats, y: Floats, z: Floats) -> NDArray[np.bool_]:
        side = np.abs(y) / (w / 2)
        if shape == "windrow parabola":
            return np.asarray(z < h * (1 - side**2))
        if shape == "windrow triangle":
            return np.asarray(z < h * (1 - side))
        if shape == "windrow trapezoid":
            return np.asarray((z < h) & (z < 2 * h * (1 - side)))
        return np.asarray(z < h)

    return inside


def cells_along(mesh: Mesh, points_m: Sequence[tuple[float, float, float]]) -> NDArray[np.uint64]:
    """Heap cells that a pipe through *points_m* (heap coordinates) passes, mouth to mouth.

    Heights count from the ground under each point.

    Raises `InputError` when it passes no heap cell, so that a pipe never vanishes silently.
    """
    d, (x0, y0, z0) = mesh.dx_m, mesh.origin_m
    found: list[int] = []
    for a, b in pairwise(points_m):
        steps = max(2, int(np.ceil(math.dist(a, b) / (d / 4))))
        for f in np.linspace(0, 1, steps):
            x, y, z = (a[n] + (b[n] - a[n]) * f for n in range(3))
            x, y, z = mesh.lifted((x, y, z))
            i, j, k = int((x - x0) // d) + 1, int((y - y0) // d) + 1, int((z - z0) // d) + 1
            nz, ny, nx = mesh.active.shape
            if 0 <= i < nx and 0 <= j < ny and 0 <= k < nz and mesh.active[k, j, i]:
                flat = (k * ny + j) * nx + i
                if flat not in found:
                    found.append(flat)
    if not found:
        raise InputError(
            "this pipe passes no part of the heap",
            field="pipe",
            value=str(list(points_m)),
            way_out="Give its course in metres from the middle of the foot",
        )
    return np.array(found, dtype=np.uint64)
