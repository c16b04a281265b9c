"""The simulation study of the screening: what is asked falsely and which slips are found.

Run: ``python benchmarks/screening.py [--logs 2000] [--seed 20260502]``. Prints a table and writes
``benchmarks/results/screening.json``. All logs are INVENTED (generator in
``heapwright.stats.screenstudy``): four heaps with three spots, read daily, every third day, weekly.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from heapwright.stats.screenstudy import ScreenStudy, screening_rates

RESULT = Path(__file__).parent / "results" / "screening.json"
INTERVALS = (("daily", 1.0, 5), ("3-day", 3.0, 2), ("weekly", 7.0, 1))
#: What must hold: most a false question may come, least of the slips that must be found.
MOST = {"false, a reading": (0.004,) * 3, "false exchange, a pair": (0.003,) * 3}
LEAST = {
    "F or C": (0.99,) * 3,
    "ten times": (0.99,) * 3,
    "20 C": (0.97,) * 3,
    "exchanged, gap 6-10 C": (0.85, 0.60, 0.36),
    "exchanged, gap above 15 C": (0.97, 0.95, 0.88),
}
#: Generators beside the main one, with a quarter of the logs.
VARIANTS: dict[str, tuple[ScreenStudy, bool]] = {
    "heaps follow the air of six days": (ScreenStudy(follows_d=6.0), True),
    "nobody read the air": (ScreenStudy(), False),
    "two heaps": (ScreenStudy(heaps=2), True),
    "one spot": (ScreenStudy(spots=1), True),
    "one heap, two spots": (ScreenStudy(heaps=1, spots=2), True),
}


def study_rows(
    seed: int, logs: int, study: ScreenStudy | None = None, *, air: bool = True
) -> dict[str, Any]:
    """Rates by interval; every interval has a generator of its own."""
    rows: dict[str, Any] = {}
    for n, (name, every_d, each) in enumerate(INTERVALS):
        rng = np.random.default_rng([seed, n])
        rows[name] = screening_rates(rng, logs, every_d, study=study, air=air, slips_each=each)
    return rows


def missed(rows: dict[str, Any]) -> list[str]:
    """Which of the figures that must hold do not."""
    out = []
    for n, (interval, _, _) in enumerate(INTERVALS):
        for name, most in MOST.items():
            if rows[interval][name]["rate"] > most[n]:
                out.append(f"{interval}: {name}")
        for name, least in LEAST.items():
            if rows[interval][name]["rate"] < least[n]:
                out.append(f"{interval}: {name}")
    return out


def table(rows: dict[str, Any]) -> str:
    """The rates in per cent, one line a figure."""
    names = list(rows["daily"])
    lines = [f"{'per cent':32s}" + "".join(f"{i:>9s}" for i, _, _ in INTERVALS)]
    for name in names:
        cells = [rows[i].get(name) for i, _, _ in INTERVALS]
        lines.append(
            f"{name:32s}" + "".join(f"{100 * c['rate']:9.2f}" if c else f"{'-':>9s}" for c in cells)
        )
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--logs", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=20260502)
    given = parser.parse_args()
    began = time.perf_counter()
    rows = study_rows(given.seed, given.logs)
    result: dict[str, Any] = {
        "logs": given.logs,
        "seed": given.seed,
        "invented": True,
        "rates": rows,
        "missed": missed(rows),
        "beside": {},
    }
    print(f"{given.logs} invented logs an interval\n{table(rows)}")
    print("missed: " + (", ".join(result["missed"]) or "none"))
    for name, (study, air) in VARIANTS.items():
        found = study_rows(given.seed + 1, max(1, given.logs // 4), study, air=air)
        result["beside"][name] = {"logs": max(1, given.logs // 4), "rates": found}
        print(f"\n{name}, {max(1, given.logs // 4)} logs\n{table(found)}")
    RESULT.parent.mkdir(exist_ok=True)
    RESULT.write_text(json.dumps(result, indent=2) + "\n", encoding="utf-8")
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
