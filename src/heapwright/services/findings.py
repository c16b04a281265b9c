"""What a trial shows: every comparison with its claim, and everything a reader needs to doubt it.

Units: estimates in the unit of their outcome. Conventions: the locked plan decides; a look before
the locked end date is counted and gives no claim; a wrong turn or a lost heap gives a second line
"as done" beside the first "as planned".
"""

from __future__ import annotations

import contextlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import isfinite
from typing import Any

from heapwright import __version__
from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.services.conduct import (
    Deviation,
    deviations,
    handled_otherwise,
    what_else_differed,
)
from heapwright.services.fairstart import FairStart, fair_start, starts, thinned
from heapwright.services.heapvalues import counted_in, heap_outcomes
from heapwright.services.overtime import bands_of, second_opinions
from heapwright.services.record import TrialRecord, load_record
from heapwright.stats.band import Band
from heapwright.stats.bandwords import spans, when_differed
from heapwright.stats.compare import Comparison, compare
from heapwright.stats.effects import Factorial, factorial
from heapwright.stats.linear import HeapRow
from heapwright.stats.outcomes import outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.store.book import Book

__all__ = ["Findings", "comparisons_of", "find"]


@dataclass(frozen=True, slots=True)
class Findings:
    """All findings of one trial at one moment; see `to_json` for what is published."""

    record: TrialRecord
    ended: bool
    looks_before_end: int
    looks: int
    comparisons: tuple[Comparison, ...]
    as_done: tuple[Comparison, ...]
    effects: tuple[Factorial, ...]
    bands: tuple[Band, ...]
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
            said = self.deciding_effects or [c.sentence for c in decides]
            return " ".join(dict.fromkeys([*said, decides[0].caveat]))
        if len(self.record.plan.trial.ways) < 2:
            if len(self.record.heaps) == 1:
                return "One heap, so nothing is compared: it shows how that heap did."
            return "Nothing is compared in this trial: all heaps are treated alike."
        return self.missing.get(self.record.plan.locked.decides, "Nothing can be compared.")

    @property
    def deciding_effects(self) -> list[str]:
        """Where several things were varied together: what each did to the deciding outcome."""
        return [
            e.sentence
            for f in self.effects
            if f.outcome == self.record.plan.locked.decides
            for e in (*f.effects, *f.together)
        ]

    def to_json(self) -> dict[str, Any]:
        """The findings as published: plain JSON values."""
        plan, until = self.record.plan, self.fair_start.until_d
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
            "effects": [e.to_json() for e in self.effects],
            "over_time": [_band_json(b, self.record.plan.locked.shown_in) for b in self.bands],
            "left_out_as_done": list(self.left_out),
            "missing": dict(self.missing),
            "fair_start": {
                "until_d": until if isfinite(until) else None,
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
    ended = now >= record.ends_at
    found = deviations(record, now=now)
    otherwise = handled_otherwise(found)
    comparisons: list[Comparison] = []
    as_done: list[Comparison] = []
    effects: list[Factorial] = []
    bands: tuple[Band, ...] = ()
    missing: dict[str, str] = {}
    values: dict[str, dict[str, float]] = {}
    warnings: list[str] = [t for t in [thinned(trial)] if t]
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
            try:
                effects += _varied(record, key, per_heap, ended=ended)
            except HeapwrightError as error:
                warnings.append(f"What each thing varied did is not said: {error.what}.")
            if key == "mean_excess_c":
                bands = bands_of(
                    record, _by_way(record, per_heap), ended=ended, prior=assumed_spread(record)
                )
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
        effects=tuple(effects),
        bands=bands,
        left_out=otherwise,
        missing=missing,
        fair_start=fair_start(record),
        deviations=found,
        values=values,
        made=now,
        warnings=tuple(warnings),
    )


