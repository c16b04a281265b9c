"""From a plan, or from what stands in the book, to a heap that can be simulated.

Units: m, m3, kg, litres, degrees C, ages in days. Conventions: what was measured comes before what
was planned, and both before what has to be taken for granted; every such thing stands in
``assumed`` of a `Case`, in plain words. A case from a plan does what the plan says; a case from the
book does what was done until now and what is planned from then on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import atan, degrees

from heapwright.domain.entries import Event, Reading, Sample
from heapwright.domain.heap import Heap
from heapwright.domain.material import Mix
from heapwright.domain.trial import Trial
from heapwright.domain.way import Treatment
from heapwright.engine.composition import Recipe, recipe
from heapwright.engine.scenario import Action, HeapSpec, Pipe
from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.science.heapphysics import field_capacity
from heapwright.services.heapplaces import outline_of, pipes_of, spots_of
from heapwright.services.record import HeapRecord, TrialRecord

__all__ = ["Case", "Wishes", "book_case", "plan_case"]

#: entries this close to the build belong to it [d]
_AT_BUILD, _SOON = 0.25, 3.0
#: loads that differ from the heaps they make by more than this are counted as they lie
_SETTLED = (0.7, 1.4)
_LITRES_KG = 1.0
_BLOWER = ("air on", "air off")
_DONE_KINDS = (
    "turned", "watered", "covered", "uncovered", "vent opened", "vent plugged", "vent pulled",
    "air on", "air off",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Wishes:
    """What was asked for: days; cell_m : edge of a cell, None for the usual; exposure : open,
    partly, sheltered or a share."""

    days: float
    cell_m: float | None = None
    exposure: str | float | None = None


@dataclass(frozen=True, slots=True)
class Case:
    """A heap that can be simulated.

    name, trial, way : as the keeper calls them (way may be ""); spec : the heap; recipe : its
    matter, None for ordinary chips; actions : what is done to it; built : aware; days : simulated;
    start_known : the temperature of ``spec`` was read, else it follows from the air; read : ages
    [d] and temperatures read by spot; assumed; invented.
    """

    name: str
    trial: str
    way: str
    spec: HeapSpec
    recipe: Recipe | None
    actions: tuple[Action, ...]
    built: datetime
    days: float
    start_known: bool = False
    read: Mapping[str, tuple[tuple[float, ...], tuple[float, ...]]] = field(default_factory=dict)
    assumed: tuple[str, ...] = ()
    invented: bool = False
    zone: str | None = None


@dataclass(slots=True)
class _Found:
    """Numbers of a heap on their way into a case, and what is said about them."""

    said: list[str]
    volume_m3: float = 0.0
    height_m: float | None = None
    moisture_wb: float | None = None
    wet_density: float | None = None
    start_c: float | None = None
    litres: float = 0.0


def plan_case(trial: Trial, name: str, wishes: Wishes, *, now: datetime) -> Case:
    """Heap *name* of a plan (lots drawn) as it is meant.

    Raises `UnknownNameError`, `NotEnoughError` for a heap without any volume, `InputError` for
    measures that make no heap.
    """
    heap = trial.heap(name)
    found = _Found([])
    found.volume_m3 = _volume(trial, heap, None, found.said)
    found.height_m = heap.height_m
    built = heap.built
    if built is None:
        built = now
        found.said.append("no building day in the plan: built now")
    way = trial.way(heap.way) if heap.way else None
    actions = _planned(trial, way, wishes.days, found.said)
    return _case(trial, heap, way, built, wishes.days, wishes, found, actions, {})


def book_case(record: TrialRecord, name: str, wishes: Wishes, *, now: datetime) -> Case:
    """Heap *name* of the book as it was really built and handled.

    Raises as `plan_case`, and `NotEnoughError` for a heap that nobody wrote down as built.
    """
    trial = record.plan.trial
    heap = trial.heap(name)
    mine = record.heaps[heap.name]
    if mine.built is None:
        mine.age_d(now)  # raises, and says how to log it
    built = mine.built
    assert built is not None
    found = _Found([])
    found.volume_m3 = _volume(trial, heap, mine, found.said)
    found.height_m = _height(heap, mine, found.said)
    _from_samples(mine, found)
    _from_readings(mine, found)
    days = wishes.days
    if mine.lost is not None and 0 < mine.age_d(mine.lost.when.middle) < days:
        days = mine.age_d(mine.lost.when.middle)
        found.said.append(f"the heap was lost on day {days:.0f}: simulated until then")
    way = trial.way(heap.way) if heap.way else None
    actions = _done(trial, mine, way, days, found, now)
    return _case(trial, heap, way, built, days, wishes, found, actions, _read(mine))


def _case(
    trial: Trial,
    heap: Heap,
    way: Treatment | None,
    built: datetime,
    days: float,
    wishes: Wishes,
    found: _Found,
    actions: Sequence[Action],
    read: Mapping[str, tuple[tuple[float, ...], tuple[float, ...]]],
) -> Case:
    """Matter, measures, spots and pipes put together."""
    said = found.said
    matter, density, moisture = _matter(trial, heap, found)
    shape = heap.shape or "mound"
    if heap.shape is None:
        said.append("shape not given: a rounded heap (mound)")
    outline, note = outline_of(shape, found.volume_m3, height_m=found.height_m)
    said += [note] if note else []
    points, notes = spots_of(trial.spots, outline)
    said += notes
    pipes: tuple[Pipe, ...] = ()
    if way is not None and way.vent is not None:
        pipes, notes = pipes_of(way.vent, outline, trial.spots, points)
        said += notes
    slope = degrees(atan(trial.place.slope_frac or 0.0))
    if slope:
        said.append("the ground rises towards the east")
    if wishes.exposure is None:
        said.append("a sheltered yard: a quarter of the wind at 10 m reaches the heap")
    fine = 0.0 if matter is None else float(matter.pools[matter.woody == 0].sum())
    spec = HeapSpec(
        volume_m3=found.volume_m3, shape=shape, height_m=outline.height_m,
        width_m=outline.width_m, length_m=None if outline.round else outline.length_m,
        dry_density=density, moisture_wb=moisture,
        start_c=15.0 if found.start_c is None else found.start_c,
        exposure="sheltered" if wishes.exposure is None else wishes.exposure,
        slope_deg=slope, field_capacity=float(field_capacity(min(max(fine, 0.1), 1.0))),
        spots=points, pipes=pipes, dx_m=wishes.cell_m, name=heap.name, actions=tuple(actions),
    )  # fmt: skip
    return Case(
        name=heap.name, trial=trial.name, way=way.name if way else "", spec=spec, recipe=matter,
        actions=tuple(actions), built=built.astimezone(UTC), days=days,
        start_known=found.start_c is not None,
        read=read, assumed=tuple(said), invented=trial.invented, zone=trial.place.time_zone,
    )  # fmt: skip


# --- measures ------------------------------------------------------------------------------------


def _volume(trial: Trial, heap: Heap, mine: HeapRecord | None, said: list[str]) -> float:
    """Volume when built: by tape, as planned, or the heap's share of the material."""
    taped = mine.volume_m3 if mine is not None else None
    if taped is not None:
        return taped
    if heap.volume_m3 is not None:
        return heap.volume_m3.typical
    try:
        loose = _mixed(trial, None)
    except HeapwrightError:
        loose = None
    if loose is None or loose.volume_m3 <= 0:
        raise NotEnoughError(
            f"nothing says how big heap {heap.name} is",
            field="volume",
            way_out='Write volume = "1.2 m3" under its [[heap]], or log what the tape says: '
            f'heapwright log sample {heap.name} volume "1.2 m3"',
        )
    share = loose.volume_m3 / len(trial.heaps)
    said.append(f"volume not measured: {share:.1f} m3, an even share of the material as it lies")
    return share


