"""The biology of a heap as the stepper asks for it: rates, then advance, with its accounts.

Holds: `Decay`, the usual kinetics (pools with group activities). `SixGroups`, the second choice,
is in six_groups.py of this folder. Units: SI, kg a cell. Conventions: the five processes fill one
table and one row of constants; one compiled pass serves them all. Oxygen used in a step is what the
oxygen solver took, to round-off; carbon and nitrogen close to round-off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.composition import Recipe
from heapwright.engine.kernels import biology as kernel
from heapwright.engine.kinetics import Kinetics, oxidations
from heapwright.engine.mesh import Mesh
from heapwright.engine.processes import acid, activity, biomass, decay, nitrogen, tissue
from heapwright.engine.state import State, Work
from heapwright.science.stoichiometry import of_substance

__all__ = ["Decay", "warm_rows"]

Floats = NDArray[np.float64]
_WARM_ROWS = 681


def warm_rows() -> Floats:
    """Temperatures [degrees C] of the rows of the table for the kernels, -50 to 120 C."""
    return np.asarray(kernel.T_LOW + np.arange(_WARM_ROWS) / kernel.T_PER_K, dtype=np.float64)


class Decay:
    """The usual kinetics.

    Parameters
    ----------
    recipe : Recipe
        Pools of the mix; fixes the rows of ``state.pools``.
    kinetics : Kinetics, optional
        Constants; the published middle values unless given.

    Attributes
    ----------
    rows : int
        Rows of ``state.pools`` that this kinetics wants.

    Examples
    --------
    >>> from heapwright.engine.composition import chips
    >>> Decay(chips(0.1)).rows
    10
    """

    name = "group curves"
    stretch_s = 3600.0

    def __init__(self, recipe: Recipe, kinetics: Kinetics | None = None) -> None:
        self.recipe = recipe
        self.kinetics = kinetics or Kinetics.published()
        k = self.kinetics
        self.pool_par = decay.pool_rows(
            k, recipe.classes, recipe.rate_per_d, recipe.pool_n, recipe.woody
        )
        acid.pool_columns(k, recipe.classes, self.pool_par)
        tissue.pool_column(k, recipe.classes, recipe.fresh, self.pool_par)
        self.par = np.zeros(kernel.PAR_LENGTH)
        for process in (decay, activity, biomass, nitrogen, acid):
            process.fill(self.par, k)
        self.wet = decay.wet_table(k)
        temps = warm_rows()
        self.warm = np.zeros((temps.size, kernel.WARM_COLUMNS))
        activity.warm_columns(k, temps, self.warm)
        tissue.warm_columns(k, temps, self.warm)
        nitrogen.warm_columns(k, temps, self.warm)
        self._held = {
            "carbon": np.array([oxidations()[c].carbon for c in recipe.classes]),
            "oxygen": np.array([oxidations()[c].oxygen for c in recipe.classes]),
        }
        self._factors = self._before = np.zeros((kernel.FACTOR_ROWS, 0))

    @property
    def rows(self) -> int:
        """Rows of ``state.pools``."""
        return int(self.recipe.pools.size)

    @property
    def heat_per_oxygen(self) -> float:
        """Heat of the oxygen used [J/kg]."""
        return self.kinetics.heat_per_oxygen

    def start(self, state: State, mesh: Mesh, dry_kg: float | Floats) -> None:
        """Fill the pools, ash, nitrogen and activities of every cell from the recipe.

        dry_kg : dry mass of a cell [kg], one number or one for each of ``mesh.cells``.
        """
        c, r, k = mesh.cells, self.recipe, self.kinetics
        dry = np.broadcast_to(np.asarray(dry_kg, dtype=np.float64), c.shape)
        state.pools[: r.pools.size, c] = r.pools[:, None] * dry
        state.ash[c] = r.ash * dry
        state.n_org[c] = r.organic_n * dry
        state.n_nh4[c] = r.mineral_n * dry
        state.biomass[c] = state.acid[c] = state.nh3_lost[c] = 0.0
        state.act_m[c] = state.act_t[c] = k.start_bacteria
        state.act_f[c] = k.start_fungi
        state.living[c] = 1.0

    def rates(self, state: State, work: Work, ahead: float = 0.0) -> None:
        """Fill ``work["o2_max"]``: oxygen uptake at plenty of oxygen [kg/s] a cell.

        Reads ``work["moisture"]`` (wet basis). ahead : how far what drives decay is carried on
        beyond now, as a share of the time since the last call.
        """
        if self._factors.shape[1] != work.mesh.size:
            self._factors = np.zeros((kernel.FACTOR_ROWS, work.mesh.size))
            self._before = np.zeros((kernel.FACTOR_ROWS, work.mesh.size))
        s = state
        kernel.rates(
            work.mesh.cells, s.temp_c, work["moisture"], s.pools, s.biomass, s.acid, s.act_m,
            s.act_t, s.act_f, s.living, s.n_org, s.n_nh4, self.pool_par, self.par, self.warm,
            self.wet,
            ahead, self._before, self._factors, work["o2_max"],
        )  # fmt: skip

    def advance(self, state: State, work: Work, dt: float, o2: Floats | None = None) -> None:
        """Move pools, microbes and nitrogen over dt [s] at the oxygen ``o2``, or of the state.

        Call after `rates`. Reads ``work["moisture"]``, ``["water"]`` and the fluxes ``["fx"]``,
        ``["fy"]``, ``["fz"]``; fills ``work["heat_w"]``, ``["water_kg"]``, ``["co2_kg"]`` and
        ``["o2_kg"]``, the last three over dt.
        """
        s, m = state, work.mesh
        kernel.gas_through(
            m.runs, m.sy, m.sz, work["fx"], work["fy"], work["fz"], work["gas_through"]
        )
        kernel.advance(
            m.cells, dt, s.temp_c, work["water"], s.o2 if o2 is None else o2, work["gas_through"],
            s.pools, s.biomass, s.acid, s.act_m, s.act_t, s.act_f, s.living, s.n_org, s.n_nh4,
            s.nh3_lost, self.pool_par, self.par, self.warm, self.wet, work["moisture"],
            self._factors, work["o2_kg"], work["heat_w"], work["water_kg"], work["co2_kg"],
        )  # fmt: skip

    def turned(self, state: State, cells: NDArray[np.uint64], fungi_left: float) -> None:
        """What a turn does to fungi: their activity times ``fungi_left`` (0 to 1)."""
        state.act_f[cells] *= fungi_left

    def carbon_kg(self, state: State, mesh: Mesh) -> float:
        """Carbon in the heap [kg]: pools, microbes and acids."""
        return self._sum(state, mesh, "carbon", of_substance("acid").carbon)

    def oxygen_owed_kg(self, state: State, mesh: Mesh) -> float:
        """Oxygen [kg] that complete oxidation of all that is in the heap would take."""
        return self._sum(state, mesh, "oxygen", of_substance("acid").oxygen)

    def chemical_j(self, state: State, mesh: Mesh) -> float:
        """Heat [J] that complete oxidation would still give; it falls by just the heat set free."""
        k = self.kinetics
        sour = acid.acid_heat(k) / k.heat_per_oxygen
        return k.heat_per_oxygen * self._sum(state, mesh, "oxygen", sour)

    def nitrogen_kg(self, state: State, mesh: Mesh) -> float:
        """Nitrogen in the heap [kg]: organic and ammonium."""
        c = mesh.cells
        return float((state.n_org[c] + state.n_nh4[c]).sum())

    def share_of_fungi(self, state: State, mesh: Mesh) -> float:
        """Share of the decay of pools that fungi do now (0 to 1; 0 where nothing decays).

        Call after `rates`. It is what the constants say, no count of fungi.
        """
        c = mesh.cells
        best = self.pool_par[:, kernel.K_BEST]
        woody = best * self.pool_par[:, kernel.BY_FUNGI]
        pools = state.pools[: best.size, c]
        bacterial = float((self._factors[kernel.BACTERIA, c] * (best @ pools)).sum())
        fungal = float((self._factors[kernel.FUNGAL, c] * (woody @ pools)).sum())
        return fungal / (bacterial + fungal) if bacterial + fungal > 0 else 0.0

    def _sum(self, state: State, mesh: Mesh, what: str, sour: float) -> float:
        c = mesh.cells
        microbe = getattr(of_substance("bacteria"), what)
        pools = self._held[what] @ state.pools[:, c]
        return float((pools + microbe * state.biomass[c] + sour * state.acid[c]).sum())
