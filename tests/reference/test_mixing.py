"""Mix sums against worked examples printed elsewhere.

Tolerances come from the printed digits. Where a published number was quoted from memory, the
source string says so.
"""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.domain.material import Ingredient, Mix
from heapwright.errors import ImpossibleError
from heapwright.planning.mix import describe_mix
from heapwright.science import mixing
from heapwright.science.feedstocks import feedstocks, implied_carbon
from heapwright.science.values import value
from heapwright.units import Ranged, parse

RICHARD = "Richard and Trautmann, Cornell Science and Engineering of composting"
GRASS = {"carbon_dm": 0.45, "nitrogen_dm": 0.024}
LEAVES = {
    "amendment_moisture_wb": 0.35,
    "amendment_carbon_dm": 0.50,
    "amendment_nitrogen_dm": 0.0075,
}


@pytest.mark.reference(source=RICHARD, where="Moisture content: 10 g wet, 2.3 g dry")
def test_moisture_from_the_oven() -> None:
    moisture = mixing.moisture_from_weights(14.0, 6.3, container_mass_kg=4.0)
    assert moisture == pytest.approx(0.77, abs=1e-12)


@pytest.mark.reference(source=RICHARD, where="leaves for 10 kg grass at 77 %, goal 60 %: 6.8 kg")
def test_leaves_for_a_moisture() -> None:
    leaves = mixing.amendment_for_moisture(
        10, 0.77, amendment_moisture_wb=0.35, goal_moisture_wb=0.60
    )
    assert leaves == pytest.approx(6.8, abs=0.005)
    assert mixing.mix_moisture([10, leaves], [0.77, 0.35]) == pytest.approx(0.60, abs=1e-12)


@pytest.mark.reference(
    source="Cornell C/N page, value from memory", where="leaves for C:N 30: 3.5 kg; exact 3.474"
)
def test_leaves_for_a_cn() -> None:
    leaves = mixing.amendment_for_cn(10, 0.77, **GRASS, **LEAVES, goal_cn_ratio=30)
    assert leaves == pytest.approx(3.5, abs=0.05)
    assert leaves == pytest.approx(3.474, abs=0.0005)
    ratio = mixing.mix_cn(
        [10, leaves], [0.77, 0.35], carbon_dm=[0.45, 0.50], nitrogen_dm=[0.024, 0.0075]
    )
    assert ratio == pytest.approx(30, abs=1e-9)


@pytest.mark.reference(
    source="Cornell page on simultaneous goals", where="a wet ingredient cannot lower moisture"
)
def test_both_goals_at_once_are_refused() -> None:
    assert mixing.mix_moisture([10, 3.474], [0.77, 0.35]) == pytest.approx(0.662, abs=0.0005)
    ratio = mixing.mix_cn(
        [10, 6.8], [0.77, 0.35], carbon_dm=[0.45, 0.50], nitrogen_dm=[0.024, 0.0075]
    )
    assert ratio == pytest.approx(36.7, abs=0.05)
    with pytest.raises(ImpossibleError, match=r"66\.2 % moisture.*water taken out"):
        mixing.joint_amendment(10, 0.77, **GRASS, **LEAVES, goal_cn_ratio=30, goal_moisture_wb=0.60)


@pytest.mark.reference(source=RICHARD, where="water is a legitimate unknown of the joint goal")
def test_both_goals_with_water_where_that_can_be() -> None:
    leaves, water = mixing.joint_amendment(
        10, 0.77, **GRASS, **LEAVES, goal_cn_ratio=30, goal_moisture_wb=0.70
    )
    moisture = mixing.mix_moisture([10, leaves, water], [0.77, 0.35, 1.0])
    assert leaves == pytest.approx(3.474, abs=0.0005)
    assert moisture == pytest.approx(0.70, abs=1e-12)


@pytest.mark.reference(
    source="gardening leaflet docslib 12269573", where="hay 50 lb, scraps 10 lb, coffee 2 lb"
)
def test_fractions_of_fresh_weight() -> None:
    found = mixing.as_fresh([50, 10, 2], [0.40, 0.10, 0.25], [0.01, 0.01, 0.01])
    assert found.carbon_kg == pytest.approx(21.5, abs=0.05)
    assert found.nitrogen_kg == pytest.approx(0.62, abs=0.005)
    assert found.cn_ratio == pytest.approx(34.7, abs=0.05)


M6 = {
    "carbon_dm": 0.60,
    "nitrogen_dm": 0.06,
    "amendment_moisture_wb": 0.35,
    "amendment_carbon_dm": 0.55,
    "amendment_nitrogen_dm": 0.0011,
}


