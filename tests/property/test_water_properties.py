"""Water of any heap, any step and any weather: nothing appears, nothing turns negative."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from heapwright.engine.kernels import water as kernel
from heapwright.engine.mesh import mesh_from_mask
from heapwright.engine.parameters import Parameters
from heapwright.engine.processes.water import WaterParameters, water_parameters

P = Parameters.published()
FUSION = 333.5e3


@st.composite
def parameters(draw: st.DrawFn) -> WaterParameters:
    return WaterParameters(
        bypass=draw(st.floats(0, 1)),
        uptake_d=draw(st.floats(1e-3, 100)),
        slow_drainage_d=draw(st.floats(1e-3, 100)),
        most_held=draw(st.floats(1, 3)),
        free_speed=draw(st.floats(1e-7, 1)),
        capillary=draw(st.floats(0, 1e-3)),
    )


@settings(deadline=None, max_examples=80)
@given(
    seed=st.integers(0, 2**32 - 1),
    shape=st.tuples(st.integers(1, 5), st.integers(1, 4), st.integers(1, 4)),
    dx=st.sampled_from([0.05, 0.1, 0.25]),
    dt=st.floats(1, 3600),
    rain=st.floats(0, 80),
    rain_c=st.floats(0, 30),
    water=parameters(),
)
def test_water_closes_and_stays_positive(
    seed: int, shape: tuple[int, int, int], dx: float, dt: float, rain: float, rain_c: float,
    water: WaterParameters,
) -> None:  # fmt: skip
    rng = np.random.default_rng(seed)
    mask = rng.random(shape) < 0.8  # holes and overhangs too
    mask[0, 0, 0] = True
    mesh = mesh_from_mask(mask, dx)
    c, n = mesh.cells, mesh.count
    dry, m, f, h, fc, top, top_j = (mesh.field() for _ in range(7))
    dry[c] = rng.uniform(20, 400, n) * dx**3
    m[c] = dry[c] * rng.uniform(0, 5, n) * (rng.random(n) > 0.1)
    f[c] = rng.uniform(0, 300, n) * dx**3 * (rng.random(n) > 0.4)
    fc[c] = rng.uniform(1.5, 3.0, n)
    h[c] = (dry * P.cp_dry_matter + (m + f) * P.cp_water)[c] * rng.uniform(-100, 80, n)
    up = mesh.bcell[mesh.bdir == 5]
    scratch, drained = [mesh.field() for _ in range(5)], np.zeros(2)
    par = water_parameters(P, water, dx)
    for k in range(6):
        top[:] = 0.0
        top[up] = rain * dx * dx * (k % 2 == 0)
        top_j[:] = top * P.cp_water * rain_c
        before, heat = float((m + f).sum()), float(h.sum())
        most, hottest = float((m[c] / dry[c]).max()), _liquid(h, dry, m + f, c)
        drained[:] = 0.0
        kernel.water_step(
            mesh.runs, mesh.sy, mesh.sz, mesh.active.ravel(), dt, dry, m, f, h, fc, par, top, top_j,
            *scratch, drained,
        )  # fmt: skip
        came = float(top.sum())
        assert abs(float((m + f).sum()) - before - came + drained[0]) <= 1e-12 * (before + came)
        size = np.abs(h).sum() + abs(heat) + top_j.sum() + abs(drained[1]) + 1e-9
        assert abs(float(h.sum()) - heat - top_j.sum() + drained[1]) <= 1e-11 * size
        assert m.min() >= 0
        assert f.min() >= 0
        assert drained[0] >= 0
        # nothing gets wetter than the wettest was, or than material that rain or uptake can fill
        limit = max(most, float((max(water.most_held, 1.0) * fc[c]).max()))
        assert float((m[c] / dry[c]).max()) <= limit * (1 + 1e-12)
        # nothing gets warmer than the warmest cell or the rain
        warmest = max(hottest, rain_c if came else 0.0)
        assert _liquid(h, dry, m + f, c) <= warmest * (1 + 1e-9) + 1e-9


def _liquid(h: np.ndarray, dry: np.ndarray, water: np.ndarray, c: np.ndarray) -> float:
    """Warmest cell [degrees C], 0 at least."""
    capacity = (dry * P.cp_dry_matter + water * P.cp_water)[c]
    return float((np.maximum(h[c], 0.0) / capacity).max())
