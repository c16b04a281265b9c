"""Voxels of heaps, and absurd heaps refused before the first step."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.engine.mesh import GROUND, OPEN, box_mesh, mesh_from_mask
from heapwright.engine.scenario import Action, HeapSpec, Pipe, ProbeSpot
from heapwright.engine.shapes import cells_along, mesh_of
from heapwright.errors import HeapwrightError, InputError

SHAPES = (
    "cone", "mound", "bin", "box", "windrow parabola", "windrow triangle", "windrow trapezoid",
)  # fmt: skip


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("volume", [0.4, 1.3, 8.0])
def test_the_cells_hold_exactly_the_stated_volume(shape: str, volume: float) -> None:
    mesh = mesh_of(shape, volume)
    assert mesh.volume_m3 == pytest.approx(volume, rel=1e-12)
    assert abs(mesh.dx_m / 0.1 - 1) < 0.1
    assert mesh.count == int((mesh.runs[:, 1] - mesh.runs[:, 0]).sum())


def test_faces_of_a_box() -> None:
    mesh = box_mesh(4, 3, 2, 0.1)
    assert (mesh.bkind == GROUND).sum() == 12
    assert (mesh.bkind == OPEN).sum() == 12 + 2 * (4 * 2 + 3 * 2)
    assert mesh.depth_m().min() == pytest.approx(0.05)


def test_the_staircase_of_a_slope_is_longer_than_the_slope() -> None:
    mesh = mesh_of("cone", 2.0)
    sides = mesh.bcross[mesh.bkind == OPEN]
    assert sides.min() >= 1 / np.sqrt(3) - 1e-12
    assert sides.mean() < 0.85


def test_a_pipe_is_a_list_of_cells_and_never_vanishes() -> None:
    mesh = mesh_of("mound", 1.3, height_m=1.1)
    cells = cells_along(mesh, [(-2, 0.3, 0.15), (2, 0.3, 0.15)])
    assert 10 < cells.size < 25
    assert set(cells) <= set(mesh.cells)
    with pytest.raises(InputError, match="passes no part"):
        cells_along(mesh, [(-2, 9.0, 0.15), (2, 9.0, 0.15)])


@pytest.mark.parametrize(
    "make",
    [
        lambda: HeapSpec(volume_m3=-1.0),
        lambda: HeapSpec(volume_m3=1.3, start_c=900.0),
        lambda: HeapSpec(volume_m3=1.3, moisture_wb=0.97),
        lambda: HeapSpec(volume_m3=1.3, shape="pyramid").mesh(),
        lambda: HeapSpec(volume_m3=1.3, height_m=1.0, width_m=6.0).mesh(),
        lambda: HeapSpec(volume_m3=1.3, pipes=(Pipe(((-2.0, 5.0, 0.1), (2.0, 5.0, 0.1))),)).mesh(),
        lambda: HeapSpec(volume_m3=1.3, spots=(ProbeSpot("core", (0.0, 0.0, 9.0)),)).mesh(),
        lambda: Action(-3.0, "turned"),
        lambda: Action(3.0, "stirred"),  # type: ignore[arg-type]
        lambda: Pipe(((0.0, 0.0, 0.1),)),
        lambda: mesh_from_mask(np.zeros((2, 2, 2), dtype=bool), 0.1),
        lambda: mesh_of("mound", 1.3, dx_m=0.002),
    ],
)
def test_absurd_heaps_are_refused(make: object) -> None:
    with pytest.raises(HeapwrightError):
        make()  # type: ignore[operator]
