"""Benchmark B1: the statement in code, the peers that need only scipy, the engine, and the page."""

from __future__ import annotations

import importlib
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heapwright.engine.b1 import GRIDS, run_b1
from heapwright.engine.kernels.flow import bridged

BENCHMARKS = Path(__file__).parents[2] / "benchmarks"
RESULT = BENCHMARKS / "results" / "b1.json"
KEYS = {
    "solver", "cells", "permeability_m2", "cpu_s_per_day", "core_48h_c", "core_240h_c", "peak_mb",
}  # fmt: skip


def _module(name: str) -> Any:
    if str(BENCHMARKS) not in sys.path:
        sys.path.append(str(BENCHMARKS))
    return importlib.import_module(name)


@pytest.fixture(scope="module")
def result() -> dict[str, Any]:
    stored: dict[str, Any] = json.loads(RESULT.read_text(encoding="utf-8"))
    return stored


def _some_state(grid: Any) -> tuple[Any, ...]:
    rng = np.random.default_rng(3)
    limits = (10.0, 70.0), (0.01, 0.2), (1.0, 6.0)
    return tuple(rng.uniform(low, high, grid.shape) for low, high in limits)


def test_the_method_of_lines_has_the_right_side_that_is_stated() -> None:
    problem, bdf = _module("b1_problem"), _module("b1_peers.scipy_bdf")
    grid = problem.Grid("tiny", 5, 4, 3, 0.1, 600.0)
    lines = bdf.Lines(grid, 1e-8)
    state = _some_state(grid)
    flux = lines.flux(state[0])
    assert np.abs(problem.outflow(flux)).max() < 1e-12 * np.abs(flux.z).max() + 1e-18
    got = lines(0.0, np.concatenate([f.ravel() for f in state])).reshape(3, *grid.shape)
    for one, stated in zip(got, problem.rates(grid, state, flux), strict=True):
        assert one == pytest.approx(stated, rel=1e-9, abs=1e-18)


def test_the_jacobian_is_the_slope_of_the_right_side_at_a_given_flow() -> None:
    problem, bdf = _module("b1_problem"), _module("b1_peers.scipy_bdf")
    grid = problem.Grid("tiny", 5, 4, 3, 0.1, 600.0)
    lines = bdf.Lines(grid, 1e-8)
    state = _some_state(grid)
    flux = lines.flux(state[0])
    flat = np.concatenate([f.ravel() for f in state])
    slope = lines.jacobian(0.0, flat).toarray()

    def right(at: Any) -> Any:
        rates = problem.rates(grid, tuple(at.reshape(3, *grid.shape)), flux)
        return np.concatenate([f.ravel() for f in rates])

    for column in range(0, flat.size, 7):
        h = 1e-5 * flat[column]
        up, down = flat.copy(), flat.copy()
        up[column] += h
        down[column] -= h
        numeric = (right(up) - right(down)) / (2 * h)
        assert slope[:, column] == pytest.approx(numeric, rel=1e-4, abs=1e-9 * abs(numeric).max())


@pytest.mark.parametrize("permeability", [1e-8, 1e-7])
def test_the_engine_agrees_with_the_splitting_of_scipy(permeability: float) -> None:
    problem, splitting = _module("b1_problem"), _module("b1_peers.scipy_splitting")
    peer = splitting.run(problem.GRIDS["2k"], permeability, days=2, way="lu")
    own = run_b1("2k", permeability, days=2)
    assert own["core_48h_c"] == pytest.approx(peer["core_48h_c"], abs=0.1)
    assert own["s_mean"] == pytest.approx(peer["s_mean"], rel=2e-3)
    assert own["y_low"] == pytest.approx(peer["y_low"], abs=3e-3)


def test_both_sides_have_the_same_grids() -> None:
    grids = _module("b1_problem").GRIDS
    assert {n: (g.nx, g.ny, g.nz, g.dx, g.dt_s) for n, g in grids.items()} == GRIDS


def test_bridged_runs_hold_all_cells_and_only_short_gaps() -> None:
    runs = np.array([[5, 9], [11, 15], [18, 20], [20, 22]], dtype=np.uint64)
    assert bridged(runs, 2).tolist() == [[5, 15], [18, 22]]
    assert bridged(runs, 3).tolist() == [[5, 22]]
    assert bridged(runs).dtype == np.uint64


def test_kept_days_are_the_state_of_those_days() -> None:
    kept = run_b1("2k", days=2, keep_days=(1,))["kept"]
    alone = run_b1("2k", days=1, keep_days=(1,))["kept"]
    assert list(kept) == [1]
    for a, b in zip(kept[1], alone[1], strict=True):
        assert a.shape == (8, 16, 16)
        assert np.array_equal(a, b)


def test_the_page_is_made_from_the_result(result: dict[str, Any]) -> None:
    pages = _module("b1_pages")
    text = pages.PAGE.read_text(encoding="utf-8")
    assert pages.page(text, result) == text, "stale; run: python benchmarks/b1.py --pages"
    assert "../images/benchmark-b1.svg" in text
    assert pages.FIGURE.is_file()


