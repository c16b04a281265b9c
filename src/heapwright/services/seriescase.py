"""A measured series with its plan as subjects to learn about and readings of them.

Units: ages in days, degrees C, kg. Conventions: heaps are as planned, vessels as the plan states
them; what was read in the first quarter of a day is the temperature when built; a loss of dry
matter is turned into the dry mass that is left, of a heap whose first dry mass counts as known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.material import Mix
from heapwright.domain.names import one_of
from heapwright.domain.trial import Trial
from heapwright.domain.when import local_zone
from heapwright.engine.composition import recipe
from heapwright.errors import NotEnoughError, PlanError, TableError
from heapwright.exchange.planfile import read_plan_tables
from heapwright.exchange.seriesfile import Cell, Series, read_series
from heapwright.exchange.sheettimes import to_utc
from heapwright.exchange.vesselplan import PlannedVessel, planned_vessels
from heapwright.inference.members import Subject
from heapwright.inference.readings import Read
from heapwright.inference.vessels import VesselSubject
from heapwright.services.heapcase import Case, Wishes, plan_case
from heapwright.services.plans import with_lots
from heapwright.services.seriesbench import AT_BUILD_D, Bench, FromFirst, Known, check_units
from heapwright.services.simweather import weather_for

__all__ = ["read_bench"]

Floats = NDArray[np.float64]
_LITTLE_D = 0.05


@dataclass(slots=True)
class _Found:
    """A bench in the making."""

    assumed: list[str] = field(default_factory=list)
    sources: list[str] = field(default_factory=list)


def read_bench(
    file: Path,
    plan: Path,
    *,
    now: datetime,
    hold_out: Sequence[str] = (),
    weather: Path | None = None,
    answers: Mapping[str, str] | None = None,
    exposure: str | float | None = None,
) -> Bench:
    """The sheet *file* and the plan it belongs to.

    Raises
    ------
    PlanError, TableError, UnknownNameError, NotEnoughError, QuestionError, InputError
        What cannot stand or is missing, with file, line, key or column.
    """
    trial, tables = read_plan_tables(plan, now=now)
    trial = with_lots(trial)
    vessels = planned_vessels(tables)
    heaps = tuple(h.name for h in trial.heaps)
    names = (*heaps, *(v.name for v in vessels))
    _check_names(names, plan)
    spelt = {n: n for n in names}
    out = {one_of("heap or vessel", n, spelt, field="hold-out") for n in hold_out}
    out |= {v.name for v in vessels if v.hold_out}
    spots = tuple(s.name for s in trial.spots) or ("core",)
    places = dict.fromkeys(heaps, spots) | {v.name: ("core",) for v in vessels}
    series = read_series(file, places)
    days = _ages(series, trial, vessels)
    until = max(days) + _LITTLE_D
    found = _Found([], [f"readings: {series.name}"])
    known: list[Known] = []
    for name in heaps:
        mine = [(d, c) for d, c in zip(days, series.cells, strict=True) if c.heap == name]
        case = plan_case(trial, name, Wishes(until, None, exposure), now=now)
        known.append(
            _heap(case, trial, mine, name in out, weather, answers or {}, until, found)
        )  # fmt: skip
    for vessel in vessels:
        known.append(_vessel(vessel, vessel.name in out))
        found.assumed += [f"vessel {vessel.name}: {line}" for line in vessel.said]
        found.sources.append(f"air around vessel {vessel.name}: its room, as the plan states it")
    check_units(series, days, {k.name: k for k in known}, found.assumed)
    reads = [_read(c, d, known) for c, d in zip(series.cells, days, strict=True)
             if c.quantity != "air_c" and d >= 0]  # fmt: skip
    early = sum(d < 0 for d in days)
    if early:
        found.assumed.append(f"{early} values from before the build are left out")
    if any(k.weather is None for k in known) and any(c.quantity == "air_c" for c in series.cells):
        found.assumed.append("air in the sheet is not used for vessels: the plan gives their room")
    order = sorted(reads, key=lambda r: (r.day, r.heap, r.spot, r.quantity))
    assumed = tuple(dict.fromkeys((*found.assumed, *_spotless(order, known), *series.notes)))
    return Bench(
        trial.name, tuple(known), tuple(order), assumed, tuple(dict.fromkeys(found.sources)),
        trial.invented,
    )  # fmt: skip


def _check_names(names: Sequence[str], plan: Path) -> None:
    if not names:
        raise NotEnoughError(
            "the plan names neither heaps nor vessels", field="plan", value=str(plan),
            way_out="Write [[heap]] or [[vessel]] and its keys (docs/reference/plan-keys.md)",
        )  # fmt: skip
    lower = [n.lower() for n in names]
    for index, name in enumerate(lower):
        if name in lower[:index]:
            raise PlanError(
                "a heap and a vessel have the same name", field="name", value=names[index],
                where=str(plan), way_out="Give each its own",
            )  # fmt: skip


# --- heaps and vessels ---------------------------------------------------------------------------


def _heap(
    case: Case,
    trial: Trial,
    mine: Sequence[tuple[float, Cell]],
    held_out: bool,
    weather: Path | None,
    answers: Mapping[str, str],
    until: float,
    found: _Found,
) -> Known:
    """A heap of the plan under its weather; a held-out one starts as warm as the air."""
    air = [
        (case.built + timedelta(days=d), c.value) for d, c in mine if c.quantity == "air_c"
    ]  # fmt: skip
    series = weather_for(
        case.built, case.built + timedelta(days=until), path=weather, answers=answers,
        place=trial.place, readings=air,
    )  # fmt: skip
    start_h = (case.built - series.start).total_seconds() / 3600
    said = list(case.assumed)
    first = [c.value for d, c in mine if c.quantity == "temp_c" and 0 <= d <= AT_BUILD_D]
    if first and not held_out:
        start = sum(first) / len(first)
        said.append(f"temperature when built: {start:.0f} C, as read on the first day")
    else:
        start = float(series.at(start_h).air_temp_c)
        said.append(f"temperature when built: {start:.0f} C, that of the air")
    spec = replace(case.spec, start_c=start)
    dry = spec.volume_m3 * spec.dry_density
    subject: Any = Subject(case.name, spec, series, start_h, case.recipe, case.actions)
    if any(c.quantity == "loss" for _, c in mine):
        subject = FromFirst(subject, dry)
    if case.recipe is not None:
        said += [f"of the mix: {note}" for note in case.recipe.notes]
    found.assumed += [f"heap {case.name}: {line}" for line in said]
    found.sources += list(series.source)
    return Known(
        subject, held_out,
        {
            "temp_c": start, "dry_kg": dry, "mass_kg": dry / (1.0 - spec.moisture_wb),
            "moisture_wb": spec.moisture_wb, "o2": 0.2095, "volume_m3": spec.volume_m3,
            "height_m": spec.height_m or 1.0,
        },
        series, start_h,
    )  # fmt: skip


def _vessel(planned: PlannedVessel, held_out: bool) -> Known:
    vessel = planned.vessel
    matter = recipe(Mix((planned.ingredient,)), leafy_share=planned.leafiness)
    start = float(vessel.room(np.zeros(1))[0]) if vessel.start_c is None else vessel.start_c
    return Known(
        VesselSubject(planned.name, vessel, matter), held_out,
        {
            "temp_c": start, "dry_kg": vessel.dry_kg,
            "mass_kg": vessel.dry_kg / (1.0 - vessel.moisture_wb),
            "moisture_wb": vessel.moisture_wb, "o2": 0.2095,
        },
    )  # fmt: skip


# --- readings ------------------------------------------------------------------------------------


def _ages(series: Series, trial: Trial, vessels: Sequence[PlannedVessel]) -> list[float]:
    """Age [d] of every cell; dates count from the moment the plan says it was built."""
    built = {h.name: h.built for h in trial.heaps} | {v.name: v.filled for v in vessels}
    zone = local_zone(trial.place.time_zone)
    ages = []
    for cell in series.cells:
        if cell.day is not None:
            ages.append(cell.day)
            continue
        begun = built[cell.heap]
        if begun is None:
            raise TableError(
                f"the sheet has dates, and the plan does not say when {cell.heap} was built",
                where=cell.where,
                way_out='Write built = "2026-05-01 10:00" under its [[heap]] (filled under '
                "[[vessel]]), or give ages in a column day",
            )
        assert cell.at is not None
        ages.append((to_utc(cell.at, zone) - begun.astimezone(UTC)).total_seconds() / 86400)
    return ages


def _read(cell: Cell, day: float, known: Sequence[Known]) -> Read:
    mine = next(k for k in known if k.name == cell.heap)
    if cell.quantity != "loss" and cell.quantity not in mine.first:
        raise TableError(
            "a vessel has neither height nor volume here", where=cell.where, field="cell",
            value=f"{cell.value:g}", way_out="Leave the column out",
        )  # fmt: skip
    if cell.quantity == "loss":
        return Read(cell.heap, "", day, mine.first["dry_kg"] * (1.0 - cell.value), "dry_kg")
    return Read(cell.heap, cell.spot, day, cell.value, cell.quantity)


def _spotless(reads: Sequence[Read], known: Sequence[Known]) -> list[str]:
    """What a reading without a spot stands for, in words."""
    said = []
    heaps = {k.name for k in known if k.weather is not None}
    for quantity, words in (
        ("temp_c", "temperatures without a spot are taken as the mean of the heap"),
        ("moisture_wb", "moisture without a spot is taken as that of the inner third"),
        ("o2", "oxygen without a spot is taken as that of the inner third"),
    ):
        if any(r.quantity == quantity and not r.spot and r.heap in heaps for r in reads):
            said.append(words)
    return said
