"""The heaps of a trial held against published rules of heat over time; what studies say of seeds.

Units: hours since a heap's first entry, degrees C, fractions. Conventions: the coldest measured
point decides; what is not known is named; a heap is of the kind that its plan says, and nothing but
forced air makes it a static aerated one. Shown on its own page always, among the answers of finish
and in the report only where the plan names a rule: ``hygiene`` in [trial].
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from heapwright.domain.entries import Reading
from heapwright.domain.material import Mix
from heapwright.domain.trial import Trial
from heapwright.domain.when import local_zone
from heapwright.errors import HeapwrightError, InputError
from heapwright.science import hygiene as science
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.store.book import Book

if TYPE_CHECKING:
    from heapwright.reports.part import Part

__all__ = ["READ_AS", "HeapHeat", "heat_of", "hygiene_part", "hygiene_parts", "planning_notes"]

#: Kinds that a plan cannot say and a keeper may: what the heap has to be for it.
READ_AS: dict[str, str] = {
    "closed_reactor": "a bin or box that is closed all round",
    "in_vessel": "a bin or box of a way with forced air",
    "housed_windrow": "a windrow, or a turned heap, under a roof",
}
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class HeapHeat:
    """What is known of one heap for rules of heat.

    zero : the moment that hours count from; history; kinds : see `science.hygiene.judge`; called :
    what the heap is, in words; cn_said : where its C:N comes from, "" if unknown; notes : what was
    left out and why; small : whether it has less than a warm heap's least volume;
    lost_said : when it was lost, in words, "" if it was not.
    """

    record: HeapRecord
    zero: datetime
    history: science.History
    kinds: Mapping[str, bool]
    called: str
    cn_said: str
    notes: tuple[str, ...]
    small: bool
    lost_said: str = ""

    @property
    def record_spots(self) -> tuple[str, ...]:
        """Every spot with a temperature in the book, in order of its first reading."""
        return _ever_read(self.record)

    def at(self, hours: float) -> datetime:
        """The moment so many hours after zero."""
        return self.zero + hours * _HOUR


def hygiene_part(
    book: Book, trial: str, *, now: datetime, heap: str | None = None, rule: str | None = None,
    read_as: str | None = None,
) -> Part:  # fmt: skip
    """Heaps of a trial against one rule or against all, with what studies say of seeds.

    Parameters
    ----------
    heap : str, optional
        One heap; else all.
    rule : str, optional
        A key of the rules; else the one that the plan names, else all.
    read_as : str, optional
        A kind of `READ_AS` that the keeper says it is.

    Raises
    ------
    UnknownNameError
        No such trial, heap or rule.
    InputError
        The heap cannot be what *read_as* says.
    NotEnoughError
        No plan was locked.
    """
    from heapwright.services.hygienewords import part_of

    record = load_record(book, trial)
    chosen = rule or record.plan.trial.hygiene or None
    asked = (science.rule(chosen),) if chosen else tuple(science.rules().values())
    names = list(record.heaps) if heap is None else [record.plan.trial.heap(heap).name]
    heats = [heat_of(record, name, now=now, read_as=read_as) for name in names]
    return part_of(heats, asked, in_f=record.plan.locked.shown_in == "F", chosen=bool(chosen))


def hygiene_parts(book: Book, trial: str, *, now: datetime) -> Sequence[Part]:
    """The same for the page of finish and the report: only where the plan names a rule."""
    if not load_record(book, trial).plan.trial.hygiene:
        return []
    return [hygiene_part(book, trial, now=now)]


# --- one heap ------------------------------------------------------------------------------------


def heat_of(
    record: TrialRecord, name: str, *, now: datetime, read_as: str | None = None
) -> HeapHeat:
    """What is known of the heap called *name*; raises `InputError` as `hygiene_part`."""
    mine = record.heaps[name]
    trial = record.plan.trial
    kinds, called = _kinds(trial, mine, read_as)
    begun = [
        *(r.when.low for r in mine.readings), *(e.when.low for e in mine.events),
        *(s.when.low for s in mine.samples),
    ]  # fmt: skip
    zero = min(begun, default=mine.built or now)
    notes: list[str] = []
    added = max((e.when.high for e in mine.events if e.what == "added"), default=None)
    read = [r for r in mine.readings if r.quantity == "temp_c"]
    if added is not None:
        notes.append(
            f"Material was added to heap {name}, last on {added:%Y-%m-%d}: what came before counts "
            "for nothing, since the new material was not in it"
        )
        read = _since(read, added)
    ended = min((e.when.low for e in mine.events if e.what == "lost"), default=None)
    lost_said = ""
    if ended is not None:
        zone = local_zone(trial.place.time_zone)
        lost_said = f"Heap {name} was lost on {ended.astimezone(zone):%Y-%m-%d}"
        notes.append(f"{lost_said}: what was read later counts for nothing")
        read = _until(read, ended)
    spots: dict[str, tuple[list[float], list[float]]] = {}
    ranges: dict[str, tuple[list[float], list[float]]] = {}
    for r in read:
        times, temps = spots.setdefault(r.spot, ([], []))
        times.append((r.when.middle - zero) / _HOUR)
        temps.append(r.value)
        for ends, end in zip(ranges.setdefault(r.spot, ([], [])), _range(r), strict=True):
            ends.append((end - zero) / _HOUR)
    if spots:  # one that was read before only is a spot of the heap too: not measured, so against
        spots |= {s: ([], []) for s in _ever_read(mine) if s not in spots}
        ranges |= {s: ([], []) for s in spots if s not in ranges}
    rough = sum(1 for r in read if not r.when.exact)
    if rough:
        notes.append(
            f"{rough} of {len(read)} readings of heap {name} have rough times: hours are shown as "
            "if each was read at the middle of the time it may be from, and a rule is met only if "
            "it is at the worst ends too; a day without an hour leaves up to 48 hours to the next"
        )
    read_at = {s.lower() for s in _ever_read(mine)}
    cn, cn_said = _cn(trial, mine)
    cn_measured = "measured" in cn_said
    least = float(science.rule_file()["small"]["volume_m3"])
    volume = mine.volume_m3
    return HeapHeat(
        record=mine, zero=zero,
        history=science.History(
            spots=spots,
            turns=tuple(
                ((e.when.low - zero) / _HOUR, (e.when.high - zero) / _HOUR)
                for e in mine.events if e.what == "turned"
            ),
            moistures=tuple(
                ((s.when.middle - zero) / _HOUR, s.value)
                for s in mine.samples
                if s.quantity == "moisture_wb" and (added is None or s.when.low >= added)
            ),
            covered=_covered(trial, mine, zero),
            rough=ranges if rough else {},
            depths={s.name: s.depth_m for s in trial.spots},
            cn=cn, cn_from="" if cn is None or cn_measured else "by the plan's mix",
            unread=tuple(s.name for s in trial.spots if s.name.lower() not in read_at),
            now_h=(min(now, ended or now) - zero) / _HOUR,
        ),
        kinds=kinds, called=called, cn_said=cn_said, notes=tuple(notes),
        small=volume is not None and volume < least, lost_said=lost_said,
    )  # fmt: skip


#: first words of a factor's level that say there is a cover
_YES = ("yes", "with", "covered", "insulated", "on")


def _covered(trial: Trial, mine: HeapRecord, zero: datetime) -> tuple[tuple[float, float], ...]:
    """When a heap surely had a cover: from a cover noted (or the plan's) until it was taken off."""
    way = trial.way(mine.heap.way) if mine.heap.way is not None else None
    planned = way is not None and (
        way.kind == "covered"
        or any("cover" in f.lower() and (*level.lower().split(), "")[0] in _YES
               for f, level in way.factors)
    )  # fmt: skip
    spans: list[tuple[float, float]] = []
    since = -math.inf if planned else None
    maybe_off = None  # until then it may still have been taken off
    for e in sorted(mine.events, key=lambda e: (e.when.low, e.what == "uncovered")):
        if e.what == "covered" and since is None:
            if maybe_off is None or e.when.low >= maybe_off:
                since = (e.when.high - zero) / _HOUR
        elif e.what == "uncovered":
            maybe_off = max(e.when.high, maybe_off or e.when.high)
            if since is not None:
                spans.append((since, (e.when.low - zero) / _HOUR))
            since = None
    if since is not None:
        spans.append((since, math.inf))
    return tuple(s for s in spans if s[1] > s[0])


def _range(r: Reading) -> tuple[datetime, datetime]:
    """Earliest and latest time of a reading; one known to the minute has no range."""
    return (r.when.middle, r.when.middle) if r.when.exact else (r.when.low, r.when.high)


def _since(read: Sequence[Reading], moment: datetime) -> list[Reading]:
    """Readings surely from *moment* on, or from the end of one that may lie on either side of it.

    Such a one is neither counted nor passed over: the clock starts when it was surely over.
    """
    for low, high in sorted(_range(r) for r in read):
        if low < moment < high:
            moment = high
    return [r for r in read if _range(r)[0] >= moment]


def _until(read: Sequence[Reading], moment: datetime) -> list[Reading]:
    """Readings surely before *moment*, as `_since`."""
    for high, low in sorted(((h, w) for w, h in map(_range, read)), reverse=True):
        if low < moment < high:
            moment = low
    return [r for r in read if _range(r)[1] <= moment]


def _ever_read(mine: HeapRecord) -> tuple[str, ...]:
    """Every spot with a temperature in the book, whether it counts or not."""
    return tuple(dict.fromkeys(r.spot for r in mine.readings if r.quantity == "temp_c"))


def _kinds(
    trial: Trial, mine: HeapRecord, read_as: str | None = None
) -> tuple[dict[str, bool], str]:
    """What a heap is, of the kinds that rules know; and in words."""
    shape = mine.heap.shape or ""
    way = trial.way(mine.heap.way) if mine.heap.way is not None else None
    kind = way.kind if way is not None else ""
    made: dict[str, bool] = {}
    if shape.startswith("windrow"):
        made["windrow"] = True
    elif kind == "turned":
        made["windrow"] = False
    if kind == "forced air":
        made["static_aerated"] = True
    called = ", ".join(w for w in (shape, kind) if w) or "nothing known of its shape or way"
    if read_as is not None:
        made |= _said_to_be(read_as, mine.name, shape, kind)
        called += f"; by your word {science.KINDS[read_as]}"
    return made, called


def _said_to_be(read_as: str, heap: str, shape: str, kind: str) -> dict[str, bool]:
    """A kind that stands by the keeper's word alone, where the plan does not speak against it."""
    fits = {
        "closed_reactor": shape in ("bin", "box"),
        "in_vessel": shape in ("bin", "box") and kind == "forced air",
        "housed_windrow": shape.startswith("windrow") or kind == "turned",
    }
    if read_as not in fits:
        raise InputError(
            "a heap cannot be said to be that", field="as", value=read_as,
            way_out="One of " + ", ".join(READ_AS) + "; the rest stands in the plan",
        )  # fmt: skip
    if not fits[read_as]:
        raise InputError(
            f"the plan says heap {heap} is {shape or 'of no known shape'}, {kind or 'of no way'}",
            field="as", value=read_as, way_out=f"It has to be {READ_AS[read_as]}",
        )  # fmt: skip
    return {read_as: read_as != "housed_windrow" or shape.startswith("windrow")}


def _cn(trial: Trial, mine: HeapRecord) -> tuple[tuple[float, float] | None, str]:
    """C:N at the start as (low, high), from samples of the first days, else from the plan's mix."""
    days = float(science.rule_file()["start"]["days"])
    measured = [
        s.value for s in mine.samples
        if s.quantity == "cn_ratio" and (mine.built is None or mine.age_d(s.when.low) <= days)
    ]  # fmt: skip
    if measured:
        low, high = min(measured), max(measured)
        shown = f"{low:.3g}" if low == high else f"{low:.3g} to {high:.3g}"
        return (low, high), f"C:N of heap {mine.name} at the start was measured: {shown}"
    if not trial.ingredients:
        return None, ""
    import numpy as np

    from heapwright.planning.mix import describe_mix

    try:
        mix = Mix(trial.ingredients, barrow_m3=trial.barrow_m3)
        cn = describe_mix(mix, rng=np.random.default_rng(trial.locked.seed)).cn_ratio
    except HeapwrightError:
        return None, ""
    return (
        (cn.low, cn.high),
        f"C:N at the start is that of the plan's mix: {cn.low:.0f} to \
{cn.high:.0f}",
    )


# --- before it is built --------------------------------------------------------------------------


def planning_notes(trial: Trial) -> tuple[str, ...]:
    """What to know before building heaps that a rule of heat is to be held against: kinds of heap
    that the rule does not speak of, heaps too small for it; nothing where the plan names no rule.
    """
    if not trial.hygiene:
        return ()
    asked = science.rule(trial.hygiene)
    least = float(science.rule_file()["small"]["volume_m3"])
    notes: list[str] = []
    empty = science.History({})
    none, as_if, small = [], [], []
    for heap in trial.heaps:
        kinds, _ = _kinds(trial, HeapRecord(heap, None))
        found = science.judge(asked, kinds, empty)
        if found.verdict == "no category fits":
            none.append(heap.name)
        elif found.as_if:
            as_if.append(heap.name)
        if heap.volume_m3 is not None and heap.volume_m3.typical < least:
            small.append(heap.name)
    if none:
        notes.append(
            f"{asked.named}: no category of it fits heap {', '.join(none)}; a piped or untouched "
            "heap is no heap with forced air"
        )
    if as_if:
        notes.append(
            f"{asked.named}: written for windrows; heap {', '.join(as_if)} would be read as if it "
            "were one"
        )
    gap_d = float(science.rule_file()["gap"]["daily"]["hours"]) / 24
    if trial.rounds.every_d > gap_d:
        notes.append(
            f"{asked.named}: rounds every {trial.rounds.every_d:g} days leave gaps that count "
            "against; it takes a round a day while the heaps are hot"
        )
    if small:
        notes.append(
            f"{asked.named}: a heap of less than about {least:g} m3 seldom passes, since its edge "
            f"stays cold ({', '.join(small)})"
        )
    return tuple(notes)
