"""When two ways differed, as far as their band over heap age allows: spans of ages, and words.

Units: ages in days since the heap was built, differences in degrees C, way minus control.
Conventions: bands are those of `stats.band`; ends are rounded outwards; nothing is ever said to
be alike.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import sentence
from heapwright.stats import claims
from heapwright.stats.band import Band
from heapwright.stats.outcomes import outcome

__all__ = ["Span", "spans", "when_differed"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Span:
    """Ages at which a band excludes no difference: from_d, to_d [day]; warmer or else cooler."""

    from_d: float
    to_d: float
    warmer: bool


def spans(band: Band) -> tuple[Span, ...]:
    """The ages at which the band excludes no difference, in order; none before the end date.

    Ends are where the straight lines come back to the edge, not rounded.
    """
    if band.half_width_c is None:
        return ()
    found: list[Span] = []
    for sign in (1.0, -1.0):
        over = sign * band.difference_c - band.half_width_c
        out = np.flatnonzero(over > 0)
        for run in np.split(out, np.flatnonzero(np.diff(out) > 1) + 1):
            if run.size:
                first = _crossing(band.age_d, over, int(run[0]), -1)
                last = _crossing(band.age_d, over, int(run[-1]), 1)
                found.append(Span(first, last, sign > 0))
    return tuple(sorted(found, key=lambda span: span.from_d))


def when_differed(
    band: Band, *, labels: Mapping[str, str] | None = None, shown_in: str = "C"
) -> str:
    """When the two ways differed, said only as far as the band allows.

    Ends are rounded outwards to whole days, hence "about", but never beyond the ages read or over
    ages where it cannot be told. Nothing is ever said to be alike. labels : ways on screen;
    shown_in : C or F.

    >>> age, difference = np.array([3.0, 20, 40, 60]), np.array([0.0, 20, 0, 0])
    >>> band = Band("B", "A", ("b", "d"), ("a", "c"), age, difference, 10.0, 4.0, 12.0, 3.0, None,
    ...     1, ())
    >>> when_differed(band).split(";")[0]
    'B (b, d) ran warmer than A (a, c) between about day 11 and day 30'
    """
    if band.half_width_c is None:
        return f"{sentence(claims.so_far(str(band.end_date)))} {claims.TEMPERATURE_CAVEAT}"
    names = labels or {}
    way = f"{names.get(band.way, band.way)} ({', '.join(band.way_heaps)})"
    control = f"{names.get(band.control, band.control)} ({', '.join(band.control_heaps)})"
    found, low, high = spans(band), float(band.age_d[0]), float(band.age_d[-1])
    parts = [
        f"{'warmer' if span.warmer else 'cooler'} than {control} {_between(found, i, low, high)}"
        for i, span in enumerate(found)
    ]
    said = f"{way} ran {', and '.join(parts)}{_elsewhere(found, low, high)}"
    if not found:
        said = (
            f"at no age from day {low:.0f} to day {high:.0f} can it be told whether {way} ran "
            f"warmer or cooler than {control}"
        )
    together = "all ages together" if band.ways == 1 else "all ages and ways together"
    reach = outcome("mean_excess_c").amount(band.half_width_c, shown_in=shown_in)
    return (
        f"{sentence(said)} The 95 % band holds for {together} and reaches {reach} to either side. "
        f"{claims.TEMPERATURE_CAVEAT}"
    )


def _between(found: Sequence[Span], i: int, low: float, high: float) -> str:
    """The ages of one span in words; to a tenth of a day where rounding out would say too much."""
    span = found[i]
    starts, ends = span.from_d > low, span.to_d < high
    before = math.ceil(found[i - 1].to_d) if i else math.ceil(low) - 1
    after = math.floor(found[i + 1].from_d) if i + 1 < len(found) else math.floor(high) + 1
    first, last = math.floor(round(span.from_d, 6)), math.ceil(round(span.to_d, 6))
    start = str(first) if starts and first > before else _day(span.from_d)
    end = str(last) if ends and last < after else _day(span.to_d)
    if starts and ends:
        return f"between about day {start} and day {end}"
    if starts:
        return f"from about day {start} to day {end}, the last age read in every heap"
    if ends:
        return f"from day {start}, the first age read in every heap, to about day {end}"
    return f"at every age from day {start} to day {end}"


def _elsewhere(found: Sequence[Span], low: float, high: float) -> str:
    """What cannot be told, for the ages outside the spans."""
    if not found or (found[0].from_d <= low and found[-1].to_d >= high and len(found) == 1):
        return ""
    if len(found) > 1:
        return "; at other ages it cannot be told"
    before, after = found[0].from_d > low, found[0].to_d < high
    where = "before and after it" if before and after else f"{'before' if before else 'after'} that"
    return f"; {where} it cannot be told" if where.endswith("that") else f"; {where} cannot be told"


def _day(age: float) -> str:
    return f"{age:.1f}".removesuffix(".0")


def _crossing(age: Floats, over: Floats, i: int, step: int) -> float:
    """Where the straight line from age *i* on, towards *step*, comes back to the edge."""
    j = i + step
    if not 0 <= j < age.size:
        return float(age[i])
    return float(age[i] + (age[j] - age[i]) * over[i] / (over[i] - over[j]))
