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
from heapwright.engine.kernels import flow, oxygen
from heapwright.errors import InputError

__all__ = ["GRIDS", "run_b1"]

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
#: move the core by at most 0.03 degrees C at 7k and 0.07 at 32k.
P_TOL, Y_TOL = 5e-4, 1e-4
SINGLE = np.float32


class Box(NamedTuple):
    """Where the cells are: runs along x, with short gaps bridged, whole layers; halo, top, middle.

    The layout is that of `mesh.box_mesh`, without its faces and the slopes of its skin.
    """

    lines: Any
    runs: Any
    layers: Any
    halo: Any
    sy: Any
    sz: Any
    roof: Any
    roof_g: Any
    core: Any


class State(NamedTuple):
    """Fields that go from step to step: now, and what the first guesses and the heat need."""

    t: Any
    y: Any
    s: Any
    p: Any
    t_next: Any
    y_before: Any
    p_before: Any
    gain: Any


class Work(NamedTuple):
    """Scratch: four fields of length N, the matrix of pressure, and two blocks of three.

    Pressure and oxygen take turns in two of the four. All in single precision, as conductances
    are: half as much to fetch, and far finer than what the solvers are asked for.
    """

    four: Any
    diag: Any
    inverse: Any
    into: Any
    out_of: Any


def _steps(
    first: int, count: int, dt: float, dx: float, box: Box, g: Any, open_g: Any, k: Any, d: Any,
    state: State, work: Work, cores: Any,
) -> tuple[int, int]:  # fmt: skip
    """*count* steps; returns (pressure iterations, oxygen sweeps). Compiled below.

    Two fields of temperature take turns; an even number of steps ends with `state.t`.
    """
    runs, sy, sz = box.runs, box.sy, box.sz
    y, p = state.y, state.p
    push, demand, a, b = work.four[0], work.four[1], work.four[2], work.four[3]
    gx, gy, gz = g[0], g[1], g[2]
    t, t_new = state.t, state.t_next
    store, volume = EPS * dx**3 / dt, dx**3
    iterations = 0
    sweeps = 0
    for n in range(first, first + count):
        own.buoyancy(
            runs, sz, t, gz, box.roof, box.roof_g, dx, T_AIR, RHO0 * G, p,
            state.p_before[n % own.P_SPAN], push,
        )  # fmt: skip
        rz, rr, bb = own.residual(runs, sy, sz, gx, gy, gz, work.diag, work.inverse, push, p, a, b)
        done, _ = flow.descend(
            runs, sy, sz, gx, gy, gz, work.diag, work.inverse, p, a, b, demand, rz, rr,
            P_TOL * P_TOL * bb, 400,
        )  # fmt: skip
        iterations += done
        weight = 0.5 if n > 0 else 0.0
        y_before = state.y_before[n % own.Y_SPAN]
        own.carry(
            box.layers, box.halo, sy, sz, open_g, push, p, k, d, RHOCG, 1.0 / (RHOC * volume),
            weight, dt, volume, RATE, HALF, store, HEAT, t, state.s, y, y_before, state.gain,
            demand, a, push, work.into, work.out_of, t_new,
        )  # fmt: skip
        done, _ = oxygen.solve_oxygen(
            box.lines, sy, sz, demand, HALF, push, y_before, work.into, work.out_of, y, a, b, Y_TOL,
            60,
        )  # fmt: skip
        sweeps += done
        t, t_new = t_new, t
        total = 0.0
        for i in box.core:
            total += t[i]
        cores[n - first] = total / box.core.size
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
    box, faces, state, work = _set_up((nz, ny, nx), dx, dt, permeability_m2)
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
        if part.size % 2:
            state = state._replace(t=state.t_next, t_next=state.t)
        if len(spent) in keep_days:
            kept[len(spent)] = tuple(_inside(f, nz, ny, nx).copy() for f in (*state[:4],))
    hours = np.arange(steps + 1) * dt / 3600
    return {
        "hours": hours,
        "core_c": cores,
        **{f"core_{h}h_c": _at(hours, cores, h) for h in (24, 48, 240)},
        "y_low": float(_inside(state.y, nz, ny, nx).min()),
        "s_mean": float(_inside(state.s, nz, ny, nx).mean()),
        "cpu_s_by_day": spent,
        "cpu_s_per_day": sum(spent) / (steps / a_day),
        "pressure_iterations": iterations / steps,
        "oxygen_sweeps": sweeps / steps,
        "cells": nx * ny * nz,
        "kept": kept,
    }


