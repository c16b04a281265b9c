"""Tests of finish against published classes and worked numbers.

Values marked "from memory" were not seen on their page by anyone here.
"""

from __future__ import annotations

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
    """Tests of heap A by key, as the answer holds them."""
    part = finish_part(book, TRIAL, "A", now=NOW)
    return {t["test"]: t for t in part.numbers["tests"]}


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
    log(book, "emergence", "96/100, control 97/100", at=NOW + timedelta(days=2))
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
    shows = read_as in ("not ripe", "half ripe", "unsure")
    assert bool(part.cautions) == shows
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
    assert part.numbers["use"] == "mulch yes, beds and pots not before beans are sown again"


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
    for name in ("dry_below", "control_up", "control_pots"):
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
        ("overs_frac", "25 mm 0 kg, pan 0 kg"),
    ],
)  # fmt: skip
def test_what_cannot_stand_names_field_value_and_way_out(key: str, typed: str) -> None:
    with pytest.raises(InputError) as error:
        read_test(key, typed, field="value")
    assert error.value.field
    assert error.value.way_out
