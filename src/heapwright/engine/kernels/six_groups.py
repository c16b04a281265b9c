"""Decay by six groups of microbes, cell by cell: hydrolysis, growth, death and lysis.

Units: kg a cell, seconds, degrees C, fractions. Rows of ``pools``: the pools of the ingredients,
then what is dissolved (five substances), the living (six groups), the dead, the inert. `rates`
gives the oxygen uptake at plenty of oxygen, so that the uptake is out_o2_max y/(K + y); `advance`
moves the state over dt at the y that was solved and uses just that oxygen.
Hydrolysis of a pool by a group is k X f S/(C X + S) (Contois), growth mu X f Z/(Ks + Z) y/(K + y)
with Z the dissolved matter in a kg of water (Monod); uptake is at most what is dissolved over the
time of transfer. Curves of temperature come as a table ``warm`` (row r: T_LOW + r/T_PER_K), the
moisture factor as ``wet``, both interpolated linearly.
Stability: explicit, with the share of a pool lost in a step cut at 1; death, lysis and ammonia
implicit. Nothing turns negative at any dt; beyond the time of transfer (an hour) the oxygen used
would fall short of what was asked. Order 1 in dt.
"""

import numba as nb

#: the table of temperature: first row [degrees C] and rows a degree
T_LOW, T_PER_K = -50.0, 4.0
GROUPS, SOLUTES = 6, 5
#: rows of ``pools`` behind those of the ingredients
DISSOLVED, LIVING, DEAD, INERT = 0, SOLUTES, SOLUTES + GROUPS, SOLUTES + GROUPS + 1
EXTRA_ROWS = SOLUTES + GROUPS + 2
#: columns of ``warm``: growth [-], natural death [1/s], death by heat [1/s], six each; lysis [1/s];
#: ammonia in gas over water [-]
GROW, DIE, KILL, LYSE, AMMONIA = 0, GROUPS, 2 * GROUPS, 3 * GROUPS, 3 * GROUPS + 1
WARM_COLUMNS = 3 * GROUPS + 2
#: columns of ``pool_par``: index of the solute it becomes, Contois constant [kg/kg], nitrogen and
#: reachable carbon [kg/kg], then hydrolysis by each group [kg a kg of microbes and s]
SOLUTE, CONTOIS, NITROGEN, REACH, HYDROLYSIS = range(5)
POOL_COLUMNS = HYDROLYSIS + GROUPS
#: columns of ``solute_par``: net of the microbes made of it: oxygen, carbon to CO2, water [kg/kg];
#: carbon held [kg/kg]
OXYGEN, CARBON, WATER, HELD = range(4)
SOLUTE_COLUMNS = 4
#: indices of ``par``; FIRST_FUNGI: groups from there on do not hydrolyse without oxygen
(
    K_OXYGEN, ANOXIC, YIELD, HEAT_PER_O2, CO2_PER_C, HALF, PER_S, LIMIT_CN, BIO_C, BIO_N,
    INERT_SHARE, FLOOR, ESCAPE, GAS_PER_K,
) = range(14)  # fmt: skip
PAR_LENGTH = 14
FIRST_FUNGI = 4
#: growth [kg/s] that is none
TINY = 1e-100
#: rows of ``factors``: what multiplies the rates of each group, then uptake over dissolved [1/s]
UPTAKE = GROUPS
FACTOR_ROWS = GROUPS + 1


@nb.njit(cache=True, error_model="numpy")
def _place(temp_c, rows):
    """Row of the table below a temperature, and the share of the next one."""
    x = (temp_c - T_LOW) * T_PER_K
    x = min(max(x, 0.0), rows - 1.000001)
    r = int(x)
    return r, x - r


@nb.njit(cache=True, error_model="numpy")
def _wetness(moisture_wb, wet):
    """The moisture factor."""
    last = wet.shape[0] - 1
    x = min(max(moisture_wb, 0.0), 1.0) * last
    r = min(int(x), last - 1)
    return wet[r] + (x - r) * (wet[r + 1] - wet[r])


@nb.njit(cache=True, error_model="numpy")
def _own_nitrogen(i, pools, n_org, pool_par):
    """Nitrogen of microbes, dead and inert matter: what the pools do not hold [kg]."""
    held = 0.0
    for p in range(pool_par.shape[0]):
        held += pool_par[p, NITROGEN] * pools[p, i]
    return max(n_org[i] - held, 0.0)


