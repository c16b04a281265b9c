"""Designs by hand: what is averaged, what is refused and in which words, what pairs say."""

from __future__ import annotations

import math

import numpy as np
import pytest

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats.anova import anova
from heapwright.stats.contrast import informed_contrast
from heapwright.stats.designs import effect, interaction, paired
from heapwright.stats.estimable import contrast, means
from heapwright.stats.linear import HeapRow, fit
from heapwright.stats.manytoone import Together, many_to_one
from heapwright.stats.prior import SpreadPrior

PRIOR = SpreadPrior()
WAYS = [("A", 31.2, "left"), ("B", 27.5, "left"), ("C", 38.9, "turned"), ("D", 36.1, "turned")]


def ways() -> list[HeapRow]:
    return [HeapRow(*row) for row in WAYS]


def two_by_two(*cells: tuple[str, str, float]) -> list[HeapRow]:
    return [
        HeapRow(str(i), v, factors={"turning": t, "material": m})
        for i, (t, m, v) in enumerate(cells)
    ]


CROSSED = two_by_two(
    ("no", "bark", 30), ("no", "bark", 32), ("yes", "bark", 33), ("yes", "bark", 35),
    ("no", "grass", 40), ("yes", "grass", 50), ("yes", "grass", 52), ("yes", "grass", 54),
)  # fmt: skip


# -- what is averaged --


def test_main_effect_weighs_the_other_factor_equally() -> None:
    f = fit(CROSSED, [("turning", "material")])
    assert effect(f, "turning", "yes", "no").estimate == pytest.approx((3 + 12) / 2)
    assert effect(f, "turning", "yes", "no", at={"material": "bark"}).estimate == pytest.approx(3)
    assert effect(f, "turning", "yes", "no", at={"material": "grass"}).estimate == pytest.approx(12)


def test_interaction_is_the_difference_of_simple_effects() -> None:
    f = fit(CROSSED, [("turning", "material")])
    r = interaction(f, ("turning", "yes", "no"), ("material", "grass", "bark"))
    assert r.estimate == pytest.approx(12 - 3)
    turned = interaction(f, ("material", "grass", "bark"), ("turning", "yes", "no"))
    assert turned.estimate == pytest.approx(r.estimate)
    # RSS 2 + 2 + 0 + 8 on four degrees of freedom; two, two, one and three heaps
    assert r.se == pytest.approx(math.sqrt(12 / 4 * (1 / 2 + 1 / 2 + 1 + 1 / 3)))
    assert anova(f).row("turning", "material").f == pytest.approx((r.estimate / r.se) ** 2)


def test_cell_and_marginal_means() -> None:
    f = fit(CROSSED, [("turning", "material")])
    assert (f.rank, f.df, f.rss) == (4, 4, pytest.approx(12))
    cells = {tuple(m.at.values()): (m.heaps, m.value) for m in means(f, "turning", "material")}
    assert cells["yes", "grass"] == (3, pytest.approx(52))
    assert cells["no", "grass"] == (1, pytest.approx(40))
    assert [m.value for m in means(f, "turning")] == pytest.approx([35.5, 43.0])


def test_interaction_brings_its_parts_along() -> None:
    f = fit(CROSSED, [("turning", "material")])
    assert f.terms == (("turning",), ("material",), ("turning", "material"))
    assert f.columns == (
        "mean", "turning yes", "material grass", "turning yes x material grass",
    )  # fmt: skip


def test_control_level_can_be_named_and_changes_no_contrast() -> None:
    one = fit(CROSSED, [("turning", "material")])
    two = fit(CROSSED, [("turning", "material")], controls={"turning": "yes"})
    assert two.levels["turning"] == ("yes", "no")
    assert effect(two, "turning", "yes", "no").low == pytest.approx(
        effect(one, "turning", "yes", "no").low
    )


