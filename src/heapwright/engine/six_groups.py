"""The second kinetics: six groups of microbes that open, eat, grow, die and dissolve.

Holds: `SixGroups`, with the same calls as `heapwright.engine.biology.Decay`; its constants and own
additions stand in processes/six_groups.py. Units: SI, kg a cell. Conventions: the rows of
``state.pools`` go on behind the pools of the recipe: five dissolved substances, six living groups,
the dead, the inert; ``state.biomass``, ``state.acid`` and the activities stay at nought. Mass,
carbon, nitrogen and oxygen close to round-off.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.composition import Recipe
from heapwright.engine.kernels import six_groups as kernel
from heapwright.engine.kernels.biology import gas_through
from heapwright.engine.kinetics import SUBSTANCE, Kinetics
from heapwright.engine.mesh import Mesh
from heapwright.engine.processes.decay import wet_table
from heapwright.engine.processes.six_groups import (
    GROUPS,
    SOLUTES,
    SixConstants,
    parameter_row,
    pool_table,
    solute_table,
    warm_table,
)  # fmt: skip
from heapwright.engine.state import State, Work
from heapwright.science.stoichiometry import of_substance

__all__ = ["GROUPS", "SixConstants", "SixGroups"]

Floats = NDArray[np.float64]


class SixGroups:
    """Six groups of microbes.

    Parameters
    ----------
    recipe : Recipe
        Pools of the mix.
    kinetics : Kinetics, optional
        Temperature curves, moisture, oxygen, yield and nitrogen; as in the first kinetics.
    constants : SixConstants, optional
        Those of the groups; the literature values unless given.

    Examples
    --------
    >>> from heapwright.engine.composition import chips
    >>> SixGroups(chips(0.1)).rows
    23
    """

    name = "six groups"
    stretch_s = 900.0

    def __init__(
        self,
        recipe: Recipe,
        kinetics: Kinetics | None = None,
        *,
        constants: SixConstants | None = None,
    ) -> None:
        self.recipe = recipe
        self.kinetics = kinetics or Kinetics.published()
        self.constants = constants or SixConstants.published()
        self.pool_par = pool_table(self.kinetics, self.constants, recipe.classes, recipe.pool_n)
        self.solute_par = solute_table(self.kinetics)
        self.mu = self.constants.growth / 3600.0
        self.par = parameter_row(self.kinetics, self.constants)
        self.warm = warm_table(self.kinetics, self.constants)
        self.wet = wet_table(self.kinetics)
        self._got = np.zeros(3)
        self._factors = np.zeros((kernel.FACTOR_ROWS, 0))

    @property
    def rows(self) -> int:
        """Rows of ``state.pools``: those of the recipe and 13 more."""
        return int(self.recipe.pools.size) + kernel.EXTRA_ROWS

    @property
    def heat_per_oxygen(self) -> float:
        """Heat of the oxygen used [J/kg]."""
        return self.kinetics.heat_per_oxygen

    def start(self, state: State, mesh: Mesh, dry_kg: float | Floats) -> None:
        """Fill pools, microbes, ash and nitrogen of every cell from the recipe.

        dry_kg : dry mass of a cell [kg], one number or one for each of ``mesh.cells``. The living
        are part of it: pools are less by that much.
        """
        c, r, k, n = mesh.cells, self.recipe, self.constants, self.recipe.pools.size
        dry = np.broadcast_to(np.asarray(dry_kg, dtype=np.float64), c.shape)
        organic = float(r.pools.sum())
        living = np.array([k.start_bacteria / 4] * 4 + [k.start_fungi / 2] * 2) * organic
        pools = r.pools * (1.0 - living.sum() / organic)
        dissolved = np.where(r.classes == 0, pools * k.dissolved, 0.0)
        filled = np.zeros(self.rows)
        filled[:n] = pools - dissolved
        filled[n + kernel.DISSOLVED] = dissolved.sum()
        filled[n + kernel.LIVING : n + kernel.DEAD] = living
        state.pools[: self.rows, c] = filled[:, None] * dry
        state.ash[c] = r.ash * dry
        state.n_org[c] = r.organic_n * dry
        state.n_nh4[c] = r.mineral_n * dry
        for field in (state.biomass, state.acid, state.nh3_lost):
            field[c] = 0.0
        for field in (state.act_m, state.act_t, state.act_f):
            field[c] = 0.0

    def rates(self, state: State, work: Work, ahead: float = 0.0) -> None:
        """Fill ``work["o2_max"]``: oxygen uptake at plenty of oxygen [kg/s] a cell.

        Reads ``work["moisture"]`` (wet basis) and ``work["water"]``.
        """
        if self._factors.shape[1] != work.mesh.size:
            self._factors = np.zeros((kernel.FACTOR_ROWS, work.mesh.size))
        kernel.rates(
            work.mesh.cells, state.temp_c, work["moisture"], work["water"], state.pools,
            state.n_org, state.n_nh4, self.pool_par, self.solute_par, self.mu, self.par, self.warm,
            self.wet, self._factors, work["o2_max"],
        )  # fmt: skip

    def advance(self, state: State, work: Work, dt: float, o2: Floats | None = None) -> None:
        """Move pools, microbes and nitrogen over dt [s] at the oxygen ``o2``, or of the state.

        Call after `rates`; reads and fills the same fields of *work* as ``Decay.advance``.
        """
        s, m = state, work.mesh
        gas_through(m.runs, m.sy, m.sz, work["fx"], work["fy"], work["fz"], work["gas_through"])
        kernel.advance(
            m.cells, dt, s.temp_c, work["moisture"], work["water"],
            s.o2 if o2 is None else o2, work["gas_through"],
            s.pools, s.n_org, s.n_nh4, s.nh3_lost, self.pool_par, self.solute_par, self.mu,
            self.par, self.warm, self.wet, self._factors, self._got, work["o2_kg"],
            work["heat_w"], work["water_kg"], work["co2_kg"],
        )  # fmt: skip

    def turned(self, state: State, cells: NDArray[np.uint64], fungi_left: float) -> None:
        """What a turn does to fungi: ``fungi_left`` (0 to 1) live on, the rest is dead."""
        n = self.recipe.pools.size + kernel.LIVING + kernel.FIRST_FUNGI
        dead = self.recipe.pools.size + kernel.DEAD
        living = state.pools[n : n + 2, cells]
        state.pools[dead, cells] += (1.0 - fungi_left) * living.sum(axis=0)
        state.pools[n : n + 2, cells] = fungi_left * living

    def living_kg(self, state: State, mesh: Mesh) -> dict[str, float]:
        """Living mass in the heap [kg] by group, in the order of `GROUPS`."""
        n = self.recipe.pools.size + kernel.LIVING
        found = state.pools[n : n + len(GROUPS), mesh.cells].sum(axis=1)
        return {group: float(mass) for group, mass in zip(GROUPS, found, strict=True)}

    def share_of_fungi(self, state: State, mesh: Mesh) -> float:
        """Fungi as a share of all that lives in the heap, by mass (0 to 1).

        The answer to "bacterial or fungal?" as these constants have it. They are weakly
        identifiable: see docs/explain/kinetics.md before leaning on it.
        """
        living = list(self.living_kg(state, mesh).values())
        whole = sum(living)
        return sum(living[kernel.FIRST_FUNGI :]) / whole if whole > 0 else 0.0

    def carbon_kg(self, state: State, mesh: Mesh) -> float:
        """Carbon in the heap [kg]: pools, dissolved matter, microbes, dead and inert."""
        return self._sum(state, mesh, "carbon")

    def oxygen_owed_kg(self, state: State, mesh: Mesh) -> float:
        """Oxygen [kg] that complete oxidation of all that is in the heap would take."""
        return self._sum(state, mesh, "oxygen")

    def chemical_j(self, state: State, mesh: Mesh) -> float:
        """Heat [J] that complete oxidation would still give; it falls by just the heat set free."""
        return self.kinetics.heat_per_oxygen * self.oxygen_owed_kg(state, mesh)

    def nitrogen_kg(self, state: State, mesh: Mesh) -> float:
        """Nitrogen in the heap [kg]: organic and ammonium."""
        c = mesh.cells
        return float((state.n_org[c] + state.n_nh4[c]).sum())

    def _sum(self, state: State, mesh: Mesh, what: str) -> float:
        substances = [SUBSTANCE[c] for c in self.recipe.classes] + list(SOLUTES)
        substances += ["bacteria"] * (kernel.GROUPS + 2)
        each = np.array([getattr(of_substance(name), what) for name in substances])
        return float((each @ state.pools[: self.rows, mesh.cells]).sum())
