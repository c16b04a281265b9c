"""The cases as written in ``cases/*.toml``, turned into heaps, recipes and weather.

Units: as in the engine. Conventions: a file has a base that all of its cases and variants share;
a case and then a variant overrule single entries by dotted name. An input is a plain value or a
table with ``value``, ``from`` (where it comes from) and ``tag`` (S seen, M from memory, C computed,
own). Only material, heap and weather can be said in a case; the constants of the simulator cannot.
"""

from __future__ import annotations

import copy
import hashlib
import json
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from heapwright.domain.climate import Climate
from heapwright.domain.material import Ingredient, Mix
from heapwright.domain.weather import WeatherSeries
from heapwright.engine.composition import Recipe, recipe
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.parameters import Parameters
from heapwright.engine.scenario import Action, HeapSpec, Pipe, ProbeSpot
from heapwright.services.weather import described_year
from heapwright.units import Ranged

__all__ = ["Case", "Setting", "all_cases", "build", "parameter_hash", "recipe_of"]

HERE = Path(__file__).parent
VALUES = HERE.parents[1] / "src" / "heapwright" / "science" / "values"
#: the value files that the simulator reads
SIMULATED = (
    "air", "carbon_classes", "composition", "engine", "feedstocks", "heapphysics", "kinetics",
    "sky",
)  # fmt: skip
_WORDS = ("source", "where", "seen", "note")
_YEAR = 2023
_SEED = 1
_MEASURED = ("nitrogen_dm", "ash_dm", "carbon_dm", "lignin_vs", "moisture_wb")


@dataclass(frozen=True, slots=True)
class Case:
    """One published trial: key, title, source, days, variants by name, and what is measured."""

    key: str
    title: str
    source: str
    days: float
    scored: str
    counted: bool
    variants: Mapping[str, Mapping[str, Any]]
    quantities: tuple[Mapping[str, Any], ...]
    orders: tuple[Mapping[str, Any], ...]

    @property
    def spread(self) -> tuple[str, ...]:
        """Variants that only show how much an unknown height matters."""
        return tuple(v for v in ("low", "middle", "high") if v in self.variants)


@dataclass(frozen=True, slots=True)
class Setting:
    """What `simulate` is given for one variant."""

    heap: HeapSpec
    recipe: Recipe
    parameters: Parameters
    weather: WeatherSeries
    start_h: float
    days: float


