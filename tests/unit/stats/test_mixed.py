"""The mixed model: exact answers of balanced data, derivatives, boundaries, what is refused."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from tests.conftest import LONG

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats.contrast import pooled_t
from heapwright.stats.mixed import HeapReadings, SecondOpinion, second_opinion
from heapwright.stats.mixedfit import fit_reml
from heapwright.stats.mixedparts import Rows, Structure, blocks_of, criterion, profiled
from heapwright.stats.naive import Study, heap_means, null_readings

EVERYTHING = Structure(slope=True, spot=True, wander=True)
# heap, cov with slope, slope, spot, wander, log range, reading
THETA = np.array([2.0, 0.3, 0.5, 0.7, 1.5, math.log(2.0), 0.8])


def invented_rows() -> list[Rows]:
    """Invented: three heaps of unequal size, read at random ages, one of them twice."""
    rng = np.random.default_rng(1)
    found = []
    for n in (5, 9, 12):
        age = np.sort(rng.uniform(0, 10, n))
        age[-1] = age[-2]
        x = np.column_stack([np.ones(n), age, rng.normal(size=n)])
        found.append(Rows(3 * rng.normal(size=n), x, age - 3, rng.integers(0, 3, n), age))
    return found


def trial(
    seed: int,
    *,
    heaps: int = 2,
    study: Study | None = None,
    lift_c: float = 0.0,
    sigma_c: float | None = None,
) -> tuple[list[HeapReadings], dict[str, np.ndarray]]:
    """One invented trial of the project's generator: readings, and one number a heap."""
    s = study or Study()
    rng = np.random.default_rng(seed)
    excess, _, _ = null_readings(rng, 1, heaps=2 * heaps, study=s, sigma_c=sigma_c)
    excess[0, heaps:] += lift_c
    spots = [f"spot {k + 1}" for _ in s.days for k in range(s.spots)]
    rows = [
        HeapReadings.of(
            chr(ord("A") + i),
            "left" if i < heaps else "turned",
            spots,
            np.repeat(s.days, s.spots),
            excess[0, i].ravel(),
        )
        for i in range(2 * heaps)
    ]
    means = heap_means(excess, study=s)[0]
    return rows, {"left": means[:heaps], "turned": means[heaps:]}


def opinion(rows: list[HeapReadings]) -> SecondOpinion:
    return second_opinion(rows, "turned", "left", (3, 60))


# --- the model -----------------------------------------------------------------------------------


def test_derivatives_are_those_of_the_criterion() -> None:
    blocks, h = blocks_of(invented_rows(), EVERYTHING), 1e-5
    at = criterion(blocks, EVERYTHING, THETA, full=True)
    assert at.hessian is not None
    assert at.cov_slopes is not None
    for k in range(THETA.size):
        step = h * np.eye(THETA.size)[k]
        more, less = (criterion(blocks, EVERYTHING, THETA + s) for s in (step, -step))
        assert at.gradient[k] == pytest.approx((more.value - less.value) / (2 * h), abs=1e-6)
        bend = (more.gradient - less.gradient) / (2 * h)
        assert at.hessian[k] == pytest.approx(bend, abs=1e-6)
        assert at.cov_slopes[k] == pytest.approx((more.cov - less.cov) / (2 * h), abs=1e-7)


def dense(rows: Rows) -> np.ndarray:
    """V of one heap at THETA, written out reading by reading."""
    heap, cov, slope, spot, wander, log_range, reading = THETA
    z, one = rows.slope, np.ones(rows.y.size)
    apart = np.abs(rows.age_d[:, None] - rows.age_d)
    return (
        heap * np.outer(one, one)
        + cov * (np.outer(one, z) + np.outer(z, one))
        + slope * np.outer(z, z)
        + spot * (rows.spot[:, None] == rows.spot)
        + wander * np.exp(-apart / math.exp(log_range))
        + reading * np.eye(rows.y.size)
    )


def test_the_criterion_is_that_of_the_whole_matrix() -> None:
    """Block by block against one dense multivariate normal of error contrasts."""
    from scipy.linalg import block_diag, null_space
    from scipy.stats import multivariate_normal

    rows = invented_rows()
    v = block_diag(*(dense(r) for r in rows))
    x = np.vstack([r.x for r in rows])
    y = np.concatenate([r.y for r in rows])
    free = null_space(x.T)
    log_density = multivariate_normal.logpdf(free.T @ y, cov=free.T @ v @ free)
    # orthonormal contrasts leave out log|X'X|, a constant in the variances
    constant = np.linalg.slogdet(x.T @ x)[1]
    ours = criterion(blocks_of(rows, EVERYTHING), EVERYTHING, THETA).value
    assert ours == pytest.approx(-2 * log_density + constant, abs=1e-8)


