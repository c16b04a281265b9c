"""Before and after the oxygen of a step is solved: demand, storage, first guess, and the account.

Units: oxygen as mole fraction y of dry gas, uptake [kg/s] in and [mol/s] out, storage [mol/s],
dry gas [mol/m3], fluxes [mol/s] outwards. Conventions: as in the oxygen kernels. Nothing moves
here: no stability limit.
"""

import numba as nb

#: indices of ``sums``: used [mol/s], with the air flow in less out, by diffusion in, what came or
#: went as the gas of the pores grew or shrank [mol], with the air flow in and out added up [mol/s]
USED, CARRIED, SPREAD, GREW, MOVED = range(5)


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
    cells, volume, half, most, demand, dry_gas, pores, held, y, y_old, bcell, bd, bf, by, sums
):
    """Fill ``sums`` with what the oxygen of the heap did in this step; see the indices.

    held : dry gas of every cell [mol] before the step, brought up to date; most : oxygen of the air
    outside, to which a cell is cut that exceeds it because the flow is solved to a tolerance only.
    """
    sums[:] = 0.0
    for n in range(cells.shape[0]):
        i = cells[n]
        y[i] = min(y[i], most)
        sums[USED] += demand[i] * y[i] / (half + y[i])
        now = dry_gas[i] * pores[i] * volume
        sums[GREW] += (now - held[i]) * y_old[i]
        held[i] = now
    for f in range(bcell.shape[0]):
        i = bcell[f]
        carried = bf[f] * (y[i] if bf[f] > 0.0 else by[f])
        sums[CARRIED] -= carried
        sums[MOVED] += abs(carried)
        sums[SPREAD] += bd[f] * (by[f] - y[i])
