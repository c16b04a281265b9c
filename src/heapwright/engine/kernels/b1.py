"""What benchmark B1 has of its own: one substrate with Rosso's curve, Boussinesq buoyancy, and the
loops between the two solves, which are joined here because nothing else needs what lies between.

Units: temperature [degrees C], substrate [kg O2/m3], volume flux and gas exchange [m3/s], heat [W].
Conventions: layout as in the flow kernels. Loops are kept apart where one would write too many
fields for the compiler to use its vector code. Stability: explicit Euler in the substrate, dt times
the rate well below 1; explicit heat as in the heat kernels.
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)
#: A first guess is on a line through the last step and the one so many steps before it, for
#: pressure and oxygen: two neighbours would carry on more of what the solvers left over.
P_SPAN, Y_SPAN = 3, 2


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def buoyancy(runs, sz, t, gz, roof, roof_g, dx, t_air, rho_g, p, p_before, push):
    """Buoyant flux of z faces [m3/s] in ``push``, and the first guess of the pressure in ``p``.

    roof, roof_g : cells and conductances of the open faces on top. p_before : the pressure of
    P_SPAN steps before the last, which makes room for that of the last one.
    """
    ta = t_air + 273.15
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            tf = 0.5 * (t[i] + t[i + sz]) + 273.15
            push[i] = gz[i] * (rho_g * dx) * (1.0 - ta / tf)
            now = p[i]
            p[i] = now + (now - p_before[i]) / P_SPAN
            p_before[i] = now
    for f in range(roof.shape[0]):
        push[roof[f]] = roof_g[f] * (0.5 * rho_g * dx) * (1.0 - ta / (t[roof[f]] + 273.15))


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def residual(runs, sy, sz, gx, gy, gz, diag, inverse, push, p, r_, d):
    """What `flow.solve_pressure` begins with: r = push - A p, d = r / diagonal.

    Returns r . d, r . r and the square of the norm of the right side.
    """
    rz = 0.0
    rr = 0.0
    bb = 0.0
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            rhs = push[i - sz] - push[i]
            res = (
                rhs
                - diag[i] * p[i]
                + gx[i] * p[i + ONE]
                + gx[i - ONE] * p[i - ONE]
                + gy[i] * p[i + sy]
                + gy[i - sy] * p[i - sy]
                + gz[i] * p[i + sz]
                + gz[i - sz] * p[i - sz]
            )
            z = res * inverse[i]
            r_[i] = res
            d[i] = z
            rz += res * z
            rr += res * res
            bb += rhs * rhs
    return rz, rr, bb


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def reaction(
    start, end, t, s, y, y_before, dt, volume, rate, half, store, heat_of, demand, gain
):  # fmt: skip
    """Uptake at plenty of oxygen, heat [W] of the actual rate; moves the substrate.

    The temperature factor is that of Rosso 1993 with 5 / 56 / 72 degrees C. The uptake is that of
    gas [m3/s] over ``store``, the gas of a cell over the time step. The first guess goes into
    ``y``; y_before takes the oxygen of now, as p_before does, and is the equation's right side.
    """
    for i in range(start, end):
        ti = t[i]
        now = y[i]
        yi = max(now, 0.0)
        up = ti - 5.0
        below = 51.0 * (51.0 * (ti - 56.0) + 16.0 * (61.0 - 2.0 * ti))
        share = (ti - 72.0) * up * up / (below * (yi + half))
        share = rate * s[i] * (share if 5.0 < ti < 72.0 else 0.0)
        demand[i] = share * (yi + half) * (volume / (0.032 * 42.15 * store))
        actual = share * yi
        gain[i] = heat_of * volume * actual
        s[i] -= dt * actual
        y[i] = now + (now - y_before[i]) / Y_SPAN
        y_before[i] = now


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def carry(
    layers, halo, sy, sz, g, push, p, k, d, cp, warming, weight, dt, volume,
    rate, half, store, heat_of, t, s, y, y_before, before, demand, gain, diag, into, out_of,
    t_new,
):  # fmt: skip
    """From the pressure to the new temperature and the coefficients of the oxygen equation.

    layers : stretches of whole layers with the halo's rows; the halo holds air (p = 0, its oxygen
    and temperature), so that open faces are faces like others, here with conductances of their own.
    halo : cells of these stretches that are no heap. g, k, d : (3, N), flow over ``store``,
    conduction less cp times the gas exchange [W/K], gas exchange over ``store``: the coefficients
    ``into`` and ``out_of`` hold flux and gas exchange together, over ``store`` as the whole
    equation is. warming : 1 over the heat capacity [K/J]. before : heat gained in the step before
    [W], which that of this step replaces.
    """
    gx, gy, gz = g[0], g[1], g[2]
    kx, ky, kz = k[0], k[1], k[2]
    dx, dy, dz = d[0], d[1], d[2]
    ix, iy, iz = into[0], into[1], into[2]
    ox, oy, oz = out_of[0], out_of[1], out_of[2]
    carried = cp * store
    for r in range(layers.shape[0]):
        start, end = layers[r, 0], layers[r, 1]
        reaction(
            start, end, t, s, y, y_before, dt, volume, rate, half, store, heat_of, demand, gain
        )
        for i in range(start, end):
            flux = gx[i] * (p[i] - p[i + ONE])
            ix[i] = dx[i] + max(-flux, 0.0)
            ox[i] = dx[i] + max(flux, 0.0)
        for i in range(start, end):
            flux = gy[i] * (p[i] - p[i + sy])
            iy[i] = dy[i] + max(-flux, 0.0)
            oy[i] = dy[i] + max(flux, 0.0)
        for i in range(start, end):
            flux = gz[i] * (p[i] - p[i + sz]) + push[i] / store
            iz[i] = dz[i] + max(-flux, 0.0)
            oz[i] = dz[i] + max(flux, 0.0)
        for i in range(start, end):
            diag[i] = 1.0 + ox[i] + oy[i] + oz[i] + ix[i - ONE] + iy[i - sy] + iz[i - sz]
        for i in range(start, end):
            ti = t[i]
            heat = (
                gain[i]
                + (kx[i] + carried * ix[i]) * (t[i + ONE] - ti)
                + (kx[i - ONE] + carried * ox[i - ONE]) * (t[i - ONE] - ti)
                + (ky[i] + carried * iy[i]) * (t[i + sy] - ti)
                + (ky[i - sy] + carried * oy[i - sy]) * (t[i - sy] - ti)
                + (kz[i] + carried * iz[i]) * (t[i + sz] - ti)
                + (kz[i - sz] + carried * oz[i - sz]) * (t[i - sz] - ti)
            )
            t_new[i] = ti + warming * (dt * ((1.0 + weight) * heat - weight * before[i]))
            before[i] = heat
    for i in halo:
        t_new[i] = t[i]
