"""The steps of a heap that follow one another without Python: gas, heat, oxygen, skin, soil.

Units, conventions and layout as in the kernels that are called here. `march` moves a heap over a
stretch of time in rounds, through weather given by rows, joined by straight lines; decay and liquid
water come after it and move over all of the stretch. A round solves gas flow, oxygen, skin and soil
once, and moves heat and vapour by one or more steps, as long as stability allows: they are what
changes fastest and costs least. Why one call: from Python a small kernel costs as much as its work
on a hundred cells. Order 1 in time; explicit in heat and vapour, cut to LIMIT of the stable step;
implicit in oxygen.
"""

from typing import Any, NamedTuple

import numba as nb
import numpy as np

from heapwright.engine.kernels import (
    flow,
    gas,
    masses,
    oxygen,
    pipes,
    skin,
    soil,
    thermo,
    transport,
    uptake,
)  # fmt: skip

#: columns of a row of weather; from SUN on beam and then diffuse sun of the six directions [W/m2]
AIR_C, VAPOUR_PA, PRESSURE_PA, WIND_M_S, SKY_C, RAIN, DEEP_C, SUN = range(8)
AIR_COLUMNS = 19
#: rows of ``sums``: heat that came in [J] and vapour [kg]; its columns: net, and added up
(
    PIPE_WALLS, DRY_AIR, FLOWN_HEAT, SKIN_HEAT, SKIN_VAPOUR_HEAT, GROUND, FLOWN_VAPOUR, SKIN_VAPOUR,
) = range(8)  # fmt: skip
TERMS = 8
#: entries of ``count``
ROUNDS, STEPS, ITERATIONS, SWEEPS = range(4)
COUNTS = 4
#: share of the stable step that is taken
LIMIT = 0.8
#: pressure a blower begins with, and can reach [Pa]
FIRST_PA, MOST_PA = 20.0, 5000.0
MOST_ITERATIONS, MOST_SWEEPS = 2000, 200
KG_PER_MOL = 0.031998
KELVIN = 273.15
#: inertia in a bed of grains: pressure a metre is this, over the root of permeability and of the
#: cube of the pore space, times density and the square of the velocity (1.75 over the root of 150)
ERGUN = 0.1429


class Body(NamedTuple):
    """Cells and faces; ``long_runs`` are the runs with gaps bridged, ``shared`` how many open faces
    a cell has."""

    runs: Any
    long_runs: Any
    cells: Any
    active: Any
    sy: Any
    sz: Any
    dx: float
    fcell: Any
    fdir: Any
    fcross: Any
    shared: Any
    windward: Any
    bcell: Any
    gcell: Any
    thickness: Any


class Vents(NamedTuple):
    """Open pipes: first and last entry in ``bcell``, the one where the far mouth takes over, heat
    through the wall [W/K] a cell, flow of a blower [L/s], pressure [Pa], and, for every entry, what
    flows per pascal over dry gas and permeability [m], and what grows with the square of the flow:
    of the holes [1/m4], and of the crowded air before them [1/m3], times a length of the pores."""

    start: Any
    end: Any
    split: Any
    wall: Any
    flow_l_s: Any
    pressure: Any
    per_pa: Any
    choke: Any
    crowd: Any


class Constants(NamedTuple):
    """Parameter rows, and numbers by themselves."""

    gas: Any
    transport: Any
    skin: Any
    thermo: Any
    table: Any
    vertical: float
    wind_pressure: float
    k_oxygen: float
    heat_per_oxygen: float
    soil_k: float
    soil_c: float
    calm: float
    per_wind: float
    cover: float
    open_to_vapour: float
    order: int
    pressure_tolerance: float
    oxygen_tolerance: float


class Held(NamedTuple):
    """What is carried on: fields of the state, soil, and values of faces."""

    enthalpy: Any
    temp: Any
    water_m: Any
    water_f: Any
    o2: Any
    pressure: Any
    soil: Any
    skin: Any
    skin_before: Any
    extra: Any


