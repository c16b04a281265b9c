"""No change, the cooling curve, and the score of a forecast."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.errors import NotEnoughError
from heapwright.inference.rivals import cooling, coverage, no_change, score

DAY = np.array([0.0, 2.0, 4.0, 6.0, 8.0, 10.0])
AIR = np.array([10.0, 12.0, 9.0, 11.0, 10.0, 8.0])
LATER, LATER_AIR = np.array([12.0, 17.0]), np.array([14.0, 6.0])


def test_no_change_is_the_last_reading() -> None:
    assert no_change(np.array([20.0, 31.5]), 3).tolist() == [31.5] * 3
    with pytest.raises(NotEnoughError, match="nothing was read"):
        no_change(np.array([]), 3)


def test_the_cooling_curve_finds_its_own_rate_from_the_peak_on() -> None:
    above = np.where(DAY < 4, 5.0 + 5.0 * DAY, 40.0 * np.exp(-0.08 * (DAY - 4)))
    made = cooling(DAY, AIR + above, AIR, LATER, LATER_AIR)
    wanted = LATER_AIR + 40.0 * np.exp(-0.08 * (LATER - 4))
    assert np.allclose(made, wanted, atol=1e-3)


def test_a_heap_that_still_rises_stays_as_far_above_air() -> None:
    made = cooling(DAY, AIR + 3.0 * DAY, AIR, LATER, LATER_AIR)
    assert np.allclose(made, LATER_AIR + 30.0)
    with pytest.raises(NotEnoughError):
        cooling(np.array([]), np.array([]), np.array([]), LATER, LATER_AIR)


def test_a_heap_that_never_cools_is_said_to_stay() -> None:
    made = cooling(DAY, AIR + 25.0, AIR, LATER, LATER_AIR)
    assert np.allclose(made, LATER_AIR + 25.0)


def test_score_of_a_forecast() -> None:
    read = np.array([40.0, 42.0])
    members = np.array([[39.0, 50.0], [40.0, 51.0], [41.0, 52.0]])
    got = score(read, members, np.array([43.0, 43.0]), np.array([40.0, 40.0]))
    assert got.rmse_c == pytest.approx(np.sqrt((0.0**2 + 9.0**2) / 2))
    assert got.no_change_rmse_c == pytest.approx(np.sqrt((9.0 + 1.0) / 2))
    assert got.cooling_rmse_c == pytest.approx(np.sqrt(2.0))
    assert got.coverage80 == 0.5
    assert got.n == 2
    assert coverage(read, read - 1, read) == 1.0
