"""Sizes of particles in a picture: found by marker watershed, measured against a scale.

Units: pixels, millimetres; brightness 0 to 1. Conventions: the size of a particle is the diameter
of the disc of its area; a distribution is by area, so that d50 is the size that half of the covered
area is finer than; particles that the border cuts are left out and counted. What a picture must be
like stands in ``values/pictures.toml``.
Sources: watershed from markers on the gradient, Beucher and Meyer 1993; threshold by Otsu 1979;
focus by the variance of the Laplacian, Pech-Pacheco et al. 2000 (all from memory).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError
from heapwright.science.pictures import Floats
from heapwright.science.values import value

__all__ = ["Particles", "Scale", "Sizes", "find_particles", "outline_blur", "scale_of", "sizes_of"]

Ends = tuple[float, float, float, float]
#: half of the width of the band along an outline that is looked at for focus [px]
_BAND = 3
#: the picture is smoothed by that before its grain is looked at [px]; taken off the blur again
_SMOOTH = 1.0
#: outlines are rough by about so much [px]
_ROUGH = 2.0
#: what lies so near the line of the scale is the scale, as a share of the picture's longer side
_BESIDE = 0.012
#: times that the ground is fitted; least share of the picture that a fit stands on
_LEVELS, _GROUND = 4, 0.1
_SEED, _DRAWS = 20260503, 400


@dataclass(frozen=True, slots=True)
class Scale:
    """A scale in the picture: mm_per_px; px : between its ends; off : share it may be off."""

    mm_per_px: float
    px: float
    off: float


@dataclass(frozen=True, slots=True)
class Particles:
    """What was found in a picture.

    diameters : of whole particles [px], in the order found; cut : how many the border cuts;
    tiny : how many are too small to measure; scale : how many lay under the scale; covered : share
    of the place that is covered; blur : of the outlines [px]; labels : 0 for ground, else the
    number of the particle (whole ones first, 1, 2, ...), pixel by pixel.
    """

    diameters: Floats
    cut: int
    tiny: int
    scale: int
    covered: float
    blur: float
    labels: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Sizes:
    """A distribution by area: d10, d50, d90 [mm], the range of d50 that other handfuls of as many
    particles would give (nine in ten), and how many particles."""

    d10: float
    d50: float
    d90: float
    d50_low: float
    d50_high: float
    count: int


def scale_of(length_mm: float, ends: Ends) -> Scale:
    """The scale that two marked ends of a known length give.

    Raises `InputError` when the ends lie too near each other for a scale.

    >>> made = scale_of(100, (50, 20, 450, 20))
    >>> made.mm_per_px, round(made.off, 3)
    (0.25, 0.007)
    """
    px = math.hypot(ends[2] - ends[0], ends[3] - ends[1])
    least, tap = (value("pictures", f"size.{k}").value for k in ("scale_px", "tap_px"))
    if not px >= least:
        raise InputError("the ends of the scale lie too near each other", field="ends",
                         value=f"{px:.0f} px apart, at least {least:.0f}",
                         way_out="Mark a longer piece of the rule, or go nearer")  # fmt: skip
    if not (math.isfinite(length_mm) and length_mm > 0):
        raise InputError("a scale has a length", field="scale", value=length_mm,
                         way_out='Write it with its unit, as in "100 mm"')  # fmt: skip
    return Scale(length_mm / px, px, tap * math.sqrt(2) / px)


def find_particles(grey: Floats, *, ends: Ends | None = None) -> Particles:
    """Particles on plain ground, darker or lighter than it; light may fall off over the picture.

    Halfway from Otsu's threshold to the mean of either side and beyond lie the markers of ground
    and particles; the watershed of the gradient draws the outline between them.

    Parameters
    ----------
    grey : array
        Brightness, 0 to 1, rows by columns.
    ends : (x1, y1, x2, y2), optional
        Ends of the scale [px]: what lies under the line between them is the scale, no particle.

    Raises
    ------
    InputError
        When particles do not stand out from the ground, lie on each other, are out of focus, or
        are fewer than ``size.least``.
    """
    from scipy import ndimage
    from skimage.filters import sobel, threshold_otsu
    from skimage.measure import regionprops
    from skimage.segmentation import watershed

    turned = _levelled(_lighter_than_ground(grey))
    _stands_out(turned)
    split = threshold_otsu(turned)
    low = (split + float(turned[turned <= split].mean())) / 2
    high = (split + float(turned[turned > split].mean())) / 2
    seeds = np.zeros(grey.shape, dtype=np.int32)
    seeds[turned < low], seeds[turned > high] = 1, 2
    mask = ndimage.binary_fill_holes(watershed(sobel(turned), seeds) == 2)
    assert mask is not None
    covered = float(mask.mean())
    most = value("pictures", "size.covered").value
    if covered > most:
        raise InputError(
            "the particles lie on each other",
            field="picture",
            value=f"{covered:.0%} covered, at most {most:.0%}".replace("%", " %"),
            way_out="Spread a spoonful on a plain sheet, one beside the other",
        )
    labels = _apart(mask)
    least = value("pictures", "size.smallest_px").value
    under = _under(labels, ends)
    whole: list[Any] = []
    counts = {"cut": 0, "tiny": 0, "scale": 0}
    for region in regionprops(labels):
        top, left, bottom, right = region.bbox
        if region.label in under:
            counts["scale"] += 1
        elif region.equivalent_diameter_area < least:
            counts["tiny"] += 1
        elif top == 0 or left == 0 or bottom == grey.shape[0] or right == grey.shape[1]:
            counts["cut"] += 1
        else:
            whole.append(region)
    order = np.zeros(int(labels.max()) + 1, dtype=np.int64)
    order[1:] = len(whole) + 1
    for n, region in enumerate(whole, 1):
        order[region.label] = n
    found = np.array([r.equivalent_diameter_area for r in whole], dtype=float)
    wanted = int(value("pictures", "size.least").value)
    if len(found) < wanted:
        raise InputError(
            "too few whole particles for a distribution",
            field="picture",
            value=f"{len(found)}, at least {wanted}",
            way_out="Spread more of them, or take the picture from farther up",
        )
    kept = order[labels]
    blur = outline_blur(turned, (kept > 0) & (kept <= len(whole)))
    _in_focus(blur, float(np.median(found)))
    return Particles(found, counts["cut"], counts["tiny"], counts["scale"], covered, blur, kept)


def _lighter_than_ground(grey: Floats) -> Floats:
    """The picture, turned over if its ground (most of its border) is the lighter side."""
    from skimage.filters import threshold_otsu

    edge = np.concatenate([grey[0], grey[-1], grey[:, 0], grey[:, -1]])
    return 1.0 - grey if np.median(edge) > threshold_otsu(grey) else grey


def _levelled(turned: Floats) -> Floats:
    """The picture less its ground, taken as a curved surface (of second degree) through what is
    surely ground: light falls off towards one side of most pictures."""
    from scipy import ndimage
    from skimage.filters import threshold_otsu

    yy, xx = np.meshgrid(*(np.linspace(-1, 1, n) for n in turned.shape), indexing="ij")
    surface = np.stack([xx**i * yy**j for i in range(3) for j in range(3 - i)], axis=-1)
    level = turned
    for _ in range(_LEVELS):
        light = level > threshold_otsu(level)
        ground = ~ndimage.binary_dilation(light, iterations=_BAND)
        if ground.mean() < _GROUND:
            return turned
        some = max(int(ground.sum()) // 20_000, 1)
        fit = np.linalg.lstsq(surface[ground][::some], turned[ground][::some], rcond=None)[0]
        level = turned - surface @ fit
    return np.asarray(level)


def _stands_out(turned: Floats) -> None:
    """Raises `InputError` unless light and dark lie well apart."""
    from skimage.filters import threshold_otsu

    most, split = value("pictures", "size.apart").value, threshold_otsu(turned)
    dark, bright = turned[turned <= split], turned[turned > split]
    spread = math.sqrt((dark.var() + bright.var()) / 2) if bright.size else 0.0
    apart = (bright.mean() - dark.mean()) / max(spread, 1e-6) if bright.size else 0.0
    if apart < most:
        raise InputError("particles do not stand out from the ground", field="picture",
                         value=f"{apart:.1f} spreads apart, at least {most:g}",
                         way_out="Spread them on a plain light sheet, without shadows")  # fmt: skip


def _apart(mask: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Labels of particles, those that touch taken apart at narrow necks.

    Where the neck is narrower than ``size.neck`` times the smaller of two, measured by the distance
    to the ground, they are two. The rule is the same for large and small ones.
    """
    from scipy import ndimage
    from skimage.morphology import local_maxima, reconstruction
    from skimage.segmentation import watershed

    depth = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    height = np.where(mask, np.log(depth + _ROUGH), 0.0)
    step = -math.log(value("pictures", "size.neck").value)
    levelled = reconstruction(height - step, height, method="dilation")
    peaks, _ = ndimage.label(local_maxima(levelled) & mask, structure=np.ones((3, 3)))
    return np.asarray(watershed(-height, peaks, mask=mask), dtype=np.int64)


