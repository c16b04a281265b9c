"""Was there enough air inside a heap: chances over the heaps that fit, and the picture.

Units: oxygen in % of dry gas as shown, ages in days. Conventions: a place is said to be measured
where oxygen was read at a spot; everything else is hatched.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from heapwright.inference.breath import Shortage, shortage
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted
from heapwright.reports.air_section import air_section
from heapwright.reports.cut import Ring
from heapwright.reports.pictures import Picture
from heapwright.services.learning import Task

__all__ = ["Air", "air_json", "air_of", "air_picture", "air_rows", "air_words"]

_ROWS = 8
#: a chance from which on it is worth a word
_WORTH = 0.1


@dataclass(frozen=True, slots=True)
class Air:
    """Where and when a heap was short of oxygen; rings : its spots, read where oxygen was."""

    task: Task
    found: Shortage
    rings: tuple[Ring, ...]

    @property
    def measured(self) -> bool:
        """Oxygen was read somewhere in it."""
        return any(ring.read for ring in self.rings)


def air_of(
    task: Task,
    fitted: Fitted,
    heap: str,
    *,
    crew: Crew | None = None,
    on_progress: Callable[[int, int], None] | None = None,
) -> Air:
    """The air inside a heap until now; raises `UnknownNameError` for a heap that is not there."""
    subject = fitted.subject(task.heap(heap))
    read = {r.spot for r in task.reads if r.heap == subject.name and r.quantity == "o2"}
    rings = tuple(Ring(s.name, s.point_m, s.name in read) for s in subject.spec.spots)
    found = shortage(
        fitted, subject.name, task.ages[subject.name], crew=crew, on_progress=on_progress
    )
    return Air(task, found, rings)


def air_words(air: Air) -> list[str]:
    """The answer in sentences."""
    f = air.found
    worst = int(f.core.argmax())
    now = f"{100 * f.low[-1]:.0f} to {100 * f.high[-1]:.0f} %"
    said = []
    if f.core[worst] < _WORTH:
        said.append(f"The core of {f.heap} probably had enough air all the time; now {now} oxygen")
    else:
        short = f.days[f.core >= max(_WORTH, 0.5 * float(f.core[worst]))]
        said.append(
            f"The core of {f.heap} was probably short of air around day {short[0]:.0f} to "
            f"{short[-1]:.0f} (chance {100 * f.core[worst]:.0f} % on day {f.days[worst]:.0f}); now "
            f"{now} oxygen"
        )
    if f.anywhere.max() >= _WORTH > f.core[worst]:
        at = int(f.anywhere.argmax())
        said.append(
            f"Some place in it may have been short (chance {100 * f.anywhere[at]:.0f} % on day "
            f"{f.days[at]:.0f})"
        )
    if not air.measured:
        said.append(
            "Nobody measured oxygen here: this rests on physics and on what temperatures say of it"
        )
    return said


def air_rows(air: Air) -> list[list[str]]:
    """Rows by day, at most eight."""
    f = air.found
    picks = np.unique(np.linspace(0, f.days.size - 1, min(_ROWS, f.days.size)).astype(int))
    return [
        [
            f"{f.days[k]:.0f}", f"{100 * f.low[k]:.0f} to {100 * f.high[k]:.0f} %",
            f"{100 * f.core[k]:.0f} %", f"{100 * f.anywhere[k]:.0f} %",
        ]
        for k in picks
    ]  # fmt: skip


def air_json(air: Air) -> dict[str, Any]:
    """All numbers but the fields."""
    f = air.found
    return {
        "heap": f.heap, "measured": air.measured, "day": f.days.tolist(),
        "core_o2": {"low": f.low.tolist(), "mean": f.mean.tolist(), "high": f.high.tolist()},
        "core_short": f.core.tolist(), "anywhere_short": f.anywhere.tolist(),
    }  # fmt: skip


def air_picture(air: Air) -> Picture:
    """The section on the worst day and now."""
    f = air.found
    short = np.nansum(f.chance, axis=(1, 2, 3))
    last = f.days.size - 1
    picks = sorted({int(short.argmax()), last}) if short.max() > 0 else [last]
    words = [f"day {f.days[k]:.0f}" + (", now" if k == last else ", the worst") for k in picks]
    return air_section(
        [(w, f.chance[k]) for w, k in zip(words, picks, strict=True)], f.axes,
        title=f"Heap {f.heap}", rings=air.rings, note="INVENTED." if air.task.invented else "",
    )  # fmt: skip
