"""One step of a heap in time: gas, oxygen, decay, heat with vapour, skin, soil, water.

Units: SI, seconds. Conventions: operators are split in the order written in `Stepper.step`; the
step is explicit for heat and vapour (order 1 in time), implicit for oxygen, quasi-steady for
pressure. The ledger adds the fluxes; what the heap holds is worked out anew from temperature,
masses and ice. Stability: the step is cut to 0.8 of the explicit limit, latent slope included.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import masses
from heapwright.engine.ledger import Ledger
from heapwright.engine.mesh import GROUND, OPEN, Mesh
from heapwright.engine.parameters import Parameters, saturation_coefficients
from heapwright.engine.processes import gas_flow, ground, heat_and_vapour, material, oxygen
from heapwright.engine.processes.freezing import Freezing
from heapwright.engine.state import State, Work
from heapwright.engine.surroundings import Air, PipeLine

__all__ = ["Biology", "Stepper"]

Floats = NDArray[np.float64]
#: The material is looked at again after so many steps.
_LOOK = 6
_PRESSURE_PA = 101325.0


class Biology(Protocol):
    """What the stepper asks of a kinetics."""

    def rates(self, state: State, work: Work) -> None:
        """Fill ``work["o2_max"]``: oxygen uptake at plenty of oxygen [kg/s] a cell."""

    def advance(self, state: State, work: Work, dt: float) -> None:
        """Move pools over dt at the oxygen in the state; fill ``heat_w`` and ``water_kg``."""

    def carbon_kg(self, state: State, mesh: Mesh) -> float:
        """Carbon in the heap."""

    def turned(self, state: State, cells: NDArray[np.uint64], fungi_left: float) -> None:
        """What a turn does to microbes."""


class Stepper:
    """A heap that can be moved in time.

    Parameters
    ----------
    mesh, state : the heap; parameters : constants; biology : the kinetics;
    skin : callable (stepper, air, dt) that adds heat [W] and vapour [kg/s] of open faces and
    returns (heat, vapour heat, vapour) that entered; water : callable (stepper, air, dt) for
    rain, drainage and capillary water, or None; pores : air space of the material as built, a field
    (by default that of the state); ledger : to go on with.

    Attributes
    ----------
    pressure_tolerance, oxygen_tolerance : residual of the pressure over its right side, and change
    of the oxygen fraction in the last sweep, at which they are good enough; at the values here the
    core stays within 0.15 C of one solved a thousand times as closely.
    """

    pressure_tolerance = 1e-4
    oxygen_tolerance = 1e-5

    def __init__(
        self,
        mesh: Mesh,
        state: State,
        *,
        parameters: Parameters,
        biology: Biology,
        skin: Any,
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
        self.work = Work(mesh)
        self.ledger = ledger or Ledger()
        self.active = mesh.active.ravel()
        self.runs, self.sy, self.sz = mesh.runs, mesh.sy, mesh.sz
        self.water_c, self.ice_c = saturation_coefficients()
        self.transport_par, self.material_par = parameters.transport(), parameters.material()
        self.thickness = (
            soil_thickness if soil_thickness is not None else np.array([0.1, 0.2, 0.4, 0.8])
        )
        self.gcell = mesh.bcell[mesh.bkind == GROUND].copy()
        self.cover = 0.0
        self.into = np.zeros((3, mesh.size))
        self.out_of = np.zeros((3, mesh.size))
        self.freezing = Freezing(parameters)
        self.sums, self.breath = np.zeros(6), np.zeros(5)
        self.nh3 = float(state.nh3_lost.sum())
        self.short_kg = 0.0
        self.eps0 = mesh.field(0.5) if pores is None else pores
        self.iterations = self.sweeps = self.steps = 0
        self._faces()
        self._masses()
        material.look(self)
        if pores is None:
            self.eps0[mesh.cells] = self.work["pores"][mesh.cells]
            material.look(self)
        gas_flow.properties(self, _PRESSURE_PA)
        self.work["gas_held"] = self.work["dry_gas"] * self.work["pores"] * mesh.dx_m**3
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
        self.bt, self.bw = np.zeros(n), np.zeros(n)
        self.by = np.full(n, self.par.oxygen_in_air)
        self.bextra = np.zeros(n)
        self.closed = np.zeros(self.n_open)
        self.windward = (self.fdir == 0).astype(np.float64) - (self.fdir == 1)

    def set_pipes(self, pipelines: tuple[PipeLine, ...]) -> None:
        """Pipes were opened, plugged or pulled."""
        self.pipelines = pipelines
        self._faces()

    def _masses(self) -> float:
        """Bring ``work["dry"]`` and ``work["water"]`` up to date; gives the whole dry mass [kg]."""
        s, w = self.state, self.work
        return float(
            masses.totals(
                self.mesh.cells, s.pools, s.ash, s.biomass, s.acid, s.water_m, s.water_f,
                w["dry"], w["water"],
            )
        )  # fmt: skip

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
        made.cover, made.steps, made.short_kg = self.cover, self.steps, self.short_kg
        made.iterations, made.sweeps = self.iterations, self.sweeps
        return made

    def close_accounts(self) -> None:
        """Bring what the accounts say the heap holds up to date."""
        for name, amount in self._holdings().items():
            self.ledger.accounts()[name].now = amount

    # -- one step ---------------------------------------------------------------------------------

    def step(self, air: Air, dt: float) -> float:
        """Move the heap by at most *dt* seconds; returns the step really taken."""
        s, w = self.state, self.work
        if self.steps % _LOOK == 0:
            material.look(self)
        par = gas_flow.properties(self, air.pressure_pa)
        gas_flow.move(self, air, par)
        dt = heat_and_vapour.stable(self, dt)
        oxygen.breathe(self, dt)
        w["heat"].fill(0.0)
        w["vapour"].fill(0.0)
        heat_and_vapour.carry(self, air, dt)
        heat, latent, vapour = self.skin(self, air, dt)
        self.ledger.energy.add("sun, sky and air at the skin", heat * dt)
        self.ledger.energy.add("vapour from the skin", latent * dt)
        self.ledger.water.add("vapour from the skin", vapour * dt)
        ground.conduct(self, air, dt)
        self._decay(dt)
        if self.water is not None:
            self.water(self, air, dt)
            np.add(s.water_m, s.water_f, out=w["water"])
        self.freezing.temperature(self)
        self.steps += 1
        return dt

    def _decay(self, dt: float) -> None:
        """Decay over dt, and the end of the step for heat and vapour."""
        s, w = self.state, self.work
        w["dry"], w["dry_before"] = w["dry_before"], w["dry"]
        self.biology.advance(s, w, dt)
        self._masses()
        masses.settle(
            self.mesh.cells, dt, s.temp_c, w["dry_before"], w["dry"], w["heat"], w["vapour"],
            w["heat_w"], w["water_kg"], w["co2_kg"], self.par.cp_dry_matter, self.par.cp_water,
            s.enthalpy_j, s.water_m, s.water_f, w["water"], self.sums,
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
