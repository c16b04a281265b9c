"""How far readings are off, together and each."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.errors import InputError
from heapwright.inference.readings import ErrorModel, Read, told

MODEL = ErrorModel(
    reading=2.0, probe=0.5, spot=1.5, lasting=3.0, lasting_days=8.0, alike=0.6, together=0.5
)


def test_one_reading_late_in_a_heap_has_all_errors() -> None:
    cov = MODEL.covariance([Read("A", "core", 20.0, 40.0)])
    assert cov[0, 0] == pytest.approx(4 + 0.25 + 2.25 + 9)


def test_what_is_shared_goes_by_spot_heap_and_time() -> None:
    reads = [
        Read("A", "core", 20.0, 40.0, probe="one"), Read("A", "core", 28.0, 40.0, probe="two"),
        Read("A", "top", 20.0, 40.0, probe="one"), Read("B", "core", 20.0, 40.0, probe="one"),
    ]  # fmt: skip
    cov = MODEL.covariance(reads)
    assert cov[0, 1] == pytest.approx(2.25 + 9 * np.exp(-1))
    assert cov[0, 2] == pytest.approx(0.25 + 9 * 0.6)
    assert cov[0, 3] == pytest.approx(0.25 + 9 * 0.5)
    assert cov[1, 3] == pytest.approx(9 * 0.5 * np.exp(-1))
    assert np.linalg.eigvalsh(cov).min() > 0


def test_between_two_lists_stands_no_error_of_one_reading() -> None:
    read = Read("A", "core", 20.0, 40.0)
    assert MODEL.covariance([read], [read])[0, 0] == pytest.approx(0.25 + 2.25 + 9)


def test_when_built_a_heap_is_known() -> None:
    cov = MODEL.covariance([Read("A", "core", 0.0, 15.0)])
    assert cov[0, 0] == pytest.approx(4.25)


def test_other_quantities_stand_alone() -> None:
    cov = MODEL.covariance(
        [Read("A", "core", 5.0, 40.0), Read("A", "core", 5.0, 0.5, "moisture_wb")]
    )
    assert cov[0, 1] == 0
    assert 0 < cov[1, 1] < 0.01
    assert told(Read("A", "", 5.0, np.e, "mass_kg")) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("changes", "named"),
    [({"quantity": "ph"}, "quantity"), ({"value": np.nan}, "reading of A"),
     ({"quantity": "mass_kg", "value": 0.0}, "mass_kg"), ({"reached": 0.0}, "reached")],
)  # fmt: skip
def test_what_cannot_be_read_is_refused(changes: dict[str, object], named: str) -> None:
    with pytest.raises(InputError, match=named):
        Read(**{"heap": "A", "spot": "core", "day": 1.0, "value": 40.0} | changes)  # type: ignore[arg-type]
