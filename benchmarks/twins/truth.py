"""A pair of invented heaps as they truly are, and what a keeper would know and read of them.

Units: as in `heapwright.engine.scenario`; ages in days. Conventions: the truth is another model
than the one that is fitted: cells two thirds as large, the second kinetics, patches in the
permeability, cardinal temperatures and the film and reach of microbes drawn and never told, other
weather than the station says, a probe that stands 5 to 10 cm beside its spot, and one watering that
nobody wrote down. All chance comes from the seed of the pair. All of it is invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.climate import Climate, made_year
from heapwright.domain.weather import WeatherSeries
from heapwright.engine.composition import chips
from heapwright.engine.patches import Patches
from heapwright.engine.processes.six_groups import SixConstants
from heapwright.engine.scenario import Action, HeapSpec, Pipe, ProbeSpot
from heapwright.inference.causes import CAUSES, gap_of, swapped
from heapwright.inference.members import Course, Subject, course_of, member_of
from heapwright.inference.priors import Space
from heapwright.inference.readings import Read

Floats = NDArray[np.float64]

FIT_CELL_M, TRUE_CELL_M = 0.2, 0.13
FITTED_DAYS, AHEAD_DAYS, ORIGINS = 10.0, 7.0, 12
#: over which a gap is explained [d]
GAP_DAYS = tuple(float(d) for d in np.arange(1.0, FITTED_DAYS + 0.01, 0.25))
PATCHY = 0.5
_KINDS = ("none", "known", "other", "known", "other", "none", "other", "known")
_KNOWN = ("air path", "material", "exposure and size", "water")
_NONE_C, _CLEAR_C, _CLEAR = 2.0, 2.0, 1.5
_TRIES = 200
_BUILT = datetime(2026, 5, 3, 9, tzinfo=UTC)
_CLIMATE = Climate(
    mean_c=(4, 5, 7, 10, 13, 16, 18, 18, 15, 11, 7, 5),
    range_c=(6, 6, 8, 9, 10, 10, 10, 10, 9, 7, 6, 6),
    rain_mm=(70, 50, 55, 50, 60, 60, 60, 65, 65, 80, 75, 75), latitude_deg=52.0, longitude_deg=0.0,
    wind_m_s=(4.0,) * 12,
)  # fmt: skip
#: SDs of the truth, of the material and between heaps, by knob: its own, so that it stays the same
#: whatever the fit believes; knobs that are not named vary as the fit has it
_SPREAD = {
    "rate": (0.4, 0.4), "start": (0.4, 0.0), "food": (0.35, 0.1), "slow": (0.4, 0.15),
    "permeability": (1.0, 0.4), "moisture": (0.03, 0.025), "uptake": (0.3, 0.0),
    "wind": (0.4, 0.15),
}  # fmt: skip
_SPOTS = (("core", (0.0, 0.0, 0.45)), ("flank", (0.42, 0.0, 0.4)), ("top", (0.0, 0.0, 0.75)))


@dataclass(frozen=True, slots=True)
class TrueHeap(Subject):
    """A heap with what only the truth has: patches : seed of its patches; secret : what was done to
    it and not written down."""

    patches: int = 0
    secret: tuple[Action, ...] = ()

    def course(self, numbers: Mapping[str, float], days: float, cell_m: float | None) -> Course:
        member = member_of(self, numbers, cell_m)
        member = replace(
            member, actions=tuple(sorted((*self.actions, *self.secret), key=lambda a: a.age_d))
        )
        base = SixConstants.refitted()
        opened = base.hydrolysis.copy()
        opened[:, :3] *= numbers.get("rate", 1.0)
        opened[:, 3:] *= numbers.get("slow", 1.0)
        groups = base.with_(
            hydrolysis=opened,
            start_bacteria=min(base.start_bacteria * numbers.get("start", 1.0), 0.2),
        )
        return course_of(
            member, days, biology="six groups", groups=groups,
            patches=Patches(PATCHY, seed=self.patches),
        )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Pair:
    """What a keeper knows of a pair, and the truth.

    seed; kind : none, known or other; known : the cause in which the keeper made them differ;
    told : the two heaps as known; reads : of the first days; since : later rounds, by age; later :
    by origin [d], what is read so many days ahead; shares : of the truth, by cause; air : of the
    station by hour.
    """

    seed: int
    kind: str
    known: str
    told: tuple[Subject, Subject]
    rounds: tuple[tuple[float, tuple[Read, ...]], ...]
    later: tuple[tuple[float, tuple[Read, ...]], ...]
    shares: Mapping[str, float]
    gap_c: float


def kind_of(seed: int) -> str:
    """none: no cause above 2 C; known: the known difference is the main cause; other."""
    return _KINDS[(seed - 1) % len(_KINDS)]


def make_pair(seed: int) -> Pair:
    """The pair of a seed: drawn again until it is of its kind."""
    kind = kind_of(seed)
    for attempt in range(_TRIES):
        rng = np.random.default_rng([97, seed, attempt])
        known = _KNOWN[int(rng.integers(len(_KNOWN)))]
        heaps, numbers = _drawn(rng, known, kind)
        gap, shares = true_shares(heaps, numbers)
        if _fits(kind, known, shares):
            return _read(seed, kind, known, heaps, numbers, shares, gap, rng)
    raise RuntimeError(f"no pair of kind {kind} for seed {seed}")


def main_cause(shares: Mapping[str, float]) -> tuple[str | None, float | None]:
    """The largest share and by how much it is the largest; None where it is not clear."""
    order = sorted(shares, key=lambda c: -abs(shares[c]))
    first, second = abs(shares[order[0]]), abs(shares[order[1]])
    if first < _NONE_C or first - second < _CLEAR_C or first < _CLEAR * second:
        return None, None
    return order[0], first - second


def _fits(kind: str, known: str, shares: Mapping[str, float]) -> bool:
    if kind == "none":
        return max(abs(s) for s in shares.values()) < _NONE_C
    first, _ = main_cause(shares)
    return first is not None and (first == known) == (kind == "known")


def true_shares(
    heaps: tuple[TrueHeap, TrueHeap], numbers: tuple[dict[str, float], dict[str, float]]
) -> tuple[float, dict[str, float]]:
    """Gap and shares in the engine of the truth."""
    (a, b), (n, m) = heaps, numbers
    until = max(GAP_DAYS) + 0.01

    def run(heap: TrueHeap, numbers: Mapping[str, float]) -> list[Course]:
        return [heap.course(numbers, until, TRUE_CELL_M)]

    one, other = run(a, n), run(b, m)
    gap = float(gap_of(one, other, GAP_DAYS)[0])
    shares = {}
    for cause in CAUSES[:4]:
        into_a = true_swap(a, n, b, m, cause)
        into_b = true_swap(b, m, a, n, cause)
        effects = (
            gap - float(gap_of(run(*into_a), other, GAP_DAYS)[0]),
            gap - float(gap_of(one, run(*into_b), GAP_DAYS)[0]),
        )
        shares[cause] = float(np.mean(effects))
    return gap, shares


def true_swap(
    into: TrueHeap, n: Mapping[str, float], source: TrueHeap, m: Mapping[str, float], cause: str
) -> tuple[TrueHeap, dict[str, float]]:
    """As in the fit, with what only the truth has."""
    made, mixed = swapped(into, n, source, m, cause)
    if cause == "air path":
        made = replace(made, patches=source.patches)
    if cause == "water":
        made = replace(made, secret=source.secret)
    return made, mixed  # type: ignore[return-value]


# --- drawing -------------------------------------------------------------------------------------


def _drawn(
    rng: np.random.Generator, known: str, kind: str
) -> tuple[tuple[TrueHeap, TrueHeap], tuple[dict[str, float], dict[str, float]]]:
    weather = made_year(_CLIMATE, year=2026, rng=rng).covering(_BUILT, _BUILT + timedelta(days=60))
    volume = float(rng.uniform(1.1, 1.6))
    leafy = float(rng.uniform(0.05, 0.2))
    spec = HeapSpec(
        volume, height_m=1.0, moisture_wb=float(rng.uniform(0.5, 0.6)), exposure="sheltered",
        start_c=float(weather.at(1.0).air_temp_c), leafy_share=leafy,
        spots=tuple(ProbeSpot(n, p) for n, p in _SPOTS),
    )  # fmt: skip
    one = TrueHeap("A", spec, weather, recipe=chips(leafy), patches=int(rng.integers(2**31)))
    size = 0.4 if kind == "none" else 1.0
    two = _changed(replace(one, name="B", patches=int(rng.integers(2**31))), known, size, rng)
    space = Space(("A", "B"), ())
    z = rng.normal(size=len(space.rows))
    scale = np.array([_spread(r) / r.sd for r in space.rows])
    scale *= [0.5 if kind == "none" and r.heap else 1.0 for r in space.rows]
    numbers = tuple(space.numbers(z * scale, name) for name in ("A", "B"))
    thirsty = int(rng.integers(2))
    secret = (Action(float(rng.uniform(2, 9)), "watered", float(rng.uniform(15, 45))),)
    heaps = [one, two]
    heaps[thirsty] = replace(heaps[thirsty], secret=secret)
    return (heaps[0], heaps[1]), numbers  # type: ignore[return-value]


def _spread(row: Any) -> float:
    """SD of the truth of a row of the ensemble."""
    material, between = _SPREAD.get(row.knob.name, (row.sd, row.sd))
    return between if row.heap else material


def _changed(heap: TrueHeap, known: str, size: float, rng: np.random.Generator) -> TrueHeap:
    """The second heap with the difference that the keeper made."""
    spec = heap.spec
    way = 1.0 if rng.random() < 0.5 else -1.0
    if known == "air path":
        pipe = Pipe(((-1.2, 0.0, 0.15), (1.2, 0.0, 0.15)), hole_rows=4)
        return replace(heap, spec=replace(spec, pipes=(pipe,)))
    if known == "material":
        leafy = max(spec.leafy_share + way * size * rng.uniform(0.05, 0.15), 0.01)
        return replace(heap, spec=replace(spec, leafy_share=leafy), recipe=chips(leafy))
    if known == "water":
        drier = spec.moisture_wb - size * rng.uniform(0.06, 0.15)
        return replace(heap, spec=replace(spec, moisture_wb=drier))
    volume = spec.volume_m3 * (1 + size * rng.uniform(0.3, 0.9))
    exposure = min(0.25 * (1 + size * way * rng.uniform(0.3, 0.8)), 0.5)
    return replace(
        heap, spec=replace(spec, volume_m3=volume, height_m=1.0 + 0.1 * size, exposure=exposure)
    )


# --- reading -------------------------------------------------------------------------------------


def _read(
    seed: int,
    kind: str,
    known: str,
    heaps: tuple[TrueHeap, TrueHeap],
    numbers: tuple[dict[str, float], dict[str, float]],
    shares: Mapping[str, float],
    gap: float,
    rng: np.random.Generator,
) -> Pair:
    """Rounds every two or three days, and what is read a week after each later one."""
    days = [1.0]
    while sum(d >= FITTED_DAYS for d in days) < ORIGINS:
        days.append(days[-1] + float(rng.integers(2, 4)) + rng.uniform(-0.1, 0.1))
    origins = [d for d in days if d >= FITTED_DAYS]
    visits = [(d, False) for d in days] + [(d + AHEAD_DAYS, True) for d in origins]
    bias = float(rng.normal(0.0, 0.5))
    reads: dict[tuple[float, bool], list[Read]] = {v: [] for v in visits}
    for heap, n in zip(heaps, numbers, strict=True):
        places = {(v, name): _beside(p, rng) for v in visits for name, p in _SPOTS}
        probed = tuple(ProbeSpot(f"{i}", p) for i, p in enumerate(places.values()))
        course = replace(heap, spec=replace(heap.spec, spots=probed)).course(
            n, max(d for d, _ in visits) + 0.01, TRUE_CELL_M
        )
        for i, (visit, name) in enumerate(places):
            true = course.at(course.spots[f"{i}"]["temp_c"], visit[0] * 24.0)
            value = round(true + bias + float(rng.normal(0.0, 1.0)), 1)
            reads[visit].append(Read(heap.name, name, visit[0], value, probe="one"))
    station = _station(heaps[0].weather, rng)
    told = tuple(
        Subject(h.name, replace(h.spec, dx_m=None), station, 0.0, h.recipe, h.actions)
        for h in heaps
    )
    return Pair(
        seed, kind, known, told,  # type: ignore[arg-type]
        tuple((d, tuple(reads[d, False])) for d in days),
        tuple((d, tuple(reads[d + AHEAD_DAYS, True])) for d in origins),
        shares, gap,
    )  # fmt: skip


def _beside(place: tuple[float, float, float], rng: np.random.Generator) -> tuple[float, ...] | Any:
    way = rng.normal(size=3)
    x, y, z = np.array(place) + way / np.linalg.norm(way) * rng.uniform(0.05, 0.10)
    return float(x), float(y), max(float(z), 0.05)


def _station(weather: WeatherSeries, rng: np.random.Generator) -> WeatherSeries:
    """What a station some way off says of the same days."""
    n = weather.count
    noise = np.zeros(n)
    shock = rng.normal(size=n)
    keep = np.exp(-1 / 24)
    for k in range(1, n):
        noise[k] = keep * noise[k - 1] + np.sqrt(1 - keep**2) * shock[k]
    return replace(
        weather,
        air_temp_c=weather.air_temp_c + rng.normal(0.0, 0.7) + 1.2 * noise,
        wind_m_s=weather.wind_m_s * np.exp(rng.normal(0.0, 0.3)),
        rain_mm=weather.rain_mm * rng.gamma(4.0, 0.25, n),
        source=("invented: a station some way off",),
    )
