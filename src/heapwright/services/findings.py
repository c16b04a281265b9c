"""What a trial shows: every comparison with its claim, and everything a reader needs to doubt it.

Units: estimates in the unit of their outcome. Conventions: the locked plan decides; a look before
the locked end date is counted and gives no claim; a wrong turn or a lost heap gives a second line
"as done" beside the first "as planned".
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any

from heapwright import __version__
from heapwright.domain.entries import Sample
from heapwright.domain.when import local_zone
from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.services.conduct import (
    Deviation,
    deviations,
    handled_otherwise,
    what_else_differed,
)
from heapwright.services.doings import out_of
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.stats import described
from heapwright.stats.compare import Comparison, compare
from heapwright.stats.outcomes import outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.series import HeapExcess, excess_series, heap_value
from heapwright.store.book import Book

__all__ = ["FairStart", "Findings", "find", "heap_outcomes"]


@dataclass(frozen=True, slots=True)
class FairStart:
    """Whether all heaps ran alike while they were still treated alike.

    until_d : age from which the ways differ [d]; spread_c : largest difference between heaps in
    mean degrees above air until then [C], None when there is no such phase or no readings in it;
    sentence : what to say.
    """

    until_d: float
    spread_c: float | None
    sentence: str


@dataclass(frozen=True, slots=True)
class Findings:
    """All findings of one trial at one moment; see `to_json` for what is published."""

    record: TrialRecord
    ended: bool
    looks_before_end: int
    looks: int
    comparisons: tuple[Comparison, ...]
    as_done: tuple[Comparison, ...]
    left_out: tuple[str, ...]
    missing: Mapping[str, str]
    fair_start: FairStart
    deviations: tuple[Deviation, ...]
    values: Mapping[str, Mapping[str, float]]
    made: datetime
    warnings: tuple[str, ...] = field(default=())

    @property
    def headline(self) -> str:
        """The one sentence that answers the locked question."""
        decides = [c for c in self.comparisons if c.outcome == self.record.plan.locked.decides]
        if decides:
            return " ".join(dict.fromkeys([c.sentence for c in decides] + [decides[0].caveat]))
        if len(self.record.plan.trial.ways) < 2:
            if len(self.record.heaps) == 1:
                return "One heap, so nothing is compared: it shows how that heap did."
            return "Nothing is compared in this trial: all heaps are treated alike."
        return self.missing.get(self.record.plan.locked.decides, "Nothing can be compared.")

    def to_json(self) -> dict[str, Any]:
        """The findings as published: plain JSON values."""
        plan = self.record.plan
        return {
            "trial": self.record.name,
            "invented": plan.trial.invented,
            "question": plan.locked.question,
            "fingerprint": plan.fingerprint,
            "locked_on": plan.locked_on.isoformat(),
            "ends": plan.locked.ends.isoformat(),
            "ended": self.ended,
            "looks_before_end": self.looks_before_end,
            "looks": self.looks,
            "headline": self.headline,
            "comparisons": [c.to_json() for c in self.comparisons],
            "as_done": [c.to_json() for c in self.as_done],
            "left_out_as_done": list(self.left_out),
            "missing": dict(self.missing),
            "fair_start": {
                "until_d": self.fair_start.until_d,
                "spread_c": self.fair_start.spread_c,
                "sentence": self.fair_start.sentence,
            },
            "deviations": [
                {"kind": d.kind, "heap": d.heap, "on": d.on and d.on.isoformat(), "text": d.text}
                for d in self.deviations
            ],
            "warnings": list(self.warnings),
            "corrections": self.record.corrections,
            "withdrawn": self.record.withdrawn,
            "made": self.made.isoformat(),
            "heapwright": __version__,
        }


def find(book: Book, name: str, *, now: datetime, count: bool = True) -> Findings:
    """The findings of a trial, counted as a look.

    Parameters
    ----------
    book, name : Book and name of the trial
    now : aware datetime; claims are made from the locked end date on
    count : False leaves the number of looks as it is (for a report that quotes findings)

    Raises
    ------
    UnknownNameError, NotEnoughError
        No such trial, or no locked plan.
    """
    record = load_record(book, name)
    locked, trial = record.plan.locked, record.plan.trial
    zone = local_zone(trial.place.time_zone)
    ended = now >= datetime.combine(locked.ends, time(), tzinfo=zone).astimezone(UTC)
    found = deviations(record, now=now)
    otherwise = handled_otherwise(found)
    comparisons: list[Comparison] = []
    as_done: list[Comparison] = []
    missing: dict[str, str] = {}
    values: dict[str, dict[str, float]] = {}
    warnings: list[str] = []
    for key in (locked.decides, *[k for k in trial.also if k != locked.decides]):
        try:
            per_heap, notes = heap_outcomes(record, key, ended=ended)
        except HeapwrightError as error:
            missing[key] = _why(error)
            continue
        values[key] = per_heap
        warnings += [n for n in notes if n not in warnings]
        if len(trial.ways) < 2:
            continue
        try:
            comparisons += _compared(record, key, per_heap, ended=ended, notes=notes)
        except HeapwrightError as error:
            missing[key] = _why(error)
        if otherwise and key not in missing:
            rest = {h: v for h, v in per_heap.items() if h not in otherwise}
            with contextlib.suppress(NotEnoughError):  # no heap of a way is left: said there
                as_done += _compared(record, key, rest, ended=ended, notes=notes)
    before, total = (
        book.count_look(name, ended=ended, what="findings", now=now) if count else (0, 0)
    )
    return Findings(
        record=record,
        ended=ended,
        looks_before_end=before,
        looks=total,
        comparisons=tuple(comparisons),
        as_done=tuple(as_done),
        left_out=otherwise,
        missing=missing,
        fair_start=_fair_start(record),
        deviations=found,
        values=values,
        made=now,
        warnings=tuple(warnings),
    )


def _why(error: HeapwrightError) -> str:
    """Why an outcome has no answer, as a sentence; keys stay inside where no value was typed."""
    if error.value is not None or error.where:
        return error.message
    plain = type(error)(error.what, way_out=error.way_out).message
    return plain[:1].upper() + plain[1:]


def _compared(
    record: TrialRecord,
    key: str,
    per_heap: Mapping[str, float],
    *,
    ended: bool,
    notes: Sequence[str],
) -> list[Comparison]:
    """One outcome, every way against the control."""
    locked = record.plan.locked
    control = locked.control
    if control is None:
        raise NotEnoughError("no control is named", field="control", way_out="Name it in [outcome]")
    by_way = {
        way: {h.name: per_heap[h.name] for h in heaps if h.name in per_heap}
        for way, heaps in record.by_way().items()
    }
    empty = [way for way, heaps in by_way.items() if not heaps]
    if control in empty or len(by_way) - len(empty) < 2:
        raise NotEnoughError(
            f"no heap of {' or '.join(empty)} is left to compare", field=key,
            way_out="The rest is shown as it is, without a comparison",
        )  # fmt: skip
    by_way = {way: heaps for way, heaps in by_way.items() if heaps}
    exposures = None
    if outcome(key).model in ("share", "rate"):
        found = counted_in(record, key)
        exposures = {way: {h: found[h] for h in heaps} for way, heaps in by_way.items()}
    decides = key == locked.decides
    prior = SpreadPrior.published()
    if locked.spread is not None:
        prior = prior.with_spread(locked.spread)
    return compare(
        key,
        by_way,
        control,
        matters=locked.matters if decides else None,
        ended=ended,
        prior=prior,
        exposures=exposures,
        window=locked.window_d if outcome(key).kind == "temperature" else None,
        end_date=locked.ends,
        start_by_way=_starts(record, by_way) if key == "mean_excess_c" else None,
        differed={w: what_else_differed(record, w, control) for w in by_way if w != control},
        notes=notes,
        doing=_doing(record),
        shown_in="F" if locked.unit.strip().upper().endswith("F") else "C",
    )


def _doing(record: TrialRecord) -> dict[str, str]:
    words = {
        "turned": "turning", "vented": "venting", "covered": "covering",
        "forced air": "blowing air", "left alone": "leaving it alone",
    }  # fmt: skip
    return {w.name: words[w.kind] for w in record.plan.trial.ways}


def heap_outcomes(
    record: TrialRecord, key: str, *, ended: bool = True
) -> tuple[dict[str, float], list[str]]:
    """One number a heap for an outcome, and notes a reader needs.

    ended : False takes temperatures over as much of the window as every heap covers so far.
    Raises `NotEnoughError` naming the heap and what is missing, `UnknownNameError` for an outcome
    that cannot be taken from a book.
    """
    what = outcome(key)
    if what.kind == "temperature":
        return _temperatures(record, key, ended=ended)
    if what.model in ("share", "rate"):
        return _counted(record, key)
    if key in ("minutes", "water_l"):
        return _totals(record, key)
    return _final_samples(record, key)


def _alive(record: TrialRecord) -> list[HeapRecord]:
    """Heaps that have a way (or all, when nothing is compared) and were not lost early."""
    heaps = [h for h in record.heaps.values() if h.heap.way is not None or not record.by_way()]
    return heaps or list(record.heaps.values())


def _window_so_far(record: TrialRecord) -> tuple[float, float]:
    """The locked window, cut where the first heap's readings end; itself when that is too early."""
    low, high = record.plan.locked.window_d
    last = [max((h.age_d(r.when.middle) for r in h.readings), default=0.0) for h in _alive(record)]
    covered = min(last, default=0.0)
    return (low, min(high, covered)) if covered > low + 1 else (low, high)


