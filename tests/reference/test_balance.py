"""Losses and balances against printed numbers, and a service balance against the engine's ledger.

Tolerances come from the printed digits. Where a published number was quoted from memory, the
source string says so.
"""

from __future__ import annotations

import csv
import statistics
from collections import defaultdict
from pathlib import Path

import pytest

from heapwright.errors import InputError, QuantityError
from heapwright.science.balance import (
    Estimate,
    carbon_from_organic,
    close,
    dry_mass_loss,
    fell_back,
    ground_covered,
    organic_loss,
    propagate,
    share_lost,
    together,
    water_from_rotting,
)
from heapwright.science.geometry import Body
from heapwright.science.values import value, values
from heapwright.units import Ranged

CHIPS = Path(__file__).parents[1] / "data" / "forests2022_13_459_poplar_chips_dml_trial1.csv"
PILE = (
    "Continuous weighing of a pile of poplar wood chips - A comparison of methods, Biomass and "
    "Bioenergy 96:119-129 (2017), abstract"
)
CHAMBER = "Forests 2022, 13(3):459, doi 10.3390/f13030459"


@pytest.mark.reference(
    source="formula of Paredes et al.", where="ash 20 to 40 %: 62.5 % (computed from it)"
)
def test_organic_matter_lost_by_ash() -> None:
    assert organic_loss(0.20, 0.40) == pytest.approx(0.625, abs=1e-12)
    assert dry_mass_loss(0.20, 0.40) == pytest.approx(0.5, abs=1e-12)
    # dry mass lost is organic matter lost times its share at first
    assert dry_mass_loss(0.12, 0.19) == pytest.approx(0.88 * organic_loss(0.12, 0.19))


@pytest.mark.reference(source="Adams et al. 1951, quoted by Richard, Cornell", where="ash 10, 28 %")
def test_carbon_from_ash_keeps_the_spread_of_its_ratio() -> None:
    assert carbon_from_organic(Ranged.exact(0.10)).typical == pytest.approx(0.500, abs=5e-4)
    found = carbon_from_organic(Ranged.exact(0.28))
    assert found.typical == pytest.approx(0.400, abs=5e-4)
    # most volatile solids hold 45-60 % carbon
    assert (found.low, found.high) == pytest.approx((0.72 * 0.4545, 0.72 * 0.5988), abs=1e-3)


@pytest.mark.reference(source="C6H10O5 + 6 O2 = 6 CO2 + 5 H2O, atomic masses", where="computed")
def test_water_made_by_rotting() -> None:
    assert water_from_rotting(1.0) == pytest.approx(5 * 18.015 / 162.14, abs=5e-4)


@pytest.mark.reference(
    source="general literature; dry mass from memory", where="volume 30-60 %, dry mass 25-50 %"
)
def test_usual_losses_carry_their_source_and_mark() -> None:
    volume, dry = value("balance", "usual_volume_loss"), value("balance", "usual_dry_loss")
    assert (volume.low, volume.high, volume.seen) == (0.30, 0.60, "seen")
    assert (dry.low, dry.high, dry.seen) == (0.25, 0.50, "memory")
    assert all(v.source and v.where for v in values("balance").values())


@pytest.mark.reference(source=PILE, where="dry matter lost 23.3, 22.7, 13.9, 16.6 %, pile P1")
def test_four_methods_on_one_pile_disagree_and_none_is_picked() -> None:
    """Four methods on one pile after 228 days: bags, bags in columns, the whole pile, ash."""
    named = {"bags": "poplar_bags", "bags in columns": "poplar_columns",
             "the whole pile": "poplar_pile", "ash": "poplar_ash"}  # fmt: skip
    found = [Estimate(n, value("balance", k).ranged) for n, k in named.items()]
    assert [round(100 * e.value.typical, 1) for e in found] == [23.3, 22.7, 13.9, 16.6]
    both = together(found)
    assert both.spread == pytest.approx(0.094, abs=1e-9)
    assert (both.whole.low, both.whole.high) == (0.139, 0.233)
    assert both.agree is None  # the abstract gives no ranges
    assert both.words(factor=100, unit="%", step="points") == (
        "4 methods give 13.9 to 23.3 %: they differ by 9.4 points, and none is taken for the right "
        "one.",
        "No range came with them, so from 13.9 to 23.3 % is the least that is not known.",
    )


def _weeks() -> dict[int, list[float]]:
    weeks: dict[int, list[float]] = defaultdict(list)
    with CHIPS.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            weeks[int(row["weeks"])].append(float(row["dry_matter_loss_pct"]))
    return weeks


@pytest.mark.reference(source=CHAMBER, where="Appendix A, trial 1: mean and SD of each week")
def test_weekly_means_of_chips_in_a_chamber() -> None:
    """The printed means and SDs (over the bags, not bags less one) come back from the bags, to
    the rounding of both."""
    printed = {1: (4.2, 0.4), 2: (6.4, 0.9), 3: (7.5, 0.6), 4: (9.8, 0.9), 5: (8.3, 0.8),
               6: (8.8, 0.8)}  # fmt: skip
    for week, losses in _weeks().items():
        mean, sd = printed[week]
        assert statistics.fmean(losses) == pytest.approx(mean, abs=0.1), week
        assert statistics.pstdev(losses) == pytest.approx(sd, abs=0.1), week


