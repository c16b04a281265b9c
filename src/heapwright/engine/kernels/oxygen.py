"""Oxygen in the gas of a heap: implicit Euler with advection, diffusion and Monod uptake.

Units: mole fraction y of dry gas, flux of dry gas [mol/s], diffusive conductance [mol/s], storage
[mol] of dry gas in a cell, uptake ``demand`` [mol/s] at plenty of oxygen so that the rate is
demand y/(K + y). Conventions: upwind on the flux; the Monod denominator is lagged one sweep.
Layout as in the flow kernels. Stability: unconditional; a sweep contracts for any step because
the matrix is an M-matrix (diagonal dominance by storage and uptake).
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def coefficients(
    runs,
    sy,
    sz,
    storage_rate,
    source,
    dx,
    dy,
    dz,
    fx,
    fy,
    fz,
    bcell,
    bd,
    bf,
    by,
    old,
    diag,
    rhs,
    into,
    out_of,
):
    """Fill the implicit step: diagonal without uptake, right side, and face coefficients.

    storage_rate : storage over dt [mol/s]; dx, dy, dz, bd : diffusive conductances of faces;
    by : mole fraction of the air that flows in at an open face; source : oxygen [mol/s] that is
    put in otherwise. into (3, N) and out_of (3, N) : what the far side of a +x, +y, +z face gives
    to this cell, and this cell to the far side.
    """
    ix, iy, iz = into[0], into[1], into[2]
    ox, oy, oz = out_of[0], out_of[1], out_of[2]
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            ix[i] = dx[i] + max(-fx[i], 0.0)
            iy[i] = dy[i] + max(-fy[i], 0.0)
            iz[i] = dz[i] + max(-fz[i], 0.0)
            ox[i] = dx[i] + max(fx[i], 0.0)
            oy[i] = dy[i] + max(fy[i], 0.0)
            oz[i] = dz[i] + max(fz[i], 0.0)
            rhs[i] = storage_rate[i] * old[i] + source[i]
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            diag[i] = (
                storage_rate[i] + ox[i] + oy[i] + oz[i] + ix[i - ONE] + iy[i - sy] + iz[i - sz]
            )
    for f in range(bcell.shape[0]):
        i = bcell[f]
        diag[i] += bd[f] + max(bf[f], 0.0)
        rhs[i] += (bd[f] + max(-bf[f], 0.0)) * by[f]


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def _gather(start, end, sy, sz, demand, half, iy, iz, oy, oz, diag, rhs, y, rest, inverse):
    """What a run of cells gets from the rows beside, below and above, and one over its diagonal."""
    for i in range(start, end):
        rest[i] = (
            rhs[i]
            + iy[i] * y[i + sy]
            + oy[i - sy] * y[i - sy]
            + iz[i] * y[i + sz]
            + oz[i - sz] * y[i - sz]
        )
        inverse[i] = 1.0 / (diag[i] + demand[i] / (half + max(y[i], 0.0)))


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def _forward(start, end, ix, ox, rest, inverse, y):
    """Gauss-Seidel along +x; returns the largest change."""
    most = 0.0
    left = y[start - ONE]
    for i in range(start, end):
        was = y[i]
        left = (rest[i] + ix[i] * y[i + ONE] + ox[i - ONE] * left) * inverse[i]
        y[i] = left
        most = max(most, abs(left - was))
    return most


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def _backward(start, end, ix, ox, rest, inverse, y):
    """Gauss-Seidel along -x; returns the largest change."""
    most = 0.0
    right = y[end]
    for k in range(end - start):
        i = end - ONE - k
        was = y[i]
        right = (rest[i] + ix[i] * right + ox[i - ONE] * y[i - ONE]) * inverse[i]
        y[i] = right
        most = max(most, abs(right - was))
    return most


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def solve_oxygen(
    runs, sy, sz, demand, half, diag, rhs, into, out_of, y, rest, inverse, tolerance, most_sweeps
):
    """Alternating Gauss-Seidel sweeps from the guess in ``y``; returns (sweeps, last change).

    rest, inverse : scratch fields.
    """
    ix, iy, iz = into[0], into[1], into[2]
    ox, oy, oz = out_of[0], out_of[1], out_of[2]
    change = 1.0
    sweeps = 0
    lines = runs.shape[0]
    while change > tolerance and sweeps < most_sweeps:
        change = 0.0
        back = sweeps % 2 == 1
        for line in range(lines):
            r = lines - 1 - line if back else line
            s, e = runs[r, 0], runs[r, 1]
            _gather(s, e, sy, sz, demand, half, iy, iz, oy, oz, diag, rhs, y, rest, inverse)
            if back:
                got = _backward(s, e, ix, ox, rest, inverse, y)
            else:
                got = _forward(s, e, ix, ox, rest, inverse, y)
            change = max(change, got)
        sweeps += 1
    return sweeps, change
