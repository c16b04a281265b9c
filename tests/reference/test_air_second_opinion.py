"""Moist air from -30 to 85 C against a second library, psychrolib, and inside the simulator."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from heapwright.engine.kernels import gas
from heapwright.engine.parameters import Parameters, gas_table, saturation_coefficients
from heapwright.science import air
from heapwright.science.heapphysics import saturation_polynomials

psychrolib.SetUnitSystem(psychrolib.SI)
P = 101325.0
WARM = np.arange(0.5, 85.01, 0.5)
COLD = np.arange(-30.0, 0.0, 0.5)
HUMID = (0.1, 0.5, 0.9, 1.0)
SOURCE = pytest.mark.reference(
    source="psychrolib 2.5, after ASHRAE Fundamentals 2017 ch. 1",
    where="functions named in each test",
)


def worst(own: object, other: object) -> float:
    """The largest relative difference."""
    return float(np.max(np.abs(np.asarray(own) / np.asarray(other) - 1.0)))


@SOURCE
def test_saturation_pressure() -> None:
    for temps in (WARM, COLD):
        theirs = [psychrolib.GetSatVapPres(float(t)) for t in temps]
        assert worst(air.saturation_pressure(temps), theirs) < 1e-4


@SOURCE
@pytest.mark.parametrize("relative", HUMID)
def test_ratio_enthalpy_volume_and_density(relative: float) -> None:
    pv = air.vapour_pressure(WARM, relative)
    ratio = air.humidity_ratio(pv)
    theirs = [psychrolib.GetHumRatioFromRelHum(float(t), relative, P) for t in WARM]
    assert worst(ratio, theirs) < 2e-4
    pairs = list(zip(WARM, theirs, strict=True))
    heat = [psychrolib.GetMoistAirEnthalpy(float(t), w) for t, w in pairs]
    assert worst(air.enthalpy(WARM, theirs), heat) < 1e-3
    volume = [psychrolib.GetMoistAirVolume(float(t), w, P) for t, w in pairs]
    assert worst(air.specific_volume(WARM, theirs), volume) < 2e-4
    density = [psychrolib.GetMoistAirDensity(float(t), w, P) for t, w in pairs]
    assert worst(air.moist_air_density(WARM, theirs), density) < 2e-4
    back = [psychrolib.GetRelHumFromHumRatio(float(t), w, P) for t, w in pairs]
    assert worst(air.relative_humidity(WARM, theirs), back) < 2e-4


@SOURCE
@pytest.mark.parametrize("temp_c", [10.0, 25.0, 40.0, 60.0, 85.0])
def test_wet_bulb_and_dew_point(temp_c: float) -> None:
    for relative in (0.2, 0.6, 0.95):
        wet = psychrolib.GetTWetBulbFromRelHum(temp_c, relative, P)
        theirs = psychrolib.GetHumRatioFromTWetBulb(temp_c, wet, P)
        assert worst(air.humidity_ratio_from_wet_bulb(temp_c, wet), theirs) < 2e-3
        dew = psychrolib.GetTDewPointFromRelHum(temp_c, relative)
        assert air.dew_point(air.vapour_pressure(temp_c, relative)) == pytest.approx(dew, abs=0.01)


@SOURCE
def test_the_air_inside_the_simulator() -> None:
    """The compiled saturation pressures, and density and dry gas of saturated gas."""
    table, water = gas_table(Parameters.published().d_power), saturation_coefficients()[0]
    theirs = np.array([psychrolib.GetSatVapPres(float(t)) for t in WARM])
    assert worst([gas.saturation_and_slope(t, water)[0] for t in WARM], theirs) < 1e-4
    assert worst([gas.saturation.py_func(t, table)[0] for t in WARM], theirs) < 1e-4
    over_water, _ = saturation_polynomials()
    assert worst(np.exp(np.polynomial.polynomial.polyval(WARM, over_water)), theirs) < 1e-4
    runs = np.array([[0, WARM.size]], dtype=np.uint64)
    fresh, full, half = (np.full(WARM.size, v) for v in (0.2095, 1.0, 0.5))
    dry, ratio, rho, spread = (np.zeros(WARM.size) for _ in range(4))
    par = Parameters.published().gas(P)
    gas.properties(runs, WARM, fresh, full, half, table, par, dry, ratio, rho, spread)
    held = [psychrolib.GetHumRatioFromRelHum(float(t), 1.0, P) for t in WARM]
    density = [psychrolib.GetMoistAirDensity(float(t), w, P)
               for t, w in zip(WARM, held, strict=True)]  # fmt: skip
    assert worst(rho, density) < 5e-4
    assert worst(ratio * 0.018015 / 0.028966, held) < 5e-4
