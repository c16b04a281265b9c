"""The mixed model against R: REML fits of small published tables, to the printed digits.

R's optimisers stop when the criterion no longer changes in its sixth digit, which leaves some
variances and errors good to about 2e-5 of themselves only. Where that is so the tolerance says
it, and the criterion of ours may not lie above R's; tests/reference/test_side_by_side_r.py tells R
to go on, and then the digits agree.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest

from heapwright.stats.mixedfit import MixedFit, fit_reml
from heapwright.stats.mixedparts import Rows, Structure, blocks_of, criterion

DATA = Path(__file__).parents[1] / "data"
#: How far R's optimisers stop from the lowest criterion, as part of a variance.
STOPPED = 2e-5
LME4 = "R 4.2.2, lme4 1.1-31 and lmerTest 3.1-3"
NLME = "R 4.2.2, nlme 3.1-162"


def table(name: str) -> dict[str, list[str]]:
    """The columns of one of the tables."""
    with (DATA / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return {key: [row[key] for row in rows] for key in rows[0]}


def numbers(column: list[str]) -> np.ndarray:
    return np.array(column, dtype=float)


def is_one(column: list[str], value: str) -> np.ndarray:
    return np.array([v == value for v in column], dtype=float)


def sleep_study(*, slope: bool) -> MixedFit:
    data = table("sleepstudy")
    days = numbers(data["Days"])
    x = np.column_stack([np.ones(days.size), days])
    return fit_reml(numbers(data["Reaction"]), x, data["Subject"], slope=days if slope else None)


def orthodont(*, by_sex: bool = False, wander: bool = False) -> MixedFit:
    data = table("orthodont")
    age, girl = numbers(data["age"]), is_one(data["Sex"], "Female")
    one = np.ones(age.size)
    x = np.column_stack([one, age, girl, age * girl] if by_sex else [one, age])
    return fit_reml(
        numbers(data["distance"]),
        x,
        data["Subject"],
        # visits at 8, 10, 12, 14 years are one step apart each
        age_d=(age - 8) / 2 if wander else None,
        reading_noise=not wander,
    )


def oats(*columns: str) -> MixedFit:
    """Columns of: variety, nitro, nitro_factor, both (their interaction)."""
    data = table("oats")
    nitro = numbers(data["nitro"])
    variety = [is_one(data["Variety"], v) for v in ("Marvellous", "Victory")]
    steps = [is_one(data["nitro"], v) for v in ("0.2", "0.4", "0.6")]
    has = {
        "variety": variety,
        "nitro": [nitro],
        "nitro_factor": steps,
        "both": [v * s for s in steps for v in variety],
    }
    x = np.column_stack([np.ones(nitro.size), *(c for name in columns for c in has[name])])
    return fit_reml(numbers(data["yield"]), x, data["Block"], spot=data["Variety"])


def body_weight() -> MixedFit:
    data = table("bodyweight")
    time, two, three = numbers(data["Time"]), is_one(data["Diet"], "2"), is_one(data["Diet"], "3")
    x = np.column_stack([np.ones(time.size), time, two, three, time * two, time * three])
    return fit_reml(numbers(data["weight"]), x, data["Rat"], age_d=time, reading_noise=False)


def split_plot_rows() -> list[np.ndarray]:
    """Variety, nitro and both: averages over the other factor carry their share of both."""
    one, variety, nitro = np.eye(12), np.zeros((2, 12)), np.zeros((3, 12))
    for v in range(2):
        variety[v] = one[1 + v] + one[[6 + 2 * s + v for s in range(3)]].sum(axis=0) / 4
    for s in range(3):
        nitro[s] = one[3 + s] + one[[6 + 2 * s + v for v in range(2)]].sum(axis=0) / 3
    return [variety, nitro, one[6:]]


@pytest.mark.reference(source=LME4, where="sleepstudy (Belenky et al. 2003), (Days | Subject)")
def test_random_slope() -> None:
    fit = sleep_study(slope=True)
    assert fit.criterion == pytest.approx(1743.628272, abs=5e-7)
    assert fit.loglik == pytest.approx(-871.814136, abs=5e-7)
    assert fit.coef == pytest.approx([251.405105, 10.467286], abs=5e-7)
    assert fit.se == pytest.approx([6.824597, 1.545790], rel=STOPPED)
    assert fit.parts["heap"] == pytest.approx(612.100, rel=STOPPED)
    assert fit.parts["slope"] == pytest.approx(35.0717, abs=5e-5)
    assert fit.parts["heap_slope_cov"] == pytest.approx(9.6044, abs=1e-4)
    assert fit.parts["reading"] == pytest.approx(654.940, rel=STOPPED)
    assert fit.at_boundary == ()


@pytest.mark.reference(source=LME4, where="sleepstudy, df and p of (Days | Subject)")
def test_random_slope_df() -> None:
    fit = sleep_study(slope=True)
    days = fit.contrast([0, 1])
    assert [fit.df([1, 0]), days.df] == pytest.approx([17, 17], abs=1e-5)
    assert days.p_value == pytest.approx(3.2638e-6, abs=5e-11)


def test_our_criterion_is_not_above_that_of_other_peoples_variances() -> None:
    """sleepstudy: the variances R printed give a criterion a little above ours."""
    data = table("sleepstudy")
    y, days = numbers(data["Reaction"]), numbers(data["Days"])
    x = np.column_stack([np.ones(days.size), days])
    subject = np.array(data["Subject"])
    none = np.zeros(10, dtype=np.intp)
    rows = [
        Rows(y[subject == s], x[subject == s], days[subject == s], none, days[subject == s])
        for s in dict.fromkeys(data["Subject"])
    ]
    model, printed = Structure(slope=True), np.array([612.100, 9.6044, 35.0717, 654.940])
    theirs = criterion(blocks_of(rows, model), model, printed)
    ours = sleep_study(slope=True).criterion
    assert 0 <= theirs.value - ours < 1e-6


@pytest.mark.reference(source=LME4, where="sleepstudy, (1 | Subject)")
def test_random_intercept() -> None:
    fit = sleep_study(slope=False)
    assert fit.criterion == pytest.approx(1786.465085, abs=5e-7)
    assert fit.se == pytest.approx([9.746716, 0.804221], abs=5e-7)
    assert fit.parts["heap"] == pytest.approx(1378.17851, abs=1e-5)
    assert fit.parts["reading"] == pytest.approx(960.45658, abs=5e-6)


@pytest.mark.reference(source=NLME, where="Orthodont (Potthoff and Roy 1964), age * Sex")
def test_orthodont_by_sex() -> None:
    fit = orthodont(by_sex=True)
    assert fit.coef == pytest.approx([16.340625, 0.784375, 1.032102, -0.304830], abs=6e-7)
    assert fit.se == pytest.approx([0.981312, 0.077501, 1.537421, 0.121421], abs=6e-7)
    assert math.sqrt(fit.parts["heap"]) == pytest.approx(1.816214, abs=6e-7)
    assert math.sqrt(fit.parts["reading"]) == pytest.approx(1.386382, abs=6e-7)
    assert fit.loglik == pytest.approx(-216.878625, abs=5e-7)


@pytest.mark.reference(source=NLME, where="Orthodont, age")
def test_orthodont() -> None:
    fit = orthodont()
    assert fit.coef == pytest.approx([16.761111, 0.660185], abs=6e-7)
    assert math.sqrt(fit.parts["heap"]) == pytest.approx(2.114724, abs=6e-7)
    assert math.sqrt(fit.parts["reading"]) == pytest.approx(1.431592, abs=6e-7)
    assert fit.loglik == pytest.approx(-223.501258, abs=5e-7)


@pytest.mark.reference(source=NLME, where="Orthodont, age, corAR1 within Subject")
def test_orthodont_with_wander() -> None:
    fit = orthodont(wander=True)
    assert math.exp(-1 / fit.parts["range_d"]) == pytest.approx(0.0472071, abs=2e-7)
    assert math.sqrt(fit.parts["heap"]) == pytest.approx(2.103631, abs=6e-7)
    assert math.sqrt(fit.parts["wander"]) == pytest.approx(1.449540, abs=6e-7)
    assert fit.loglik == pytest.approx(-223.462753, abs=5e-7)
    assert fit.coef[1] == pytest.approx(0.6595546, abs=5e-8)


@pytest.mark.reference(
    source=f"{NLME}; df 9.34 from a second implementation (computed)",
    where="BodyWeight (Crowder and Hand 1990), Time * Diet, corExp within Rat, no nugget",
)
def test_body_weight() -> None:
    fit = body_weight()
    assert fit.loglik == pytest.approx(-575.484016, abs=5e-7)
    assert fit.parts["heap"] == pytest.approx(1279.8141, rel=STOPPED)
    assert fit.parts["wander"] == pytest.approx(118.2463, rel=STOPPED)
    assert fit.parts["range_d"] == pytest.approx(37.4947, rel=STOPPED)
    growth = fit.contrast([0, 0, 0, 0, 1, 0])
    assert growth.estimate == pytest.approx(0.654971, abs=6e-7)
    assert growth.se == pytest.approx(0.134521, abs=6e-7)
    assert growth.df == pytest.approx(9.34, abs=5e-3)


@pytest.mark.reference(source=NLME, where="Oats (Yates 1935), yield ~ nitro, Block/Variety")
def test_split_plot() -> None:
    fit = oats("nitro")
    assert fit.coef == pytest.approx([81.872222, 73.666667], abs=6e-7)
    assert fit.se == pytest.approx([6.945280, 6.781483], rel=STOPPED)
    sds = [math.sqrt(fit.parts[name]) for name in ("heap", "spot", "reading")]
    assert sds == pytest.approx([14.505983, 11.004675, 12.866959], rel=STOPPED)
    assert fit.loglik == pytest.approx(-296.520877, abs=5e-7)


@pytest.mark.reference(source=LME4, where="Oats, Variety * factor(nitro): variances")
def test_split_plot_factor() -> None:
    fit = oats("variety", "nitro_factor", "both")
    parts = [fit.parts[name] for name in ("heap", "spot", "reading")]
    assert parts == pytest.approx([214.475, 106.062, 177.083], rel=STOPPED)
    assert fit.loglik == pytest.approx(-264.514254, abs=6e-7)


@pytest.mark.reference(source=LME4, where="Oats, Variety * factor(nitro): F tests")
def test_split_plot_anova() -> None:
    fit = oats("variety", "nitro_factor", "both")
    tests = [fit.f_test(rows) for rows in split_plot_rows()]
    # balanced: F is a ratio of mean squares, on which R's stopping shows in the seventh digit
    assert [t.f for t in tests] == pytest.approx([1.48534, 37.68562, 0.30282], rel=STOPPED)
    assert [t.df1 for t in tests] == [2, 3, 6]
    assert [t.df2 for t in tests] == pytest.approx([10, 45, 45], abs=1e-5)


@pytest.mark.reference(source=LME4, where="Oats, Variety + nitro: se, df, logLik")
def test_split_plot_df() -> None:
    fit = oats("variety", "nitro")
    assert fit.se == pytest.approx([8.058575, 7.078919, 7.078919, 6.781477], rel=STOPPED)
    dfs = [fit.df(c) for c in np.eye(4)]
    assert dfs == pytest.approx([10.10974, 10, 10, 53], rel=STOPPED)
    # ours is -289.4458935, above R's by a little more than half of its last digit
    assert fit.loglik == pytest.approx(-289.445894, abs=6e-7)


@pytest.mark.reference(source=LME4, where="Dyestuff2 (Box and Tiao 1973): variance at 0")
def test_variance_at_its_boundary() -> None:
    data = table("dyestuff2")
    fit = fit_reml(numbers(data["Yield"]), np.ones((30, 1)), data["Batch"])
    assert fit.parts["heap"] == 0
    assert fit.at_boundary == ("heap",)
    assert fit.parts["reading"] == pytest.approx(13.806310, abs=6e-7)
    assert fit.coef[0] == pytest.approx(5.6656, abs=5e-5)
    assert fit.criterion == pytest.approx(161.828278, abs=6e-7)
    assert fit.loglik == pytest.approx(-80.91414, abs=6e-6)
