"""Kernels give the same compiled and as plain Python."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from tests.unit.engine.cases_of_biology import biology_cases

from heapwright.engine.kernels import (
    b1,
    biology,
    curves,
    flow,
    gas,
    heat,
    masses,
    material,
    oxygen,
    pipes,
    six_groups,
    soil,
    transport,
    uptake,
)
from heapwright.engine.mesh import box_mesh
from heapwright.engine.parameters import Parameters, gas_table, saturation_coefficients

MESH = box_mesh(4, 3, 3, 0.1)
ACTIVE = MESH.active.ravel()
RUNS, SY, SZ, CELLS = MESH.runs, MESH.sy, MESH.sz, MESH.cells
PAR = Parameters.published()
WATER, ICE = saturation_coefficients()


def _field(rng: np.random.Generator, low: float, high: float) -> Any:
    made = MESH.field()
    made[CELLS] = rng.uniform(low, high, CELLS.size)
    return made


def _face(rng: np.random.Generator, step: int) -> Any:
    made = np.zeros(MESH.size)
    both = ACTIVE[:-step] & ACTIVE[step:]
    made[:-step][both] = rng.uniform(0.5, 1.5, both.sum())
    return made


def _faces(rng: np.random.Generator) -> tuple[Any, Any, Any]:
    return _face(rng, 1), _face(rng, int(SY)), _face(rng, int(SZ))


def two_of(r: Any, diag: Any) -> tuple[Any, Any]:
    """A residual and the residual over the diagonal."""
    return r.copy(), np.where(ACTIVE, r / np.where(ACTIVE, diag, 1), 0)


def cases() -> dict[str, Any]:
    """Name -> (kernel, arguments); arguments are made afresh by each call."""
    rng = np.random.default_rng(5)
    n = MESH.bcell.size
    f = lambda low=0.1, high=1.0: _field(rng, low, high)  # noqa: E731
    v = lambda low=0.1, high=1.0: rng.uniform(low, high, n)  # noqa: E731
    zero = MESH.field
    t, y = f(20, 60), f(0.05, 0.2)
    g = _faces(rng)
    flux = tuple(x * rng.choice([-1.0, 1.0], x.size) for x in _faces(rng))
    diag = f(8, 12)
    into, out_of = rng.uniform(0, 1, (3, MESH.size)), rng.uniform(0, 1, (3, MESH.size))
    tp = PAR.transport()
    return {
        "diagonal": (flow.diagonal, [RUNS, SY, SZ, *g, MESH.bcell, v(), zero(), zero()]),
        "right_side": (
            flow.right_side, [RUNS, SZ, g[2], f(), f(), MESH.bcell, v(), v(), v(), zero()]
        ),
        "solve_pressure": (
            flow.solve_pressure,
            [RUNS, SY, SZ, *g, diag, np.where(ACTIVE, 1 / np.where(ACTIVE, diag, 1), 0), f(),
             zero(), zero(), zero(), zero(), 1e-10, 50],
        ),
        "fluxes": (
            flow.fluxes,
            [RUNS, SY, SZ, *g, f(), f(), MESH.bcell, v(), v(), v(), zero(), zero(), zero(),
             np.zeros(n)],
        ),
        "_residual": (
            flow._residual,
            [RUNS, SY, SZ, *g, diag, np.where(ACTIVE, 1 / np.where(ACTIVE, diag, 1), 0), f(), f(),
             zero(), zero()],
        ),
        "_times": (flow._times, [RUNS, SY, SZ, *g, diag, f(), zero()]),
        "glance": (
            curves.glance,
            [CELLS, np.array([ACTIVE[CELLS], f()[CELLS] > 1.0]), f(), f(), f(), f(), f(), 1.0,
             np.zeros((2, 5)), np.zeros(4)],
        ),
        "extrapolate": (flow.extrapolate, [RUNS, f(), f()]),
        "coefficients": (
            oxygen.coefficients,
            [RUNS, SY, SZ, f(), f(), *g, *flux, MESH.bcell, v(), v(), v(), y, zero(), zero(),
             into.copy(), out_of.copy()],
        ),
        "solve_oxygen": (
            oxygen.solve_oxygen,
            [RUNS, SY, SZ, f(), 0.03, diag, f(), into, out_of, y.copy(), zero(), zero(), 1e-9, 30],
        ),
        "_up_and_in": (
            oxygen._up_and_in,
            [RUNS, SY, SZ, f(), 0.03, diag, f(), *into, *out_of, y.copy(), zero(), zero()],
        ),
        "_down_and_out": (
            oxygen._down_and_out,
            [RUNS, SY, SZ, f(), 0.03, diag, f(), *into, *out_of, y.copy(), zero(), zero()],
        ),
        "conduction_advection": (
            heat.conduction_advection,
            [RUNS, SY, SZ, *g, *flux, 1.2, t, MESH.bcell, v(), v(-1, 1), v(), f(), zero()],
        ),
        "step_two": (heat.step_two, [RUNS, 10.0, f(), f(), f(), 0.5, t.copy()]),
        "saturation_and_slope": (gas.saturation_and_slope, [61.0, WATER]),
        "fill_table": (gas.fill_table, [WATER, ICE, 1.75, np.zeros((gas.ROWS, gas.COLUMNS))]),
        "tortuosity": (gas.tortuosity, [RUNS, f(0.3, 0.6), PAR.gas(101325.0), zero()]),
        "properties": (
            gas.properties,
            [RUNS, t, y, f(), f(0.3, 0.6), gas_table(1.75), PAR.gas(101325.0), zero(), zero(),
             zero(), zero()],
        ),
        "ratios": (
            gas.ratios, [RUNS, t, y, gas_table(1.75), PAR.gas(101325.0), zero()],
        ),
        "conductances": (
            gas.conductances,
            [RUNS, SY, SZ, 0.1, f(1e-8, 1e-7), 0.6, f(), f(38, 42), f(1.0, 1.2), 1.22,
             PAR.gas(101325.0), *[zero() for _ in range(7)]],
        ),
        "open_faces": (
            gas.open_faces,
            [MESH.bcell, MESH.bdir, 0.1, f(1e-8, 1e-7), 0.6, f(), f(38, 42), f(1.0, 1.2), 1.22,
             PAR.gas(101325.0), v(0, 1), np.zeros(n), np.zeros(n), np.zeros(n)],
        ),
        "inner, upwind": (
            transport.inner,
            [RUNS, SY, SZ, ACTIVE, *g, *_faces(rng), *flux, t, f(0.01, 0.2), 1, tp,
             np.zeros((10, t.size)), zero(), zero()],
        ),
        "inner": (
            transport.inner,
            [RUNS, SY, SZ, ACTIVE, *g, *_faces(rng), *flux, t, f(0.01, 0.2), 2, tp,
             np.zeros((10, t.size)), zero(), zero()],
        ),
        "through_faces": (
            transport.through_faces,
            [MESH.bcell, v(-1, 1), v(10, 20), v(0.01, 0.02), t, f(0.01, 0.2), tp, zero(), zero(),
             np.zeros(3)],
        ),
        "heat_faces": (
            transport.heat_faces, [RUNS, SY, SZ, ACTIVE, 0.1, f(), zero(), zero(), zero()]
        ),
        "shortest_step": (
            transport.shortest_step,
            [RUNS, SY, SZ, *g, *_faces(rng), *flux, MESH.bcell, v(-1, 1), v(), t, f(0.01, 0.2),
             f(900, 1500), tp, zero()],
        ),
        "material": (
            material.material,
            [CELLS, 1e-3, f(0.1, 0.3), f(0.05, 0.4), f(0.4, 0.6), PAR.material(),
             *[zero() for _ in range(5)]],
        ),
        "soil_step": (
            soil.soil_step,
            [MESH.bcell[:5].copy(), 600.0, 0.1, f(), t, rng.uniform(5, 15, (5, 3)),
             np.array([0.1, 0.2, 0.4]), 1.0, 2e6, 10.0, zero()],
        ),
        "reaction": (
            b1.reaction,
            [int(RUNS[0, 0]), int(RUNS[-1, 1]), t, f(2, 6), y.copy(), f(0.05, 0.2), 600.0, 1e-3,
             1.2e-5, 0.02, 1e-6, 14e6, zero(), zero()],
        ),
        "buoyancy": (
            b1.buoyancy,
            [RUNS, SZ, t, g[2], MESH.bcell[MESH.bdir == 5], v()[MESH.bdir == 5], 0.1, 16.0, 12.0,
             f(), f(), zero()],
        ),
        "residual": (
            b1.residual,
            [RUNS, SY, SZ, *g, diag, np.where(ACTIVE, 1 / np.where(ACTIVE, diag, 1), 0), f(), f(),
             zero(), zero()],
        ),
        "descend": (
            flow.descend,
            [RUNS, SY, SZ, *g, diag, np.where(ACTIVE, 1 / np.where(ACTIVE, diag, 1), 0), zero(),
             *two_of(np.where(ACTIVE, 1.0, 0.0), diag), zero(), 1.0, 1.0, 1e-9, 50],
        ),
        "carry": (
            b1.carry,
            [RUNS, MESH.cells[:2], SY, SZ, np.stack(g), f(), f(), np.stack(_faces(rng)),
             np.stack(_faces(rng)), 12.0, 1e-3, 0.5, 600.0, 1e-3, 1.2e-5, 0.02, 1e-6, 14e6, t,
             f(2, 6), y.copy(), f(0.05, 0.2), f(), zero(), zero(), zero(), into.copy(),
             out_of.copy(), zero()],
        ),
        "pipe_air": (
            pipes.pipe_air,
            [2, 8, 5, MESH.bcell, v(-1, 0.2) * 1e-3, t, f(), 12.0, 0.01, 0.2, 29.1, np.zeros(n),
             np.zeros(n), zero(), np.zeros(1)],
        ),
        "totals": (
            masses.totals,
            [RUNS, np.stack([f() for _ in range(3)]), f(), f(), f(), f(), f(), zero(), zero()],
        ),
        "settle": (
            masses.settle,
            [RUNS, 600.0, t, f(0.2, 0.3), f(0.1, 0.2), f(0, 900), f(0, 3), f(-0.2, 1e-3),
             f(0, 1e-3), 1400.0, 4186.0, f(1e3, 2e3), f(0, 0.2), f(0, 0.1), zero(), np.zeros(5)],
        ),
        "bring": (
            masses.bring,
            [RUNS, 600.0, f(-9, 9), f(-1e-3, 1e-4), f(1e3, 2e3), f(0, 0.2), f(0, 0.2), zero(),
             np.zeros(5)],
        ),
        "prepare": (
            uptake.prepare,
            [RUNS, 600.0, 1e-3, 0.032, 0.2095, f(), f(30, 40), f(0.3, 0.5), y.copy(), f(0, 0.2),
             zero(), zero(), zero()],
        ),
        "account": (
            uptake.account,
            [RUNS, 600.0, 1e-3, 0.03, 0.18, 4.5e5, f(), f(30, 40), f(0.3, 0.5), f(0, 0.02),
             y.copy(), f(0, 0.2), f(), f(), f(), MESH.bcell, v(), v(-1, 1), v(), np.zeros(5)],
        ),
        "mean_oxygen": (uptake.mean_oxygen, [RUNS, 3600.0, 0.03, f(100, 3000), zero()]),
        **biology_cases(),
    }  # fmt: skip


@pytest.mark.parametrize("name", list(cases()))
def test_compiled_equals_plain_python(name: str) -> None:
    kernel, one = cases()[name]
    _, two = cases()[name]
    got, plain = kernel(*one), kernel.py_func(*two)
    assert np.allclose(np.asarray(got or 0.0), np.asarray(plain or 0.0), rtol=1e-9, atol=1e-12)
    for a, b in zip(one, two, strict=True):
        if isinstance(a, np.ndarray):
            assert np.allclose(a, b, rtol=1e-9, atol=1e-12)


def test_no_kernel_is_forgotten() -> None:
    named = {name.split(" ")[0].rstrip(",") for name in cases()}
    modules = (
        b1, biology, curves, flow, gas, heat, masses, material, oxygen, pipes, six_groups, soil,
        transport, uptake,
    )  # fmt: skip
    there = {
        n for m in modules for n, f in vars(m).items()
        if hasattr(f, "py_func") and f.targetoptions.get("inline") != "always"
    }  # fmt: skip
    assert there - named == set()