@nb.njit(cache=True, error_model="numpy")
def rates(
    cells, temp_c, moisture_wb, water_kg, pools, n_org, n_nh4, pool_par, solute_par, mu, par, warm,
    wet, factors, out_o2_max,
):  # fmt: skip
    """Fill ``out_o2_max`` [kg/s], the oxygen uptake at plenty of oxygen, and ``factors``.

    mu (GROUPS,) : highest growth [1/s]; factors (FACTOR_ROWS, N) : read by `advance`.
    """
    kinds = pool_par.shape[0]
    rows = warm.shape[0]
    for n in range(cells.shape[0]):
        i = cells[n]
        r, u = _place(temp_c[i], rows)
        w = _wetness(moisture_wb[i], wet)
        reach = reach_n = 0.0
        for p in range(kinds):
            carbon = pool_par[p, REACH] * pools[p, i]
            reach += carbon
            if carbon > 0.0:
                reach_n += pool_par[p, NITROGEN] * pools[p, i]
        dissolved = oxygen = 0.0
        for s in range(SOLUTES):
            z = pools[kinds + s, i]
            dissolved += z
            oxygen += solute_par[s, OXYGEN] * z
            reach += solute_par[s, HELD] * z
        for g in range(GROUPS + 1):
            reach += par[BIO_C] * pools[kinds + LIVING + g, i]
        fed = 1.0
        own_n = _own_nitrogen(i, pools, n_org, pool_par)
        supply = par[LIMIT_CN] * (reach_n + own_n + n_nh4[i])
        if reach > supply:
            fed = supply / reach
        wanted = 0.0
        for g in range(GROUPS):
            f = warm[r, GROW + g] + u * (warm[r + 1, GROW + g] - warm[r, GROW + g])
            f *= w * fed
            factors[g, i] = f
            wanted += mu[g] * f * pools[kinds + LIVING + g, i]
        uptake = 0.0
        if dissolved > 0.0 and wanted > TINY:
            half = par[HALF] * max(water_kg[i], 1e-9)
            uptake = min(wanted / max(par[YIELD], 1e-12) / (half + dissolved), par[PER_S])
        factors[UPTAKE, i] = uptake
        out_o2_max[i] = uptake * oxygen


@nb.njit(cache=True, error_model="numpy")
def _hydrolyse(i, dt, m, anoxic, pools, pool_par, factors):
    """Open the pools of a cell; gives the nitrogen freed [kg]."""
    kinds = pool_par.shape[0]
    freed = 0.0
    for p in range(kinds):
        s = pools[p, i]
        if s <= 0.0:
            continue
        speed = 0.0
        for g in range(GROUPS):
            k = pool_par[p, HYDROLYSIS + g]
            if k <= 0.0:
                continue
            x = pools[kinds + LIVING + g, i]
            air = m if g >= FIRST_FUNGI else m + anoxic
            speed += k * x * factors[g, i] * air / (pool_par[p, CONTOIS] * x + s)
        lost = min(speed * dt, 1.0) * s
        pools[p, i] = s - lost
        pools[kinds + DISSOLVED + int(pool_par[p, SOLUTE]), i] += lost
        freed += pool_par[p, NITROGEN] * lost
    return freed


@nb.njit(cache=True, error_model="numpy")
def _take_up(i, dt, m, pools, kinds, solute_par, mu, par, factors, got):
    """Let the groups eat what is dissolved; ``got``: oxygen, carbon, water [kg]. Gives growth."""
    part = min(factors[UPTAKE, i] * m * dt, 1.0)
    wanted = 0.0
    for g in range(GROUPS):
        wanted += mu[g] * factors[g, i] * pools[kinds + LIVING + g, i]
    got[:] = 0.0
    if wanted <= TINY:
        return 0.0
    eaten = 0.0
    for s in range(SOLUTES):
        z = pools[kinds + s, i]
        x = part * z
        pools[kinds + s, i] = z - x
        eaten += x
        got[0] += x * solute_par[s, OXYGEN]
        got[1] += x * solute_par[s, CARBON]
        got[2] += x * solute_par[s, WATER]
    grown = par[YIELD] * eaten
    each = grown / wanted
    for g in range(GROUPS):
        row = kinds + LIVING + g
        pools[row, i] *= 1.0 + each * mu[g] * factors[g, i]
    return grown


