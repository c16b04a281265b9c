"""B1 with FiPy: three equations from its terms, solved by its scipy Krylov solvers.

Pressure by conjugate gradients, oxygen (implicit Euler, upwind, Newton-linearised uptake) and heat
(implicit, upwind) by BiCGSTAB, pressure and oxygen begun from a guess carried on linearly in time.
FiPy takes faces without a condition as closed, for diffusion and for convection; the open faces are
therefore written as sources of their cells, which is exact here and spares its face constraints,
whose upwind side is not renewed when the flow turns.
Tuned: equations and variables are built once; coefficients are numpy arrays put into face
variables; the mesh is the general one, which stores what the uniform one works out at every use;
no preconditioner (the diagonals hardly vary, and FiPy's Jacobi calls a direct solver for each use);
tolerances are relative to the right side and as loose as the core allows.
Units SI, temperature in degrees C. The time counted leaves out what is set up once.
"""

from __future__ import annotations

import os
import time
from typing import Any

os.environ["FIPY_SOLVERS"] = "scipy"

import fipy as fp
import numpy as np
from b1_problem import (
    C_GAS,
    D_GAS,
    DAY_S,
    EPS,
    HALF,
    HEAT,
    LAMBDA,
    M_O2,
    MU,
    RATE,
    RHOC,
    RHOCG,
    S_START,
    T_AIR_C,
    T_START_C,
    Y_AIR,
    Y_START,
    Faces,
    Floats,
    Grid,
    core,
    flow_conductances,
    heat_conductances,
    lift,
    oxygen_conductances,
    summary,
    temperature_factor,
)  # fmt: skip
from fipy.solvers.scipy import LinearBicgstabSolver, LinearCGSolver

__all__ = ["run"]

P_TOL, Y_TOL, T_TOL, SWEEPS = 1e-4, 1e-5, 1e-6, 3


