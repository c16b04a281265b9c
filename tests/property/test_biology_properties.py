"""Decay of any state at any temperature, moisture, oxygen and step: finite, never negative."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heapwright.engine.biology import Decay
from heapwright.engine.composition import chips
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.mesh import box_mesh
from heapwright.engine.six_groups import SixConstants, SixGroups
from heapwright.engine.state import State, Work, empty_state

MESH = box_mesh(3, 2, 2, 0.1)
C = MESH.cells


@st.composite
def kinetics(draw: st.DrawFn) -> Decay | SixGroups:
    def between(low: float, high: float) -> float:
        return draw(st.floats(low, high))

    constants = Kinetics.published().with_(
        k_soluble=between(0, 3), k_chip=between(0, 0.3), k_slow=between(0, 0.05),
        fungal_rate=between(0, 1), mu_bacteria=between(0, 20), mu_fungi=between(0, 3),
        death=between(0, 20), biomass_yield=between(0, 0.5), biomass_decay=between(0, 1),
        anoxic_share=between(0, 1), k_acid=between(0, 10), ammonia_escape=between(0, 1),
        compost_ph=between(5, 9.5), limiting_cn=between(10, 60), k_oxygen=between(0.001, 0.1),
    )  # fmt: skip
    if draw(st.booleans()):
        return Decay(chips(0.2, kinetics=constants), constants)
    six = SixConstants.refitted() if draw(st.booleans()) else SixConstants.published()
    six = six.with_(
        growth=six.growth * between(0, 5), death=six.death * between(0, 5),
        hydrolysis=six.hydrolysis * between(0, 5), dissolved=between(0, 1), inert=between(0, 1),
    )  # fmt: skip
    return SixGroups(chips(0.2, kinetics=constants), constants, constants=six)


def anything(made: Decay | SixGroups, seed: int) -> tuple[State, Work]:
    """A state without sense: empty pools, no water, nitrogen that does not fit."""
    rng = np.random.default_rng(seed)

    def some(high: float) -> np.ndarray:
        return np.asarray(rng.uniform(0, high, C.size) * (rng.random(C.size) > 0.2))

    state, work = empty_state(MESH, made.rows, 1), Work(MESH)
    state.pools[:, C] = [some(0.2) for _ in range(made.rows)]
    state.ash[C], state.n_org[C], state.n_nh4[C] = some(0.05), some(0.02), some(0.01)
    if isinstance(made, Decay):
        state.biomass[C], state.acid[C] = some(0.1), some(0.1)
        for field in (state.act_m, state.act_t, state.act_f):
            field[C] = some(1.0)
    state.temp_c[C] = rng.uniform(-40, 110, C.size)
    state.o2[C] = some(0.21)
    work["moisture"][C], work["water"][C] = some(1.0), some(0.5)
    for name in ("fx", "fy", "fz"):
        work[name][C] = rng.normal(0, 1e-2, C.size)
    return state, work


@settings(deadline=None, max_examples=120)
@given(made=kinetics(), seed=st.integers(0, 2**32 - 1), dt=st.floats(0.1, 3600))
def test_any_state_stays_finite_and_positive_and_closes(
    made: Decay | SixGroups, seed: int, dt: float
) -> None:
    state, work = anything(made, seed)
    carbon, nitrogen = made.carbon_kg(state, MESH), made.nitrogen_kg(state, MESH)
    gone, owed = 0.0, made.oxygen_owed_kg(state, MESH)
    for _ in range(3):
        before = state.dry_kg[C].copy()
        made.rates(state, work)
        made.advance(state, work, dt)
        for f in fields(state):
            found = getattr(state, f.name)
            assert np.isfinite(found).all(), f.name
            if f.name not in ("temp_c", "enthalpy_j", "p_pa", "soil_c"):
                assert found.min() >= 0, f.name
        for name in ("o2_max", "o2_kg", "heat_w", "co2_kg"):
            assert np.isfinite(work[name]).all(), name
            assert work[name].min() >= 0, name
        assert max(f[C].max() for f in (state.act_m, state.act_t, state.act_f)) <= 1
        assert (
            state.dry_kg[C] <= before * (1 + 1e-12) + work["water_kg"][C].clip(max=0) * -1
        ).all()
        gone += float(work["co2_kg"][C].sum()) * 12.011 / 44.009
    assert made.carbon_kg(state, MESH) + gone == pytest.approx(carbon, rel=1e-12)
    kept = made.nitrogen_kg(state, MESH) + float(state.nh3_lost[C].sum())
    assert kept == pytest.approx(nitrogen, rel=1e-12, abs=1e-15)
    assert made.oxygen_owed_kg(state, MESH) <= owed * (1 + 1e-12)
    assert 0 <= made.share_of_fungi(state, MESH) <= 1


@settings(deadline=None, max_examples=40)
@given(leaf=st.floats(0, 1), dry=st.floats(1e-4, 1e3))
def test_a_start_holds_the_mass_and_nitrogen_of_the_recipe(leaf: float, dry: float) -> None:
    recipe = chips(leaf)
    for made in (Decay(recipe), SixGroups(recipe)):
        state = empty_state(MESH, made.rows, 1)
        made.start(state, MESH, dry)
        assert state.dry_kg[C] == pytest.approx(dry, rel=1e-12)
        nitrogen = (recipe.organic_n + recipe.mineral_n) * dry * C.size
        assert made.nitrogen_kg(state, MESH) == pytest.approx(nitrogen, rel=1e-12)
        carbon = recipe.carbon * dry * C.size
        assert made.carbon_kg(state, MESH) == pytest.approx(carbon, rel=1e-3)
