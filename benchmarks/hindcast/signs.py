"""Signs: what must go up or down when one thing about a heap is changed.

Units: degrees C, days, m2, m3. Conventions: everything but the one thing is equal; steady weather,
published constants. Each function runs a few small heaps and returns the number whose sign is
asked for; ``dx_m`` and ``days`` let tests run it coarser and shorter.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from benchmarks.hindcast.measures import Facts, facts_of
from benchmarks.hindcast.score import sign_row

from heapwright.domain.material import Ingredient
from heapwright.engine.composition import Recipe, chips, compose
from heapwright.engine.parameters import Parameters
from heapwright.engine.scenario import Action, HeapSpec, Pipe, ProbeSpot
from heapwright.engine.simulate import simulate
from heapwright.engine.surroundings import Air
from heapwright.science.air import saturation_pressure
from heapwright.science.heapphysics import wet_permeability

__all__ = ["LEAFY", "SIGNS", "Sign", "quiet_chips", "run_heap", "sign_rows"]

#: leaf in the chips of high demand, which lose 3.3 kg of dry matter a m3 and day on days 1 to 3
LEAFY = 0.35
#: nitrogen given to quiet chips, so that their demand is that of the model note [kg/kg dry]
_FREE_N = 0.003
#: of the heap that the signs ask [kg/m3]
_DRY_DENSITY = 190.0
_LAYER = "physics; design of this project, checked on an earlier trial of the same equations"


def steady(
    *, temp_c: float = 18.0, wind_m_s: float = 0.3, rain_mm_d: float = 0.0, humid: float = 0.7
) -> Callable[[float], Air]:
    """The same weather at every hour; wind as it reaches the heap."""
    vapour = humid * float(saturation_pressure(temp_c))
    air = Air(
        temp_c=temp_c, vapour_pa=vapour, pressure_pa=101325.0, wind_m_s=wind_m_s,
        sky_c=temp_c - 8.0, sun_w_m2=np.zeros((2, 6)), rain_kg_m2_s=rain_mm_d / 86400.0,
        deep_c=12.0,
    )  # fmt: skip
    return lambda hours: air


@functools.cache
def quiet_chips() -> Recipe:
    """Chips whose quick food is gone, with nitrogen enough and more in reach than usual.

    They lose 1 kg of dry matter a m3 and day at their best, the lower demand of the model note.
    """
    return _alone(soluble=0.0, accessible=0.3)


def _alone(**shares: float) -> Recipe:
    from heapwright.engine.composition import _joined

    part = compose(Ingredient("arborist chips"), leafy_share=0.0, **shares)
    return _joined(((part, 1.0),), water=0.0, volume=0.0, fertiliser=_FREE_N)


def run_heap(
    *,
    permeability: float,
    days: float,
    dx_m: float = 0.12,
    volume_m3: float = 1.2,
    pipe: bool = False,
    leafy: float = 0.15,
    matter: Recipe | None = None,
    air: Callable[[float], Air] | None = None,
    actions: tuple[Action, ...] = (),
    **heap: Any,
) -> Facts:
    """One mound of chips in steady weather; spot ``core`` in its middle."""
    height = (volume_m3 / 0.393 / 1.7**2) ** (1 / 3)
    reach = 1.2 * height
    pipes = (Pipe(((-reach, 0.0, 0.15), (reach, 0.0, 0.15)), hole_rows=4),) if pipe else ()
    spec = HeapSpec(
        volume_m3, leafy_share=leafy, dx_m=dx_m, pipes=pipes, start_c=heap.pop("start_c", 20.0),
        spots=(ProbeSpot("core", (0.0, 0.0, 0.5 * height)),), actions=actions, **heap,
    )  # fmt: skip
    run = simulate(
        spec, weather=air or steady(), days=days, recipe=matter or chips(leafy),
        parameters=Parameters.published().with_(permeability=permeability),
        field_every_h=24.0 * days,
    )  # fmt: skip
    return facts_of(run)


def _pipe_gap(
    permeability: float, *, days: float, dx_m: float = 0.12, matter: Recipe | None = None,
    **heap: Any,
) -> float:  # fmt: skip
    """Core with a pipe less without, at the end [C]."""
    pair = [
        run_heap(permeability=permeability, days=days, dx_m=dx_m, matter=matter, pipe=p, **heap)
        for p in (True, False)
    ]
    return float(pair[0].curves["core_c"][-1] - pair[1].curves["core_c"][-1])


def pipe_in_open_chips(dx_m: float = 0.12) -> float:
    """Leafy chips on day 2, permeability ten times the flip: a pipe cools."""
    return _pipe_gap(1e-7, days=2.0, dx_m=dx_m, leafy=LEAFY)


def pipe_in_starved_mix(dx_m: float = 0.12) -> float:
    """Leafy chips on day 2, permeability a tenth of the flip: a pipe warms."""
    return _pipe_gap(1e-9, days=2.0, dx_m=dx_m, leafy=LEAFY)


def pipe_in_open_quiet(dx_m: float = 0.12) -> float:
    """Chips of little demand, permeability ten times their flip: a pipe cools."""
    return _pipe_gap(1e-8, days=8.0, dx_m=dx_m, matter=quiet_chips(), start_c=40.0)


def pipe_in_starved_quiet(dx_m: float = 0.12) -> float:
    """Chips of little demand, permeability a tenth of their flip: a pipe warms."""
    return _pipe_gap(1e-10, days=8.0, dx_m=dx_m, matter=quiet_chips(), start_c=40.0)


def flip(matter: Recipe | None, days: float, grid: tuple[float, ...], **heap: Any) -> float | None:
    """Permeability at which a pipe turns from warming to cooling [m2], None without a turn."""
    gaps = [_pipe_gap(k, days=days, matter=matter, **heap) for k in grid]
    for n in range(len(grid) - 1):
        if gaps[n] > 0 >= gaps[n + 1]:
            share = gaps[n] / (gaps[n] - gaps[n + 1])
            return float(10 ** (np.log10(grid[n]) + share * np.log10(grid[n + 1] / grid[n])))
    return None


def flip_at_high_demand() -> float | None:
    """Where the sign turns for leafy chips on day 2."""
    return flip(None, 2.0, (1e-9, 3e-9, 1e-8, 3e-8, 1e-7), leafy=LEAFY)


def flip_at_low_demand() -> float | None:
    """Where the sign turns for chips of little demand."""
    return flip(quiet_chips(), 8.0, (1e-10, 3e-10, 1e-9, 3e-9, 1e-8), start_c=40.0)


def wind_chills_open(dx_m: float = 0.12, days: float = 4.0) -> float:
    """Open chips: core in wind of 2 m/s less core in calm."""
    return _windy(1e-7, dx_m, days, "core_c")


def wind_airs_starved(dx_m: float = 0.12, days: float = 4.0) -> float:
    """A starved mix: oxygen of the core in wind less in calm [% O2]."""
    return 100.0 * _windy(1e-9, dx_m, days, "o2_core")


def wind_warms_starved(dx_m: float = 0.12, days: float = 4.0) -> float:
    """A starved mix: core in wind less in calm [C]."""
    return _windy(1e-9, dx_m, days, "core_c")


def wind_starves_of_heat(dx_m: float = 0.12, days: float = 4.0) -> float:
    """Open chips: heat set free in wind over that in calm, mean of the last day, less 1."""
    pair = [
        run_heap(permeability=1e-7, days=days, dx_m=dx_m, air=steady(wind_m_s=w))
        for w in (3.0, 0.1)
    ]
    last = [float(f.curves["heat_w"][f.days > days - 1].mean()) for f in pair]
    return last[0] / last[1] - 1.0


def _windy(permeability: float, dx_m: float, days: float, curve: str) -> float:
    pair = [
        run_heap(permeability=permeability, days=days, dx_m=dx_m, air=steady(wind_m_s=w))
        for w in (2.0, 0.1)
    ]
    last = [float(f.curves[curve][f.days > days - 1].mean()) for f in pair]
    return last[0] - last[1]


def open_ends_alike(dx_m: float = 0.15, days: float = 90.0) -> float:
    """Open chips with and without a pipe after months: dry matter lost, ratio less 1."""
    pair = [
        run_heap(permeability=5e-8, days=days, dx_m=dx_m, pipe=p, air=steady(rain_mm_d=2.0))
        for p in (True, False)
    ]
    lost = [1.0 - f.curves["dry_kg"][-1] / f.curves["dry_kg"][0] for f in pair]
    return float(lost[0] / lost[1] - 1.0)


def _turned(dx_m: float) -> tuple[Facts, Facts]:
    turned = run_heap(permeability=5e-8, days=8.0, dx_m=dx_m, actions=(Action(5.0, "turned"),))
    return turned, run_heap(permeability=5e-8, days=8.0, dx_m=dx_m)


def turn_dips(dx_m: float = 0.12) -> float:
    """Core an hour after a turn on day 5 less just before."""
    facts, _ = _turned(dx_m)
    core = facts.signal("spot core")
    return float(np.interp(5.05, facts.days, core) - np.interp(4.95, facts.days, core))


def turn_rebounds(dx_m: float = 0.12) -> float:
    """Highest core in the two days after the dip less the dip."""
    facts, _ = _turned(dx_m)
    core = facts.signal("spot core")
    after = (facts.days >= 5.05) & (facts.days <= 7.05)
    return float(core[after].max() - np.interp(5.05, facts.days, core))


def _sizes(dx_m: float, days: float) -> list[Facts]:
    return [
        run_heap(permeability=5e-8, days=days, dx_m=d, volume_m3=v)
        for v, d in ((1.0, dx_m), (8.0, 1.6 * dx_m))
    ]


def bigger_is_hotter(dx_m: float = 0.12, days: float = 20.0) -> float:
    """Highest mean of a heap of 8 m3 less that of 1 m3."""
    small, big = _sizes(dx_m, days)
    return float(big.curves["mean_c"].max() - small.curves["mean_c"].max())


def bigger_cools_slower(dx_m: float = 0.12, days: float = 20.0) -> float:
    """Days the mean is above 35 in a heap of 8 m3 less in one of 1 m3."""
    small, big = _sizes(dx_m, days)
    time = [float(np.trapezoid((f.curves["mean_c"] > 35.0).astype(float), f.days))
            for f in (small, big)]  # fmt: skip
    return time[1] - time[0]


def _stalls(moisture: float, dx_m: float, days: float) -> float:
    pair = [
        run_heap(permeability=wet_permeability(5e-8, _DRY_DENSITY, m), days=days, dx_m=dx_m,
                 moisture_wb=m)
        for m in (moisture, 0.55)
    ]  # fmt: skip
    return float(pair[0].curves["core_c"].max() - pair[1].curves["core_c"].max())


def dry_stalls(dx_m: float = 0.12, days: float = 5.0) -> float:
    """Highest core at 25 % moisture less that at 55 %."""
    return _stalls(0.25, dx_m, days)


def wet_stalls(dx_m: float = 0.12, days: float = 5.0) -> float:
    """Highest core at 80 % moisture less that at 55 %."""
    return _stalls(0.80, dx_m, days)


def summer_rain(dx_m: float = 0.15, days: float = 90.0) -> float:
    """Moisture of the crust less that of the core after 3 mm of rain a day [points]."""
    facts = run_heap(
        permeability=5e-8, days=days, dx_m=dx_m, volume_m3=4.0, air=steady(rain_mm_d=3.0)
    )
    return 100.0 * float(
        facts.curves["crust_moisture_wb"][-1] - facts.curves["core_moisture_wb"][-1]
    )


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign: how it reads, unit, the function, and between what its result has to lie."""

    reads: str
    unit: str
    number: Callable[[], float | None]
    low: float | None = None
    high: float | None = None
    source: str = _LAYER


