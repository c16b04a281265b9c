"""Designs beyond two ways against numbers from outside, and their coverage by simulation."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from heapwright.stats import dunnett
from heapwright.stats.anova import Anova, anova
from heapwright.stats.contrast import informed_contrast, pooled_t, t_quantile
from heapwright.stats.designs import effect, interaction, paired
from heapwright.stats.estimable import contrast, means
from heapwright.stats.linear import Fit, HeapRow, fit
from heapwright.stats.manytoone import Together, many_to_one
from heapwright.stats.prior import SpreadPrior

PRIOR = SpreadPrior()
HUSKS = Path(__file__).parents[1] / "data" / "expdes_ex4_turning_interval_x_manure.csv"
REZENDE = "Rezende 2010, thesis, as shipped in R's ExpDes 1.2.2"

# Student 1908, as in R datasets: extra sleep of ten people under two drugs
SLEEP = {
    "one": [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0],
    "two": [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4],
}
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


def husks(column: str) -> Fit:
    with HUSKS.open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    rows = [
        HeapRow(
            str(i),
            float(line[column]),
            factors={"interval": line["revol"], "manure": line["esterco"]},
        )
        for i, line in enumerate(lines)
    ]
    return fit(rows, [("interval", "manure")], controls={"manure": "sem"})


def by_way(groups: dict[str, list[float]]) -> list[HeapRow]:
    return [HeapRow(f"{w}{i}", v, w) for w, vs in groups.items() for i, v in enumerate(vs)]


def sleep_rows() -> list[tuple[str, str, float]]:
    return [(str(i), way, v) for way, vs in SLEEP.items() for i, v in enumerate(vs)]


# -- the 24-heap trial of turning interval and manure --


@pytest.mark.reference(source=REZENDE, where="F values of carbon and nitrogen, p of C/N")
def test_husks_f_tests() -> None:
    carbon, nitrogen, ratio = (anova(husks(c)) for c in ("c", "n", "cn"))
    assert carbon.df_residual == 16
    assert carbon.balanced
    assert (carbon.row("manure").df, carbon.row("interval").df) == (1, 3)
    assert carbon.row("manure").f == pytest.approx(11.31, abs=0.005)
    assert carbon.row("interval").f == pytest.approx(2.97, abs=0.005)
    assert nitrogen.row("interval").f == pytest.approx(3.90, abs=0.005)
    assert ratio.row("manure").p == pytest.approx(0.044, abs=0.0005)


def test_husks_main_effect_is_the_f_test_and_the_difference_of_all_means() -> None:
    f = husks("c")
    r = effect(f, "manure", "com", "sem")
    assert (r.estimate / r.se) ** 2 == pytest.approx(anova(f).row("manure").f, rel=1e-10)
    average = {m.at["manure"]: m.value for m in means(f, "manure")}
    assert r.estimate == pytest.approx(average["com"] - average["sem"], abs=1e-10)


# -- pairs --


@pytest.mark.reference(source="R 4.2.2 t.test on sleep (Student 1908)", where="paired")
def test_sleep_pairs() -> None:
    found = paired(sleep_rows(), "one", "two")
    r = found.prior_free
    assert r is not None
    assert r.estimate / r.se == pytest.approx(-4.062128, abs=5e-7)
    assert r.estimate / r.se == pytest.approx(-4.062127683382037, abs=1e-10)
    assert r.df == 9
    assert r.p_value == pytest.approx(0.00283289, abs=5e-9)
    theirs = stats.ttest_rel(SLEEP["one"], SLEEP["two"]).confidence_interval()
    assert (r.low, r.high) == pytest.approx((theirs.low, theirs.high), abs=1e-10)


@pytest.mark.reference(source="scipy.stats.permutation_test, all flips", where="live, sleep")
def test_sleep_signs() -> None:
    d = np.subtract(SLEEP["one"], SLEEP["two"])
    theirs = stats.permutation_test((d,), np.mean, permutation_type="samples", n_resamples=2000)
    found = paired(sleep_rows(), "one", "two")
    assert found.sign_p == pytest.approx(theirs.pvalue, abs=1e-12)
    assert found.floor == 2 / 2**10


# -- many to one --


@pytest.mark.reference(
    source="own adaptive quadrature (computed), R multcomp 1.4-22 and Dunnett 1955",
    where="fabric, blood counts, PlantGrowth",
)
@pytest.mark.parametrize(
    ("groups", "control", "p", "digits"),
    [
        (FABRIC, "std", (0.036622, 0.896476, 0.409159), 1e-5),
        (BLOOD, "control", (0.6201, 0.0058), 5e-5),
        (PLANTS, "ctrl", (0.322696, 0.153484), 1e-5),
    ],
)
def test_dunnett_rows(
    groups: dict[str, list[float]], control: str, p: tuple[float, ...], digits: float
) -> None:
    found = many_to_one(fit(by_way(groups), ["way"]), "way", control)
    assert list(found.p.values()) == pytest.approx(list(p), abs=digits)
    df = next(iter(found.alone.values())).df
    others = [len(v) for k, v in groups.items() if k != control]
    exact = dunnett.critical_value(len(groups[control]), others, df)
    assert found.critical == pytest.approx(exact, abs=1e-7)
    # the same rows by directions, which need no structure
    general = Together.of(found.correlation, df, quadrature=False)
    t = [i.estimate / i.se for i in found.alone.values()]
    assert [general.p(x) for x in t] == pytest.approx(list(p), abs=5e-4)
    assert general.critical(0.95)[0] == pytest.approx(exact, abs=5e-4)


@pytest.mark.reference(
    source="own quadrature (computed) and R multcomp 1.4-22", where="recovery, 20/3/3/15 patients"
)
def test_dunnett_on_recovery_by_directions() -> None:
    loading = np.array(dunnett.loadings(20, [3, 3, 15]))
    r = np.outer(loading, loading)
    np.fill_diagonal(r, 1)
    general = Together.of(r, 37, quadrature=False)
    assert general.critical(0.95)[0] == pytest.approx(2.48858, abs=5e-4)
    p = [general.p(t) for t in (-1.33019, -4.65565, -1.88372)]
    assert p == pytest.approx([0.45593, 0.00012, 0.18201], abs=5e-4)


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
def test_critical_values_by_directions(df: int, points: tuple[float, ...]) -> None:
    for k, point in enumerate(points, start=1):
        r = np.full((k, k), 0.5) + 0.5 * np.eye(k)
        value, accuracy = Together.of(r, df, quadrature=False).critical(0.95)
        assert value == pytest.approx(point, abs=5e-4)
        assert accuracy < 1e-3


def incomplete_blocks() -> list[HeapRow]:
    """Five ways in six yards of two or three heaps (invented): no product structure."""
    placed = ["LT", "LV", "TV", "LTC", "VC", "CD"]
    rng = np.random.default_rng(3)
    return [
        HeapRow(way, float(rng.normal(40, 4)), way, f"yard {i}")
        for i, ways in enumerate(placed)
        for way in ways
    ]


@pytest.mark.reference(source="scipy.stats.multivariate_t", where="live, blocks with gaps")
def test_many_to_one_in_incomplete_blocks() -> None:
    found = many_to_one(fit(incomplete_blocks(), ["block", "way"]), "way", "L", prior=PRIOR)
    r = np.array(found.correlation)
    df = next(iter(found.alone.values())).df
    assert Together.of(r, df).reach is not None
    theirs = stats.multivariate_t.cdf(
        np.full(4, found.critical), shape=r, df=df, lower_limit=np.full(4, -found.critical),
        maxpts=400_000, random_state=1,
    )  # fmt: skip
    assert theirs == pytest.approx(0.95, abs=2e-4)
    assert found.accuracy < 1e-3
    alone = t_quantile(0.95, df)
    assert alone < found.critical < t_quantile(1 - 0.05 / 4, df)


# -- two ways are what they were --


@pytest.mark.parametrize(("left", "turned"), [(1, 1), (2, 2), (3, 1), (2, 5)])
def test_two_ways_equal_informed_and_pooled(left: int, turned: int) -> None:
    rng = np.random.default_rng(left * 10 + turned)
    groups = {"left": list(rng.normal(30, 4, left)), "turned": list(rng.normal(38, 4, turned))}
    f = fit(by_way(groups), ["way"])
    pairs = [(effect(f, "way", "turned", "left", prior=PRIOR),
              informed_contrast(groups, "turned", "left", PRIOR))]  # fmt: skip
    if left + turned > 2:
        pairs.append((effect(f, "way", "turned", "left"), pooled_t(groups, "turned", "left")))
    for ours, old in pairs:
        for name in ("estimate", "se", "df", "low", "high"):
            assert getattr(ours, name) == pytest.approx(getattr(old, name), rel=1e-12, abs=1e-12)


def test_three_ways_share_the_spread_as_before() -> None:
    f = fit(by_way(BLOOD), ["way"])
    ours, old = effect(f, "way", "B", "A"), pooled_t(BLOOD, "B", "A")
    assert (ours.low, ours.high, ours.df) == pytest.approx((old.low, old.high, old.df), rel=1e-12)


# -- another library, and plain algebra, on random unbalanced designs --


def unbalanced(seed: int) -> list[HeapRow]:
    """A trial of two factors in three yards with a covariate (invented), one to three a cell."""
    rng = np.random.default_rng(seed)
    rows = []
    for t in ("no", "two", "four"):
        for m in ("bark", "grass"):
            for k in range(int(rng.integers(1, 4)) + (t == "no")):
                rows.append(
                    HeapRow(
                        f"{t}{m}{k}",
                        float(rng.normal(40, 4)),
                        block=f"y{rng.integers(3)}",
                        factors={"turning": t, "material": m},
                        covariates={"leafy": float(rng.uniform(20, 80))},
                    )
                )
    return rows


TERMS = ["block", "leafy", ("turning", "material")]


@pytest.mark.reference(source="statsmodels OLS and anova_lm(typ=2)", where="live, random designs")
@pytest.mark.parametrize("seed", range(12))
def test_against_statsmodels(seed: int) -> None:
    pytest.importorskip("statsmodels", reason="statsmodels is not in this environment")
    import pandas as pd
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    rows = unbalanced(seed)
    table = pd.DataFrame(
        [{"y": r.value, "block": r.block, **r.factors, **r.covariates} for r in rows]
    )
    table["turning"] = pd.Categorical(table["turning"], ["no", "two", "four"])
    f = fit(rows, TERMS)
    if f.df < 1:
        pytest.skip("no degrees of freedom in this draw")
    model = ols("y ~ block + leafy + turning * material", table).fit()
    assert f.rss == pytest.approx(model.ssr, rel=1e-8)
    theirs = anova_lm(model, typ=2)
    ours = anova(f)
    for name, term in [("block", ("block",)), ("leafy", ("leafy",)), ("turning", ("turning",)),
                       ("material", ("material",)),
                       ("turning:material", ("turning", "material"))]:  # fmt: skip
        row = ours.row(*term)
        assert row.df == theirs.loc[name, "df"]
        assert row.f == pytest.approx(theirs.loc[name, "F"], rel=1e-6)
        assert row.p == pytest.approx(theirs.loc[name, "PR(>F)"], rel=1e-6)
    more = interaction(f, ("turning", "two", "no"), ("material", "grass", "bark"))
    name = "turning[T.two]:material[T.grass]"
    assert more.estimate == pytest.approx(model.params[name], abs=1e-8)
    assert more.se == pytest.approx(model.bse[name], rel=1e-8)
    assert (more.low, more.high) == pytest.approx(tuple(model.conf_int().loc[name]), rel=1e-7)


def dummies(rows: list[HeapRow], *names: str) -> np.ndarray:
    """One column for every combination of levels that is met."""
    found = [tuple(r.levels[n] for n in names) for r in rows]
    return np.array([[float(a == b) for b in sorted(set(found))] for a in found])


def left_over(y: np.ndarray, *parts: np.ndarray) -> tuple[float, int]:
    x = np.column_stack([np.ones(len(y)), *parts])
    b, _, rank, _ = np.linalg.lstsq(x, y, rcond=1e-10)
    return float(((y - x @ b) ** 2).sum()), int(rank)


@pytest.mark.parametrize("seed", range(12))
def test_against_extra_sums_of_squares(seed: int) -> None:
    """Every F by comparing two fits in another, overfull coding."""
    rows = unbalanced(seed)
    f = fit(rows, TERMS)
    if f.df < 1:
        pytest.skip("no degrees of freedom in this draw")
    y = np.array([r.value for r in rows])
    leafy = np.array([[r.covariates["leafy"]] for r in rows])
    block, turning, material = (dummies(rows, n) for n in ("block", "turning", "material"))
    both = dummies(rows, "turning", "material")
    full = left_over(y, block, leafy, both)
    table: Anova = anova(f)
    for term, small, large in [
        (("block",), (leafy, both), (leafy, both, block)),
        (("leafy",), (block, both), (block, both, leafy)),
        (("turning",), (block, leafy, material), (block, leafy, material, turning)),
        (("material",), (block, leafy, turning), (block, leafy, material, turning)),
        (("turning", "material"), (block, leafy, turning, material), (block, leafy, both)),
    ]:
        a, b = left_over(y, *small), left_over(y, *large)
        df, df_rest = b[1] - a[1], len(y) - full[1]
        expected = (a[0] - b[0]) / df / (full[0] / df_rest)
        assert table.row(*term).df == df
        assert table.row(*term).f == pytest.approx(expected, rel=1e-6, abs=1e-8)


# -- do the intervals keep their promise? --

TRIALS = 4000


def trial_values(f: Fit, shared: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Values of all heaps in TRIALS trials, heap-to-heap SD drawn from 3 to 6 C."""
    sigma = rng.uniform(3, 6, (TRIALS, 1))
    return shared + sigma * rng.normal(size=(TRIALS, len(f.rows)))


