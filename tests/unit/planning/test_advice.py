"""Advice by the rules: what is done first, what it breaks, and nothing as an answer."""

from __future__ import annotations

from dataclasses import replace

import pytest

from heapwright.planning.advice import Advised, Change, Situation, TrialSide, advise, litres
from heapwright.planning.advicewater import kept_open
from heapwright.planning.diagnosis import Seen, diagnose


def change(mean: float, half: float = 1.0) -> Change:
    return Change(mean, mean - half, mean + half)


NO_GAIN = {"core_c": change(-0.4, 1.5), "dry_lost_kg": change(0.1, 0.5), "o2_short": change(0, 0)}
#: well: warm, moist, read yesterday
WELL = Situation(
    heap="A", core_c=52.0, read_d=1.0, dry_kg=200.0, core_wb=change(0.52, 0.03),
    rest_wb=change(0.52, 0.03), acts={"turn": NO_GAIN, "cover": NO_GAIN}, kept=0.3,
)  # fmt: skip
DRY = replace(WELL, core_c=30.0, core_wb=change(0.33, 0.03), rest_wb=change(0.5, 0.03))
TRIAL = TrialSide(
    name="Ferncombe", heaps=("A", "B", "C"), way="left alone", kind="left alone", control=True,
    ends="on 18 June 2026",
)  # fmt: skip


def acts(made: Advised) -> list[str]:
    return [a.act for a in made.items]


def test_all_well_needs_nothing_and_says_what_a_turn_would_do() -> None:
    made = advise(replace(WELL, next_look="Next look Saturday."))
    assert acts(made) == ["leave"]
    assert made.sentence == (
        "Nothing needs doing to heap A. A turn now might make it between 2 degrees cooler and 1 "
        "warmer over 14 days; I can't tell that from none. Next look Saturday."
    )
    assert made.items[0].breaks_trial == ""
    assert made.items[0].caution == ""


@pytest.mark.parametrize(
    ("turn", "said"),
    [
        (change(-4.0), "would make it 3 to 5 degrees cooler"),
        (change(2.0, 0.6), "too little to be worth it"),
        (change(4.0, 3.9), "too little to be worth it"),
    ],
)
def test_a_clear_but_small_or_bad_change_is_no_reason(turn: Change, said: str) -> None:
    made = advise(replace(WELL, acts={"turn": {"core_c": turn}}))
    assert acts(made) == ["leave"]
    assert said in made.sentence


def test_a_clear_gain_is_advised_and_a_doubtful_one_is_not() -> None:
    good = {"core_c": change(5.0, 2.0), "dry_lost_kg": change(4.0, 1.0)}
    made = advise(replace(WELL, acts={"turn": good}))
    assert acts(made) == ["turn"]
    assert made.items[0].buys == "core 3 to 7 degrees warmer over 14 days; 3 to 5 kg more rotted"
    doubtful = {"core_c": change(5.0, 6.0)}
    assert acts(advise(replace(WELL, acts={"turn": doubtful}))) == ["leave"]
    # warm enough already: warmer is no gain
    warm = replace(WELL, acts={"turn": {"core_c": change(5.0, 2.0)}},
                   leave={"core_c": change(58.0)})  # fmt: skip
    assert acts(advise(warm)) == ["leave"]
    rots = {"core_c": change(8.0, 2.0), "dry_lost_kg": change(8.0, 2.0)}
    assert acts(advise(replace(WELL, acts={"cover": rots}))) == ["cover"]
    assert acts(advise(replace(WELL, core_c=66.0, acts={"cover": rots}))) == ["leave"]


def test_turning_and_wetting_meanwhile_are_advised_once() -> None:
    gain = {"core_c": change(5.0, 2.0)}
    more = {"core_c": change(9.0, 2.0)}
    dryish = replace(WELL, core_wb=change(0.45, 0.03), rest_wb=change(0.45, 0.03))
    made = advise(replace(dryish, acts={"turn": gain, "moisten": more}, hose_l_min=20.0))
    assert acts(made) == ["moisten"]
    assert made.items[0].litres is not None
    assert made.items[0].hose_min == pytest.approx(made.items[0].litres / 20.0, abs=1.0)


def test_a_dry_core_is_opened_and_wetted_in_two_goes() -> None:
    made = advise(DRY)
    assert acts(made) == ["moisten"]
    said = made.items[0]
    assert made.sentence.startswith("Open heap A and wet it layer by layer in two goes")
    assert made.sentence.endswith("Wet on top, dry inside: water from above won't reach it.")
    assert "in two goes" in said.words
    need = litres(DRY)
    assert need is not None
    # core: 200/3 kg from 33 to 55 %, rest: 400/3 kg from 50 to 55 %
    by_hand = 200 / 3 * (0.55 / 0.45 - 0.33 / 0.67) + 400 / 3 * (0.55 / 0.45 - 1.0)
    assert need == pytest.approx(by_hand)
    assert said.litres == 10 * round(need / kept_open(DRY) / 10)
    assert f"{said.litres:.0f} litres" in said.words
    assert said.hose_min is None
    assert "spores" in said.caution
    assert "scalds" not in said.caution


def test_water_from_above_is_named_only_where_it_gets_inside() -> None:
    even = replace(DRY, rest_wb=change(0.34, 0.03))
    reached = replace(even, acts={"water": {"core_wb": change(0.06, 0.02)}})
    assert acts(advise(reached)) == ["moisten", "water"]
    assert "won't reach" not in advise(reached).sentence
    not_reached = replace(even, acts={"water": {"core_wb": change(0.01, 0.01)}})
    assert acts(advise(not_reached)) == ["moisten"]
    assert "won't reach" in advise(not_reached).sentence


