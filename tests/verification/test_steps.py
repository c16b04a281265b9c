"""How far a simulated heap is from one that is moved in steps as short as they may be."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from tests.verification.claims import check

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.run import Run
from heapwright.engine.scenario import HeapSpec
from heapwright.engine.simulate import simulate


def warming(longest_s: float) -> Run:
    """The first five days of a small heap of leafy chips, which reaches 60 C."""
    heap = HeapSpec(0.7, leafy_share=0.3, start_c=18.0, exposure="sheltered")
    air = WeatherSeries.steady(datetime(2026, 5, 3, tzinfo=UTC), hours=124, air_temp_c=16.0)
    return simulate(heap, weather=air, days=5.0, longest_step_s=longest_s)


@pytest.mark.reference(
    source="the same heap with gas, oxygen and skin every 60 s, and decay every 240 s",
    where="temperature of the core, the mean and the hottest cell over five days of the rise",
)
def test_rounds_and_stretches_against_short_ones() -> None:
    fine, usual = warming(60.0), warming(900.0)
    assert float(fine.curves["max_c"].max()) > 55.0
    for name in ("core", "mean", "max"):
        apart = np.abs(usual.curves[f"{name}_c"] - fine.curves[f"{name}_c"])
        check(f"usual against short steps, {name}", float(apart.max()))
