"""Run all cases and signs on two processes, write the result, the figures and the page.

``python -m benchmarks.hindcast [--only CASE ...] [--keep FOLDER] [--page]``: with ``--only``
nothing is written but what comes out is printed; ``--keep`` holds on to finished runs, so that a
run that was stopped goes on where it was; ``--page`` writes the page anew from the stored result.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import pickle
import platform
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from benchmarks.hindcast.cases import Case, all_cases, build, parameter_hash
from benchmarks.hindcast.measures import Facts, facts_of
from benchmarks.hindcast.score import RULE, rows_of, spread_of, tally

import heapwright

RESULT = Path(__file__).parents[1] / "results" / "hindcast.json"
_SIGNS = "signs"


def run_one(key: str, variant: str) -> Any:
    """Facts of one variant of a case, or the row of one sign."""
    if key == _SIGNS:
        from benchmarks.hindcast.signs import sign_rows

        began = time.process_time()
        return sign_rows([variant])[0], time.process_time() - began
    from heapwright.engine.simulate import simulate

    setting = build(all_cases()[key], variant)
    run = simulate(
        setting.heap, weather=setting.weather, days=setting.days, start_h=setting.start_h,
        recipe=setting.recipe, parameters=setting.parameters, field_every_h=24.0 * setting.days,
    )  # fmt: skip
    return facts_of(run)


def run_all(
    jobs: Sequence[tuple[str, str]], *, keep: Path | None, workers: int
) -> dict[tuple[str, str], Any]:
    """Results of all jobs, by job; those kept from before with the same code are not run again."""
    found: dict[tuple[str, str], Any] = {}
    stamp = _stamp()
    for job in jobs:
        place = _place(keep, job, stamp)
        if place is not None and place.exists():
            found[job] = pickle.loads(place.read_bytes())
    with ProcessPoolExecutor(workers) as pool:
        waiting = {pool.submit(run_one, *job): job for job in jobs if job not in found}
        for future in as_completed(waiting):
            job = waiting[future]
            found[job] = future.result()
            place = _place(keep, job, stamp)
            if place is not None:
                place.write_bytes(pickle.dumps(found[job]))
            print(f"{len(found)}/{len(jobs)} {job[0]} {job[1]}", flush=True)
    return found


def _stamp() -> str:
    """Changes when anything changes that a run depends on."""
    root = Path(heapwright.__file__).parent
    parts = [*root.glob("engine/**/*.py"), *root.glob("science/**/*.*"), *root.glob("domain/*.py")]
    here = Path(__file__).parent
    parts += [here / f"{name}.py" for name in ("cases", "measures", "signs")]
    parts += here.glob("cases/*.toml")
    sha = hashlib.sha256()
    for path in sorted(p for p in parts if p.suffix in (".py", ".toml")):
        sha.update(path.read_bytes())
    return sha.hexdigest()[:12]


def _place(keep: Path | None, job: tuple[str, str], stamp: str) -> Path | None:
    if keep is None:
        return None
    keep.mkdir(parents=True, exist_ok=True)
    name = "".join(c if c.isalnum() else "-" for c in "-".join(job))
    return keep / f"{name}-{stamp}.pickle"


def jobs_of(cases: dict[str, Case], only: Sequence[str]) -> list[tuple[str, str]]:
    """Jobs, the costly ones first."""
    from benchmarks.hindcast.signs import SIGNS

    wanted = [k for k in cases if not only or k in only]
    jobs = [(k, v) for k in wanted for v in cases[k].variants]
    jobs.sort(key=lambda job: -_cost(cases[job[0]], job[1]))
    if not only or _SIGNS in only:
        jobs += [(_SIGNS, name) for name in SIGNS]
    return jobs


def _cost(case: Case, variant: str) -> float:
    setting = build(case, variant)
    return setting.heap.mesh().count * setting.days


def result_of(cases: dict[str, Case], found: dict[tuple[str, str], Any]) -> dict[str, Any]:
    """What is written to hindcast.json."""
    from benchmarks.hindcast import chamber

    rows: list[dict[str, Any]] = []
    spread: list[dict[str, Any]] = []
    runs: list[dict[str, Any]] = []
    for case in cases.values():
        facts: dict[str, Facts] = {v: found[case.key, v] for v in case.variants}
        rows += rows_of(case, facts)
        spread += [
            {"case": case.title, "quantity": q, "unit": u, "heights_m": [3.0, 4.0, 5.0],
             "model": m} for q, u, m in spread_of(case, facts)
        ]  # fmt: skip
        runs += [
            {"case": case.title, "variant": v, "days": case.days, "cells": f.cells,
             "steps": f.steps, "cpu_s": round(f.cpu_s, 1),
             "balance_errors": {k: float(f"{e:.2g}") for k, e in f.errors.items()}}
            for v, f in facts.items()
        ]  # fmt: skip
    rows += chamber.rows()
    signs = [found[job] for job in found if job[0] == _SIGNS]
    rows += [row for row, _ in signs]
    runs.append({"case": _SIGNS, "cpu_s": round(sum(cpu for _, cpu in signs), 1)})
    return {
        "version": heapwright.__version__, "machine": machine(),
        "date": datetime.now(UTC).date().isoformat(), "parameter_hash": parameter_hash(),
        "tolerance_rule": RULE, "kinetics": "group curves", "score": tally(rows), "rows": rows,
        "spread": spread, "runs": runs,
    }  # fmt: skip


def machine() -> str:
    """Processor, how many of it, system and Python."""
    import os

    model = platform.processor() or platform.machine()
    told = Path("/proc/cpuinfo")
    if told.exists():
        names = [x for x in told.read_text(encoding="utf-8").splitlines() if "model name" in x]
        model = names[0].partition(":")[2].strip() if names else model
    return (
        f"{model}, {os.cpu_count()} processors, {platform.system()}, Python "
        f"{platform.python_version()}"
    )


def main(argv: Sequence[str] | None = None) -> None:
    """Run, write, say the score."""
    from benchmarks.hindcast import figures, page

    parser = argparse.ArgumentParser(prog="python -m benchmarks.hindcast")
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--keep", type=Path, default=None)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--page", action="store_true")
    told = parser.parse_args(argv)
    if told.page:
        page.write(json.loads(RESULT.read_text(encoding="utf-8")))
        return
    cases = all_cases()
    found = run_all(jobs_of(cases, told.only), keep=told.keep, workers=told.workers)
    if told.only:
        chosen = {k: c for k, c in cases.items() if k in told.only}
        rows = [r for c in chosen.values()
                for r in rows_of(c, {v: found[c.key, v] for v in c.variants})]  # fmt: skip
        rows += [found[job][0] for job in found if job[0] == _SIGNS]
        for row in rows:
            print(page.line(row))
        return
    result = result_of(cases, found)
    RESULT.write_text(json.dumps(result, indent=1) + "\n", encoding="utf-8")
    figures.draw(cases, found, result)
    page.write(result)
    s = result["score"]
    print(
        f"{s['inside']} of {s['counted']} counted quantities inside; "
        f"{s['comparisons_held']} of {s['comparisons']} comparisons hold"
    )


if __name__ == "__main__":
    main()
