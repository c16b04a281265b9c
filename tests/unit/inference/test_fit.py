"""A small fit: it follows its readings, comes again, and goes on where it stopped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.unit.inference.invented import subject

from heapwright.errors import InputError, NotEnoughError
from heapwright.inference.crew import Crew
from heapwright.inference.fit import Fitted, Passed, Settings, fit
from heapwright.inference.readings import Read

SMALL = Settings(cell_m=0.25, members=24, passes=2, seed=3)
PAIR = (subject("A"), subject("B"))


TRUE = {"A": {"rate": 1.6, "start": 1.3}, "B": {"rate": 0.6, "moisture": -0.06}}


def _reads(level: float = 0.0, *, exchanged: float | None = None) -> list[Read]:
    """Readings of a quick and a slow heap, *level* warmer than they are."""
    rng = np.random.default_rng(4)
    courses = {s.name: s.course(TRUE[s.name], 4.1, 0.25) for s in PAIR}
    made = []
    for day in (1.0, 2.0, 3.0, 4.0):
        for heap, other in (("A", "B"), ("B", "A")):
            named = other if day == exchanged else heap
            for spot in ("core", "top"):
                true = courses[heap].says(Read(heap, spot, day, 0.0))
                made.append(Read(named, spot, day, true + level + rng.normal(0.0, 1.0)))
    return made


def _fit(reads: list[Read], **more: object) -> Fitted:
    return fit(PAIR, reads, **{"settings": SMALL, **more})  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def whole() -> Fitted:
    return _fit(_reads())


def _off(said: np.ndarray, reads: list[Read]) -> float:
    return float(np.sqrt(np.mean((said.mean(axis=1) - [r.value for r in reads]) ** 2)))


def test_it_follows_its_readings(whole: Fitted) -> None:
    before = _fit([], days=5.0)
    assert _off(whole.said(_reads()), _reads()) < 0.6 * _off(before.said(_reads()), _reads())


def test_without_readings_ranges_are_wider_and_nothing_is_learned(whole: Fitted) -> None:
    before = _fit([], days=5.0)
    late = [r for r in _reads() if r.day == 4.0]
    assert before.said(late).std(axis=1).mean() > 1.5 * whole.said(late).std(axis=1).mean()
    assert {x.verdict for x in before.learned()} == {"only prior"}
    assert "learned" in {x.verdict for x in whole.learned()}


def test_the_same_fit_comes_again_side_by_side(whole: Fitted) -> None:
    with Crew(2) as crew:
        again = _fit(_reads(), crew=crew)
    assert np.array_equal(whole.last, again.last)
    assert np.array_equal(whole.said(_reads()), again.said(_reads()))


def test_a_fit_that_stopped_goes_on_to_the_same_end(whole: Fitted) -> None:
    kept: list[Passed] = []

    class _Stop(Exception):
        pass

    def stop(passed: Passed) -> None:
        kept.append(passed)
        raise _Stop

    with pytest.raises(_Stop):
        _fit(_reads(), on_pass=stop)
    asked = []

    def taken_up(print_: str) -> Passed | None:
        asked.append(print_)
        return kept[0]

    again = _fit(_reads(), taken_up=taken_up)
    assert asked == [kept[0].print_]
    assert np.array_equal(whole.last, again.last)


def test_what_was_kept_of_other_readings_is_not_used(whole: Fitted) -> None:
    kept: list[Passed] = []
    _fit(_reads(3.0), on_pass=kept.append)
    again = _fit(_reads(), taken_up=lambda print_: kept[0])
    assert np.array_equal(whole.last, again.last)


def test_exchanged_labels_are_flagged_and_left_out_until_trusted() -> None:
    wrong = _reads(exchanged=3.0)
    found = _fit(wrong, settings=replace(SMALL, members=40))
    assert [(e.day, e.one, e.other) for e in found.doubted] == [(3.0, "A", "B")]
    assert {r.day for r in found.reads} == {1.0, 2.0, 4.0}
    trusted = _fit(wrong, settings=replace(SMALL, members=40), trusted=True)
    assert trusted.doubted == ()
    assert len(trusted.reads) == len(wrong)


def test_what_cannot_be_fitted_is_refused() -> None:
    with pytest.raises(NotEnoughError, match="no heap"):
        fit([], [])
    with pytest.raises(NotEnoughError, match="C"):
        _fit([Read("C", "core", 1.0, 20.0)])
    with pytest.raises(InputError, match="members"):
        _fit([], settings=replace(SMALL, members=2))


def test_moisture_and_height_teach_too() -> None:
    read = [Read("A", "", 2.0, 0.62, "moisture_wb"), Read("A", "", 2.0, 0.88, "height_m")]
    found = _fit(read)
    wet = {(x.name, x.heap): x for x in found.learned()}
    assert wet["moisture", "A"].after[1] > wet["moisture", "A"].before[1]
    assert wet["moisture", "A"].ratio < 0.9
