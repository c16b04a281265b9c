"""What a simulated heap costs: by cells and by days, beside benchmark B1, and several side by side.

Run: ``python benchmarks/cost.py [--quick]`` (about ten minutes). One thread; weather, cells and
compiled code are made before. The same heap of chips in the same weather throughout; B1 is run in
between on 2k and 7k cells, so that the ratios come from one run. Writes
``benchmarks/results/cost.json``, docs/explain/cost.md and its figure; ``--page`` writes page and
figure anew from the stored result.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
RESULT = HERE / "results" / "cost.json"
PAGE = HERE.parent / "docs" / "explain" / "cost.md"
FIGURE = HERE.parent / "docs" / "images" / "cost.svg"
#: volume [m3] at 10 cm cells, and days
SIZES = ((1.0, 20), (1.3, 20), (3.0, 10), (10.0, 5), (30.0, 3), (100.0, 1))
SPANS = (10, 30, 60, 90)
REPEATS = 3
B1 = (("2k", 2048), ("7k", 6912))
ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMBA_NUM_THREADS")


def weather() -> Any:
    """A described year; the heap is built at the beginning of May."""
    from heapwright.domain.climate import Climate
    from heapwright.services.weather import described_year

    climate = Climate(
        mean_c=(3, 4, 6, 9, 13, 16, 18, 18, 15, 11, 7, 4), range_c=(6,) * 12, rain_mm=(60,) * 12,
        latitude_deg=52,
    )  # fmt: skip
    return described_year(climate, seed=3)


def one(air: Any, volume: float, days: float) -> tuple[int, int, float]:
    """Cells, steps and CPU seconds of one heap of leafy chips with a turn and a pipe."""
    from heapwright.engine.scenario import Action, HeapSpec, Pipe
    from heapwright.engine.simulate import simulate

    heap = HeapSpec(
        volume, leafy_share=0.15, start_c=14, dx_m=0.1,
        actions=(Action(5, "turned"), Action(20, "watered", 50), Action(30, "turned")),
        pipes=(Pipe(((-1, 0, 0.15), (1, 0, 0.15))),),
    )  # fmt: skip
    run = simulate(heap, weather=air, days=days, start_h=24 * 120)
    return run.mesh.count, run.steps, run.cpu_s


def own_b1(grid: str, count: int) -> float:
    """CPU microseconds of B1 a cell and step, mean of ten days."""
    from heapwright.engine.b1 import run_b1

    spent = run_b1(grid, 1e-8, days=10.0)["cpu_s_by_day"]
    return 1e6 * sum(spent) / (len(spent) * 144 * count)


def side_by_side() -> float:
    """Wall time of two heaps on two processes over that of one alone."""
    began = time.monotonic()
    with ProcessPoolExecutor(1) as pool:
        pool.submit(_apart, 0).result()
    single = time.monotonic() - began
    began = time.monotonic()
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(_apart, range(2)))
    return (time.monotonic() - began) / single


def _apart(_: int) -> None:
    one(weather(), 1.3, 30)


def measured(repeats: int, quick: bool) -> dict[str, Any]:
    """All figures, the best of the repeats; B1 and heaps take turns."""
    air = weather()
    one(air, 0.3, 0.1)
    sizes = SIZES[:3] if quick else SIZES
    costs: dict[str, list[float]] = {}
    facts: dict[str, tuple[int, int]] = {}
    for _ in range(repeats):
        for grid, count in B1:
            costs.setdefault(f"b1 {grid}", []).append(own_b1(grid, count))
        for volume, days in sizes:
            cells, steps, cpu = one(air, volume, days)
            costs.setdefault(f"size {volume:g}", []).append(cpu)
            facts[f"size {volume:g}"] = cells, steps
        for days in SPANS[:2] if quick else SPANS:
            cells, steps, cpu = one(air, 1.3, days)
            costs.setdefault(f"days {days}", []).append(cpu)
            facts[f"days {days}"] = cells, steps
    found = {name: min(spent) for name, spent in costs.items()}
    rows = [
        {"volume_m3": v, "days": d, "cells": facts[f"size {v:g}"][0],
         "steps": facts[f"size {v:g}"][1], "cpu_s": round(found[f"size {v:g}"], 3)}
        for v, d in sizes
    ]  # fmt: skip
    spans = [
        {"days": d, "cells": facts[f"days {d}"][0], "steps": facts[f"days {d}"][1],
         "cpu_s": round(found[f"days {d}"], 3)}
        for d in (SPANS[:2] if quick else SPANS)
    ]  # fmt: skip
    return {
        "date": datetime.now(UTC).date().isoformat(), "repeats": repeats, "rows": rows,
        "spans": spans,
        "b1_us": {grid: round(found[f"b1 {grid}"], 5) for grid, _ in B1},
        "two_over_one": round(side_by_side(), 2), "peak_mb": round(_peak(), 0),
    }  # fmt: skip


def _peak() -> float:
    """Largest resident memory [MB] of a process that simulates the 1.3 m3 heap for 90 days.

    Read from /proc, since what getrusage gives begins with the memory of the process that started
    it.
    """
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); import cost; "
        "cost.one(cost.weather(), 1.3, 90); print(open('/proc/self/status').read())"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(HERE)], check=True, stdout=subprocess.PIPE, text=True
    )
    line = next(x for x in done.stdout.splitlines() if x.startswith("VmHWM"))
    return float(line.split()[1]) / 1024


def per_step(row: dict[str, Any]) -> float:
    """CPU microseconds a cell (as built) and step."""
    return float(row["cpu_s"] / row["steps"] / row["cells"] * 1e6)


def page(result: dict[str, Any]) -> str:
    """The page of what a run costs."""
    small = result["b1_us"]["2k"]
    season = result["spans"][-1]
    sizes = "\n".join(
        f"| {r['volume_m3']:g} | {r['cells']:,} | {r['days']} | {r['steps']} | {r['cpu_s']:.2f} | "
        f"{per_step(r):.2f} | {r['cpu_s'] / r['days'] * 90:.0f} |"
        for r in result["rows"]
    )  # fmt: skip
    spans = "\n".join(
        f"| {r['days']} | {r['cpu_s']:.2f} | {per_step(r):.2f} |" for r in result["spans"]
    )
    cost, times = per_step(season), per_step(season) / small
    equal = times * season["steps"] / (season["days"] * 144)
    wall, peak = result["two_over_one"], result["peak_mb"]
    return f"""# What a simulated heap costs

