"""Findings: what is said, what is shown beside it, and what is refused."""

from __future__ import annotations

import json
from datetime import date

import pytest

from heapwright.errors import InputError, NotEnoughError, QuantityError, UnknownNameError
from heapwright.stats.claims import TEMPERATURE_CAVEAT
from heapwright.stats.compare import compare
from heapwright.stats.outcomes import OUTCOMES, outcome

ONE = {"left alone": {"A": 31.2}, "turned": {"B": 38.9}}
TWO = {"left alone": {"A": 31.2, "C": 27.5}, "turned": {"B": 38.9, "D": 36.1}}
THREE = {
    "left alone": {"A": 31.2, "C": 27.5, "E": 29.9},
    "turned": {"B": 38.9, "D": 36.1, "F": 33.0},
}
VENTED = {**ONE, "vented": {"V": 20.0}}


def only(key: str, values: dict[str, dict[str, float]], **more: object) -> object:
    (found,) = compare(key, values, "left alone", **{"matters": 5.0, "ended": True, **more})
    return found


def test_one_heap_each_is_said_in_yard_words() -> None:
    c = only("mean_excess_c", ONE, doing={"turned": "turning"})
    assert c.claim == "cannot tell"
    assert c.sentence == (
        "B (turned) ran 8 degrees warmer than A (left alone). Heaps treated alike can differ by "
        "13, so this does not show that turning did it."
    )
    assert c.headline.endswith(TEMPERATURE_CAVEAT)


def test_degrees_f_are_differences() -> None:
    c = only("mean_excess_c", ONE, shown_in="F")
    assert "ran 14 degrees F warmer" in c.sentence
    assert "can differ by 24" in c.sentence
    assert c.estimate == pytest.approx(7.7)
    assert c.unit == "C"
    assert outcome("mean_excess_c").amount(8.0, shown_in="F") == "14 degrees F"


def test_leaning_names_the_assumed_spread_in_the_same_sentence() -> None:
    c = only("mean_excess_c", {"left alone": {"A": 30.0}, "turned": {"B": 12.0}})
    assert c.claim == "leans"
    first = c.sentence.split(". ")[0]
    assert "18 degrees cooler" in first
    assert "standard deviation is 4 degrees" in first
    assert "never show" in first


def test_findings_carry_every_key_and_can_be_written_down() -> None:
    differed = {"turned": ["B got twice the water"]}
    c = only("mean_excess_c", TWO, window=(3, 60), differed=differed)
    found = json.loads(json.dumps(c.to_json()))
    assert {
        "outcome", "unit", "window", "way", "control", "estimate", "low", "high", "df", "heaps",
        "claim", "alternatives", "differed", "assumptions", "sources",
    } <= set(found)  # fmt: skip
    assert found["window"] == {"from_d": 3, "to_d": 60}
    assert found["heaps"] == TWO
    assert found["differed"] == ["B got twice the water"]
    assert found["estimate"] == pytest.approx(8.15)
    assert found["low"] == pytest.approx(-0.339326, abs=1e-6)
    assert found["high"] == pytest.approx(16.639326, abs=1e-6)
    assert any("4 C" in a for a in found["assumptions"])
    assert found["sources"]


@pytest.mark.parametrize(
    ("values", "beside"),
    [
        (ONE, ["s0 = 3 C", "s0 = 4 C", "s0 = 6 C"]),
        (TWO, ["pooled t", "s0 = 3 C", "s0 = 4 C", "s0 = 6 C"]),
        (THREE, ["pooled t", "Welch", "s0 = 3 C", "s0 = 4 C", "s0 = 6 C"]),
    ],
)
def test_what_stands_beside_a_temperature(
    values: dict[str, dict[str, float]], beside: list[str]
) -> None:
    c = only("mean_excess_c", values)
    assert len(c.alternatives) == len(beside)
    for alternative, word in zip(c.alternatives, beside, strict=True):
        assert word in alternative.method
        assert alternative.estimate == pytest.approx(c.estimate)


