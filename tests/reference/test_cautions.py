"""Cautions and use against published values, each with its source beside it.

"From memory" marks numbers whose page nobody here has read.
"""

from __future__ import annotations

import re

import pytest

from heapwright.errors import QuantityError, TableError, UnknownNameError
from heapwright.planning import advicewords
from heapwright.planning.advice import advise
from heapwright.planning.advicefacts import Situation
from heapwright.science import cautions as module
from heapwright.science import use
from heapwright.science.cautions import Caution, caution, cautions, cautions_for
from heapwright.science.values import value
from heapwright.units import Ranged

FAHRENHEIT = [
    # key in values/caution.toml, degrees F, source
    ("watch_c", 165.0, "USDA NRCS, practice 317 job sheet, 2002: closely monitor above"),
    ("act_c", 185.0, "USDA NRCS, practice 317 job sheet, 2002: act at once above"),
]
#: the ladder of heat: from, below
LADDER = [
    ("heat-70", 70.0, 74.0),  # warn: own rung; North Carolina DEQ turns at 160 F (71 C)
    ("heat-74", 74.0, 85.0),  # NRCS 317, 2002
    ("heat-75", 75.0, 85.0),  # wet first: own rung between the two of NRCS
    ("heat-85", 85.0, 93.0),  # NRCS 317, 2002
    ("heat-93", 93.0, None),  # chemical heat: Rynk 2000, from memory
]


def keys(found: tuple[Caution, ...]) -> list[str]:
    return [c.key for c in found]


# --- temperatures ---------------------------------------------------------------------------------


@pytest.mark.reference(source="USDA NRCS 317 job sheet, 2002", where="165 F and 185 F")
@pytest.mark.parametrize(("key", "degrees_f", "source"), FAHRENHEIT)
def test_limits_of_nrcs(key: str, degrees_f: float, source: str) -> None:
    kept = value("caution", key)
    assert kept.value == pytest.approx((degrees_f - 32) / 1.8, abs=0.5)  # given in whole C
    assert kept.seen == "seen"
    assert "NRCS" in kept.source
    assert source.split(",")[0] in kept.source


@pytest.mark.parametrize(("key", "low", "high"), LADDER)
def test_the_ladder_of_heat(key: str, low: float, high: float | None) -> None:
    assert (caution(key).from_c, caution(key).until_c) == (low, high)
    assert key not in keys(cautions_for(work="turning", core_c=low - 0.1))
    assert key in keys(cautions_for(work="turning", core_c=low))
    if high is not None:
        assert key not in keys(cautions_for(work="turning", core_c=high))


def test_advice_and_cautions_share_their_numbers_and_words() -> None:
    # advice takes steam_c, watch_c and act_c of the same file
    steam = caution("steam")
    assert steam.from_c == value("caution", "steam_c").value
    hot = Situation(heap="B", core_c=steam.from_c)
    assert steam.text in advicewords.caution(hot, "turn", dry=False)
    assert steam.text not in advicewords.caution(
        Situation(heap="B", core_c=steam.from_c - 1), "turn", dry=False
    )
    assert caution("hose-sun").text in advicewords.caution(hot, "water", dry=False)
    for core_c in (74.0, 80.0, 85.0, 92.0):  # both forbid the same from the same number on
        said = advise(Situation(heap="B", core_c=core_c, read_d=0.5)).sentence
        met = " ".join(c.text for c in cautions_for(core_c=core_c))
        assert ("do not dig in alone" in said) == ("do not dig in alone" in met)
        assert "ask the fire service" in met
    assert not cautions_for(core_c=73.9)


def test_above_93_nobody_is_told_to_turn_or_wet_it() -> None:
    said = " ".join(c.text for c in cautions_for(work="turning", core_c=94.0) if c.from_c)
    assert "Do not open it" in said
    assert "call the fire service" in said
    assert "Wet it" not in said
    assert "steam" not in keys(cautions_for(work="turning", core_c=86.0))


def test_one_rung_of_the_ladder_is_said_where_nothing_is_done() -> None:
    for core_c in (75.0, 80.0, 85.0, 90.0, 93.0, 95.0):
        assert len(cautions_for(core_c=core_c)) == 1, core_c


# --- numbers in the texts -------------------------------------------------------------------------

