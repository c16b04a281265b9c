"""The committed study: what it must show, its page, and a short run of the same code beside it."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from benchmarks.study.__main__ import RESULT, method_rows
from benchmarks.study.page import PAGE, filled
from benchmarks.study.rounds import rounds_rows

HALF_WIDTH_C = {1: 13.4, 2: 9.3, 3: 7.6, 4: 6.5}


@pytest.fixture(scope="module")
def result() -> dict[str, Any]:
    return json.loads(RESULT.read_text(encoding="utf-8"))


def rows_of(result: dict[str, Any], method: str, sigma: object = "U(3,6)") -> list[dict[str, Any]]:
    return [r for r in result["rows"] if r["method"] == method and r["sigma"] == sigma]


def test_page_is_made_from_the_result(result: dict[str, Any]) -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert filled(text, result) == text
    assert all(r["trials"] >= 10_000 for r in result["rows"])
    assert result["minutes"] < 20


@pytest.mark.parametrize("method", ["contrast", "contrast, from readings"])
def test_the_contrast_keeps_its_promise(result: dict[str, Any], method: str) -> None:
    rows = rows_of(result, method)
    assert [r["heaps_per_way"] for r in rows] == [1, 2, 3, 4]
    for row in rows:
        # 0.94-0.965, with the simulation's own error (0.002) on top
        assert 0.938 <= row["coverage"] <= 0.967
        assert row["half_width_c"] == pytest.approx(HALF_WIDTH_C[row["heaps_per_way"]], rel=0.03)


def test_the_covariate_line_holds(result: dict[str, Any]) -> None:
    rows = rows_of(result, "covariate")
    assert {r["correlation"] for r in rows} >= {-0.4, 0.0, 0.5}
    assert all(0.93 <= r["coverage"] <= 0.985 for r in rows)


def test_naive_methods_find_what_is_not_there(result: dict[str, Any]) -> None:
    naive = [r for r in result["rows"] if r["method"].startswith("naive: ")]
    assert len({r["method"] for r in naive}) >= 4
    assert all(r["false_positive"] > 0.25 for r in naive)


def test_the_weak_spots_are_printed(result: dict[str, Any]) -> None:
    for row in rows_of(result, "contrast", 8.0):
        assert 0.74 < row["coverage"] < 0.89
    twice = rows_of(result, "contrast, one way spreads twice as far")
    assert len(twice) == 3
    assert all(r["coverage"] < 0.94 for r in twice)


def test_a_short_run_agrees_with_the_stored_one(result: dict[str, Any]) -> None:
    for new, old in zip(rounds_rows(np.random.default_rng(77), 500), result["rounds"], strict=True):
        assert (new["rounds"], new["spot_sd_c"]) == (old["rounds"], old["spot_sd_c"])
        for key in (k for k in old if k.startswith("naive")):
            assert new[key] == pytest.approx(old[key], abs=0.1)
    short = method_rows(np.random.default_rng(78), 300)
    for new, old in zip(short, result["rows"], strict=True):
        assert (new["method"], new["sigma"]) == (old["method"], old["sigma"])
        assert new["half_width_c"] == pytest.approx(old["half_width_c"], rel=0.12)
        assert new["coverage"] == pytest.approx(old["coverage"], abs=0.12)
