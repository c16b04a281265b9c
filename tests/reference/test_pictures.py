"""Colour and sizes from pictures, against published and drawn ones.

Drawn pictures are invented (`tests.reference.drawn`). The 24 patches are those of
``science/values/chart24.csv``, computed with colour-science 0.4.7.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from skimage import data
from tests.reference.drawn import WARM, cast_on, chart_picture, discs

from heapwright.errors import InputError
from heapwright.science.particles import find_particles, scale_of, sizes_of
from heapwright.science.pictures import (
    by_card,
    by_chart,
    chart,
    colour_of,
    corners_of,
    difference,
    fit_patches,
    lab,
    light,
    patches,
    srgb,
)

CHART = "computed with colour-science 0.4.7 (BSD-3), 24-patch chart under D50"
#: casts in linear light: warm and cool lamps, shade, channels that mix, stray light
CASTS = {
    "warm": WARM, "cool": np.diag([0.62, 0.8, 1.0]), "dim": 0.35 * np.eye(3),
    "warm and dim": np.diag([0.42, 0.32, 0.20]),
    "mixed": np.array([[0.80, 0.12, 0.02], [0.06, 0.75, 0.05], [0.01, 0.10, 0.60]]),
    "stray": np.column_stack([np.diag([0.9, 0.8, 0.6]), [0.02, 0.02, 0.03]]),
}  # fmt: skip
KNOWN = np.array([p.lab for p in chart()])
IN_GAMUT = [k for k, p in enumerate(chart()) if p.in_gamut]


# --- colour --------------------------------------------------------------------------------------


@pytest.mark.reference(source=CHART, where="columns L_star_D50 to sRGB_B")
def test_the_chart_holds_together_and_only_cyan_lies_outside() -> None:
    found = lab(np.array([p.light for p in chart()]))
    assert np.abs(found - KNOWN).max() < 0.02
    assert [p.name for p in chart() if not p.in_gamut] == ["cyan"]
    assert len(chart()) == 24


@pytest.mark.reference(source="colour-science 0.4.7", where="sRGB to L*a*b*, Bradford; CIE 2000")
def test_a_second_opinion_on_lab_and_differences() -> None:
    random = np.random.default_rng(5)
    shown = random.uniform(0, 255, (200, 3))
    theirs = colour.XYZ_to_Lab(
        colour.sRGB_to_XYZ(shown / 255, (0.3457, 0.3585), "Bradford"), (0.3457, 0.3585)
    )
    ours = lab(light(shown))
    assert np.abs(ours - theirs).max() < 0.05
    assert np.abs(srgb(light(shown)) - shown).max() < 1e-3
    other = ours + random.normal(0, 4, ours.shape)
    assert np.abs(difference(ours, other) - colour.delta_E(ours, other)).max() < 1e-3


@pytest.mark.reference(
    source="Sharma, Wu and Dalal 2005, Color Research and Application 30, 21-30 (from memory)",
    where="table 1, pairs 1, 7, 17 and 34",
)
@pytest.mark.parametrize(
    ("one", "other", "published"),
    [
        ((50, 2.6772, -79.7751), (50, 0, -82.7485), 2.0425),
        ((50, 0, 0), (50, -1, 2), 2.3669),
        ((50, 2.5, 0), (73, 25, -18), 27.1492),
        ((2.0776, 0.0795, -1.1350), (0.9033, -0.0636, -0.5514), 0.9082),
    ],
)
def test_ciede2000(one: tuple[float, ...], other: tuple[float, ...], published: float) -> None:
    found = difference(np.array(one, dtype=float), np.array(other, dtype=float))
    assert float(found) == pytest.approx(published, abs=1e-4)


@pytest.mark.parametrize("noise", [0.0, 3.0])
@pytest.mark.parametrize("cast", CASTS)
@pytest.mark.reference(source=CHART, where="patches in gamut, half of them not used")
def test_patches_not_used_for_the_correction_come_out_within_two(cast: str, noise: float) -> None:
    seen, fine = patches(*chart_picture(CASTS[cast], noise=noise))
    known = [k for k in IN_GAMUT if fine[k]]
    assert len(known) == 23
    for half in (0, 1):
        used = known[half::2]
        others = [k for k in known if k not in used]
        made = fit_patches(seen, used)
        off = difference(lab(np.clip(made.apply(seen[others]), 0, None)), KNOWN[others])
        assert off.max() < 2.0, (cast, [chart()[k].name for k in others], off.round(2))
    if not noise:
        before = difference(lab(seen[IN_GAMUT]), KNOWN[IN_GAMUT])
        assert before.mean() > 5.0  # the cast is worth correcting


@pytest.mark.parametrize("cast", CASTS)
def test_the_correction_says_how_far_patches_left_out_are_off(cast: str) -> None:
    made = by_chart(*chart_picture(CASTS[cast], noise=3.0))
    assert made.left_out == ("cyan",)
    assert len(made.off) == len(made.used) == 23
    assert max(made.off) < 2.5


@pytest.mark.parametrize("cast", ["warm", "cool", "dim", "warm and dim"])
def test_a_white_card_brings_back_compost_under_a_cast(cast: str) -> None:
    """Invented: dark brown, as patch dark skin, beside a card as white as the chart's."""
    brown = np.array(chart()[0].light)
    linear = np.full((200, 300, 3), brown)
    linear[20:80, 20:80] = 0.88
    made = by_card(cast_on(linear, CASTS[cast]), (25, 25, 50, 50), gives_back=0.88)
    found = colour_of(cast_on(linear, CASTS[cast]), (100, 20, 150, 150), made)
    assert float(difference(np.array(found.lab), KNOWN[0])) < 2.0
    assert found.pixels == 150 * 150


