"""Decay of a heap, cell by cell: oxygen wanted, then pools, microbes, acids and nitrogen moved.

Units: kg a cell, seconds, degrees C, W, fractions; activities 0 to 1. Two kernels: `rates` gives
the oxygen uptake at plenty of oxygen (``out_o2_max`` [kg/s]), so that the uptake is
out_o2_max y/(K + y) and an oxygen solver can be implicit in y; `advance` then moves the state over
dt at the y that was solved. The oxygen it uses is the same number times dt, to round-off.
Curves of temperature come as a table ``warm`` (row r: T_LOW + r/T_PER_K) and the moisture factor
as ``wet`` (from 0 to 1), both interpolated linearly, so that a cell costs no exp and no power.
``pool_par`` is (P, POOL_COLUMNS), ``par`` one row; both are laid out by the indices below.
Stability: pools and microbes by forward Euler with the share lost in a step cut at 1 (reached at
1/k, more than a day for the fastest pool; from there on the oxygen used would fall short of what
was asked), growth of activity by the logistic with a cubic for its exponential, death and ammonia
implicit: nothing turns negative at any dt. Order 1 in dt; below 1 % of a rate at 1800 s.
"""

import numba as nb
import numpy as np

ONE = np.uint64(1)
#: the table of temperature: first row [degrees C] and rows a degree
T_LOW, T_PER_K = -50.0, 4.0
#: columns of ``warm``: growth of the groups [-], death of the groups [1/s], ammonia in gas over
#: water [-], breath of living tissue against 20 C [-] and its death [1/s]
(
    MESO, THERMO, FUNGI, DIE_MESO, DIE_THERMO, DIE_FUNGI, AMMONIA, TISSUE, DIE_TISSUE,
) = range(9)  # fmt: skip
WARM_COLUMNS = 9
#: columns of ``pool_par``: rate [1/s], 1 where fungi take part, nitrogen and reachable carbon
#: [kg/kg]; net of the microbes made of it: oxygen, carbon to CO2, water [kg/kg]; as bacteria
#: ferment it: acid made [kg/kg] (0: they do not), heat [J/kg], water [kg/kg]; rate at which living
#: tissue takes it at 20 C [1/s]
(
    K_BEST, BY_FUNGI, NITROGEN, REACH, OXYGEN, CARBON, WATER, ACID, ACID_HEAT, ACID_WATER, K_TISSUE,
) = range(11)  # fmt: skip
POOL_COLUMNS = 11
#: indices of ``par``
(
    K_OXYGEN, ANOXIC, YIELD, HEAT_PER_O2, CO2_PER_C, MU_BACTERIA, MU_FUNGI, FLOOR_BACTERIA,
    FLOOR_FUNGI, FUNGAL_RATE, LIMIT_CN, K_ACID, ACID_O2, ACID_C, ACID_W, ACID_LACK, UPKEEP, BIO_O2,
    BIO_C, BIO_W, BIO_N, ESCAPE, GAS_PER_K,
) = range(23)  # fmt: skip
PAR_LENGTH = 23
#: rows of ``factors``
BACTERIA, FUNGAL, MICROBES, BREATH = range(4)
FACTOR_ROWS = 4


@nb.njit(inline="always", error_model="numpy")
def _place(temp_c, rows):
    """Row of the table below a temperature, and the share of the next one."""
    x = (temp_c - T_LOW) * T_PER_K
    x = min(max(x, 0.0), rows - 1.000001)
    r = int(x)
    return r, x - r


@nb.njit(inline="always", error_model="numpy")
def _wetness(moisture_wb, wet):
    """The moisture factor."""
    last = wet.shape[0] - 1
    x = min(max(moisture_wb, 0.0), 1.0) * last
    r = min(int(x), last - 1)
    return wet[r] + (x - r) * (wet[r + 1] - wet[r])


@nb.njit(inline="always", error_model="numpy")
def _activity(a, growth, death, floor):
    """Activity after logistic growth (rate times dt) and death towards the floor."""
    e = 1.0 + growth * (1.0 + growth * (0.5 + growth / 6.0))
    a = a * e / (1.0 + a * (e - 1.0))
    if death > 0.0 and a > floor:
        a = floor + (a - floor) / (1.0 + death)
    return a


@nb.njit(inline="always", error_model="numpy")
def _ahead(now, before, ahead):
    """A factor carried on in a straight line, 0 to twice what it is."""
    return min(max(now + ahead * (now - before), 0.0), 2.0 * now)


