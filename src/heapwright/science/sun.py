"""Sunrise, solar noon and sunset on a local date.

Units: degrees north and east; times are aware datetimes in the zone asked for.
Conventions: the day is the LOCAL calendar date. The library below works by UTC date, and west of
Greenwich the sunset it gives for a date can be the evening before's clock time, by its version even
under the next day's date (Golden, Colorado: 17:20:19 for 17:18:51.7). So the UTC dates before, on
and after are asked, every answer is tried on the days around it, and the one on the local date at
which the sun does stand at the horizon is kept. Where the sun does not rise or set that day the
answer is None. Accuracy: within 1 s of the printed NREL rows.
"""

from __future__ import annotations

import datetime as dt
import importlib
from dataclasses import dataclass
from typing import Any

from heapwright.units import quantity

__all__ = ["SunDay", "sun_day"]


@dataclass(frozen=True, slots=True)
class SunDay:
    """The sun on one local date; None for what does not happen that day.

    up : "rises", "always up", "always down" or "partly" (only one of rise and set on this date).
    """

    day: dt.date
    sunrise: dt.datetime | None
    noon: dt.datetime | None
    sunset: dt.datetime | None
    up: str


def sun_day(
    day: dt.date, *, latitude_deg: float, longitude_deg: float, zone: dt.tzinfo = dt.UTC
) -> SunDay:
    """Sunrise, noon and sunset on the local date *day*.

    latitude_deg : -90 to 90, north positive; longitude_deg : -180 to 180, east positive;
    zone : the clock the yard goes by. Raises `QuantityError` for a place off the globe.
    Source: Solar Position Algorithm, Reda and Andreas 2004, through pvlib; horizon at -0.8333
    degrees (refraction and half the sun's disc).

    Examples
    --------
    >>> day = sun_day(dt.date(2015, 12, 25), latitude_deg=51.507, longitude_deg=-0.128)
    >>> day.sunrise.strftime("%H:%M"), day.sunset.strftime("%H:%M")
    ('08:05', '15:55')
    """
    quantity("latitude_deg").check(latitude_deg)
    quantity("longitude_deg").check(longitude_deg)
    from pvlib import solarposition

    pd: Any = importlib.import_module("pandas")

    start = pd.Timestamp(day, tz="UTC")
    days = pd.DatetimeIndex([start + pd.Timedelta(days=k) for k in (-1, 0, 1)])
    table = solarposition.sun_rise_set_transit_spa(
        days, latitude_deg, longitude_deg, delta_t=_DELTA_T_S
    )

    def heights(moments: list[dt.datetime]) -> list[float]:
        index = pd.DatetimeIndex([m.astimezone(dt.UTC) for m in moments])
        found = solarposition.get_solarposition(index, latitude_deg, longitude_deg)
        return [float(h) for h in found["elevation"]]

    def on_the_day(column: str) -> list[dt.datetime]:
        stamps = [s for s in table[column] if not pd.isna(s)]
        moved = (s + pd.Timedelta(days=k) for s in stamps for k in (-1, 0, 1))
        local = (s.to_pydatetime(warn=False).astimezone(zone) for s in moved)
        return sorted({m for m in local if m.date() == day})

    def crossing(column: str) -> dt.datetime | None:
        candidates = on_the_day(column)
        if not candidates:
            return None
        off = [abs(h - _HORIZON_DEG) for h in heights(candidates)]
        best = min(range(len(off)), key=off.__getitem__)
        return candidates[best] if off[best] <= _NEAR_ENOUGH_DEG else None

    sunrise, sunset = crossing("sunrise"), crossing("sunset")
    noons = on_the_day("transit")
    noon = noons[len(noons) // 2] if noons else None
    if sunrise and sunset:
        up = "rises"
    elif sunrise or sunset:
        up = "partly"
    else:
        middle = noon or dt.datetime.combine(day, dt.time(12), tzinfo=zone)
        up = "always up" if heights([middle])[0] > _HORIZON_DEG else "always down"
    return SunDay(day=day, sunrise=sunrise, noon=noon, sunset=sunset, up=up)


#: Height of the sun's centre at sunrise [degrees].
_HORIZON_DEG = -0.8333
#: A sunset of the neighbouring day stands up to 0.3 degrees off; the right one within 0.003.
_NEAR_ENOUGH_DEG = 0.02
#: Terrestrial less universal time [s], near 67 s this century; 60 s more shift a sunset by 0.1 s.
_DELTA_T_S = 67.0