def _temperatures(
    record: TrialRecord, key: str, *, ended: bool
) -> tuple[dict[str, float], list[str]]:
    window = record.plan.locked.window_d if ended else _window_so_far(record)
    values: dict[str, float] = {}
    notes: list[str] = []
    if window != record.plan.locked.window_d:
        notes.append(f"So far over heap ages {window[0]:.0f} to {window[1]:.0f} days only.")
    for heap in _alive(record):
        try:
            excess = _excess(record, heap, window)
            values[heap.name] = _measure(excess, window, key)
        except NotEnoughError as error:
            if heap.lost is None:
                raise
            notes.append(f"Heap {heap.name} was lost and has no value: {error.what}.")
            continue
        notes += [_flag(flag) for flag in excess.flags if _flag(flag) not in notes]
    return values, notes


def _flag(flag: str) -> str:
    return f"About the readings: {flag}."


def _excess(record: TrialRecord, heap: HeapRecord, window: tuple[float, float]) -> HeapExcess:
    return excess_series(heap.series(), record.air_for(heap), window=window)


def _measure(excess: HeapExcess, window: tuple[float, float], key: str) -> float:
    if key == "mean_excess_c":
        return heap_value(excess, window).value
    if key == "peak_excess_c":
        return heap_value(excess, window, measure="peak").value
    if key.startswith("degree_hours_"):
        return described.degree_hours(excess, window, float(key.rsplit("_", 1)[1]))
    if key.startswith("days_above_"):
        return described.days_above(excess, window, float(key.rsplit("_", 1)[1]))
    if key == "days_to_peak":
        return described.days_to_peak(excess, window)
    return described.half_cooling_d(excess, window)


