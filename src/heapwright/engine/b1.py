"""The engine's own kernels on benchmark B1: a box heap with constants chosen for comparison.

Units: SI; temperature in degrees C. The problem is stated in docs/explain/benchmark-b1.md:
uniform permeability, Boussinesq buoyancy, sensible heat only, one substrate, first-order upwind.
Conventions: one thread; compile time is not part of the cost. The loop over steps is compiled anew
in every process: a cached caller would go on using old kernels from other files.
"""

from __future__ import annotations

import time
from typing import Any, NamedTuple

import numba as nb
import numpy as np

from heapwright.engine.kernels import b1 as own
from heapwright.engine.kernels import flow, heat, oxygen
from heapwright.engine.mesh import OPEN, Mesh, box_mesh
from heapwright.errors import InputError

__all__ = ["GRIDS", "joined", "run_b1"]

#: Grids by name: nx, ny, nz, cell [m], time step [s].
GRIDS = {
    "2k": (16, 16, 8, 0.15, 600.0),
    "7k": (24, 24, 12, 0.10, 600.0),
    "32k": (40, 40, 20, 0.06, 600.0),
    "108k": (60, 60, 30, 0.04, 300.0),
}
MU, RHO0, G, T_AIR = 1.85e-5, 1.22, 9.81, 16.0
EPS, C_GAS, D_GAS, Y_AIR = 0.40, 42.15, 5e-6, 0.21
LAMBDA, RHOC, RHOCG, H_FILM = 0.40, 1.6e6, 1200.0, 10.0
HEAT, RATE, HALF = 14e6, 1.2e-5, 0.02
#: Pressure: residual over right side. Oxygen: largest change of a sweep. Tight ones (1e-5, 1e-6)
#: move the core by less than 0.03 degrees C at 7k and 32k.
P_TOL, Y_TOL = 3e-4, 5e-5


class Box(NamedTuple):
    """Where the cells are: runs along x, the same with short gaps bridged, steps, open faces."""

    lines: Any
    runs: Any
    sy: Any
    sz: Any
    cell: Any
    top: Any
    core: Any


class Face(NamedTuple):
    """Conductances of inner faces along x, y, z and of open faces for one quantity."""

    x: Any
    y: Any
    z: Any
    side: Any


class State(NamedTuple):
    """Fields that go from step to step, with those of the step before."""

    t: Any
    y: Any
    s: Any
    p: Any
    p_before: Any
    y_before: Any
    gain: Any
    before: Any


class Work(NamedTuple):
    """Scratch: fields of length N, two blocks of three, and values of open faces."""

    n: tuple[Any, ...]
    into: Any
    out_of: Any
    b: tuple[Any, ...]


def joined(runs: Any, gap: int = 2) -> Any:
    """The runs with gaps of up to *gap* cells bridged, so that loops are long.

    The cells between are no heap; with conductances of 0 they change nothing.

    >>> joined(np.array([[5, 9], [11, 15], [30, 34]], dtype=np.uint64)).tolist()
    [[5, 15], [30, 34]]
    """
    starts, ends = runs[:, 0], runs[:, 1]
    cut = np.flatnonzero(starts[1:] - ends[:-1] > gap) + 1
    return np.column_stack([starts[np.append(0, cut)], ends[np.append(cut, ends.size) - 1]])


