"""What is expected of readings to come, against the exact answer of a normal model."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.inference.invented import course, subject

from heapwright.errors import NotEnoughError
from heapwright.inference.fit import ROUGH, Fitted
from heapwright.inference.forecast import expected
from heapwright.inference.priors import Space
from heapwright.inference.readings import ErrorModel, Read

MODEL = ErrorModel(
    reading=1.0, probe=0.0, spot=0.0, lasting=2.0, lasting_days=8.0, alike=0.0, together=0.0
)


def _fitted(levels: np.ndarray, reads: tuple[Read, ...]) -> Fitted:
    space = Space(("A",), (), only=("rate",))
    z = np.zeros((1, levels.size))
    courses = {"A": [course([level] * 31) for level in levels]}
    return Fitted((subject(),), space, z, z, reads, (), MODEL, courses, 30.0, ROUGH)


def test_without_readings_the_range_is_that_of_members_and_errors() -> None:
    levels = np.random.default_rng(1).normal(40.0, 5.0, 400)
    made = expected(_fitted(levels, ()), [Read("A", "core", 20.0, 0.0)])
    assert made.mean() == pytest.approx(levels.mean(), abs=0.3)
    assert made.std() == pytest.approx(np.sqrt(levels.var() + 1 + 4), rel=0.05)


def test_readings_since_move_it_as_the_exact_answer_says() -> None:
    levels = np.random.default_rng(1).normal(40.0, 5.0, 2000)
    since = [Read("A", "core", 20.0, 50.0)]
    made = expected(_fitted(levels, ()), [Read("A", "core", 28.0, 0.0)], since)
    shared = levels.var() + 4 * np.exp(-1)
    gain = shared / (levels.var() + 5)
    assert made.mean() == pytest.approx(levels.mean() + gain * (50 - levels.mean()), abs=0.3)
    assert made.var() == pytest.approx(levels.var() + 5 - gain * shared, rel=0.06)


def test_what_the_fitted_readings_were_off_lasts() -> None:
    levels = np.full(50, 40.0)
    reads = (Read("A", "core", 20.0, 44.0),)
    soon, late = (
        expected(_fitted(levels, reads), [Read("A", "core", d, 0.0)]).mean() for d in (21.0, 30.0)
    )
    kept = 4 * 4 / 5
    assert soon == pytest.approx(40 + kept * np.exp(-1 / 8), abs=0.2)
    assert late == pytest.approx(40 + kept * np.exp(-10 / 8), abs=0.2)


def test_beyond_the_days_that_were_run_it_says_so() -> None:
    with pytest.raises(NotEnoughError, match="31"):
        expected(_fitted(np.full(4, 40.0), ()), [Read("A", "core", 31.0, 0.0)])
