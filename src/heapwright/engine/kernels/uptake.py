"""Before and after the oxygen of a step is solved: demand, storage, first guess, and the account.

Units: oxygen as mole fraction y of dry gas, uptake [kg/s] in and [mol/s] out, storage [mol/s],
dry gas [mol/m3], fluxes [mol/s] outwards. Conventions: as in the oxygen kernels. Nothing moves
here: no stability limit.
"""

import numba as nb

#: indices of ``sums``: used [mol/s], with the air flow in, by diffusion in, oxygen that came or
#: went as the pores' gas grew or shrank [mol], oxygen held now [mol]
USED, CARRIED, SPREAD, GREW, HELD = range(5)


@nb.njit(cache=True, error_model="numpy")
def prepare(
    cells, dt, volume, kg_per_mol, most, o2_max, dry_gas, pores, y, y_before, y_old, demand, storage
):
    """Fill demand and storage; keep ``y`` in ``y_old`` and carry it on linearly as a first guess.

    most : mole fraction of the air outside, which no guess exceeds.
    """
    for n in range(cells.shape[0]):
        i = cells[n]
        demand[i] = o2_max[i] / kg_per_mol
        storage[i] = dry_gas[i] * pores[i] * volume / dt
        now = y[i]
        y_old[i] = now
        y[i] = min(max(2.0 * now - y_before[i], 0.0), most)
        y_before[i] = now


@nb.njit(cache=True, error_model="numpy")
def account(
    cells, volume, half, demand, dry_gas, dry_gas_old, pores, y, y_old, bcell, bd, bf, by, sums
):
    """Fill ``sums`` with what the oxygen of the heap did in this step; see the indices."""
    sums[:] = 0.0
    for n in range(cells.shape[0]):
        i = cells[n]
        sums[USED] += demand[i] * y[i] / (half + y[i])
        sums[GREW] += (dry_gas[i] - dry_gas_old[i]) * pores[i] * volume * y_old[i]
        sums[HELD] += dry_gas[i] * pores[i] * volume * y[i]
    for f in range(bcell.shape[0]):
        i = bcell[f]
        sums[CARRIED] -= bf[f] * (y[i] if bf[f] > 0.0 else by[f])
        sums[SPREAD] += bd[f] * (by[f] - y[i])
