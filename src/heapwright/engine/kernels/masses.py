"""Masses of every cell, and the end of a step: heat and vapour come in, decayed matter leaves.

Units: kg and J a cell, W and kg/s for what enters, degrees C. Conventions: enthalpy counts above
dry matter and liquid water at 0 C, so matter that decays leaves with its own share of it and the
water it makes comes with its own. Water that a step would take beyond what is held is taken from
the free water and then not at all; the sum of what could not be taken is given back, so that the
accounts can show it. Nothing here limits the step.
"""

import numba as nb

#: indices of ``sums``: heat of decay [J], heat of matter that left [J], water made [kg], carbon
#: dioxide [kg], water that could not be taken [kg]
DECAY, MATTER, MADE, CO2, SHORT = range(5)


@nb.njit(cache=True, error_model="numpy")
def totals(runs, pools, ash, biomass, acid, water_m, water_f, dry, water):
    """Fill ``dry`` and ``water``."""
    for r in range(runs.shape[0]):
        start, end = runs[r, 0], runs[r, 1]
        for i in range(start, end):
            dry[i] = ash[i] + biomass[i] + acid[i]
            water[i] = water_m[i] + water_f[i]
        for p in range(pools.shape[0]):
            for i in range(start, end):
                dry[i] += pools[p, i]


@nb.njit(cache=True, error_model="numpy")
def bring(runs, dt, heat, vapour, enthalpy, water_m, water_f, water, sums):
    """Bring heat [W] and vapour [kg/s] of a step into enthalpy and water; adds to ``sums``.

    water : all water, filled.
    """
    short = 0.0
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            enthalpy[i] += dt * heat[i]
            w = water_m[i] + dt * vapour[i]
            if w < 0.0:
                free = water_f[i] + w
                w = 0.0
                if free < 0.0:
                    short -= free
                    free = 0.0
                water_f[i] = free
            water_m[i] = w
            water[i] = w + water_f[i]
    sums[SHORT] += short


@nb.njit(cache=True, error_model="numpy")
def settle(
    runs, dt, temp, before, dry, given, heat_w, made, co2, cp_dry, cp_water, enthalpy, water_m,
    water_f, water, sums,
):  # fmt: skip
    """Bring the decay of a stretch of dt into enthalpy and water; adds to ``sums``.

    before, dry : dry mass before and after; given : heat of it that has come in already [J], set
    to 0; water : all water, filled.
    """
    decay = matter = wetted = gone = short = 0.0
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            t = temp[i]
            left = (dry[i] - before[i]) * cp_dry * t + made[i] * cp_water * max(t, 0.0)
            enthalpy[i] += dt * heat_w[i] - given[i] + left
            given[i] = 0.0
            w = water_m[i] + made[i]
            free = water_f[i] + min(w, 0.0)
            short -= min(free, 0.0)
            free = max(free, 0.0)
            w = max(w, 0.0)
            water_m[i] = w
            water_f[i] = free
            water[i] = w + free
            decay += dt * heat_w[i]
            matter += left
            wetted += made[i]
            gone += co2[i]
    sums[DECAY] += decay
    sums[MATTER] += matter
    sums[MADE] += wetted
    sums[CO2] += gone
    sums[SHORT] += short
