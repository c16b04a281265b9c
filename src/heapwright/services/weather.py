"""The weather of a trial: from a file, from a described climate, from the book, or like last week.

Units: those of `heapwright.domain.weather`. Conventions: what a file decides is not asked; all open
questions come at once (`QuestionError`) and nothing is guessed silently. What was filled in stands
in ``source`` of the series.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import numpy as np

from heapwright.domain.climate import Climate, filled_series, made_year
from heapwright.domain.entries import Weather
from heapwright.domain.trial import Place
from heapwright.domain.weather import WeatherSeries
from heapwright.domain.when import local_zone
from heapwright.errors import HeapwrightError, NotEnoughError, TableError
from heapwright.exchange.sheets import Decimal, Sheet, is_gap, number_of, numbers_look, read_sheet
from heapwright.exchange.sheettimes import Order, date_order, winter_time
from heapwright.exchange.weatherfiles import (
    ROLES,
    UNITS,
    RainUnit,
    StationFile,
    WeatherColumn,
    file_kind,
    guess_columns,
    read_climate,
    read_station,
    read_table,
    unit_named,
)
from heapwright.exchange.weathersheet import long_gaps, series_of
from heapwright.science.dayshape import day_temperatures
from heapwright.science.sky import wind_to_10m
from heapwright.science.values import value
from heapwright.services.asking import Asker
from heapwright.store.book import Book
from heapwright.units import parse

__all__ = ["KEYS", "air_of_book", "described_year", "like_last_week", "read_weather"]

#: Every key of ``--answer`` for a weather file, and what it settles.
KEYS: dict[str, str] = {
    "column.HEADER": "role of one column: " + ", ".join(ROLES),
    "unit.HEADER": "unit of one column",
    "air": "the column that holds the air temperature",
    "decimal": "comma or point",
    "dates": "day-first or month-first in dates such as 3/5/2026",
    "zone": "time zone of the clock in the sheet, such as Europe/London, or UTC",
    "latitude": "latitude in degrees, north positive",
    "longitude": "longitude in degrees, east positive",
    "wind_height": "height above the ground at which the wind was measured, as in 2 m",
    "gaps": "day-before (fill long gaps with the same hours of the day before) or stop",
    "rain_unit": "mm or tenths of mm, where the rain of a TMY3 or EPW file cannot be mm",
}

_WEEK_D = 7
_NEAR_NOW = timedelta(hours=1)


def read_weather(
    path: Path,
    *,
    answers: Mapping[str, str],
    place: Place | None = None,
    seed: int = 1,
    year: int = 2023,
) -> WeatherSeries:
    """The weather in a file: hourly or daily CSV, TMY3, EPW, or a climate described in TOML.

    Parameters
    ----------
    answers : mapping
        By key, see `KEYS`.
    place : Place, optional
        Where the heaps stand; its latitude, longitude, height and time zone are not asked for.
    seed : int
        For the made-up year of a described climate only.
    year : int
        The 365-day year in which a typical or made-up year is dated.

    Raises
    ------
    QuestionError
        Units, dates, zone, latitude or gaps that the file leaves open, all at once.
    TableError, InputError, QuantityError
        Something in the file or an answer cannot stand.
    """
    kind = file_kind(path)
    asker = Asker(answers)
    if kind == "climate":
        made = described_year(read_climate(path), seed=seed, year=year)
    elif kind == "sheet":
        made = _from_sheet(read_sheet(path), asker, place or Place())
    else:
        station = read_station(path, kind)
        unit = _rain_unit(station, asker)
        asker.settle()
        made = station.series(rain_unit=unit, year=year)
    asker.unused([k for k in KEYS if "." not in k])
    return made


def described_year(climate: Climate, *, seed: int, year: int = 2023) -> WeatherSeries:
    """A made-up typical year for a climate; the same seed gives the same year.

    >>> c = Climate(mean_c=(10,) * 12, range_c=(8,) * 12, rain_mm=(60,) * 12, latitude_deg=52)
    >>> described_year(c, seed=7).source[0]
    'made up from monthly means at 52 degrees of latitude, seed 7; not measured'
    """
    return made_year(climate, year=year, rng=np.random.default_rng(seed), seed=seed)


def _rain_unit(station: StationFile, asker: Asker) -> RainUnit:
    """mm, unless they cannot be; then it is asked."""
    if not station.suspicious and asker.given("rain_unit") is None:
        return "mm"
    found = asker.get(
        "rain_unit",
        f"The rain of {station.name} sums to {station.rain_raw.sum():,.0f} in the year and "
        f"{station.rain_raw.max():.0f} in its wettest hour. Which unit is that?",
        ("mm", "tenths of mm"),
        suggested="tenths of mm",
    )
    return "tenths of mm" if found == "tenths of mm" else "mm"


# --- sheets --------------------------------------------------------------------------------------


def _from_sheet(sheet: Sheet, asker: Asker, place: Place) -> WeatherSeries:
    columns = _columns(sheet, asker)
    decimal = _decimal(sheet, columns, asker)
    columns = [_with_unit(sheet, c, asker, decimal) for c in columns]
    stamps = [c.index for c in columns if c.role in ("time", "date")]
    order = _order(sheet, stamps, asker)
    zone = _zone(sheet, stamps, asker, place)
    latitude = _degrees("latitude", place.latitude_deg, asker)
    longitude = _degrees("longitude", place.longitude_deg, asker)
    wind_factor = _wind_factor(columns, asker)
    try:
        table = read_table(sheet, columns, decimal=decimal, order=order, zone=zone)
        gaps = long_gaps(table)
    except HeapwrightError:
        # perhaps only because a suggestion stood in for an answer
        asker.settle()
        raise
    if latitude is None and (table.daily or "sun_w_m2" not in table.values):
        why = "The hours of a day" if table.daily else "The sun"
        asker.get("latitude", f"{why} cannot be worked out without it. At which latitude?")
    _gaps(sheet, gaps, asker)
    asker.settle()
    notes: tuple[str, ...] = ()
    if longitude is None and zone is not UTC:
        offset = datetime(2023, 1, 1, tzinfo=winter_time(zone, 2023)).utcoffset() or timedelta()
        longitude = offset.total_seconds() / 240
        notes = (f"longitude not known: {longitude:g} degrees taken from the time zone",)
    made = series_of(
        table, latitude_deg=latitude, longitude_deg=longitude, altitude_m=place.altitude_m,
        wind_factor=wind_factor,
    )  # fmt: skip
    return replace(made, source=(*made.source, *notes))


def _decimal(sheet: Sheet, columns: Sequence[WeatherColumn], asker: Asker) -> Decimal:
    """How decimals are written: as the cells show, or as answered."""
    rows = sheet.rows[:2000]
    look = numbers_look(row[c.index] for c in columns if c.role in UNITS for row in rows)
    if look in ("thousands", "mixed") or asker.given("decimal") is not None:
        said = asker.get(
            "decimal", "Is the decimal mark a comma or a point?", ("comma", "point"),
            suggested="comma",
        )  # fmt: skip
        return "comma" if said == "comma" else "point"
    return "comma" if look == "comma" else "point"


def _order(sheet: Sheet, stamps: Sequence[int], asker: Asker) -> Order:
    """Order of day and month: as the dates show, or as answered."""
    order = date_order(cell for i in stamps for cell in sheet.column(i))
    if order in ("either", "contradiction") or asker.given("dates") is not None:
        said = asker.get(
            "dates", "In dates such as 3/5/2026, which comes first?",
            ("day-first", "month-first"), suggested="day-first",
        )  # fmt: skip
        return "month-first" if said == "month-first" else "day-first"
    return "month-first" if order == "month-first" else "day-first"


def _columns(sheet: Sheet, asker: Asker) -> list[WeatherColumn]:
    out: list[WeatherColumn] = []
    for column in guess_columns(sheet):
        said = asker.given(f"column.{column.header}")
        if said is not None:
            role = Asker.check(f"column.{column.header}", said, ROLES)
            column = WeatherColumn(column.index, column.header, role,
                                   unit_named(role, column.unit))  # fmt: skip
        out.append(column)
    roles = {c.role for c in out}
    if not roles & {"air_temp_c", "high_c"}:
        headers = [c.header for c in out if c.role == "ignore"]
        named = asker.get("air", "Which column holds the air temperature?", headers)
        asker.settle()
        out = [
            WeatherColumn(c.index, c.header, "air_temp_c", unit_named("air_temp_c", c.unit))
            if c.header == named
            else c
            for c in out
        ]
    return out


def _with_unit(
    sheet: Sheet, column: WeatherColumn, asker: Asker, decimal: Decimal
) -> WeatherColumn:
    """The column with its unit: as the header says, or as answered."""
    if column.role not in UNITS:
        return column
    key, units = f"unit.{column.header}", tuple(UNITS[column.role])
    if column.unit is not None and asker.given(key) is None:
        return column
    suggested = _likely(sheet, column, decimal)
    unit = asker.get(key, f"In which unit is the column {column.header!r}?", units,
                     suggested=suggested)  # fmt: skip
    return replace(column, unit=unit)


def _likely(sheet: Sheet, column: WeatherColumn, decimal: Decimal) -> str:
    """The unit that the numbers suggest."""
    numbers = []
    for cell in sheet.column(column.index):
        if is_gap(cell):
            continue
        try:
            numbers.append(number_of(cell, decimal)[0])
        except HeapwrightError:
            continue
    top = max(numbers, default=0.0)
    first, second = list(UNITS[column.role])[:2]
    if column.role in ("air_temp_c", "high_c", "low_c", "dew_c"):
        return "F" if top > 50 else "C"
    if column.role == "relative_humidity":
        return "fraction" if top <= 1.0 else "%"
    if column.role == "pressure_pa":
        return "Pa" if top > 5000 else "hPa" if top > 300 else "inHg" if top < 40 else "kPa"
    if column.role == "sun_w_m2":
        return "MJ/m2" if top < 45 else "W/m2"
    return second if column.role == "wind_m_s" and top > 30 else first


def _zone(sheet: Sheet, stamps: Sequence[int], asker: Asker, place: Place) -> tzinfo:
    """The clock of the sheet: of the place, as answered, or carried by the stamps themselves."""
    cells = [sheet.rows[0][i].strip() for i in stamps]
    carried = any(c.lower().endswith(("z", "utc")) or (c[-6:-5] in ("+", "-") and ":" in c[-6:])
                  for c in cells)  # fmt: skip
    said = asker.given("zone")
    if said is not None:
        return local_zone(None if said.lower() in ("utc", "as-typed") else said)
    if place.time_zone is not None or carried:
        return local_zone(place.time_zone)
    asker.get("zone", "Which clock does the sheet go by (a time zone, or UTC)?", suggested="UTC")
    return UTC


def _degrees(key: str, known: float | None, asker: Asker) -> float | None:
    said = asker.given(key)
    if said is None:
        return known
    return parse(said, f"{key}_deg", field=key).typical


def _wind_factor(columns: Sequence[WeatherColumn], asker: Asker) -> float:
    """Wind at 10 m over wind as measured; 10 m unless answered."""
    said = asker.given("wind_height")
    if said is None or all(c.role != "wind_m_s" for c in columns):
        return 1.0
    height = parse(said, "length_m", field="wind_height").typical
    return float(wind_to_10m(1.0, height))


def _gaps(sheet: Sheet, gaps: Sequence[tuple[datetime, float]], asker: Asker) -> None:
    """Ask what to do with gaps too long to be bridged; raise `TableError` for stop."""
    if not gaps:
        return
    when, hours = gaps[0]
    size = f"{hours / 24:.3g} days" if hours >= 48 else f"{hours:.0f} hours"
    said = f"{len(gaps)} long gap{'s' if len(gaps) > 1 else ''} in the air temperature, the first "
    said += f"from {when:%Y-%m-%d %H:%M} UTC over {size}"
    answer = asker.get("gaps", f"There {'are' if len(gaps) > 1 else 'is'} {said}. Fill as the day "
                       "before?", ("day-before", "stop"), suggested="day-before")  # fmt: skip
    if answer == "stop":
        raise TableError(said, where=sheet.name, way_out="Complete the sheet, or cut it there")


# --- the book ------------------------------------------------------------------------------------


def air_of_book(book: Book, trial: str) -> list[tuple[datetime, float]]:
    """Readings of the air of a trial with a known time (within an hour), in order."""
    found: list[tuple[datetime, float]] = []
    entries: list[Weather] = book.current("weather", trial)
    for entry in entries:
        if entry.quantity == "air_temp_c" and entry.when.high - entry.when.low <= _NEAR_NOW:
            found.append((entry.when.middle, entry.value))
    return sorted(found)


def like_last_week(
    readings: Sequence[tuple[datetime, float]], *, until: datetime, place: Place | None = None
) -> WeatherSeries:
    """Weather where there is no record: the last seven days of air readings, over and over.

    readings : aware times and [degrees C], as of `air_of_book`; until : aware, end of the series.
    A standard day with a range of 8 C is led through the readings of the last week, so that a dawn
    reading does not stand for the afternoon. The series begins seven days before the last reading.
    Everything else is filled in and said so. Raises `NotEnoughError` without a reading.
    """
    if not readings:
        raise NotEnoughError(
            "there is neither weather nor a reading of the air", field="weather",
            way_out="Give a weather file, describe the climate, or read the air once",
        )  # fmt: skip
    place = place or Place()
    last = max(t for t, _ in readings).astimezone(UTC)
    end = last.replace(minute=0, second=0, microsecond=0) + timedelta(hours=1)
    start = end - timedelta(days=_WEEK_D)
    week = [(t, c) for t, c in readings if start <= t <= end]
    hours = np.array([(t - start).total_seconds() / 3600 for t, _ in week])
    temps = np.array([c for _, c in week])
    shape = _standard_week(start, place)
    level = float(np.mean(temps - np.interp(hours, np.arange(24 * _WEEK_D) + 0.5, shape)))
    air = np.clip(shape + level, -50.0, 55.0)
    latitude = place.latitude_deg
    made = filled_series(
        start, {"air_temp_c": air}, latitude_deg=latitude, longitude_deg=place.longitude_deg,
        altitude_m=place.altitude_m,
        source=(f"air like the week to {last:%Y-%m-%d}, from {len(week)} readings",),
    )  # fmt: skip
    made = made.with_air([t for t, _ in week], temps)
    return made.extend(until, days=_WEEK_D) if until > made.end else made


def _standard_week(start: datetime, place: Place) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """A week of standard days about 0 C, hourly from *start* (UTC)."""
    half = value("sky", "day.range_unknown_c").value / 2
    longitude = place.longitude_deg or 0.0
    noon = (12.0 - longitude / 15 - start.hour) % 24
    latitude = 45.0 if place.latitude_deg is None else place.latitude_deg
    day = start.timetuple().tm_yday + np.arange(_WEEK_D)
    made = day_temperatures(
        np.full(_WEEK_D, -half), np.full(_WEEK_D, half), latitude_deg=latitude, day_of_year=day,
        noon_h=12.0,
    )  # fmt: skip
    return np.roll(made, round(noon - 12.0)).reshape(-1)
