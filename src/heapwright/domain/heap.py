"""Heaps and the spots where they are probed.

Units: metres, cubic metres, calendar dates. Conventions: a heap is called by a short name; its
volume is the one when built.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from heapwright.domain.names import check_name
from heapwright.errors import PlanError
from heapwright.units import Ranged, quantity

__all__ = ["SHAPES", "Heap", "Spot"]

#: Shapes whose volume a tape can give.
SHAPES: tuple[str, ...] = (
    "cone",
    "mound",
    "windrow triangle",
    "windrow parabola",
    "windrow trapezoid",
    "bin",
    "box",
)


@dataclass(frozen=True, slots=True)
class Spot:
    """A fixed place for the probe, by name.

    depth_m : along the probe below the skin [m], 0 to 5; pipe_distance_m : to the nearest vent
    pipe [m], None where there is none; position : in words.
    """

    name: str
    depth_m: float
    pipe_distance_m: float | None = None
    position: str = ""

    def __post_init__(self) -> None:
        check_name(self.name, field="spot name")
        quantity("depth_m").check(self.depth_m, field="depth")
        if self.pipe_distance_m is not None:
            quantity("pipe_distance_m").check(self.pipe_distance_m, field="pipe_distance")


@dataclass(frozen=True, slots=True)
class Heap:
    """One heap of a trial or yard.

    name : short; way : name of its treatment, None until lots are drawn; volume_m3 : when built;
    shape, height_m : from a tape; built : aware datetime or None until built; leafiness : 0 to 1;
    downhill_of : the heap whose run-off reaches this one.
    """

    name: str
    way: str | None = None
    volume_m3: Ranged | None = None
    shape: str | None = None
    height_m: float | None = None
    built: datetime | None = None
    leafiness: float | None = None
    block: str | None = None
    downhill_of: str | None = None

    def __post_init__(self) -> None:
        check_name(self.name, field="heap name")
        if self.shape is not None and self.shape not in SHAPES:
            raise PlanError(
                "no such shape",
                field="shape",
                value=self.shape,
                way_out="One of " + ", ".join(SHAPES),
            )
        if self.leafiness is not None:
            quantity("leafiness").check(self.leafiness, field="leafiness")
        if self.volume_m3 is not None:
            quantity("volume_m3").check(self.volume_m3.typical, field="volume")