Written by `python benchmarks/cost.py`; measured by hand on {result["date"]}, two cores of a shared
virtual machine, best of {result["repeats"]}. Seconds are processor seconds on one thread and
differ by a third from one hour to the next on such a machine; ratios come from one run.

**{season["days"]} days of a heap of 1.3 m3 in cells of 10 cm take {season["cpu_s"]:.1f} s** and
{peak:.0f} MB at most. Two heaps side by side on two cores take {wall:.2f} times as long as one.

A cell and step cost {cost:.3f} microseconds, **{times:.1f} times** what they cost in
[benchmark B1](benchmark-b1.md) on 2,048 cells ({small:.3f}); the aim was 8 times at most. A step
is that of heat and vapour, 300 s or what stability allows. Gas flow, oxygen and skin are solved
once for three of them or more, and decay and water once an hour; B1 solves everything with each of
its steps of 600 s. So, for the same **time** simulated, the heap costs {equal:.0f} times as much as
B1, which has one substrate, no vapour, no skin, no soil, no pipes and conductances that stay.

A busy host slows the Python between the kernels, and what does not fit the cache, more than B1:
on 2026-11-26, with all fields in double precision, the same measurement gave 6.3 to 7.1 times in
quiet hours and 7.9 to 9.4 in busy ones.

## By the number of cells

| m3 | cells | days | steps | CPU s | microseconds a cell and step | s for 90 days |
|---|---|---|---|---|---|---|
{sizes}

## By days, 1.3 m3

| days | CPU s | microseconds a cell and step |
|---|---|---|
{spans}

![Cost against cells and days](../images/cost.svg)
"""


def draw(result: dict[str, Any]) -> None:
    """Cost of a simulated day against cells, and of 1.3 m3 against days."""
    import matplotlib as mpl

    mpl.use("svg")
    mpl.rcParams["svg.hashsalt"] = "heapwright"
    from matplotlib import pyplot as plt

    figure, (left, right) = plt.subplots(1, 2, figsize=(8.4, 3.4), layout="constrained")
    cells = [r["cells"] for r in result["rows"]]
    left.loglog(cells, [r["cpu_s"] / r["days"] for r in result["rows"]], "o-", color="#1b6b4a")
    left.set_xticks([1e3, 1e4, 1e5], ["1,000", "10,000", "100,000"])
    left.set_yticks(
        [0.01, 0.03, 0.1, 0.3, 1, 3, 10], ["0.01", "0.03", "0.1", "0.3", "1", "3", "10"]
    )
    left.set_ylim(0.01, 15)
    left.minorticks_off()
    left.set_xlabel("cells of the heap")
    left.set_ylabel("CPU s a simulated day")
    right.plot([0, *(r["days"] for r in result["spans"])],
               [0, *(r["cpu_s"] for r in result["spans"])], "o-", color="#1b6b4a")  # fmt: skip
    right.set_xlabel("days, heap of 1.3 m3")
    right.set_ylabel("CPU s")
    right.set_ylim(bottom=0)
    right.set_xlim(left=0)
    for axes in (left, right):
        axes.grid(visible=True, which="major", color="#dddddd", linewidth=0.6)
        axes.spines[["top", "right"]].set_visible(False)
    figure.savefig(FIGURE, metadata={"Date": None})
    plt.close(figure)


def main() -> None:
    """Measure, write, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="small heaps once, nothing written")
    parser.add_argument("--page", action="store_true")
    told = parser.parse_args()
    if told.page:
        result = json.loads(RESULT.read_text(encoding="utf-8"))
    else:
        result = measured(1 if told.quick else REPEATS, told.quick)
    text = page(result)
    print(text)
    if not told.quick:
        RESULT.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
        PAGE.write_text(text, encoding="utf-8")
        draw(result)


if __name__ == "__main__":
    for name in ONE_THREAD:
        os.environ.setdefault(name, "1")
    main()
