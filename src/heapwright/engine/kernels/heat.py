"""Heat through a heap: conduction and advection between cells and over open faces.

Units: temperature [degrees C], conductance [W/K], capacity flow [W/K] = flux times heat capacity
of the gas, heat [W] per cell. Conventions: first-order upwind, which adds a conductance of half the
capacity flow to a face; layout as in the flow kernels.
Stability (explicit step): dt <= capacity / (sum of conductances + outgoing capacity flow).
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def conduction_advection(
    runs, sy, sz, kx, ky, kz, fx, fy, fz, cp, t, bcell, bk, bf, bt, source, out
):
    """Fill ``out`` [W] with the net heat that every cell gains.

    kx, ky, kz, bk : conductances [W/K]; fx, fy, fz, bf : gas fluxes; cp : heat capacity of the
    gas per unit of flux [J/K]; bt : temperature outside an open face; source : heat made [W].
    """
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            ti = t[i]
            out[i] = (
                source[i]
                + (kx[i] + cp * max(-fx[i], 0.0)) * (t[i + ONE] - ti)
                + (kx[i - ONE] + cp * max(fx[i - ONE], 0.0)) * (t[i - ONE] - ti)
                + (ky[i] + cp * max(-fy[i], 0.0)) * (t[i + sy] - ti)
                + (ky[i - sy] + cp * max(fy[i - sy], 0.0)) * (t[i - sy] - ti)
                + (kz[i] + cp * max(-fz[i], 0.0)) * (t[i + sz] - ti)
                + (kz[i - sz] + cp * max(fz[i - sz], 0.0)) * (t[i - sz] - ti)
            )
    for f in range(bcell.shape[0]):
        i = bcell[f]
        out[i] += (bk[f] + cp * max(-bf[f], 0.0)) * (bt[f] - t[i])


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def step_two(runs, dt, capacity, gain, before, weight, t):
    """Two-step Adams-Bashforth: t += dt/capacity ((1 + w) gain - w before); before = gain.

    weight w = half the ratio of this step to the last one; 0 is a first step (explicit Euler).
    """
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            g = gain[i]
            t[i] += dt / capacity[i] * ((1.0 + weight) * g - weight * before[i])
            before[i] = g
