"""Other people's weather: sheets with hourly or daily rows, TMY3 and EPW files, described climates.

Units: read in whatever unit a column has, kept in those of `heapwright.domain.weather`.
Conventions: a row of a sheet stands for the time from its stamp on. TMY3 and EPW number their hours
01 to 24 by their end and put months of different years side by side: the rows are taken in the
order of the file as one typical year of 365 days in the station's winter time. Precipitation that
a TMY3 file sums over 3, 6 or 24 hours is spread over those hours, less what they hold already.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.climate import Climate, filled_series
from heapwright.domain.weather import WeatherSeries
from heapwright.errors import HeapwrightError, TableError
from heapwright.exchange.sheets import Decimal, Sheet, is_gap, number_of, plain_header, unit_in
from heapwright.exchange.sheettimes import Order, exists_twice, read_moment, to_utc
from heapwright.science.values import value

__all__ = [
    "ROLES",
    "UNITS",
    "StationFile",
    "WeatherColumn",
    "WeatherTable",
    "file_kind",
    "guess_columns",
    "read_climate",
    "read_station",
    "read_table",
    "unit_named",
]

Floats = NDArray[np.float64]
RainUnit = Literal["mm", "tenths of mm"]

_TEMPERATURE = {"C": (1.0, 0.0), "F": (1 / 1.8, -32 / 1.8)}
#: Units of every role: factor and offset to the unit kept. Sums of sun are per day or hour.
UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "air_temp_c": _TEMPERATURE,
    "high_c": _TEMPERATURE,
    "low_c": _TEMPERATURE,
    "dew_c": _TEMPERATURE,
    "relative_humidity": {"%": (0.01, 0.0), "fraction": (1.0, 0.0)},
    "wind_m_s": {
        "m/s": (1.0, 0.0), "km/h": (1 / 3.6, 0.0), "mph": (0.44704, 0.0),
        "knots": (1852 / 3600, 0.0),
    },
    "rain_mm": {
        "mm": (1.0, 0.0), "inches": (25.4, 0.0), "cm": (10.0, 0.0), "tenths of mm": (0.1, 0.0),
    },
    "sun_w_m2": {
        "W/m2": (1.0, 0.0), "MJ/m2": (1e6, 0.0), "kWh/m2": (3.6e6, 0.0), "Wh/m2": (3600.0, 0.0),
        "J/cm2": (1e4, 0.0),
    },
    "sun_hours": {"h": (1.0, 0.0), "minutes": (1 / 60, 0.0)},
    "pressure_pa": {
        "hPa": (100.0, 0.0), "kPa": (1000.0, 0.0), "Pa": (1.0, 0.0), "mmHg": (133.322, 0.0),
        "inHg": (3386.39, 0.0),
    },
}  # fmt: skip
#: What a column of a weather sheet can be.
ROLES: tuple[str, ...] = ("time", "date", "clock", *UNITS, "ignore")
_WORDS: dict[str, tuple[str, ...]] = {
    "time": ("time", "datetime", "date time", "timestamp", "date and time", "valid", "observed at",
             "time hour", "utc"),
    "date": ("date", "day"),
    "clock": ("clock", "hour", "clock time"),
    "air_temp_c": ("temp", "temperature", "air", "air temp", "air temperature", "temp mean",
                   "mean temp", "mean temperature", "tmean", "tavg", "dry bulb", "ambient",
                   "temp avg", "outside", "temperature mean"),
    "high_c": ("tmax", "max temp", "temp max", "maximum temperature", "high", "highest",
               "max temperature", "temperature max", "temperature high"),
    "low_c": ("tmin", "min temp", "temp min", "minimum temperature", "low", "lowest",
              "min temperature", "temperature min", "temperature low"),
    "dew_c": ("dew", "dew point", "dewp", "dewpoint"),
    "relative_humidity": ("rh", "humidity", "humid", "relative humidity", "rel humidity"),
    "wind_m_s": ("wind", "wind speed", "windspeed", "mean wind", "ws"),
    "rain_mm": ("rain", "precip", "precipitation", "rainfall", "prcp", "rain total"),
    "sun_w_m2": ("sun", "radiation", "solar", "solar radiation", "global radiation", "ghi",
                 "irradiance", "srad", "global horizontal"),
    "sun_hours": ("sunshine", "sunshine hours", "sun hours", "hours of sun"),
    "pressure_pa": ("pressure", "air pressure", "station pressure", "baro", "barometer"),
}  # fmt: skip
_ALIASES = {
    "°c": "C", "c": "C", "celsius": "C", "°f": "F", "f": "F", "fahrenheit": "F",
    "%": "%", "percent": "%", "pct": "%", "0-1": "fraction", "fraction": "fraction",
    "m/s": "m/s", "ms-1": "m/s", "km/h": "km/h", "kmh": "km/h", "kph": "km/h", "mph": "mph",
    "kt": "knots", "kn": "knots", "knots": "knots", "mm": "mm", "in": "inches",
    "inch": "inches", "inches": "inches", "cm": "cm", "l/m2": "mm", "0.1 mm": "tenths of mm",
    "tenths of mm": "tenths of mm", "w/m2": "W/m2", "w/m^2": "W/m2", "w/m²": "W/m2",
    "mj/m2": "MJ/m2", "mj/m^2": "MJ/m2", "mj/m²": "MJ/m2", "mj/m2/day": "MJ/m2",
    "kwh/m2": "kWh/m2", "wh/m2": "Wh/m2", "j/cm2": "J/cm2", "h": "h", "hours": "h",
    "min": "minutes", "minutes": "minutes", "hpa": "hPa", "mbar": "hPa", "mb": "hPa",
    "kpa": "kPa", "pa": "Pa", "mmhg": "mmHg", "inhg": "inHg",
}  # fmt: skip
_HOURS = 8760
_MOST_STEP_S = 6 * 3600


@dataclass(frozen=True, slots=True)
class WeatherColumn:
    """A column of a weather sheet: its index and header, role (one of `ROLES`), unit or None."""

    index: int
    header: str
    role: str
    unit: str | None = None


@dataclass(frozen=True, slots=True)
class WeatherTable:
    """A weather sheet as numbers: UTC times, values by role (nan for gaps), whether rows are days.

    first_local : the first stamp as written, for the clock of daily rows.
    """

    times: tuple[datetime, ...]
    values: dict[str, Floats]
    daily: bool
    step_s: float
    name: str


def unit_named(role: str, text: str | None) -> str | None:
    """The unit of *role* that *text* means, None when it means none.

    >>> unit_named("wind_m_s", "kmh"), unit_named("rain_mm", "C")
    ('km/h', None)
    """
    if text is None:
        return None
    found = _ALIASES.get(text.strip().lower(), text.strip())
    return found if found in UNITS.get(role, {}) else None


def guess_columns(sheet: Sheet) -> list[WeatherColumn]:
    """Every column with the role its header suggests; each role once, the first column taking it.

    A date column alone is the time.
    """
    out: list[WeatherColumn] = []
    taken: set[str] = set()
    for index, header in enumerate(sheet.header):
        bare = plain_header(header)
        words = [bare, " ".join(w for w in bare.split() if w not in ("c", "f", "mm", "pct"))]
        role = next(
            (r for r, names in _WORDS.items() if r not in taken and any(w in names for w in words)),
            "ignore",
        )
        if role != "ignore":
            taken.add(role)
        unit = unit_named(role, unit_in(header) or _tail(header))
        out.append(WeatherColumn(index, header, role, unit))
    if "time" not in taken and "date" in taken and "clock" not in taken:
        out = [replace(c, role="time") if c.role == "date" else c for c in out]
    return out


def _tail(header: str) -> str | None:
    """The last word of a header such as ``rain_mm``."""
    parts = header.replace("_", " ").split()
    return parts[-1] if len(parts) > 1 else None


def read_table(
    sheet: Sheet, columns: Sequence[WeatherColumn], *, decimal: Decimal, order: Order, zone: tzinfo
) -> WeatherTable:
    """The rows of a sheet as numbers in the units kept.

    Every column but time needs its unit. Raises `TableError` with line and column for a cell that
    is no number, a value that cannot be, a row without time, times that do not go forward, or fewer
    than two rows.
    """
    stamps = [c for c in columns if c.role in ("time", "date", "clock")]
    if not stamps:
        raise TableError(
            "no column holds the time", where=sheet.name, way_out="Name one date or time"
        )
    times: list[datetime] = []
    whole: list[bool] = []
    for row in range(len(sheet.rows)):
        cell = " ".join(sheet.rows[row][c.index] for c in stamps if c.role != "clock")
        clock = " ".join(sheet.rows[row][c.index] for c in stamps if c.role == "clock")
        try:
            moment = read_moment(f"{cell} {clock}".strip(), order)
        except HeapwrightError as error:
            raise error.at(sheet.where(row, stamps[0].index)) from None
        at = to_utc(moment.at, zone)
        twice = moment.at.tzinfo is None and exists_twice(moment.at, zone)
        if twice and times and at <= times[-1]:
            at = to_utc(moment.at, zone, fold=1)
        if times and at <= times[-1]:
            raise TableError(
                "the times do not go forward here", where=sheet.where(row, stamps[0].index),
                value=repr(cell), way_out="Sort the sheet by time and keep one row a time",
            )  # fmt: skip
        times.append(at)
        whole.append(moment.whole_day)
    if len(times) < 2:
        raise TableError("two rows of weather are needed at least", where=sheet.name)
    gaps = np.diff([t.timestamp() for t in times])
    step = float(np.median(gaps))
    daily = all(whole) or abs(step - 86400) <= 3700
    if not daily and step > _MOST_STEP_S:
        raise TableError(
            f"the rows stand {step / 3600:g} hours apart", where=sheet.name,
            way_out="Give one row a day, or at least one every 6 hours",
        )  # fmt: skip
    values = {
        c.role: _numbers(sheet, c, decimal, 86400.0 if daily else step)
        for c in columns
        if c.role in UNITS
    }
    return WeatherTable(tuple(times), values, daily, step, sheet.name)


def _numbers(sheet: Sheet, column: WeatherColumn, decimal: Decimal, step: float) -> Floats:
    if column.unit is None:
        raise TableError("the unit of this column is not known", field=column.header)
    factor, offset = UNITS[column.role][column.unit]
    if column.role == "sun_w_m2" and column.unit != "W/m2":
        factor /= step
    out = np.full(len(sheet.rows), np.nan)
    for row in range(len(sheet.rows)):
        cell = sheet.rows[row][column.index]
        if is_gap(cell):
            continue
        try:
            number, _ = number_of(cell, decimal)
        except HeapwrightError as error:
            raise error.at(sheet.where(row, column.index)) from None
        out[row] = number * factor + offset
    return out


# --- typical years of stations -------------------------------------------------------------------


def file_kind(path: Path) -> Literal["epw", "tmy3", "climate", "sheet"]:
    """What a weather file is, from its name and first two lines.

    Raises `TableError` when it cannot be opened.
    """
    try:
        with path.open(encoding="utf-8-sig", errors="replace") as lines:
            first, second = lines.readline(), lines.readline()
    except OSError as error:
        raise TableError(
            f"it cannot be read ({error.strerror or error})", field="weather", value=str(path),
            way_out="Check its path",
        ) from None  # fmt: skip
    if path.suffix.lower() == ".epw" or first.startswith("LOCATION,"):
        return "epw"
    if second.startswith("Date (MM/DD/YYYY),Time (HH:MM)"):
        return "tmy3"
    return "climate" if path.suffix.lower() == ".toml" else "sheet"


@dataclass(frozen=True, slots=True, eq=False)
class StationFile:
    """A typical year as a station file holds it: hourly fields, rain as the file has it, and where.

    rain_raw : in the file's own numbers, hour by hour; suspicious : as mm they cannot be.
    """

    name: str
    kind: str
    columns: dict[str, Floats]
    rain_raw: Floats
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    offset_h: float
    notes: tuple[str, ...]

    @property
    def suspicious(self) -> bool:
        """True when the rain taken as mm is beyond what falls anywhere (100 mm in an hour or 4 m in
        a year)."""
        return bool(self.rain_raw.sum() > 4000 or self.rain_raw.max() > 100)

    def series(self, *, rain_unit: RainUnit = "mm", year: int = 2023) -> WeatherSeries:
        """The year as a `WeatherSeries`, typical, dated in a (365-day) year."""
        factor = UNITS["rain_mm"][rain_unit][0]
        start = datetime(year, 1, 1, tzinfo=UTC) - timedelta(hours=self.offset_h)
        return filled_series(
            start,
            {**self.columns, "rain_mm": self.rain_raw * factor},
            latitude_deg=self.latitude_deg,
            longitude_deg=self.longitude_deg,
            altitude_m=self.altitude_m,
            noon_h=12.0 + self.offset_h - self.longitude_deg / 15,
            first_day=1,
            source=(
                f"{self.name}: typical year ({self.kind.upper()})",
                *self.notes,
                *((f"rain column read as {rain_unit}",) if self.rain_raw.any() else ()),
            ),
            typical=True,
        )


def read_station(path: Path, kind: Literal["epw", "tmy3"]) -> StationFile:
    """A TMY3 or EPW file, through pvlib. Raises `TableError` for one that is no whole year."""
    from pvlib import iotools

    try:
        if kind == "tmy3":
            table, about = iotools.read_tmy3(str(path), map_variables=True)
        else:
            table, about = iotools.read_epw(str(path))
    except Exception as error:
        raise TableError(
            f"this is no readable {kind.upper()} file ({type(error).__name__})", where=path.name,
            way_out="Download it again, or give the weather as CSV",
        ) from None  # fmt: skip
    if kind == "epw" and len(table) == _HOURS + 24:
        table = table[~((table["month"] == 2) & (table["day"] == 29))]
    if len(table) != _HOURS:
        raise TableError(
            f"a typical year has {_HOURS} hours, this file {len(table)}", where=path.name,
            way_out="Give weather of other lengths as CSV",
        )  # fmt: skip
    notes: list[str] = []
    columns = {
        "air_temp_c": _cleaned(table["temp_air"], "air temperature", -70, 70, notes),
        "relative_humidity": _cleaned(table["relative_humidity"], "humidity", 0, 110, notes) / 100,
        "wind_m_s": _cleaned(table["wind_speed"], "wind", 0, 60, notes),
        "sun_w_m2": _cleaned(table["ghi"], "sun", 0, 1500, notes),
    }
    columns["relative_humidity"] = np.minimum(columns["relative_humidity"], 1.0)
    if kind == "tmy3":
        columns["pressure_pa"] = _cleaned(table["pressure"], "pressure", 300, 1150, notes) * 100
        rain = _tmy3_rain(
            table["Lprecip depth (mm)"].to_numpy(dtype=np.float64),
            table["Lprecip quantity (hr)"].to_numpy(dtype=np.float64),
        )
    else:
        pascal = _cleaned(table["atmospheric_pressure"], "pressure", 3e4, 1.15e5, notes)
        columns["pressure_pa"] = pascal
        sky = table["ghi_infrared"].to_numpy(dtype=np.float64)
        if ((sky > 50) & (sky < 700)).mean() > 0.9:
            sky = _cleaned(table["ghi_infrared"], "long wave of the sky", 50, 700, notes)
            columns["sky_temp_c"] = (sky / value("sky", "sigma").value) ** 0.25 - 273.15
        rain = table["liquid_precipitation_depth"].to_numpy(dtype=np.float64)
        rain = np.where((rain >= 0) & (rain < 900), rain, 0.0)
    notes += [] if rain.any() else ["the file holds no rain: none taken"]
    return StationFile(
        name=path.name, kind=kind, columns=columns, rain_raw=rain,
        latitude_deg=float(about["latitude"]), longitude_deg=float(about["longitude"]),
        altitude_m=float(about["altitude"]), offset_h=float(about["TZ"]), notes=tuple(notes),
    )  # fmt: skip


def _cleaned(column: Any, name: str, low: float, high: float, notes: list[str]) -> Floats:
    """The column with codes for missing values replaced by straight lines; raises `TableError`."""
    found = column.to_numpy(dtype=np.float64)
    good = np.isfinite(found) & (found >= low) & (found <= high)
    if good.mean() < 0.5:
        raise TableError(f"most of the {name} is missing in this file", field=name)
    if not good.all():
        notes.append(f"{int((~good).sum())} missing hours of {name} filled by straight lines")
        at = np.arange(found.size)
        found = np.interp(at, at[good], found[good])
    return np.asarray(found, dtype=np.float64)


def _tmy3_rain(depth: Floats, hours: Floats) -> Floats:
    """Hourly rain in the file's unit; sums over several hours spread over what they add."""
    rain = np.where((hours == 1) & (depth > 0), depth, 0.0)
    for span in (3, 6, 12, 24):
        for row in np.flatnonzero((hours == span) & (depth > 0)):
            first = max(0, int(row) + 1 - span)
            more = depth[row] - rain[first : row + 1].sum()
            if more > 0:
                rain[first : row + 1] += more / (row + 1 - first)
    return np.asarray(rain, dtype=np.float64)


