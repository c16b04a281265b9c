"""The filter that follows heaps, and the tests of single readings, pairs of heaps and rounds."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from heapwright.errors import InputError
from heapwright.stats.screenfilter import HeapFilter, Spreads
from heapwright.stats.screening import (
    Limits,
    doubtful,
    exchanges,
    round_shift,
    whole_round,
)
from heapwright.stats.screenlog import Mark, screen_log
from heapwright.stats.screenstudy import ScreenStudy, made_logs, screening_rates

LEVELS = np.array([52.0, 40.0, 45.0])


def followed(rounds: int = 8, spots: int = 3, seed: int = 1) -> HeapFilter:
    """Three heaps at 52, 40 and 45 C above air, read daily, and the day after."""
    rng = np.random.default_rng(seed)
    kept = HeapFilter(3, spots)
    for day in range(rounds):
        kept.advance(day)
        kept.take(LEVELS[None, :, None] + rng.normal(0, 2, (1, 3, spots)))
    kept.advance(rounds)
    return kept


def as_expected(kept: HeapFilter) -> np.ndarray:
    return kept.expect().mean.copy()


# --- the filter ----------------------------------------------------------------------------------


def test_the_filter_finds_level_and_spots() -> None:
    kept = HeapFilter(1, 2)
    for day in range(60):
        kept.advance(day)
        kept.take([[[41.0, 39.0]]])
    kept.advance(60)
    mean = kept.expect().mean[0, 0]
    assert mean.mean() == pytest.approx(40, abs=0.1)
    assert mean[0] - mean[1] == pytest.approx(2, abs=0.6)


def test_no_time_gives_no_variance_and_time_does() -> None:
    kept = followed()
    before = kept.variance.copy()
    kept.advance(8)
    assert np.allclose(kept.variance, before)
    kept.advance(11)
    assert (np.diagonal(kept.variance[0])[::5] > np.diagonal(before[0])[::5]).all()


@pytest.mark.parametrize("step", [0.3, 1.0, 7.0, 100.0])
def test_many_short_steps_equal_a_long_one_but_for_the_quick_swings(step: float) -> None:
    s = Spreads.published()
    quiet = Spreads(**{n: getattr(s, n) for n in Spreads.__slots__} | {"quick_sd_c": 0.0})
    one, many = HeapFilter(1, 1, spreads=quiet), HeapFilter(1, 1, spreads=quiet)
    for kept in (one, many):
        kept.advance(0)
        kept.take([[[30.0]]])
    one.advance(step)
    for part in np.linspace(0, step, 11)[1:]:
        many.advance(float(part))
    assert np.allclose(one.variance, many.variance, rtol=1e-9)
    assert np.allclose(one.state, many.state)


def test_a_turn_widens_what_is_expected_of_that_heap_only() -> None:
    plain, turned = followed(), followed()
    plain.advance(9)
    turned.advance(9, [True, False, False])
    a, b = plain.expect().covariance[0], turned.expect().covariance[0]
    assert b[0, 0] - a[0, 0] == pytest.approx(36)
    assert b[3, 3] == pytest.approx(a[3, 3])


def test_a_missing_heap_stays_as_uncertain_as_at_the_start_until_it_is_read() -> None:
    kept = HeapFilter(2, 1)
    for day in range(50):
        kept.advance(day)
        kept.take([[[30.0], [np.nan]]])
    s = Spreads.published()
    assert kept.variance[0, 3, 3] == pytest.approx(s.start_level_sd_c**2)
    assert kept.rounds.tolist() == [[50, 0]]
    assert kept.expect().ready.tolist() == [[True, False]]


def test_a_far_reading_moves_the_level_no_more_than_a_limited_one() -> None:
    far, farther, near = followed(), followed(), followed()
    for kept, add in ((far, 60.0), (farther, 600.0), (near, 0.0)):
        y = as_expected(kept)
        y[0, 0, 0] += add
        kept.take(y)
    assert np.allclose(far.state, farther.state)
    assert abs(far.state[0, 0] - near.state[0, 0]) < 4


def test_the_scale_follows_the_scatter_and_has_a_floor() -> None:
    rng = np.random.default_rng(3)
    calm, wild = HeapFilter(2, 3), HeapFilter(2, 3)
    for day in range(40):
        for kept, sd in ((calm, 0.0), (wild, 5.0)):
            kept.advance(day)
            kept.take(40 + rng.normal(0, 1, (1, 2, 3)) * sd)
    assert calm.scale[0] == pytest.approx(Spreads.published().scale_low)
    assert wild.scale[0] > 2


def test_time_backwards_and_empty_filters_are_refused() -> None:
    kept = followed()
    with pytest.raises(InputError, match="backwards"):
        kept.advance(3)
    with pytest.raises(InputError, match="at least one heap"):
        HeapFilter(0, 3)
    with pytest.raises(InputError):
        made_logs(np.random.default_rng(1), 0, 1.0)


# --- the tests -----------------------------------------------------------------------------------


@pytest.mark.parametrize("add", [-20.0, 20.0, 70.0])
def test_one_wrong_reading_is_found_and_its_sisters_are_not(add: float) -> None:
    kept = followed()
    y = as_expected(kept)
    y[0, 1, 2] += add
    found = doubtful(kept.expect(), y)
    assert np.argwhere(found.asked[0]).tolist() == [[1, 2]]
    assert found.expected[0, 1, 2] == pytest.approx(y[0, 1, 2] - add, abs=0.5)
    assert abs(found.z[0, 1, 2]) > 3


def test_two_wrong_readings_of_one_heap_are_found() -> None:
    kept = followed()
    y = as_expected(kept)
    y[0, 1, :2] += [60, 25]
    assert np.argwhere(doubtful(kept.expect(), y).asked[0]).tolist() == [[1, 0], [1, 1]]


def test_nothing_is_asked_before_the_fifth_round() -> None:
    early, late = followed(4), followed(3)
    for kept, asked in ((early, 1), (late, 0)):
        y = as_expected(kept)
        y[0, 0, 0] += 50
        assert int(doubtful(kept.expect(), y).asked.sum()) == asked


def test_missing_spots_do_not_matter() -> None:
    kept = followed()
    y = as_expected(kept)
    y[0, 0] = [np.nan, np.nan, y[0, 0, 2] + 25]
    y[0, 2] = np.nan
    found = doubtful(kept.expect(), y)
    assert np.argwhere(found.asked[0]).tolist() == [[0, 2]]
    assert np.isfinite(found.z).all()


def test_exchanged_heaps_are_found_and_right_ones_are_not() -> None:
    kept = followed()
    y = as_expected(kept)
    right = exchanges(kept.expect(), y)
    assert not right.asked.any()
    y[:, [0, 1]] = y[:, [1, 0]]
    found = exchanges(kept.expect(), y)
    assert found.pairs[int(np.argmax(found.ratio[0]))] == (0, 1)
    assert found.asked[0, 0]
    assert found.gap_c[0, 0] == pytest.approx(12, abs=3)


def test_one_wrong_reading_does_not_look_like_an_exchange() -> None:
    kept = followed()
    for add in (-40.0, -20.0, 20.0, 60.0, 470.0):
        y = as_expected(kept)
        y[0, 1, 0] += add
        assert not exchanges(kept.expect(), y).asked.any()


def test_exchanged_heaps_with_other_spots_read() -> None:
    kept = followed()
    y = as_expected(kept)
    y[:, [0, 1]] = y[:, [1, 0]]
    y[0, 0, 1] = np.nan
    found = exchanges(kept.expect(), y)
    assert found.asked[0, 0]
    assert int(np.argmax(found.ratio[0])) == 0


@pytest.mark.parametrize(
    ("factor", "add", "name"), [(1.8, 32, "F"), (1 / 1.8, -32 / 1.8, "C"), (10, 0, "tenth"),
                                (0.1, 0, "tenfold"), (1, 0, "")],
)  # fmt: skip
def test_whole_rounds_in_another_unit(factor: float, add: float, name: str) -> None:
    kept = followed()
    temp = (as_expected(kept) + 10) * factor + add
    assert whole_round(kept.expect(), temp, 10.0).tolist() == [name]


def test_one_slip_is_no_slip_of_the_round() -> None:
    kept = followed()
    y = as_expected(kept)
    y[0, 0, 0] *= 10
    assert whole_round(kept.expect(), y, 0.0).tolist() == [""]
    two = np.full_like(y, np.nan)
    two[0, :2, 0] = [520.0, y[0, 1, 0]]
    assert whole_round(kept.expect(), two, 0.0).tolist() == [""]


def test_a_round_shifted_alike() -> None:
    kept = followed()
    size, z = round_shift(kept.expect(), as_expected(kept) - 20)
    assert size[0] == pytest.approx(-20)
    assert z[0] < -4.5
    assert abs(round_shift(kept.expect(), as_expected(kept))[1][0]) < 1e-9


def test_limits_of_a_sheet_grow_with_it_and_never_fall() -> None:
    one, short, long = (
        Limits.published(), Limits.published().for_sheet(1, 1, 0),
        Limits.published().for_sheet(6000, 500, 500),
    )  # fmt: skip
    assert short.ask_beyond == one.ask_beyond
    assert long.ask_beyond > 4.5
    assert long.exchange_ratio == pytest.approx(np.log(50000))


# --- logs ----------------------------------------------------------------------------------------


def history(days: int = 8, spots: tuple[str, ...] = ("core", "north")) -> list[Mark]:
    return [
        Mark(float(d), h, s, t, walk=f"w{d}")
        for d in range(days)
        for h, t in (("A", 52.0), ("B", 40.0))
        for s in spots
    ]


def test_one_slip_is_one_doubt() -> None:
    fresh = [Mark(8, "A", "core", 25.0, 0), Mark(8, "A", "north", 52.0, 1),
             Mark(8, "B", "core", 40.0, 2), Mark(8, "B", "north", 40.0, 3)]  # fmt: skip
    (doubt,) = screen_log(history() + fresh)
    assert (doubt.kind, doubt.new, doubt.heaps) == ("reading", (0,), ("A",))
    assert doubt.expected_c[0] == pytest.approx(52, abs=1.5)


def test_a_reading_answered_for_is_not_asked_about_again() -> None:
    sure = [Mark(8, "A", "core", 25.0, 0, sure=True), Mark(8, "A", "north", 52.0, 1)]
    assert screen_log(history() + sure) == []


def test_a_turn_makes_a_drop_no_surprise() -> None:
    fresh = [
        Mark(8, h, s, 40.0, n)
        for n, (h, s) in enumerate(itertools.product("AB", ("core", "north")))
    ]
    moved = {"A": [(7.1, 7.9)]}
    assert screen_log(history() + fresh, moved=moved) == []


def test_a_slip_of_the_whole_round_is_one_doubt() -> None:
    fresh = [
        Mark(8, h, s, {"A": 52, "B": 40}[h] * 1.8 + 32, n)
        for n, (h, s) in enumerate(itertools.product("AB", ("core", "north")))
    ]
    (doubt,) = screen_log(history() + fresh)
    assert (doubt.kind, doubt.new) == ("F", (0, 1, 2, 3))
    assert doubt.expected_c[0] == pytest.approx(46, abs=1)


@pytest.mark.parametrize("seed", range(12))
def test_strange_logs_are_screened_without_a_crash(seed: int) -> None:
    """Irregular times, few or many heaps and spots, doubles, gaps, with and without air."""
    rng = np.random.default_rng(seed)
    heaps, spots = int(rng.integers(1, 60)), int(rng.integers(1, 12))
    marks = []
    for n in range(int(rng.integers(1, 400))):
        day = float(rng.choice([rng.uniform(0, 200), rng.integers(0, 9), 3.0]))
        new = n if rng.random() < 0.5 else None
        temp = float(rng.choice([rng.uniform(-40, 95), 520.0, 45.0]))
        heap, spot = f"h{rng.integers(heaps)}", f"s{rng.integers(spots)}"
        marks.append(Mark(day, heap, spot, temp, new, str(rng.choice(["", f"w{day:.0f}"]))))
    air = (rng.uniform(0, 200, 5), rng.uniform(-5, 25, 5)) if seed % 3 else None
    moved = {"h0": [(3.0, 5.0), (50.0, 50.0)], "nowhere": [(1.0, 2.0)]}
    for sheet in (False, True):
        for doubt in screen_log(marks, air=air, moved=moved, sheet=sheet):
            assert doubt.new
            assert np.isfinite([*doubt.read_c, *doubt.expected_c, doubt.sd_c]).all()


def test_no_log_is_no_doubt() -> None:
    assert screen_log([]) == []
    assert screen_log([Mark(0, "A", "core", 50.0, 0)]) == []


def test_the_study_runs_on_other_shapes() -> None:
    study = ScreenStudy(heaps=1, spots=1, last_d=20)
    rates = screening_rates(np.random.default_rng(1), 4, 2.0, study=study, air=False)
    assert rates["false, a reading"]["tries"] == 4 * 6
    assert "exchanged, gap 6-10 C" not in rates
