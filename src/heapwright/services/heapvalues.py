"""One number a heap: every outcome as it is taken from the record of a trial.

Units: those of the outcome. Conventions: temperatures over the locked window, or before the end
over as much of it as every standing heap covers; samples from the last day they were taken; what is
counted over all dishes or fields of that day. A heap that was lost and has no value is left out and
named in a note; any other heap without one is an error, but for minutes and litres.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from heapwright.domain.entries import Event, Sample
from heapwright.errors import NotEnoughError
from heapwright.services.doings import out_of
from heapwright.services.record import HeapRecord, TrialRecord
from heapwright.stats import described
from heapwright.stats.outcomes import outcome
from heapwright.stats.series import HeapExcess, excess_series, heap_value

__all__ = ["compared_heaps", "counted_in", "excess_of", "heap_outcomes", "window_of"]

#: what takes minutes, and what takes litres: done without a number, it makes a total too low
_TAKES = {
    "minutes": (
        "turned", "watered", "covered", "uncovered", "vent opened", "vent plugged", "vent pulled",
    ),
    "water_l": ("watered",),
}  # fmt: skip


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


def compared_heaps(record: TrialRecord) -> list[HeapRecord]:
    """Heaps that have a way (all of them when nothing is compared), lost ones among them."""
    heaps = [h for h in record.heaps.values() if h.heap.way is not None or not record.by_way()]
    return heaps or list(record.heaps.values())


def window_of(record: TrialRecord, *, ended: bool) -> tuple[float, float]:
    """Heap ages that temperatures are taken over [d]: the locked window, before the end cut where
    the first heap's readings end (itself when that is too early). Lost heaps do not cut it."""
    low, high = record.plan.locked.window_d
    if ended:
        return low, high
    heaps = compared_heaps(record)
    standing = [h for h in heaps if h.lost is None] or heaps
    last = [max((h.age_d(r.when.middle) for r in h.readings), default=0.0) for h in standing]
    covered = min(last, default=0.0)
    return (low, min(high, covered)) if covered > low + 1 else (low, high)


def _each(
    record: TrialRecord, value: Callable[[HeapRecord], float]
) -> tuple[dict[str, float], list[str]]:
    """*value* of every heap; a lost heap without one is left out with a note, others raise."""
    values: dict[str, float] = {}
    notes: list[str] = []
    for heap in compared_heaps(record):
        try:
            values[heap.name] = value(heap)
        except NotEnoughError as error:
            if heap.lost is None:
                raise
            notes.append(f"Heap {heap.name} was lost and has no value: {error.what}.")
    return values, notes


def _temperatures(
    record: TrialRecord, key: str, *, ended: bool
) -> tuple[dict[str, float], list[str]]:
    window = window_of(record, ended=ended)
    flags: list[str] = []

    def value(heap: HeapRecord) -> float:
        excess = excess_of(record, heap, window)
        found = _measure(excess, window, key)
        flags.extend(f"About the readings: {flag}." for flag in excess.flags)
        return found

    values, notes = _each(record, value)
    if window != record.plan.locked.window_d:
        notes.insert(0, f"So far over heap ages {window[0]:.0f} to {window[1]:.0f} days only.")
    return values, [*notes, *dict.fromkeys(flags)]


def excess_of(
    record: TrialRecord, heap: HeapRecord, window: tuple[float, float] | None = None
) -> HeapExcess:
    """Degrees above air of a heap, one value a round; errors as `stats.series.excess_series`."""
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
    """Minutes or litres over all that was done: 0 only where nothing was done that takes any."""
    heaps = compared_heaps(record)
    noun = "minutes" if key == "minutes" else "litres"
    if all(h.total(key) is None for h in heaps):
        raise NotEnoughError(
            f"nobody noted any {noun}", field=key, way_out="Note them with each turn and watering"
        )
    notes: list[str] = []
    values: dict[str, float] = {}
    for heap in heaps:
        done = [e for e in heap.events if e.what in _TAKES[key]]
        bare = [e for e in done if getattr(e, key) is None]
        total = heap.total(key)
        if (done and len(bare) == len(done)) or (heap.lost is not None and total is None):
            notes.append(_without(heap, noun, bare))
            continue
        values[heap.name] = total or 0.0
        if bare:
            notes.append(
                f"Heap {heap.name}: {len(bare)} of {len(done)} entries "
                f"({_kinds(bare)}) have no {noun}, so its total is too low."
            )
        if heap.lost is not None:
            notes.append(f"Heap {heap.name} was lost, and its {noun} end there.")
    return values, notes


