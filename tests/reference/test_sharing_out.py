"""Sharing out loads: how far heaps differ in leafiness, and whether lots are fair.

The loads are the project's own generator: batches of six, SD 12 between and 8 within, mean 50.
"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
from benchmarks.study.sharing import sharing_rows

from heapwright.stats.sharing import draw_lots

OWN = "the project's own simulation (design limits)"


@pytest.mark.reference(source=OWN, where="SD of heap-mean leafiness")
def test_spread_of_heap_means() -> None:
    rows = {(r["rule"], r["heaps"]): r for r in sharing_rows(np.random.default_rng(31), 1500)}
    buffered, single = rows["leafiest of each four", 4], rows["one at a time", 3]
    assert buffered["sd"] <= 0.8
    assert buffered["sd_with_scoring_error_8"] <= 2.2
    assert single["sd"] <= 2.0
    assert single["sd_with_scoring_error_8"] <= 3.0
    assert rows["in sequence", 4]["sd"] == pytest.approx(8.8, abs=0.4)
    # 7.5 in the design; a batch of six reaching into the next heap of eight gives 9
    assert rows["in sequence", 3]["sd"] > 7


@pytest.mark.reference(source="chi-square goodness of fit, 10,000 seeds", where="lots")
@pytest.mark.parametrize(
    ("ways", "kinds"),
    [({"left": 2, "turned": 2}, 6), ({"left": 2, "turned": 2, "vented": 2}, 90)],
)
def test_lots_are_uniform_over_seeds(ways: dict[str, int], kinds: int) -> None:
    from scipy.stats import chisquare

    heaps = [chr(65 + i) for i in range(sum(ways.values()))]
    seen = Counter(
        tuple(draw_lots(heaps, ways, np.random.default_rng(seed)).values())
        for seed in range(10_000)
    )
    assert len(seen) == kinds
    assert chisquare(list(seen.values())).pvalue > 0.001
