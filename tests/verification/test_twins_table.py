"""The stored twin trials: whole, summed up rightly, and as the page says."""

from __future__ import annotations

import json

import pytest
from benchmarks.twins.__main__ import RESULT, summary
from benchmarks.twins.page import in_page, table
from benchmarks.twins.truth import kind_of, main_cause

MADE = json.loads(RESULT.read_text(encoding="utf-8"))
ROWS = MADE["rows"]
KEYS = {
    "case", "rmse_c", "persistence_rmse_c", "cooling_rmse_c", "coverage80", "true_cause",
    "first_cause", "margin_c",
}  # fmt: skip


def test_all_pairs_are_there_with_all_that_is_asked() -> None:
    assert [r["seed"] for r in ROWS] == list(range(1, 25))
    assert all(set(r) >= KEYS and r["origins"] >= 10 for r in ROWS)


def test_kinds_are_as_they_should_be() -> None:
    kinds = [kind_of(r["seed"]) for r in ROWS]
    assert [kinds.count(k) for k in ("none", "known", "other")] == [6, 9, 9]
    for row, kind in zip(ROWS, kinds, strict=True):
        shares = row["true_shares_c"]
        if kind == "none":
            assert max(abs(s) for s in shares.values()) < 2.0
        else:
            assert main_cause(shares)[0] == row["true_cause"]
            assert (row["true_cause"] == row["known_difference"]) == (kind == "known")


def test_the_summary_is_that_of_the_rows_and_the_page_that_of_the_file() -> None:
    assert MADE["summary"] == summary(ROWS)
    assert in_page() == table(MADE)


@pytest.mark.parametrize("key", ["pooled_rmse_c", "coverage80", "right_first"])
def test_the_summary_names_what_is_asked(key: str) -> None:
    assert key in MADE["summary"]
