"""What happens in a vessel of a laboratory: one well-mixed charge, air through it, a wall.

Holds: `run_vessel` and its `VesselRun`. Units: SI, degrees C, hours, kg of the whole charge, W
per K; air in litres a minute at room conditions; oxygen as mole fraction of dry gas. Conventions:
air comes in at the room's temperature and humidity and leaves at the temperature of the charge,
saturated while there is free water and less so below fibre saturation, as in a heap. Dry gas is not
used up (a respiratory quotient of 1 for the gas). Enthalpy counts above dry matter and liquid water
at 0 C, and matter that decays leaves with its own share. The air pressure is that at sea level.
Stability: heat is implicit in temperature and oxygen in its fraction, so any step is stable. What
drives decay is carried on to the middle of the step, and heat leaves at little more than the mean
temperature of it, so that the error is small, though of order 1.
Left out: the heat that the wall itself holds, freezing, vapour in the gas of the charge, and
differences within it.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.biology import Decay
from heapwright.engine.composition import Recipe, chips
from heapwright.engine.kernels.passes import KG_PER_MOL
from heapwright.engine.kinetics import DAY_S, SUBSTANCE, Kinetics
from heapwright.engine.ledger import Account
from heapwright.engine.mesh import Mesh, box_mesh
from heapwright.engine.parameters import Parameters
from heapwright.engine.processes.six_groups import SOLUTES
from heapwright.engine.scenario import Action
from heapwright.engine.six_groups import SixGroups
from heapwright.engine.state import State, Work, empty_state
from heapwright.engine.vessel import Vessel, within
from heapwright.errors import UnknownNameError
from heapwright.science.air import saturation_pressure
from heapwright.science.stoichiometry import of_substance
from heapwright.science.values import value

__all__ = ["VesselRun", "run_vessel"]

Floats = NDArray[np.float64]
_KELVIN = 273.15
_KINDS = {"group curves": Decay, "six groups": SixGroups}
#: litres of gas a kg of dry matter: own choice, loose matter of 200 kg/m3 with 0.6 of it gas
_GAS_L_KG = 3.0
#: table of the saturation pressure: first row [degrees C], rows a degree, rows
_LOW, _PER_K, _ROWS = -60.0, 10.0, 1800
#: vapour is at most this share of the pressure, as in a heap
_MOST_VAPOUR = 0.95
#: where less than this share of what a vessel holds came and went, nothing did
_STILL = 1e-9
#: heat leaves at this place between the temperatures before and after a step: at 0.5 it would be
#: of order 2 and ring where air flows fast, at 1 of order 1 (own choice)
_LATE = 0.55
#: Newton's method for the temperature stops at so small a change [K], or after so many rounds
_CLOSE_K, _ROUNDS = 1e-9, 30


class _Life(Protocol):
    @property
    def rows(self) -> int: ...

    def start(self, state: State, mesh: Mesh, dry_kg: float | Floats) -> None: ...

    def rates(self, state: State, work: Work) -> None: ...

    def advance(self, state: State, work: Work, dt: float) -> None: ...


@dataclass(frozen=True, slots=True)
class VesselRun:
    """What happened in a vessel.

    vessel; hours (T,) : since it was filled, from 0; curves : by name, each (T,): temp_c, air_c
    (the room), o2 (mole fraction in the vessel), moisture_wb, dry_kg, water_kg, heat_w (of decay,
    mean since the row before, 0 at first), loss (share of the first dry mass that is gone), co2_kg
    (so far); accounts : energy [J], water [kg], oxygen [mol] and, where the kinetics is one of
    ours, dry mass [kg].
    """

    vessel: Vessel
    hours: Floats
    curves: dict[str, Floats]
    accounts: dict[str, Account]

    @property
    def closure(self) -> dict[str, float]:
        """What an account leaves unexplained over all that came and went, by name.

        0 if nothing did. It is round-off, but for dry mass where oxygen was short: acids made of
        protein lose some (see processes/acid.py), 3 % at most in a few hundred odd vessels. Where
        temperature or oxygen is held, its account cannot fail.
        """
        return {
            name: account.error if account.gross > _STILL * abs(account.start) else 0.0
            for name, account in self.accounts.items()
        }


def run_vessel(
    vessel: Vessel,
    *,
    days: float,
    recipe: Recipe | None = None,
    kinetics: Kinetics | None = None,
    parameters: Parameters | None = None,
    biology: str | _Life = "group curves",
    step_s: float = 1200.0,
    every_h: float = 1.0,
) -> VesselRun:
    """Run a vessel for some days.

    Parameters
    ----------
    vessel : Vessel
    days : float
        0.01 to 1000; carried on to the next whole ``every_h``.
    recipe : Recipe, optional
        Matter of the charge; ordinary chips with a tenth of leaf unless given. What stands in a
        published table goes in as the own numbers of an ingredient, as below for a stated C:N;
        moisture and mass are those of *vessel*, whatever the mix says.
    kinetics, parameters : optional
        Constants; the published medians unless given. ``parameters.k_oxygen`` goes before that of
        *kinetics*.
    biology : str or object
        ``group curves``, ``six groups``, or an object with the calls of `Decay`; the object then
        brings recipe and constants itself.
    step_s : float
        The longest step, 10 to 3600 s; cut so that ``every_h`` holds whole steps, and to the
        longest that the kinetics allows. With ``group curves`` steps of 1200 s stay within
        0.15 C of steps of 30 s in six vessels that got 44 to 71 C warm, of 1800 s within 0.3 C;
        ``six groups``, at their longest of 900 s, move by 1 C in a steep rise when it is halved.
    every_h : float
        How often curves are kept, 0.02 to 240 h.

    Returns
    -------
    VesselRun

    Raises
    ------
    InputError, UnknownNameError
        What cannot be, before the first step.

    Examples
    --------
    >>> from heapwright.domain.material import Ingredient, Mix
    >>> from heapwright.engine.composition import recipe
    >>> from heapwright.units import Ranged
    >>> own = {"cn_ratio": Ranged.exact(25.0), "ash_dm": Ranged.exact(0.12)}
    >>> food = Ingredient("food scraps", mass_kg=Ranged.exact(5.0), measured=own)
    >>> vessel = Vessel("A", 1.5, 0.6, wall_resistance_k_w=8.0, air_l_min=0.5)
    >>> run = run_vessel(vessel, days=2, recipe=recipe(Mix((food,))))
    >>> bool(run.curves["temp_c"].max() > 30), max(run.closure.values()) < 1e-6
    (True, True)
    """
    for name, number, low, high in (
        ("days", days, 0.01, 1000.0), ("step_s", step_s, 10.0, 3600.0),
        ("every_h", every_h, 0.02, 240.0),
    ):  # fmt: skip
        within(name, number, low, high)
    par = parameters or Parameters.published()
    life, half = _living(biology, recipe, kinetics, par)
    longest = min(step_s, getattr(life, "stretch_s", step_s))
    parts = max(1, math.ceil(every_h * 3600.0 / longest - 1e-9))
    rows = max(1, math.ceil(days * 24.0 / every_h - 1e-9))
    return _march(vessel, life, half, par, every_h * 3600.0 / parts, parts, rows)


def _march(
    vessel: Vessel, life: _Life, half: float, par: Parameters, dt: float, parts: int, rows: int
) -> VesselRun:
    """So many rows of so many steps. A step is plain numbers; all else is worked out after it."""
    mesh = _mesh()
    state, work, c = empty_state(mesh, life.rows, 1), Work(mesh), int(mesh.cells[0])
    life.start(state, mesh, vessel.dry_kg)
    pools, ash, biomass, acid = state.pools[:, c], state.ash, state.biomass, state.acid
    moisture, all_water, through = work["moisture"], work["water"], work["fx"]
    names = ("o2_max", "heat_w", "water_kg", "o2_kg", "co2_kg")
    most_kg, heat_w, made_kg, used_kg, freed_kg = (work[name] for name in names)

    flow = _Flow(vessel, par, dt, rows * parts)
    steps = zip(*(x.tolist() for x in (flow.room, flow.mol, flow.carried, flow.h_in)), strict=True)
    heat_of, wall, fresh = _Heat(par, vessel.reflux), vessel.wall_w_k * dt, par.oxygen_in_air
    opened, held, due = vessel.air_l_min is None, vessel.held, _due(vessel.actions, dt)
    t = flow.first if vessel.start_c is None else vessel.start_c
    y = vessel.oxygen if opened else fresh
    dry = float(pools.sum() + ash[c] + biomass[c] + acid[c])
    water = dry * vessel.moisture_wb / (1.0 - vessel.moisture_wb)
    first = np.array([t, y, water, dry])
    owed = _ammonia(life, state, c)
    added = added_j = rise = ahead = 0.0
    decay = life if isinstance(life, Decay) else None
    kept = flow.kept
    made_of_it = []
    for n, (around, air, carried, h_in) in enumerate(steps):
        if n in due:
            more = max(0.0, dry * due[n] / (1.0 - due[n]) - water)
            if not held:
                t += (around - t) * more * par.cp_water / heat_of.capacity(dry, water + more)
            water += more
            added += more
            added_j += more * par.cp_water * around
            rise = ahead = 0.0
        if kept is not None:
            more = dry * kept[n] - water
            water += more
            added += more
            added_j += more * par.cp_water * around
        state.temp_c[c], state.water_m[c], all_water[c] = t, water, water
        moisture[c] = water / (water + dry)
        through[c] = air / dt
        if decay is None:
            life.rates(state, work)
        else:
            decay.rates(state, work, ahead)
        state.temp_c[c] = t + 0.5 * rise
        if not opened:
            wanted = float(most_kg[c]) * dt / KG_PER_MOL
            y = _oxygen(flow.gas, air, y, fresh, wanted, half)
        state.o2[c] = y
        life.advance(state, work, dt)
        heat, made, was, then = float(heat_w[c]) * dt, float(made_kg[c]), dry, t
        dry = float(pools.sum() + ash[c] + biomass[c] + acid[c])
        water += made
        activity = heat_of.activity(t, dry, water, air, carried)
        if held:
            t = mean = around
        else:
            known = heat + wall * around + air * h_in
            mean = heat_of.warmed(t, dry, water, activity, known, wall, around, air, carried)
            t += (mean - t) / _LATE
        ratio = heat_of.vapour(mean, activity)[0]
        rise, ahead = t - then, 0.5
        gone = air * par.molar_mass_water * (ratio - carried)
        water = max(0.0, water - (gone if gone < 0.0 else (1.0 - vessel.reflux) * gone))
        made_of_it.append(
            (t, y, water, dry, heat, made, float(used_kg[c]), float(freed_kg[c]), ratio, mean,
             then * (par.cp_dry_matter * (dry - was) + par.cp_water * made))
        )  # fmt: skip
    steps_of = np.array(made_of_it).T
    accounts = _accounts(vessel, par, heat_of, flow, first, steps_of, wall, (added, added_j))
    if owed is not None:
        accounts["dry mass"] = _dry_account(first, steps_of, owed - (_ammonia(life, state, c) or 0))
    return VesselRun(
        vessel=vessel,
        hours=np.array([row * parts * dt / 3600.0 for row in range(rows + 1)]),
        curves=_curves(flow, first, steps_of, parts, dt),
        accounts=accounts,
    )


# --- what a step needs ---------------------------------------------------------------------------


class _Flow:
    """Air of every step: the room [degrees C], dry air let through [mol], vapour in it [mol/mol]
    and its enthalpy [J/mol]; first : the room when filled; gas : dry gas in the vessel [mol];
    kept : imposed water [kg a kg of dry matter], None where nothing is imposed."""

    def __init__(self, vessel: Vessel, par: Parameters, dt: float, steps: int) -> None:
        ends = (np.arange(steps) + 1.0) * dt / 3600.0
        self.room = vessel.room(ends)
        self.first = float(vessel.room(np.array([0.0]))[0])
        pressure = value("air", "sea_level_pressure").value
        vapour = vessel.air_rh * np.asarray(saturation_pressure(self.room))
        mol_l = (pressure - vapour) / (par.r_gas * (self.room + _KELVIN)) / 1000.0
        self.mol = (vessel.air_l_min or 0.0) / 60.0 * dt * mol_l
        self.carried = vapour / (pressure - vapour)
        each = par.molar_mass_water * (par.latent_0c + par.cp_vapour * self.room)
        self.h_in = par.cp_dry_gas * self.room + self.carried * each
        litres = _GAS_L_KG * vessel.dry_kg if vessel.gas_l is None else vessel.gas_l
        self.gas = float(litres * mol_l[0])
        self.kept: list[float] | None = None
        if vessel.moisture_kept:
            at, wet = np.array(vessel.moisture_kept).T
            share = np.interp(ends, at, wet)
            self.kept = (share / (1.0 - share)).tolist()


class _Heat:
    """Heat and vapour of the charge over one step."""

    def __init__(self, par: Parameters, reflux: float) -> None:
        self.table = _saturation()
        self.pressure = value("air", "sea_level_pressure").value
        self.most = _MOST_VAPOUR * self.pressure
        self.cp_dry, self.cp_water, self.cp_gas = par.cp_dry_matter, par.cp_water, par.cp_dry_gas
        self.latent, self.cp_vapour, self.mass = par.latent_0c, par.cp_vapour, par.molar_mass_water
        self.fibre, self.reflux = par.fibre_saturation, reflux

    def capacity(self, dry: float, water: float) -> float:
        """Heat capacity of the charge [J/K]."""
        return dry * self.cp_dry + water * self.cp_water

    def vapour(self, t: float, activity: float) -> tuple[float, float]:
        """Vapour over dry gas [mol/mol] of what leaves, and its slope [1/K]."""
        x = min(max((t - _LOW) * _PER_K, 0.0), _ROWS - 1.001)
        r = int(x)
        low = self.table[r]
        rise = self.table[r + 1] - low
        p = activity * (low + (x - r) * rise)
        if p > self.most:
            return self.most / (self.pressure - self.most), 0.0
        rest = self.pressure - p
        return p / rest, activity * rise * _PER_K * self.pressure / (rest * rest)

    def activity(self, t: float, dry: float, water: float, air: float, carried: float) -> float:
        """Water activity as in a heap, such that no step takes more water than there is."""
        taken = air * self.mass
        most = taken * self.vapour(t, 1.0)[0]
        f = (water + taken * carried) / (self.fibre * dry + 2.0 * most)
        return 1.0 if f >= 1.0 else max(0.0, f * (2.0 - f))

    def warmed(
        self, t: float, dry: float, water: float, activity: float, known: float, wall: float,
        around: float, air: float, carried: float,
    ) -> float:  # fmt: skip
        """Temperature at which heat leaves over a step that starts at ``t``, by Newton.

        known : heat that comes in whatever the temperature [J]; wall [J/K] and air [mol] of the
        step; water : before the air takes of it.
        """
        capacity, taken = self.capacity(dry, water), air * self.mass
        known += capacity * t
        mean = t
        for _ in range(_ROUNDS):
            ratio, slope = self.vapour(mean, activity)
            gone, more = taken * (ratio - carried), taken * slope
            back = self.reflux if gone > 0.0 else 0.0
            over = self.latent + self.cp_vapour * mean
            end = t + (mean - t) / _LATE
            left = self.cp_water * ((1.0 - back) * end + back * around)
            rest = capacity - (1.0 - back) * self.cp_water * gone
            miss = (
                capacity * end + (wall + air * self.cp_gas) * mean + taken * ratio * over
                - gone * left - known
            )  # fmt: skip
            steep = (
                rest / _LATE + wall + air * self.cp_gas + taken * ratio * self.cp_vapour
                + more * (over - left)
            )  # fmt: skip
            change = miss / steep
            mean -= change
            if -_CLOSE_K < change < _CLOSE_K:
                break
        return mean


def _oxygen(gas: float, air: float, y: float, fresh: float, wanted: float, half: float) -> float:
    """Oxygen at the end of a step, with Monod uptake: the root of a quadratic from 0 to fresh.

    gas [mol] in the vessel, air [mol] let through, wanted [mol] : uptake at plenty of oxygen.
    """
    whole, comes = gas + air, gas * y + air * fresh
    b = whole * half + wanted - comes
    root = math.sqrt(b * b + 4.0 * whole * half * comes)
    return 2.0 * half * comes / (b + root) if b > 0.0 else (root - b) / (2.0 * whole)


# --- set-up --------------------------------------------------------------------------------------


@functools.cache
def _mesh() -> Mesh:
    """One cell; its size does not matter."""
    return box_mesh(1, 1, 1, 0.1)


@functools.cache
def _saturation() -> tuple[float, ...]:
    """Saturation pressure [Pa] every tenth of a degree; good to 1e-4 of it between rows."""
    temps = _LOW + np.arange(_ROWS) / _PER_K
    return tuple(np.asarray(saturation_pressure(temps)).tolist())


def _living(
    biology: str | _Life, recipe: Recipe | None, kinetics: Kinetics | None, par: Parameters
) -> tuple[_Life, float]:
    """The kinetics, and its half-saturation of oxygen."""
    if not isinstance(biology, str):
        own = getattr(biology, "kinetics", None)
        return biology, own.k_oxygen if isinstance(own, Kinetics) else par.k_oxygen
    if biology not in _KINDS:
        raise UnknownNameError(
            "there is no such kinetics", field="biology", value=biology,
            way_out="One of " + ", ".join(_KINDS),
        )  # fmt: skip
    constants = (kinetics or Kinetics.published()).with_(k_oxygen=par.k_oxygen)
    return _KINDS[biology](recipe or chips(0.1, kinetics=kinetics), constants), par.k_oxygen


def _due(actions: tuple[Action, ...], dt: float) -> dict[int, float]:
    """Moisture to bring the charge to, by step; the later one of two in a step counts."""
    ordered = sorted(actions, key=lambda action: action.age_d)
    return {round(action.age_d * DAY_S / dt): action.amount for action in ordered}


# --- what came of it -----------------------------------------------------------------------------


def _curves(flow: _Flow, first: Floats, steps: Floats, parts: int, dt: float) -> dict[str, Floats]:
    """Curves by row from the numbers of every step."""
    rows = np.column_stack([first, steps[:4, parts - 1 :: parts]])
    t, y, water, dry = rows
    heat = steps[4].reshape(-1, parts).sum(axis=1) / (parts * dt)
    return {
        "temp_c": t,
        "air_c": np.append(flow.first, flow.room[parts - 1 :: parts]),
        "o2": y,
        "moisture_wb": water / (water + dry),
        "dry_kg": dry,
        "water_kg": water,
        "heat_w": np.append(0.0, heat),
        "loss": 1.0 - dry / dry[0],
        "co2_kg": np.append(0.0, np.cumsum(steps[7])[parts - 1 :: parts]),
    }


def _accounts(
    vessel: Vessel, par: Parameters, heat_of: _Heat, flow: _Flow, first: Floats, steps: Floats,
    wall: float, added: tuple[float, float],
) -> dict[str, Account]:  # fmt: skip
    """Accounts of energy, water and oxygen."""
    _, y, water, _, heat, made, used_kg, _, ratio, mean, matter = steps
    gone = par.molar_mass_water * flow.mol * (ratio - flow.carried)
    back = vessel.reflux * np.maximum(gone, 0.0)
    over = par.molar_mass_water * ratio * (par.latent_0c + par.cp_vapour * mean)
    energy = {
        "heat of decay": heat,
        "matter that left": matter,
        "air that came in": flow.mol * flow.h_in,
        "air that left": -flow.mol * (par.cp_dry_gas * mean + over),
        "water that came back": par.cp_water * back * flow.room,
        "moistened": np.array([added[1]]),
    }
    held = [heat_of.capacity(d, w) * temp for temp, _, w, d in (first, steps[:4, -1])]
    if vessel.held:
        rest = held[1] - held[0] - sum(float(x.sum()) for x in energy.values())
        energy["held"] = np.array([rest])
    else:
        energy["through the wall"] = wall * (flow.room - mean)
    opened, used = vessel.air_l_min is None, used_kg / KG_PER_MOL
    oxygen = {
        "air that came in": used if opened else flow.mol * par.oxygen_in_air,
        "air that left": -flow.mol * y,
        "used": -used,
    }
    wet = {"made by decay": made, "taken by the air": -gone, "came back": back,
           "moistened": np.array([added[0]])}  # fmt: skip
    return {
        "energy": _account("J", held[0], held[1], energy),
        "water": _account("kg", first[2], water[-1], wet),
        "oxygen": _account("mol", flow.gas * first[1], flow.gas * y[-1], oxygen),
    }


def _dry_account(first: Floats, steps: Floats, ammonia: float) -> Account:
    """The account of dry mass, from what decay takes and gives."""
    terms = {"oxygen used": steps[6], "carbon dioxide": -steps[7], "water made": -steps[5],
             "ammonia": np.array([-ammonia])}  # fmt: skip
    return _account("kg", first[3], steps[3, -1], terms)


def _account(unit: str, start: float, now: float, terms: dict[str, Floats]) -> Account:
    made = Account(unit, start=float(start), now=float(now))
    for name, amounts in terms.items():
        made.add(name, float(amounts.sum()), moved=float(np.abs(amounts).sum()))
    return made


def _ammonia(life: _Life, state: State, cell: int) -> float | None:
    """Ammonia [kg] that complete oxidation would free by the formulas; None for other kinetics."""
    if not isinstance(life, Decay | SixGroups):
        return None
    kinds = [SUBSTANCE[k] for k in life.recipe.classes]
    kinds += SOLUTES if isinstance(life, SixGroups) else ()
    each = [of_substance(kind).ammonia for kind in kinds]
    microbes = float(state.biomass[cell] + state.pools[len(kinds) : life.rows, cell].sum())
    held = float(np.array(each) @ state.pools[: len(kinds), cell])
    return held + of_substance("bacteria").ammonia * microbes