def _totals(record: TrialRecord, key: str) -> tuple[dict[str, float], list[str]]:
    heaps = _alive(record)
    found = {h.name: h.total(key) for h in heaps}
    if all(v is None for v in found.values()):
        raise NotEnoughError(
            f"nobody noted any {'minutes' if key == 'minutes' else 'litres'}", field=key,
            way_out="Note them with each turn and watering",
        )  # fmt: skip
    return {name: float(v or 0.0) for name, v in found.items()}, []


def _final_samples(record: TrialRecord, key: str) -> tuple[dict[str, float], list[str]]:
    """The last sample of each heap (mean of that day's), inside the window where ages are known."""
    values: dict[str, float] = {}
    notes: list[str] = []
    low, high = record.plan.locked.window_d
    for heap in _alive(record):
        taken = [s for s in heap.samples if s.quantity == key and s.part == "whole"]
        if key == record.plan.locked.decides and heap.built is not None:
            taken = [s for s in taken if low - 1 <= heap.age_d(s.when.middle) <= high + 1]
        if not taken:
            raise NotEnoughError(
                f"heap {heap.name} has no sample of {outcome(key).title} that counts", field=key,
                way_out=f"Log it: heapwright log sample {heap.name} {key} VALUE",
            )  # fmt: skip
        last = max(s.when.middle for s in taken)
        same_day = [s for s in taken if last - s.when.middle < timedelta(days=1)]
        values[heap.name] = sum(s.value for s in same_day) / len(same_day)
        if any("not independent" in s.note for s in same_day):
            notes.append("Some batches share a yield or a feed and are not independent.")
    return values, list(dict.fromkeys(notes))


