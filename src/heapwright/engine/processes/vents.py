"""Vents: perforated pipes as lists of cells, open, plugged or pulled, passive or blown.

Units: m, Pa, litres a second. Conventions: the course of a pipe is given in the heap as built and
shrinks with it; it is snapped to the cells it passes, never to none. Plugged and pulled pipes let
no air through: where one was pulled the material falls in.
"""

from __future__ import annotations

from heapwright.engine.mesh import Mesh
from heapwright.engine.process import Process
from heapwright.engine.scenario import Pipe
from heapwright.engine.shapes import cells_along
from heapwright.engine.surroundings import PipeLine

__all__ = ["PROCESS", "pipelines"]

PROCESS = Process(
    name="vents",
    reads=("temp_c", "o2", "p_pa", "water_m", "water_f"),
    writes=("enthalpy_j",),
    sources=(
        "flow from a line to the cells around it: Peaceman 1978 (from memory)",
        "air relaxes to the wall along the pipe: Nusselt number of slow flow (from memory)",
    ),
    note="no friction along the pipe; no water runs into pipes",
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
                cells_along(mesh, course),
                radius_m=pipe.diameter_m / 2,
                holes=pipe.holes,
                both_open=pipe.both_open,
                open=state in ("open", "blown"),
                pressure_pa=pipe.forced_pa if blown else 0.0,
                flow_l_s=pipe.forced_l_s if blown else 0.0,
            )
        )
    return tuple(lines)
