"""Trials without effect pushed through import and findings: the claims are those of the numbers."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from heapwright.services.findings import find
from heapwright.services.importing import import_sheet
from heapwright.services.plans import lock_plan
from heapwright.stats.claims import CANNOT_TELL, LEANS
from heapwright.stats.compare import Comparison, compare
from heapwright.stats.naive import NullTrial, null_trial
from heapwright.stats.series import HeapSeries, excess_series, heap_value
from heapwright.store.book import Book

START = datetime(2026, 3, 1, 6, tzinfo=UTC)
END = datetime(2026, 7, 1, tzinfo=UTC)
WINDOW = (3.0, 60.0)


def directly(log: NullTrial) -> Comparison:
    """The comparison from the rows themselves, without file, book or plan."""
    values: dict[str, dict[str, float]] = {}
    for heap, way in log.ways.items():
        rows = [r for r in log.readings if r[0] == heap]
        spots = {
            s: ([r[2] for r in rows if r[1] == s], [r[3] for r in rows if r[1] == s])
            for s in {r[1] for r in rows}
        }
        air = ([r[2] for r in rows], [r[4] for r in rows])
        excess = excess_series(HeapSeries.of(heap, spots), air, window=WINDOW)
        values.setdefault(way, {})[heap] = heap_value(excess, WINDOW).value
    (found,) = compare("mean_excess_c", values, sorted(values)[0], matters=8.0, ended=True)
    return found


def plan_of(log: NullTrial, name: str) -> str:
    ways = sorted(set(log.ways.values()))
    lines = [
        "[trial]", f'name = "{name}"', "starts = 2026-03-01", "[outcome]", 'window = "3-60 days"',
        "ends = 2026-06-01", 'matters = "8 C"', f'control = "{ways[0]}"',
    ]  # fmt: skip
    for way in ways:
        lines += ["[[way]]", f'name = "{way}"', 'kind = "left alone"']
    for heap, way in log.ways.items():
        lines += ["[[heap]]", f'name = "{heap}"', f'way = "{way}"', 'built = "2026-03-01 06:00"']
    return "\n".join(lines) + "\n"


def sheet_of(log: NullTrial) -> str:
    rows = ["time,heap,spot,temp C,air C"]
    for heap, spot, day, temp, air in log.readings:
        moment = START + timedelta(days=day)
        rows.append(f"{moment:%Y-%m-%d %H:%M:%S},{heap},{spot},{temp!r},{air!r}")
    return "\n".join(rows) + "\n"


def chosen() -> list[int]:
    """Forty-five seeds in order and the next five whose trial leans, so that both occur."""
    first = list(range(45))
    leaning = (s for s in itertools.count(45) if directly(null_trial(s)).claim == LEANS)
    return first + list(itertools.islice(leaning, 5))


def test_fifty_null_trials_give_the_same_claims_through_import_and_findings(
    tmp_path: Path,
) -> None:
    seeds = chosen()
    assert len(seeds) == 50
    claims = []
    with Book(tmp_path / "book.sqlite") as book:
        for seed in seeds:
            log, name = null_trial(seed), f"null {seed}"
            plan, sheet = tmp_path / f"{seed}.toml", tmp_path / f"{seed}.csv"
            plan.write_text(plan_of(log, name), encoding="utf-8")
            sheet.write_text(sheet_of(log), encoding="utf-8")
            lock_plan(book, plan, now=START - timedelta(days=2))
            import_sheet(book, sheet, name, answers={"column.air C": "air:C"}, now=END)
            (got,) = find(book, name, now=END).comparisons
            wanted = directly(log)
            assert got.claim == wanted.claim
            assert got.estimate == pytest.approx(wanted.estimate, abs=1e-9)
            assert (got.low, got.high) == pytest.approx((wanted.low, wanted.high), abs=1e-9)
            claims.append(got.claim)
    assert set(claims) == {LEANS, CANNOT_TELL}
    assert claims.count(LEANS) >= 5
