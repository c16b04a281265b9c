"""Clocks and doses of published rules against their numbers; the source beside each."""

from __future__ import annotations

import math

import pytest

from heapwright.errors import QuantityError, UnknownNameError
from heapwright.science.hygiene import (
    History,
    Judged,
    clock,
    course,
    dose,
    dry_spans,
    hours_at,
    judge,
    kill_days,
    rule,
    rules,
    sure_course,
)

FORMULA = "North Carolina 15A NCAC 02T .1106(a)(3)(A) (seen); days computed from it apart from this"
NOP = "7 CFR 205.203(c)(2) (seen)"
PFRP = "40 CFR 503 App. B B.1, value from memory; identical numbers seen in 14 CCR 17868.3"
BIOABFV = "BioAbfV current edition, Annex 2 no. 2.2.2.1 (seen)"
UK = "Wales SI 2006/1293, Schedule 1, Part II (seen)"
WINDROW = {"windrow": True}
SKIN = {"depths": {"core": 0.6, "side": 0.3, "corner": 0.15}}
DAYS = [24.0 * d for d in range(60)]


def steady(days: int, c: float = 60.0, *, cold: float | None = None) -> dict[str, tuple]:
    """Daily readings of three spots over so many days; cold : one corner."""
    times = DAYS[: days + 1]
    made = {name: (times, [c] * len(times)) for name in ("core", "side", "corner")}
    if cold is not None:
        made["corner"] = (times, [cold] * len(times))
    return made


def turned(*days: float) -> tuple[tuple[float, float], ...]:
    return tuple((24.0 * d, 24.0 * d) for d in days)


FIVE = turned(2, 5, 8, 11, 14)


def held(key: str, spots: dict, kinds: dict | None = None, **more: object) -> Judged:
    return judge(rule(key), WINDROW if kinds is None else kinds, History(spots, **more))  # type: ignore[arg-type]


# --- dose ----------------------------------------------------------------------------------------


@pytest.mark.reference(source=FORMULA, where="131,700,000 / 10^(0.14 t) and 50,070,000 / ...")
@pytest.mark.parametrize(
    ("t", "thick_d", "thick_h", "thin_d", "thin_h"),
    [(50, 13.170, 316.1, 5.007, 120.2), (55, 2.628, 63.07, 0.999, 23.98),
     (60, 0.5243, 12.58, 0.1993, 4.78), (65, 0.1046, 2.51, 0.0398, 0.955),
     (70, 0.0209, 0.501, 0.0079, 0.190)],
)  # fmt: skip
def test_dose_table(t: float, thick_d: float, thick_h: float, thin_d: float, thin_h: float) -> None:
    half = 0.5
    assert kill_days(t) == pytest.approx(thick_d, abs=half * 10 ** -_digits(thick_d))
    assert 24 * kill_days(t) == pytest.approx(thick_h, abs=half * 10 ** -_digits(thick_h))
    assert kill_days(t, thin=True) == pytest.approx(thin_d, abs=half * 10 ** -_digits(thin_d))
    assert 24 * kill_days(t, thin=True) == pytest.approx(thin_h, abs=half * 10 ** -_digits(thin_h))


def _digits(printed: float) -> int:
    """Digits after the point as printed in the table (it prints at least these)."""
    return len(f"{printed:g}".partition(".")[2]) if printed % 1 else 0


@pytest.mark.reference(source=FORMULA, where="sum of dt / D(t)")
def test_dose_adds_up_and_is_none_below_fifty() -> None:
    assert dose([31.53, 6.29], [55, 60]) == pytest.approx(1.00, abs=0.005)
    assert dose([1000], [49.9]) == 0
    assert dose([24, 24], [-math.inf, 49.9]) == 0
    assert kill_days(49.9) == math.inf
    with pytest.raises(QuantityError):
        kill_days(math.nan)


@pytest.mark.reference(source=FORMULA, where="z = 1 / 0.14 = 7.14 C")
def test_ten_times_faster_every_seven_degrees() -> None:
    assert kill_days(55) / kill_days(55 + 1 / 0.14) == pytest.approx(10)