_SCALE = "oxygen that buoyancy can bring against demand: model note of this project"
SIGNS: Mapping[str, Sign] = {
    "pipe, open": Sign("a pipe cools open leafy chips, day 2 (1e-7 m2)", "degC",
                       pipe_in_open_chips, None, 0.0, _SCALE),
    "pipe, starved": Sign("a pipe warms starved leafy chips, day 2 (1e-9 m2)", "degC",
                          pipe_in_starved_mix, 0.0, None, _SCALE),
    "pipe, open, quiet": Sign("a pipe cools open quiet chips (1e-8 m2)", "degC",
                              pipe_in_open_quiet, None, 0.0, _SCALE),
    "pipe, starved, quiet": Sign("a pipe warms starved quiet chips (1e-10 m2)", "degC",
                                 pipe_in_starved_quiet, 0.0, None, _SCALE),
    "flip, high": Sign("permeability at which a pipe stops warming, leafy chips on day 2", "m2",
                       flip_at_high_demand, 2e-9, 5e-8, _SCALE),
    "flip, low": Sign("permeability at which a pipe stops warming, quiet chips", "m2",
                      flip_at_low_demand, 2e-10, 5e-9, _SCALE),
    "wind, open": Sign("wind of 2 m/s at the heap chills open chips, core", "degC",
                       wind_chills_open, None, 0.0),
    "wind, open, heat": Sign("wind of 3 m/s starves open chips of the heat they make", "share",
                             wind_starves_of_heat, None, 0.0),
    "wind, starved, air": Sign("wind brings oxygen to a starved mix, core", "% O2",
                               wind_airs_starved, 0.0, None),
    "wind, starved, warm": Sign("wind warms a starved mix, core", "degC", wind_warms_starved,
                                0.0, None),
    "alike": Sign("open chips with and without a pipe lose alike in 90 days, ratio less 1",
                  "share", open_ends_alike, -0.15, 0.15,
                  "ventilated ran as uncovered: Jirjis, Pari and Sissot 2008"),
    "turn, dip": Sign("a turn lets the core dip", "degC", turn_dips, None, -3.0),
    "turn, rebound": Sign("the core is back after the turn", "degC", turn_rebounds, 3.0, None),
    "size, hotter": Sign("a heap of 8 m3 gets hotter than one of 1 m3", "degC", bigger_is_hotter,
                         0.0, None),
    "size, slower": Sign("a heap of 8 m3 stays above 35 C longer than one of 1 m3", "d",
                         bigger_cools_slower, 0.0, None),
    "dry": Sign("a dry mix (25 %) stalls", "degC", dry_stalls, None, -10.0),
    "wet": Sign("an over-wet mix (80 %) stalls", "degC", wet_stalls, None, -10.0),
    "rain": Sign("a summer's rain leaves the core drier than the crust", "%", summer_rain,
                 0.0, None, "Whittaker et al. 2017: core 38, crust 59, top 72 %"),
}  # fmt: skip


def sign_rows(names: list[str] | None = None) -> list[dict[str, Any]]:
    """Rows of the signs asked for, all by default."""
    return [
        sign_row(s.reads, s.unit, s.number(), low=s.low, high=s.high, source=s.source)
        for name, s in SIGNS.items()
        if names is None or name in names
    ]
