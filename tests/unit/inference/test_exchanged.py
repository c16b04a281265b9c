"""Rounds whose labels look exchanged."""

from __future__ import annotations

import numpy as np

from heapwright.inference.exchanged import exchanges
from heapwright.inference.readings import ErrorModel, Read

DAYS = (1.0, 3.0, 5.0, 7.0, 9.0)


def _trial(gap: float, wrong: float | None, seed: int = 0) -> tuple[list[Read], np.ndarray]:
    """Two heaps apart by *gap* with members around them, exchanged on the day *wrong*."""
    rng = np.random.default_rng(seed)
    level = {"A": 50.0 + gap / 2, "B": 50.0 - gap / 2}
    members = {h: v + rng.normal(0, 4, 60) for h, v in level.items()}
    reads, said = [], []
    for day in DAYS:
        for heap in "AB":
            for spot in ("core", "top"):
                named = ("B" if heap == "A" else "A") if day == wrong else heap
                reads.append(Read(named, spot, day, level[heap] + rng.normal(0, 1.5)))
                said.append(members[named])
    return reads, np.array(said)


def test_an_exchanged_round_is_found_and_asked_about() -> None:
    reads, said = _trial(16.0, 5.0)
    (found,) = exchanges(reads, said, ErrorModel())
    assert (found.day, found.one, found.other) == (5.0, "A", "B")
    assert [r.day for r in found.reads] == [5.0] * 4
    words = found.words()
    assert "A reads 41 where I expected about 59" in words
    assert "Exchanged?" in words


def test_right_labels_are_left_alone() -> None:
    false = [
        exchanges(*_trial(gap, None, s), ErrorModel()) for gap in (0.0, 16.0) for s in range(20)
    ]
    assert not any(false)


def test_a_single_round_says_nothing() -> None:
    reads, said = _trial(16.0, 1.0)
    first = [n for n, r in enumerate(reads) if r.day == 1.0]
    assert not exchanges([reads[n] for n in first], said[first], ErrorModel())
