"""Pools of materials: they sum to one, hold the right carbon and nitrogen, own numbers win."""

from __future__ import annotations

import numpy as np
import pytest

from heapwright.domain.material import Ingredient, Measured, Mix
from heapwright.engine.composition import chips, compose, recipe
from heapwright.engine.kinetics import CLASSES, Kinetics
from heapwright.errors import ImpossibleError, InputError, QuantityError, UnknownNameError
from heapwright.science.feedstocks import carbon_classes, feedstocks
from heapwright.science.values import raw
from heapwright.units import Ranged

SET = Kinetics.published()


def exact(number: float) -> Ranged:
    return Ranged.exact(number)


@pytest.mark.parametrize("key", list(feedstocks()))
def test_every_material_composes(key: str) -> None:
    row = feedstocks()[key]
    made = compose(Ingredient(row.name))
    assert made.pools.min() >= 0
    assert made.pools.sum() + made.ash == pytest.approx(1.0, abs=1e-12)
    low, high = row.carbon.carbon_dm
    assert low <= made.carbon <= high
    assert row.carbon.ash_dm[0] <= made.ash <= row.carbon.ash_dm[1]
    if "nitrogen_dm" in row.spans and row.spans["nitrogen_dm"].typical is not None:
        nitrogen = row.spans["nitrogen_dm"].typical
        assert made.organic_n + made.mineral_n == pytest.approx(nitrogen, rel=1e-9)
    assert made.mineral_n >= 0
    assert 0 < made.moisture_wb < 1
    assert made.woody == (raw("composition")[row.carbon_class]["matter"] == "chip")


def test_every_carbon_class_has_a_composition_with_its_source() -> None:
    table = raw("composition")
    assert set(table) - {"fine", "leafy", "protein"} == set(carbon_classes())
    for key in carbon_classes():
        entry = table[key]
        assert entry["source"]
        assert entry["seen"]
        for part in ("soluble", "fat", "accessible"):
            assert 0 <= entry[part]["low"] <= entry[part]["typical"] <= entry[part]["high"] <= 1


def test_own_numbers_stand_before_the_table() -> None:
    own = {
        "nitrogen_dm": exact(0.012), "ash_dm": exact(0.031), "carbon_dm": exact(0.492),
        "lignin_vs": exact(0.21), "moisture_wb": exact(0.47), "bulk_density_kg_m3": exact(333.0),
    }  # fmt: skip
    made = compose(Ingredient("pile from the council", like="arborist chips", measured=own))
    assert made.organic_n + made.mineral_n == pytest.approx(0.012, rel=1e-12)
    assert made.ash == pytest.approx(0.031, rel=1e-9)
    assert made.carbon == pytest.approx(0.492, abs=0.002)
    assert (made.moisture_wb, made.bulk_density) == (0.47, 333.0)
    assert made.pools[5] != compose(Ingredient("arborist chips")).pools[5]


def test_volatile_solids_and_a_carbon_to_nitrogen_ratio_count_too() -> None:
    own = {"vs_dm": exact(0.9), "cn_ratio": exact(40.0), "carbon_dm": exact(0.44)}
    made = compose(Ingredient("wheat straw", measured=own))
    assert made.ash == pytest.approx(0.1, rel=1e-9)
    assert made.organic_n + made.mineral_n == pytest.approx(0.44 / 40, rel=1e-9)


def test_a_fraction_of_fresh_weight_is_brought_to_dry_matter() -> None:
    own = {"nitrogen_dm": Measured(exact(0.004), basis="wet"), "moisture_wb": exact(0.5)}
    made = compose(Ingredient("arborist chips", measured=own))
    assert made.organic_n + made.mineral_n == pytest.approx(0.008, rel=1e-9)


def test_measured_ash_moves_the_carbon() -> None:
    low = compose(Ingredient("leaves", measured={"ash_dm": exact(0.06)}))
    high = compose(Ingredient("leaves", measured={"ash_dm": exact(0.15)}))
    assert low.carbon > high.carbon + 0.01


def test_leaf_among_chips_brings_soluble_matter_and_reach() -> None:
    bare, leafy = (compose(Ingredient("arborist chips"), leafy_share=x) for x in (0.0, 0.3))
    assert bare.pools[0] == pytest.approx(0.048)
    assert leafy.pools[0] == pytest.approx(0.7 * 0.048 + 0.3 * 0.3)
    carbohydrate = bare.pools[[3, 4, 6, 7]].sum()
    assert bare.pools[[3, 4]].sum() / carbohydrate == pytest.approx(0.15)
    of_leaf = 0.3 * compose(Ingredient("leaves")).pools[[3, 4, 6, 7]].sum()
    in_chip = leafy.pools[[3, 4, 6, 7]].sum() - of_leaf
    assert leafy.pools[[3, 4]].sum() == pytest.approx(of_leaf + 0.15 * in_chip)
    assert bare.rate_per_d[4] == SET.k_chip
    assert SET.k_leaf < leafy.rate_per_d[4] < SET.k_chip
    assert leafy.pools.sum() + leafy.ash == pytest.approx(1.0, abs=1e-12)


def test_leaf_counts_only_among_chips_that_come_with_leaf() -> None:
    for name in ("wheat straw", "sawdust", "hardwood bark"):
        plain, told = compose(Ingredient(name)), compose(Ingredient(name), leafy_share=0.4)
        assert np.array_equal(plain.pools, told.pools)


