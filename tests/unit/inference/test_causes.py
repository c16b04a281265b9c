"""Swapping causes from one heap into another."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.inference.invented import course, subject

from heapwright.engine.composition import chips
from heapwright.engine.scenario import Action, Pipe
from heapwright.inference.causes import CAUSES, gap_of, judged, swapped

PIPE = Pipe(((-0.7, 0.0, 0.15), (0.7, 0.0, 0.15)))
PLAIN = subject("A")
OTHER = replace(
    subject("B", volume_m3=0.8, moisture_wb=0.4, exposure=0.5, pipes=(PIPE,)),
    recipe=chips(0.3),
    actions=(Action(1.0, "watered", 20.0), Action(2.0, "turned"), Action(3.0, "vent plugged")),
)
MINE = {"rate": 1.0, "permeability": 1.0, "moisture": 0.0, "wind": 1.0, "depth:core": 0.0}
THEIRS = {"rate": 2.0, "permeability": 3.0, "moisture": 0.02, "wind": 1.5, "depth:core": 0.03}


def _into(cause: str):  # type: ignore[no-untyped-def]
    return swapped(PLAIN, MINE, OTHER, THEIRS, cause)


def test_material_takes_recipe_and_rates_and_nothing_else() -> None:
    made, numbers = _into("material")
    assert made.recipe is OTHER.recipe
    assert numbers == MINE | {"rate": 2.0}
    assert made.spec.moisture_wb == PLAIN.spec.moisture_wb
    assert made.actions == ()


def test_air_path_takes_pipes_laid_to_measure_and_what_was_done_to_them() -> None:
    made, numbers = _into("air path")
    assert numbers == MINE | {"permeability": 3.0}
    (pipe,) = made.spec.pipes
    assert pipe.points_m[1][0] < PIPE.points_m[1][0]
    assert [a.kind for a in made.actions] == ["vent plugged"]
    back, _ = swapped(OTHER, THEIRS, PLAIN, MINE, "air path")
    assert back.spec.pipes == ()
    assert [a.kind for a in back.actions] == ["watered", "turned"]


def test_water_and_turning_take_what_was_done() -> None:
    made, numbers = _into("water")
    assert made.spec.moisture_wb == 0.4
    assert numbers["moisture"] == 0.02
    assert [a.kind for a in made.actions] == ["watered"]
    turned, _ = _into("turning")
    assert [a.kind for a in turned.actions] == ["turned"]


def test_size_takes_spots_with_it() -> None:
    made, numbers = _into("exposure and size")
    assert made.spec.volume_m3 == 0.8
    assert numbers["depth:core"] == 0.03
    assert made.spec.spots == OTHER.spec.spots


def test_all_causes_swapped_make_the_other_heap() -> None:
    made, numbers = PLAIN, MINE
    for cause in CAUSES:
        made, numbers = swapped(made, numbers, OTHER, THEIRS, cause)
    pipes = made.spec.pipes[0].points_m
    assert np.allclose(pipes, PIPE.points_m)
    assert replace(made.spec, pipes=(PIPE,), name="B") == OTHER.spec
    assert (made.recipe, made.actions) == (OTHER.recipe, OTHER.actions)
    assert numbers == THEIRS


def test_the_gap_is_the_mean_over_spots_and_days() -> None:
    warm, cool = course([10, 50, 50], [10, 40, 40]), course([10, 30, 30], [10, 30, 30])
    assert gap_of([warm], [cool], [1.0, 2.0]) == pytest.approx([15.0])


def test_a_clear_cause_is_named_and_an_unclear_one_is_not() -> None:
    rng = np.random.default_rng(1)
    big, small = rng.normal(8, 1, 60), rng.normal(1, 1, 60)
    found = judged("A", "B", big + small, {"material": (big, big + 1), "water": (small, small)})
    assert found.first == "material"
    assert [s.cause for s in found.shares] == ["material", "water"]
    assert found.shares[0].into_second - found.shares[0].into_first == pytest.approx(1.0)
    none = judged("A", "B", small, {"material": (small, small), "water": (small, small)})
    assert none.first is None


def test_causes_that_trade_are_said_to_be_confounded() -> None:
    rng = np.random.default_rng(1)
    x = rng.normal(4, 3, 60)
    found = judged("A", "B", np.full(60, 8.0), {"material": (x, x), "air path": (8 - x, 8 - x)})
    assert found.confounded == (("material", "air path"),)
