"""The spread between heaps from the keeper's own earlier trials; all of them INVENTED."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from tests.flow.commands import Command
from tests.flow.test_together import END, fill

from heapwright.errors import InputError, NotEnoughError
from heapwright.services.findings import assumed_spread, find
from heapwright.services.record import load_record
from heapwright.services.spread import spread_of
from heapwright.stats.naive import null_trial
from heapwright.store.book import Book


@pytest.fixture
def book(tmp_path: Path) -> str:
    path = tmp_path / "ours.sqlite"
    fill(path, 3, each=2, trial="First")
    fill(path, 4, each=3, trial="Second")
    fill(path, 5, each=1, trial="Single")
    return str(path)


def test_pooled_within_ways(book: str) -> None:
    with Book(book) as opened:
        found = spread_of(opened, ["First", "Second", "Single"], now=END)
    squares, df = 0.0, 0
    for seed, each in ((3, 2), (4, 3)):
        log = null_trial(seed, heaps_per_way=each)
        for way in ("left alone", "turned"):
            values = [log.heap_mean_c[h] for h, w in log.ways.items() if w == way]
            squares += float(np.var(values) * len(values))
            df += len(values) - 1
    assert found.prior.nu0 == df == 6
    assert found.prior.s0_c == pytest.approx(np.sqrt(squares / df - 0.8), abs=1e-6)
    assert [name for name, _ in found.left_out] == ["Single"]
    assert "like these" in found.sentence


def test_the_lines_for_the_next_plan_are_what_is_assumed_then(
    book: str, tmp_path: Path, command: Command
) -> None:
    code, out, err = command("plan", "spread", "First", "Second", "--book", book, "--json")
    assert code == 0, err
    said = json.loads(out)
    spread, worth = (line.split(" = ")[1] for line in said["lines"])
    other = fill(tmp_path / "next.sqlite", 8, each=2, spread=spread, spread_worth=worth)
    with Book(other) as opened:
        prior = assumed_spread(load_record(opened, "Trial 8"))
        found = find(opened, "Trial 8", now=END)
    assert prior.nu0 == 6
    assert prior.s0_c == pytest.approx(said["s0_c"], abs=0.05)
    assert found.comparisons[0].df == 6 + 4 - 2
    assert found.record.plan.locked.parts()["spread_worth"] == 6


def test_a_plan_without_the_key_keeps_its_fingerprint(tmp_path: Path) -> None:
    with Book(fill(tmp_path / "a.sqlite", 8)) as opened:
        parts = load_record(opened, "Trial 8").plan.locked.parts()
    assert "spread_worth" not in parts


def test_refusals(book: str) -> None:
    with Book(book) as opened:
        with pytest.raises(NotEnoughError, match="one heap of each way"):
            spread_of(opened, ["Single"], now=END)
        with pytest.raises(InputError, match="twice"):
            spread_of(opened, ["First", "first"], now=END)
        with pytest.raises(NotEnoughError, match="not ended"):
            spread_of(opened, ["First"], now=datetime(2026, 4, 1, tzinfo=UTC))
