"""The skin: limits, signs, closure of every face, convergence of every term, compiled or not."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from tests.lifeless import NoLife

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.kernels import gas
from heapwright.engine.kernels import skin as kernel
from heapwright.engine.mesh import OPEN, box_mesh
from heapwright.engine.parameters import Parameters, gas_table
from heapwright.engine.processes.skin import PROCESS, Skin, Surroundings, skin_parameters
from heapwright.engine.state import FIELDS, empty_state
from heapwright.engine.stepper import Stepper
from heapwright.engine.surroundings import Air
from heapwright.errors import NotEnoughError, QuantityError
from heapwright.science.air import saturation_pressure

TABLE = gas_table(Parameters.published().d_power)
#: solved to the last digit, so that the laws can be held to it
PAR = skin_parameters(Parameters.published(), close_k=1e-4)


def _solve(n: int = 1, compiled: bool = True, **changes: Any) -> dict[str, Any]:
    """One call of the kernel on n faces of n cells, with everything that went in and came out."""
    a: dict[str, Any] = {
        "fcell": np.arange(n, dtype=np.uint64), "fdir": np.full(n, 5, dtype=np.int8),
        "fcross": np.ones(n), "faces": np.ones(n), "dx": 0.1, "dt": 600.0,
        "temp": np.full(n, 50.0), "conductivity": np.full(n, 0.2), "activity": np.ones(n),
        "available": np.full(n, 0.3), "layer": np.full(n, 0.01),
        "front": np.zeros(n), "sun": np.zeros((2, 6)),
        "film": 10.0, "vapour_open": 1.0, "t_air": 15.0, "e_air": 1200.0, "t_sky": -2.0,
        "table": TABLE, "par": PAR.copy(), "skin": np.full(n, 15.0),
        "slope": np.zeros(n), "terms": np.zeros((n, 6)), "heat": np.zeros(n),
        "vapour": np.zeros(n), "total": np.zeros(6),
    }  # fmt: skip
    a.update({k: np.array(v) if isinstance(v, np.ndarray) else v for k, v in changes.items()})
    call = kernel.skin_exchange if compiled else kernel.skin_exchange.py_func
    a["evaluations"] = call(*a.values())
    return a


def _many(n: int = 400, seed: int = 7) -> dict[str, Any]:
    rng = np.random.default_rng(seed)
    return {
        "fdir": rng.integers(0, 6, n).astype(np.int8), "fcross": rng.uniform(0.58, 1, n),
        "faces": rng.integers(1, 4, n).astype(float), "temp": rng.uniform(-5, 75, n),
        "conductivity": rng.uniform(0.06, 0.6, n), "activity": rng.uniform(0, 1, n),
        "available": rng.uniform(0, 0.5, n) * (rng.random(n) > 0.2),
        "layer": rng.uniform(0, 0.02, n), "sun": rng.uniform(0, 500, (2, 6)),
        "skin": rng.uniform(-30, 60, n),
    }  # fmt: skip


def _latent(t: np.ndarray) -> np.ndarray:
    return PAR[kernel.LATENT] - (PAR[kernel.CP_WATER] - PAR[kernel.CP_VAPOUR]) * t


@pytest.mark.parametrize("air", [(15.0, 1200.0, -2.0), (-8.0, 250.0, -30.0), (32.0, 3500.0, 20.0)])
def test_every_face_closes(air: tuple[float, float, float]) -> None:
    got = _solve(400, t_air=air[0], e_air=air[1], t_sky=air[2], **_many())
    terms, t = got["terms"], got["skin"]
    vapour = terms[:, kernel.VAPOUR]
    into = terms[:, kernel.Q_SUN] + terms[:, kernel.Q_AIR] + terms[:, kernel.Q_SKY]
    size = np.abs(terms[:, :4]).sum(axis=1) + np.abs(terms[:, kernel.Q_VAPOUR])
    # the skin holds nothing
    assert (np.abs(into - vapour * _latent(t) - terms[:, kernel.Q_CELL]) <= 1e-9 * size).all()
    # conduction obeys its law
    law = 2 * got["conductivity"] * got["dx"] * (t - got["temp"])
    assert (np.abs(law - terms[:, kernel.Q_CELL]) <= 1e-7 * size).all()
    # heap and air together hold nothing: what the cells gained came in with sun, air, sky, vapour
    assert got["heat"] == pytest.approx(into - terms[:, kernel.Q_VAPOUR], rel=1e-9, abs=1e-12)
    assert got["vapour"] == pytest.approx(-vapour, rel=1e-12)
    assert got["total"] == pytest.approx(terms.sum(axis=0), rel=1e-9)
    assert got["evaluations"] < 400 * 8


def test_compiled_and_plain_agree() -> None:
    one, two = _solve(60, **_many(60)), _solve(60, compiled=False, **_many(60))
    for name in ("skin", "slope", "terms", "heat", "vapour", "total"):
        assert one[name] == pytest.approx(two[name], rel=1e-12, abs=1e-15), name


def test_a_second_solver_finds_the_same_skin() -> None:
    got = _solve()
    area, film, layer = 0.01, 10.0, 0.01
    d_vapour = PAR[kernel.D_VAPOUR] * (288.15 / 273.15) ** 1.75
    h_m = 1 / (1 / (film / PAR[kernel.LEWIS]) + layer / d_vapour)
    sigma, e = PAR[kernel.SIGMA], PAR[kernel.EMISSIVITY]

    def excess(t: float) -> float:
        kelvin = (t + 15.0) / 2 + 273.15
        m = area * h_m * (saturation_pressure(t) - 1200.0) / (PAR[kernel.R_VAPOUR] * kelvin)
        wave = e * sigma * area * ((271.15) ** 4 - (t + 273.15) ** 4)
        return float(0.04 * (50 - t) + film * area * (15 - t) + wave - m * _latent(np.array(t)))

    assert got["skin"][0] == pytest.approx(brentq(excess, -40, 60), abs=1e-6)


def test_without_resistance_the_skin_is_as_warm_as_the_air() -> None:
    got = _solve(film=1e9, vapour_open=0.0)
    assert got["skin"][0] == pytest.approx(15.0, abs=1e-4)
    assert got["terms"][0, kernel.Q_CELL] == pytest.approx(-2 * 0.2 * 0.1 * 35, rel=1e-5)


def test_without_exchange_nothing_leaves() -> None:
    par = PAR.copy()
    par[kernel.EMISSIVITY] = 0.0
    got = _solve(film=0.0, par=par)
    assert got["skin"][0] == pytest.approx(50.0)
    assert got["terms"] == pytest.approx(np.zeros((1, 6)), abs=1e-9)
    assert got["slope"][0] == pytest.approx(0.0, abs=1e-12)


def test_a_warm_wet_heap_loses_heat_and_water_by_every_way() -> None:
    terms = _solve()["terms"][0]
    assert terms[kernel.Q_CELL] < 0
    assert terms[kernel.Q_AIR] < 0
    assert terms[kernel.Q_SKY] < 0
    assert terms[kernel.VAPOUR] > 0
    assert terms[kernel.Q_SUN] == 0


def test_signs_of_sun_wind_sky_and_dry_layer() -> None:
    base = _solve()

    def change(name: str, **changes: Any) -> float:
        got = _solve(**changes)
        if name == "skin":
            return float(got["skin"][0] - base["skin"][0])
        return float(
            got["terms"][0, getattr(kernel, name)] - base["terms"][0, getattr(kernel, name)]
        )

    sun = np.zeros((2, 6))
    sun[0, 5] = 500.0
    assert change("skin", sun=sun) > 5
    assert change("VAPOUR", sun=sun) > 0
    assert change("skin", film=25.0) < 0
    assert change("Q_CELL", film=25.0) < 0
    assert change("skin", t_sky=-25.0) < 0
    assert change("VAPOUR", layer=np.array([0.0])) > 0
    assert change("skin", layer=np.array([0.0])) < 0
    assert change("VAPOUR", activity=np.array([0.5])) < 0
    assert change("VAPOUR", vapour_open=0.2) < 0
    assert change("VAPOUR", e_air=1700.0) < 0


def test_dew_falls_on_a_cold_skin_through_the_film_only() -> None:
    cold = {"temp": np.array([2.0]), "t_sky": -20.0, "e_air": 1650.0}
    dew = _solve(**cold)
    assert dew["skin"][0] < 14.5
    assert dew["terms"][0, kernel.VAPOUR] < 0
    assert dew["vapour"][0] > 0
    # dry wood and a thick layer make no difference to dew
    same = _solve(**cold, layer=np.array([0.05]), activity=np.array([0.9]))
    assert same["terms"][0, kernel.VAPOUR] == pytest.approx(dew["terms"][0, kernel.VAPOUR])
    # in between, dry wood takes up vapour from air that is not saturated
    moist = _solve(temp=np.array([15.0]), activity=np.array([0.2]), t_sky=15.0)
    assert moist["terms"][0, kernel.VAPOUR] < 0


def test_a_face_sees_sky_above_and_half_of_it_on_a_side() -> None:
    wave = [
        float(_solve(fdir=np.array([d], dtype=np.int8), t_sky=-30.0)["terms"][0, kernel.Q_SKY])
        for d in (5, 0, 4)
    ]
    assert wave[0] < wave[1] < wave[2] < 0


def test_the_staircase_factor_cuts_the_film_and_not_the_beam() -> None:
    sun = np.zeros((2, 6))
    sun[0, 5], sun[1, 5] = 300.0, 100.0
    whole, cut = _solve(sun=sun), _solve(sun=sun, fcross=np.array([0.6]))
    assert whole["terms"][0, kernel.Q_SUN] == pytest.approx(4.0)
    assert cut["terms"][0, kernel.Q_SUN] == pytest.approx(3.0 + 0.6)
    per_degree = [
        g["terms"][0, kernel.Q_AIR] / (g["skin"][0] - 15.0) for g in (whole, cut)
    ]  # fmt: skip
    assert per_degree[1] == pytest.approx(0.6 * per_degree[0])


def test_evaporation_is_limited_by_the_water_there_is() -> None:
    wet = _solve(temp=np.array([70.0]), film=40.0, layer=np.array([0.0]))
    poor = _solve(temp=np.array([70.0]), film=40.0, layer=np.array([0.0]),
                  available=np.array([1e-4]), faces=np.array([2.0]))  # fmt: skip
    limit = 0.5 * 1e-4 / (2 * 600.0)
    assert wet["terms"][0, kernel.VAPOUR] > limit
    assert poor["terms"][0, kernel.VAPOUR] == pytest.approx(limit, rel=1e-12)
    assert poor["skin"][0] > wet["skin"][0]
    none = _solve(available=np.array([-0.1]))
    assert none["terms"][0, kernel.VAPOUR] <= 0.0


def test_the_slope_is_the_heat_a_degree_of_the_cell_costs() -> None:
    got = _solve()
    warmer, colder = _solve(temp=np.array([50.01])), _solve(temp=np.array([49.99]))
    cost = (colder["terms"] - warmer["terms"])[0, kernel.Q_CELL] / 0.02
    assert got["slope"][0] == pytest.approx(cost, rel=1e-3)
    assert 0 < got["slope"][0] < 2 * 0.2 * 0.1


def test_saturation_and_its_slope() -> None:
    for t in (-20.0, -0.5, 5.0, 40.0, 70.0):
        p, slope = gas.saturation.py_func(t, TABLE)
        assert p == pytest.approx(saturation_pressure(t), rel=1e-9)
        near = (saturation_pressure(t + 1e-3) - saturation_pressure(t - 1e-3)) / 2e-3
        assert slope == pytest.approx(near, rel=1e-5)


def _cooling(dx: float, *, days: int = 4, source_w_m3: float = 60.0) -> np.ndarray:
    """What a column of 0.8 m loses through its top under four days of sun and night [MJ/m2, kg/m2].

    Warm at first (55 C), heat made inside, closed below; heat capacity 1 MJ/m3K. Rows: by day (6 to
    18 h), by night; columns: the terms of the kernel.
    """
    n, capacity, conductivity, dt = round(0.8 / dx), 1.0e6, 0.2, 300.0
    temp = np.full(n, 55.0)
    loss = np.zeros((2, 6))
    sun = np.zeros((2, 6))
    skin = np.array([15.0])
    for step in range(round(days * 86400 / dt)):
        hour = step * dt / 3600 % 24
        high = np.sin((hour - 6) * np.pi / 12)
        sun[:, 5] = 300 * max(high, 0.0), 100 * max(high, 0.0)
        got = _solve(dx=dx, dt=dt, temp=temp[-1:], sun=sun, skin=skin, t_air=15 + 5 * high,
                     t_sky=-2 + 5 * high, available=np.array([10.0]))  # fmt: skip
        skin = got["skin"]
        loss[0 if high > 0 else 1] += got["total"] / dx**2 * dt
        flux = -conductivity * np.diff(temp) / dx
        gain = source_w_m3 * dx - np.diff(flux, prepend=0.0, append=0.0)
        gain[-1] += got["heat"][0] / dx**2
        temp = temp + dt * gain / (capacity * dx)
    loss[:, [0, 1, 2, 3, 5]] /= 1e6
    return loss


def test_every_term_of_the_loss_converges_with_the_cell() -> None:
    coarse, middle, fine = (_cooling(dx) for dx in (0.1, 0.05, 0.025))
    for name in ("Q_CELL", "Q_SUN", "Q_AIR", "Q_SKY", "VAPOUR", "Q_VAPOUR"):
        k = getattr(kernel, name)
        whole = [abs(c[:, k].sum()) for c in (coarse, middle, fine)]
        assert whole[0] == pytest.approx(whole[1], rel=0.10), name
        # by day and by night, measured on all that the term moved
        size = np.abs(fine[:, k]).sum()
        assert np.abs(coarse[:, k] - middle[:, k]).max() <= 0.10 * size, name
        assert np.abs(middle[:, k] - fine[:, k]).max() <= 0.05 * size, name


# --- the process ---------------------------------------------------------------------------------


def _after(skin: Skin, air: Air, cover: float = 0.0, dt: float = 60.0) -> Stepper:
    """A warm wet box after one step."""
    mesh = box_mesh(4, 3, 3, 0.1)
    state = empty_state(mesh, 8, 4)
    state.pools[4, mesh.cells] = 0.2
    state.water_m[mesh.cells], state.water_f[mesh.cells] = 0.25, 0.05
    state.temp_c[mesh.cells], state.o2[mesh.cells], state.soil_c[:] = 50.0, 0.2095, 50.0
    par = Parameters.published().with_(permeability=1e-14)
    host = Stepper(mesh, state, parameters=par, biology=NoLife(), skin=skin)
    host.cover = cover
    assert host.step(air, dt) == dt
    return host


def _weather(**changes: Any) -> WeatherSeries:
    hours = 72
    made = WeatherSeries.steady(datetime(2026, 6, 20, tzinfo=UTC), hours=hours, air_temp_c=15.0,
                                wind_m_s=4.0, sky_temp_c=2.0)  # fmt: skip
    sun = np.maximum(0.0, 700 * np.sin((np.arange(hours) + 0.5 - 6) * np.pi / 12))
    return replace(made, sun_w_m2=sun, latitude_deg=52.0, longitude_deg=0.0, **changes)


def test_the_process_declares_fields_of_the_state() -> None:
    assert set(PROCESS.reads) | set(PROCESS.writes) <= set(FIELDS)
    assert PROCESS.sources


def test_what_the_skin_gave_stands_in_the_accounts() -> None:
    skin = Skin()
    host = _after(skin, Surroundings(_weather(), "open")(36.5))
    heat = skin.terms[:, [kernel.Q_SUN, kernel.Q_AIR, kernel.Q_SKY]].sum()
    energy, water = host.ledger.energy.terms, host.ledger.water.terms
    assert energy["sun, sky and air at the skin"] == pytest.approx(60 * heat, rel=1e-9)
    assert energy["vapour from the skin"] == pytest.approx(
        -60 * skin.terms[:, kernel.Q_VAPOUR].sum(), rel=1e-9
    )
    assert water["vapour from the skin"] == pytest.approx(
        -60 * skin.terms[:, kernel.VAPOUR].sum(), rel=1e-9
    )
    assert water["vapour from the skin"] < 0
    assert (host.bextra > 0).all()
    host.close_accounts()
    assert host.ledger.energy.error < 1e-12


def test_the_simulator_solves_a_skin_well_enough() -> None:
    exact = _solve(400, **_many())
    close = _solve(400, **_many() | {"par": skin_parameters(Parameters.published())})
    assert np.abs(exact["skin"] - close["skin"]).max() < 1e-4


def test_a_cover_and_a_wet_fine_mix_change_the_drying() -> None:
    air = Surroundings(_weather(), "open")(36.5)

    def lost(skin: Skin, cover: float = 0.0) -> float:
        return -_after(skin, air, cover).ledger.water.terms["vapour from the skin"]

    assert lost(Skin(), 0.9) < lost(Skin()) < lost(Skin.wet_fine())
    with pytest.raises(QuantityError, match="dry layer"):
        Skin(0.5)


def test_a_closed_skin_lets_nothing_through() -> None:
    skin = Skin.closed()
    host = _after(skin, replace(Surroundings(_weather(), "open")(36.5), sun_w_m2=np.zeros(6)))
    assert np.abs(skin.totals).max() == 0.0
    assert host.ledger.energy.terms["sun, sky and air at the skin"] == 0.0
    for wrong in ({"film": (-1.0, 0.0)}, {"emissivity": 1.2}, {"vapour": 2.0}):
        with pytest.raises(QuantityError):
            Skin(**wrong)


def test_sun_given_as_one_row_is_taken_as_beam() -> None:
    air = Surroundings(_weather(), "open")(36.5)
    beam_only = replace(air, sun_w_m2=air.sun_w_m2.sum(axis=0))
    one, two = Skin(), Skin()
    _after(one, air)
    _after(two, beam_only)
    # the diffuse part is cut on a staircase, the beam is not
    assert one.totals[kernel.Q_SUN] < two.totals[kernel.Q_SUN]


def test_surroundings_at_noon_and_midnight() -> None:
    around = Surroundings(_weather(), "sheltered")
    noon, night = around(36.0), around(24.0)
    assert noon.wind_m_s == pytest.approx(1.0)
    assert noon.sun_w_m2.shape == (2, 6)
    top = noon.sun_w_m2[:, 5].sum()
    assert top == pytest.approx(0.8 * 700, rel=0.02)
    assert noon.sun_w_m2[0, 2] > noon.sun_w_m2[0, 3]
    assert night.sun_w_m2.max() == pytest.approx(0.0, abs=1.0)
    assert noon.deep_c == pytest.approx(15.0)
    assert around(36.0).sky_c == pytest.approx(2.0)
    assert around.hours_of(datetime(2026, 6, 21, tzinfo=UTC)) == 24.0
    with pytest.raises(NotEnoughError):
        around(100.0)


def test_sun_without_a_place_comes_from_the_whole_sky() -> None:
    lost = Surroundings(replace(_weather(), longitude_deg=None), "open")(36.0)
    assert lost.sun_w_m2[0].max() == 0.0
    assert lost.sun_w_m2[1, 5] == pytest.approx(0.8 * 700, rel=0.02)


def test_rain_becomes_a_rate_per_second() -> None:
    rainy = _weather()
    rain = np.zeros(rainy.count)
    rain[10] = 3.6
    around = Surroundings(replace(rainy, rain_mm=rain), 0.4)
    assert around(10.5).rain_kg_m2_s == pytest.approx(0.001)
    assert around(11.5).rain_kg_m2_s == 0.0
    assert around.series.start + timedelta(hours=72) == around.series.end
    with pytest.raises(QuantityError, match="open"):
        Surroundings(rainy, "gale")
    with pytest.raises(QuantityError, match="bearing"):
        Surroundings(rainy, "open", x_bearing_deg=400.0)


# --- the drying front ----------------------------------------------------------------------------


def test_a_crust_drier_than_what_lies_behind_dries_from_its_skin_inwards() -> None:
    """Six cells in a row, the last one drier: the front at its open end is as deep as its lack."""
    mesh = box_mesh(6, 1, 1, 0.1)
    opened = (mesh.bkind == OPEN) & (mesh.bdir == 1)
    fcell, fdir = mesh.bcell[opened].copy(), mesh.bdir[opened].copy()
    dry, water, front = mesh.field(1.0), mesh.field(1.28), np.zeros(fcell.size)
    for own, expected in ((1.28, 0.0), (0.78, 0.025), (0.28, 0.05), (0.1, 0.05), (2.0, 0.0)):
        water[fcell] = own
        for call in (kernel.front_depth, kernel.front_depth.py_func):
            call(fcell, fdir, mesh.sy, mesh.sz, mesh.active.ravel(), 0.1, water, dry, 0.28, front)
            assert front == pytest.approx(expected), own


def test_a_deeper_front_dries_less_and_takes_its_heat_from_the_cell() -> None:
    fronts = np.array([0.0, 0.01, 0.02, 0.04])
    got = _solve(4, front=fronts, temp=np.full(4, 40.0))
    leaving = got["terms"][:, kernel.VAPOUR]
    assert (leaving > 0).all()
    # with the front in a warm cell it dries more than one at a skin of the same resistance
    same = _solve(4, layer=0.01 + fronts, temp=np.full(4, 40.0))
    assert (leaving[1:] > same["terms"][1:, kernel.VAPOUR]).all()
    # the skin holds nothing, and heap and air together hold nothing
    s = np.minimum(fronts / 0.05, kernel.DEEPEST)
    where = (1 - s) * got["skin"] + s * got["temp"]
    into = got["terms"][:, kernel.Q_SUN : kernel.VAPOUR].sum(axis=1)
    conduction = 2 * got["conductivity"] * 0.1 * (got["temp"] - got["skin"])
    assert conduction + into == pytest.approx((1 - s) * leaving * _latent(where), rel=1e-6)
    assert got["heat"] == pytest.approx(into - got["terms"][:, kernel.Q_VAPOUR], rel=1e-9)


@pytest.mark.parametrize("temp_c", [5.0, 25.0, 45.0])
def test_a_deep_front_adds_to_what_limits_the_step(temp_c: float) -> None:
    """The slope is the heat a cell loses for a degree more, at least that found by differences."""
    front = np.full(1, 0.03)
    a, b = (_solve(1, front=front, temp=np.full(1, temp_c + d)) for d in (-0.05, 0.05))
    found = (a["heat"][0] - b["heat"][0]) / 0.1
    assert b["slope"][0] >= 0.9 * found