def _under(labels: NDArray[np.int64], ends: Ends | None) -> set[int]:
    """Labels under the line between the ends of the scale, or right beside it."""
    if ends is None:
        return set()
    x1, y1, x2, y2 = ends
    long = math.hypot(x2 - x1, y2 - y1)
    beside = max(2, round(_BESIDE * max(labels.shape)))
    along, across = np.meshgrid(np.linspace(0, 1, int(long) + 2), np.arange(-beside, beside + 1))
    xs = (x1 + along * (x2 - x1) - across * (y2 - y1) / long).round().astype(int)
    ys = (y1 + along * (y2 - y1) + across * (x2 - x1) / long).round().astype(int)
    inside = (xs >= 0) & (ys >= 0) & (xs < labels.shape[1]) & (ys < labels.shape[0])
    return set(labels[ys[inside], xs[inside]].tolist()) - {0}


def outline_blur(grey: Floats, mask: NDArray[np.bool_]) -> float:
    """How far outlines are blurred, as the standard deviation of a Gaussian [px].

    From the variance of the Laplacian in a band along the outlines: a step of height c blurred by
    s has c^2 / (8 sqrt(pi) b s^3) there, b half the band's width; the grain of the ground is taken
    off first. Beyond half the band it reads too high. Outlines lost in grain, or no outline, give
    infinity.

    >>> yy, xx = np.mgrid[:80, :80]
    >>> disc = np.hypot(yy - 40.0, xx - 40.0) - 20
    >>> [round(outline_blur(1 / (1 + np.exp(1.702 * disc / s)), disc < 0), 1) for s in (1, 2)]
    [1.0, 2.0]
    """
    from scipy import ndimage

    rim = mask ^ ndimage.binary_erosion(mask)
    away = ndimage.distance_transform_edt(~rim)
    near, far = away <= _BAND, (away > 3 * _BAND) & ~mask
    if not rim.any():
        return math.inf
    second = ndimage.gaussian_laplace(np.asarray(grey, dtype=float), _SMOOTH, mode="nearest")
    grain = float(second[far].var()) if far.sum() > 100 else 0.0
    left = float((second[near] ** 2).mean()) - grain
    ground = (~mask) & (away <= 3 * _BAND) & (away > 2 * _BAND)
    inside = mask & (away <= 3 * _BAND) & (away > _BAND)
    if not inside.any():
        inside = mask & ~rim
    if left <= 0 or left < 0.5 * grain or not ground.any() or not inside.any():
        return math.inf
    step = abs(float(np.median(grey[inside])) - float(np.median(grey[ground])))
    whole = (step**2 / (8 * math.sqrt(math.pi) * (_BAND + 0.5) * left)) ** (1 / 3)
    return math.sqrt(max(whole**2 - _SMOOTH**2, 0.0))


