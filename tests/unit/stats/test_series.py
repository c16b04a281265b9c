"""From readings to one number a heap."""

from __future__ import annotations

import math

import numpy as np
import pytest

from heapwright.errors import InputError, NotEnoughError
from heapwright.stats.described import (
    days_to_peak,
    degree_hours,
    half_cooling_d,
    same_schedule,
)
from heapwright.stats.series import (
    AIR_SHORT,
    SAME_HOUR,
    SPOTS_APART,
    HeapSeries,
    excess_series,
    heap_value,
    shared_window,
    trailing_air,
)

STEADY = (np.arange(-10, 95, 0.7), np.full(150, 10.0))


def heap(name: str = "A", **spots: tuple[list[float], list[float]]) -> HeapSeries:
    return HeapSeries.of(name, spots)


def test_time_weighted_mean_not_the_mean_of_rounds() -> None:
    e = excess_series(heap(n=([0, 1, 2, 10], [10, 30, 50, 50])), STEADY)
    # 0-2 days: mean 20 above air; 2-10: 40
    assert heap_value(e, (0, 10)).value == pytest.approx((2 * 20 + 8 * 40) / 10)


def test_window_edges_are_interpolated_between_rounds() -> None:
    e = excess_series(heap(n=([0, 4, 8], [10, 50, 30])), STEADY, window=(1, 7))
    whole = excess_series(heap(n=([0, 4, 8], [10, 50, 30])), STEADY)
    by_hand = ((10 + 40) / 2 * 3 + (40 + 25) / 2 * 3) / 6
    assert heap_value(e, (1, 7)).value == pytest.approx(by_hand)
    assert heap_value(whole, (1, 7)).value == pytest.approx(by_hand)
    assert heap_value(e, (1, 7)).rounds == 1
    assert heap_value(e, (1, 7)).longest_gap_d == 4


def test_peak_is_a_round_inside_the_window() -> None:
    e = excess_series(heap(n=([0, 4, 8, 12], [10, 70, 30, 20])), STEADY)
    assert heap_value(e, (5, 12), measure="peak").value == pytest.approx(20)
    with pytest.raises(NotEnoughError, match="heap A does not cover day 5 to day 7"):
        heap_value(e, (5, 7), measure="peak")


@pytest.mark.parametrize(
    ("window", "why"), [((0, 60), "first read at 3.0 days"), ((3, 90), "last read at 60.0 days")]
)
def test_a_window_that_a_heap_does_not_cover_is_refused(
    window: tuple[float, float], why: str
) -> None:
    e = excess_series(heap("C", n=([3, 30, 60], [40, 60, 30])), STEADY, window=window)
    with pytest.raises(NotEnoughError, match="heap C") as caught:
        heap_value(e, window)
    assert why in str(caught.value)


def test_half_a_day_at_the_edge_is_covered() -> None:
    e = excess_series(heap(n=([3.4, 30, 59.7], [40, 60, 30])), STEADY)
    assert heap_value(e, (3, 60)).rounds == 3


def test_shared_window() -> None:
    a = excess_series(heap("A", n=([0, 40], [40, 60])), STEADY)
    b = excess_series(heap("B", n=([5, 50], [40, 60])), STEADY)
    c = excess_series(heap("C", n=([45, 50], [40, 60])), STEADY)
    assert shared_window({"A": a, "B": b}) == (5, 40)
    with pytest.raises(NotEnoughError, match="heap C was first read at 45 days"):
        shared_window({"A": a, "C": c})


def test_a_missing_spot_does_not_move_the_heap() -> None:
    """The cool spot is missed in half the rounds: a plain mean would see the heap warm up."""
    days = list(range(10))
    hot = [50.0 - d for d in days]
    cool = [30.0 - d for d in days]
    full = excess_series(heap(hot=(days, hot), cool=(days, cool)), STEADY)
    part = excess_series(heap(hot=(days, hot), cool=(days[:5], cool[:5])), STEADY)
    assert part.excess_c == pytest.approx(full.excess_c)
    assert heap_value(part, (0, 9)).value == pytest.approx(40 - 4.5 - 10)


def test_spots_without_a_common_round_are_flagged() -> None:
    e = excess_series(heap(n=([0, 1], [50, 50]), s=([2, 3], [30, 30])), STEADY)
    assert SPOTS_APART in e.flags
    assert e.temp_c.tolist() == [50, 50, 30, 30]


def test_additive_fit_is_least_squares() -> None:
    rng = np.random.default_rng(3)
    days = np.arange(8.0)
    table = rng.normal(40, 5, (8, 3))
    there = rng.random((8, 3)) < 0.7
    there[:, 0] = True
    e = excess_series(
        HeapSeries.of("A", {f"s{k}": (days[there[:, k]], table[there[:, k], k]) for k in range(3)}),
        STEADY,
    )
    rows, y = [], []
    for i, k in np.argwhere(there):
        row = np.zeros(11)
        row[i] = 1
        row[8 + k] = 1
        rows.append(row)
        y.append(table[i, k])
    rows.append(np.r_[np.zeros(8), np.full(3, 1e6)])  # spots add to zero
    y.append(0.0)
    fit = np.linalg.lstsq(np.array(rows), np.array(y), rcond=None)[0]
    assert e.temp_c == pytest.approx(fit[:8], abs=1e-6)