def _card(level: tuple[int, int, int], size: int = 60) -> np.ndarray:
    made = np.full((200, 300, 3), (70, 50, 40), dtype=np.uint8)
    made[20 : 20 + size, 20 : 20 + size] = level
    return made


def test_cards_that_cannot_be_used_are_refused_with_the_reason() -> None:
    good = (240, 238, 230)
    by_card(_card(good), (20, 20, 60, 60), gives_back=0.88)
    slope = _card(good).astype(float)
    slope[20:80, 20:80] *= np.linspace(0.6, 1.0, 60)[None, :, None]
    cases = [
        (_card((250, 238, 230)), (20, 20, 60, 60), "as bright as the camera goes"),
        (_card((60, 50, 39)), (20, 20, 60, 60), "too dark"),
        (slope.astype(np.uint8), (20, 20, 60, 60), "uneven across the card"),
        (_card(good), (20, 20, 19, 19), "too small"),
        (_card(good), (280, 20, 60, 60), "outside the picture"),
        (_card(good), (20, 20, 0, 60), "a width and a height"),
    ]
    for picture, place, reason in cases:
        with pytest.raises(InputError, match=reason) as caught:
            by_card(picture, place, gives_back=0.88)
        assert caught.value.field == "card"
        assert "Mark" in str(caught.value) or caught.value.way_out


def test_charts_that_cannot_be_used_are_refused_with_the_reason() -> None:
    picture, corners = chart_picture(np.eye(3))
    bright = cast_on(light(picture) * 1.5, np.eye(3))
    dark = cast_on(light(picture) * 0.015, np.eye(3))
    shade = light(picture)
    shade[:, 120:] *= 0.35
    cases = [
        (bright, corners, "white patch is as bright"),
        (dark, corners, "too dark"),
        (picture, np.roll(corners, 2, axis=0), "does not fall from white to black"),
        (cast_on(shade, np.eye(3)), corners, "light across it is uneven|does not fall"),
        (picture, corners_of((20, 20, 60, 40)), "too small"),
        (picture, corners + 100, "outside the picture"),
    ]
    for made, at, reason in cases:
        with pytest.raises(InputError, match=reason) as caught:
            by_chart(made, at)
        assert caught.value.field == "chart"


def test_an_area_that_shines_or_is_a_speck_is_refused() -> None:
    card = _card((240, 238, 230))
    made = by_card(card, (20, 20, 60, 60), gives_back=0.88)
    with pytest.raises(InputError, match="area is too small"):
        colour_of(card, (100, 100, 40, 40), made)
    card[100:110, 100:300] = 255
    with pytest.raises(InputError, match="as bright as the camera goes"):
        colour_of(card, (100, 100, 150, 60), made)


# --- particles -----------------------------------------------------------------------------------


@pytest.mark.reference(
    source="skimage.data.coins(), coins from Pompeii, as shipped in scikit-image",
    where="24 coins of 37 to 63 px equivalent diameter by marker watershed",
)
def test_twenty_four_coins() -> None:
    found = find_particles(data.coins() / 255.0)
    assert len(found.diameters) == 24
    assert 37 <= found.diameters.min() < 38
    assert 63 <= found.diameters.max() < 64
    assert found.cut == 0


