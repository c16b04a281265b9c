"""Pieces of a checked forecast: losses of heaps that are denser than thought, thinning, words."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.scenario import HeapSpec, ProbeSpot
from heapwright.inference.members import Subject
from heapwright.inference.readings import Read
from heapwright.inference.rivals import Score
from heapwright.services import seriescheck, serieswords
from heapwright.services.seriesbench import FromFirst
from heapwright.services.simweather import weather_for


def _weather() -> WeatherSeries:
    from heapwright.domain.trial import Place

    start = datetime(2026, 5, 1, tzinfo=UTC)
    return weather_for(
        start, start + timedelta(days=3), path=None, answers={}, place=Place(latitude_deg=51.0),
        readings=[(start, 12.0)],
    )  # fmt: skip


def test_a_denser_heap_has_lost_as_large_a_share() -> None:
    spec = HeapSpec(
        volume_m3=0.7, shape="mound", dry_density=150.0, moisture_wb=0.55, start_c=20.0,
        spots=(ProbeSpot("core", (0.0, 0.0, 0.4)),), dx_m=0.25,
    )  # fmt: skip
    heap = FromFirst(Subject("A", spec, _weather()), 105.0)
    for density in (0.8, 1.2):
        dry = heap.course({"density": density}, 1.0, None).curves["dry_kg"]
        assert dry[0] == pytest.approx(105.0)
        assert dry[-1] < 105.0
    assert heap.mark(1.0) != FromFirst(heap.subject, 100.0).mark(1.0)


def test_a_logger_is_thinned_evenly_and_its_last_reading_stays() -> None:
    many = [Read("A", "core", d, 20.0 + d) for d in np.linspace(0.0, 9.0, 1201)]
    many += [Read("A", "", 3.0, 0.5, "moisture_wb")]
    kept = seriescheck._thinned(many)
    assert len(kept) <= seriescheck._MOST
    assert many[-1] in kept
    assert many[1200] in kept
    days = np.diff([r.day for r in kept if r.quantity == "temp_c"])
    assert days.max() == pytest.approx(days.min())
    assert seriescheck._thinned(many[:400]) == many[:400]


@pytest.mark.parametrize(
    ("off", "still", "cooled", "words"),
    [
        (2.0, 3.0, 4.0, "better than no change and than a cooling curve."),
        (2.0, 3.0, 1.0, "better than no change, but not better than a cooling curve."),
        (2.0, 1.0, 3.0, "no better than no change, but better than a cooling curve: don't plan"),
        (2.0, 1.0, 1.0, "no better than no change, nor than a cooling curve: don't plan by it."),
    ],
)
def test_the_first_sentence(off: float, still: float, cooled: float, words: str) -> None:
    said = serieswords._temperatures(Score(off, still, cooled, 0.8, 9))
    assert said.startswith("The forecast did " + words)
    assert "Few readings" not in said
    assert "Few readings" in serieswords._temperatures(Score(off, still, cooled, 0.8, 5))
