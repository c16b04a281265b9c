"""Advice for a heap in the book: what it is like, what each act would buy, what the plan wants.

Units: degrees C, days, litres a minute. Conventions: the heap is fitted with its trial
(`heapwright.services.learning`), run on under each act (`heapwright.inference.whatif`), and judged
by rules (`heapwright.planning.advice`). What the book knows is filled in; squeeze and smell are
what the keeper says now, else what was noted at the heap a short while ago. A trial runs while it
has two heaps or more, this one has a way, and its locked end date is still to come.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from heapwright.domain.trial import Trial
from heapwright.domain.when import local_zone
from heapwright.errors import HeapwrightError, InputError, NotEnoughError
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.inference.whatif import Effect, WhatIf, what_if
from heapwright.planning.advice import Advised, Change, Situation, TrialSide, advise
from heapwright.planning.diagnosis import Diagnosis, Seen, diagnose
from heapwright.planning.sizing import flow_from_bucket
from heapwright.planning.today import Today
from heapwright.services.calendar import due_today
from heapwright.services.heapnow import core_read, rain_week, seen_of
from heapwright.services.learning import Task
from heapwright.services.noted import last_noted
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.services.settings import open_book
from heapwright.units import parse, parse_number

__all__ = ["AdviceFor", "advice_for", "check_seen", "hose_flow"]

#: Moisture that watering aims at where the plan says nothing, wet basis: 55 to 60 % at the start
#: (CWMI Cornell).
TARGET_WB = 0.55
_DUE = {
    "turn": "turn", "open pipes": "open pipes", "pull pipes": "pull pipes", "water check": "read",
    "round": "read",
}  # fmt: skip

Tell = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class AdviceFor:
    """Advice for a heap with all it stands on: heap; task and fitted; bought : what each act would
    buy; situation; seen and diagnosis : None where there is nothing to complain of; advised;
    hose : where the flow comes from, in words; noted : squeeze and smell that were read back from
    notes and not told, in words."""

    heap: str
    task: Task
    fitted: Fitted
    bought: WhatIf
    situation: Situation
    seen: Seen | None
    diagnosis: Diagnosis | None
    advised: Advised
    hose: str
    noted: tuple[str, ...] = ()


def hose_flow(text: str) -> float:
    """Litres a minute from a bucket test or as they are.

    Raises `QuantityError` or `InputError` for what cannot be read.

    >>> hose_flow("10 L/25 s"), hose_flow("15 L/min")
    (24.0, 15.0)
    """
    timed = re.fullmatch(
        r"\s*(.+?)\s*(?:/|\bin\b)\s*(\d[\d.,]*)\s*(s|sec|seconds?|min|minutes?)\s*", text
    )
    if timed is not None:
        container = parse(timed[1], "container_l", field="hose").typical
        times = 60.0 if timed[3].startswith("m") else 1.0
        return flow_from_bucket(container, times * parse_number(timed[2], field="hose"))
    try:
        return parse(text, "flow_l_min", field="hose").typical
    except HeapwrightError:
        raise InputError(
            "this says no flow", field="hose", value=text,
            way_out='Time a bucket of known size: --hose "10 L/25 s"',
        ) from None  # fmt: skip


def check_seen(squeeze: str | None, squeeze_skin: str | None, smell: str | None) -> None:
    """Refuse what is no answer of a squeeze or no smell, before anything is worked out.

    Raises `UnknownNameError`.
    """
    Seen(complaint="smells", squeeze_core=squeeze, squeeze_skin=squeeze_skin, smell=smell)


def advice_for(
    task: Task,
    fitted: Fitted,
    heap: str,
    *,
    book: str | None = None,
    days: float = 14.0,
    squeeze: str | None = None,
    squeeze_skin: str | None = None,
    smell: str | None = None,
    hose_l_min: float | None = None,
    rain_known: bool = False,
    crew: Crew | None = None,
    on_progress: Tell | None = None,
) -> AdviceFor:
    """What to do with a heap now.

    Parameters
    ----------
    task, fitted : of `heapwright.services.learning`
        Gathered at least *days* ahead.
    squeeze, squeeze_skin, smell : str, optional
        As seen now; see `heapwright.planning.diagnosis.Seen`. Squeeze and smell left out are those
        of the last fresh note.
    hose_l_min : float, optional
        By a bucket test; else the flow of the plan, if it has one.
    rain_known : bool
        The weather is a record or a climate with rain in it, not only the air that was read.

    Raises
    ------
    UnknownNameError
        No such heap, squeeze or smell.
    NotEnoughError
        The heap was lost.
    InputError
        Days out of range.
    """
    check_seen(squeeze, squeeze_skin, smell)
    name = task.heap(heap)
    with open_book(book, create=False) as opened:
        record = load_record(opened, task.trial)
    mine, trial = record.heaps[name], record.plan.trial
    if mine.lost is not None:
        raise NotEnoughError(
            "the heap was lost, so nothing can be done to it", field="heap", value=name,
            way_out="Name another heap",
        )  # fmt: skip
    target = trial.water.target_wb.typical if trial.water.target_wb else TARGET_WB
    bought = what_if(
        fitted, name, task.ages[name], target_wb=target, days=days, crew=crew,
        on_progress=on_progress,
    )  # fmt: skip
    rain = rain_week(task, name) if rain_known else None
    seen = seen_of(
        task, record, mine, bought.now["volume_m3"].mean, squeeze, squeeze_skin, smell, rain
    )
    found = diagnose(seen) if seen is not None else None
    told = {"squeeze": squeeze, "smell": smell}
    noted = {k: n for k, n in last_noted(mine, task.now).items() if told[k] is None}
    told |= {k: n.word for k, n in noted.items()}
    zone = local_zone(trial.place.time_zone)
    flow, hose = _flow(hose_l_min, trial)
    _, due = due_today(task.trial, book=book, now=task.now)
    situation = _situation(task, record, mine, bought, found, due)
    situation = replace(
        situation, squeeze=told["squeeze"], squeeze_skin=squeeze_skin, smell=told["smell"],
        hose_l_min=flow, rain_mm_week=rain, target_wb=target,
    )  # fmt: skip
    return AdviceFor(
        name, task, fitted, bought, situation, seen, found, advise(situation), hose,
        tuple(n.said(zone) for n in noted.values()),
    )  # fmt: skip


def _flow(hose_l_min: float | None, trial: Trial) -> tuple[float | None, str]:
    if hose_l_min is not None:
        return hose_l_min, f"{hose_l_min:.0f} L/min, by your bucket"
    planned = trial.water.flow_l_min
    return planned, "" if planned is None else f"{planned:.0f} L/min, as in the plan"


# --- the heap as it is known ------------------------------------------------------------------


def _situation(
    task: Task, record: TrialRecord, mine: HeapRecord, bought: WhatIf, found: Diagnosis | None,
    due: Today,
) -> Situation:  # fmt: skip
    now = bought.now
    core_c, age = core_read(record, mine, task.now)
    watered = bought.act("water")
    return Situation(
        heap=mine.name, days=bought.days, core_c=core_c, core_probable_c=now["core_c"].mean,
        read_d=age, core_wb=_change(now["core_wb"]), rest_wb=_rest(bought),
        dry_kg=now["dry_kg"].mean,
        leave={k: _change(v) for k, v in bought.leave.items()},
        acts={b.act.name: {k: _change(v) for k, v in b.changes.items()} for b in bought.acts},
        kept=watered.kept.mean if watered is not None and watered.kept is not None else None,
        causes=found.causes if found else (), test=found.next_test if found else None,
        next_look=_next_look(due, mine.name), trial=_side(record, mine, task, due),
    )  # fmt: skip


def _change(e: Effect) -> Change:
    return Change(e.mean, e.low, e.high)


def _rest(bought: WhatIf) -> Change:
    """Moisture around the core, as wide as that of the crust."""
    now = bought.now
    dry, core = now["dry_kg"].mean, now["core_wb"].mean
    water = now["water_kg"].mean - dry / 3.0 * core / (1.0 - core)
    rest = max(water, 0.0) / (max(water, 0.0) + dry * 2.0 / 3.0)
    crust = now["crust_wb"]
    return Change(rest, rest + crust.low - crust.mean, rest + crust.high - crust.mean)


# --- the trial --------------------------------------------------------------------------------


def _side(record: TrialRecord, mine: HeapRecord, task: Task, due: Today) -> TrialSide | None:
    trial = record.plan.trial
    ends = record.plan.locked.ends
    zone = local_zone(trial.place.time_zone)
    way_name = trial.heap(mine.name).way
    if way_name is None or len(trial.heaps) < 2 or task.now.astimezone(zone).date() >= ends:
        return None
    way = trial.way(way_name)
    age = task.ages[mine.name]
    length = (datetime.combine(ends, datetime.min.time(), zone) - task.now).days + age + 1
    built = mine.built
    assert built is not None
    days = [
        (built + timedelta(days=a)).astimezone(zone) for a in way.turn_ages_d(length) if a > age
    ]
    wanted: dict[str, str] = {}
    for item in due.due:
        act = _DUE.get(item.kind)
        if act is None or mine.name not in item.heaps:
            continue
        said = item.tasks[0].stem.replace("{}", mine.name)
        said = said[:1].lower() + said[1:]
        wanted[act] = f"{wanted[act]}; {said}" if act in wanted else said
    control = record.plan.locked.control
    return TrialSide(
        name=trial.name, heaps=tuple(h.name for h in trial.heaps), way=way.name, kind=way.kind,
        control=control is not None and control.lower() == way.name.lower(),
        equal_water=trial.water.equal, due=wanted,
        next_turn=f"on {days[0].day} {days[0]:%B}" if days else "",
        ends=f"on {ends.day} {ends:%B %Y}",
    )  # fmt: skip


def _next_look(due: Today, heap: str) -> str:
    """The next round of the plan, in words; empty without one."""
    for item in due.soon:
        if item.kind == "round" and heap in item.heaps:
            return f"Next look {item.state}; skipping it costs {item.tasks[0].skipping_short}."
    return ""