def test_the_profiled_criterion_is_the_lowest_over_the_scale() -> None:
    blocks, relative = blocks_of(invented_rows(), EVERYTHING), THETA.copy()
    value, _, scale = profiled(blocks, EVERYTHING, relative)
    scaled = relative * scale
    scaled[5] = relative[5]
    assert value == pytest.approx(criterion(blocks, EVERYTHING, scaled).value, abs=1e-9)
    wider = scaled * 1.01
    wider[5] = relative[5]
    assert criterion(blocks, EVERYTHING, wider).value > value


def test_balanced_heaps_give_the_mean_squares() -> None:
    """Balanced one-way layout: REML variances, error and df are those of the table by hand."""
    y = np.array([[31.0, 33.0, 35.0], [40.0, 41.0, 45.0], [29.0, 36.0, 34.0], [44.0, 39.0, 43.0]])
    between = 3 * y.mean(axis=1).var(ddof=1)
    within = ((y - y.mean(axis=1, keepdims=True)) ** 2).sum() / 8
    fit = fit_reml(y.ravel(), np.ones((12, 1)), np.repeat(list("ABCD"), 3).tolist())
    assert fit.parts["reading"] == pytest.approx(within, rel=1e-9)
    assert fit.parts["heap"] == pytest.approx((between - within) / 3, rel=1e-9)
    mean = fit.contrast([1.0])
    assert mean.se == pytest.approx(math.sqrt(between / 12), rel=1e-9)
    assert mean.df == pytest.approx(3, rel=1e-7)


def test_rows_may_come_in_any_order_and_any_unit() -> None:
    rows = invented_rows()
    y = np.concatenate([r.y for r in rows])
    x = np.vstack([r.x[:, :2] for r in rows])
    age = np.concatenate([r.age_d for r in rows])
    heap = np.repeat([0, 1, 2], [r.y.size for r in rows])
    one = fit_reml(y, x, heap.tolist(), age_d=age)
    order = np.random.default_rng(2).permutation(y.size)
    other = fit_reml(1.8 * y[order] + 32, x[order], heap[order].tolist(), age_d=age[order])
    assert other.coef[1] == pytest.approx(1.8 * one.coef[1], rel=1e-6)
    assert other.se == pytest.approx(1.8 * one.se, rel=1e-6)
    assert other.df([0, 1]) == pytest.approx(one.df([0, 1]), rel=1e-5)
    assert other.at_boundary == one.at_boundary


def test_known_variances_come_back() -> None:
    """Invented: 60 heaps of 3 spots and 20 rounds; each part within about three of its errors."""
    rng = np.random.default_rng(3)
    heaps, rounds, spots = 60, 20, 3
    age = np.arange(1.0, 1 + 2 * rounds, 2)
    wander = np.linalg.cholesky(6 * np.exp(-np.abs(age[:, None] - age) / 5))
    y = (
        4 * rng.normal(size=(heaps, 1, 1))
        + (rng.normal(size=(heaps, rounds)) @ wander.T)[:, :, None]
        + 1.5 * rng.normal(size=(heaps, 1, spots))
        + 2 * rng.normal(size=(heaps, rounds, spots))
    )
    heap = np.repeat(np.arange(heaps), rounds * spots).tolist()
    fit = fit_reml(
        y.ravel(),
        np.ones((y.size, 1)),
        heap,
        spot=np.tile(np.arange(spots), heaps * rounds).tolist(),
        age_d=np.tile(np.repeat(age, spots), heaps),
    )
    found = [fit.parts[n] for n in ("heap", "spot", "wander", "range_d", "reading")]
    errors = np.sqrt(np.diag(fit.theta_cov)) * [1, 1, 1, fit.parts["range_d"], 1]
    assert (np.abs(np.subtract(found, [16, 2.25, 6, 5, 4])) < 3 * errors).all()
    assert fit.at_boundary == ()


