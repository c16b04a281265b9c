"""Weather over a trial as one series in equal steps, with what each part of it comes from.

Units: hours since the start, degrees C, relative humidity 0 to 1, wind at 10 m [m/s], rain [mm a
step], sun on level ground [W/m2], pressure [Pa]; times are aware datetimes in UTC.
Conventions: entry k holds the mean (rain: the sum) of the time from k to k + 1 steps. Between the
middles of steps `WeatherSeries.at` draws straight lines; rain stays constant within a step.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from heapwright.errors import InputError, NotEnoughError
from heapwright.science.air import saturation_pressure
from heapwright.units import quantity

__all__ = ["FIELDS", "Overridden", "WeatherAt", "WeatherSeries"]

Floats = NDArray[np.float64]

#: Fields of a series and the lowest and highest value each may hold; None: the register's range.
FIELDS: Mapping[str, tuple[float, float] | None] = {
    "air_temp_c": None,
    "relative_humidity": None,
    "wind_m_s": None,
    "rain_mm": None,
    "sun_w_m2": (0.0, 1500.0),
    "sky_temp_c": (-110.0, 60.0),
    "pressure_pa": None,
}
_CONTINUOUS = tuple(k for k in FIELDS if k != "rain_mm")
#: Readings of the air at most this far apart are joined by straight lines [h].
_CLOSE_H = 3.0
#: Between readings further apart the series keeps its course and is only shifted, up to this [h].
_APART_H = 120.0
#: Beyond the first and last reading (and in longer gaps) the shift fades over this time [h].
_FADE_H = 24.0


@dataclass(frozen=True, slots=True)
class WeatherAt:
    """The weather at one moment.

    rain_mm_h : rate of rain; vapour_pa : pressure of the vapour in the air; the rest as in
    `WeatherSeries`.
    """

    air_temp_c: float
    relative_humidity: float
    wind_m_s: float
    rain_mm_h: float
    sun_w_m2: float
    sky_temp_c: float
    pressure_pa: float
    vapour_pa: float


@dataclass(frozen=True, slots=True)
class Overridden:
    """A stretch whose air temperature comes from readings.

    how : ``read`` (readings close together, joined by straight lines) or ``shifted`` (the course of
    the series, moved to go through the readings); readings : how many.
    """

    start: datetime
    end: datetime
    how: str
    readings: int


@dataclass(frozen=True, slots=True, eq=False)
class WeatherSeries:
    """Weather in equal steps, checked and read-only.

    Parameters
    ----------
    start : datetime
        Aware; kept in UTC.
    air_temp_c, relative_humidity, wind_m_s, rain_mm, sun_w_m2, sky_temp_c, pressure_pa : array (n,)
        Units and meaning as at the top; sky_temp_c is that of a black sky.
    step_s : float
        Length of a step [s], 60 to 86400.
    latitude_deg, longitude_deg : float or None
        Where; without both the sun has no direction.
    source : tuple of str
        What it comes from and what was filled in, in plain sentences.
    typical : bool
        A made or composed year of 365 days from 1 January (local winter time) that stands for any
        year; see `covering`.
    overridden : tuple of Overridden
        Stretches that follow readings of the air.

    Raises
    ------
    InputError, QuantityError
        A naive start, lengths that differ, no steps, gaps, or a value out of its range; the message
        names field, place and value.

    Examples
    --------
    >>> day = WeatherSeries.steady(datetime(2026, 5, 3, tzinfo=UTC), hours=24, air_temp_c=12.0)
    >>> day.at(6.5).air_temp_c, day.hours
    (12.0, 24.0)
    """

    start: datetime
    air_temp_c: Floats
    relative_humidity: Floats
    wind_m_s: Floats
    rain_mm: Floats
    sun_w_m2: Floats
    sky_temp_c: Floats
    pressure_pa: Floats
    step_s: float = 3600.0
    latitude_deg: float | None = None
    longitude_deg: float | None = None
    source: tuple[str, ...] = ()
    typical: bool = False
    overridden: tuple[Overridden, ...] = field(default=())

    def __post_init__(self) -> None:
        if self.start.tzinfo is None:
            raise InputError("a time without zone cannot be kept", field="start of the weather")
        object.__setattr__(self, "start", self.start.astimezone(UTC))
        if not 60 <= self.step_s <= 86400:
            raise InputError(
                "a step lasts a minute to a day", field="step_s", value=f"{self.step_s:g}"
            )
        count = np.size(self.air_temp_c)
        for name, limits in FIELDS.items():
            column = np.array(getattr(self, name), dtype=np.float64)
            if column.shape != (count,) or count == 0:
                raise InputError(
                    "every part of the weather needs one value a step, and one step at least",
                    field=name,
                    value=f"{column.shape} where the air has {count}",
                )
            _check(name, column, limits, self.start, self.step_s)
            column.flags.writeable = False
            object.__setattr__(self, name, column)
        for name in ("latitude_deg", "longitude_deg"):
            where = getattr(self, name)
            if where is not None:
                quantity(name).check(where)
        if self.typical and abs(self.hours - 8760) > 1e-6:
            raise InputError(
                "a typical year has 365 days", field="weather", value=f"{self.hours:g} hours"
            )

    @classmethod
    def steady(
        cls,
        start: datetime,
        *,
        hours: float,
        air_temp_c: float,
        relative_humidity: float = 0.75,
        wind_m_s: float = 0.0,
        rain_mm_h: float = 0.0,
        sun_w_m2: float = 0.0,
        sky_temp_c: float | None = None,
        pressure_pa: float = 101325.0,
    ) -> WeatherSeries:
        """The same weather all the time, hourly; without a sky temperature that of the air."""
        n = max(1, round(hours))
        sky = air_temp_c if sky_temp_c is None else sky_temp_c
        return cls(
            start=start,
            air_temp_c=np.full(n, air_temp_c),
            relative_humidity=np.full(n, relative_humidity),
            wind_m_s=np.full(n, wind_m_s),
            rain_mm=np.full(n, rain_mm_h),
            sun_w_m2=np.full(n, sun_w_m2),
            sky_temp_c=np.full(n, sky),
            pressure_pa=np.full(n, pressure_pa),
            source=("steady weather, set by hand",),
        )

    # -- looking ----------------------------------------------------------------------------------

    @property
    def count(self) -> int:
        """Number of steps."""
        return int(self.air_temp_c.size)

    @property
    def hours(self) -> float:
        """Length [h]."""
        return self.count * self.step_s / 3600

    @property
    def end(self) -> datetime:
        """End of the last step."""
        return self.start + timedelta(seconds=self.count * self.step_s)

    @property
    def middles_h(self) -> Floats:
        """Middles of the steps [h since the start]."""
        return np.asarray((np.arange(self.count) + 0.5) * (self.step_s / 3600), dtype=np.float64)

    @property
    def vapour_pa(self) -> Floats:
        """Vapour pressure in every step [Pa]."""
        return np.asarray(self.relative_humidity * saturation_pressure(self.air_temp_c))

    def at(self, hours: float) -> WeatherAt:
        """The weather *hours* after the start.

        Raises `NotEnoughError` outside the series.
        """
        if not 0 <= hours <= self.hours:
            raise NotEnoughError(
                f"the weather runs from {self.start:%Y-%m-%d %H:%M} to {self.end:%Y-%m-%d %H:%M} "
                f"UTC, and the time {hours:g} hours after its start is asked for",
                field="weather",
                way_out="Give a longer record, or let it be extended with its last days",
            )
        step_h = self.step_s / 3600
        x = min(max(hours / step_h - 0.5, 0.0), self.count - 1.0)
        k = min(int(x), max(self.count - 2, 0))
        share = x - k
        nxt = min(k + 1, self.count - 1)
        got = {
            name: float((1 - share) * getattr(self, name)[k] + share * getattr(self, name)[nxt])
            for name in _CONTINUOUS
        }
        rain = self.rain_mm[min(int(hours / step_h), self.count - 1)] / step_h
        vapour = got["relative_humidity"] * float(saturation_pressure(got["air_temp_c"]))
        return WeatherAt(rain_mm_h=float(rain), vapour_pa=vapour, **got)

    # -- cutting and joining ----------------------------------------------------------------------

    def day_before(self, hours: ArrayLike) -> Floats:
        """Mean air temperature [degrees C] of the 24 hours before each of *hours* (n,); what lies
        outside the series counts as its ends.

        >>> start = datetime(2026, 5, 3, tzinfo=UTC)
        >>> WeatherSeries.steady(start, hours=48, air_temp_c=12.0).day_before([30.0]).tolist()
        [12.0]
        """
        each = np.asarray(hours, dtype=np.float64)[:, None] - np.linspace(0.0, 24.0, 25)
        inside = np.clip(each, 0.0, self.hours)
        return np.asarray(np.interp(inside, self.middles_h, self.air_temp_c).mean(axis=1))

    def slice(self, start: datetime, end: datetime) -> WeatherSeries:
        """The whole steps that cover *start* to *end* (aware).

        Raises `NotEnoughError` when the series does not cover them, `InputError` when start >= end.
        """
        if start >= end:
            raise InputError("the start must come before the end", field="weather", value=start)
        first = int((start - self.start).total_seconds() // self.step_s)
        last = int(-((self.start - end).total_seconds() // self.step_s))
        if first < 0 or last > self.count:
            raise NotEnoughError(
                f"the weather runs from {self.start:%Y-%m-%d %H:%M} to {self.end:%Y-%m-%d %H:%M} "
                f"UTC, and {start:%Y-%m-%d} to {end:%Y-%m-%d} is asked for",
                field="weather",
                way_out="Give a longer record, or let it be extended with its last days",
            )
        return self._taken(np.arange(first, last), start=self._moment(first))

    def extend(self, until: datetime, *, days: int = 7) -> WeatherSeries:
        """The same, and after its end its last whole *days* over and over up to *until* (aware).

        Says so in ``source``. Raises `InputError` for days < 1; a record shorter than that is
        repeated as a whole, in whole days if it has any.
        """
        if days < 1:
            raise InputError("at least one day is repeated", field="days", value=days)
        missing = int(-((self.end - until).total_seconds() // self.step_s))
        if missing <= 0:
            return self
        a_day = max(1, round(86400 / self.step_s))
        block = min(days * a_day, self.count)
        block = block - block % a_day if block >= a_day else block
        tail = self.count - block + np.arange(missing) % block
        said = (
            f"from {self.end:%Y-%m-%d} on the {block * self.step_s / 86400:g} days before are "
            "repeated"
        )
        made = self._taken(np.concatenate([np.arange(self.count), tail]), start=self.start)
        return replace(made, source=(*self.source, said), typical=False, overridden=self.overridden)

    def covering(self, start: datetime, end: datetime) -> WeatherSeries:
        """Weather from *start* to *end* (aware): cut out, or from a typical year by the calendar.

        A typical year is laid over any years; 29 February repeats the 28th. Raises as `slice`.
        """
        if not self.typical:
            return self.slice(start, end)
        if start >= end:
            raise InputError("the start must come before the end", field="weather", value=start)
        year = self.start + timedelta(days=180)
        shift = datetime(year.year, 1, 1, tzinfo=UTC) - self.start
        local = (start.astimezone(UTC) + shift).replace(minute=0, second=0, microsecond=0)
        hours = int(-((local - (end.astimezone(UTC) + shift)).total_seconds() // 3600))
        per_hour = 3600 / self.step_s
        rows = []
        for n in range(round(hours * per_hour)):
            moment = local + timedelta(seconds=n * self.step_s)
            rows.append(_row_of(moment, self.step_s))
        made = self._taken(np.array(rows, dtype=np.int64), start=local - shift, typical=False)
        return replace(made, source=(*self.source, "a typical year laid over these dates"))

    def _moment(self, step: int) -> datetime:
        return self.start + timedelta(seconds=step * self.step_s)

    def _taken(
        self, rows: NDArray[np.int64], *, start: datetime, typical: bool = False
    ) -> WeatherSeries:
        """The steps *rows* in that order; stretches that follow readings are cut to fit."""
        columns: dict[str, Any] = {name: getattr(self, name)[rows] for name in FIELDS}
        end = start + timedelta(seconds=rows.size * self.step_s)
        kept = tuple(
            replace(o, start=max(o.start, start), end=min(o.end, end))
            for o in self.overridden
            if o.start < end and o.end > start
        )
        return replace(self, start=start, typical=typical, overridden=kept, **columns)

    # -- readings of the air ----------------------------------------------------------------------

    def with_air(self, when: Sequence[datetime], temp_c: ArrayLike) -> WeatherSeries:
        """The same with its air temperature led through readings; the vapour pressure stays.

        Readings at most 3 hours apart are joined by straight lines. Between readings up to 5 days
        apart the series keeps its course (a dawn reading says little about the afternoon) and is
        shifted to go through them; before the first, after the last and in longer gaps the shift
        fades over a day. Readings outside the series are left out.

        when : aware datetimes; temp_c : [degrees C], same length. Raises `InputError` if not.
        """
        temps = np.atleast_1d(np.asarray(temp_c, dtype=np.float64))
        if temps.shape != (len(when),):
            raise InputError("every air reading needs one time", field="air_temp_c")
        for reading in temps:
            quantity("air_temp_c").check(float(reading))
        hours = np.array([(w - self.start).total_seconds() / 3600 for w in when])
        inside = (hours >= 0) & (hours <= self.hours)
        if not inside.any():
            return self
        moments, which = np.unique(hours[inside], return_inverse=True)
        read = np.bincount(which, temps[inside]) / np.bincount(which)
        middles = self.middles_h
        off = read - np.interp(moments, middles, self.air_temp_c)
        air = self.air_temp_c + _shift(middles, moments, off)
        close = _close(middles, moments)
        air[close] = np.interp(middles[close], moments, read)
        air = np.clip(air, quantity("air_temp_c").low, quantity("air_temp_c").high)
        humid = np.clip(self.vapour_pa / saturation_pressure(air), 0.0, 1.0)
        sky = np.clip(self.sky_temp_c + (air - self.air_temp_c), -110.0, 60.0)
        stretches = tuple(
            Overridden(self._hour(a), self._hour(b), how, n) for a, b, how, n in _runs(moments)
        )
        return replace(
            self,
            air_temp_c=air,
            relative_humidity=humid,
            sky_temp_c=sky,
            overridden=(*self.overridden, *stretches),
            source=(*self.source, f"air temperature led through {moments.size} readings"),
            typical=False,
        )

    def _hour(self, hours: float) -> datetime:
        return self.start + timedelta(hours=hours)


def _check(
    name: str,
    column: Floats,
    limits: tuple[float, float] | None,
    start: datetime,
    step_s: float,
) -> None:
    """Raise for the first value that cannot be."""
    low, high = limits or (quantity(name).low, quantity(name).high)
    bad = ~((column >= low) & (column <= high))
    if not bad.any():
        return
    k = int(np.flatnonzero(bad)[0])
    moment = f"{start + timedelta(seconds=k * step_s):%Y-%m-%d %H:%M} UTC"
    if limits is None:
        try:
            quantity(name).check(float(column[k]))
        except Exception as error:
            raise error.at(moment) from None  # type: ignore[attr-defined]
    raise InputError(
        f"this part of the weather must lie within {low:g} to {high:g}",
        field=name, value=f"{column[k]:g}", where=moment, way_out="Check the number and its unit",
    )  # fmt: skip


def _row_of(moment: datetime, step_s: float) -> int:
    """Row of a 365-day year for a moment of any year."""
    day = 28 if (moment.month, moment.day) == (2, 29) else moment.day
    plain = datetime(2023, moment.month, day, moment.hour, moment.minute, moment.second)
    return int((plain - datetime(2023, 1, 1)).total_seconds() // step_s)


def _shift(at: Floats, moments: Floats, off: Floats) -> Floats:
    """The shift at every time: straight lines between readings, fading where none is near."""
    line = np.interp(at, moments, off)
    after = np.searchsorted(moments, at)
    before = np.clip(after - 1, 0, moments.size - 1)
    after = np.clip(after, 0, moments.size - 1)
    since, until = np.abs(at - moments[before]), np.abs(moments[after] - at)
    lone = (before == after) | (since + until > _APART_H)
    fade = np.maximum(1 - since / _FADE_H, 0.0) * off[before]
    fade_on = np.maximum(1 - until / _FADE_H, 0.0) * off[after]
    faded = np.where(before == after, fade, fade + fade_on)
    return np.asarray(np.where(lone, faded, line), dtype=np.float64)


def _close(at: Floats, moments: Floats) -> NDArray[np.bool_]:
    """Which times lie between two readings close together."""
    after = np.searchsorted(moments, at)
    within = (after > 0) & (after < moments.size)
    before = np.clip(after - 1, 0, moments.size - 1)
    gap = moments[np.clip(after, 0, moments.size - 1)] - moments[before]
    return np.asarray(within & (gap <= _CLOSE_H), dtype=bool)


def _runs(moments: Floats) -> list[tuple[float, float, str, int]]:
    """Stretches (from, to, how, readings) that follow readings of the air."""
    out: list[tuple[float, float, str, int]] = []
    for k in range(moments.size):
        gap = moments[k] - moments[k - 1] if k else np.inf
        how = "read" if gap <= _CLOSE_H else "shifted" if gap <= _APART_H else ""
        if how and out and out[-1][1] == moments[k - 1] and out[-1][2] in (how, "lone"):
            first, _, _, n = out[-1]
            out[-1] = (first, float(moments[k]), how, n + 1)
        elif how:
            out.append((float(moments[k - 1]), float(moments[k]), how, 2))
        else:
            out.append((float(moments[k]), float(moments[k]), "lone", 1))
    return [(a, b, "shifted" if how == "lone" else how, n) for a, b, how, n in out]
