"""What the mix sums refuse, and arrays."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.errors import ImpossibleError, QuantityError
from heapwright.science import mixing


def test_dry_and_wet_basis_undo_each_other() -> None:
    assert mixing.wet_basis(mixing.dry_basis(0.62)) == pytest.approx(0.62)
    assert mixing.wet_basis(0.5) == pytest.approx(1 / 3)
    with pytest.raises(QuantityError, match="no dry mass"):
        mixing.dry_basis(1.0)


def test_goal_outside_the_two_moistures() -> None:
    with pytest.raises(ImpossibleError, match="Add a drier material"):
        mixing.amendment_for_moisture(10, 0.77, amendment_moisture_wb=0.65, goal_moisture_wb=0.6)
    with pytest.raises(ImpossibleError, match="Add water"):
        mixing.amendment_for_moisture(10, 0.50, amendment_moisture_wb=0.30, goal_moisture_wb=0.6)


def test_goal_outside_the_two_ratios() -> None:
    with pytest.raises(ImpossibleError, match="third material"):
        mixing.amendment_for_cn(
            10,
            0.5,
            carbon_dm=0.45,
            nitrogen_dm=0.03,
            amendment_moisture_wb=0.5,
            amendment_carbon_dm=0.45,
            amendment_nitrogen_dm=0.02,
            goal_cn_ratio=30,
        )


def test_weights_the_wrong_way_round() -> None:
    with pytest.raises(QuantityError, match="which weight is which"):
        mixing.moisture_from_weights(6.3, 14.0, container_mass_kg=4.0)
    with pytest.raises(QuantityError, match="heavier than the empty"):
        mixing.bulk_density_from_bucket(1, empty_mass_kg=10, container_l=20)
    with pytest.raises(QuantityError, match="cannot exceed"):
        mixing.free_air_space_from_bucket(21, 20)


def test_no_nitrogen_no_ratio() -> None:
    with pytest.raises(QuantityError, match="without nitrogen"):
        mixing.mix_cn([1.0], [0.5], carbon_dm=[0.5], nitrogen_dm=[0.0])
    with pytest.raises(QuantityError, match="at least one part"):
        mixing.mix_moisture([], [])


def test_one_column_a_draw() -> None:
    mass = np.array([[10.0, 10.0], [6.8, 0.0]])
    moisture = np.array([[0.77, 0.77], [0.35, 0.35]])
    assert mixing.mix_moisture(mass, moisture) == pytest.approx([0.60, 0.77])


def test_wetter_than_the_goal_needs_no_water() -> None:
    assert mixing.water_to_add(100.0, 0.7, goal_moisture_wb=0.6) == 0
    assert mixing.water_for_dry_mass(100.0, 0.7, goal_moisture_wb=0.6) == 0
    assert list(mixing.degradable_share(np.array([0.0, 0.9]))) == [0.83, 0.0]
