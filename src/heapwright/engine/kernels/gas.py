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


@nb.njit(cache=True, error_model="numpy")
def saturation(t, water, ice):
    """Saturation pressure [Pa] at t [degrees C]; ``water``, ``ice``: coefficients of 1/T, 1, T,
    T^2, T^3, T^4, ln T of its logarithm."""
    k = t + KELVIN
    c = ice if t < 0.0 else water
    return np.exp(
        c[0] / k + c[1] + k * (c[2] + k * (c[3] + k * (c[4] + k * c[5]))) + c[6] * np.log(k)
    )


@nb.njit(cache=True, error_model="numpy")
def _diffusive(eps, t, par):
    return par[D_O2] * ((t + KELVIN) / KELVIN) ** par[D_POWER] * max(eps, 1e-3) ** par[D_EXPONENT]


@nb.njit(cache=True, error_model="numpy")
def properties(cells, t, y, activity, pores, water, ice, par, dry, ratio, rho, spread):
    """Dry gas [mol/m3], mol of vapour a mol of dry gas, density [kg/m3] and how oxygen spreads
    [mol/(m s)] in every cell."""
    for n in range(cells.shape[0]):
        i = cells[n]
        pv = activity[i] * saturation(t[i], water, ice)
        pv = min(pv, 0.95 * par[P_AIR])
        rt = par[R_GAS] * (t[i] + KELVIN)
        nd = (par[P_AIR] - pv) / rt
        dry[i] = nd
        ratio[i] = pv / (par[P_AIR] - pv)
        molar = par[M_DRY] + par[M_CARBON] * (par[Y_AIR] - y[i])
        rho[i] = nd * molar + pv / rt * par[M_WATER]
        spread[i] = nd * _diffusive(pores[i], t[i], par)


@nb.njit(cache=True, error_model="numpy")
def conductances(
    runs,
    sy,
    sz,
    active,
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
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            ki = permeability[i]
            di = spread[i]
            j = i + ONE
            gx[i] = 0.0
            dox[i] = 0.0
            if active[j]:
                kj = permeability[j]
                dj = spread[j]
                gx[i] = (dry[i] + dry[j]) * ki * kj / (ki + kj) * to_flow
                dox[i] = 2.0 * di * dj / (di + dj) * dx
            j = i + sy
            gy[i] = 0.0
            doy[i] = 0.0
            if active[j]:
                kj = permeability[j]
                dj = spread[j]
                gy[i] = (dry[i] + dry[j]) * ki * kj / (ki + kj) * to_flow
                doy[i] = 2.0 * di * dj / (di + dj) * dx
            j = i + sz
            gz[i] = 0.0
            doz[i] = 0.0
            hz[i] = 0.0
            if active[j]:
                kj = permeability[j]
                dj = spread[j]
                gz[i] = (dry[i] + dry[j]) * ki * kj / (ki + kj) * to_flow * vertical
                doz[i] = 2.0 * di * dj / (di + dj) * dx
                hz[i] = (2.0 * rho_air - rho[i] - rho[j]) * head


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