def _height(heap: Heap, mine: HeapRecord, said: list[str]) -> float | None:
    """Height when built: a length logged at the build, else as planned."""
    for sample in _near(mine, "length_m"):
        said.append(f"the length of {sample.value:.2f} m logged at the build is the height")
        return sample.value
    return heap.height_m


def _near(mine: HeapRecord, key: str) -> list[Sample]:
    """Samples of the whole heap taken around its build."""
    return [
        s for s in mine.samples
        if s.quantity == key and s.part in ("whole", "height", "top", "core")
        and -_SOON < mine.age_d(s.when.low) < _SOON
    ]  # fmt: skip


def _from_samples(mine: HeapRecord, found: _Found) -> None:
    for sample in _near(mine, "moisture_wb"):
        found.moisture_wb = sample.value
        break
    for sample in _near(mine, "bulk_density_kg_m3"):
        found.wet_density = sample.value
        break


def _from_readings(mine: HeapRecord, found: _Found) -> None:
    """Temperature when built: the mean of what was read within six hours."""
    first = [
        r.value for r in mine.readings
        if r.quantity == "temp_c" and -_AT_BUILD <= mine.age_d(r.when.middle) <= _AT_BUILD
    ]  # fmt: skip
    if first:
        found.start_c = sum(first) / len(first)


