"""Forecast every series of ``data/`` from its first part: ``python -m benchmarks.series``.

Writes ``benchmarks/results/series.json`` and the table of docs/explain/measured-series.md. The day
up to which a series is fitted was set before the first run and not changed after it.
"""

from __future__ import annotations

import argparse
import json
import platform
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchmarks.series.page import write_page

import heapwright
from heapwright.inference.crew import Crew
from heapwright.services.seriescase import read_bench
from heapwright.services.seriescheck import check
from heapwright.services.serieswords import check_json, check_words

ROOT = Path(__file__).parents[2]
DATA = Path(__file__).parent / "data"
RESULT = ROOT / "benchmarks" / "results" / "series.json"
#: name, kind, sheet, plan, climate, fitted up to this day, exposure
CASES: tuple[tuple[str, str, str, str, str | None, float, str | None], ...] = (
    ("poplar chips in a chamber", "measured", "chamber", "chamber", None, 21.0, None),
    ("willow heap A, anchors", "reconstructed", "willow_a_anchors", "willow_a", "willow_a_climate",
     14.0, "partly"),
    ("willow heap A, lines between", "reconstructed", "willow_a_daily", "willow_a",
     "willow_a_climate", 14.0, "partly"),
    ("willow heap B, anchors", "reconstructed", "willow_b_anchors", "willow_b", "willow_b_climate",
     14.0, "partly"),
    ("willow heap B, lines between", "reconstructed", "willow_b_daily", "willow_b",
     "willow_b_climate", 14.0, "partly"),
    ("willow heap C, anchors", "reconstructed", "willow_c_anchors", "willow_c", "willow_c_climate",
     28.0, "partly"),
    ("three vessels, third held out", "INVENTED", "vessels", "vessels", None, 4.0, None),
)  # fmt: skip
_KEPT = (
    "rmse_c", "no_change_rmse_c", "cooling_rmse_c", "coverage80", "n", "fit_until",
    "readings_fitted", "heaps", "quantities", "doubted", "assumed", "sources",
)  # fmt: skip


def run_case(case: tuple[Any, ...], workers: int) -> dict[str, Any]:
    """The score of one series, with the words the command says."""
    name, kind, sheet, plan, climate, until, exposure = case
    bench = read_bench(
        DATA / f"{sheet}.csv", DATA / f"{plan}.toml", now=datetime(2026, 1, 1, tzinfo=UTC),
        weather=None if climate is None else DATA / f"{climate}.toml", exposure=exposure,
    )  # fmt: skip
    began = time.monotonic()
    with Crew(workers) as crew:
        found = check(bench, until, crew=crew)
    told = check_json(found)
    learned = [
        {k: x[k] for k in ("heap", "spot", "parameter", "verdict")}
        for x in told["learned"] if x["verdict"] != "only prior"
    ]  # fmt: skip
    return {
        "name": name, "kind": kind, "seconds": round(time.monotonic() - began, 1),
        "words": check_words(found), **{k: told[k] for k in _KEPT}, "learned": learned,
    }  # fmt: skip


def main() -> None:
    """Run all, print and write."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--workers", type=int, default=2)
    args = asked.parse_args()
    rows = []
    for case in CASES:
        rows.append(run_case(case, args.workers))
        print(rows[-1]["name"], f"({rows[-1]['seconds']:.0f} s)", *rows[-1]["words"],
              sep="\n  ", flush=True)  # fmt: skip
    made = {
        "heapwright": heapwright.__version__, "made": datetime.now(UTC).strftime("%Y-%m-%d"),
        "python": platform.python_version(), "machine": platform.machine(), "rows": rows,
    }  # fmt: skip
    RESULT.write_text(json.dumps(made, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    write_page(made)


if __name__ == "__main__":
    main()
