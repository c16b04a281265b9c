"""The weather over the life of a heap: from a file, else from the air that was read, else none.

Units: those of `heapwright.domain.weather`. Conventions: readings of the air in the book are laid
over any file; where there is no file they carry the air, and after the last of them the air goes on
like the last week. What was done stands in ``source`` of the series.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from heapwright.domain.trial import Place
from heapwright.domain.weather import FIELDS, WeatherSeries
from heapwright.errors import NotEnoughError
from heapwright.services.weather import like_last_week, read_weather

__all__ = ["weather_for", "weather_over"]

_WEEK = timedelta(days=7)
_HOUR = timedelta(hours=1)

Readings = Sequence[tuple[datetime, float]]


def weather_for(
    start: datetime,
    end: datetime,
    *,
    path: Path | None,
    answers: Mapping[str, str],
    place: Place,
    readings: Readings = (),
    seed: int = 1,
) -> WeatherSeries:
    """Hourly weather from the hour of *start* to after *end* (aware).

    path : a weather file, see `heapwright.services.weather.read_weather`; readings : of the air,
    aware times and [degrees C].

    Raises
    ------
    NotEnoughError
        No file and no reading, or a file that begins after the start; says what to give.
    QuestionError, TableError, InputError
        As `read_weather`.
    """
    first = start.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    last = end.astimezone(UTC) + 2 * _HOUR
    if path is not None:
        series = read_weather(path, answers=answers, place=place, seed=seed)
        return weather_over(series, first, last, readings)
    if not readings:
        raise NotEnoughError(
            "there is neither weather nor a reading of the air for these days",
            field="weather",
            way_out="Give --weather FILE: an hourly or daily sheet, a TMY3 or EPW file, or a "
            "climate described in a few lines of TOML (docs/how-to/give-the-weather.md). Or read "
            "the air once and log it: heapwright log air 12",
        )
    return _from_readings(sorted(readings), first, last, place)


def weather_over(
    series: WeatherSeries, first: datetime, last: datetime, readings: Readings = ()
) -> WeatherSeries:
    """*series* cut to these hours, gone on like its last week where it ends too soon, and led
    through the readings; raises `NotEnoughError` when it begins after *first*."""
    if not series.typical and series.start <= first and series.end < last:
        if series.end <= first:
            raise NotEnoughError(
                f"the weather ends on {series.end:%Y-%m-%d}, before the heap is built on "
                f"{first:%Y-%m-%d}",
                field="weather",
                way_out="Give the weather of those days, or a typical year or described climate",
            )
        series = series.extend(last)
    made = series.covering(first, last)
    if readings:
        made = made.with_air([t for t, _ in readings], [c for _, c in readings])
    return made


def _from_readings(
    readings: Readings, first: datetime, last: datetime, place: Place
) -> WeatherSeries:
    """The week of the first readings, led through all of them; after them like the last week."""
    seen = readings[-1][0].astimezone(UTC).replace(minute=0, second=0, microsecond=0) + _HOUR
    after = like_last_week(readings, until=max(last, seen), place=place)
    if first >= after.start:
        return after.slice(first, last)
    early = [r for r in readings if r[0] <= readings[0][0] + _WEEK - timedelta(days=1)]
    base = like_last_week(early, until=early[-1][0] + _HOUR, place=place)
    weeks = max(0, -int((first - base.start) // _WEEK))
    base = replace(base, start=base.start - weeks * _WEEK, overridden=())
    turn = min(seen, last)
    before = base.extend(turn).slice(first, turn)
    before = before.with_air([t for t, _ in readings], [c for _, c in readings])
    if turn >= last:
        return before
    return _joined(before, after.slice(turn, last))


def _joined(before: WeatherSeries, after: WeatherSeries) -> WeatherSeries:
    columns: dict[str, Any] = {
        k: np.concatenate([getattr(before, k), getattr(after, k)]) for k in FIELDS
    }
    said = tuple(dict.fromkeys((*before.source, *after.source)))
    return replace(
        before, source=said, overridden=(*before.overridden, *after.overridden), **columns
    )
