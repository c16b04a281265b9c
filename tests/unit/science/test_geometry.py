"""Shapes: inverse, surfaces, rounded ends, refusals, sinking."""

from __future__ import annotations

import math

import pytest

from heapwright.errors import InputError, QuantityError
from heapwright.science.geometry import SHAPES, Body, height_for_volume, section_area, sinking


@pytest.mark.parametrize("shape", list(SHAPES))
def test_height_undoes_volume(shape: str) -> None:
    length = 6.0 if shape in ("windrow", "box") else None
    body = Body(shape, 2.2, 1.3, length_m=length)  # type: ignore[arg-type]
    height = height_for_volume(
        shape,  # type: ignore[arg-type]
        body.volume_m3,
        width_m=2.2,
        length_m=length,
    )
    assert height == pytest.approx(1.3, rel=1e-12)


@pytest.mark.parametrize("section", ["triangle", "parabola", "trapezoid", "half-ellipse"])
def test_rounded_ends_are_halves_of_the_round_heap(section: str) -> None:
    top = 1.0 if section == "trapezoid" else 0.0
    rounded = Body("windrow", 3, 1.5, 10, top, section, rounded_ends=True)  # type: ignore[arg-type]
    square = Body("windrow", 3, 1.5, 10, top, section)  # type: ignore[arg-type]
    round_one = Body("windrow", 3, 1.5, 3, top, section, rounded_ends=True)  # type: ignore[arg-type]
    area = section_area(section, width_m=3, height_m=1.5, top_m=top)  # type: ignore[arg-type]
    assert rounded.volume_m3 == pytest.approx(area * 7 + round_one.volume_m3)
    assert round_one.volume_m3 < rounded.volume_m3 < square.volume_m3


def test_round_windrow_of_its_own_width_is_a_cone_or_mound() -> None:
    cone = Body("windrow", 3, 1.5, 3, section="triangle", rounded_ends=True)
    assert cone.volume_m3 == pytest.approx(Body("cone", 3, 1.5).volume_m3)
    assert cone.surface_m2 == pytest.approx(Body("cone", 3, 1.5).surface_m2)
    dome = Body("windrow", 3, 1.5, 3, section="half-ellipse", rounded_ends=True)
    assert dome.volume_m3 == pytest.approx(Body("dome", 3, 1.5).volume_m3)


def test_surfaces_against_exact_ones() -> None:
    hemisphere = Body("dome", 2.0, 1.0)
    assert hemisphere.surface_m2 == pytest.approx(2 * math.pi, rel=0.002)
    half_pipe = Body("windrow", 2.0, 1.0, 5.0, section="half-ellipse")
    assert half_pipe.surface_m2 == pytest.approx(5 * math.pi + math.pi, rel=1e-6)
    steps = 20000
    skin = sum(  # the mound's skin by summing rings
        2 * math.pi * r * math.hypot(1, 2 * 1.2 * r) * (1 / steps)
        for r in ((k + 0.5) / steps for k in range(steps))
    )
    assert Body("mound", 2.0, 1.2).surface_m2 == pytest.approx(skin, rel=1e-6)
    assert Body("box", 1, 1, 1).surface_m2 == pytest.approx(5)
    flat = Body("windrow", 3, 0.002, 10, section="parabola")
    assert flat.surface_m2 == pytest.approx(30, rel=0.001)


def test_impossible_measures_are_refused() -> None:
    with pytest.raises(InputError, match="needs its length"):
        Body("windrow", 3, 1.5)
    with pytest.raises(QuantityError, match="as long as wide"):
        Body("windrow", 3, 1.5, 2, rounded_ends=True)
    with pytest.raises(QuantityError, match="flat top"):
        Body("windrow", 3, 1.5, 5, 4.0, "trapezoid")
    with pytest.raises(InputError, match="Choose cone"):
        Body("blob", 3, 1.5)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="Choose triangle"):
        Body("windrow", 3, 1.5, 5, section="heart")  # type: ignore[arg-type]
    with pytest.raises(QuantityError, match="height"):
        Body("cone", 3, -1)


def test_sinking_is_wide_and_says_so() -> None:
    start, week, month, year = (sinking(d).volume_left for d in (0, 7, 30, 365))
    assert start.is_exact
    assert start.typical == 1
    assert week.typical > month.typical > year.typical > 0.4
    assert month.low < 0.5 < month.high  # "half in a month" lies inside
    assert week.low < 0.8 < week.high  # "80 % in a week" too
    assert year.high == pytest.approx(0.84, abs=0.01)  # 16 % in the least
    assert "Weakly sourced" in sinking(30).note
