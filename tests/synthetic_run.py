"""A run made by hand, without a step of physics: known numbers for files, figures and words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from heapwright.engine.ledger import Ledger
from heapwright.engine.run import CURVES, FIELDS, Done, Run, Snapshot
from heapwright.engine.scenario import HeapSpec, Pipe, ProbeSpot

__all__ = ["made_heap", "made_run"]


def made_heap(**changes: object) -> HeapSpec:
    """A mound of 1.2 m3 in coarse cells with two spots and two pipes along x."""
    heap = HeapSpec(
        1.2, height_m=1.1, dx_m=0.2, name="A",
        spots=(ProbeSpot("core", (0.0, 0.0, 0.6)), ProbeSpot("south", (0.0, -0.28, 0.38))),
        pipes=tuple(Pipe(((-0.6, y, 0.3), (0.6, y, 0.3)), diameter_m=0.1) for y in (-0.2, 0.2)),
    )  # fmt: skip
    return replace(heap, **changes)  # type: ignore[arg-type]


def made_run(
    heap: HeapSpec | None = None, *, days: float = 10.0, top_c: float = 60.0, complete: bool = True
) -> Run:
    """Curves that rise to *top_c* on day 3 and fall; fields warmest in the middle."""
    heap = heap or made_heap()
    mesh = heap.mesh()
    hours = np.arange(0.0, days * 24 + 0.5)
    age = hours / 24
    air = 10 + 3 * np.sin(2 * np.pi * age)
    core = 12 + (top_c - 12) * (age / 3) * np.exp(1 - age / 3)
    curves = {name: np.linspace(1.0, 0.8, hours.size) for name in CURVES}
    curves |= {
        "air_c": air, "core_c": core, "max_c": core + 2, "mean_c": core - 8, "crust_c": core - 15,
        "o2_core": 0.21 - 0.12 * (core - 12) / (top_c - 12), "o2_least": 0.2 + 0 * age,
        "core_moisture_wb": np.linspace(0.6, 0.45, hours.size),
        "crust_moisture_wb": np.linspace(0.6, 0.3, hours.size),
        "top_moisture_wb": np.linspace(0.6, 0.35, hours.size),
        "above_55": np.where(core > 55, 0.2, 0.0), "dry_kg": np.linspace(200.0, 160.0, hours.size),
        "volume_m3": np.linspace(1.2, 0.9, hours.size),
    }  # fmt: skip
    spots = {
        s.name: {"temp_c": core - 4 * k, "o2": curves["o2_core"], "moisture_wb": 0.5 + 0 * age}
        for k, s in enumerate(heap.spots)
    }
    middle = np.exp(-((mesh.centres() - (0, 0, 0.5)) ** 2).sum(axis=1) / 0.2)
    shots = []
    for day in range(int(days) + 1):
        now = float(np.interp(day, age, core))
        fields = {name: np.full(mesh.count, 0.1 + 0.01 * day, np.float32) for name in FIELDS}
        fields |= {
            "temp_c": (10 + (now - 10) * middle).astype(np.float32),
            "o2": (0.21 - 0.1 * middle).astype(np.float32),
            "moisture_wb": (0.35 + 0.2 * middle).astype(np.float32),
            "flow_z_mm_s": (0.5 * middle).astype(np.float32),
            "dry_kg": np.full(mesh.count, 200.0 / mesh.count, np.float32),
        }
        shots.append(Snapshot(day * 24.0, mesh, fields))
    ledger = Ledger()
    ledger.energy.start, ledger.energy.now = 8e6, 12e6
    ledger.energy.add("decay", 90e6)
    ledger.energy.add("vapour from the skin", -86e6)
    ledger.water.start, ledger.water.now = 300.0, 250.5
    ledger.water.add("rain", 40.0)
    ledger.water.add("drained", -90.0)
    ledger.nitrogen.add("ammonia", -0.2)
    return Run(
        heap=heap, mesh=mesh, days=days if complete else 2 * days, hours=hours, curves=curves,
        spots=spots, snapshots=shots, ledger=ledger,
        done=[Done(120.0, "turned", "mean from 50 to 40 C"), Done(144.0, "watered", "20 L")],
        complete=complete, kinetics="made by hand", sources=("weather made by hand",),
        totals={"rain_kg": 40.0, "watered_kg": 20.0, "drained_kg": 90.0},
    )  # fmt: skip
