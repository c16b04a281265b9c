"""Vapour and its heat through a column: exact profiles, evaporation behind a dry layer, a front.

Everything moves through the kernels `gas`, `material` and `transport` of the engine. Diffusion and
limited advection are of order 2 in the cell size, upwind advection of order 1, the enthalpy that
diffusing vapour carries of order 1 (upwind, a small term).
"""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np
import pytest
from scipy.optimize import brentq
from tests.verification.claims import check
from tests.verification.porous import Floats, column, faces, observed, richardson

from heapwright.engine.kernels import gas, material, transport
from heapwright.engine.parameters import Parameters, gas_table

P = Parameters.published()
TABLE = gas_table(1.0)
MOVE = P.transport()
PRESSURE = 101325.0
#: at power 1 the molar density times the diffusivity does not depend on temperature
GAS = P.with_(d_power=1.0).gas(PRESSURE)
PORES = 0.5
TORTUOUS = PORES**P.d_exponent

# numba wants the kernels under plain names
_properties: Any = gas.properties
_conductances: Any = gas.conductances
_saturation: Any = gas.saturation
_material: Any = material.material
_inner: Any = transport.inner


def spreading() -> float:
    """Molar density times the diffusivity of vapour in the pores [mol/(m s)]."""
    at_0c = P.d_oxygen * P.d_vapour_ratio * PORES**P.d_exponent
    return float(PRESSURE / (P.r_gas * 273.15) * at_0c)


def place(cells: Floats, step: int) -> Floats:
    """Height of the cells between the middle of the lowest (0) and of the highest (1)."""
    z = (cells.astype(int) - int(cells[0])) / step
    return np.asarray(z / z[-1])


# -- advection and diffusion ----------------------------------------------------------------------


def profile_error(cells: int, peclet: float, order: int) -> float:
    """Largest error of the steady vapour between two fixed ends, over their difference."""
    m = column(cells, 1.0)
    c, d, zero = m.cells, m.dx_m, m.field()
    active, length = m.active.ravel(), (cells - 1) * m.dx_m
    par = np.array([1.0, 1.0, 1.0, 0.0, 1.0])
    spread, flux = faces(m, d)[2], faces(m, peclet / length * d * d)[2]
    z = place(c, int(m.sz))
    w, t = m.field(), m.field(20.0)
    w[c] = z
    dt = 0.8 * d**3 / (2 * d + np.abs(flux).max())
    gained, vapour, scratch = m.field(), m.field(), np.zeros((10, m.size))
    for _ in range(40 * cells * cells):
        gained[:] = vapour[:] = 0.0
        transport.inner(
            m.runs, m.sy, m.sz, active, zero, zero, zero, zero, zero, spread, zero, zero, flux,
            t, w, order, par, scratch, gained, vapour,
        )  # fmt: skip
        vapour[[c[0], c[-1]]] = 0.0
        w += dt * vapour / d**3
        if np.abs(vapour).max() < 1e-8 * d**3:
            break
    else:
        raise AssertionError("not steady")
    exact = np.expm1(peclet * z) / np.expm1(peclet)
    return float(np.abs(w[c] - exact).max())


@pytest.mark.reference(
    source="exact: steady advection and diffusion", where="(exp(Pe z) - 1)/(exp(Pe) - 1), Pe 4"
)
@pytest.mark.parametrize("peclet", [4.0, -4.0])
@pytest.mark.parametrize("order", [1, 2])
def test_vapour_carried_against_its_own_diffusion(order: int, peclet: float) -> None:
    errors = [profile_error(n, peclet, order) for n in (11, 21, 41)]
    check(f"carried vapour, order {order}", np.log2(errors[1] / errors[2]))
    if order == 2:
        check("carried vapour, error", 100 * errors[2])


# -- a dry layer over a wet floor -----------------------------------------------------------------