@pytest.mark.parametrize(
    "drawn",
    [{}, {"dark": False}, {"noise": 0.05}, {"blur": 0.05}, {"stretch": 3.0}, {"apart": 1.0}],
    ids=str,
)
@pytest.mark.parametrize("px", [12.0, 20.0, 45.0])
def test_drawn_particles_of_known_size_come_out_within_three_per_cent(
    px: float, drawn: dict[str, float]
) -> None:
    """Invented: 30 particles of 6 mm, drawn at px pixels; blur as a share of them."""
    drawn = {**drawn, "blur": drawn.get("blur", 0.0) * px}
    scale = scale_of(100.0, (0, 0, 100.0 * px / 6.0, 0))
    found = find_particles(discs([px] * 30, **drawn))  # type: ignore[arg-type]
    assert (len(found.diameters), found.cut, found.tiny) == (30, 0, 0)
    sizes = sizes_of(found.diameters * scale.mm_per_px)
    for value in (sizes.d10, sizes.d50, sizes.d90):
        assert value == pytest.approx(6.0, rel=0.03)


def test_a_mixture_of_sizes_has_the_distribution_it_was_drawn_with() -> None:
    px = [12.0] * 40 + [24.0] * 20 + [48.0] * 10
    found = sizes_of(find_particles(discs(px, columns=10)).diameters)
    drawn = sizes_of(px)
    for mine, true in ((found.d10, drawn.d10), (found.d50, drawn.d50), (found.d90, drawn.d90)):
        assert mine == pytest.approx(true, rel=0.03)
    assert 23 < found.d50_low < found.d50 < found.d50_high < 49  # either size may hold the half


def test_light_that_falls_off_over_the_picture_changes_nothing() -> None:
    even = discs([20.0] * 30)
    fall = even * np.linspace(1.0, 0.6, even.shape[1])[None, :]
    assert find_particles(fall).diameters == pytest.approx(find_particles(even).diameters, rel=0.03)


def test_what_the_border_cuts_is_left_out_and_counted() -> None:
    whole = discs([30.0] * 36)
    part = whole[:, 38:]  # through the first column
    found = find_particles(part)
    assert found.cut == 6
    assert len(found.diameters) == 30
    assert found.diameters == pytest.approx(30.0, rel=0.03)


def test_touching_discs_are_taken_apart() -> None:
    yy, xx = np.mgrid[:400, :500]
    made = np.zeros((400, 500))
    for k in range(15):
        y, x = 40 + k // 3 * 80, 70 + k % 3 * 170
        for at in (x, x + 38):
            made = np.maximum(made, np.clip(20.5 - np.hypot(yy - y, xx - at), 0, 1))
    found = find_particles(0.9 - 0.7 * made)
    assert len(found.diameters) == 30
    assert found.diameters == pytest.approx(40.0, rel=0.03)


def test_the_scale_is_no_particle() -> None:
    made = discs([20.0] * 30)
    rule = np.full((60, made.shape[1]), 0.9)
    rule[20:40, 15:-15] = 0.2
    whole = np.vstack([made, rule])
    y = made.shape[0] + 30
    found = find_particles(whole, ends=(20, y, made.shape[1] - 20, y))
    assert (len(found.diameters), found.scale) == (30, 1)
    assert len(find_particles(whole).diameters) == 31


def test_pictures_that_cannot_be_measured_are_refused_with_the_reason() -> None:
    random = np.random.default_rng(3)
    drawn = discs([30.0] * 30)
    cases = [
        (np.clip(random.normal(0.5, 0.05, (300, 300)), 0, 1), "do not stand out"),
        (np.full((300, 300), 0.5), "do not stand out"),
        (gaussian_filter(drawn, 5.0), "out of focus"),
        (discs([12.0] * 30, blur=1.5), "out of focus"),
        (discs([30.0] * 19), "too few whole particles"),
        (discs([60.0] * 30, apart=0.96)[60:-60, 60:-60], "lie on each other|too few"),
    ]
    for picture, reason in cases:
        with pytest.raises(InputError, match=reason) as caught:
            find_particles(picture)
        assert caught.value.field == "picture"
    scales = [
        (100.0, (0, 0, 50, 0), "too near"), (0.0, (0, 0, 500, 0), "length"),
        (float("nan"), (0, 0, 500, 0), "length"),
    ]  # fmt: skip
    for length, ends, reason in scales:
        with pytest.raises(InputError, match=reason):
            scale_of(length, ends)
    with pytest.raises(InputError, match="no particle"):
        sizes_of([])
