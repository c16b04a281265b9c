"""The comparison of ways against numbers from outside: R, printed tables, other programs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from heapwright.stats import dunnett
from heapwright.stats.contrast import covariate_contrast, informed_contrast, pooled_t, welch
from heapwright.stats.power import (
    classical_gap,
    classical_heaps,
    classical_power,
    detectable_gap,
    expected_half_width,
    explainable_gap,
    permutation_floor,
)
from heapwright.stats.prior import SpreadPrior

PRIOR = SpreadPrior()
BRUTE = "brute-force integration of the same model, and a second implementation (computed)"
LEFT, LEFT_START = [31.2, 27.5, 29.9], [44.0, 40.5, 42.2]
TURNED, TURNED_START = [38.9, 36.1, 33.0], [43.1, 45.2, 41.7]

# Dunnett 1955: strength of fabric, three of each
FABRIC = {"std": [55, 47, 48], "A": [55, 64, 64], "B": [55, 49, 52], "C": [50, 44, 41]}
# Dunnett 1955: blood counts, unequal numbers
BLOOD = {
    "control": [7.40, 8.50, 7.20, 8.24, 9.84, 8.32],
    "A": [9.76, 8.80, 7.68, 9.36],
    "B": [12.80, 9.68, 12.16, 9.20, 10.55],
}
# R datasets: PlantGrowth (Dobson 1983)
PLANTS = {
    "ctrl": [4.17, 5.58, 5.18, 6.11, 4.50, 4.61, 5.17, 4.53, 5.33, 5.14],
    "trt1": [4.81, 4.17, 4.41, 3.59, 5.87, 3.83, 6.03, 4.89, 4.32, 4.69],
    "trt2": [6.31, 5.12, 5.54, 5.50, 5.37, 5.29, 4.92, 6.15, 5.80, 5.26],
}
# R datasets: sleep (Student 1908)
SLEEP = {
    "one": [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    "two": [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
}


def against(data: dict[str, list[float]], control: str) -> list[tuple[float, float, float, float]]:
    """t, adjusted p, and Dunnett's interval of every other group."""
    others = [len(v) for k, v in data.items() if k != control]
    n0, df = len(data[control]), sum(map(len, data.values())) - len(data)
    critical = dunnett.critical_value(n0, others, df)
    rows = []
    for group in data:
        if group == control:
            continue
        r = pooled_t(data, group, control)
        t = r.estimate / r.se
        wide = r.with_critical(critical, method="Dunnett")
        rows.append((t, dunnett.adjusted_p(t, n0, others, df), wide.low, wide.high))
    return rows


@pytest.mark.reference(source=BRUTE, where="informed contrast, six digits")
@pytest.mark.parametrize(
    ("n", "estimate", "se", "df"),
    [(1, 7.700000, 5.796551, 8), (2, 8.150000, 3.810052, 10), (3, 6.466667, 2.970846, 12)],
)
def test_informed_contrast(n: int, estimate: float, se: float, df: float) -> None:
    groups = {"left": LEFT[:n], "turned": TURNED[:n]}
    r = informed_contrast(groups, "turned", "left", PRIOR)
    assert r.estimate == pytest.approx(estimate, abs=1e-6)
    assert r.se == pytest.approx(se, abs=1e-6)
    assert r.df == df


@pytest.mark.reference(source=BRUTE, where="informed intervals, six digits")
@pytest.mark.parametrize(
    ("n", "low", "high"), [(1, -5.666870, 21.066870), (2, -0.339326, 16.639326)]
)
def test_informed_interval(n: int, low: float, high: float) -> None:
    r = informed_contrast({"left": LEFT[:n], "turned": TURNED[:n]}, "turned", "left", PRIOR)
    assert r.low == pytest.approx(low, abs=1e-6)
    assert r.high == pytest.approx(high, abs=1e-6)


def test_informed_interval_is_the_posterior_by_integration() -> None:
    """Two each: the posterior of the difference, integrated on a grid of log variance."""
    groups = {"left": LEFT[:2], "turned": TURNED[:2]}
    r = informed_contrast(groups, "turned", "left", PRIOR)
    saa = sum(float(np.var(v) * len(v)) for v in groups.values())
    log_v = np.linspace(math.log(0.5), math.log(2000), 40001)
    v = np.exp(log_v)
    # scaled inverse chi-square prior times the residual likelihood, in log variance
    scale = PRIOR.nu0 * (PRIOR.s0_c**2 + PRIOR.va)
    weight = np.exp(-(PRIOR.nu0 / 2) * log_v - scale / 2 / v - log_v - saa / 2 / v)
    weight /= weight.sum()
    from scipy.special import ndtr

    below = float(weight @ ndtr((r.low - r.estimate) / np.sqrt(v)))
    assert below == pytest.approx(0.025, abs=1e-6)


