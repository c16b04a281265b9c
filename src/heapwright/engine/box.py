"""A heap of one cell: a kinetics without space, to see what it says by itself.

Holds: `run_box` and its `Course`. Units: SI, degrees C, W per K and kg of dry matter. Conventions:
oxygen and water stay as given; heat leaves in proportion to the warmth above the air. No vapour, no
air flow: nothing here says how hot a real heap gets.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.mesh import Mesh, box_mesh
from heapwright.engine.parameters import Parameters
from heapwright.engine.state import State, Work, empty_state
from heapwright.errors import InputError
from heapwright.units import quantity

__all__ = ["Course", "run_box"]

Floats = NDArray[np.float64]
_DAY_S = 86400.0


class _Kinetics(Protocol):
    @property
    def rows(self) -> int: ...

    def start(self, state: State, mesh: Mesh, dry_kg: float | Floats) -> None: ...

    def rates(self, state: State, work: Work) -> None: ...

    def advance(self, state: State, work: Work, dt: float) -> None: ...

    def share_of_fungi(self, state: State, mesh: Mesh) -> float: ...


@dataclass(frozen=True, slots=True)
class Course:
    """What happened in the box, at the start and after every step.

    age_d; temp_c; lost : share of the dry matter gone; fungi : share of fungi as the kinetics has
    it; heat_w : per kg of dry matter at the start, mean over the step before.
    """

    age_d: Floats
    temp_c: Floats
    lost: Floats
    fungi: Floats
    heat_w: Floats

    def first_above(self, temp_c: float) -> float:
        """Age [d] when it is first warmer than that; infinite if never."""
        warm = np.flatnonzero(self.temp_c > temp_c)
        return float(self.age_d[warm[0]]) if warm.size else float("inf")

    def days_above(self, temp_c: float) -> float:
        """Days warmer than that."""
        return float(np.diff(self.age_d)[self.temp_c[1:] > temp_c].sum())


def run_box(
    kinetics: _Kinetics,
    *,
    days: float,
    start_c: float = 15.0,
    air_c: float = 15.0,
    loss: float | None = 0.02,
    moisture_wb: float = 0.55,
    o2_frac: float = 0.18,
    step_s: float = 600.0,
) -> Course:
    """One kg of dry matter for so many days.

    kinetics : a `Decay` or `SixGroups`; loss : heat that leaves [W per K and kg of dry matter at
    the start], None holds the temperature at ``start_c``; o2_frac : oxygen, held; step_s : 1 to
    3600. Order 1 in the step. Raises `QuantityError` or `InputError` for what cannot be.

    >>> from heapwright.engine.biology import Decay
    >>> from heapwright.engine.composition import chips
    >>> held = run_box(Decay(chips(0.1)), days=2, start_c=37, loss=None)
    >>> bool(0 < held.lost[-1] < 0.1)
    True
    """
    for name, number in (("temp_c", start_c), ("temp_c", air_c), ("moisture_wb", moisture_wb)):
        quantity(name).check(number)
    fits = 1.0 <= step_s <= 3600.0 and days > 0 and (loss is None or loss >= 0)
    if not (fits and 0 <= o2_frac <= 0.21 and 0 < moisture_wb < 1):
        raise InputError(
            "the box takes days above 0, steps of 1 to 3600 s, oxygen of 0 to 0.21, moisture "
            "between 0 and 1 and no negative loss of heat",
            field="box",
            value=f"{days:g} d, {step_s:g} s, {o2_frac:g}, {moisture_wb:g}, {loss}",
        )
    mesh = box_mesh(1, 1, 1, 0.1)
    state, work = empty_state(mesh, kinetics.rows, 1), Work(mesh)
    par, c = Parameters.published(), int(mesh.cells[0])
    kinetics.start(state, mesh, 1.0)
    water = moisture_wb / (1.0 - moisture_wb)
    state.water_m[c] = work["water"][c] = water
    state.temp_c[c], state.o2[c] = start_c, o2_frac
    steps = max(1, round(days * _DAY_S / step_s))
    found = np.zeros((5, steps + 1))
    found[:2, 0] = 0.0, start_c
    for n in range(1, steps + 1):
        dry = float(state.dry_kg[c])
        work["moisture"][c] = water / (water + dry)
        kinetics.rates(state, work)
        if n == 1:
            found[3, 0] = kinetics.share_of_fungi(state, mesh)
        kinetics.advance(state, work, step_s)
        heat = float(work["heat_w"][c])
        if loss is not None:
            capacity = dry * par.cp_dry_matter + water * par.cp_water
            part = step_s / capacity
            warm = float(state.temp_c[c]) + part * (heat + loss * air_c)
            state.temp_c[c] = warm / (1.0 + part * loss)
        found[:, n] = (
            n * step_s / _DAY_S, state.temp_c[c], 1.0 - float(state.dry_kg[c]),
            kinetics.share_of_fungi(state, mesh), heat,
        )  # fmt: skip
    return Course(*found)
