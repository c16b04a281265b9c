"""Enthalpy and temperature with ice, vapour over wet material, compiled or not; the process."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from heapwright.engine.kernels import thermo as kernel
from heapwright.engine.mesh import box_mesh
from heapwright.engine.parameters import Parameters
from heapwright.engine.processes.freezing import PROCESS, Freezing, thermo_parameters
from heapwright.engine.state import FIELDS, Work, empty_state
from heapwright.science import air, heapphysics

P = Parameters.published()
PAR = thermo_parameters(P)
WATER, ICE = heapphysics.saturation_polynomials()
N = 400
CELLS = np.arange(N, dtype=np.uint64)


def _masses(seed: int = 3) -> tuple[Any, Any]:
    rng = np.random.default_rng(seed)
    return rng.uniform(0.05, 0.4, N), rng.uniform(0.0, 0.8, N)


def _back(h: Any, dry: Any, water: Any, compiled: bool = True) -> tuple[Any, Any, Any]:
    t, ice, capacity = np.zeros(N), np.zeros(N), np.zeros(N)
    call = kernel.temperature if compiled else kernel.temperature.py_func
    call(CELLS, h, dry, water, PAR, t, ice, capacity)
    return t, ice, capacity


def _there(t: Any, ice: Any, dry: Any, water: Any, compiled: bool = True) -> Any:
    h = np.zeros(N)
    call = kernel.enthalpy if compiled else kernel.enthalpy.py_func
    call(CELLS, t, ice, dry, water, PAR, h)
    return h


def test_there_and_back_to_1e_10() -> None:
    dry, water = _masses()
    t = np.linspace(-40, 95, N)
    h = _there(t, np.zeros(N), dry, water)
    got, ice, _ = _back(h, dry, water)
    assert got == pytest.approx(t, rel=1e-10, abs=1e-10)
    assert ice == pytest.approx(np.where(t < 0, water, 0.0), rel=1e-12, abs=1e-15)
    assert _there(got, ice, dry, water) == pytest.approx(h, rel=1e-10)


def test_through_the_thaw_and_back() -> None:
    dry, water = _masses()
    frozen = np.linspace(0.0, 1.0, N) * water
    h = _there(np.zeros(N), frozen, dry, water)
    t, ice, capacity = _back(h, dry, water)
    assert (t == 0.0).all()
    assert ice == pytest.approx(frozen, rel=1e-10, abs=1e-15)
    assert capacity == pytest.approx(1400 * dry + 4186 * (water - frozen) + 2100 * frozen)


def test_the_kernels_agree_with_the_formulas() -> None:
    dry, water = _masses()
    h = np.linspace(-4e5, 2e5, N)
    t, ice, _ = _back(h, dry, water)
    exact_t, exact_ice = heapphysics.temperature(h, dry, water)
    assert t == pytest.approx(exact_t, rel=1e-12, abs=1e-12)
    assert ice == pytest.approx(exact_ice, rel=1e-12, abs=1e-15)
    assert (ice[h > 0] == 0).all()
    assert set(np.sign(t)) == {-1.0, 0.0, 1.0}


def test_a_cell_without_mass_keeps_its_temperature() -> None:
    t, ice, capacity = np.full(N, 12.0), np.ones(N), np.ones(N)
    nothing = np.zeros(N)
    kernel.temperature(CELLS, nothing, nothing, nothing, PAR, t, ice, capacity)
    assert (t == 12.0).all()
    assert (ice == 0.0).all()
    assert (capacity == 0.0).all()


def test_saturation_within_a_tenth_of_a_per_cent() -> None:
    for t in np.linspace(-20, 90, 500):
        p, slope = kernel.saturation_fast(float(t), WATER, ICE)
        assert p == pytest.approx(air.saturation_pressure(t), rel=1e-5)
        if abs(t - 0.01) > 2e-3:
            near = (air.saturation_pressure(t + 1e-3) - air.saturation_pressure(t - 1e-3)) / 2e-3
            assert slope == pytest.approx(near, rel=1e-3)


def test_saturation_is_held_at_the_ends_of_its_range() -> None:
    for t, end in ((-90.0, -60.0), (400.0, 130.0)):
        got = kernel.saturation_fast(t, WATER, ICE)
        assert got == kernel.saturation_fast(end, WATER, ICE)
        assert np.isfinite(got).all()


def _vapour(t: Any, activity: Any, pressure: float, compiled: bool = True) -> tuple[Any, ...]:
    pv, dpv, dry_gas = np.zeros(N), np.zeros(N), np.zeros(N)
    call = kernel.vapour if compiled else kernel.vapour.py_func
    call(CELLS, t, activity, pressure, P.r_gas, WATER, ICE, pv, dpv, dry_gas)
    return pv, dpv, dry_gas


def test_vapour_and_dry_gas() -> None:
    t, pressure = np.linspace(-20, 90, N), 101325.0
    activity = np.linspace(0.2, 1.0, N)
    pv, dpv, dry_gas = _vapour(t, activity, pressure)
    assert pv == pytest.approx(activity * air.saturation_pressure(t), rel=1e-5)
    assert dry_gas == pytest.approx((pressure - pv) / (8.314462618 * (t + 273.15)), rel=1e-12)
    assert (dpv > 0).all()
    # at the boiling point vapour leaves a twentieth to the dry gas, and no more heat adds to it
    hot = _vapour(np.full(N, 104.0), np.ones(N), pressure)
    assert hot[0] == pytest.approx(0.95 * pressure)
    assert (hot[1] == 0).all()


def test_compiled_and_plain_are_the_same() -> None:
    dry, water = _masses()
    h = np.linspace(-4e5, 2e5, N)
    t, ice, capacity = _back(h, dry, water)
    for one, two in zip((t, ice, capacity), _back(h, dry, water, compiled=False), strict=True):
        np.testing.assert_allclose(one, two, rtol=1e-14)
    np.testing.assert_allclose(
        _there(t, ice, dry, water), _there(t, ice, dry, water, compiled=False), rtol=1e-14
    )
    a, x = np.linspace(0, 1, N), np.linspace(-70, 140, N)
    for one, two in zip(_vapour(x, a, 9e4), _vapour(x, a, 9e4, compiled=False), strict=True):
        np.testing.assert_allclose(one, two, rtol=1e-12)
    for x in (-30.0, 30.0):
        assert kernel.saturation_fast.py_func(x, WATER, ICE) == pytest.approx(
            kernel.saturation_fast(x, WATER, ICE), rel=1e-12
        )


# --- the process ---------------------------------------------------------------------------------


def _host(temp_c: float) -> SimpleNamespace:
    mesh = box_mesh(3, 3, 3, 0.1)
    state = empty_state(mesh, 8, 4)
    state.pools[4, mesh.cells] = 0.19
    state.water_m[mesh.cells] = 0.2
    state.water_f[mesh.cells] = 0.022
    state.temp_c[mesh.cells] = temp_c
    work = Work(mesh)
    work["dry"], work["water"] = state.dry_kg, state.water_kg
    return SimpleNamespace(mesh=mesh, state=state, work=work, par=P)


def test_the_process_declares_fields_of_the_state() -> None:
    assert set(PROCESS.reads) | set(PROCESS.writes) <= set(FIELDS)
    assert PROCESS.sources


@pytest.mark.parametrize("temp_c", [-8.0, 0.0, 35.0])
def test_the_process_there_and_back(temp_c: float) -> None:
    host, freezing = _host(temp_c), Freezing(P)
    freezing.enthalpy(host)
    host.state.temp_c[:] = 99.0
    freezing.temperature(host)
    c = host.mesh.cells
    assert host.state.temp_c[c] == pytest.approx(temp_c, abs=1e-10)
    assert host.work["ice"][c] == pytest.approx(0.222 if temp_c < 0 else 0.0)


def test_a_cold_heap_waits_at_0_until_its_water_is_frozen() -> None:
    host, freezing = _host(5.0), Freezing(P)
    freezing.enthalpy(host)
    c, taken, seen = host.mesh.cells, 1000.0, []
    for _ in range(100):
        host.state.enthalpy_j[c] -= taken
        freezing.temperature(host)
        seen.append(float(host.state.temp_c[c[0]]))
    waited = sum(t == 0.0 for t in seen) * taken
    assert waited == pytest.approx(333.5e3 * 0.222, abs=taken)
    assert seen[0] > 0 > seen[-1]
    assert (np.diff(seen) <= 0).all()
