"""Where and when oxygen was probably short, over the fitted ensemble.

Units: oxygen as mole fraction of dry gas, days of heap age, metres. Conventions: short is below
5 %; the chance of a place is the share of the members in which it is short there. Nobody measured
where nobody stood with an oxygen probe: what is said there rests on the physics and on what
temperatures teach of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.inference.again import run_again
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.inference.members import Course, course_of, member_of
from heapwright.science.values import value

__all__ = ["Shortage", "run_shots", "short_below", "shortage"]

Floats = NDArray[np.float64]


def short_below() -> float:
    """Oxygen below which it counts as short [mole fraction].

    >>> short_below()
    0.05
    """
    return value("learning", "short_of_oxygen").value


@dataclass(frozen=True, slots=True)
class Shortage:
    """Where oxygen was probably short in a heap.

    heap; days (D,); chance (D, nz, ny, nx) : of being short, NaN outside the heap; axes : centres
    along z, y, x [m]; core (D,) : chance that the mean of the core is short; anywhere (D,) :
    that some cell is; low, mean, high (D,) : oxygen of the core, 80 % of the members.
    """

    heap: str
    days: Floats
    chance: NDArray[np.float32]
    axes: tuple[Floats, Floats, Floats]
    core: Floats
    anywhere: Floats
    low: Floats
    mean: Floats
    high: Floats


def run_shots(
    subject: Any, numbers: Sequence[Mapping[str, float]], days: float, cell_m: float | None
) -> list[Course]:
    """As `heapwright.inference.members.run_chunk`, with the oxygen of every day kept."""
    return [course_of(member_of(subject, n, cell_m), days, shots=("o2",)) for n in numbers]


def shortage(
    fitted: Fitted,
    heap: str,
    until_d: float,
    *,
    crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Shortage:
    """Where oxygen was probably short in a fitted heap until an age."""
    made = run_again(fitted, heap, until_d, run_shots, crew=crew, on_progress=on_progress)
    fields = np.array([c.shots["o2"] for c in made])
    days = made[0].shot_hours / 24.0
    inside = np.isfinite(fields).all(axis=0)
    chance = np.where(inside, (fields < short_below()).mean(axis=0), np.nan)
    core = np.array([np.interp(days * 24.0, c.hours, c.curves["o2_core"]) for c in made])
    least = np.array([np.interp(days * 24.0, c.hours, c.curves["o2_least"]) for c in made])
    low, high = np.quantile(core, (0.1, 0.9), axis=0)
    return Shortage(
        heap, days, chance.astype(np.float32), made[0].axes, (core < short_below()).mean(axis=0),
        (least < short_below()).mean(axis=0), low, core.mean(axis=0), high,
    )  # fmt: skip