# --- windrows ------------------------------------------------------------------------------------


@pytest.mark.reference(source=NOP, where="C:N 25:1-40:1; 15 days, at least five turnings")
@pytest.mark.parametrize(
    ("days", "turns", "cn", "verdict"),
    [(15, FIVE, 30.0, "met"), (15, FIVE[:4], 30.0, "not met"), (14, FIVE, 30.0, "not met"),
     (15, FIVE, 24.9, "not met"), (15, FIVE, 40.1, "not met"), (15, FIVE, 25.0, "met"),
     (15, FIVE, 40.0, "met"), (15, FIVE, None, "cannot tell")],
)  # fmt: skip
def test_organic_rule(days: int, turns: tuple, cn: float | None, verdict: str) -> None:
    known = None if cn is None else (cn, cn)
    assert held("us_nop", steady(days), turns=turns, cn=known).verdict == verdict


@pytest.mark.reference(source=NOP, where="131-170 F, which is 55-76.7 C")
@pytest.mark.parametrize(
    ("c", "verdict"),
    [(54.9, "not met"), (55.0, "met"), (76.7, "met"), (76.8, "not met")],
)
def test_organic_rule_has_a_band(c: float, verdict: str) -> None:
    assert (55.0 * 1.8 + 32, round(76.7 * 1.8 + 32)) == (131, 170)
    assert held("us_nop", steady(15, c), turns=FIVE, cn=(30, 30)).verdict == verdict


@pytest.mark.reference(source=PFRP, where="windrow: 55 C, 15 days, 5 turnings; else 3 days")
def test_sewage_sludge_rule() -> None:
    assert held("us_pfrp", steady(15), turns=FIVE).verdict == "met"
    assert held("us_pfrp", steady(15), turns=FIVE[:4]).verdict == "not met"
    assert held("us_pfrp", steady(14), turns=FIVE).verdict == "not met"
    blown, under = {"static_aerated": True}, {"covered": ((0.0, math.inf),)}
    assert held("us_pfrp", steady(3), blown, **under).verdict == "met"
    assert held("us_pfrp", steady(2), blown, **under).verdict == "not met"


@pytest.mark.parametrize("key", ["us_pfrp", "us_nop", "us_california", "ca_ccme"])
def test_forced_air_needs_its_cover(key: str) -> None:
    def found(days: int, *covered: tuple[float, float], **kinds: bool) -> Judged:
        return held(key, steady(days), {"static_aerated": True, **kinds}, cn=(30, 30),
                    covered=covered)  # fmt: skip

    assert found(3).missing == ("no insulating cover was noted",)
    assert found(3).verdict == "cannot tell"
    assert found(3, in_vessel=True).verdict == "met"
    assert found(5, (24.0, 96.0)).verdict == "met"
    assert found(5, (24.0, 95.0)).missing == ("no insulating cover was noted for long enough",)
    assert found(5, (0.0, 60.0), (61.0, 120.0)).verdict == "cannot tell"


def test_one_cold_corner_blocks() -> None:
    found = held("us_pfrp", steady(15, cold=48.0), turns=FIVE)
    assert (found.verdict, found.meeting, found.blocking) == ("not met", 2, "corner")
    assert {n: w for n, _, w in found.points}["corner"] == 48.0


def test_a_gap_of_three_days_blocks() -> None:
    spots = {name: ([t for t in times if not 5 * 24 < t < 8 * 24], [60.0] * 14)
             for name, (times, _) in steady(15).items()}  # fmt: skip
    found = held("us_pfrp", spots, turns=FIVE)
    assert found.verdict == "not met"
    assert found.clock is not None
    assert found.clock.hours == 7 * 24
    # in a sum the gap is only left out
    assert hours_at(course(spots, gap_h=36), 55) == 12 * 24


def test_never_between_two_readings_by_a_line() -> None:
    # 70 falls to 40 within a day: a line would pass 55 half way, the lower end does not
    assert hours_at(course({"a": ([0, 24], [70, 40])}, gap_h=36), 55) == 0


