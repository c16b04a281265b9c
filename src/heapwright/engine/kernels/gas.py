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


@nb.njit(cache=True)
def saturation(t, water, ice):
    """Saturation pressure [Pa] at t [degrees C]; ``water``, ``ice``: coefficients of 1/T, 1, T,
    T^2, T^3, T^4, ln T of its logarithm."""
    k = t + KELVIN
    c = ice if t < 0.0 else water
    return np.exp(
        c[0] / k + c[1] + k * (c[2] + k * (c[3] + k * (c[4] + k * c[5]))) + c[6] * np.log(k)
    )


@nb.njit(cache=True)
def properties(cells, t, y, activity, water, ice, par, dry, ratio, rho):
    """Dry gas [mol/m3], mol of vapour a mol of dry gas, and density [kg/m3] of every cell."""
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


@nb.njit(cache=True)
def conductances(
    runs,
    sy,
    sz,
    active,
    dx,
    permeability,
    vertical,
    pores,
    t,
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

    permeability [m2] along x and y, times ``vertical`` along z; pores : air space between
    particles; diffusion is D0 (T/273)^power eps^exponent. Harmonic mean of the two sides.
    """
    area_over = dx  # area / distance = dx^2 / dx
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            ki = permeability[i]
            di = _diffusive(pores[i], t[i], par) * dry[i]
            for a in range(3):
                j = i + ONE if a == 0 else (i + sy if a == 1 else i + sz)
                if active[j]:
                    kj = permeability[j]
                    k = 2.0 * ki * kj / (ki + kj)
                    if a == 2:
                        k *= vertical
                    n = 0.5 * (dry[i] + dry[j])
                    g = n * k / par[MU] * area_over
                    dj = _diffusive(pores[j], t[j], par) * dry[j]
                    d = 2.0 * di * dj / (di + dj) * area_over
                    h = 0.0
                    if a == 2:
                        h = (rho_air - 0.5 * (rho[i] + rho[j])) * par[G] * dx
                else:
                    g = 0.0
                    d = 0.0
                    h = 0.0
                if a == 0:
                    gx[i] = g
                    dox[i] = d
                elif a == 1:
                    gy[i] = g
                    doy[i] = d
                else:
                    gz[i] = g
                    doz[i] = d
                    hz[i] = h


@nb.njit(cache=True)
def _diffusive(eps, t, par):
    return par[D_O2] * ((t + KELVIN) / KELVIN) ** par[D_POWER] * max(eps, 1e-3) ** par[D_EXPONENT]


@nb.njit(cache=True)
def open_faces(
    bcell, bdir, dx, permeability, vertical, pores, t, dry, rho, rho_air, par, closed, bg, bh, bd
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
        bd[f] = _diffusive(pores[i], t[i], par) * dry[i] * dx * 2.0 * (1.0 - closed[f])
