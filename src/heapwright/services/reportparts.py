"""Parts of a report: curves, rounds, bars and things done.

Units: temperatures in the unit shown, ages in days, litres, minutes.
Conventions: clock times of the place without a zone; more rounds than a page can show are drawn as
daily means, and the report says so.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo
from typing import Any

from heapwright.domain.entries import EVENT_KINDS, Event
from heapwright.reports.model import (
    AirSeries,
    BarChart,
    BarItem,
    Curves,
    DoneRow,
    HeapCurve,
    Mark,
    RoundRow,
)
from heapwright.services.record import HeapRecord, TrialRecord
from heapwright.stats.series import excess_series

__all__ = [
    "Clock", "bar_charts", "bars_said", "curves", "curves_said", "done_rows",
    "round_rows",
]  # fmt: skip

#: More rounds of one heap than this are drawn as daily means.
_MOST = 120
_SAME_ROUND = timedelta(hours=6)
_NOT_DRAWN = ("built", "photo", "note", "closed")


@dataclass(frozen=True, slots=True)
class Clock:
    """The clock and the unit of a report: zone, "C" or "F"."""

    zone: tzinfo
    unit: str = "C"

    def local(self, moment: datetime) -> datetime:
        """The clock time of the place, without its zone."""
        return moment.astimezone(self.zone).replace(tzinfo=None)

    def day(self, when: date | datetime) -> str:
        """A day in words, as in "3 May 2026"."""
        day = self.local(when) if isinstance(when, datetime) else when
        return f"{day.day} {day:%B %Y}"

    def moment(self, when: datetime) -> str:
        """Day and hour, as in "3 May 2026, 07:10"."""
        return f"{self.day(when)}, {self.local(when):%H:%M}"

    def temp(self, temp_c: float) -> float:
        """A temperature in the unit shown."""
        return temp_c * 1.8 + 32 if self.unit == "F" else temp_c


# --- curves and rounds ---------------------------------------------------------------------------


def curves(record: TrialRecord, clock: Clock) -> tuple[Curves | None, list[datetime]]:
    """What is drawn of the temperatures, and the rounds (clock time of each); None for none."""
    read = [
        h for h in record.heaps.values()
        if h.built is not None and any(r.quantity == "temp_c" for r in h.readings)
    ]  # fmt: skip
    if not read:
        return None, []
    points = {h.name: _points(h, clock) for h in read}
    rounds = _rounds([w for when, _ in points.values() for w in when])
    air = _air(record, clock)
    plan = record.plan
    return (
        Curves(
            heaps=tuple(_curve(h, points[h.name], rounds, clock) for h in read),
            ways=tuple(w.name for w in plan.trial.ways) or ("",),
            control=plan.locked.control,
            air=air,
            window_d=plan.locked.window_d,
            unit=clock.unit,
        ),
        rounds,
    )


def _points(heap: HeapRecord, clock: Clock) -> tuple[list[datetime], list[float]]:
    """One mean a round with all spots on one footing; daily means where there are very many."""
    assert heap.built is not None
    series = heap.series()
    ages = sorted({float(a) for age, _ in series.spots.values() for a in age})
    # Only the mean of the spots is drawn here, so the air that is taken off does not matter.
    found = excess_series(series, (ages, [0.0] * len(ages)))
    when = [clock.local(heap.built + timedelta(days=float(a))) for a in found.age_d]
    temps = [clock.temp(float(t)) for t in found.temp_c]
    return _daily(when, temps) if len(when) > _MOST else (when, temps)


def _daily(when: Sequence[datetime], temps: Sequence[float]) -> tuple[list[datetime], list[float]]:
    days: dict[date, list[float]] = {}
    for moment, temp in zip(when, temps, strict=True):
        days.setdefault(moment.date(), []).append(temp)
    noon = [datetime(d.year, d.month, d.day, 12) for d in days]
    return noon, [sum(t) / len(t) for t in days.values()]


def _rounds(moments: list[datetime]) -> list[datetime]:
    """The first moment of every round: readings within six hours of it belong to it."""
    found: list[datetime] = []
    for moment in sorted(moments):
        if not found or moment - found[-1] > _SAME_ROUND:
            found.append(moment)
    return found


def _which(moment: datetime, rounds: Sequence[datetime]) -> int:
    """The round a moment belongs to; a spot may be read a while before the mean of its round."""
    return max(bisect_right(rounds, moment + _SAME_ROUND / 2) - 1, 0)


def _curve(
    heap: HeapRecord,
    points: tuple[list[datetime], list[float]],
    rounds: list[datetime],
    clock: Clock,
) -> HeapCurve:
    assert heap.built is not None
    spots: dict[str, tuple[tuple[datetime, ...], tuple[float, ...]]] = {}
    for name in dict.fromkeys(r.spot for r in heap.readings if r.quantity == "temp_c"):
        mine = sorted(
            (clock.local(r.when.middle), clock.temp(r.value))
            for r in heap.readings
            if r.quantity == "temp_c" and r.spot == name
        )
        when, temps = [m for m, _ in mine], [t for _, t in mine]
        if len(when) > _MOST:
            when, temps = _daily(when, temps)
        spots[name] = (tuple(when), tuple(temps))
    marks = tuple(
        Mark(EVENT_KINDS[e.what], clock.local(e.when.low), clock.local(e.when.high))
        for e in heap.events
        if e.what not in _NOT_DRAWN
    )
    when, temps = points
    return HeapCurve(
        name=heap.name,
        way=heap.heap.way or "",
        built=clock.local(heap.built),
        when=tuple(when),
        mean=tuple(temps),
        rows=tuple(f"round-{_which(w, rounds) + 1}" for w in when),
        spots=spots,
        marks=marks,
    )


def _air(record: TrialRecord, clock: Clock) -> AirSeries | None:
    if not record.air:
        return None
    read = sorted((clock.local(a.when.middle), clock.temp(a.value)) for a in record.air)
    when, temps = [w for w, _ in read], [t for _, t in read]
    if len(when) > _MOST:
        when, temps = _daily(when, temps)
    return AirSeries(tuple(when), tuple(temps))


def curves_said(record: TrialRecord, drawn: Curves | None, clock: Clock) -> str:
    """One sentence before the curves."""
    if drawn is None:
        return (
            "No temperatures were read here, so there are no curves to draw. They would stand "
            "here after the first round with the probe."
        )
    best = max(
        ((t, h.name, w) for h in drawn.heaps for w, t in zip(h.when, h.mean, strict=True)),
        key=lambda found: found[0],
    )
    temp, name, when = best
    said = (
        f"The warmest round of any heap was {temp:.0f} °{clock.unit}, the mean of the spots of "
        f"heap {name} on {when.day} {when:%B}."
    )
    if drawn.air is None:
        said += " Nobody read the air, so degrees above air are not known."
    if any(len({r.when.low for r in h.readings}) > _MOST for h in record.heaps.values()):
        said += " A logger read far more often than a page can show: daily means are drawn."
    return said


def round_rows(
    record: TrialRecord, drawn: Curves | None, rounds: Sequence[datetime], clock: Clock
) -> tuple[RoundRow, ...]:
    """The table of rounds: mean of the spots of every heap, lowest and highest spot, air."""
    if drawn is None:
        return ()
    cells: dict[tuple[int, str], str] = {}
    for heap in drawn.heaps:
        spread: dict[int, list[float]] = {}
        for when, temps in heap.spots.values():
            for moment, temp in zip(when, temps, strict=True):
                spread.setdefault(_which(moment, rounds), []).append(temp)
        for moment, mean in zip(heap.when, heap.mean, strict=True):
            i = _which(moment, rounds)
            low, high = min(spread.get(i, [mean])), max(spread.get(i, [mean]))
            cells[i, heap.name] = f"{mean:.0f}" + (
                f" ({low:.0f}–{high:.0f})" if high - low >= 1 else ""
            )
    air: dict[int, list[float]] = {}
    if drawn.air is not None:
        for moment, temp in zip(drawn.air.when, drawn.air.temp, strict=True):
            i = _which(moment, rounds)
            if abs(moment - rounds[i]) <= _SAME_ROUND * 2:
                air.setdefault(i, []).append(temp)
    built = min(h.built for h in drawn.heaps)
    return tuple(
        RoundRow(
            id=f"round-{i + 1}",
            when=f"{first.day} {first:%b} {first:%H:%M}",
            age=f"{(first - built).total_seconds() / 86400:.0f}",
            cells=tuple(cells.get((i, name), "–") for name in record.heaps),
            air=f"{sum(air[i]) / len(air[i]):.0f}" if i in air else "–",
        )
        for i, first in enumerate(rounds)
    )


# --- water, minutes, things done -----------------------------------------------------------------


def bar_charts(record: TrialRecord) -> tuple[BarChart, ...]:
    """Litres and minutes by heap, as far as anybody noted them."""
    charts = []
    for what, title, unit in (("water_l", "Water given", "L"), ("minutes", "Work", "min")):
        totals = {h.name: h.total(what) for h in record.heaps.values()}
        if any(v is not None for v in totals.values()):
            items = tuple(
                BarItem(
                    h.name, h.heap.way or "", totals[h.name],
                    "not noted" if totals[h.name] is None
                    else f"{_tens(totals[h.name] or 0.0, unit)} {unit}",
                )
                for h in record.heaps.values()
            )  # fmt: skip
            charts.append(BarChart(title, items))
    return tuple(charts)


def _tens(value: float, unit: str) -> str:
    """Litres to the nearest ten from a hundred on, all else to one."""
    return f"{round(value, -1):.0f}" if unit == "L" and value >= 100 else f"{value:.0f}"


def bars_said(record: TrialRecord, charts: Sequence[BarChart]) -> str:
    """One sentence before the bars."""
    if not charts:
        return (
            "Nobody noted litres or minutes, so nothing can be said about water and work. They "
            "can be written down with every turn and watering."
        )
    said = []
    for chart in charts:
        noted = [i for i in chart.items if i.value is not None]
        low = min(noted, key=lambda i: i.value or 0.0)
        high = max(noted, key=lambda i: i.value or 0.0)
        what = "water" if chart.title.startswith("Water") else "work"
        if low.said == high.said:
            said.append(f"Every heap took {low.said} of {what}.")
        else:
            said.append(
                f"Heaps took {low.said} ({low.heap}) to {high.said} ({high.heap}) of {what}."
            )
    return " ".join(said)


def done_rows(record: TrialRecord, clock: Clock) -> tuple[DoneRow, ...]:
    """Everything done, heaps with the same work at about the same time on one row."""
    groups: dict[tuple[Any, ...], list[tuple[HeapRecord, Event]]] = {}
    for heap in record.heaps.values():
        for event in heap.events:
            key = (
                clock.local(event.when.middle).date(), event.what, event.water_l, event.who,
                event.note, event.when.exact,
            )  # fmt: skip
            groups.setdefault(key, []).append((heap, event))
    ordered = sorted(groups.values(), key=lambda g: min(e.when.middle for _, e in g))
    return tuple(_done(group, clock) for group in ordered)


def _done(group: list[tuple[HeapRecord, Event]], clock: Clock) -> DoneRow:
    heap, event = group[0]
    day = clock.local(event.when.middle)
    sure = event.when.high - event.when.low <= timedelta(days=1)
    when = f"{day.day} {day:%b}" if sure else f"about {day.day} {day:%b}"
    minutes = sorted(e.minutes for _, e in group if e.minutes is not None)
    each = " each" if len(group) > 1 else ""
    took = ""
    if minutes:
        span = (
            f"{minutes[0]:.0f}"
            if minutes[0] == minutes[-1]
            else (f"{minutes[0]:.0f}–{minutes[-1]:.0f}")
        )
        took = f"{span} min{each}"
    note = "; ".join(x for x in (event.who, event.note) if x)
    return DoneRow(
        when=when,
        age=f"{heap.age_d(event.when.middle):.0f}" if heap.built else "–",
        what=EVENT_KINDS[event.what],
        heaps=", ".join(h.name for h, _ in group),
        water=f"{event.water_l:.0f} L{each}" if event.water_l is not None else "",
        minutes=took,
        note=note,
    )
