"""A kinetics in which nothing rots, for tests of everything else."""

from __future__ import annotations

from typing import Any

from heapwright.engine.mesh import Mesh
from heapwright.engine.state import State, Work

__all__ = ["NoLife"]


class NoLife:
    """A heap in which nothing rots."""

    heat_per_oxygen, stretch_s = 0.0, 3600.0

    def rates(self, state: State, work: Work, ahead: float = 0.0) -> None:
        work["o2_max"][:] = 0.0

    def advance(self, state: State, work: Work, dt: float, o2: Any = None) -> None:
        for name in ("heat_w", "water_kg", "co2_kg"):
            work[name][:] = 0.0

    def carbon_kg(self, state: State, mesh: Mesh) -> float:
        return float(state.pools[:, mesh.cells].sum() * 0.44)

    def turned(self, state: State, cells: Any, fungi_left: float) -> None:
        pass
