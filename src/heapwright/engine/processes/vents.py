"""Vents: perforated pipes as lists of cells, open, plugged or pulled, passive or blown.

Units: m, Pa, litres a second. Conventions: the course of a pipe is given in the heap as built and
shrinks with it; it is snapped to the cells it passes, never to none: where the coarse cells of a
sunk heap leave it bare, it lies up to one cell lower. Plugged and pulled pipes let
no air through: where one was pulled the material falls in.
"""

from __future__ import annotations

import math
from contextlib import suppress

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels.passes import Vents
from heapwright.engine.mesh import Mesh
from heapwright.engine.process import Process
from heapwright.engine.scenario import Pipe
from heapwright.engine.shapes import cells_along
from heapwright.engine.surroundings import PipeLine
from heapwright.errors import InputError
from heapwright.science.values import value

__all__ = ["PROCESS", "laid", "pipelines"]

#: heat passing from air to the wall of a pipe [W/m2K], slow flow (own choice)
_WALL = 5.0

PROCESS = Process(
    name="vents",
    reads=("temp_c", "o2", "p_pa", "water_m", "water_f"),
    writes=("enthalpy_j",),
    sources=(
        "flow from a line to the cells around it: Peaceman 1978 (from memory)",
        "into a round hole: 4 k a/mu, the disc of radius a in the wall of a half space of Weber "
        "1873 (from memory)",
        "inertia in front of a hole: Ergun 1952 (from memory), over a half sphere; through it: a "
        "sharp-edged orifice (from memory)",
        "air relaxes to the wall along the pipe: Nusselt number of slow flow (from memory)",
    ),
    note="no friction along the pipe and at its mouth: below 0.1 Pa at the flow of a passive pipe, "
    "where the heap takes several; no hole is blocked or feels its neighbours; no water runs in",
)


def pipelines(
    pipes: tuple[Pipe, ...], states: list[str], mesh: Mesh, scale: tuple[float, float]
) -> tuple[PipeLine, ...]:
    """The pipes of a heap on its cells.

    states : ``open``, ``plugged`` or ``pulled`` of each, and ``blown`` while its blower is on;
    scale : what the heap measures along and across, and in height, over what it measured as built.
    """
    lines = []
    for pipe, state in zip(pipes, states, strict=True):
        course = [(x * scale[0], y * scale[0], z * scale[1]) for x, y, z in pipe.points_m]
        blown = state == "blown"
        lines.append(
            PipeLine(
                _passed(mesh, course),
                radius_m=pipe.diameter_m / 2,
                holes_a_metre=pipe.holes_a_metre,
                hole_radius_m=pipe.hole_mm / 2000,
                both_open=pipe.both_open,
                open=state in ("open", "blown"),
                pressure_pa=pipe.forced_pa if blown else 0.0,
                flow_l_s=pipe.forced_l_s if blown else 0.0,
            )
        )
    return tuple(lines)


def _passed(mesh: Mesh, course: list[tuple[float, float, float]]) -> NDArray[np.uint64]:
    """The cells of a pipe; raises `InputError` where it is bare by more than a cell."""
    try:
        return cells_along(mesh, course)
    except InputError as bare:
        for lower in (0.5 * mesh.dx_m, mesh.dx_m):
            with suppress(InputError):
                return cells_along(mesh, [(x, y, max(z - lower, 0.0)) for x, y, z in course])
        raise bare


def laid(lines: list[PipeLine], mesh: Mesh, viscosity: float, first: int) -> Vents:
    """Open pipes as the kernels take them; their entries begin at *first*.

    viscosity : of the air [Pa s]. What flows from a pipe into the cells around it meets three
    resistances in a row: from the line to a square of cells; through the heap close to every hole,
    where the air has to gather; and, growing with the square of the flow, that of the hole itself
    (`Vents.choke`) and of the crowded air in front of it (`Vents.crowd`). Holes are small against
    the way to the next one, so that they do not feel each other (within a tenth at a spacing of ten
    diameters).
    """
    discharge = value("heapphysics", "pipe.discharge").value
    sizes = np.array([line.cells.size for line in lines], dtype=np.int64)
    end = first + np.cumsum(sizes)
    start = end - sizes
    far = [(n + 1) // 2 if line.both_open else n for n, line in zip(sizes, lines, strict=True)]
    per_pa, choke, crowd = np.zeros((3, first + int(sizes.sum())))
    for line, low, high in zip(lines, start, end, strict=True):
        around = max(math.log(0.2 * mesh.dx_m / line.radius_m), 0.5)
        radius, holes = line.hole_radius_m, line.holes_a_metre * mesh.dx_m
        a_cell = 1.0 / (around / (2 * math.pi * mesh.dx_m) + 1.0 / (4 * radius * holes))
        per_pa[low:high] = a_cell / viscosity
        choke[low:high] = 0.5 / (discharge * math.pi * radius**2 * holes) ** 2
        crowd[low:high] = 1.0 / (12 * math.pi**2 * radius**3 * holes**2)
    return Vents(
        start=start,
        end=end,
        split=start + np.array(far, dtype=np.int64),
        wall=np.array([_WALL * 2 * math.pi * line.radius_m * mesh.dx_m for line in lines]),
        flow_l_s=np.array([line.flow_l_s for line in lines]),
        pressure=np.array([line.pressure_pa for line in lines]),
        per_pa=per_pa,
        choke=choke,
        crowd=crowd,
    )