def _set_up(
    shape: tuple[int, int, int], dx: float, dt: float, permeability_m2: float
) -> tuple[Box, tuple[Any, ...], State, Work]:
    """Everything that a run needs, at the state of the start."""
    area, mobility, store, gas = dx * dx, permeability_m2 / MU, EPS * dx**3 / dt, D_GAS * dx
    active = np.pad(np.ones(shape, dtype=bool), 1)
    box = box_of(active, 2 * mobility * dx)
    film = area / (1 / H_FILM + dx / (2 * LAMBDA))
    faces = (
        _faces(active, mobility * dx, 0.0),
        _faces(active, mobility * dx / store, 2 * mobility * dx / store),
        _faces(active, LAMBDA * dx - RHOCG * gas, film - RHOCG * 2 * gas),
        _faces(active, gas / store, 2 * gas / store),
    )
    t, y, s = (_held(active, *v) for v in ((20.0, T_AIR), (Y_AIR, Y_AIR), (6.0, 0.0)))
    p, gain, p_before = (np.zeros((n, active.size)) for n in (1, 1, own.P_SPAN))
    four, into, out_of = (np.zeros((n, active.size), dtype=SINGLE) for n in (4, 3, 3))
    state = State(t, y, s, p[0], t.copy(), np.stack([y] * own.Y_SPAN), p_before, gain[0])
    diag = _diagonal(active, faces[1]) * store
    inverse = np.divide(1.0, diag, out=np.zeros(active.size), where=diag > 0.0)
    work = Work(four, diag.astype(SINGLE), inverse.astype(SINGLE), into, out_of)
    return box, faces, state, work


def box_of(active: Any, roof_g: float) -> Box:
    """The box of heap cells *active* (padded); *roof_g* is the flow conductance on top."""
    nz, ny, nx = active.shape
    sy, sz = np.uint64(nx), np.uint64(nx * ny)
    at = np.arange(active.size, dtype=np.uint64).reshape(active.shape)[1:-1, 1:-1, 1:-1]
    runs = np.column_stack([at[:, :, 0].ravel(), at[:, :, -1].ravel() + np.uint64(1)])
    layer = np.arange(1, nz - 1, dtype=np.uint64) * sz
    halo = np.flatnonzero(~active[1:-1].ravel()).astype(np.uint64) + sz
    roof = at[-1].ravel()
    middle = at[tuple(slice(n // 2 - 1, n // 2 + 1) for n in at.shape)].ravel()
    return Box(runs, flow.bridged(runs, 2), np.column_stack([layer, layer + sz]), halo, sy, sz,
               roof, np.full(roof.size, roof_g), middle)  # fmt: skip


def _diagonal(active: Any, face: Any) -> Any:
    """Sum of the conductances of all faces of a heap cell, 0 elsewhere."""
    total = np.zeros(active.size)
    for field, step in zip(face, _steps_to_next(active), strict=True):
        total += field
        total[step:] += field[:-step]
    total[~active.ravel()] = 0.0
    return total


def _held(active: Any, inside: float, outside: float) -> Any:
    """A field with one value in the heap and one in the halo."""
    return np.where(active.ravel(), inside, outside)


def _faces(active: Any, inner: float, open_face: float) -> Any:
    """Conductances along x, y, z (3, N): one between heap cells, one between heap and air."""
    a = active.ravel()
    faces = np.zeros((3, active.size), dtype=SINGLE)
    for face, step in zip(faces, _steps_to_next(active), strict=True):
        near, far = a[:-step], a[step:]
        face[:-step] = np.where(near & far, inner, np.where(near | far, open_face, 0.0))
    faces[2, : _steps_to_next(active)[2]] = 0.0
    return faces


def _steps_to_next(active: Any) -> tuple[int, int, int]:
    """From a cell to the next one along x, y, z."""
    _, ny, nx = active.shape
    return 1, nx, nx * ny


def _inside(field: Any, nz: int, ny: int, nx: int) -> Any:
    """View of a field without its halo, (nz, ny, nx)."""
    return field.reshape(nz + 2, ny + 2, nx + 2)[1:-1, 1:-1, 1:-1]


def _at(hours: Any, values: Any, hour: float) -> float | None:
    if hours[-1] < hour - 1e-9:
        return None
    return float(np.interp(hour, hours, values))