def test_covariate_slope_and_adjusted_difference() -> None:
    """Exact values: 20 + 5 turned + 0.3 leafy, so nothing is left over."""
    rows = [
        HeapRow(str(i), 20 + 5 * (w == "turned") + 0.3 * x, w, covariates={"leafy": x})
        for i, (w, x) in enumerate(
            [("left", 40.0), ("left", 55.0), ("turned", 50.0), ("turned", 70.0)]
        )
    ]
    f = fit(rows, ["way", "leafy"])
    assert effect(f, "way", "turned", "left").estimate == pytest.approx(5)
    slope = contrast(f, [(1, {"leafy": 51.0}), (-1, {"leafy": 50.0})])
    assert slope.estimate == pytest.approx(0.3)
    assert not anova(f).balanced


def test_a_covariate_alike_in_all_heaps_is_no_parameter() -> None:
    rows = [HeapRow(h, v, w, covariates={"leafy": 0.1}) for h, v, w in WAYS]
    assert fit(rows, ["way", "leafy"]).rank == 2
    assert anova(fit(rows, ["way", "leafy"])).row("leafy").f is None


def test_single_mean_is_in_the_unit_of_the_outcome() -> None:
    r = contrast(fit(ways(), ["way"]), [(1, {"way": "turned"})])
    assert r.estimate == pytest.approx(37.5)
    assert r.method == "nothing assumed about the spread; design way"


def test_informed_method_says_the_spread() -> None:
    r = effect(fit(ways(), ["way"]), "way", "turned", "left", prior=PRIOR)
    assert r.method.startswith("informed spread, s0 = 4 C")


# -- seasons and blocks --


def test_seasons_repeated_split_the_effect() -> None:
    """Two yards in two seasons, one pair each time: does turning do more in the wet one?"""
    rows = [
        HeapRow(w, base + more, w, f"{yard} {season}", {"season": season})
        for yard, season, base, more_turned in [
            ("Fern", "dry", 30, 4), ("Fern", "wet", 36, 9), ("Hill", "dry", 41, 6),
            ("Hill", "wet", 39, 11),
        ]
        for w, more in (("left", 0), ("turned", more_turned))
    ]  # fmt: skip
    f = fit(rows, ["block", ("way", "season")])
    assert f.rank == 4 + 2
    more = interaction(f, ("way", "turned", "left"), ("season", "wet", "dry"))
    assert more.estimate == pytest.approx(10 - 5)
    assert effect(f, "way", "turned", "left").estimate == pytest.approx(7.5)
    # the season lies between the blocks, and the analysis says that it cannot be told apart
    assert anova(f).row("season").df == 0


def test_blocks_take_out_what_pairs_share() -> None:
    rows = [
        HeapRow(w, base + 3 * (w == "turned"), w, yard)
        for yard, base in (("Fern", 20), ("Hill", 50), ("Mill", 35))
        for w in ("left", "turned")
    ]
    r = effect(fit(rows, ["block", "way"]), "way", "turned", "left")
    assert (r.estimate, r.se, r.df) == (pytest.approx(3), pytest.approx(0, abs=1e-9), 2)


# -- refusals --


def test_an_empty_cell_is_named() -> None:
    rows = two_by_two(("no", "bark", 30), ("yes", "bark", 33), ("no", "grass", 40))
    f = fit(rows, [("turning", "material")])
    with pytest.raises(NotEnoughError, match=r"no heap has turning yes and material grass\. Build"):
        effect(f, "turning", "yes", "no", prior=PRIOR)
    assert effect(f, "turning", "yes", "no", at={"material": "bark"}, prior=PRIOR).estimate == (
        pytest.approx(3)
    )
    assert [m.value is None for m in means(f, "turning")] == [False, True]


def test_a_way_alone_in_its_block_is_named() -> None:
    rows = [*ways()[:2], *(HeapRow(r.heap, r.value, r.way, "far") for r in ways()[2:])]
    rows[:2] = [HeapRow(r.heap, r.value, r.way, "near") for r in rows[:2]]
    f = fit(rows, ["block", "way"])
    with pytest.raises(
        NotEnoughError, match=r"way turned stands alone in block far\. Build a heap .* leave block"
    ):
        effect(f, "way", "turned", "left", prior=PRIOR)