def _last_counts(record: TrialRecord, heap: HeapRecord, key: str) -> list[Sample]:
    """What was counted of a heap on the last day of counting: every dish, every field."""
    taken = [s for s in heap.samples if s.quantity == key]
    if not taken:
        raise NotEnoughError(
            f"nothing was counted for {outcome(key).title} in heap {heap.name}", field=key,
            way_out=f"Log it: heapwright log sample {heap.name} {key} COUNT --part NAME",
        )  # fmt: skip
    last = max(s.when.middle for s in taken)
    return [s for s in taken if last - s.when.middle < timedelta(days=1)]


def counted_in(record: TrialRecord, key: str) -> dict[str, float]:
    """By heap, what an outcome that is counted was counted in: seeds sown, fields looked at."""
    found = {}
    for heap in _alive(record):
        last = _last_counts(record, heap, key)
        found[heap.name] = (
            sum(out_of(s.basis) or 1.0 for s in last)
            if outcome(key).model == "share"
            else float(len(last))
        )
    return found


def _counted(record: TrialRecord, key: str) -> tuple[dict[str, float], list[str]]:
    """Seedlings over seeds sown, or the mean number a field, over all dishes and fields."""
    values = {}
    share = outcome(key).model == "share"
    for heap in _alive(record):
        last = _last_counts(record, heap, key)
        weights = [out_of(s.basis) or 1.0 if share else 1.0 for s in last]
        total = sum(s.value * w for s, w in zip(last, weights, strict=True))
        values[heap.name] = total / sum(weights)
    return values, []


# --- fair start ----------------------------------------------------------------------------------


def _common_until(record: TrialRecord) -> float:
    """Heap age until which all ways are handled alike [d]; inf when nothing ever differs."""
    return min((w.differs_from_d() for w in record.plan.trial.ways), default=float("inf"))


def _starts(
    record: TrialRecord, by_way: Mapping[str, Mapping[str, float]]
) -> dict[str, dict[str, float]] | None:
    """Mean degrees above air of every heap over the common phase; None without one."""
    until = min(_common_until(record), record.plan.locked.window_d[0])
    if until < 2:
        return None
    try:
        first = max(
            heap.age_d(min(r.when.middle for r in heap.readings)) for heap in record.heaps.values()
        )
        if until - first < 1:
            return None
        window = (first, until)
        return {
            way: {
                name: heap_value(_excess(record, record.heaps[name], window), window).value
                for name in heaps
            }
            for way, heaps in by_way.items()
        }
    except (HeapwrightError, ValueError):
        return None


def _fair_start(record: TrialRecord) -> FairStart:
    until = _common_until(record)
    if len(record.plan.trial.ways) < 2:
        return FairStart(until, None, "All heaps are treated alike.")
    if until <= 0:
        named = [w.name for w in record.plan.trial.ways if w.differs_from_d() <= 0]
        return FairStart(
            until, None,
            f"Heaps of {' and '.join(named)} differed from the others from the build on, so no "
            "common phase can show whether the start was fair.",
        )  # fmt: skip
    every = {w: {h.name: 0.0 for h in heaps} for w, heaps in record.by_way().items()}
    starts = _starts(record, every)
    if starts is None:
        return FairStart(
            until, None,
            f"All heaps were treated alike until day {until:g}, but too few readings were taken "
            "by then to show whether the start was fair.",
        )  # fmt: skip
    values = [v for heaps in starts.values() for v in heaps.values()]
    spread = max(values) - min(values)
    built = [h.built for h in record.heaps.values() if h.built is not None]
    apart = max(built) - min(built) if built else timedelta()
    day = f"each was {until:g} days old," if apart > timedelta(days=2) else _calendar(record, until)
    who = "both" if len(values) == 2 else f"all {len(values)}"
    judged = "a fair start, not proof they are the same" if spread <= 6 else "not an even start"
    return FairStart(
        until, spread,
        f"Until {day} {who} heaps stayed within {spread:.0f} degrees: {judged}.",
    )  # fmt: skip


def _calendar(record: TrialRecord, age_d: float) -> str:
    built = [h.built for h in record.heaps.values() if h.built is not None]
    day: date = (min(built) + timedelta(days=age_d)).date()
    return f"{day.day} {day:%B}"
