"""The weather over a heap's life: from a file, from readings of the air, or a clear refusal."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from heapwright.domain.trial import Place
from heapwright.domain.weather import WeatherSeries
from heapwright.errors import NotEnoughError
from heapwright.services.simweather import weather_for, weather_over

START = datetime(2026, 4, 18, 9, 30, tzinfo=UTC)
PLACE = Place(51.2, -2.9, "Europe/London")


def _readings(days: list[float], temps: list[float]) -> list[tuple[datetime, float]]:
    return [(START + timedelta(days=d), t) for d, t in zip(days, temps, strict=True)]


def _for(days: float, readings: list[tuple[datetime, float]]) -> WeatherSeries:
    return weather_for(
        START, START + timedelta(days=days), path=None, answers={}, place=PLACE, readings=readings
    )


def _at(series: WeatherSeries, moment: datetime) -> float:
    return series.at((moment - series.start).total_seconds() / 3600).air_temp_c


@pytest.mark.parametrize("days", [10.0, 60.0, 90.0])
def test_readings_carry_the_air_and_the_last_week_goes_on(days: float) -> None:
    ages = [0.9 + 3 * k for k in range(20)]  # to day 57.9
    readings = _readings(ages, [10 + 0.1 * a for a in ages])
    series = _for(days, readings)
    assert series.start <= START
    assert series.end >= START + timedelta(days=days, hours=1)
    within = [r for r in readings if r[0] < START + timedelta(days=days - 1)]
    for moment, temp in within:
        assert _at(series, moment) == pytest.approx(temp, abs=0.8)
    if days == 90.0:
        last = np.mean(series.air_temp_c[-7 * 24 :])
        first = np.mean(series.air_temp_c[: 7 * 24])
        # after the last reading the air is that of the last week, not of the first
        assert last - first > 3.5
        assert any("days before are repeated" in s for s in series.source)


def test_a_heap_built_long_before_the_first_reading_still_has_air() -> None:
    series = _for(40.0, _readings([20.0, 23.0], [14.0, 15.0]))
    assert series.start <= START
    assert np.isfinite(series.air_temp_c).all()
    assert _at(series, START + timedelta(days=20)) == pytest.approx(14.0, abs=0.8)


def test_a_heap_still_to_be_built_has_air_like_the_last_week() -> None:
    series = _for(20.0, _readings([-9.0, -6.0], [8.0, 9.0]))
    assert series.start <= START < series.end
    assert 3 < float(np.mean(series.air_temp_c)) < 17


def test_without_file_and_reading_it_says_what_to_give() -> None:
    with pytest.raises(NotEnoughError, match="--weather FILE") as found:
        _for(10.0, [])
    assert "air 12" in str(found.value)


def test_a_file_is_laid_over_the_dates_and_readings_over_it(tmp_path: Path) -> None:
    path = tmp_path / "climate.toml"
    path.write_text(
        "latitude_deg = 51\nmean_c = [9,9,9,9,9,9,9,9,9,9,9,9]\n"
        "range_c = [8,8,8,8,8,8,8,8,8,8,8,8]\nrain_mm = [50,50,50,50,50,50,50,50,50,50,50,50]\n"
    )
    moment = START + timedelta(days=2)
    found = {
        name: weather_for(
            START, START + timedelta(days=5), path=path, answers={}, place=PLACE,
            readings=readings, seed=3,
        )
        for name, readings in (("plain", []), ("read", [(moment, 25.0)]))
    }  # fmt: skip
    assert found["plain"].rain_mm.tolist() == found["read"].rain_mm.tolist()
    assert _at(found["read"], moment) == pytest.approx(25.0, abs=0.8)
    assert _at(found["plain"], moment) < 20


def test_a_record_that_ends_too_soon_goes_on_and_one_before_the_build_is_refused() -> None:
    air = WeatherSeries.steady(START - timedelta(days=1), hours=72, air_temp_c=11.0)
    first = START.replace(minute=0)
    made = weather_over(air, first, first + timedelta(days=9))
    assert made.hours == pytest.approx(216, abs=1)
    assert any("repeated" in s for s in made.source)
    with pytest.raises(NotEnoughError, match="before the heap is built"):
        weather_over(air, first + timedelta(days=9), first + timedelta(days=12))
    with pytest.raises(NotEnoughError):
        weather_over(air, first - timedelta(days=5), first)
