"""B1 step by step with numpy, scipy and pyamg: pressure, then oxygen, then heat and substrate.

Pressure is solved every step; oxygen by implicit Euler and Newton steps; heat and substrate by the
two-step Adams-Bashforth rule, stable up to dx^2 rhoc / (12 lambda). Pressure and oxygen begin from
a guess on a line through two earlier steps. Ways of solving:

``library``  what these libraries are for: conjugate gradients with an algebraic multigrid cycle
             for pressure, BiCGSTAB with an incomplete LU for oxygen, made anew when it no longer
             serves. The incomplete LU is as thin as pays (drop_tol 0.3): thicker ones save
             iterations and cost more.
``lu``       the same with LU factors of the pressure matrix, kept for the run; needs no pyamg. On
             the whole a little slower at 7k, and out of the question at 32k.
``relaxed``  what the engine does, with the same libraries: conjugate gradients on the diagonally
             scaled matrix, and pyamg's compiled Gauss-Seidel sweeps inside the Newton steps.

Units SI, temperature in degrees C. The time counted leaves out what is set up once.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
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
    summary,
    temperature_factor,
)  # fmt: skip
from scipy.sparse import csr_array, diags_array
from scipy.sparse.linalg import LinearOperator, bicgstab, cg, spilu, splu

from b1_peers.stencil import Stencil, conduction, lift_inflow

__all__ = ["run"]

#: Residual over right side, pressure and oxygen: near the libraries' own 1e-5; and so loose that a
#: step's error in oxygen is that of the engine's steps (2e-5 to 3e-5 at most, 6e-6 to 8e-6 rms).
USUAL, LOOSE = (1e-4, 1e-5), (3e-4, 1e-4)
#: BiCGSTAB steps after which the incomplete LU is made anew.
MOST_WITH_OLD_PART = 8
Solve = Callable[[Floats, Floats], Floats]
#: The first guess is on a line through the last step and the one SPAN steps before it.
SPAN = 3


def carried_on(now: Floats, before: list[Floats]) -> Floats:
    """The guess for the next step; *now* joins the fields *before*, the oldest leaves."""
    before.append(now)
    return np.asarray(now + (now - before.pop(0)) / SPAN)


class Sides:
    """Views of a field with air around it: the near and the far cell of every face."""

    def __init__(self, grid: Grid, outside: float) -> None:
        self.all = np.full(tuple(n + 2 for n in grid.shape), outside)
        x, y, z = self.all[1:-1, 1:-1], self.all[1:-1, :, 1:-1], self.all[:, 1:-1, 1:-1]
        self.near = Faces(x[:, :, :-1], y[:, :-1], z[:-1])
        self.far = Faces(x[:, :, 1:], y[:, 1:], z[1:])

    def hold(self, field: Floats) -> Sides:
        self.all[1:-1, 1:-1, 1:-1] = field
        return self


class Splitting:
    """One run of B1: the constant matrices and one method a step."""

    def __init__(
        self, grid: Grid, permeability_m2: float, dt_s: float, way: str, tolerances: Any
    ) -> None:
        self.grid, self.dt, self.volume = grid, dt_s, grid.dx**3
        self.way, self.relaxed = way, way == "relaxed"
        self.p_tol, self.y_tol = tolerances
        self.flow = flow_conductances(grid, permeability_m2)
        self.heat, self.gas = heat_conductances(grid), oxygen_conductances(grid)
        self.air_p, self.air_t = Sides(grid, 0.0), Sides(grid, T_AIR_C)
        self.stencil = Stencil(grid)
        self.solve_pressure = self._pressure(conduction(self.stencil, self.flow).copy())
        self.temp, self.y, self.s = initial(grid)
        self.p = np.zeros(grid.cells)
        self.p_before, self.y_before = [self.p] * SPAN, [self.y] * SPAN
        self.rates: tuple[Floats, Floats] | None = None
        self.part: Any = None
        self.slow = False
        self.count = {"pressure": 0, "oxygen": 0, "newton": 0}

    def _pressure(self, matrix: Any) -> Solve:
        if self.relaxed:
            scale = 1.0 / np.sqrt(matrix.diagonal())
            d = diags_array(scale)
            scaled = csr_array(d @ matrix @ d)

            def by_cg(right: Floats, guess: Floats) -> Floats:
                found, _ = cg(scaled, scale * right, x0=guess / scale, rtol=self.p_tol,
                              callback=self._counted("pressure"))  # fmt: skip
                return np.asarray(scale * found)

            return by_cg
        if self.way == "lu":
            factors = splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
                           options={"SymmetricMode": True})  # fmt: skip
            return lambda right, _: np.asarray(factors.solve(right))
        import pyamg

        cycle = pyamg.ruge_stuben_solver(matrix, max_coarse=200).aspreconditioner()

        def by_amg(right: Floats, guess: Floats) -> Floats:
            found, _ = cg(matrix, right, x0=guess, rtol=self.p_tol, M=cycle,
                          callback=self._counted("pressure"))  # fmt: skip
            return np.asarray(found)

        return by_amg

    def _counted(self, what: str) -> Callable[[Any], None]:
        def one_more(_: Any) -> None:
            self.count[what] += 1

        return one_more

    def step(self) -> None:
        flux = self.air_flow()
        ahead = Faces(*(np.maximum(q, 0.0) for q in flux))
        back = Faces(*(q - a for q, a in zip(flux, ahead, strict=True)))
        first = RATE * self.s * temperature_factor(self.temp)
        self.oxygen(ahead, back, first)
        self.warm(ahead, back, first * self.y / (self.y + HALF))

    def air_flow(self) -> Faces:
        """Volume flux through all faces for the temperature of now."""
        head = self.flow.z * lift(self.grid, self.temp)
        guess = carried_on(self.p, self.p_before)
        self.p = self.solve_pressure(lift_inflow(head).ravel(), guess)
        held = self.air_p.hold(self.p.reshape(self.grid.shape))
        flux = Faces(*(g * (a - b) for g, a, b in zip(self.flow, held.near, held.far, strict=True)))
        flux.z[:] += head
        return flux

    def oxygen(self, ahead: Faces, back: Faces, first: Floats) -> None:
        """Implicit Euler with Newton steps on the uptake."""
        up = Faces(*(a + g for a, g in zip(ahead, self.gas, strict=True)))
        down = Faces(*(b - g for b, g in zip(back, self.gas, strict=True)))
        store = EPS * self.volume / self.dt
        base = (
            up.x[:, :, 1:] - down.x[:, :, :-1] + up.y[:, 1:] - down.y[:, :-1] + up.z[1:]
            - down.z[:-1] + store
        ).ravel()  # fmt: skip
        matrix = self.stencil.fill(
            base,
            [down.x[:, :, 1:-1], -up.x[:, :, 1:-1], down.y[:, 1:-1], -up.y[:, 1:-1],
             down.z[1:-1], -up.z[1:-1]],
        )  # fmt: skip
        right = store * self.y
        right[:, :, 0] += Y_AIR * up.x[:, :, 0]
        right[:, :, -1] -= Y_AIR * down.x[:, :, -1]
        right[:, 0] += Y_AIR * up.y[:, 0]
        right[:, -1] -= Y_AIR * down.y[:, -1]
        right[-1] -= Y_AIR * down.z[-1]
        use = (first * (self.volume / (M_O2 * C_GAS))).ravel()
        guess = np.clip(carried_on(self.y, self.y_before), 0.0, Y_AIR)
        self.y = self._newton(matrix, base, right.ravel(), use, guess.ravel().copy())

    def _newton(self, matrix: Any, base: Floats, right: Floats, use: Floats, y: Floats) -> Floats:
        if self.relaxed:
            from pyamg.relaxation.relaxation import gauss_seidel
        diagonal = self.stencil.places[0]
        limit = self.y_tol * float(np.linalg.norm(right))
        for _ in range(50):
            open_share = 1.0 / (y + HALF)
            monod = y * open_share
            slope = HALF * open_share * open_share
            matrix.data[diagonal] = base + use * slope
            b = right - use * (monod - slope * y)
            off = b - matrix @ y
            if np.linalg.norm(off) <= limit:
                break
            self.count["newton"] += 1
            if self.relaxed:
                gauss_seidel(matrix, y, b, iterations=2, sweep="forward")
                self.count["oxygen"] += 2
                continue
            if self.part is None or self.slow:
                self.part = spilu(
                    matrix.tocsc(), drop_tol=0.3, fill_factor=1.2, permc_spec="NATURAL",
                    diag_pivot_thresh=0.0, options={"SymmetricMode": True},
                )  # fmt: skip
            so_far = self.count["oxygen"]
            change, _ = bicgstab(
                matrix, off, rtol=1e-2, atol=0.3 * limit, callback=self._counted("oxygen"),
                M=LinearOperator(matrix.shape, self.part.solve),
            )  # fmt: skip
            self.slow = self.count["oxygen"] - so_far > MOST_WITH_OLD_PART
            y = y + change
        return y.reshape(self.grid.shape)

    def warm(self, ahead: Faces, back: Faces, r: Floats) -> None:
        """Heat and substrate, both by Adams-Bashforth (the first step by Euler)."""
        held = self.air_t.hold(self.temp)
        lost = outflow(
            Faces(
                *(
                    (RHOCG * a + g) * near + (RHOCG * b - g) * far
                    for a, b, g, near, far in zip(
                        ahead, back, self.heat, held.near, held.far, strict=True
                    )
                )
            )
        )
        rates = ((HEAT * r - lost / self.volume) / RHOC, -r)
        old = self.rates or rates
        self.temp = self.temp + self.dt * (1.5 * rates[0] - 0.5 * old[0])
        self.s = self.s + self.dt * (1.5 * rates[1] - 0.5 * old[1])
        self.rates = rates


def run(
    grid: Grid, permeability_m2: float, *, days: float, way: str = "library",
    dt_s: float | None = None, tolerances: tuple[float, float] = USUAL,
) -> dict[str, Any]:  # fmt: skip
    """Run B1; *way* is "library", "lu" or "relaxed"; *tolerances* of pressure and oxygen."""
    dt = dt_s or grid.dt_s
    heap = Splitting(grid, permeability_m2, dt, way, tolerances)
    steps = round(days * DAY_S / dt)
    cores, clock = [core(heap.temp)], [time.process_time()]
    for _ in range(steps):
        heap.step()
        cores.append(core(heap.temp))
        clock.append(time.process_time())
    hours = np.arange(steps + 1) * dt / 3600.0
    answer = summary(grid, hours, cores, (heap.temp, heap.y, heap.s), clock)
    return answer | {f"{k}_per_step": v / steps for k, v in heap.count.items()}