class Heap:
    """The variables and equations of one run."""

    def __init__(self, grid: Grid, permeability_m2: float, dt_s: float) -> None:
        self.grid, self.dt, self.volume = grid, dt_s, grid.dx**3
        self.flow = flow_conductances(grid, permeability_m2)
        self.open_heat = self.at_sides(heat_conductances(grid))
        self.open_gas = self.at_sides(oxygen_conductances(grid))
        dx, dy, dz = (np.full(n, grid.dx) for n in (grid.nx, grid.ny, grid.nz))
        mesh = fp.Grid3D(dx=dx, dy=dy, dz=dz)
        self.p = fp.CellVariable(mesh=mesh, value=0.0)
        self.y = fp.CellVariable(mesh=mesh, value=Y_START, hasOld=True)
        self.temp = fp.CellVariable(mesh=mesh, value=T_START_C, hasOld=True)
        self.s = np.full(grid.shape, S_START)
        self.velocity = fp.FaceVariable(mesh=mesh, rank=1, value=0.0)
        self.heat_velocity = fp.FaceVariable(mesh=mesh, rank=1, value=0.0)
        cells = [fp.CellVariable(mesh=mesh, value=0.0) for _ in range(5)]
        self.push, self.y_gain, self.y_drain, self.t_gain, self.t_drain = cells
        shut = fp.CellVariable(mesh=mesh, value=self.at_sides(self.flow).ravel() / self.volume)
        self.p_eq = fp.DiffusionTerm(permeability_m2 / MU) - fp.ImplicitSourceTerm(shut) == (
            -self.push
        )
        self.y_eq = fp.TransientTerm(EPS) + fp.UpwindConvectionTerm(self.velocity) == (
            fp.DiffusionTerm(D_GAS) + self.y_gain - fp.ImplicitSourceTerm(self.y_drain)
        )
        self.t_eq = fp.TransientTerm(RHOC) + fp.UpwindConvectionTerm(self.heat_velocity) == (
            fp.DiffusionTerm(LAMBDA) + self.t_gain - fp.ImplicitSourceTerm(self.t_drain)
        )
        self.p_solver = LinearCGSolver(tolerance=P_TOL, criterion="RHS", precon=None)
        self.y_solver = LinearBicgstabSolver(tolerance=Y_TOL, criterion="RHS", precon=None)
        self.t_solver = LinearBicgstabSolver(tolerance=T_TOL, criterion="RHS", precon=None)
        self.before = {"p": self.p.value.copy(), "y": self.y.value.copy()}
        self.use_before: Floats | None = None
        self.sweeps = 0

    def begin_from(self, temp_c: Floats, y: Floats, s: Floats, p_pa: Floats) -> None:
        """Take over a state."""
        for variable, field in ((self.temp, temp_c), (self.y, y), (self.p, p_pa)):
            variable.setValue(field.ravel())
        self.s = s.copy()
        self.before = {"p": self.p.value.copy(), "y": self.y.value.copy()}

    def at_sides(self, g: Faces, sign: int = 0) -> Floats:
        """Sum over the open faces of each cell; *sign* picks what flows out (1) or in (-1)."""
        out = np.zeros(self.grid.shape)
        for k, field in enumerate(g):
            cell, face = np.moveaxis(out, 2 - k, 0), np.moveaxis(field, 2 - k, 0)
            first, last = -face[0], face[-1]
            if sign == 0:
                first, last = face[0], face[-1]
            cell[0] += first if sign == 0 else np.maximum(sign * first, 0.0)
            cell[-1] += last if sign == 0 else np.maximum(sign * last, 0.0)
        return out

    def carried_on(self, variable: Any, name: str) -> None:
        """Put the linear guess for now into *variable*."""
        now = variable.value.copy()
        variable.setValue(2.0 * now - self.before[name])
        self.before[name] = now

    def air_flow(self) -> Faces:
        shape = self.grid.shape
        t = self.temp.value.reshape(shape)
        head = self.flow.z * lift(self.grid, t)
        self.push.setValue(((head[:-1] - head[1:]) / self.volume).ravel())
        self.carried_on(self.p, "p")
        self.p_eq.solve(self.p, solver=self.p_solver)
        p = np.pad(self.p.value.reshape(shape), 1)
        flux = Faces(
            -self.flow.x * np.diff(p[1:-1, 1:-1], axis=2),
            -self.flow.y * np.diff(p[1:-1, :, 1:-1], axis=1),
            -self.flow.z * np.diff(p[:, 1:-1, 1:-1], axis=0) + head,
        )
        self.set_velocity(flux)
        return flux

    def set_velocity(self, flux: Faces) -> None:
        """FiPy numbers the z faces first, then y, then x."""
        speed = np.zeros(self.velocity.shape)
        nz, ny = flux.z.size, flux.y.size
        area = self.grid.dx**2
        speed[2, :nz] = flux.z.ravel() / area
        speed[1, nz : nz + ny] = flux.y.ravel() / area
        speed[0, nz + ny :] = flux.x.ravel() / area
        self.velocity.setValue(speed)
        self.heat_velocity.setValue(RHOCG * speed)

    def step(self) -> None:
        flux = self.air_flow()
        come, go = (self.at_sides(flux, sign) for sign in (-1, 1))
        first = RATE * self.s * temperature_factor(self.temp.value.reshape(self.grid.shape))
        self.oxygen(come, go, first.ravel())
        y = self.y.value.reshape(self.grid.shape)
        use = first * y / (y + HALF)
        self.warm(come, go, use)

    def oxygen(self, come: Floats, go: Floats, first: Floats) -> None:
        self.y.updateOld()
        self.carried_on(self.y, "y")
        use = first / (M_O2 * C_GAS)
        enters = (come + self.open_gas).ravel() * (Y_AIR / self.volume)
        leaves = (go + self.open_gas).ravel() / self.volume
        for _ in range(SWEEPS):
            y = np.clip(self.y.value, 0.0, Y_AIR)
            share = 1.0 / (y + HALF)
            slope = HALF * share * share
            self.y_gain.setValue(enters - use * (y * share - slope * y))
            self.y_drain.setValue(leaves + use * slope)
            left = self.y_eq.sweep(self.y, dt=self.dt, solver=self.y_solver)
            self.sweeps += 1
            if np.abs(self.y.value - y).max() < 1e-3:
                break
        return left

    def warm(self, come: Floats, go: Floats, use: Floats) -> None:
        old = use if self.use_before is None else self.use_before
        now = 1.5 * use - 0.5 * old
        self.use_before = use
        self.temp.updateOld()
        enters = (RHOCG * come + self.open_heat) * (T_AIR_C / self.volume)
        leaves = (RHOCG * go + self.open_heat) / self.volume
        self.t_gain.setValue((HEAT * now + enters).ravel())
        self.t_drain.setValue(leaves.ravel())
        self.t_eq.solve(self.temp, dt=self.dt, solver=self.t_solver)
        self.s = self.s - self.dt * now


def run(
    grid: Grid, permeability_m2: float, *, days: float, start: Any = None,
    dt_s: float | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Run B1, from *start* (temperature, oxygen, substrate, pressure) where one is given."""
    dt = dt_s or grid.dt_s
    heap = Heap(grid, permeability_m2, dt)
    if start is not None:
        heap.begin_from(*start)
    steps = round(days * DAY_S / dt)
    cores = [core(heap.temp.value.reshape(grid.shape))]
    clock = [time.process_time()]
    for _ in range(steps):
        heap.step()
        cores.append(core(heap.temp.value.reshape(grid.shape)))
        clock.append(time.process_time())
    hours = np.arange(steps + 1) * dt / 3600.0
    fields = heap.temp.value.reshape(grid.shape), heap.y.value.reshape(grid.shape), heap.s
    return summary(grid, hours, cores, fields, clock) | {"sweeps_per_step": heap.sweeps / steps}
