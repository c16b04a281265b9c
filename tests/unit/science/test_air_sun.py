"""Moist air and sun: what is refused, and what must hold everywhere."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from heapwright.errors import QuantityError
from heapwright.science import air
from heapwright.science.sun import sun_day


def test_saturation_rises_without_a_step_at_freezing() -> None:
    temps = np.linspace(-40, 95, 1351)
    pressure = air.saturation_pressure(temps)
    assert np.all(np.diff(pressure) > 0)
    below, above = air.saturation_pressure(0.009999), air.saturation_pressure(0.010001)
    assert below == pytest.approx(above, rel=1e-4)


def test_ice_holds_less_vapour_than_water_would() -> None:
    over_water_minus_10 = 286.5  # supercooled water, any standard table
    assert air.saturation_pressure(-10.0) < over_water_minus_10


def test_air_refuses_what_cannot_be() -> None:
    with pytest.raises(QuantityError, match="-100 to 200"):
        air.saturation_pressure(210.0)
    with pytest.raises(QuantityError, match="air pressure"):
        air.humidity_ratio(101325.0, 101325.0)
    with pytest.raises(QuantityError, match="wet bulb"):
        air.humidity_ratio_from_wet_bulb(20.0, 21.0)
    with pytest.raises(QuantityError, match="dew point"):
        air.dew_point(0.0)


def test_warm_wet_air_is_light() -> None:
    hot = air.moist_air_density(60.0, air.humidity_ratio(air.saturation_pressure(60.0)))
    cold = air.moist_air_density(15.0, 0.0074)
    assert hot == pytest.approx(0.98, abs=0.01)
    assert cold == pytest.approx(1.22, abs=0.01)


@pytest.mark.parametrize(
    ("longitude", "hours"), [(-179.0, -12), (-105.0, -7), (0.0, 0), (174.7, 12)]
)
def test_days_follow_each_other_smoothly(longitude: float, hours: int) -> None:
    zone = dt.timezone(dt.timedelta(hours=hours))
    lengths = []
    for k in range(0, 60, 2):
        day = dt.date(2026, 2, 20) + dt.timedelta(days=k)
        found = sun_day(day, latitude_deg=45.0, longitude_deg=longitude, zone=zone)
        assert found.sunrise is not None
        assert found.sunset is not None
        assert found.sunrise.date() == day == found.sunset.date()
        lengths.append((found.sunset - found.sunrise).total_seconds())
    steps = np.diff(lengths)
    assert np.all((steps > 250) & (steps < 450))  # no day borrowed from its neighbour


def test_place_off_the_globe() -> None:
    with pytest.raises(QuantityError, match="latitude"):
        sun_day(dt.date(2026, 5, 1), latitude_deg=95.0, longitude_deg=0.0)
