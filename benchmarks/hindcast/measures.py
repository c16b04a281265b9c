"""Published quantities read off a run, in the same words for every case.

Units: days since the heap was built, degrees C, kg. Conventions: a signal is a curve of the run
(``core_c``), a spot (``spot core``) or all loggers together (``loggers max``, ``mean``, ``min``).
What never came about is None and counts as a miss.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.run import Run

__all__ = ["MEASURES", "Facts", "facts_of", "measure"]

Floats = NDArray[np.float64]
_WEEK_H = 168


@dataclass(frozen=True, slots=True)
class Facts:
    """What is kept of a run: hours (T,), curves and spot temperatures by name, notes, cost."""

    hours: Floats
    curves: Mapping[str, Floats]
    spots: Mapping[str, Floats]
    sources: tuple[str, ...]
    cells: int
    steps: int
    cpu_s: float
    errors: Mapping[str, float]

    def signal(self, name: str) -> Floats:
        """A signal over time by its name."""
        kind, _, rest = name.partition(" ")
        if kind == "spot":
            return self.spots[rest]
        if kind == "loggers":
            rows = np.array([v for k, v in self.spots.items() if k.startswith("logger")])
            return np.asarray({"max": rows.max, "mean": rows.mean, "min": rows.min}[rest](axis=0))
        return self.curves[name]

    @property
    def days(self) -> Floats:
        """Days since the heap was built."""
        return self.hours / 24.0


def facts_of(run: Run) -> Facts:
    """What is kept of a run."""
    return Facts(
        hours=np.asarray(run.hours), curves={k: np.asarray(v) for k, v in run.curves.items()},
        spots={k: np.asarray(v["temp_c"]) for k, v in run.spots.items()}, sources=run.sources,
        cells=run.mesh.count, steps=run.steps, cpu_s=run.cpu_s,
        errors={k: a.error for k, a in run.ledger.accounts().items()},
    )  # fmt: skip


def measure(facts: Facts, told: Mapping[str, Any]) -> float | None:
    """The measure *told* (``measure``, ``of``, ``level``, ``between``, ``times``) of a run."""
    day = facts.days
    low, high = told.get("between", (0.0, float(day[-1]) + 1.0))
    inside = (day >= low - 1e-9) & (day <= high + 1e-9)
    if not inside.any():
        return None
    signal = facts.signal(str(told["of"])) if "of" in told else day
    found = MEASURES[str(told["measure"])](facts, day[inside], signal[inside], told)
    return None if found is None else float(found) * float(told.get("times", 1.0))


def _first(day: Floats, true: NDArray[np.bool_]) -> float | None:
    return float(day[np.argmax(true)]) if true.any() else None


def _last(day: Floats, true: NDArray[np.bool_]) -> float | None:
    return float(day[true][-1]) if true.any() else None


def _days_above(facts: Facts, day: Floats, s: Floats, told: Mapping[str, Any]) -> float:
    return float(np.trapezoid((s >= told["level"]).astype(float), day))


def _daily(day: Floats, s: Floats) -> Floats:
    """Mean over the day around every point."""
    n = max(1, round(1.0 / float(np.median(np.diff(day)))))
    kernel = np.ones(n) / n
    ones = np.convolve(np.ones_like(s), kernel, mode="same")
    return np.asarray(np.convolve(s, kernel, mode="same") / ones)


def _falls_to(facts: Facts, day: Floats, s: Floats, told: Mapping[str, Any]) -> float | None:
    smooth = _daily(day, s)
    peak = int(np.argmax(smooth))
    return _first(day[peak:], smooth[peak:] <= told["level"])


def _own_heat(facts: Facts, day: Floats, s: Floats, told: Mapping[str, Any]) -> float | None:
    """First day the signal lies *level* above freezing and above the warmest week of air so far.

    Material or ground that was warmer than the air from the start is no heat of its own.
    """
    air = facts.curves["air_c"]
    week = round(_WEEK_H / float(np.median(np.diff(facts.hours))))
    total = np.concatenate([[0.0], np.cumsum(air)])
    n = np.arange(air.size)
    start = np.maximum(n - week + 1, 0)
    mean = (total[n + 1] - total[start]) / (n + 1 - start)
    known = np.maximum(np.maximum.accumulate(mean), 0.0)
    return _first(day, _daily(day, s) >= known[: s.size] + told["level"])


def _mass_lost(facts: Facts, day: Floats, s: Floats, told: Mapping[str, Any]) -> float:
    mass = facts.curves["dry_kg"] + facts.curves["water_kg"]
    return float(1.0 - mass[-1] / mass[0])


def _at(facts: Facts, day: Floats, s: Floats, told: Mapping[str, Any]) -> float:
    return float(np.interp(told["at"], day, s))


MEASURES: dict[str, Callable[[Facts, Floats, Floats, Mapping[str, Any]], float | None]] = {
    "peak": lambda f, d, s, t: float(s.max()),
    "lowest": lambda f, d, s, t: float(s.min()),
    "mean": lambda f, d, s, t: float(s.mean()),
    "end": lambda f, d, s, t: float(s[-1]),
    "at": _at,
    "day_of_peak": lambda f, d, s, t: float(d[np.argmax(s)]),
    "first_above": lambda f, d, s, t: _first(d, s >= t["level"]),
    "last_above": lambda f, d, s, t: _last(d, s >= t["level"]),
    "days_above": _days_above,
    "falls_to": _falls_to,
    "own_heat": _own_heat,
    "lost": lambda f, d, s, t: float(1.0 - s[-1] / s[0]),
    "drop": lambda f, d, s, t: float(s[0] - s[-1]),
    "mass_lost": _mass_lost,
}
