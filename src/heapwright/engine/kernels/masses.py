"""Masses of every cell, and the end of a step: heat and vapour come in, decayed matter leaves.

Units: kg and J a cell, W and kg/s for what enters, degrees C. Conventions: enthalpy counts above
dry matter and liquid water at 0 C, so matter that decays leaves with its own share of it and the
water it makes comes with its own. Water that a step would take beyond what is held is taken from
the free water and then not at all; the sum of what could not be taken is given back, so that the
accounts can show it. Nothing here limits the step.
"""

import numba as nb

#: indices of ``sums``: dry mass [kg], heat of decay [J], heat of matter that left [J], water made
#: [kg], carbon dioxide [kg], vapour that could not be taken [kg]
DRY, DECAY, MATTER, MADE, CO2, SHORT = range(6)


@nb.njit(cache=True, error_model="numpy")
def totals(cells, pools, ash, biomass, acid, water_m, water_f, dry, water):
    """Fill ``dry`` and ``water``, and give the sum of the dry mass."""
    kinds = pools.shape[0]
    for n in range(cells.shape[0]):
        i = cells[n]
        dry[i] = ash[i] + biomass[i] + acid[i]
        water[i] = water_m[i] + water_f[i]
    for p in range(kinds):
        for n in range(cells.shape[0]):
            i = cells[n]
            dry[i] += pools[p, i]
    whole = 0.0
    for n in range(cells.shape[0]):
        whole += dry[cells[n]]
    return whole


@nb.njit(cache=True, error_model="numpy")
def settle(
    cells, dt, temp, before, dry, heat, vapour, heat_w, made, co2, cp_dry, cp_water, enthalpy,
    water_m, water_f, water, sums,
):  # fmt: skip
    """Bring heat, vapour and decay of a step into enthalpy and water; fill ``sums``.

    before, dry : dry mass before and after decay; water : all water, filled.
    """
    sums[:] = 0.0
    for n in range(cells.shape[0]):
        i = cells[n]
        gone = dry[i] - before[i]
        t = temp[i]
        matter = gone * cp_dry * t + made[i] * cp_water * max(t, 0.0)
        enthalpy[i] += dt * (heat[i] + heat_w[i]) + matter
        w = water_m[i] + made[i] + dt * vapour[i]
        if w < 0.0:
            free = water_f[i] + w
            w = 0.0
            if free < 0.0:
                sums[SHORT] -= free
                free = 0.0
            water_f[i] = free
        water_m[i] = w
        water[i] = w + water_f[i]
        sums[DRY] += dry[i]
        sums[DECAY] += dt * heat_w[i]
        sums[MATTER] += matter
        sums[MADE] += made[i]
        sums[CO2] += co2[i]