class Fields(NamedTuple):
    """Fields that follow from the state, and scratch."""

    dry: Any
    water: Any
    pores: Any
    tortuous: Any
    permeability: Any
    conductivity: Any
    activity: Any
    kx: Any
    ky: Any
    kz: Any
    o2_max: Any
    dry_gas: Any
    ratio: Any
    rho: Any
    spread: Any
    gas_held: Any
    gx: Any
    gy: Any
    gz: Any
    hz: Any
    dox: Any
    doy: Any
    doz: Any
    fx: Any
    fy: Any
    fz: Any
    p_before: Any
    p_diag: Any
    p_inverse: Any
    p_rhs: Any
    y_before: Any
    y_old: Any
    y_diag: Any
    y_rhs: Any
    demand: Any
    storage: Any
    taken: Any
    given: Any
    steady_heat: Any
    steady_vapour: Any
    heat: Any
    vapour: Any
    ice: Any
    capacity: Any
    nothing: Any
    c1: Any
    c2: Any
    c3: Any
    into: Any
    out_of: Any
    moved: Any


class Faces(NamedTuple):
    """Values of open faces, and behind them of pipe cells."""

    closed: Any
    bg: Any
    bh: Any
    bp: Any
    bd: Any
    bf: Any
    bt: Any
    bw: Any
    by: Any
    layer: Any
    front: Any
    terms: Any


@nb.njit(cache=True, error_model="numpy")
def _air_at(rows, spacing, now, air):
    """The weather at *now*, between the rows."""
    x = min(now / spacing, rows.shape[0] - 1.0)
    k = min(int(x), max(rows.shape[0] - 2, 0))
    after = min(k + 1, rows.shape[0] - 1)
    for c in range(AIR_COLUMNS):
        air[c] = rows[k, c] + (x - k) * (rows[after, c] - rows[k, c])


@nb.njit(cache=True, error_model="numpy")
def weather(table, rain, step_s, hours, out):
    """Fill ``out`` (n, AIR_COLUMNS) with the weather at *hours* [h] since a series began.

    table (steps, AIR_COLUMNS) : values that hold in the middle of the steps and are joined by
    straight lines; rain (steps,) [kg/m2 s] falls evenly over a step of *step_s* seconds.
    """
    last = table.shape[0] - 1
    for n in range(hours.shape[0]):
        x = hours[n] * 3600.0 / step_s
        y = min(max(x - 0.5, 0.0), float(last))
        k = min(int(y), max(last - 1, 0))
        after = min(k + 1, last)
        for c in range(AIR_COLUMNS):
            out[n, c] = (1.0 - (y - k)) * table[k, c] + (y - k) * table[after, c]
        out[n, RAIN] = rain[min(int(x), last)]


