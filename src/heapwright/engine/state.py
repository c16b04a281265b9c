"""The state of a heap in the simulator, and the scratch fields of a step.

Units: SI, masses in kg a cell, temperatures in degrees C, oxygen as mole fraction of dry gas,
pressure in Pa above that of the air outside. Conventions: every field has the length of the padded
box of its mesh; pools are (P, N), ordered by ingredient and class.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.mesh import Mesh

__all__ = ["AMOUNTS", "BY_MASS", "FIELDS", "State", "Work", "empty_state"]

Floats = NDArray[np.float64]

#: Fields of the state: unit and meaning.
FIELDS: dict[str, tuple[str, str]] = {
    "enthalpy_j": ("J", "enthalpy above dry matter and liquid water at 0 C"),
    "temp_c": ("degC", "temperature"),
    "water_m": ("kg", "water held in the material"),
    "water_f": ("kg", "water running freely between particles"),
    "pools": ("kg", "organic matter by ingredient and class"),
    "ash": ("kg", "mineral matter"),
    "biomass": ("kg", "microbes"),
    "acid": ("kg", "products of hydrolysis without oxygen"),
    "act_m": ("1", "activity of mesophiles"),
    "act_t": ("1", "activity of thermophiles"),
    "act_f": ("1", "activity of fungi"),
    "living": ("1", "share of the tissue of fresh wood that still lives"),
    "n_org": ("kg", "nitrogen in organic matter and microbes"),
    "n_nh4": ("kg", "ammonium nitrogen"),
    "nh3_lost": ("kg", "ammonia nitrogen lost so far"),
    "o2": ("1", "oxygen, mole fraction of dry gas"),
    "p_pa": ("Pa", "pressure above the hydrostatic pressure outside"),
    "soil_c": ("degC", "soil below, (ground faces, layers)"),
}


#: fields that add up when cells are put together, beside the pools
AMOUNTS = (
    "enthalpy_j", "water_m", "water_f", "ash", "biomass", "acid", "n_org", "n_nh4", "nh3_lost",
)  # fmt: skip
#: fields that are averaged by dry mass
BY_MASS = ("act_m", "act_t", "act_f", "living")


@dataclass(slots=True)
class State:
    """Everything that is carried from one step to the next; see `FIELDS`."""

    enthalpy_j: Floats
    temp_c: Floats
    water_m: Floats
    water_f: Floats
    pools: Floats
    ash: Floats
    biomass: Floats
    acid: Floats
    act_m: Floats
    act_t: Floats
    act_f: Floats
    living: Floats
    n_org: Floats
    n_nh4: Floats
    nh3_lost: Floats
    o2: Floats
    p_pa: Floats
    soil_c: Floats

    @property
    def dry_kg(self) -> Floats:
        """Dry mass of every cell: pools, ash, microbes and acids."""
        return np.asarray(self.pools.sum(axis=0) + self.ash + self.biomass + self.acid)

    @property
    def water_kg(self) -> Floats:
        """All water of every cell."""
        return np.asarray(self.water_m + self.water_f)

    def copy(self) -> State:
        """A deep copy."""
        return State(**{f.name: getattr(self, f.name).copy() for f in fields(self)})


def empty_state(mesh: Mesh, pools: int, soil_layers: int) -> State:
    """A state of zeros with the shapes of *mesh*."""
    from heapwright.engine.mesh import GROUND

    made: dict[str, Any] = {name: mesh.field() for name in FIELDS}
    made["pools"] = np.zeros((pools, mesh.size))
    made["soil_c"] = np.zeros((int((mesh.bkind == GROUND).sum()), soil_layers))
    return State(**made)


#: What may be less precise than double, see `Work`.
_COARSE = {
    "kx", "ky", "kz", "gx", "gy", "gz", "hz", "dox", "doy", "doz", "fx", "fy", "fz", "ratio",
    "p_diag", "p_inverse", "p_rhs", "c1", "c2", "c3",
}  # fmt: skip


class Work(dict[str, NDArray[Any]]):
    """Scratch fields of a step and slowly changing material fields, by name.

    A field that is asked for first is made, 0 everywhere. Kept out of the state: everything here
    follows from it. *precision* is that of conductances and fluxes of faces, of what only solvers
    use, and of the vapour between cells; whatever is added up over time is double.
    """

    def __init__(self, mesh: Mesh, precision: type = np.float32) -> None:
        super().__init__()
        self.mesh, self.precision = mesh, precision

    def __missing__(self, name: str) -> NDArray[Any]:
        kind = self.precision if name in _COARSE else np.float64
        made: NDArray[Any] = np.zeros(self.mesh.size, dtype=kind)
        self[name] = made
        return made
