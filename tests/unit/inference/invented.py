"""A small invented heap and stand-ins for courses, for tests of learning."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.scenario import HeapSpec, ProbeSpot
from heapwright.inference.members import Course, Subject

AIR = WeatherSeries.steady(
    datetime(2026, 5, 3, tzinfo=UTC), hours=24 * 12, air_temp_c=15.0, wind_m_s=2.0
)
SPOTS = (ProbeSpot("core", (0.0, 0.0, 0.4)), ProbeSpot("top", (0.0, 0.0, 0.65)))


def subject(name: str = "A", **changes: object) -> Subject:
    """A heap of half a cubic metre in coarse cells."""
    known = {"volume_m3": 0.5, "height_m": 0.9, "dx_m": 0.25, "spots": SPOTS, "name": name}
    spec = HeapSpec(**known | changes)  # type: ignore[arg-type]
    return Subject(name, spec, AIR)


def course(core: object, top: object = None, *, step_h: float = 24.0) -> Course:
    """A course with these temperatures, one every *step_h*."""
    made = np.asarray(core, dtype=float)
    other = made if top is None else np.asarray(top, dtype=float)
    hours = np.arange(made.size) * step_h
    still = np.full(made.size, 0.5)
    spots = {
        s: {"temp_c": t, "o2": still, "moisture_wb": still}
        for s, t in (("core", made), ("top", other))
    }
    curves = {
        "air_c": np.full(made.size, 10.0), "mean_c": made, "core_c": made,
        "core_moisture_wb": still, "o2_core": still,
        "dry_kg": 100 * still, "water_kg": 100 * still, "volume_m3": still, "height_m": still,
    }  # fmt: skip
    return Course(hours, spots, curves)