def test_intercept_and_slope_that_are_one_thing_do_not_crash() -> None:
    """Invented: slopes of heaps are half their intercepts, so their correlation is 1."""
    ends = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        t = np.tile(np.arange(6.0), 12)
        own = np.repeat(3 * rng.normal(size=12), 6)
        y = 10 + t + own * (1 + t / 2) + rng.normal(size=72)
        heap = np.repeat(np.arange(12), 6).tolist()
        fit = fit_reml(y, np.column_stack([np.ones(72), t]), heap, slope=t)
        v, cov, w = (fit.parts[n] for n in ("heap", "heap_slope_cov", "slope"))
        ends.append(cov**2 / (v * w))
        assert fit.df([0, 1]) == pytest.approx(11, rel=0.15)
    assert max(ends) == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize("seed", range(8))
def test_white_noise_alone_puts_the_other_parts_at_their_ends(seed: int) -> None:
    rng = np.random.default_rng(seed)
    age = np.tile(np.arange(1.0, 13.0), 6)
    heap = np.repeat(np.arange(6), 12).tolist()
    fit = fit_reml(rng.normal(size=72), np.ones((72, 1)), heap, age_d=age)
    assert min(fit.parts["heap"], fit.parts["wander"], fit.parts["reading"]) >= 0
    total = fit.parts["heap"] + fit.parts["wander"] + fit.parts["reading"]
    assert total == pytest.approx(1, abs=0.6)
    for name in ("heap", "wander"):
        assert (fit.parts[name] == 0) == (name in fit.at_boundary)


def test_a_model_that_cannot_be_is_refused() -> None:
    one, two = np.ones((4, 1)), ["A", "A", "B", "B"]
    y = [1.0, 2.0, 4.0, 6.0]
    with pytest.raises(InputError, match="one row of everything"):
        fit_reml(y, one, ["A", "B"])
    with pytest.raises(InputError, match=r"y: .*finite"):
        fit_reml([1.0, math.nan, 2.0, 3.0], one, two)
    with pytest.raises(InputError, match=r"depend on each other\. Leave one"):
        fit_reml(y, np.ones((4, 2)), two)
    with pytest.raises(NotEnoughError, match=r"readings = 4: .*no more readings"):
        fit_reml(y, np.eye(4), two)
    with pytest.raises(NotEnoughError, match="exactly on the fixed part"):
        fit_reml([5.0] * 4, one, two)
    with pytest.raises(InputError, match=r"reading_noise = False: .*same age"):
        fit_reml(y, one, two, age_d=[1, 1, 1, 2], reading_noise=False)
    fit = fit_reml(y, one, two)
    with pytest.raises(InputError, match="weights = 2"):
        fit.contrast([1, 0])
    with pytest.raises(InputError, match="depend on each other"):
        fit.f_test([[1.0], [1.0]])


# --- the second opinion --------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [11, 12, 13])
def test_it_is_near_the_pooled_interval_where_all_heaps_are_read_alike(seed: int) -> None:
    rows, means = trial(seed, heaps=4, lift_c=8.0, sigma_c=5.0)
    r, pooled = opinion(rows), pooled_t(means, "turned", "left")
    assert r.interval.estimate == pytest.approx(pooled.estimate, abs=0.25)
    assert r.interval.se == pytest.approx(pooled.se, rel=0.15)
    assert r.interval.df == pytest.approx(6, abs=0.01)
    assert (r.heaps, r.readings) == (8, 8 * 60)
    assert "mixed model" in r.interval.method


def test_heap_variance_at_zero_does_not_make_readings_into_heaps() -> None:
    """Invented: heaps that happen to be alike; df stay those of the heaps, and it is said."""
    study = Study(quick_sd_c=3.0)
    rows, _ = trial(21, heaps=2, sigma_c=0.01, study=study)
    found = [opinion(trial(seed, heaps=2, sigma_c=0.01, study=study)[0]) for seed in range(21, 27)]
    at_zero = [r for r in found if "heap" in r.at_boundary]
    assert at_zero
    for r in at_zero:
        assert r.heap_sd_c == 0
        assert r.interval.df == 2 < r.satterthwaite_df
        assert "heaps of one way came out no further apart" in r.notes[0]
    assert all(r.interval.df <= 2 for r in found)
    assert len(rows) == 4


def test_null_trials_are_not_called_a_difference_more_often_than_said() -> None:
    """Two heaps each, no effect: .028 of 1000 (pooled t .054, z .177) when counted in full."""
    count = 400 if LONG else 30
    study = Study(rounds=10)
    false = sum(
        opinion(trial(500 + seed, study=study)[0]).interval.excludes_zero for seed in range(count)
    )
    # 5 % and three of its own standard errors
    assert false <= 0.05 * count + 3 * math.sqrt(0.0475 * count)


