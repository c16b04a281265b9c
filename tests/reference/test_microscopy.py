"""Microscopy against published factors, exact limits of counts, and worked examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import poisson, t

from heapwright.errors import NotEnoughError, QuantityError
from heapwright.science import microscopy as m
from heapwright.science.values import raw, value
from heapwright.stats.counted import counting_range

VAN_VEEN = "van Veen and Paul 1979, Appl. Environ. Microbiol. 37, 686-692"
BERG = "Berg and Soderstrom 1979, Soil Biol. Biochem. 11"
NOTES = "worked example in reference/standards.md section 8 (computed from the formula)"


@pytest.mark.reference(
    source="Garwood 1936, Biometrika 28 (exact limits of a Poisson count; from memory)",
    where="95 % limits as in reference/standards.md section 8 (computed)",
)
@pytest.mark.parametrize(
    ("count", "low", "high", "within"),
    [
        (0, 0.0, 3.69, 0.005), (1, 0.025, 5.57, 0.005), (4, 1.09, 10.24, 0.005),
        (10, 4.80, 18.39, 0.005), (25, 16.18, 36.90, 0.006), (50, 37.11, 65.92, 0.005),
        (100, 81.36, 121.63, 0.005), (400, 361.8, 441.2, 0.05),
    ],
)  # fmt: skip
def test_exact_limits_of_a_count(count: int, low: float, high: float, within: float) -> None:
    got = counting_range(count, 1, family="rate")
    assert got == pytest.approx((low, high), abs=within)
    # by their definition: at each limit the chance of what was seen or more extreme is 2.5 %
    assert float(poisson.cdf(count, got[1])) == pytest.approx(0.025, abs=1e-9)
    if count:
        assert float(poisson.sf(count - 1, got[0])) == pytest.approx(0.025, abs=1e-9)


@pytest.mark.reference(source=NOTES, where="L 1, 0.4, 2 with d 5, 4, 8 um")
def test_mean_square_diameter() -> None:
    lengths, diameters = [1, 0.4, 2], [5, 4, 8]
    rms = m.root_mean_square_diameter(lengths, diameters)
    mean = m.mean_diameter(lengths, diameters)
    assert rms == pytest.approx(6.85, abs=0.005)
    assert mean == pytest.approx(6.65, abs=0.005)
    assert 1 - (mean / rms) ** 2 == pytest.approx(0.058, abs=0.0005)
    # the volume of all pieces is that of one hypha of the mean square diameter
    whole = sum(m.hypha_volume(x, d) for x, d in zip(lengths, diameters, strict=True))
    assert m.hypha_volume(sum(lengths), rms) == pytest.approx(whole)


@pytest.mark.reference(source=BERG, where="section 9.3e-6 mm2, 1.1 g/mL, 15 % dry (seen)")
def test_dry_mass_of_active_hyphae() -> None:
    assert m.active_hyphae_mg(100.0) == pytest.approx(0.153, abs=0.0005)
    assert m.active_hyphae_mg(0.0) == 0.0


@pytest.mark.reference(source=VAN_VEEN, where="means and ranges of dry mass over volume (seen)")
def test_factors_change_the_ratio_two_and_a_half_times() -> None:
    fungi = value("microscopy", "dry_per_volume.fungi")
    bacteria = value("microscopy", "dry_per_volume.bacteria")
    older = value("microscopy", "dry_per_volume.older")
    assert (fungi.low, fungi.value, fungi.high) == (0.11, 0.33, 0.41)
    assert (bacteria.low, bacteria.value, bacteria.high) == (0.38, 0.8, 1.4)
    assert older.value == pytest.approx((1 - 0.80) * 1.1)
    assert pytest.approx(2.4, abs=0.03) == m.FACTOR_FOLD
    # by hand: a volume ratio of 1 is 0.41 by mass; at one factor for both it stays 1
    assert m.dry_mass_mg(1e9, "fungi").typical / m.dry_mass_mg(1e9, "bacteria").typical == (
        pytest.approx(1 / m.FACTOR_FOLD)
    )
    band = m.mass_factor_ratio()
    assert (band.low, band.high) == pytest.approx((0.11 / 1.4, 0.41 / 0.38))


@pytest.mark.reference(
    source="Fry 1990; Bratbak and Dundas 1984; Bakken and Olsen 1983 (values from memory)",
    where="310 and 220 fg C/um3 of bacteria, 130 of fungi",
)
def test_carbon_factors() -> None:
    found = m.carbon_fg(2.0, "bacteria")
    assert (found.low, found.typical) == (440.0, 620.0)
    assert m.carbon_fg(2.0, "fungi").typical == 260.0
    marks = [value("microscopy", f"carbon_per_volume.{k}").seen
             for k in ("fungi", "bacteria", "bacteria_lower")]  # fmt: skip
    assert marks == ["memory"] * 3


def test_volumes_by_adding_up_slices() -> None:
    """A rod is a cylinder with two half spheres; checked by turning its outline numerically."""
    long, wide = 2.0, 0.5
    x = np.linspace(0, long, 200_001)
    inside = np.clip(np.minimum(x, long - x), 0, wide / 2)
    radius = np.sqrt(np.maximum((wide / 2) ** 2 - (wide / 2 - inside) ** 2, 0))
    assert m.rod_volume(long, wide) == pytest.approx(float(np.trapezoid(math.pi * radius**2, x)))
    assert m.rod_volume(0.7, 0.7) == pytest.approx(m.coccus_volume(0.7))
    with pytest.raises(QuantityError, match="at least as long as wide"):
        m.rod_volume(0.5, 0.7)


@pytest.mark.reference(
    source="Olson 1950 (name seen; L = pi N A/(2 H) from memory)", where="random lines on a grid"
)
def test_line_intersects_by_throwing_needles() -> None:
    """Straight needles thrown on a grid of parallel lines cross it as the formula says."""
    rng = np.random.default_rng(8)
    apart, side, long, needles = 0.1, 10.0, 0.25, 40_000
    y, angle = rng.uniform(0, side, needles), rng.uniform(0, math.pi, needles)
    top = y + long * np.sin(angle)
    crossings = np.floor(top / apart) - np.floor(y / apart)
    grid = side * side / apart
    got = m.crossed_length(float(crossings.sum()), side * side, grid)
    assert got == pytest.approx(needles * long, rel=0.01)


@pytest.mark.reference(source="dilution arithmetic", where="reference/standards.md section 8")
def test_from_a_field_to_a_gram() -> None:
    got = m.per_gram(12, cover_mm2=324, field_mm2=0.16, ml_per_g=100, drop_ml=0.05, dry_share=0.5)
    assert got == pytest.approx(12 * (324 / 0.16) * 100 / (0.05 * 0.5))
    with pytest.raises(QuantityError, match="not larger than the cover slip"):
        m.per_gram(1, cover_mm2=0.1, field_mm2=0.2, ml_per_g=1, drop_ml=1, dry_share=1)


@pytest.mark.reference(source="USDA Soil Biology Primer", where="fungi to bacteria of soils (seen)")
def test_context_of_the_ratio() -> None:
    rows = raw("microscopy")["context"]
    assert rows["arable"]["high"] == 1.0
    assert (rows["deciduous_forest"]["low"], rows["deciduous_forest"]["high"]) == (5.0, 10.0)
    assert (rows["conifer_forest"]["low"], rows["conifer_forest"]["high"]) == (100.0, 1000.0)
    assert all(r["source"] and r["seen"] for r in rows.values())
    assert rows["compost"]["seen"] == "memory"


# --- fields --------------------------------------------------------------------------------------


def test_clumped_cells_are_found_by_their_variance() -> None:
    rng = np.random.default_rng(3)
    k, mean = 2.0, 20.0
    counts = rng.negative_binomial(k, k / (k + mean), 4000)
    _, variance, found = m.spread_of_fields(counts.tolist())
    assert variance == pytest.approx(mean + mean**2 / k, rel=0.1)
    assert found == pytest.approx(k, rel=0.1)


def test_no_ratio_where_the_denominator_is_near_zero() -> None:
    above = [4.0, 6.0, 5.0, 5.0]
    for below, seen in (([0, 0, 0, 0], 0), ([1, 0, 0, 1], 2), ([0, 0, 0, 40], 40)):
        with pytest.raises(NotEnoughError):
            m.ratio_of_fields(above, below, seen_above=20, seen_below=seen, reach=3.18,
                              paired=False)  # fmt: skip
    with pytest.raises(NotEnoughError, match="no hypha"):
        m.ratio_of_fields([0, 0], [9, 9], seen_above=0, seen_below=18, reach=3.18, paired=False)


@pytest.mark.parametrize("clumped", [False, True])
def test_the_range_of_a_ratio_holds_it_as_often_as_it_says(clumped: bool) -> None:
    """Invented slides of known ratio: 95 % of the ranges hold it, however the cells lie."""
    rng = np.random.default_rng(11)
    fields, held, made = 12, 0, 0
    reach = float(t.ppf(0.975, fields - 1))
    for _ in range(600):
        rate = rng.gamma(4, 20 / 4, fields) if clumped else np.full(fields, 20.0)
        cells = rng.poisson(rate)
        pieces = rng.poisson(6, fields)
        lengths = [float(rng.gamma(2, 0.05, n).sum()) for n in pieces]
        low, _, high = m.ratio_of_fields(
            lengths, cells.tolist(), seen_above=float(pieces.sum()), seen_below=float(cells.sum()),
            reach=reach, paired=True,
        )  # fmt: skip
        made += 1
        held += low <= (6 * 0.1) / 20 <= high
    assert 0.93 <= held / made <= 0.99


def test_the_range_of_a_ratio_is_near_that_of_a_bootstrap_over_fields() -> None:
    rng = np.random.default_rng(5)
    above, below = rng.gamma(9, 1, 30), rng.poisson(25, 30)
    low, mid, high = m.ratio_of_fields(
        above.tolist(), below.tolist(), seen_above=1e6, seen_below=float(below.sum()),
        reach=float(t.ppf(0.975, 29)), paired=False,
    )  # fmt: skip
    picks = rng.integers(0, 30, (2, 4000, 30))
    drawn = above[picks[0]].mean(axis=1) / below[picks[1]].mean(axis=1)
    got = np.quantile(drawn, [0.025, 0.975])
    assert mid == pytest.approx(above.mean() / below.mean())
    assert (low, high) == (pytest.approx(got[0], rel=0.05), pytest.approx(got[1], rel=0.05))
