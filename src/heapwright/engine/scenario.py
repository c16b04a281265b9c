"""What a simulated heap is, what surrounds it, and what is done to it, as plain numbers.

Units: SI, degrees C, ages in days. Conventions: a scenario is built from a plan or by hand and is
frozen; everything random or unknown has been settled before. Absurd input is refused here, before
the first step.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

from heapwright.engine.mesh import Mesh
from heapwright.engine.shapes import cells_along, mesh_of
from heapwright.errors import InputError
from heapwright.science.sky import exposure_factor
from heapwright.science.values import value
from heapwright.units import quantity

__all__ = ["Action", "ActionKind", "HeapSpec", "Pipe", "ProbeSpot"]

ActionKind = Literal[
    "turned", "watered", "moistened", "covered", "uncovered", "vent opened", "vent plugged",
    "vent pulled", "air on", "air off",
]  # fmt: skip
_KINDS = get_args(ActionKind)


@dataclass(frozen=True, slots=True)
class Action:
    """One thing done at a heap age [d].

    amount : litres for ``watered``, which go over the top; for ``moistened`` the share of water
    (wet basis) to which all of it is brought by hand, as one does while turning; else unused.
    """

    age_d: float
    kind: ActionKind
    amount: float = 0.0

    def __post_init__(self) -> None:
        quantity("age_d").check(self.age_d, field="action age")
        if self.kind not in _KINDS:
            raise InputError(
                "the simulator knows no such action",
                field="action",
                value=self.kind,
                way_out="One of " + ", ".join(_KINDS),
            )
        if self.kind == "moistened":
            quantity("moisture_wb").check(self.amount, field="moistened to")
        else:
            quantity("water_l").check(self.amount, field="litres")


@dataclass(frozen=True, slots=True)
class Pipe:
    """A perforated pipe by its course in heap coordinates [m]: x, y from the middle of the foot, z
    from the ground under each place.

    diameter_m; hole_rows : rows of holes, 1 to 50; hole_mm : diameter of a hole; hole_spacing_m :
    from hole to hole along a row, by default both as in perforated drain pipe (see ``pipe`` of
    ``heapphysics.toml``); state : open or plugged at the build; both_open : a mouth at each end;
    forced_pa : pressure of a blower; forced_l_s : its flow. Raises `QuantityError` or `InputError`.

    >>> Pipe(((-1, 0, 0.2), (1, 0, 0.2)), hole_rows=2, hole_spacing_m=0.1).holes_a_metre
    20.0
    """

    points_m: tuple[tuple[float, float, float], ...]
    diameter_m: float = 0.1
    hole_rows: int = 2
    hole_mm: float = field(default_factory=lambda: value("heapphysics", "pipe.hole").value)
    hole_spacing_m: float = field(
        default_factory=lambda: value("heapphysics", "pipe.hole_spacing").value
    )
    state: Literal["open", "plugged"] = "open"
    both_open: bool = True
    forced_pa: float = 0.0
    forced_l_s: float = 0.0

    def __post_init__(self) -> None:
        quantity("diameter_m").check(self.diameter_m, field="pipe diameter")
        if len(self.points_m) < 2:
            raise InputError("a pipe has at least two ends", field="pipe")
        quantity("hole_mm").check(self.hole_mm, field="hole_mm")
        quantity("length_m").check(self.hole_spacing_m, field="hole_spacing_m")
        if not 1 <= self.hole_rows <= 50:
            raise InputError("a pipe has 1 to 50 rows of holes", field="hole_rows",
                             value=self.hole_rows)  # fmt: skip
        if self.hole_mm > 1000 * min(self.diameter_m, self.hole_spacing_m):
            raise InputError(
                "a hole is no wider than its pipe and the way to the next one",
                field="hole_mm",
                value=f"{self.hole_mm:g} mm",
                way_out="Give the holes in millimetres, pipe and spacing in metres",
            )
        if not 0 <= self.forced_pa <= 5000:
            raise InputError("a blower gives 0 to 5000 Pa", field="forced_pa", value=self.forced_pa)
        if not 0 <= self.forced_l_s <= 1000:
            raise InputError(
                "a blower gives 0 to 1000 litres a second",
                field="forced_l_s",
                value=self.forced_l_s,
            )
        if self.forced_pa and self.forced_l_s:
            raise InputError(
                "a blower is given by its pressure or by its flow, not by both", field="pipe"
            )

    @property
    def holes_a_metre(self) -> float:
        """Holes of a metre of pipe, all rows together."""
        return self.hole_rows / self.hole_spacing_m


@dataclass(frozen=True, slots=True)
class ProbeSpot:
    """A spot of the probe: its name and the place of the probe's tip in heap coordinates [m].

    z counts from the ground under it.
    """

    name: str
    point_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class HeapSpec:
    """A heap for the simulator.

    shape, volume_m3, height_m, width_m, length_m : as in `shapes.mesh_of`; dry_density : dry mass
    per volume [kg/m3]; moisture_wb : wet basis; start_c : temperature when built; leafy_share of
    the dry matter; exposure : wind at the heap over wind at 10 m, or open, partly, sheltered;
    slope_deg : of the ground, rising towards +x, 0 to 30; wet_fine : a wet, fine mix that sinks
    more and dries from its very skin; field_capacity : kg of water a kg of dry matter; cover :
    share of the skin that a cover shuts; spots : where it is probed; pipes. Raises `QuantityError`
    or `InputError` for what cannot be.
    """

    volume_m3: float
    shape: str = "mound"
    height_m: float | None = None
    width_m: float | None = None
    length_m: float | None = None
    dry_density: float = 190.0
    moisture_wb: float = 0.55
    start_c: float = 15.0
    leafy_share: float = 0.1
    exposure: float | str = 0.3
    slope_deg: float = 0.0
    wet_fine: bool = False
    field_capacity: float = 1.8
    cover: float = 0.0
    spots: tuple[ProbeSpot, ...] = ()
    pipes: tuple[Pipe, ...] = ()
    dx_m: float | None = None
    soil_c: float | None = None
    name: str = "heap"
    actions: tuple[Action, ...] = field(default=())

    def __post_init__(self) -> None:
        quantity("volume_m3").check(self.volume_m3, field="volume")
        quantity("bulk_density_kg_m3").check(self.dry_density, field="dry density")
        quantity("moisture_wb").check(self.moisture_wb, field="moisture")
        if not 0.02 <= self.moisture_wb <= 0.9:
            raise InputError(
                "material of a heap holds 2 to 90 % water",
                field="moisture",
                value=f"{self.moisture_wb:.0%}",
                way_out="Give it on wet basis",
            )
        quantity("temp_c").check(self.start_c, field="start temperature")
        quantity("leafiness").check(self.leafy_share, field="leafy share")
        exposure_factor(self.exposure)
        if not 0 <= self.cover <= 1:
            raise InputError("a share lies between 0 and 1", field="cover", value=self.cover)
        if not 0 <= self.slope_deg <= 30:
            raise InputError("a slope is 0 to 30 degrees", field="slope", value=self.slope_deg)
        if not 0.05 <= self.field_capacity <= 10:
            raise InputError(
                "material keeps 0.05 to 10 kg of water a kg of dry mass",
                field="field_capacity", value=self.field_capacity,
            )  # fmt: skip
        if self.dx_m is not None and not 0.02 <= self.dx_m <= 1:
            raise InputError("cells are 2 cm to 1 m", field="cell size", value=f"{self.dx_m:g} m")
        if self.dry_density >= 450:
            raise InputError(
                "so dense a heap has no room for air between its particles",
                field="dry density", value=f"{self.dry_density:g} kg/m3",
                way_out="Give dry mass a volume of heap, 60 to 400",
            )  # fmt: skip

    def mesh(self) -> Mesh:
        """The voxels of the heap; refuses pipes and spots outside it."""
        made = mesh_of(
            self.shape,
            self.volume_m3,
            height_m=self.height_m,
            width_m=self.width_m,
            length_m=self.length_m,
            dx_m=self.dx_m,
            slope_deg=self.slope_deg,
        )

        for pipe in self.pipes:
            cells_along(made, pipe.points_m)
        for spot in self.spots:
            gap = made.centres() - made.lifted(spot.point_m)
            if float((gap**2).sum(axis=1).min()) > (1.5 * made.dx_m) ** 2:
                raise InputError(
                    "this spot lies outside the heap",
                    field=f"spot {spot.name}",
                    value=str(spot.point_m),
                    way_out="Check its depth and the size of the heap",
                )
        return made
