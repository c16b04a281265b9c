"""A vessel of a laboratory: exact answers, accounts, and what must come out warmer than what."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from heapwright.domain.material import Ingredient, Mix
from heapwright.engine.biology import Decay
from heapwright.engine.composition import chips, recipe
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.mesh import Mesh
from heapwright.engine.scenario import Action
from heapwright.engine.state import State, Work
from heapwright.engine.vessel import Vessel
from heapwright.engine.vesselrun import VesselRun, run_vessel
from heapwright.errors import HeapwrightError, UnknownNameError
from heapwright.science import air
from heapwright.units import Ranged

FOOD = Ingredient(
    "food scraps", mass_kg=Ranged.exact(5.0), measured={"cn_ratio": Ranged.exact(25.0)}
)
MATTER = recipe(Mix((FOOD,)))
REACTOR = Vessel("reactor", 10.0, 0.6, wall_resistance_k_w=2.0, air_l_min=6.0)
CP_DRY, CP_WATER = 1400.0, 4186.0


class Stove:
    """Ash that gives a steady heat [W]."""

    rows = 1

    def __init__(self, watts: float) -> None:
        self.watts = watts

    def start(self, state: State, mesh: Mesh, dry_kg: Any) -> None:
        state.ash[mesh.cells] = dry_kg

    def rates(self, state: State, work: Work) -> None:
        work["o2_max"][:] = 0.0

    def advance(self, state: State, work: Work, dt: float) -> None:
        work["heat_w"][work.mesh.cells] = self.watts


def run(vessel: Vessel, days: float, **more: Any) -> VesselRun:
    return run_vessel(vessel, days=days, recipe=MATTER, **more)


def peak(found: VesselRun) -> float:
    return float(found.curves["temp_c"].max())


# --- exact answers -------------------------------------------------------------------------------


def test_without_decay_it_cools_as_the_wall_lets_it() -> None:
    still = Vessel("still", 5.0, 0.6, wall_resistance_k_w=4.0, air_l_min=0.0, start_c=60.0)
    names = (
        "k_soluble", "k_protein", "k_fat", "k_chip", "k_leaf", "k_slow", "k_acid", "k_tissue",
        "biomass_decay", "anoxic_share",
    )  # fmt: skip
    none = Kinetics.published().with_(**dict.fromkeys(names, 0.0))
    dead = run_vessel(still, days=3, recipe=chips(0.1, kinetics=none), kinetics=none)
    capacity = 5.0 * CP_DRY + 7.5 * CP_WATER
    exact = 40.0 * np.exp(-dead.hours * 3600.0 / (4.0 * capacity))
    assert np.abs((dead.curves["temp_c"] - 20.0) / exact - 1.0).max() < 0.01
    assert dead.curves["loss"][-1] == pytest.approx(0.0, abs=1e-12)
    assert dead.closure["energy"] < 1e-9
    nothing = run_vessel(still, days=3, biology=Stove(0.0))
    assert nothing.curves["temp_c"] == pytest.approx(dead.curves["temp_c"], abs=1e-6)
    assert "dry mass" not in nothing.accounts


@pytest.mark.parametrize("reflux", [0.0, 1.0])
@pytest.mark.parametrize("humidity", [0.2, 1.0])
def test_a_steady_heat_ends_where_wall_and_air_carry_it_off(reflux: float, humidity: float) -> None:
    vessel = Vessel(
        "stove", 5.0, 0.85, wall_resistance_k_w=0.1, air_l_min=30.0, air_rh=humidity,
        reflux=reflux, room_c=18.0,
    )  # fmt: skip
    found = run_vessel(vessel, days=1.5, biology=Stove(300.0))
    inside = float(air.humidity_ratio(humidity * air.saturation_pressure(18.0)))
    dry_kg_s = 30.0 / 60_000 / float(air.specific_volume(18.0, inside))

    def missed(t: float) -> float:
        leaves = float(air.humidity_ratio(air.saturation_pressure(t)))
        liquid = (leaves - inside) * CP_WATER * (18.0 if reflux else t)
        gained = float(air.enthalpy(t, leaves) - air.enthalpy(18.0, inside))
        return 300.0 - 10.0 * (t - 18.0) - dry_kg_s * (gained - liquid)

    assert found.curves["temp_c"][-1] == pytest.approx(brentq(missed, 18.0, 60.0), abs=0.05)
    assert (found.curves["water_kg"][-1] < found.curves["water_kg"][0]) == (reflux == 0.0)
    assert max(found.closure.values()) < 1e-9


def test_what_the_air_takes_is_its_flow_times_saturation() -> None:
    vessel = Vessel("chamber", 2.0, 0.8, held=True, room_c=50.0, air_l_min=2.0, air_rh=0.3)
    found = run_vessel(vessel, days=2, biology=Stove(0.0))
    each = [float(air.humidity_ratio(h * air.saturation_pressure(50.0))) for h in (0.3, 1.0)]
    dry_kg = 2.0 * 60 * 48 / 1000 / float(air.specific_volume(50.0, each[0]))
    lost = found.curves["water_kg"][0] - found.curves["water_kg"][-1]
    assert lost == pytest.approx(dry_kg * (each[1] - each[0]), rel=1e-3)
    assert np.all(found.curves["temp_c"] == 50.0)


# --- accounts ------------------------------------------------------------------------------------


@pytest.mark.parametrize("biology", ["group curves", "six groups"])
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"air_l_min": 60.0, "air_rh": 0.0},
        {"air_l_min": 900.0},
        {"reflux": 0.7, "actions": (Action(3.0, "moistened", 0.7),)},
        {"held": True, "room_c": ((0.0, 20.0), (48.0, 60.0), (96.0, 35.0))},
        {"air_l_min": None, "oxygen": 0.15},
        {"air_l_min": 0.0, "room_c": 35.0},
        {"air_l_min": 0.3, "gas_l": 5.0},
    ],
    ids=["plain", "dry air", "gale", "reflux", "held", "open", "shut", "short of air"],
)
def test_accounts_close(biology: str, changes: dict[str, Any]) -> None:
    found = run(replace(REACTOR, **changes), 7, biology=biology, step_s=1800.0)
    assert set(found.closure) == {"energy", "water", "oxygen", "dry mass"}
    assert max(found.closure[name] for name in ("energy", "water", "oxygen")) < 1e-9
    assert found.closure["dry mass"] < 0.01
    assert found.curves["water_kg"].min() > 0
    assert 0 <= found.curves["o2"].min() <= found.curves["o2"].max() < 0.2096


def test_curves_agree_with_the_accounts() -> None:
    found = run(REACTOR, 5)
    curves, terms = found.curves, {n: a.terms for n, a in found.accounts.items()}
    assert len(found.hours) == 121
    assert {len(curve) for curve in curves.values()} == {121}
    assert found.hours[[0, 1, -1]].tolist() == [0.0, 1.0, 120.0]
    assert float(curves["heat_w"][1:].sum()) * 3600 == pytest.approx(
        terms["energy"]["heat of decay"]
    )
    assert -terms["dry mass"]["carbon dioxide"] == pytest.approx(curves["co2_kg"][-1])
    assert curves["loss"][-1] == pytest.approx(1 - curves["dry_kg"][-1] / 10.0)
    per_kg = terms["energy"]["heat of decay"] / -terms["oxygen"]["used"] / 0.031998
    assert per_kg == pytest.approx(Kinetics.published().heat_per_oxygen, rel=1e-3)
    assert found.closure["dry mass"] < 1e-9


# --- what follows --------------------------------------------------------------------------------


def test_a_shut_vessel_starves() -> None:
    shut, aired = run(replace(REACTOR, air_l_min=0.0), 10), run(REACTOR, 10)
    assert shut.curves["o2"][-1] < 1e-4
    held = shut.accounts["oxygen"].start
    assert -shut.accounts["oxygen"].terms["used"] == pytest.approx(held, rel=1e-2)
    assert shut.curves["co2_kg"][-1] < 0.02 * aired.curves["co2_kg"][-1]
    assert peak(shut) < 30 < 60 < peak(aired)


def test_a_tight_wall_makes_it_warmer_and_sooner() -> None:
    tight = run(replace(REACTOR, wall_resistance_k_w=math.inf, air_l_min=1.0), 8)
    poor = run(replace(REACTOR, wall_resistance_k_w=0.2, air_l_min=1.0), 8)
    assert peak(tight) > peak(poor) + 10
    first = [np.flatnonzero(r.curves["temp_c"] > 30.0)[0] for r in (tight, poor)]
    assert first[0] < first[1]
    assert tight.accounts["energy"].terms["through the wall"] == 0.0


def test_halving_the_step_changes_little() -> None:
    for vessel in (REACTOR, replace(REACTOR, air_l_min=1.0), replace(REACTOR, dry_kg=2.0)):
        one, two = run(vessel, 15), run(vessel, 15, step_s=600.0)
        assert np.abs(one.curves["temp_c"] - two.curves["temp_c"]).max() < 0.3
        assert one.curves["loss"][-1] == pytest.approx(two.curves["loss"][-1], abs=1e-3)


def test_it_is_moistened_once_and_never_dried() -> None:
    actions = (Action(4.0, "moistened", 0.65), Action(5.0, "moistened", 0.1))
    found = run(replace(REACTOR, actions=actions), 6)
    moist = found.curves["moisture_wb"]
    assert moist[96] < 0.6
    assert moist[97] == pytest.approx(0.65, abs=0.01)
    assert np.abs(np.diff(moist[97:])).max() < 0.01
    assert found.accounts["water"].terms["moistened"] > 0
    plain = run(REACTOR, 6)
    assert np.array_equal(plain.curves["temp_c"][:97], found.curves["temp_c"][:97])
    assert found.curves["temp_c"][97] < plain.curves["temp_c"][97]


def test_a_drying_charge_stays_above_no_water() -> None:
    vessel = Vessel("dryer", 1.0, 0.3, held=True, room_c=70.0, air_l_min=100.0, air_rh=0.05)
    found = run_vessel(vessel, days=3, biology=Stove(0.0), step_s=3600.0)
    assert np.all(np.diff(found.curves["water_kg"]) <= 1e-12)
    assert 0 < found.curves["water_kg"][-1] < 0.05
    # humid air over dry matter: water comes in
    damp = replace(vessel, moisture_wb=0.02, air_rh=0.9, room_c=30.0)
    found = run_vessel(damp, days=3, biology=Stove(0.0))
    assert found.curves["moisture_wb"][-1] > 0.05


def test_the_room_goes_along_straight_lines() -> None:
    vessel = replace(REACTOR, held=True, room_c=((0.0, 20.0), (10.0, 40.0)))
    found = run(vessel, 1)
    assert found.curves["air_c"][[0, 5, 10, 24]] == pytest.approx([20.0, 30.0, 40.0, 40.0])
    assert np.array_equal(found.curves["air_c"], found.curves["temp_c"])


def test_a_kinetics_of_its_own_can_be_given() -> None:
    named, own = run(REACTOR, 3), run_vessel(REACTOR, days=3, biology=Decay(MATTER))
    assert np.array_equal(named.curves["temp_c"], own.curves["temp_c"])
    again = run_vessel(REACTOR, days=3, biology=Decay(MATTER))
    assert np.array_equal(again.curves["temp_c"], own.curves["temp_c"])


def test_a_stated_ratio_reaches_the_matter() -> None:
    assert MATTER.carbon / (MATTER.organic_n + MATTER.mineral_n) == pytest.approx(25.0, rel=0.05)


# --- what cannot be ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"dry_kg": 0.0}, "dry_kg"),
        ({"dry_kg": math.nan}, "dry_kg"),
        ({"moisture_wb": 60.0}, "moisture_wb"),
        ({"wall_resistance_k_w": None}, "wall_resistance_k_w"),
        ({"wall_resistance_k_w": 0.0}, "wall_resistance_k_w"),
        ({"wall_resistance_k_w": -1.0}, "wall_resistance_k_w"),
        ({"wall_r_m2k_w": 2.0}, "wall_r_m2k_w"),
        ({"wall_resistance_k_w": None, "wall_area_m2": 2.0}, "wall_area_m2"),
        (
            {"wall_resistance_k_w": None, "wall_area_m2": 2.0, "wall_r_m2k_w": math.nan},
            "wall_r_m2k_w",
        ),
        ({"air_l_min": -1.0}, "air_l_min"),
        ({"air_l_min": 1001.0}, "air_l_min"),
        ({"air_rh": 50.0}, "air_rh"),
        ({"room_c": 200.0}, "room_c"),
        ({"room_c": ()}, "room_c"),
        ({"room_c": ((5.0, 20.0), (5.0, 30.0))}, "room_c"),
        ({"room_c": ((0.0, 20.0), (math.inf, 30.0))}, "room_c"),
        ({"start_c": -100.0}, "start_c"),
        ({"start_c": 40.0, "held": True}, "start_c"),
        ({"reflux": 1.1}, "reflux"),
        ({"oxygen": 0.3}, "oxygen"),
        ({"gas_l": 0.0}, "gas_l"),
        ({"actions": (Action(1.0, "turned"),)}, "actions"),
        ({"actions": (Action(1.0, "moistened", 0.99),)}, "actions, moistened to"),
    ],
)
def test_a_vessel_that_cannot_be_is_refused(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(HeapwrightError) as told:
        replace(REACTOR, **changes)
    assert told.value.field == field


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"days": 0.0}, "days"),
        ({"days": 1, "step_s": 7200.0}, "step_s"),
        ({"days": 1, "every_h": 0.0}, "every_h"),
        ({"days": 1, "biology": "yeast"}, "biology"),
    ],
)
def test_a_run_that_cannot_be_is_refused(changes: dict[str, Any], field: str) -> None:
    with pytest.raises(HeapwrightError) as told:
        run_vessel(REACTOR, **changes)
    assert told.value.field == field
    assert isinstance(told.value, UnknownNameError) == (field == "biology")
