"""The material of a heap: heat, air space, flow of gas, compression, water and ice.

Units: SI, temperatures in degrees C; water as kg a kg of dry mass (W/ms) where a ratio is meant.
Conventions: floats or numpy arrays in and out; densities are mass per volume of heap. Only the
space between particles counts as air space: what the lumens of wood hold is no path for air.
Numbers stand in ``values/heapphysics.toml`` and ``values/engine.toml``.
"""

from __future__ import annotations

import functools
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import QuantityError, UnknownNameError
from heapwright.science.air import saturation_pressure
from heapwright.science.values import value

__all__ = [
    "air_filled_pores",
    "compressed_density",
    "effective_diffusivity",
    "enthalpy",
    "field_capacity",
    "gas_viscosity",
    "heat_capacity",
    "lumen_capacity",
    "oxygen_diffusivity",
    "permeability",
    "saturation_polynomials",
    "self_weight_density",
    "temperature",
    "thermal_conductivity",
]

Floats = NDArray[np.float64]
Material = Literal["chips", "wet_fines"]
_ZERO_C = 273.15
_WATER_DENSITY = 1000.0
#: Ranges [degrees C] over which ice and water are fitted, and the degree of the polynomials.
_ICE_RANGE, _WATER_RANGE, _DEGREE = (-60.0, 0.01), (0.01, 130.0), 6


def thermal_conductivity(water_kg_m3: ArrayLike) -> Any:
    """Conductivity of the material [W/mK] at *water_kg_m3* kg of water a cubic metre.

    0.06 + 0.5e-3 W, linear in water as Ahn et al. 2009 found (0.03-0.30 for straw and shavings,
    up to 0.8 for dense wet material). Heat carried by vapour is not in it: the simulator moves
    vapour itself. Raises `QuantityError` for less than no water.

    >>> round(float(thermal_conductivity(230.0)), 3)
    0.175
    """
    water = _at_least_0(water_kg_m3, "water_kg_m3")
    return value("engine", "conductivity_dry").value + _engine("conductivity_water") * water


def heat_capacity(dry_kg: ArrayLike, water_kg: ArrayLike, ice_kg: ArrayLike = 0.0) -> Any:
    """Heat capacity [J/K] of dry matter, liquid water and ice [kg each]; per m3 if given per m3.

    1400 (Haug 1993), 4186 and 2100 J/kgK. Melting is not in it; see `enthalpy`.

    >>> round(float(heat_capacity(190.0, 222.0)) / 1e6, 3)
    1.195
    """
    dry, water = _at_least_0(dry_kg, "dry_kg"), _at_least_0(water_kg, "water_kg")
    ice = _at_least_0(ice_kg, "ice_kg")
    return dry * _engine("cp_dry_matter") + water * _engine("cp_water") + ice * _cp_ice()


def lumen_capacity(particle_density: float | None = None) -> float:
    """Water that particles hold inside before any stands between them [kg/kg dry].

    1000 (1/rho_p - 1/1500): the space in a particle that is no cell wall. Raises `QuantityError`
    for a particle lighter than nothing or denser than cell wall.

    >>> round(lumen_capacity(), 2)
    1.42
    """
    particle = _particle(particle_density)
    return float(_WATER_DENSITY * (1.0 / particle - 1.0 / _engine("cell_wall_density")))


def air_filled_pores(
    dry_density: ArrayLike, water_ratio: ArrayLike, *, particle_density: float | None = None
) -> Any:
    """Air space between particles as a share of the volume, 0 to 1.

    1 - rho_d/rho_p - max(0, W/ms - cap) rho_d/1000 with `lumen_capacity` as cap; 0 where the
    particles would need more room than there is. dry_density : dry mass per volume of heap
    [kg/m3]; water_ratio : water over dry mass.

    >>> round(float(air_filled_pores(190.0, 1.2)), 3)
    0.604
    """
    density = _at_least_0(dry_density, "dry_density")
    ratio = _at_least_0(water_ratio, "water_ratio")
    particle = _particle(particle_density)
    between = np.maximum(0.0, ratio - lumen_capacity(particle)) * density / _WATER_DENSITY
    return np.maximum(0.0, 1.0 - density / particle - between)


