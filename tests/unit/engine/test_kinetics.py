"""Constants of decay, and the tables that the processes make of them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from heapwright.engine.biology import Decay, warm_rows
from heapwright.engine.box import run_box
from heapwright.engine.composition import chips
from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import CLASSES, FERMENTS, REACHABLE, SUBSTANCE, Kinetics, oxidations
from heapwright.engine.mesh import box_mesh
from heapwright.engine.six_groups import GROUPS, SixConstants, SixGroups
from heapwright.engine.state import empty_state
from heapwright.errors import InputError, QuantityError
from heapwright.science.decay import Cardinal, cardinal
from heapwright.science.values import value, values

SET = Kinetics.published()


def test_the_classes_line_up() -> None:
    assert len(CLASSES) == len(SUBSTANCE) == len(FERMENTS) == len(REACHABLE) == len(oxidations())
    assert [c for c, r in zip(CLASSES, REACHABLE, strict=True) if not r] == [
        "lignin", "hemicellulose out of reach", "cellulose out of reach", "protein out of reach",
        "fat out of reach",
    ]  # fmt: skip


def test_published_values_are_those_of_the_file_and_lie_in_their_ranges() -> None:
    assert SET.k_chip == value("kinetics", "k_chip").value == 0.05
    assert SET.k_oxygen == value("engine", "k_oxygen").value
    assert SET.thermophilic == Cardinal(25, 56, 74)
    for key, entry in values("kinetics").items():
        assert entry.low <= entry.value <= entry.high, key
        assert entry.source, key


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"k_wood": 1.0}, "no such constant"),
        ({"k_chip": -0.1}, "from 0 up"),
        ({"k_chip": math.nan}, "from 0 up"),
        ({"k_oxygen": 0.0}, "from 0 up"),
        ({"anoxic_share": 1.1}, "between 0 and 1"),
        ({"biomass_yield": 0.8}, "more microbes"),
        ({"mesophilic": 37.0}, "a curve is a Cardinal"),
        ({"k_chip": Cardinal(2, 37, 47)}, "a curve is a Cardinal"),
    ],
)
def test_constants_that_cannot_be_are_refused(changes: dict[str, float], match: str) -> None:
    with pytest.raises(QuantityError, match=match):
        SET.with_(**changes)


def test_no_food_gives_more_microbes_than_its_oxygen_and_carbon_allow() -> None:
    made = Decay(chips(0.1), SET.with_(biomass_yield=0.7))
    assert made.pool_par[:, [kernel.OXYGEN, kernel.CARBON]].min() > 0


def test_the_table_of_temperature_holds_the_curves_of_all_groups() -> None:
    made, temps = Decay(chips(0.1)), warm_rows()
    assert temps[0] == -50
    assert temps[-1] == 120
    middle = (temps[:-1] + temps[1:]) / 2
    for column, curve in ((kernel.MESO, SET.mesophilic), (kernel.THERMO, SET.thermophilic)):
        between = (made.warm[:-1, column] + made.warm[1:, column]) / 2
        assert np.abs(between - cardinal(middle, curve)).max() < 2e-3
    best = np.maximum(cardinal(temps, SET.wood_fungi), cardinal(temps, SET.thermophilic_fungi))
    assert np.array_equal(made.warm[:, kernel.FUNGI], best)
    for column, limit in ((kernel.DIE_MESO, 48), (kernel.DIE_THERMO, 68), (kernel.DIE_FUNGI, 60)):
        assert made.warm[temps <= limit, column].max() == 0
        just = made.warm[(temps > limit) & (temps <= 70), column]
        assert just == pytest.approx(2.0 / 86400)
        assert made.warm[temps.searchsorted(80.0), column] == pytest.approx(20.0 / 86400)


def test_wood_fungi_take_no_sugar_and_nothing_of_leaf() -> None:
    table = Decay(chips(0.1)).pool_par
    assert table[:, kernel.BY_FUNGI].tolist() == [0, 0, 0, 0, 1, 1, 1, 1, 1, 1]


def test_the_six_groups_hold_both_published_rows() -> None:
    one, two = SixConstants.published(), SixConstants.refitted()
    assert one.growth.tolist() == [0.2, 0.18, 0.1, 0.12, 0.1, 0.1]
    assert one.death.tolist() == [0.03, 0.02, 0.01, 0.015, 0.01, 0.01]
    assert one.hydrolysis[0].tolist() == [0.04, 0.02, 0.01, 0, 0, 0, 0, 0, 0, 0]
    assert one.hydrolysis[3].tolist() == [0, 0, 0, 0.009, 0, 0, 0, 0, 0, 0]
    assert one.hydrolysis[4].tolist() == [0, 0, 0, 0, 0.007, 0.007, 0.007, 0.007, 0.007, 0.007]
    assert two.hydrolysis[:2, :3].tolist() == [[0.072, 0.068, 0.09], [0.0001, 0.045, 0.057]]
    assert two.growth is not None
    assert np.array_equal(two.growth, one.growth)


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"speed": 1.0}, "no such constant"),
        ({"inert": 1.5}, "between 0 and 1"),
        ({"contois": 0.0}, "above 0"),
        ({"death": np.full(6, -1.0)}, "from 0 up"),
    ],
)
def test_constants_of_six_groups_that_cannot_be_are_refused(
    changes: dict[str, object], match: str
) -> None:
    with pytest.raises(QuantityError, match=match):
        SixConstants.published().with_(**changes)


def test_six_groups_start_with_the_living_they_are_told() -> None:
    made, mesh = SixGroups(chips(0.1)), box_mesh(2, 1, 1, 0.1)
    state = empty_state(mesh, made.rows, 1)
    made.start(state, mesh, np.array([0.1, 0.3]))
    assert state.dry_kg[mesh.cells] == pytest.approx([0.1, 0.3])
    organic = 0.4 * float(made.recipe.pools.sum())
    living = made.living_kg(state, mesh)
    assert list(living) == list(GROUPS)
    assert sum(list(living.values())[:4]) == pytest.approx(0.002 * organic)
    assert sum(list(living.values())[4:]) == pytest.approx(0.0002 * organic)
    assert made.share_of_fungi(state, mesh) == pytest.approx(1 / 11)


def test_shares_of_fungi_are_nought_where_nothing_lives() -> None:
    mesh = box_mesh(1, 1, 1, 0.1)
    for made in (Decay(chips(0.1)), SixGroups(chips(0.1))):
        course = run_box(made, days=0.1, start_c=-5.0, loss=None)
        assert abs(course.lost[-1]) < 1e-12
        state = empty_state(mesh, made.rows, 1)
        assert made.share_of_fungi(state, mesh) == 0


def test_a_box_warms_by_the_heat_it_makes() -> None:
    made = Decay(chips(0.1))
    kept = run_box(made, days=2.5, start_c=20.0, loss=0.0, step_s=300.0)
    assert kept.temp_c[-1] > 50
    assert np.all(np.diff(kept.temp_c) >= 0)
    water = 0.55 / 0.45
    dry = 1 - kept.lost
    capacity = dry[:-1] * 1400.0 + water * 4186.0
    gained = float((np.diff(kept.temp_c) * capacity).sum())
    assert gained == pytest.approx(float(kept.heat_w[1:].sum() * 300.0), rel=0.01)
    leaky = run_box(made, days=2.0, start_c=20.0, air_c=20.0, loss=0.05, step_s=300.0)
    assert leaky.temp_c.max() < kept.temp_c.max()
    assert leaky.first_above(200.0) == math.inf
    assert leaky.days_above(-40.0) == pytest.approx(2.0)


def test_a_box_that_cannot_be_is_refused() -> None:
    made = Decay(chips(0.1))
    with pytest.raises(InputError, match="the box takes"):
        run_box(made, days=1, step_s=7200.0)
    with pytest.raises(InputError, match="the box takes"):
        run_box(made, days=1, o2_frac=0.5)
    with pytest.raises(QuantityError):
        run_box(made, days=1, start_c=900.0)
