"""Ingredients from text, and the services behind mix, size, barrow and water."""

from __future__ import annotations

import pytest

from heapwright.errors import InputError, QuantityError, UnknownNameError
from heapwright.services import mix as service
from heapwright.units import Ranged


def test_amounts_people_write() -> None:
    read = service.parse_ingredient
    assert read("6 barrows arborist chips").loads == Ranged.exact(6)
    assert read("nine wheelbarrows of shredded prunings").loads == Ranged.exact(9)
    assert read("half a barrow grass").loads == Ranged.exact(0.5)
    assert read("5-6 barrows straw").loads == Ranged(5.5, 5, 6)
    volume = read("1,5 m3 leaves").volume_m3
    assert volume is not None
    assert volume.typical == pytest.approx(1.5)
    litres = read("40 L coffee grounds").volume_m3
    assert litres is not None
    assert litres.typical == pytest.approx(0.040)
    mass = read("about 20 lb horse manure").mass_kg
    assert mass is not None
    assert mass.typical == pytest.approx(9.07, abs=0.01)
    assert mass.low == pytest.approx(0.8 * mass.typical)


def test_own_measurements_in_brackets() -> None:
    part = service.parse_ingredient(
        "6 barrows chips [moisture 50 % dry, N 0.5 %, C:N 80-100, density 280 kg/m3]"
    )
    moisture, nitrogen = part.own("moisture_wb"), part.own("nitrogen_dm")
    ratio, density = part.own("cn_ratio"), part.own("bulk_density_kg_m3")
    assert moisture is not None
    assert moisture.basis == "dry"
    assert nitrogen is not None
    assert nitrogen.value.typical == pytest.approx(0.005)
    assert ratio is not None
    assert (ratio.value.low, ratio.value.high) == (80, 100)
    assert density is not None
    assert density.value.typical == pytest.approx(280)


@pytest.mark.parametrize(
    "text", ["chips", "6 chips", "barrows of chips", "6 barrows", "6 shovels chips", ""]
)
def test_text_without_amount_or_material(text: str) -> None:
    with pytest.raises(InputError, match="6 barrows arborist chips"):
        service.parse_ingredient(text)


def test_gallons_and_odd_measurements_are_asked_back() -> None:
    with pytest.raises(QuantityError, match="US gal or imp gal"):
        service.parse_ingredient("5 gallons coffee grounds")
    with pytest.raises(InputError, match="not a measurement known"):
        service.parse_ingredient("6 barrows chips [smell 5]")


def test_unknown_material_is_named() -> None:
    with pytest.raises(UnknownNameError, match="cattle manure"):
        service.describe(["2 barrows cow dung"], rng_seed=1)


def test_goals_left_out_are_those_of_the_handbook() -> None:
    cn, moisture = service.goals(None, None)
    assert (cn.low, cn.high) == (25, 40)
    assert (moisture.low, moisture.high) == (0.5, 0.6)
    assert service.goals("25-35", None)[0] == Ranged(30, 25, 35)


def test_size_both_ways() -> None:
    there = service.size_heap("cone", width_m=2.0, height_m=1.2)
    back = service.size_heap("cone", width_m=2.0, volume_m3=there.volume_m3)
    assert there.volume_m3 == pytest.approx(1.2566, abs=0.0001)
    assert back.body.height_m == pytest.approx(1.2)
    with pytest.raises(InputError, match="either a height or a volume"):
        service.size_heap("cone", width_m=2.0)


def test_barrow_both_ways() -> None:
    total = service.calibrate_barrow([], bucket="20 L", loads=10, buckets=47)
    single = service.calibrate_barrow(["4,5", "5", "4.6"], bucket="20L")
    assert total.mean_m3.typical == pytest.approx(0.094)
    assert single.mean_m3.typical == pytest.approx(0.094)
    with pytest.raises(InputError, match="nothing was counted"):
        service.calibrate_barrow([], bucket="20 L")


def test_water_from_a_squeeze() -> None:
    found = service.water_for(
        "1 m3", like="arborist chips", goal="60 %", squeeze="crumbles", flow="15 L/min"
    )
    assert 90 < found.advice.litres.typical < 130
    assert found.advice.litres.low < 50 < 180 < found.advice.litres.high
    assert "memory" in found.seen
    leaf = service.water_for("1 m3", like="leaves", goal="60 %", squeeze="crumbles")
    assert found.moisture_wb.high - found.moisture_wb.low > (
        leaf.moisture_wb.high - leaf.moisture_wb.low
    )
