"""`simulate`: what it refuses, what it keeps, what is done to the heap, and stopping it."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.parameters import Parameters
from heapwright.engine.processes import vents
from heapwright.engine.recording import around
from heapwright.engine.regrid import column_heights, regrid, sunk_mesh
from heapwright.engine.run import CURVES, FIELDS, Run
from heapwright.engine.scenario import Action, HeapSpec, Pipe, ProbeSpot
from heapwright.engine.shapes import mesh_of
from heapwright.engine.simulate import Progress, simulate
from heapwright.engine.state import State, empty_state
from heapwright.errors import HeapwrightError, InputError, QuantityError, UnknownNameError

AIR = WeatherSeries.steady(datetime(2026, 5, 3, tzinfo=UTC), hours=24 * 30, air_temp_c=15.0)
CHIPS = {"leafy_share": 0.15, "start_c": 20.0, "dx_m": 0.15}


def heap(**changes: Any) -> HeapSpec:
    return HeapSpec(0.9, **(CHIPS | changes))


# --- what is refused, before the first step ------------------------------------------------------


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"dry_density": 470.0}, "dry density"),
        ({"moisture_wb": 0.95}, "moisture"),
        ({"start_c": 900.0}, "start temperature"),
        ({"exposure": "windy"}, "exposure"),
        ({"exposure": 1.4}, "exposure"),
        ({"slope_deg": 50.0}, "slope"),
        ({"field_capacity": 20.0}, "field_capacity"),
        ({"dx_m": 3.0}, "cell size"),
        ({"cover": 2.0}, "cover"),
        ({"leafy_share": -0.1}, "leafy share"),
    ],
)
def test_a_heap_that_cannot_be_is_refused(changes: dict[str, Any], word: str) -> None:
    with pytest.raises(HeapwrightError, match=word):
        heap(**changes)


def test_absurd_volumes_pipes_and_spots_are_refused() -> None:
    with pytest.raises(HeapwrightError, match="volume"):
        HeapSpec(-1.0)
    with pytest.raises(HeapwrightError, match="pipe"):
        simulate(heap(pipes=(Pipe(((5, 5, 5), (6, 5, 5))),)), weather=AIR, days=1)
    with pytest.raises(HeapwrightError, match="spot far"):
        simulate(heap(spots=(ProbeSpot("far", (3, 0, 0)),)), weather=AIR, days=1)
    with pytest.raises(HeapwrightError, match="both"):
        Pipe(((0, 0, 0), (0, 0, 1)), forced_pa=10, forced_l_s=1)
    with pytest.raises(HeapwrightError, match="no vent"):
        simulate(heap(), weather=AIR, days=1, actions=[Action(0.5, "vent opened")])


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"days": 0.0}, "days"),
        ({"days": 31.0}, "weather"),
        ({"longest_step_s": 9e9}, "longest_step_s"),
        ({"start_h": -1.0}, "start_h"),
        ({"biology": "magic"}, "biology"),
        ({"curve_every_h": 0.0}, "curve_every_h"),
    ],
)
def test_a_run_that_cannot_be_is_refused(changes: dict[str, Any], word: str) -> None:
    with pytest.raises(HeapwrightError, match=word):
        simulate(heap(), **({"weather": AIR, "days": 1.0} | changes))


# --- what is kept --------------------------------------------------------------------------------


def test_curves_spots_fields_and_citation() -> None:
    spots = (ProbeSpot("middle", (0, 0, 0.4)), ProbeSpot("edge", (0.4, 0, 0.2)))
    run = simulate(heap(spots=spots), weather=AIR, days=3)
    assert run.complete
    assert run.hours[0] == 0
    assert run.days_done == pytest.approx(3.0)
    assert np.diff(run.hours) == pytest.approx(1.0)
    assert set(run.curves) == set(CURVES)
    middle = run.at("middle")
    assert middle.temp_c.units == "degC"
    assert float(middle.temp_c[0]) == pytest.approx(20.0)
    assert float(middle.temp_c.max()) > float(run.at("edge").temp_c.max()) > 20
    field = run.field("temp_c")
    assert field.dims == ("hours", "z", "y", "x")
    assert field.hours.values.tolist() == [0.0, 24.0, 48.0, 72.0]
    assert np.isfinite(field).sum() > 0
    assert float(field.max()) == pytest.approx(run.snapshots[-1].fields["temp_c"].max(), rel=0.2)
    assert set(run.snapshots[0].fields) == set(FIELDS)
    assert "Heapwright" in run.cite()
    assert "not a measurement" in run.cite()
    assert run.curve("core_c").units == "degC"
    for wrong in (run.at, run.field, run.curve):
        with pytest.raises(UnknownNameError, match="nowhere"):
            wrong("nowhere")


def test_stopping_keeps_what_was_done() -> None:
    def stop(now: Progress) -> None:
        assert 0 <= now.day <= now.days
        raise KeyboardInterrupt

    run = simulate(heap(dx_m=0.1), weather=AIR, days=30, on_progress=stop)
    assert not run.complete
    assert 0 < run.days_done < 30
    assert "stopped" in run.cite()
    assert np.isfinite(run.curves["core_c"]).all()
    assert run.ledger.energy.error < 1e-3


def test_a_spot_on_a_slope_reads_the_cells_around_its_tip_above_its_ground() -> None:
    mesh = heap(slope_deg=12.0, dx_m=0.08).mesh()
    centres = np.zeros((mesh.size, 3))
    centres[mesh.cells] = mesh.centres()
    for point in ((-0.2, 0.05, 0.3), (0.0, 0.0, 0.4), (0.2, -0.05, 0.3)):
        cells, shares = around(mesh, point)
        x, y, z = point
        tip = (x, y, z + np.tan(np.radians(12)) * (x - mesh.origin_m[0]))
        assert shares @ centres[cells] == pytest.approx(tip)


# --- what is done --------------------------------------------------------------------------------


def test_a_turn_evens_out_cools_and_lets_fresh_air_in() -> None:
    run = simulate(
        heap(actions=(Action(3, "turned"),)), weather=AIR, days=3.02, field_every_h=72.48
    )
    last = run.snapshots[-1].fields
    k = int(np.searchsorted(run.hours, 72))
    assert run.curves["mean_c"][k] - run.curves["mean_c"][-1] > 5
    assert np.ptp(last["temp_c"]) < 3
    assert np.ptp(last["dry_kg"]) < 0.01 * last["dry_kg"].mean()
    assert run.done[0].kind == "turned"
    assert run.done[0].hours == pytest.approx(72)
    assert {"turning: warm air", "turning: vapour"} <= set(run.ledger.energy.terms)


def test_oxygen_closes_at_another_half_saturation() -> None:
    par = Parameters.published().with_(k_oxygen=0.1)
    run = simulate(heap(), weather=AIR, days=3, parameters=par)
    usual = simulate(heap(), weather=AIR, days=3)
    assert run.ledger.oxygen.error < 1e-3
    assert run.curves["max_c"].max() < usual.curves["max_c"].max()
    lost = run.curves["dry_kg"][0] - run.curves["dry_kg"][-1]
    used = -run.ledger.oxygen.terms["used"] * 0.031998
    assert 0.9 < used / lost < 1.6


def test_actions_after_the_end_are_told_not_done() -> None:
    run = simulate(heap(actions=(Action(9, "turned"),)), weather=AIR, days=1)
    assert not run.done
    assert run.notes == ("not reached in 1 days: turned at day 9",)


def test_a_blower_given_by_its_flow_brings_it_in() -> None:
    pipe = Pipe(((0, 0, 0.0), (0, 0, 0.4)), forced_l_s=2.0, both_open=False)
    blown = simulate(heap(pipes=(pipe,)), weather=AIR, days=1, actions=[Action(0, "air on")])
    still = simulate(heap(pipes=(pipe,)), weather=AIR, days=1, actions=[Action(0, "vent plugged")])
    assert blown.curves["o2_least"][-1] > still.curves["o2_least"][-1]
    # 2 L/s for a day is 173 m3, at 41.6 mol/m3 of which 0.2095 are oxygen: what was used and what
    # left again together cannot exceed it
    carried = blown.ledger.oxygen.terms["with the air flow"]
    assert carried < 0.2095 * 173 * 42.5


def test_a_cover_sheds_rain_and_keeps_water_in() -> None:
    wet = WeatherSeries.steady(
        datetime(2026, 5, 3, tzinfo=UTC), hours=24 * 6, air_temp_c=15.0, rain_mm_h=0.5
    )
    bare = simulate(heap(), weather=wet, days=5)
    covered = simulate(heap(), weather=wet, days=5, actions=[Action(0, "covered")])
    assert covered.ledger.water.terms["rain"] < 0.15 * bare.ledger.water.terms["rain"]
    skin = "vapour from the skin"
    assert covered.ledger.water.terms[skin] > 0.5 * bare.ledger.water.terms[skin]


# --- sinking -------------------------------------------------------------------------------------


def a_state(mesh: Any) -> State:
    rng = np.random.default_rng(3)
    made = empty_state(mesh, 8, 4)
    c = mesh.cells
    for name in ("enthalpy_j", "water_m", "water_f", "ash", "biomass", "acid", "n_org", "n_nh4",
                 "nh3_lost", "act_m", "act_t", "act_f", "o2", "temp_c"):  # fmt: skip
        getattr(made, name)[c] = rng.uniform(0, 1, c.size)
    made.pools[:, c] = rng.uniform(0, 1, (8, c.size))
    made.soil_c[:] = rng.uniform(5, 20, made.soil_c.shape)
    return made


@pytest.mark.parametrize("slope", [0.0, 12.0])
@pytest.mark.parametrize("share", [0.93, 0.7, 0.4, 0.12])
def test_a_sunk_heap_holds_what_it_held(share: float, slope: float) -> None:
    old = mesh_of("mound", 1.3, slope_deg=slope)
    new = sunk_mesh(old, share, old.volume_m3 * share)
    assert new.volume_m3 == pytest.approx(old.volume_m3 * share, rel=1e-12)
    assert column_heights(new).max() < column_heights(old).max()
    before = a_state(old)
    after, pores = regrid(before, old, new, old.field(0.6))
    for name in ("enthalpy_j", "water_m", "water_f", "ash", "biomass", "acid", "n_org", "n_nh4",
                 "nh3_lost"):  # fmt: skip
        assert getattr(after, name).sum() == pytest.approx(getattr(before, name).sum(), rel=1e-12)
    assert after.pools.sum(axis=1) == pytest.approx(before.pools.sum(axis=1), rel=1e-12)
    assert pores[new.cells] == pytest.approx(0.6)
    for name in ("act_m", "act_t", "act_f", "o2"):
        kept = getattr(after, name)[new.cells]
        assert kept.min() >= 0
        assert kept.max() <= 1
    held = (before.act_t * before.dry_kg).sum()
    assert (after.act_t * after.dry_kg).sum() == pytest.approx(held, rel=1e-12)
    assert after.soil_c.shape[0] == int((new.bkind == 1).sum())


def test_a_heap_that_loses_mass_sinks() -> None:
    run = simulate(heap(), weather=AIR, days=12)
    volume = run.curves["volume_m3"]
    assert (np.diff(volume) <= 1e-12).all()
    assert volume[-1] < 0.97 * volume[0]
    assert run.snapshots[-1].mesh.volume_m3 == pytest.approx(volume[-1], rel=0.05)


def test_narrow_holes_let_less_air_through_and_endless_ones_are_an_open_slot() -> None:
    course = ((-0.5, 0.0, 0.2), (0.5, 0.0, 0.2))
    mesh = heap().mesh()

    def flow(holes_a_metre: float) -> float:
        (line,) = vents.pipelines((Pipe(course, hole_rows=2),), ["open"], mesh, (1.0, 1.0))
        line.holes_a_metre = holes_a_metre
        return float(vents.laid([line], mesh, 1.8e-5, 0).per_pa[0]) * 1.8e-5 / mesh.dx_m

    slot, holes = flow(math.inf), Pipe(course, hole_rows=2).holes_a_metre
    assert holes == pytest.approx(2 / 0.125)
    assert slot == pytest.approx(2 * math.pi / max(math.log(0.2 * mesh.dx_m / 0.05), 0.5))
    assert 1 / flow(holes) == pytest.approx(1 / slot + 1 / (holes * 4 * 0.0065))


def test_a_pipe_that_coarse_cells_leave_bare_lies_a_cell_lower_and_never_vanishes() -> None:
    mesh = heap().mesh()
    top = float(mesh.centres()[:, 2].max()) + 0.5 * mesh.dx_m

    def cells(above: float) -> int:
        z = top + above * mesh.dx_m
        pipe = Pipe(((-0.5, 0.0, z), (0.5, 0.0, z)))
        (line,) = vents.pipelines((pipe,), ["open"], mesh, (1.0, 1.0))
        return int(line.cells.size)

    assert cells(0.4) > 0
    assert cells(0.9) > 0
    with pytest.raises(InputError, match="passes no part"):
        cells(1.2)


def test_holes_that_cannot_be_are_refused() -> None:
    course = ((-0.5, 0.0, 0.2), (0.5, 0.0, 0.2))
    for wrong in ({"hole_rows": 0}, {"hole_mm": 120.0}, {"hole_mm": 13.0, "hole_spacing_m": 0.01}):
        with pytest.raises(InputError, match="hole"):
            Pipe(course, **wrong)
    for wrong in ({"hole_mm": 0.0}, {"hole_spacing_m": -1.0}, {"hole_mm": math.nan}):
        with pytest.raises(QuantityError):
            Pipe(course, **wrong)  # type: ignore[arg-type]


def test_holes_choke_with_the_square_of_the_flow_and_a_slot_does_not() -> None:
    mesh = heap().mesh()
    course = ((-0.5, 0.0, 0.2), (0.5, 0.0, 0.2))
    (line,) = vents.pipelines((Pipe(course, hole_rows=2),), ["open"], mesh, (1.0, 1.0))
    made, holes = vents.laid([line], mesh, 1.8e-5, 0), 16.0 * mesh.dx_m
    # a litre a second through every hole of a cell: half the square of velocity over 0.6
    velocity = 1e-3 / (math.pi * 0.0065**2)
    assert made.choke[0] * (1e-3 * holes) ** 2 == pytest.approx(0.5 * (velocity / 0.6) ** 2)
    assert made.crowd[0] > 0.0
    line.holes_a_metre = math.inf
    slot = vents.laid([line], mesh, 1.8e-5, 0)
    assert slot.choke[0] == slot.crowd[0] == 0.0


def test_a_heap_is_moistened_to_what_is_wanted_or_to_what_it_keeps() -> None:
    def run(wanted: float, keeps: float) -> Run:
        spec = heap(
            moisture_wb=0.4, field_capacity=keeps,
            actions=(Action(0.2, "turned"), Action(0.2, "moistened", wanted)),
        )  # fmt: skip
        return simulate(spec, weather=AIR, days=0.25)

    for wanted, keeps, reached in ((0.55, 2.0, 0.55), (0.75, 1.5, 0.6)):
        made = run(wanted, keeps)
        assert made.curves["core_moisture_wb"][-1] == pytest.approx(reached, abs=0.01)
        assert made.ledger.water.terms["watering"] > 0.0
        assert abs(made.ledger.water.error) < 1e-9
        assert abs(made.ledger.energy.error) < 1e-9
    with pytest.raises(QuantityError):
        Action(1.0, "moistened", 55.0)