def comparisons_of(record: TrialRecord, key: str, *, now: datetime) -> list[Comparison]:
    """The comparisons of one outcome as the findings make them, without counting a look.

    Raises as `heapwright.services.heapvalues.heap_outcomes`, and `NotEnoughError` where a way has
    no heap with a value.
    """
    ended = now >= record.ends_at
    per_heap, notes = heap_outcomes(record, key, ended=ended)
    return list(_compared(record, key, per_heap, ended=ended, notes=notes))


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
    by_way = _by_way(record, per_heap)
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
    return compare(
        key,
        by_way,
        control,
        matters=locked.matters if decides else None,
        ended=ended,
        prior=assumed_spread(record),
        exposures=exposures,
        blocks=_blocks(record),
        window=locked.window_d if outcome(key).kind == "temperature" else None,
        end_date=locked.ends,
        start_by_way=starts(record, by_way) if key == "mean_excess_c" else None,
        second=second_opinions(record, by_way, locked.window_d)
        if ended and key == "mean_excess_c"
        else None,
        differed={w: what_else_differed(record, w, control) for w in by_way if w != control},
        notes=notes,
        doing=_doing(record),
        shown_in=record.plan.locked.shown_in,
    )


def _by_way(record: TrialRecord, per_heap: Mapping[str, float]) -> dict[str, dict[str, float]]:
    return {
        way: {h.name: per_heap[h.name] for h in heaps if h.name in per_heap}
        for way, heaps in record.by_way().items()
    }


def _band_json(band: Band, shown_in: str) -> dict[str, Any]:
    """A band as it stands in the findings [C, heap ages in days]."""
    ranged = band.half_width_c is not None
    return {
        "way": band.way, "control": band.control, "age_d": band.age_d.tolist(),
        "difference_c": band.difference_c.tolist(), "half_width_c": band.half_width_c,
        "spans": [
            {"from_d": s.from_d, "to_d": s.to_d, "warmer": s.warmer} for s in spans(band)
        ] if ranged else [],
        "sentence": when_differed(band, shown_in=shown_in), "assumptions": list(band.assumptions),
    }  # fmt: skip


def assumed_spread(record: TrialRecord) -> SpreadPrior:
    """The spread between heaps treated alike that was locked, else the usual one."""
    locked = record.plan.locked
    return SpreadPrior.assumed(locked.spread, locked.spread_worth)


def _blocks(record: TrialRecord) -> dict[str, str]:
    return {h.name: h.heap.block for h in record.heaps.values() if h.heap.block}


def _varied(
    record: TrialRecord, key: str, per_heap: Mapping[str, float], *, ended: bool
) -> list[Factorial]:
    """What each of several things varied together did; empty where only ways are compared."""
    locked, trial = record.plan.locked, record.plan.trial
    if len(trial.factors) < 2:
        return []
    blocks = _blocks(record)
    rows = [
        HeapRow(
            h.name, per_heap[h.name], block=blocks.get(h.name, ""),
            factors={n: v for n, v in trial.way(h.heap.way).factors if n in trial.factors},
        )
        for h in record.heaps.values()
        if h.name in per_heap and h.heap.way is not None
    ]  # fmt: skip
    return [
        factorial(
            key, rows, trial.factors, matters=locked.matters if key == locked.decides else None,
            ended=ended, end_date=f"{locked.ends.day} {locked.ends:%B %Y}",
            prior=assumed_spread(record), shown_in=record.plan.locked.shown_in,
        )
    ]  # fmt: skip


def _doing(record: TrialRecord) -> dict[str, str]:
    """What was done in each way, as a noun; "" where another way is of the same kind."""
    words = {
        "turned": "turning", "vented": "venting", "covered": "covering",
        "forced air": "blowing air", "left alone": "leaving it alone",
    }  # fmt: skip
    trial = record.plan.trial
    kinds = [w.kind for w in trial.ways]
    return {w.name: words[w.kind] if kinds.count(w.kind) == 1 else "" for w in trial.ways}