NUMBERS = [
    # key, what its text or source says, source
    ("lifting", ["25 kg", "16 kg", "12 to 15 kg"], "HSE (Great Britain), from memory"),
    ("hose-back", ["5 cm"], "gap of 2 in, seen; EN 1717 from memory"),
    ("legionella", ["2 to 10 days", "gloves", "damp it gently"], "NSW Health 2018; seen"),
    ("raw-manure", ["120 days", "90 days"], "7 CFR 205.203(c)(1); seen"),
    ("tetanus", ["10 years", "5 for a dirty wound"], "from memory"),
    ("pits", ["19.5 %"], "OSHA 29 CFR 1910.146, from memory"),
    ("heap-height", ["1.5 to 1.8 m", "25 feet (7.6 m)"], "NC DEQ 5 to 6 ft; IFC 2808.3; seen"),
    ("walnut", ["4 weeks", "6 months"], "from memory"),
    ("spores-distance", ["250 m"], "Environment Agency, from memory"),
]  # fmt: skip


@pytest.mark.parametrize(("key", "said", "source"), NUMBERS)
def test_numbers_of_the_texts(key: str, said: list[str], source: str) -> None:
    text = caution(key).text
    assert [s for s in said if s not in text] == []
    memory = "memory" in source
    marked = caution(key).seen.startswith("memory") or "from memory" in caution(key).source
    assert memory == marked


def test_numbers_that_stand_elsewhere_are_the_same() -> None:
    lift = caution("lifting").text
    assert f"{value('labour', 'lift_men_kg').value:g} kg for men" in lift
    assert f"{value('labour', 'lift_women_kg').value:g} kg for women" in lift
    assert f"{value('caution', 'air_o2_percent').value:g} %" in caution("pits").text
    assert f"{value('caution', 'tall_m').value:g} m" in caution("heap-height").text
    assert "112" in caution("sheds").source  # uL/L, Phillip et al. 2011
    assert "115" in caution("sheds").source  # mg/m3 after a turn, Sobieraj et al. 2023


# --- when they apply ------------------------------------------------------------------------------


def test_nothing_is_said_where_nothing_is_met() -> None:
    assert cautions_for() == ()
    assert cautions_for(work="reading", core_c=60) == ()
    assert cautions_for(materials=["hay", "yew"]) == ()  # only at planning and at use
    assert cautions_for(core_c=None, work="building") == (caution("tetanus"),)


def test_every_caution_can_be_met_and_has_a_condition() -> None:
    for c in cautions().values():
        assert c.works or c.from_c is not None or c.when or c.materials, c.key
        met = cautions_for(
            work=c.works or None, core_c=c.from_c, materials=c.materials,
            **dict.fromkeys(c.when, True),
        )  # fmt: skip
        assert c in met
        assert c.applies
        assert met.count(c) == 1


@pytest.mark.parametrize(
    ("named", "key"),
    [
        ("treated timber offcuts", "treated-wood"), ("Painted boards", "treated-wood"),
        ("pressure-treated decking", "treated-wood"), ("MDF dust", "treated-wood"),
        ("yew clippings", "poisonous"), ("YEWS", "poisonous"), ("laburnum pods", "poisonous"),
        ("oleander", "poisonous"), ("black walnut leaves", "walnut"), ("old hay", "herbicides"),
        ("horse manure", "herbicides"), ("horse manure", "raw-manure"), ("straw", "herbicides"),
        ("grass mowings", "herbicides"), ("coal ash", "coal-ash"), ("cat litter", "pets"),
        ("fish", "animal-food"), ("food scraps", "animal-food"), ("bindweed roots", "rhizomes"),
        ("glossy magazines", "glossy"), ("sawdust", "sawdust"),
    ],
)  # fmt: skip
def test_materials_are_known_by_their_names(named: str, key: str) -> None:
    assert key in keys(cautions_for(work=["planning", "using"], materials=[named]))


@pytest.mark.parametrize(
    "named",
    ["untreated wood", "non-treated wood chips", "shredded apple prunings", "charcoal",
     "dogwood chips", "dog rose clippings", "catkins", "fatsia leaves", "wood ash", "couscous",
     "newspaper"],
)  # fmt: skip
def test_other_names_are_left_alone(named: str) -> None:
    met = cautions_for(work=["planning", "using"], materials=[named])
    assert [c.key for c in met if c.materials] == []


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(UnknownNameError, match="One of planning"):
        cautions_for(work="juggling")
    with pytest.raises(QuantityError):
        cautions_for(core_c=200)
    with pytest.raises(UnknownNameError, match="One of steam"):
        caution("boredom")
    for row in ({"text": "x"}, {**_row(), "works": ["juggling"]}, {**_row(), "seen": "heard"}):
        with pytest.raises(TableError):
            module._caution("x", row)


def _row() -> dict[str, str]:
    return {"title": "t", "text": "x", "source": "s", "edition": "1", "seen": "seen"}


