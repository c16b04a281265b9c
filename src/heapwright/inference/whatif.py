"""What each thing that could be done now would buy: the fitted heaps run on, with and without it.

Units: temperatures in degrees C, ages and spans in days, moisture on wet basis, oxygen as mole
fraction, kg, litres. Conventions: what is done is added to what was done and what is planned, which
stays in every case; an act is held against leaving the heap, member by member, so that what is not
known of the heap cancels where it acts alike. Ranges are the middle 80 % of the members. Core and
crust are as in `heapwright.engine.recording`. A heap that is left still gets no litres at that
hour, so that all cases take the same steps and two cases alike differ by exactly nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.run import Run
from heapwright.engine.scenario import Action
from heapwright.errors import InputError
from heapwright.inference.breath import short_below
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.inference.members import Subject, member_of, run_member

__all__ = [
    "FIGURES",
    "Act",
    "Bought",
    "Effect",
    "WhatIf",
    "effect_of",
    "litres_for",
    "possible_acts",
    "what_if",
]

Floats = NDArray[np.float64]
#: What is reckoned of every case, from now on: unit, and meaning.
FIGURES: dict[str, tuple[str, str]] = {
    "core_week_c": ("degC", "mean of the core over the next 7 days"),
    "core_c": ("degC", "mean of the core over all days ahead"),
    "days_45": ("day", "days ahead with the core above 45 C"),
    "days_55": ("day", "days ahead with the core above 55 C"),
    "core_wb": ("1", "moisture of the core at the end"),
    "crust_wb": ("1", "moisture of the crust at the end"),
    "o2_short": ("1", "share of the time with the core short of oxygen"),
    "dry_lost_kg": ("kg", "dry mass lost"),
}
#: What is reckoned of the heap as it is now.
_NOW = ("core_c", "crust_c", "core_wb", "crust_wb", "o2", "dry_kg", "water_kg", "volume_m3")
#: members that are run on, own choice: the 80 % range of two dozen is steady enough to act by
MEMBERS = 24
_WEEK_D, _EVERY_H = 7.0, 2.0
#: shortest and longest look ahead [d], own choice
_AHEAD_D = (1.0, 60.0)
#: of the volume, the core is this share
_CORE_SHARE = 1.0 / 3.0
#: less than this is not worth a hose [L], own choice
_LEAST_L = 10.0
#: what stays of water poured over the top is looked at so long after [h]
_SOAKED_H = 24.0


@dataclass(frozen=True, slots=True)
class Act:
    """Something that could be done: its name and what it is for the simulator, all of it now."""

    name: str
    actions: tuple[Action, ...] = ()


@dataclass(frozen=True, slots=True)
class Effect:
    """A figure or the change of one: mean of the members; low, high : their middle 80 %."""

    mean: float
    low: float
    high: float

    @property
    def clear(self) -> bool:
        """The range excludes none at all."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True, slots=True)
