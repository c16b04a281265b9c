"""What is kept of a run while it goes: curves, probe spots and fields.

Units: as in `heapwright.engine.run`. Conventions: core, crust and top go by depth below the air, in
metres, not by cells: the crust is the outer 30 cm (at most a third of the greatest depth), the core
the third of the volume that lies deepest, the top the crust under the highest quarter. A probe spot
reads between the centres of the cells around it and sinks with the heap.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.handling import Keeper
from heapwright.engine.kernels import curves
from heapwright.engine.mesh import Mesh
from heapwright.engine.run import CURVES, FIELDS, Run, Snapshot
from heapwright.engine.scenario import HeapSpec
from heapwright.engine.surroundings import Air

__all__ = ["Recorder", "around"]

Floats = NDArray[np.float64]
_CRUST_M = 0.3
_HOT_C = 55.0
#: rows of the parts of a heap; crust and top come after them
_WHOLE, _CORE = 0, 1


class Recorder:
    """Keeps curves, spots and fields; see `Run`."""

    def __init__(self, heap: HeapSpec, mesh: Mesh) -> None:
        self.heap, self.built = heap, mesh
        self.hours: list[float] = []
        self.curves: dict[str, list[float]] = {name: [] for name in CURVES}
        self.spots: dict[str, dict[str, list[float]]] = {
            s.name: {"temp_c": [], "o2": [], "moisture_wb": []} for s in heap.spots
        }
        self.snapshots: list[Snapshot] = []
        self._mesh: Mesh | None = None

    def _fit(self, keeper: Keeper) -> None:
        """Find core, crust, top and spots on the cells as they are now."""
        mesh = keeper.host.mesh
        if mesh is self._mesh:
            return
        self._mesh = mesh
        depth, height = mesh.depth_m(), mesh.centres()[:, 2]
        every = np.ones(mesh.count, dtype=bool)
        crust = depth <= min(_CRUST_M, depth.max() / 3) + 1e-6
        core = depth >= np.quantile(depth, 2 / 3) - 1e-6
        top = crust & (height >= np.quantile(height, 0.75) - 1e-6)
        crust = crust if crust.any() else every
        self._parts = np.array([every, core, crust, top if top.any() else crust])
        self._core = mesh.cells[core].astype(np.int64)
        self._sums, self._whole = np.zeros((len(self._parts), 5)), np.zeros(4)
        self._height = float(mesh.active.any(axis=(1, 2)).sum()) * mesh.dx_m
        side, up = keeper.scale
        self._weights = {
            s.name: around(mesh, (s.point_m[0] * side, s.point_m[1] * side, s.point_m[2] * up))
            for s in self.heap.spots
        }

    def core_c(self, keeper: Keeper) -> float:
        """Mean temperature of the core now."""
        self._fit(keeper)
        return float(keeper.host.state.temp_c[self._core].mean())

    def curve(self, keeper: Keeper, now_s: float, air: Air) -> None:
        """Keep all curves and spots of this moment."""
        self._fit(keeper)
        s, w = keeper.host.state, keeper.host.work
        curves.glance(
            keeper.host.mesh.cells, self._parts, s.temp_c, s.o2, w["dry"], w["water"], w["heat_w"],
            _HOT_C, self._sums, self._whole,
        )  # fmt: skip
        cells, temp, o2, dry, water = self._sums.T
        mean_c, core_c, crust_c, _ = (temp / cells).tolist()
        _, core_wb, crust_wb, top_wb = (water / np.maximum(water + dry, 1e-12)).tolist()
        hottest, least, heat_w, hot = self._whole.tolist()
        dry_kg = float(dry[_WHOLE])
        kept = {
            "air_c": air.temp_c,
            "mean_c": mean_c,
            "max_c": hottest,
            "core_c": core_c,
            "crust_c": crust_c,
            "core_moisture_wb": core_wb,
            "crust_moisture_wb": crust_wb,
            "top_moisture_wb": top_wb,
            "o2_least": least,
            "o2_core": o2[_CORE] / cells[_CORE],
            "dry_kg": dry_kg,
            "water_kg": water[_WHOLE],
            "volume_m3": keeper.sinking.volume_after(dry_kg, now_s - keeper.since),
            "height_m": self._height,
            "heat_w": heat_w,
            "above_55": hot / cells[_WHOLE],
        }
        self.hours.append(now_s / 3600.0)
        for name, number in kept.items():
            self.curves[name].append(float(number))
        for name, (index, share) in self._weights.items():
            spot = self.spots[name]
            wet = w["water"][index]
            spot["temp_c"].append(float(share @ s.temp_c[index]))
            spot["o2"].append(float(share @ s.o2[index]))
            spot["moisture_wb"].append(
                float(share @ (wet / np.maximum(wet + w["dry"][index], 1e-12)))
            )

    def fields(self, keeper: Keeper, now_s: float) -> None:
        """Keep all fields of this moment."""
        host = keeper.host
        s, w, m = host.state, host.work, host.mesh
        c = m.cells
        kept: dict[str, Floats] = {
            name: getattr(s, name)[c]
            for name in ("temp_c", "o2", "act_m", "act_t", "act_f", "n_nh4")
        }
        kept["moisture_wb"] = w["water"][c] / np.maximum(w["water"][c] + w["dry"][c], 1e-12)
        kept["dry_kg"], kept["water_kg"], kept["pores"] = w["dry"][c], w["water"][c], w["pores"][c]
        kept["heat_w_m3"] = w["heat_w"][c] / m.dx_m**3
        molar = np.maximum(w["dry_gas"][c], 1e-9) * m.dx_m**2
        for axis, (name, step) in enumerate((("fx", 1), ("fy", int(m.sy)), ("fz", int(m.sz)))):
            mean = 0.5 * (w[name][c] + w[name][c.astype(np.int64) - step])
            kept[f"flow_{'xyz'[axis]}_mm_s"] = 1000.0 * mean / molar
        self.snapshots.append(
            Snapshot(now_s / 3600.0, m, {name: kept[name].astype(np.float32) for name in FIELDS})
        )

    def result(
        self,
        keeper: Keeper,
        days: float,
        complete: bool,
        cpu_s: float,
        kinetics: str,
        sources: tuple[str, ...],
    ) -> Run:
        """The run, with everything that was kept."""
        host = keeper.host
        return Run(
            heap=self.heap,
            mesh=self.built,
            days=days,
            hours=np.array(self.hours),
            curves={name: np.array(kept) for name, kept in self.curves.items()},
            spots={
                spot: {name: np.array(kept) for name, kept in fields.items()}
                for spot, fields in self.spots.items()
            },
            snapshots=self.snapshots,
            ledger=host.ledger,
            done=keeper.done,
            complete=complete,
            steps=host.steps,
            cpu_s=cpu_s,
            kinetics=kinetics,
            sources=sources,
            notes=tuple(keeper.notes),
            totals={
                "dry_kg_built": keeper.first_dry,
                "rain_kg": host.water.rain_kg,
                "watered_kg": host.water.poured_kg,
                "drained_kg": host.water.drained_kg,
                "water_not_there_kg": host.short_kg,
            },
        )


def around(mesh: Mesh, point_m: tuple[float, float, float]) -> tuple[NDArray[np.int64], Floats]:
    """Cells around a point and their shares: linear between centres, over heap cells only."""
    nz, ny, nx = mesh.active.shape
    point_m = mesh.lifted(point_m)
    place = [(p - o) / mesh.dx_m + 0.5 for p, o in zip(point_m, mesh.origin_m, strict=True)]
    low = [int(np.floor(x)) for x in place]
    index, share = [], []
    for corner in range(8):
        at, weight = [], 1.0
        for axis in range(3):
            step = corner >> axis & 1
            part = place[axis] - low[axis]
            at.append(low[axis] + step)
            weight *= part if step else 1.0 - part
        i, j, k = at
        if 0 <= i < nx and 0 <= j < ny and 0 <= k < nz and mesh.active[k, j, i] and weight > 1e-9:
            index.append((k * ny + j) * nx + i)
            share.append(weight)
    if not index:
        return np.array([int(mesh.cells[mesh.nearest(point_m)])]), np.ones(1)
    return np.array(index), np.array(share) / sum(share)
