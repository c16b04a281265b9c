"""The gas of a heap: what makes it rise, when it stands still, and that left equals right."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from tests.lifeless import NoLife
from tests.verification.claims import check
from tests.verification.porous import column

from heapwright.engine.kernels import flow, gas
from heapwright.engine.ledger import Ledger
from heapwright.engine.parameters import Parameters, gas_table
from heapwright.engine.processes.skin import Skin
from heapwright.engine.shapes import mesh_of
from heapwright.engine.state import State, Work, empty_state
from heapwright.engine.stepper import Stepper
from heapwright.engine.surroundings import Air

P = Parameters.published()


class EvenHeat(NoLife):
    """The same uptake and heat everywhere, for symmetry."""

    def rates(self, state: State, work: Work, ahead: float = 0.0) -> None:
        work["o2_max"][:] = 0.0
        work["o2_max"][work.mesh.cells] = 2e-9

    def advance(self, state: State, work: Work, dt: float, o2: Any = None) -> None:
        super().advance(state, work, dt)
        work["heat_w"][work.mesh.cells] = 0.2


def film() -> Skin:
    """Heat through a film of 12 W/m2K, no evaporation."""
    return Skin(film=(12.0, 0.0), emissivity=0.0, vapour=0.0)


def still(temp_c: float = 15.0, vapour_pa: float = 0.0) -> Air:
    return Air(temp_c, vapour_pa, 101325.0, 0.0, temp_c, np.zeros(6), 0.0, temp_c)


def heap(*, temp_c: float, wet: bool, life: Any = None, skin: Skin | None = None) -> Stepper:
    mesh = mesh_of("mound", 1.3, height_m=1.1)
    state = empty_state(mesh, 8, 4)
    dry = 190 * mesh.dx_m**3
    state.pools[4, mesh.cells] = dry
    state.water_m[mesh.cells] = dry if wet else 0.0
    state.temp_c[mesh.cells] = temp_c
    state.o2[mesh.cells] = P.oxygen_in_air
    state.soil_c[:] = 15.0
    made = Stepper(mesh, state, parameters=P, biology=life or NoLife(), skin=skin or Skin.closed())
    made.pressure_tolerance, made.oxygen_tolerance = 1e-5, 1e-6
    return made


def test_a_dry_heap_as_warm_as_the_air_does_not_breathe() -> None:
    s = heap(temp_c=15.0, wet=False)
    s.step(still(), 600.0)
    # over the largest conductance: the head [Pa] that would drive it; 20 C of warmth give 0.8 Pa
    check("flow through a dry heap as warm as the air", np.abs(s.bf).max() / s.bg.max())
    inner = max(np.abs(s.work[name]).max() for name in ("fx", "fy", "fz"))
    assert inner <= 1e-12 * s.work["gx"].max()


def test_a_warm_moist_heap_breathes_in_at_the_side_and_out_at_the_top() -> None:
    s = heap(temp_c=45.0, wet=True)
    s.step(still(), 1.0)
    up = s.fdir == 5
    assert s.bf[: s.n_open][up].sum() > 0
    assert s.bf[: s.n_open][~up].sum() < 0
    assert abs(s.bf.sum()) < 1e-6 * np.abs(s.bf).sum()


def chimney(temp_c: float, oxygen: float, humidity: float) -> tuple[float, float]:
    """Upward flow [mol/(m2 s)] through a column of 1 m, dry air of 15 C outside; the exact one.

    Closed sides, open bottom and top, the kernels `gas` and `flow` as a heap uses them.
    """
    m = column(10, 1.0)
    table = gas_table(P.d_power)
    par = P.gas(101325.0)
    dry, ratio, rho, spread = (m.field() for _ in range(4))
    gas.properties(
        m.runs, m.field(temp_c), m.field(oxygen), m.field(humidity), m.field(0.4**1.8), table, par,
        dry, ratio, rho, spread,
    )  # fmt: skip
    outside = 101325.0 * P.molar_mass_dry_air / (P.r_gas * 288.15)
    k = m.field(P.permeability)
    gx, gy, gz, hz, ox, oy, oz = (m.field() for _ in range(7))
    gas.conductances(
        m.runs, m.sy, m.sz, m.dx_m, k, 0.6, spread, dry, rho, outside, par, gx, gy, gz,
        hz, ox, oy, oz,
    )  # fmt: skip
    n = m.bcell.size
    bg, bh, bd, bf, zero = (np.zeros(n) for _ in range(5))
    gas.open_faces(
        m.bcell, m.bdir, m.dx_m, k, 0.6, spread, dry, rho, outside, par, zero, bg, bh, bd
    )
    diag, inverse, rhs, p, r, d, q, fx, fy, fz = (m.field() for _ in range(10))
    flow.diagonal(m.runs, m.sy, m.sz, gx, gy, gz, m.bcell, bg, diag, inverse)
    flow.right_side(m.runs, m.sz, gz, hz, m.field(), m.bcell, bg, bh, zero, rhs)
    flow.solve_pressure(m.runs, m.sy, m.sz, gx, gy, gz, diag, inverse, rhs, p, r, d, q, 1e-13, 400)
    flow.fluxes(m.runs, m.sy, m.sz, gx, gy, gz, hz, p, m.bcell, bg, bh, zero, fx, fy, fz, bf)
    assert bf.sum() == pytest.approx(0.0, abs=1e-10 * np.abs(bf).max())
    up = float(bf[m.bdir == 5][0] / m.dx_m**2)
    assert fz[m.cells[:-1]] / m.dx_m**2 == pytest.approx(up, rel=1e-8)  # the same all the way up
    exact = (outside - rho[m.cells[0]]) * P.gravity * dry[m.cells[0]] * 0.6 * P.permeability
    return up, float(exact / P.viscosity)


@pytest.mark.reference(
    source="exact: Darcy's law with the weight of the gas", where="n k (rho_air - rho) g / mu"
)
def test_a_warm_moist_column_flows_up() -> None:
    """Exact for any state; up when warm and moist, down when cold or full of carbon dioxide."""
    states = {
        "warm moist": (45.0, 0.2095, 1.0),
        "warm": (45.0, 0.2095, 0.0),
        "moist": (15.0, 0.2095, 1.0),
        "stale": (15.0, 0.02, 0.0),
        "cold": (5.0, 0.2095, 0.0),
    }
    up = {}
    for name, state in states.items():
        up[name], exact = chimney(*state)
        check("warm moist column", up[name] / exact)
    assert up["warm moist"] > up["warm"] > up["moist"] > 0
    assert up["stale"] < 0
    assert up["cold"] < 0


def mirrored(stepper: Stepper, name: str) -> float:
    """How far a field lies from its two mirror images, over its largest value."""
    f = getattr(stepper.state, name).reshape(stepper.mesh.active.shape)
    off = max(np.abs(f - f[:, :, ::-1]).max(), np.abs(f - f[:, ::-1, :]).max())
    return float(off / np.abs(f).max())


def breathing(pressure: float = 1e-5, oxygen: float = 1e-6) -> Stepper:
    """A mound with even life, two hours on, solved to these tolerances."""
    s = heap(temp_c=30.0, wet=True, life=EvenHeat(), skin=film())
    s.pressure_tolerance, s.oxygen_tolerance = pressure, oxygen
    for _ in range(12):
        s.step(still(), 600.0)
    assert np.abs(s.work["fz"]).max() > 0
    assert np.ptp(s.state.temp_c[s.mesh.cells]) > 1
    return s


def test_mirror_symmetry_to_the_tolerance_of_the_simulator() -> None:
    s = breathing()
    for name, tolerance in (("temp_c", 1e-6), ("p_pa", 2e-6), ("o2", 1e-5)):
        assert mirrored(s, name) < tolerance, name


def test_mirror_symmetry_to_round_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sweeps for oxygen have a direction: symmetric to their tolerance, so it is tightened.

    In double precision throughout; as the simulator goes, see the test before.
    """
    monkeypatch.setattr(Stepper, "precision", np.float64)
    s = breathing(1e-14, 1e-14)
    for name in ("temp_c", "p_pa", "o2"):
        check("mirror symmetry of heat, pressure and oxygen", mirrored(s, name))


