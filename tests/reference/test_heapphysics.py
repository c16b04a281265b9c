"""Material of a heap against numbers printed elsewhere, at the stated accuracy."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.engine.kernels import thermo
from heapwright.science import heapphysics as hp

INCROPERA = "Incropera and DeWitt, properties of gases (from memory)"
ASHRAE = "ASHRAE Fundamentals 2017 ch. 1, through an open test suite (coefficients from memory)"


@pytest.mark.reference(source=INCROPERA, where="air at 250, 300, 350 K, 1e-7 Pa s; 0.5 %")
@pytest.mark.parametrize(("kelvin", "printed"), [(250, 159.6), (300, 184.6), (350, 208.2)])
def test_viscosity_of_dry_air(kelvin: float, printed: float) -> None:
    assert hp.gas_viscosity(kelvin - 273.15) == pytest.approx(printed * 1e-7, rel=0.005)


@pytest.mark.reference(source=INCROPERA, where="oxygen in air at 298 K: 0.21e-4 m2/s")
def test_diffusivity_of_oxygen() -> None:
    assert hp.oxygen_diffusivity(24.85) == pytest.approx(0.21e-4, abs=0.005e-4)


@pytest.mark.reference(
    source="Ahn, Sauer, Richard and Glanville 2009, abstract",
    where="straw, stalks, hay and shavings 0.03-0.30 W/mK, dense material up to 0.81",
)
def test_conductivity_lies_among_those_measured() -> None:
    loose = hp.thermal_conductivity(np.array([0.0, 100.0, 300.0, 450.0]))
    assert ((loose >= 0.03) & (loose <= 0.30)).all()
    assert hp.thermal_conductivity(900.0) < 0.81


@pytest.mark.reference(
    source="Ernstson and Rasmuson 1993 (abstract)",
    where="chips of the order of 1e-7 m2 loose, 1e-8 when compacted in a pile",
)
def test_permeability_of_loose_and_compacted_chips() -> None:
    loose = hp.permeability(3e-3, hp.air_filled_pores(160.0, 1.2))
    compacted = hp.permeability(3e-3, hp.air_filled_pores(260.0, 1.2))
    assert 0.5e-7 < loose < 5e-7
    assert 0.5e-8 < compacted < 5e-8


@pytest.mark.reference(source=ASHRAE, where="Table 3, saturation pressure; 0.1 %")
@pytest.mark.parametrize(
    ("temp_c", "pressure"), [(-20, 103.24), (-5, 401.74), (5, 872.6), (25, 3169.7), (50, 12351.3)]
)
def test_the_quick_saturation_pressure(temp_c: float, pressure: float) -> None:
    water, ice = hp.saturation_polynomials()
    assert thermo.saturation_fast(temp_c, water, ice)[0] == pytest.approx(pressure, rel=1e-3)
