"""Findings of trials of random shape: never a crash, never too much said, nothing by accident.

60 shapes in the suite, 1,000 with HEAPWRIGHT_LONG=1.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.conftest import LONG
from tests.property.shapes import LATER, Shape, shape_of, written

from heapwright.errors import HeapwrightError
from heapwright.reports.report import render_report
from heapwright.services.findings import Findings, find
from heapwright.services.report import report_model
from heapwright.stats.claims import CANNOT_TELL, DESCRIBED, LEANS

SHAPES = 1000 if LONG else 60
BATCH = 10


def found_in(shape: Shape, folder: Path, **how: Any) -> Findings | str:
    """The findings, or why there are none."""
    try:
        book = written(shape, folder, **how)
    except HeapwrightError as error:
        return type(error).__name__
    with book:
        try:
            return find(book, shape.name, now=LATER)
        except HeapwrightError as error:
            return type(error).__name__


def numbers(found: Findings, names: dict[str, str]) -> dict[str, Any]:
    """Everything that is a number or a claim, with heaps by their own names."""
    back = {v: k for k, v in names.items()}
    made: dict[str, Any] = {}
    for label, rows in (("planned", found.comparisons), ("done", found.as_done)):
        for c in rows:
            made[f"{label} {c.outcome} {c.way}"] = (c.estimate, c.low, c.high, c.df, c.claim)
            for i, a in enumerate(c.alternatives):
                made[f"{label} {c.outcome} {c.way} {i}"] = (a.estimate, a.low, a.high, a.df)
    for f in found.effects:
        for e in (*f.effects, *f.together):
            made[f"{f.outcome} {e.factor} {e.level}"] = (e.estimate, e.low, e.high, e.claim)
    for b in found.bands:
        made[f"band {b.way}"] = (float(b.difference_c.sum()), b.half_width_c)
    for key, per_heap in found.values.items():
        made |= {f"{key} of {back[h]}": (v,) for h, v in per_heap.items()}
    made["missing"] = tuple(sorted(found.missing))
    made["left out"] = tuple(sorted(back[h] for h in found.left_out))
    return made


def assert_same(one: dict[str, Any], other: dict[str, Any]) -> None:
    assert one.keys() == other.keys()
    for key, row in one.items():
        for a, b in zip(row, other[key], strict=True):
            if isinstance(a, float):
                # the mixed model is searched for, so its digits depend on the order a little
                assert b == pytest.approx(a, rel=2e-4, abs=2e-4), key
            else:
                assert a == b, key


@pytest.mark.parametrize("batch", range(SHAPES // BATCH))
def test_random_shapes(batch: int, tmp_path: Path) -> None:
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        shape = shape_of(seed)
        plain = found_in(shape, tmp_path)
        renamed = {h: f"Heap {i}" for i, h in enumerate(sorted(shape.heaps, reverse=True))}
        again = found_in(shape, tmp_path, names=renamed, order=seed, unit="F")
        if isinstance(plain, str):
            assert again == plain
            continue
        assert not isinstance(again, str)
        _nothing_too_much(plain)
        assert_same(numbers(plain, {h: h for h in shape.heaps}), numbers(again, renamed))
        json.dumps(plain.to_json(), allow_nan=False)
        if seed % BATCH == 0:
            page = render_report(report_model(plain))
            assert shape.name in page


def _nothing_too_much(found: Findings) -> None:
    weak = {LEANS, CANNOT_TELL, DESCRIBED}
    for c in (*found.comparisons, *found.as_done):
        if not found.ended:
            assert c.claim.startswith("so far")
            assert (c.low, c.high) == (None, None)
        elif min(len(c.heaps[c.way]), len(c.heaps[c.control])) == 1:
            assert c.claim in weak
            assert "winner" not in c.sentence
        if c.low is not None:
            assert c.low <= c.estimate <= c.high
    for f in found.effects:
        for e in f.effects:
            if not found.ended:
                assert e.claim.startswith("so far")