@pytest.mark.reference(source=CHAMBER, where="week 5 (8.3 %) below week 4 (9.8 %)")
def test_a_week_that_reads_below_the_one_before_is_noise() -> None:
    means = {w: statistics.fmean(x) / 100 for w, x in _weeks().items()}
    said = fell_back([f"week {w}" for w in means], list(means.values()))
    assert said == (
        "week 5 reads 1.5 points below week 4: sampling noise, not gain",
        "week 6 reads 0.9 points below week 4: sampling noise, not gain",
    )


def test_the_four_methods_are_not_weeks_of_the_chamber() -> None:
    """Another trial, another scale: no bag of the chamber lost as much as the pile by any way."""
    assert max(x for bags in _weeks().values() for x in bags) < 13.9


def test_ranges_that_meet_agree_and_others_do_not() -> None:
    near = together(
        [Estimate("scale", Ranged(0.2, 0.1, 0.3)), Estimate("ash", Ranged(0.25, 0.2, 0.3))]
    )
    far = together(
        [Estimate("scale", Ranged(0.1, 0.08, 0.12)), Estimate("ash", Ranged(0.3, 0.2, 0.4))]
    )
    assert near.agree is True
    assert far.agree is False
    assert "do not all meet" in far.words(factor=100, unit="%", step="points")[1]
    assert (far.whole.low, far.whole.high) == (0.08, 0.4)
    alone = together([Estimate("ash", Ranged(0.3, 0.2, 0.4))])
    assert alone.agree is None
    assert "One method only" in alone.words()[0]


@pytest.mark.parametrize(
    ("first", "left"), [(0.0, 0.2), (0.2, 1.0), (-0.1, 0.2), (0.2, float("nan"))]
)
def test_ash_that_cannot_be_is_refused(first: float, left: float) -> None:
    for sum_ in (organic_loss, dry_mass_loss):
        with pytest.raises(QuantityError, match="ash must lie above 0"):
            sum_(first, left)


def test_methods_without_a_name_of_their_own_are_refused() -> None:
    one = Estimate("ash", Ranged.exact(0.2))
    for methods in ([], [one, one]):
        with pytest.raises(InputError, match="named once"):
            together(methods)


def test_ranges_add_in_squares_and_a_shared_number_cancels() -> None:
    known = {"first": Ranged(10, 9, 11), "left": Ranged(5, 4.5, 5.5), "barrow": Ranged(2, 1, 3)}
    made = propagate(lambda v: 1 - (v["left"] * v["barrow"]) / (v["first"] * v["barrow"]), known)
    assert made.typical == pytest.approx(0.5)
    bare = share_lost(known["first"], known["left"])
    assert (made.low, made.high) == pytest.approx((bare.low, bare.high))
    # by hand: moved alone, 5 in 10 becomes 4.5 and 5.5 in 10, and 5 in 9 and in 11
    up = (0.05**2 + (1 - 5 / 11 - 0.5) ** 2) ** 0.5
    down = (0.05**2 + (0.5 - (1 - 5 / 9)) ** 2) ** 0.5
    assert (made.high - 0.5, 0.5 - made.low) == pytest.approx((up, down))


@pytest.mark.reference(
    source="standard propagation of errors", where="SD of a product, first order"
)
def test_small_ranges_agree_with_the_textbook() -> None:
    a, b = Ranged(4.0, 3.96, 4.04), Ranged(2.5, 2.45, 2.55)
    made = propagate(lambda v: v["a"] * v["b"], {"a": a, "b": b})
    assert made.high - 10.0 == pytest.approx(10 * (0.01**2 + 0.02**2) ** 0.5, rel=1e-9)


def test_closure_in_words() -> None:
    exact = Ranged.exact
    assert close("ash", exact(20), exact(12), exact(8)).closes is True
    missing = close("ash", Ranged(20, 19, 21), Ranged(10, 9, 11), exact(0))
    assert missing.closes is False
    assert missing.said == "does not close: 10 kg missing, more than its range of 1.4"
    more = close("nitrogen", Ranged(2.0, 1.8, 2.2), Ranged(3.0, 2.8, 3.2))
    assert more.closes is False
    assert "more is left than came in" in more.said
    open_ = close("nitrogen", Ranged(2.0, 1.8, 2.2), Ranged(1.5, 1.2, 1.8))
    assert open_.closes is None
    assert open_.rest.typical == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("shape", "body"),
    [("cone", Body("cone", 2.0, 1.2)), ("mound", Body("mound", 2.0, 1.2))],
)
def test_ground_under_a_round_heap(shape: str, body: Body) -> None:
    ground = ground_covered(shape, body.volume_m3, body.height_m)
    assert ground.typical == pytest.approx(3.14159, abs=1e-4)


def test_ground_under_a_windrow_is_width_times_length() -> None:
    for section in ("triangle", "parabola", "trapezoid"):
        body = Body("windrow", 3, 1.5, 10, 1.0 if section == "trapezoid" else 0.0, section)
        found = ground_covered(f"windrow {section}", body.volume_m3, 1.5)
        assert found.low - 1e-9 <= 30 <= found.high + 1e-9, section
