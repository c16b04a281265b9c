"""Intervals and the assumed spread: what is refused, and how the pieces hang together."""

from __future__ import annotations

import math

import pytest

from heapwright.errors import InputError, NotEnoughError, QuantityError, UnknownNameError
from heapwright.stats.contrast import (
    covariate_contrast,
    informed_contrast,
    pooled_t,
    t_quantile,
    welch,
)
from heapwright.stats.prior import CovariatePrior, SpreadPrior, air_memory_d

PRIOR = SpreadPrior()


def test_defaults_are_those_of_the_value_file() -> None:
    assert SpreadPrior.published() == SpreadPrior()
    assert CovariatePrior.published() == CovariatePrior()
    assert air_memory_d() == 6.0


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf])
def test_a_spread_must_be_above_zero(bad: float) -> None:
    with pytest.raises(QuantityError, match=r"s0_c.*above 0.*usual 4"):
        SpreadPrior(s0_c=bad)


def test_a_wider_assumed_spread_widens_the_interval() -> None:
    groups = {"left": [31.2], "turned": [38.9]}
    widths = [
        informed_contrast(groups, "turned", "left", PRIOR.with_spread(s)).half_width
        for s in (3.0, 4.0, 6.0)
    ]
    assert widths == sorted(widths)
    assert widths[1] == pytest.approx(13.3669, abs=1e-4)


def test_all_ways_share_the_spread() -> None:
    two = {"left": [30.0, 32.0], "turned": [38.0, 40.0]}
    three = {**two, "vented": [20.0, 44.0]}
    narrow = informed_contrast(two, "turned", "left", PRIOR)
    wide = informed_contrast(three, "turned", "left", PRIOR)
    assert (narrow.df, wide.df) == (10, 11)
    assert wide.half_width > narrow.half_width
    assert wide.estimate == narrow.estimate == 8.0


def test_a_control_of_more_heaps_counts_for_more() -> None:
    few = informed_contrast({"a": [30.0], "b": [38.0]}, "b", "a", PRIOR)
    more = informed_contrast({"a": [30.0] * 4, "b": [38.0]}, "b", "a", PRIOR)
    assert more.se / few.se == pytest.approx(
        math.sqrt((1 + 1 / 4) / 2) * math.sqrt(8 / 11), rel=1e-12
    )


def test_pooled_needs_one_second_heap_and_welch_two() -> None:
    with pytest.raises(NotEnoughError, match="second heap"):
        pooled_t({"a": [1.0], "b": [2.0]}, "b", "a")
    assert pooled_t({"a": [1.0, 1.5], "b": [2.0]}, "b", "a").df == 1
    with pytest.raises(NotEnoughError, match="two heaps of each"):
        welch({"a": [1.0, 1.5], "b": [2.0]}, "b", "a")


def test_welch_without_any_spread_is_a_point() -> None:
    r = welch({"a": [1.0, 1.0], "b": [2.0, 2.0]}, "b", "a")
    assert (r.low, r.high, r.df) == (1.0, 1.0, 2.0)
    assert r.p_value == 0.0


def test_names_and_values_are_checked() -> None:
    groups = {"left": [30.0], "turned": [38.0]}
    with pytest.raises(UnknownNameError, match=r"way = vented.*left, turned"):
        informed_contrast(groups, "vented", "left", PRIOR)
    with pytest.raises(InputError, match="with itself"):
        informed_contrast(groups, "left", "left", PRIOR)
    with pytest.raises(NotEnoughError, match="no heap of way left"):
        informed_contrast({"left": [], "turned": [1.0]}, "turned", "left", PRIOR)
    with pytest.raises(InputError, match="finite"):
        informed_contrast({"left": [math.nan], "turned": [1.0]}, "turned", "left", PRIOR)
    with pytest.raises(InputError, match="level"):
        t_quantile(95, 10)


def test_covariate_needs_a_start_for_every_heap() -> None:
    with pytest.raises(InputError, match="common phase"):
        covariate_contrast(
            {"a": [1.0, 2.0], "b": [3.0, 4.0]}, {"a": [1.0], "b": [3.0, 4.0]}, "b", "a", PRIOR
        )


def test_even_starts_do_not_shrink_the_spread() -> None:
    """Equal starts say nothing about how heaps will differ later."""
    after = {"a": [30.0, 34.0, 27.0], "b": [38.0, 33.0, 41.0]}
    level = {"a": [40.0] * 3, "b": [40.0] * 3}
    with_start = covariate_contrast(after, level, "b", "a", PRIOR)
    without = informed_contrast(after, "b", "a", PRIOR)
    assert with_start.estimate == pytest.approx(without.estimate)
    assert with_start.half_width == pytest.approx(without.half_width, rel=0.05)


def test_levels() -> None:
    r = informed_contrast({"a": [30.0], "b": [38.0]}, "b", "a", PRIOR)
    assert r.at_level(0.8).half_width < r.half_width < r.at_level(0.99).half_width
    assert r.at_level(0.95) == r
    # the edge of the interval at the level of the chance figure is 0
    assert r.at_level(1 - r.p_value).low == pytest.approx(0, abs=1e-9)
