"""Benchmark B1: the engine beside general-purpose solvers on the same work, in one run.

Run: ``python benchmarks/b1.py`` (about twenty minutes). Each solver runs in a process of its own,
one after the other, on one thread; what is set up or compiled once does not count. Engine,
splitting and BDF run all ten days, three times, and the time is the process's CPU time over ten,
the median of the three. FiPy runs days 2, 5 and 9 from the engine's states at their beginnings, and
its time is the median of these days. Prints a table and writes ``benchmarks/results/b1.json``,
docs/explain/benchmark-b1.md and its figure; ``--pages`` only writes page and figure anew from the
stored result.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
RESULT = HERE / "results" / "b1.json"
ENGINE, SPLIT, BDF, FIPY, RELAXED = (
    "heapwright", "scipy splitting", "solve_ivp BDF", "FiPy", "scipy splitting, relaxed",
)  # fmt: skip
#: Days that FiPy runs, counted from 1; runs of the others.
DAYS, REPEATS = (2, 5, 9), 3
LOW, HIGH = 1e-8, 1e-7
RUNS = [
    (ENGINE, "2k", LOW), (ENGINE, "7k", LOW), (ENGINE, "7k", HIGH), (ENGINE, "32k", LOW),
    (ENGINE, "108k", LOW), (SPLIT, "7k", LOW), (SPLIT, "7k", HIGH), (SPLIT, "32k", LOW),
    (RELAXED, "7k", LOW), (RELAXED, "7k", HIGH), (RELAXED, "32k", LOW), (BDF, "7k", LOW),
    (BDF, "7k", HIGH), (FIPY, "7k", LOW), (FIPY, "7k", HIGH), (FIPY, "32k", LOW),
]  # fmt: skip
KEYS = ("solver", "cells", "permeability_m2", "cpu_s_per_day", "core_48h_c", "core_240h_c",
        "peak_mb")  # fmt: skip
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")
METHOD = (
    f"Process CPU time, one thread, after set-up and compilation. Median of {REPEATS} runs of ten "
    f"days, over ten; FiPy: median of days {', '.join(map(str, DAYS))}, each begun from the "
    "engine's state. Peak: largest resident memory of the solver's process."
)


def work(solver: str, cells: str, permeability: float, states: Path) -> dict[str, Any]:
    """One solver on one case, in this process."""
    if solver == ENGINE:
        return _engine(cells, permeability, states)
    from b1_problem import GRIDS

    grid = GRIDS[cells]
    if solver == FIPY:
        return _fipy(grid, permeability, states)
    if solver == BDF:
        from b1_peers import scipy_bdf

        return dict(scipy_bdf.run(grid, permeability, days=10))
    from b1_peers import scipy_splitting

    way = "library" if solver == SPLIT else "relaxed"
    return dict(scipy_splitting.run(grid, permeability, days=10, way=way))


def _engine(cells: str, permeability: float, states: Path) -> dict[str, Any]:
    import numpy as np

    from heapwright.engine.b1 import run_b1

    before = tuple(d - 1 for d in DAYS)
    got = run_b1(cells, permeability, keep_days=before if cells in ("7k", "32k") else ())
    for day, fields in got.pop("kept").items():
        np.savez(states / f"{cells}-{permeability:g}-{day}.npz", *fields)
    got["peak_mb"] = peak_mb()
    if cells in ("7k", "32k"):
        from b1_bandwidth import bandwidth, words

        moved = words(got["pressure_iterations"], got["oxygen_sweeps"])
        got["roof"] = {"words": moved, "bytes_per_s": bandwidth(got["cells"])}
    return got


def _fipy(grid: Any, permeability: float, states: Path) -> dict[str, Any]:
    """Three days, each from the engine's state; the core at their ends goes into the checks."""
    import numpy as np
    from b1_peers import fipy_krylov

    spent, ends = [], {}
    for day in DAYS:
        held = np.load(states / f"{grid.name}-{permeability:g}-{day - 1}.npz")
        start = [held[f"arr_{k}"] for k in range(4)]
        got = fipy_krylov.run(grid, permeability, days=1, start=start)
        spent.append(got["cpu_s_per_day"])
        ends[day * 24] = float(got["core_c"][-1])
    return {"cells": grid.cells, "cpu_s": spent, "core_48h_c": None, "core_240h_c": None,
            "ends": ends}  # fmt: skip


