"""Liquid water: closure, times, limits, heat it carries, ice, a summer of rain."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from heapwright.engine.kernels import water as kernel
from heapwright.engine.mesh import Mesh, box_mesh
from heapwright.engine.parameters import Parameters
from heapwright.engine.processes.water import WaterParameters, water_parameters
from heapwright.engine.shapes import mesh_of

P, W = Parameters.published(), WaterParameters.published()
DAY = 86400.0
CP = P.cp_water


class Case:
    """A box of cells with its water, its heat and what has come and gone."""

    def __init__(self, mesh: Mesh, *, wet: float = 1.0, free: float = 0.0, temp_c: float = 20.0,
                 dry: float = 190.0, fc: float = 1.8, **water: float) -> None:  # fmt: skip
        self.mesh, self.c = mesh, mesh.cells
        self.par = water_parameters(P, W.with_(**water), mesh.dx_m)
        self.dry = mesh.field(dry * mesh.dx_m**3)
        self.m, self.f = wet * self.dry, mesh.field(free)
        self.fc = mesh.field(fc)
        self.h = (self.dry * P.cp_dry_matter + (self.m + self.f) * CP) * temp_c
        self.top, self.top_j = mesh.field(), mesh.field()
        self.scratch = [mesh.field() for _ in range(5)]
        self.drained = np.zeros(2)

    @classmethod
    def column(cls, cells: int = 10, dx: float = 0.1, **given: Any) -> Case:
        """One cell wide, no neighbours at the sides."""
        return cls(box_mesh(1, 1, cells, dx), **given)

    @property
    def w(self) -> Any:
        """Water held over dry mass, from the bottom up."""
        return self.m[self.c] / self.dry[self.c]

    @property
    def temp(self) -> Any:
        return self.h[self.c] / (self.dry * P.cp_dry_matter + (self.m + self.f) * CP)[self.c]

    def held(self) -> tuple[float, float, float]:
        c = self.c
        return float(self.m[c].sum()), float(self.f[c].sum()), float(self.h[c].sum())

    def rain(self, kg_m2: float, temp_c: float = 20.0) -> float:
        """Set what arrives on the top faces in the next step."""
        up = self.mesh.bcell[self.mesh.bdir == 5]
        self.top[:] = self.top_j[:] = 0.0
        self.top[up] = kg_m2 * self.mesh.dx_m**2
        self.top_j[:] = self.top * CP * temp_c
        return float(self.top.sum())

    def step(self, dt: float = 600.0, compiled: bool = True) -> None:
        call = kernel.water_step if compiled else kernel.water_step.py_func
        m = self.mesh
        call(m.runs, m.sy, m.sz, m.active.ravel(), dt, self.dry, self.m, self.f, self.h, self.fc,
             self.par, self.top, self.top_j, *self.scratch, self.drained)  # fmt: skip


def _random(seed: int = 11, mesh: Mesh | None = None) -> Case:
    rng = np.random.default_rng(seed)
    case = Case(mesh or mesh_of("mound", 0.4))
    n, c = case.c.size, case.c
    case.dry[c] *= rng.uniform(0.4, 2.0, n)
    case.m[c] = case.dry[c] * rng.uniform(0.0, 4.0, n)
    case.f[c] = rng.uniform(0.0, 0.5, n) * (rng.random(n) > 0.3)
    case.fc[c] = rng.uniform(1.5, 3.0, n)
    sensible = (case.dry * P.cp_dry_matter + (case.m + case.f) * CP)[c]
    case.h[c] = sensible * rng.uniform(-90, 75, n)  # from frozen through to hot
    return case


def test_water_and_its_heat_close_to_round_off() -> None:
    for seed, dt in ((1, 60.0), (2, 600.0), (3, 3600.0)):
        case = _random(seed)
        m0, f0, h0 = case.held()
        came = warmth = 0.0
        for n in range(200):
            came += case.rain(4.0 * (n % 3 == 0), temp_c=8.0)
            warmth += float(case.top_j.sum())
            case.step(dt)
        m1, f1, h1 = case.held()
        gone, carried = case.drained
        assert came > 1
        assert gone > 1
        assert abs(m1 + f1 - m0 - f0 - came + gone) < 1e-12 * (m0 + f0 + came)
        assert abs(h1 - h0 - warmth + carried) < 1e-12 * np.abs(case.h).sum()
        assert case.m.min() >= 0
        assert case.f.min() >= 0


def test_compiled_and_plain_are_the_same() -> None:
    one, two = (_random(5, box_mesh(4, 3, 4, 0.1)) for _ in range(2))
    for _ in range(4):
        for case, compiled in ((one, True), (two, False)):
            case.rain(3.0, temp_c=12.0)
            case.step(1800.0, compiled)
    for a, b in ((one.m, two.m), (one.f, two.f), (one.h, two.h), (one.drained, two.drained)):
        np.testing.assert_allclose(a, b, rtol=1e-12, atol=1e-15)


def test_left_equals_right() -> None:
    case = Case(box_mesh(7, 1, 4, 0.1), capillary=5e-9)
    case.m[case.c] *= np.tile([0.5, 1.0, 1.5, 2.0, 1.5, 1.0, 0.5], 4)
    for _ in range(50):
        case.rain(1.0)
        case.step(3600.0)
    layers = case.w.reshape(4, 7)
    np.testing.assert_allclose(layers, layers[:, ::-1], rtol=1e-12)


# --- each way by itself --------------------------------------------------------------------------

#: nothing but what a test switches on
STILL = {"capillary": 0.0, "uptake_d": 1e9, "slow_drainage_d": 1e9}


def test_the_bypass_runs_on_and_the_rest_wets_where_it_falls() -> None:
    case = Case.column(**STILL)
    came = case.rain(4.0)
    case.step(60.0)
    wetted = case.m[case.c] - case.dry[case.c]
    assert wetted[-1] == pytest.approx(0.25 * came, rel=1e-6)
    assert wetted[:-1] == pytest.approx(0.0, abs=1e-6 * came)
    assert case.f[case.c].sum() + case.drained[0] == pytest.approx(0.75 * came, rel=1e-6)


def test_material_holds_no_more_than_it_can() -> None:
    case = Case.column(**STILL)
    came = 0.0
    for _ in range(40):
        came += case.rain(50.0)
        case.step(600.0)
    assert case.w[-1] == pytest.approx(1.5 * 1.8, rel=1e-6)
    case.rain(0.0)
    for _ in range(100):
        case.step(3600.0)
    assert case.drained[0] == pytest.approx(came - 1.7 * case.dry[case.c[0]], rel=1e-4)


@pytest.mark.parametrize("dx", [0.05, 0.1, 0.2])
def test_running_water_takes_its_time_to_the_bottom_whatever_the_cells(dx: float) -> None:
    """1 m at 2e-4 m/s: 5,000 s on average, over the dx of a cell a little more or less."""
    case = Case.column(round(1.0 / dx), dx, bypass=1.0, **STILL)
    came, dt = case.rain(1.0), 10.0
    before = late = 0.0
    for n in range(6000):
        case.step(dt)
        case.top[:] = case.top_j[:] = 0.0
        late += (case.drained[0] - before) * (n + 0.5) * dt
        before = float(case.drained[0])
    assert before == pytest.approx(came, rel=1e-6)
    assert late / before == pytest.approx(5000.0, rel=0.03)


def test_bypass_passes_many_cells_in_one_long_step() -> None:
    case = Case.column(8, bypass=1.0, free_speed=2e-3, **STILL)  # 400 s for the column
    came = case.rain(2.0)
    case.step(3600.0)
    assert case.drained[0] > 0.8 * came
    assert (case.f[case.c] > 0).all()


def test_a_long_step_gives_running_water_its_time_with_the_wood() -> None:
    """A shower of an hour on 2 m of chips: steps of 60 and 10 min against steps of 1 min."""
    taken = []
    for dt in (3600.0, 600.0, 60.0):
        case = Case.column(20, capillary=0.0)
        for n in range(round(12 * 3600 / dt)):
            case.rain(6.0 * dt / 3600 if n * dt < 3600 else 0.0)
            case.step(dt)
        taken.append(case.m[case.c].sum() - case.dry[case.c].sum())
    assert taken[0] == pytest.approx(taken[2], rel=0.05)
    assert taken[1] == pytest.approx(taken[2], rel=0.03)


@pytest.mark.parametrize("uptake_d", [8.0, 15.0])
def test_uptake_fills_the_lack_to_field_capacity_in_its_time(uptake_d: float) -> None:
    case = Case.column(1, uptake_d=uptake_d, capillary=0.0, free_speed=1e-12)
    case.f[case.c] = 1.0
    start = case.w[0]
    for _ in range(round(uptake_d * 24)):
        case.step(3600.0)
    assert 1.8 - case.w[0] == pytest.approx((1.8 - start) / np.e, rel=1e-9)


def test_a_longer_time_of_uptake_leaves_the_heap_drier() -> None:
    ends = []
    for days in (8.0, 11.0, 15.0):
        case = Case.column(uptake_d=days)
        for n in range(24 * 30):
            case.rain(1.0 if n % 24 < 3 else 0.0)
            case.step(3600.0)
        ends.append((case.w[:-3].mean(), case.drained[0]))
    assert ends[0][0] > ends[1][0] > ends[2][0] > 1.0
    assert ends[0][1] < ends[1][1] < ends[2][1]


def test_above_field_capacity_water_seeps_out_slowly_and_never_below() -> None:
    case = Case.column(3, wet=2.6, capillary=0.0, slow_drainage_d=8.0)
    for _ in range(8 * 24):
        case.step(3600.0)
    assert case.w[-1] - 1.8 == pytest.approx(0.8 / np.e, rel=1e-9)
    assert (case.w >= case.w[-1] * (1 - 1e-12)).all()
    for _ in range(200 * 24):
        case.step(3600.0)
    assert case.w == pytest.approx(1.8, rel=1e-9)
    assert case.f[case.c] == pytest.approx(0.0, abs=1e-9)


def test_field_capacity_is_kept_by_material_of_each_kind() -> None:
    case = Case.column(4, wet=3.5, capillary=0.0)
    case.fc[case.c] = [1.5, 2.0, 2.4, 3.0]
    for _ in range(300 * 24):
        case.step(3600.0)
    assert case.w == pytest.approx([1.5, 2.0, 2.4, 3.0], rel=1e-9)


def test_capillary_exchange_is_diffusion_of_second_order() -> None:
    """A cosine of water decays at D (pi / L)^2; the error falls with dx^2."""
    length, diffusivity, days = 1.0, 5e-9, 120
    errors = []
    for cells in (10, 20):
        case = Case.column(cells, length / cells, capillary=diffusivity)
        z = (np.arange(cells) + 0.5) / cells
        case.m[case.c] *= 1 + 0.5 * np.cos(np.pi * z)
        for _ in range(days * 24):
            case.step(3600.0)
        decay = np.exp(-diffusivity * (np.pi / length) ** 2 * days * DAY)
        errors.append(np.abs(case.w - 1 - 0.5 * decay * np.cos(np.pi * z)).max())
    # of the cells: the decay of a cosine on a grid is slower by the share (pi dx / L)^2 / 12
    predicted = -0.5 * decay * np.log(decay) * (np.pi * 0.1) ** 2 / 12
    assert errors[0] == pytest.approx(predicted, rel=0.05)
    assert np.log2(errors[0] / errors[1]) == pytest.approx(2.0, abs=0.3)


def test_capillary_exchange_between_unlike_densities_ends_at_one_moisture() -> None:
    case = Case.column(4, capillary=1.0)  # as fast as it may be
    case.dry[case.c] = [0.1, 0.4, 0.2, 0.3]
    case.m[case.c] = [0.15, 0.4, 0.1, 0.35]
    total = case.m.sum()
    low, high = case.w.min(), case.w.max()
    for _ in range(2000):
        case.step(3600.0)
        assert low - 1e-12 <= case.w.min() <= case.w.max() <= high + 1e-12
    assert case.w == pytest.approx(1.0, rel=1e-6)
    assert case.m.sum() == pytest.approx(total, rel=1e-12)


# --- heat and ice --------------------------------------------------------------------------------


def test_cold_water_cools_what_it_passes_and_never_below_itself() -> None:
    case = Case.column(6, temp_c=60.0)
    case.rain(300.0, temp_c=10.0)
    case.step(3600.0)
    assert (case.temp >= 10.0).all()
    assert (case.temp < 60.0).all()
    assert (np.diff(case.temp) < 0).all()  # coldest on top
    left = case.drained[1] / (case.drained[0] * CP)
    assert case.temp[0] < left < 60.0  # what ran out has warmed on its way


def test_ice_does_not_move_and_melting_lets_go() -> None:
    case = Case.column(3, wet=2.6, temp_c=20.0, capillary=5e-9)
    case.f[case.c] = 0.1
    case.m[case.c[0]] *= 0.5
    water = case.m + case.f
    case.h = -333.5e3 * water - (case.dry * 1400 + water * 2100) * 5.0
    before = case.m.copy(), case.f.copy()
    case.step(3600.0)
    np.testing.assert_array_equal(case.m, before[0])
    np.testing.assert_array_equal(case.f, before[1])
    assert case.drained[0] == 0.0
    case.h = -333.5e3 * water * 0.5  # half melted, 0 C
    case.step(3600.0)
    assert 0 < case.drained[0] < 0.5 * water.sum()  # no more than was liquid
    assert case.drained[1] == 0.0
    # water of 0 C carries no heat, so every cell keeps its ice, and has the water for it
    np.testing.assert_array_equal(case.h, -333.5e3 * water * 0.5)
    assert (0.5 * water <= case.m + case.f + 1e-12).all()


def test_rain_on_a_frozen_top_freezes_there_before_any_runs_on() -> None:
    case = Case.column(3)
    case.h = -333.5e3 * case.m - (case.dry * 1400 + case.m * 2100) * 20.0
    case.rain(1.0, temp_c=0.0)
    total = float(case.top.sum() + (case.m + case.f).sum())
    case.step(600.0)
    assert case.drained[0] == 0.0
    assert case.m.sum() + case.f.sum() == pytest.approx(total, rel=1e-13)
    assert case.f[case.c][:-1] == pytest.approx(0.0, abs=1e-15)


# --- a summer ------------------------------------------------------------------------------------


def _summer(hours: int = 5, **water: float) -> tuple[float, float, float, float]:
    """Moisture of core, crust and top [kg/kg] and share of rain drained, after a wet summer.

    2 m of chips at 55 % wet basis, 150 days, 300 mm in showers of so many hours every third day.
    Imposed: the core (below 0.3 m) loses 1.6 kg/m3 a day to the air that rises through it.
    """
    case = Case.column(20, wet=0.55 / 0.45, **water)
    core = case.c[:17]
    came = 0.0
    for hour in range(150 * 24):
        came += case.rain(6.0 / hours if hour % 72 < hours else 0.0)
        case.m[core] -= np.minimum(1.6 * 0.001 / 24, 0.2 * case.m[core])
        case.h[case.c] = ((case.dry * P.cp_dry_matter + (case.m + case.f) * CP) * 20.0)[case.c]
        case.step(3600.0)
    assert came == pytest.approx(3.0, rel=1e-9)  # 300 mm on 0.01 m2
    return case.w[:17].mean(), case.w[17:].mean(), case.w[-1], case.drained[0] / came


def test_a_summer_of_rain_leaves_the_core_drier_than_the_crust() -> None:
    core, crust, top, drained = _summer()
    assert core < 0.55 / 0.45 - 0.3
    assert crust > core + 0.6
    assert top > crust
    # where more runs through, the crust gets less
    assert _summer(bypass=0.9)[1] < crust < _summer(bypass=0.5)[1]
    # a shower leaves the material less time than a drizzle of the same amount
    hard, slow = _summer(hours=1), _summer(hours=1, uptake_d=15.0)
    assert drained < hard[3] < slow[3] < 0.75
    assert slow[0] < hard[0] < core


def test_the_page_prints_what_comes_out() -> None:
    page = Path(__file__).parents[3] / "docs" / "explain" / "engine-water.md"
    rows = re.findall(r"^\| (\d+) hours? \|(.*)\|$", page.read_text(encoding="utf-8"), re.MULTILINE)
    assert [int(hours) for hours, _ in rows] == [1, 2, 5, 24]
    for hours, cells in rows:
        *held, drained = _summer(hours=int(hours))
        printed = [f"{w:.2f} ({100 * w / (1 + w):.0f} %)" for w in held]
        printed.append(f"{100 * drained:.0f} %" if drained > 0.005 else "none")
        assert [cell.strip() for cell in cells.split("|")] == printed
