"""Decay against closed forms, through the engine's own compiled kernels, in one cell.

Every problem switches all but one process off by its constants and holds the result to the exact
solution: with the order in dt that the kernel states, and the accounts to round-off.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from heapwright.domain.material import Ingredient
from heapwright.engine.biology import Decay
from heapwright.engine.composition import Recipe, chips, compose
from heapwright.engine.kernels import biology as first
from heapwright.engine.kernels import six_groups as second
from heapwright.engine.kinetics import CLASSES, DAY_S, Kinetics
from heapwright.engine.mesh import box_mesh
from heapwright.engine.six_groups import SixConstants, SixGroups
from heapwright.engine.state import State, Work, empty_state
from heapwright.science.decay import ammonia_partition
from heapwright.science.stoichiometry import of_substance

MESH = box_mesh(1, 1, 1, 0.1)
CELL = int(MESH.cells[0])
SET = Kinetics.published()
Y = 0.12
M = Y / (SET.k_oxygen + Y)
BEST_MESOPHILIC = 37.0
MOISTURE = 0.6  # a row of the table, so that the factor is exact
WET = 1.0 / (1.0 + math.exp(-SET.moisture_slope * (MOISTURE - SET.moisture_midpoint)))
STILL = {
    "k_soluble": 0.0, "k_protein": 0.0, "k_fat": 0.0, "k_chip": 0.0, "k_leaf": 0.0, "k_slow": 0.0,
    "k_acid": 0.0, "mu_bacteria": 0.0, "mu_fungi": 0.0, "death": 0.0, "biomass_decay": 0.0,
    "ammonia_escape": 0.0,
}  # fmt: skip


def one_pool(kind: int, per_d: float, *, mineral_n: float = 1.0) -> Recipe:
    """A recipe of a single pool with nitrogen in plenty."""
    return Recipe(
        pools=np.ones(1),
        pool_n=np.zeros(1),
        rate_per_d=np.array([per_d]),
        woody=np.zeros(1),
        classes=np.array([kind], dtype=np.int8),
        ash=0.0,
        organic_n=0.0,
        mineral_n=mineral_n,
    )


def cell(
    kinetics: Decay | SixGroups, *, temp_c: float = BEST_MESOPHILIC, o2: float = Y
) -> tuple[State, Work]:
    """One cell of 1 kg of dry matter."""
    state, work = empty_state(MESH, kinetics.rows, 1), Work(MESH)
    kinetics.start(state, MESH, 1.0)
    state.temp_c[CELL], state.o2[CELL] = temp_c, o2
    work["moisture"][CELL], work["water"][CELL] = MOISTURE, 1.5
    return state, work


def go(kinetics: Decay | SixGroups, state: State, work: Work, days: float, dt: float) -> None:
    for _ in range(round(days * DAY_S / dt)):
        kinetics.rates(state, work)
        kinetics.advance(state, work, dt)


def orders(error: Callable[[float], float], steps: tuple[float, ...]) -> list[float]:
    """Order in dt between each two steps, largest first."""
    found = [abs(error(dt)) for dt in steps]
    return [
        math.log(found[n] / found[n + 1]) / math.log(steps[n] / steps[n + 1])
        for n in range(len(steps) - 1)
    ]


# --- the usual kinetics --------------------------------------------------------------------------


@pytest.mark.parametrize("kind", range(len(CLASSES)), ids=CLASSES)
def test_one_pool_decays_by_first_order(kind: int) -> None:
    per_d = 0.4
    made = Decay(one_pool(kind, per_d), SET.with_(**STILL, start_bacteria=1.0))
    rate = per_d * WET * M
    exact = math.exp(-rate * 5.0)

    def error(dt: float) -> float:
        state, work = cell(made)
        go(made, state, work, 5.0, dt)
        return float(state.pools[0, CELL]) - exact

    leading = -exact * rate**2 * 5.0 / 2 * (600.0 / DAY_S)  # of Euler's rule
    assert error(600.0) == pytest.approx(leading, rel=0.01)
    assert orders(error, (3600.0, 1800.0, 900.0)) == pytest.approx([1.0, 1.0], abs=0.01)


@pytest.mark.parametrize(
    ("field", "temp_c", "mu", "start"),
    [("act_m", 37.0, "mu_bacteria", 0.06), ("act_t", 56.0, "mu_bacteria", 0.06),
     ("act_f", 30.0, "mu_fungi", 0.005)],
)  # fmt: skip
def test_activity_grows_by_the_logistic(field: str, temp_c: float, mu: str, start: float) -> None:
    made = Decay(chips(0.1), SET.with_(**{**STILL, mu: 5.8}))

    def error(dt: float) -> float:
        state, work = cell(made, temp_c=temp_c)
        go(made, state, work, 0.5, dt)
        exact = 1.0 / (1.0 + (1.0 / start - 1.0) * math.exp(-5.8 * WET * M * 0.5))
        return float(getattr(state, field)[CELL]) - exact

    assert abs(error(600.0)) < 1e-5
    # the exponential of a step is a cubic: order 3 while temperature, moisture and oxygen stand
    assert orders(error, (1800.0, 900.0, 450.0)) == pytest.approx([3.0, 3.0], abs=0.07)


@pytest.mark.parametrize(
    ("field", "temp_c", "per_d", "floor"),
    [("act_m", 50.0, 2.0, 0.01), ("act_t", 69.0, 2.0, 0.01), ("act_f", 61.0, 2.0, 0.001),
     ("act_m", 80.0, 20.0, 0.01), ("act_t", 80.0, 20.0, 0.01), ("act_f", 80.0, 20.0, 0.001)],
)  # fmt: skip
def test_activity_dies_to_its_floor(field: str, temp_c: float, per_d: float, floor: float) -> None:
    made = Decay(chips(0.1), SET.with_(**{**STILL, "death": SET.death}))

    def error(dt: float) -> float:
        state, work = cell(made, temp_c=temp_c)
        getattr(state, field)[CELL] = 0.8
        go(made, state, work, 1 / per_d, dt)
        return float(getattr(state, field)[CELL]) - (floor + (0.8 - floor) * math.exp(-1.0))

    steps = tuple(DAY_S / per_d / n for n in (40, 80, 160))
    assert abs(error(steps[-1])) < 1e-3
    assert orders(error, steps) == pytest.approx([1.0, 1.0], abs=0.03)
    state, work = cell(made, temp_c=temp_c)
    getattr(state, field)[CELL] = 0.8
    go(made, state, work, 30.0, 3600.0)
    assert floor <= getattr(state, field)[CELL] < floor * (1 + 1e-9)


def test_below_the_limits_nothing_dies() -> None:
    made = Decay(chips(0.1), SET.with_(**{**STILL, "death": SET.death}))
    state, work = cell(made, temp_c=47.0)
    for field in (state.act_m, state.act_t, state.act_f):
        field[CELL] = 0.8
    go(made, state, work, 3.0, 3600.0)
    assert [float(f[CELL]) for f in (state.act_m, state.act_t, state.act_f)] == [0.8, 0.8, 0.8]


def test_fungi_take_wood_at_their_share_of_the_rate() -> None:
    recipe = chips(0.0)
    constants = SET.with_(
        start_bacteria=0.0, start_fungi=1.0, mu_bacteria=0.0, limiting_cn=1e6, k_tissue=0.0
    )
    made = Decay(recipe, constants)
    state, work = cell(made, temp_c=30.0)
    before = state.pools[:, CELL].copy()
    made.rates(state, work)
    made.advance(state, work, 600.0)
    lost = (before - state.pools[:, CELL]) / before
    expected = SET.fungal_rate * recipe.rate_per_d / DAY_S * WET * M * 600.0
    assert lost[:4].tolist() == [0.0, 0.0, 0.0, 0.0]
    assert lost[4:] == pytest.approx(expected[4:], rel=1e-9)
    assert made.share_of_fungi(state, MESH) == 1.0


@pytest.mark.parametrize(("temp_c", "times"), [(10.0, 0.5), (20.0, 1.0), (40.0, 4.0)])
def test_living_tissue_eats_the_soluble_matter_of_fresh_wood_alone(
    temp_c: float, times: float
) -> None:
    alone = SET.with_(**{**STILL, "tissue_dies": 0.0, "start_bacteria": 0.0})
    made = Decay(chips(0.0, kinetics=alone), alone)
    state, work = cell(made, temp_c=temp_c)
    before = state.pools[:, CELL].copy()
    made.rates(state, work)
    made.advance(state, work, 600.0)
    lost = before - state.pools[:, CELL]
    assert lost[0] / before[0] == pytest.approx(SET.k_tissue / DAY_S * times * WET * M * 600.0)
    assert lost[1:].tolist() == [0.0] * (lost.size - 1)
    assert work["heat_w"][CELL] > 0.0


def test_tissue_dies_away_and_of_heat_within_hours() -> None:
    for temp_c, days, left in ((20.0, 10.0, math.exp(-0.7)), (50.0, 0.5, math.exp(-3.535))):
        made = Decay(chips(0.0))
        state, work = cell(made, temp_c=temp_c)
        go(made, state, work, days, 120.0)
        assert float(state.living[CELL]) == pytest.approx(left, rel=0.02)


def test_straw_and_sawdust_do_not_breathe() -> None:
    for name in ("straw general", "sawdust"):
        assert compose(Ingredient(name)).fresh == 0.0
    assert compose(Ingredient("arborist chips")).fresh == 1.0


def test_nitrogen_slows_decay_by_the_carbon_within_reach() -> None:
    carbon = of_substance("carbohydrate").carbon
    rates = []
    for cn in (20.0, 30.0, 60.0, 120.0):
        made = Decay(one_pool(0, 0.4, mineral_n=carbon / cn), SET.with_(start_bacteria=1.0))
        state, work = cell(made)
        made.rates(state, work)
        rates.append(float(work["o2_max"][CELL]))
    assert np.array(rates) / rates[0] == pytest.approx([1.0, 1.0, 0.5, 0.25], rel=1e-9)
    lignin = Decay(one_pool(5, 0.4, mineral_n=1e-6), SET.with_(start_bacteria=1.0))
    state, work = cell(lignin)
    lignin.rates(state, work)
    net = of_substance("lignin").oxygen - SET.biomass_yield * of_substance("bacteria").oxygen
    assert work["o2_max"][CELL] == pytest.approx(0.4 / DAY_S * WET * net, rel=1e-9)


def test_ammonia_leaves_as_an_exponential() -> None:
    made = Decay(one_pool(0, 0.0), SET.with_(**{**STILL, "ammonia_escape": 0.3}))
    temp_c, flow = 50.0, 2e-3
    gas_m3_s = flow * 8.314462618 * (temp_c + 273.15) / 101325.0
    per_s = 0.3 * ammonia_partition(temp_c) * gas_m3_s / 1.5e-3

    def error(dt: float) -> float:
        state, work = cell(made, temp_c=temp_c)
        work["fx"][CELL] = flow
        go(made, state, work, 0.5 / per_s / DAY_S, dt)
        kept = float(state.n_nh4[CELL])
        assert kept + float(state.nh3_lost[CELL]) == pytest.approx(1.0, abs=1e-14)
        return kept - math.exp(-0.5)

    steps = tuple(0.5 / per_s / n for n in (20, 40, 80))
    assert abs(error(steps[-1])) < 2e-3
    assert orders(error, steps) == pytest.approx([1.0, 1.0], abs=0.02)


def test_rot_without_air_makes_acid_and_air_burns_it() -> None:
    made = Decay(one_pool(0, 0.4), SET.with_(start_bacteria=1.0, mu_bacteria=0.0))
    state, work = cell(made, o2=0.0)
    stored = made.chemical_j(state, MESH)
    carbon = made.carbon_kg(state, MESH)
    heat = 0.0
    for _ in range(240):
        made.rates(state, work)
        made.advance(state, work, 1800.0)
        heat += float(work["heat_w"][CELL]) * 1800.0
    fermented = 1.0 - float(state.pools[0, CELL])
    exact = 1.0 - math.exp(-0.4 * WET * SET.anoxic_share * 5.0)
    assert fermented == pytest.approx(exact, rel=1e-3)
    assert work["o2_kg"][CELL] == work["co2_kg"][CELL] == 0.0
    whole = of_substance("carbohydrate").oxygen * SET.heat_per_oxygen
    assert heat == pytest.approx(SET.anoxic_heat * whole * fermented, rel=1e-9)
    assert stored - made.chemical_j(state, MESH) == pytest.approx(heat, rel=1e-9)
    assert made.carbon_kg(state, MESH) == pytest.approx(carbon, rel=1e-13)
    state.o2[CELL] = 0.2
    go(made, state, work, 60.0, 3600.0)
    assert state.acid[CELL] < 1e-6


# --- the six groups ------------------------------------------------------------------------------

BARE = SixConstants.published().with_(start_bacteria=0.4e-6, start_fungi=0.0, floor=0.0)


def test_a_group_grows_by_its_exponential() -> None:
    quiet = BARE.with_(
        death=np.zeros(6),
        hydrolysis=np.zeros((6, 8)),
        dissolved=1.0,
        growth=np.array([0.2, 0, 0, 0, 0, 0]),
    )
    made = SixGroups(one_pool(0, 0.0), constants=quiet)
    row = 1 + second.LIVING

    def error(dt: float) -> float:
        state, work = cell(made)
        begun = float(state.pools[row, CELL])
        go(made, state, work, 1.0, dt)
        monod = 1.0 / (1.0 + quiet.half_saturation * 1.5)  # 1 kg dissolved in 1.5 kg of water
        return math.log(float(state.pools[row, CELL]) / begun) - 0.2 * 24 * WET * M * monod

    assert abs(error(300.0)) < 0.03
    assert orders(error, (1200.0, 600.0, 300.0)) == pytest.approx([1.0, 1.0], abs=0.05)


def test_hydrolysis_by_contois_is_that_of_the_microbes_or_of_the_surface() -> None:
    speeds = np.zeros((6, 8))
    speeds[0] = 0.02
    held = BARE.with_(death=np.zeros(6), hydrolysis=speeds, growth=np.zeros(6), dissolved=0.0)
    for kind, living, per_h in (
        (0, 4e-4, 0.02 * 1e-4),  # food in plenty: k X
        (4, 4e-4, 0.02 * 1e-4),
        (5, 0.9999, SET.k_slow / 24),  # microbes in plenty: no faster than the slow rate
        (7, 0.9999, SET.k_slow / 24),
    ):
        made = SixGroups(
            one_pool(kind, 0.0),
            constants=held.with_(start_bacteria=living),
        )
        state, work = cell(made)
        pool = float(state.pools[0, CELL])
        made.rates(state, work)
        made.advance(state, work, 1800.0)
        lost = pool - float(state.pools[0, CELL])
        share = pool if living > 0.5 else 1.0
        assert lost == pytest.approx(per_h * share * WET * M * 0.5, rel=2e-3)


def test_the_dead_dissolve_but_for_what_is_inert() -> None:
    still = BARE.with_(growth=np.zeros(6), hydrolysis=np.zeros((6, 8)), start_bacteria=0.4)
    made = SixGroups(one_pool(5, 0.0), constants=still)
    state, work = cell(made)
    go(made, state, work, 400.0, 3600.0)
    n = 1
    living = float(state.pools[n + second.LIVING, CELL])
    inert = float(state.pools[n + second.INERT, CELL])
    dissolved = float(state.pools[n + second.SOLUTES - 1, CELL])
    assert living == pytest.approx(0.0, abs=1e-9)
    assert inert / (inert + dissolved) == pytest.approx(BARE.inert, rel=1e-12)
    made = SixGroups(one_pool(5, 0.0), constants=still)
    state, work = cell(made)
    go(made, state, work, 1.0, 60.0)
    exact = 0.1 * math.exp(-0.03 * WET * 24)
    assert state.pools[n + second.LIVING, CELL] == pytest.approx(exact, rel=2e-3)


# --- accounts of both ----------------------------------------------------------------------------


def kinds() -> list[Decay | SixGroups]:
    return [Decay(chips(0.15)), SixGroups(chips(0.15))]


@pytest.mark.parametrize("made", kinds(), ids=lambda k: k.name)
def test_the_oxygen_used_is_that_of_the_solver(made: Decay | SixGroups) -> None:
    rng = np.random.default_rng(3)
    for _ in range(200):
        y, dt = rng.uniform(0, 0.21), rng.uniform(1, 3600)
        state, work = cell(made, temp_c=rng.uniform(0, 72), o2=y)
        state.pools[:, CELL] *= rng.uniform(0, 1, made.rows)
        if isinstance(made, Decay):
            state.acid[CELL], state.biomass[CELL] = rng.uniform(0, 0.1, 2)
        work["moisture"][CELL] = rng.uniform(0.2, 0.8)
        made.rates(state, work)
        asked = float(work["o2_max"][CELL]) * y / (SET.k_oxygen + y) * dt
        made.advance(state, work, dt)
        assert float(work["o2_kg"][CELL]) == pytest.approx(asked, rel=1e-12, abs=1e-300)


@pytest.mark.parametrize("made", kinds(), ids=lambda k: k.name)
def test_accounts_close_through_heat_want_of_air_and_recovery(made: Decay | SixGroups) -> None:
    state, work = cell(made)
    work["fx"][CELL] = 1e-3
    carbon, nitrogen = made.carbon_kg(state, MESH), made.nitrogen_kg(state, MESH)
    stored, owed = made.chemical_j(state, MESH), made.oxygen_owed_kg(state, MESH)
    dry, gone_c, heat, used, water = float(state.dry_kg[CELL]), 0.0, 0.0, 0.0, 0.0
    for step in range(4000):
        age = step / 4000
        state.temp_c[CELL] = 20 + 55 * math.sin(math.pi * min(2 * age, 1)) ** 2
        state.o2[CELL] = 0.0 if 0.3 < age < 0.5 else 0.01 if 0.5 <= age < 0.6 else 0.15
        made.rates(state, work)
        made.advance(state, work, 1800.0)
        gone_c += float(work["co2_kg"][CELL]) * 12.011 / 44.009
        heat += float(work["heat_w"][CELL]) * 1800.0
        used += float(work["o2_kg"][CELL])
        water += float(work["water_kg"][CELL])
    assert gone_c > 0.01
    assert made.carbon_kg(state, MESH) + gone_c == pytest.approx(carbon, rel=1e-12)
    left = made.nitrogen_kg(state, MESH) + float(state.nh3_lost[CELL])
    assert left == pytest.approx(nitrogen, rel=1e-12)
    assert state.nh3_lost[CELL] > 0
    assert stored - made.chemical_j(state, MESH) == pytest.approx(heat, rel=1e-11)
    fall = owed - made.oxygen_owed_kg(state, MESH)
    if isinstance(made, SixGroups):
        assert fall == pytest.approx(used, rel=1e-11)
        assert heat == pytest.approx(used * SET.heat_per_oxygen, rel=1e-12)
        assert state.biomass[CELL] == state.acid[CELL] == 0.0
    else:  # of protein that ferments a part of the oxygen demand is not kept
        assert fall * 0.98 < used < fall
    assert water > 0
    assert 0 < dry - float(state.dry_kg[CELL]) < 0.6


def test_a_turn_leaves_mass_and_carbon_as_they_were() -> None:
    for made in kinds():
        state, work = cell(made, temp_c=30.0)
        go(made, state, work, 10.0, 3600.0)
        made.rates(state, work)
        share, carbon = made.share_of_fungi(state, MESH), made.carbon_kg(state, MESH)
        dry = float(state.dry_kg[CELL])
        made.turned(state, MESH.cells, 0.3)
        made.rates(state, work)
        assert 0 < made.share_of_fungi(state, MESH) < share < 1
        assert made.carbon_kg(state, MESH) == pytest.approx(carbon, rel=1e-14)
        assert state.dry_kg[CELL] == pytest.approx(dry, rel=1e-14)


def test_the_stated_order_holds_for_the_whole() -> None:
    def found(made: Decay | SixGroups, dt: float) -> float:
        state, work = cell(made, temp_c=33.0)
        go(made, state, work, 6.0, dt)
        return float(state.dry_kg[CELL])

    for made in kinds():
        exact = 2 * found(made, 75.0) - found(made, 150.0)
        error = orders(lambda dt, m=made, e=exact: found(m, dt) - e, (1200.0, 600.0))  # type: ignore[misc]
        assert error == pytest.approx([1.0], abs=0.15)


def test_the_tables_hold_the_curves() -> None:
    made = Decay(chips(0.1))
    temps = first.T_LOW + np.arange(made.warm.shape[0]) / first.T_PER_K
    assert made.warm[np.searchsorted(temps, 37.0), first.MESO] == pytest.approx(1.0, abs=1e-12)
    assert made.warm[np.searchsorted(temps, 56.0), first.THERMO] == pytest.approx(1.0, abs=1e-12)
    assert made.warm[np.searchsorted(temps, 30.0), first.FUNGI] == pytest.approx(1.0, abs=1e-12)
    assert made.warm[np.searchsorted(temps, 45.0), first.FUNGI] == pytest.approx(1.0, abs=1e-12)
