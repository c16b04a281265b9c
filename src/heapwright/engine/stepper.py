"""A heap in time: rounds of gas, oxygen, skin and soil, steps of heat with vapour, then decay.

Units: SI, seconds. Conventions: operators are split in the order written in `passes.march`; steps
are explicit for heat and vapour (order 1 in time), rounds implicit for oxygen, quasi-steady for
pressure. What is slow (decay, liquid water, what follows from them of the material) may wait for a
stretch of several rounds and is then moved over all of it, at the mean uptake of oxygen of its
rounds, so that oxygen used and matter decayed stay the same number; the heat of decay comes in with
every round. What drives decay is carried on to the middle of the stretch (order 2 in it). The
ledger adds the fluxes; what the heap holds is worked out anew from temperature, masses and ice.
Stability: the step is cut to 0.8 of the explicit limit, latent slope included.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import flow, masses, passes, uptake
from heapwright.engine.ledger import Account, Ledger
from heapwright.engine.mesh import GROUND, OPEN, Mesh
from heapwright.engine.parameters import Parameters, gas_table
from heapwright.engine.processes import gas_flow, ground, heat_and_vapour, material, oxygen, vents
from heapwright.engine.processes import skin as skin_process
from heapwright.engine.processes.freezing import Freezing
from heapwright.engine.processes.skin import Skin
from heapwright.engine.state import State, Work
from heapwright.engine.surroundings import Air, PipeLine, air_of, row_of

__all__ = ["Biology", "Stepper"]

Floats = NDArray[np.float64]
_PRESSURE_PA = 101325.0


class Biology(Protocol):
    """What the stepper asks of a kinetics."""

    @property
    def heat_per_oxygen(self) -> float:
        """Heat of the oxygen used [J/kg], what forms or feeds on acids left out."""

    @property
    def stretch_s(self) -> float:
        """The longest time over which `advance` may be called at once [s]."""

    def rates(self, state: State, work: Work, ahead: float = 0.0) -> None:
        """Fill ``work["o2_max"]``: oxygen uptake at plenty of oxygen [kg/s] a cell.

        ahead : how far what drives it may be carried on beyond now, as a share of the time since
        the last call.
        """

    def advance(self, state: State, work: Work, dt: float, o2: Floats | None = None) -> None:
        """Move pools over dt at the oxygen ``o2``; fill ``heat_w`` and ``water_kg``."""

    def carbon_kg(self, state: State, mesh: Mesh) -> float:
        """Carbon in the heap."""

    def turned(self, state: State, cells: NDArray[np.uint64], fungi_left: float) -> None:
        """What a turn does to microbes."""


class Stepper:
    """A heap that can be moved in time.

    Parameters
    ----------
    mesh, state : the heap; parameters : constants; biology : the kinetics;
    skin : `Skin`; water : callable (stepper, air, dt) for rain, drainage and capillary water, or
    None; pores : air space of the material as built, a field
    (by default that of the state); ledger : to go on with.

    Attributes
    ----------
    pressure_tolerance, oxygen_tolerance : residual of the pressure over its right side, and change
    of the oxygen fraction in the last sweep, at which they are good enough; at the values here the
    mean stays within 0.02 C and the hottest cell within 0.1 C of a heap solved a thousand times as
    closely, as long as both sink onto the same cells (else 0.04 and 0.5 C were seen).
    precision : of what only solvers use and of what flows between cells, see `Work`; set it for the
    class, before a heap is made.
    """

    precision: type = np.float32
    pressure_tolerance = 2e-4
    oxygen_tolerance = 1e-4

    def __init__(
        self,
        mesh: Mesh,
        state: State,
        *,
        parameters: Parameters,
        biology: Biology,
        skin: Skin,
        water: Any = None,
        pipelines: tuple[PipeLine, ...] = (),
        order: int = 2,
        soil_thickness: Floats | None = None,
        pores: Floats | None = None,
        ledger: Ledger | None = None,
    ) -> None:
        self.mesh, self.state, self.par = mesh, state, parameters
        self.biology, self.skin, self.water, self.order = biology, skin, water, order
        self.pipelines = pipelines
        self.work = Work(mesh, self.precision)
        scratch = {"into": 3, "out_of": 3, "moved": 10}
        self.fields = passes.Fields(
            **{n: np.zeros((k, mesh.size), dtype=self.precision) for n, k in scratch.items()},
            **{n: self.work[n] for n in passes.Fields._fields if n not in scratch},
        )
        self.ledger = ledger or Ledger()
        self.active = mesh.active.ravel()
        self.runs, self.sy, self.sz = mesh.runs, mesh.sy, mesh.sz
        self.long_runs = flow.bridged(mesh.runs)
        self.table = gas_table(parameters.d_power)
        self.gas_par = parameters.gas(_PRESSURE_PA)
        self.transport_par, self.material_par = parameters.transport(), parameters.material()
        self.thickness = (
            soil_thickness if soil_thickness is not None else np.array([0.1, 0.2, 0.4, 0.8])
        )
        self.gcell = mesh.bcell[mesh.bkind == GROUND].copy()
        self.cover = 0.0
        self.freezing = Freezing(parameters)
        self.sums, self.breath = np.zeros(5), np.zeros(5)
        self.flown, self.count = (
            np.zeros((passes.TERMS, 2)),
            np.zeros(passes.COUNTS, dtype=np.int64),
        )
        self.waited_s = self.stretch_s = self.rain_kg_m2 = 0.0
        self.nh3 = float(state.nh3_lost.sum())
        self.short_kg = 0.0
        self.eps0 = mesh.field(0.5) if pores is None else pores
        self._faces()
        self._masses()
        material.look(self)
        if pores is None:
            self.eps0[mesh.cells] = self.work["pores"][mesh.cells]
            material.look(self)
        gas_flow.properties(self, _PRESSURE_PA)
        self.work["gas_held"][:] = self.work["dry_gas"] * self.work["pores"] * mesh.dx_m**3
        if ledger is None:
            self.temperature_to_enthalpy()
            self._open_accounts()
        else:
            self.freezing.temperature(self)

    # -- set-up -----------------------------------------------------------------------------------

    def _faces(self) -> None:
        """Lists of open faces, with the cells of open pipes behind them."""
        m = self.mesh
        opened = m.bkind == OPEN
        self.fcell, self.fdir = m.bcell[opened].copy(), m.bdir[opened].copy()
        self.fcross = m.bcross[opened].copy()
        self.n_open = self.fcell.size
        self.lines = [p for p in self.pipelines if p.open]
        cells = [self.fcell] + [p.cells for p in self.lines]
        self.bcell = np.concatenate(cells).astype(np.uint64)
        n = self.bcell.size
        self.bg, self.bh, self.bp, self.bd, self.bf = (np.zeros(n) for _ in range(5))
        self.bt, self.bw, self.bextra = (np.zeros(n) for _ in range(3))
        self.by = np.full(n, self.par.oxygen_in_air)
        self.closed = np.zeros(self.n_open)
        self.windward = (self.fdir == 0).astype(np.float64) - (self.fdir == 1)
        self.vents = vents.laid(self.lines, m, self.par.viscosity, self.n_open)

    def set_pipes(self, pipelines: tuple[PipeLine, ...]) -> None:
        """Pipes were opened, plugged or pulled."""
        self.pipelines = pipelines
        self._faces()

    def _masses(self) -> None:
        """Bring ``work["dry"]`` and ``work["water"]`` up to date."""
        s, w = self.state, self.work
        masses.totals(
            self.runs, s.pools, s.ash, s.biomass, s.acid, s.water_m, s.water_f, w["dry"], w["water"]
        )

    def temperature_to_enthalpy(self) -> None:
        """Set the enthalpy of every cell from its temperature and masses; frost counts as ice."""
        self._masses()
        self.freezing.enthalpy(self)

    # -- accounts ---------------------------------------------------------------------------------

    def _holdings(self) -> dict[str, float]:
        s, c = self.state, self.mesh.cells
        nd = self.work["dry_gas"][c]
        held = nd * self.work["pores"][c] * self.mesh.dx_m**3 * s.o2[c]
        return {
            "energy": self.freezing.held_j(self),
            "water": float(s.water_m[c].sum() + s.water_f[c].sum()),
            "oxygen": float(held.sum()),
            "carbon": self.biology.carbon_kg(s, self.mesh),
            "nitrogen": float((s.n_org[c] + s.n_nh4[c]).sum()),
        }

    def _open_accounts(self) -> None:
        for name, amount in self._holdings().items():
            account = self.ledger.accounts()[name]
            account.start = account.now = amount

    def oxygen_held(self) -> float:
        """Oxygen in the pores [mol]."""
        return self._holdings()["oxygen"]

    def on_new_cells(self, mesh: Mesh, state: State, pores: Floats) -> Stepper:
        """A stepper that goes on with *state* on other cells and the same accounts."""
        made = Stepper(
            mesh, state, parameters=self.par, biology=self.biology, skin=self.skin,
            water=self.water, order=self.order, soil_thickness=self.thickness, pores=pores,
            ledger=self.ledger,
        )  # fmt: skip
        made.cover, made.count, made.short_kg = self.cover, self.count, self.short_kg
        return made

    def close_accounts(self) -> None:
        """Bring what the accounts say the heap holds up to date."""
        self.catch_up()
        for name, amount in self._holdings().items():
            self.ledger.accounts()[name].now = amount

    # -- one step ---------------------------------------------------------------------------------

    @property
    def steps(self) -> int:
        """Steps so far."""
        return int(self.count[passes.STEPS])

    def step(self, air: Air, dt: float) -> float:
        """Move the heap by one step of at most *dt* seconds; returns the step really taken."""
        moved = self.march(row_of(air)[None, :], seconds=dt, longest_s=dt, most_steps=1)
        self.catch_up()
        return moved

    def march(
        self,
        rows: Floats,
        *,
        seconds: float,
        longest_s: float,
        spacing_s: float = 1.0,
        most_steps: int = 1_000_000,
        parts: tuple[int, int] = (1, 1),
    ) -> float:
        """Move the heap by *seconds*, in rounds of at most *longest_s*; returns what was moved.

        rows (n, 19) : weather from now on, ``spacing_s`` apart, see `row_of`; parts : fewest and
        most steps of heat and vapour in a round of gas, oxygen and skin. Decay and liquid
        water wait until `catch_up`: call it after at most ``biology.stretch_s``, and before the
        state is looked at.
        """
        if self.waited_s == 0.0:
            material.look(self)
            self.skin.deepen(self, float(rows[0, passes.AIR_C]))
            ahead = 0.5 * min(seconds / self.stretch_s, 1.0) if self.stretch_s > 0.0 else 0.0
            self.biology.rates(self.state, self.work, ahead)
        self.skin.totals[:] = 0.0
        moved, rain = passes.march(
            *self._tuples(), rows, spacing_s, seconds, longest_s, parts, most_steps, self.flown,
            self.breath, self.sums, self.skin.totals, self.count,
        )  # fmt: skip
        self.waited_s += moved
        self.rain_kg_m2 += rain
        self._air = air_of(rows[len(rows) // 2])
        return float(moved)

    def _tuples(self) -> tuple[Any, ...]:
        """Everything that a march works on, as the kernels take it."""
        m, s, par, skin = self.mesh, self.state, self.par, self.skin
        return (
            passes.Body(
                m.runs, self.long_runs, m.cells, self.active, m.sy, m.sz, m.dx_m, self.fcell,
                self.fdir, self.fcross, skin.shared, self.windward, self.bcell, self.gcell,
                self.thickness,
            ),
            self.vents,
            passes.Constants(
                self.gas_par, self.transport_par, skin.par, self.freezing.par, self.table,
                par.kz_over_kh, par.wind_pressure, par.k_oxygen,
                float(self.biology.heat_per_oxygen), par.soil_conductivity, par.soil_capacity,
                skin.calm, skin.per_wind, float(self.cover), skin.vapour, self.order,
                self.pressure_tolerance, self.oxygen_tolerance,
            ),
            passes.Held(
                s.enthalpy_j, s.temp_c, s.water_m, s.water_f, s.o2, s.p_pa, s.soil_c, skin.skin_c,
                skin.before_c, self.bextra,
            ),
            self.fields,
            passes.Faces(
                self.closed, self.bg, self.bh, self.bp, self.bd, self.bf, self.bt, self.bw, self.by,
                skin.layer, skin.front, skin.terms,
            ),
        )  # fmt: skip

    def enter(self, account: Account, name: str, term: int) -> None:
        """Enter what came in by a term of `passes` since the last entry."""
        net, gross = self.flown[term].tolist()
        self.flown[term] = 0.0
        account.add(name, net, moved=gross)

    def catch_up(self) -> None:
        """Let decay and liquid water do what they have waited with."""
        dt = self.waited_s
        if dt == 0.0:
            return
        s, w = self.state, self.work
        uptake.mean_oxygen(self.runs, dt, self.par.k_oxygen, w["taken"], w["o2_mean"])
        self._decay(dt)
        if self.water is not None:
            self.water(self, replace(self._air, rain_kg_m2_s=self.rain_kg_m2 / dt), dt)
            np.add(s.water_m, s.water_f, out=w["water"])
        self.freezing.temperature(self)
        for process in (heat_and_vapour, skin_process, ground, oxygen):
            process.enter(self)
        self.stretch_s = self.waited_s
        self.waited_s = self.rain_kg_m2 = 0.0

    def _decay(self, dt: float) -> None:
        """Decay over a stretch of dt."""
        s, w = self.state, self.work
        np.copyto(w["dry_before"], w["dry"])
        self.biology.advance(s, w, dt, w["o2_mean"])
        self._masses()
        masses.settle(
            self.runs, dt, s.temp_c, w["dry_before"], w["dry"], w["given"], w["heat_w"],
            w["water_kg"], w["co2_kg"], self.par.cp_dry_matter, self.par.cp_water, s.enthalpy_j,
            s.water_m, s.water_f, w["water"], self.sums,
        )  # fmt: skip
        sums, ledger = self.sums, self.ledger
        ledger.energy.add("decay", float(sums[masses.DECAY]))
        ledger.energy.add("matter that turned to gas and water", float(sums[masses.MATTER]))
        ledger.water.add("made by decay", float(sums[masses.MADE]))
        ledger.carbon.add("carbon dioxide", -float(sums[masses.CO2]) * 12.011 / 44.009)
        lost = float(s.nh3_lost.sum())
        ledger.nitrogen.add("ammonia", self.nh3 - lost)
        self.nh3 = lost
        self.short_kg += float(sums[masses.SHORT])
        sums[:] = 0.0
