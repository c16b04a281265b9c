"""Counts and shares against statsmodels' generalised linear models and printed limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm

from heapwright.stats.counted import counting_range, field_range, ratio_of_counts

SM = "statsmodels GLM with Pearson scale (reference library)"


@pytest.mark.reference(source=SM, where="log ratio, standard error, dispersion above 1")
@pytest.mark.parametrize("family", ["share", "rate"])
@pytest.mark.parametrize("seed", range(5))
def test_against_a_generalised_linear_model(family: str, seed: int) -> None:
    rng = np.random.default_rng(seed)
    exposure = rng.integers(20, 60, 7).astype(float)
    # a wide spread between heaps, so that the dispersion is above its floor of 1
    level = np.array([0.2, 0.5, 0.35, 0.6, 0.9, 0.5, 0.75])
    if family == "share":
        counts = rng.binomial(exposure.astype(int), level).astype(float)
        model = sm.GLM(
            counts / exposure, _design(), family=sm.families.Binomial(), var_weights=exposure
        )
    else:
        counts = rng.poisson(exposure * level).astype(float)
        model = sm.GLM(counts, _design(), family=sm.families.Poisson(), exposure=exposure)
    fitted = model.fit(scale="X2")
    assert fitted.scale > 1
    got = ratio_of_counts(
        {"a": counts[:4], "b": counts[4:]}, {"a": exposure[:4], "b": exposure[4:]}, "b", "a",
        family=family,  # type: ignore[arg-type]
    )  # fmt: skip
    assert got.estimate == pytest.approx(float(fitted.params[1]), rel=1e-6)
    assert got.se == pytest.approx(float(fitted.bse[1]), rel=1e-6)
    assert got.df == fitted.df_resid


def _design() -> np.ndarray:
    return np.column_stack([np.ones(7), np.repeat([0.0, 1.0], [4, 3])])


@pytest.mark.reference(
    source="Poisson limits of 10 (4.80, 18.39) and 0 (0, 3.69), as in reference/standards.md and "
    "statistical tables (from memory)",
    where="Garwood limits",
)
def test_limits_of_a_count() -> None:
    assert counting_range(10, 1, family="rate") == pytest.approx((4.795, 18.39), abs=0.005)
    assert counting_range(0, 1, family="rate") == pytest.approx((0.0, 3.689), abs=0.001)


@pytest.mark.parametrize(("hits", "out_of"), [(7, 10), (1, 30), (29, 30)])
def test_limits_of_a_share_by_their_definition(hits: int, out_of: int) -> None:
    """At each limit the chance of what was seen or more extreme is 2.5 %."""
    from scipy.stats import binom

    low, high = counting_range(hits, out_of, family="share")
    assert float(binom.sf(hits - 1, out_of, low)) == pytest.approx(0.025, abs=1e-9)
    assert float(binom.cdf(hits, out_of, high)) == pytest.approx(0.025, abs=1e-9)
    assert counting_range(0, 10, family="share")[0] == 0
    assert counting_range(10, 10, family="share")[1] == 1


def test_heaps_that_differ_widen_the_range_and_chance_alone_never_narrows_it() -> None:
    sown = {"a": [100, 100], "b": [100, 100]}
    alike = ratio_of_counts({"a": [50, 50], "b": [70, 70]}, sown, "b", "a", family="share")
    apart = ratio_of_counts({"a": [30, 70], "b": [55, 85]}, sown, "b", "a", family="share")
    assert alike.estimate == pytest.approx(apart.estimate)
    assert apart.se > 2 * alike.se
    assert alike.se == pytest.approx(math.sqrt(1 / 100 + 1 / 100 + 1 / 140 + 1 / 60))


def test_fields_that_differ_widen_the_range_of_a_mean() -> None:
    mean, low, high = field_range([10, 10, 10, 10])
    assert mean == 10
    assert high - low == pytest.approx(2 * 3.1824 * math.sqrt(10 / 4), rel=1e-4)
    wide = field_range([1, 19, 1, 19])
    assert wide[2] - wide[1] > high - low


@pytest.mark.parametrize("family", ["share", "rate"])
def test_false_findings_with_heaps_that_differ(family: str) -> None:
    """Without effect but with spread between heaps, 5 % find one (four heaps each)."""
    rng = np.random.default_rng(12)
    found, trials = 0, 1500
    exposure = np.full(8, 60.0)
    for _ in range(trials):
        if family == "share":
            counts = rng.binomial(60, rng.beta(6, 4, 8)).astype(float)
        else:
            counts = rng.poisson(60 * rng.gamma(8, 0.5 / 8, 8)).astype(float)
        one = ratio_of_counts(
            {"a": counts[:4], "b": counts[4:]}, {"a": exposure[:4], "b": exposure[4:]}, "b", "a",
            family=family,  # type: ignore[arg-type]
        )  # fmt: skip
        found += one.excludes_zero
    assert found / trials < 0.065
