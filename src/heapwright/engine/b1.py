"""The engine's own kernels on benchmark B1: a box heap with constants chosen for comparison.

Units: SI; temperature in degrees C. The problem is stated in docs/explain/benchmark-b1.md:
uniform permeability, Boussinesq buoyancy, sensible heat only, one substrate, first-order upwind.
Conventions: one thread; compile time is not part of the cost (call once before timing).
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np

from heapwright.engine.kernels import b1 as own
from heapwright.engine.kernels import flow, heat, oxygen
from heapwright.engine.mesh import OPEN, Mesh, box_mesh
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
KELVIN = 273.15


def _faces(mesh: Mesh, value: float) -> tuple[Any, Any, Any]:
    """Face fields with *value* where both sides are heap."""
    a = mesh.active.ravel()
    made = []
    for step in (1, int(mesh.sy), int(mesh.sz)):
        face = np.zeros(mesh.size)
        face[:-step] = np.where(a[:-step] & a[step:], value, 0.0)
        made.append(face)
    return made[0], made[1], made[2]


def run_b1(
    cells: str = "7k",
    permeability_m2: float = 1e-8,
    *,
    days: float = 10.0,
    dt_s: float | None = None,
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

    Returns
    -------
    dict
        hours, core_c (arrays), core_48h_c, core_240h_c (None when not reached), y_low, s_mean,
        cpu_s_per_day, pressure_iterations, oxygen_sweeps (means per step).

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
    area, volume = dx * dx, dx**3
    runs, sy, sz = mesh.runs, mesh.sy, mesh.sz
    gx, gy, gz = _faces(mesh, permeability_m2 / MU * area / dx)
    kx, ky, kz = _faces(mesh, LAMBDA * area / dx)
    dxx, dyy, dzz = _faces(mesh, D_GAS * area / dx)
    opened = mesh.bkind == OPEN
    bcell = mesh.bcell[opened].copy()
    top = (mesh.bdir[opened] == 5).astype(np.float64)
    n = bcell.size
    bg = np.full(n, permeability_m2 / MU * area / (dx / 2))
    bk = np.full(n, area / (1 / H_FILM + dx / (2 * LAMBDA)))
    bd = np.full(n, D_GAS * area / (dx / 2))
    bt, by = np.full(n, T_AIR), np.full(n, Y_AIR)
    bh, bp, bf = np.zeros(n), np.zeros(n), np.zeros(n)
    t, y, s = mesh.field(20.0), mesh.field(Y_AIR), mesh.field(6.0)
    p, p_before, y_before = mesh.field(), mesh.field(), mesh.field(Y_AIR)
    diag, rhs, ydiag, yrhs = mesh.field(1.0), mesh.field(), mesh.field(1.0), mesh.field()
    inverse = mesh.field(1.0)
    fx, fy, fz, hz = (mesh.field() for _ in range(4))
    r_, d, q, demand, source, none = (mesh.field() for _ in range(6))
    into, out_of = np.zeros((3, mesh.size)), np.zeros((3, mesh.size))
    gain, before = mesh.field(), mesh.field()
    capacity = mesh.field(RHOC * volume)
    storage = mesh.field(EPS * volume / dt)
    flow.diagonal(runs, sy, sz, gx, gy, gz, bcell, bg, diag, inverse)
    core = _core(mesh)
    steps = round(days * 86400 / dt)
    cores = np.empty(steps + 1)
    cores[0] = 20.0
    iterations = sweeps = 0
    began = time.process_time()
    for k in range(steps):
        own.buoyancy(runs, sz, t, bcell, top, dx, T_AIR, RHO0 * G, hz, bh)
        flow.right_side(runs, sz, gz, hz, none, bcell, bg, bh, bp, rhs)
        flow.extrapolate(runs, p, p_before)
        done, _ = flow.solve_pressure(
            runs, sy, sz, gx, gy, gz, diag, inverse, rhs, p, r_, d, q, 1e-4, 400
        )
        iterations += done
        flow.fluxes(runs, sy, sz, gx, gy, gz, hz, p, bcell, bg, bh, bp, fx, fy, fz, bf)
        own.reaction(runs, t, s, y, dt, volume, RATE, HALF, demand, source, HEAT)
        heat.conduction_advection(
            runs, sy, sz, kx, ky, kz, fx, fy, fz, RHOCG, t, bcell, bk, bf, bt, source, gain
        )
        oxygen.coefficients(
            runs,
            sy,
            sz,
            storage,
            none,
            dxx,
            dyy,
            dzz,
            fx,
            fy,
            fz,
            bcell,
            bd,
            bf,
            by,
            y,
            ydiag,
            yrhs,
            into,
            out_of,
        )
        flow.extrapolate(runs, y, y_before)
        done, _ = oxygen.solve_oxygen(
            runs, sy, sz, demand, HALF, ydiag, yrhs, into, out_of, y, r_, d, 1e-5, 60
        )
        sweeps += done
        heat.step_two(runs, dt, capacity, gain, before, 0.5 if k else 0.0, t)
        cores[k + 1] = t[core].mean()
    spent = time.process_time() - began
    hours = np.arange(steps + 1) * dt / 3600
    return {
        "hours": hours,
        "core_c": cores,
        "core_48h_c": _at(hours, cores, 48.0),
        "core_240h_c": _at(hours, cores, 240.0),
        "y_low": float(y[mesh.cells].min()),
        "s_mean": float(s[mesh.cells].mean()),
        "cpu_s_per_day": spent / (steps * dt / 86400),
        "pressure_iterations": iterations / steps,
        "oxygen_sweeps": sweeps / steps,
        "cells": mesh.count,
    }


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
