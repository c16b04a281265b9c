"""What the material of every cell is like now: pores, permeability, conductivity, activity.

Units: masses [kg] a cell, volume [m3], permeability [m2], conductivity [W/mK].
Conventions: air flows between particles only; water beyond what particles hold (``cap`` kg a kg
dry) fills that space; permeability follows eps^3/(1 - eps)^2 from its value when built.
``par`` is laid out by the indices below. Nothing moves here: no stability limit.
"""

import numba as nb

#: indices of ``par``
(RHO_PARTICLE, RHO_WALL, K0, L0, LW, CP_DRY, CP_WATER, FIBRE, EPS_LEAST, AGEING) = range(10)


@nb.njit(cache=True, error_model="numpy")
def material(
    cells,
    volume,
    dry,
    water,
    eps0,
    par,
    moisture,
    pores,
    permeability,
    conductivity,
    activity,
):
    """Fill the five fields from dry mass, water and the pore space when built (``eps0``)."""
    cap = 1000.0 * (1.0 / par[RHO_PARTICLE] - 1.0 / par[RHO_WALL])
    for n in range(cells.shape[0]):
        i = cells[n]
        d = max(dry[i], 1e-9)
        x = water[i] / d
        density = d / volume
        moisture[i] = water[i] / (water[i] + d)
        e = 1.0 - density / par[RHO_PARTICLE] - max(0.0, x - cap) * density / 1000.0
        e = max(e, par[EPS_LEAST])
        pores[i] = e
        e0 = eps0[i]
        now = e * e * e / ((1.0 - e) * (1.0 - e))
        then = e0 * e0 * e0 / ((1.0 - e0) * (1.0 - e0))
        permeability[i] = par[K0] * par[AGEING] * min(now / then, 3.0)
        conductivity[i] = par[L0] + par[LW] * water[i] / volume
        # sorption: full activity above fibre saturation, falling smoothly to nought in dry wood
        f = x / par[FIBRE]
        activity[i] = 1.0 if f >= 1.0 else max(0.0, f * (2.0 - f))
