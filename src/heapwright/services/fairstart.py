"""Whether heaps ran alike while they were still treated alike.

Units: heap age [d], degrees C. Conventions: a common phase lasts until the first way differs; it
shows a fair start and never shrinks a range.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import inf

from heapwright.domain.trial import Trial
from heapwright.errors import HeapwrightError
from heapwright.services.heapvalues import excess_of
from heapwright.services.record import TrialRecord
from heapwright.stats.outcomes import OUTCOMES
from heapwright.stats.series import heap_value

__all__ = ["FairStart", "common_until", "fair_start", "starts", "thinned"]


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


def common_until(record: TrialRecord) -> float:
    """Heap age until which all ways are handled alike [d]; inf when the plan does not say.

    0 where ways differ in something that is not timed: a factor, a note, or nothing but the name.
    """
    return _alike_until(record.plan.trial)


def _alike_until(trial: Trial) -> float:
    said = [w.details.removesuffix(w.note) for w in trial.ways]
    untimed = len({w.note for w in trial.ways}) > 1 or len(set(said)) < len(said)
    if len(trial.ways) > 1 and (trial.factors or untimed):
        return 0.0
    return min((w.differs_from_d() for w in trial.ways), default=inf)


def thinned(trial: Trial) -> str:
    """What to say where days on which all heaps are treated alike count in the window; "" if none.

    A way that is switched on midway differs from then on only, and a mean over earlier days shows
    less of what it did.
    """
    low, high = trial.locked.window_d
    until = _alike_until(trial)
    if len(trial.ways) < 2 or _kind(trial) != "temperature" or not low < until:
        return ""
    if until >= high:
        return (
            f"No way differs from another before day {until:g}, so nothing that counts (day "
            f"{low:g} to {high:g}) can show a difference."
            if until < inf
            else "By the plan no way ever differs from another."
        )
    return (
        f"All heaps are treated alike until day {until:g}, and the window begins on day {low:g}: "
        "those days thin out what the way did. The next trial could count from that day on."
    )


def _kind(trial: Trial) -> str:
    """The kind of the deciding outcome; "" for one that is only written down."""
    what = OUTCOMES.get(trial.locked.decides)
    return what.kind if what else ""


def starts(
    record: TrialRecord, by_way: Mapping[str, Mapping[str, float]]
) -> dict[str, dict[str, float]] | None:
    """Mean degrees above air of every heap over the common phase; None without one."""
    until = min(common_until(record), record.plan.locked.window_d[0])
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
                name: heap_value(excess_of(record, record.heaps[name], window), window).value
                for name in heaps
            }
            for way, heaps in by_way.items()
        }
    except (HeapwrightError, ValueError):
        return None


def fair_start(record: TrialRecord) -> FairStart:
    """Whether the start of a trial was fair, in numbers and in a sentence."""
    until = common_until(record)
    if len(record.plan.trial.ways) < 2:
        return FairStart(until, None, "All heaps are treated alike.")
    if until == inf:
        return FairStart(
            until, None, "The plan does not say from when on the ways differ, so no common phase "
            "can show whether the start was fair.",
        )  # fmt: skip
    if until <= 0:
        named = [w.name for w in record.plan.trial.ways if w.differs_from_d() <= 0]
        if not named:
            return FairStart(
                until, None, "What differs between the ways may have differed from the build on, "
                "so no common phase can show whether the start was fair.",
            )  # fmt: skip
        return FairStart(
            until, None,
            f"Heaps of {' and '.join(named)} differed from the others from the build on, so no "
            "common phase can show whether the start was fair.",
        )  # fmt: skip
    every = {w: {h.name: 0.0 for h in heaps} for w, heaps in record.by_way().items()}
    found = starts(record, every)
    if found is None:
        return FairStart(
            until, None,
            f"All heaps were treated alike until day {until:g}, but too few readings were taken "
            "by then to show whether the start was fair.",
        )  # fmt: skip
    values = [v for heaps in found.values() for v in heaps.values()]
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
