"""A chamber whose moisture was measured: it is imposed, and the accounts still close."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.engine.vessel import Vessel
from heapwright.engine.vesselrun import run_vessel
from heapwright.errors import InputError

COURSE = ((0.0, 0.57), (120.0, 0.5), (240.0, 0.3))


def test_moisture_follows_what_was_measured_and_accounts_close() -> None:
    run = run_vessel(Vessel("c", 1.0, 0.57, held=True, room_c=30.0, moisture_kept=COURSE), days=12)
    at, wet = np.array(COURSE).T
    expected = np.interp(run.hours, at, wet)
    # what decay makes and takes within a step is all that it is off
    assert run.curves["moisture_wb"] == pytest.approx(expected, abs=1e-3)
    assert max(abs(v) for v in run.closure.values()) < 1e-9
    assert run.accounts["water"].terms["moistened"] < 0


def test_a_course_that_stays_gives_what_the_plain_chamber_gives() -> None:
    plain = run_vessel(Vessel("c", 1.0, 0.5, held=True, room_c=30.0), days=3)
    kept = run_vessel(
        Vessel("c", 1.0, 0.5, held=True, room_c=30.0, moisture_kept=((0.0, 0.5),)), days=3
    )
    assert kept.curves["loss"][-1] == pytest.approx(plain.curves["loss"][-1], rel=0.02)


@pytest.mark.parametrize(
    "wrong",
    [
        {"held": False, "wall_resistance_k_w": 1.0},
        {"air_l_min": 1.0},
        {"moisture_kept": ((0.0, 0.5), (0.0, 0.4))},
        {"moisture_kept": ((0.0, 0.99),)},
    ],
)
def test_what_cannot_be_kept_is_refused(wrong: dict[str, object]) -> None:
    right: dict[str, object] = {"held": True, "moisture_kept": ((0.0, 0.5),)}
    with pytest.raises(InputError, match="moisture"):
        Vessel("c", 1.0, 0.5, **(right | wrong))  # type: ignore[arg-type]
