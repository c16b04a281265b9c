"""What one more reading is worth, against the exact answer of a normal model."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.inference.invented import course, subject

from heapwright.inference.fit import ROUGH, Fitted
from heapwright.inference.narrowing import worth_of
from heapwright.inference.priors import Space
from heapwright.inference.readings import ErrorModel, Read

QUIET = ErrorModel(
    reading=1.0, probe=0.0, spot=0.0, lasting=0.0, lasting_days=8.0, alike=0.0, together=0.0
)


def _fitted() -> Fitted:
    rng = np.random.default_rng(2)
    core, top = rng.normal(50, 5, 500), rng.normal(30, 5, 500)
    courses = {"A": [course([c] * 20, [t] * 20) for c, t in zip(core, top, strict=True)]}
    z = np.zeros((1, 500))
    return Fitted((subject(),), Space(("A",), (), only=("rate",)), z, z, (), (), QUIET, courses,
                  19.0, ROUGH)  # fmt: skip


def test_the_spot_that_is_asked_about_is_the_one_to_read() -> None:
    target = [Read("A", "core", 10.0, 0.0)]
    possible = [Read("A", s, 5.0, 0.0) for s in ("core", "top")]
    (best,) = worth_of(_fitted(), possible, target)
    assert best.read.spot == "core"
    assert best.before_c == pytest.approx(5.0, rel=0.1)
    assert best.after_c == pytest.approx(5.0 / np.sqrt(26.0), rel=0.1)


def test_what_is_read_anyway_is_worth_little_more() -> None:
    target, read = [Read("A", "core", 10.0, 0.0)], Read("A", "core", 5.0, 0.0)
    alone = worth_of(_fitted(), [read], target)[0]
    again = worth_of(_fitted(), [read], target, beside=[Read("A", "core", 5.0, 0.0)])[0]
    assert again.narrows < 0.5 * alone.narrows