@pytest.mark.reference(
    source="ideal gas with vapour, carbon dioxide in place of oxygen (computed)",
    where="outside 15 C and 70 %, inside saturated: 25.5 C for y 0.10, 30.0 C for y 0.05",
)
@pytest.mark.parametrize("y", [0.10, 0.05])
def test_neutral_buoyancy_with_carbon_dioxide(y: float) -> None:
    """Damp heap (70 % outside, saturated inside), and dry gas on both sides in closed form."""
    check(f"neutral buoyancy, damp, y {y:.2f}", neutral_temperature(y, 0.7, 1.0))
    check(f"neutral buoyancy, dry, y {y:.2f}", neutral_temperature(y, 0.0, 0.0))
    # dry: T / T_air is the ratio of the molar masses, whatever the pressure
    lifted = 288.15 * (28.96 + 12 * (0.2095 - y)) / 28.96 - 273.15
    assert neutral_temperature(y, 0.0, 0.0) == pytest.approx(lifted, abs=1e-6)


def neutral_temperature(y: float, outside_humidity: float, humidity: float) -> float:
    """Temperature at which gas with oxygen fraction y weighs what air of 15 C weighs."""
    mesh = mesh_of("box", 0.01, dx_m=0.1)
    table = gas_table(P.d_power)
    par = P.gas(101325.0)

    def density(temp_c: float, oxygen: float, humidity: float) -> float:
        made = [mesh.field() for _ in range(4)]
        gas.properties(
            mesh.runs, mesh.field(temp_c), mesh.field(oxygen), mesh.field(humidity),
            mesh.field(0.4**1.8), table, par, *made,
        )  # fmt: skip
        return float(made[2][mesh.cells[0]])

    outside = density(15.0, P.oxygen_in_air, outside_humidity)
    low, high = 15.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if density(middle, y, humidity) > outside else (low, middle)
    return low


def test_the_order_of_a_whole_heap_in_time() -> None:
    """Warm, damp, alive and open: temperature and water at every cell after 80 minutes."""
    ends = []
    for dt in (400.0, 200.0, 100.0, 50.0):
        s = heap(temp_c=45.0, wet=True, life=EvenHeat(), skin=film())
        took = [s.step(still(), dt) for _ in range(round(4800 / dt))]
        assert min(took) == max(took) == dt
        ends.append((s.state.temp_c.copy(), s.state.water_m.copy()))
    for n, name in enumerate(("temperature", "water")):
        apart = [float(np.abs(a[n] - b[n]).max()) for a, b in pairwise(ends)]
        check(f"{name} of a heap in time, order", np.log2(apart[1] / apart[2]))


def test_accounts_close_on_the_state_itself() -> None:
    s = heap(temp_c=45.0, wet=True, life=EvenHeat(), skin=film())
    for _ in range(144):
        s.step(still(vapour_pa=1200.0), 600.0)
    s.close_accounts()
    ledger: Ledger = s.ledger
    limits = {"energy": 1e-3, "water": 1e-3, "oxygen": 0.02, "carbon": 1e-4}
    for name, limit in limits.items():
        account = ledger.accounts()[name]
        assert account.error < limit, name
    assert ledger.energy.terms["vapour with the air flow"] < 0
    assert ledger.water.terms["vapour with the air flow"] < 0