def _read(mine: HeapRecord) -> dict[str, tuple[tuple[float, ...], tuple[float, ...]]]:
    spots: dict[str, list[tuple[float, float]]] = {}
    for r in mine.readings:
        if r.quantity == "temp_c":
            spots.setdefault(r.spot, []).append((mine.age_d(_middle(r)), r.value))
    return {
        spot: (tuple(a for a, _ in sorted(rows)), tuple(t for _, t in sorted(rows)))
        for spot, rows in spots.items()
    }


def _middle(entry: Event | Reading) -> datetime:
    return entry.when.middle


# --- matter --------------------------------------------------------------------------------------


def _mixed(trial: Trial, leafy: float | None) -> Recipe | None:
    parts = [i for i in trial.ingredients if i.has_amount]
    if not parts:
        return None
    return recipe(Mix(tuple(parts), barrow_m3=trial.barrow_m3), leafy_share=leafy)


def _matter(trial: Trial, heap: Heap, found: _Found) -> tuple[Recipe | None, float, float]:
    """The matter of a heap, its dry mass per volume [kg/m3], and its moisture when built."""
    said = found.said
    made = _mixed(trial, heap.leafiness)
    if heap.leafiness is not None:
        said.append(
            f"leafiness of {100 * heap.leafiness:.0f} % counts as the leafy share of the dry mass "
            "of the chips"
        )
    if made is None:
        said.append("no material with an amount is named: ordinary chips with a little leaf")
        density, moisture = 190.0, 0.5
    else:
        density = made.dry_kg / made.volume_m3
        moisture = made.moisture_wb
        density *= _packed(trial, made.volume_m3, said)
    if found.moisture_wb is not None:
        moisture = found.moisture_wb
    else:
        moisture = _wetted(trial, found, made, density, moisture)
    if found.wet_density is not None:
        density = found.wet_density * (1 - moisture)
    return made, density, moisture


def _packed(trial: Trial, loose_m3: float, said: list[str]) -> float:
    """Loose material over the heaps it makes, when all of it goes into them."""
    volumes = [h.volume_m3.typical for h in trial.heaps if h.volume_m3 is not None]
    if len(volumes) < len(trial.heaps) or not volumes:
        said.append("the heap is as dense as its material lies in the barrow")
        return 1.0
    ratio = loose_m3 / sum(volumes)
    if not _SETTLED[0] <= ratio <= _SETTLED[1]:
        said.append(
            f"{loose_m3:.1f} m3 of material do not make {sum(volumes):.1f} m3 of heaps: each heap "
            "is taken as dense as the material lies"
        )
        return 1.0
    return ratio


