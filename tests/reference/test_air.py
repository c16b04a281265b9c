"""Moist air against the printed ASHRAE table, at the stated accuracy of each row."""

from __future__ import annotations

import pytest

from heapwright.science import air

ASHRAE = "ASHRAE Fundamentals 2017 ch. 1, through an open test suite (coefficients from memory)"


@pytest.mark.reference(source=ASHRAE, where="Table 3, saturation pressure; 0.03 %")
@pytest.mark.parametrize(
    ("temp_c", "pressure"),
    [(-20, 103.24), (-5, 401.74), (5, 872.6), (25, 3169.7), (50, 12351.3), (100, 101418.0)],
)
def test_saturation_pressure(temp_c: float, pressure: float) -> None:
    assert air.saturation_pressure(temp_c) == pytest.approx(pressure, rel=0.0003)


@pytest.mark.reference(source=ASHRAE, where="Table 2, saturated humidity ratio; 1 %, 2 % at 85 C")
@pytest.mark.parametrize(
    ("temp_c", "ratio", "rel"),
    [(5, 0.005425, 0.01), (25, 0.020173, 0.01), (50, 0.086863, 0.01), (85, 0.838, 0.02)],
)
def test_saturated_humidity_ratio(temp_c: float, ratio: float, rel: float) -> None:
    found = air.humidity_ratio(air.saturation_pressure(temp_c), 101325.0)
    assert found == pytest.approx(ratio, rel=rel)


@pytest.mark.reference(source=ASHRAE, where="Table 2, enthalpy of saturated air; 1 %")
@pytest.mark.parametrize(("temp_c", "heat"), [(25, 76504), (50, 275353), (85, 2307539)])
def test_enthalpy_of_saturated_air(temp_c: float, heat: float) -> None:
    ratio = air.humidity_ratio(air.saturation_pressure(temp_c), 101325.0)
    assert air.enthalpy(temp_c, ratio) == pytest.approx(heat, rel=0.01)


@pytest.mark.reference(source=ASHRAE, where="Table 2, dry air at 25 C: 0.8443 m3/kg (0.1 %)")
def test_dry_air_volume() -> None:
    assert air.specific_volume(25.0, 0.0) == pytest.approx(0.8443, rel=0.001)
    assert air.moist_air_density(25.0, 0.0) == pytest.approx(1 / 0.8443, rel=0.001)


@pytest.mark.reference(source=ASHRAE, where="Table 1, standard pressure; 1 Pa printed")
@pytest.mark.parametrize(("altitude", "pressure"), [(500, 95461), (1000, 89875), (4000, 61640)])
def test_standard_pressure(altitude: float, pressure: float) -> None:
    assert air.standard_pressure(altitude) == pytest.approx(pressure, abs=1.0)


@pytest.mark.reference(source=ASHRAE, where="Example 1: 40 C, wet bulb 20 C, read from a chart")
def test_psychrometer() -> None:
    ratio = air.humidity_ratio_from_wet_bulb(40.0, 20.0)
    assert ratio == pytest.approx(0.0065, abs=0.0001)
    assert air.enthalpy(40.0, ratio) == pytest.approx(56700, abs=100)
    assert air.relative_humidity(40.0, ratio) == pytest.approx(0.14, abs=0.005)
    assert air.specific_volume(40.0, ratio) == pytest.approx(0.896, abs=0.0005)
    vapour = air.vapour_pressure(40.0, air.relative_humidity(40.0, ratio))
    assert air.dew_point(float(vapour)) == pytest.approx(7, abs=0.6)


@pytest.mark.reference(source=ASHRAE, where="30 C, wet bulb 25 C at 95461 Pa")
def test_psychrometer_at_500_m() -> None:
    ratio = air.humidity_ratio_from_wet_bulb(30.0, 25.0, pressure_pa=95461.0)
    assert ratio == pytest.approx(0.01923, abs=0.00001)
    saturated = air.humidity_ratio(air.saturation_pressure(25.0), 95461.0)
    assert saturated == pytest.approx(0.02136, abs=0.000006)