@nb.njit(cache=True, error_model="numpy")
def rates(
    cells, temp_c, moisture_wb, pools, biomass, acid, act_m, act_t, act_f, living, n_org, n_nh4,
    pool_par, par, warm, wet, ahead, before, factors, out_o2_max,
):  # fmt: skip
    """Fill ``out_o2_max`` [kg/s], the oxygen uptake at plenty of oxygen, and ``factors``.

    ahead : how far the factors are carried on beyond now, as a share of the time since ``before``
    (like ``factors``), which takes those of now: half a stretch makes decay of order 2 in it.

    factors (FACTOR_ROWS, N) : what multiplies the best rate of what bacteria take, what fungi
    take, of the upkeep of microbes, and of what living tissue takes, oxygen left out; `advance`
    reads them. Nitrogen holds decay
    back where what can be reached (pools, microbes and ammonium) has a C:N above par[LIMIT_CN].
    """
    kinds = pools.shape[0]
    rows = warm.shape[0]
    for n in range(cells.shape[0]):
        i = cells[n]
        r, u = _place(temp_c[i], rows)
        fm = warm[r, MESO] + u * (warm[r + 1, MESO] - warm[r, MESO])
        ft = warm[r, THERMO] + u * (warm[r + 1, THERMO] - warm[r, THERMO])
        ff = warm[r, FUNGI] + u * (warm[r + 1, FUNGI] - warm[r, FUNGI])
        w = _wetness(moisture_wb[i], wet)
        by_bacteria = by_fungi = by_tissue = held = 0.0
        reach = par[BIO_C] * biomass[i]
        reach_n = 0.0
        for p in range(kinds):
            s = pools[p, i]
            if s <= 0.0:
                continue
            want = pool_par[p, K_BEST] * pool_par[p, OXYGEN] * s
            by_bacteria += want
            by_fungi += pool_par[p, BY_FUNGI] * want
            by_tissue += pool_par[p, K_TISSUE] * pool_par[p, OXYGEN] * s
            nitrogen = pool_par[p, NITROGEN] * s
            carbon = pool_par[p, REACH] * s
            held += nitrogen
            reach += carbon
            if carbon > 0.0:
                reach_n += nitrogen
        own_n = max(n_org[i] - held, 0.0)
        fed = 1.0
        supply = par[LIMIT_CN] * (reach_n + own_n + n_nh4[i])
        if reach > supply:
            fed = supply / reach
        gb = max(fm * act_m[i], ft * act_t[i]) * w * fed
        gf = par[FUNGAL_RATE] * ff * act_f[i] * w * fed
        gu = max(fm, ft, ff) * w
        gl = living[i] * w * (warm[r, TISSUE] + u * (warm[r + 1, TISSUE] - warm[r, TISSUE]))
        gb, before[BACTERIA, i] = _ahead(gb, before[BACTERIA, i], ahead), gb
        gf, before[FUNGAL, i] = _ahead(gf, before[FUNGAL, i], ahead), gf
        gu, before[MICROBES, i] = _ahead(gu, before[MICROBES, i], ahead), gu
        factors[BACTERIA, i] = gb
        factors[FUNGAL, i] = gf
        gl, before[BREATH, i] = _ahead(gl, before[BREATH, i], ahead), gl
        factors[MICROBES, i] = gu
        factors[BREATH, i] = gl
        out_o2_max[i] = (
            gb * by_bacteria
            + gf * by_fungi
            + gl * by_tissue
            + par[K_ACID] * gb * acid[i] * par[ACID_O2]
            + par[UPKEEP] * gu * biomass[i] * par[BIO_O2]
        )


