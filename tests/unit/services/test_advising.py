"""Parts of the service of advice that need no fit."""

from __future__ import annotations

import pytest

from heapwright.errors import InputError, UnknownNameError
from heapwright.inference.whatif import Effect
from heapwright.services.advisewords import _change, _span
from heapwright.services.advising import check_seen, hose_flow
from heapwright.services.heapnow import complaint_of


@pytest.mark.parametrize(
    ("typed", "flow"),
    [("10 L/25 s", 24.0), ("10 litres in 30 seconds", 20.0), ("20 L / 1 min", 20.0),
     ("15 L/min", 15.0), ("5 us gal/40 s", 28.4)],
)  # fmt: skip
def test_a_hose_is_timed_with_a_bucket(typed: str, flow: float) -> None:
    assert hose_flow(typed) == pytest.approx(flow, abs=0.05)


@pytest.mark.parametrize("typed", ["strong", "10 L/0 s", "10 kg/5 s", "-3 L/min", ""])
def test_what_is_no_flow_says_how_to_find_it(typed: str) -> None:
    with pytest.raises(InputError):
        hose_flow(typed)


def test_an_answer_of_the_hand_that_nobody_knows_is_refused() -> None:
    check_seen("damp", None, "earthy")
    with pytest.raises(UnknownNameError, match="streams"):
        check_seen("soggy", None, None)


@pytest.mark.parametrize(
    ("seen", "complaint"),
    [
        ({"core_c": 70.0}, "too hot"),
        ({"core_c": 70.0, "smell": "sour", "squeeze": "streams"}, "wet and sour"),
        ({"core_c": 76.0, "smell": "sour"}, "too hot"),
        ({"smell": "burnt"}, "too hot"),
        ({"smell": "ammonia", "squeeze": "streams"}, "smells"),
        ({"smell": "sour", "squeeze": "streams"}, "wet and sour"),
        ({"smell": "rotten egg"}, "smells"),
        ({"squeeze": "dusty"}, "dry core"),
        ({"core_c": 30.0, "peak_c": 60.0}, "fell back"),
        ({"core_c": 18.0, "peak_c": 20.0}, "not heating"),
        ({"core_c": 18.0, "peak_c": 20.0, "age_d": 2.0}, None),
        ({"core_c": 50.0, "peak_c": 60.0}, None),
        ({"squeeze": "damp", "smell": "none"}, None),
    ],
)
def test_what_there_is_to_complain_of(seen: dict[str, object], complaint: str | None) -> None:
    known: dict[str, object] = {
        "core_c": None, "air_c": 12.0, "peak_c": None, "age_d": 10.0, "squeeze": None,
        "smell": None,
    }  # fmt: skip
    assert complaint_of(**(known | seen)) == complaint  # type: ignore[arg-type]


def test_changes_are_bands_and_what_cannot_be_told_is_in_brackets() -> None:
    assert _change(Effect(2.0, 1.2, 3.4), 1.0, 0) == "+1 to +3"
    assert _change(Effect(0.3, -1.2, 2.4), 1.0, 0) == "(-1 to +2)"
    assert _change(Effect(-0.02, -0.041, 0.0), 100.0, 0) == "(-4 to 0)"
    assert _change(Effect(0.0, 0.0, 0.0), 1.0, 0) == "-"
    assert _span(Effect(0.5, 0.46, 0.52), 100.0, 0) == "46 to 52"