def test_blocks_that_do_not_link_are_named() -> None:
    placed = [("a", "1"), ("b", "1"), ("c", "2"), ("d", "2")]
    f = fit([HeapRow(w, 30.0 + i, w, b) for i, (w, b) in enumerate(placed)], ["block", "way"])
    with pytest.raises(NotEnoughError, match="no chain of shared blocks links way c with way a"):
        effect(f, "way", "c", "a", prior=PRIOR)
    assert effect(f, "way", "b", "a", prior=PRIOR).estimate == pytest.approx(1)


def test_ways_linked_only_over_a_third_can_be_compared() -> None:
    placed = [("a", "1", 10.0), ("b", "1", 12.0), ("b", "2", 30.0), ("c", "2", 33.0)]
    f = fit([HeapRow(w, v, w, b) for w, b, v in placed], ["block", "way"])
    assert effect(f, "way", "c", "a", prior=PRIOR).estimate == pytest.approx(2 + 3)


def test_what_a_covariate_hides_is_refused() -> None:
    rows = [HeapRow(h, v, w, covariates={"wet": float(w == "turned")}) for h, v, w in WAYS]
    with pytest.raises(NotEnoughError, match=r"cannot be told apart.*Leave one of the terms out"):
        effect(fit(rows, ["way", "wet"]), "way", "turned", "left")


def test_nothing_left_for_the_spread() -> None:
    f = fit([HeapRow("A", 31.2, "left"), HeapRow("C", 38.9, "turned")], ["way"])
    with pytest.raises(NotEnoughError, match=r"takes up every heap.*Build another heap"):
        effect(f, "way", "turned", "left")
    with pytest.raises(NotEnoughError, match="takes up every heap"):
        anova(f)
    assert effect(f, "way", "turned", "left", prior=PRIOR).half_width == pytest.approx(
        13.4, abs=0.1
    )


