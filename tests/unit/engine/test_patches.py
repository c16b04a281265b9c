"""Looser and closer places of a heap."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from heapwright.domain.weather import WeatherSeries
from heapwright.engine.patches import Bumps, Patches
from heapwright.engine.scenario import HeapSpec, ProbeSpot
from heapwright.engine.shapes import mesh_of
from heapwright.engine.simulate import simulate
from heapwright.errors import InputError

AIR = WeatherSeries.steady(
    datetime(2026, 5, 3, tzinfo=UTC), hours=72, air_temp_c=15.0, wind_m_s=3.0
)
HEAP = HeapSpec(0.5, height_m=0.9, dx_m=0.2, spots=(ProbeSpot("flank", (0.25, 0.0, 0.35)),))


def _openness(pores: np.ndarray) -> np.ndarray:
    return pores**3 / (1 - pores) ** 2


@pytest.mark.parametrize("patches", [Patches(0.5, seed=1), Bumps(((0.0, 0.0, 0.4),), (-0.7,))])
def test_pores_when_built_give_the_factors(patches: Patches | Bumps) -> None:
    mesh = mesh_of("mound", 0.5, height_m=0.9, dx_m=0.1)
    plain = mesh.field(0.45)
    made = patches.pores(mesh, plain)
    got = _openness(plain[mesh.cells]) / _openness(made[mesh.cells])
    assert np.allclose(got, patches.factors(mesh.centres()), rtol=1e-2)


def test_patches_are_the_same_on_any_cells_and_lognormal() -> None:
    points = np.random.default_rng(1).uniform(-5, 5, (5000, 3))
    one, two = (Patches(0.5, seed=7).factors(points) for _ in range(2))
    assert np.array_equal(one, two)
    assert np.log(one).std() == pytest.approx(0.5, abs=0.06)
    assert not np.array_equal(one, Patches(0.5, seed=8).factors(points))


def test_patches_reach_as_far_as_they_say() -> None:
    along = np.zeros((400, 3))
    along[:, 0] = np.linspace(0, 60, 400)

    def alike(gap_m: float, seed: int) -> float:
        shifted = along + np.array([gap_m, 0.0, 0.0])
        field = Patches(0.5, 0.3, seed)
        return float(
            np.corrcoef(np.log(field.factors(along)), np.log(field.factors(shifted)))[0, 1]
        )

    near, far = (np.mean([alike(g, s) for s in range(10)]) for g in (0.3, 1.2))
    assert near == pytest.approx(np.exp(-0.5), abs=0.12)
    assert abs(far) < 0.15


def test_a_looser_place_is_cooled_by_the_wind() -> None:
    def at(log: float) -> float:
        bumps = Bumps((HEAP.spots[0].point_m,), (log,))
        run = simulate(HEAP, weather=AIR, days=3, patches=bumps, field_every_h=1e4)
        return float(run.spots["flank"]["temp_c"][-1])

    assert at(1.5) < at(0.0) - 1.0 < at(-1.5) + 1.0


def test_no_patches_change_nothing() -> None:
    plain = simulate(HEAP, weather=AIR, days=1, field_every_h=1e4)
    flat = simulate(HEAP, weather=AIR, days=1, field_every_h=1e4, patches=Patches(0.0))
    assert np.allclose(plain.curves["mean_c"], flat.curves["mean_c"], atol=0.05)


def test_absurd_patches_are_refused() -> None:
    with pytest.raises(InputError, match="spread"):
        Patches(3.0)
    with pytest.raises(InputError, match="length_m"):
        Patches(0.5, 0.0)
    with pytest.raises(InputError, match="logs"):
        Bumps(((0.0, 0.0, 0.0),), ())
    with pytest.raises(InputError, match="reach_m"):
        Bumps((), (), reach_m=9.0)