def _steps(
    first: int, count: int, dt: float, dx: float, box: Box, g: Face, k: Face, d: Face,
    state: State, work: Work, cores: Any,
) -> tuple[int, int]:  # fmt: skip
    """*count* steps; returns (pressure iterations, oxygen sweeps). Compiled below."""
    runs, sy, sz, cell = box.runs, box.sy, box.sz, box.cell
    t, y, p = state.t, state.y, state.p
    fx, fy, fz, hz, rhs, diag, inverse, ydiag, yrhs, r_, e, q, demand, source, none, full, hold = (
        work.n
    )
    bt, by, bh, bp, bf = work.b
    volume = dx**3
    iterations = 0
    sweeps = 0
    flow.diagonal(runs, sy, sz, g.x, g.y, g.z, cell, g.side, diag, inverse)
    for n in range(count):
        own.buoyancy(runs, sz, t, cell, box.top, dx, T_AIR, RHO0 * G, hz, bh)
        flow.right_side(runs, sz, g.z, hz, none, cell, g.side, bh, bp, rhs)
        flow.extrapolate(runs, p, state.p_before)
        done, _ = flow.solve_pressure(
            runs, sy, sz, g.x, g.y, g.z, diag, inverse, rhs, p, r_, e, q, P_TOL, 400
        )
        iterations += done
        flow.fluxes(runs, sy, sz, g.x, g.y, g.z, hz, p, cell, g.side, bh, bp, fx, fy, fz, bf)
        own.reaction(runs, t, state.s, y, dt, volume, RATE, HALF, demand, source, HEAT)
        heat.conduction_advection(
            runs, sy, sz, k.x, k.y, k.z, fx, fy, fz, RHOCG, t, cell, k.side, bf, bt, source,
            state.gain,
        )  # fmt: skip
        oxygen.coefficients(
            runs, sy, sz, hold, none, d.x, d.y, d.z, fx, fy, fz, cell, d.side, bf, by, y, ydiag,
            yrhs, work.into, work.out_of,
        )  # fmt: skip
        flow.extrapolate(runs, y, state.y_before)
        done, _ = oxygen.solve_oxygen(
            box.lines, sy, sz, demand, HALF, ydiag, yrhs, work.into, work.out_of, y, r_, e,
            Y_TOL, 60,
        )  # fmt: skip
        sweeps += done
        weight = 0.5 if first + n > 0 else 0.0
        heat.step_two(runs, dt, full, state.gain, state.before, weight, t)
        total = 0.0
        for i in box.core:
            total += t[i]
        cores[n] = total / box.core.size
    return iterations, sweeps


_march = nb.njit(fastmath=True, error_model="numpy")(_steps)


def run_b1(
    cells: str = "7k",
    permeability_m2: float = 1e-8,
    *,
    days: float = 10.0,
    dt_s: float | None = None,
    keep_days: tuple[int, ...] = (),
) -> dict[str, Any]:
    """Run B1 with the engine's kernels.

    Parameters
    ----------
    cells : {"2k", "7k", "32k", "108k"}
    permeability_m2 : float
        1e-8 or 1e-7 in the benchmark [m2].
    days : float
        Simulated time.
    dt_s : float, optional
        Time step [s]; 600 s unless the grid asks for less.
    keep_days : tuple of int
        Days whose end state is kept.

    Returns
    -------
    dict
        hours, core_c (arrays), core_24h_c, core_48h_c, core_240h_c (None when not reached), y_low,
        s_mean, cpu_s_by_day (list), cpu_s_per_day (their mean over the time run),
        pressure_iterations, oxygen_sweeps (means per step), cells, kept: by day temperature,
        oxygen, substrate and pressure as (nz, ny, nx).

    Raises
    ------
    InputError
        No such grid.
    """
    if cells not in GRIDS:
        raise InputError("no such grid", field="cells", value=cells,
                         way_out="One of " + ", ".join(GRIDS))  # fmt: skip
    nx, ny, nz, dx, step = GRIDS[cells]
    dt = dt_s or step
    mesh = box_mesh(nx, ny, nz, dx)
    box, faces, state, work = _set_up(mesh, dx, dt, permeability_m2)
    _march(0, 0, dt, dx, box, *faces, state, work, np.empty(0))
    steps, a_day = round(days * 86400 / dt), round(86400 / dt)
    cores = np.full(steps + 1, 20.0)
    spent: list[float] = []
    kept: dict[int, tuple[Any, ...]] = {}
    iterations = sweeps = 0
    for first in range(0, steps, a_day):
        part = cores[first + 1 : min(first + a_day, steps) + 1]
        began = time.process_time()
        done = _march(first, part.size, dt, dx, box, *faces, state, work, part)
        spent.append(time.process_time() - began)
        iterations, sweeps = iterations + done[0], sweeps + done[1]
        if len(spent) in keep_days:
            kept[len(spent)] = tuple(_inner(mesh, f) for f in (*state[:4],))
    hours = np.arange(steps + 1) * dt / 3600
    return {
        "hours": hours,
        "core_c": cores,
        **{f"core_{h}h_c": _at(hours, cores, h) for h in (24, 48, 240)},
        "y_low": float(state.y[mesh.cells].min()),
        "s_mean": float(state.s[mesh.cells].mean()),
        "cpu_s_by_day": spent,
        "cpu_s_per_day": sum(spent) / (steps / a_day),
        "pressure_iterations": iterations / steps,
        "oxygen_sweeps": sweeps / steps,
        "cells": mesh.count,
        "kept": kept,
    }