@nb.njit(cache=True, error_model="numpy")
def blow(b, v, k, h, w, f, air):
    """The gas in the pores, its pressure and its fluxes; gives the iterations."""
    per_rt = 1.0 / (k.gas[gas.R_GAS] * (air[AIR_C] + KELVIN))
    outside = per_rt * (
        (air[PRESSURE_PA] - air[VAPOUR_PA]) * k.gas[gas.M_DRY] + air[VAPOUR_PA] * k.gas[gas.M_WATER]
    )
    gust = 0.5 * outside * air[WIND_M_S] ** 2 * k.wind_pressure
    k.gas[gas.P_AIR] = air[PRESSURE_PA]
    gas.properties(
        b.runs, h.temp, h.o2, w.activity, w.tortuous, k.table, k.gas, w.dry_gas, w.ratio, w.rho,
        w.spread,
    )  # fmt: skip
    gas.conductances(
        b.runs, b.sy, b.sz, b.dx, w.permeability, k.vertical, w.spread, w.dry_gas, w.rho, outside,
        k.gas, w.gx, w.gy, w.gz, w.hz, w.dox, w.doy, w.doz,
    )  # fmt: skip
    for n in range(b.fcell.shape[0]):
        f.closed[n] = k.cover
        f.bp[n] = b.windward[n] * gust
    gas.open_faces(
        b.fcell, b.fdir, b.dx, w.permeability, k.vertical, w.spread, w.dry_gas, w.rho, outside,
        k.gas, f.closed, f.bg, f.bh, f.bd,
    )  # fmt: skip
    for p in range(v.start.shape[0]):
        for n in range(v.start[p], v.end[p]):
            i = b.bcell[n]
            pa = 1.0 / (w.permeability[i] * v.per_pa[n])
            inertia = ERGUN / np.sqrt(w.permeability[i] * w.pores[i] ** 3)
            through = abs(f.bf[n]) / w.dry_gas[i]
            pa += w.rho[i] * (v.choke[n] + v.crowd[n] * inertia) * through
            f.bg[n] = w.dry_gas[i] / pa
            f.bp[n] = v.pressure[p]
    flow.diagonal(b.long_runs, b.sy, b.sz, w.gx, w.gy, w.gz, b.bcell, f.bg, w.p_diag, w.p_inverse)
    flow.right_side(b.long_runs, b.sz, w.gz, w.hz, w.nothing, b.bcell, f.bg, f.bh, f.bp, w.p_rhs)
    flow.extrapolate(b.long_runs, h.pressure, w.p_before)
    done, _ = flow.solve_pressure(
        b.long_runs, b.sy, b.sz, w.gx, w.gy, w.gz, w.p_diag, w.p_inverse, w.p_rhs, h.pressure, w.c1,
        w.c2, w.c3, k.pressure_tolerance, MOST_ITERATIONS,
    )  # fmt: skip
    flow.fluxes(
        b.long_runs, b.sy, b.sz, w.gx, w.gy, w.gz, w.hz, h.pressure, b.bcell, f.bg, f.bh, f.bp,
        w.fx, w.fy, w.fz, f.bf,
    )  # fmt: skip
    _fit_blowers(v, f, air[PRESSURE_PA] * per_rt)
    return done


@nb.njit(cache=True, error_model="numpy")
def _fit_blowers(v, f, molar):
    """Fit the pressure of blowers that are given by their flow, for the next step."""
    for p in range(v.start.shape[0]):
        if v.flow_l_s[p] <= 0.0:
            continue
        given = 0.0
        for n in range(v.start[p], v.end[p]):
            given -= f.bf[n]
        given *= 1000.0 / molar
        if v.pressure[p] <= 0.0 or given <= 0.0:
            v.pressure[p] = max(2.0 * v.pressure[p], FIRST_PA)
        else:
            factor = min(max(v.flow_l_s[p] / given, 0.2), 5.0)
            v.pressure[p] = min(v.pressure[p] * factor, MOST_PA)


@nb.njit(cache=True, error_model="numpy")
def _longest(b, k, h, w, f):
    """The longest stable steps [s]: of heat and vapour, and of what skin and ground give."""
    step = transport.shortest_step(
        b.runs, b.sy, b.sz, w.kx, w.ky, w.kz, w.dox, w.doy, w.doz, w.fx, w.fy, w.fz, b.bcell, f.bf,
        h.extra, h.temp, w.ratio, w.capacity, k.transport, w.c1,
    )  # fmt: skip
    for i in b.fcell:
        w.c1[i] = 0.0
    for i in b.gcell:
        w.c1[i] = 2.0 * w.conductivity[i] * b.dx
    for n in range(b.fcell.shape[0]):
        w.c1[b.fcell[n]] += h.extra[n]
    given = 1e9
    for n in range(b.fcell.shape[0]):
        i = b.fcell[n]
        given = min(given, w.capacity[i] / max(w.c1[i], 1e-12))
    return step, given


