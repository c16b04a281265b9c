"""A laboratory vessel as a subject to learn about: the same kinetics, no space.

Units: as in `heapwright.engine.vessel`. Conventions: it has one spot, ``core``; the film of the
heap is the wall of the vessel; what has no meaning without space (permeability, wind, depth of a
probe) makes no difference and stays as it was drawn.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from heapwright.engine.composition import Recipe
from heapwright.engine.vessel import Vessel
from heapwright.engine.vesselrun import run_vessel
from heapwright.inference.members import Course, constants_of, matter_of, moisture_of

__all__ = ["VesselSubject"]


@dataclass(frozen=True, slots=True)
class VesselSubject:
    """A vessel to learn about: name; vessel : as stated; recipe : its matter."""

    name: str
    vessel: Vessel
    recipe: Recipe

    @property
    def spots(self) -> tuple[str, ...]:
        """It is well mixed: one spot."""
        return ("core",)

    def course(self, numbers: Mapping[str, float], days: float, cell_m: float | None) -> Course:
        """How such a vessel goes; cells have no meaning for it."""
        kinetics, parameters = constants_of(numbers)
        v = self.vessel
        wall = v.wall_resistance_k_w
        run = run_vessel(
            replace(
                v,
                moisture_wb=moisture_of(v.moisture_wb, numbers),
                wall_resistance_k_w=None if wall is None else wall / numbers.get("film", 1.0),
            ),
            days=days, recipe=matter_of(self.recipe, numbers), kinetics=kinetics,
            parameters=parameters,
        )  # fmt: skip
        c = run.curves
        spot = {n: c[n] for n in ("temp_c", "o2", "moisture_wb")}
        still = np.full(run.hours.size, np.nan)
        curves = {
            "air_c": c["air_c"], "mean_c": spot["temp_c"], "core_c": spot["temp_c"],
            "core_moisture_wb": spot["moisture_wb"], "o2_core": spot["o2"], "o2_least": spot["o2"],
            "dry_kg": c["dry_kg"], "water_kg": c["water_kg"], "volume_m3": still, "height_m": still,
        }  # fmt: skip
        return Course(run.hours, {"core": spot}, curves)

    def mark(self, until_d: float) -> bytes:
        """All that is known of it as bytes."""
        known = repr((self.name, self.vessel)).encode()
        return known + self.recipe.pools.tobytes() + self.recipe.rate_per_d.tobytes()
