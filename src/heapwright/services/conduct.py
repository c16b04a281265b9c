"""What was done against what was planned, and what else differed between the ways.

Units: days, litres per cubic metre, cubic metres, shares 0 to 1.
Conventions: a difference is named when it is past its limit (`LIMITS`, common practice, no
source: each is about what a careful person would want to be told); it is named, never corrected
for. A deviation is a fact about one heap, with its date. What nobody wrote down is not taken for
undone where no work was written down at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from heapwright.domain.entries import Event
from heapwright.services.record import HeapRecord, TrialRecord

__all__ = ["LIMITS", "Deviation", "deviations", "handled_otherwise", "what_else_differed"]

#: From which difference between two ways a thing is named: start [d], water per m3 [ratio],
#: size [ratio], leafiness [share], distance to a pipe [m], days a turn may slip.
LIMITS = {
    "start_d": 2.0,
    "water_ratio": 1.25,
    "water_l_m3": 10.0,
    "size_ratio": 1.15,
    "leafiness": 0.05,
    "pipe_m": 0.10,
    "turn_slip_d": 3.0,
    "round_gap": 1.9,
}

_NO_WORK = ("built", "lost")  # events that show nothing of the work that heaps got


@dataclass(frozen=True, slots=True)
class Deviation:
    """One thing that was not as planned: kind, heap ("" for all), when, and a sentence.

    changes_way : True when the heap was handled as another way is, or never as its own.
    """

    kind: str
    heap: str
    on: date | None
    text: str
    changes_way: bool = False


def deviations(record: TrialRecord, *, now: datetime) -> tuple[Deviation, ...]:
    """Everything that was not as planned until *now*, by date."""
    found = _locking(record)
    for heap in record.heaps.values():
        found += _wrong_things(record, heap)
    found += _turns(record, now=now)
    found += _missed_rounds(record)
    return tuple(sorted(found, key=lambda d: (d.on or date.min, d.heap)))


def handled_otherwise(found: tuple[Deviation, ...]) -> tuple[str, ...]:
    """Names of heaps that were handled as another way is, never as their own, or lost."""
    return tuple(dict.fromkeys(d.heap for d in found if d.changes_way))


def _day(event: Event) -> date:
    return event.when.middle.date()


def _said(day: date) -> str:
    return f"{day.day} {day:%B}"


def _locking(record: TrialRecord) -> list[Deviation]:
    plan = record.plan
    built = [h.built for h in record.heaps.values() if h.built is not None]
    found = [
        Deviation(
            "edited", "", e.recorded.date(),
            f"The locked {e.part} was changed on {_said(e.recorded.date())} from {e.before} to "
            f"{e.after} ({e.why}); the locked one decides.",
        )
        for e in plan.edits
    ]  # fmt: skip
    if built and plan.locked_on.date() > min(built).date():
        late = (plan.locked_on - min(built)).days
        found.append(
            Deviation(
                "locked late", "", plan.locked_on.date(),
                f"The question was locked {late} days after the first heap was built, "
                "not before it.",
            )
        )  # fmt: skip
    return found


def _wrong_things(record: TrialRecord, heap: HeapRecord) -> list[Deviation]:
    """Turns of a heap that is not turned, vents in one that has none, covers, and losses."""
    way = record.plan.trial.way(heap.heap.way) if heap.heap.way else None
    foreign = {
        "turned": "turned",
        "vent opened": "vented",
        "covered": "covered",
        "air on": "forced air",
    }
    found = []
    for event in heap.events:
        needs = foreign.get(event.what)
        if event.what == "lost":
            text = f"Heap {heap.name} was lost on {_said(_day(event))}"
            text += f": {event.note}." if event.note else "."
            found.append(Deviation("lost", heap.name, _day(event), text, changes_way=True))
        elif way is not None and needs is not None and way.kind != needs:
            found.append(
                Deviation(
                    "wrong heap", heap.name, _day(event),
                    f"Heap {heap.name} was {event.what} on {_said(_day(event))}, though its way "
                    f"is {way.name}.",
                    changes_way=True,
                )
            )  # fmt: skip
    return found


def _turns(record: TrialRecord, *, now: datetime) -> list[Deviation]:
    """Planned turns that came late or not at all, inside the window that decides.

    One line for all where a turn is due and nobody logged any work: then nothing is known.
    """
    due = {heap.name: _due_turns(record, heap, now=now) for heap in record.heaps.values()}
    if not any(due.values()):
        return []
    if all(e.what in _NO_WORK for heap in record.heaps.values() for e in heap.events):
        text = "No work was logged at all, so nobody knows whether heaps were turned as planned."
        return [Deviation("turn", "", None, text)]
    return [d for h in record.heaps.values() for d in _turns_of(record, h, due[h.name])]


def _planned_turns(record: TrialRecord, heap: HeapRecord) -> tuple[float, ...]:
    """Ages [d] of the turns that were planned inside the window; none where no age is known."""
    if heap.heap.way is None or heap.built is None:
        return ()
    return record.plan.trial.way(heap.heap.way).turn_ages_d(record.plan.locked.window_d[1])


def _due_turns(record: TrialRecord, heap: HeapRecord, *, now: datetime) -> list[float]:
    """Ages [d] of the turns that may not still come, and that the heap lived to see."""
    planned = _planned_turns(record, heap)
    if not planned:
        return []
    latest = heap.age_d(now) - LIMITS["turn_slip_d"]
    if heap.lost is not None:
        latest = min(latest, heap.age_d(heap.lost.when.middle))
    return [age for age in planned if age <= latest]


def _turns_of(record: TrialRecord, heap: HeapRecord, due: list[float]) -> list[Deviation]:
    """The turns of one heap that slipped; a single line where no planned turn was ever done."""
    if not due or heap.heap.way is None:
        return []
    way = record.plan.trial.way(heap.heap.way)
    done = [heap.age_d(e.when.middle) for e in heap.events if e.what == "turned"]
    missed_d = max(LIMITS["turn_slip_d"], (way.every_d or 14) / 2)

    def slip(planned: float) -> float:
        return min((abs(age - planned) for age in done), default=float("inf"))

    if all(slip(planned) > missed_d for planned in _planned_turns(record, heap)):
        how = "turned on none of the planned days" if done else "never turned"
        text = f"Heap {heap.name} was {how}, though its way is {way.name}."
        return [Deviation("turn", heap.name, None, text, changes_way=True)]
    found = []
    for planned in due:
        late = slip(planned)
        if late > LIMITS["turn_slip_d"]:
            how = "was not done" if late > missed_d else f"came {late:.0f} days off"
            text = f"The turn of heap {heap.name} planned for day {planned:g} {how}."
            found.append(Deviation("turn", heap.name, None, text))
    return found


def _missed_rounds(record: TrialRecord) -> list[Deviation]:
    """Gaps between rounds clearly longer than planned."""
    every = record.plan.trial.rounds.every_d
    found = []
    gaps: dict[tuple[date, date], list[str]] = {}
    for heap in record.heaps.values():
        days = sorted({r.when.middle for r in heap.readings if r.quantity == "temp_c"})
        for before, after in pairwise(days):
            if (after - before).total_seconds() / 86400 > max(
                every * LIMITS["round_gap"], every + 1
            ):
                gaps.setdefault((before.date(), after.date()), []).append(heap.name)
    for (first, last), names in gaps.items():
        who = "any heap" if len(names) == len(record.heaps) else "heap " + ", ".join(names)
        found.append(
            Deviation(
                "missed rounds", "" if len(names) > 1 else names[0], first,
                f"Nobody read {who} between {_said(first)} and {_said(last)} "
                f"({(last - first).days} days; every {every:g} planned).",
            )
        )  # fmt: skip
    return found


# --- what else differed --------------------------------------------------------------------------


def what_else_differed(record: TrialRecord, way: str, control: str) -> tuple[str, ...]:
    """What differed between two ways besides the way itself, as sentences.

    Start, water per m3, size, leafiness, distance to a pipe, run-off; also what nobody knows.
    """
    ways = record.by_way()
    mine, theirs = ways[way], ways[control]
    if not mine or not theirs:
        return ()
    said: list[str] = []
    said += _start(mine, theirs, way)
    said += _water(mine, theirs, way, control)
    said += _size(mine, theirs, way, control)
    said += _leafiness(mine, theirs, way, control)
    said += _pipes(record, mine, theirs)
    said += _run_off(mine, theirs)
    return tuple(said)


def _mean_of(heaps: list[HeapRecord], value: Callable[[HeapRecord], float | None]) -> float | None:
    found = [v for v in map(value, heaps) if v is not None]
    return sum(found) / len(found) if len(found) == len(heaps) else None


def _start(mine: list[HeapRecord], theirs: list[HeapRecord], way: str) -> list[str]:
    a = _mean_of(mine, lambda h: h.built.timestamp() / 86400 if h.built else None)
    b = _mean_of(theirs, lambda h: h.built.timestamp() / 86400 if h.built else None)
    if a is None or b is None:
        return ["Nobody wrote down when every heap was built, so the starts cannot be compared."]
    if abs(a - b) > LIMITS["start_d"]:
        order = "later" if a > b else "earlier"
        return [f"The heaps of {way} were built {abs(a - b):.0f} days {order}."]
    built = [h.built for h in (*mine, *theirs) if h.built is not None]
    apart = (max(built) - min(built)).total_seconds() / 86400
    if apart > LIMITS["start_d"]:
        return [f"The heaps were built up to {apart:.0f} days apart, on average at the same time."]
    return []


def _per_m3(heap: HeapRecord) -> float | None:
    water = heap.total("water_l") or 0.0
    return water / heap.volume_m3 if heap.volume_m3 else None


def _water(mine: list[HeapRecord], theirs: list[HeapRecord], way: str, control: str) -> list[str]:
    if all(h.total("water_l") is None for h in (*mine, *theirs)):
        return ["No watering was noted for any heap."]
    a, b = _mean_of(mine, _per_m3), _mean_of(theirs, _per_m3)
    if a is None or b is None:
        return ["Water per cubic metre is unknown, because not every heap has a volume."]
    if abs(a - b) > LIMITS["water_l_m3"] and max(a, b) > LIMITS["water_ratio"] * min(a, b):
        return [f"{way} got {a:.0f} litres of water a cubic metre, {control} {b:.0f}."]
    return []


def _size(mine: list[HeapRecord], theirs: list[HeapRecord], way: str, control: str) -> list[str]:
    a, b = _mean_of(mine, lambda h: h.volume_m3), _mean_of(theirs, lambda h: h.volume_m3)
    if a is None or b is None:
        return ["Not every heap has a volume, so the sizes cannot be compared."]
    if max(a, b) > LIMITS["size_ratio"] * min(a, b):
        return [f"Heaps of {way} held {a:.2g} m3, those of {control} {b:.2g} m3."]
    return []


def _leafiness(
    mine: list[HeapRecord], theirs: list[HeapRecord], way: str, control: str
) -> list[str]:
    a, b = _mean_of(mine, lambda h: h.heap.leafiness), _mean_of(theirs, lambda h: h.heap.leafiness)
    if a is None or b is None:
        return ["Nobody scored how leafy the loads were, so a leafier mix could explain a gap."]
    if abs(a - b) > LIMITS["leafiness"]:
        return [f"{way} was {a:.0%} leafy, {control} {b:.0%}."]
    return []


def _pipes(record: TrialRecord, mine: list[HeapRecord], theirs: list[HeapRecord]) -> list[str]:
    """Spots near a pipe in one way and without a pipe in the other read different things."""
    vented = [h for h in (*mine, *theirs) if h.heap.way and record.plan.trial.way(h.heap.way).vent]
    if not vented:
        return []
    near: list[str] = []
    for heap in vented:
        for spot in {r.spot for r in heap.readings}:
            known = next(
                (r.pipe_distance_m for r in heap.readings
                 if r.spot == spot and r.pipe_distance_m is not None), None,
            )  # fmt: skip
            planned = next((s for s in record.plan.trial.spots if s.name == spot), None)
            distance = known if known is not None else getattr(planned, "pipe_distance_m", None)
            if distance is None:
                near.append(f"{heap.name} {spot}: distance to its pipe unknown")
            elif distance < 0.3:
                near.append(f"{heap.name} {spot}: {distance * 100:.0f} cm from a pipe")
    if not near:
        return ["Vented heaps were read at least 30 cm from a pipe; nearer they would be cooler."]
    return ["Some readings were taken beside a pipe: " + "; ".join(sorted(near)) + "."]


def _run_off(mine: list[HeapRecord], theirs: list[HeapRecord]) -> list[str]:
    names = {h.name.lower() for h in (*mine, *theirs)}
    found = [
        f"{h.heap.downhill_of} into {h.name}"
        for h in (*mine, *theirs)
        if h.heap.downhill_of and h.heap.downhill_of.lower() in names
    ]
    return ["On this slope water may run from heap " + ", ".join(found) + "."] if found else []
