"""Benchmark B1: the engine beside general-purpose solvers on the same work, in one run.

Run: ``python benchmarks/b1.py`` (about twenty-five minutes). Each solver runs in a process of its
own, one after the other, on one thread; what is set up or compiled once does not count. The unit of
time is the one-day segment: engine, splitting and BDF go through the ten days of a case one segment
after the other, each with its own process CPU time, and all of it three times over; a solver's cost
is the mean of its segments, the median of the three passes. FiPy runs days 1, 5 and 10 from the
engine's states at their beginnings and is set against the engine's time on the same days. Prints a
table and writes ``benchmarks/results/b1.json``, docs/explain/benchmark-b1.md and its figure;
``--pages`` only writes page and figure anew from the stored result, ``--only 7k --passes 1`` is a
quick look that stores nothing.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
RESULT = HERE / "results" / "b1.json"
ENGINE, SPLIT, BDF, FIPY, LOOSE, RELAXED, RESTARTED = (
    "heapwright", "scipy splitting", "solve_ivp BDF", "FiPy", "scipy splitting, loose",
    "scipy splitting, loose and relaxed", "solve_ivp BDF, begun anew each day",
)  # fmt: skip
ALSO = (LOOSE, RELAXED, RESTARTED)
#: Days that FiPy runs, counted from 1; all days; how often everything is run.
DAYS, TEN, PASSES = (1, 5, 10), tuple(range(1, 11)), 3
LOW, HIGH = 1e-8, 1e-7
RUNS = [
    (ENGINE, "2k", LOW), (ENGINE, "7k", LOW), (ENGINE, "7k", HIGH), (ENGINE, "32k", LOW),
    (ENGINE, "108k", LOW),
    *((s, c, k) for s in (SPLIT, LOOSE, RELAXED)
      for c, k in (("7k", LOW), ("7k", HIGH), ("32k", LOW))),
    (BDF, "7k", LOW), (BDF, "7k", HIGH), (RESTARTED, "7k", LOW), (RESTARTED, "7k", HIGH),
    (FIPY, "7k", LOW), (FIPY, "7k", HIGH), (FIPY, "32k", LOW),
]  # fmt: skip
KEYS = ("solver", "cells", "permeability_m2", "cpu_s_per_day", "core_48h_c", "core_240h_c",
        "peak_mb")  # fmt: skip
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
Case = tuple[str, str, float]


def method(passes: int) -> str:
    """How the times came about, for the page."""
    days = f"{', '.join(map(str, DAYS[:-1]))} and {DAYS[-1]}"
    often = {1: "one pass", 3: "median of three passes"}.get(passes, f"median of {passes} passes")
    return (
        "Process CPU time of one-day segments, one thread, after set-up and compilation: mean of "
        f"the ten segments of a run, {often}. FiPy: mean of segments {days}, each begun from the "
        "engine's state, against the engine on the same segments. Peak: largest "
        "resident memory of the solver's process; for the engine at 108,000 cells the first pass "
        "also compiles every kernel."
    )


def work(
    solver: str, cells: str, permeability: float, states: Path, days: list[int]
) -> dict[str, Any]:
    """One solver on one case, in this process; *days* is for FiPy."""
    if solver == ENGINE:
        return _engine(cells, permeability, states)
    from b1_problem import GRIDS

    grid = GRIDS[cells]
    if solver == FIPY:
        return _fipy(grid, permeability, states, days)
    if solver in (BDF, RESTARTED):
        from b1_peers import scipy_bdf

        return dict(scipy_bdf.run(grid, permeability, days=10, anew=solver == RESTARTED))
    from b1_peers import scipy_splitting

    way = "relaxed" if solver == RELAXED else "library"
    tolerances = scipy_splitting.USUAL if solver == SPLIT else scipy_splitting.LOOSE
    return dict(scipy_splitting.run(grid, permeability, days=10, way=way, tolerances=tolerances))


def _engine(cells: str, permeability: float, states: Path) -> dict[str, Any]:
    import numpy as np

    from heapwright.engine.b1 import run_b1

    before = tuple(d - 1 for d in DAYS if d > 1)
    got = run_b1(cells, permeability, keep_days=before if cells in ("7k", "32k") else ())
    for day, fields in got.pop("kept").items():
        np.savez(states / f"{cells}-{permeability:g}-{day}.npz", *fields)
    got["peak_mb"] = peak_mb()
    if cells in ("7k", "32k"):
        from b1_bandwidth import bandwidth, words

        moved = words(got["pressure_iterations"], got["oxygen_sweeps"])
        got["roof"] = {"words": moved, "bytes_per_s": bandwidth(got["cells"])}
    return got


def _fipy(grid: Any, permeability: float, states: Path, days: list[int]) -> dict[str, Any]:
    """Single days, each from the engine's state; the core at their ends goes into the checks."""
    import numpy as np
    from b1_peers import fipy_krylov

    spent, ends = [], {}
    for day in days:
        start = None
        if day > 1:
            held = np.load(states / f"{grid.name}-{permeability:g}-{day - 1}.npz")
            start = [held[f"arr_{k}"] for k in range(4)]
        got = fipy_krylov.run(grid, permeability, days=1, start=start)
        spent += got["cpu_s_by_day"]
        ends[day * 24] = float(got["core_c"][-1])
    return {"cells": grid.cells, "cpu_s_by_day": spent, "core_48h_c": None, "core_240h_c": None,
            "ends": ends}  # fmt: skip


