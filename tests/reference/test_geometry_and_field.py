"""Volumes, heap sizes, barrows, hose and squeeze against numbers printed elsewhere."""

from __future__ import annotations

import pytest

from heapwright.planning.barrow import by_total, loads_for
from heapwright.planning.sizing import (
    chance_floor,
    flow_from_bucket,
    squeeze_bands,
    warm_heaps,
    water_to_add,
)
from heapwright.science.geometry import Body, Section
from heapwright.science.values import recommended, value
from heapwright.units import Ranged

FOOT = 0.3048
YARD3 = 0.764555


@pytest.mark.reference(
    source="published table of conical piles", where="diameter/height ft to yd3, 37 degrees"
)
@pytest.mark.parametrize(
    ("diameter", "height", "cubic_yards"),
    [(26.5, 10, 68), (39.83, 15, 230), (53, 20, 545), (106, 40, 4370)],
)
def test_cones(diameter: float, height: float, cubic_yards: float) -> None:
    cone = Body("cone", diameter * FOOT, height * FOOT)
    assert cone.volume_m3 / YARD3 == pytest.approx(cubic_yards, rel=0.005)


@pytest.mark.reference(
    source="NRAES section formulas, value from memory; volumes computed",
    where="windrow 3 m wide, 1.5 m high, 10 m long",
)
@pytest.mark.parametrize(
    ("section", "volume"),
    [("triangle", 22.5), ("parabola", 30.0), ("trapezoid", 30.0), ("half-ellipse", 35.3)],
)
def test_windrows(section: Section, volume: float) -> None:
    top = 1.0 if section == "trapezoid" else 0.0
    body = Body("windrow", 3.0, 1.5, length_m=10.0, section=section, top_m=top)
    assert body.volume_m3 == pytest.approx(volume, abs=0.05)


@pytest.mark.reference(
    source="paraboloid formula, value from memory", where="V = pi D^2 h / 8, half its cylinder"
)
def test_mound_is_half_its_cylinder() -> None:
    assert Body("mound", 2.0, 1.2).volume_m3 == pytest.approx(
        Body("cylinder", 2.0, 1.2).volume_m3 / 2
    )


@pytest.mark.reference(
    source="common barrow sizes, value from memory",
    where="level 85-100 L (3-3.5 ft3), heaped 110-170",
)
def test_barrow_sizes() -> None:
    level, heaped = value("mixing", "barrow_level_l"), value("mixing", "barrow_heaped_l")
    assert (level.low, level.high) == (85, 100)
    assert level.low == pytest.approx(3 * 28.317, abs=0.5)
    assert level.high == pytest.approx(3.5 * 28.317, abs=1)
    assert (heaped.low, heaped.high) == (110, 170)
    assert heaped.from_memory
    size = by_total(10, 47, container_l=20)
    assert size.mean_m3.typical == pytest.approx(0.094, abs=1e-12)
    assert loads_for(Ranged.exact(1.0), size.mean_m3).typical == pytest.approx(10.6, abs=0.05)


@pytest.mark.reference(source="hose example, computed", where="18.9 L in 40 s = 28.4 L/min")
def test_hose_flow() -> None:
    flow = flow_from_bucket(18.9, 40)
    assert flow == pytest.approx(28.4, abs=0.06)
    assert flow / value("mixing", "us_gallon_l").value == pytest.approx(7.5, abs=0.02)


@pytest.mark.reference(
    source="computed from 160 kg dry matter per m3 of chips (density from memory)",
    where="to 60 % from 40 %: 133 L (15 L/min 9 min, 18 at half uptake); 30 %: 171 L; 50 %: 80 L",
)
def test_litres_and_hose_minutes() -> None:
    for start, litres in ((0.40, 133), (0.30, 171), (0.50, 80)):
        advice = water_to_add(
            1.0,
            dry_density=Ranged.exact(160),
            moisture_wb=Ranged.exact(start),
            goal_moisture_wb=0.60,
            flow_l_min=15,
        )
        assert advice.litres.typical == pytest.approx(litres, abs=0.5)
        if start == 0.40:
            assert advice.minutes_full is not None
            assert advice.minutes_half is not None
            assert round(advice.minutes_full.typical) == 9
            assert round(advice.minutes_half.typical) == 18


@pytest.mark.reference(
    source="permutation counts, computed", where="2 + 2 heaps 0.33; 4 + 4 heaps 0.029"
)
def test_smallest_chance_figure() -> None:
    assert chance_floor(4) == pytest.approx(0.33, abs=0.005)
    assert chance_floor(8) == pytest.approx(0.029, abs=0.0005)
    assert chance_floor(3) is None


@pytest.mark.reference(source="FAO and extension leaflets", where="about 1 m3 a heap")
def test_splitting_a_load() -> None:
    advice = warm_heaps(Ranged.exact(7.6))
    by_number = {option.heaps: option for option in advice.options}
    assert by_number[4].each_m3.typical == pytest.approx(1.9)
    assert by_number[8].each_m3.typical == pytest.approx(0.95)
    assert by_number[4].warm == "likely"
    assert by_number[8].warm == "just enough"
    for each in (0.3, 0.37):
        small = warm_heaps(Ranged.exact(3 * each), wanted=3)
        assert small.warm_heaps == 1
        assert "one warm heap, not three" in small.headline


@pytest.mark.reference(
    source="Cooperband 2002, Table 1; The Composting Handbook 2022, Table 4.2; Technical Note 24",
    where="recommended ranges",
)
def test_recommended_ranges() -> None:
    cooperband, handbook, _ = recommended("cn_ratio")
    assert cooperband.acceptable == (20, 40)
    assert cooperband.ideal == (25, 35)
    assert handbook.acceptable == (20, 60)
    assert handbook.ideal == (25, 40)
    assert recommended("moisture_wb")[0].acceptable == (0.40, 0.65)
    assert recommended("moisture_wb")[1].ideal == (0.50, 0.60)
    low, high = recommended("temp_c")[0].acceptable
    assert low == pytest.approx((110 - 32) / 1.8, abs=0.5)
    assert high == pytest.approx((150 - 32) / 1.8, abs=0.5)
    assert recommended("bulk_density_kg_m3")[0].acceptable[1] == pytest.approx(593, abs=0.5)
    assert recommended("free_air_frac")[0].ideal == (0.35, 0.60)


@pytest.mark.reference(source="common field scale, value from memory", where="hand squeeze bands")
def test_squeeze_bands() -> None:
    bands = squeeze_bands()
    assert list(bands) == ["streams", "drops", "damp", "crumbles", "no_ball", "dusty"]
    assert (bands["damp"].moisture_wb.low, bands["damp"].moisture_wb.high) == (0.50, 0.60)
    assert (bands["crumbles"].moisture_wb.low, bands["crumbles"].moisture_wb.high) == (0.40, 0.50)
