"""One step of a heap in time: gas, oxygen, decay, heat with vapour, skin, soil, water.

Units: SI, seconds. Conventions: operators are split in the order written in `Stepper.step`; the
step is explicit for heat and vapour (order 1 in time), implicit for oxygen, quasi-steady for
pressure. The ledger is kept on the state's own enthalpy and masses.
Stability: the step is cut to 0.8 of the explicit limit, latent slope included.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.kernels import flow, gas, material, oxygen, pipes, soil, transport
from heapwright.engine.ledger import Ledger
from heapwright.engine.mesh import GROUND, OPEN, Mesh
from heapwright.engine.parameters import Parameters, saturation_coefficients
from heapwright.engine.state import State, Work

__all__ = ["Air", "Biology", "PipeLine", "Stepper"]

Floats = NDArray[np.float64]
_KG_O2_MOL = 0.031998
_LIMIT = 0.8


@dataclass(frozen=True, slots=True)
class Air:
    """The surroundings at one moment.

    temp_c, vapour_pa, pressure_pa : of the air; wind_m_s : at heap height; sky_c : of the sky as
    a black body; sun_w_m2 : absorbed by a face of each direction (6,); rain_kg_m2_s; deep_c : soil
    at depth.
    """

    temp_c: float
    vapour_pa: float
    pressure_pa: float
    wind_m_s: float
    sky_c: float
    sun_w_m2: Floats
    rain_kg_m2_s: float
    deep_c: float


@dataclass(slots=True)
class PipeLine:
    """One pipe as a list of cells from mouth to mouth.

    cells : flat indices; radius_m; holes : share of the wall that lets air through relative to
    the heap around it, 0 to 1; both_open : a second mouth; open : False while plugged or pulled;
    pressure_pa : inside, above the air outside (0 for a passive pipe).
    """

    cells: NDArray[np.uint64]
    radius_m: float
    holes: float = 1.0
    both_open: bool = True
    open: bool = True
    pressure_pa: float = 0.0


class Biology(Protocol):
    """What the stepper asks of a kinetics."""

    def rates(self, state: State, work: Work) -> None:
        """Fill ``work["o2_max"]``: oxygen uptake at plenty of oxygen [kg/s] a cell."""

    def advance(self, state: State, work: Work, dt: float) -> None:
        """Move pools over dt at the oxygen in the state; fill ``heat_w`` and ``water_kg``."""

    def carbon_kg(self, state: State, mesh: Mesh) -> float:
        """Carbon in the heap."""


class Stepper:
    """A heap that can be moved in time.

    Parameters
    ----------
    mesh, state : the heap; parameters : constants; biology : the kinetics;
    skin : callable (stepper, air, dt) that adds heat [W] and vapour [kg/s] of open faces and
    returns (heat, vapour heat, vapour) that entered; water : callable (stepper, air, dt) for
    rain, drainage and capillary water, or None.
    """

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
    ) -> None:
        self.mesh, self.state, self.par = mesh, state, parameters
        self.biology, self.skin, self.water, self.order = biology, skin, water, order
        self.pipelines = pipelines
        self.work = Work(mesh)
        self.ledger = Ledger()
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
        self.eps0 = mesh.field(0.5)
        self.iterations = self.sweeps = self.steps = 0
        self._faces()
        self._material()
        self.eps0[mesh.cells] = self.work["pores"][mesh.cells]
        self._material()
        self.temperature_to_enthalpy()
        self._open_accounts()

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

    def set_pipes(self, pipelines: tuple[PipeLine, ...]) -> None:
        """Pipes were opened, plugged or pulled."""
        self.pipelines = pipelines
        self._faces()

    def _material(self) -> None:
        s, w, m = self.state, self.work, self.mesh
        w["dry"] = s.dry_kg
        w["water"] = s.water_kg
        material.material(
            m.cells, m.dx_m**3, w["dry"], w["water"], self.eps0, self.material_par,
            w["moisture"], w["pores"], w["permeability"], w["conductivity"], w["capacity"],
            w["activity"],
        )  # fmt: skip
        transport.heat_faces(
            self.runs, self.sy, self.sz, self.active, m.dx_m, w["conductivity"],
            w["kx"], w["ky"], w["kz"],
        )  # fmt: skip

    def temperature_to_enthalpy(self) -> None:
        """Set the enthalpy of every cell from its temperature."""
        self._capacity()
        self.state.enthalpy_j[:] = self.work["capacity"] * self.state.temp_c

    def _capacity(self) -> None:
        s, w = self.state, self.work
        w["capacity"] = s.dry_kg * self.par.cp_dry_matter + s.water_kg * self.par.cp_water

    def _temperature(self) -> None:
        """Temperature from enthalpy and the masses as they are now."""
        self._capacity()
        c = self.mesh.cells
        self.state.temp_c[c] = self.state.enthalpy_j[c] / self.work["capacity"][c]

    # -- accounts ---------------------------------------------------------------------------------

    def _holdings(self) -> dict[str, float]:
        s, c = self.state, self.mesh.cells
        nd = self.work["dry_gas"][c]
        held = nd * self.work["pores"][c] * self.mesh.dx_m**3 * s.o2[c]
        return {
            "energy": float(s.enthalpy_j[c].sum()),
            "water": float(s.water_m[c].sum() + s.water_f[c].sum()),
            "oxygen": float(held.sum()),
            "carbon": self.biology.carbon_kg(s, self.mesh),
            "nitrogen": float((s.n_org[c] + s.n_nh4[c]).sum()),
        }

    def _open_accounts(self) -> None:
        self._gas(101325.0)
        for name, amount in self._holdings().items():
            account = self.ledger.accounts()[name]
            account.start = account.now = amount

    def close_accounts(self) -> None:
        """Bring what the accounts say the heap holds up to date."""
        for name, amount in self._holdings().items():
            self.ledger.accounts()[name].now = amount

    # -- one step ---------------------------------------------------------------------------------

    def _gas(self, pressure_pa: float) -> Floats:
        par = self.par.gas(pressure_pa)
        w, s = self.work, self.state
        gas.properties(
            self.mesh.cells, s.temp_c, s.o2, w["activity"], w["pores"], self.water_c, self.ice_c,
            par, w["dry_gas"], w["ratio"], w["rho"], w["spread"],
        )  # fmt: skip
        return par

    def _flow(self, air: Air, par: Floats) -> None:
        w, s, m, p = self.work, self.state, self.mesh, self.par
        outside_rho = _outside_density(air, p)
        gas.conductances(
            self.runs, self.sy, self.sz, self.active, m.dx_m, w["permeability"], p.kz_over_kh,
            w["spread"], w["dry_gas"], w["rho"], outside_rho, par,
            w["gx"], w["gy"], w["gz"], w["hz"], w["dox"], w["doy"], w["doz"],
        )  # fmt: skip
        n = self.n_open
        self.closed[:] = self.cover
        gas.open_faces(
            self.fcell, self.fdir, m.dx_m, w["permeability"], p.kz_over_kh, w["spread"],
            w["dry_gas"], w["rho"], outside_rho, par, self.closed, self.bg[:n], self.bh[:n],
            self.bd[:n],
        )  # fmt: skip
        gust = 0.5 * outside_rho * air.wind_m_s**2 * p.wind_pressure
        self.bp[:n] = np.where(self.fdir == 0, gust, np.where(self.fdir == 1, -gust, 0.0))
        at = n
        for line in self.lines:
            k = line.cells.size
            around = max(np.log(0.2 * m.dx_m / line.radius_m), 0.5)
            self.bg[at : at + k] = (
                w["dry_gas"][line.cells] * w["permeability"][line.cells] / p.viscosity
                * 2 * np.pi * m.dx_m / around * line.holes
            )  # fmt: skip
            self.bp[at : at + k] = line.pressure_pa
            at += k
        flow.diagonal(
            self.runs, self.sy, self.sz, w["gx"], w["gy"], w["gz"], self.bcell, self.bg,
            w["p_diag"], w["p_inverse"],
        )  # fmt: skip
        flow.right_side(
            self.runs, self.sz, w["gz"], w["hz"], w["nothing"], self.bcell, self.bg, self.bh,
            self.bp, w["p_rhs"],
        )  # fmt: skip
        flow.extrapolate(self.runs, s.p_pa, w["p_before"])
        done, _ = flow.solve_pressure(
            self.runs, self.sy, self.sz, w["gx"], w["gy"], w["gz"], w["p_diag"], w["p_inverse"],
            w["p_rhs"], s.p_pa, w["c1"], w["c2"], w["c3"], 1e-5, 2000,
        )  # fmt: skip
        self.iterations += done
        flow.fluxes(
            self.runs, self.sy, self.sz, w["gx"], w["gy"], w["gz"], w["hz"], s.p_pa, self.bcell,
            self.bg, self.bh, self.bp, w["fx"], w["fy"], w["fz"], self.bf,
        )  # fmt: skip

    def _oxygen(self, dt: float) -> None:
        w, s, m = self.work, self.state, self.mesh
        self.biology.rates(s, w)
        w["demand"][:] = w["o2_max"] / _KG_O2_MOL
        w["storage"][:] = w["dry_gas"] * w["pores"] * (m.dx_m**3 / dt)
        oxygen.coefficients(
            self.runs, self.sy, self.sz, w["storage"], w["nothing"], w["dox"], w["doy"], w["doz"],
            w["fx"], w["fy"], w["fz"], self.bcell, self.bd, self.bf, self.by, s.o2, w["y_diag"],
            w["y_rhs"], self.into, self.out_of,
        )  # fmt: skip
        w["y_old"][:] = s.o2
        flow.extrapolate(self.runs, s.o2, w["y_before"])
        np.clip(s.o2, 0.0, self.par.oxygen_in_air, out=s.o2)
        done, _ = oxygen.solve_oxygen(
            self.runs, self.sy, self.sz, w["demand"], self.par.k_oxygen, w["y_diag"], w["y_rhs"],
            self.into, self.out_of, s.o2, w["c1"], w["c2"], 1e-6, 200,
        )  # fmt: skip
        self.sweeps += done
        c = m.cells
        y = s.o2[c]
        account = self.ledger.oxygen
        used = float((w["demand"][c] * y / (self.par.k_oxygen + y)).sum())
        account.add("used", -used * dt)
        yb = s.o2[self.bcell]
        through = np.where(self.bf > 0, -self.bf * yb, -self.bf * self.by)
        account.add("with the air flow", float(through.sum()) * dt)
        account.add("by diffusion", float((self.bd * (self.by - yb)).sum()) * dt)
        grown = (w["dry_gas"][c] - w["dry_gas_old"][c]) * w["pores"][c] * m.dx_m**3
        account.add("gas that came or went with warmth", float((grown * w["y_old"][c]).sum()))

    def _limit(self, dt: float) -> float:
        w, s = self.work, self.state
        best = transport.shortest_step(
            self.runs, self.sy, self.sz, w["kx"], w["ky"], w["kz"], w["dox"], w["doy"], w["doz"],
            w["fx"], w["fy"], w["fz"], self.bcell, self.bf, self.bextra, s.temp_c, w["ratio"],
            w["capacity"], self.transport_par, w["c1"],
        )  # fmt: skip
        return float(min(dt, _LIMIT * best))

    def step(self, air: Air, dt: float) -> float:
        """Move the heap by at most *dt* seconds; returns the step really taken."""
        s, w, m, p = self.state, self.work, self.mesh, self.par
        c = m.cells
        if self.steps % 6 == 0:
            self._material()
        w["dry_gas_old"][:] = w["dry_gas"]
        par = self._gas(air.pressure_pa)
        self._flow(air, par)
        dt = self._limit(dt)
        self._oxygen(dt)
        heat, vapour = w["heat"], w["vapour"]
        heat[:] = 0.0
        vapour[:] = 0.0
        air_ratio = air.vapour_pa / (air.pressure_pa - air.vapour_pa)
        self.bt[:], self.bw[:] = air.temp_c, air_ratio
        transport.inner(
            self.runs, self.sy, self.sz, self.active, w["kx"], w["ky"], w["kz"], w["dox"],
            w["doy"], w["doz"], w["fx"], w["fy"], w["fz"], s.temp_c, w["ratio"], self.order,
            self.transport_par, heat, vapour,
        )  # fmt: skip
        energy, water = self.ledger.energy, self.ledger.water
        at, walls = self.n_open, np.zeros(1)
        for line in self.lines:
            k = line.cells.size
            split = at + (k + 1) // 2 if line.both_open else at + k
            wall = 5.0 * 2 * np.pi * line.radius_m * m.dx_m
            pipes.pipe_air(
                at, at + k, split, self.bcell, self.bf, s.temp_c, w["ratio"], air.temp_c,
                air_ratio, wall, p.cp_dry_gas, self.bt, self.bw, heat, walls,
            )  # fmt: skip
            at += k
        energy.add("pipe walls", float(walls[0]) * dt)
        total = np.zeros(3)
        transport.through_faces(
            self.bcell, self.bf, self.bt, self.bw, s.temp_c, w["ratio"], self.transport_par, heat,
            vapour, total,
        )  # fmt: skip
        energy.add("dry air", float(total[0]) * dt)
        energy.add("vapour with the air flow", float(total[1]) * dt)
        water.add("vapour with the air flow", float(total[2]) * dt)
        skin_heat, skin_latent, skin_vapour = self.skin(self, air, dt)
        energy.add("skin", skin_heat * dt)
        energy.add("vapour from the skin", skin_latent * dt)
        water.add("vapour from the skin", skin_vapour * dt)
        if self.gcell.size:
            ground, _ = soil.soil_step(
                self.gcell, dt, m.dx_m, w["conductivity"], s.temp_c, s.soil_c, self.thickness,
                p.soil_conductivity, p.soil_capacity, air.deep_c, heat,
            )  # fmt: skip
            energy.add("ground", float(ground) * dt)
        self._decay(dt)
        s.enthalpy_j[c] += dt * heat[c]
        s.water_m[c] += dt * vapour[c]
        short = s.water_m < 0
        if short.any():
            s.water_f[short] += s.water_m[short]
            s.water_m[short] = 0.0
            np.maximum(s.water_f, 0.0, out=s.water_f)
        if self.water is not None:
            self.water(self, air, dt)
        self._temperature()
        self.steps += 1
        return dt

    def _decay(self, dt: float) -> None:
        """Decay over dt: heat of reaction, water made, and the enthalpy of matter that left."""
        s, w, c = self.state, self.work, self.mesh.cells
        before = float(s.dry_kg[c].sum())
        dry_before = s.dry_kg[c].copy()
        lost_n = float(s.nh3_lost[c].sum())
        carbon = self.biology.carbon_kg(s, self.mesh)
        self.biology.advance(s, w, dt)
        gone = s.dry_kg[c] - dry_before
        made = w["water_kg"][c]
        s.water_m[c] += made
        matter = (gone * self.par.cp_dry_matter + made * self.par.cp_water) * s.temp_c[c]
        s.enthalpy_j[c] += matter + w["heat_w"][c] * dt
        energy = self.ledger.energy
        energy.add("decay", float(w["heat_w"][c].sum()) * dt)
        energy.add("matter that turned to gas and water", float(matter.sum()))
        self.ledger.water.add("made by decay", float(made.sum()))
        self.ledger.carbon.add("carbon dioxide", -float(w["co2_kg"][c].sum()) * 12.011 / 44.009)
        self.ledger.nitrogen.add("ammonia", lost_n - float(s.nh3_lost[c].sum()))
        self.dry_lost = before - float(s.dry_kg[c].sum())
        self._carbon_gone = carbon


def _outside_density(air: Air, p: Parameters) -> float:
    """Density of the air outside [kg/m3], vapour included."""
    rt = p.r_gas * (air.temp_c + 273.15)
    dry = (air.pressure_pa - air.vapour_pa) / rt
    return float(dry * p.molar_mass_dry_air + air.vapour_pa / rt * p.molar_mass_water)
