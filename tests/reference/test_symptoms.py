"""Written symptoms against published advice, and what a diagnosis says of itself."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from heapwright.errors import QuantityError, UnknownNameError
from heapwright.planning import diagnosis
from heapwright.planning.diagnosis import COMPLAINTS, Seen, diagnose

DATA = Path(__file__).parents[1] / "data"


def cases(name: str) -> list[dict[str, Any]]:
    return list(tomllib.loads((DATA / name).read_text("utf-8"))["case"])


def first_two(case: dict[str, Any]) -> list[str]:
    facts = {k: v for k, v in case.items() if k not in ("name", "right", "also", "from")}
    return [cause.name for cause in diagnose(Seen(**facts)).causes[:2]]


def missed(name: str) -> dict[str, list[str]]:
    """First two causes of the cases whose right one is not among them."""
    said = {c["name"]: (c["right"], first_two(c)) for c in cases(name)}
    return {case: two for case, (right, two) in said.items() if right not in two}


@pytest.mark.reference(
    source="Cornell compost pages, fact sheets, LSU 3838-D, OSU, WSU, NRCS 317 and others",
    where="beside each case in tests/data/symptoms.toml",
)
def test_the_right_cause_is_among_the_first_two_in_seventeen_of_twenty() -> None:
    wrong = missed("symptoms.toml")
    assert len(cases("symptoms.toml")) == 20
    assert len(wrong) <= 3, wrong


def test_the_score_of_ten_cases_written_blind_is_printed(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whatever it is; when first judged it was 9 of 10."""
    wrong = missed("symptoms_blind.toml")
    assert len(cases("symptoms_blind.toml")) == 10
    said = f"right cause among the first two in {10 - len(wrong)} of 10; missed: {wrong}"
    with capsys.disabled():
        print(f"\ncases written blind: {said}")


def test_chances_add_up_and_every_cause_has_advice_and_source() -> None:
    for complaint in COMPLAINTS:
        found = diagnose(Seen(complaint=complaint))
        assert sum(c.chance for c in found.causes) == pytest.approx(1.0)
        assert all(c.advice and c.source and c.text for c in found.causes)
        assert found.next_test is not None
        assert found.used == {}


def test_the_next_test_splits_the_first_two_and_is_not_done_twice() -> None:
    found = diagnose(Seen(complaint="white dust"))
    assert found.next_test is not None
    assert found.next_test.name == "band"
    settled = diagnose(Seen(complaint="white dust", squeeze_band="damp"))
    assert settled.causes[0].name == "mould"
    assert settled.next_test is None or settled.next_test.name != "band"


def test_conflicts_between_guides_are_shown() -> None:
    mould = diagnose(Seen(complaint="white dust", squeeze_band="damp")).causes[0]
    assert "lack of air" in mould.guides_differ
    ordinary = diagnose(Seen(complaint="too hot", core_c=62, volume_m3=1.3)).causes[0]
    assert ordinary.name == "ordinary"
    assert "74 C" in ordinary.guides_differ


def test_a_large_dry_hot_heap_is_told_to_stay_away_from() -> None:
    found = diagnose(
        Seen(complaint="too hot", core_c=80, volume_m3=90, height_m=3.2, squeeze_core="crumbles")
    )
    assert found.causes[0].name == "hot"
    assert "fire service" in found.causes[0].advice


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(UnknownNameError, match="complaint"):
        Seen(complaint="sulks")
    with pytest.raises(UnknownNameError, match="squeeze_core"):
        Seen(complaint="smells", squeeze_core="soggy")
    with pytest.raises(QuantityError, match="core_c"):
        Seen(complaint="too hot", core_c=900)


def test_every_outcome_and_cause_of_the_tables_is_known() -> None:
    table = diagnosis._table()
    for name, entry in table["finding"].items():
        assert sum(entry["usual"].values()) == pytest.approx(1.0), name
        for cause, weights in entry["weights"].items():
            assert cause in table["cause"], (name, cause)
            assert set(weights) <= set(entry["usual"]), (name, cause)
    for complaint, causes in table["complaint"].items():
        assert complaint in COMPLAINTS
        assert set(causes) <= set(table["cause"])