@nb.njit
def _dry_layer(
    runs, sy, sz, active, cells, d, k, t, w, activity, tortuous, table, gpar, mpar, order, cw,
    warm, dt, steps, tolerance,
):  # fmt: skip
    """Steps to steady state: lowest cell wet and fed with water of its own temperature, top fixed.

    warm : 1 when temperatures move, 0 when they are held. Returns flux of vapour at the wet cell
    [kg/s], enthalpy that the top cell gains less what the feed brings [W], and the steps taken.
    """
    n = t.shape[0]
    dry, ratio, rho, spread = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    gx, gy, gz, hz, ox, oy, oz = (
        np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n),
    )  # fmt: skip
    scratch = np.zeros((10, n))
    zero, gained, vapour, perm = np.zeros(n), np.zeros(n), np.zeros(n), np.full(n, 1e-9)
    p = gpar[7]
    first, last = cells[0], cells[-1]
    feed = 0.0
    for s in range(steps):
        for c in range(cells.shape[0]):
            i = cells[c]
            if i != first:
                activity[i] = p * w[i] / (1.0 + w[i]) / _saturation(t[i], table)[0]
        # w stands in for oxygen, which only the density depends on
        _properties(runs, t, w, activity, tortuous, table, gpar, dry, ratio, rho, spread)
        w[first] = ratio[first]
        _conductances(
            runs, sy, sz, d, perm, 1.0, spread, dry, rho, 1.2, gpar, gx, gy, gz, hz, ox,
            oy, oz,
        )  # fmt: skip
        gained[:] = 0.0
        vapour[:] = 0.0
        _inner(
            runs, sy, sz, active, zero, zero, k, ox, oy, oz, zero, zero, zero, t, w, order, mpar,
            scratch, gained, vapour,
        )  # fmt: skip
        feed = -vapour[first] * cw * t[first]
        most = 0.0
        for c in range(cells.shape[0]):
            i = cells[c]
            if i == last:
                continue
            if i != first:
                rate = vapour[i] / mpar[1] / spread[first] / d
                w[i] += dt * rate
                most = max(most, abs(rate) / w[first])
            if warm == 1:
                # liquid enters the wet cell; elsewhere the vapour that stays brings its own heat
                rest = feed if i == first else -vapour[i] * (mpar[2] + mpar[3] * t[i])
                rate = (gained[i] + rest) / k[first]
                t[i] += dt * rate / (4.0 if i == first else 1.0)
                most = max(most, abs(rate) / 30.0)
        if most < tolerance and s > 10:
            return -vapour[first], gained[last] - feed, s
    return -vapour[first], gained[last] - feed, -1


def dry_layer(
    cells: int, *, length: float, floor_c: float, top_c: float, top_pa: float, k: float, warm: bool
) -> tuple[float, float, float]:
    """(vapour [kg/(m2 s)], temperature of the wet floor, closure of enthalpy [share])."""
    d = length / (cells - 1)
    m = column(cells, cells * d)
    c, z = m.cells, place(m.cells, int(m.sz))
    t, w = m.field(), m.field()
    t[c] = floor_c + (top_c - floor_c) * z if warm else floor_c
    w[c] = top_pa / (PRESSURE - top_pa)
    conduct = faces(m, k * d)[2]
    got, open_, steps = _dry_layer(
        m.runs, m.sy, m.sz, m.active.ravel(), c, d, conduct, t, w, m.field(1.0),
        m.field(TORTUOUS), TABLE, GAS, MOVE, 2, P.cp_water, int(warm), 0.2, 400 * cells * cells,
        1e-11,
    )  # fmt: skip
    assert steps > 0, "not steady"
    latent = got * P.latent_0c
    return got / d**2, float(t[c[0]]), abs(open_) / latent


def stefan(floor_pa: float, top_pa: float, length: float) -> float:
    """Exact vapour flux through gas that stands still [kg/(m2 s)]."""
    drive = np.log((PRESSURE - top_pa) / (PRESSURE - floor_pa))
    return float(P.molar_mass_water * spreading() / length * drive)


def saturation(t: float) -> float:
    return float(gas.saturation.py_func(t, TABLE)[0])


@pytest.mark.reference(
    source="Stefan's law of diffusion through a still gas (classical)",
    where="N = c D/L ln((1 - x_top)/(1 - x_floor)), floor wet at 70 C",
)
def test_vapour_leaves_a_wet_floor_by_stefans_law() -> None:
    exact = stefan(saturation(70.0), 1000.0, 0.1)
    got = [
        dry_layer(n, length=0.1, floor_c=70.0, top_c=70.0, top_pa=1000.0, k=0.06, warm=False)[0]
        / exact
        for n in (9, 17, 33)
    ]
    check("Stefan flux", got[2])
    check("Stefan flux, order", np.log2((got[0] - 1) / (got[1] - 1)))
    # the plain gradient of vapour, without the drift of the gas, is 15 % short at 70 C
    plain = (saturation(70.0) - 1000.0) / PRESSURE * spreading() / 0.1 * P.molar_mass_water
    assert plain < 0.86 * exact


def front_temperature(top_c: float, top_pa: float, k: float) -> float:
    """Exact temperature of a wet floor that dries through a dry layer of any depth.

    -k T' + N (h_v - h_l(T_f)) = 0 with h_v = L0 + c_v T and N from Stefan's law.
    """

    def gap(t: float) -> float:
        shift = (P.latent_0c - P.cp_water * t) / P.cp_vapour
        pull = stefan(saturation(t), top_pa, 1.0) * P.cp_vapour / k
        return float((t + shift) * np.exp(pull) - (top_c + shift))

    return float(brentq(gap, 0.0, top_c, xtol=1e-10))


