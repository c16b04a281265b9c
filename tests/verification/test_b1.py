"""Benchmark B1 through the engine's kernels against the method of lines with tight steps."""

from __future__ import annotations

import pytest

from heapwright.engine.b1 import run_b1
from heapwright.errors import InputError


@pytest.mark.reference(
    source="the same equations by scipy solve_ivp BDF, rtol 1e-4, computed once for this project",
    where="7k cells: core at 48 h and 240 h, mean substrate",
)
@pytest.mark.parametrize(
    ("permeability", "early", "late", "left"),
    [(1e-8, 46.28, 52.53, 0.249), (1e-7, 51.59, 30.85, 0.539)],
)
def test_the_core_follows_the_reference(
    permeability: float, early: float, late: float, left: float
) -> None:
    got = run_b1("7k", permeability)
    assert got["core_48h_c"] == pytest.approx(early, abs=0.1)
    assert got["core_240h_c"] == pytest.approx(late, abs=0.1)
    assert got["s_mean"] == pytest.approx(left, abs=0.001)


def test_another_grid_is_refused() -> None:
    with pytest.raises(InputError, match="One of 2k, 7k, 32k, 108k"):
        run_b1("9k")
