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


@nb.njit(cache=True, error_model="numpy")
def _limited(behind, here, ahead):
    """Value at the downstream face of ``here`` by van Leer's limiter."""
    up = here - behind
    down = ahead - here
    if up * down <= 0.0:
        return here
    return here + up * down / (up + down)


@nb.njit(cache=True, error_model="numpy")
def _face(i, j, back_i, has_i, back_j, has_j, f, d, k, t, w, order, par):
    """Heat [W] and vapour [mol/s] through a face from i to j."""
    if f >= 0.0:
        tu = t[i]
        wu = w[i]
        if order == 2 and has_i:
            tu = _limited(t[back_i], tu, t[j])
            wu = _limited(w[back_i], wu, w[j])
    else:
        tu = t[j]
        wu = w[j]
        if order == 2 and has_j:
            tu = _limited(t[back_j], tu, t[i])
            wu = _limited(w[back_j], wu, w[i])
    carried = f * wu
    spread = d * (w[i] - w[j])
    ts = t[i] if spread >= 0.0 else t[j]
    heat = (
        k * (t[i] - t[j])
        + f * par[CP_DRY] * tu
        + par[M_WATER]
        * (
            carried * (par[LATENT] + par[CP_VAPOUR] * tu)
            + spread * (par[LATENT] + par[CP_VAPOUR] * ts)
        )
    )
    return heat, carried + spread


@nb.njit(cache=True, error_model="numpy")
def inner(
    runs, sy, sz, active, kx, ky, kz, dox, doy, doz, fx, fy, fz, t, w, order, par, heat, vapour
):
    """Add to ``heat`` [W] and ``vapour`` [kg/s] what every cell gains through inner faces."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            if active[i + ONE]:
                j = i + ONE
                q, v = _face(
                    i,
                    j,
                    i - ONE,
                    active[i - ONE],
                    j + ONE,
                    active[j + ONE],
                    fx[i],
                    dox[i] * par[D_RATIO],
                    kx[i],
                    t,
                    w,
                    order,
                    par,
                )
                heat[i] -= q
                heat[j] += q
                vapour[i] -= v * par[M_WATER]
                vapour[j] += v * par[M_WATER]
            if active[i + sy]:
                j = i + sy
                q, v = _face(
                    i,
                    j,
                    i - sy,
                    active[i - sy],
                    j + sy,
                    active[j + sy],
                    fy[i],
                    doy[i] * par[D_RATIO],
                    ky[i],
                    t,
                    w,
                    order,
                    par,
                )
                heat[i] -= q
                heat[j] += q
                vapour[i] -= v * par[M_WATER]
                vapour[j] += v * par[M_WATER]
            if active[i + sz]:
                j = i + sz
                # z of the cell above the next one may lie outside the box: guard by active[j]
                far = active[j + sz] if j + sz < np.uint64(active.shape[0]) else False
                q, v = _face(
                    i,
                    j,
                    i - sz,
                    active[i - sz],
                    j + sz,
                    far,
                    fz[i],
                    doz[i] * par[D_RATIO],
                    kz[i],
                    t,
                    w,
                    order,
                    par,
                )
                heat[i] -= q
                heat[j] += q
                vapour[i] -= v * par[M_WATER]
                vapour[j] += v * par[M_WATER]


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


@nb.njit(cache=True, error_model="numpy")
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