def test_a_spot_that_was_not_read_counts_against() -> None:
    spots = steady(15)
    spots["late"] = (DAYS[3:16], [60.0] * 13)
    found = held("us_pfrp", spots, turns=FIVE)
    assert (found.verdict, found.blocking) == ("not met", "late")
    assert found.clock is not None
    assert found.clock.hours == 12 * 24
    assert held("us_nop_5021", steady(5), {}, **SKIN, unread=("skin",)).verdict == "cannot tell"
    spots["late"] = ([], [])  # read before material was added, and not since
    assert held("us_pfrp", spots, turns=FIVE).verdict == "not met"


def test_turns_known_only_roughly_count_if_their_whole_range_lies_inside() -> None:
    inside = ((13.5 * 24, 14.9 * 24),)
    across = ((14.5 * 24, 16 * 24),)
    assert held("us_pfrp", steady(15), turns=FIVE[:4] + inside).verdict == "met"
    assert held("us_pfrp", steady(15), turns=FIVE[:4] + across).verdict == "cannot tell"
    assert held("us_pfrp", steady(14), turns=FIVE[:4] + across).verdict == "not met"


def ranged(days: int, hours: float) -> dict:
    """Daily readings of one spot whose time is known to so many hours."""
    times = DAYS[: days + 1]
    early, late = [t - hours / 2 for t in times], [t + hours / 2 for t in times]
    return {"spots": {"a": (times, [60.0] * len(times))}, "rough": {"a": (early, late)}}


@pytest.mark.parametrize(
    ("days", "hours", "verdict"),
    # 7 d at 60 C, first at its latest and last at its earliest; 36 h between at the most
    [(7, 0.0, "met"), (7, 2.0, "cannot tell"), (8, 12.0, "met"), (8, 12.5, "cannot tell"),
     (30, 24.0, "cannot tell"), (6, 2.0, "not met")],
)  # fmt: skip
def test_rough_times_of_readings_count_at_their_worst(
    days: int, hours: float, verdict: str
) -> None:
    found = held("eu_2019_1009", kinds={}, **ranged(days, hours))
    assert found.verdict == verdict
    if verdict == "cannot tell":
        assert found.missing == ("times of readings are rough",)


def test_a_cold_reading_of_rough_time_counts_wherever_it_may_lie() -> None:
    spots = {"a": ([*DAYS[:5], 60.0], [60, 60, 60, 60, 60, 40])}
    rough = {"a": ([*DAYS[:5], 30.0], [*DAYS[:5], 90.0])}
    found = sure_course(spots, rough, gap_h=36)
    # sure: the first day, and from the fourth reading on only where 40 C cannot be a neighbour
    assert [(float(a), c) for a, c in zip(found.edges_h, found.low_c, strict=False)] == [
        (0.0, 60.0), (24.0, 40.0), (30.0, 40.0), (48.0, 40.0), (72.0, 40.0), (90.0, 40.0),
    ]  # fmt: skip


def test_at_most_one_turn_a_day_counts() -> None:
    at_once = tuple((48 + k / 60, 48 + k / 60) for k in range(5))
    found = held("us_pfrp", steady(15), turns=at_once)
    assert (found.verdict, found.fails) == ("not met", ("1 of 5 turns in that time",))
    daily = turned(2, 3, 4, 5, 6)
    assert held("us_pfrp", steady(15), turns=daily).verdict == "met"
    early = (*daily[:4], (6 * 24 - 0.1,) * 2)
    assert held("us_pfrp", steady(15), turns=early).verdict == "not met"


# --- kinds ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("key", ["us_pfrp", "us_nop", "us_california", "ca_ccme"])
def test_the_three_day_rule_is_for_forced_air_only(key: str) -> None:
    hot = steady(30)
    assert held(key, hot, {}, cn=(30, 30)).verdict == "no category fits"
    shaped = held(key, hot, {"windrow": True}, cn=(30, 30))
    assert (shaped.verdict, shaped.option.how if shaped.option else "") == (
        "not met",
        "consecutive",
    )
    as_if = held(key, steady(15), {"windrow": False}, turns=FIVE, cn=(30, 30))
    assert (as_if.verdict, as_if.as_if) == ("met", True)


