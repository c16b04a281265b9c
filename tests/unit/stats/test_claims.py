"""What may be claimed: the whole vocabulary and the edges between its words."""

from __future__ import annotations

import pytest

from heapwright.errors import QuantityError
from heapwright.stats.claims import CLAIMS, claim, so_far
from heapwright.stats.contrast import Interval


def at(low: float, high: float) -> Interval:
    return Interval((low + high) / 2, 1.0, 12.0, low, high, 0.95, "")


@pytest.mark.parametrize(
    ("ninety_five", "eighty", "said"),
    [
        ((5.1, 12), (6, 11), "enough to matter"),
        ((-12, -5.1), (-11, -6), "enough to matter"),
        ((5.0, 12), (6, 11), "real, perhaps too small"),
        ((0.1, 12), (2, 10), "real, perhaps too small"),
        ((0.1, 2), (0.3, 1.8), "real, perhaps too small"),
        ((-4.9, 4.9), (-3, 3), "too small to matter"),
        ((-1, 4.9), (0.2, 4), "too small to matter"),
        ((-5.0, 4.9), (-3, 3), "cannot tell"),
        ((-1, 12), (0.1, 10), "leans"),
        ((-12, 1), (-10, -0.1), "leans"),
        ((-2, 12), (0.0, 10), "cannot tell"),
        ((-9, 9), (-6, 6), "cannot tell"),
    ],
)
def test_two_heaps_or_more(
    ninety_five: tuple[float, float], eighty: tuple[float, float], said: str
) -> None:
    assert claim(2, 3, at(*ninety_five), at(*eighty), 5.0) == said
    assert said in CLAIMS


@pytest.mark.parametrize(("n_way", "n_control"), [(1, 1), (1, 4), (4, 1)])
def test_a_single_heap_never_wins(n_way: int, n_control: int) -> None:
    assert claim(n_way, n_control, at(50, 60), at(52, 58), 5.0) == "leans"
    assert claim(n_way, n_control, at(-1, 60), at(5, 50), 5.0) == "cannot tell"
    # nothing is "too small to matter" either
    assert claim(n_way, n_control, at(-1, 1), at(-0.5, 0.5), 5.0) == "cannot tell"


def test_a_single_heap_without_an_informed_spread_cannot_tell() -> None:
    assert claim(1, 3, at(50, 60), at(52, 58), 5.0, informed=False) == "cannot tell"
    assert claim(1, 1, None, None, 5.0) == "cannot tell"


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan"), float("inf")])
def test_what_matters_must_be_above_zero(bad: float) -> None:
    with pytest.raises(QuantityError, match=r"matters.*above 0"):
        claim(2, 2, at(1, 2), at(1, 2), bad)


def test_a_way_needs_a_heap() -> None:
    with pytest.raises(QuantityError, match="without a heap"):
        claim(0, 2, at(1, 2), at(1, 2), 5.0)


def test_before_the_end() -> None:
    assert so_far("1 September 2026") == "so far: no claim before 1 September 2026"