@pytest.mark.reference(source=BRUTE, where="informed contrast with covariate, six digits")
@pytest.mark.parametrize(
    ("n", "estimate", "se", "df"), [(2, 7.551787, 3.729632, 10), (3, 6.029808, 2.835443, 12)]
)
def test_covariate_contrast(n: int, estimate: float, se: float, df: float) -> None:
    groups = {"left": LEFT[:n], "turned": TURNED[:n]}
    starts = {"left": LEFT_START[:n], "turned": TURNED_START[:n]}
    r = covariate_contrast(groups, starts, "turned", "left", PRIOR)
    assert r.estimate == pytest.approx(estimate, abs=1e-6)
    assert r.se == pytest.approx(se, abs=1e-6)
    assert r.df == df


@pytest.mark.reference(source="R 4.2.2 t.test on sleep (Student 1908)", where="Welch")
def test_welch_on_sleep() -> None:
    r = welch(SLEEP, "one", "two")
    assert r.estimate / r.se == pytest.approx(-1.8608134674868526, abs=1e-10)
    assert r.df == pytest.approx(17.776473516178488, abs=1e-10)
    assert r.p_value == pytest.approx(0.07939414, abs=5e-9)
    assert r.low == pytest.approx(-3.3654832307, abs=5e-10)
    assert r.high == pytest.approx(0.2054832307, abs=5e-10)


@pytest.mark.reference(
    source="own adaptive quadrature (computed), R multcomp 1.4-22 and Dunnett 1955",
    where="fabric strength",
)
def test_dunnett_on_fabric() -> None:
    rows = against(FABRIC, "std")
    assert [r[0] for r in rows] == pytest.approx([3.0907, 0.5620, -1.4049], abs=5e-5)
    assert [r[1] for r in rows] == pytest.approx([0.036622, 0.896476, 0.409159], abs=1e-5)
    assert dunnett.critical_value(3, [3, 3, 3], 8) == pytest.approx(2.879654, abs=1e-5)
    assert (rows[0][3] - rows[0][2]) / 2 == pytest.approx(10.2488, abs=1e-4)


@pytest.mark.reference(source="R multcomp 1.4-22; Dunnett 1955", where="blood counts")
def test_dunnett_on_blood_counts() -> None:
    rows = against(BLOOD, "control")
    assert [r[0] for r in rows] == pytest.approx([0.85703, 3.69375], abs=5e-6)
    assert [r[1] for r in rows] == pytest.approx([0.6201, 0.0058], abs=5e-5)
    # multcomp integrates by Monte Carlo: its printed intervals carry about 1e-3
    assert rows[0][2:] == pytest.approx((-1.2564, 2.5564), abs=2e-3)
    assert rows[1][2:] == pytest.approx((0.8396, 4.4164), abs=2e-3)


@pytest.mark.reference(
    source="own quadrature (computed) and R multcomp 1.4-22", where="recovery, 20/3/3/15 patients"
)
def test_dunnett_on_recovery() -> None:
    n0, others, df = 20, [3, 3, 15], 37
    assert dunnett.critical_value(n0, others, df) == pytest.approx(2.48858, abs=1.5e-5)
    p = [dunnett.adjusted_p(t, n0, others, df) for t in (-1.33019, -4.65565, -1.88372)]
    assert p == pytest.approx([0.45593, 0.00012, 0.18201], abs=5e-5)
    one_sided = [dunnett.adjusted_p(t, n0, others, df, two_sided=False) for t in (1.33019, 1.88372)]
    assert one_sided == pytest.approx([0.24123, 0.09253], abs=5e-4)
    less = dunnett.critical_value(n0, others, df, two_sided=False)
    assert less == pytest.approx(2.18269, abs=5e-4)


