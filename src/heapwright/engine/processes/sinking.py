"""Sinking: the volume of a heap as it loses mass and settles under its own weight.

Units: m3, m, days. Conventions: V = V_built (m/m_built)^a / (1 + s (1 - exp(-t/tau))), m the dry
mass, s the mean gain in density under the heap's own weight. The cells keep their volume until it
is 4 % too much; then the heap is put on fewer or smaller cells, column by column.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from heapwright.engine.mesh import Mesh
from heapwright.engine.process import Process
from heapwright.science.heapphysics import self_weight_density
from heapwright.science.values import value

__all__ = ["PROCESS", "WORTH_IT", "Sinking"]

#: volume of the cells over that of the heap at which it is put on new cells, less 1
WORTH_IT = 0.04
_DAY_S = 86400.0

PROCESS = Process(
    name="sinking",
    reads=("pools", "ash", "biomass", "acid"),
    writes=(
        "enthalpy_j", "temp_c", "water_m", "water_f", "pools", "ash", "biomass", "acid", "act_m",
        "act_t", "act_f", "living", "n_org", "n_nh4", "nh3_lost", "o2", "p_pa", "soil_c",
    ),
    sources=(
        "form of Schaub-Szabo and Leonard 1999 for self-weight (from memory)",
        "peat-poultry piles sank 16-22 % while they lost about a quarter of their dry matter "
        "(Fernandes, Sartaj and Patni)",
    ),
    note="all parts of a heap sink alike; pores close as far as the density rises",
)  # fmt: skip


@dataclass(slots=True)
class Sinking:
    """How a heap sinks from when it was built or turned.

    volume_m3, dry_kg : then; wet_density : of the material [kg/m3]; material; height_m : then.
    """

    volume_m3: float
    dry_kg: float
    wet_density: float
    height_m: float
    material: Literal["chips", "wet_fines"] = "chips"
    _gain: float = field(init=False, repr=False)
    _power: float = field(init=False, repr=False)
    _tau_s: float = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._power = value("heapphysics", "sinking.per_loss").value
        self._tau_s = value("heapphysics", "sinking.settling").value * _DAY_S
        depths = (np.arange(20) + 0.5) / 20 * self.height_m
        packed = self_weight_density(self.wet_density, depths, material=self.material)
        self._gain = float(np.mean(packed)) / self.wet_density - 1.0

    def volume_after(self, dry_kg: float, seconds: float) -> float:
        """Volume [m3] at a dry mass [kg], *seconds* after building or turning."""
        lost = min(1.0, dry_kg / self.dry_kg) ** self._power
        packed = 1.0 + self._gain * -math.expm1(-seconds / self._tau_s)
        return float(self.volume_m3 * lost / packed)


def is_due(mesh: Mesh, volume_m3: float) -> bool:
    """Whether the heap should be put on new cells."""
    return abs(mesh.volume_m3 / volume_m3 - 1.0) > WORTH_IT
