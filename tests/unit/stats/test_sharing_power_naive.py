"""Sharing out loads, planning the number of heaps, and trials without effect."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest

from heapwright.errors import ImpossibleError, InputError, QuantityError
from heapwright.stats.naive import Study, null_readings, null_trial, round_anova_p, t_test_p
from heapwright.stats.power import (
    Layout,
    classical_gap,
    detectable_gap,
    expected_half_width,
    explainable_gap,
    floor_in_blocks,
    permutation_floor,
    sampling_variance,
)
from heapwright.stats.sharing import (
    balance,
    deal_buffered,
    deal_one_at_a_time,
    draw_lots,
    next_heap,
)

Deal = Callable[[list[float], int], list[int]]


def barrows(rng: np.random.Generator, count: int) -> list[float]:
    """Loads in batches of six: SD 12 between, 8 within, mean 50, clipped."""
    batch = np.repeat(rng.normal(50, 12, math.ceil(count / 6)), 6)[:count]
    return [float(x) for x in np.clip(batch + rng.normal(0, 8, count), 0, 100)]


def spread(deal: Deal, heaps: int, each: int, *, error: float = 0.0, trials: int = 1500) -> float:
    rng = np.random.default_rng(20)
    total = 0.0
    for _ in range(trials):
        true = np.array(barrows(rng, heaps * each))
        seen = true + rng.normal(0, error, true.size) if error else true
        to = np.array(deal(seen.tolist(), heaps))
        total += float(np.var([true[to == i].mean() for i in range(heaps)], ddof=1))
    return math.sqrt(total / trials)


def test_spread_of_buffered_dealing() -> None:
    assert spread(deal_buffered, 4, 12) == pytest.approx(0.6, abs=0.06)
    assert spread(deal_buffered, 4, 12, error=8) == pytest.approx(1.9, abs=0.15)


def test_spread_of_dealing_one_at_a_time() -> None:
    assert spread(deal_one_at_a_time, 3, 8) == pytest.approx(1.7, abs=0.2)
    assert spread(deal_one_at_a_time, 3, 8, error=8) == pytest.approx(2.6, abs=0.4)


def test_spread_of_careless_dealing() -> None:
    def in_sequence(scores: list[float], heaps: int) -> list[int]:
        return [i * heaps // len(scores) for i in range(len(scores))]

    assert spread(in_sequence, 4, 12) == pytest.approx(8.8, abs=0.5)
    lots = np.random.default_rng(2)

    def by_lot(scores: list[float], heaps: int) -> list[int]:
        return [int(k) for k in lots.permutation(np.arange(len(scores)) % heaps)]

    assert spread(by_lot, 4, 12) == pytest.approx(4.0, abs=0.3)


@pytest.mark.parametrize("deal", [deal_buffered, deal_one_at_a_time])
@pytest.mark.parametrize(("count", "heaps"), [(48, 4), (48, 5), (48, 7), (3, 4), (0, 2)])
def test_loads_differ_by_one_at_most(deal: Deal, count: int, heaps: int) -> None:
    scores = barrows(np.random.default_rng(count), count)
    dealt = deal(scores, heaps)
    names = [chr(65 + i) for i in range(heaps)]
    report = balance(scores, dealt, names)
    assert report.even
    assert report.load_gap <= 1
    assert sum(report.loads.values()) == count
    assert deal(scores, heaps) == dealt


def test_balance_by_hand() -> None:
    report = balance([80.0, 20.0, 60.0], [0, 1, 1], ["A", "B"])
    assert report.loads == {"A": 1, "B": 2}
    assert report.mean_score == {"A": 80.0, "B": 40.0}
    assert report.score_gap == 40.0
    assert report.score_sd == pytest.approx(28.28, abs=0.01)
    empty = balance([80.0], [0], ["A", "B"])
    assert math.isnan(empty.mean_score["B"])
    assert empty.score_gap == 0


def test_next_heap_follows_the_running_sum_only_among_the_fewest() -> None:
    assert next_heap([2, 2, 3], [90, 110, 10], 80) == 0
    assert next_heap([2, 2, 3], [90, 110, 10], 10) == 1
    assert next_heap([2, 1, 3], [90, 110, 10], 80) == 1


def test_lots_are_uniform_and_repeat_with_the_seed() -> None:
    heaps, ways = ["A", "B", "C", "D"], {"left": 2, "turned": 2}
    once = draw_lots(heaps, ways, np.random.default_rng(11))
    assert once == draw_lots(heaps, ways, np.random.default_rng(11))
    rng = np.random.default_rng(12)
    seen = Counter(tuple(draw_lots(heaps, ways, rng).values()) for _ in range(6000))
    assert len(seen) == 6
    chi2 = sum((n - 1000) ** 2 / 1000 for n in seen.values())
    assert chi2 < 20.5  # 5 degrees of freedom, one in a thousand


def test_sharing_refuses_nonsense() -> None:
    rng = np.random.default_rng(0)
    with pytest.raises(ImpossibleError, match="ask for 3 heaps and there are 2"):
        draw_lots(["A", "B"], {"left": 2, "turned": 1}, rng)
    with pytest.raises(InputError, match="same name"):
        draw_lots(["A", "A"], {"left": 2}, rng)
    with pytest.raises(InputError, match="fewer than no heaps"):
        draw_lots(["A"], {"left": 2, "turned": -1}, rng)
    for deal in (deal_buffered, deal_one_at_a_time):
        with pytest.raises(QuantityError, match="at least one heap"):
            deal([1.0], 0)
        with pytest.raises(QuantityError, match="leafiness"):
            deal([math.nan], 2)
    with pytest.raises(InputError, match="every load"):
        balance([1.0], [], ["A"])
    with pytest.raises(InputError, match="a count and a sum"):
        next_heap([1], [], 1.0)


# --- power ---------------------------------------------------------------------------------------


def test_detectable_gap_holds_in_a_simulation() -> None:
    from heapwright.stats.contrast import informed_contrast
    from heapwright.stats.prior import SpreadPrior

    prior, rng, n = SpreadPrior.published(), np.random.default_rng(9), 3
    gap, sd = detectable_gap(n), math.sqrt(4.5**2 + 0.8)
    found = 0
    for _ in range(4000):
        groups = {"a": rng.normal(0, sd, n), "b": rng.normal(gap, sd, n)}
        found += informed_contrast(groups, "b", "a", prior).excludes_zero
    assert found / 4000 == pytest.approx(0.80, abs=0.02)


def test_more_heaps_help_and_more_ways_cost() -> None:
    gaps = [detectable_gap(n) for n in (1, 2, 3, 4, 6)]
    assert gaps == sorted(gaps, reverse=True)
    assert detectable_gap(2, ways=3) > detectable_gap(2)
    assert detectable_gap(2, power=0.9) > detectable_gap(2)
    assert explainable_gap(1, 3) > explainable_gap(1, 2) == expected_half_width(1)


@pytest.mark.parametrize(
    ("yards", "gap", "found", "half"),
    [(2, 13.3, 0.18, 46.5), (3, 10.8, 0.37, 14.3), (4, 9.4, 0.51, 9.5), (6, 7.6, 0.64, 6.5)],
)
def test_yards_with_a_pair_each_against_a_simulation(
    yards: int, gap: float, found: float, half: float
) -> None:
    from heapwright.stats.contrast import t_quantile

    sd = math.sqrt(2 * (4.5**2 + 0.8))
    seen = np.random.default_rng(yards).normal(gap, sd, (20_000, yards))
    reach = t_quantile(0.95, yards - 1) * seen.std(axis=1, ddof=1) / math.sqrt(yards)
    made = Layout.pairs(yards)
    assert made.power(gap, informed=False) == pytest.approx(found, abs=0.006)
    share = (np.abs(seen.mean(axis=1)) > reach).mean()
    assert made.power(gap, informed=False) == pytest.approx(share, abs=0.012)
    assert made.half_width(informed=False) == pytest.approx(half, abs=0.06)
    assert reach.mean() == pytest.approx(half, rel=0.02)


def test_prior_free_figures_are_the_classical_ones() -> None:
    from scipy import stats

    for n in (2, 3, 6):
        made = Layout.even(n)
        assert made.gap_in_sds() == pytest.approx(classical_gap(n, 1.0), abs=1e-6)
        # one sample of n differences: the noncentral t
        pairs, sd = Layout.pairs(n), math.sqrt(2 * (4.5**2 + 0.8))
        nc, crit = 9.0 * math.sqrt(n) / sd, float(stats.t.ppf(0.975, n - 1))
        exact = float(stats.nct.sf(crit, n - 1, nc) + stats.nct.cdf(-crit, n - 1, nc))
        assert pairs.power(9.0, informed=False) == pytest.approx(exact, abs=1e-6)
        assert pairs.detectable(exact, informed=False) == pytest.approx(9.0, abs=1e-3)
        assert pairs.detectable(informed=False) > pairs.detectable()
    with pytest.raises(QuantityError, match="no heap is left over"):
        Layout.pairs(1).half_width(informed=False)
    with pytest.raises(QuantityError, match="takes up no more"):
        Layout(2, (2,), taken=3)


def test_what_factors_take_up_makes_figures_wider() -> None:
    plain, crossed = Layout(4, (4,)), Layout(4, (4,), taken=2)
    assert crossed.within_df == plain.within_df - 2
    assert crossed.half_width() > plain.half_width()
    assert crossed.half_width(informed=False) > plain.half_width(informed=False)


def test_floors_in_blocks_by_counting() -> None:
    assert floor_in_blocks([(2, 3)]) == permutation_floor(2, 3) == 0.1
    for blocks in ([(1, 1)] * 3, [(2, 2), (1, 1)], [(2, 1), (1, 1)]):
        # lopsided values, so that nothing ties but a mirror image
        deals = itertools.product(*(itertools.combinations(range(a + b), a) for a, b in blocks))
        level = sum(sum(i * i for i in range(a + b)) * a / (a + b) for a, b in blocks)
        off = [abs(sum(i * i for d in deal for i in d) - level) for deal in deals]
        most = sum(o == pytest.approx(max(off)) for o in off)
        assert floor_in_blocks(blocks) == pytest.approx(most / len(off))


def test_rounds_hardly_matter() -> None:
    few = classical_gap(3, math.sqrt(4.5**2 + sampling_variance(1, 5)))
    many = classical_gap(3, math.sqrt(4.5**2 + sampling_variance(12, 60)))
    assert (round(few, 1), round(many, 1)) == (15.0, 14.0)


def test_power_refuses_nonsense() -> None:
    for bad in (
        lambda: permutation_floor(0, 2),
        lambda: detectable_gap(0),
        lambda: detectable_gap(2, ways=1),
        lambda: detectable_gap(2, power=1.0),
        lambda: detectable_gap(2, sigma_c=0.0),
        lambda: classical_gap(1, 4.0),
        lambda: classical_gap(2, 0.0),
        lambda: sampling_variance(0, 5),
    ):
        with pytest.raises(QuantityError):
            bad()


# --- trials without effect -----------------------------------------------------------------------


def test_generator_has_the_spread_it_says() -> None:
    study = Study()
    excess, fixed, sigma = null_readings(np.random.default_rng(6), 20_000, heaps=1, sigma_c=4.0)
    assert set(sigma) == {4.0}
    assert fixed.std() == pytest.approx(4 * math.sqrt(0.7), rel=0.03)
    one = excess[:, 0, 7, 1] - study.curve[7]
    whole = 16 + 1.5**2 + 1.5**2 + 4.25
    assert one.var() == pytest.approx(whole, rel=0.04)
    assert study.days[[0, 1, -1]].tolist() == [3.0, 6.0, 60.0]
    assert study.curve[0] == pytest.approx(42 * (1 - math.exp(-1.5)) * math.exp(-3 / 45))


def test_a_log_repeats_with_its_seed() -> None:
    a, b = null_trial(4, heaps_per_way=2), null_trial(4, heaps_per_way=2)
    assert a == b
    assert a != null_trial(5, heaps_per_way=2)
    assert len(a.readings) == 4 * 20 * 3
    assert Counter(a.ways.values()) == {"left alone": 2, "turned": 2}
    heaps, spots, days, temps, air = zip(*a.readings, strict=True)
    assert set(heaps) == set(a.truth) == {"A", "B", "C", "D"}
    assert len(set(spots)) == 3
    assert (min(days), max(days), set(air)) == (3.0, 60.0, {10.0})
    assert all(-40 < t < 95 for t in temps)


def test_plain_t_test_is_the_usual_one() -> None:
    from scipy import stats

    excess, _, _ = null_readings(np.random.default_rng(8), 3, heaps=2)
    for i, p in enumerate(t_test_p(excess)):
        usual = stats.ttest_ind(excess[i, 0].ravel(), excess[i, 1].ravel()).pvalue
        assert p == pytest.approx(usual, rel=1e-9)


def test_round_anova_is_least_squares() -> None:
    from scipy import stats

    excess, _, _ = null_readings(np.random.default_rng(8), 2, heaps=4)
    for i, p in enumerate(round_anova_p(excess)):
        _, rounds, spots = excess[i].shape
        y = excess[i].ravel()
        r = np.tile(np.repeat(np.arange(rounds), spots), 4)
        way = np.repeat([0.0, 0.0, 1.0, 1.0], rounds * spots)
        rest = np.eye(rounds)[r]
        both = np.column_stack([rest, way])
        ss = [float(np.linalg.lstsq(x, y, rcond=None)[1][0]) for x in (rest, both)]
        df = y.size - rounds - 1
        assert p == pytest.approx(stats.f.sf((ss[0] - ss[1]) / (ss[1] / df), 1, df), rel=1e-6)


def test_naive_refuses_nonsense() -> None:
    with pytest.raises(InputError):
        null_readings(np.random.default_rng(1), 0)
    with pytest.raises(InputError):
        null_trial(1, heaps_per_way=0)
    with pytest.raises(InputError):
        t_test_p(np.zeros((1, 3, 2, 2)))