@pytest.mark.reference(
    source="own quadrature (computed) and R multcomp 1.4-22", where="PlantGrowth"
)
def test_dunnett_on_plant_growth() -> None:
    rows = against(PLANTS, "ctrl")
    assert [r[0] for r in rows] == pytest.approx([-1.33079, 1.77200], abs=5e-6)
    assert [r[1] for r in rows] == pytest.approx([0.322696, 0.153484], abs=1e-5)
    assert rows[0][2:] == pytest.approx((-1.02155, 0.27955), abs=5e-4)
    assert rows[1][2:] == pytest.approx((-0.15655, 1.14454), abs=5e-4)


@pytest.mark.reference(source="scipy.stats.dunnett (quasi Monte Carlo)", where="live, all three")
@pytest.mark.parametrize(
    ("data", "control"), [(FABRIC, "std"), (BLOOD, "control"), (PLANTS, "ctrl")]
)
def test_dunnett_against_scipy(data: dict[str, list[float]], control: str) -> None:
    from scipy import stats

    theirs = stats.dunnett(
        *[v for k, v in data.items() if k != control], control=data[control], rng=1
    )
    ours = [row[1] for row in against(data, control)]
    assert ours == pytest.approx(list(theirs.pvalue), abs=5e-4)


@pytest.mark.reference(
    source="own quadrature (computed); two-sided 5 % points, correlation 0.5", where="four digits"
)
@pytest.mark.parametrize(
    ("df", "points"),
    [
        (8, (2.3060, 2.6728, 2.8797, 3.0227)),
        (10, (2.2281, 2.5683, 2.7590, 2.8905)),
        (12, (2.1788, 2.5024, 2.6829, 2.8071)),
        (16, (2.1199, 2.4238, 2.5923, 2.7079)),
    ],
)
def test_dunnett_critical_values(df: int, points: tuple[float, ...]) -> None:
    ours = [dunnett.critical_value(2, [2] * k, df) for k in (1, 2, 3, 4)]
    assert ours == pytest.approx(points, abs=6e-5)


@pytest.mark.reference(
    source="R 4.2.2 power.t.test, strict (computed); Cohen 1988 from memory", where="80 %, 5 %"
)
@pytest.mark.parametrize(("n", "gap"), [(2, 5.65349), (3, 3.07089)])
def test_classical_gap_with_both_sides_counted(n: int, gap: float) -> None:
    assert classical_gap(n, 1.0) == pytest.approx(gap, abs=6e-6)


@pytest.mark.reference(source="R 4.2.2 power.t.test, one side counted", where="delta/sd at 80 %")
@pytest.mark.parametrize(
    ("n", "gap"), [(2, 5.653515), (3, 3.070910), (4, 2.380759), (5, 2.024438), (6, 1.795547)]
)
def test_classical_gap(n: int, gap: float) -> None:
    # R leaves out the far side, which adds a little power at small n
    assert classical_gap(n, 1.0) == pytest.approx(gap, abs=3e-5)


@pytest.mark.reference(source="the project's own simulation study", where="half-widths, one digit")
def test_half_widths() -> None:
    ours = [round(expected_half_width(n), 1) for n in (1, 2, 3, 4)]
    assert ours == [13.4, 9.3, 7.6, 6.5]
    assert round(explainable_gap(1, 3), 1) == 15.5


@pytest.mark.reference(
    source="the project's own simulation study (Monte Carlo, so 0.1 C)", where="detectable gaps"
)
def test_detectable_gaps() -> None:
    ours = [detectable_gap(n) for n in (1, 2, 3, 4, 6)]
    assert ours == pytest.approx([18.8, 13.3, 10.7, 9.3, 7.5], abs=0.1)


@pytest.mark.reference(source="counting: 2 / (2n over n)", where="permutation floors")
def test_permutation_floors() -> None:
    assert [round(permutation_floor(n, n), 3) for n in (1, 2, 3, 4)] == [1.0, 0.333, 0.1, 0.029]
    assert permutation_floor(1, 3) == 0.25


@pytest.mark.reference(
    source="R power.t.test; Cohen 1988: 393, 64, 26 (from memory)", where="power of a t test"
)
def test_power_of_a_two_sample_t_test() -> None:
    assert classical_power(20, 1.0) == pytest.approx(0.868953, abs=5e-7)
    heaps = [classical_heaps(d) for d in (0.2, 0.5, 0.8)]
    assert heaps == pytest.approx([393.4057, 63.7656, 25.5246], abs=5e-5)
    gaps = [classical_gap(n, 1.0) for n in (2, 3, 4, 5, 6)]
    assert gaps == pytest.approx([5.653515, 3.070910, 2.380759, 2.024438, 1.795547], rel=1e-5)
