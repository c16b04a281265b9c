"""The stored scores of measured series: form, what they stand on, and the page made of them."""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from benchmarks.series import page
from benchmarks.series.__main__ import CASES, DATA, RESULT

STORED: dict[str, Any] = json.loads(RESULT.read_text(encoding="utf-8"))


def test_every_series_was_scored_with_its_settled_day() -> None:
    date.fromisoformat(STORED["made"])
    assert [(r["name"], r["kind"], r["fit_until"]) for r in STORED["rows"]] == [
        (name, kind, until) for name, kind, _, _, _, until, _ in CASES
    ]
    for row in STORED["rows"]:
        assert row["n"] or row["quantities"]
        assert row["assumed"]
        assert row["sources"]


def test_the_page_shows_what_is_stored() -> None:
    assert page.in_page() == page.table(STORED)


@pytest.mark.parametrize("case", CASES, ids=lambda c: c[0])
def test_what_was_not_measured_says_so_in_its_file(case: tuple[Any, ...]) -> None:
    first = (DATA / f"{case[2]}.csv").read_text(encoding="utf-8").splitlines()[0]
    word = {"reconstructed": "RECONSTRUCTED", "INVENTED": "INVENTED"}.get(case[1])
    assert word is None or word in first
    assert case[3] in (DATA / "ORIGIN.md").read_text(encoding="utf-8")


def test_the_measured_losses_are_those_of_the_published_table() -> None:
    theirs = Path(DATA.parents[1] / "hindcast" / "data").glob("forests2022*.csv")
    rows = [r.split(",") for r in next(theirs).read_text(encoding="utf-8").splitlines()[1:]]
    mine = (DATA / "chamber.csv").read_text(encoding="utf-8").splitlines()[2:]
    assert mine == [f"{week},{bag},{loss}" for week, bag, _, loss in rows]
