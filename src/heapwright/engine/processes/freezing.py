"""Freezing and thawing: the temperature of every cell from its enthalpy, with ice at 0 C.

Units: SI, degrees C. Conventions: the enthalpy of the state is the truth, counted above dry matter
and liquid water at 0 C; temperature and ice follow from it. Ice is no field of the state.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import thermo as kernel
from heapwright.engine.parameters import Parameters
from heapwright.engine.process import Process
from heapwright.science.values import value

__all__ = ["PROCESS", "Freezing", "thermo_parameters"]

Floats = NDArray[np.float64]

PROCESS = Process(
    name="freezing and thawing",
    reads=(
        "enthalpy_j", "temp_c", "water_m", "water_f", "pools", "ash", "biomass", "acid",
    ),
    writes=("enthalpy_j", "temp_c"),
    sources=(
        "heat of fusion 333.5 kJ/kg, heat capacity of ice 2100 J/kgK: general tables (from memory)",
        "enthalpy method: temperature follows from the heat content",
    ),
    note="all water freezes at 0 C, also that bound in cell walls; frost does not close the pores",
)  # fmt: skip


def thermo_parameters(par: Parameters) -> Floats:
    """The parameter row of the thermo kernels: dry matter, water, ice [J/kgK], fusion [J/kg]."""
    return np.array(
        [
            par.cp_dry_matter,
            par.cp_water,
            value("heapphysics", "heat_capacity_ice").value,
            value("heapphysics", "heat_of_fusion").value,
        ]
    )


class Freezing:
    """Heat content and temperature of a heap, both ways.

    ``work["ice"]`` [kg] and ``work["capacity"]`` [J/K, melting left out] are filled beside the
    temperature.
    """

    def __init__(self, parameters: Parameters) -> None:
        self.par = thermo_parameters(parameters)

    def temperature(self, host: Any) -> None:
        """Set temperature, ice and capacity of every cell from its enthalpy and masses.

        Masses are read from ``work["dry"]`` and ``work["water"]``.
        """
        s, w = host.state, host.work
        kernel.temperature(
            host.mesh.cells, s.enthalpy_j, w["dry"], w["water"], self.par, s.temp_c, w["ice"],
            w["capacity"],
        )  # fmt: skip

    def enthalpy(self, host: Any) -> None:
        """Set the enthalpy of every cell from temperature and masses.

        Below 0 C all water is taken as ice; at 0 C sharp ``work["ice"]`` [kg] of it.
        """
        s, w = host.state, host.work
        kernel.enthalpy(
            host.mesh.cells, s.temp_c, w["ice"], w["dry"], w["water"], self.par, s.enthalpy_j
        )
        self.temperature(host)

    def held_j(self, host: Any) -> float:
        """Enthalpy of the heap [J] worked out anew from temperature, masses and ice."""
        s, w, c = host.state, host.work, host.mesh.cells
        kernel.enthalpy(c, s.temp_c, w["ice"], s.dry_kg, s.water_kg, self.par, w["enthalpy_anew"])
        return float(w["enthalpy_anew"][c].sum())
