"""From numbers to a heap of the simulator."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.inference.invented import course, subject

from heapwright.engine.composition import chips
from heapwright.engine.parameters import Parameters
from heapwright.inference.members import member_of, run_chunk
from heapwright.inference.priors import Space, knobs
from heapwright.inference.readings import Read


def test_no_numbers_make_the_median_heap() -> None:
    made = member_of(subject(), {})
    plain = chips(0.1)
    assert np.allclose(made.recipe.pools, plain.pools)
    assert made.parameters.permeability == Parameters.published().permeability
    assert made.spec.moisture_wb == subject().spec.moisture_wb
    assert made.spec.spots == subject().spec.spots


def test_more_food_comes_from_the_wood_and_mass_stays() -> None:
    plain = member_of(subject(), {}).recipe
    rich = member_of(subject(), {"food": 2.0, "access": 1.1}).recipe
    assert rich.pools.sum() == pytest.approx(plain.pools.sum())
    soluble = plain.classes == 0
    assert rich.pools[soluble].sum() == pytest.approx(2 * plain.pools[soluble].sum())
    assert (rich.pools >= 0).all()
    huge = member_of(subject(), {"food": 1e6}).recipe
    assert huge.pools.sum() == pytest.approx(plain.pools.sum())
    assert (huge.pools >= 0).all()


def test_every_knob_but_that_of_a_spot_changes_the_member() -> None:
    base = repr(member_of(subject(), {}))
    for knob in knobs():
        name = "depth:core" if knob.level == "spot" else knob.name
        moved = member_of(subject(), {name: 1.3 if knob.times else 0.02})
        assert repr(moved) != base, knob.name


def test_deeper_is_nearer_to_the_middle() -> None:
    moved = member_of(subject(), {"depth:top": 0.05}).spec.spots[1].point_m
    assert moved[2] == pytest.approx(0.6)


def test_far_numbers_still_make_a_heap_that_runs() -> None:
    space = Space(("A",), (("A", "core"), ("A", "top")))
    numbers = [space.numbers(np.full(len(space.rows), z), "A") for z in (-3.0, 3.0)]
    for made in run_chunk(subject(), numbers, 1.0, None):
        assert np.isfinite(made.spots["core"]["temp_c"]).all()


def test_a_course_says_what_is_read() -> None:
    made = course([10.0, 20.0, 30.0])
    assert made.says(Read("A", "core", 1.5, 0.0)) == 25.0
    assert made.says(Read("A", "core", 1.5, 0.0, reached=0.8)) == 22.0
    assert made.says(Read("A", "elsewhere", 1.0, 0.0)) == 20.0
    assert made.says(Read("A", "", 1.0, 9.0, "mass_kg")) == pytest.approx(np.log(100.0))
    assert made.says(Read("A", "", 1.0, 9.0, "height_m")) == 0.5