def permeability(diameter_m: ArrayLike, air_space: ArrayLike) -> Any:
    """Permeability to air [m2] from the equivalent particle diameter [m] and the air space [0-1).

    d^2 eps^3 / (180 (1 - eps)^2): Kozeny 1927, Carman 1937. Das and Keener 1997 found it to hold
    on composts (R2 above 0.95) with a fitted diameter; a sieve does not give that diameter.
    Raises `QuantityError` for an air space of 1 or more.

    >>> f"{float(permeability(3e-3, 0.55)):.1e}"
    '4.1e-08'
    """
    d, eps = _at_least_0(diameter_m, "diameter_m"), _at_least_0(air_space, "air_space")
    if np.any(eps >= 1.0):
        raise QuantityError(
            "the air space of a heap is below 1", field="air_space", value=air_space,
            way_out="Per cent given? Write 0.55 for 55 %",
        )  # fmt: skip
    return d**2 * eps**3 / (value("heapphysics", "kozeny_carman").value * (1.0 - eps) ** 2)


def wet_permeability(open_m2: float, dry_density: float, moisture_wb: float) -> float:
    """Permeability [m2] of a material with *open_m2* once water stands between its particles.

    By the law of Kozeny and Carman from the air space without and with that water; up to what the
    particles hold inside (58 % moisture) it stays. moisture_wb : wet basis, below 1; air space is
    held at 2 % and more. Raises `QuantityError` for a moisture outside of that.

    >>> wet_permeability(5e-8, 190.0, 0.55)
    5e-08
    >>> f"{wet_permeability(5e-8, 190.0, 0.8):.1e}"
    '6.6e-11'
    """
    if not 0 <= moisture_wb < 1:
        raise QuantityError(
            "moisture of what has dry matter in it is 0 or more and below 1", field="moisture_wb",
            value=moisture_wb, way_out="Per cent given? Write 0.55 for 55 %",
        )  # fmt: skip
    open_space = max(float(air_filled_pores(dry_density, 0.0)), 0.02)
    space = max(float(air_filled_pores(dry_density, moisture_wb / (1.0 - moisture_wb))), 0.02)
    if space >= open_space:
        return open_m2
    return float(open_m2 * permeability(1.0, space) / permeability(1.0, open_space))


def oxygen_diffusivity(temp_c: ArrayLike) -> Any:
    """Diffusivity of oxygen in still air [m2/s]: 1.78e-5 (T/273.15)^1.75 (from memory).

    >>> f"{float(oxygen_diffusivity(50.0)):.2e}"
    '2.39e-05'
    """
    return _engine("d_oxygen") * (_kelvin(temp_c) / _ZERO_C) ** _engine("d_power")


def effective_diffusivity(temp_c: ArrayLike, air_space: ArrayLike) -> Any:
    """Diffusivity of oxygen through a heap, per whole area [m2/s]: D0 eps^1.8.

    Between eps^2 (Papendick and Campbell 1981) and Millington and Quirk's form.

    >>> f"{float(effective_diffusivity(20.0, 0.5)):.1e}"
    '5.8e-06'
    """
    eps = _at_least_0(air_space, "air_space")
    return oxygen_diffusivity(temp_c) * eps ** _engine("d_exponent")


def gas_viscosity(temp_c: ArrayLike) -> Any:
    """Viscosity of dry air [Pa s] by Sutherland's law (constants from memory).

    Saturated air is thinner, some 5 to 8 % at 60 C; left out.

    >>> f"{float(gas_viscosity(25.0)):.3e}"
    '1.837e-05'
    """
    kelvin = _kelvin(temp_c)
    s = value("heapphysics", "sutherland_constant").value
    return (
        value("heapphysics", "sutherland_viscosity").value
        * (kelvin / _ZERO_C) ** 1.5
        * (_ZERO_C + s)
        / (kelvin + s)
    )


