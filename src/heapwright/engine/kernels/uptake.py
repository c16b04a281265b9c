"""Before and after the oxygen of a step is solved: demand, storage, first guess, and the account.

Units: oxygen as mole fraction y of dry gas, uptake [kg/s] in and [mol/s] out, storage [mol/s],
dry gas [mol/m3], fluxes [mol/s] outwards. Conventions: as in the oxygen kernels. Nothing moves
here: no stability limit.
"""

import numba as nb

#: indices of ``sums`` [mol]: used, with the air flow in less out, by diffusion in, what came or
#: went as the gas of the pores grew or shrank, with the air flow in and out added up
USED, CARRIED, SPREAD, GREW, MOVED = range(5)


@nb.njit(cache=True, error_model="numpy")
def prepare(
    runs, dt, volume, kg_per_mol, most, o2_max, dry_gas, pores, y, y_before, y_old, demand, storage
):
    """Fill demand and storage; keep ``y`` in ``y_old`` and carry it on linearly as a first guess.

    most : mole fraction of the air outside, which no guess exceeds.
    """
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            demand[i] = o2_max[i] / kg_per_mol
            storage[i] = dry_gas[i] * pores[i] * volume / dt
            now = y[i]
            y_old[i] = now
            y[i] = min(max(2.0 * now - y_before[i], 0.0), most)
            y_before[i] = now


@nb.njit(cache=True, error_model="numpy")
def account(
    runs, dt, volume, half, most, joule_per_mol, demand, dry_gas, pores, held, y, y_old, taken,
    given, heat, bcell, bd, bf, by, sums,
):  # fmt: skip
    """Add to ``sums`` what the oxygen of the heap did in this step; see the indices.

    held : dry gas of every cell [mol] before the step, brought up to date; most : oxygen of the air
    outside, to which a cell is cut that exceeds it because the flow is solved to a tolerance only;
    taken [s] : gains dt times the share y/(half + y) of the demand that was met; heat [W], given
    [J] : gain the heat of the oxygen used, ``joule_per_mol`` of it.
    """
    used = 0.0
    grew = 0.0
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            now_y = min(y[i], most)
            y[i] = now_y
            met = now_y / (half + now_y)
            taken[i] += dt * met
            met *= demand[i]
            used += met
            heat[i] += joule_per_mol * met
            given[i] += joule_per_mol * met * dt
            now = dry_gas[i] * pores[i] * volume
            grew += (now - held[i]) * y_old[i]
            held[i] = now
    carried = 0.0
    moved = 0.0
    spread = 0.0
    for f in range(bcell.shape[0]):
        i = bcell[f]
        through = bf[f] * (y[i] if bf[f] > 0.0 else by[f])
        carried -= through
        moved += abs(through)
        spread += bd[f] * (by[f] - y[i])
    sums[USED] += used * dt
    sums[CARRIED] += carried * dt
    sums[SPREAD] += spread * dt
    sums[GREW] += grew
    sums[MOVED] += moved * dt


@nb.njit(cache=True, error_model="numpy")
def mean_oxygen(runs, waited, half, taken, out):
    """Fill ``out`` with the mole fraction at which the mean of y/(half + y) was reached."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            met = taken[i] / waited
            out[i] = half * met / (1.0 - met)
            taken[i] = 0.0