def peak_mb() -> float:
    """Largest resident memory of this process so far [MB]."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most / (1e6 if sys.platform == "darwin" else 1e6 / 1024)


def apart(solver: str, cells: str, permeability: float, states: Path) -> dict[str, Any]:
    """One solver on one case, in a process of its own."""
    env = os.environ | dict.fromkeys(ONE_THREAD, "1") | {"FIPY_SOLVERS": "scipy"}
    case = json.dumps([solver, cells, permeability, str(states)])
    done = subprocess.run(
        [sys.executable, __file__, "--case", case], env=env, check=True, stdout=subprocess.PIPE
    )
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def rows_of(answers: list[tuple[tuple[str, str, float], dict[str, Any]]]) -> list[dict[str, Any]]:
    """The table: one row a solver and case."""
    rows = []
    for (solver, _, permeability), a in answers:
        timed = statistics.median(a["cpu_s"])
        values = (solver, a["cells"], permeability, timed, a["core_48h_c"], a["core_240h_c"],
                  a["peak_mb"])  # fmt: skip
        rows.append(dict(zip(KEYS, (_short(v) for v in values), strict=True)))
    return rows


def _short(value: Any) -> Any:
    """Four digits are more than repeat; temperatures keep two decimals."""
    return float(f"{value:.4g}") if isinstance(value, float) and value > 1e-6 else value


def checks(answers: list[tuple[tuple[str, str, float], dict[str, Any]]]) -> list[dict[str, Any]]:
    """How far the cores of the engine and of each peer lie apart [degrees C]."""
    engine = {case[1:]: a for case, a in answers if case[0] == ENGINE}
    found = []
    for (solver, cells, permeability), a in answers:
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


def measure() -> dict[str, Any]:
    """Everything, one process after the other."""
    from heapwright import __version__

    answers: dict[tuple[str, str, float], dict[str, Any]] = {}
    with tempfile.TemporaryDirectory() as folder:
        for turn, case in [(n, c) for n in range(REPEATS) for c in RUNS]:
            if turn and case[0] == FIPY:
                continue
            got = apart(*case, Path(folder))
            spent = got["cpu_s"] if case[0] == FIPY else [got["cpu_s_per_day"]]
            before = answers.get(case, {"cpu_s": [], "peak_mb": 0.0})
            got["cpu_s"] = before["cpu_s"] + spent
            got["peak_mb"] = max(got["peak_mb"], before["peak_mb"])
            answers[case] = got
            print(f"{case[0]:26} {case[1]:>5} {case[2]:g}: "
                  f"{', '.join(f'{v:.3g}' for v in spent)} s a day", flush=True)  # fmt: skip
    return result_of(list(answers.items()), __version__)


def result_of(
    answers: list[tuple[tuple[str, str, float], dict[str, Any]]], version: str
) -> dict[str, Any]:
    """What is stored."""
    rows = rows_of(answers)
    roof = [
        {"cells": a["cells"], "permeability_m2": case[2], **a["roof"],
         "pressure_iterations": a["pressure_iterations"], "oxygen_sweeps": a["oxygen_sweeps"],
         "share": a["roof"]["words"] * 8 * a["cells"] * 144
         / a["roof"]["bytes_per_s"] / row["cpu_s_per_day"]}
        for (case, a), row in zip(answers, rows, strict=True) if "roof" in a
    ]  # fmt: skip
    return {
        "version": version, "machine": machine(), "date": f"{datetime.now(UTC):%Y-%m-%d}",
        "method": METHOD, "rows": [r for r in rows if r["solver"] != RELAXED],
        "also": [r for r in rows if r["solver"] == RELAXED], "checks": checks(answers),
        "roofline": [{k: _short(v) for k, v in r.items()} for r in roof],
        "seconds": {f"{c[0]} {c[1]} {c[2]:g}": [_short(v) for v in a["cpu_s"]]
                    for c, a in answers},
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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--case", help=argparse.SUPPRESS)
    parser.add_argument("--pages", action="store_true", help="page and figure from the result")
    given = parser.parse_args()
    if given.case:
        solver, cells, permeability, states = json.loads(given.case)
        answer = {"peak_mb": None} | work(solver, cells, permeability, Path(states))
        answer["peak_mb"] = answer["peak_mb"] or peak_mb()
        cores = answer.pop("core_c", None)
        hours = answer.pop("hours", None)
        if cores is not None:
            step = round(24 / float(hours[1] - hours[0]))
            answer["core_by_day"] = [float(v) for v in cores[::step]]
        print(json.dumps(answer, default=float))
        return
    import b1_pages

    if not given.pages:
        RESULT.write_text(json.dumps(measure(), indent=1) + "\n", encoding="utf-8")
    result = json.loads(RESULT.read_text(encoding="utf-8"))
    b1_pages.write(result)
    print("\n" + b1_pages.table(result))


if __name__ == "__main__":
    main()
