"""The gas in the pores: vapour, dry gas, density, and the conductances of faces for its flow.

Units: temperature [degrees C], pressure [Pa], amounts [mol], density [kg/m3], conductance for dry
gas [mol/(s Pa)], diffusive conductance [mol/s]. Conventions: y is the oxygen fraction of DRY gas;
with a respiratory quotient of 1 what oxygen leaves, carbon dioxide takes, so the dry molar mass is
28.96 + 12 (0.2095 - y) g/mol. ``par`` is laid out by the indices below. Layout as in the flow
kernels. Stability: nothing moves here.
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)
KELVIN = 273.15
#: indices of ``par``
R_GAS, G, MU, M_DRY, M_CARBON, Y_AIR, M_WATER, P_AIR, D_O2, D_VAPOUR, D_POWER, D_EXPONENT = range(
    12
)
#: the table of temperature: first row [degrees C], rows a degree, rows; columns of the cubic of
#: the saturation pressure, and of the straight line of (T/273.15)^power
T_LOW, T_PER_K, ROWS = -90.0, 4.0, 960
CUBIC, LINE, COLUMNS = 0, 4, 6


@nb.njit(cache=True, error_model="numpy")
def saturation_and_slope(t, c):
    """Saturation pressure [Pa] and its slope [Pa/K] at t [degrees C].

    c : coefficients of 1/T, 1, T, T^2, T^3, T^4, ln T of its logarithm.
    """
    k = t + KELVIN
    p = np.exp(c[0] / k + c[1] + k * (c[2] + k * (c[3] + k * (c[4] + k * c[5]))) + c[6] * np.log(k))
    log_slope = (
        -c[0] / (k * k) + c[2] + k * (2.0 * c[3] + k * (3.0 * c[4] + k * 4.0 * c[5])) + c[6] / k
    )
    return p, p * log_slope


@nb.njit(cache=True, error_model="numpy")
def fill_table(water, ice, power, table):
    """Fill ``table`` (ROWS, COLUMNS): over ice below 0 degrees C, over water from there on."""
    for r in range(ROWS):
        t = T_LOW + r / T_PER_K
        c = ice if t < 0.0 else water
        p, d = saturation_and_slope(t, c)
        q, e = saturation_and_slope(t + 1.0 / T_PER_K, c)
        d /= T_PER_K
        e /= T_PER_K
        table[r, 0] = p
        table[r, 1] = d
        table[r, 2] = 3.0 * (q - p) - 2.0 * d - e
        table[r, 3] = 2.0 * (p - q) + d + e
        warm = ((t + KELVIN) / KELVIN) ** power
        table[r, LINE] = warm
        table[r, LINE + 1] = ((t + 1.0 / T_PER_K + KELVIN) / KELVIN) ** power - warm


@nb.njit(inline="always", error_model="numpy")
def place(t):
    """Row of the table for t [degrees C], and the share of the row behind it."""
    x = min(max((t - T_LOW) * T_PER_K, 0.0), ROWS - 1e-9)
    r = int(x)
    return r, x - r


@nb.njit(inline="always", error_model="numpy")
def saturation(t, table):
    """Saturation pressure [Pa] and its slope [Pa/K] at t [degrees C]."""
    r, u = place(t)
    p = table[r, 0] + u * (table[r, 1] + u * (table[r, 2] + u * table[r, 3]))
    d = table[r, 1] + u * (2.0 * table[r, 2] + u * 3.0 * table[r, 3])
    return p, d * T_PER_K


@nb.njit(cache=True, error_model="numpy")
def tortuosity(runs, pores, par, out):
    """Fill ``out`` with eps^exponent, the share of free diffusion that the pores allow."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            out[i] = max(pores[i], 1e-3) ** par[D_EXPONENT]