def test_common_phase_only_from_three_heaps() -> None:
    starts = {
        "left alone": {"A": 44.0, "C": 40.5, "E": 42.2},
        "turned": {"B": 43.1, "D": 45.2, "F": 41.7},
    }
    three = only("mean_excess_c", THREE, start_by_way=starts)
    assert "covariate" in three.alternatives[-1].method
    assert three.alternatives[-1].estimate == pytest.approx(6.029808, abs=1e-6)
    two = only("mean_excess_c", TWO, start_by_way=starts)
    assert not any("covariate" in a.method for a in two.alternatives)
    lacking = {**starts, "turned": {"B": 43.1}}
    c = only("mean_excess_c", THREE, start_by_way=lacking)
    assert not any("covariate" in a.method for a in c.alternatives)


def test_dunnett_for_two_ways_and_a_control() -> None:
    found = compare("mean_excess_c", VENTED, "left alone", matters=5.0, ended=True)
    assert [c.way for c in found] == ["turned", "vented"]
    for c in found:
        assert (c.high - c.low) / 2 == pytest.approx(15.49, abs=0.01)
        assert c.df == 8
        assert "Dunnett" in c.method
        assert "not adjusted" in c.alternatives[0].method
        alone = c.alternatives[0]
        assert (alone.high - alone.low) / 2 == pytest.approx(13.37, abs=0.01)
        assert set(c.heaps) == set(VENTED)


def test_before_the_end_there_is_no_interval_and_no_claim() -> None:
    c = only("mean_excess_c", THREE, ended=False, end_date=date(2026, 9, 1))
    assert c.claim == "so far: no claim before 1 September 2026"
    assert (c.low, c.high, c.df, c.alternatives) == (None, None, None, ())
    assert c.estimate == pytest.approx(6.466667, abs=1e-6)
    assert c.sentence.startswith("So far: turned (B, D, F) ran 6 degrees warmer")
    with pytest.raises(InputError, match="end_date"):
        only("mean_excess_c", THREE, ended=False)


def test_other_outcomes_never_borrow_a_spread() -> None:
    one = only("carbon_dm", {"left alone": {"A": 0.45}, "turned": {"B": 0.42}}, matters=0.02)
    assert (one.claim, one.low, one.high, one.df) == ("cannot tell", None, None, None)
    assert one.estimate == pytest.approx(-0.03)
    assert "3 percentage points less carbon" in one.sentence
    assert one.caveat == ""
    uneven = only(
        "carbon_dm",
        {"left alone": {"A": 0.45, "C": 0.451}, "turned": {"B": 0.30}},
        matters=0.02,
    )
    assert uneven.claim == "cannot tell"
    assert uneven.df == 1


def test_other_outcomes_with_heaps_enough() -> None:
    values = {
        "left alone": {"A": 60.0, "C": 66.0, "E": 63.0},
        "turned": {"B": 139.0, "D": 136.0, "F": 133.0},
    }
    c = only("minutes", values, matters=30.0)
    assert c.claim == "enough to matter"
    assert c.df == 4
    assert [a.method[:5] for a in c.alternatives] == ["Welch"]
    assert "73 min more work" in c.sentence
    assert "beyond the 30 min" in c.sentence


def test_described_outcomes_are_not_tested() -> None:
    c = only("degree_hours_55", THREE)
    assert c.claim == "described, not tested"
    assert (c.low, c.high, c.alternatives) == (None, None, ())


def test_sentences_for_every_claim() -> None:
    def said(turned: float, spread: float, matters: float) -> tuple[str, str]:
        values = {
            "left alone": {"A": 40.0, "C": 40.0 + spread, "E": 40.0 - spread},
            "turned": {"B": turned, "D": turned + spread, "F": turned - spread},
        }
        c = only("mass_kg", values, matters=matters)
        return c.claim, c.sentence

    assert said(60, 1, 5)[0] == "enough to matter"
    claim, sentence = said(44, 1, 3)
    assert claim == "real, perhaps too small"
    assert "fall short of the 3 kg" in sentence
    claim, sentence = said(44, 1, 30)
    assert claim == "real, perhaps too small"
    assert "all of it lies below the 30 kg" in sentence
    assert said(40.5, 1, 30)[0] == "too small to matter"
    assert said(45.5, 4, 3)[0] == "leans"
    assert said(42, 4, 3)[0] == "cannot tell"
    claim, sentence = said(30, 1, 5)
    # the range is told in the direction of the sentence
    assert "weighed 10 kg less" in sentence
    assert "7.7 to 12 kg" in sentence


