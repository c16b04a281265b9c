"""Enthalpy and vapour carried by conduction, gas flow and diffusion between cells.

Units: heat [W], vapour [kg/s], flux of dry gas [mol/s]. Conventions: gas enthalpy counts from dry
air and liquid water at 0 degrees C, so that vapour carries h = 2.501e6 + 1860 T J/kg; upwind on
the direction of each flow, with a van Leer limited correction inside the heap where ``order`` is
2. What leaves a cell enters its neighbour: sums close to round-off. Layout as in the flow kernels.
Stability (explicit): dt <= C / (sum of conductances + flows times heat capacities, latent slope
included); `shortest_step` gives it.
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)
#: indices of ``par``
CP_DRY, M_WATER, LATENT, CP_VAPOUR, D_RATIO = range(5)


@nb.njit(inline="always", error_model="numpy")
def _limited(behind, here, ahead, limits):
    """Value at the downstream face of ``here`` by van Leer's limiter; ``here`` unless it limits."""
    both = (here - behind) * (ahead - here)
    limits = limits and both > 0.0
    both = both if limits else 0.0
    across = ahead - behind if limits else 1.0
    return here + both / across


@nb.njit(inline="always", error_model="numpy")
def _row(start, end, step, far, active, k, d, f, t, w, second, par, q, v, heat, vapour):
    """What a row of cells and its neighbours at ``step`` exchange; ``far`` as step, or 0 where
    nothing lies beyond the neighbours; q, v : scratch."""
    cp, mol, latent, cpv, ratio = (
        par[CP_DRY],
        par[M_WATER],
        par[LATENT],
        par[CP_VAPOUR],
        par[D_RATIO],
    )
    for i in range(start, end):
        j = i + step
        h = i - step
        n = j + far
        flows = f[i]
        on = flows >= 0.0
        limits = second and (active[h] if on else active[n])
        tu = _limited(t[h] if on else t[n], t[i] if on else t[j], t[j] if on else t[i], limits)
        wu = _limited(w[h] if on else w[n], w[i] if on else w[j], w[j] if on else w[i], limits)
        carried = flows * wu
        spread = d[i] * ratio * (w[i] - w[j])
        ts = t[i] if spread >= 0.0 else t[j]
        q[i - start] = (
            k[i] * (t[i] - t[j])
            + flows * cp * tu
            + mol * (carried * (latent + cpv * tu) + spread * (latent + cpv * ts))
        )
        v[i - start] = mol * (carried + spread)
    for i in range(start, end):
        heat[i] -= q[i - start]
        vapour[i] -= v[i - start]
    for i in range(start, end):
        heat[i + step] += q[i - start]
        vapour[i + step] += v[i - start]


@nb.njit(cache=True, error_model="numpy")
def inner(
    runs, sy, sz, active, kx, ky, kz, dox, doy, doz, fx, fy, fz, t, w, order, par, heat, vapour
):
    """Add to ``heat`` [W] and ``vapour`` [kg/s] what every cell gains through inner faces.

    Conductances and fluxes of faces to what is no heap are 0.
    """
    q = np.empty(sy)
    v = np.empty(sy)
    second = order == 2
    size = np.uint64(active.shape[0])
    for r in range(runs.shape[0]):
        start, end = runs[r, 0], runs[r, 1]
        _row(start, end, ONE, ONE, active, kx, dox, fx, t, w, second, par, q, v, heat, vapour)
        _row(start, end, sy, sy, active, ky, doy, fy, t, w, second, par, q, v, heat, vapour)
        far = sz if end + sz + sz < size else np.uint64(0)
        _row(start, end, sz, far, active, kz, doz, fz, t, w, second, par, q, v, heat, vapour)


@nb.njit(cache=True, error_model="numpy")
def through_faces(bcell, bf, bt, bw, t, w, par, heat, vapour, total):
    """Gas that flows through faces to the outside: adds to the cells and to ``total``.

    bf : flux of dry gas outwards [mol/s]; bt, bw : temperature and mol ratio of vapour outside;
    total : (dry heat, vapour heat, vapour kg) that entered the heap per second.
    """
    for f in range(bcell.shape[0]):
        i = bcell[f]
        out = bf[f] >= 0.0
        tu = t[i] if out else bt[f]
        wu = w[i] if out else bw[f]
        dry = -bf[f] * par[CP_DRY] * tu
        wet = -bf[f] * wu * par[M_WATER]
        carried = wet * (par[LATENT] + par[CP_VAPOUR] * tu)
        heat[i] += dry + carried
        vapour[i] += wet
        total[0] += dry
        total[1] += carried
        total[2] += wet


@nb.njit(cache=True, error_model="numpy")
def heat_faces(runs, sy, sz, active, dx, conductivity, kx, ky, kz):
    """Conductances of inner faces for heat [W/K], harmonic mean of the two sides."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            ci = conductivity[i]
            j = i + ONE
            kx[i] = 2.0 * ci * conductivity[j] / (ci + conductivity[j]) * dx if active[j] else 0.0
            j = i + sy
            ky[i] = 2.0 * ci * conductivity[j] / (ci + conductivity[j]) * dx if active[j] else 0.0
            j = i + sz
            kz[i] = 2.0 * ci * conductivity[j] / (ci + conductivity[j]) * dx if active[j] else 0.0


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def shortest_step(
    runs,
    sy,
    sz,
    kx,
    ky,
    kz,
    dox,
    doy,
    doz,
    fx,
    fy,
    fz,
    bcell,
    bf,
    bextra,
    t,
    w,
    capacity,
    par,
    scratch,
):
    """The largest stable explicit step [s]: capacity over conductances with the latent slope.

    bextra : conductance of each open face to the outside [W/K]. The slope of vapour is taken as
    w (1 + w) L M / (R T^2), from the ideal gas and Clausius-Clapeyron.
    """
    best = 1e9
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            k = t[i] + 273.15
            slope = w[i] * (1.0 + w[i]) * par[LATENT] * par[M_WATER] / (8.314 * k * k)
            latent = par[LATENT] * par[M_WATER] * slope
            flow = (
                max(fx[i], 0.0)
                + max(-fx[i - ONE], 0.0)
                + max(fy[i], 0.0)
                + max(-fy[i - sy], 0.0)
                + max(fz[i], 0.0)
                + max(-fz[i - sz], 0.0)
            )
            spread = (dox[i] + dox[i - ONE] + doy[i] + doy[i - sy] + doz[i] + doz[i - sz]) * par[
                D_RATIO
            ]
            scratch[i] = (
                kx[i]
                + kx[i - ONE]
                + ky[i]
                + ky[i - sy]
                + kz[i]
                + kz[i - sz]
                + flow * (par[CP_DRY] + latent)
                + spread * latent
            )
    for f in range(bcell.shape[0]):
        i = bcell[f]
        k = t[i] + 273.15
        slope = w[i] * (1.0 + w[i]) * par[LATENT] * par[M_WATER] / (8.314 * k * k)
        scratch[i] += bextra[f] + max(bf[f], 0.0) * (
            par[CP_DRY] + par[LATENT] * par[M_WATER] * slope
        )
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            best = min(best, capacity[i] / max(scratch[i], 1e-12))
    return best
