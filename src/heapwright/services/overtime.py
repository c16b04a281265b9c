"""Degrees above air over heap age: when ways differed, and a second opinion from all readings.

Units: degrees C above air, heap ages [d]. Conventions: only for mean degrees above air and only
with two heaps of every way; nothing here ever changes the claim.
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping

from heapwright.errors import HeapwrightError
from heapwright.services.heapvalues import excess_of
from heapwright.services.record import HeapRecord, TrialRecord
from heapwright.stats.air import trailing_air
from heapwright.stats.band import Band, time_bands
from heapwright.stats.contrast import Interval
from heapwright.stats.mixed import HeapReadings, opinions
from heapwright.stats.prior import SpreadPrior, air_memory_d
from heapwright.stats.series import excess_series

__all__ = ["bands_of", "second_opinions"]

ByWay = Mapping[str, Mapping[str, float]]


def bands_of(
    record: TrialRecord, by_way: ByWay, *, ended: bool, prior: SpreadPrior
) -> tuple[Band, ...]:
    """Every way against the control over heap age; empty where a way has a single heap."""
    locked = record.plan.locked
    if locked.control is None or min(map(len, by_way.values())) < 2:
        return ()
    with contextlib.suppress(HeapwrightError):
        heaps = {
            way: {name: excess_of(record, record.heaps[name]) for name in names}
            for way, names in by_way.items()
        }
        return tuple(
            time_bands(heaps, locked.control, ended=ended, end_date=locked.ends, prior=prior)
        )
    return ()


def second_opinions(
    record: TrialRecord, by_way: ByWay, window: tuple[float, float]
) -> dict[str, Interval]:
    """The mixed model's interval of each way against the control; left out where it has none."""
    control = record.plan.locked.control
    if control is None or min(map(len, by_way.values())) < 2:
        return {}
    with contextlib.suppress(HeapwrightError):
        heaps = [
            _readings(record, record.heaps[name], way, window)
            for way, names in by_way.items()
            for name in names
        ]
        others = [way for way in by_way if way != control]
        made = opinions(heaps, others, control, window)
        return {way: opinion.interval for way, opinion in made.items()}
    return {}


def _readings(
    record: TrialRecord, heap: HeapRecord, way: str, window: tuple[float, float]
) -> HeapReadings:
    """Every reading of a heap around the window, above the air averaged back."""
    air = record.air_for(heap)
    rounds = excess_series(heap.series(), air, window=window).age_d
    spots, ages, temps = [], [], []
    for spot, (age, temp) in heap.series().spots.items():
        near = (age >= rounds[0] - 0.5) & (age <= rounds[-1] + 0.5)
        spots += [spot] * int(near.sum())
        ages += age[near].tolist()
        temps += temp[near].tolist()
    back, _ = trailing_air(ages, air, heap=heap.name, memory_d=air_memory_d())
    above = [t - a for t, a in zip(temps, back, strict=True)]
    return HeapReadings.of(heap.name, way, spots, ages, above)
