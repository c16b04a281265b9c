"""Sun and sky: signs, sums and limits; shapes of a day."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.errors import InputError, QuantityError
from heapwright.science import sky
from heapwright.science.air import saturation_pressure
from heapwright.science.dayshape import day_temperatures, hourly_sun, monthly_curve, sun_heights
from heapwright.science.values import SEEN, values


def test_every_number_has_source_and_mark() -> None:
    found = values("sky")
    assert len(found) > 20
    for key, number in found.items():
        assert number.low <= number.value <= number.high, key
        assert number.source, key
        assert number.where, key
        assert number.seen in SEEN, key


def test_beam_and_diffuse_add_up() -> None:
    height = np.linspace(-10, 80, 19)
    sun = np.full(19, 350.0)
    beam, diffuse = sky.beam_and_diffuse(sun, height)
    back = beam * np.maximum(np.sin(np.radians(height)), 0) + diffuse
    assert back == pytest.approx(sun)
    assert (beam >= 0).all()
    assert (diffuse >= 0).all()
    assert beam[height < 3].max() == 0.0


def test_the_top_face_gets_what_the_level_ground_gets() -> None:
    fallen = sky.face_sun([600.0, 100.0], [40.0, 10.0], [120.0, 250.0])
    assert fallen[:, 5].sum(axis=0) == pytest.approx([600.0, 100.0])


def test_morning_sun_falls_on_the_east_face() -> None:
    beam = sky.face_sun(400.0, 20.0, 90.0)[0]
    assert beam[1] > 0
    assert beam[0] == 0.0
    assert beam[2] == pytest.approx(0.0, abs=1e-9)
    assert beam[3] == pytest.approx(0.0, abs=1e-9)
    turned = sky.face_sun(400.0, 20.0, 90.0, x_bearing_deg=0.0)[0]
    # +x points north now, +y west: the east is -y
    assert turned[2] == pytest.approx(beam[1])


def test_beam_on_the_faces_is_that_of_a_unit_vector() -> None:
    beam = sky.face_sun(500.0, 35.0, 200.0)[0]
    full, _ = sky.beam_and_diffuse(500.0, 35.0)
    assert np.sqrt((beam**2).sum()) == pytest.approx(float(full))


def test_night_is_dark() -> None:
    assert sky.face_sun(0.0, -20.0, 10.0).max() == 0.0


def test_clouds_from_sun() -> None:
    heights = sun_heights(50.0, [172] * 3)
    clear = sky.clear_hour(heights)
    assert sky.cloud_cover(clear, heights) == pytest.approx(0.0, abs=1e-6)
    grey = sky.cloud_cover(0.25 * np.asarray(clear), heights)
    assert grey == pytest.approx(1.0)
    assert sky.cloud_cover([0.0] * 24, [-5.0] * 24) == pytest.approx(0.5)


def test_the_sky_is_colder_when_clear_and_dry() -> None:
    humid, dry = 0.9 * saturation_pressure(15.0), 0.3 * saturation_pressure(15.0)
    clear_dry = sky.sky_temperature(15.0, dry)
    clear_humid = sky.sky_temperature(15.0, humid)
    grey = sky.sky_temperature(15.0, humid, cloud=1.0)
    assert -20 < clear_dry < clear_humid < grey <= 15.0
    assert grey > 11


def test_exposure_is_a_word_or_a_share() -> None:
    assert sky.exposure_factor("open") > sky.exposure_factor("partly")
    assert sky.exposure_factor("partly") > sky.exposure_factor("sheltered")
    with pytest.raises(QuantityError, match="sheltered"):
        sky.exposure_factor("windy")
    with pytest.raises(QuantityError, match="share"):
        sky.exposure_factor(2.0)


def test_wood_activity_is_monotone_and_full_above_fibre_saturation() -> None:
    x = np.linspace(0, 0.4, 81)
    a = sky.wood_activity(x)
    assert a[0] == 0.0
    assert (np.diff(a) >= 0).all()
    assert a[x >= 0.28] == pytest.approx(1.0)


def test_a_day_runs_from_its_lowest_to_its_highest() -> None:
    low, high = [5.0, 7.0, 2.0], [15.0, 12.0, 13.0]
    temps = day_temperatures(low, high, latitude_deg=50, day_of_year=[100, 101, 102])
    days = temps.reshape(3, 24)
    # the evening of the second day is on its way to the colder third
    assert days[:, :12].min(axis=1) == pytest.approx(low, abs=0.25)
    assert days.max(axis=1) == pytest.approx(high, abs=0.25)
    assert set(days.argmax(axis=1)) <= {14, 15}
    assert set(days[:, :12].argmin(axis=1)) <= {4, 5}


def test_exchanged_extremes_are_refused() -> None:
    with pytest.raises(InputError, match="exchanged"):
        day_temperatures([15.0], [5.0], latitude_deg=50, day_of_year=[1])


@pytest.mark.parametrize("latitude", [-35.0, 0.0, 52.0, 69.0])
def test_sun_of_a_day_keeps_its_sum(latitude: float) -> None:
    sun = hourly_sun([12.0, 3.0], latitude_deg=latitude, day_of_year=[80, 355], noon_h=13.2)
    assert sun.reshape(2, 24).sum(axis=1) * 3600 / 1e6 == pytest.approx([12.0, 3.0])
    assert sun[:24].argmax() in (12, 13)


def test_polar_days_have_a_course_too() -> None:
    temps = day_temperatures([1.0] * 2, [9.0] * 2, latitude_deg=75, day_of_year=[172, 173])
    assert np.isfinite(temps).all()
    assert 1.0 <= temps.min() < temps.max() <= 9.0


def test_monthly_curve_keeps_every_month() -> None:
    means = np.array([3.0, 4, 7, 10, 14, 18, 20, 19, 16, 12, 7, 4])
    days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]
    curve = monthly_curve(means)
    got = [part.mean() for part in np.split(curve, np.cumsum(days)[:-1])]
    assert got == pytest.approx(means)
    assert np.abs(np.diff(curve)).max() < 0.25
    with pytest.raises(InputError, match="twelve"):
        monthly_curve([1.0, 2.0])
