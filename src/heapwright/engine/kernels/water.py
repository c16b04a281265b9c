"""Liquid water in a heap: held in the material, and running freely between particles.

Units: kg a cell, seconds, degrees C, J. Conventions: layout as in the flow kernels (``runs``
ascending, z slowest); water runs straight down, column by column, and every cell is visited from
the top down, so that it may pass many cells within a step. While water runs, a step is cut into up
to 12 passes no longer than RUN: long ones would give it too little time with the wood. For each
cell, in this order:

    arrival   of the water that falls on it, BYPASS runs on freely; the rest wets the material
              it meets, up to HOLD times field capacity, and what is too much runs on too
    uptake    running water fills the lack:    (fc - W) dry [1 - exp(-dt/UPTAKE)]
    seepage   above field capacity:            (W - fc) dry [1 - exp(-dt/SLOW)]    becomes free
    running   free water leaves downwards:     free [1 - exp(-dt/RUN)]             RUN for one cell

and, first of all, capillary exchange between neighbours down the slope of W (water held over dry
mass): CAPILLARY dry (W_i - W_j), dry that of the drier-built of the two, CAPILLARY the
diffusivity over dx^2. Below the last cell water has left the heap. Water carries its heat: what
leaves a cell has the temperature of the cell after the arrivals have mixed in. Ice does not move;
in a partly frozen cell the liquid share of either kind may. ``par`` is laid out by the indices
below. Stability: none needed; no store can turn negative or W rise by exchange above the wettest
neighbour at any dt (CAPILLARY dt is held at 1/7, far above its use at 1 h). First order in dt.
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)
#: indices of ``par``
(
    BYPASS,
    UPTAKE,
    SLOW,
    RUN,
    CAPILLARY,
    HOLD,
    CP_DRY,
    CP_WATER,
    CP_ICE,
    FUSION,
) = range(10)
#: entries of ``drained``
KG, JOULE = range(2)
#: most passes in one step
MOST_PARTS = 12


@nb.njit(cache=True, error_model="numpy")
def liquid_state(h, dry, water, par):
    """Temperature of the liquid [degrees C], at least 0, and the liquid share of the water."""
    capacity = dry * par[CP_DRY] + water * par[CP_WATER]
    if h > 0.0 and capacity > 0.0:
        return h / capacity, 1.0
    if water <= 0.0:
        return 0.0, 0.0
    return 0.0, max(0.0, 1.0 + h / (par[FUSION] * water))


@nb.njit(cache=True, error_model="numpy")
def _pair(i, j, alpha, dry, ratio, temp, liquid, par, water_m, enthalpy):
    """Move water between two neighbours; donors pay at their state before the exchange."""
    smaller = min(dry[i], dry[j])
    q = alpha * smaller * (ratio[i] - ratio[j])
    if q > 0.0:
        q *= liquid[i]
        h = q * par[CP_WATER] * temp[i]
    else:
        q *= liquid[j]
        h = q * par[CP_WATER] * temp[j]
    water_m[i] -= q
    water_m[j] += q
    enthalpy[i] -= h
    enthalpy[j] += h


@nb.njit(cache=True, error_model="numpy")
def capillary(runs, sy, sz, active, dt, dry, water_m, water_f, enthalpy, par, ratio, temp, liquid):
    """Exchange of held water between all neighbours over dt; the last three fields are scratch."""
    alpha = min(par[CAPILLARY] * dt, 1.0 / 7.0)
    if alpha <= 0.0:
        return
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            ratio[i] = water_m[i] / dry[i] if dry[i] > 0.0 else 0.0
            temp[i], liquid[i] = liquid_state(enthalpy[i], dry[i], water_m[i] + water_f[i], par)
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            if active[i + ONE]:
                _pair(i, i + ONE, alpha, dry, ratio, temp, liquid, par, water_m, enthalpy)
            if active[i + sy]:
                _pair(i, i + sy, alpha, dry, ratio, temp, liquid, par, water_m, enthalpy)
            if active[i + sz]:
                _pair(i, i + sz, alpha, dry, ratio, temp, liquid, par, water_m, enthalpy)


@nb.njit(cache=True, error_model="numpy")
def _runs_free(runs, water_f, top_in):
    """Whether any water runs between particles or arrives."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            if water_f[i] > 0.0 or top_in[i] > 0.0:
                return True
    return False


@nb.njit(cache=True, error_model="numpy")
def _fall(
    runs,
    sz,
    active,
    dt,
    dry,
    water_m,
    water_f,
    enthalpy,
    fc,
    par,
    top_in,
    top_j,
    portion,
    down,
    down_j,
    drained,
):
    """One pass from the top down over dt, in which ``portion`` of what arrives comes in."""
    takes = -np.expm1(-dt / par[UPTAKE])
    seeps = -np.expm1(-dt / par[SLOW])
    leaves = -np.expm1(-dt / par[RUN])
    last = runs.shape[0] - 1
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            down[i] = 0.0
            down_j[i] = 0.0
    for back in range(runs.shape[0]):
        r = last - back
        for i in range(runs[r, 0], runs[r, 1]):
            keeps = fc[i] * dry[i]
            held = water_m[i]
            free = water_f[i] + down[i]
            h = enthalpy[i] + down_j[i]
            if top_in[i] > 0.0:
                fell = portion * top_in[i]
                wets = min((1.0 - par[BYPASS]) * fell, max(par[HOLD] * keeps - held, 0.0))
                held += wets
                free += fell - wets
                h += portion * top_j[i]
            t, share = liquid_state(h, dry[i], held + free, par)
            if held < keeps:
                moved = min(share * free, (keeps - held) * takes)
                held += moved
                free -= moved
            else:
                moved = share * (held - keeps) * seeps
                held -= moved
                free += moved
            moved = min(share * free * leaves, free)
            free -= moved
            carried = moved * par[CP_WATER] * t
            water_m[i] = held
            water_f[i] = free
            enthalpy[i] = h - carried
            below = i - sz
            if active[below]:
                down[below] += moved
                down_j[below] += carried
            else:
                drained[KG] += moved
                drained[JOULE] += carried


@nb.njit(cache=True, error_model="numpy")
def water_step(
    runs,
    sy,
    sz,
    active,
    dt,
    dry,
    water_m,
    water_f,
    enthalpy,
    fc,
    par,
    top_in,
    top_j,
    ratio,
    temp,
    liquid,
    down,
    down_j,
    drained,
):
    """Move the water of a heap over dt [s].

    active : (N,) uint8 or bool; dry, water_m, water_f [kg], enthalpy [J] : fields, the last three
    changed in place; fc : field capacity [kg/kg]; top_in, top_j : water [kg] that arrives at
    each cell, evenly over dt, and its heat [J]; ratio, temp, liquid, down, down_j : scratch fields;
    drained (2,) : water [kg] and its heat [J] that left below, added to.
    """
    capillary(runs, sy, sz, active, dt, dry, water_m, water_f, enthalpy, par, ratio, temp, liquid)
    parts = 1
    if _runs_free(runs, water_f, top_in):
        parts = min(max(int(np.ceil(min(dt / par[RUN], 1e6))), 1), MOST_PARTS)
    for _ in range(parts):
        _fall(
            runs,
            sz,
            active,
            dt / parts,
            dry,
            water_m,
            water_f,
            enthalpy,
            fc,
            par,
            top_in,
            top_j,
            1.0 / parts,
            down,
            down_j,
            drained,
        )