@pytest.mark.parametrize(
    ("rows", "terms", "error", "words"),
    [
        ([], ["way"], NotEnoughError, "no heap has a value"),
        ([HeapRow("A", math.nan, "left")], ["way"], InputError, "A = nan: .*Leave a lost heap out"),
        ([HeapRow("A", 1, "x"), HeapRow("A", 2, "x")], ["way"], InputError, "stands there twice"),
        ([HeapRow("A", 1)], ["way"], UnknownNameError, "heap A does not say its way"),
        (
            [HeapRow("A", 1, covariates={"wet": 2}), HeapRow("B", 1)],
            ["wet"],
            InputError,
            "heap B has no finite wet",
        ),
    ],
)
def test_rows_that_cannot_stand(
    rows: list[HeapRow], terms: list[str], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        fit(rows, terms)


def test_names_that_are_not_there() -> None:
    f = fit(ways(), ["way"])
    with pytest.raises(UnknownNameError, match=r"way = watered: .*Choose one of left, turned"):
        effect(f, "way", "watered", "left")
    with pytest.raises(UnknownNameError, match=r"factor = yard: .*Choose one of way"):
        effect(f, "way", "turned", "left", at={"yard": "Fern"})
    with pytest.raises(UnknownNameError, match="Choose one of left, turned"):
        fit(ways(), ["way"], controls={"way": "watered"})
    with pytest.raises(UnknownNameError, match="factor = yard"):
        means(f, "yard")
    with pytest.raises(UnknownNameError, match=r"term = yard: .*Choose one of way"):
        anova(f).row("yard")


def test_questions_that_make_no_sense() -> None:
    f = fit(CROSSED, ["turning", "material"])
    with pytest.raises(InputError, match=r'Add \("turning", "material"\) to the terms'):
        interaction(f, ("turning", "yes", "no"), ("material", "grass", "bark"))
    with pytest.raises(InputError, match="compared with itself"):
        effect(f, "turning", "yes", "yes")
    with pytest.raises(InputError, match="at least one setting"):
        contrast(f, [])
    with pytest.raises(InputError, match="0 and 1"):
        effect(f, "turning", "yes", "no", level=1.5)


@pytest.mark.parametrize("other", [("material", "bark", "bark"), ("turning", "no", "yes")])
def test_an_interaction_needs_two_factors(other: tuple[str, str, str]) -> None:
    f = fit(CROSSED, [("turning", "material")])
    with pytest.raises(InputError, match="two factors with two levels each"):
        interaction(f, ("turning", "yes", "no"), other)


# -- analysis of variance --


def test_balanced_designs_say_that_types_agree() -> None:
    assert anova(fit(ways(), ["way"])).note.endswith("all types of analysis of variance agree")
    uneven = anova(fit(CROSSED, [("turning", "material")]))
    assert not uneven.balanced
    assert "Type II" in uneven.note


def test_values_all_alike_give_no_finding() -> None:
    table = anova(fit([HeapRow(h, 0.1, w) for h, _, w in WAYS], ["way"]))
    assert (table.row("way").f, table.row("way").p) == (0.0, 1.0)


def test_values_without_any_spread_are_a_sure_finding() -> None:
    rows = [HeapRow(h, {"left": 0.1, "turned": 0.3}[w], w) for h, _, w in WAYS]
    table = anova(fit(rows, ["way"]))
    assert (table.row("way").f, table.row("way").p) == (math.inf, 0.0)


def test_informed_f_is_the_square_of_the_informed_t() -> None:
    r = informed_contrast({"left": [31.2, 27.5], "turned": [38.9, 36.1]}, "turned", "left", PRIOR)
    row = anova(fit(ways(), ["way"]), prior=PRIOR).row("way")
    assert row.f == pytest.approx((r.estimate / r.se) ** 2)
    assert row.p == pytest.approx(r.p_value)


# -- many to one --


def test_many_to_one_with_one_other_level_is_the_plain_interval() -> None:
    f = fit(ways(), ["way"])
    found = many_to_one(f, "way", "left")
    plain = effect(f, "way", "turned", "left")
    assert found.together["turned"].low == pytest.approx(plain.low, abs=1e-6)
    assert found.p["turned"] == pytest.approx(plain.p_value, abs=1e-9)


def test_many_to_one_needs_another_level() -> None:
    with pytest.raises(NotEnoughError, match="no other way than left"):
        many_to_one(fit(ways()[:2], ["way"]), "way", "left")
    with pytest.raises(NotEnoughError, match="add the factor to the terms"):
        many_to_one(fit(ways(), ["way"]), "yard", "left")


def test_many_to_one_against_a_control_that_is_not_there() -> None:
    with pytest.raises(UnknownNameError, match="Choose one of left, turned"):
        many_to_one(fit(ways(), ["way"]), "way", "watered")


def test_differences_that_are_one_and_the_same_cost_nothing() -> None:
    single = Together.of([[1.0]], 8).critical(0.95)[0]
    for r in ([[1.0, 1.0], [1.0, 1.0]], [[1.0, -1.0], [-1.0, 1.0]]):
        assert Together.of(r, 8).critical(0.95)[0] == pytest.approx(single, abs=1e-6)


@pytest.mark.parametrize("rho", [-0.8, -0.3, 0.0, 0.3, 0.8])
def test_two_differences_by_quadrature_and_by_directions(rho: float) -> None:
    r = [[1.0, rho], [rho, 1.0]]
    exact, general = Together.of(r, 8), Together.of(r, 8, quadrature=False)
    assert exact.loading is not None
    assert general.critical(0.95)[0] == pytest.approx(exact.critical(0.95)[0], abs=2e-4)


def test_a_structure_is_found_only_where_there_is_one() -> None:
    loading = np.array([0.9, -0.4, 0.6, 0.2])
    r = np.outer(loading, loading)
    np.fill_diagonal(r, 1)
    found = Together.of(r, 8).loading
    assert found is not None
    assert np.outer(found, found) == pytest.approx(np.outer(loading, loading))
    r[0, 1] = r[1, 0] = 0.3
    assert Together.of(r, 8).loading is None


def test_what_is_no_correlation_is_refused() -> None:
    with pytest.raises(InputError, match="square, symmetric"):
        Together.of([[1.0, 0.5]], 8)
    with pytest.raises(InputError, match="square, symmetric"):
        Together.of([[2.0]], 8)
    with pytest.raises(InputError, match="degrees of freedom"):
        Together.of([[1.0]], 0.5)


# -- pairs --


def test_pairs_leave_out_and_name_yards_that_lack_a_way() -> None:
    rows = [
        ("Fern", "left", 31.0), ("Fern", "turned", 38.0), ("Hill", "left", 27.0),
        ("Hill", "turned", 36.0), ("Mill", "turned", 40.0), ("Oak", "vented", 50.0),
    ]  # fmt: skip
    found = paired(rows, "turned", "left", prior=PRIOR)
    assert found.differences == {"Fern": 7.0, "Hill": 9.0}
    assert found.left_out == {"Mill": ("left",), "Oak": ("turned", "left")}
    assert (found.estimate, found.floor, found.sign_p) == (pytest.approx(8), 0.5, 0.5)
    assert found.informed is not None
    assert found.informed.df == PRIOR.nu0 + 1
    # s^2 from the prior and half the squared differences about their mean
    s2 = (PRIOR.nu0 * (PRIOR.s0_c**2 + PRIOR.va) + 2 / 2) / found.informed.df
    assert found.informed.se == pytest.approx(math.sqrt(s2 * (1 / 2 + 1 / 2)))


def test_one_pair_has_only_the_informed_interval() -> None:
    found = paired(
        [("Fern", "left", 31.2), ("Fern", "turned", 38.9)], "turned", "left", prior=PRIOR
    )
    old = informed_contrast({"left": [31.2], "turned": [38.9]}, "turned", "left", PRIOR)
    assert found.informed is not None
    assert (found.informed.low, found.informed.df) == (pytest.approx(old.low), old.df)
    assert (found.prior_free, found.difference_sd, found.effect_sd) == (None, None, None)
    assert (found.floor, found.sign_p) == (1.0, 1.0)


def test_how_much_yards_differ_in_the_effect() -> None:
    def yards(*differences: float) -> list[tuple[str, str, float]]:
        return [
            row
            for i, d in enumerate(differences)
            for row in ((f"y{i}", "left", 30.0), (f"y{i}", "turned", 30.0 + d))
        ]

    alike = paired(yards(4, 5, 6, 5), "turned", "left", prior=PRIOR)
    assert (alike.effect_sd, alike.sign_p) == (0.0, 2 / 2**4)
    assert alike.differ_p is not None
    assert alike.differ_p > 0.9
    apart = paired(yards(-20, 25, -15, 30), "turned", "left", prior=PRIOR)
    assert apart.difference_sd is not None
    assert apart.effect_sd == pytest.approx(
        math.sqrt(apart.difference_sd**2 - 2 * (PRIOR.s0_c**2 + PRIOR.va))
    )
    assert apart.differ_p is not None
    assert apart.differ_p < 0.01


def test_many_yards_try_no_flips() -> None:
    rows = [(f"y{i}", w, float(i)) for i in range(17) for w in ("left", "turned")]
    found = paired(rows, "turned", "left")
    assert found.sign_p is None
    assert found.floor == 2 / 2**17


def test_pairs_that_cannot_stand() -> None:
    left, turned = ("Fern", "left", 31.0), ("Hill", "turned", 38.0)
    with pytest.raises(NotEnoughError, match="no yard has a heap of turned and one of left"):
        paired([left, turned], "turned", "left")
    with pytest.raises(UnknownNameError, match="Choose one of left"):
        paired([left], "turned", "left")
    with pytest.raises(InputError, match=r"more than one heap of left.*name the pairs"):
        paired([left, left, turned], "turned", "left")
    with pytest.raises(InputError, match="finite"):
        paired([left, ("Fern", "turned", math.inf)], "turned", "left")
    with pytest.raises(InputError, match="compared with itself"):
        paired([left, turned], "left", "left")
