"""Several ways against one control: shape, limits and speed of the quadrature."""

from __future__ import annotations

import math
import time

import pytest

from heapwright.errors import InputError
from heapwright.stats import dunnett
from heapwright.stats.contrast import t_quantile


@pytest.mark.parametrize("df", [1, 2, 8.5, 40, 1000])
def test_one_way_is_the_ordinary_t(df: float) -> None:
    assert dunnett.critical_value(3, [2], df) == pytest.approx(t_quantile(0.95, df), abs=1e-5)


def test_infinite_degrees_of_freedom_are_the_normal_limit() -> None:
    # two-sided 5 % point of two normal differences correlated 0.5
    assert dunnett.critical_value(4, [4, 4], math.inf) == pytest.approx(2.2121, abs=1e-4)


def test_critical_value_and_chance_figure_agree() -> None:
    c = dunnett.critical_value(2, [3, 1, 5], 11.0, level=0.9)
    assert dunnett.adjusted_p(c, 2, [3, 1, 5], 11.0) == pytest.approx(0.1, abs=1e-7)
    one = dunnett.critical_value(2, [3, 1, 5], 11.0, level=0.9, two_sided=False)
    assert dunnett.adjusted_p(one, 2, [3, 1, 5], 11.0, two_sided=False) == pytest.approx(0.1)
    assert one < c


def test_more_ways_ask_for_more_but_less_than_bonferroni() -> None:
    values = [dunnett.critical_value(1, [1] * k, 8) for k in (1, 2, 3, 6)]
    assert values == sorted(values)
    assert values[2] < t_quantile(1 - 0.05 / 3, 8)


def test_order_of_ways_does_not_matter() -> None:
    assert dunnett.critical_value(4, [1, 2, 3], 9) == pytest.approx(
        dunnett.critical_value(4, [3, 1, 2], 9), abs=1e-12
    )


def test_against_a_plain_simulation() -> None:
    import numpy as np

    rng = np.random.default_rng(5)
    n0, ns, df, trials = 2, [1, 4], 6, 400_000
    means = [rng.normal(size=trials) / math.sqrt(n) for n in (n0, *ns)]
    s = np.sqrt(rng.chisquare(df, trials) / df)
    t = [
        abs(m - means[0]) / s / math.sqrt(1 / n + 1 / n0)
        for m, n in zip(means[1:], ns, strict=True)
    ]
    c = dunnett.critical_value(n0, ns, df)
    assert (np.maximum(*t) > c).mean() == pytest.approx(0.05, abs=0.0015)


def test_fast_enough_for_a_page() -> None:
    dunnett.critical_value(3, [2, 2], 7.25)
    took = []
    for k in range(5):
        start = time.perf_counter()
        dunnett.critical_value(3, [2, 3, 4 + k], 7.25)
        took.append(time.perf_counter() - start)
    assert min(took) < 0.05


def test_nonsense_is_refused() -> None:
    with pytest.raises(InputError, match="at least one heap"):
        dunnett.critical_value(0, [1], 8)
    with pytest.raises(InputError, match="at least one heap"):
        dunnett.adjusted_p(1.0, 1, [], 8)
    with pytest.raises(InputError, match="degrees of freedom"):
        dunnett.critical_value(1, [1], 0)
    with pytest.raises(InputError, match="degrees of freedom"):
        dunnett.critical_value(1, [1], math.nan)
    with pytest.raises(InputError, match="level"):
        dunnett.critical_value(1, [1], 8, level=95)
