"""What a report is made of: plain frozen data, filled by a service, drawn and written here.

Units: temperatures already in the unit shown (`Curves.unit`), litres, minutes, ages in days.
Conventions: a ``datetime`` here is the clock time of the place without a zone; every sentence is
ready to be read; numbers that are shown as text were rounded by whoever filled the model.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from heapwright.reports.part import Part

__all__ = [
    "AirSeries", "BarChart", "BarItem", "ComparisonBlock", "Curves", "DoneRow", "FactorTable",
    "HeapCurve",
    "IntervalRow", "Intervals", "Mark", "MixBlock", "MixLine", "OutcomeBlock", "OverTime",
    "ReportModel", "RoundRow", "Values", "WayLine",
]  # fmt: skip


# --- what figures are drawn from -----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Mark:
    """Something done to a heap: its yard word, and when; low < high where nobody knows exactly."""

    what: str
    low: datetime
    high: datetime


@dataclass(frozen=True, slots=True)
class HeapCurve:
    """One heap over time.

    when, mean : one entry a round, spots averaged; rows : id of each round's row in the table of
    rounds, "" for none; spots : (when, temperature) of every spot by name; marks : what was done.
    """

    name: str
    way: str
    built: datetime
    when: tuple[datetime, ...]
    mean: tuple[float, ...]
    rows: tuple[str, ...] = ()
    spots: Mapping[str, tuple[tuple[datetime, ...], tuple[float, ...]]] = field(
        default_factory=dict, hash=False
    )
    marks: tuple[Mark, ...] = ()

    def age_d(self, moment: datetime) -> float:
        """Age of the heap at *moment* [d]."""
        return (moment - self.built).total_seconds() / 86400


@dataclass(frozen=True, slots=True)
class AirSeries:
    """Air beside the heaps, in order of time."""

    when: tuple[datetime, ...]
    temp: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Curves:
    """All heaps of a trial: ways in the order of the plan, the control, the window that decides.

    control : drawn faintly beside every other way, None where nothing is compared; window_d :
    heap ages [d]; unit : "C" or "F".
    """

    heaps: tuple[HeapCurve, ...]
    ways: tuple[str, ...]
    control: str | None
    air: AirSeries | None
    window_d: tuple[float, float] | None
    unit: str = "C"


@dataclass(frozen=True, slots=True)
class IntervalRow:
    """One comparison as drawn: name, estimate and range, and (letter, estimate, low, high)."""

    name: str
    estimate: float
    low: float
    high: float
    said: str
    others: tuple[tuple[str, float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Intervals:
    """The ranges of one outcome on one axis; matters is half the width of the shaded band."""

    rows: tuple[IntervalRow, ...]
    unit: str
    control: str
    less: str
    more: str
    matters: float | None = None


@dataclass(frozen=True, slots=True)
class OverTime:
    """The difference of a way and the control over heap age, as drawn.

    age_d; difference : in the unit on screen; half_width : of the band, 0 for none; spans : (from,
    to) [d] where it leaves out 0; sentence : when they differed.
    """

    way: str
    control: str
    age_d: tuple[float, ...]
    difference: tuple[float, ...]
    half_width: float
    spans: tuple[tuple[float, float], ...]
    unit: str
    sentence: str


@dataclass(frozen=True, slots=True)
class FactorTable:
    """What each of several things varied together did to one outcome, as sentences, and F tests."""

    title: str
    lines: tuple[str, ...]
    tests: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Values:
    """One number a heap, by way: (way, ((heap, value), ...)); title and unit of the axis."""

    title: str
    unit: str
    ways: tuple[tuple[str, tuple[tuple[str, float], ...]], ...]


@dataclass(frozen=True, slots=True)
class BarItem:
    """One heap's bar; value None: nothing was noted; said : the number as text."""

    heap: str
    way: str
    value: float | None
    said: str


@dataclass(frozen=True, slots=True)
class BarChart:
    """Bars of one quantity, heaps in the order of the ways."""

    title: str
    items: tuple[BarItem, ...]


# --- what is written -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WayLine:
    """A way in words, with its heaps."""

    name: str
    what: str
    heaps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ComparisonBlock:
    """One comparison: finding, claim, number of heaps, and how it was reckoned, all as text.

    others : (letter, method, estimate, range) of the other analyses.
    """

    way: str
    control: str
    sentence: str
    estimate: str
    range: str
    heaps: str
    claim: str
    method: str
    others: tuple[tuple[str, str, str, str], ...]


@dataclass(frozen=True, slots=True)
class OutcomeBlock:
    """One outcome: title, whether it decides, its comparisons as planned and as done."""

    key: str
    title: str
    decides: bool
    about: str
    caveat: str
    comparisons: tuple[ComparisonBlock, ...]
    as_done: tuple[str, ...]
    missing: str
    values: Values | None
    intervals: Intervals | None


@dataclass(frozen=True, slots=True)
class RoundRow:
    """One round: id (for links), date and hour, age, a cell a heap, air."""

    id: str
    when: str
    age: str
    cells: tuple[str, ...]
    air: str


@dataclass(frozen=True, slots=True)
class DoneRow:
    """What was done at one time to one or several heaps."""

    when: str
    age: str
    what: str
    heaps: str
    water: str
    minutes: str
    note: str


@dataclass(frozen=True, slots=True)
class MixLine:
    """One ingredient: its amount, the row of the table it was read as, how numbers were got."""

    name: str
    read_as: str
    amount: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MixBlock:
    """The mix as planned.

    numbers : (name, text) of the whole mix; rows : (name, one (text, from memory) a line) of the
    ingredients, in the order of lines; the rest is what to doubt.
    """

    sentence: str
    numbers: tuple[tuple[str, str], ...]
    lines: tuple[MixLine, ...]
    rows: tuple[tuple[str, tuple[tuple[str, bool], ...]], ...]
    against: tuple[str, ...]
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReportModel:
    """Everything that stands in a report, in the order in which it stands there."""

    trial: str
    question: str
    invented: bool
    made: str
    ended: bool
    state: str
    finding: tuple[str, ...]
    as_done: tuple[str, ...]
    ways: tuple[WayLine, ...]
    control: str | None
    locked: tuple[tuple[str, str], ...]
    curves: Curves | None
    curves_said: str
    over_time: tuple[OverTime, ...]
    factor_tables: tuple[FactorTable, ...]
    outcomes: tuple[OutcomeBlock, ...]
    differed: tuple[tuple[str, tuple[str, ...]], ...]
    assumed: tuple[str, ...]
    fair_start: str
    not_shown: tuple[str, ...]
    bars: tuple[BarChart, ...]
    bars_said: str
    mix: MixBlock | None
    mix_said: str
    done: tuple[DoneRow, ...]
    deviations: tuple[str, ...]
    looks: str
    corrected: str
    warnings: tuple[str, ...]
    heap_columns: tuple[str, ...]
    heap_rows: tuple[tuple[str, ...], ...]
    round_heaps: tuple[str, ...]
    rounds: tuple[RoundRow, ...]
    known: tuple[tuple[str, str], ...]
    sources: tuple[str, ...]
    finish: tuple[Part, ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict, hash=False)