@nb.njit(cache=True, error_model="numpy")
def properties(runs, t, y, activity, tortuous, table, par, dry, ratio, rho, spread):
    """Dry gas [mol/m3], mol of vapour a mol of dry gas, density [kg/m3] and how oxygen spreads
    [mol/(m s)] in every cell; ``tortuous`` : eps^exponent of it."""
    most = 0.95 * par[P_AIR]
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            p, u = place(t[i])
            pv = table[p, 0] + u * (table[p, 1] + u * (table[p, 2] + u * table[p, 3]))
            pv = min(activity[i] * pv, most)
            per_rt = 1.0 / (par[R_GAS] * (t[i] + KELVIN))
            rest = par[P_AIR] - pv
            nd = rest * per_rt
            dry[i] = nd
            ratio[i] = pv / rest
            molar = par[M_DRY] + par[M_CARBON] * (par[Y_AIR] - y[i])
            rho[i] = nd * molar + pv * per_rt * par[M_WATER]
            spread[i] = nd * par[D_O2] * (table[p, LINE] + u * table[p, LINE + 1]) * tortuous[i]


@nb.njit(cache=True, error_model="numpy")
def ratios(runs, t, activity, table, par, ratio):
    """Mol of vapour a mol of dry gas in every cell, as in `properties`, and nothing else."""
    most = 0.95 * par[P_AIR]
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            pv = min(activity[i] * saturation(t[i], table)[0], most)
            ratio[i] = pv / (par[P_AIR] - pv)


@nb.njit(cache=True, fastmath=True, error_model="numpy")
def conductances(
    runs,
    sy,
    sz,
    dx,
    permeability,
    vertical,
    spread,
    dry,
    rho,
    rho_air,
    par,
    gx,
    gy,
    gz,
    hz,
    dox,
    doy,
    doz,
):
    """Flow and oxygen-diffusion conductances of inner faces and the buoyancy head of z faces.

    permeability [m2] along x and y, times ``vertical`` along z; spread : from `properties`, with
    diffusion D0 (T/273)^power eps^exponent. Harmonic mean of the two sides.
    """
    to_flow = dx / par[MU]  # area / distance = dx
    head = 0.5 * par[G] * dx
    # outside the heap permeability and spread are 0, and with them the conductances
    for r in range(runs.shape[0]):
        start, end = runs[r, 0], runs[r, 1]
        for i in range(start, end):
            ki, di = permeability[i], spread[i]
            kj, dj = permeability[i + ONE], spread[i + ONE]
            gx[i] = (dry[i] + dry[i + ONE]) * ki * kj / (ki + kj) * to_flow
            dox[i] = 2.0 * di * dj / (di + dj) * dx
        for i in range(start, end):
            ki, di = permeability[i], spread[i]
            kj, dj = permeability[i + sy], spread[i + sy]
            gy[i] = (dry[i] + dry[i + sy]) * ki * kj / (ki + kj) * to_flow
            doy[i] = 2.0 * di * dj / (di + dj) * dx
        for i in range(start, end):
            ki, di = permeability[i], spread[i]
            kj, dj = permeability[i + sz], spread[i + sz]
            gz[i] = (dry[i] + dry[i + sz]) * ki * kj / (ki + kj) * to_flow * vertical
            doz[i] = 2.0 * di * dj / (di + dj) * dx
            hz[i] = (2.0 * rho_air - rho[i] - rho[i + sz]) * head


@nb.njit(cache=True, error_model="numpy")
def open_faces(
    bcell, bdir, dx, permeability, vertical, spread, dry, rho, rho_air, par, closed, bg, bh, bd
):
    """Conductances and heads of open faces, half a cell from its centre; ``closed`` 0 to 1 is the
    share of a face that a cover shuts."""
    for f in range(bcell.shape[0]):
        i = bcell[f]
        up = bdir[f] == 5
        down = bdir[f] == 4
        k = permeability[i] * (vertical if up or down else 1.0)
        bg[f] = dry[i] * k / par[MU] * dx * 2.0 * (1.0 - closed[f])
        head = (rho_air - rho[i]) * par[G] * 0.5 * dx
        bh[f] = head if up else (-head if down else 0.0)
        bd[f] = spread[i] * dx * 2.0 * (1.0 - closed[f])
