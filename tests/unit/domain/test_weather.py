"""A weather series: checks, interpolation, cutting, extending, and readings of the air."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from heapwright.domain.climate import Climate, filled_series, made_year
from heapwright.domain.weather import WeatherSeries
from heapwright.errors import InputError, NotEnoughError, QuantityError
from heapwright.science.air import saturation_pressure

START = datetime(2026, 5, 3, tzinfo=UTC)
FERNCOMBE = Climate(
    mean_c=(4, 4, 6, 9, 12, 15, 17, 17, 14, 11, 7, 5),
    range_c=(6, 6, 8, 9, 10, 10, 10, 10, 9, 7, 6, 5),
    rain_mm=(60, 45, 45, 45, 50, 50, 50, 55, 55, 70, 65, 65),
    latitude_deg=52,
    longitude_deg=-1.5,
)


def _series(air: list[float] | np.ndarray, **changes: object) -> WeatherSeries:
    made = WeatherSeries.steady(START, hours=len(air), air_temp_c=10.0)
    return replace(made, air_temp_c=np.asarray(air, dtype=float), **changes)


def test_values_between_the_middles_lie_on_straight_lines() -> None:
    series = _series([10.0, 14.0, 12.0], rain_mm=np.array([0.0, 3.0, 0.0]))
    assert series.at(0.5).air_temp_c == 10.0
    assert series.at(1.0).air_temp_c == 12.0
    assert series.at(1.75).air_temp_c == 13.5
    assert series.at(0.0).air_temp_c == 10.0
    assert series.at(3.0).air_temp_c == 12.0
    assert [series.at(h).rain_mm_h for h in (0.9, 1.1, 1.9, 2.1)] == [0.0, 3.0, 3.0, 0.0]
    now = series.at(0.5)
    assert now.vapour_pa == pytest.approx(0.75 * saturation_pressure(10.0))


def test_the_rain_of_a_series_is_kept_by_its_rate() -> None:
    rain = np.array([0.0, 2.0, 5.0, 1.0])
    series = _series([10.0] * 4, rain_mm=rain)
    rates = [series.at((k + 0.5) / 10).rain_mm_h for k in range(40)]
    assert sum(rates) / 10 == pytest.approx(rain.sum())


@pytest.mark.parametrize(
    ("field", "bad", "match"),
    [
        ("air_temp_c", 300.0, "Degrees F|55"),
        ("relative_humidity", 75.0, "Per cent given"),
        ("rain_mm", -1.0, "rain"),
        ("sun_w_m2", 5000.0, "sun_w_m2"),
        ("pressure_pa", 1013.0, "pressure"),
        ("wind_m_s", float("nan"), "wind"),
    ],
)
def test_what_cannot_be_is_refused_with_its_time(field: str, bad: float, match: str) -> None:
    fine = WeatherSeries.steady(START, hours=5, air_temp_c=10.0)
    column = np.array(getattr(fine, field))
    column[3] = bad
    with pytest.raises((InputError, QuantityError), match=match) as caught:
        replace(fine, **{field: column})
    assert "2026-05-03 03:00" in str(caught.value)


def test_a_series_needs_a_zone_steps_and_equal_lengths() -> None:
    fine = WeatherSeries.steady(START, hours=5, air_temp_c=10.0)
    with pytest.raises(InputError, match="zone"):
        replace(fine, start=datetime(2026, 5, 3))
    with pytest.raises(InputError, match="one value a step"):
        replace(fine, rain_mm=np.zeros(4))
    with pytest.raises(InputError, match="step"):
        replace(fine, step_s=0.0)
    with pytest.raises(ValueError, match="read-only"):
        fine.air_temp_c[0] = 3.0


def test_times_are_kept_in_utc() -> None:
    local = datetime(2026, 5, 3, tzinfo=timezone(timedelta(hours=-5)))
    assert WeatherSeries.steady(local, hours=1, air_temp_c=10.0).start.hour == 5


def test_slice_takes_the_whole_steps_that_cover_it() -> None:
    series = _series(np.arange(48.0) / 2)
    part = series.slice(START + timedelta(hours=3.5), START + timedelta(hours=7.2))
    assert part.air_temp_c.tolist() == [1.5, 2.0, 2.5, 3.0, 3.5]
    assert part.start == START + timedelta(hours=3)
    with pytest.raises(NotEnoughError, match="longer record"):
        series.slice(START, START + timedelta(days=3))
    with pytest.raises(NotEnoughError, match="longer record"):
        series.at(48.1)


def test_extending_repeats_the_last_days_and_says_so() -> None:
    series = _series(np.arange(100.0) / 4)
    longer = series.extend(START + timedelta(days=10), days=2)
    assert longer.count == 240
    assert longer.air_temp_c[:100].tolist() == series.air_temp_c.tolist()
    assert longer.air_temp_c[100:148].tolist() == series.air_temp_c[52:].tolist()
    assert longer.air_temp_c[148:196].tolist() == series.air_temp_c[52:].tolist()
    assert "2 days before are repeated" in longer.source[-1]
    assert series.extend(START + timedelta(days=2)) is series
    with pytest.raises(InputError, match="one day"):
        series.extend(START + timedelta(days=10), days=0)


def test_a_typical_year_is_laid_over_any_dates() -> None:
    year = made_year(FERNCOMBE, year=2023, rng=np.random.default_rng(3))
    assert year.typical
    begin, end = datetime(2027, 12, 30, tzinfo=UTC), datetime(2028, 3, 2, tzinfo=UTC)
    part = year.covering(begin, end)
    assert (part.start, part.end) == (begin, end)
    assert not part.typical
    december, leap = 363 * 24, 28 * 24 + 31 * 24
    assert part.air_temp_c[:48].tolist() == year.air_temp_c[december:].tolist()
    # 29 February repeats the 28th
    day = (datetime(2028, 2, 29, tzinfo=UTC) - begin).days * 24
    assert part.rain_mm[day : day + 24].tolist() == part.rain_mm[day - 24 : day].tolist()
    assert part.air_temp_c[day - 24 : day].tolist() == year.air_temp_c[leap - 24 : leap].tolist()


def test_close_readings_replace_the_air() -> None:
    series = _series([10.0] * 48)
    when = [START + timedelta(hours=h) for h in range(10, 21)]
    led = series.with_air(when, [15.0 + 0.5 * k for k in range(11)])
    assert led.at(15).air_temp_c == pytest.approx(17.5)
    assert led.air_temp_c[11] == pytest.approx(15.75)
    assert led.at(47).air_temp_c == pytest.approx(10.0)
    assert [o.how for o in led.overridden] == ["read"]
    assert (led.overridden[0].start, led.overridden[0].end) == (when[0], when[-1])
    assert led.overridden[0].readings == 11
    assert led.vapour_pa == pytest.approx(series.vapour_pa)
    assert "11 readings" in led.source[-1]


def test_dawn_readings_shift_the_days_and_keep_their_course() -> None:
    hours = np.arange(96) + 0.5
    course = 10 - 5 * np.cos((hours - 4) * np.pi / 12)
    series = _series(course)
    dawns = [START + timedelta(hours=h) for h in (6.5, 54.5)]
    led = series.with_air(dawns, [course[6] + 2.0, course[54] - 1.0])
    assert led.at(6.5).air_temp_c == pytest.approx(course[6] + 2.0)
    assert led.at(54.5).air_temp_c == pytest.approx(course[54] - 1.0)
    # half way the shift is + 0.5, and the afternoon stays warm
    assert led.at(30.5).air_temp_c == pytest.approx(course[30] + 0.5)
    between = led.air_temp_c[7:54] - course[7:54]
    assert np.abs(np.diff(between)).max() < 0.1
    assert led.at(90.5).air_temp_c == pytest.approx(course[90])
    assert [(o.how, o.readings) for o in led.overridden] == [("shifted", 2)]


def test_readings_far_apart_fade() -> None:
    series = _series([10.0] * 24 * 20)
    when = [START + timedelta(days=2), START + timedelta(days=15)]
    led = series.with_air(when, [16.0, 4.0])
    assert led.at(48).air_temp_c == pytest.approx(16.0, abs=0.2)
    assert led.at(8.5 * 24).air_temp_c == 10.0
    assert len(led.overridden) == 2
    outside = series.with_air([START - timedelta(days=1)], [30.0])
    assert outside is series


def test_a_made_year_is_its_seed() -> None:
    one = made_year(FERNCOMBE, year=2023, rng=np.random.default_rng(5), seed=5)
    two = made_year(FERNCOMBE, year=2023, rng=np.random.default_rng(5), seed=5)
    other = made_year(FERNCOMBE, year=2023, rng=np.random.default_rng(6), seed=6)
    assert one.air_temp_c.tolist() == two.air_temp_c.tolist()
    assert one.rain_mm.tolist() == two.rain_mm.tolist()
    assert one.air_temp_c.tolist() != other.air_temp_c.tolist()
    assert "made up" in one.source[0]
    assert "seed 5" in one.source[0]


def test_made_years_keep_the_climate() -> None:
    years = [made_year(FERNCOMBE, year=2023, rng=np.random.default_rng(s)) for s in range(30)]
    days = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
    cuts = np.cumsum(days)[:-1] * 24

    def months(name: str) -> np.ndarray:
        split = [[p.mean() for p in np.split(getattr(y, name), cuts)] for y in years]
        return np.mean(split, axis=0)

    # standard error of a month over 30 years: about 0.25 C
    assert months("air_temp_c") == pytest.approx(FERNCOMBE.mean_c, abs=1.0)
    rain = months("rain_mm") * days * 24
    assert rain.sum() == pytest.approx(sum(FERNCOMBE.rain_mm), rel=0.08)
    assert rain == pytest.approx(FERNCOMBE.rain_mm, rel=0.4)
    spread = np.mean([np.ptp(y.air_temp_c.reshape(365, 24), axis=1).mean() for y in years])
    assert spread == pytest.approx(np.mean(FERNCOMBE.range_c), rel=0.15)
    sun = months("sun_w_m2")
    assert sun[5] > 5 * sun[11] > 0
    low = np.mean([y.sky_temp_c.mean() - y.air_temp_c.mean() for y in years])
    assert -15 < low < -2


def test_wet_days_come_in_spells() -> None:
    wet = np.concatenate([
        made_year(FERNCOMBE, year=2023, rng=np.random.default_rng(s)).rain_mm
        .reshape(365, 24).sum(axis=1) > 0 for s in range(20)
    ])  # fmt: skip
    after_wet, after_dry = wet[1:][wet[:-1]].mean(), wet[1:][~wet[:-1]].mean()
    assert after_wet - after_dry == pytest.approx(0.25, abs=0.04)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"mean_c": (1.0,)}, "twelve"),
        ({"mean_c": (90.0,) * 12}, "mean_c"),
        ({"latitude_deg": 91.0}, "latitude"),
        ({"wet_days": (40,) * 12}, "wet days"),
        ({"wet_days": (0,) * 12}, "wet days"),
        ({"relative_humidity": (80.0,) * 12}, "Per cent given"),
    ],
)
def test_a_climate_that_cannot_be_is_refused(change: dict[str, object], match: str) -> None:
    with pytest.raises((InputError, QuantityError), match=match):
        replace(FERNCOMBE, **change)


def test_what_is_filled_in_is_said() -> None:
    air = 12 + 5 * np.sin(np.arange(72) * np.pi / 12)
    made = filled_series(START, {"air_temp_c": air}, latitude_deg=50.0, longitude_deg=0.0)
    text = " ".join(made.source)
    for word in ("humidity", "wind", "rain", "sun"):
        assert f"{word} not known" in text
    assert made.sun_w_m2[:24].argmax() in (11, 12)
    assert made.sun_w_m2[0] == 0.0
    given = filled_series(
        START,
        {"air_temp_c": air, "relative_humidity": np.full(72, 0.5), "wind_m_s": np.ones(72),
         "rain_mm": np.zeros(72), "sun_w_m2": np.zeros(72)},
        latitude_deg=None,
    )  # fmt: skip
    assert given.source == ()
