"""Weather where little is known: filling in what was not measured, and a made year.

Units: those of `heapwright.domain.weather`. Conventions: whatever is filled in is said in the
``source`` of the series; a made year is marked "made up" and carries its seed. The made year keeps
the monthly means in expectation, and any single year strays from them as real years do. It knows
no storms, fronts or links between wind and rain: it is a stand-in, not a forecast.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.domain.weather import WeatherSeries
from heapwright.errors import InputError
from heapwright.science import fao56, sky
from heapwright.science.air import saturation_pressure, standard_pressure
from heapwright.science.dayshape import day_temperatures, hourly_sun, monthly_curve, sun_heights
from heapwright.science.values import value
from heapwright.units import quantity

__all__ = ["Climate", "filled_series", "made_year"]

Floats = NDArray[np.float64]
_MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])
#: Most of a month's days that a made year lets be wet.
_MOST_WET = 0.95


def _known(key: str) -> float:
    return value("sky", key).value


@dataclass(frozen=True, slots=True)
class Climate:
    """A climate in monthly means, January first.

    mean_c : air temperature; range_c : mean of a day's highest less its lowest; rain_mm : a month;
    latitude_deg; longitude_deg : 0 if not known (noon at 12 UTC); altitude_m; wet_days : with rain,
    a month; relative_humidity : mean, 0 to 1; wind_m_s : mean at 10 m. The last three may be None.
    Raises `InputError` or `QuantityError` for a wrong count or a value out of range.

    Examples
    --------
    >>> Climate(mean_c=(4,) * 12, range_c=(8,) * 12, rain_mm=(60,) * 12, latitude_deg=52).rain_mm[0]
    60.0
    """

    mean_c: tuple[float, ...]
    range_c: tuple[float, ...]
    rain_mm: tuple[float, ...]
    latitude_deg: float
    longitude_deg: float = 0.0
    altitude_m: float = 0.0
    wet_days: tuple[float, ...] | None = None
    relative_humidity: tuple[float, ...] | None = None
    wind_m_s: tuple[float, ...] | None = None

    def __post_init__(self) -> None:
        for name, key in (
            ("mean_c", "air_temp_c"), ("range_c", "diff_c"), ("rain_mm", "rain_mm"),
            ("wet_days", "age_d"), ("relative_humidity", "relative_humidity"),
            ("wind_m_s", "wind_m_s"),
        ):  # fmt: skip
            months = getattr(self, name)
            if months is None:
                continue
            if len(months) != 12:
                raise InputError(
                    "a climate has twelve values, January first", field=name,
                    value=f"{len(months)} values", way_out="Give one a month",
                )  # fmt: skip
            row = quantity(key)
            checked = tuple(row.check(float(m), field=f"{name}, month {k}")
                            for k, m in enumerate(months, 1))  # fmt: skip
            object.__setattr__(self, name, checked)
        for name in ("latitude_deg", "longitude_deg", "altitude_m"):
            quantity(name).check(getattr(self, name))
        if self.wet_days is not None:
            for k, (wet, rain) in enumerate(zip(self.wet_days, self.rain_mm, strict=True)):
                if wet > _MONTH_DAYS[k] or (wet <= 0) != (rain <= 0):
                    raise InputError(
                        "wet days lie between 0 and the days of the month, and are 0 only "
                        "without rain",
                        field=f"wet_days, month {k + 1}", value=f"{wet:g} days, {rain:g} mm",
                    )  # fmt: skip

    @property
    def offset_h(self) -> int:
        """Clock of the made year, hours ahead of UTC, from the longitude."""
        return round(self.longitude_deg / 15)

    @property
    def noon_h(self) -> float:
        """Clock time of solar noon."""
        return 12.0 + self.offset_h - self.longitude_deg / 15


def made_year(
    climate: Climate, *, year: int, rng: np.random.Generator, seed: int | None = None
) -> WeatherSeries:
    """A made-up typical year of hourly weather for a climate.

    Parameters
    ----------
    climate : Climate
        Monthly means.
    year : int
        The (365-day) year it is dated in; `WeatherSeries.covering` lays it over any dates.
    rng : numpy Generator
        All chance comes from here: the same generator state gives the same year.
    seed : int, optional
        Only named in ``source``.

    Method: daily temperature is the monthly curve plus an autoregressive deviation (lag-one 0.7,
    3 C); wet days follow a two-state chain (Geng et al. 1986), amounts a gamma distribution; the
    day's range is smaller on wet days; sun follows from the range (Hargreaves), capped by the clear
    sky; the vapour pressure from the mean humidity or the day's lowest temperature; wind is
    lognormal from day to day and strongest in the afternoon. Numbers in ``values/sky.toml``.

    Examples
    --------
    >>> c = Climate(mean_c=(10,) * 12, range_c=(8,) * 12, rain_mm=(60,) * 12, latitude_deg=52)
    >>> made_year(c, year=2026, rng=np.random.default_rng(1)).count
    8760
    """
    day = np.arange(1, 366)
    wet, rain = _rain(climate, rng)
    mean = monthly_curve(climate.mean_c) + _deviations(rng)
    spread = _ranges(climate, wet)
    low, high = mean - spread / 2, mean + spread / 2
    lat, noon = climate.latitude_deg, climate.noon_h
    temp = day_temperatures(low, high, latitude_deg=lat, day_of_year=day, noon_h=noon)
    extra = fao56.extraterrestrial(lat, day)
    total = np.minimum(
        fao56.sun_from_range(extra, high, low), fao56.clear_sky(extra, climate.altitude_m)
    )
    sun = hourly_sun(total, latitude_deg=lat, day_of_year=day, noon_h=noon)
    start = datetime(year, 1, 1, tzinfo=UTC) - timedelta(hours=climate.offset_h)
    columns: dict[str, Floats] = {
        "air_temp_c": np.clip(temp, -50.0, 55.0),
        "relative_humidity": _humidity(climate, temp, low, mean),
        "wind_m_s": _wind(climate, rng),
        "rain_mm": rain,
        "sun_w_m2": sun,
    }
    said = f"made up from monthly means at {lat:g} degrees of latitude"
    return filled_series(
        start,
        columns,
        latitude_deg=lat,
        longitude_deg=climate.longitude_deg,
        altitude_m=climate.altitude_m,
        noon_h=noon,
        first_day=1,
        source=(said + (f", seed {seed}" if seed is not None else "") + "; not measured",),
        typical=True,
    )


def _deviations(rng: np.random.Generator) -> Floats:
    keep, size = _known("year.persistence"), _known("year.deviation_c")
    drawn = rng.standard_normal(365)
    out = np.empty(365)
    out[0] = drawn[0]
    fresh = np.sqrt(1 - keep**2)
    for k in range(1, 365):
        out[k] = keep * out[k - 1] + fresh * drawn[k]
    return out * size


def _wet_share(climate: Climate) -> tuple[Floats, Floats]:
    """Share of wet days and rain of a wet day [mm], a month."""
    rain = np.asarray(climate.rain_mm)
    if climate.wet_days is None:
        wet = np.minimum(rain / _known("year.wet_day_mm"), 0.7 * _MONTH_DAYS)
    else:
        wet = np.asarray(climate.wet_days)
    share = np.clip(wet / _MONTH_DAYS, 0.0, _MOST_WET)
    amount = np.where(share > 0, rain / np.maximum(share * _MONTH_DAYS, 1e-9), 0.0)
    return share, amount


def _rain(climate: Climate, rng: np.random.Generator) -> tuple[NDArray[np.bool_], Floats]:
    """Wet days, and rain in every hour [mm]."""
    share, amount = _wet_share(climate)
    f, mm = np.repeat(share, _MONTH_DAYS), np.repeat(amount, _MONTH_DAYS)
    after_dry = _known("year.wet_after_dry")
    shape = _known("year.rain_shape")
    longest = int(_known("year.rain_hours"))
    draw, size = rng.random(365), rng.gamma(shape, 1 / shape, 365)
    spell, begin = rng.integers(1, longest + 1, 365), rng.random(365)
    wet = np.zeros(365, dtype=bool)
    rain = np.zeros((365, 24))
    before = bool(rng.random() < f[0])
    for k in range(365):
        chance = after_dry * f[k] + (1 - after_dry if before and f[k] > 0 else 0.0)
        wet[k] = before = bool(draw[k] < chance)
        if before:
            first = int(begin[k] * (25 - spell[k]))
            rain[k, first : first + spell[k]] = mm[k] * size[k] / spell[k]
    return wet, rain.ravel()


def _ranges(climate: Climate, wet: NDArray[np.bool_]) -> Floats:
    """A day's range [C], smaller on wet days, with the monthly mean kept in expectation."""
    share = np.repeat(_wet_share(climate)[0], _MONTH_DAYS)
    smaller = _known("year.wet_range")
    dry = np.maximum(monthly_curve(climate.range_c), 0.0) / (1 - share * (1 - smaller))
    return np.asarray(np.where(wet, smaller * dry, dry), dtype=np.float64)