def field_capacity(leafy_share: ArrayLike) -> Any:
    """Water that material keeps against drainage [kg/kg dry], by the leafy share of its dry mass.

    A straight line from chips (1.8, 1.5-2.0) to leafy or fine material (2.6, 2.2-3.0).

    >>> round(float(field_capacity(0.1)), 2)
    1.88
    """
    share = _at_least_0(leafy_share, "leafy_share")
    if np.any(share > 1.0):
        raise QuantityError("a share lies within 0 to 1", field="leafy_share", value=leafy_share)
    chips = value("heapphysics", "field_capacity.chips").value
    return chips + share * (value("heapphysics", "field_capacity.leafy").value - chips)


# --- compression -------------------------------------------------------------------------------


def compressed_density(
    loose_density: ArrayLike, stress_pa: ArrayLike, *, material: Material = "chips"
) -> Any:
    """Bulk density [kg/m3] under a load of *stress_pa*, from that of the loose material.

    rho_max - (rho_max - rho_0) exp(-beta sigma), the form of Schaub-Szabo and Leonard 1999 (from
    memory); rho_max and beta set so that 5.9 kPa add about 10 % to chips and 27 % to wet fines.

    >>> round(float(compressed_density(400.0, 5900.0)))
    440
    """
    loose, stress = _at_least_0(loose_density, "loose_density"), _at_least_0(stress_pa, "stress_pa")
    gain, beta = _compression(material)
    return loose * (1.0 - gain * np.expm1(-beta * stress))


def self_weight_density(
    loose_density: ArrayLike, depth_m: ArrayLike, *, material: Material = "chips"
) -> Any:
    """Bulk density [kg/m3] at a depth below the top [m] of material that presses on itself.

    The weight above is that of material already compressed: d sigma/dz = g rho(sigma) has the
    solution exp(beta sigma) = (gain + exp(beta rho_max g z)) / (1 + gain), used here. Sides carry
    nothing, as in the middle of a heap.

    >>> round(float(self_weight_density(400.0, 1.5)))
    442
    """
    loose, depth = _at_least_0(loose_density, "loose_density"), _at_least_0(depth_m, "depth_m")
    gain, beta = _compression(material)
    most = loose * (1.0 + gain)
    grown = np.exp(-beta * most * _engine("gravity") * depth)
    unloading = (1.0 + gain) * grown / (gain * grown + 1.0)
    return most - loose * gain * unloading


# --- heat and ice ------------------------------------------------------------------------------


def enthalpy(
    temp_c: ArrayLike, dry_kg: ArrayLike, water_kg: ArrayLike, *, ice_kg: ArrayLike = 0.0
) -> Any:
    """Enthalpy [J] above dry matter and liquid water at 0 C.

    water_kg : all water, liquid and frozen. Above 0 C all of it is liquid, below all is ice; at
    0 C sharp *ice_kg* of it is. Freezing takes 333.5 kJ/kg. Water bound in cell walls, which in
    truth stays liquid, freezes here too. Raises `QuantityError` for more ice than water.

    >>> round(-float(enthalpy(0.0, 190.0, 222.0, ice_kg=222.0)) / 1e6, 1)
    74.0
    """
    t = np.asarray(temp_c, dtype=np.float64)
    dry, water = _at_least_0(dry_kg, "dry_kg"), _at_least_0(water_kg, "water_kg")
    ice = _at_least_0(ice_kg, "ice_kg")
    if np.any(ice > water):
        raise QuantityError("there is more ice than water", field="ice_kg", value=ice_kg)
    fusion = value("heapphysics", "heat_of_fusion").value
    warm, cold = heat_capacity(dry, water) * t, heat_capacity(dry, 0.0, water) * t
    return np.where(t > 0, warm, np.where(t < 0, cold - fusion * water, -fusion * ice))


