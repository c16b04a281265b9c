"""What is done to a heap in the simulator (turns, water, vents), and how it sinks by itself.

Units: SI, seconds since the heap was built. Conventions: an action takes effect at the step that
begins at its time; what it moved is entered into the accounts of the heap. Sinking is looked at
every six hours.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from heapwright.engine.mesh import Mesh
from heapwright.engine.processes import cover, sinking, turning, vents
from heapwright.engine.processes.water import moisten
from heapwright.engine.regrid import regrid, soil_under, sunk_mesh
from heapwright.engine.run import Done
from heapwright.engine.scenario import Action, HeapSpec
from heapwright.engine.shapes import mesh_of
from heapwright.engine.state import State
from heapwright.engine.stepper import Stepper
from heapwright.engine.surroundings import Air
from heapwright.errors import InputError

__all__ = ["Keeper"]

_DAY_S = 86400.0
_LOOK_S = 6 * 3600.0
_VENTS = {"vent opened": "open", "vent plugged": "plugged", "vent pulled": "pulled",
          "air on": "blown", "air off": "open"}  # fmt: skip


class Keeper:
    """Whoever minds the heap: holds the stepper, which is another one after every turn.

    Parameters
    ----------
    heap, host : the heap and its stepper; actions : what to do, by age; days : of the run.
    Raises `InputError` for an action on vents where there are none. Actions after the end of the
    run stand in ``notes``.
    """

    def __init__(
        self, heap: HeapSpec, host: Stepper, actions: Sequence[Action], days: float
    ) -> None:
        self.heap, self.host = heap, host
        wanted = sorted(actions, key=lambda a: a.age_d)
        self.todo = [a for a in wanted if a.age_d <= days]
        self.notes = [
            f"not reached in {days:g} days: {a.kind} at day {a.age_d:g}"
            for a in wanted if a.age_d > days
        ]  # fmt: skip
        for action in wanted:
            if action.kind in _VENTS and not heap.pipes:
                raise InputError("this heap has no vent", field="action", value=action.kind)
        self.done: list[Done] = []
        self.pipe_states: list[str] = [p.state for p in heap.pipes]
        self.grown = host.mesh
        self.first_dry = self.last_dry = self._dry()
        self.since = self.looked = 0.0
        self.scale = (1.0, 1.0)
        self._begin_sinking(0.0)
        self._lay_pipes()

    # -- time -------------------------------------------------------------------------------------

    def next_s(self, now: float) -> float:
        """When something is to be done next [s]."""
        due = self.todo[0].age_d * _DAY_S if self.todo else float("inf")
        return min(due if due > now + 1e-3 else float("inf"), self.looked + _LOOK_S)

    def do(self, now: float, air: Air) -> None:
        """Do all that is due at *now* [s]."""
        while self.todo and self.todo[0].age_d * _DAY_S <= now + 1e-3:
            self._act(self.todo.pop(0), now, air)
        if now - self.looked >= _LOOK_S - 1e-3:
            self.looked = now
            self._look(now)

    # -- actions ----------------------------------------------------------------------------------

    def _act(self, action: Action, now: float, air: Air) -> None:
        kind = action.kind
        if kind == "turned":
            note = self._turn(now, air)
        elif kind == "watered":
            self.host.water.pour(action.amount)
            note = f"{action.amount:g} L over the top"
        elif kind == "moistened":
            litres = moisten(self.host, action.amount, air.temp_c)
            note = f"{litres:.0f} L mixed in, to {action.amount:.0%}"
        elif kind in ("covered", "uncovered"):
            cover.put_on(self.host, None if kind == "covered" else 0.0)
            note = f"{self.host.cover:.0%} of the skin"
        else:
            wanted = _VENTS[kind]
            self.pipe_states = [s if s == "pulled" else wanted for s in self.pipe_states]
            self._lay_pipes()
            note = ", ".join(self.pipe_states)
        self.done.append(Done(now / 3600.0, kind, note))

    def _turn(self, now: float, air: Air) -> str:
        host, heap = self.host, self.heap
        held = host.oxygen_held()
        before = float(host.state.temp_c[host.mesh.cells].mean())
        dry_air, vapour_heat, vapour = turning.cooled(host, air.temp_c)
        host.ledger.energy.add("turning: warm air", -dry_air)
        host.ledger.energy.add("turning: vapour", -vapour_heat)
        host.ledger.water.add("turning: vapour", -vapour)
        dry = self._dry()
        share = dry / self.first_dry
        lateral, upward = _shrunk(heap, share)
        new = _mesh_again(heap, share, lateral, upward)
        soil = soil_under(host.state.soil_c, host.mesh, new)
        state = turning.mixed(host.state, host.mesh, new, soil)
        host.biology.turned(state, new.cells, host.par.turn_fungi_left)
        state.o2[new.cells] = host.par.oxygen_in_air
        pores = new.field(float(np.mean(host.eps0[host.mesh.cells])))
        self.grown = new
        self.scale = (lateral, upward)
        self._move_to(new, state, pores, held, "turning: fresh air")
        self.since = now
        self._begin_sinking(now)
        after = float(self.host.state.temp_c[new.cells].mean())
        return f"mean from {before:.0f} to {after:.0f} C"

    def _look(self, now: float) -> None:
        volume = self.sinking.volume_after(self._dry(), now - self.since)
        mesh = self.host.mesh
        if not sinking.is_due(mesh, volume):
            return
        share = volume / self.grown.volume_m3
        new = sunk_mesh(self.grown, share, volume)
        held = self.host.oxygen_held()
        state, pores = regrid(self.host.state, mesh, new, self.host.eps0)
        first = self.grown.dx_m
        lateral, upward = _shrunk(self.heap, self.last_dry / self.first_dry)
        self.scale = (lateral * new.dx_m / first, upward * share)
        self._move_to(new, state, pores, held, "gas squeezed out as it sank")

    # -- parts ------------------------------------------------------------------------------------

    def _dry(self) -> float:
        return float(self.host.work["dry"][self.host.mesh.cells].sum())

    def _begin_sinking(self, now: float) -> None:
        host = self.host
        self.last_dry = self._dry()
        water = float(host.work["water"][host.mesh.cells].sum())
        self.sinking = sinking.Sinking(
            host.mesh.volume_m3,
            self.last_dry,
            (self.last_dry + water) / host.mesh.volume_m3,
            host.mesh.shape[0] * host.mesh.dx_m,
            "wet_fines" if self.heap.wet_fine else "chips",
        )
        self.since = now

    def _lay_pipes(self) -> None:
        if self.heap.pipes:
            self.host.set_pipes(
                vents.pipelines(self.heap.pipes, self.pipe_states, self.host.mesh, self.scale)
            )

    def _move_to(self, mesh: Mesh, state: State, pores: Any, held: float, why: str) -> None:
        """Go on with a stepper on other cells, with the same accounts."""
        old = self.host
        self.host = old.on_new_cells(mesh, state, pores)
        self._lay_pipes()
        self.host.ledger.oxygen.add(why, self.host.oxygen_held() - held)


def _shrunk(heap: HeapSpec, share: float) -> tuple[float, float]:
    """How much smaller a heap of a share of its matter is, across and in height."""
    if heap.shape in ("bin", "box"):
        return 1.0, share
    if heap.shape.startswith("windrow"):
        return share**0.5, share**0.5
    return share ** (1 / 3), share ** (1 / 3)


def _mesh_again(heap: HeapSpec, share: float, lateral: float, upward: float) -> Mesh:
    """The cells of the heap as it is heaped up again with a share of its first matter."""

    def times(measure: float | None, factor: float) -> float | None:
        return None if measure is None else measure * factor

    return mesh_of(
        heap.shape,
        heap.volume_m3 * share,
        height_m=times(heap.height_m, upward),
        width_m=times(heap.width_m, lateral),
        length_m=heap.length_m,
        dx_m=heap.dx_m,
        slope_deg=heap.slope_deg,
    )