@pytest.mark.reference(source="NOP 5021 through a certifier's text (seen)", where="131 F, 3 days")
def test_guidance_for_any_system_asks_for_every_point() -> None:
    assert held("us_nop_5021", steady(3), {}, **SKIN).verdict == "met"
    assert held("us_nop_5021", steady(3, cold=54.9), {}, **SKIN).verdict == "not met"


def test_one_core_probe_does_not_speak_for_all_the_material() -> None:
    core = {"core": (DAYS[:16], [60.0] * 16)}
    found = held("us_nop_5021", core, {}, depths={"core": 0.6})
    assert (found.verdict, len(found.missing)) == ("cannot tell", 2)
    assert held("us_nop_5021", core, {}, depths={"core": 0.15}).missing == (
        "it takes 2 measured points (the skin and one within), and 1 was read",
    )
    deep = held("us_nop_5021", steady(3), {}, depths={"core": 0.6, "corner": 0.16})
    assert deep.missing == ("the skin, at most 15 cm deep, was not measured",)
    two = {name: pair for name, pair in steady(14).items() if name != "side"}
    wet = tuple((24.0 * d, 0.5) for d in (0, 7, 14))
    assert held("de_bioabfv", two, {}, moistures=wet).missing == (
        "it takes 3 measured points (edge, core and base), and 2 were read",
    )
    # a cold one stays a fail
    assert held("us_nop_5021", {"core": (DAYS[:4], [50.0] * 4)}, {}).verdict == "not met"


# --- elsewhere -----------------------------------------------------------------------------------


@pytest.mark.reference(source=BIOABFV, where="55 C 2 weeks, 60 C 6 days or 65 C 3 days; 40 %")
@pytest.mark.parametrize(
    ("days", "c", "verdict"),
    [(14, 55, "met"), (13, 55, "not met"), (6, 60, "met"), (5, 60, "not met"), (3, 65, "met"),
     (2, 65, "not met")],
)  # fmt: skip
def test_germany(days: int, c: float, verdict: str) -> None:
    wet = {"moistures": ((24.0, 0.40), (8 * 24.0, 0.40))}
    assert held("de_bioabfv", steady(days, c), {}, **wet).verdict == verdict
    if verdict == "met":
        dry = held("de_bioabfv", steady(days, c), {}, moistures=((24.0, 0.39),))
        assert dry.verdict == "not met"
        unknown = held("de_bioabfv", steady(days, c), {})
        assert (unknown.verdict, unknown.missing) == (
            "cannot tell", ("moisture at the time was not measured",),
        )  # fmt: skip


@pytest.mark.reference(source=UK, where="housed windrow: 60 C 8 d, 3 turns 2 d apart, 18 d storage")
@pytest.mark.parametrize(
    ("turns", "now_d", "verdict"),
    [(turned(2, 4, 6), 27, "met"), (turned(2, 3.9, 6), 27, "not met"), (turned(2, 4, 6), 25,
     "not met"), (turned(2, 4), 27, "not met")],
)  # fmt: skip
def test_catering_waste(turns: tuple, now_d: float, verdict: str) -> None:
    housed = {"housed_windrow": True}
    found = held("uk_catering", steady(8), housed, turns=turns, now_h=24 * now_d)
    assert found.verdict == verdict


@pytest.mark.reference(source=UK, where="then 18 days of storage")
def test_storage_counts_from_the_day_the_heat_was_met() -> None:
    housed = {"housed_windrow": True}
    for now_d, verdict in ((25.9, "not met"), (26, "met")):
        found = held("uk_catering", steady(20), housed, turns=turned(2, 4, 6), now_h=24 * now_d)
        assert found.verdict == verdict
        assert found.storage_until_h == 26 * 24