def coverage(
    f: Fit, c: np.ndarray, y: np.ndarray, truth: float, prior: SpreadPrior | None
) -> tuple[float, float]:
    """Coverage and mean half-width, over all trials at once."""
    estimate = y @ (f.x @ f.root) @ (c @ f.root)
    left, _ = np.linalg.qr(f.x @ f.root)
    rss = (y**2).sum(axis=1) - ((y @ left) ** 2).sum(axis=1)
    df, nu0, start = float(f.df), 0.0, 0.0
    if prior is not None:
        nu0, start = prior.nu0, prior.nu0 * (prior.s0_c**2 + prior.va)
    reach = t_quantile(0.95, nu0 + df) * np.sqrt(
        (start + rss) / (nu0 + df) * ((c @ f.root) ** 2).sum()
    )
    return float((np.abs(estimate - truth) <= reach).mean()), float(reach.mean())


def checked_by_hand(f: Fit, y: np.ndarray, weights: list, prior: SpreadPrior | None) -> None:
    """The vectorised sums above are those of `contrast`."""
    rows = [
        HeapRow(r.heap, float(v), r.way, r.block, r.factors)
        for r, v in zip(f.rows, y[0], strict=True)
    ]
    terms = list(f.terms)
    r = contrast(fit(rows, terms), weights, prior=prior)
    c = np.sum([w * f.row(s) for w, s in weights], axis=0)
    inside, reach = coverage(f, c, y[:1], r.estimate, prior)
    assert inside == 1
    assert reach == pytest.approx(r.half_width, rel=1e-9)


