"""The skin of a heap: a surface without heat capacity on every open face, in balance with the air.

Units: temperatures in degrees C, heat in W, vapour in kg/s, pressures of vapour in Pa; ``dx`` [m]
edge of a cell, conductivity [W/mK], film [W/m2K] without radiation, still-air layer [m].
Conventions: for a face of area A = dx^2 and staircase factor f, with skin temperature t:

    conduction into the cell   q = 2 conductivity dx (t - t_cell)
    sun taken up               beam A + diffuse A f    (beam on steps adds up to that on the slope)
    convection                 film A f (t_air - t)
    long wave                  e sigma A f (F t_sky^4 + (1 - F) t_air^4 - t^4)   [kelvin]
    vapour leaving             m = min(g_dry (a p(t) - p_air), g_film (p(t) - p_air), supply)

F, the share of sky a face sees, is 1 on top, 1/2 on a side, 0 below; the ground is as warm as the
air. g_film = h_m A f open / (R_v T), g_dry the same with 1/h_m + layer/D_v for 1/h_m; a is the
activity of the water in the cell. Dew (p_air > p(t)) meets the film only. As the outermost cells
dry more than those behind them the wood that still dries lies deeper: at ``front`` [m] below the
skin, up to half a cell, where it is as warm as t_e = (1 - s) t + s t_cell, s = front / (dx/2); the
still air is thicker by as much, p and L are those at t_e, and of the latent heat a share s comes
from the side of the cell (the bend of the line between skin and cell there is left out). So the
crust dries from its skin inwards at any cell size. The balance solved is, for s = 0,

    q = sun + convection + long wave - m L(t),    L(t) = LATENT - (CP_WATER - CP_VAPOUR) t,

and what leaves the cell is -q + m CP_WATER t, so that heap and air together close: vapour carries
h(t) = LATENT + CP_VAPOUR t = L(t) + CP_WATER t, as everywhere in the simulator. Newton steps
inside a bracket, halving where a step would leave it, until a step is below CLOSE; what is left is
of the order of its square, about 0.05/K of it: 2e-5 K at CLOSE = 0.02 K. The conduction given
back is the sum of the other terms, so that each face closes to round-off.
``par`` is laid out by the indices below. Nothing is stored: no stability limit of its own, but the
cell behind takes ``slope`` [W/K], heat per degree of the cell, into its own.
"""

import numba as nb
import numpy as np

from heapwright.engine.kernels.gas import saturation

ONE = np.uint64(1)
#: indices of ``par``
(
    SIGMA,
    EMISSIVITY,
    LATENT,
    CP_VAPOUR,
    CP_WATER,
    R_VAPOUR,
    LEWIS,
    D_VAPOUR,
    SHARE,
    CLOSE,
) = range(10)
#: columns of ``terms``
Q_CELL, Q_SUN, Q_AIR, Q_SKY, VAPOUR, Q_VAPOUR = range(6)
KELVIN = 273.15
#: largest share of the way from skin to cell at which the drying wood lies
DEEPEST = 0.95
COLDEST, HOTTEST = -90.0, 150.0
#: least slope of the balance [W/K]: what is flatter leads out of the bracket, which halves it
TINY = 1e-30


@nb.njit(inline="always", error_model="numpy")
def _vapour(t, t_cell, s, t_air, e_air, activity, dry, wet, supply, table):
    """Vapour leaving [kg/s], its slopes with skin and cell [kg/s/K], and where it leaves: s, or 0
    as dew.

    dry, wet : conductances times kelvin; s : share of the way from the skin to the cell.
    """
    p, dp = saturation(t, table)
    per_k = 1.0 / (0.5 * (t + t_air) + KELVIN)
    dew = wet * (p - e_air) * per_k
    inner, d_inner = p, dp
    if s > 0.0:
        inner, d_inner = saturation((1.0 - s) * t + s * t_cell, table)
    m = dry * (activity * inner - e_air) * per_k
    rise = dry * activity * d_inner * per_k
    slope = (1.0 - s) * rise - 0.5 * m * per_k
    behind = s * rise
    place = s
    if dew < m and (s == 0.0 or dew < 0.0):
        m = dew
        slope = wet * dp * per_k - 0.5 * dew * per_k
        behind = place = 0.0
    if m > supply:
        m = supply
        slope = behind = 0.0
    return m, slope, behind, place


@nb.njit(cache=True, error_model="numpy")
def front_depth(fcell, fdir, sy, sz, active, dx, water, dry, bound, front):
    """Fill ``front`` [m], how far below the skin of each face the drying wood lies.

    Half a cell times (w_behind - w) / (w_behind - bound), 0 to 1, with w the water a kg of dry mass
    of the face's cell and of the cell behind it, and ``bound`` what cell walls hold.
    """
    for f in range(fcell.shape[0]):
        i = fcell[f]
        d = fdir[f]
        step = ONE if d < 2 else (sy if d < 4 else sz)
        j = i + step if d % 2 == 0 else i - step
        front[f] = 0.0
        if not active[j] or dry[i] <= 0.0 or dry[j] <= 0.0:
            continue
        own = water[i] / dry[i]
        behind = water[j] / dry[j]
        if behind > own and behind > bound:
            front[f] = 0.5 * dx * min((behind - own) / (behind - bound), 1.0)


