"""Poplar chips in bags in a humid chamber: decay alone, with temperature and moisture as given.

Units: kg of dry matter, degrees C, weeks. Conventions: one cell of the engine's own kinetics, air
at will, the mean moisture of the three bags of each week led through by straight lines. The
temperature of the chamber is not in what could be read: 25 and 30 C are run, 30 C is scored.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.hindcast.cases import all_cases, loose, recipe_of
from benchmarks.hindcast.score import inside

from heapwright.engine.biology import Decay
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.mesh import box_mesh
from heapwright.engine.state import Work, empty_state

__all__ = ["SCORED_C", "TEMPS_C", "bags", "losses", "rows"]

DATA = Path(__file__).parent / "data" / "forests2022_13_459_poplar_chips_dml_trial1.csv"
TEMPS_C = (25.0, 30.0)
SCORED_C = 30.0
_START_WB = 0.568
_STEP_S = 900.0
SOURCE = "Hernandez-Estrada et al. 2022, Forests 13(3):459, doi 10.3390/f13030459, table A1"


def bags() -> dict[int, list[tuple[float, float]]]:
    """Moisture (wet basis) and loss of dry matter [%] of every bag, by week."""
    found: dict[int, list[tuple[float, float]]] = defaultdict(list)
    with DATA.open(encoding="utf-8") as told:
        for row in csv.DictReader(told):
            found[int(row["weeks"])].append(
                (float(row["MC_out_pct_wb"]) / 100.0, float(row["dry_matter_loss_pct"]))
            )
    return dict(found)


def losses(temp_c: float) -> dict[int, float]:
    """Loss of dry matter [%] at the end of each week at a chamber temperature."""
    parts = all_cases()["poplar"].variants["open"]["material"]["parts"]
    life = Decay(recipe_of(parts, 0.0), Kinetics.published())
    mesh = box_mesh(1, 1, 1, 0.1)
    state, work = empty_state(mesh, life.rows, 1), Work(mesh)
    c = mesh.cells
    life.start(state, mesh, 1.0)
    state.temp_c[c] = temp_c
    state.o2[c] = 0.2095
    weeks = bags()
    when = np.array([0.0, *weeks]) * 7 * 86400.0
    moist = np.array([_START_WB, *(np.mean([m for m, _ in b]) for b in weeks.values())])
    lost, now = {}, 0.0
    for week, end in zip(weeks, when[1:], strict=True):
        while now < end - 1e-6:
            wet = float(np.interp(now + _STEP_S / 2, when, moist))
            dry = float(state.dry_kg[c][0])
            state.water_m[c] = dry * wet / (1.0 - wet)
            work["moisture"][c] = wet
            work["water"][c] = state.water_m[c]
            life.rates(state, work)
            life.advance(state, work, _STEP_S)
            now += _STEP_S
        lost[week] = 100.0 * (1.0 - float(state.dry_kg[c][0]))
    return lost


def rows() -> list[dict[str, Any]]:
    """A row a week and temperature; only those at `SCORED_C` are counted."""
    made = []
    for temp in TEMPS_C:
        for week, model in losses(temp).items():
            found = [loss for _, loss in bags()[week]]
            low, high = min(found), max(found)
            made.append(
                {
                    "case": "poplar chips in a humid chamber",
                    "quantity": f"dry matter lost by week {week}, chamber at {temp:g} C",
                    "unit": "%", "published_low": low, "published_high": high,
                    "model": loose(model), "inside": inside(model, low, high, "%"),
                    "source": SOURCE, "counted": temp == SCORED_C,
                }
            )  # fmt: skip
    return made