def read_climate(path: Path) -> Climate:
    """A climate described in a TOML file with the keys of `Climate`.

    Raises `TableError` for text that is no TOML, unknown or missing keys; `InputError` and
    `QuantityError` for values that cannot be.
    """
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise TableError(f"it cannot be read ({error})", where=path.name) from None
    known = {f.name for f in fields(Climate)}
    missing = {"mean_c", "range_c", "rain_mm", "latitude_deg"} - found.keys()
    if missing or found.keys() - known:
        wrong = sorted(missing or found.keys() - known)
        raise TableError(
            "a needed key is missing" if missing else "no such key is known", where=path.name,
            field=wrong[0], way_out="Keys: " + ", ".join(f.name for f in fields(Climate)),
        )  # fmt: skip
    for key, entry in found.items():
        numbers = entry if isinstance(entry, list) else [entry]
        fine = all(isinstance(n, (int, float)) and not isinstance(n, bool) for n in numbers)
        listed = key in ("mean_c", "range_c", "rain_mm", "wet_days", "relative_humidity",
                         "wind_m_s")  # fmt: skip
        if not fine or listed != isinstance(entry, list):
            raise TableError(
                "twelve numbers were expected" if listed else "a number was expected",
                where=path.name, field=key, value=entry,
            )  # fmt: skip
    plain: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in found.items()}
    try:
        return Climate(**plain)
    except HeapwrightError as error:
        raise error.at(path.name) from None
