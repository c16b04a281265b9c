"""The gas of a heap: what makes it rise, when it stands still, and that left equals right."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from heapwright.engine.kernels import gas
from heapwright.engine.ledger import Ledger
from heapwright.engine.mesh import Mesh
from heapwright.engine.parameters import Parameters, saturation_coefficients
from heapwright.engine.shapes import mesh_of
from heapwright.engine.state import State, Work, empty_state
from heapwright.engine.stepper import Air, Stepper

P = Parameters.published()


class NoLife:
    """A heap in which nothing rots."""

    def rates(self, state: State, work: Work) -> None:
        work["o2_max"][:] = 0.0

    def advance(self, state: State, work: Work, dt: float) -> None:
        for name in ("heat_w", "water_kg", "co2_kg"):
            work[name][:] = 0.0

    def carbon_kg(self, state: State, mesh: Mesh) -> float:
        return float(state.pools[:, mesh.cells].sum() * 0.44)


class EvenHeat(NoLife):
    """The same uptake and heat everywhere, for symmetry."""

    def rates(self, state: State, work: Work) -> None:
        work["o2_max"][:] = 0.0
        work["o2_max"][work.mesh.cells] = 2e-9

    def advance(self, state: State, work: Work, dt: float) -> None:
        super().advance(state, work, dt)
        work["heat_w"][work.mesh.cells] = 0.2


def no_skin(stepper: Stepper, air: Air, dt: float) -> tuple[float, float, float]:
    return 0.0, 0.0, 0.0


def film(stepper: Stepper, air: Air, dt: float) -> tuple[float, float, float]:
    """Heat through a film of 12 W/m2K, no evaporation."""
    d = stepper.mesh.dx_m
    k = stepper.work["conductivity"][stepper.fcell]
    g = d * d / (d / 2 / k + 1 / 12)
    stepper.bextra[: stepper.n_open] = g
    q = g * (air.temp_c - stepper.state.temp_c[stepper.fcell])
    np.add.at(stepper.work["heat"], stepper.fcell, q)
    return float(q.sum()), 0.0, 0.0


def still(temp_c: float = 15.0, vapour_pa: float = 0.0) -> Air:
    return Air(temp_c, vapour_pa, 101325.0, 0.0, temp_c, np.zeros(6), 0.0, temp_c)


def heap(*, temp_c: float, wet: bool, life: Any = None, skin: Any = no_skin) -> Stepper:
    mesh = mesh_of("mound", 1.3, height_m=1.1)
    state = empty_state(mesh, 8, 4)
    dry = 190 * mesh.dx_m**3
    state.pools[4, mesh.cells] = dry
    state.water_m[mesh.cells] = dry if wet else 0.0
    state.temp_c[mesh.cells] = temp_c
    state.o2[mesh.cells] = P.oxygen_in_air
    state.soil_c[:] = 15.0
    return Stepper(mesh, state, parameters=P, biology=life or NoLife(), skin=skin)


def test_a_dry_heap_as_warm_as_the_air_does_not_breathe() -> None:
    s = heap(temp_c=15.0, wet=False)
    s.step(still(), 600.0)
    through = np.abs(s.bf).max() / (s.bg.max() * 1.0)
    assert through < 1e-9


def test_a_warm_moist_heap_breathes_in_at_the_side_and_out_at_the_top() -> None:
    s = heap(temp_c=45.0, wet=True)
    s.step(still(), 1.0)
    up = s.fdir == 5
    assert s.bf[: s.n_open][up].sum() > 0
    assert s.bf[: s.n_open][~up].sum() < 0
    assert abs(s.bf.sum()) < 1e-6 * np.abs(s.bf).sum()


def test_mirror_symmetry() -> None:
    """Pressure and heat are symmetric to round-off; oxygen to the tolerance of its sweeps."""
    s = heap(temp_c=30.0, wet=True, life=EvenHeat(), skin=film)
    for _ in range(12):
        s.step(still(), 600.0)
    box = s.mesh.active.shape
    for name, size, tolerance in (("temp_c", 1.0, 1e-3), ("p_pa", 1.0, 1e-5), ("o2", 0.2, 2e-5)):
        f = getattr(s.state, name).reshape(box)
        assert np.abs(f - f[:, :, ::-1]).max() < tolerance * size
        assert np.abs(f - f[:, ::-1, :]).max() < tolerance * size


@pytest.mark.reference(
    source="ideal gas with vapour, carbon dioxide in place of oxygen (computed)",
    where="outside 15 C and 70 %, inside saturated: 25.5 C for y 0.10, 30.0 C for y 0.05",
)
@pytest.mark.parametrize(("y", "answer"), [(0.10, 25.5), (0.05, 30.0)])
def test_neutral_buoyancy_with_carbon_dioxide(y: float, answer: float) -> None:
    mesh = mesh_of("box", 0.01, dx_m=0.1)
    water, ice = saturation_coefficients()
    par = P.gas(101325.0)

    def density(temp_c: float, oxygen: float, humidity: float) -> float:
        made = [mesh.field() for _ in range(4)]
        gas.properties(
            mesh.cells, mesh.field(temp_c), mesh.field(oxygen), mesh.field(humidity),
            mesh.field(0.4), water, ice, par, *made,
        )  # fmt: skip
        return float(made[2][mesh.cells[0]])

    outside = density(15.0, P.oxygen_in_air, 0.7)
    low, high = 15.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if density(middle, y, 1.0) > outside else (low, middle)
    assert low == pytest.approx(answer, abs=0.1)


def test_accounts_close_on_the_state_itself() -> None:
    s = heap(temp_c=45.0, wet=True, life=EvenHeat(), skin=film)
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