@nb.njit(cache=True, error_model="numpy")
def skin_exchange(
    fcell,
    fdir,
    fcross,
    faces,
    dx,
    dt,
    temp,
    conductivity,
    activity,
    available,
    layer,
    front,
    sun,
    film,
    vapour_open,
    t_air,
    e_air,
    t_sky,
    table,
    par,
    skin,
    slope,
    terms,
    heat,
    vapour,
    total,
):
    """Solve the balance of every open face and add what its cell gains.

    fcell, fdir, fcross : cell, direction and staircase factor of each face (nf,); faces : how many
    open faces each cell has; temp, conductivity, activity, available : fields, the last the water
    [kg] a cell could give (SHARE of it within dt); layer : still air of each face [m]; front : from
    `front_depth` [m]; sun (2, 6) : beam and diffuse taken up by a face of each direction [W/m2];
    vapour_open : share of the skin that lets vapour through; t_sky : of a black sky; table : of the
    gas kernels; skin (nf,) : skin temperatures, first guess in, result out; slope (nf,) [W/K];
    terms (nf, 6) : conduction into the cell, sun, convection, long wave (all into the skin), vapour
    leaving [kg/s], and its enthalpy [W]; heat [W], vapour [kg/s] : fields, added to; total (6,) :
    sums of terms, added to. Returns the number of evaluations.
    """
    area = dx * dx
    h_film = film / par[LEWIS]
    d_vapour = par[D_VAPOUR] * ((t_air + KELVIN) / KELVIN) ** 1.75
    to_latent = par[CP_WATER] - par[CP_VAPOUR]
    sky4 = (t_sky + KELVIN) ** 4
    air4 = (t_air + KELVIN) ** 4
    evaluations = 0
    close = par[CLOSE]
    per_half = 2.0 / dx
    at_once = par[SHARE] / dt
    sum_cell = sum_sun = sum_air = sum_sky = sum_vapour = sum_latent = 0.0
    for f in range(fcell.shape[0]):
        i = fcell[f]
        d = fdir[f]
        rough = area * fcross[f]
        g = 2.0 * conductivity[i] * dx
        sees = 1.0 if d == 5 else (0.0 if d == 4 else 0.5)
        around4 = sees * sky4 + (1.0 - sees) * air4
        radiates = par[EMISSIVITY] * par[SIGMA] * rough
        q_sun = sun[0, d] * area + sun[1, d] * rough
        convects = film * rough
        wet = h_film * rough * vapour_open / par[R_VAPOUR]
        dry = wet * d_vapour / (d_vapour + h_film * (layer[f] + front[f]))
        deep = min(front[f] * per_half, DEEPEST)
        supply = at_once * max(available[i], 0.0) / faces[i]
        t_cell = temp[i]
        a = activity[i]
        low = COLDEST
        high = HOTTEST
        t = min(max(skin[f], low + 1.0), high - 1.0)
        per_down = m = dm = behind = s = 0.0
        for _ in range(80):
            evaluations += 1
            m, dm, behind, s = _vapour(t, t_cell, deep, t_air, e_air, a, dry, wet, supply, table)
            k = t + KELVIN
            k3 = k * k * k
            latent = (1.0 - s) * (par[LATENT] - to_latent * ((1.0 - s) * t + s * t_cell))
            excess = (
                g * (t_cell - t)
                + q_sun
                + convects * (t_air - t)
                + radiates * (around4 - k3 * k)
                - m * latent
            )
            down = g + convects + 4.0 * radiates * k3 + dm * latent
            down -= (1.0 - s) * (1.0 - s) * m * to_latent
            per_down = 1.0 / max(down, TINY)
            step = excess * per_down
            if abs(step) < close:
                t += step
                m = min(m + dm * step, supply)
                break
            if excess > 0.0:
                low = t
            else:
                high = t
            new = t + step
            if new <= low or new >= high:
                new = 0.5 * (low + high)
                if high - low < 1e-9:
                    break
            t = new
        k = t + KELVIN
        q_air = convects * (t_air - t)
        q_sky = radiates * (around4 - k * k * k * k)
        t_out = (1.0 - s) * t + s * t_cell
        q_cell = q_sun + q_air + q_sky - m * (par[LATENT] - to_latent * t_out)
        q_vapour = m * (par[LATENT] + par[CP_VAPOUR] * t_out)
        skin[f] = t
        slope[f] = g * max(0.0, 1.0 - g * per_down) + behind * par[LATENT]
        terms[f, Q_CELL] = q_cell
        terms[f, Q_SUN] = q_sun
        terms[f, Q_AIR] = q_air
        terms[f, Q_SKY] = q_sky
        terms[f, VAPOUR] = m
        terms[f, Q_VAPOUR] = q_vapour
        heat[i] += q_cell - m * par[CP_WATER] * t_out
        vapour[i] -= m
        sum_cell += q_cell
        sum_sun += q_sun
        sum_air += q_air
        sum_sky += q_sky
        sum_vapour += m
        sum_latent += q_vapour
    total[Q_CELL] += sum_cell
    total[Q_SUN] += sum_sun
    total[Q_AIR] += sum_air
    total[Q_SKY] += sum_sky
    total[VAPOUR] += sum_vapour
    total[Q_VAPOUR] += sum_latent
    return evaluations
