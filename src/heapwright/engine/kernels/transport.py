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
def _rises(runs, step, active, x, out):
    """Fill ``out`` with how far x rises from the middle of a cell to its face at ``step``, by van
    Leer's limiter; 0 where a neighbour is no heap."""
    nothing, one = out.dtype.type(0.0), out.dtype.type(1.0)
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            before = x[i] - x[i - step]
            after = x[i + step] - x[i]
            both = before * after
            both = both if both > nothing else nothing
            both = both if active[i - step] & active[i + step] else nothing
            across = before + after
            across = across if both > nothing else one
            out[i] = both / across


@nb.njit(inline="always", error_model="numpy")
def _along(runs, step, active, k, d, f, t, w, second, par, rise_t, rise_w, q, v):
    """Fill ``q`` and ``v`` with what cells give to their neighbours at ``step``."""
    kind = q.dtype.type
    cp, latent, cpv = kind(par[CP_DRY]), kind(par[LATENT]), kind(par[CP_VAPOUR])
    mol, mixed = kind(par[M_WATER]), kind(par[M_WATER] * par[D_RATIO])
    nothing = kind(0.0)
    if second:
        _rises(runs, step, active, t, rise_t)
        _rises(runs, step, active, w, rise_w)
    for r in range(runs.shape[0]):
        start, end = runs[r, 0], runs[r, 1]
        for i in range(start, end):
            here, there = w[i] + rise_w[i], w[i + step] - rise_w[i + step]
            v[i] = mol * f[i] * (here if f[i] >= nothing else there)
        for i in range(start, end):
            here, there = t[i] + rise_t[i], t[i + step] - rise_t[i + step]
            up = here if f[i] >= nothing else there
            q[i] = f[i] * cp * up + v[i] * (latent + cpv * up)
        for i in range(start, end):
            spread = mixed * d[i] * (w[i] - w[i + step])
            here, there = t[i], t[i + step]
            v[i] += spread
            q[i] += k[i] * (here - there) + spread * (
                latent + cpv * (here if spread >= nothing else there)
            )


@nb.njit(inline="always", error_model="numpy")
def _gather(runs, sy, sz, x, y, z, out):
    """Add what comes in through the six faces to ``out``: in its precision, so that nothing is
    lost between cells."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            out[i] += (
                (np.float64(x[i - ONE]) - np.float64(x[i]))
                + (np.float64(y[i - sy]) - np.float64(y[i]))
                + (np.float64(z[i - sz]) - np.float64(z[i]))
            )


@nb.njit(cache=True, error_model="numpy")
def inner(
    runs, sy, sz, active, kx, ky, kz, dox, doy, doz, fx, fy, fz, t, w, order, par, scratch, heat,
    vapour,
):  # fmt: skip
    """Add to ``heat`` [W] and ``vapour`` [kg/s] what every cell gains through inner faces.

    Conductances and fluxes of faces to what is no heap are 0; scratch (10, N) : 0 there, too. It
    is worked out in the precision of ``scratch``, and added up in double: what leaves a cell enters
    its neighbour whatever the precision.
    """
    second = order == 2
    warm, wet = scratch[8], scratch[9]
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            warm[i] = t[i]
        for i in range(runs[r, 0], runs[r, 1]):
            wet[i] = w[i]
    up, damp = scratch[6], scratch[7]
    x, y, z = scratch[0], scratch[1], scratch[2]
    vx, vy, vz = scratch[3], scratch[4], scratch[5]
    _along(runs, ONE, active, kx, dox, fx, warm, wet, second, par, up, damp, x, vx)
    _along(runs, sy, active, ky, doy, fy, warm, wet, second, par, up, damp, y, vy)
    _along(runs, sz, active, kz, doz, fz, warm, wet, second, par, up, damp, z, vz)
    _gather(runs, sy, sz, x, y, z, heat)
    _gather(runs, sy, sz, vx, vy, vz, vapour)


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
