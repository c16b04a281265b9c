"""Ingredients, measurements and mixes refuse nonsense and keep their basis."""

from __future__ import annotations

import datetime as dt

import pytest

from heapwright.domain.material import Ingredient, Measured, Mix
from heapwright.errors import InputError, QuantityError, UnknownNameError
from heapwright.units import Ranged

ONE = Ranged.exact(1.0)


def test_dry_basis_becomes_wet_and_says_so() -> None:
    oven = Measured(
        Ranged(0.5, 0.45, 0.55), method="kitchen oven", basis="dry", date=dt.date(2026, 5, 3)
    )
    kept, said = oven.as_kept("moisture_wb")
    assert kept.typical == pytest.approx(1 / 3)
    assert said == "50 % on dry basis is 33 % on wet basis"
    assert oven.method == "kitchen oven"
    assert oven.value.typical == 0.5  # as measured, still there


def test_wetter_than_dry_is_possible_on_dry_basis() -> None:
    chips = Ingredient("chips", measured={"moisture_wb": Measured(Ranged.exact(1.6), basis="dry")})
    own = chips.own("moisture_wb")
    assert own is not None
    assert own.as_kept("moisture_wb")[0].typical == pytest.approx(0.615, abs=0.001)


def test_nitrogen_of_fresh_weight_needs_moisture() -> None:
    fresh = Measured(Ranged.exact(0.008), basis="wet")
    with pytest.raises(InputError, match="needs the moisture"):
        fresh.as_kept("nitrogen_dm")
    kept, said = fresh.as_kept("nitrogen_dm", Ranged.exact(0.8))
    assert kept.typical == pytest.approx(0.04)
    assert "of dry matter" in said


def test_ingredient_refuses_nonsense() -> None:
    with pytest.raises(InputError, match="name"):
        Ingredient(" ")
    with pytest.raises(InputError, match="Choose from moisture_wb"):
        Ingredient("chips", measured={"colour": ONE})
    with pytest.raises(QuantityError, match="Per cent given"):
        Ingredient("chips", measured={"moisture_wb": Ranged.exact(45)})
    with pytest.raises(QuantityError, match="0 to 100 000"):
        Ingredient("chips", loads=Ranged.exact(-2))
    with pytest.raises(InputError, match="basis"):
        Measured(ONE, basis="damp")
    with pytest.raises(UnknownNameError):
        _ = Ingredient("moon rock", volume_m3=ONE).feedstock


def test_mix_needs_amounts_and_a_barrow() -> None:
    with pytest.raises(InputError, match="at least one ingredient"):
        Mix(())
    with pytest.raises(InputError, match="no amount"):
        Mix((Ingredient("chips"),))
    with pytest.raises(InputError, match="no barrow"):
        Mix((Ingredient("chips", loads=ONE),))
    with pytest.raises(QuantityError, match="barrow"):
        Mix((Ingredient("chips", loads=ONE),), barrow_m3=Ranged.exact(85.0))


def test_like_comes_before_the_name() -> None:
    odd = Ingredient("what Tom brought", like="sawdust", volume_m3=ONE)
    assert odd.feedstock.key == "sawdust"
