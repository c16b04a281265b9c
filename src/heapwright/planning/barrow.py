"""What a barrow holds: from buckets counted, and how many loads a volume is.

Units: litres for containers, m3 for loads.
Conventions: the mean load and one load are told apart. The mean, with its own range, is what a mix
needs; the spread of single loads is what a fair dealing of loads needs.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from heapwright.errors import InputError, QuantityError
from heapwright.science.values import value
from heapwright.units import Ranged, quantity

__all__ = ["BarrowSize", "by_buckets", "by_total", "by_weight", "guessed_barrow", "loads_for"]

_TEN = 10


@dataclass(frozen=True, slots=True)
class BarrowSize:
    """A barrow measured.

    mean_m3 : the average load, 90 % range; one_m3 : a single load, 90 % range; cv : spread of
    single loads over their mean; loads : how many were counted; cv_measured : False when the
    spread is assumed; note.
    """

    mean_m3: Ranged
    one_m3: Ranged
    cv: float
    loads: int
    cv_measured: bool
    note: str


def by_buckets(buckets: Sequence[float], *, container_l: float) -> BarrowSize:
    """A barrow from the bucketfuls in each of several loads.

    buckets : bucketfuls, one number a load; container_l : one bucket to its line. Raises
    `InputError` for no loads, `QuantityError` for a count that cannot be.

    >>> size = by_buckets([4.5, 5, 4.7, 4.8, 4.5], container_l=20)
    >>> round(size.mean_m3.typical, 3), round(size.cv, 2)
    (0.094, 0.05)
    """
    quantity("container_l").check(container_l, field="bucket")
    counts = [_count(b) for b in buckets]
    if not counts:
        raise InputError("no load counted", field="buckets", way_out="Count at least one load")
    if len(counts) == 1:
        return by_total(1, counts[0], container_l=container_l)
    mean = statistics.fmean(counts)
    cv = statistics.stdev(counts) / mean
    return _size(mean * container_l / 1000, cv, len(counts), measured=True)


def by_total(loads: int, buckets: float, *, container_l: float) -> BarrowSize:
    """A barrow from the bucketfuls in all of several loads together; the spread is assumed.

    >>> round(by_total(10, 47, container_l=20).mean_m3.typical, 3)
    0.094
    """
    quantity("container_l").check(container_l, field="bucket")
    if loads < 1:
        raise InputError("loads are counted from 1", field="loads", value=loads)
    mean = _count(buckets) / loads
    return _size(
        mean * container_l / 1000, value("mixing", "barrow_cv").value, loads, measured=False
    )


def by_weight(masses_kg: Sequence[float], *, bulk_density_kg_m3: Ranged) -> BarrowSize:
    """A barrow from the weights of several loads and the bulk density of what was in them."""
    if not masses_kg:
        raise InputError("no load weighed", field="masses", way_out="Weigh at least one load")
    for mass in masses_kg:
        quantity("mass_kg").check(mass)
    mean = statistics.fmean(masses_kg)
    several = len(masses_kg) > 1
    cv = statistics.stdev(masses_kg) / mean if several else value("mixing", "barrow_cv").value
    size = _size(mean / bulk_density_kg_m3.typical, cv, len(masses_kg), measured=several)
    wide = Ranged(
        size.mean_m3.typical,
        size.mean_m3.low * bulk_density_kg_m3.typical / bulk_density_kg_m3.high,
        size.mean_m3.high * bulk_density_kg_m3.typical / bulk_density_kg_m3.low,
    )
    return BarrowSize(wide, size.one_m3, size.cv, size.loads, size.cv_measured, size.note)


def guessed_barrow() -> Ranged:
    """One barrow load [m3] when nothing is said about the barrow: level to heaped, from memory."""
    return value("mixing", "barrow_unknown_l").ranged.scaled(0.001)


def loads_for(volume_m3: Ranged, barrow_m3: Ranged) -> Ranged:
    """How many barrow loads a volume is.

    >>> loads_for(Ranged.exact(0.9), Ranged(0.09, 0.085, 0.1)).typical
    10.0
    """
    quantity("volume_m3").check(volume_m3.typical)
    quantity("container_l").check(barrow_m3.low * 1000, field="barrow")
    return Ranged(
        volume_m3.typical / barrow_m3.typical,
        volume_m3.low / barrow_m3.high,
        volume_m3.high / barrow_m3.low,
    )


def _count(buckets: float) -> float:
    if math.isfinite(buckets) and 0 < buckets <= 1e5:
        return float(buckets)
    raise QuantityError("bucketfuls are counted above 0", field="buckets", value=f"{buckets:g}")


def _size(mean: float, cv: float, loads: int, *, measured: bool) -> BarrowSize:
    from scipy.special import stdtrit

    fill = value("mixing", "bucket_fill_cv").value
    t = float(stdtrit(loads - 1, 0.95)) if measured else 1.645
    half = math.hypot(t * cv / math.sqrt(loads), 1.645 * fill)
    single = t * cv
    note = (
        "" if measured else f"The spread of {100 * cv:.0f} % between loads is assumed, not counted."
    )
    if loads < _TEN:
        note = f"{note} Ten loads tell it better than {loads}.".strip()
    return BarrowSize(
        mean_m3=_around(mean, half),
        one_m3=_around(mean, math.hypot(single, half)),
        cv=cv,
        loads=loads,
        cv_measured=measured,
        note=note,
    )


def _around(mean: float, share: float) -> Ranged:
    return Ranged(mean, mean / (1 + share), mean * (1 + share))