def _in_focus(blur: float, middle_px: float) -> None:
    """Raises `InputError` for outlines too blurred to be measured."""
    most, share = (value("pictures", f"size.{k}").value for k in ("blur_px", "blur_share"))
    limit = min(most, share * middle_px)
    if blur > limit:
        said = "lost in grain" if math.isinf(blur) else f"{blur:.1f} px"
        raise InputError(
            "the picture is out of focus",
            field="picture",
            value=f"outlines blurred by {said}, at most {limit:.1f} px",
            way_out="Rest the camera on something and tap on the particles",
        )


def sizes_of(diameters: Sequence[float] | Floats) -> Sizes:
    """The distribution by area of diameters [mm].

    A particle stands at the middle of its own share of the area; between particles the size runs
    straight. The range of d50 is drawn from the particles themselves (400 draws, fixed seed), so it
    knows nothing of how the handful was taken. Raises `InputError` without a particle.

    >>> found = sizes_of([2.0] * 16 + [4.0] * 4)
    >>> found.d10, round(found.d50, 1), found.d90
    (2.0, 2.4, 4.0)
    """
    sizes = np.sort(np.asarray(diameters, dtype=float))
    if not sizes.size:
        raise InputError("there is no particle", field="picture", value=0)
    d10, d50, d90 = _quantiles(sizes, (0.1, 0.5, 0.9))
    random = np.random.default_rng(_SEED)
    drawn = np.sort(random.choice(sizes, (_DRAWS, sizes.size)), axis=1)
    middles = [_quantiles(row, (0.5,))[0] for row in drawn]
    low, high = (float(v) for v in np.quantile(middles, (0.05, 0.95)))
    return Sizes(d10, d50, d90, min(low, d50), max(high, d50), sizes.size)


def _quantiles(sizes: Floats, at: Sequence[float]) -> list[float]:
    """Sizes at shares of the area, of sorted sizes."""
    area = sizes**2
    share = (np.cumsum(area) - area / 2) / area.sum()
    return [float(v) for v in np.interp(at, share, sizes)]