def test_no_text_is_the_beginning_of_another() -> None:
    # a line is led to its source by its text
    texts = [c.text for c in cautions().values()]
    assert len(set(texts)) == len(texts)
    for c in cautions().values():
        found = module.met_in(c.said)
        assert found is not None
        assert found.key == c.key
        assert re.fullmatch(r"[a-z0-9-]+", c.key)  # it is an address on a page


# --- use ------------------------------------------------------------------------------------------


@pytest.mark.reference(source="Brady and Weil, restated", where="8:1, a third built in: 24:1")
def test_nitrogen_turns_at_24() -> None:
    # Brady and Weil, restated: microbes of 8:1 build in a third of the carbon: 24:1
    assert use.break_even_cn(1 / 3, 8.0) == pytest.approx(24.0)
    assert use.break_even_cn() == pytest.approx(24.0)
    assert use.nitrogen_free_g_kg(24.0) == pytest.approx(0.0)
    # by hand: 1 kg C at C:N 60 brings 16.67 g N; a third built in at 8:1 needs 41.67 g
    assert use.nitrogen_free_g_kg(60.0) == pytest.approx(1000 / 60 - 1000 / 3 / 8)


@pytest.mark.parametrize(
    ("cn", "said"),  # rule of thumb, from memory: free below 20, bound above 30
    [(12, "sets nitrogen free"), (19.9, "sets nitrogen free"), (20, "neither"), (30, "neither"),
     (30.1, "ties nitrogen up"), (100, "lay it on top")],
)  # fmt: skip
def test_the_rule_of_thumb(cn: float, said: str) -> None:
    assert said in use.nitrogen_words(cn)


def test_chips_bind_nitrogen_dug_in_and_not_as_mulch() -> None:
    said = use.nitrogen_words(60)
    assert "dug in it ties nitrogen up" in said
    assert "as mulch it does so only where it touches the soil" in said


def test_how_far_it_goes() -> None:
    # 1 m3 at 5 cm covers 20 m2; of 8 cm a quarter sinks
    assert use.covers_m2(Ranged.exact(1.0), Ranged.exact(0.05)) == Ranged.exact(20.0)
    wide = use.covers_m2(Ranged(1.0, 0.8, 1.2), Ranged(0.08, 0.06, 0.1))
    assert (wide.low, wide.high) == (pytest.approx(8.0), pytest.approx(20.0))
    assert use.after_sinking_m(Ranged.exact(0.08)).typical == pytest.approx(0.06)
    for depth in (Ranged.exact(0.0), Ranged(3.0, 3.0, 9.0)):
        with pytest.raises(QuantityError):
            use.covers_m2(Ranged.exact(1.0), depth)


def _answers(*tests: use.Result, **barred: str) -> dict[str, str]:
    return {a.use: a.answer for a in use.suits(tests, barred)}


WARM = use.Result("Reheating", "24 C", "rotting", 2)  # Dewar class III, from memory: active
COOL = use.Result("Reheating", "6 C", "rotting", 0)
CRESS = use.Result("Seedlings", "as the control", "plants", 0, sown=True)
AMMONIA = use.Result("Ammonium", "530 ppm", "plants", 2)  # CCQC 2001, from memory: above 500


def test_the_worse_of_two_tests_is_gone_by() -> None:
    assert _answers(CRESS, WARM) == {
        "mulch": "yes", "bed": "not yet", "pots": "not yet", "seedlings": "not yet",
    }  # fmt: skip
    assert _answers(CRESS, COOL, AMMONIA)["pots"] == "not yet"
    assert set(_answers(CRESS, COOL).values()) == {"yes"}


def test_a_missing_test_is_named_and_never_taken_as_passed() -> None:
    found = {a.use: a for a in use.suits([CRESS])}
    assert found["bed"].answer == "not tested"
    assert "whether it still rots" in found["pots"].why
    laboratory = use.Result("Germination index", "120 %", "plants", 0)
    assert _answers(COOL, laboratory)["pots"] == "yes"
    assert _answers(COOL, laboratory)["seedlings"] == "not tested"  # nothing was sown in it


def test_half_ripe_goes_to_beds_only() -> None:
    # CCQC 2001, best uses, from memory: mature for fields, very mature for container mixes
    half = use.Result("Reheating", "15 C", "rotting", 1)
    assert _answers(CRESS, half) == {
        "mulch": "yes", "bed": "yes", "pots": "not yet", "seedlings": "not yet",
    }  # fmt: skip


def test_what_is_in_the_heap_can_rule_a_use_out() -> None:
    assert _answers(CRESS, COOL, mulch="painted boards")["mulch"] == "no"
    assert caution("treated-wood").bars == use.USES
    assert set(caution("pets").bars) == set(use.USES) - {"mulch"}
