"""How far heaps differ in leafiness by the way loads are shared out.

Units: leafiness 0 to 100. Conventions: loads come in batches of six, 12 between and 8 within
batches, mean 50 (statistics of the project's own study); the error of a score is 8.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.stats.sharing import deal_buffered, deal_one_at_a_time

__all__ = ["sharing_rows"]

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]


def sharing_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """Standard deviation of heap-mean leafiness by how loads are shared out."""

    def loads(count: int) -> Floats:
        batch = np.repeat(rng.normal(50, 12, math.ceil(count / 6)), 6)[:count]
        return np.clip(batch + rng.normal(0, 8, count), 0, 100)

    def spread(deal: Any, heaps: int, each: int, error: float) -> float:
        total = 0.0
        for _ in range(trials):
            true = loads(heaps * each)
            seen = true + rng.normal(0, error, true.size) if error else true
            to = np.asarray(deal([float(x) for x in seen], heaps))
            total += float(np.var([true[to == i].mean() for i in range(heaps)], ddof=1))
        return math.sqrt(total / trials)

    def in_sequence(scores: list[float], heaps: int) -> Whole:
        return np.repeat(np.arange(heaps), len(scores) // heaps)

    def by_lot(scores: list[float], heaps: int) -> Whole:
        return rng.permutation(np.arange(len(scores)) % heaps)

    def rotating(scores: list[float], heaps: int) -> Whole:
        return np.arange(len(scores)) % heaps

    cases: list[tuple[str, Any, int, int]] = [
        ("in sequence", in_sequence, 4, 12),
        ("by lot", by_lot, 4, 12),
        ("leafiest of each four", deal_buffered, 4, 12),
        ("in sequence", in_sequence, 3, 8),
        ("in rotation", rotating, 3, 8),
        ("one at a time", deal_one_at_a_time, 3, 8),
    ]
    return [
        {
            "rule": name, "heaps": heaps, "loads_each": each, "sd": spread(deal, heaps, each, 0.0),
            "sd_with_scoring_error_8": spread(deal, heaps, each, 8.0),
        }
        for name, deal, heaps, each in cases
    ]  # fmt: skip