def temperature(
    enthalpy_j: ArrayLike, dry_kg: ArrayLike, water_kg: ArrayLike
) -> tuple[Floats, Floats]:
    """Temperature [degrees C] and ice [kg] from enthalpy [J]; the inverse of `enthalpy`.

    Where there is neither dry matter nor water the temperature is 0.

    >>> t, ice = temperature(-74.037e6 / 2, 190.0, 222.0)
    >>> float(t), round(float(ice))
    (0.0, 111)
    """
    h = np.asarray(enthalpy_j, dtype=np.float64)
    dry, water = _at_least_0(dry_kg, "dry_kg"), _at_least_0(water_kg, "water_kg")
    fusion = value("heapphysics", "heat_of_fusion").value
    with np.errstate(divide="ignore", invalid="ignore"):
        warm = h / heat_capacity(dry, water)
        cold = (h + fusion * water) / heat_capacity(dry, 0.0, water)
    t = np.where(h > 0, warm, np.where(h < -fusion * water, cold, 0.0))
    ice = np.clip(-h / fusion, 0.0, water)
    return np.where(dry + water > 0, t, 0.0), ice


@functools.cache
def saturation_polynomials() -> tuple[Floats, Floats]:
    """Polynomials in t [degrees C] for ln of the saturation pressure [Pa], over water and ice.

    Coefficients by rising power, fitted by least squares on Chebyshev points to
    `air.saturation_pressure` from 0.01 to 130 C and from -60 to 0.01 C; within 0.001 % of it there
    (tests/unit/science/test_heapphysics.py). They save the logarithm and the divisions.

    >>> water, ice = saturation_polynomials()
    >>> round(float(np.exp(np.polynomial.polynomial.polyval(25.0, water))), 0)
    3169.0
    """
    return _fitted(*_WATER_RANGE), _fitted(*_ICE_RANGE, below=1e-9)


def _fitted(low: float, high: float, below: float = 0.0) -> Floats:
    nodes = np.cos(np.pi * (np.arange(200) + 0.5) / 200)
    t = np.minimum(0.5 * (low + high) + 0.5 * (high - low) * nodes, high - below)
    logs = np.log(saturation_pressure(np.maximum(t, low)))
    series = np.polynomial.Chebyshev.fit(t, logs, _DEGREE, domain=[low, high])
    return np.asarray(series.convert(kind=np.polynomial.Polynomial).coef, dtype=np.float64)


# --- helpers -----------------------------------------------------------------------------------


def _engine(key: str) -> float:
    return value("engine", key).value


def _cp_ice() -> float:
    return value("heapphysics", "heat_capacity_ice").value


def _compression(material: str) -> tuple[float, float]:
    if material not in ("chips", "wet_fines"):
        raise UnknownNameError(
            "compression is known for two materials", field="material", value=material,
            way_out="Write chips or wet_fines",
        )  # fmt: skip
    name = f"compression.{material}"
    gain = value("heapphysics", f"{name}_gain").value
    return gain, value("heapphysics", f"{name}_beta").value


def _particle(density: float | None) -> float:
    found = _engine("particle_density") if density is None else float(density)
    if not 0 < found <= _engine("cell_wall_density"):
        raise QuantityError(
            "a particle is lighter than solid cell wall", field="particle_density",
            value=f"{found:g}", way_out="Chips have about 480 kg/m3, dry",
        )  # fmt: skip
    return found


def _kelvin(temp_c: ArrayLike) -> Floats:
    kelvin = np.asarray(temp_c, dtype=np.float64) + _ZERO_C
    if not np.all(kelvin > 0):
        raise QuantityError(
            "nothing is colder than -273.15 C", field="temp_c", value=temp_c,
            way_out="Check the number and its unit",
        )  # fmt: skip
    return np.asarray(kelvin, dtype=np.float64)


def _at_least_0(number: ArrayLike, field: str) -> Floats:
    found = np.asarray(number, dtype=np.float64)
    if not np.all((found >= 0) & np.isfinite(found)):
        raise QuantityError(
            "this is a finite number, 0 or more", field=field, value=number,
            way_out="Check the number and its unit",
        )  # fmt: skip
    return found