def test_readings_minutes_apart_are_one_round_and_a_logger_has_many() -> None:
    e = excess_series(heap(n=([1.0, 4.0], [50, 40]), s=([1.01, 4.02], [30, 20])), STEADY)
    assert e.temp_c.tolist() == [40, 30]
    hours = (np.arange(48) / 24).tolist()
    e = excess_series(heap(n=(hours, [50.0] * 48), s=(hours, [30.0] * 48)), STEADY)
    assert e.age_d.size == 48


def test_order_of_rows_does_not_matter() -> None:
    a = excess_series(heap(n=([0, 4, 8], [10, 50, 30])), STEADY)
    b = excess_series(heap(n=([8, 0, 4], [30, 10, 50])), STEADY)
    assert a.excess_c.tolist() == b.excess_c.tolist()


# --- air -----------------------------------------------------------------------------------------


def test_air_is_averaged_back_over_straight_lines() -> None:
    air, flags = trailing_air([6.0, 8.0], ([0, 6, 8], [0, 12, 20]), heap="A", memory_d=6.0)
    # day 2 to 6: 4 to 12; day 6 to 8: 12 to 20
    assert air == pytest.approx([6.0, (8 * 4 + 16 * 2) / 6])
    assert AIR_SHORT not in flags


def test_a_cold_front_is_no_step_in_the_heap() -> None:
    days = np.arange(0, 20.0)
    air = np.where(days < 10, 15.0, 3.0)
    back, _ = trailing_air(days[6:], (days, air), heap="A", memory_d=6.0)
    assert np.abs(np.diff(back)).max() <= 12 / 6 + 1e-9


def test_less_air_is_used_and_flagged() -> None:
    air, flags = trailing_air([2.0], ([0, 2.3], [4.0, 4.0]), heap="A", memory_d=6.0)
    assert air.tolist() == [4.0]
    assert AIR_SHORT in flags


@pytest.mark.parametrize("air", [None, ([], [])])
def test_no_air_at_all_is_refused_by_name(air: tuple[list[float], list[float]] | None) -> None:
    with pytest.raises(
        NotEnoughError, match=r"air_temp_c: there is no air reading .*heap B"
    ) as caught:
        excess_series(heap("B", n=([0, 3], [50, 40])), air)
    assert "weather record" in str(caught.value)


def test_air_that_stopped_is_refused_and_never_zero() -> None:
    with pytest.raises(NotEnoughError, match=r"heap B in the 6 days up to day 20\.0"):
        excess_series(heap("B", n=([0, 3, 20], [50, 40, 30])), ([0, 3], [10, 12]))
    with pytest.raises(NotEnoughError, match=r"up to day 0\.0"):
        excess_series(heap("B", n=([0, 3], [50, 40])), ([2, 3], [10, 12]))


def test_air_of_the_same_round_serves_a_reading_just_before_it() -> None:
    e = excess_series(heap(n=([0.0, 3.0], [50, 40])), ([0.05, 3.05], [10, 10]))
    assert e.excess_c.tolist() == [40, 30]


def test_same_hour_air_is_said() -> None:
    dawn = ([0.25, 3.26, 6.24], [5.0, 6.0, 7.0])
    assert SAME_HOUR in trailing_air([6.3], dawn, heap="A", memory_d=6.0)[1]
    midnight = ([0.99, 4.01], [5.0, 6.0])
    assert SAME_HOUR in trailing_air([4.0], midnight, heap="A", memory_d=6.0)[1]
    mixed = ([0.25, 3.6, 6.24], [5.0, 16.0, 7.0])
    assert SAME_HOUR not in trailing_air([6.3], mixed, heap="A", memory_d=6.0)[1]


# --- nonsense ------------------------------------------------------------------------------------


def test_nonsense_is_refused() -> None:
    with pytest.raises(NotEnoughError, match="heap A has no readings"):
        heap(n=([], []))
    with pytest.raises(InputError, match="one age"):
        heap(n=([0, 1], [20]))
    with pytest.raises(InputError, match="finite"):
        heap(n=([0, 1], [20, math.nan]))
    e = excess_series(heap(n=([0, 4], [10, 50])), STEADY)
    with pytest.raises(InputError, match="smaller to a larger"):
        heap_value(e, (4, 1))
    with pytest.raises(NotEnoughError):
        shared_window({})


# --- described outcomes --------------------------------------------------------------------------


def test_degree_hours_cross_the_limit_exactly() -> None:
    e = excess_series(heap(n=([0, 2, 4], [50, 60, 50])), STEADY)
    # two triangles of one day and 5 degrees
    assert degree_hours(e, (0, 4), 55.0) == pytest.approx(2 * 5 * 24 / 2)
    assert degree_hours(e, (0, 4), 40.0) == pytest.approx(15 * 4 * 24)
    assert degree_hours(e, (0, 4), 61.0) == 0
    with pytest.raises(NotEnoughError, match="heap A"):
        degree_hours(e, (0, 9), 40.0)


def test_peak_day_and_half_cooling() -> None:
    e = excess_series(heap(n=([0, 2, 6, 10], [10, 50, 34, 18])), STEADY)
    assert days_to_peak(e, (0, 10)) == 2
    assert half_cooling_d(e, (0, 10)) == pytest.approx(5.0)
    with pytest.raises(NotEnoughError, match="halfway"):
        half_cooling_d(e, (0, 6))


def test_identical_schedules() -> None:
    assert same_schedule({"A": [0, 3], "B": [3.2, 0.2]})
    assert not same_schedule({"A": [0, 3], "B": [0, 4]})
