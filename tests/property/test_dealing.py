"""Sharing out: whatever the loads, no heap gets more than one load more than another."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heapwright.services.deal import Deal, share_out

NOW = datetime(2026, 4, 18, 15, tzinfo=UTC)
SCORES = st.lists(st.integers(0, 100).map(float), min_size=2, max_size=60)


@pytest.fixture(scope="module")
def plans(tmp_path_factory: pytest.TempPathFactory) -> dict[int, str]:
    """Plans of 2 to 6 heaps, by number of heaps."""
    folder = tmp_path_factory.mktemp("plans")
    found = {}
    for heaps in range(2, 7):
        path: Path = folder / f"{heaps}.toml"
        path.write_text(
            '[trial]\nname = "Ferncombe"\nseed = 5\ninvented = true\n'
            + "".join(f'[[heap]]\nname = "{chr(65 + k)}"\n' for k in range(heaps))
        )
        found[heaps] = str(path)
    return found


def deal(plan: str, scores: list[float], rule: str, loads: int | None = None) -> Deal:
    return share_out(
        plan, book="/nowhere/book.sqlite", now=NOW, scores=scores, rule=rule, loads=loads
    )


@settings(max_examples=60, deadline=None)
@given(scores=SCORES, heaps=st.integers(2, 6), rule=st.sampled_from(["buffered", "one-at-a-time"]))
def test_counts_differ_by_at_most_one(
    plans: dict[int, str], scores: list[float], heaps: int, rule: str
) -> None:
    scores = (scores * heaps)[: max(len(scores), heaps)]
    made = deal(plans[heaps], scores, rule)
    assert made.balance is not None
    assert made.balance.load_gap <= 1
    assert sum(made.balance.loads.values()) == len(scores)
    for heap in made.heaps:
        mine = [x for x in made.loads if x.heap == heap]
        assert sum(x.score or 0 for x in mine) == (mine[-1].total if mine else 0)


@settings(max_examples=40, deadline=None)
@given(scores=SCORES, heaps=st.integers(2, 6))
def test_every_full_lot_gives_every_heap_one_load(
    plans: dict[int, str], scores: list[float], heaps: int
) -> None:
    made = deal(plans[heaps], scores, "buffered", loads=len(scores) + heaps)
    dealt = [x.heap for x in made.loads if x.heap is not None]
    assert len(dealt) == len(scores) // heaps * heaps
    for start in range(0, len(dealt), heaps):
        assert set(dealt[start : start + heaps]) == set(made.heaps)


@settings(max_examples=40, deadline=None)
@given(scores=SCORES, heaps=st.integers(2, 6))
def test_dealing_one_at_a_time_never_looks_ahead(
    plans: dict[int, str], scores: list[float], heaps: int
) -> None:
    scores = (scores * heaps)[: max(len(scores), heaps)]
    whole = deal(plans[heaps], scores, "one-at-a-time")
    half = len(scores) // 2
    asked = share_out(
        plans[heaps], book="/nowhere/book.sqlite", now=NOW, scores=scores[:half],
        next_score=scores[half], rule="one-at-a-time",
    )  # fmt: skip
    assert asked.next_load is not None
    assert asked.next_load.heap == whole.loads[half].heap