def test_gaps_and_staggered_rounds_are_no_hindrance() -> None:
    rows, _ = trial(31, heaps=3, lift_c=9.0, sigma_c=4.0)
    rng = np.random.default_rng(32)
    ragged = []
    for i, h in enumerate(rows):
        kept = rng.uniform(size=h.age_d.size) < 0.7
        kept[:3] = kept[-3:] = True
        spot = [s for s, k in zip(h.spot, kept, strict=True) if k]
        age = np.clip(h.age_d[kept] + 0.1 * i, 3, 60)
        ragged.append(HeapReadings.of(h.heap, h.way, spot, age, h.excess_c[kept]))
    full, part = opinion(rows), opinion(ragged)
    assert part.interval.estimate == pytest.approx(full.interval.estimate, abs=1.0)
    assert part.interval.se == pytest.approx(full.interval.se, rel=0.2)


def test_few_rounds_and_one_spot_leave_parts_out() -> None:
    rows, _ = trial(41, heaps=3, study=Study(rounds=4, spots=1))
    r = opinion(rows)
    assert (r.spot_sd_c, r.wander_sd_c, r.wander_d) == (None, None, None)
    assert "wander" not in r.interval.method


def test_a_third_way_helps_to_know_the_spread() -> None:
    rows, _ = trial(51, heaps=3)
    third = [HeapReadings(h.heap, "vented" if h.heap in "CF" else h.way, h.spot, h.age_d,
                          h.excess_c) for h in rows]  # fmt: skip
    r = opinion(third)
    assert r.interval.df <= 3
    assert r.heaps == 6
    lone = [h for h in third if h.heap not in "BE"]
    assert second_opinion(lone, "turned", "left", (3, 60)).interval.df == 1


def test_a_large_trial_takes_seconds() -> None:
    rows, _ = trial(61, heaps=4, study=Study(rounds=60))
    start = time.process_time()
    assert opinion(rows).readings == 8 * 180
    assert time.process_time() - start < 20


def test_a_logger_is_averaged_down_and_it_is_said() -> None:
    """Invented: readings every four hours instead of every day."""
    rows, _ = trial(91, heaps=2, study=Study(rounds=343, spots=2), sigma_c=4.0)
    thin = [
        HeapReadings.of(h.heap, h.way, h.spot[::12] + h.spot[1::12],
                        np.r_[h.age_d[::12], h.age_d[1::12]],
                        np.r_[h.excess_c[::12], h.excess_c[1::12]])
        for h in rows
    ]  # fmt: skip
    r, few = opinion(rows), opinion(thin)
    assert r.readings <= 4 * 2 * 81
    assert "averaged over 17 hours" in r.notes[0]
    assert r.interval.estimate == pytest.approx(few.interval.estimate, abs=0.5)
    assert r.interval.se == pytest.approx(few.interval.se, rel=0.1)


def test_one_heap_each_is_refused() -> None:
    rows, _ = trial(71, heaps=1)
    with pytest.raises(NotEnoughError, match=r"heaps: with one heap each .*second heap"):
        opinion(rows)


def test_what_cannot_be_compared_is_refused() -> None:
    rows, _ = trial(81)
    with pytest.raises(UnknownNameError, match=r"way = covered: .*left, turned"):
        second_opinion(rows, "covered", "left", (3, 60))
    with pytest.raises(InputError, match="compared with itself"):
        second_opinion(rows, "left", "left", (3, 60))
    with pytest.raises(InputError, match=r"window = 60 to 3 days: .*3 to 60"):
        second_opinion(rows, "turned", "left", (60, 3))
    with pytest.raises(NotEnoughError, match=r"heap A does not cover day 3 to day 80"):
        second_opinion(rows, "turned", "left", (3, 80))
    with pytest.raises(InputError, match=r"heap = A: a heap comes twice"):
        second_opinion([*rows, rows[0]], "turned", "left", (3, 60))
    with pytest.raises(NotEnoughError, match="single round"):
        second_opinion(rows, "turned", "left", (2.7, 3.2))
    with pytest.raises(InputError, match="a spot, an age and a value"):
        HeapReadings.of("A", "left", ["core"], [1.0, 2.0], [3.0, 4.0])
    with pytest.raises(NotEnoughError, match="heap A has no readings"):
        HeapReadings.of("A", "left", [], [], [])
    with pytest.raises(InputError, match="must be numbers"):
        HeapReadings.of("A", "left", ["core"], [1.0], [math.inf])
