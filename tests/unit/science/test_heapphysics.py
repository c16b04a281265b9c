"""Material of a heap: closures, limits, inverses, and refusals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from heapwright.errors import QuantityError, UnknownNameError
from heapwright.science import heapphysics as hp
from heapwright.science.air import saturation_pressure
from heapwright.science.values import SEEN, values


def test_conductivity_and_capacity_are_linear_in_water() -> None:
    assert hp.thermal_conductivity(0.0) == pytest.approx(0.06)
    assert hp.thermal_conductivity(np.array([100.0, 400.0])) == pytest.approx([0.11, 0.26])
    assert hp.heat_capacity(1.0, 0.0) == pytest.approx(1400.0)
    assert hp.heat_capacity(1.0, 1.0, 1.0) == pytest.approx(1400 + 4186 + 2100)


def test_air_space_falls_only_when_the_particles_are_full() -> None:
    cap = hp.lumen_capacity()
    assert cap == pytest.approx(1000 * (1 / 480 - 1 / 1500))
    dry = hp.air_filled_pores(190.0, 0.0)
    assert dry == pytest.approx(1 - 190 / 480)
    assert hp.air_filled_pores(190.0, cap) == pytest.approx(dry, rel=1e-12)
    assert hp.air_filled_pores(190.0, cap + 1.0) == pytest.approx(dry - 0.19)
    assert hp.air_filled_pores(470.0, 3.0) == 0.0
    with pytest.raises(QuantityError, match="cell wall"):
        hp.air_filled_pores(190.0, 1.0, particle_density=1600.0)


def test_permeability_of_chips_and_its_slope() -> None:
    assert hp.permeability(3e-3, 0.55) == pytest.approx(4e-8, rel=0.05)
    assert hp.permeability(6e-3, 0.55) == pytest.approx(4 * hp.permeability(3e-3, 0.55))
    assert hp.permeability(3e-3, 0.0) == 0.0
    eps = np.linspace(0.1, 0.9, 50)
    assert (np.diff(hp.permeability(1e-3, eps)) > 0).all()
    with pytest.raises(QuantityError, match="air_space"):
        hp.permeability(3e-3, 55)


def test_gas_moves_easier_when_warm_and_open() -> None:
    assert hp.oxygen_diffusivity(0.0) == pytest.approx(1.78e-5)
    assert hp.oxygen_diffusivity(60.0) == pytest.approx(1.78e-5 * (333.15 / 273.15) ** 1.75)
    assert hp.effective_diffusivity(20.0, 0.5) == pytest.approx(
        hp.oxygen_diffusivity(20.0) * 0.5**1.8
    )
    assert hp.effective_diffusivity(20.0, 1.0) == pytest.approx(hp.oxygen_diffusivity(20.0))
    assert hp.gas_viscosity(60.0) > hp.gas_viscosity(0.0)
    with pytest.raises(QuantityError, match="colder"):
        hp.gas_viscosity(-300.0)


def test_field_capacity_from_chips_to_leaf() -> None:
    assert hp.field_capacity(np.array([0.0, 0.5, 1.0])) == pytest.approx([1.8, 2.2, 2.6])
    with pytest.raises(QuantityError, match="leafy_share"):
        hp.field_capacity(20.0)


# --- compression ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("material", "low", "high"), [("chips", 5, 15), ("wet_fines", 15, 40)])
def test_a_metre_and_a_half_presses_as_much_as_stated(
    material: hp.Material, low: float, high: float
) -> None:
    stress = 9.80665 * 400 * 1.5
    assert stress == pytest.approx(5900, rel=0.01)
    gained = 100 * (hp.compressed_density(400.0, stress, material=material) / 400.0 - 1)
    assert low < gained < high
    assert hp.compressed_density(400.0, 0.0, material=material) == 400.0
    most = 1 + values("heapphysics")[f"compression.{material}_gain"].value
    assert hp.compressed_density(400.0, 1e9, material=material) == pytest.approx(400 * most)


def test_self_weight_solves_its_equation() -> None:
    depth = np.array([0.0, 0.3, 1.0, 2.0, 6.0])
    for material in ("chips", "wet_fines"):
        stress = solve_ivp(
            lambda _, s: 9.80665 * hp.compressed_density(400.0, s, material=material),  # noqa: B023
            (0.0, 6.0), [0.0], t_eval=depth, rtol=1e-10, atol=1e-6,
        ).y[0]  # fmt: skip
        exact = hp.compressed_density(400.0, stress, material=material)
        got = hp.self_weight_density(400.0, depth, material=material)
        assert got == pytest.approx(exact, rel=1e-8)
    assert np.isfinite(hp.self_weight_density(900.0, 500.0))
    with pytest.raises(UnknownNameError, match="wet_fines"):
        hp.compressed_density(400.0, 1.0, material="straw")  # type: ignore[arg-type]


# --- heat and ice --------------------------------------------------------------------------------


def test_freezing_a_cubic_metre_gives_74_megajoules_worth_62_degrees() -> None:
    dry, water = 190.0, 222.0  # 54 % water, 190 kg/m3 dry
    gap = hp.enthalpy(0.0, dry, water) - hp.enthalpy(0.0, dry, water, ice_kg=water)
    assert gap / 1e6 == pytest.approx(74.0, abs=0.05)
    assert gap / hp.heat_capacity(dry, water) == pytest.approx(62.0, abs=0.5)


@settings(deadline=None)
@given(st.floats(-40, 95), st.floats(1e-3, 500), st.floats(0, 1000), st.floats(0, 1))
def test_temperature_and_enthalpy_are_inverse(t: float, dry: float, w: float, f: float) -> None:
    h = hp.enthalpy(t, dry, w, ice_kg=f * w)
    back, ice = hp.temperature(h, dry, w)
    scale = float(hp.heat_capacity(dry, w))
    # a heat content is known to one part in 1e16 of its largest term
    assert float(back) == pytest.approx(t, rel=1e-10, abs=1e-10 + 1e-15 * 333.5e3 * w / scale)
    assert hp.enthalpy(back, dry, w, ice_kg=np.minimum(ice, w)) == pytest.approx(
        h, rel=1e-10, abs=1e-9 * scale
    )
    if t != 0:
        assert float(ice) == pytest.approx(w if t < 0 else 0.0, rel=1e-12, abs=1e-12)


def test_half_frozen_and_empty() -> None:
    t, ice = hp.temperature(-333.5e3 * 0.05, 0.2, 0.1)
    assert t == 0.0
    assert ice == pytest.approx(0.05)
    t, ice = hp.temperature(0.0, 0.0, 0.0)
    assert t == 0.0
    with pytest.raises(QuantityError, match="more ice than water"):
        hp.enthalpy(0.0, 1.0, 1.0, ice_kg=2.0)
    with pytest.raises(QuantityError, match="dry_kg"):
        hp.enthalpy(5.0, -1.0, 1.0)


def test_fitted_saturation_follows_the_formula() -> None:
    water, ice = hp.saturation_polynomials()
    for low, high, row in ((0.01, 130.0, water), (-60.0, 0.0099, ice)):
        t = np.linspace(low, high, 2001)
        got = np.exp(np.polynomial.polynomial.polyval(t, row))
        assert got == pytest.approx(saturation_pressure(t), rel=1e-5)


def test_every_number_has_source_and_mark() -> None:
    for key, number in values("heapphysics").items():
        assert number.low <= number.value <= number.high, key
        assert number.seen in SEEN, key