def _wetted(
    trial: Trial, found: _Found, made: Recipe | None, density: float, moisture: float
) -> float:
    """Moisture when built, water given while building included, as far as the matter keeps it."""
    said = found.said
    dry = density * found.volume_m3
    if found.litres > 0:
        leafy = 0.1 if made is None else float(made.pools[made.woody == 0].sum())
        most = max(float(field_capacity(min(max(leafy, 0.0), 1.0))), moisture / (1 - moisture))
        water = min(moisture / (1 - moisture) + found.litres * _LITRES_KG / dry, most)
        wet = water / (1 + water)
        said.append(
            f"moisture not measured: {100 * wet:.0f} %, from the mix ({100 * moisture:.0f} %) and "
            f"the {found.litres:.0f} litres given while building"
        )
        return wet
    target = trial.water.target_wb
    if target is not None and moisture < target.low:
        said.append(
            f"moisture not measured: the mix comes with {100 * moisture:.0f} % and is wetted to "
            f"the {100 * target.typical:.0f} % the plan aims at while it is built"
        )
        return target.typical
    from_ = "the mix" if made is not None else "fresh chips"
    said.append(f"moisture not measured: {100 * moisture:.0f} %, that of {from_}")
    return moisture


# --- what is done --------------------------------------------------------------------------------


def _planned(
    trial: Trial, way: Treatment | None, days: float, said: list[str], *, after: float = 0.0
) -> list[Action]:
    """What the plan asks for between the age *after* and *days*."""
    if way is None:
        return []
    out = [Action(age, "turned") for age in way.turn_ages_d(days) if age > after]
    if way.vent is not None:
        for age, kind in (
            (way.vent.open_after_d, "vent opened"), (way.vent.pull_after_d, "vent pulled"),
        ):  # fmt: skip
            if age is not None and after < age < days:
                out.append(Action(age, kind))  # type: ignore[arg-type]
    if way.kind == "covered" and after == 0.0:
        out.append(Action(0.0, "covered"))
    if way.kind == "forced air":
        said.append("the blower is left out: a plan says neither its pipes nor its pressure")
    if trial.water.every_d is not None:
        said.append(
            "no watering" + (" from now on" if after else "")
            + ": the plan checks the moisture, but litres are not known beforehand"
        )  # fmt: skip
    return sorted(out, key=lambda a: a.age_d)


def _done(
    trial: Trial,
    mine: HeapRecord,
    way: Treatment | None,
    days: float,
    found: _Found,
    now: datetime,
) -> list[Action]:
    """What was done until now, then what is planned."""
    said, out = found.said, []
    unknown = others = 0
    for event in mine.events:
        age = mine.age_d(event.when.middle)
        if event.what == "watered" and abs(age) <= _AT_BUILD:
            found.litres += event.water_l or 0.0
            unknown += event.water_l is None
        elif event.what == "added":
            others += 1
        elif event.what in _DONE_KINDS and 0 <= age < days:
            unknown += event.what == "watered" and event.water_l is None
            if event.what != "watered" or event.water_l:
                out.append(Action(age, event.what, event.water_l or 0.0))  # type: ignore[arg-type]
    if unknown:
        said.append(f"{unknown} waterings without litres are left out")
    if others:
        said.append("material added after the build is left out")
    today = mine.age_d(now)
    if today < days:
        out += _planned(trial, way, days, said, after=max(today, 1e-9))
        said.append(f"until day {max(today, 0):.0f} as done, then as planned")
    if any(a.kind in _BLOWER for a in out):
        out = [a for a in out if a.kind not in _BLOWER]
        said.append("the blower is left out: nothing says how hard it blows")
    if way is None or way.vent is None:
        vents = [a for a in out if a.kind.startswith("vent")]
        out = [a for a in out if a not in vents]
        said += (
            ["what was done to pipes is left out: the plan gives the heap none"] if vents else []
        )
    return sorted(out, key=lambda a: a.age_d)
