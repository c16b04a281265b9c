"""What surrounds a heap at one moment, and the pipes in it as lists of cells: plain records.

Units: SI, degrees C. Conventions: made by the processes that know weather and vents, read by the
stepper and by those that move gas and heat.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import passes

__all__ = ["RAIN", "Air", "PipeLine", "air_of", "row_of"]

Floats = NDArray[np.float64]
#: where the rain stands in a row of weather
RAIN = passes.RAIN


@dataclass(frozen=True, slots=True)
class Air:
    """The surroundings at one moment.

    temp_c, vapour_pa, pressure_pa : of the air; wind_m_s : at heap height; sky_c : of the sky as
    a black body; sun_w_m2 : absorbed by a face of each direction, beam and
    diffuse (2, 6) or beam alone (6,); rain_kg_m2_s; deep_c : soil
    at depth.
    """

    temp_c: float
    vapour_pa: float
    pressure_pa: float
    wind_m_s: float
    sky_c: float
    sun_w_m2: Floats
    rain_kg_m2_s: float
    deep_c: float


def row_of(air: Air) -> Floats:
    """The air as a row of weather for the kernels; sun (6,) counts as beam, (2, 6) as it is.

    >>> row_of(Air(15.0, 900.0, 101325.0, 1.0, 5.0, np.zeros(6), 0.0, 10.0)).size
    19
    """
    row = np.zeros(passes.AIR_COLUMNS)
    row[: passes.SUN] = (
        air.temp_c, air.vapour_pa, air.pressure_pa, air.wind_m_s, air.sky_c, air.rain_kg_m2_s,
        air.deep_c,
    )  # fmt: skip
    sun = np.asarray(air.sun_w_m2).ravel()
    row[passes.SUN : passes.SUN + sun.size] = sun
    return row


def air_of(row: Floats) -> Air:
    """A row of weather as `Air`, the other way round than `row_of`."""
    temp, vapour, pressure, wind, sky, rain, deep = row[: passes.SUN].tolist()
    return Air(temp, vapour, pressure, wind, sky, row[passes.SUN :].reshape(2, 6), rain, deep)


@dataclass(slots=True)
class PipeLine:
    """One pipe as a list of cells from mouth to mouth.

    cells : flat indices; radius_m; holes_a_metre : endless for an open slot; hole_radius_m;
    both_open : a second mouth; open : False while plugged or pulled; pressure_pa : inside, above
    the air outside (0 for a passive pipe); flow_l_s : of a blower, into the heap, to which the
    pressure is then fitted (0: none).
    """

    cells: NDArray[np.uint64]
    radius_m: float
    holes_a_metre: float = math.inf
    hole_radius_m: float = 0.0065
    both_open: bool = True
    open: bool = True
    pressure_pa: float = 0.0
    flow_l_s: float = 0.0
