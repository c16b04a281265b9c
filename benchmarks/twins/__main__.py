"""Run all pairs on two processes, print what came out and write it.

``python -m benchmarks.twins [--seeds FIRST LAST] [--keep FOLDER] [--workers N]``: pairs that were
done by the same code are taken from the folder, so that a run that was stopped goes on where it
was. The result and its page are written for seeds 1 to 24 only; others are for trying things out.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import platform
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.twins.page import write_page
from benchmarks.twins.score import run_pair

import heapwright

ROOT = Path(__file__).parents[2]
RESULT = ROOT / "benchmarks" / "results" / "twins.json"
SEEDS = (1, 24)


def summary(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """What all pairs come to: pooled errors, pairs won, coverage with its range, causes."""
    n = np.array([r["n"] for r in rows])

    def pooled(key: str) -> float:
        return float(np.sqrt(np.sum(n * np.array([r[key] for r in rows]) ** 2) / n.sum()))

    covered = np.array([r["coverage80"] for r in rows])
    rng = np.random.default_rng(5)
    drawn = rng.integers(len(rows), size=(4000, len(rows)))
    again = (covered[drawn] * n[drawn]).sum(axis=1) / n[drawn].sum(axis=1)
    counted = [r for r in rows if r["true_cause"] is not None]
    none = [r for r in rows if r["kind"] == "none"]
    errors = {k: pooled(k) for k in ("rmse_c", "persistence_rmse_c", "cooling_rmse_c")}
    return {
        "pairs": len(rows), "forecasts": int(n.sum()),
        **{f"pooled_{k}": round(v, 2) for k, v in errors.items()},
        "over_no_change": round(errors["rmse_c"] / errors["persistence_rmse_c"], 3),
        "better_than_no_change": sum(r["rmse_c"] < r["persistence_rmse_c"] for r in rows),
        "better_than_cooling": sum(r["rmse_c"] < r["cooling_rmse_c"] for r in rows),
        "coverage80": round(float((covered * n).sum() / n.sum()), 3),
        "coverage80_range": [round(float(q), 3) for q in np.quantile(again, (0.025, 0.975))],
        "causes_counted": len(counted),
        "right_first": sum(r["first_cause"] == r["true_cause"] for r in counted),
        "right_in_two": sum(r["true_cause"] in r["ranked"][:2] for r in counted),
        "known_difference_right": sum(r["known_difference"] == r["true_cause"] for r in counted),
        "no_cause": len(none),
        "cannot_tell_right": sum(r["first_cause"] is None for r in none),
    }  # fmt: skip


def main() -> None:
    """Run and print."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--seeds", nargs=2, type=int, default=SEEDS)
    asked.add_argument("--keep", type=Path, default=ROOT / "build" / "twins")
    asked.add_argument("--workers", type=int, default=2)
    args = asked.parse_args()
    began = time.monotonic()
    seeds = range(args.seeds[0], args.seeds[1] + 1)
    folder = args.keep / _stamp()
    folder.mkdir(parents=True, exist_ok=True)
    found: dict[int, dict[str, Any]] = {}
    for seed in seeds:
        place = folder / f"{seed}.json"
        if place.exists():
            found[seed] = json.loads(place.read_text(encoding="utf-8"))
    with ProcessPoolExecutor(args.workers, get_context("spawn")) as pool:
        waiting = {pool.submit(run_pair, s): s for s in seeds if s not in found}
        for future in as_completed(waiting):
            row = future.result()
            found[row["seed"]] = row
            (folder / f"{row['seed']}.json").write_text(json.dumps(row), encoding="utf-8")
            print(
                f"{row['case']:8} {row['rmse_c']:5.1f} {row['persistence_rmse_c']:5.1f} "
                f"{row['cooling_rmse_c']:5.1f} {row['coverage80']:5.2f}  "
                f"{row['true_cause']} / {row['first_cause']} / {row['known_difference']} "
                f"({(time.monotonic() - began) / 60:.0f} min)", flush=True,
            )  # fmt: skip
    rows = [found[s] for s in seeds]
    made = {"summary": summary(rows), "rows": rows}
    print(json.dumps(made["summary"], indent=1))
    if tuple(args.seeds) == SEEDS:
        made = {
            "heapwright": heapwright.__version__, "made": datetime.now(UTC).strftime("%Y-%m-%d"),
            "python": platform.python_version(), "machine": platform.machine(),
            "minutes": round((time.monotonic() - began) / 60, 1), **made,
        }  # fmt: skip
        RESULT.write_text(json.dumps(made, indent=1) + "\n", encoding="utf-8")
        write_page(made)


def _stamp() -> str:
    """A name for the code that made a pair: what is kept of other code is not taken."""
    made = hashlib.sha256()
    for place in sorted([*(ROOT / "src").rglob("*.py"), *(ROOT / "src").rglob("*.toml"),
                         *(ROOT / "benchmarks" / "twins").glob("*.py")]):  # fmt: skip
        if place.parts[-2] in ("inference", "engine", "kernels", "processes", "twins", "values"):
            made.update(place.read_bytes())
    return made.hexdigest()[:12]


if __name__ == "__main__":
    main()