class Bought:
    """What an act changes against leaving the heap: figures by name, see `FIGURES`; kept : share of
    the water poured over the top that is still there a day later, None where none is poured."""

    act: Act
    changes: Mapping[str, Effect]
    kept: Effect | None = None


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Heap at the age now_d, days ahead, with so many members; now : the heap as it is; leave :
    figures where it is left; acts : the others; litres : to bring what is too dry to target_wb."""

    heap: str
    now_d: float
    days: float
    members: int
    now: Mapping[str, Effect]
    leave: Mapping[str, Effect]
    acts: tuple[Bought, ...]
    litres: Effect
    target_wb: float

    def act(self, name: str) -> Bought | None:
        """The act of that name, None where it is not possible."""
        return next((b for b in self.acts if b.act.name == name), None)


def litres_for(dry_kg: Any, water_kg: Any, core_wb: Any, target_wb: float) -> Any:
    """Litres that bring core and rest, each by itself, up to *target_wb*; 0 for what is wet enough.

    The core holds its share of the dry mass by volume. Numbers or arrays.

    >>> round(float(litres_for(200.0, 150.0, 0.3, 0.5)), 1)
    50.0
    """
    wanted = target_wb / (1.0 - target_wb)
    core_dry = _CORE_SHARE * np.asarray(dry_kg)
    core_water = core_dry * np.asarray(core_wb) / (1.0 - np.asarray(core_wb))
    rest_dry = np.asarray(dry_kg) - core_dry
    rest = wanted * rest_dry - (np.asarray(water_kg) - core_water)
    return np.maximum(wanted * core_dry - core_water, 0.0) + np.maximum(rest, 0.0)


def possible_acts(
    subject: Subject, now_d: float, *, litres: float, target_wb: float
) -> tuple[Act, ...]:
    """All that can be done to a heap at an age: turn, water over the top and moisten while turning
    (where it takes 10 L or more), plug or open its pipes, cover it or take the cover off.

    Raises `QuantityError` for an age, litres or a moisture that cannot be.
    """
    acts = [Act("turn", (Action(now_d, "turned"),))]
    if litres >= _LEAST_L:
        acts.append(Act("water", (Action(now_d, "watered", litres),)))
        wet = (Action(now_d, "turned"), Action(now_d, "moistened", target_wb))
        acts.append(Act("moisten", wet))
    vents = [a.kind for a in subject.actions if a.kind.startswith("vent") and a.age_d <= now_d]
    if subject.spec.pipes and "vent pulled" not in vents:
        plugged = vents[-1] == "vent plugged" if vents else subject.spec.pipes[0].state == "plugged"
        name, kind = ("open pipes", "vent opened") if plugged else ("plug pipes", "vent plugged")
        acts.append(Act(name, (Action(now_d, kind),)))  # type: ignore[arg-type]
    covers = [a.kind for a in subject.actions if a.kind.endswith("covered") and a.age_d <= now_d]
    covered = covers[-1] == "covered" if covers else subject.spec.cover > 0
    name, kind = ("uncover", "uncovered") if covered else ("cover", "covered")
    acts.append(Act(name, (Action(now_d, kind),)))  # type: ignore[arg-type]
    return tuple(acts)


def what_if(
    fitted: Fitted,
    heap: str,
    now_d: float,
    *,
    target_wb: float,
    days: float = 14.0,
    acts: Sequence[Act] | None = None,
    members: int = MEMBERS,
    share_kept: float = 0.5,
    crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> WhatIf:
    """Run a fitted heap on from the age *now_d* under each possible act.

    Parameters
    ----------
    target_wb : float
        Moisture that watering aims at, wet basis.
    days : float
        How far ahead, 1 to 60; the weather of the heap has to reach so far.
    acts : sequence of Act, optional
        All of `possible_acts` unless given.
    members : int
        As many of the ensemble, evenly taken.
    share_kept : float
        Share of water poured over the top that is taken to stay when its litres are worked out.

    Raises
    ------
    InputError
        Days out of range, or an age before the heap was built.
    NotEnoughError
        The weather ends too soon.
    """
    if not _AHEAD_D[0] <= days <= _AHEAD_D[1]:
        raise InputError("advice looks 1 to 60 days ahead", field="days", value=f"{days:g}",
                         way_out="Write --days 14")  # fmt: skip
    if now_d <= 0:
        raise InputError("the heap is not built yet", field="age", value=f"{now_d:g} d")
    subject: Subject = fitted.subject(heap)
    team = crew or Crew(1)
    taken = np.unique(np.linspace(0, fitted.members - 1, min(members, fitted.members)).round())
    numbers = [fitted.space.numbers(fitted.last[:, int(m)], heap) for m in taken]
    count = len(numbers)
    # until the litres are known it is taken that all acts are possible: one more or less is no harm
    guess = len(possible_acts(subject, now_d, litres=100.0, target_wb=target_wb))
    told, total = [0], count * (1 + (guess if acts is None else len(acts)))

    def tell(more: int) -> None:
        told[0] += more
        if on_progress is not None:
            on_progress(min(told[0], total), total)

    def run(cases: Sequence[Act]) -> list[list[_Went]]:
        work = [(_Case(_with(subject, now_d, a), now_d), numbers) for a in cases]
        end, cell = now_d + days, fitted.settings.cell_m
        return team.run(work, end, cell, what=_run_cases, on_done=tell)

    left = run([Act("leave")])[0]
    now = {k: np.array([w.now[k] for w in left]) for k in _NOW}
    litres = litres_for(now["dry_kg"], now["water_kg"], now["core_wb"], target_wb)
    if acts is None:
        over = float(np.mean(litres)) / share_kept
        acts = possible_acts(
            subject, now_d, litres=over if np.mean(litres) >= _LEAST_L else 0.0,
            target_wb=target_wb,
        )  # fmt: skip
    bought = []
    for act, went in zip(acts, run(acts) if acts else [], strict=True):
        changes = {
            k: effect_of(
                np.array([w.ahead[k] - v.ahead[k] for w, v in zip(went, left, strict=True)])
            )
            for k in FIGURES
        }
        poured = sum(a.amount for a in act.actions if a.kind == "watered")
        kept = None
        if poured > 0:
            more = [w.soaked_kg - v.soaked_kg for w, v in zip(went, left, strict=True)]
            kept = effect_of(np.clip(np.array(more) / poured, 0.0, 1.0))
        bought.append(Bought(act, changes, kept))
    return WhatIf(
        heap, now_d, days, count, {k: effect_of(v) for k, v in now.items()},
        {k: effect_of(np.array([w.ahead[k] for w in left])) for k in FIGURES}, tuple(bought),
        effect_of(litres), target_wb,
    )  # fmt: skip


# --- one case ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Case:
    """A heap with what would be done to it now, as a worker is given it."""

    subject: Subject
    now_d: float


@dataclass(frozen=True, slots=True)
class _Went:
    """One member of one case: as it is now, figures ahead, and its water a day later [kg]."""

    now: dict[str, float]
    ahead: dict[str, float]
    soaked_kg: float


def _with(subject: Subject, now_d: float, act: Act) -> Subject:
    same_steps = Action(now_d, "watered", 0.0)
    return replace(subject, actions=(*subject.actions, same_steps, *act.actions))


def _run_cases(
    case: _Case, numbers: Sequence[Mapping[str, float]], days: float, cell_m: float | None
) -> list[_Went]:
    """The members of one case, one after another: what a worker is given."""
    made = []
    for n in numbers:
        member = member_of(case.subject, n, cell_m)
        run = run_member(member, days, curve_every_h=_EVERY_H)
        made.append(_figures(run, case.now_d, days))
    return made


def _figures(run: Run, now_d: float, end_d: float) -> _Went:
    """What is reckoned of a run; curves between their hours by straight lines."""
    begin, end = now_d * 24.0, end_d * 24.0
    # the hour of the act itself belongs to neither side
    hours = np.arange(begin + 1.0, end + 0.01, 1.0)

    def at(name: str, hour: Any) -> Any:
        return np.interp(hour, run.hours, run.curves[name])

    core, oxygen = at("core_c", hours), at("o2_core", hours)
    week = hours <= begin + _WEEK_D * 24.0
    span = end_d - now_d
    short = short_below()
    ahead = {
        "core_week_c": core[week].mean(),
        "core_c": core.mean(),
        "days_45": span * np.mean(core > 45.0),
        "days_55": span * np.mean(core > 55.0),
        "core_wb": at("core_moisture_wb", end),
        "crust_wb": at("crust_moisture_wb", end),
        "o2_short": np.mean(oxygen < short),
        "dry_lost_kg": at("dry_kg", begin) - at("dry_kg", end),
    }
    names = {"core_wb": "core_moisture_wb", "crust_wb": "crust_moisture_wb", "o2": "o2_core"}
    # the last moment kept before the act
    last = float(run.hours[run.hours <= begin + 1e-6][-1])
    now = {k: float(at(names.get(k, k), last)) for k in _NOW}
    return _Went(
        now, {k: float(v) for k, v in ahead.items()},
        float(at("water_kg", min(begin + _SOAKED_H, end))),
    )  # fmt: skip


def effect_of(numbers: Floats | Sequence[float]) -> Effect:
    """The mean of the members and their middle 80 %."""
    drawn = np.asarray(numbers, dtype=float)
    low, high = np.quantile(drawn, (0.1, 0.9))
    return Effect(float(drawn.mean()), float(low), float(high))
