"""The value files: every number readable, in range, with its source."""

from __future__ import annotations

import dataclasses
from types import MappingProxyType

import pytest

from heapwright.errors import QuantityError, TableError, UnknownNameError
from heapwright.science.feedstocks import (
    Feedstock,
    Span,
    carbon_classes,
    carbon_warning,
    check_feedstock,
    feedstocks,
    match,
)
from heapwright.science.values import SEEN, recommended, value, values


@pytest.mark.parametrize("name", ["mixing", "sizing", "air"])
def test_every_number_has_source_and_mark(name: str) -> None:
    found = values(name)
    assert found
    for key, number in found.items():
        assert number.low <= number.value <= number.high, key
        assert number.source, key
        assert number.where, key
        assert number.seen in SEEN, key


def test_unknown_names_are_told() -> None:
    with pytest.raises(UnknownNameError, match="vs_per_carbon"):
        value("mixing", "vs_per_carbn")
    with pytest.raises(UnknownNameError, match="no such file"):
        values("../secrets")


def test_a_quantity_without_advice_has_none() -> None:
    assert recommended("wind_m_s") == ()
    assert len(recommended("cn_ratio")) == 3


def test_table_counts() -> None:
    rows = feedstocks()
    marks = [row.seen for row in rows.values()]
    assert len(rows) == 83
    assert marks.count("seen") == 6
    assert marks.count("partly seen") == 16
    assert all(row.source for row in rows.values())


def _changed(key: str, **spans: Span) -> Feedstock:
    row = feedstocks()[key]
    return dataclasses.replace(row, spans=MappingProxyType({**row.spans, **spans}))


def test_reprint_that_calls_pounds_per_yard_kilograms_is_refused() -> None:
    wrong = _changed("straw_general", bulk_density_kg_m3=Span(58, 200, 357))
    with pytest.raises(TableError, match=r"lb/yd3"):
        check_feedstock(wrong)


def test_reprint_with_a_lost_digit_in_cn_is_refused() -> None:
    wrong = _changed("beef_feedlot_manure_with_bedding", cn_ratio=Span(None, 1.8, None))
    with pytest.raises(TableError, match="2 % carbon"):
        check_feedstock(wrong)


def test_numbers_out_of_register_or_order_are_refused() -> None:
    with pytest.raises(QuantityError, match="Per cent given"):
        check_feedstock(_changed("sawdust", moisture_wb=Span(19, 39, 65)))
    with pytest.raises(TableError, match="out of order"):
        check_feedstock(_changed("sawdust", moisture_wb=Span(0.5, 0.39, 0.65)))


def test_contradictions_are_named_not_hidden() -> None:
    said = carbon_warning(feedstocks()["sawdust"])
    assert said is not None
    assert "106 % carbon" in said
    assert "48-51 %" in said
    assert carbon_warning(feedstocks()["coffee_grounds"]) is None


def test_classes_have_room_for_themselves() -> None:
    for key, kind in carbon_classes().items():
        low, high = kind.carbon_dm
        assert 0 < low < high < 0.55, key
        assert kind.ash_dm[0] < kind.ash_dm[1], key


@pytest.mark.parametrize(
    ("typed", "key"),
    [
        ("arborist chips", "arborist_chips_green_with_leaves_twigs"),
        ("Shredded apple prunings", "arborist_chips_green_with_leaves_twigs"),
        ("grass mowings", "grass_clippings_loose"),
        ("coffe grounds", "coffee_grounds"),
        ("saw dust", "sawdust"),
        ("wheat straw", "straw_wheat"),
        ("leaves", "leaves_dry_loose"),
        ("cow manure", "cattle_manure"),
        ("straw_general", "straw_general"),
    ],
)
def test_names_people_type(typed: str, key: str) -> None:
    assert match(typed).key == key


def test_unknown_material_names_the_nearest() -> None:
    with pytest.raises(UnknownNameError, match="cattle manure"):
        match("cow dung")
    with pytest.raises(UnknownNameError, match="no material of that name"):
        match("bananas")
    with pytest.raises(UnknownNameError, match="no material named"):
        match(" -- ")
