"""The work a plan asks for, as dated tasks: turns, rounds, checks, pipes, first and last measures.

Units: ages and spans in days, work in minutes; dates and hours are those of the clock of the place.
Conventions: a day of work is a local calendar date; only rounds have an hour (sunrise or a clock
time). Without a time zone the clock is the one on the wall, as it is typed (kept as UTC). The key
of a task counts from the build ("turn A 2"), so that it stays the same when dates move.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from itertools import pairwise

from heapwright.domain.heap import Heap
from heapwright.domain.trial import Trial
from heapwright.domain.when import local_zone
from heapwright.planning import workwords as words
from heapwright.planning.task import TASK_KINDS, Sunrise, Task, at_clock
from heapwright.science.values import value
from heapwright.units import REGISTER, Ranged

__all__ = ["work_calendar"]

_FALLBACK = time(7)
#: A round this close to the edge of a window covers it [day]; as in the findings.
_SLACK_D = 0.5


@dataclass(frozen=True, slots=True)
class _Heap:
    """A heap with the local time it was (or would be) built."""

    heap: Heap
    built: datetime
    provisional: bool

    def day(self, age_d: float) -> date:
        """The local date at which it has this age."""
        return (self.built + timedelta(days=age_d)).date()


def work_calendar(
    trial: Trial, *, now: datetime, sunrise: Sunrise | None = None
) -> tuple[Task, ...]:
    """All work of a trial from the build to its end date, in order of time.

    Parameters
    ----------
    trial : Trial
        Heaps without a way (lots not drawn) get no turns and no pipes.
    now : datetime
        Aware; heaps without a building day are dated as if built today (``provisional``).
    sunrise : callable, optional
        Local date to local sunrise, None where the sun does not rise. Not given: rounds that are
        walked at sunrise stand at 07:00 and their note says what a place would sharpen.

    Returns
    -------
    tuple of Task
        No work is dated after the end date of the trial.

    Examples
    --------
    >>> from heapwright.domain.trial import Locked
    >>> from heapwright.domain.way import Treatment
    >>> locked = Locked("Which?", "mean_excess_c", "C", (5.0, 20.0), date(2026, 5, 25), None, 4.0,
    ...                 "turned", (("turned", "turned"),), 1)
    >>> built = datetime(2026, 5, 1, 12, tzinfo=UTC)
    >>> trial = Trial("Ferncombe", locked, ways=(Treatment("turned", "turned", 5, 14),),
    ...               heaps=(Heap("A", "turned", built=built),))
    >>> [t.due.isoformat() for t in work_calendar(trial, now=built) if t.kind == "turn"]
    ['2026-05-06', '2026-05-20']
    """
    zone = local_zone(trial.place.time_zone)
    today = now.astimezone(zone)
    heaps = [_started(h, today, zone) for h in trial.heaps]
    if not heaps:
        return ()
    tasks = [_first_measures(trial, h) for h in heaps]
    for heap in heaps:
        tasks += _turns(trial, heap)
        tasks += _pipes(trial, heap)
    tasks += _rounds(trial, heaps, zone, sunrise)
    tasks += _water_checks(trial, heaps)
    tasks += _last(trial, heaps)
    ends = trial.locked.ends
    kept = [t for t in tasks if t.due <= ends]
    return tuple(sorted(kept, key=_order))


def _order(task: Task) -> tuple[date, int, str, str]:
    return task.due, TASK_KINDS.index(task.kind), str(task.at or ""), task.key


def _started(heap: Heap, today: datetime, zone: tzinfo) -> _Heap:
    if heap.built is not None:
        return _Heap(heap, heap.built.astimezone(zone), False)
    return _Heap(heap, datetime.combine(today.date(), time(12), tzinfo=zone), True)


def _minutes(key: str, times: float = 1.0) -> Ranged:
    return value("labour", key).ranged.scaled(times)


def _sum(a: Ranged, b: Ranged) -> Ranged:
    return Ranged(a.typical + b.typical, a.low + b.low, a.high + b.high)


def _from(key: str) -> str:
    found = value("labour", key)
    return found.seen if found.seen.startswith("common") else f"{found.source} ({found.seen})"


def _first_measures(trial: Trial, heap: _Heap) -> Task:
    name = heap.heap.name
    return Task(
        key=f"first {name}",
        kind="first measures",
        heaps=(name,),
        due=heap.built.date(),
        stem="First measures of {} (now or never)",
        reason=words.FIRST_REASON,
        minutes=_minutes("baseline_minutes"),
        minutes_from=_from("baseline_minutes"),
        skipping_costs=words.FIRST_COSTS,
        parts=words.FIRST_PARTS,
        provisional=heap.provisional,
        span_d=(7.0, 3.0),
    )


def _age(days: float) -> str:
    return f"{days:g} day" if days == 1 else f"{days:g} days"


def _volume(heap: Heap) -> tuple[Ranged, str]:
    if heap.volume_m3 is not None:
        return heap.volume_m3, ""
    unknown = value("labour", "turned_volume_m3").ranged
    return unknown, (
        f"volume not given, taken as {unknown.low:g} to {unknown.high:g} m3: the volume of "
        f"{heap.name} would sharpen the minutes"
    )


def _turns(trial: Trial, heap: _Heap) -> list[Task]:
    if heap.heap.way is None:
        return []
    way = trial.way(heap.heap.way)
    if way.kind != "turned":
        return []
    name, ends = heap.heap.name, trial.locked.ends
    volume, note = _volume(heap.heap)
    rate = _minutes("turn_minutes_per_m3")
    minutes = Ranged(volume.typical * rate.typical, volume.low * rate.low, volume.high * rate.high)
    ages = way.turn_ages_d((ends - heap.built.date()).days)
    gaps = [b - a for a, b in pairwise(ages)]
    tasks = []
    for k, age in enumerate(ages):
        due = heap.day(age)
        before = gaps[k - 1] / 2 if k else max(age - 0.5, 0.5)
        after = gaps[k] / 2 if k < len(gaps) else max((ends - due).days, 1)
        last = words.TURN_AT_END if (ends - due).days <= 1 else ""
        tasks.append(
            Task(
                key=f"turn {name} {k + 1}",
                kind="turn",
                heaps=(name,),
                due=due,
                stem="Turn {}",
                reason=f"turn {k + 1} of {len(ages)} in the plan, at an age of {_age(age)}",
                minutes=minutes,
                minutes_from=_from("turn_minutes_per_m3"),
                skipping_costs=words.TURN_COSTS,
                note="; ".join(n for n in (note, last) if n),
                provisional=heap.provisional,
                span_d=(before, after),
            )
        )
    return tasks


def _pipes(trial: Trial, heap: _Heap) -> list[Task]:
    if heap.heap.way is None:
        return []
    vent = trial.way(heap.heap.way).vent
    if vent is None:
        return []
    name, whole = heap.heap.name, (3660.0, 3660.0)
    tasks = []
    for kind, age, minutes, costs in (
        ("open pipes", vent.open_after_d, "open_minutes", words.OPEN_COSTS),
        ("pull pipes", vent.pull_after_d, "pull_minutes", words.PULL_COSTS),
    ):
        if age is None:
            continue
        verb = kind.split()[0]
        pipe = "the pipe" if vent.pipes == 1 else f"the {vent.pipes} pipes"
        tasks.append(
            Task(
                key=f"{kind} {name}",
                kind="open pipes" if verb == "open" else "pull pipes",
                heaps=(name,),
                due=heap.day(age),
                stem=f"{verb.capitalize()} {pipe} of {{}}",
                reason=f"the plan has them {'opened' if verb == 'open' else 'pulled'} at an age "
                f"of {_age(age)}",
                minutes=_minutes(minutes, vent.pipes),
                minutes_from=_from(minutes),
                skipping_costs=costs,
                provisional=heap.provisional,
                span_d=whole,
            )
        )
    return tasks


# --- rounds ------------------------------------------------------------------------------------


def _hour(day: date, trial: Trial, zone: tzinfo, sunrise: Sunrise | None) -> tuple[datetime, str]:
    """When a round of *day* is walked, and what there is to say about the hour."""
    if trial.rounds.at != "sunrise":
        hour, minute = trial.rounds.at.split(":")
        return at_clock(day, time(int(hour), int(minute)), zone)
    if sunrise is None:
        moment, note = at_clock(day, _FALLBACK, zone)
        return moment, "; ".join(n for n in (words.no_place(trial.place), note) if n)
    risen = sunrise(day)
    if risen is None:
        moment, note = at_clock(day, _FALLBACK, zone)
        return moment, "; ".join(n for n in (words.NO_SUNRISE, note) if n)
    return risen.astimezone(zone).replace(second=0, microsecond=0), ""


def _rounds(trial: Trial, heaps: list[_Heap], zone: tzinfo, sunrise: Sunrise | None) -> list[Task]:
    rule, ends = trial.rounds, trial.locked.ends
    first = min(h.built for h in heaps)
    day = (first + timedelta(days=rule.first_after_d)).date()
    if _hour(day, trial, zone, sunrise)[0] < first:
        day += timedelta(days=1)
    step = max(rule.every_d, 1.0)
    half = step / 2
    reason = f"the plan walks every {_age(rule.every_d)}"
    if rule.every_d < 1:
        reason += "; this calendar holds one round a day"
    tasks: list[Task] = []
    offset = 0.0
    while day + timedelta(days=int(offset)) <= ends:
        on = day + timedelta(days=int(offset))
        moment, note = _hour(on, trial, zone, sunrise)
        there = [h for h in heaps if h.built <= moment]
        if there:
            tasks.append(_round(trial, f"round {len(tasks) + 1}", there, on, moment, reason, note))
        offset += step
    tasks = [replace(t, span_d=(half, half)) for t in tasks]
    if _is_temperature(trial):
        tasks = _cover_window(trial, heaps, tasks, zone, sunrise)
    return tasks


def _round(
    trial: Trial,
    key: str,
    heaps: list[_Heap],
    on: date,
    moment: datetime | None,
    reason: str,
    note: str,
) -> Task:
    names = tuple(h.heap.name for h in heaps)
    readings = len(names) * max(len(trial.spots), 1)
    walk, each = _minutes("round_minutes"), _minutes("reading_minutes", readings)
    return Task(
        key=key,
        kind="round",
        heaps=names,
        due=on,
        at=moment,
        stem="Round over {}",
        reason=reason,
        minutes=_sum(walk, each),
        minutes_from=_from("reading_minutes"),
        skipping_costs=words.round_costs(),
        note=note,
        provisional=any(h.provisional for h in heaps),
        short_minutes=_sum(walk, _minutes("reading_minutes", len(names))),
        short_way="one spot in every heap, the same one as always",
    )


def _is_temperature(trial: Trial) -> bool:
    return REGISTER[trial.locked.decides].unit in ("delta_degC", "degC")


def _cover_window(
    trial: Trial, heaps: list[_Heap], tasks: list[Task], zone: tzinfo, sunrise: Sunrise | None
) -> list[Task]:
    """Rounds that open and close the window for every heap; those that stand alone say so."""
    low, high = trial.locked.window_d
    for edge, age in (("start", low), ("end", high)):
        missing = [h for h in heaps if not _covering(h, tasks, edge, age)]
        for day in sorted({h.day(age) for h in missing}):
            of_day = [h for h in missing if h.day(age) == day]
            on, moment, note = _edge_moment(trial, of_day, edge, age, zone, sunrise)
            reason = f"it covers the {edge} of the window (day {age:g}) that decides"
            key = f"round window {edge} " + " ".join(h.heap.name for h in of_day)
            tasks.append(_round(trial, key, of_day, on, moment, reason, note))
        alone: dict[str, list[str]] = {}
        for heap in heaps:
            keys = _covering(heap, tasks, edge, age)
            if len(keys) == 1:
                alone.setdefault(keys[0], []).append(heap.heap.name)
        tasks = [
            replace(t, skipping_costs=words.only_round(alone[t.key], edge, age))
            if t.key in alone
            else t
            for t in tasks
        ]
    return tasks


def _covering(heap: _Heap, tasks: Iterable[Task], edge: str, age: float) -> list[str]:
    """Keys of the rounds that reach this edge of the window for this heap."""
    keys = []
    for task in tasks:
        if heap.heap.name not in task.heaps:
            continue
        if task.at is None:
            keys += [task.key] if edge == "start" and task.due == heap.built.date() else []
            continue
        at_age = (task.at.astimezone(UTC) - heap.built.astimezone(UTC)) / timedelta(days=1)
        if at_age <= age + _SLACK_D if edge == "start" else at_age >= age - _SLACK_D:
            keys.append(task.key)
    return keys


def _edge_moment(
    trial: Trial,
    heaps: list[_Heap],
    edge: str,
    age: float,
    zone: tzinfo,
    sunrise: Sunrise | None,
) -> tuple[date, datetime | None, str]:
    """Date, hour and note of an extra round at an edge of the window."""
    on = heaps[0].day(age)
    moment, note = _hour(on, trial, zone, sunrise)
    if edge == "start":
        if moment < max(h.built for h in heaps):
            return on, None, words.AS_SOON_AS_BUILT
        return on, moment, note
    latest = max(h.built + timedelta(days=age - _SLACK_D) for h in heaps)
    if moment < latest:
        on += timedelta(days=1)
        moment, note = _hour(on, trial, zone, sunrise)
    return on, moment, note


# --- water and the end -------------------------------------------------------------------------


def _water_checks(trial: Trial, heaps: list[_Heap]) -> list[Task]:
    every = trial.water.every_d
    if every is None:
        return []
    every = max(every, 1.0)
    first = min(h.built for h in heaps)
    tasks: list[Task] = []
    offset = every
    while (on := (first + timedelta(days=offset)).date()) <= trial.locked.ends:
        there = [h for h in heaps if h.built.date() < on]
        if there:
            names = tuple(h.heap.name for h in there)
            tasks.append(
                Task(
                    key=f"water {len(tasks) + 1}",
                    kind="water check",
                    heaps=names,
                    due=on,
                    stem="Squeeze check of {}",
                    reason=words.water_reason(trial.water),
                    minutes=_minutes("check_minutes", len(names)),
                    minutes_from=_from("check_minutes"),
                    skipping_costs=words.WATER_COSTS,
                    provisional=any(h.provisional for h in there),
                    span_d=(every / 2, every / 2),
                )
            )
        offset += every
    return tasks


def _last(trial: Trial, heaps: list[_Heap]) -> list[Task]:
    """The sample that decides (if one age decides), the last measures, and the end date."""
    locked = trial.locked
    names = tuple(h.heap.name for h in heaps)
    tasks: list[Task] = []
    low, high = locked.window_d
    sampled = not _is_temperature(trial)
    before_end = locked.ends - timedelta(days=1)
    for heap in heaps if sampled else ():
        due = min(heap.day(high), before_end)
        meaning = REGISTER[locked.decides].meaning
        tasks.append(
            Task(
                key=f"decides {heap.heap.name}",
                kind="final measures",
                heaps=(heap.heap.name,),
                due=due,
                stem=f"Measure what decides, {meaning}, in {{}}",
                reason=f"the plan takes it at an age of {words.ages(low, high)}",
                minutes=_minutes("final_minutes"),
                minutes_from=_from("final_minutes"),
                skipping_costs=words.FINAL_COSTS,
                parts=(words.part_of(locked.decides),),
                provisional=heap.provisional,
                span_d=(max(high - low, 1.0) + 0.5, 3.0),
            )
        )
    provisional = any(h.provisional for h in heaps)
    tasks.append(
        Task(
            key="final",
            kind="final measures",
            heaps=names,
            due=before_end,
            stem="Last measures of {}",
            reason=f"the trial ends on {words.long_day(locked.ends)}; afterwards heaps get moved",
            minutes=_minutes("final_minutes", len(names)),
            minutes_from=_from("final_minutes"),
            skipping_costs=words.LAST_COSTS,
            parts=words.FINAL_PARTS,
            provisional=provisional,
            span_d=(3.0, 3.0),
        )
    )
    tasks.append(
        Task(
            key="end",
            kind="end date",
            heaps=names,
            due=locked.ends,
            stem=f"{trial.name} ends: ask for the findings",
            reason="locked before the build; before it nothing may be claimed",
            minutes=_minutes("end_minutes"),
            minutes_from=_from("end_minutes"),
            skipping_costs=words.END_COSTS,
            provisional=provisional,
            span_d=(0.0, 3660.0),
        )
    )
    return tasks