def test_coverage_of_a_two_by_two() -> None:
    """The informed main effect, two heaps a cell; a true interaction does no harm."""
    rows = [
        HeapRow(f"{t}{m}{k}", 0.0, factors={"turning": t, "material": m})
        for t in ("no", "yes") for m in ("bark", "grass") for k in range(2)
    ]  # fmt: skip
    f = fit(rows, [("turning", "material")])
    mean = [{"nobark": 30, "nograss": 40, "yesbark": 33, "yesgrass": 49}[r.heap[:-1]] for r in rows]
    weights = [(1.0, {"turning": "yes"}), (-1.0, {"turning": "no"})]
    c = np.sum([w * f.row(s) for w, s in weights], axis=0)
    y = trial_values(f, np.array(mean), np.random.default_rng(20))
    checked_by_hand(f, y, weights, PRIOR)
    informed, wide = coverage(f, c, y, 6.0, PRIOR)
    free, free_wide = coverage(f, c, y, 6.0, None)
    print(
        f"2x2, two a cell: informed {informed:.4f} +-{wide:.2f}, free {free:.4f} +-{free_wide:.2f}"
    )
    assert 0.93 < informed < 0.97
    assert 0.94 < free < 0.96
    assert wide < free_wide


def five_pairs(effect_sd: float) -> tuple[float, float, float, float]:
    """Coverage and half-width, informed and paired t: yards SD 6, one pair each, effect varying."""
    rows = [HeapRow(w, 0.0, w, f"y{i}") for i in range(5) for w in ("left", "turned")]
    f = fit(rows, ["block", "way"])
    weights = [(1.0, {"way": "turned"}), (-1.0, {"way": "left"})]
    c = np.sum([w * f.row(s) for w, s in weights], axis=0)
    rng = np.random.default_rng(21)
    yards = np.repeat(rng.normal(0, 6, (TRIALS, 5)), 2, axis=1)
    effects = np.zeros((TRIALS, 10))
    effects[:, 1::2] = rng.normal(5, effect_sd, (TRIALS, 5))
    y = trial_values(f, yards + effects, rng)
    checked_by_hand(f, y, weights, PRIOR)
    return *coverage(f, c, y, 5.0, PRIOR), *coverage(f, c, y, 5.0, None)


@pytest.mark.parametrize("effect_sd", [0.0, 2.0])
def test_coverage_of_five_pairs(effect_sd: float) -> None:
    informed, wide, free, free_wide = five_pairs(effect_sd)
    print(f"effect SD {effect_sd:g}: {informed:.4f} +-{wide:.2f}, t {free:.4f} +-{free_wide:.2f}")
    assert 0.93 < informed < 0.97
    assert 0.94 < free < 0.96
    assert wide < free_wide


def test_an_effect_that_varies_much_makes_the_informed_interval_too_narrow() -> None:
    """Said in the docstring of `paired`: the assumed spread is that of heaps, not of effects."""
    informed, wide, free, free_wide = five_pairs(6.0)
    print(f"effect SD 6: {informed:.4f} +-{wide:.2f}, t {free:.4f} +-{free_wide:.2f}")
    assert 0.88 < informed < 0.92
    assert 0.94 < free < 0.96