@pytest.mark.reference(source=BIOABFV, where="at least 40 % moisture")
def test_too_dry_from_the_sample_before_to_the_sample_after() -> None:
    wet_dry_wet = ((24.0, 0.5), (14 * 24.0, 0.3), (20 * 24.0, 0.5))
    assert dry_spans(wet_dry_wet, 0.4) == ((24.0, 20 * 24.0),)
    assert held("de_bioabfv", steady(33, 55), {}, moistures=wet_dry_wet).verdict == "not met"
    assert held("de_bioabfv", steady(34, 55), {}, moistures=wet_dry_wet).verdict == "cannot tell"
    later = (*wet_dry_wet, (30 * 24.0, 0.5))
    assert held("de_bioabfv", steady(33, 55), {}, moistures=later).verdict == "not met"
    assert held("de_bioabfv", steady(34, 55), {}, moistures=later).verdict == "met"


@pytest.mark.reference(source="own choice: a sample speaks for a week", where="[moisture]")
@pytest.mark.parametrize(
    ("days", "verdict"),
    [((7, 7.1), "met"), ((0, 7), "met"), ((-1, 6), "cannot tell"), ((0,), "cannot tell"),
     ((0, 14.5), "cannot tell"), ((0, 13.9), "met"), ((), "cannot tell"), ((20,), "cannot tell")],
)  # fmt: skip
def test_a_sample_of_moisture_speaks_for_a_week(days: tuple, verdict: str) -> None:
    wet = tuple((24.0 * d, 0.5) for d in days)
    found = held("de_bioabfv", steady(14, 55), {}, moistures=wet)
    assert found.verdict == verdict
    if verdict == "cannot tell":
        assert found.missing == ("moisture at the time was not measured",)
    short = held("de_bioabfv", steady(13, 55), {}, moistures=wet)
    assert short.verdict == "not met"


@pytest.mark.reference(source=UK, where="closed reactor: 60 C 2 d, 70 C 1 h")
def test_catering_waste_in_a_closed_reactor() -> None:
    closed, later = {"closed_reactor": True}, {"now_h": 1000.0}
    times = [0.5 * k for k in range(97)]
    assert held("uk_catering", {"a": (times, [60.0] * 97)}, closed, **later).verdict == "met"
    assert held("uk_catering", {"a": ([0, 0.5, 1], [70, 71, 70])}, closed, **later).verdict == "met"
    # daily readings say nothing of an hour without a break
    assert held("uk_catering", steady(8, 71), closed, **later).verdict == "not met"


@pytest.mark.reference(source="Regulation 142/2011, value from memory", where="70 C, 60 minutes")
def test_animal_by_products() -> None:
    closed = {"closed_reactor": True}
    assert held("eu_142_2011", {"a": ([0, 1], [70, 70])}, closed).verdict == "met"
    assert held("eu_142_2011", {"a": ([0, 0.9], [70, 70])}, closed).verdict == "not met"
    assert held("eu_142_2011", {"a": ([0, 1], [70, 70])}, {}).verdict == "no category fits"


@pytest.mark.reference(source="Regulation 2019/1009, value from memory", where="CMC 3")
@pytest.mark.parametrize(("c", "days"), [(70, 3), (65, 5), (60, 7), (55, 14)])
def test_fertilising_products(c: float, days: int) -> None:
    assert held("eu_2019_1009", steady(days, c), {}).verdict == "met"
    assert held("eu_2019_1009", steady(days - 1, c), {}).verdict == "not met"


@pytest.mark.reference(source="PAS 100, value from memory", where="65-80 C, 7 d, 2 turns, 51 %")
def test_pas_100_days_need_not_follow_each_other() -> None:
    temps = [66.0] * 5 + [50.0] + [66.0] * 5
    spots = {"a": (DAYS[:11], temps)}
    wet = {"moistures": ((48.0, 0.51),)}
    assert held("uk_pas100", spots, {}, turns=turned(2, 5), **wet).verdict == "met"
    assert held("uk_pas100", spots, {}, turns=turned(2), **wet).verdict == "not met"
    assert held("uk_pas100", {"a": (DAYS[:9], temps[:9])}, {}, turns=turned(2, 5),
                **wet).verdict == "not met"  # fmt: skip
    assert held("uk_pas100", spots, {}, turns=turned(2, 5),
                moistures=((48.0, 0.50),)).verdict == "not met"  # fmt: skip


