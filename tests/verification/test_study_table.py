"""The tables of the page on comparing fairly are those of the benchmark's result."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def naive() -> ModuleType:
    spec = importlib.util.spec_from_file_location("naive_bench", ROOT / "benchmarks" / "naive.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_page_is_made_from_the_result(naive: ModuleType) -> None:
    result = json.loads(naive.RESULT.read_text(encoding="utf-8"))
    text = naive.PAGE.read_text(encoding="utf-8")
    assert naive.page(text, result) == text
    assert result["trials"] >= 10_000


def test_result_says_what_the_page_says(naive: ModuleType) -> None:
    result = json.loads(naive.RESULT.read_text(encoding="utf-8"))
    for row in result["naive"]:
        assert row["t_test_on_readings"] > 0.4
        assert row["round_and_way_anova"] > 0.7
        assert row["contrast_leans"] < 0.07
        assert row["contrast_winner"] == 0
    for row in result["coverage"]:
        if row["sigma_c"] == "3 to 6":
            assert row["informed_coverage"] == pytest.approx(0.95, abs=0.01)
        else:
            assert 0.74 < row["informed_coverage"] < 0.89


def test_a_short_run_agrees_with_the_stored_one(naive: ModuleType) -> None:
    stored = json.loads(naive.RESULT.read_text(encoding="utf-8"))["naive"]
    rows = naive.naive_rows(np.random.default_rng(77), 500)
    for new, old in zip(rows, stored, strict=True):
        assert new["rounds"] == old["rounds"]
        for key in ("t_test_on_readings", "round_and_way_anova"):
            assert new[key] == pytest.approx(old[key], abs=0.1)
