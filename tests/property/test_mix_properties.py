"""What holds for any mix."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heapwright.science import mixing
from heapwright.science.geometry import Body, height_for_volume

masses = st.lists(st.floats(0.1, 1e3), min_size=1, max_size=6)
moistures = st.floats(0.0, 0.95)
shares = st.floats(0.001, 0.5)


@settings(max_examples=60, deadline=None)
@given(data=st.data(), mass=masses)
def test_a_mix_lies_between_its_parts(data: st.DataObject, mass: list[float]) -> None:
    n = len(mass)
    moisture = data.draw(st.lists(moistures, min_size=n, max_size=n))
    carbon = data.draw(st.lists(shares, min_size=n, max_size=n))
    nitrogen = data.draw(st.lists(shares, min_size=n, max_size=n))
    wet = mixing.mix_moisture(mass, moisture)
    ratio = mixing.mix_cn(mass, moisture, carbon_dm=carbon, nitrogen_dm=nitrogen)
    each = np.array(carbon) / np.array(nitrogen)
    assert min(moisture) - 1e-9 <= wet <= max(moisture) + 1e-9
    assert each.min() * (1 - 1e-9) <= ratio <= each.max() * (1 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.floats(1, 1e4), st.floats(0.05, 0.6), st.floats(0.0, 0.3))
def test_water_added_gives_the_goal(mass: float, moisture: float, more: float) -> None:
    goal = moisture + more
    water = mixing.water_to_add(mass, moisture, goal_moisture_wb=goal)
    assert mixing.mix_moisture([mass, water], [moisture, 1.0]) == pytest.approx(goal)
    dry = mass * (1 - moisture)
    again = mixing.water_for_dry_mass(dry, moisture, goal_moisture_wb=goal)
    assert again == pytest.approx(water, rel=1e-6, abs=1e-6 * mass)


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(["cone", "mound", "dome", "cylinder", "box"]),
    st.floats(0.3, 20),
    st.floats(0.1, 5),
)
def test_height_and_volume_undo_each_other(shape: str, width: float, height: float) -> None:
    volume = Body(shape, width, height).volume_m3  # type: ignore[arg-type]
    found = height_for_volume(shape, volume, width_m=width)  # type: ignore[arg-type]
    assert found == pytest.approx(height, rel=1e-9)
