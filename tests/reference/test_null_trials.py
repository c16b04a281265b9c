"""Ten thousand trials without any effect, one heap each: how often the findings lean.

The bound is the 5 % of a 95 % interval with the simulation's own error on top: 5.5 %.
"""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.stats.claims import CANNOT_TELL, LEANS, claim
from heapwright.stats.compare import compare
from heapwright.stats.contrast import informed_contrast
from heapwright.stats.naive import heap_means, null_readings, null_trial, round_anova_p, t_test_p
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.series import HeapSeries, excess_series, heap_value

TRIALS = 10_000


def claims_of(means: np.ndarray) -> list[str]:
    prior, said = SpreadPrior.published(), []
    for a, b in means:
        at95 = informed_contrast({"a": [a], "b": [b]}, "b", "a", prior)
        said.append(claim(1, 1, at95, at95.at_level(0.8), 5.0))
    return said


@pytest.mark.reference(source="nominal level of a 95 % interval", where="one heap each")
def test_one_heap_each_never_wins_and_seldom_leans() -> None:
    excess, _, sigma = null_readings(np.random.default_rng(41), TRIALS)
    said = claims_of(heap_means(excess))
    assert len(said) == TRIALS
    assert set(said) == {LEANS, CANNOT_TELL}
    assert said.count(LEANS) <= 0.055 * TRIALS
    assert 3 <= sigma.min() < sigma.max() <= 6


@pytest.mark.reference(source="nominal level of a 95 % interval", where="sigma of heap means")
def test_leans_hold_the_level_when_sigma_is_that_of_the_heap_means() -> None:
    rng = np.random.default_rng(42)
    sd = np.sqrt(rng.uniform(3, 6, TRIALS) ** 2 + SpreadPrior.published().va)
    said = claims_of(rng.normal(size=(TRIALS, 2)) * sd[:, None])
    assert set(said) == {LEANS, CANNOT_TELL}
    # coverage .955 in the simulation study
    assert said.count(LEANS) / TRIALS == pytest.approx(0.045, abs=0.009)


@pytest.mark.parametrize("seed", range(12))
def test_the_short_way_is_the_way_of_the_findings(seed: int) -> None:
    """Reading rows, through alignment and findings, give the value and claim of the short way."""
    log = null_trial(seed)
    values: dict[str, dict[str, float]] = {}
    for heap, way in log.ways.items():
        rows = [r for r in log.readings if r[0] == heap]
        spots = {
            s: ([r[2] for r in rows if r[1] == s], [r[3] for r in rows if r[1] == s])
            for s in sorted({r[1] for r in rows})
        }
        air = ([r[2] for r in rows], [r[4] for r in rows])
        series = excess_series(HeapSeries.of(heap, spots), air, window=(3, 60))
        value = heap_value(series, (3, 60)).value
        assert value == pytest.approx(log.heap_mean_c[heap], abs=1e-9)
        values.setdefault(way, {})[heap] = value
    found = compare("mean_excess_c", values, "left alone", matters=5.0, ended=True)
    short = claims_of(np.array([[log.heap_mean_c["A"], log.heap_mean_c["B"]]]))
    assert [c.claim for c in found] == short


@pytest.mark.reference(source="the project's own simulation study", where="naive analyses")
def test_plain_analyses_find_effects_that_are_not_there() -> None:
    excess, _, _ = null_readings(np.random.default_rng(43), 2000)
    t_test = float((t_test_p(excess) < 0.05).mean())
    anova = float((round_anova_p(excess) < 0.05).mean())
    assert 0.49 <= t_test <= 0.70
    assert 0.81 <= anova <= 0.89