def test_what_was_squeezed_goes_before_what_was_fitted() -> None:
    made = advise(replace(WELL, squeeze="dusty"))
    assert acts(made) == ["moisten"]
    assert "the squeeze goes first" in made.items[0].why
    assert acts(advise(replace(DRY, squeeze="damp"))) == ["leave"]


def test_minutes_of_the_hose_follow_from_a_bucket() -> None:
    timed = advise(replace(DRY, hose_l_min=24.0)).items[0]
    assert timed.litres is not None
    assert timed.hose_min == round(timed.litres / 24.0)


def test_wet_and_sour_is_turned_and_its_pipes_opened() -> None:
    seen = replace(WELL, squeeze="streams", smell="sour", rain_mm_week=40.0,
                   acts={"turn": {}, "open pipes": {}, "cover": {}})  # fmt: skip
    made = advise(seen)
    assert acts(made) == ["turn", "open pipes", "cover"]
    assert "dry, coarse chips" in made.sentence
    assert made.items[0].why == "It is short of air: too wet inside, it smells sour."
    assert acts(advise(replace(seen, rain_mm_week=0.0))) == ["turn", "open pipes"]
    warmer = {"core_c": change(8.0, 2.0)}
    shut = replace(seen, rain_mm_week=None, acts={"turn": {}, "cover": warmer, "moisten": warmer})
    assert acts(advise(shut)) == ["turn"]


def test_too_hot_is_read_again_and_never_opened_dry() -> None:
    made = advise(replace(WELL, core_c=76.0))
    assert acts(made) == ["read"]
    assert "do not open it dry" in made.sentence
    worst = advise(replace(DRY, core_c=87.0))
    assert acts(worst) == ["read"]
    assert "fire service" in worst.sentence
    assert acts(advise(replace(WELL, core_c=68.0))) == ["leave"]
    hot = advise(replace(WELL, core_c=68.0, smell="sour"))
    assert "scalds" in hot.items[0].caution


def test_a_cheap_look_comes_first_where_it_would_decide() -> None:
    assert "no reading" in advise(replace(WELL, read_d=None)).sentence
    assert "9 days old" in advise(replace(WELL, read_d=9.0)).sentence
    open_ = replace(WELL, core_wb=change(0.41, 0.05))
    assert acts(advise(open_)) == ["leave"]  # wetting would buy nothing
    helps = replace(open_, acts={"moisten": {"core_c": change(6.0, 7.0)}})
    assert "squeeze a handful" in advise(helps).sentence
    doubt = diagnose(Seen(complaint="not heating", core_c=16, air_c=14))
    asked = advise(replace(WELL, causes=doubt.causes, test=doubt.next_test))
    assert acts(asked) == ["read"]
    assert asked.sentence.startswith("Look first")


def test_a_cause_that_no_act_mends_is_said() -> None:
    sure = diagnose(Seen(complaint="smells", smell="ammonia", cn=15, squeeze_core="damp"))
    made = advise(replace(WELL, causes=sure.causes, smell="ammonia"))
    assert acts(made) == ["leave"]
    assert "more nitrogen than can be eaten" in made.sentence
    assert "Nothing needs doing" not in made.sentence


# --- trials -----------------------------------------------------------------------------------


def test_in_a_trial_what_would_only_help_stays_behind_leaving_it() -> None:
    good = {"core_c": change(5.0, 2.0)}
    made = advise(replace(WELL, acts={"turn": good}, trial=TRIAL))
    assert acts(made) == ["leave", "turn"]
    assert "the trial comes first" in made.sentence
    assert made.items[1].breaks_trial == (
        "Heap A is left alone, and the others are held against that: turning it would end it. Do "
        "the same to every heap (B and C too), the same day, or log it as a difference: "
        "heapwright log event turned A."
    )


def test_what_is_wrong_is_said_in_a_trial_with_what_it_breaks() -> None:
    made = advise(replace(DRY, trial=TRIAL))
    assert acts(made) == ["moisten"]
    assert made.sentence.endswith(
        "The same for every heap in the trial, or log it as a difference."
    )
    assert "opening it would end it" in made.items[0].breaks_trial


def test_the_plan_comes_first_and_breaks_nothing() -> None:
    turned = replace(TRIAL, way="turned", kind="turned", control=False,
                     due={"turn": "turn heap A"})  # fmt: skip
    made = advise(replace(DRY, trial=turned))
    assert acts(made) == ["turn", "moisten"]
    assert made.sentence == "The plan asks for it now: turn heap A."
    assert made.items[0].breaks_trial == ""
    assert "waters all heaps alike" in made.items[1].breaks_trial
    early = replace(turned, due={}, next_turn="on 2 June")
    words = advise(replace(DRY, trial=early)).items[0].breaks_trial
    assert "turns heap A on 2 June" in words


@pytest.mark.parametrize(
    ("act", "kind", "part"),
    [
        ("plug pipes", "vented", "plugging its pipes makes it another way"),
        ("open pipes", "vented", "opening its pipes makes it another way"),
        ("water", "turned", "waters all heaps alike"),
        ("cover", "turned", "does not foresee covering it"),
        ("turn", "vented", "does not foresee turning it"),
    ],
)
def test_each_act_that_is_not_foreseen_says_what_it_breaks(act: str, kind: str, part: str) -> None:
    side = replace(TRIAL, way=kind, kind=kind, control=False)
    gain = {"core_c": change(6.0)}
    dryish = replace(WELL, core_wb=change(0.45, 0.02), rest_wb=change(0.45, 0.02))
    made = advise(replace(dryish, acts={act: gain}, trial=side))
    assert acts(made) == ["leave", act]
    assert part in made.items[1].breaks_trial
    assert "every heap (B and C too)" in made.items[1].breaks_trial
    assert "heapwright log event" in made.items[1].breaks_trial
