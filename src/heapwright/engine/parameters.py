"""Constants and material parameters of the simulator, read from science/values.

Units: as in ``engine.toml``. Conventions: a parameter set is a plain frozen object; `with_` gives
another with some values changed, each checked against the range a prior may take.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import QuantityError
from heapwright.science.values import raw, value

__all__ = ["Parameters", "check_names", "gas_table", "saturation_coefficients"]


@dataclass(frozen=True, slots=True)
class Parameters:
    """One value for every parameter of the simulator that is not biology; see ``engine.toml``."""

    r_gas: float
    gravity: float
    viscosity: float
    molar_mass_dry_air: float
    molar_mass_carbon: float
    oxygen_in_air: float
    molar_mass_water: float
    d_oxygen: float
    d_vapour_ratio: float
    d_power: float
    d_exponent: float
    cp_dry_gas: float
    latent_0c: float
    cp_vapour: float
    cp_dry_matter: float
    cp_water: float
    permeability: float
    kz_over_kh: float
    ageing: float
    particle_density: float
    cell_wall_density: float
    conductivity_dry: float
    conductivity_water: float
    fibre_saturation: float
    soil_conductivity: float
    soil_capacity: float
    k_oxygen: float
    wind_pressure: float
    turn_heat_lost: float
    turn_as_vapour: float
    turn_fungi_left: float

    @classmethod
    def published(cls) -> Parameters:
        """The medians of ``engine.toml``."""
        return _published()

    def with_(self, **changes: float) -> Parameters:
        """The same with some values changed; raises `QuantityError` for an unknown or negative one.

        >>> Parameters.published().with_(permeability=1e-8).permeability
        1e-08
        """
        check_names(self, changes)
        for name, number in changes.items():
            if not (np.isfinite(number) and number > 0):
                raise QuantityError("a parameter is above 0", field=name, value=number)
        return replace(self, **changes)

    def gas(self, pressure_pa: float) -> NDArray[np.float64]:
        """The parameter row of the gas kernel at an outside pressure [Pa]."""
        return np.array(
            [
                self.r_gas,
                self.gravity,
                self.viscosity,
                self.molar_mass_dry_air,
                self.molar_mass_carbon,
                self.oxygen_in_air,
                self.molar_mass_water,
                pressure_pa,
                self.d_oxygen,
                self.d_oxygen * self.d_vapour_ratio,
                self.d_power,
                self.d_exponent,
            ]
        )

    def transport(self) -> NDArray[np.float64]:
        """The parameter row of the transport kernel."""
        return np.array(
            [
                self.cp_dry_gas,
                self.molar_mass_water,
                self.latent_0c,
                self.cp_vapour,
                self.d_vapour_ratio,
            ]
        )

    def material(self) -> NDArray[np.float64]:
        """The parameter row of the material kernel."""
        return np.array(
            [
                self.particle_density,
                self.cell_wall_density,
                self.permeability,
                self.conductivity_dry,
                self.conductivity_water,
                self.cp_dry_matter,
                self.cp_water,
                self.fibre_saturation,
                0.02,
                self.ageing,
            ]
        )


def check_names(constants: Any, changes: Mapping[str, Any]) -> None:
    """Refuse a change of what is no field of *constants*, a dataclass; raises `QuantityError`."""
    known = [f.name for f in fields(constants)]
    for name in changes:
        if name not in known:
            raise QuantityError(
                "there is no such constant", field="constant", value=name,
                way_out="Known: " + ", ".join(sorted(known)),
            )  # fmt: skip


@functools.cache
def _published() -> Parameters:
    names: list[Any] = [f.name for f in fields(Parameters)]
    return Parameters(**{n: value("engine", n).value for n in names})


@functools.cache
def saturation_coefficients() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Coefficients of the saturation pressure over water and ice, as the gas kernel wants them."""
    table = raw("air")
    return _row(table["saturation_water"]), _row(table["saturation_ice"])


@functools.cache
def gas_table(power: float) -> NDArray[np.float64]:
    """Saturation pressure and (T/273.15)^power by temperature, as the gas kernel looks them up."""
    from heapwright.engine.kernels import gas

    made = np.zeros((gas.ROWS, gas.COLUMNS))
    gas.fill_table(*saturation_coefficients(), power, made)
    return made


def _row(entry: Mapping[str, Any]) -> NDArray[np.float64]:
    return np.array([float(entry[n]) for n in ("a_inv", "a0", "a1", "a2", "a3", "a4", "a_ln")])
