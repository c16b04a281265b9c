"""INVENTED readings and work for the Ferncombe trial: there is no Ferncombe orchard.

Units: degrees C, litres, minutes, days. Nothing here was measured: curves, spreads and the spring
air were made up to look like a trial (common practice, no source), so that the demo and the tests
have something to show. Everything that uses them marks the trial as invented.
Conventions: the same trial and seed give the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import numpy as np

from heapwright.domain.trial import Trial
from heapwright.domain.when import local_zone

__all__ = ["BUILT_AT", "Work", "air_c", "build_time", "excess_c", "rounds", "work"]

#: Clock times of the invented yard.
BUILT_AT, READ_AT, WORK_AT = time(10, 0), time(6, 30), time(9, 0)
_HEAP_SD, _SPOT_SD, _NOISE_SD = 4.0, 1.5, 2.0
_TYPICAL = 22.7
_VENTED = 0.66
_DIP, _BACK_D = 0.7, 0.6


@dataclass(frozen=True, slots=True)
class Work:
    """One thing done to one invented heap; litres and minutes or None."""

    when: datetime
    heap: str
    what: str
    water_l: float | None = None
    minutes: float | None = None
    who: str = ""


def build_time(trial: Trial) -> datetime:
    """When all heaps of the invented trial were built, in UTC."""
    assert trial.starts is not None
    return _at(trial, 0, BUILT_AT)


def _at(trial: Trial, day: int, clock: time) -> datetime:
    assert trial.starts is not None
    zone = local_zone(trial.place.time_zone)
    return datetime.combine(trial.starts + timedelta(days=day), clock, zone).astimezone(UTC)


def excess_c(age_d: float) -> float:
    """Invented degrees above air of a heap left alone: 42 (1 - exp(-t/2)) exp(-t/45).

    >>> round(excess_c(0)), round(excess_c(6)), round(excess_c(60))
    (0, 35, 11)
    """
    t = max(age_d, 0.0)
    return 42 * (1 - math.exp(-t / 2)) * math.exp(-t / 45)


def air_c(day: float, rng: np.random.Generator) -> float:
    """Invented dawn air of an English spring, warming from April to June; 8 to 18 C."""
    return float(np.clip(9.5 + 0.08 * day + rng.normal(0, 1.6), 8, 18))


def rounds(
    trial: Trial,
    *,
    seed: int,
    days: int = 60,
    turns: Mapping[str, tuple[float, ...]] | None = None,
) -> list[tuple[datetime, dict[str, list[float]], float]]:
    """Every invented round: when, temperatures of every heap in the order of the spots, air.

    trial : with lots drawn, a start and spots; seed : of all chance in it; days : how long it
    ran; turns : ages [d] at which a heap was really turned, where that was not as planned. A
    turned heap dips at a turn and is back within two days; a vented heap runs 6 to 9 C cooler than
    one left alone; heaps treated alike differ with a standard deviation of 4 C.
    """
    rng = np.random.default_rng(seed)
    spots = trial.spots
    deviation = {h.name: rng.normal(0, _HEAP_SD) for h in trial.heaps}
    offset = {h.name: rng.normal(0, _SPOT_SD, len(spots)) for h in trial.heaps}
    first, step = int(trial.rounds.first_after_d), int(trial.rounds.every_d)
    made = []
    for day in range(first, days, step):
        when = _at(trial, day, READ_AT)
        age = (when - build_time(trial)).total_seconds() / 86400
        air = round(air_c(day, rng), 0)
        temps = {}
        for heap in trial.heaps:
            ages = (turns or {}).get(heap.name)
            above = _above(trial, heap.way, age, ages) * (1 + deviation[heap.name] / _TYPICAL)
            noise = rng.normal(0, _NOISE_SD, len(spots))
            temps[heap.name] = [
                float(round(air + above + offset[heap.name][k] + noise[k], 0))
                for k in range(len(spots))
            ]
        made.append((when, temps, air))
    return made


def _above(trial: Trial, way: str | None, age: float, turns: tuple[float, ...] | None) -> float:
    above = excess_c(age)
    if way is None:
        return above
    treatment = trial.way(way)
    if treatment.kind == "vented":
        above *= _VENTED
    planned = treatment.turn_ages_d(age) if turns is None else turns
    for turn in (t for t in planned if t <= age):
        above *= 1 - _DIP * math.exp(-(age - turn) / _BACK_D)
    return above


def work(trial: Trial, *, seed: int, days: int = 60) -> list[Work]:
    """What was done to the invented heaps: built, wetted, turned and watered as planned.

    Every heap gets the same water, within what a hose and a clock allow.
    """
    rng = np.random.default_rng(seed + 1)
    done: list[Work] = []
    readers = ("Ada", "Bram")
    for heap in trial.heaps:
        minutes = float(rng.integers(50, 66))
        done.append(Work(build_time(trial), heap.name, "built", None, minutes, "both"))
        done.append(Work(build_time(trial), heap.name, "watered", 120.0, 8.0, "both"))
    for day in range(1, days):
        when = _at(trial, day, WORK_AT)
        for heap in trial.heaps:
            turns = trial.way(heap.way).turn_ages_d(days) if heap.way else ()
            if day in turns:
                minutes = float(rng.integers(24, 36))
                done.append(Work(when, heap.name, "turned", None, minutes, readers[day % 2]))
        every = trial.water.every_d
        if every and day % int(every) == 0:
            litres = float(rng.integers(3, 6) * 5)
            done += [
                Work(when + timedelta(minutes=40), h.name, "watered", litres, 3.0, readers[0])
                for h in trial.heaps
            ]
    return done
