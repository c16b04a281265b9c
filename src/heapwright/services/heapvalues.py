"""One number a heap: every outcome as it is taken from the record of a trial.

Units: those of the outcome. Conventions: temperatures over the locked window, or before the end
over as much of it as every heap covers; samples from the last day they were taken; what is counted
over all dishes or fields of that day.
"""

from __future__ import annotations

from datetime import timedelta

from heapwright.domain.entries import Sample
from heapwright.errors import NotEnoughError
from heapwright.services.doings import out_of
from heapwright.services.record import HeapRecord, TrialRecord
from heapwright.stats import described
from heapwright.stats.outcomes import outcome
from heapwright.stats.series import HeapExcess, excess_series, heap_value

__all__ = ["alive", "counted_in", "excess_of", "heap_outcomes", "window_of"]


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


def alive(record: TrialRecord) -> list[HeapRecord]:
    """Heaps that have a way (or all, when nothing is compared) and were not lost early."""
    heaps = [h for h in record.heaps.values() if h.heap.way is not None or not record.by_way()]
    return heaps or list(record.heaps.values())


def window_of(record: TrialRecord, *, ended: bool) -> tuple[float, float]:
    """Heap ages that temperatures are taken over [d]: the locked window, before the end cut where
    the first heap's readings end (itself when that is too early)."""
    low, high = record.plan.locked.window_d
    if ended:
        return low, high
    last = [max((h.age_d(r.when.middle) for r in h.readings), default=0.0) for h in alive(record)]
    covered = min(last, default=0.0)
    return (low, min(high, covered)) if covered > low + 1 else (low, high)


def _temperatures(
    record: TrialRecord, key: str, *, ended: bool
) -> tuple[dict[str, float], list[str]]:
    window = window_of(record, ended=ended)
    values: dict[str, float] = {}
    notes: list[str] = []
    if window != record.plan.locked.window_d:
        notes.append(f"So far over heap ages {window[0]:.0f} to {window[1]:.0f} days only.")
    for heap in alive(record):
        try:
            excess = excess_of(record, heap, window)
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
    heaps = alive(record)
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
    for heap in alive(record):
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
    for heap in alive(record):
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
    for heap in alive(record):
        last = _last_counts(record, heap, key)
        weights = [out_of(s.basis) or 1.0 if share else 1.0 for s in last]
        total = sum(s.value * w for s, w in zip(last, weights, strict=True))
        values[heap.name] = total / sum(weights)
    return values, []
