"""B1 by the method of lines: scipy's ``solve_ivp`` with BDF and a hand-written sparse Jacobian.

Pressure is not an unknown of the integrator: each call of the right side solves for it with the LU
factors of its constant matrix. The Jacobian holds transport and uptake; it leaves out how the flow
answers to temperature, which is slow and which the Newton steps of BDF take care of.
Units SI, temperature in degrees C. The only change to scipy's BDF is the column order of its LU
factors: minimum degree on the symmetric pattern, which fills far less here than the default.
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np
import scipy.sparse as sp
from b1_problem import (
    C_GAS,
    DAY_S,
    EPS,
    HALF,
    HEAT,
    M_O2,
    RATE,
    RHOC,
    RHOCG,
    T_AIR_C,
    Y_AIR,
    Faces,
    Floats,
    Grid,
    core,
    flow_conductances,
    heat_conductances,
    initial,
    lift,
    outflow,
    oxygen_conductances,
    steps_over,
    summary,
    temperature_factor,
    temperature_factor_slope,
    upwinded,
    volume_flux,
)  # fmt: skip
from scipy.integrate import BDF, solve_ivp
from scipy.sparse.linalg import splu

from b1_peers.stencil import Stencil, conduction, lift_inflow, transport

__all__ = ["run"]


class SymmetricBDF(BDF):
    """scipy's BDF with the column order that suits a symmetric pattern."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)

        def factors(a: Any) -> Any:
            self.nlu += 1
            return splu(a, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.1,
                        options={"SymmetricMode": True})  # fmt: skip

        self.lu = factors


class Lines:
    """Right side and Jacobian of B1 for a flat state (T, y, S)."""

    def __init__(self, grid: Grid, permeability_m2: float) -> None:
        self.grid, self.volume = grid, grid.dx**3
        self.flow = flow_conductances(grid, permeability_m2)
        self.heat, self.gas = heat_conductances(grid), oxygen_conductances(grid)
        self.stencil = Stencil(grid)
        self.clock: list[tuple[float, float]] = []
        self.pressure = splu(
            conduction(self.stencil, self.flow).tocsc(), permc_spec="MMD_AT_PLUS_A",
            diag_pivot_thresh=0.0, options={"SymmetricMode": True},
        )  # fmt: skip

    def split(self, state: Floats) -> tuple[Floats, Floats, Floats]:
        t, y, s = state.reshape(3, *self.grid.shape)
        return t, y, s

    def flux(self, temp_c: Floats) -> Faces:
        right = lift_inflow(self.flow.z * lift(self.grid, temp_c))
        p = self.pressure.solve(right.ravel()).reshape(self.grid.shape)
        return volume_flux(self.grid, p, temp_c, self.flow)

    def __call__(self, at: float, state: Floats) -> Floats:
        self.clock.append((at, time.process_time()))
        t, y, s = self.split(state)
        flux = self.flux(t)
        r = RATE * s * temperature_factor(t) * y / (y + HALF)
        out = np.empty((3, *self.grid.shape))
        moved, step = upwinded(t, T_AIR_C, flux), steps_over(t, T_AIR_C)
        lost = outflow(
            Faces(*(RHOCG * m - k * d for m, k, d in zip(moved, self.heat, step, strict=True)))
        )
        out[0] = (HEAT * r - lost / self.volume) / RHOC
        moved, step = upwinded(y, Y_AIR, flux), steps_over(y, Y_AIR)
        lost = outflow(Faces(*(m - k * d for m, k, d in zip(moved, self.gas, step, strict=True))))
        out[1] = (-r / (M_O2 * C_GAS) - lost / self.volume) / EPS
        out[2] = -r
        return out.ravel()

    def jacobian(self, _: float, state: Floats) -> Any:
        t, y, s = self.split(state)
        flux = self.flux(t)
        monod, g = y / (y + HALF), temperature_factor(t)
        by_t = sp.diags_array((RATE * s * temperature_factor_slope(t) * monod).ravel())
        by_y = sp.diags_array((RATE * s * g * HALF / (y + HALF) ** 2).ravel())
        by_s = sp.diags_array((RATE * g * monod).ravel())
        heat = transport(self.stencil, self.heat, flux, RHOCG) * (-1.0 / (RHOC * self.volume))
        gas = transport(self.stencil, self.gas, flux, 1.0) * (-1.0 / (EPS * self.volume))
        warm, use = HEAT / RHOC, -1.0 / (M_O2 * C_GAS * EPS)
        return sp.block_array(
            [
                [heat + warm * by_t, warm * by_y, warm * by_s],
                [use * by_t, gas + use * by_y, use * by_s],
                [-by_t, -by_y, -by_s],
            ],
            format="csc",
        )


def run(
    grid: Grid, permeability_m2: float, *, days: float, rtol: float = 1e-4, method: Any = None,
    anew: bool = False,
) -> dict[str, Any]:  # fmt: skip
    """Run B1; the core is stored every hour.

    One call of `solve_ivp` covers all days; a day's time is read as the integrator passes
    midnight. With *anew* every day is a call of its own, from the state at the last one's end.
    """
    lines = Lines(grid, permeability_m2)
    state = np.concatenate([v.ravel() for v in initial(grid)])
    atol = np.repeat([1e-3, 1e-5, 1e-5], grid.cells)
    hours = np.arange(0.0, round(days * 24) + 1)
    parts = [hours[k : k + 25] for k in range(0, hours.size - 1, 24)] if anew else [hours]
    cores, spent = [core(lines.split(state)[0])], []
    count = {"calls": 0, "jacobians": 0, "factors": 0}
    began = time.process_time()
    for part in parts:
        got = solve_ivp(
            lines, (part[0] * 3600.0, part[-1] * 3600.0), state, method=method or SymmetricBDF,
            t_eval=part * 3600.0, jac=lines.jacobian, rtol=rtol, atol=atol,
        )  # fmt: skip
        if not got.success:
            raise RuntimeError(got.message)
        spent.append(time.process_time())
        state = got.y[:, -1].copy()
        cores += [core(lines.split(column)[0]) for column in got.y.T[1:]]
        for name, more in zip(count, (got.nfev, got.njev, got.nlu), strict=True):
            count[name] += more
    if anew:
        seen = np.interp(hours, [0.0, *(part[-1] for part in parts)], [began, *spent])
    else:
        at, clock = np.array([*lines.clock, (days * DAY_S, spent[-1])]).T
        seen = np.interp(hours, np.maximum.accumulate(at) / 3600.0, clock)
    return summary(grid, hours, cores, lines.split(state), seen) | count
