"""How a heap is inside at an age, and where its heat and water went, over the fitted ensemble.

Units: degrees C, moisture on wet basis, oxygen as mole fraction of dry gas, metres, MJ, kg (a litre
of water is one). Conventions: fields lie on the grid of the heap as built, its skin where half of
the members have theirs; terms of an account are positive where they add to the heap, and summed
since it was built. Ranges are the middle 80 % of the members.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.inference.again import run_again
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.inference.members import member_of, run_member
from heapwright.inference.whatif import Effect, effect_of

__all__ = ["FIELDS", "Inside", "inside", "run_to_now"]

Floats = NDArray[np.float64]
#: fields that are kept
FIELDS = ("temp_c", "moisture_wb", "o2")
_EVERY_H = 24.0


@dataclass(frozen=True, slots=True)
class Inside:
    """A heap at an age.

    heap; day; members : how many were run; axes : centres along z, y, x [m]; fields : by name the
    mean (nz, ny, nx), NaN outside the heap; unsure_c (nz, ny, nx) : half the range of the
    temperature; grown : what it measures now over as built, across and in height; core_c, core_wb,
    core_o2 : of the third that lies deepest; heat, water : terms of the accounts [MJ, kg]; heat_now
    and water_now : what is held now more than when built [MJ, kg].
    """

    heap: str
    day: float
    members: int
    axes: tuple[Floats, Floats, Floats]
    fields: Mapping[str, NDArray[np.float32]]
    unsure_c: NDArray[np.float32]
    grown: tuple[float, float]
    core_c: Effect
    core_wb: Effect
    core_o2: Effect
    heat: Mapping[str, Effect]
    water: Mapping[str, Effect]
    heat_now: Effect
    water_now: Effect


@dataclass(frozen=True, slots=True)
class _Found:
    """What is kept of one member."""

    fields: dict[str, NDArray[np.float32]]
    axes: tuple[Floats, Floats, Floats]
    grown: tuple[float, float]
    core: tuple[float, float, float]
    heat: dict[str, float]
    water: dict[str, float]
    held: tuple[float, float]


def run_to_now(
    subject: Any, numbers: Sequence[Mapping[str, float]], days: float, cell_m: float | None
) -> list[_Found]:
    """As `heapwright.inference.members.run_chunk`, with what is inside at the end."""
    return [_found(subject, n, days, cell_m) for n in numbers]


def _found(subject: Any, numbers: Mapping[str, float], days: float, cell_m: float | None) -> _Found:
    run = run_member(member_of(subject, numbers, cell_m), days, curve_every_h=_EVERY_H)
    last = {n: np.asarray(run.field(n).values)[-1] for n in FIELDS}
    core = tuple(
        float(run.curves[c][-1]) for c in ("core_c", "core_moisture_wb", "o2_core")
    )  # fmt: skip
    energy, water = run.ledger.energy, run.ledger.water
    first, now = run.mesh, run.snapshots[-1].mesh

    def wide(mesh: Any) -> int:
        return int(mesh.active.any(axis=(0, 1)).sum())

    def tall(mesh: Any) -> int:
        return int(mesh.active.any(axis=(1, 2)).sum())

    return _Found(
        last, run.axes(), (wide(now) / wide(first), tall(now) / tall(first)), core,  # type: ignore[arg-type]
        {n: j / 1e6 for n, j in energy.terms.items()}, dict(water.terms),
        ((energy.now - energy.start) / 1e6, water.now - water.start),
    )  # fmt: skip


def inside(
    fitted: Fitted,
    heap: str,
    day: float,
    *,
    crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Inside:
    """How a fitted heap is inside at an age [d]."""
    made = run_again(fitted, heap, day, run_to_now, crew=crew, on_progress=on_progress)
    within = np.isfinite([m.fields["temp_c"] for m in made]).mean(axis=0) >= 0.5
    fields = {n: _over([m.fields[n] for m in made], within, np.nanmean) for n in FIELDS}
    low, high = (
        _over([m.fields["temp_c"] for m in made], within, partial(np.nanquantile, q=q))
        for q in (0.1, 0.9)
    )
    core_c, core_wb, core_o2 = (effect_of([m.core[k] for m in made]) for k in range(3))
    return Inside(
        heap, day, len(made), made[0].axes, fields, 0.5 * (high - low),
        (_middle([m.grown[0] for m in made]), _middle([m.grown[1] for m in made])),
        core_c, core_wb, core_o2, _terms([m.heat for m in made]), _terms([m.water for m in made]),
        effect_of([m.held[0] for m in made]), effect_of([m.held[1] for m in made]),
    )  # fmt: skip


def _middle(numbers: Sequence[float]) -> float:
    return float(np.median(numbers))


def _over(
    drawn: Sequence[NDArray[np.float32]], within: NDArray[np.bool_], how: Callable[..., Any]
) -> NDArray[np.float32]:
    """*how* of the members, NaN outside the heap; cells that a member lacks are not counted."""
    made = np.full(within.shape, np.nan, dtype=np.float32)
    made[within] = how(np.array(drawn)[:, within], axis=0)
    return made


def _terms(members: Sequence[Mapping[str, float]]) -> dict[str, Effect]:
    """Every term that some member has."""
    names = dict.fromkeys(n for m in members for n in m)
    return {n: effect_of([m.get(n, 0.0) for m in members]) for n in names}
