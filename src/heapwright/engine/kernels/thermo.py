"""Heat content and temperature with ice, and the vapour over wet material, cell by cell.

Units: temperature [degrees C], enthalpy [J] above dry matter and liquid water at 0 C, masses [kg] a
cell, pressures [Pa], dry gas [mol/m3], capacity [J/K]. Conventions: above 0 C all water is liquid,
below it all is ice, at 0 C sharp ice and water lie side by side and the enthalpy says how much of
each. ``cells`` are flat indices of heap cells. ``par`` is laid out by the indices below.
Saturation: exp of a polynomial in t, rising powers, one over water and one over ice, held at the
ends of its range (-60 to 130 C). Nothing moves here: no stability limit; an explicit heat step
takes ``capacity``, which leaves melting out and so errs to the safe side.
"""

import numba as nb
import numpy as np

#: indices of ``par``
CP_DRY, CP_WATER, CP_ICE, FUSION = range(4)
KELVIN = 273.15
#: ice below, water above [degrees C]
TRIPLE = 0.01
COLDEST, HOTTEST = -60.0, 130.0
#: most of the pressure that vapour may take
MOST_VAPOUR = 0.95


@nb.njit(cache=True, error_model="numpy")
def temperature(cells, enthalpy, dry, water, par, temp, ice, capacity):
    """Fill temperature, ice and heat capacity (melting left out) from enthalpy and masses.

    A cell with neither dry matter nor water keeps the temperature it has.
    """
    for n in range(cells.shape[0]):
        i = cells[n]
        h = enthalpy[i]
        d = dry[i]
        w = max(water[i], 0.0)
        cold = par[FUSION] * w
        if h >= 0.0:
            ice[i] = 0.0
            capacity[i] = d * par[CP_DRY] + w * par[CP_WATER]
            if capacity[i] > 0.0:
                temp[i] = h / capacity[i]
        elif h >= -cold:
            frozen = -h / par[FUSION]
            ice[i] = frozen
            capacity[i] = d * par[CP_DRY] + (w - frozen) * par[CP_WATER] + frozen * par[CP_ICE]
            temp[i] = 0.0
        else:
            ice[i] = w
            capacity[i] = d * par[CP_DRY] + w * par[CP_ICE]
            if capacity[i] > 0.0:
                temp[i] = (h + cold) / capacity[i]


@nb.njit(cache=True, error_model="numpy")
def enthalpy(cells, temp, ice, dry, water, par, out):
    """Fill ``out`` [J] from temperature and masses; ``ice`` is read where it is 0 C sharp."""
    for n in range(cells.shape[0]):
        i = cells[n]
        t = temp[i]
        w = water[i]
        if t > 0.0:
            out[i] = (dry[i] * par[CP_DRY] + w * par[CP_WATER]) * t
        elif t < 0.0:
            out[i] = (dry[i] * par[CP_DRY] + w * par[CP_ICE]) * t - par[FUSION] * w
        else:
            out[i] = -par[FUSION] * min(max(ice[i], 0.0), w)


@nb.njit(cache=True, error_model="numpy")
def saturation_fast(t, over_water, over_ice):
    """Saturation pressure [Pa] and its slope [Pa/K] at t [degrees C]."""
    x = min(max(t, COLDEST), HOTTEST)
    c = over_ice if x < TRIPLE else over_water
    log = 0.0
    slope = 0.0
    for k in range(c.shape[0] - 1, -1, -1):
        slope = slope * x + log
        log = log * x + c[k]
    p = np.exp(log)
    return p, p * slope


@nb.njit(cache=True, error_model="numpy")
def vapour(cells, temp, activity, pressure, r_gas, over_water, over_ice, pv, dpv, dry_gas):
    """Fill vapour pressure [Pa], its slope [Pa/K] and the dry gas (P - p_v)/(R T) [mol/m3].

    activity : of the water, 0 to 1; pressure : of the gas, one number [Pa]. Vapour takes at most
    `MOST_VAPOUR` of it; where it would take more its slope is 0.
    """
    most = MOST_VAPOUR * pressure
    for n in range(cells.shape[0]):
        i = cells[n]
        p, slope = saturation_fast(temp[i], over_water, over_ice)
        p *= activity[i]
        slope *= activity[i]
        if p > most:
            p = most
            slope = 0.0
        pv[i] = p
        dpv[i] = slope
        dry_gas[i] = (pressure - p) / (r_gas * (temp[i] + KELVIN))
