"""The inside of a small invented heap: fields, core and accounts against its members by hand."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.inference.invented import subject

from heapwright.inference.fit import Fitted, Settings, fit
from heapwright.inference.inside import Inside, inside
from heapwright.inference.members import member_of, run_member

ROUGH = Settings(cell_m=0.25, members=6, passes=1)
DAY = 3.0


@pytest.fixture(scope="module")
def fitted() -> Fitted:
    return fit([subject()], [], settings=ROUGH)


@pytest.fixture(scope="module")
def found(fitted: Fitted) -> Inside:
    told: list[tuple[int, int]] = []
    made = inside(fitted, "A", DAY, on_progress=lambda done, total: told.append((done, total)))
    assert told[-1] == (6, 6)
    return made


def test_it_is_the_mean_of_the_members_run_by_hand(fitted: Fitted, found: Inside) -> None:
    runs = [
        run_member(member_of(fitted.subject("A"), n, 0.25), DAY, curve_every_h=24.0)
        for n in fitted.numbers("A")
    ]
    assert found.members == len(runs) == 6
    core = [r.curves["core_c"][-1] for r in runs]
    assert found.core_c.mean == pytest.approx(np.mean(core))
    assert found.core_c.low == pytest.approx(np.quantile(core, 0.1))
    warm = np.array([np.asarray(r.field("temp_c").values)[-1] for r in runs])
    assert found.fields["temp_c"] == pytest.approx(warm.mean(axis=0), nan_ok=True, abs=1e-3)
    made = [r.ledger.energy.terms["decay"] / 1e6 for r in runs]
    assert found.heat["decay"].mean == pytest.approx(np.mean(made))
    assert found.heat["decay"].mean > 0


def test_accounts_close(found: Inside) -> None:
    for terms, now in ((found.heat, found.heat_now), (found.water, found.water_now)):
        gross = sum(abs(e.mean) for e in terms.values())
        assert sum(e.mean for e in terms.values()) == pytest.approx(now.mean, abs=1e-3 * gross)


def test_fields_are_of_one_shape_and_outside_is_nothing(found: Inside) -> None:
    shape = tuple(a.size for a in found.axes)
    outside = np.isnan(found.fields["temp_c"])
    assert outside.any()
    assert not outside.all()
    for field in (*found.fields.values(), found.unsure_c):
        assert field.shape == shape
        assert (np.isnan(field) == outside).all()
    assert np.nanmin(found.unsure_c) >= 0
    assert found.grown[1] <= 1.0