def parameter_hash() -> str:
    """Hash of every number the simulator reads from science/values; words do not count."""

    def numbers(node: Any) -> Any:
        if isinstance(node, dict):
            return {k: numbers(v) for k, v in node.items() if k not in _WORDS}
        return [numbers(v) for v in node] if isinstance(node, list) else node

    found = {
        name: numbers(tomllib.loads((VALUES / f"{name}.toml").read_text(encoding="utf-8")))
        for name in SIMULATED
    }
    text = json.dumps(found, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def all_cases() -> dict[str, Case]:
    """Every case of every file, by key."""
    found: dict[str, Case] = {}
    for path in sorted((HERE / "cases").glob("*.toml")):
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        for key, own in told["cases"].items():
            found[key] = _case(key, told["base"], own)
    return found


def _case(key: str, base: Mapping[str, Any], own: Mapping[str, Any]) -> Case:
    variants = {}
    for name, changes in own.get("variants", base["variants"]).items():
        made = {k: copy.deepcopy(base[k]) for k in ("material", "heap", "weather")}
        made["pipes"] = None
        made["start"] = own["start"]
        for source in (own, changes):
            for dotted, new in source.items():
                if "." in dotted:
                    table, entry = dotted.split(".", 1)
                    made[table][entry] = copy.deepcopy(new)
        made["pipes"] = changes.get("pipes")
        made["why"] = changes.get("from", "")
        variants[name] = made
    return Case(
        key=key, title=own["title"], source=own["source"], days=float(own["days"]),
        scored=own.get("scored", base["scored"]), counted=own.get("counted", True),
        variants=variants, quantities=tuple(own.get("quantities", ())),
        orders=tuple(own.get("orders", ())),
    )  # fmt: skip


def _v(table: Mapping[str, Any], key: str, default: Any = None) -> Any:
    """The value of an input, with or without its source."""
    found = table.get(key, default)
    return found["value"] if isinstance(found, dict) and "value" in found else found


def build(case: Case, variant: str) -> Setting:
    """The heap, its matter and its weather for one variant of a case."""
    told = case.variants[variant]
    material, heap = told["material"], told["heap"]
    leafy = _v(material, "leafy_share", 0.0)
    spec = HeapSpec(
        volume_m3=_v(heap, "volume_m3"), shape=_v(heap, "shape"), height_m=_v(heap, "height_m"),
        width_m=_width(heap), dry_density=_v(material, "dry_density"),
        moisture_wb=_v(material, "moisture_wb"), start_c=_v(heap, "start_c"), leafy_share=leafy,
        exposure=_v(heap, "exposure"), wet_fine=bool(_v(material, "wet_fine", False)),
        field_capacity=_v(material, "field_capacity"), dx_m=heap["dx_m"],
        soil_c=_v(heap, "soil_c"), name=f"{case.key} {variant}",
    )  # fmt: skip
    pipes = _pipes(told["pipes"], spec)
    actions = [Action(age, "turned") for age in _v(heap, "turned_d", []) if age < case.days]
    wetted = _v(heap, "moistened_to")
    if wetted:
        actions += [Action(a.age_d, "moistened", wetted) for a in actions]
    if any(p.forced_l_s for p in pipes):
        actions.append(Action(0.0, "air on"))
    spec = replace(
        spec, spots=_spots(str(heap["spots"]), spec), pipes=pipes, actions=tuple(actions)
    )
    weather, start_h = _weather(told["weather"], told["start"], case.days)
    return Setting(
        heap=spec, recipe=recipe_of(material["parts"], leafy),
        parameters=Parameters.published().with_(permeability=_v(material, "permeability")),
        weather=weather, start_h=start_h, days=case.days,
    )  # fmt: skip


def _width(heap: Mapping[str, Any]) -> float | None:
    width = _v(heap, "width_m")
    return None if width == "free" else width


def recipe_of(parts: list[dict[str, Any]], leafy: float) -> Recipe:
    """The mix by shares of dry matter."""
    ingredients = []
    for n, part in enumerate(parts):
        measured = {k: Ranged.exact(part[k]) for k in _MEASURED if k in part}
        measured["moisture_wb"] = Ranged.exact(0.5)
        ingredients.append(
            Ingredient(
                f"{part['like']} {n}", like=part["like"],
                mass_kg=Ranged.exact(100.0 * part["share"]), measured=measured,
            )
        )  # fmt: skip
    return recipe(Mix(tuple(ingredients)), kinetics=Kinetics.published(), leafy_share=leafy)


# --- weather -------------------------------------------------------------------------------------


def _weather(told: Mapping[str, Any], start: str, days: float) -> tuple[WeatherSeries, float]:
    """A made-up year of the climate, moved to the published air and rain, from the start on."""
    climate = Climate(
        mean_c=tuple(told["mean_c"]), range_c=tuple(told["range_c"]),
        rain_mm=tuple(told["rain_mm"]), wind_m_s=tuple(told["wind_m_s"]),
        latitude_deg=told["latitude_deg"], longitude_deg=told["longitude_deg"],
    )  # fmt: skip
    year = described_year(climate, seed=_SEED, year=_YEAR)
    month, day = (int(n) for n in start.split("-"))
    first = datetime(_YEAR, month, day, 10, tzinfo=UTC)
    match = told.get("match")
    span = max(days, float(match["days"]) if match else 0.0)
    series = year.covering(first, first + timedelta(days=span + 1))
    if match:
        series = _matched(series, match)
    return (_roofed(series) if told.get("roof") else series), 0.0


def _roofed(series: WeatherSeries) -> WeatherSeries:
    """The same under a roof: no rain, no sun, and a sky as warm as the air."""
    none = np.zeros(series.count)
    said = (*series.source, "under a roof: no rain, no sun, sky as warm as the air")
    return replace(series, rain_mm=none, sun_w_m2=none, sky_temp_c=series.air_temp_c, source=said)


def _matched(series: WeatherSeries, match: Mapping[str, Any]) -> WeatherSeries:
    """The series with its air moved and its rain scaled to what was measured."""
    hours = round(float(match["days"]) * 24)
    air, rain = series.air_temp_c, series.rain_mm
    sky, said = series.sky_temp_c, list(series.source)
    if "mean_c" in match:
        moved = float(match["mean_c"]) - float(air[:hours].mean())
        air, sky = air + moved, sky + moved
        said.append(f"air moved by {moved:+.1f} C to a mean of {match['mean_c']:g} C")
    if "rain_mm" in match:
        factor = float(match["rain_mm"]) / max(float(rain[:hours].sum()), 1e-9)
        rain = rain * factor
        said.append(f"rain times {factor:.2f}, to {match['rain_mm']:g} mm")
    return replace(
        series, air_temp_c=air, sky_temp_c=np.minimum(sky, air), rain_mm=rain, source=tuple(said)
    )


# --- spots and pipes -----------------------------------------------------------------------------


def _spots(scheme: str, spec: HeapSpec) -> tuple[ProbeSpot, ...]:
    """Where it is measured.

    loggers : nine, on the axis and half way to the skin to both sides, at a quarter, half and three
    quarters of the height, with core and top; thermocouples : 25 in five layers of a cylinder;
    garden : the core, and a spot 0.2 m above the base.
    """
    mesh = spec.mesh()
    centres = mesh.centres()
    d, h = mesh.dx_m, float(centres[:, 2].max()) + mesh.dx_m / 2
    middle = np.hypot(centres[:, 0], centres[:, 1]) < d

    def half_way(z: float) -> float:
        level = np.abs(centres[:, 2] - z) <= 0.51 * d
        return 0.5 * float(centres[level & (np.abs(centres[:, 0]) < d), 1].max() + d / 2)

    axis_top = float(centres[middle, 2].max()) + d / 2
    spots = [ProbeSpot("core", (0.0, 0.0, 0.45 * axis_top))]
    if scheme == "garden":
        return (*spots, ProbeSpot("near pipe", (0.0, 0.0, 0.25)))
    if scheme == "thermocouples":
        for f in (0.06, 0.28, 0.5, 0.72, 0.94):
            spots.append(ProbeSpot(f"logger {f:g} middle", (0.0, 0.0, f * h)))
            reach = 0.6 * float(np.abs(centres[:, 0]).max())
            for n, (x, y) in enumerate(((1, 0), (-1, 0), (0, 1), (0, -1))):
                spots.append(ProbeSpot(f"logger {f:g} {n}", (x * reach, y * reach, f * h)))
        return tuple(spots)
    spots.append(ProbeSpot("top", (0.0, 0.0, axis_top - min(0.5, 0.25 * axis_top))))
    for f in (0.25, 0.5, 0.75):
        z = f * axis_top
        side = half_way(z)
        spots += [
            ProbeSpot(f"logger {f:g} {name}", (0.0, y, z))
            for name, y in (("middle", 0.0), ("right", side), ("left", -side))
        ]
    return tuple(spots)


def _pipes(layout: str | None, spec: HeapSpec) -> tuple[Pipe, ...]:
    """Pipes by the name of their layout; all of them perforated drain pipe, two rows of holes."""
    if layout is None:
        return ()
    centres = spec.mesh().centres()
    ex, ey = (float(np.abs(centres[:, n]).max()) + 0.3 for n in (0, 1))
    if layout.startswith("three across"):
        blown = 0.5 if layout.endswith("blown") else 0.0
        xs = (-0.55 * ex, 0.0, 0.55 * ex)
        return tuple(
            Pipe(((x, -ey, 0.15), (x, ey, 0.15)), diameter_m=0.1, hole_rows=2, forced_l_s=blown,
                 both_open=not blown)
            for x in xs
        )  # fmt: skip
    if layout == "four along the base":
        ys = (-0.45 * ey, -0.15 * ey, 0.15 * ey, 0.45 * ey)
        return tuple(Pipe(((-ex, y, 0.2), (ex, y, 0.2)), diameter_m=0.15, hole_rows=2) for y in ys)
    if layout == "one along the base":
        return (Pipe(((-ex, 0.0, 0.1), (ex, 0.0, 0.1)), diameter_m=0.1, hole_rows=2),)
    raise ValueError(f"no such layout of pipes: {layout}")


def loose(number: float | None) -> float | None:
    """A number for JSON: four digits, None for what never came about."""
    if number is None or not math.isfinite(number):
        return None
    return float(f"{number:.4g}")