@nb.njit(cache=True, error_model="numpy")
def carry(b, k, h, w):
    """Set heat and vapour to what is steady in a round and what inner faces bring."""
    for r in range(b.long_runs.shape[0]):
        for i in range(b.long_runs[r, 0], b.long_runs[r, 1]):
            w.heat[i] = w.steady_heat[i]
        for i in range(b.long_runs[r, 0], b.long_runs[r, 1]):
            w.vapour[i] = w.steady_vapour[i]
    transport.inner(
        b.long_runs, b.sy, b.sz, b.active, w.kx, w.ky, w.kz, w.dox, w.doy, w.doz, w.fx, w.fy, w.fz,
        h.temp, w.ratio, k.order, k.transport, w.moved, w.heat, w.vapour,
    )  # fmt: skip


@nb.njit(cache=True, error_model="numpy")
def breathe(b, k, h, w, f, dt, breath):
    """The oxygen at the end of a round, and the heat of what was used; gives the sweeps."""
    for r in range(b.runs.shape[0]):
        for i in range(b.runs[r, 0], b.runs[r, 1]):
            w.steady_heat[i] = 0.0
            w.steady_vapour[i] = 0.0
    volume = b.dx**3
    most = k.gas[gas.Y_AIR]
    uptake.prepare(
        b.runs, dt, volume, KG_PER_MOL, most, w.o2_max, w.dry_gas, w.pores, h.o2, w.y_before,
        w.y_old, w.demand, w.storage,
    )  # fmt: skip
    oxygen.coefficients(
        b.runs, b.sy, b.sz, w.storage, w.nothing, w.dox, w.doy, w.doz, w.fx, w.fy, w.fz, b.bcell,
        f.bd, f.bf, f.by, w.y_old, w.y_diag, w.y_rhs, w.into, w.out_of,
    )  # fmt: skip
    done, _ = oxygen.solve_oxygen(
        b.runs, b.sy, b.sz, w.demand, k.k_oxygen, w.y_diag, w.y_rhs, w.into, w.out_of, h.o2, w.c1,
        w.c2, k.oxygen_tolerance, MOST_SWEEPS,
    )  # fmt: skip
    uptake.account(
        b.runs, dt, volume, k.k_oxygen, most, k.heat_per_oxygen * KG_PER_MOL, w.demand, w.dry_gas,
        w.pores, w.gas_held, h.o2, w.y_old, w.taken, w.given, w.steady_heat, b.bcell, f.bd, f.bf,
        f.by, breath,
    )  # fmt: skip
    return done


@nb.njit(cache=True, error_model="numpy")
def _enter(sums, term, amount):
    sums[term, 0] += amount
    sums[term, 1] += abs(amount)


@nb.njit(cache=True, error_model="numpy")
def exchange(b, v, k, h, w, f, air, dt, three, walls, sums):
    """What the air flow through skin and pipes brings."""
    around = air[VAPOUR_PA] / (air[PRESSURE_PA] - air[VAPOUR_PA])
    for n in range(b.fcell.shape[0]):
        f.bt[n] = air[AIR_C]
        f.bw[n] = around
    walls[0] = 0.0
    for p in range(v.start.shape[0]):
        pipes.pipe_air(
            v.start[p], v.end[p], v.split[p], b.bcell, f.bf, h.temp, w.ratio, air[AIR_C], around,
            v.wall[p], k.transport[transport.CP_DRY], f.bt, f.bw, w.heat, walls,
        )  # fmt: skip
    three[:] = 0.0
    transport.through_faces(
        b.bcell, f.bf, f.bt, f.bw, h.temp, w.ratio, k.transport, w.heat, w.vapour, three
    )
    _enter(sums, PIPE_WALLS, walls[0] * dt)
    _enter(sums, DRY_AIR, three[0] * dt)
    _enter(sums, FLOWN_HEAT, three[1] * dt)
    _enter(sums, FLOWN_VAPOUR, three[2] * dt)


