"""Benchmark B1, stated once: what every solver in this folder has to solve.

A box of compost on closed ground, open to air at its sides and on top, cut into equal cubic cells.
Four unknowns a cell: gauge pressure p [Pa], oxygen y [mole fraction], temperature T [degrees C] and
substrate S [kg O2 per m3 of heap that it can still take up]. Cell-centred finite volumes; upwind on
the volume flux through each face. ``rates`` is the definition: it gives dy/dt, dT/dt, dS/dt for a
state and the fluxes that belong to it. Solvers may arrange the work as they like.

    div q = 0,  q = -(K/mu) (grad p - drho g z),  drho = rho0 (1 - Ta/Tf), kelvin
    eps dy/dt + div(q y - D grad y) = -r / (0.032 C)
    rhoc dT/dt = div(lambda grad T) - rhocg div(q T) + 14e6 r
    dS/dt = -r,  r = k S g(T) y / (y + 0.02)   [kg O2 / (m3 s)]

Tf is the mean of the two cells, and the cell's own value on the top face. Open faces, half a cell
from the cell centre: p = 0, y = 0.21, heat through U = 1/(1/h + dx/2 lambda); what flows in brings
air (0.21, Ta). The bottom lets nothing through. All constants are chosen for the benchmark, except
that g is the cardinal temperature curve of Rosso, Lobry & Flandrois (1993), J. Theor. Biol. 162,
447-463, with 5, 56 and 72 degrees C.

Conventions: SI units; arrays are (nz, ny, nx) with z up; ``Faces`` holds the flux through all faces
along one axis, positive along +x, +y, +z, so its arrays are one longer along that axis.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

MU, RHO0, G = 1.85e-5, 1.22, 9.81
T_AIR_C, T_AIR_K, KELVIN = 16.0, 289.15, 273.15
EPS, C_GAS, D_GAS, Y_AIR = 0.40, 42.15, 5e-6, 0.21
LAMBDA, RHOC, RHOCG, H_FILM = 0.40, 1.6e6, 1200.0, 10.0
HEAT, RATE, HALF, M_O2 = 14e6, 1.2e-5, 0.02, 0.032
T_MIN, T_OPT, T_MAX = 5.0, 56.0, 72.0
T_START_C, Y_START, S_START = 20.0, 0.21, 6.0
DAY_S = 86_400.0

#: What a reader may compare with: 7k cells, BDF with rtol 1e-4, by permeability [m2]:
#: core at 48 h and at 240 h [degrees C], lowest oxygen and mean substrate at 240 h.
REFERENCE_7K = {1e-8: (46.28, 52.53, 0.039, 0.249), 1e-7: (51.59, 30.85, 0.176, 0.539)}


@dataclass(frozen=True, slots=True)
class Grid:
    """A box of equal cubic cells: counts along x, y, z, cell size [m], time step [s]."""

    name: str
    nx: int
    ny: int
    nz: int
    dx: float
    dt_s: float

    @property
    def shape(self) -> tuple[int, int, int]:
        return self.nz, self.ny, self.nx

    @property
    def cells(self) -> int:
        return self.nx * self.ny * self.nz


GRIDS = {
    "2k": Grid("2k", 16, 16, 8, 0.15, 600.0),
    "7k": Grid("7k", 24, 24, 12, 0.10, 600.0),
    "32k": Grid("32k", 40, 40, 20, 0.06, 600.0),
    "108k": Grid("108k", 60, 60, 30, 0.04, 300.0),
}


class Faces(NamedTuple):
    """One value a face: x (nz, ny, nx+1), y (nz, ny+1, nx), z (nz+1, ny, nx)."""

    x: Floats
    y: Floats
    z: Floats


def initial(grid: Grid) -> tuple[Floats, Floats, Floats]:
    """Temperature [degrees C], oxygen and substrate at the start."""
    return tuple(np.full(grid.shape, v) for v in (T_START_C, Y_START, S_START))  # type: ignore[return-value]


def temperature_factor(temp_c: Floats) -> Floats:
    """The share of the full rate that temperature allows, 0 to 1.

    >>> [round(float(g), 3) for g in temperature_factor(np.array([5.0, 20.0, 56.0, 72.0]))]
    [0.0, 0.089, 1.0, 0.0]
    """
    t = np.clip(temp_c, T_MIN, T_MAX)
    a = T_OPT - T_MIN
    below = a * (a * (t - T_OPT) - (T_OPT - T_MAX) * (T_OPT + T_MIN - 2.0 * t))
    return np.asarray((t - T_MAX) * (t - T_MIN) ** 2 / below)


def temperature_factor_slope(temp_c: Floats) -> Floats:
    """Derivative of `temperature_factor` [1/K]."""
    t = np.clip(temp_c, T_MIN, T_MAX)
    a, b = T_OPT - T_MIN, T_OPT - T_MAX
    below = a * (a * (t - T_OPT) - b * (T_OPT + T_MIN - 2.0 * t))
    above = (t - T_MAX) * (t - T_MIN) ** 2
    slope = (t - T_MIN) ** 2 + 2.0 * (t - T_MAX) * (t - T_MIN)
    inside = (temp_c > T_MIN) & (temp_c < T_MAX)
    return np.asarray(np.where(inside, (slope * below - above * a * (a + 2.0 * b)) / below**2, 0.0))


def conductances(grid: Grid, inner: float, open_face: float) -> Faces:
    """Face conductances: *inner* between cells, *open_face* to air, 0 at the bottom."""
    nz, ny, nx = grid.shape
    x, y, z = (np.full(s, inner) for s in ((nz, ny, nx + 1), (nz, ny + 1, nx), (nz + 1, ny, nx)))
    x[:, :, [0, -1]] = open_face
    y[:, [0, -1], :] = open_face
    z[-1], z[0] = open_face, 0.0
    return Faces(x, y, z)


def flow_conductances(grid: Grid, permeability_m2: float) -> Faces:
    """Volume flux for a pressure step over each face [m3/(s Pa)]."""
    one = permeability_m2 / MU * grid.dx
    return conductances(grid, one, 2.0 * one)


def heat_conductances(grid: Grid) -> Faces:
    """Heat flux for a temperature step over each face [W/K]."""
    film = grid.dx**2 / (1.0 / H_FILM + grid.dx / (2.0 * LAMBDA))
    return conductances(grid, LAMBDA * grid.dx, film)


def oxygen_conductances(grid: Grid) -> Faces:
    """Diffusive gas exchange over each face [m3/s]."""
    return conductances(grid, D_GAS * grid.dx, 2.0 * D_GAS * grid.dx)


def lift(grid: Grid, temp_c: Floats) -> Floats:
    """Buoyant pressure step over each z face [Pa], 0 at the bottom: (nz+1, ny, nx).

    It acts over a whole cell between cells and over half a cell at the top.
    """
    out = np.zeros((grid.nz + 1, grid.ny, grid.nx))
    one = RHO0 * G * grid.dx
    between = 0.5 * (temp_c[1:] + temp_c[:-1])
    out[1:-1] = one * (1.0 - T_AIR_K / (between + KELVIN))
    out[-1] = 0.5 * one * (1.0 - T_AIR_K / (temp_c[-1] + KELVIN))
    return out


def padded(field: Floats, outside: float) -> Floats:
    """The field with one layer of *outside* around it."""
    return np.pad(field, 1, constant_values=outside)


def steps_over(field: Floats, outside: float) -> Faces:
    """Far side minus near side of each face, along +x, +y, +z."""
    p = padded(field, outside)
    return Faces(
        np.diff(p[1:-1, 1:-1], axis=2), np.diff(p[1:-1, :, 1:-1], axis=1),
        np.diff(p[:, 1:-1, 1:-1], axis=0),
    )  # fmt: skip


def outflow(flux: Faces) -> Floats:
    """What leaves each cell less what enters it."""
    return np.asarray(np.diff(flux.x, axis=2) + np.diff(flux.y, axis=1) + np.diff(flux.z, axis=0))


def volume_flux(grid: Grid, p_pa: Floats, temp_c: Floats, flow: Faces) -> Faces:
    """Volume flux through each face [m3/s] for a pressure field."""
    step = steps_over(p_pa, 0.0)
    return Faces(
        -flow.x * step.x, -flow.y * step.y, -flow.z * (step.z - lift(grid, temp_c)),
    )  # fmt: skip


def upwinded(field: Floats, outside: float, flux: Faces) -> Faces:
    """Flux of *field* carried by *flux*, first-order upwind."""
    p = padded(field, outside)
    x, y, z = p[1:-1, 1:-1], p[1:-1, :, 1:-1], p[:, 1:-1, 1:-1]
    return Faces(
        flux.x * np.where(flux.x > 0, x[:, :, :-1], x[:, :, 1:]),
        flux.y * np.where(flux.y > 0, y[:, :-1], y[:, 1:]),
        flux.z * np.where(flux.z > 0, z[:-1], z[1:]),
    )


def uptake(temp_c: Floats, y: Floats, s: Floats) -> Floats:
    """Oxygen uptake r [kg/(m3 s)]."""
    return np.asarray(RATE * s * temperature_factor(temp_c) * y / (y + HALF))


def rates(
    grid: Grid, state: tuple[Floats, Floats, Floats], flux: Faces
) -> tuple[Floats, Floats, Floats]:
    """dT/dt [K/s], dy/dt [1/s], dS/dt [kg/(m3 s)] of (T, y, S): the definition of B1."""
    temp_c, y, s = state
    volume = grid.dx**3
    r = uptake(temp_c, y, s)
    heat = _spread(temp_c, T_AIR_C, heat_conductances(grid), flux, RHOCG)
    gas = _spread(y, Y_AIR, oxygen_conductances(grid), flux, 1.0)
    return (
        (HEAT * r - heat / volume) / RHOC,
        (-r / (M_O2 * C_GAS) - gas / volume) / EPS,
        -r,
    )


def _spread(field: Floats, outside: float, g: Faces, flux: Faces, carried: float) -> Floats:
    step, moved = steps_over(field, outside), upwinded(field, outside, flux)
    return outflow(Faces(*(carried * m - k * d for m, k, d in zip(moved, g, step, strict=True))))


def core(field: Floats) -> float:
    """Mean of the eight cells around the middle of the box."""
    nz, ny, nx = (n // 2 for n in field.shape)
    return float(field[nz - 1 : nz + 1, ny - 1 : ny + 1, nx - 1 : nx + 1].mean())


def by_day(hours: Any, clock_s: Any) -> list[float]:
    """CPU time of each whole day from a clock read at *hours*."""
    ends = np.interp(24.0 * np.arange(int(hours[-1] / 24.0 + 1e-6) + 1), hours, clock_s)
    return [float(v) for v in np.diff(ends)]


def summary(
    grid: Grid, hours: Any, cores: Any, state: tuple[Floats, Floats, Floats], clock_s: Any
) -> dict[str, Any]:
    """The answer of one run, the same for every solver; the clock is read at the same hours."""
    hours, cores = np.asarray(hours), np.asarray(cores)

    def at(hour: float) -> float | None:
        return float(np.interp(hour, hours, cores)) if hours[-1] >= hour - 1e-6 else None

    return {
        "cells": grid.cells, "hours": hours, "core_c": cores,
        "core_24h_c": at(24.0), "core_48h_c": at(48.0), "core_240h_c": at(240.0),
        "y_low": float(state[1].min()), "s_mean": float(state[2].mean()),
        "cpu_s_by_day": by_day(hours, clock_s),
        "cpu_s_per_day": float((clock_s[-1] - clock_s[0]) / (hours[-1] / 24.0)),
    }  # fmt: skip