@nb.njit(cache=True, error_model="numpy")
def _die(i, dt, r, u, w, pools, kinds, par, warm):
    """Move the living to the dead, down to a floor, and dissolve the dead; gives the share of all
    that was ever microbe which dissolves."""
    matter = 0.0
    for p in range(kinds):
        matter += pools[p, i]
    floor = par[FLOOR] * matter
    for g in range(GROUPS):
        row = kinds + LIVING + g
        x = pools[row, i]
        if x > floor:
            rate = w * (warm[r, DIE + g] + u * (warm[r + 1, DIE + g] - warm[r, DIE + g]))
            rate += warm[r, KILL + g] + u * (warm[r + 1, KILL + g] - warm[r, KILL + g])
            left = min(floor + (x - floor) / (1.0 + rate * dt), x)
            pools[row, i] = left
            pools[kinds + DEAD, i] += x - left
    dead = pools[kinds + DEAD, i]
    all_of_it = pools[kinds + INERT, i] + dead
    for g in range(GROUPS):
        all_of_it += pools[kinds + LIVING + g, i]
    rate = w * (warm[r, LYSE] + u * (warm[r + 1, LYSE] - warm[r, LYSE])) * dt
    lysed = dead * rate / (1.0 + rate)
    inert = par[INERT_SHARE] * lysed
    pools[kinds + DEAD, i] = dead - lysed
    pools[kinds + INERT, i] += inert
    pools[kinds + SOLUTES - 1, i] += lysed - inert
    if all_of_it <= 0.0:
        return 0.0
    return (lysed - inert) / all_of_it


@nb.njit(cache=True, error_model="numpy")
def advance(
    cells, dt_s, temp_c, moisture_wb, water_kg, o2, gas_mol_s, pools, n_org, n_nh4, nh3_lost,
    pool_par, solute_par, mu, par, warm, wet, factors, got, out_o2_kg, out_heat_w, out_water_kg,
    out_co2_kg,
):  # fmt: skip
    """Move pools, microbes and nitrogen over dt at the oxygen ``o2``.

    gas_mol_s : dry gas that runs through a cell; got : scratch of 3. Gives over dt: oxygen used
    [kg], mean heat [W], liquid water made and carbon dioxide [kg]. Ammonia lost adds to
    ``nh3_lost``.
    """
    kinds = pool_par.shape[0]
    rows = warm.shape[0]
    for n in range(cells.shape[0]):
        i = cells[n]
        y = max(o2[i], 0.0)
        m = y / (par[K_OXYGEN] + y)
        anoxic = par[ANOXIC] * max(0.0, 1.0 - y / par[K_OXYGEN])
        r, u = _place(temp_c[i], rows)
        w = _wetness(moisture_wb[i], wet)
        grown = _take_up(i, dt_s, m, pools, kinds, solute_par, mu, par, factors, got)
        out_o2_kg[i] = got[0]
        out_heat_w[i] = got[0] * par[HEAT_PER_O2] / dt_s
        out_co2_kg[i] = got[1] * par[CO2_PER_C]
        out_water_kg[i] = got[2]
        own_n = _own_nitrogen(i, pools, n_org, pool_par)
        freed = _hydrolyse(i, dt_s, m, anoxic, pools, pool_par, factors)
        freed += _die(i, dt_s, r, u, w, pools, kinds, par, warm) * own_n
        freed = min(freed, n_org[i])
        free = n_nh4[i] + freed
        taken = min(par[BIO_N] * grown, free)
        n_org[i] += taken - freed
        free -= taken
        lost = warm[r, AMMONIA] + u * (warm[r + 1, AMMONIA] - warm[r, AMMONIA])
        lost *= par[ESCAPE] * gas_mol_s[i] * par[GAS_PER_K] * (temp_c[i] + 273.15)
        lost *= 1000.0 * dt_s / max(water_kg[i], 1e-9)
        away = free * lost / (1.0 + lost)
        n_nh4[i] = free - away
        nh3_lost[i] += away