@pytest.mark.reference(
    source="NRAES-54 ch. 3 sample calculation, value from memory (low confidence)",
    where="layer manure and sawdust; only the arithmetic is held to the computed digits",
)
def test_manure_and_sawdust() -> None:
    sawdust = mixing.amendment_for_moisture(
        1, 0.70, amendment_moisture_wb=0.35, goal_moisture_wb=0.60
    )
    assert sawdust == pytest.approx(0.4, abs=1e-9)
    parts = {"carbon_dm": [0.60, 0.55], "nitrogen_dm": [0.06, 0.0011]}
    assert mixing.mix_cn([1, 0.4], [0.70, 0.35], **parts) == pytest.approx(17.7, abs=0.06)
    more = mixing.amendment_for_cn(1, 0.70, **M6, goal_cn_ratio=30)
    assert more == pytest.approx(1.07, abs=0.005)
    assert mixing.mix_moisture([1, more], [0.70, 0.35]) == pytest.approx(0.519, abs=0.0005)


@pytest.mark.reference(
    source="Adams et al. 1951, quoted by Richard, Cornell", where="C % = VS % / 1.8"
)
@pytest.mark.parametrize(("ash", "carbon"), [(0.10, 0.500), (0.28, 0.400)])
def test_carbon_from_ash(ash: float, carbon: float) -> None:
    assert mixing.carbon_from_ash(ash) == pytest.approx(carbon, abs=0.0005)


@pytest.mark.reference(
    source="NRAES-54 form, value from memory", where="1000 kg from 40 % to 55 %: 333.3 kg"
)
def test_water_to_add() -> None:
    assert mixing.water_to_add(1000, 0.40, goal_moisture_wb=0.55) == pytest.approx(333.3, abs=0.05)


@pytest.mark.reference(
    source="popular leaflet that averages ratios (a method NOT to follow)",
    where="(60+20+20)/3 = 33; mass-weighted counter-case 29.7",
)
def test_ratios_are_not_averaged() -> None:
    def part(name: str, m3: float, **own: float) -> Ingredient:
        measured = {key: Ranged.exact(number) for key, number in own.items()}
        return Ingredient(name, volume_m3=Ranged.exact(m3), measured=measured)

    leaves = part(
        "leaves", 1, cn_ratio=60, carbon_dm=0.48, moisture_wb=0.38, bulk_density_kg_m3=200
    )
    grass = part("grass", 2, cn_ratio=20, carbon_dm=0.44, moisture_wb=0.80, bulk_density_kg_m3=350)
    found = describe_mix(Mix((leaves, grass)), rng=np.random.default_rng(1), draws=100)
    assert found.cn_ratio.typical == pytest.approx(29.7, abs=0.05)
    assert abs(found.cn_ratio.typical - 100 / 3) > 3
    wetter = part("grass", 2, cn_ratio=20, carbon_dm=0.44, moisture_wb=0.7, bulk_density_kg_m3=350)
    moved = describe_mix(Mix((leaves, wetter)), rng=np.random.default_rng(1), draws=100)
    assert moved.cn_ratio.typical < 27.5  # an average of ratios could not move with moisture


@pytest.mark.reference(
    source="computed from NRAES-54 Table A.1 columns (columns from memory)",
    where="published nitrogen times published C:N",
)
@pytest.mark.parametrize(
    ("key", "percent"),
    [
        ("sawdust", 106),
        ("cranberry_filter_cake", 87),
        ("bark_softwood", 69),
        ("wood_chips_shavings_softwood", 58),
        ("grass_clippings_loose", 58),
        ("corn_cobs", 59),
        ("horse_manure_with_shavings_bedding", 58),
        ("apple_filter_cake", 15.6),
        ("lumbermill_waste", 22),
        ("beef_feedlot_manure_with_bedding", 23),
    ],
)
def test_carbon_that_cannot_be(key: str, percent: float) -> None:
    row = feedstocks()[key]
    implied = implied_carbon(row)
    assert implied is not None
    assert 100 * implied == pytest.approx(percent, abs=0.6 if percent != 15.6 else 0.05)
    one = Ingredient(row.name, like=key, mass_kg=Ranged.exact(100))
    summary = describe_mix(Mix((one,)), rng=np.random.default_rng(3), draws=500)
    carbon_share = summary.carbon_kg.typical / summary.dry_mass_kg.typical
    low, high = row.carbon.carbon_dm
    assert low <= carbon_share <= high
    assert summary.warnings  # the contradiction or the caution is said


@pytest.mark.reference(source="published bucket example", where="20 L, 1 kg empty, 10 kg full")
def test_bulk_density_from_a_bucket() -> None:
    found = mixing.bulk_density_from_bucket(10, empty_mass_kg=1, container_l=20)
    assert found == pytest.approx(450, abs=0.5)


