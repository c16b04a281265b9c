"""Simulate a heap: from what it is, the weather and what is done to it, to a `Run`.

Units: SI, degrees C; ages in days, weather in hours. Conventions: nothing random happens here: the
same input gives the same run. Absurd input is refused before the first step. Ctrl-C ends a run
early and keeps what was done.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.biology import Decay
from heapwright.engine.composition import Recipe, chips
from heapwright.engine.handling import Keeper
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.parameters import Parameters
from heapwright.engine.patches import Bumps, Patches
from heapwright.engine.processes.six_groups import SixConstants
from heapwright.engine.processes.skin import Skin, Surroundings
from heapwright.engine.processes.water import Water, WaterParameters
from heapwright.engine.recording import Recorder
from heapwright.engine.run import Run
from heapwright.engine.scenario import Action, HeapSpec
from heapwright.engine.state import empty_state
from heapwright.engine.stepper import Stepper
from heapwright.engine.surroundings import Air, air_of, row_of
from heapwright.errors import InputError, UnknownNameError
from heapwright.science.heapphysics import wet_permeability
from heapwright.units import quantity

__all__ = ["KINETICS", "Progress", "simulate"]

Floats = NDArray[np.float64]
KINETICS = ("group curves", "six groups")
_DAY_S = 86400.0
#: Soil layers under a heap [m].
_SOIL = np.array([0.1, 0.2, 0.4, 0.8])
_TELL_S = 0.2
#: Decay and liquid water go once in so many of the longest steps.
_STRETCH = 4
#: Nor do they wait for more steps than this: what dries so fast changes within minutes.
_MOST_STEPS = 16
#: Fewest and most steps of heat and vapour in a round of gas, oxygen and skin: steps of 300 s.
_PARTS = (3, 6)


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is: simulated day of days, wall seconds left (None at first), core now."""

    day: float
    days: float
    left_s: float | None
    core_c: float


def simulate(
    heap: HeapSpec,
    *,
    weather: WeatherSeries | Callable[[float], Air],
    days: float = 30.0,
    start_h: float = 0.0,
    recipe: Recipe | None = None,
    kinetics: Kinetics | None = None,
    biology: str = "group curves",
    parameters: Parameters | None = None,
    water: WaterParameters | None = None,
    skin: Skin | None = None,
    groups: SixConstants | None = None,
    patches: Patches | Bumps | None = None,
    actions: Sequence[Action] | None = None,
    curve_every_h: float = 1.0,
    field_every_h: float = 24.0,
    longest_step_s: float = 900.0,
    on_progress: Callable[[Progress], None] | None = None,
) -> Run:
    """Simulate a heap for some days.

    Parameters
    ----------
    heap : HeapSpec
        What is built.
    weather : WeatherSeries or callable
        A series, or the `Air` at so many hours; a series has to reach from ``start_h`` over all
        days.
    days : float
        0.01 to 1500.
    start_h : float
        Hours into the weather at which the heap is built.
    recipe : Recipe, optional
        Its matter; by default ordinary chips with the leafy share of *heap*.
    kinetics, parameters, water : optional
        Constants; the published medians unless given, the permeability of a heap so wet that water
        stands between its particles worked out from it. ``parameters.k_oxygen`` goes before that of
        *kinetics*.
    skin, groups : optional
        The skin, by default that of the material; constants of the second kinetics.
    patches : Patches or Bumps, optional
        Where the heap lies looser or closer; alike everywhere unless given.
    biology : str
        ``group curves``, or ``six groups``, a second kinetics for comparison.
    actions : sequence of Action, optional
        What is done to it; by default those of *heap*.
    curve_every_h, field_every_h : float
        How often curves and fields are kept.
    longest_step_s : float
        60 to 3600; of gas, oxygen and skin. Heat and vapour take three steps in this time, or as
        many as stability asks for; where that is more than six, it is cut shorter.
    on_progress : callable, optional
        Called a few times a second with `Progress`.

    Returns
    -------
    Run
        With ``complete`` False if it was stopped by Ctrl-C.

    Raises
    ------
    InputError, QuantityError, UnknownNameError
        What cannot be, before the first step; `NotEnoughError` where the weather ends too soon.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> from heapwright.domain.weather import WeatherSeries
    >>> air = WeatherSeries.steady(datetime(2026, 5, 3, tzinfo=UTC), hours=48, air_temp_c=15.0)
    >>> run = simulate(HeapSpec(0.5, dx_m=0.2), weather=air, days=0.5)
    >>> bool(run.curves["core_c"][-1] > 15.0)
    True
    """
    _check(days, start_h, curve_every_h, field_every_h, longest_step_s)
    mesh = heap.mesh()
    matter = recipe or chips(heap.leafy_share, kinetics=kinetics)
    par = parameters or _when_wet(Parameters.published(), heap)
    # oxygen closes only where the solver and the kinetics take it up alike
    life = _biology(
        biology, matter, (kinetics or Kinetics.published()).with_(k_oxygen=par.k_oxygen), groups
    )
    rows, sources = _surroundings(weather, heap, (start_h, start_h + days * 24.0))
    # refuses weather that ends too soon
    first = air_of(rows(np.array([start_h, start_h + days * 24.0]))[0])
    state = empty_state(mesh, life.rows, _SOIL.size)
    dry = heap.dry_density * mesh.dx_m**3
    life.start(state, mesh, dry)
    state.water_m[mesh.cells] = dry * heap.moisture_wb / (1.0 - heap.moisture_wb)
    state.temp_c[mesh.cells] = heap.start_c
    state.o2[mesh.cells] = par.oxygen_in_air
    state.soil_c[:] = _soil_profile(heap, first)
    host = Stepper(
        mesh, state, parameters=par, biology=life,
        skin=skin or (Skin.wet_fine() if heap.wet_fine else Skin()),
        water=Water(field_capacity=heap.field_capacity, parameters=water), soil_thickness=_SOIL,
    )  # fmt: skip
    host.cover = heap.cover
    if patches is not None:
        host.eps0 = patches.pores(mesh, host.eps0)
    keeper = Keeper(heap, host, heap.actions if actions is None else actions, days)
    recorder = Recorder(heap, mesh)
    complete = True
    began, cpu = time.monotonic(), time.process_time()
    try:
        _march(
            keeper, recorder, rows, start_h, days, longest_step_s, curve_every_h, field_every_h,
            on_progress, began,
        )  # fmt: skip
    except KeyboardInterrupt:
        complete = False
    host = keeper.host
    host.close_accounts()
    return recorder.result(
        keeper, days, complete, time.process_time() - cpu, life.name,
        (*sources, *(f"assumed of the mix: {note}" for note in matter.notes)),
    )  # fmt: skip


