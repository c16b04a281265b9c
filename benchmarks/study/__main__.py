"""Run the study, print it, write it and the tables of docs/explain/comparing-fairly.md.

``python -m benchmarks.study [--trials 10000] [--seed 20260501]``
"""

from __future__ import annotations

import argparse
import json
import platform
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.study.methods import heap_rows, naive_rows, start_rows
from benchmarks.study.page import PAGE, filled, tables
from benchmarks.study.rounds import looks_rows, rounds_rows
from benchmarks.study.sharing import sharing_rows
from numpy.typing import NDArray

import heapwright
from heapwright.stats.naive import Study, heap_means, null_readings
from heapwright.stats.prior import SpreadPrior

Floats = NDArray[np.float64]
RESULT = Path(__file__).parents[1] / "results" / "study.json"
HEAPS = (1, 2, 3, 4)
CORRELATIONS = (-0.4, -0.2, 0.0, 0.2, 0.3, 0.5)


def method_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """All methods by heaps a way and spread; sigma None stands for U(3,6)."""
    rows: list[dict[str, Any]] = []
    for sigma in (None, 3.0, 4.5, 6.0, 8.0):
        for n in HEAPS:
            rows += heap_rows(_heap_values(rng, trials, 2 * n, sigma), sigma)
    for n in HEAPS:
        excess, _, _ = null_readings(rng, trials, heaps=2 * n, study=Study())
        rows += heap_rows(heap_means(excess), None, suffix=", from readings")
        rows += naive_rows(excess, None)
    for n in HEAPS[1:]:
        doubled = _heap_values(rng, trials, 2 * n, None, second=2.0)
        rows += heap_rows(doubled, None, suffix=", one way spreads twice as far")
    for n in (3, 4):
        for correlation in CORRELATIONS:
            before, after = _related(rng, trials, 2 * n, correlation)
            rows += start_rows(before, after, None, correlation)
    return rows


def _heap_values(
    rng: np.random.Generator, trials: int, heaps: int, sigma: float | None, second: float = 1.0
) -> Floats:
    """Heap values without effect; the spread of the second way is *second* times the first's."""
    spread = rng.uniform(3, 6, trials) if sigma is None else np.full(trials, sigma)
    by_heap = np.repeat([1.0, second], heaps // 2) * spread[:, None]
    return rng.normal(size=(trials, heaps)) * np.sqrt(by_heap**2 + SpreadPrior.published().va)


def _related(
    rng: np.random.Generator, trials: int, heaps: int, correlation: float
) -> tuple[Floats, Floats]:
    """Values of a common phase and of the window, lasting departures so far correlated."""
    spread = rng.uniform(3, 6, trials)[:, None]
    first, other = rng.normal(size=(2, trials, heaps))
    last = correlation * first + np.sqrt(1 - correlation**2) * other
    noise = rng.normal(size=(2, trials, heaps)) * np.sqrt(SpreadPrior.published().va)
    return spread * first + noise[0], spread * last + noise[1]


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=20260501)
    given = parser.parse_args()
    began = time.monotonic()
    streams = np.random.default_rng(given.seed).spawn(4)
    result: dict[str, Any] = {
        "heapwright": heapwright.__version__, "made": datetime.now(UTC).strftime("%Y-%m-%d"),
        "python": platform.python_version(), "machine": platform.machine(), "seed": given.seed,
        "rows": method_rows(streams[0], given.trials),
        "rounds": rounds_rows(streams[1], given.trials),
        "looks": looks_rows(streams[2], given.trials),
        "sharing": sharing_rows(streams[3], max(200, given.trials // 5)),
    }  # fmt: skip
    result["minutes"] = round((time.monotonic() - began) / 60, 1)
    RESULT.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    PAGE.write_text(filled(PAGE.read_text(encoding="utf-8"), result), encoding="utf-8")
    for name, text in tables(result).items():
        print(f"\n{name}\n{text}")


if __name__ == "__main__":
    main()
