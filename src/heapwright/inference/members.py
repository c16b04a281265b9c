"""One possible heap: from the numbers of a member to a heap of the simulator, and its course.

Units: as in `heapwright.engine.scenario`; ages in days. Conventions: a member is a pure function of
its numbers, so that it may be run anywhere and twice. The matter keeps its mass when its share of
quick food is another: what it has more comes from its hemicellulose and cellulose.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.composition import Recipe, chips
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.parameters import Parameters
from heapwright.engine.patches import Bumps
from heapwright.engine.processes.skin import Skin
from heapwright.engine.processes.water import WaterParameters
from heapwright.engine.run import Run
from heapwright.engine.scenario import Action, HeapSpec, ProbeSpot
from heapwright.engine.shapes import measures_of
from heapwright.engine.simulate import simulate
from heapwright.inference.readings import Read
from heapwright.science.heapphysics import wet_permeability
from heapwright.science.sky import exposure_factor

__all__ = [
    "Course", "Member", "Subject", "constants_of", "course_of", "matter_of", "member_of",
    "moisture_of", "run_chunk", "run_member",
]  # fmt: skip

Floats = NDArray[np.float64]
_SOLUBLE, _CARBOHYDRATE = 0, (3, 4, 6, 7)
_QUICK, _SLOW, _SLOWEST = (0, 1, 2), (3, 4), (5, 6, 7, 8, 9)
_IN_REACH, _OUT_OF_REACH = (3, 4), (6, 7)
#: most of the matter that may be soluble, and of hemicellulose and cellulose that may be given up
_MOST_GIVEN = 0.9
#: moisture when built stays within
_DRIEST, _WETTEST = 0.15, 0.85
#: hours between two moments of a course
_EVERY_H = 2.0
#: hours between fields where none are wanted: only those of start and end are kept
_NO_FIELDS_H = 1e5
#: curves of the whole heap that are kept
_CURVES = (
    "air_c", "mean_c", "core_c", "core_moisture_wb", "o2_core", "o2_least", "dry_kg", "water_kg",
    "volume_m3", "height_m",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Subject:
    """A heap to learn about: what is known of it.

    name; spec : median heap, with its spots and pipes; weather and start_h : as in
    `heapwright.engine.simulate.simulate`; recipe : its matter, None for ordinary chips; actions :
    what was done and will be done; watch : places that nobody reads and that are looked at, too.
    """

    name: str
    spec: HeapSpec
    weather: WeatherSeries
    start_h: float = 0.0
    recipe: Recipe | None = None
    actions: tuple[Action, ...] = ()
    watch: tuple[ProbeSpot, ...] = ()

    @property
    def spots(self) -> tuple[str, ...]:
        """Names of the spots where it is probed."""
        return tuple(s.name for s in self.spec.spots)

    def course(self, numbers: Mapping[str, float], days: float, cell_m: float | None) -> Course:
        """How such a heap goes."""
        return course_of(member_of(self, numbers, cell_m), days)

    def mark(self, until_d: float) -> bytes:
        """All that is known of it up to an age as bytes: what differs in anything differs here."""
        done = tuple(a for a in self.actions if a.age_d <= until_d)
        known = repr((self.name, self.spec, self.start_h, done, self.watch)).encode()
        steps = int((self.start_h + until_d * 24.0) * 3600.0 / self.weather.step_s) + 2
        fields = ("air_temp_c", "relative_humidity", "wind_m_s", "rain_mm", "sun_w_m2")
        known += b"".join(getattr(self.weather, f)[:steps].tobytes() for f in fields)
        if self.recipe is not None:
            known += self.recipe.pools.tobytes() + self.recipe.rate_per_d.tobytes()
        return known


@dataclass(frozen=True, slots=True)
class Member:
    """One possible heap with all it takes to simulate it; see `simulate`."""

    spec: HeapSpec
    weather: WeatherSeries
    start_h: float
    recipe: Recipe
    kinetics: Kinetics
    parameters: Parameters
    water: WaterParameters
    skin: Mapping[str, Any]
    actions: tuple[Action, ...]
    bumps: Bumps | None = None


@dataclass(slots=True)
class Course:
    """How a member went: hours (T,); spots : by name, quantities (T,); curves : of the heap (T,);
    shots : fields of some days on the grid of the heap as built, where they were asked for, at
    shot_hours, with axes : centres along z, y and x [m]."""

    hours: Floats
    spots: dict[str, dict[str, Floats]]
    curves: dict[str, Floats]
    shots: dict[str, NDArray[np.float32]] = field(default_factory=dict)
    shot_hours: Floats = field(default_factory=lambda: np.zeros(0))
    axes: tuple[Floats, Floats, Floats] = field(default_factory=lambda: (np.zeros(0),) * 3)

    def says(self, read: Read) -> float:
        """What it says to a reading, on the scale of `heapwright.inference.readings.told`."""
        at = read.day * 24.0
        match read.quantity:
            case "temp_c" | "o2" | "moisture_wb":
                if read.spot in self.spots:
                    there = self.at(self.spots[read.spot][read.quantity], at)
                else:
                    mean = {"temp_c": "mean_c", "o2": "o2_core", "moisture_wb": "core_moisture_wb"}
                    there = self.at(self.curves[mean[read.quantity]], at)
                if read.quantity != "temp_c" or read.reached == 1.0:
                    return there
                air = self.at(self.curves["air_c"], at)
                return air + read.reached * (there - air)
            case "mass_kg":
                whole = self.curves["dry_kg"] + self.curves["water_kg"]
                return float(np.log(self.at(whole, at)))
            case "dry_kg" | "volume_m3":
                return float(np.log(self.at(self.curves[read.quantity], at)))
            case _:
                return self.at(self.curves[read.quantity], at)

    def at(self, curve: Floats, hour: float) -> float:
        """A curve at an hour, by straight lines; its ends beyond them."""
        return float(np.interp(hour, self.hours, curve))


def member_of(
    subject: Subject, numbers: Mapping[str, float], cell_m: float | None = None
) -> Member:
    """The heap that a member's *numbers* make of a subject.

    numbers : as `heapwright.inference.priors.Space.numbers`; what is missing is as the median.
    """
    spec = subject.spec
    moisture = moisture_of(spec.moisture_wb, numbers)
    density = min(spec.dry_density * numbers.get("density", 1.0), 440.0)
    wind = min(exposure_factor(spec.exposure) * numbers.get("wind", 1.0), 1.0)
    kinetics, parameters = constants_of(numbers)
    par = Parameters.published()
    parameters = parameters.with_(
        permeability=wet_permeability(par.permeability, density, moisture)
        * numbers.get("permeability", 1.0)
    )
    wet = WaterParameters.published()
    water = wet.with_(
        bypass=min(max(wet.bypass + numbers.get("bypass", 0.0), 0.2), 0.98),
        uptake_d=wet.uptake_d * numbers.get("uptake", 1.0),
    )
    usual = Skin.wet_fine() if spec.wet_fine else Skin()
    film = numbers.get("film", 1.0)
    skin = {
        "layer_m": min(float(usual.layer_m[0]) * numbers.get("dry_layer", 1.0), 0.1),
        "film": (usual.calm * film, usual.per_wind * film),
    }
    shifted = tuple(
        _moved(spot, numbers.get(f"depth:{spot.name}", 0.0), spec) for spot in spec.spots
    )
    return Member(
        spec=replace(
            spec, moisture_wb=moisture, dry_density=density, exposure=wind,
            spots=(*shifted, *subject.watch),
            dx_m=cell_m or spec.dx_m,
        ),
        weather=subject.weather, start_h=subject.start_h,
        recipe=matter_of(subject.recipe or chips(spec.leafy_share), numbers),
        kinetics=kinetics, parameters=parameters, water=water, skin=skin, actions=subject.actions,
        bumps=_bumps(spec, numbers),
    )  # fmt: skip


def moisture_of(stated_wb: float, numbers: Mapping[str, float]) -> float:
    """Moisture when built (wet basis) of a member."""
    return min(max(stated_wb + numbers.get("moisture", 0.0), _DRIEST), _WETTEST)


def constants_of(numbers: Mapping[str, float]) -> tuple[Kinetics, Parameters]:
    """Constants of a member; its permeability is that of what is not too wet."""

    def times(name: str) -> float:
        return numbers.get(name, 1.0)

    kin, par = Kinetics.published(), Parameters.published()
    k_oxygen = min(par.k_oxygen * times("k_oxygen"), 0.2)
    warmest = kin.thermophilic.t_max + numbers.get("warmest", 0.0)
    kinetics = kin.with_(
        start_bacteria=min(kin.start_bacteria * times("start"), 0.5),
        mu_bacteria=kin.mu_bacteria * times("growth"),
        fungal_rate=min(kin.fungal_rate * times("fungi"), 1.0),
        k_slow=kin.k_slow * times("lignin"),
        heat_per_oxygen=kin.heat_per_oxygen * times("heat_per_oxygen"),
        moisture_midpoint=kin.moisture_midpoint + numbers.get("dry_limit", 0.0),
        thermophilic=replace(kin.thermophilic, t_max=min(max(warmest, 66.0), 82.0)),
        k_oxygen=k_oxygen,
    )
    parameters = par.with_(
        kz_over_kh=min(par.kz_over_kh * times("kz_over_kh"), 1.5),
        conductivity_dry=par.conductivity_dry * times("conductivity"),
        conductivity_water=par.conductivity_water * times("conductivity"),
        k_oxygen=k_oxygen,
    )
    return kinetics, parameters


def matter_of(base: Recipe, numbers: Mapping[str, float]) -> Recipe:
    """The matter with other shares and rates."""
    pools = base.pools.copy()
    classes = base.classes
    soluble, given = classes == _SOLUBLE, np.isin(classes, _CARBOHYDRATE)
    more = float(pools[soluble].sum()) * (numbers.get("food", 1.0) - 1.0)
    room = float(pools[given].sum())
    if soluble.any() and room > 0:
        more = min(more, _MOST_GIVEN * room)
        pools[soluble] *= 1.0 + more / max(float(pools[soluble].sum()), 1e-12)
        pools[given] *= 1.0 - more / room
    near, far = np.isin(classes, _IN_REACH), np.isin(classes, _OUT_OF_REACH)
    held, left = float(pools[near].sum()), float(pools[far].sum())
    moved = min(held * (numbers.get("access", 1.0) - 1.0), 0.9 * left)
    if held > 0 and left > 0:
        pools[near] *= 1.0 + moved / held
        pools[far] *= 1.0 - moved / left
    rate = base.rate_per_d.copy()
    for group, name in ((_QUICK, "rate"), (_SLOW, "slow"), (_SLOWEST, "lignin")):
        rate[np.isin(classes, group)] *= numbers.get(name, 1.0)
    return replace(base, pools=pools, rate_per_d=rate)


def _bumps(spec: HeapSpec, numbers: Mapping[str, float]) -> Bumps | None:
    """Looser or closer places about the spots; None where there are none."""
    logs = [numbers.get(f"loose:{s.name}", 0.0) for s in spec.spots]
    if not any(logs):
        return None
    return Bumps(tuple(s.point_m for s in spec.spots), tuple(logs))


def _moved(spot: ProbeSpot, deeper_m: float, spec: HeapSpec) -> ProbeSpot:
    """The spot as the probe really stood, nearer to the middle of the heap by *deeper_m*."""
    if deeper_m == 0.0:
        return spot
    height = measures_of(
        spec.shape, spec.volume_m3, height_m=spec.height_m, width_m=spec.width_m,
        length_m=spec.length_m,
    )[1]  # fmt: skip
    place, middle = np.array(spot.point_m), np.array([0.0, 0.0, 0.4 * height])
    way = middle - place
    far = float(np.linalg.norm(way))
    way = way / far if far > 0.05 else np.array([0.0, 0.0, -1.0])
    x, y, z = (place + way * min(deeper_m, max(far, 0.05))).tolist()
    return replace(spot, point_m=(x, y, max(z, 0.02)))


def run_member(member: Member, days: float, **more: Any) -> Run:
    """The whole run of a member; more : further arguments of `simulate`, which go first."""
    given: dict[str, Any] = {
        "recipe": member.recipe, "kinetics": member.kinetics, "parameters": member.parameters,
        "water": member.water, "skin": Skin(member.skin["layer_m"], film=member.skin["film"]),
        "actions": member.actions, "patches": member.bumps, "field_every_h": _NO_FIELDS_H,
    }  # fmt: skip
    return simulate(
        member.spec, weather=member.weather, days=days, start_h=member.start_h, **given | more
    )


def course_of(
    member: Member,
    days: float,
    *,
    shots: Sequence[str] = (),
    every_h: float = _EVERY_H,
    **more: Any,
) -> Course:
    """Simulate a member for some days; shots : fields to keep of every day (see `engine.run`);
    more : as `run_member`."""
    daily: dict[str, Any] = {"field_every_h": 24.0} if shots else {}
    run = run_member(member, days, curve_every_h=every_h, **daily | more)
    return Course(
        hours=run.hours,
        spots={s: {n: c.astype(np.float32) for n, c in f.items()} for s, f in run.spots.items()},
        curves={n: run.curves[n].astype(np.float32) for n in _CURVES},
        shots={n: np.asarray(run.field(n).values) for n in shots},
        shot_hours=np.array([s.hours for s in run.snapshots]),
        axes=run.axes(),
    )


def run_chunk(
    subject: Any, numbers: Sequence[Mapping[str, float]], days: float, cell_m: float | None
) -> list[Course]:
    """The courses of some members of one subject, one after another: what a worker is given."""
    return [subject.course(n, days, cell_m) for n in numbers]