@pytest.mark.reference(source="AS 4454-2012, value from memory", where="3 days in a row a turn, 3")
def test_australia() -> None:
    assert held("au_as4454", steady(9), turns=turned(3, 6, 9)).verdict == "met"
    assert held("au_as4454", steady(9), turns=turned(3, 5, 9)).verdict == "not met"
    assert held("au_as4454", steady(9), turns=turned(3, 6)).verdict == "not met"
    assert held("au_as4454_high_risk", steady(15), turns=FIVE).verdict == "met"
    assert held("au_as4454_high_risk", steady(9), turns=turned(3, 6, 9)).verdict == "not met"


@pytest.mark.reference(
    source="40 CFR 503 App. B A.4, value from memory", where="40 C 5 d, 55 C 4 h"
)
def test_psrp_asks_for_four_hours_in_the_five_days() -> None:
    def heap(hot: float) -> dict:
        times = [*DAYS[:3], 48 + hot, 72, 96, 120]
        return {"a": (times, [41.0, 41, 56, 56, 41, 41, 41])}

    assert held("us_psrp", heap(4)).verdict == "met"
    assert held("us_psrp", heap(3.9)).verdict == "not met"
    assert held("us_psrp", steady(4, 56)).verdict == "not met"


@pytest.mark.reference(
    source="40 CFR 503.33(b)(5), value from memory", where="14 d > 40, mean > 45"
)
def test_vector_attraction() -> None:
    assert held("us_vector", steady(14, 45.1), {}).verdict == "met"
    assert held("us_vector", steady(14, 45.0), {}).verdict == "not met"
    assert held("us_vector", steady(13, 60), {}).verdict == "not met"
    assert held("us_vector", steady(14, 60, cold=40.0), {}).verdict == "not met"


@pytest.mark.reference(
    source="Switzerland, Austria, Denmark: from memory, low confidence", where=""
)
def test_three_more() -> None:
    assert held("ch", steady(21, 55), {}).verdict == held("ch", steady(7, 60), {}).verdict == "met"
    assert held("at", steady(6, 65), {}).verdict == "met"
    twice = {"a": (DAYS[:9], [65.0] * 4 + [50.0] + [65.0] * 4)}
    assert held("at", twice, {}).verdict == "met"
    assert held("at", {"a": (DAYS[:8], twice["a"][1][:8])}, {}).verdict == "not met"
    assert held("dk", steady(14, 55), {}).verdict == "met"
    assert all(rules()[k].from_memory for k in ("ch", "at", "dk"))


# --- the list ------------------------------------------------------------------------------------


def test_every_rule_says_what_it_is() -> None:
    from heapwright.science.hygiene import KINDS
    from heapwright.science.values import SEEN

    for key, one in rules().items():
        assert one.name, key
        assert one.edition, key
        assert one.source, key
        assert one.caveats, key
        assert one.seen in SEEN, key
        for option in one.options:
            assert set(option.kinds) <= set(KINDS), key
            assert option.how in ("consecutive", "summed", "blocks", "before turns"), key
    assert "superseded" in " ".join(rules()["de_bioabfv"].caveats)


def test_an_unknown_rule_names_its_neighbours() -> None:
    with pytest.raises(UnknownNameError, match="us_pfrp"):
        rule("us_pfrb")


def test_a_history_without_readings_cannot_tell() -> None:
    found = held("us_nop_5021", {}, {})
    assert (found.verdict, found.missing) == ("cannot tell", ("no temperature was read",))


def test_readings_that_cannot_be() -> None:
    with pytest.raises(QuantityError):
        course({"a": ([0, 1], [60])}, gap_h=36)
    with pytest.raises(QuantityError):
        course({"a": ([0, 1], [60, 61])}, gap_h=0)
    with pytest.raises(QuantityError):
        clock(rule("us_pfrp").options[0], {"a": ([0, math.inf], [60, 61])})