def test_the_result_has_every_case(result: dict[str, Any]) -> None:
    assert {"version", "machine", "date", "method"} <= set(result)
    cases = set()
    for row in [*result["rows"], *result["also"]]:
        assert set(row) == KEYS
        assert row["cpu_s_per_day"] > 0
        assert row["peak_mb"] > 20
        cases.add((row["solver"], row["cells"], row["permeability_m2"]))
    for solver in ("heapwright", "scipy splitting", "solve_ivp BDF", "FiPy"):
        assert {(solver, 6912, 1e-8), (solver, 6912, 1e-7)} <= cases
        assert solver == "solve_ivp BDF" or (solver, 32000, 1e-8) in cases
    assert {("heapwright", 2048, 1e-8), ("heapwright", 108000, 1e-8)} <= cases
    assert {r["solver"] for r in result["rows"]} == {
        "heapwright", "scipy splitting", "solve_ivp BDF", "FiPy"
    }  # fmt: skip


def test_the_aims_that_the_page_says_are_held_are_held(result: dict[str, Any]) -> None:
    pages = _module("b1_pages")
    others = [f for f in pages.FLOORS if f[0] != "scipy splitting"]
    assert len(others) == 3
    for solver, cells, floor in others:
        assert min(pages.kindest(result, solver, cells)) >= floor
    for check in result["checks"]:
        assert all(abs(gap) <= 0.1 for gap in check["engine_minus_peer_c"].values())
    assert all(r["peak_mb"] < 250 for r in result["rows"] if r["solver"] == "heapwright")


def test_the_engine_is_twenty_times_as_fast_as_the_splitting(result: dict[str, Any]) -> None:
    pages = _module("b1_pages")
    floors = [f for f in pages.FLOORS if f[0] == "scipy splitting"]
    assert floors
    assert all(min(pages.kindest(result, s, cells)) >= floor for s, cells, floor in floors)


def test_every_case_was_timed_in_segments_of_a_day(result: dict[str, Any]) -> None:
    pages, b1 = _module("b1_pages"), _module("b1")
    timed = {(s["solver"], s["cells"], s["permeability_m2"]): s for s in result["segments"]}
    for row in [*result["rows"], *result["also"]]:
        one = timed[row["solver"], row["cells"], row["permeability_m2"]]
        assert one["days"] == list(b1.DAYS if row["solver"] == b1.FIPY else b1.TEN)
        assert all(len(spent) == len(one["days"]) for spent in one["cpu_s"])
        assert pages.cost(one) == pytest.approx(row["cpu_s_per_day"], rel=2e-3)
    passes = {len(s["cpu_s"]) for s in result["segments"]}
    assert result["method"] == b1.method(passes.pop())
    assert not passes


def test_a_ratio_is_formed_on_the_days_that_the_peer_ran() -> None:
    pages = _module("b1_pages")
    case = {"cells": 6912, "permeability_m2": 1e-8}
    own = {"solver": "heapwright", "days": [1, 2, 3], "cpu_s": [[3, 1, 2], [4, 2, 1], [9, 9, 9]]}
    peer = {"solver": "FiPy", "days": [1, 3], "cpu_s": [[30.0, 20.0]]}
    result = {"segments": [own | case, peer | case]}
    row = {"solver": "FiPy"} | case
    assert pages.cost(own) == pytest.approx(7 / 3)
    assert pages.cost(own, [1, 3]) == pytest.approx(2.5)
    assert pages.ratio(result, row) == pytest.approx(25 / 2.5)
    assert pages.ratio(result, row, 3) == pytest.approx(20 / 2)


def test_the_kinder_of_the_two_ways_of_bdf_counts() -> None:
    pages = _module("b1_pages")
    case = {"cells": 6912, "permeability_m2": 1e-8}
    spent = {pages.ENGINE: 1.0, pages.BDF: 80.0, pages.RESTARTED: 70.0}
    parts = [{"solver": n, "days": [1], "cpu_s": [[v]]} | case for n, v in spent.items()]
    rows = [{"solver": n} | case for n in spent]
    result = {"segments": parts, "rows": rows[:2], "also": rows[2:]}
    assert pages.kindest(result, pages.BDF, 6912) == [70.0]


def test_bdf_begun_anew_each_day_gives_the_same_answer() -> None:
    problem, bdf = _module("b1_problem"), _module("b1_peers.scipy_bdf")
    grid = problem.Grid("tiny", 6, 6, 4, 0.2, 600.0)
    through, anew = (bdf.run(grid, 1e-8, days=2, anew=a) for a in (False, True))
    assert anew["core_48h_c"] == pytest.approx(through["core_48h_c"], abs=0.05)
    assert len(anew["cpu_s_by_day"]) == len(through["cpu_s_by_day"]) == 2
    assert np.array_equal(anew["hours"], through["hours"])


def test_the_engine_of_now_gives_the_stored_cores(result: dict[str, Any]) -> None:
    row = next(r for r in result["rows"] if (r["solver"], r["cells"]) == ("heapwright", 2048))
    assert run_b1("2k")["core_240h_c"] == pytest.approx(row["core_240h_c"], abs=0.02)