def peak_mb() -> float:
    """Largest resident memory of this process so far [MB]."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1e6 if sys.platform == "darwin" else 1e6 / 1024)


def apart(case: Case, states: Path, days: list[int], *, cold: bool) -> dict[str, Any]:
    """One solver on one case, in a process of its own; *cold*: nothing compiled beforehand."""
    env = os.environ | dict.fromkeys(ONE_THREAD, "1") | {"FIPY_SOLVERS": "scipy"}
    if cold:
        env["NUMBA_CACHE_DIR"] = str(states / "compiled")
    told = json.dumps([*case, str(states), days])
    done = subprocess.run(
        [sys.executable, __file__, "--case", told], env=env, check=True, stdout=subprocess.PIPE
    )
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def rows_of(answers: dict[Case, dict[str, Any]]) -> list[dict[str, Any]]:
    """The table: one row a solver and case."""
    import b1_pages

    rows = []
    for (solver, _, permeability), a in answers.items():
        values = (solver, a["cells"], permeability, b1_pages.cost(a), a["core_48h_c"],
                  a["core_240h_c"], a["peak_mb"])  # fmt: skip
        rows.append(dict(zip(KEYS, (_short(v) for v in values), strict=True)))
    return rows


def _short(value: Any) -> Any:
    """Four digits are more than repeat; temperatures keep two decimals."""
    return float(f"{value:.4g}") if isinstance(value, float) and value > 1e-6 else value


def checks(answers: dict[Case, dict[str, Any]]) -> list[dict[str, Any]]:
    """How far the cores of the engine and of each peer lie apart [degrees C]."""
    engine = {case[1:]: a for case, a in answers.items() if case[0] == ENGINE}
    found = []
    for (solver, cells, permeability), a in answers.items():
        if solver == ENGINE:
            continue
        own = engine[cells, permeability]
        hours = a.get("ends") or {h: a[f"core_{h}h_c"] for h in (48, 240)}
        gaps = {str(h): own["core_by_day"][int(h) // 24] - v for h, v in hours.items()}
        found.append(
            {"against": solver, "cells": own["cells"], "permeability_m2": permeability,
             "engine_minus_peer_c": {h: round(g, 4) for h, g in gaps.items()}}
        )  # fmt: skip
    return found


def measure(passes: int, only: str | None) -> dict[str, Any]:
    """Everything, one process after the other, *passes* times over."""
    answers: dict[Case, dict[str, Any]] = {}
    cases = [c for c in RUNS if only in (None, c[1])]
    with tempfile.TemporaryDirectory() as folder:
        for turn, case in [(n, c) for n in range(passes) for c in cases]:
            days = list(DAYS if case[0] == FIPY else TEN)
            cold = turn == 0 and case[:2] == (ENGINE, "108k")
            got = apart(case, Path(folder), days, cold=cold)
            print(f"{case[0]:35} {case[1]:>5} {case[2]:g}: "
                  f"{' '.join(f'{v:.3g}' for v in got['cpu_s_by_day'])}", flush=True)  # fmt: skip
            answers[case] = joined(answers.get(case), got, days)
    return result_of(answers, passes)


def joined(before: dict[str, Any] | None, got: dict[str, Any], days: list[int]) -> dict[str, Any]:
    """One more pass of a case: its times beside those of before, the larger peak."""
    spent = got.pop("cpu_s_by_day")
    if before is None:
        return got | {"days": days, "cpu_s": [spent]}
    got["peak_mb"] = max(got["peak_mb"], before["peak_mb"])
    return got | {"days": days, "cpu_s": [*before["cpu_s"], spent]}


def result_of(answers: dict[Case, dict[str, Any]], passes: int) -> dict[str, Any]:
    """What is stored."""
    from heapwright import __version__

    rows = rows_of(answers)
    roof = [
        {"cells": a["cells"], "permeability_m2": case[2], **a["roof"],
         "pressure_iterations": a["pressure_iterations"], "oxygen_sweeps": a["oxygen_sweeps"],
         "share": a["roof"]["words"] * 8 * a["cells"] * 144
         / a["roof"]["bytes_per_s"] / row["cpu_s_per_day"]}
        for (case, a), row in zip(answers.items(), rows, strict=True) if "roof" in a
    ]  # fmt: skip
    return {
        "version": __version__, "machine": machine(), "date": f"{datetime.now(UTC):%Y-%m-%d}",
        "method": method(passes), "rows": [r for r in rows if r["solver"] not in ALSO],
        "also": [r for r in rows if r["solver"] in ALSO], "checks": checks(answers),
        "roofline": [{k: _short(v) for k, v in r.items()} for r in roof],
        "segments": [
            {"solver": c[0], "cells": a["cells"], "permeability_m2": c[2], "days": a["days"],
             "cpu_s": [[_short(v) for v in one] for one in a["cpu_s"]]}
            for c, a in answers.items()
        ],
    }  # fmt: skip


def machine() -> str:
    """Processor, system, and the versions that matter."""
    from importlib.metadata import version

    names = [n for n in _read("/proc/cpuinfo").splitlines() if n.startswith("model name")]
    processor = names[0].split(":")[1].strip() if names else platform.processor()
    libraries = ", ".join(f"{n} {version(n)}" for n in ("numpy", "numba", "scipy", "pyamg", "fipy"))
    return (f"{processor}, {os.cpu_count()} processors, {platform.system()}, Python "
            f"{platform.python_version()}, {libraries}")  # fmt: skip


def _read(path: str) -> str:
    return Path(path).read_text(encoding="utf-8") if Path(path).exists() else ""


def answer_of(told: str) -> dict[str, Any]:
    """What a process of one case prints."""
    solver, cells, permeability, states, days = json.loads(told)
    answer = {"peak_mb": None} | work(solver, cells, permeability, Path(states), days)
    answer["peak_mb"] = answer["peak_mb"] or peak_mb()
    cores = answer.pop("core_c", None)
    hours = answer.pop("hours", None)
    if cores is not None:
        step = round(24 / float(hours[1] - hours[0]))
        answer["core_by_day"] = [float(v) for v in cores[::step]]
    return answer


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--case", help=argparse.SUPPRESS)
    parser.add_argument("--pages", action="store_true", help="page and figure from the result")
    parser.add_argument("--passes", type=int, default=PASSES, help="how often everything is run")
    parser.add_argument("--only", choices=["2k", "7k", "32k", "108k"], help="one grid; not stored")
    given = parser.parse_args()
    if given.case:
        print(json.dumps(answer_of(given.case), default=float))
        return
    import b1_pages

    if given.only:
        print("\n" + b1_pages.table(measure(given.passes, given.only)))
        return
    if not given.pages:
        RESULT.write_text(json.dumps(measure(given.passes, None), indent=1) + "\n", "utf-8")
    result = json.loads(RESULT.read_text(encoding="utf-8"))
    b1_pages.write(result)
    print("\n" + b1_pages.table(result))


if __name__ == "__main__":
    main()
