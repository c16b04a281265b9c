"""Rain, watering and drainage of a whole heap through the process, with the accounts."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.lifeless import NoLife

from heapwright.engine.parameters import Parameters
from heapwright.engine.processes.skin import Skin
from heapwright.engine.processes.water import PROCESS, Water, WaterParameters, rain_and_watering
from heapwright.engine.shapes import mesh_of
from heapwright.engine.state import FIELDS, empty_state
from heapwright.engine.stepper import Stepper
from heapwright.engine.surroundings import Air
from heapwright.errors import QuantityError

P, W = Parameters.published(), WaterParameters.published()


def _host(*, temp_c: float = 40.0, cover: float = 0.0, water: Water) -> Any:
    mesh = mesh_of("mound", 0.4)
    state = empty_state(mesh, 8, 4)
    state.pools[4, mesh.cells] = 190 * mesh.dx_m**3
    state.water_m[mesh.cells] = 1.2 * 190 * mesh.dx_m**3
    state.temp_c[mesh.cells] = temp_c
    state.o2[mesh.cells] = P.oxygen_in_air
    state.soil_c[:] = 15.0
    made = Stepper(mesh, state, parameters=P, biology=NoLife(),
                   skin=Skin.closed(), water=water)  # fmt: skip
    made.cover = cover
    return made


def _air(mm_h: float, temp_c: float = 12.0, *, vapour_pa: float = 1200.0) -> Air:
    return Air(temp_c, vapour_pa, 101325.0, 0.0, temp_c, np.zeros(6), mm_h / 3600, temp_c)


def test_the_process_declares_what_it_touches() -> None:
    assert set(PROCESS.reads) | set(PROCESS.writes) <= set(FIELDS)
    assert PROCESS.sources
    water = Water()
    host = _host(water=water)
    before = host.state.copy()
    water.pour(20)
    water(host, _air(5.0), 1800.0)
    changed = {n for n in FIELDS if not np.array_equal(getattr(before, n), getattr(host.state, n))}
    assert changed == set(PROCESS.writes)


def test_the_accounts_of_a_heap_in_the_rain_close() -> None:
    water = Water(0.1)
    host = _host(water=water)
    water.pour(60, temp_c=15.0)
    water.pour(40, mixed=True, over_s=0.0)
    moved = 0.0
    while moved < 12 * 3600:
        moved += host.step(_air(4.0 if moved < 6 * 3600 else 0.0), 600.0)
    host.close_accounts()
    ledger = host.ledger
    assert ledger.water.terms["watering"] == pytest.approx(100.0, rel=1e-12)
    assert water.waiting_kg == 0.0
    fell = 24.0 * host.mesh.dx_m**2 * float((host.fdir == 5).sum())
    assert ledger.water.terms["rain"] == pytest.approx(fell, rel=0.05)  # the step that straddles
    assert water.drained_kg > 20
    assert ledger.water.terms["drained"] == pytest.approx(-water.drained_kg, rel=1e-12)
    assert ledger.water.error < 1e-12
    assert ledger.energy.error < 1e-12
    assert ledger.energy.terms["drained"] < 0 < ledger.energy.terms["rain and watering"]


def test_frost_and_thaw_with_rain_close_and_hold_the_heap_at_0() -> None:
    water = Water()
    host = _host(temp_c=2.0, water=water)
    cold, mild = _air(0.0, -15.0, vapour_pa=100.0), _air(3.0, 9.0)
    c = host.mesh.cells
    moved, most_ice = 0.0, 0.0
    while moved < 6 * 86400:
        moved += host.step(cold if moved < 3 * 86400 else mild, 1200.0)
        ice = host.work["ice"][c]
        held = host.state.water_kg[c]
        assert (ice <= held * (1 + 1e-12) + 1e-15).all()
        partly = (ice > 1e-9 * held) & (ice < held * (1 - 1e-9))
        assert (host.state.temp_c[c][partly] == 0.0).all()
        most_ice = max(most_ice, float(ice.sum() / held.sum()))
    host.close_accounts()
    assert most_ice > 0.02
    assert host.work["ice"][c].sum() < 0.5 * most_ice * host.state.water_kg[c].sum()
    assert host.ledger.water.error < 1e-12
    assert host.ledger.energy.error < 1e-12


def test_a_cover_sheds_rain_but_not_watering() -> None:
    open_, covered = Water(), Water()
    for water, cover in ((open_, 0.0), (covered, 0.9)):
        water.pour(10, over_s=0.0)
        water(_host(water=water, cover=cover), _air(5.0), 3600.0)
    assert covered.rain_kg == pytest.approx(0.1 * open_.rain_kg, rel=1e-9)
    assert covered.poured_kg == open_.poured_kg == pytest.approx(10.0)


def test_watering_takes_its_time() -> None:
    water = Water()
    host = _host(water=water)
    water.pour(30, over_s=1800.0)
    water(host, _air(0.0), 600.0)
    assert water.poured_kg == pytest.approx(10.0)
    assert water.waiting_kg == pytest.approx(20.0)
    for _ in range(2):
        water(host, _air(0.0), 600.0)
    assert water.poured_kg == pytest.approx(30.0, rel=1e-12)
    assert water.waiting_kg == 0.0


def test_mixed_in_water_reaches_all_and_poured_water_the_top() -> None:
    hosts = {}
    for mixed in (False, True):
        water = Water()
        hosts[mixed] = _host(water=water)
        water.pour(20, mixed=mixed, over_s=0.0)
        water(hosts[mixed], _air(0.0), 60.0)
    gained = {k: h.state.water_kg[h.mesh.cells] for k, h in hosts.items()}
    assert (gained[True] > 1.2 * 190 * hosts[True].mesh.dx_m ** 3).all()
    assert gained[False].std() > 3 * gained[True].std()


def test_rain_and_watering_spreads_evenly_over_faces() -> None:
    into, heat = np.zeros(6), np.zeros(6)
    rain_and_watering(np.array([1, 4, 4], dtype=np.uint64), 3.0, joule_per_kg=10.0,
                      water_in=into, water_in_j=heat)  # fmt: skip
    assert into.tolist() == [0, 1, 0, 0, 2, 0]
    assert heat.tolist() == [0, 10, 0, 0, 20, 0]


@pytest.mark.parametrize(
    "make",
    [
        lambda: Water(1.5),
        lambda: Water(field_capacity=180.0),
        lambda: Water().pour(-3.0),
        lambda: Water().pour(10.0, temp_c=150.0),
        lambda: Water().pour(10.0, over_s=float("nan")),
        lambda: W.with_(bypass=75.0),
        lambda: W.with_(uptake_d=0.0),
        lambda: W.with_(thirst=1.0),
    ],
)
def test_what_cannot_be_is_refused_with_its_name(make: Any) -> None:
    with pytest.raises(QuantityError) as caught:
        make()
    assert caught.value.field


def test_field_capacity_of_the_process_follows_the_leaf() -> None:
    assert float(Water(0.0).field_capacity) == pytest.approx(1.8)
    assert float(Water(1.0).field_capacity) == pytest.approx(2.6)
    assert float(Water(1.0, field_capacity=2.0).field_capacity) == 2.0
