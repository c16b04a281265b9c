"""From the rows of a weather sheet to an hourly series: averaging, gaps, and days into hours.

Units and conventions: those of `heapwright.domain.weather`; a row stands for the time from its
stamp on. Gaps of up to 6 hours are bridged by straight lines; longer ones are filled with the same
hours of the day before, or refused. Daily rows become hours by the shapes of `science.dayshape`,
with wind and vapour pressure even over the day and rain even over its 24 hours.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.climate import filled_series
from heapwright.domain.weather import WeatherSeries
from heapwright.errors import TableError
from heapwright.exchange.weatherfiles import WeatherTable
from heapwright.science import fao56
from heapwright.science.air import saturation_pressure
from heapwright.science.dayshape import day_temperatures, hourly_sun
from heapwright.science.values import value

__all__ = ["LONGEST_GAP_H", "long_gaps", "series_of"]

Floats = NDArray[np.float64]
#: Gaps up to this are bridged by straight lines [h].
LONGEST_GAP_H = 6


def long_gaps(table: WeatherTable) -> list[tuple[datetime, float]]:
    """Gaps in the air temperature too long to be bridged: when they begin, and hours.

    For daily rows: days that are missing.
    """
    step = 86400.0 if table.daily else table.step_s
    at = np.array([t.timestamp() for t in table.times])
    known = _known_rows(table)
    if not known.any():
        raise TableError("no row holds an air temperature", where=table.name)
    moments = np.append(at[known], at[-1] + step)
    if known.argmax() > 0:
        moments = np.insert(moments, 0, at[0] - step)
    limit = 1.5 * step if table.daily else max(LONGEST_GAP_H * 3600.0, 1.5 * step)
    return [
        (table.times[0] + timedelta(seconds=float(a + step - at[0])), float(b - a - step) / 3600)
        for a, b in itertools.pairwise(moments)
        if b - a > limit + 3700 * table.daily
    ]


def _known_rows(table: WeatherTable) -> NDArray[np.bool_]:
    known = np.zeros(len(table.times), dtype=bool)
    got = table.values
    if "air_temp_c" in got:
        known |= np.isfinite(got["air_temp_c"])
    if "high_c" in got and "low_c" in got:
        known |= np.isfinite(got["high_c"] + got["low_c"])
    return known


def series_of(
    table: WeatherTable,
    *,
    latitude_deg: float | None,
    longitude_deg: float | None = None,
    altitude_m: float | None = None,
    wind_factor: float = 1.0,
) -> WeatherSeries:
    """The hourly series of a weather sheet.

    latitude_deg : needed for daily rows and where sun is missing; wind_factor : wind at 10 m over
    wind as measured. Longer gaps are filled with the day before and said so in ``source``.
    Raises `TableError` when the first day has no air temperature, or daily rows come without
    latitude; `QuantityError` and `InputError` for values that cannot be.
    """
    if table.daily:
        return _from_days(table, latitude_deg, longitude_deg, altitude_m, wind_factor)
    notes = [f"{table.name}: rows every {table.step_s / 60:g} minutes"]
    columns = _hourly_columns(table, notes)
    if "wind_m_s" in columns:
        columns["wind_m_s"] = columns["wind_m_s"] * wind_factor
    _humidity(columns, columns.pop("dew_c", None))
    start = table.times[0].replace(minute=0, second=0, microsecond=0)
    return filled_series(
        start, columns, latitude_deg=latitude_deg, longitude_deg=longitude_deg,
        altitude_m=altitude_m, source=tuple(notes),
    )  # fmt: skip


def _humidity(columns: dict[str, Floats], dew: Floats | None) -> None:
    """Relative humidity from a dew point, where it is not given itself."""
    if dew is not None and "relative_humidity" not in columns:
        ratio = saturation_pressure(dew) / saturation_pressure(columns["air_temp_c"])
        columns["relative_humidity"] = np.clip(ratio, 0.0, 1.0)
    elif "relative_humidity" in columns:
        # instruments in fog read up to 103 %
        humid = columns["relative_humidity"]
        columns["relative_humidity"] = np.where((humid > 1) & (humid <= 1.05), 1.0, humid)


def _hourly_columns(table: WeatherTable, notes: list[str]) -> dict[str, Floats]:
    start = table.times[0].replace(minute=0, second=0, microsecond=0)
    since = np.array([(t - start).total_seconds() for t in table.times])
    hours = int(np.ceil((since[-1] + table.step_s) / 3600 - 1e-9))
    wanted = [r for r in table.values if r not in ("high_c", "low_c", "sun_hours")]
    out: dict[str, Floats] = {}
    for role in wanted:
        good = np.isfinite(table.values[role])
        if not good.any():
            continue
        if role == "rain_mm":
            out[role] = _rain(since[good], table.values[role][good], table.step_s, hours)
            continue
        mean = _means(since[good], table.values[role][good], table.step_s, hours)
        filled = int(np.isnan(mean).sum())
        out[role] = _bridged(mean, table.name, role)
        if filled:
            notes.append(f"{filled} hours of {role} filled in (straight lines or the day before)")
    return out


def _means(since: Floats, values: Floats, step: float, hours: int) -> Floats:
    """Means of the rows in every hour; rows longer than an hour fill all hours they last."""
    row_hours = max(1, round(step / 3600))
    total, count = np.zeros(hours), np.zeros(hours)
    first = (since // 3600).astype(np.int64)
    for k in range(row_hours):
        at = first + k
        fits = at < hours
        np.add.at(total, at[fits], values[fits])
        np.add.at(count, at[fits], 1.0)
    mean = np.where(count > 0, total / np.maximum(count, 1.0), np.nan)
    if row_hours > 1:
        known = np.flatnonzero(np.isin(np.arange(hours), first))
        mean = np.where(np.isnan(mean), mean, np.interp(np.arange(hours), known, mean[known]))
    return np.asarray(mean, dtype=np.float64)


def _rain(since: Floats, values: Floats, step: float, hours: int) -> Floats:
    """Rain of every hour; rows longer than an hour are spread evenly, gaps count as dry."""
    row_hours = max(1, round(step / 3600))
    out = np.zeros(hours)
    first = (since // 3600).astype(np.int64)
    for k in range(row_hours):
        np.add.at(out, np.minimum(first + k, hours - 1), values / row_hours)
    return out


def _bridged(mean: Floats, name: str, role: str) -> Floats:
    """Short gaps bridged by straight lines, longer ones filled from the day before."""
    good = np.isfinite(mean)
    at = np.arange(mean.size)
    line = np.interp(at, at[good], mean[good])
    out = np.where(good, mean, line)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], ~good, [False])).astype(np.int8)))
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        inner = begin > 0 and end < mean.size
        if end - begin <= LONGEST_GAP_H and (inner or end == mean.size):
            continue
        for k in range(begin, end):
            if k < 24:
                if role == "air_temp_c" and end - begin > LONGEST_GAP_H:
                    raise TableError(
                        "the record begins with a gap, so nothing before it can fill it",
                        where=name, field=role, way_out="Start the sheet at its first reading",
                    )  # fmt: skip
                continue
            out[k] = out[k - 24]
    return out


# --- days into hours -----------------------------------------------------------------------------


def _from_days(
    table: WeatherTable,
    latitude_deg: float | None,
    longitude_deg: float | None,
    altitude_m: float | None,
    wind_factor: float,
) -> WeatherSeries:
    if latitude_deg is None:
        raise TableError(
            "daily weather needs the latitude for the course of the sun", where=table.name,
            way_out="Give the latitude",
        )  # fmt: skip
    notes = [f"{table.name}: daily rows, turned into hours by a standard day"]
    first = table.times[0]
    at = np.array([round((t - first).total_seconds() / 86400) for t in table.times])
    days = int(at[-1]) + 1
    daily = {role: _all_days(at, v, days, role, notes) for role, v in table.values.items()}
    low, high = _extremes(daily, notes)
    utc_h = first.hour + first.minute / 60
    noon = (12.0 - (longitude_deg or 0.0) / 15 - utc_h) % 24 if longitude_deg is not None else 12.0
    middle = first + timedelta(hours=12)
    day = (middle.timetuple().tm_yday - 1 + np.arange(days)) % 365 + 1
    lat = latitude_deg
    temp = day_temperatures(low, high, latitude_deg=lat, day_of_year=day, noon_h=noon)
    columns: dict[str, Floats] = {"air_temp_c": temp}
    vapour = None
    if "dew_c" in daily:
        vapour = saturation_pressure(daily["dew_c"])
    elif "relative_humidity" in daily:
        vapour = np.clip(daily["relative_humidity"], 0, 1) * saturation_pressure((low + high) / 2)
    if vapour is not None:
        ratio = np.repeat(vapour, 24) / saturation_pressure(temp)
        columns["relative_humidity"] = np.clip(ratio, 0.0, 1.0)
    total = _daily_sun(daily, lat, day)
    if total is not None:
        columns["sun_w_m2"] = hourly_sun(total, latitude_deg=lat, day_of_year=day, noon_h=noon)
    for role, factor in (("wind_m_s", wind_factor), ("pressure_pa", 1.0), ("rain_mm", 1 / 24)):
        if role in daily:
            columns[role] = np.repeat(daily[role], 24) * factor
    made = filled_series(
        first, columns, latitude_deg=lat, longitude_deg=longitude_deg, altitude_m=altitude_m,
        noon_h=noon, first_day=int(day[0]), source=tuple(notes),
    )  # fmt: skip
    return replace(made, start=first)


def _all_days(at: Floats, values: Floats, days: int, role: str, notes: list[str]) -> Floats:
    """One value for every day; missing ones as the day before (rain: none)."""
    out = np.full(days, np.nan)
    good = np.isfinite(values)
    out[at[good]] = values[good]
    missing = np.isnan(out)
    if role == "rain_mm":
        return np.where(missing, 0.0, out)
    if missing.any() and not missing.all():
        last = np.maximum.accumulate(np.where(missing, -1, np.arange(days)))
        begin = int(np.flatnonzero(~missing)[0])
        out = out[np.where(last < 0, begin, last)]
        notes.append(f"{int(missing.sum())} days of {role} taken from the day before")
    return out


def _extremes(daily: dict[str, Floats], notes: list[str]) -> tuple[Floats, Floats]:
    """Lowest and highest of each day from what there is."""
    if "high_c" in daily and "low_c" in daily:
        return daily["low_c"], daily["high_c"]
    mean = daily.get("air_temp_c")
    if mean is None:
        raise TableError(
            "daily weather needs the day's highest and lowest air temperature, or its mean",
            field="air_temp_c",
        )
    if "high_c" in daily:
        return 2 * mean - daily["high_c"], daily["high_c"]
    if "low_c" in daily:
        return daily["low_c"], 2 * mean - daily["low_c"]
    spread = value("sky", "day.range_unknown_c").value
    notes.append(f"a day's range of temperature not known: {spread:g} C taken")
    return mean - spread / 2, mean + spread / 2


def _daily_sun(daily: dict[str, Floats], latitude_deg: float, day: NDArray[Any]) -> Floats | None:
    """Sun of every day [MJ/m2], None when neither sun nor hours of sunshine are known."""
    if "sun_w_m2" in daily:
        return daily["sun_w_m2"] * 86400 / 1e6
    if "sun_hours" in daily:
        extra = fao56.extraterrestrial(latitude_deg, day)
        long = fao56.daylight_hours(latitude_deg, day)
        found = fao56.sun_from_hours(extra, daily["sun_hours"], day_hours=long)
        return np.asarray(found, dtype=np.float64)
    return None