def test_an_end_of_a_range_keeps_its_side_of_zero() -> None:
    c = only("mean_excess_c", THREE)
    assert c.low == pytest.approx(-0.00625, abs=1e-5)
    assert "just below 0 to 13 degrees" in c.sentence


def test_alike_is_said_as_alike() -> None:
    c = only("mean_excess_c", {"left alone": {"A": 31.2}, "turned": {"B": 31.4}})
    assert "came out alike in mean degrees above air" in c.sentence


def test_refusals() -> None:
    with pytest.raises(UnknownNameError, match=r"Choose one of mean_excess_c"):
        compare("mean_exces_c", ONE, "left alone", matters=5.0, ended=True)
    with pytest.raises(UnknownNameError, match="control = none"):
        compare("mean_excess_c", ONE, "none", matters=5.0, ended=True)
    with pytest.raises(NotEnoughError, match="only one way"):
        compare("mean_excess_c", {"a": {"A": 1.0}}, "a", matters=5.0, ended=True)
    with pytest.raises(NotEnoughError, match="no heap of way b"):
        compare("mean_excess_c", {"a": {"A": 1.0}, "b": {}}, "a", matters=5.0, ended=True)
    with pytest.raises(InputError, match="B = nan"):
        compare(
            "mean_excess_c", {"a": {"A": 1.0}, "b": {"B": float("nan")}}, "a",
            matters=5.0, ended=True,
        )  # fmt: skip
    with pytest.raises(QuantityError, match="matters"):
        compare("mean_excess_c", ONE, "left alone", matters=0.0, ended=True)


def test_outcomes_are_well_formed() -> None:
    for key, row in OUTCOMES.items():
        assert row.key == key
        for form in (row.more, row.less):
            assert form.format(a="B", x="2 kg", b="A").startswith("B ")
            assert form.format(a="B", x="2 kg", b="A").count("A") == 1
        assert not (row.informed and row.kind != "temperature")
        assert row.amount(0.0)
    assert {k for k, r in OUTCOMES.items() if not r.tested} == {
        "degree_hours_55", "days_above_40", "days_above_55", "days_to_peak", "half_cooling_d",
        "water_l",
    }  # fmt: skip
    assert outcome("days_to_peak").amount(1.0) == "1 day"
    assert outcome("cn_ratio").amount(2.345) == "2.3"


def test_fractions_are_published_as_per_cent() -> None:
    values = {"left": {"A": 0.40, "B": 0.42}, "turned": {"C": 0.30, "D": 0.33}}
    (c,) = compare("carbon_dm", values, "left", matters=0.05, ended=True)
    found = c.to_json()
    assert found["unit"] == "%"
    assert found["estimate"] == pytest.approx(-9.5)
    assert found["matters"] == pytest.approx(5.0)
    assert found["heaps"]["left"]["A"] == pytest.approx(40.0)
    assert found["alternatives"][0]["estimate"] == pytest.approx(-9.5)


def test_without_a_locked_difference_nothing_is_enough_or_too_small() -> None:
    far = {"left": {"A": 10.0, "B": 10.1}, "turned": {"C": 90.0, "D": 90.2}}
    near = {"left": {"A": 10.0, "B": 10.1}, "turned": {"C": 10.05, "D": 10.1}}
    (c,) = compare("minutes", far, "left", matters=None, ended=True)
    assert c.claim == "real, perhaps too small"
    assert "not fixed beforehand" in c.sentence
    (c,) = compare("minutes", near, "left", matters=None, ended=True)
    assert c.claim == "cannot tell"
    assert c.to_json()["matters"] is None