def _march(
    keeper: Keeper,
    recorder: Recorder,
    weather_rows: Callable[[Floats], Floats],
    start_h: float,
    days: float,
    longest_s: float,
    curve_h: float,
    field_h: float,
    tell: Callable[[Progress], None] | None,
    began: float,
) -> None:
    """Step through all days, keep curves and fields, do what is due."""
    end = days * _DAY_S
    stretch = min(_STRETCH * longest_s, keeper.host.biology.stretch_s)
    now = 0.0
    next_curve = next_field = 0.0
    told = began
    air = air_of(weather_rows(np.array([start_h]))[0])
    while True:
        if now >= next_curve - 1e-6 or now >= end - 1e-6:
            recorder.curve(keeper, now, air)
            next_curve += curve_h * 3600.0
        if now >= next_field - 1e-6 or now >= end - 1e-6:
            recorder.fields(keeper, now)
            next_field += field_h * 3600.0
        keeper.do(now, air)
        if now >= end - 1e-6:
            return
        stop = min(end, next_curve, next_field, keeper.next_s(now), now + stretch)
        parts = max(1, math.ceil((stop - now) / longest_s - 1e-9))
        spacing = (stop - now) / parts
        hours = (start_h * 3600.0 + now + spacing * np.arange(parts + 1, dtype=np.float64)) / 3600.0
        rows = weather_rows(hours)
        now += keeper.host.march(
            rows, spacing_s=spacing, seconds=stop - now, longest_s=spacing,
            most_steps=_MOST_STEPS, parts=_PARTS,
        )  # fmt: skip
        keeper.host.catch_up()
        if stop - now < 1e-3:
            now = stop
            air = air_of(rows[-1])
        else:
            air = air_of(weather_rows(np.array([start_h + now / 3600.0]))[0])
        if tell is not None and time.monotonic() - told > _TELL_S:
            told = time.monotonic()
            left = (told - began) * (end - now) / max(now, 1.0)
            core = recorder.core_c(keeper)
            tell(Progress(now / _DAY_S, days, left if told - began > 1 else None, core))


def _surroundings(
    weather: WeatherSeries | Callable[[float], Air], heap: HeapSpec, span_h: tuple[float, float]
) -> tuple[Callable[[Floats], Floats], tuple[str, ...]]:
    """What gives rows of weather at some hours, and its sources."""
    if isinstance(weather, WeatherSeries):
        around = Surroundings(weather, exposure=heap.exposure, deep_c=heap.soil_c, span_h=span_h)
        return around.rows, weather.source

    def rows(hours: Floats) -> Floats:
        return np.array([row_of(weather(float(hour))) for hour in hours])

    return rows, ("weather given as a function",)


def _when_wet(par: Parameters, heap: HeapSpec) -> Parameters:
    """The parameters with the permeability that the material has when built as wet as it is."""
    return par.with_(
        permeability=wet_permeability(par.permeability, heap.dry_density, heap.moisture_wb)
    )


def _soil_profile(heap: HeapSpec, air: Air) -> Any:
    """Soil when the heap is built: half way between the air and the deep soil at the top."""
    deep = air.deep_c
    top = 0.5 * (air.temp_c + deep) if heap.soil_c is None else heap.soil_c
    middles = np.cumsum(_SOIL) - _SOIL / 2
    return deep + (top - deep) * np.exp(-middles / 0.5)


def _biology(
    name: str, matter: Recipe, kinetics: Kinetics, groups: SixConstants | None = None
) -> Any:
    if name == "group curves":
        return Decay(matter, kinetics)
    if name == "six groups":
        from heapwright.engine.six_groups import SixGroups

        return SixGroups(matter, kinetics, constants=groups)
    raise UnknownNameError(
        "there is no such kinetics", field="biology", value=name,
        way_out="One of " + ", ".join(KINETICS),
    )  # fmt: skip


def _check(
    days: float, start_h: float, curve_h: float, field_h: float, longest_step_s: float
) -> None:
    quantity("age_d").check(days, field="days")
    limits = (
        ("days", days, 0.01, 1500.0),
        ("start_h", start_h, 0.0, 1e6),
        ("curve_every_h", curve_h, 0.02, 1e5),
        ("field_every_h", field_h, 0.1, 1e5),
        ("longest_step_s", longest_step_s, 60.0, 3600.0),
    )
    for name, number, low, high in limits:
        if not low <= number <= high:
            raise InputError(f"give {low:g} to {high:g}", field=name, value=f"{number:g}")