def _set_up(
    mesh: Mesh, dx: float, dt: float, permeability_m2: float
) -> tuple[Box, tuple[Face, Face, Face], State, Work]:
    """Everything that a run needs, at the state of the start."""
    area, mobility = dx * dx, permeability_m2 / MU
    opened = mesh.bkind == OPEN
    cell = mesh.bcell[opened].copy()
    n = cell.size
    box = Box(mesh.runs, joined(mesh.runs), mesh.sy, mesh.sz, cell,
              (mesh.bdir[opened] == 5).astype(np.float64), _core(mesh))  # fmt: skip
    film = area / (1 / H_FILM + dx / (2 * LAMBDA))
    flows = Face(*_faces(mesh, mobility * dx), np.full(n, 2 * mobility * dx))
    warmth = Face(*_faces(mesh, LAMBDA * dx), np.full(n, film))
    gas = Face(*_faces(mesh, D_GAS * dx), np.full(n, 2 * D_GAS * dx))
    zero = mesh.field
    y = mesh.field(Y_AIR)
    state = State(mesh.field(20.0), y, mesh.field(6.0), zero(), zero(), y.copy(), zero(), zero())
    work = Work(
        (*(zero() for _ in range(15)), np.full(mesh.size, RHOC * dx**3),
         mesh.field(EPS * dx**3 / dt)),
        np.zeros((3, mesh.size)), np.zeros((3, mesh.size)),
        (np.full(n, T_AIR), np.full(n, Y_AIR), np.zeros(n), np.zeros(n), np.zeros(n)),
    )  # fmt: skip
    return box, (flows, warmth, gas), state, work


def _faces(mesh: Mesh, value: float) -> tuple[Any, Any, Any]:
    """Face fields with *value* where both sides are heap."""
    a = mesh.active.ravel()
    made = []
    for step in (1, int(mesh.sy), int(mesh.sz)):
        face = np.zeros(mesh.size)
        face[:-step] = np.where(a[:-step] & a[step:], value, 0.0)
        made.append(face)
    return made[0], made[1], made[2]


def _inner(mesh: Mesh, field: Any) -> Any:
    """A field without its halo, (nz, ny, nx)."""
    return field.reshape(mesh.active.shape)[1:-1, 1:-1, 1:-1].copy()


def _core(mesh: Mesh) -> Any:
    """Flat indices of the eight cells around the middle of the box."""
    nz, ny, nx = mesh.shape
    box = np.zeros_like(mesh.active)
    box[nz // 2 : nz // 2 + 2, ny // 2 : ny // 2 + 2, nx // 2 : nx // 2 + 2] = True
    return np.flatnonzero(box.ravel())


def _at(hours: Any, values: Any, hour: float) -> float | None:
    if hours[-1] < hour - 1e-9:
        return None
    return float(np.interp(hour, hours, values))
