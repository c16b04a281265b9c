"""A finding must not depend on the order of rows, the names of heaps, or the unit on screen."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heapwright.stats.compare import Comparison, compare
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.series import HeapSeries, excess_series, heap_value
from heapwright.stats.sharing import balance, deal_buffered, deal_one_at_a_time

value = st.floats(-20, 60).map(lambda x: round(x, 2))
heaps = st.lists(value, min_size=1, max_size=4)


def find(left: list[float], turned: list[float], **more: object) -> Comparison:
    values = {
        "left": {f"A{i}": v for i, v in enumerate(left)},
        "turned": {f"B{i}": v for i, v in enumerate(turned)},
    }
    asked = {"matters": 5.0, "ended": True, **more}
    return compare("mean_excess_c", values, "left", **asked)[0]


def numbers(c: Comparison) -> list[float]:
    rows = [c.estimate, c.low, c.high, c.df]
    return rows + [x for a in c.alternatives for x in (a.low, a.high)]


@given(heaps, heaps, st.randoms(use_true_random=False))
@settings(deadline=None, max_examples=60)
def test_order_of_heaps(left: list[float], turned: list[float], random: object) -> None:
    one = find(left, turned)
    random.shuffle(left)
    random.shuffle(turned)
    two = find(left, turned)
    assert two.claim == one.claim
    assert numbers(two) == pytest.approx(numbers(one), abs=1e-9)


@given(heaps, heaps)
@settings(deadline=None, max_examples=60)
def test_names_swap_only_the_sign(left: list[float], turned: list[float]) -> None:
    one, two = find(left, turned), find(turned, left)
    assert two.claim == one.claim
    assert two.estimate == pytest.approx(-one.estimate, abs=1e-9)
    assert (two.low, two.high) == pytest.approx((-one.high, -one.low), abs=1e-9)


@given(heaps, heaps)
@settings(deadline=None, max_examples=60)
def test_unit_on_screen_changes_words_only(left: list[float], turned: list[float]) -> None:
    in_c, in_f = find(left, turned), find(left, turned, shown_in="F")
    assert numbers(in_f) == numbers(in_c)
    assert in_f.claim == in_c.claim


@given(heaps, heaps, st.floats(1.1, 20))
@settings(deadline=None, max_examples=60)
def test_unit_of_the_sums_changes_nothing_but_scale(
    left: list[float], turned: list[float], k: float
) -> None:
    one = find(left, turned)
    scaled = find(
        [k * v for v in left],
        [k * v for v in turned],
        matters=5.0 * k,
        prior=SpreadPrior(s0_c=4.0 * k, va=0.8 * k**2),
    )
    assert (scaled.low, scaled.high) == pytest.approx((k * one.low, k * one.high), abs=1e-7)


@given(heaps, heaps, st.floats(-30, 30))
@settings(deadline=None, max_examples=60)
def test_a_constant_added_to_all_heaps_changes_nothing(
    left: list[float], turned: list[float], shift: float
) -> None:
    one = find(left, turned)
    two = find([v + shift for v in left], [v + shift for v in turned])
    assert (two.low, two.high) == pytest.approx((one.low, one.high), abs=1e-7)


@given(
    st.integers(3, 12),
    st.integers(1, 4),
    st.floats(0.5, 1.0),
    st.integers(0, 10_000),
)
@settings(deadline=None, max_examples=60)
def test_row_order_and_missing_spots_in_an_additive_heap(
    rounds: int, spots: int, there: float, seed: int
) -> None:
    """Without noise, spots missing in some rounds give the heap's own curve, in any row order."""
    rng = np.random.default_rng(seed)
    days = np.arange(rounds) * 3.0
    heap = 40 - 0.3 * days + rng.normal(0, 3, rounds)
    offset = rng.normal(0, 4, spots)
    offset -= offset.mean()
    keep = rng.random((rounds, spots)) < there
    keep[:, 0] = True
    keep[0, :] = True
    by_spot = {}
    for k in range(spots):
        order = rng.permutation(np.flatnonzero(keep[:, k]))
        by_spot[f"s{k}"] = (days[order], heap[order] + offset[k])
    air = (np.arange(-7, days[-1] + 1), np.full(int(days[-1]) + 8, 10.0))
    e = excess_series(HeapSeries.of("A", by_spot), air)
    assert e.temp_c == pytest.approx(heap, abs=1e-9)
    got = heap_value(e, (0, float(days[-1]))).value
    assert heap.min() - 10 - 1e-9 <= got <= heap.max() - 10 + 1e-9


@given(st.lists(st.floats(0, 100), max_size=60), st.integers(1, 9))
@settings(deadline=None, max_examples=100)
def test_dealing_is_always_even(scores: list[float], count: int) -> None:
    names = [f"h{i}" for i in range(count)]
    for deal in (deal_buffered, deal_one_at_a_time):
        dealt = deal(scores, count)
        assert len(dealt) == len(scores)
        assert balance(scores, dealt, names).load_gap <= 1