@pytest.mark.reference(
    source="5 US gal pail: x 40.4 (computed) and x 1.5 (published rule, exact 1.496)",
    where="net pounds to lb/yd3 and lb/ft3",
)
def test_five_gallon_pail() -> None:
    pail = 5 * value("mixing", "us_gallon_l").value
    pound = value("mixing", "pound_kg").value
    density = mixing.bulk_density_from_bucket(1 * pound, empty_mass_kg=0, container_l=pail)
    per_yard = density / (pound / value("mixing", "cubic_yard_m3").value)
    assert per_yard == pytest.approx(40.4, abs=0.05)
    assert per_yard / value("mixing", "cubic_yard_ft3").value == pytest.approx(1.496, abs=0.0015)
    assert 5 / 3 * value("mixing", "us_gallon_l").value == pytest.approx(6.31, abs=0.005)
    assert 10 / 3 * value("mixing", "us_gallon_l").value == pytest.approx(12.62, abs=0.005)


@pytest.mark.reference(source="5 US gal pail rule", where="1 gal of water = 20 % air space")
def test_air_space_from_a_bucket() -> None:
    assert mixing.free_air_space_from_bucket(1, 5) == pytest.approx(0.20, abs=1e-12)


@pytest.mark.reference(
    source="Haug 1993; Richard et al. 2004 (densities from memory)",
    where="450 kg/m3, 55 % moisture, 80 % organic matter: 63.5 %",
)
def test_free_air_space() -> None:
    assert mixing.free_air_space(450, 0.55, vs_dm=0.80) == pytest.approx(0.635, abs=0.0005)


@pytest.mark.reference(
    source="Agnew et al. 2003 / TMECC, value from memory", where="FAS = 1 - 0.0009 BD"
)
def test_quick_free_air_space() -> None:
    assert mixing.free_air_space_quick(600) == pytest.approx(0.46, abs=1e-12)


@pytest.mark.reference(
    source="Chandler et al. 1980; Kayhanian and Tchobanoglous 1992, values from memory",
    where="lignin % of VS to degradable share; formula digits",
)
@pytest.mark.parametrize(
    ("lignin", "formula", "published"),
    [
        (0.4, 0.819, 0.82),
        (12.9, 0.469, 0.47),
        (4.1, 0.715, 0.72),
        (21.9, 0.217, 0.22),
    ],
)
def test_degradable_share(lignin: float, formula: float, published: float) -> None:
    found = mixing.degradable_share(lignin / 100)
    assert found == pytest.approx(formula, abs=0.0005)
    assert found == pytest.approx(published, abs=0.006)


@pytest.mark.reference(source="Chandler et al. 1980, value from memory", where="0 above 29.6 %")
def test_degradable_share_is_never_negative() -> None:
    assert mixing.degradable_share(0.2965) == 0.0
    assert mixing.degradable_share(0.2960) > 0.0
    assert mixing.degradable_share(0.45) == 0.0


@pytest.mark.reference(
    source="Alberta Agriculture, Nutrient Management Planning Guide", where="p. 126, Table 4.1.3"
)
def test_unit_chain() -> None:
    yard = parse("1 yd3", "volume_m3").typical
    assert yard == pytest.approx(0.7646, abs=5e-5)
    assert yard / parse("1 ft3", "volume_m3").typical == pytest.approx(27, abs=1e-6)
    assert yard / parse("1 US gal", "volume_m3").typical == pytest.approx(202.0, abs=0.05)
    assert 1 / yard == pytest.approx(1.308, abs=0.0005)
    assert 1 / parse("1 ft3", "volume_m3").typical == pytest.approx(35.31, abs=0.005)
    assert 1 / parse("1 US gal", "volume_m3").typical == pytest.approx(264.2, abs=0.05)
    assert parse("1 US gal", "container_l").typical == pytest.approx(3.785, abs=0.0005)
    assert parse("1 imp gal", "container_l").typical == pytest.approx(4.546, abs=0.0005)
    assert parse("1000 lb/yd3", "bulk_density_kg_m3").typical == pytest.approx(593.28, abs=0.05)


@pytest.mark.reference(
    source="Cornell Waste Management Institute, fertiliser nitrogen; 80 kg carbon computed",
    where="full C:N sum 1.7-2.5 kg N/m3 for chips of C:N 80-400; half to two thirds 0.8-1.65",
)
def test_fertiliser_nitrogen() -> None:
    share = value("mixing", "fertiliser_share")
    least = mixing.fertiliser_nitrogen(80.0, 80 / 80, goal_cn_ratio=30)
    most = mixing.fertiliser_nitrogen(80.0, 80 / 400, goal_cn_ratio=30)
    assert least == pytest.approx(1.7, abs=0.05)
    assert most == pytest.approx(2.5, abs=0.05)
    assert least * share.low == pytest.approx(0.8, abs=0.05)
    assert most * share.high == pytest.approx(1.65, abs=0.01)
    season = mixing.fertiliser_nitrogen(0.25 * 80.0, 0.0, goal_cn_ratio=30)
    assert season == pytest.approx(0.67, abs=0.005)
    assert value("mixing", "first_dose_kg_m3").value < season