def test_rates_follow_the_matter() -> None:
    chip, straw = compose(Ingredient("hardwood chips")), compose(Ingredient("wheat straw"))
    assert chip.rate_per_d.tolist() == [
        SET.k_soluble, SET.k_protein, SET.k_fat, SET.k_chip, SET.k_chip, SET.k_slow, SET.k_slow,
        SET.k_slow, SET.k_slow, SET.k_slow,
    ]  # fmt: skip
    assert straw.rate_per_d[3] == straw.rate_per_d[4] == SET.k_leaf
    assert compose(Ingredient("sawdust")).pools[3:5].sum() > chip.pools[3:5].sum()
    other = SET.with_(k_chip=0.07)
    assert compose(Ingredient("hardwood chips"), kinetics=other).rate_per_d[4] == 0.07


def test_protein_and_resin_of_chips_lie_partly_out_of_reach() -> None:
    chip, straw = compose(Ingredient("hardwood chips")), compose(Ingredient("wheat straw"))
    assert chip.pools[1] / (chip.pools[1] + chip.pools[8]) == pytest.approx(0.35)
    assert chip.pools[2] / (chip.pools[2] + chip.pools[9]) == pytest.approx(0.15)
    assert straw.pools[8] == straw.pools[9] == 0.0
    # what the leaf among chips holds is in reach
    leafy = compose(Ingredient("arborist chips"), leafy_share=0.3)
    assert 0.35 < leafy.pools[1] / (leafy.pools[1] + leafy.pools[8]) < 1.0
    assert chip.pool_n[8] == chip.pool_n[1] > 0.0


def test_soluble_and_accessible_can_be_given() -> None:
    made = compose(Ingredient("arborist chips"), soluble=0.1, accessible=0.18)
    assert made.pools[0] == pytest.approx(0.1)
    assert made.pools[[3, 4]].sum() / made.pools[[3, 4, 6, 7]].sum() == pytest.approx(0.18)


def test_a_material_of_two_holds_the_mass_of_both() -> None:
    mix = Mix(
        ingredients=(
            Ingredient("arborist chips", mass_kg=exact(100)),
            Ingredient("grass clippings", like="grass_clippings_loose", volume_m3=exact(0.2)),
            Ingredient("horse manure", like="horse_manure_general", loads=exact(2)),
        ),
        barrow_m3=exact(0.09),
        water_l=30.0,
        nitrogen_kg=0.5,
    )
    made = recipe(mix, leafy_share=0.1)
    assert made.pools.shape == made.pool_n.shape == made.woody.shape == (30,)
    assert made.classes.tolist() == [*range(10)] * 3
    assert made.pools.sum() + made.ash == pytest.approx(1.0, abs=1e-12)
    parts = made.parts
    wet = (100.0, 0.2 * parts[1].bulk_density, 2 * 0.09 * parts[2].bulk_density)
    dry = [w * (1 - p.moisture_wb) for w, p in zip(wet, parts, strict=True)]
    assert made.dry_kg == pytest.approx(sum(dry))
    assert made.water_kg == pytest.approx(30 + sum(wet) - sum(dry))
    assert made.moisture_wb == pytest.approx(made.water_kg / (sum(wet) + 30))
    nitrogen = sum(d * (p.organic_n + p.mineral_n) for d, p in zip(dry, parts, strict=True)) + 0.5
    assert (made.organic_n + made.mineral_n) * made.dry_kg == pytest.approx(nitrogen)
    carbon = sum(d * p.carbon for d, p in zip(dry, parts, strict=True))
    assert made.carbon * made.dry_kg == pytest.approx(carbon)
    assert made.volume_m3 == pytest.approx(100 / parts[0].bulk_density + 0.2 + 0.18)
    assert made.woody[:10].all()
    assert not made.woody[10:].any()
    assert float(made.pools @ made.pool_n) == pytest.approx(made.organic_n)


def test_chips_is_a_recipe_of_one() -> None:
    assert chips(0.1).pools.shape == (len(CLASSES),)
    assert chips(0.2).carbon == pytest.approx(0.48, abs=0.002)


def test_what_cannot_be_is_refused() -> None:
    with pytest.raises(UnknownNameError):
        compose(Ingredient("moon dust"))
    for bad in ({"leafy_share": 1.2}, {"soluble": -0.1}, {"accessible": 1.5}):
        with pytest.raises(QuantityError):
            compose(Ingredient("arborist chips"), **bad)  # type: ignore[arg-type]
    own = {"ash_dm": exact(0.99), "lignin_vs": exact(1.0)}
    with pytest.raises(ImpossibleError, match="leave no room"):
        compose(Ingredient("arborist chips", measured=own))
    with pytest.raises(InputError, match="no dry matter"):
        recipe(Mix((Ingredient("arborist chips", mass_kg=exact(0.0)),)))


def test_what_cannot_be_met_is_said() -> None:
    rich = compose(Ingredient("feathers", like="feathers_hair_wool",
                              measured={"nitrogen_dm": exact(0.2)}))  # fmt: skip
    assert any("counts as ammonium" in note for note in rich.notes)
    assert rich.organic_n + rich.mineral_n == pytest.approx(0.2)
    odd = compose(Ingredient("arborist chips", measured={"carbon_dm": exact(0.6)}))
    assert any("carbon" in note for note in odd.notes)
    assert odd.pools.sum() + odd.ash == pytest.approx(1.0, abs=1e-12)