def _humidity(climate: Climate, temp: Floats, low: Floats, mean: Floats) -> Floats:
    if climate.relative_humidity is None:
        vapour = saturation_pressure(np.clip(low, -60, 55))
    else:
        humid = np.clip(monthly_curve(climate.relative_humidity), 0.05, 1.0)
        vapour = humid * saturation_pressure(np.clip(mean, -60, 55))
    over = np.repeat(vapour, 24) / saturation_pressure(np.clip(temp, -50.0, 55.0))
    return np.asarray(np.clip(over, 0.0, 1.0), dtype=np.float64)


def _wind(climate: Climate, rng: np.random.Generator) -> Floats:
    months = climate.wind_m_s or (_known("unknown.wind"),) * 12
    spread, swing = _known("year.wind_spread"), _known("year.wind_day_swing")
    day = np.maximum(monthly_curve(months), 0.0)
    day = day * np.exp(spread * rng.standard_normal(365) - spread**2 / 2)
    clock = np.arange(24) + 0.5
    peak = _known("day.warmest_h") - 12 + climate.noon_h
    shape = 1 + swing * np.cos((clock - peak) * np.pi / 12)
    return np.asarray(np.minimum(day[:, None] * shape, 60.0).ravel(), dtype=np.float64)


def filled_series(
    start: datetime,
    columns: Mapping[str, ArrayLike],
    *,
    latitude_deg: float | None,
    longitude_deg: float | None = None,
    altitude_m: float | None = None,
    noon_h: float | None = None,
    first_day: int | None = None,
    source: tuple[str, ...] = (),
    typical: bool = False,
) -> WeatherSeries:
    """An hourly series from what there is; the rest is filled in and said so.

    columns : ``air_temp_c`` (needed) and any other field of `WeatherSeries`, hourly. Humidity not
    given follows from the lowest temperature of the day (taken as dew point), wind is 3 m/s at
    10 m, rain none, sun from the day's range of temperature (none without latitude), pressure the
    standard one of the altitude, the sky from vapour and clouds, clouds from the sun.
    noon_h, first_day : clock of solar noon and day of the year counted from *start*; worked out
    from start and longitude when not given.
    Raises as `WeatherSeries`.
    """
    said = list(source)
    got: dict[str, Any] = {k: np.asarray(v, dtype=np.float64) for k, v in columns.items()}
    temp: Floats = got["air_temp_c"]
    n = temp.size
    if noon_h is None or first_day is None:
        utc = start.astimezone(UTC)
        noon_h = 12.0 - (longitude_deg or 0.0) / 15 - (utc.hour + utc.minute / 60)
        first_day = utc.timetuple().tm_yday
    days = -(-n // 24)
    day = (first_day - 1 + np.arange(days)) % 365 + 1
    low, high = _extremes(temp, days)
    if "relative_humidity" not in got:
        if n >= 24:
            floor = np.repeat(saturation_pressure(low), 24)[:n]
            got["relative_humidity"] = np.clip(floor / saturation_pressure(temp), 0.0, 1.0)
            said.append("humidity not known: the lowest temperature of a day taken as dew point")
        else:
            got["relative_humidity"] = np.full(n, _known("unknown.humidity"))
            said.append(f"humidity not known: {_known('unknown.humidity'):.0%} taken")
    if "wind_m_s" not in got:
        got["wind_m_s"] = np.full(n, _known("unknown.wind"))
        said.append(f"wind not known: {_known('unknown.wind'):g} m/s at 10 m taken")
    if "rain_mm" not in got:
        got["rain_mm"] = np.zeros(n)
        said.append("rain not known: none taken")
    if "sun_w_m2" not in got:
        got["sun_w_m2"] = np.zeros(n)
        if latitude_deg is None:
            said.append("sun not known and no latitude: none taken")
        else:
            extra = fao56.extraterrestrial(latitude_deg, day)
            clear = fao56.clear_sky(extra, altitude_m or 0.0)
            total = np.minimum(fao56.sun_from_range(extra, high, low), clear)
            whole = hourly_sun(total, latitude_deg=latitude_deg, day_of_year=day, noon_h=noon_h)
            got["sun_w_m2"] = whole[:n]
            said.append("sun not known: from the day's range of temperature (Hargreaves)")
    if "pressure_pa" not in got:
        got["pressure_pa"] = np.full(n, standard_pressure(altitude_m or 0.0))
    if "sky_temp_c" not in got:
        cloud: Floats | float = 0.5
        if latitude_deg is not None:
            heights = sun_heights(latitude_deg, day, noon_h=noon_h)[:n]
            cloud = sky.cloud_cover(got["sun_w_m2"], heights, altitude_m=altitude_m or 0.0)
        vapour = got["relative_humidity"] * saturation_pressure(temp)
        got["sky_temp_c"] = np.asarray(sky.sky_temperature(temp, vapour, cloud=cloud))
    return WeatherSeries(
        start=start,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        source=tuple(said),
        typical=typical,
        **got,
    )


def _extremes(temp: Floats, days: int) -> tuple[Floats, Floats]:
    """Lowest and highest of every 24 hours; a last part of a day counts as one."""
    whole = np.concatenate([temp, np.full(days * 24 - temp.size, temp[-1])]).reshape(days, 24)
    return whole.min(axis=1), whole.max(axis=1)