def _without(heap: HeapRecord, noun: str, bare: list[Event]) -> str:
    """Why a heap has no minutes or litres, and what to do."""
    if heap.lost is not None:
        return f"Heap {heap.name} was lost and has no value: no {noun} were noted for its work."
    which = f"none of its {len(bare)} entries has" if len(bare) > 1 else "its one entry has no"
    return (
        f"Heap {heap.name} has no value, because {which} {noun} ({_kinds(bare)}). Add them: "
        f"heapwright correct ID --{noun} NUMBER, with the ID that heapwright history shows."
    )


def _kinds(events: list[Event]) -> str:
    return ", ".join(dict.fromkeys(e.what for e in events))


def _in_window(
    record: TrialRecord, heap: HeapRecord, key: str, taken: list[Sample]
) -> list[Sample]:
    """Of the deciding outcome what was taken inside the window, give or take a day, where the age
    of the heap is known; of others everything."""
    if key != record.plan.locked.decides or heap.built is None:
        return taken
    low, high = record.plan.locked.window_d
    return [s for s in taken if low - 1 <= heap.age_d(s.when.middle) <= high + 1]


def _of_last_day(taken: list[Sample]) -> list[Sample]:
    last = max(s.when.middle for s in taken)
    return [s for s in taken if last - s.when.middle < timedelta(days=1)]


def _final_samples(record: TrialRecord, key: str) -> tuple[dict[str, float], list[str]]:
    """The last sample of each heap: the mean of that day's."""
    shared: list[str] = []

    def value(heap: HeapRecord) -> float:
        taken = [s for s in heap.samples if s.quantity == key and s.part == "whole"]
        taken = _in_window(record, heap, key, taken)
        if not taken:
            raise NotEnoughError(
                f"heap {heap.name} has no sample of {outcome(key).title} that counts", field=key,
                way_out=f"Log it: heapwright log sample {heap.name} {key} VALUE",
            )  # fmt: skip
        same_day = _of_last_day(taken)
        if any("not independent" in s.note for s in same_day):
            shared.append("Some batches share a yield or a feed and are not independent.")
        return sum(s.value for s in same_day) / len(same_day)

    values, notes = _each(record, value)
    return values, [*notes, *dict.fromkeys(shared)]


def _last_counts(record: TrialRecord, heap: HeapRecord, key: str) -> list[Sample]:
    """What was counted of a heap on the last day of counting: every dish, every field."""
    taken = _in_window(record, heap, key, [s for s in heap.samples if s.quantity == key])
    if not taken:
        raise NotEnoughError(
            f"nothing was counted for {outcome(key).title} in heap {heap.name}",
            field=key,
            way_out=f"Log it: heapwright log sample {heap.name} {key} COUNT --part NAME",
        )
    return _of_last_day(taken)


def counted_in(record: TrialRecord, key: str) -> dict[str, float]:
    """By heap, what an outcome that is counted was counted in: seeds sown, fields looked at.

    The heaps are those that `heap_outcomes` gives a value.
    """
    share = outcome(key).model == "share"

    def exposure(heap: HeapRecord) -> float:
        last = _last_counts(record, heap, key)
        return sum(out_of(s.basis) or 1.0 for s in last) if share else float(len(last))

    return _each(record, exposure)[0]


def _counted(record: TrialRecord, key: str) -> tuple[dict[str, float], list[str]]:
    """Seedlings over seeds sown, or the mean number a field, over all dishes and fields."""
    share = outcome(key).model == "share"

    def value(heap: HeapRecord) -> float:
        last = _last_counts(record, heap, key)
        weights = [out_of(s.basis) or 1.0 if share else 1.0 for s in last]
        return sum(s.value * w for s, w in zip(last, weights, strict=True)) / sum(weights)

    return _each(record, value)
