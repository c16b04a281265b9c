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
TWO = np.uint64(2)
#: Keeps cells between two runs, which hold no gas, from dividing by zero; far below any flux.
TINY = 1e-30


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
        s, e = runs[r, 0], runs[r, 1]
        for i in range(s, e):
            ix[i] = dx[i] + max(-fx[i], 0.0)
            ox[i] = dx[i] + max(fx[i], 0.0)
        for i in range(s, e):
            iy[i] = dy[i] + max(-fy[i], 0.0)
            oy[i] = dy[i] + max(fy[i], 0.0)
        for i in range(s, e):
            iz[i] = dz[i] + max(-fz[i], 0.0)
            oz[i] = dz[i] + max(fz[i], 0.0)
        for i in range(s, e):
            rhs[i] = storage_rate[i] * old[i] + source[i]
        for i in range(s, e):
            diag[i] = (
                storage_rate[i] + ox[i] + oy[i] + oz[i] + ix[i - ONE] + iy[i - sy] + iz[i - sz]
            )
    for f in range(bcell.shape[0]):
        i = bcell[f]
        diag[i] += bd[f] + max(bf[f], 0.0)
        rhs[i] += (bd[f] + max(-bf[f], 0.0)) * by[f]


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def _up_and_in(runs, sy, sz, demand, half, diag, rhs, ix, iy, iz, ox, oy, oz, y, rest, inverse):
    """One Gauss-Seidel sweep upwards and, in each layer, from the edges in; the largest change."""
    change = 0.0
    other = 0.0
    first = 0
    while first < runs.shape[0]:
        after = first + 1
        above = runs[first, 0] // sz * sz + sz
        while after < runs.shape[0] and runs[after, 0] < above:
            after += 1
        for i in range(runs[first, 0], runs[after - 1, 1]):
            rest[i] = rhs[i] + iz[i] * y[i + sz] + oz[i - sz] * y[i - sz]
        for i in range(runs[first, 0], runs[after - 1, 1]):
            w = half + max(y[i], 0.0)
            inverse[i] = w / max(diag[i] * w + demand[i], TINY)
        for m in range(after - first):
            r = after - 1 - (m >> 1) if m & 1 else first + (m >> 1)
            start, end = runs[r, 0], runs[r, 1]
            left, right = y[start - ONE], y[end]
            pairs = (end - start) // TWO
            for k in range(pairs):
                i = start + k
                j = end - ONE - k
                a = rest[i] + ix[i] * y[i + ONE] + iy[i] * y[i + sy] + oy[i - sy] * y[i - sy]
                b = rest[j] + ox[j - ONE] * y[j - ONE] + iy[j] * y[j + sy] + oy[j - sy] * y[j - sy]
                left = a * inverse[i] + (ox[i - ONE] * inverse[i]) * left
                right = b * inverse[j] + (ix[j] * inverse[j]) * right
                change = max(change, abs(left - y[i]))
                other = max(other, abs(right - y[j]))
                y[i] = left
                y[j] = right
            i = start + pairs
            if i + pairs < end:
                a = rest[i] + iy[i] * y[i + sy] + oy[i - sy] * y[i - sy]
                a = (a + ix[i] * right + ox[i - ONE] * left) * inverse[i]
                change = max(change, abs(a - y[i]))
                y[i] = a
        first = after
    return max(change, other)


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def _down_and_out(runs, sy, sz, demand, half, diag, rhs, ix, iy, iz, ox, oy, oz, y, rest, inverse):
    """The sweep of `_up_and_in` backwards; the largest change."""
    change = 0.0
    other = 0.0
    after = runs.shape[0]
    while after > 0:
        first = after - 1
        layer = runs[first, 0] // sz * sz
        while first > 0 and runs[first - 1, 0] >= layer:
            first -= 1
        for i in range(runs[first, 0], runs[after - 1, 1]):
            rest[i] = rhs[i] + iz[i] * y[i + sz] + oz[i - sz] * y[i - sz]
        for i in range(runs[first, 0], runs[after - 1, 1]):
            w = half + max(y[i], 0.0)
            inverse[i] = w / max(diag[i] * w + demand[i], TINY)
        for back in range(after - first):
            m = after - first - 1 - back
            r = after - 1 - (m >> 1) if m & 1 else first + (m >> 1)
            start, end = runs[r, 0], runs[r, 1]
            pairs = (end - start) // TWO
            low = start + pairs
            high = end - pairs
            left, right = y[high - ONE], y[low]
            if low < high:
                a = rest[low] + iy[low] * y[low + sy] + oy[low - sy] * y[low - sy]
                a += ix[low] * y[low + ONE] + ox[low - ONE] * y[low - ONE]
                a *= inverse[low]
                change = max(change, abs(a - y[low]))
                y[low] = a
                left = a
                right = a
            for k in range(pairs):
                i = low - ONE - k
                j = high + k
                a = rest[i] + ox[i - ONE] * y[i - ONE] + iy[i] * y[i + sy] + oy[i - sy] * y[i - sy]
                b = rest[j] + ix[j] * y[j + ONE] + iy[j] * y[j + sy] + oy[j - sy] * y[j - sy]
                right = a * inverse[i] + (ix[i] * inverse[i]) * right
                left = b * inverse[j] + (ox[j - ONE] * inverse[j]) * left
                change = max(change, abs(right - y[i]))
                other = max(other, abs(left - y[j]))
                y[i] = right
                y[j] = left
        after = first
    return max(change, other)


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def solve_oxygen(
    runs, sy, sz, demand, half, diag, rhs, into, out_of, y, rest, inverse, tolerance, most_sweeps
):
    """Gauss-Seidel sweeps from the guess in ``y``; returns (sweeps, last change).

    Air enters a warm heap at its sides and leaves it on top, so the first sweep goes up and in;
    the next one down and out, and so on in turn. rest, inverse : scratch fields.
    """
    ix, iy, iz = into[0], into[1], into[2]
    ox, oy, oz = out_of[0], out_of[1], out_of[2]
    change = 1.0
    sweeps = 0
    while change > tolerance and sweeps < most_sweeps:
        if sweeps % 2 == 0:
            change = _up_and_in(
                runs, sy, sz, demand, half, diag, rhs, ix, iy, iz, ox, oy, oz, y, rest, inverse
            )
        else:
            change = _down_and_out(
                runs, sy, sz, demand, half, diag, rhs, ix, iy, iz, ox, oy, oz, y, rest, inverse
            )
        sweeps += 1
    return sweeps, change