@nb.njit(cache=True, error_model="numpy")
def bask(b, k, h, w, f, air, dt, sun, six, sums):
    """What weather gives to the skin and takes from it, and the soil below."""
    for n in range(b.fcell.shape[0]):
        now = h.skin[n]
        h.skin[n] = 2.0 * now - h.skin_before[n]
        h.skin_before[n] = now
    for n in range(6):
        sun[0, n] = air[SUN + n]
        sun[1, n] = air[SUN + 6 + n]
    six[:] = 0.0
    skin.skin_exchange(
        b.fcell, b.fdir, b.fcross, b.shared, b.dx, dt, h.temp, w.conductivity, w.activity, w.water,
        f.layer, f.front, sun, k.calm + k.per_wind * air[WIND_M_S],
        k.open_to_vapour * (1.0 - k.cover), air[AIR_C],
        air[VAPOUR_PA], air[SKY_C], k.table, k.skin, h.skin, h.extra, f.terms, w.steady_heat,
        w.steady_vapour, six,
    )  # fmt: skip
    _enter(sums, SKIN_HEAT, (six[skin.Q_SUN] + six[skin.Q_AIR] + six[skin.Q_SKY]) * dt)
    _enter(sums, SKIN_VAPOUR_HEAT, -six[skin.Q_VAPOUR] * dt)
    _enter(sums, SKIN_VAPOUR, -six[skin.VAPOUR] * dt)
    if b.gcell.shape[0] > 0:
        given, _ = soil.soil_step(
            b.gcell, dt, b.dx, w.conductivity, h.temp, h.soil, b.thickness, k.soil_k, k.soil_c,
            air[DEEP_C], w.steady_heat,
        )  # fmt: skip
        _enter(sums, GROUND, given * dt)


@nb.njit(cache=True, error_model="numpy")
def march(
    b, v, k, h, w, f, rows, spacing, until, longest, parts, most_steps, sums, breath, settled,
    skin_sums, count,
):  # fmt: skip
    """Rounds until so many seconds have gone by; gives the seconds and the rain [kg/m2].

    rows (n, AIR_COLUMNS) : weather, ``spacing`` seconds apart; longest [s] : of a round; parts (2,)
    : fewest and most steps of a round, which is cut shorter where more would be needed;
    most_steps : no round begins after as many; sums (TERMS, 2), breath, settled : added to, see
    `uptake` and `masses`; skin_sums (6,) : of the last round; count (COUNTS,) : added to.
    """
    air = np.zeros(AIR_COLUMNS)
    sun = np.zeros((2, 6))
    three = np.zeros(3)
    walls = np.zeros(1)
    now = 0.0
    rain = 0.0
    rounds = 0
    done = 0
    while now < until - 1e-3 and done < most_steps:
        _air_at(rows, spacing, now, air)
        count[ITERATIONS] += blow(b, v, k, h, w, f, air)
        stable, given = _longest(b, k, h, w, f)
        span = min(longest, until - now, LIMIT * given, LIMIT * stable * parts[1])
        steps = max(parts[0], int(np.ceil(span / (LIMIT * stable) - 1e-9)))
        dt = span / steps
        count[SWEEPS] += breathe(b, k, h, w, f, span, breath)
        bask(b, k, h, w, f, air, span, sun, skin_sums, sums)
        for step in range(steps):
            if step > 0:
                gas.ratios(b.runs, h.temp, w.activity, k.table, k.gas, w.ratio)
            carry(b, k, h, w)
            exchange(b, v, k, h, w, f, air, dt, three, walls, sums)
            masses.bring(
                b.runs, dt, w.heat, w.vapour, h.enthalpy, h.water_m, h.water_f, w.water, settled
            )
            thermo.temperature(
                b.cells, h.enthalpy, w.dry, w.water, k.thermo, h.temp, w.ice, w.capacity
            )
        now += span
        rain += span * air[RAIN]
        rounds += 1
        done += steps
    count[ROUNDS] += rounds
    count[STEPS] += done
    return now, rain
