"""Any heap that is not refused runs, and stays within what is possible."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from tests.conftest import LONG

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.run import Run
from heapwright.engine.scenario import Action, HeapSpec, Pipe
from heapwright.engine.simulate import simulate

HEAPS = 500 if LONG else 40
HOTTEST = max(
    curve.t_max
    for curve in (
        Kinetics.published().thermophilic, Kinetics.published().thermophilic_actinomycetes,
    )
)  # fmt: skip
LIMITS = {"energy": 1e-3, "water": 1e-3, "carbon": 1e-4, "nitrogen": 1e-3, "oxygen": 2e-2}


def within(low: float, high: float) -> Any:
    return st.floats(low, high, allow_nan=False)


heaps = st.builds(
    HeapSpec,
    volume_m3=within(0.3, 4.0),
    shape=st.sampled_from(["mound", "cone", "bin", "windrow parabola", "windrow triangle", "box"]),
    dry_density=within(90, 280),
    moisture_wb=within(0.15, 0.78),
    start_c=within(-8, 40),
    leafy_share=within(0, 0.5),
    exposure=within(0, 0.5),
    field_capacity=within(1.2, 3.0),
    cover=st.sampled_from([0.0, 0.0, 0.5, 0.9]),
    slope_deg=st.sampled_from([0.0, 0.0, 10.0]),
    wet_fine=st.booleans(),
    dx_m=st.just(0.2),
    pipes=st.sampled_from([
        (), (Pipe(((-0.6, 0, 0.2), (0.6, 0, 0.2))),),
        (Pipe(((0, 0, 0.0), (0, 0, 0.5)), forced_l_s=2.0, both_open=False),),
    ]),
)  # fmt: skip
airs = st.fixed_dictionaries({
    "air_temp_c": within(-15, 35), "relative_humidity": within(0.2, 1.0),
    "wind_m_s": within(0, 10), "rain_mm_h": st.sampled_from([0.0, 0.0, 0.3, 5.0]),
    # shines day and night: the mean of the clearest summer day is about 350; six days of unceasing
    # noon (800) bake a dry ridge in still air to 81 C without any decay in it
    "sun_w_m2": st.sampled_from([0.0, 150.0, 350.0]),
})  # fmt: skip


def run_of(heap: HeapSpec, air: dict[str, float]) -> Run:
    weather = WeatherSeries.steady(datetime(2026, 5, 1, tzinfo=UTC), hours=150, **air)
    todo = [Action(2, "turned"), Action(3, "watered", 40)]
    if heap.pipes and heap.pipes[0].forced_l_s:
        todo += [Action(1, "air on"), Action(4, "air off")]
    return simulate(heap, weather=weather, days=6, actions=todo, field_every_h=48)


@settings(
    deadline=None, max_examples=HEAPS, suppress_health_check=[HealthCheck.too_slow],
    phases=[p for p in Phase if p is not Phase.shrink],  # a heap takes a third of a second
)  # fmt: skip
@given(heap=heaps, air=airs)
def test_a_heap_stays_within_what_is_possible(heap: HeapSpec, air: dict[str, float]) -> None:
    run = run_of(heap, air)
    for shot in run.snapshots:
        for name, field in shot.fields.items():
            assert np.isfinite(field).all(), name
        assert (shot.fields["o2"] >= 0).all()
        assert (shot.fields["o2"] <= 0.21).all()
        assert (shot.fields["moisture_wb"] >= 0).all()
        assert (shot.fields["moisture_wb"] < 0.97).all()
        assert (shot.fields["dry_kg"] > 0).all()
        for group in ("act_m", "act_t", "act_f"):
            assert (shot.fields[group] >= 0).all()
            assert (shot.fields[group] <= 1).all()
    for name, curve in run.curves.items():
        assert np.isfinite(curve).all(), name
    top = max(HOTTEST, heap.start_c, air["air_temp_c"] + 40)
    assert run.curves["max_c"].max() <= top + 5
    for name, account in run.ledger.accounts().items():
        # in a heap that hardly lives next to nothing comes or goes: what it holds counts too
        size = account.gross + abs(account.start)
        assert abs(account.residual) <= LIMITS[name] * size, (name, account.error)


def test_the_same_heap_gives_the_same_run() -> None:
    heap = HeapSpec(0.8, leafy_share=0.2, dx_m=0.2, exposure=0.3)
    air = {"air_temp_c": 14.0, "wind_m_s": 3.0, "sun_w_m2": 300.0, "rain_mm_h": 0.3}
    one, two = run_of(heap, air), run_of(heap, air)
    for name in one.curves:
        assert np.array_equal(one.curves[name], two.curves[name]), name
    for a, b in zip(one.snapshots, two.snapshots, strict=True):
        assert all(np.array_equal(a.fields[n], b.fields[n]) for n in a.fields)
