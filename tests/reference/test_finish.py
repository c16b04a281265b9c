"""Tests of finish against published classes and worked numbers.

Values marked "from memory" were not seen on their page by anyone here.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from statsmodels.stats.proportion import confint_proportions_2indep

from heapwright.errors import EntryError, InputError
from heapwright.science import finish
from heapwright.science.finish import Dish
from heapwright.services.doings import log_event, log_sample
from heapwright.services.finishentry import READERS, read_test
from heapwright.services.log import log_round
from heapwright.services.maturity import finish_part, maturity_parts
from heapwright.services.plans import example_plan, lock_plan
from heapwright.stats.counted import difference_of_shares
from heapwright.store.book import Book

reference = pytest.mark.reference
TRIAL = "Ferncombe 2026"
NOW = datetime(2026, 8, 20, 9, tzinfo=UTC)
CCQC = "California Compost Quality Council 2001, Compost Maturity Index (from memory)"


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """The invented trial, locked; heap A was built on 18 April."""
    plan = tmp_path / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    made = Book(tmp_path / "b.sqlite")
    built = datetime(2026, 4, 18, 9, tzinfo=UTC)
    lock_plan(made, plan, now=built - timedelta(days=1))
    log_event(made, TRIAL, ["A"], "built", now=built)
    return made


def log(book: Book, what: str, value: str, *, at: datetime = NOW, **more: str) -> None:
    log_sample(book, TRIAL, "A", what, value, now=at, **more)  # type: ignore[arg-type]


def numbers(book: Book) -> dict[str, dict[str, Any]]:
    """Tests of heap A by key that are gone by, as the answer holds them."""
    part = finish_part(book, TRIAL, "A", now=NOW)
    made: dict[str, dict[str, Any]] = {}
    for t in part.numbers["tests"]:  # the one gone by stands before others of the same test
        made.setdefault(t["test"], t)
    return made


def rows(book: Book, title: str) -> list[tuple[str, str]]:
    """Result and reading of each row of a test in the first table of heap A."""
    grid = finish_part(book, TRIAL, "A", now=NOW).grids[0]
    return [(row[1], row[3]) for row in grid.rows if row[0] == title]


# --- Dewar, CO2, germination index ----------------------------------------------------------------


@reference(
    "Brinton et al. 1995; LAGA and BGK, Rottegrad (from memory)", "classes by rise above air"
)
@pytest.mark.parametrize(
    ("rise", "grade"),
    [(0, "V"), (5, "V"), (9.9, "V"), (10, "IV"), (15, "IV"), (19.9, "IV"), (20, "III"), (25, "III"),
     (30, "II"), (39.9, "II"), (40, "I"), (55, "I")],
)  # fmt: skip
def test_dewar_classes(rise: float, grade: str) -> None:
    assert finish.dewar_class(rise) == grade


@reference("PAS 100:2005 (seen), 16 mg CO2; times 12/44", "4.36 mg CO2-C")
def test_carbon_dioxide_is_counted_as_carbon() -> None:
    assert finish.co2_c(16.0) == pytest.approx(4.3636, abs=5e-5)
    value, said = read_test("respiration", "16 mg CO2/g OM/d")
    assert value == pytest.approx(4.3636, abs=5e-5)
    assert "16 mg CO2 is 4.36 mg CO2-C" in said
    assert read_test("respiration", "7.0 mg CO2-C/g OM/d") == (7.0, "")
    kept = [v for v in finish.verdicts("respiration", value) if v.scheme.key == "pas100"]
    assert [v.label for v in kept] == ["kept (4.36 at most)"]
    with pytest.raises(EntryError, match="carbon dioxide or its carbon"):
        read_test("respiration", "16")


@reference("Zucconi et al. 1981 (50 and 80 seen, the rest from memory)", "GI, computed: 72.0")
def test_germination_index() -> None:
    test, control = [Dish(18, 20, 24.0)], [Dish(20, 20, 30.0)]
    assert 100 * finish.germination_index(test, control) == pytest.approx(72.0, abs=1e-9)
    assert read_test("germination_index", "18/20 24 mm, control 20/20 30 mm")[0] == pytest.approx(
        0.72
    )
    labels = [finish.verdicts("germination_index", g)[0].label for g in (0.49, 0.72, 0.81, 1.2)]
    assert labels == [
        "strong harm",
        "moderate harm",
        "free of harm",
        "free of harm, growth is helped",
    ]


def test_dishes_are_pooled_by_counts_and_not_averaged() -> None:
    dishes = [Dish(10, 10, 40.0), Dish(1, 10, 10.0)]
    # (11/20)/(18/20) * ((10*40 + 10)/11)/30; the mean of two indices would be 0.76
    assert finish.germination_index(dishes, [Dish(18, 20, 30.0)]) == pytest.approx(
        (11 / 20) / (18 / 20) * (410 / 11) / 30
    )


# --- CCQC -----------------------------------------------------------------------------------------


@reference(CCQC, "the table, row by row")
@pytest.mark.parametrize(
    ("test", "values"),
    [
        ("respiration", (1.9, 2.0, 8.0, 8.1)),
        ("sour", (0.49, 0.5, 1.5, 1.51)),
        ("oxygen_uptake", (0.39, 0.4, 1.3, 1.31)),
        ("reheat_c", (9.9, 10.0, 20.0, 20.1)),
        ("nh4_no3_ratio", (0.49, 0.5, 3.0, 3.1)),
        ("nh4_n_mg_kg", (74, 75, 500, 501)),
        ("vfa_mg_kg", (199, 200, 1000, 1001)),
        ("emergence", (0.91, 0.90, 0.80, 0.79)),
        ("vigour", (0.91, 0.90, 0.80, 0.79)),
    ],
)
def test_ccqc_table(test: str, values: tuple[float, float, float, float]) -> None:
    labels = [
        v.label for x in values for v in finish.verdicts(test, x) if v.scheme.key == "ccqc"
    ]  # fmt: skip
    assert labels == ["very mature", "mature", "mature", "immature"]


@reference(CCQC, "gate, one group A and one group B, the worse of both")
@pytest.mark.parametrize(
    ("values", "rating", "missing"),
    [
        ({"cn_ratio": 15, "respiration": 1.0, "emergence": 1.0}, "very mature", 0),
        ({"cn_ratio": 25, "respiration": 1.0, "emergence": 0.85}, "mature", 0),
        ({"cn_ratio": 15, "respiration": 5.0, "emergence": 1.0}, "mature", 0),
        ({"cn_ratio": 15, "respiration": 9.0, "emergence": 1.0}, "immature", 0),
        ({"cn_ratio": 25.1, "respiration": 1.0, "emergence": 1.0}, "immature", 0),
        ({"cn_ratio": 15, "respiration": 1.0, "emergence": 1.0, "nh4_n_mg_kg": 600}, "immature", 0),
        ({"respiration": 1.0, "emergence": 1.0}, "", 1),
        ({"cn_ratio": 15, "emergence": 1.0}, "", 1),
        ({"cn_ratio": 15, "respiration": 1.0}, "", 1),
    ],
)
def test_ccqc_rating(values: dict[str, float], rating: str, missing: int) -> None:
    found = finish.ccqc_rating(values)
    assert (found.rating, len(found.missing)) == (rating, missing)


@reference(
    "laboratory report (seen): emergence 93.3 and 100 %, NH4-N 530 ppm, NO3-N 7.5 ppm",
    "ratio 71, immature",
)
def test_a_report_that_passes_plants_and_fails_ammonia_shows_both(book: Book) -> None:
    log(book, "emergence", "93.3 %", part="sample 1")
    log(book, "emergence", "100 %", part="sample 2")
    log(book, "ammonium", "530 ppm")
    log(book, "nitrate", "7.5 ppm")
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert part.words[0] == (
        "Seedlings came up as in the control, but ammonium nitrogen is 530 ppm: ammonia harms "
        "young roots. I go by the worse: mulch yes, pots not yet."
    )
    tests = numbers(book)
    classes = {k: [c["class"] for c in t["classes"]] for k, t in tests.items()}
    assert classes["emergence"][0] == "very mature"
    assert classes["nh4_n_mg_kg"] == ["immature"]
    assert classes["nh4_no3_ratio"][0] == "immature"
    assert tests["nh4_no3_ratio"]["shown"] == "71"
    assert part.numbers["ccqc"]["rating"] == "immature"


@reference(
    "laboratory reports (seen): 7.0 and 8.5 mg CO2-C/g OM/d; NH4-N 640 ppm, ratio 5800",
    "classes by CCQC (from memory)",
)
def test_other_reports() -> None:
    def ccqc(key: str, value: float) -> str:
        return next(v.label for v in finish.verdicts(key, value) if v.scheme.key == "ccqc")

    assert (ccqc("respiration", 7.0), ccqc("respiration", 8.5)) == ("mature", "immature")
    assert (ccqc("nh4_n_mg_kg", 640), ccqc("nh4_no3_ratio", 5800)) == ("immature", "immature")


# --- counting -------------------------------------------------------------------------------------


@reference(
    "Newcombe 1998, Statistics in Medicine 17, 873-890, method 10 (from memory)",
    "56/70, 48/80; 9/10, 3/10",
)
@pytest.mark.parametrize(
    ("counts", "low", "high"),
    [((56, 70, 48, 80), 0.0524, 0.3339), ((9, 10, 3, 10), 0.1705, 0.8090)],
)
def test_difference_of_shares(counts: tuple[int, int, int, int], low: float, high: float) -> None:
    _, found_low, found_high = difference_of_shares(*counts)
    assert (found_low, found_high) == (pytest.approx(low, abs=5e-5), pytest.approx(high, abs=5e-5))


@pytest.mark.parametrize(
    "counts", [(7, 10, 9, 10), (0, 10, 10, 10), (15, 15, 15, 15), (1, 30, 29, 30)]
)
def test_difference_of_shares_against_another_program(counts: tuple[int, int, int, int]) -> None:
    low, high = confint_proportions_2indep(*counts, method="newcomb", compare="diff")
    assert difference_of_shares(*counts)[1:] == (pytest.approx(low), pytest.approx(high))
    with pytest.raises(InputError):
        difference_of_shares(11, 10, 5, 10)


def test_seven_of_ten_against_nine_of_ten_is_unsure(book: Book) -> None:
    log(book, "emergence", "7/10, control 9/10")
    part = finish_part(book, TRIAL, "A", now=NOW)
    (test,) = part.numbers["tests"]
    assert (test["read_as"], test["counts"]) == ("unsure", False)
    assert any("unsure" in w and "7/10 against 9/10" in w for w in part.words)
    assert part.numbers["stage"] is None
    assert "plants" not in (part.numbers["ccqc"]["rating"] or "")


def test_many_seedlings_decide(book: Book) -> None:
    log(book, "emergence", "70/100, control 95/100")
    assert numbers(book)["emergence"]["read_as"] == "not ripe"
    # two days later chance or another handful may be why: the worse of a week is gone by
    log(book, "emergence", "96/100, control 97/100", at=NOW + timedelta(days=2))
    assert numbers(book)["emergence"]["read_as"] == "not ripe"
    log(book, "emergence", "95/100, control 97/100", at=NOW + timedelta(days=10))
    assert numbers(book)["emergence"]["read_as"] == "ripe"


# --- what does not count --------------------------------------------------------------------------


def test_a_poor_control_invalidates(book: Book) -> None:
    log(book, "cress", "8/10 24 mm, control 8/10 25 mm")
    test = numbers(book)["germination_index"]
    assert (test["read_as"], test["counts"]) == ("does not count", False)
    assert "only 8 of 10 came up in the control" in str(test["why_not"])


@pytest.mark.parametrize("key", ["reheating", "respiration"])
def test_a_dry_sample_is_refused_until_wetted(book: Book, key: str) -> None:
    value = {"reheating": "peak 24 C, air 22 C", "respiration": "1 mg CO2-C/g/d"}[key]
    log(book, "moisture", "31 %", at=NOW - timedelta(days=1))
    with pytest.raises(EntryError) as refused:
        log(book, key, value)
    assert refused.value.way_out is not None
    assert "Wet it to squeeze-damp, let it stand a day, and test again" in refused.value.way_out
    log(book, "moisture", "52 %", at=NOW + timedelta(hours=20))
    log(book, key, value, at=NOW + timedelta(hours=30))
    assert all(t["counts"] for t in numbers(book).values())


def test_a_dry_handful_refuses_and_wetting_the_sample_lets_it_pass(book: Book) -> None:
    log_event(book, TRIAL, ["A"], "note", now=NOW - timedelta(hours=5), note="squeeze: crumbles")
    with pytest.raises(EntryError, match="crumbles"):
        log(book, "reheating", "3 C")
    log(book, "reheating", "3 C", method="wetted")
    assert numbers(book)["reheat_c"]["counts"]


def test_dry_material_found_out_afterwards_takes_the_test_out(book: Book) -> None:
    log(book, "reheating", "3 C")
    assert numbers(book)["reheat_c"]["counts"]
    log(book, "moisture", "25 %", at=NOW + timedelta(hours=1))
    test = numbers(book)["reheat_c"]
    assert not test["counts"]
    assert "too dry for this test" in str(test["why_not"])


def test_a_sealed_jar_gives_no_class(book: Book) -> None:
    log(book, "respiration", "1.0 mg CO2-C/g/d", method="sealed jar")
    assert numbers(book)["respiration"]["read_as"] == "does not count"


@reference("WSU 2011 (Whatcom), OSU 2009 (seen)", "three control pots at least, signs by severity")
@pytest.mark.parametrize(
    ("typed", "read_as"),
    [
        ("none none none, control none none none, control up 9/9", "ripe"),
        ("moderate severe moderate, control none none none, control up 9/9", "not ripe"),
        ("slight slight slight, control none none none, control up 9/9", "half ripe"),
        ("none none slight none, control none none none, control up 9/9", "unsure"),
        ("moderate moderate, control none none, control up 6/6", "does not count"),
        ("moderate moderate, control none none none", "does not count"),
        ("moderate moderate, control none none none, control up 6/9", "does not count"),
        ("moderate moderate, control moderate slight none, control up 9/9", "does not count"),
    ],
)
def test_bean_pots(book: Book, typed: str, read_as: str) -> None:
    log(book, "bean pots", typed)
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert part.numbers["tests"][0]["read_as"] == read_as
    shows = read_as != "ripe"  # signs that do not count for want of a control are signs still
    assert bool(part.cautions) == shows
    if read_as in ("unsure", "does not count"):
        assert part.numbers["use"].startswith("mulch, beds and pots not before beans are sown")
    if shows:
        assert "cannot tell which" in part.cautions[0]
        assert "Salt and unripe compost give the same signs" in part.cautions[0]


# --- the worse is gone by -------------------------------------------------------------------------


def test_conflicting_tests_stand_side_by_side_and_the_worse_is_gone_by(book: Book) -> None:
    log(book, "cress", "20/20 30 mm, control 20/20 30 mm")
    log(book, "reheating", "peak 46 C, air 22 C")
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert part.words[0] == (
        "Cress grew as in the control, but the sample warmed 24 degrees: it is still rotting. "
        "I go by the worse: mulch yes, pots not yet."
    )
    assert part.numbers["stage"] == "not ripe"
    assert {t["test"] for t in part.numbers["tests"]} == {"reheat_c", "germination_index"}


def test_samples_of_one_day_in_different_classes_are_not_averaged(book: Book) -> None:
    log(book, "reheating", "4 C", part="vessel 1")
    log(book, "reheating", "26 C", part="vessel 2")
    assert numbers(book)["reheat_c"]["value"] == 26.0


def test_an_old_test_is_shown_and_not_gone_by(book: Book) -> None:
    log(book, "reheating", "45 C", at=NOW - timedelta(days=60))
    log(book, "cress", "20/20 30 mm, control 20/20 30 mm")
    tests = numbers(book)
    assert tests["reheat_c"]["read_as"] == "older, not gone by"
    assert finish_part(book, TRIAL, "A", now=NOW).numbers["stage"] == "ripe"


def test_signs_in_few_pots_hold_it_back_until_beans_are_sown_again(book: Book) -> None:
    log(book, "cress", "20/20 30 mm, control 20/20 30 mm")
    log(book, "reheating", "3 C")
    log(book, "bean pots", "none none slight none, control none none none, control up 9/9")
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert part.numbers["use"] == "mulch, beds and pots not before beans are sown again"


def test_the_heap_that_warms_again_after_a_turn_is_not_ripe(book: Book) -> None:
    turned = NOW - timedelta(days=8)
    log_event(book, TRIAL, ["A"], "turned", now=turned)
    for day, core in ((0.5, 22), (1, 20), (3, 34), (6, 41)):
        when = turned + timedelta(days=day)
        spots = f"{core}/{core - 2}/{core - 3}"
        log_round(book, TRIAL, f"A {spots} air 15", now=when)
    log(book, "cress", "20/20 30 mm, control 20/20 30 mm")
    part = finish_part(book, TRIAL, "A", now=NOW)
    warmed = numbers(book)["warmed_again"]
    assert (warmed["value"], warmed["read_as"]) == (pytest.approx(21.0, abs=0.1), "not ripe")
    assert part.words[0].startswith(
        "Cress grew as in the control, but the heap warmed 21 degrees after its last turn"
    )


def test_carbon_and_nitrogen_alone_are_no_test_of_finish(book: Book) -> None:
    log(book, "cn", "34", at=NOW - timedelta(days=120))
    assert list(maturity_parts(book, TRIAL, now=NOW)) == []


# --- several results of one test ------------------------------------------------------------------

HOT = "Reheating in a vessel"


def test_a_worse_result_of_the_same_week_is_gone_by_and_all_are_shown(book: Book) -> None:
    log(book, "cress", "20/20 30 mm, control 20/20 30 mm")
    log(book, "reheating", "40 C", at=NOW - timedelta(days=1))
    log(book, "reheating", "5 C")
    assert numbers(book)["reheat_c"]["value"] == 40.0
    assert rows(book, HOT) == [("40 degrees", "not ripe"), ("5 degrees", "newer, not gone by")]
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert part.numbers["stage"] == "not ripe"
    assert any("within 7 days the worse is gone by (own choice)" in k for k in part.known)
    assert "of 2 results within 7 days the worse is gone by" in part.grids[0].note


@pytest.mark.parametrize(("days", "value"), [(6.9, 40.0), (7.1, 5.0), (20, 5.0)])
def test_an_earlier_result_of_another_week_is_shown_only(
    book: Book, days: float, value: float
) -> None:
    log(book, "reheating", "40 C", at=NOW - timedelta(days=days))
    log(book, "reheating", "5 C")
    assert numbers(book)["reheat_c"]["value"] == value
    assert {r[0] for r in rows(book, HOT)} == {"40 degrees", "5 degrees"}
    if value == 5.0:
        assert rows(book, HOT)[1] == ("40 degrees", "earlier, not gone by")


def test_an_earlier_and_better_result_is_shown_as_earlier(book: Book) -> None:
    log(book, "reheating", "5 C", at=NOW - timedelta(days=3))
    log(book, "reheating", "40 C")
    assert rows(book, HOT) == [("40 degrees", "not ripe"), ("5 degrees", "earlier, not gone by")]


def test_a_newer_result_that_does_not_count_hides_no_earlier_one(book: Book) -> None:
    log(book, "cress", "4/20 30 mm, control 20/20 30 mm", at=NOW - timedelta(days=12))
    log(book, "cress", "8/10 24 mm, control 8/10 25 mm")
    assert numbers(book)["germination_index"]["read_as"] == "not ripe"
    readings = [r[1] for r in rows(book, "Cress in an extract (germination index)")]
    assert readings == ["not ripe", "does not count"]


def test_signs_in_beans_do_not_grow_old(book: Book) -> None:
    severe = "severe severe severe, control none none none, control up 9/9"
    clean = "none none none, control none none none, control up 9/9"
    log(book, "bean pots", severe, at=NOW - timedelta(days=90))
    log(book, "cress", "20/20 30 mm, control 20/20 30 mm")
    log(book, "reheating", "3 C")
    assert numbers(book)["bean_signs"]["read_as"] == "not ripe"
    assert numbers(book)["bean_signs"]["shown"] == "severe"
    assert finish_part(book, TRIAL, "A", now=NOW).numbers["use"] == "grass yes, beds and pots not"
    # a clean test without control lifts nothing, one that counts does
    log(book, "bean pots", "none none none", at=NOW - timedelta(days=2))
    assert numbers(book)["bean_signs"]["shown"] == "severe"
    log(book, "bean pots", clean)
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert (part.numbers["use"], part.cautions) == ("mulch, beds and pots yes", ())
    assert ("severe", "earlier, not gone by") in rows(book, "Pea or bean pots for weedkiller")


def test_a_clean_test_of_the_same_week_lifts_no_signs(book: Book) -> None:
    log(book, "bean pots", "severe severe, control none none none, control up 9/9",
        at=NOW - timedelta(days=3))  # fmt: skip
    log(book, "bean pots", "none none none, control none none none, control up 9/9")
    assert numbers(book)["bean_signs"]["shown"] == "severe"


def test_a_score_that_names_no_pots_is_not_dropped_beside_one_that_does(book: Book) -> None:
    log(book, "bean pots", "2.0")
    log(book, "bean pots", "none none none, control none none none, control up 9/9")
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert part.numbers["tests"][0]["read_as"] == "unsure"
    assert part.numbers["use"].startswith("mulch, beds and pots not before")


@pytest.mark.parametrize("days", [40, 0])
def test_signs_without_a_control_hold_it_back(book: Book, days: float) -> None:
    log(book, "bean pots", "severe severe severe", at=NOW - timedelta(days=days))
    log(book, "cress", "20/20 30 mm, control 20/20 30 mm")
    log(book, "reheating", "3 C")
    part = finish_part(book, TRIAL, "A", now=NOW)
    held = "mulch, beds and pots not before beans are sown again with a control"
    assert part.numbers["use"] == held
    assert held[1:] in part.words[0]
    assert part.cautions


def test_no_nitrate_at_all_is_worse_than_every_class(book: Book) -> None:
    log(book, "ammonium", "400 ppm")
    log(book, "nitrate", "0 ppm")
    test = numbers(book)["nh4_no3_ratio"]
    assert (test["value"], test["read_as"]) == (None, "not ripe")
    assert {c["class"] for c in test["classes"]} == {"immature", "not kept (below 0.16)"}
    assert "worse than every class" in " ".join(test["notes"])
    part = finish_part(book, TRIAL, "A", now=NOW)
    assert part.numbers["ccqc"]["rating"] == "immature"
    assert "ratio without end, as there is no nitrate" in " ".join(part.words)
    json.dumps(part.numbers, allow_nan=False)


def test_neither_ammonium_nor_nitrate_gives_no_ratio(book: Book) -> None:
    log(book, "ammonium", "0 ppm")
    log(book, "nitrate", "0 ppm")
    assert "nh4_no3_ratio" not in numbers(book)


def test_vigour_goes_by_lengths(book: Book) -> None:
    log(book, "vigour", "60/60 20 mm, control 60/60 40 mm")
    test = numbers(book)["vigour"]
    assert (test["value"], test["read_as"]) == (0.5, "not ripe")
    assert test["notes"] == ["20 mm against 40 mm in the control"]
    with pytest.raises(EntryError) as refused:
        log(book, "vigour", "60/60, control 60/60")
    assert refused.value.way_out is not None
    assert "log it as emergence" in refused.value.way_out


def test_a_limit_is_kept_by_just_that() -> None:
    value, _ = read_test("oxygen_uptake", "25 mmol O2/kg OM/h")
    kept = [v.label for v in finish.verdicts("oxygen_uptake", value) if v.scheme.key == "eu1009"]
    assert kept == ["kept (25 mmol O2/kg/h at most)"]


def test_text_and_basis_that_name_two_gases_are_refused() -> None:
    assert read_test("respiration", "7 mg/g/d", basis="co2-c")[0] == 7.0
    with pytest.raises(EntryError, match="name two gases"):
        read_test("respiration", "7 mg CO2/g/d", basis="co2-c")


# --- the table ------------------------------------------------------------------------------------


def test_every_class_has_an_edition_and_says_whether_it_was_seen() -> None:
    from heapwright.science.values import SEEN
    from heapwright.units import REGISTER

    for key, assay in finish.assays().items():
        if key not in ("warmed_again",):
            assert key in REGISTER
            assert assay.typed
        for verdict in finish.verdicts(key, 1.0):
            assert verdict.scheme.edition
            assert verdict.scheme.seen in SEEN
            memory = verdict.scheme.from_memory
            assert ("from memory" in verdict.scheme.said) == (
                memory or verdict.scheme.seen == "partly seen"
            )
    for name in ("dry_below", "control_up", "control_pots", "worse_within_d", "below_air_c"):
        assert finish.number(name).source
        assert finish.number(name).seen in SEEN


@pytest.mark.parametrize("key", list(READERS))
def test_the_example_of_each_test_can_be_read(key: str) -> None:
    value, _ = read_test(key, finish.assay(key).typed)
    assert finish.verdicts(key, value) or key in ("smell_score", "look_score", "overs_frac")


@pytest.mark.parametrize(
    ("key", "typed", "value"),
    [
        ("reheat_c", "24", 24.0), ("reheat_c", "43.2 F", 24.0), ("reheat_c", "24 degrees", 24.0),
        ("reheat_c", "peak 115 F, air 72 F", 43 / 1.8), ("reheat_c", "air 22, peak 46", 24.0),
        ("oxygen_uptake", "25 mmol O2/kg OM/h", 0.8), ("oxygen_uptake", "400 mg O2/kg VS/h", 0.4),
        ("nh4_n_mg_kg", "530 mg/kg dry", 530.0), ("nh4_n_mg_kg", "0.053 %", 530.0),
        ("salts_ds_m", "3100 uS/cm", 3.1), ("salts_ds_m", "3.1 mS/cm", 3.1),
        ("emergence", "14/15, control 15/15", 14 / 15), ("emergence", "93.3 % of control", 0.933),
        ("overs_frac", "12 % over 10 mm", 0.12), ("germination_index", "72 %", 0.72),
        ("bean_signs", "0 1 2, control 0 0 0, control up 9/9", 1.0),
        ("respiration", "CO2-C 9 mg/g/d", 9.0), ("respiration", "CO2: 16 mg/g/d", 16 * 12 / 44),
        ("respiration", "2 mmol CO2/g OM/d", 24.0), ("respiration", "2 mmol CO2-C/g/d", 24.0),
        ("respiration", "700 ug CO2-C/g VS/h", 16.8),
        ("respiration", "700 \N{MICRO SIGN}g CO2-C/g/h", 16.8),
        ("respiration", "9000 mg CO2-C per kg of organic matter and day", 9.0),
        ("respiration", "5 mg CO2-C/g/d, sealed jar", 5.0),
        ("oxygen_uptake", "O2 0.4 mg/g/h", 0.4), ("oxygen_uptake", "9.6 mg O2/g/d", 0.4),
        ("reheat_c", "peak 21.5 C, air 22 C", -0.5),
        ("vigour", "60/60 20 mm, control 60/60 40 mm", 0.5),
        ("vigour", "30/60 2 cm, control 60/60 20 mm", 1.0),
    ],
)  # fmt: skip
def test_what_people_write(key: str, typed: str, value: float) -> None:
    assert read_test(key, typed)[0] == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("key", "typed"),
    [
        ("reheat_c", "peak 46 C"), ("reheat_c", "warm"), ("respiration", "4 mg CO2/g DM/d"),
        ("respiration", "-1 mg CO2-C/g/d"), ("germination_index", "18/20 24 mm"),
        ("germination_index", "21/20 24 mm, control 20/20 30 mm"),
        ("germination_index", "18/20, control 20/20"), ("emergence", "7/10"),
        ("emergence", "7/10, control 0/10"), ("bean_signs", "bad, control none"),
        ("vfa_mg_kg", "200 ppm wet"), ("smell_score", "6"), ("overs_frac", "25 mm 0.4 kg"),
        ("overs_frac", "25 mm 0 kg, pan 0 kg"), ("respiration", "5 ml CO2/g/d"),
        ("respiration", "5 g CO2/kg/d"), ("respiration", "5 mg CO2/g/week"),
        ("respiration", "3-5 mg CO2/g/d"), ("respiration", "3 to 5 mg CO2/g/d"),
        ("respiration", "<2 mg CO2-C/g/d"), ("respiration", "5 mg CO2 g-1 d-1"),
        ("respiration", "4 mg CO2-C/g DW/d"), ("respiration", "4 mg CO2-C/g FM/d"),
        ("respiration", "4 mg CO2-C/g dry matter/d"), ("respiration", "4 mg CO2-C/g fresh/d"),
        ("respiration", "CO2-C 9"), ("respiration", "9 mg CO2-C/g"),
        ("respiration", "CO2 9 mg CO2-C/g/d"), ("respiration", "4 mg O2/g/d"),
        ("respiration", "9 mg CO2-C/g/d or 8 mg CO2-C/g/d"), ("oxygen_uptake", "4 mg CO2/g/h"),
        ("sour", "1 mg O2/g TS/h"), ("oxygen_uptake", "1 ml O2/g/h"),
        ("vigour", "60/60, control 60/60"), ("vigour", "60/60 20 mm"),
        ("vigour", "60/60 20 mm, control 60/60"), ("vigour", "6/60 20 mm, control 0/60"),
        ("reheat_c", "peak 18 C, air 22 C"), ("reheat_c", "-3"), ("reheat_c", "-3 C"),
        ("reheat_c", "peak 70 F, air 75 F"),
    ],
)  # fmt: skip
def test_what_cannot_stand_names_field_value_and_way_out(key: str, typed: str) -> None:
    with pytest.raises(InputError) as error:
        read_test(key, typed, field="value")
    assert error.value.field
    assert error.value.way_out