@pytest.mark.reference(
    source="exact: conduction against the latent heat of vapour that leaves by Stefan's law",
    where="wet floor under dry chips, 60 C and 2000 Pa above: 44.51 C at any depth of the layer",
)
def test_a_wet_floor_under_a_dry_layer_finds_its_temperature() -> None:
    exact = front_temperature(60.0, 2000.0, 0.06)
    got = []
    for n, length in ((9, 0.1), (17, 0.1), (33, 0.1), (17, 0.05)):
        flux, floor, closure = dry_layer(
            n, length=length, floor_c=30.0, top_c=60.0, top_pa=2000.0, k=0.06, warm=True
        )
        got.append(floor)
        assert closure < 1e-8
        assert flux == pytest.approx(stefan(saturation(floor), 2000.0, length), rel=1e-3)
    assert exact == pytest.approx(44.5055, abs=1e-4)
    check("wet floor", got[2])
    assert got[3] == pytest.approx(got[1], abs=1e-6)
    # order 1, from the enthalpy of diffusing vapour, which is carried at the upwind temperature
    check("wet floor, order", observed(*got[:3]))
    assert richardson(*got[1:3], order=1) == pytest.approx(exact, abs=1e-4)


# -- the front itself -----------------------------------------------------------------------------


@nb.njit
def _front(
    runs, sy, sz, active, cells, d, t, water, dry, eps, tortuous, table, gpar, mpar, matpar,
    top_activity, dt, steps,
):  # fmt: skip
    """Water left [kg] after every step of an isothermal column that dries at its top cell."""
    n = t.shape[0]
    gas_, ratio, rho, spread = np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    gx, gy, gz, hz, ox, oy, oz = (
        np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n),
    )  # fmt: skip
    moist, pore, perm, lam, act = (
        np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n),
    )  # fmt: skip
    scratch = np.zeros((10, n))
    zero, gained, vapour = np.zeros(n), np.zeros(n), np.zeros(n)
    last = cells[-1]
    left = np.zeros(steps)
    for s in range(steps):
        _material(cells, d**3, dry, water, eps, matpar, moist, pore, perm, lam, act)
        act[last] = top_activity
        _properties(runs, t, zero, act, tortuous, table, gpar, gas_, ratio, rho, spread)
        _conductances(
            runs, sy, sz, d, perm, 1.0, spread, gas_, rho, 1.2, gpar, gx, gy, gz, hz, ox,
            oy, oz,
        )  # fmt: skip
        gained[:] = 0.0
        vapour[:] = 0.0
        _inner(
            runs, sy, sz, active, zero, zero, zero, ox, oy, oz, zero, zero, zero, t, ratio, 1,
            mpar, scratch, gained, vapour,
        )  # fmt: skip
        vapour[last] = 0.0
        for c in range(cells.shape[0] - 1):
            i = cells[c]
            water[i] += dt * vapour[i]
            left[s] += water[i]
    return left


def front(cells: int, hygroscopic: float) -> tuple[float, float]:
    """Depth of drying over the exact one, a quarter and all of the way to half the column.

    hygroscopic : water that binds to the material [kg a kg dry]; the exact front has none.
    """
    moisture_db = 1.2
    length, temp_c, density, top_pa = 0.2, 60.0, 190.0, 4000.0
    d = length / cells
    m = column(cells, length)
    c = m.cells
    held = density * moisture_db * d**3
    water, dry = m.field(held), m.field(density * d**3)
    water[c[-1]] = 0.0
    par = P.with_(fibre_saturation=hygroscopic).material()
    exact_flux = stefan(saturation(temp_c), top_pa, 1.0)  # at a depth of 1 m
    aim = length / 2
    time = density * moisture_db * (aim**2 + aim * d) / (2 * exact_flux)  # starts d/2 below the top
    slope = 2 / hygroscopic / (density * d**3) * saturation(temp_c) / PRESSURE * 1.3
    steps = int(np.ceil(time * 2 * 1.25 * slope * P.molar_mass_water * spreading() * d / 0.8))
    left = _front(
        m.runs, m.sy, m.sz, m.active.ravel(), c, d, m.field(temp_c), water, dry, m.field(0.5),
        m.field(TORTUOUS), TABLE, GAS, MOVE, par, top_pa / saturation(temp_c), time / steps,
        steps,
    )  # fmt: skip
    depth = ((cells - 1) * held - left) / (density * moisture_db * d * d)
    half = d / 2  # the dry layer ends in the middle of the top cell, the front starts at its foot
    early = np.sqrt(half**2 + 2 * exact_flux / (density * moisture_db) * time / 4) - half
    return float(depth[steps // 4 - 1] / early), float(depth[-1] / aim)


@pytest.mark.reference(
    source="exact: quasi-steady front behind a dry layer, Stefan's law",
    where="s^2 = s0^2 + 2 N1 t/W with N1 the flux through a layer of 1 m, W the water lost",
)
def test_the_front_of_a_drying_column_goes_with_the_root_of_time() -> None:
    early, late = front(40, 0.012)
    check("drying front", late)
    assert early == pytest.approx(late, abs=0.01)
    # what is left of the difference is the water that the dry layer still binds: it doubles
    assert 1 - front(40, 0.024)[1] == pytest.approx(2 * (1 - late), rel=0.1)
