"""What benchmark B1 has of its own: one substrate with Rosso's curve, and Boussinesq buoyancy.

Units: temperature [degrees C], substrate [kg O2/m3], uptake [m3/s of gas], heat [W], heads [Pa].
Conventions: layout as in the flow kernels. Stability: explicit Euler in the substrate, dt times
the rate well below 1.
"""

import numba as nb


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def reaction(runs, t, s, y, dt, volume, rate, half, demand, gain, heat_of):
    """Uptake at plenty of oxygen [m3/s of gas], heat [W] of the actual rate; moves the substrate.

    The temperature factor is that of Rosso 1993 with 5 / 56 / 72 degrees C.
    """
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            ti = t[i]
            up = ti - 5.0
            g = (ti - 72.0) * up * up / (51.0 * (51.0 * (ti - 56.0) + 16.0 * (61.0 - 2.0 * ti)))
            g = g if 5.0 < ti < 72.0 else 0.0
            yi = max(y[i], 0.0)
            first = rate * g * s[i]
            actual = first * yi / (yi + half)
            demand[i] = first * volume / (0.032 * 42.15)
            gain[i] = heat_of * actual * volume
            s[i] -= dt * actual


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def buoyancy(runs, sz, t, bcell, btop, dx, t_air, rho_g, hz, bh):
    """Heads of inner z faces and of the top faces [Pa]."""
    ta = t_air + 273.15
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            tf = 0.5 * (t[i] + t[i + sz]) + 273.15
            hz[i] = rho_g * (1.0 - ta / tf) * dx
    for f in range(bcell.shape[0]):
        bh[f] = btop[f] * rho_g * (1.0 - ta / (t[bcell[f]] + 273.15)) * 0.5 * dx
