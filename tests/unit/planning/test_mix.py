"""Mixes forwards and backwards."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.domain.material import Ingredient, Measured, Mix
from heapwright.errors import ImpossibleError, InputError, QuantityError
from heapwright.planning.mix import (
    NitrogenProduct,
    describe_mix,
    nitrogen_plan,
    parse_product,
    solve_mix,
)
from heapwright.science.feedstocks import feedstocks
from heapwright.units import Ranged

BARROW = Ranged(0.0925, 0.085, 0.100)
EXACT = Ranged.exact


def rng() -> np.random.Generator:
    return np.random.default_rng(11)


def chips(loads: float = 6, **measured: Ranged | Measured) -> Ingredient:
    return Ingredient("arborist chips", loads=EXACT(loads), measured=measured)


def grass(loads: float = 2) -> Ingredient:
    return Ingredient("grass clippings", loads=EXACT(loads))


def test_six_chips_two_grass_by_hand() -> None:
    """Chips 300 kg/m3, 48 %, N 0.6, C 48 (45-51); grass 208, 82 %, N 3.4, C 43.5 (42-45)."""
    found = describe_mix(Mix((chips(), grass()), barrow_m3=BARROW), rng=rng())
    dry_chips = 6 * 0.0925 * 300 * 0.52
    dry_grass = 2 * 0.0925 * 208 * 0.18
    by_hand = (dry_chips * 0.48 + dry_grass * 0.435) / (dry_chips * 0.006 + dry_grass * 0.034)
    assert found.cn_ratio.typical == pytest.approx(by_hand, rel=0.05)
    assert found.cn_ratio.low < 0.8 * by_hand
    assert found.cn_ratio.high > 1.25 * by_hand
    wet = 6 * 0.0925 * 300 + 2 * 0.0925 * 208
    assert found.moisture_wb.typical == pytest.approx(1 - (dry_chips + dry_grass) / wet, rel=0.01)
    assert found.volume_m3.typical == pytest.approx(8 * 0.0925)
    assert any("Volumes are added up" in said for said in found.assumptions)


def test_the_barrow_shifts_volume_but_not_cn() -> None:
    known = {
        "moisture_wb": EXACT(0.5),
        "nitrogen_dm": EXACT(0.006),
        "carbon_dm": EXACT(0.48),
        "bulk_density_kg_m3": EXACT(300.0),
        "lignin_vs": EXACT(0.2),
        "vs_dm": EXACT(0.95),
    }
    green = {**known, "nitrogen_dm": EXACT(0.03), "bulk_density_kg_m3": EXACT(200.0)}
    parts = (
        Ingredient("chips", loads=EXACT(6), measured=known),
        Ingredient("grass", loads=EXACT(2), measured=green),
    )
    found = describe_mix(Mix(parts, barrow_m3=Ranged(0.1, 0.08, 0.14)), rng=rng())
    assert found.cn_ratio.is_exact
    assert found.volume_m3.low < 0.75 * found.volume_m3.high
    assert found.oxygen_demand_kg_m3.low < found.oxygen_demand_kg_m3.high


def test_same_seed_same_ranges() -> None:
    mix = Mix((chips(), grass()), barrow_m3=BARROW)
    assert describe_mix(mix, rng=rng()) == describe_mix(mix, rng=rng())


def test_own_measurement_stands_before_the_table() -> None:
    oven = Measured(EXACT(0.5), method="kitchen oven, 3 samples", basis="dry")
    found = describe_mix(Mix((chips(moisture_wb=oven),), barrow_m3=BARROW), rng=rng())
    assert found.moisture_wb.typical == pytest.approx(1 / 3)
    assert found.moisture_wb.is_exact
    (line,) = found.lines
    moisture = next(k for k in line.known if k.key == "moisture_wb")
    assert moisture.own
    assert "kitchen oven, 3 samples" in moisture.source
    assert "50 % on dry basis is 33 % on wet basis" in moisture.said
    assert "moisture_wb" not in line.from_memory
    assert "nitrogen_dm" in line.from_memory


def test_measuring_narrows() -> None:
    rough = describe_mix(Mix((chips(),), barrow_m3=BARROW), rng=rng())
    fine = describe_mix(Mix((chips(cn_ratio=Ranged(80, 75, 85)),), barrow_m3=BARROW), rng=rng())
    assert (fine.cn_ratio.low, fine.cn_ratio.high) == pytest.approx((75, 85), rel=0.01)
    assert fine.cn_ratio.high - fine.cn_ratio.low < 0.2 * (rough.cn_ratio.high - rough.cn_ratio.low)


def test_own_numbers_that_contradict_are_named() -> None:
    odd = chips(nitrogen_dm=EXACT(0.0024), cn_ratio=EXACT(442.0))
    found = describe_mix(Mix((odd,), barrow_m3=BARROW), rng=rng())
    assert any("your nitrogen times your C:N would mean 106 %" in w for w in found.warnings)


@pytest.mark.parametrize(
    ("key", "number", "said"),
    [
        ("moisture_wb", 1.0, "no dry matter"),
        ("nitrogen_dm", 0.0, "no nitrogen"),
        ("ash_dm", 1.0, "no organic matter"),
    ],
)
def test_nothing_left_is_refused(key: str, number: float, said: str) -> None:
    odd = chips(**{key: EXACT(number)})
    with pytest.raises(QuantityError, match=said):
        describe_mix(Mix((odd,), barrow_m3=BARROW), rng=rng())


def test_nought_of_everything_cannot_be_solved() -> None:
    nought = Ingredient("chips", loads=EXACT(0))
    with pytest.raises(ImpossibleError, match="nought"):
        solve_mix(
            Mix((nought,), barrow_m3=BARROW),
            goal_cn_ratio=EXACT(30),
            goal_moisture_wb=EXACT(0.6),
            rng=rng(),
        )


def test_own_ash_gives_bounded_carbon() -> None:
    found = describe_mix(Mix((chips(ash_dm=EXACT(0.10)),), barrow_m3=BARROW), rng=rng())
    (line,) = found.lines
    carbon = next(k for k in line.known if k.key == "carbon_dm")
    assert carbon.value.typical == pytest.approx(0.50)
    assert carbon.value.high <= 0.51


@pytest.mark.parametrize("key", sorted(feedstocks()))
def test_every_material_makes_a_sane_mix(key: str) -> None:
    one = Ingredient(key, like=key, volume_m3=EXACT(1.0))
    found = describe_mix(Mix((one,)), rng=rng(), draws=200)
    low, high = feedstocks()[key].carbon.carbon_dm
    share = found.carbon_kg.typical / found.dry_mass_kg.typical
    assert low <= share <= high
    assert 1 < found.cn_ratio.low <= found.cn_ratio.high < 2000
    assert 0 < found.moisture_wb.low <= found.moisture_wb.high < 0.98
    assert 0 <= found.free_air_frac.low <= found.free_air_frac.high < 1
    assert found.degradable_vs.high <= 0.83 + 1e-12  # rounding of a weighted mean


def test_missing_figures_are_borrowed_widely_and_said() -> None:
    one = Ingredient("lumbermill waste", volume_m3=EXACT(1.0))
    (line,) = describe_mix(Mix((one,)), rng=rng()).lines
    assert any("not in the table, so very wide" in note for note in line.notes)


def test_water_and_nitrogen_count() -> None:
    parts = (chips(), grass())
    dry = describe_mix(Mix(parts, barrow_m3=BARROW), rng=rng())
    wet = describe_mix(Mix(parts, barrow_m3=BARROW, water_l=50, nitrogen_kg=0.4), rng=rng())
    assert wet.wet_mass_kg.typical == pytest.approx(dry.wet_mass_kg.typical + 50)
    assert wet.moisture_wb.typical > dry.moisture_wb.typical
    assert wet.cn_ratio.typical < dry.cn_ratio.typical
    assert wet.volume_m3.typical == dry.volume_m3.typical
    assert wet.free_air_frac.typical < dry.free_air_frac.typical


def test_too_few_draws() -> None:
    with pytest.raises(QuantityError, match="100 draws"):
        describe_mix(Mix((chips(),), barrow_m3=BARROW), rng=rng(), draws=5)
    nought = Ingredient("chips", loads=EXACT(0))
    with pytest.raises(ImpossibleError, match="nought"):
        describe_mix(Mix((nought,), barrow_m3=BARROW), rng=rng())


# --- the inverse --------------------------------------------------------------------------------


def lab(name: str, mass: float, moisture: float, carbon: float, nitrogen: float) -> Ingredient:
    measured = {
        "moisture_wb": EXACT(moisture),
        "carbon_dm": EXACT(carbon),
        "nitrogen_dm": EXACT(nitrogen),
    }
    return Ingredient(name, mass_kg=EXACT(mass), measured=measured)


GRASS = lab("grass", 10, 0.77, 0.45, 0.024)
LEAVES = lab("leaves", 100, 0.35, 0.50, 0.0075)


def test_leaves_and_grass_alone_cannot_give_both() -> None:
    with pytest.raises(ImpossibleError) as caught:
        solve_mix(
            Mix((GRASS, LEAVES)),
            goal_cn_ratio=EXACT(30),
            goal_moisture_wb=EXACT(0.60),
            rng=rng(),
        )
    text = str(caught.value)
    assert "grass and leaves alone cannot give both 60 % moisture and C:N 30" in text
    assert "66 %, 6.2 points too much" in text
    assert "lowest C:N is 36.7" in text
    assert "cannot lower moisture" in text
    assert "third, drier material" in text


def test_a_wetter_goal_is_met_with_water() -> None:
    found = solve_mix(
        Mix((GRASS, LEAVES)),
        goal_cn_ratio=EXACT(30),
        goal_moisture_wb=EXACT(0.70),
        rng=rng(),
    )
    leaves_kg = 100 * found.used[1]
    assert leaves_kg / (10 * found.used[0]) == pytest.approx(0.3474, abs=0.0005)
    assert found.water_l > 1
    assert found.summary.cn_ratio.typical == pytest.approx(30, rel=1e-4)
    assert found.summary.moisture_wb.typical == pytest.approx(0.70, rel=1e-4)


@pytest.mark.parametrize(
    ("parts", "cn", "moisture", "said"),
    [
        ((LEAVES,), 30, 0.6, r"leaves alone the C:N is 66\.7.*richer in nitrogen"),
        ((GRASS,), 40, 0.8, r"grass alone the C:N is 18\.8.*richer in carbon"),
        ((GRASS,), 18.75, 0.6, r"driest that grass can be is 77 %.*Add something dry"),
    ],
)
def test_one_goal_alone_out_of_reach(
    parts: tuple[Ingredient, ...], cn: float, moisture: float, said: str
) -> None:
    with pytest.raises(ImpossibleError, match=said):
        solve_mix(Mix(parts), goal_cn_ratio=EXACT(cn), goal_moisture_wb=EXACT(moisture), rng=rng())


def test_solution_stays_within_what_there_is() -> None:
    leaves = Ingredient("dry leaves", loads=EXACT(4))
    found = solve_mix(
        Mix((chips(), grass(5), leaves), barrow_m3=BARROW),
        goal_cn_ratio=Ranged(35, 25, 45),
        goal_moisture_wb=Ranged(0.55, 0.5, 0.65),
        rng=rng(),
    )
    assert all(0 <= share <= 1 for share in found.used)
    assert 25 <= found.summary.cn_ratio.typical <= 45
    assert 0.5 <= found.summary.moisture_wb.typical <= 0.65
    for part in found.mix.ingredients:
        assert part.loads is not None
        assert (2 * part.loads.typical) == pytest.approx(round(2 * part.loads.typical))


def test_nitrogen_makes_chips_alone_possible() -> None:
    found = solve_mix(
        Mix((chips(),), barrow_m3=BARROW),
        goal_cn_ratio=Ranged(30, 25, 35),
        goal_moisture_wb=Ranged(0.55, 0.5, 0.6),
        product=parse_product("urea 46%"),
        rng=rng(),
    )
    plan, volume = found.nitrogen, found.summary.volume_m3.typical
    assert plan is not None
    assert plan.doses[0].nitrogen_kg <= 0.4 * volume + 1e-9
    assert all(d.nitrogen_kg <= 0.4 * volume + 1e-9 for d in plan.doses)
    assert sum(d.nitrogen_kg for d in plan.doses) == pytest.approx(plan.total_kg.typical)
    assert plan.total_kg.high == pytest.approx(plan.full_sum_kg * 2 / 3, rel=0.001)
    assert 25 <= found.cn_with_doses <= 35
    assert "only if" in plan.doses[1].when


def test_doses_and_cups() -> None:
    plan = nitrogen_plan(1.67, 1.0, product=NitrogenProduct("urea", 0.46))
    first = plan.doses[0]
    assert first.product_kg == pytest.approx(0.4 / 0.46)
    assert first.cups.typical == pytest.approx(0.4 / 0.46 / 0.75 / 0.25)
    assert nitrogen_plan(0.0, 1.0, product=NitrogenProduct("urea", 0.46)).doses == ()


@pytest.mark.parametrize("text", ["ammonium nitrate 34%", "saltpetre 13 %", "calcium nitrate 15 %"])
def test_oxidising_fertiliser_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="can burn"):
        parse_product(text)


@pytest.mark.parametrize("text", ["urea", "46 %", ""])
def test_product_text_that_cannot_be_read(text: str) -> None:
    with pytest.raises(InputError, match="urea 46 %"):
        parse_product(text)
