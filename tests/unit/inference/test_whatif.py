"""What each act would buy, on a small invented heap with few members."""

from __future__ import annotations

import numpy as np
import pytest
from tests.unit.inference.invented import subject

from heapwright.engine.scenario import Action, Pipe
from heapwright.errors import InputError
from heapwright.inference.fit import Fitted, Settings, fit
from heapwright.inference.members import Subject, member_of, run_member
from heapwright.inference.whatif import (
    _EVERY_H,
    FIGURES,
    Act,
    _with,
    litres_for,
    possible_acts,
    what_if,
)

ROUGH = Settings(cell_m=0.25, members=6, passes=1)


@pytest.fixture(scope="module")
def fitted() -> Fitted:
    """A dry heap of which nothing was read."""
    dry = subject(moisture_wb=0.42)
    return fit([Subject("A", dry.spec, dry.weather, actions=(Action(7.0, "turned"),))], [],
               settings=ROUGH)  # fmt: skip


def test_the_same_act_twice_differs_by_exactly_nothing(fitted: Fitted) -> None:
    nothing = Act("nothing", (Action(4.0, "watered", 0.0),))
    made = what_if(fitted, "A", 4.0, target_wb=0.55, days=3, acts=(nothing, Act("bare")), members=4)
    assert made.members == 4
    for bought in made.acts:
        for name in FIGURES:
            change = bought.changes[name]
            assert (change.mean, change.low, change.high) == (0.0, 0.0, 0.0), name
            assert not change.clear


def test_a_turn_cools_and_brings_air() -> None:
    """The air of a turn is used up within hours: it is seen right after it."""
    leafy = subject(moisture_wb=0.7, dry_density=230.0, leafy_share=0.4)
    made = what_if(fit([leafy], [], settings=ROUGH), "A", 4.0, target_wb=0.55, days=1, members=6)
    assert [b.act.name for b in made.acts] == ["turn", "cover"]
    turn = made.act("turn")
    assert turn is not None
    assert turn.changes["core_c"].high < 0
    assert turn.changes["core_c"].clear
    assert turn.kept is None
    minutes_before = (48 + 1.9) / 24
    air = [
        run_member(
            member_of(_with(leafy, minutes_before, act), {}, 0.25), 2.2, curve_every_h=_EVERY_H
        ).curves["o2_core"]
        for act in (Act("leave"), Act("turn", (Action(minutes_before, "turned"),)))
    ]
    assert air[0][24] == air[1][24]
    assert air[1][25] > air[0][25] + 0.02


def test_water_wets_the_crust_and_moistening_the_core(fitted: Fitted) -> None:
    made = what_if(fitted, "A", 2.0, target_wb=0.6, days=1, members=6)
    water, moisten = made.act("water"), made.act("moisten")
    assert water is not None
    assert moisten is not None
    assert moisten.changes["core_wb"].low > 0.05
    assert moisten.changes["core_wb"].clear
    assert water.changes["crust_wb"].low > 0
    assert water.kept is not None
    assert 0 < water.kept.low <= water.kept.high < 1
    assert 0 < made.litres.low < made.litres.high
    assert 0.3 < made.now["core_wb"].mean < 0.5


def test_what_is_planned_stays_in_all_cases(fitted: Fitted) -> None:
    """The planned turn on day 7 is in the case that is left, too."""
    plain = subject(moisture_wb=0.42)
    bare = fit([plain], [], settings=ROUGH)
    cases = [
        what_if(f, "A", 6.5, target_wb=0.55, days=2, acts=(), members=4).leave["core_c"].mean
        for f in (fitted, bare)
    ]
    assert abs(cases[0] - cases[1]) > 0.2


def test_what_can_be_done_follows_what_was_done() -> None:
    bare = subject()
    assert [a.name for a in possible_acts(bare, 3.0, litres=0.0, target_wb=0.55)] == [
        "turn", "cover",
    ]  # fmt: skip
    piped = Subject(
        "A",
        subject(pipes=(Pipe(((-0.4, 0.0, 0.1), (0.4, 0.0, 0.1)), state="plugged"),)).spec,
        bare.weather,
        actions=(Action(1.0, "covered"), Action(9.0, "vent opened")),
    )

    def names(now_d: float, litres: float = 40.0) -> list[str]:
        return [a.name for a in possible_acts(piped, now_d, litres=litres, target_wb=0.55)]

    assert names(3.0) == ["turn", "water", "moisten", "open pipes", "uncover"]
    assert names(10.0, 0.0) == ["turn", "plug pipes", "uncover"]


def test_litres_are_those_of_the_dry_parts_only() -> None:
    # 300 kg, core 100 kg at 30 %, the rest wet enough: the core alone, 100 (1 - 3/7)
    assert litres_for(300.0, 100 * 3 / 7 + 250.0, 0.3, 0.5) == pytest.approx(100 * 4 / 7)
    assert litres_for(300.0, 400.0, 0.6, 0.5) == 0.0
    many = litres_for(np.array([300.0, 300.0]), np.array([200.0, 400.0]), np.array([0.4, 0.6]), 0.5)
    assert many.shape == (2,)


def test_what_cannot_be_is_refused(fitted: Fitted) -> None:
    with pytest.raises(InputError, match="1 to 60"):
        what_if(fitted, "A", 3.0, target_wb=0.55, days=0.2)
    with pytest.raises(InputError, match="not built"):
        what_if(fitted, "A", 0.0, target_wb=0.55)


def test_places_that_are_looser_about_a_spot_are_there_when_acts_are_tried() -> None:
    member = member_of(subject(), {"loose:core": 1.5, "loose:top": 1.5}, 0.25)
    plain = member_of(subject(), {}, 0.25)
    loose, even = (run_member(m, 2.0).curves["core_c"][-1] for m in (member, plain))
    assert abs(loose - even) > 0.05
