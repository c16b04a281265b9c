"""The numbers that are fitted or drawn, and what is said of what was learned."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.errors import InputError
from heapwright.inference.priors import Space, knobs, learned
from heapwright.inference.readings import Read

PAIR = Space(("A", "B"), (("A", "core"), ("B", "core")))


def test_heaps_of_one_material_are_alike_but_for_their_own_deviation() -> None:
    z = PAIR.draw(4000, 1)
    logs = {h: np.log([PAIR.numbers(z[:, m], h)["rate"] for m in range(1000)]) for h in ("A", "B")}
    knob = next(k for k in knobs() if k.name == "rate")
    assert np.std(logs["A"]) == pytest.approx(np.hypot(knob.sd, knob.between), rel=0.06)
    assert np.std(logs["A"] - logs["B"]) == pytest.approx(np.sqrt(2) * knob.between, rel=0.06)


def test_a_heap_alone_is_as_wide_as_one_of_two() -> None:
    z = Space(("A",), ()).draw(2000, 1)
    alone = np.log([Space(("A",), ()).numbers(z[:, m], "A")["rate"] for m in range(2000)])
    knob = next(k for k in knobs() if k.name == "rate")
    assert np.std(alone) == pytest.approx(np.hypot(knob.sd, knob.between), rel=0.06)


def test_a_draw_has_mean_0_and_spread_1_row_by_row_and_comes_again() -> None:
    z = PAIR.draw(60, 5)
    assert np.allclose(z.mean(axis=1), 0)
    assert np.allclose(z.std(axis=1, ddof=1), 1)
    assert np.array_equal(z, PAIR.draw(60, 5))
    assert not np.array_equal(z, PAIR.draw(60, 6))
    with pytest.raises(InputError, match="members"):
        PAIR.draw(2, 1)


def test_what_belongs_to_a_heap_or_spot_follows_its_own_readings_only() -> None:
    reads = [Read("A", "core", 1.0, 40.0), Read("B", "core", 1.0, 40.0)]
    reach = PAIR.reach(reads)
    for row, follows in zip(PAIR.rows, reach, strict=True):
        wanted = {"": [1, 1], "A": [1, 0], "B": [0, 1]}[row.heap]
        assert follows.tolist() == wanted


def test_verdicts_go_by_how_far_the_spread_fell() -> None:
    before = PAIR.draw(400, 1)
    after = before.copy()
    rate = [i for i, r in enumerate(PAIR.rows) if r.knob.name == "rate"]
    slow = [i for i, r in enumerate(PAIR.rows) if r.knob.name == "slow"]
    after[rate] *= 0.3
    after[slow] *= 0.7
    said = {(x.name, x.heap): x.verdict for x in learned(PAIR, before, after)}
    assert said["rate", "A"] == said["rate", "B"] == "learned"
    assert said["slow", "A"] == "partly"
    assert said["food", "A"] == said["k_oxygen", "A"] == "only prior"


def test_every_knob_says_where_its_spread_is_from() -> None:
    for knob in knobs():
        assert knob.source
        assert knob.words
        assert 0 < knob.sd < 3
        assert knob.cause or knob.level == "spot"
