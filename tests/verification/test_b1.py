"""Benchmark B1 through the engine's kernels against the method of lines with tight steps."""

from __future__ import annotations

import pytest
from tests.verification.claims import check

from heapwright.engine.b1 import run_b1
from heapwright.errors import InputError


@pytest.mark.reference(
    source="the same equations by scipy solve_ivp BDF, rtol 1e-4, computed once for this project",
    where="7k cells: core at 48 h and 240 h, mean substrate",
)
@pytest.mark.parametrize(("permeability", "left"), [(1e-8, 0.249), (1e-7, 0.539)])
def test_the_core_follows_the_reference(permeability: float, left: float) -> None:
    got = run_b1("7k", permeability)
    check(f"benchmark B1, {permeability:g}, 48 h", got["core_48h_c"])
    check(f"benchmark B1, {permeability:g}, 240 h", got["core_240h_c"])
    assert got["s_mean"] == pytest.approx(left, abs=0.001)


def test_another_grid_is_refused() -> None:
    with pytest.raises(InputError, match="One of 2k, 7k, 32k, 108k"):
        run_b1("9k")