@nb.njit(cache=True, error_model="numpy")
def advance(
    cells, dt_s, temp_c, water_kg, o2, gas_mol_s, pools, biomass, acid, act_m, act_t, act_f, living,
    n_org, n_nh4, nh3_lost, pool_par, par, warm, wet, moisture_wb, factors, out_o2_kg,
    out_heat_w, out_water_kg, out_co2_kg,
):  # fmt: skip
    """Move pools, microbes, acids, activities and nitrogen over dt at the oxygen ``o2``.

    gas_mol_s : dry gas that runs through a cell. Gives over dt: oxygen used
    [kg], mean heat [W], liquid water made [kg] (less than nought while acids form), carbon dioxide
    [kg]. Ammonia lost adds to ``nh3_lost``.
    """
    rows = warm.shape[0]
    kinds = pool_par.shape[0]
    share = par[YIELD]
    for n in range(cells.shape[0]):
        i = cells[n]
        y = max(o2[i], 0.0)
        m = y / (par[K_OXYGEN] + y)
        anoxic = par[ANOXIC] * max(0.0, 1.0 - y / par[K_OXYGEN])
        gb, gf, gu = factors[BACTERIA, i], factors[FUNGAL, i], factors[MICROBES, i]
        gl = factors[BREATH, i]
        eaten = oxygen = carbon = water = nitrogen = soured = warmth = held = 0.0
        for p in range(kinds):
            s = pools[p, i]
            best = pool_par[p, K_BEST] * dt_s
            share_lost = (
                best * (gb + pool_par[p, BY_FUNGI] * gf) + pool_par[p, K_TISSUE] * dt_s * gl
            )
            away = min(share_lost, 1.0) * s * m
            eaten += away
            oxygen += away * pool_par[p, OXYGEN]
            carbon += away * pool_par[p, CARBON]
            water += away * pool_par[p, WATER]
            held += pool_par[p, NITROGEN] * s
            if anoxic > 0.0 and pool_par[p, ACID] > 0.0:
                turned = min(best * gb * anoxic * s, s - away)
                soured += turned * pool_par[p, ACID]
                warmth += turned * pool_par[p, ACID_HEAT]
                water += turned * pool_par[p, ACID_WATER]
                away += turned
            nitrogen += pool_par[p, NITROGEN] * away
            pools[p, i] = s - away
        own_n = max(n_org[i] - held, 0.0)
        sour = acid[i] * min(par[K_ACID] * gb * m * dt_s, 1.0)
        acid[i] += soured - sour
        died = min(par[UPKEEP] * gu * m * dt_s, 1.0)
        grown = share * (eaten + sour)
        gone = died * biomass[i]
        biomass[i] += grown - gone
        used = oxygen + sour * par[ACID_O2] + gone * par[BIO_O2]
        out_o2_kg[i] = used
        out_heat_w[i] = (used * par[HEAT_PER_O2] + warmth - sour * par[ACID_LACK]) / dt_s
        out_water_kg[i] = water + sour * par[ACID_W] + gone * par[BIO_W]
        carbon += sour * par[ACID_C] + gone * par[BIO_C]
        out_co2_kg[i] = carbon * par[CO2_PER_C]
        freed = min(nitrogen + died * own_n, n_org[i])
        free = n_nh4[i] + freed
        taken = min(par[BIO_N] * grown, free)
        n_org[i] += taken - freed
        free -= taken
        r, u = _place(temp_c[i], rows)
        lost = warm[r, AMMONIA] + u * (warm[r + 1, AMMONIA] - warm[r, AMMONIA])
        lost *= par[ESCAPE] * gas_mol_s[i] * par[GAS_PER_K] * (temp_c[i] + 273.15)
        lost *= 1000.0 * dt_s / max(water_kg[i], 1e-9)
        away = free * lost / (1.0 + lost)
        n_nh4[i] = free - away
        nh3_lost[i] += away
        dies = warm[r, DIE_TISSUE] + u * (warm[r + 1, DIE_TISSUE] - warm[r, DIE_TISSUE])
        living[i] /= 1.0 + dies * dt_s
        grow = _wetness(moisture_wb[i], wet) * m * dt_s
        fm = warm[r, MESO] + u * (warm[r + 1, MESO] - warm[r, MESO])
        ft = warm[r, THERMO] + u * (warm[r + 1, THERMO] - warm[r, THERMO])
        ff = warm[r, FUNGI] + u * (warm[r + 1, FUNGI] - warm[r, FUNGI])
        act_m[i] = _activity(
            act_m[i], par[MU_BACTERIA] * fm * grow,
            dt_s * (warm[r, DIE_MESO] + u * (warm[r + 1, DIE_MESO] - warm[r, DIE_MESO])),
            par[FLOOR_BACTERIA],
        )  # fmt: skip
        act_t[i] = _activity(
            act_t[i], par[MU_BACTERIA] * ft * grow,
            dt_s * (warm[r, DIE_THERMO] + u * (warm[r + 1, DIE_THERMO] - warm[r, DIE_THERMO])),
            par[FLOOR_BACTERIA],
        )  # fmt: skip
        act_f[i] = _activity(
            act_f[i], par[MU_FUNGI] * ff * grow,
            dt_s * (warm[r, DIE_FUNGI] + u * (warm[r + 1, DIE_FUNGI] - warm[r, DIE_FUNGI])),
            par[FLOOR_FUNGI],
        )  # fmt: skip


@nb.njit(cache=True, error_model="numpy")
def gas_through(runs, sy, sz, fx, fy, fz, out):
    """Dry gas [mol/s] that runs through a cell: what comes in or what goes out over its inner
    faces, whichever is more. Fluxes are laid out as in the flow kernels."""
    for r in range(runs.shape[0]):
        for i in range(runs[r, 0], runs[r, 1]):
            a, b, c = fx[i], fy[i], fz[i]
            d, e, f = fx[i - ONE], fy[i - sy], fz[i - sz]
            leaves = max(a, 0.0) + max(b, 0.0) + max(c, 0.0)
            leaves += max(-d, 0.0) + max(-e, 0.0) + max(-f, 0.0)
            comes = max(-a, 0.0) + max(-b, 0.0) + max(-c, 0.0)
            comes += max(d, 0.0) + max(e, 0.0) + max(f, 0.0)
            out[i] = max(leaves, comes)
