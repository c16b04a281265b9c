"""Sizes, water, squeeze and barrows."""

from __future__ import annotations

import pytest

from heapwright.errors import ImpossibleError, InputError, QuantityError, UnknownNameError
from heapwright.planning.barrow import by_buckets, by_total, by_weight, guessed_barrow
from heapwright.planning.sizing import (
    flow_from_bucket,
    squeeze_moisture,
    warm_heaps,
    water_to_add,
)
from heapwright.units import Ranged

EXACT = Ranged.exact


def test_eleven_barrows_make_one_warm_heap_not_three() -> None:
    volume = Ranged(1.05, 0.95, 1.1)
    advice = warm_heaps(volume, wanted=3)
    assert advice.headline.startswith("This makes one warm heap, not three: 0.35 m3 each")
    three = next(o for o in advice.options if o.heaps == 3)
    assert three.warm == "unlikely"
    assert three.each_m3.high == pytest.approx(1.1 / 3)


def test_frost_asks_for_more() -> None:
    mild, frost = (warm_heaps(EXACT(7.6), air_temp_c=t) for t in (12.0, -5.0))
    assert mild.warm_heaps > frost.warm_heaps
    assert any("own assumption" in note for note in frost.notes)


def test_far_too_little() -> None:
    advice = warm_heaps(EXACT(0.2))
    assert advice.warm_heaps == 0
    assert "pool it" in advice.headline
    with pytest.raises(InputError, match="1 to 200"):
        warm_heaps(EXACT(2.0), wanted=0)


def test_water_as_a_range() -> None:
    advice = water_to_add(
        1.0,
        dry_density=Ranged(160, 140, 180),
        moisture_wb=Ranged(0.45, 0.40, 0.65),
        goal_moisture_wb=0.60,
    )
    assert advice.litres.low == 0  # it may be wet enough already
    assert advice.litres.high == pytest.approx(180 * (1.5 - 2 / 3))
    assert advice.minutes_full is None


def test_water_cannot_dry() -> None:
    with pytest.raises(ImpossibleError, match="cannot lower"):
        water_to_add(1.0, dry_density=EXACT(160), moisture_wb=EXACT(0.7), goal_moisture_wb=0.6)
    with pytest.raises(InputError, match="90 %"):
        water_to_add(1.0, dry_density=EXACT(160), moisture_wb=EXACT(0.4), goal_moisture_wb=0.95)


def test_wood_is_squeezed_less_surely() -> None:
    for band in ("damp", "crumbles", "no_ball"):
        leaf, wood = (squeeze_moisture(band, woody=w) for w in (False, True))
        assert wood.low < leaf.low < leaf.typical < leaf.high < wood.high
    with pytest.raises(UnknownNameError, match="damp"):
        squeeze_moisture("soggy", woody=False)


def test_flow() -> None:
    assert flow_from_bucket(10, 40) == pytest.approx(15)
    with pytest.raises(InputError, match="seconds"):
        flow_from_bucket(10, 0)


def test_ten_loads_counted_one_by_one() -> None:
    counts = [4.5, 5.0, 4.7, 4.8, 4.5, 4.9, 4.6, 4.4, 4.8, 4.8]
    size = by_buckets(counts, container_l=20)
    assert size.mean_m3.typical == pytest.approx(0.094)
    assert size.cv_measured
    assert size.cv == pytest.approx(0.0413, abs=0.0005)
    assert size.one_m3.low < size.mean_m3.low < size.mean_m3.high < size.one_m3.high
    assert size.note == ""


def test_more_loads_tell_it_better() -> None:
    few, many = by_total(2, 9.4, container_l=20), by_total(20, 94, container_l=20)
    assert few.mean_m3.typical == pytest.approx(many.mean_m3.typical)
    assert few.mean_m3.high - few.mean_m3.low > many.mean_m3.high - many.mean_m3.low
    assert "assumed" in few.note
    assert "Ten loads" in few.note


def test_weighed_loads() -> None:
    size = by_weight([28, 30, 29], bulk_density_kg_m3=Ranged(300, 270, 330))
    assert size.mean_m3.typical == pytest.approx(0.0967, abs=0.0001)
    assert size.mean_m3.low < 0.9 * size.mean_m3.typical


def test_counts_that_cannot_be() -> None:
    with pytest.raises(InputError, match="at least one load"):
        by_buckets([], container_l=20)
    with pytest.raises(QuantityError, match="above 0"):
        by_buckets([4, -1], container_l=20)
    with pytest.raises(InputError, match="from 1"):
        by_total(0, 47, container_l=20)
    assert guessed_barrow().low == pytest.approx(0.085)
