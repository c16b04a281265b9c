"""One fit answers for all ways as a fit for each would."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.errors import InputError, UnknownNameError
from heapwright.stats.mixed import HeapReadings, opinions, second_opinion


def _heaps() -> list[HeapReadings]:
    rng, age = np.random.default_rng(11), np.arange(3.0, 31.0, 3.0)
    tops = {"left": 30.0, "turned": 36.0, "vented": 33.0}
    return [
        HeapReadings.of(
            f"{way}{n}", way, ["core"] * age.size, age,
            top + rng.normal(0, 3) - age / 3 + rng.normal(size=age.size),
        )
        for way, top in tops.items() for n in range(2)
    ]  # fmt: skip


def test_one_fit_for_all_is_that_of_each() -> None:
    heaps = _heaps()
    both = opinions(heaps, ("turned", "vented"), "left", (3, 30))
    assert list(both) == ["turned", "vented"]
    for way, found in both.items():
        assert found == second_opinion(heaps, way, "left", (3, 30))


def test_what_cannot_be_compared_is_refused_and_nothing_asked_gives_nothing() -> None:
    heaps = _heaps()
    with pytest.raises(UnknownNameError):
        opinions(heaps, ("turned", "covered"), "left", (3, 30))
    with pytest.raises(InputError):
        opinions(heaps, ("left",), "left", (3, 30))
    assert opinions(heaps, (), "left", (3, 30)) == {}
