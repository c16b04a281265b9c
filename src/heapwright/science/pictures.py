"""Colour from pictures: light made even by a chart or a card in the picture, then L*a*b*.

Units: brightness of a picture as 0 to 255 (sRGB); light as a share of white, 0 to 1; L* 0 to 100.
Conventions: arrays are rows by columns by red, green, blue; a place is (x, y, width, height) in
pixels from the top left corner; L*a*b* is that of D50 and 2 degrees, from sRGB by Bradford's
adaptation. What a card must be like stands in ``values/pictures.toml``; a picture that cannot be
used is refused with the reason.
Sources: sRGB, IEC 61966-2-1; L*a*b*, CIE 15; Bradford adaptation, ICC.1 annex E; CIEDE2000, CIE 142
(all from memory; held against scikit-image and colour-science in the tests).
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError
from heapwright.science.values import value

__all__ = [
    "Colour", "Correction", "Floats", "Patch", "Place", "by_card", "by_chart", "chart", "colour_of",
    "corners_of", "cut", "difference", "fit_patches", "lab", "light", "patches", "srgb",
]  # fmt: skip

Floats = NDArray[np.float64]
Place = tuple[float, float, float, float]
_RGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
#: white of D65 and D50 as x, y
_D65, _D50 = (0.3127, 0.3290), (0.3457, 0.3585)
_ROWS, _COLUMNS = 4, 6
#: pixels of a place that are looked at, at most
_ENOUGH = 1_000_000


@dataclass(frozen=True, slots=True)
class Patch:
    """A patch of the chart: its name; L*a*b* under D50; its light in linear sRGB; whether sRGB
    can show it."""

    name: str
    lab: tuple[float, float, float]
    light: tuple[float, float, float]
    in_gamut: bool


@dataclass(frozen=True, slots=True)
class Correction:
    """How light of the picture becomes light under even white.

    matrix : 3 by 3 or 3 by 4 (the last column is added), rows red, green, blue; by : ``chart`` or
    ``card``; used, left_out : names of patches; off : CIEDE2000 of each used patch when it is left
    out of the fit, empty for a card.
    """

    matrix: Floats
    by: str
    used: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    off: tuple[float, ...] = ()

    def apply(self, linear: Floats) -> Floats:
        """Light (..., 3) corrected."""
        flat = linear @ self.matrix[:, :3].T
        return flat + self.matrix[:, 3] if self.matrix.shape[1] == 4 else flat


@dataclass(frozen=True, slots=True)
class Colour:
    """Colour of a place: mean L*, a*, b* over its pixels, their standard deviations, how many,
    and the share of them that is full in some channel."""

    lab: tuple[float, float, float]
    spread: tuple[float, float, float]
    pixels: int
    full: float


# --- light and L*a*b* ----------------------------------------------------------------------------


def light(brightness: NDArray[np.generic]) -> Floats:
    """Linear light, 0 to 1, of sRGB brightness 0 to 255.

    >>> light(np.array([0, 128, 255])).round(4).tolist()
    [0.0, 0.2159, 1.0]
    """
    v = np.asarray(brightness, dtype=float) / 255.0
    curved = ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4
    return np.asarray(np.where(v <= 0.04045, v / 12.92, curved))


def srgb(linear: Floats) -> Floats:
    """sRGB brightness 0 to 255 of linear light; not rounded, not cut off.

    >>> srgb(np.array([0.0, 0.2159, 1.0])).round(0).tolist()
    [0.0, 128.0, 255.0]
    """
    v = np.asarray(linear, dtype=float)
    curved = 1.055 * np.maximum(v, 0.0) ** (1 / 2.4) - 0.055
    return np.asarray(255.0 * np.where(v <= 0.0031308, 12.92 * v, curved))


def lab(linear: Floats) -> Floats:
    """L*a*b* (D50) of linear sRGB light (..., 3).

    >>> lab(np.array([1.0, 1.0, 1.0])).round(1).tolist()
    [100.0, 0.0, 0.0]
    """
    t = np.asarray(linear, dtype=float) @ _to_d50().T / _white(_D50)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]),
                     200 * (f[..., 1] - f[..., 2])], axis=-1)  # fmt: skip


def _white(xy: tuple[float, float]) -> Floats:
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


@cache
def _to_d50() -> Floats:
    """Linear sRGB to XYZ under D50."""
    scale = np.diag((_BRADFORD @ _white(_D50)) / (_BRADFORD @ _white(_D65)))
    return np.asarray(np.linalg.inv(_BRADFORD) @ scale @ _BRADFORD @ _RGB_TO_XYZ)


def difference(one: Floats, other: Floats) -> Floats:
    """CIEDE2000 between colours in L*a*b* (..., 3).

    >>> float(difference(np.array([50.0, 2.6772, -79.7751]), np.array([50.0, 0.0, -82.7485]))
    ...       .round(4))
    2.0425
    """
    from skimage.color import deltaE_ciede2000

    return np.asarray(deltaE_ciede2000(one, other))


# --- the chart -----------------------------------------------------------------------------------


@cache
def chart() -> tuple[Patch, ...]:
    """The 24 patches, six a row, from dark skin to black.

    >>> [p.name for p in chart() if not p.in_gamut]
    ['cyan']
    """
    path = files("heapwright.science.values") / "chart24.csv"
    lines = [s for s in path.read_text(encoding="utf-8").splitlines() if not s.startswith("#")]
    made = []
    for row in csv.DictReader(lines):
        shown = [float(row[f"sRGB_{c}"]) for c in "RGB"]
        r, g, b = light(np.array(shown)).tolist()
        made.append(Patch(
            row["patch"].split(" (")[0],
            (float(row["L_star_D50"]), float(row["a_star"]), float(row["b_star"])), (r, g, b),
            all(0 <= v <= 255 for v in shown),
        ))  # fmt: skip
    return tuple(made)


def corners_of(place: Place) -> Floats:
    """The four corners of an upright place, clockwise from the top left.

    >>> corners_of((10, 20, 30, 40)).tolist()
    [[10.0, 20.0], [40.0, 20.0], [40.0, 60.0], [10.0, 60.0]]
    """
    x, y, w, h = place
    return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]], dtype=float)


def patches(picture: NDArray[np.uint8], corners: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """Mean light of the middle of each patch (24, 3), and which of them are usable.

    corners : of the chart [px], clockwise from the corner of dark skin. A patch is unusable when
    it is full in some channel, as a card is. Raises `InputError` for a chart that is too small,
    lies outside the picture, or whose grey row does not fall from white to black.
    """
    height, width = picture.shape[:2]
    if corners.min() < 0 or (corners[:, 0] > width).any() or (corners[:, 1] > height).any():
        raise InputError("the chart lies outside the picture", field="chart",
                         value=_numbers(corners.ravel()),
                         way_out=f"The picture is {width} by {height} pixels")  # fmt: skip
    a, b, c, d = corners
    across = (np.hypot(*(b - a)) + np.hypot(*(c - d))) / 2 / _COLUMNS
    down = (np.hypot(*(d - a)) + np.hypot(*(c - b))) / 2 / _ROWS
    half = int(0.2 * min(across, down))
    if (2 * half + 1) ** 2 < value("pictures", "card.pixels").value / 4:
        raise InputError(
            "the chart is too small in the picture",
            field="chart",
            value=f"{across:.0f} px a patch",
            way_out="Go nearer, so that a patch is at least 25 pixels wide",
        )
    means, fine = np.empty((24, 3)), np.empty(24, dtype=bool)
    for k in range(24):
        u, v = (k % _COLUMNS + 0.5) / _COLUMNS, (k // _COLUMNS + 0.5) / _ROWS
        x, y = (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * d + u * c)
        box = cut(picture, (x - half, y - half, 2 * half + 1, 2 * half + 1), "chart")
        means[k] = light(box).reshape(-1, 3).mean(axis=0)
        fine[k] = _full(box) <= value("pictures", "card.clipped_share").value
    greys = means[18:].mean(axis=1)
    if (np.diff(greys) >= 0).any():
        raise InputError(
            "the grey row of the chart does not fall from white to black", field="chart",
            value=_numbers(corners.ravel()),
            way_out="Mark its corners clockwise, beginning at the brown patch of the corner",
        )  # fmt: skip
    return means, fine


def by_chart(picture: NDArray[np.uint8], corners: Floats) -> Correction:
    """The correction that a chart in the picture gives.

    corners : see `patches`. Cyan and patches that are full are left out. Raises `InputError` for a
    chart that cannot be used: as `patches`; white full; too dark; too few patches; or colours that
    no straight-line correction brings back (another chart, a shadow across it, a colour filter).
    """
    means, fine = patches(picture, corners)
    if not fine[18]:
        raise _clipped("chart", "its white patch")
    if srgb(means[18]).min() < value("pictures", "card.dark").value:
        raise _dark("chart", srgb(means[18]).min())
    made = fit_patches(means, [k for k, p in enumerate(chart()) if fine[k] and p.in_gamut])
    middle, most = float(np.median(made.off)), value("pictures", "chart.left_out").value
    if middle > most:
        raise InputError(
            "the patches do not become the colours of the chart, so it is another chart, or the "
            "light across it is uneven",
            field="chart", value=f"CIEDE2000 {middle:.1f} of patches left out, at most {most:g}",
            way_out="Mark the corners again; keep shadow and shine off the chart",
        )  # fmt: skip
    return made


def fit_patches(seen: Floats, use: Sequence[int]) -> Correction:
    """Least squares in linear light from patches as seen to patches as they are.

    seen : (24, 3) light; use : numbers of the patches fitted. Both a 3 by 3 matrix and one with a
    constant (stray light) are tried; the one stays whose left-out patches come out nearer. Each
    patch weighs as much as L* changes with its light. Raises `InputError` for too few patches.
    """
    least = int(value("pictures", "chart.plain").value)
    if len(use) < least:
        raise InputError(
            "too few patches of the chart can be used",
            field="chart",
            value=len(use),
            way_out="Take it with less light, so that none is full",
        )
    known = chart()
    x, index = seen[list(use)], list(use)
    y = np.array([known[k].light for k in index])
    weight = (np.maximum(y.mean(axis=1), 0.01) ** (-2 / 3))[:, None]
    tried = []
    for terms in (3, 4) if len(index) > least + 2 else (3,):
        full = np.column_stack([x, np.ones(len(x))])[:, :terms]
        off = []
        for k in range(len(index)):
            rest = np.arange(len(index)) != k
            m = np.linalg.lstsq((full * weight)[rest], (y * weight)[rest], rcond=None)[0]
            off.append(float(difference(lab(full[k] @ m), np.array(known[index[k]].lab))))
        m = np.linalg.lstsq(full * weight, y * weight, rcond=None)[0]
        tried.append((float(np.mean(off)), m.T, off))
    _, matrix, off = min(tried, key=lambda t: t[0])
    return Correction(
        matrix, "chart", tuple(known[k].name for k in index),
        tuple(p.name for k, p in enumerate(known) if k not in index), tuple(off),
    )  # fmt: skip


# --- a card --------------------------------------------------------------------------------------


def by_card(picture: NDArray[np.uint8], place: Place, *, gives_back: float) -> Correction:
    """The correction that a plain card in the picture gives: one factor a channel.

    gives_back : share of light that the card gives back, see ``card.white`` and ``card.grey``.
    Raises `InputError` for a card that is full in some channel, too dark, unevenly lit, too small
    or outside the picture.

    >>> warm = np.full((60, 60, 3), (220, 200, 160), dtype=np.uint8)
    >>> made = by_card(warm, (10, 10, 40, 40), gives_back=0.88)
    >>> lab(made.apply(light(warm[0, 0]))).round(1).tolist()
    [95.2, 0.0, 0.0]
    """
    box = _thinned(cut(picture, place, "card"))
    pixels, least = box.shape[0] * box.shape[1], value("pictures", "card.pixels").value
    if pixels < least:
        raise InputError("the card is too small in the picture", field="card",
                         value=f"{pixels} pixels, at least {least:.0f}",
                         way_out="Mark more of it, or go nearer")  # fmt: skip
    if _full(box) > value("pictures", "card.clipped_share").value:
        raise _clipped("card", "the card")
    means = box.reshape(-1, 3).mean(axis=0)
    if means.min() < value("pictures", "card.dark").value:
        raise _dark("card", means.min())
    linear = light(box)
    parts = [part.mean() for row in np.array_split(linear, 3) for part in
             np.array_split(row, 3, axis=1)]  # fmt: skip
    uneven, most = np.ptp(parts) / np.mean(parts), value("pictures", "card.uneven").value
    if uneven > most:
        raise InputError(
            "the light is uneven across the card",
            field="card",
            value=f"{uneven:.0%} from part to part, at most {most:.0%}".replace("%", " %"),
            way_out="Take it in even shade, or mark a part without shadow",
        )
    return Correction(np.diag(gives_back / linear.reshape(-1, 3).mean(axis=0)), "card")


# --- the place -----------------------------------------------------------------------------------


def colour_of(picture: NDArray[np.uint8], place: Place, correction: Correction) -> Colour:
    """Mean L*a*b* of a place after correction, with its spread from pixel to pixel.

    Raises `InputError` for a place outside the picture, too small, or too much of it full.
    """
    box = _thinned(cut(picture, place, "area"))
    pixels, least = box.shape[0] * box.shape[1], value("pictures", "area.pixels").value
    if pixels < least:
        raise InputError("the area is too small", field="area",
                         value=f"{pixels} pixels, at least {least:.0f}",
                         way_out="Mark more of the compost")  # fmt: skip
    full, most = _full(box), value("pictures", "area.clipped_share").value
    if full > most:
        raise InputError("part of the area is as bright as the camera goes", field="area",
                         value=f"{full:.0%} of it, at most {most:.0%}".replace("%", " %"),
                         way_out="Take it with less light, or in shade")  # fmt: skip
    found = lab(np.clip(correction.apply(light(box).reshape(-1, 3)), 0.0, None))
    mean, spread = found.mean(axis=0).tolist(), found.std(axis=0).tolist()
    return Colour((mean[0], mean[1], mean[2]), (spread[0], spread[1], spread[2]), pixels, full)


def cut(picture: NDArray[np.uint8], place: Place, field: str) -> NDArray[np.uint8]:
    """The pixels of a place; raises `InputError` for one that is empty or reaches outside.

    >>> cut(np.zeros((10, 20, 3), dtype=np.uint8), (2, 1, 5, 4), "area").shape
    (4, 5, 3)
    """
    height, width = picture.shape[:2]
    x, y, w, h = place
    if not all(np.isfinite(place)) or w < 1 or h < 1:
        raise InputError("a place has a width and a height", field=field, value=_numbers(place),
                         way_out="Mark two opposite corners")  # fmt: skip
    if x < -0.5 or y < -0.5 or x + w > width + 0.5 or y + h > height + 0.5:
        raise InputError("it reaches outside the picture", field=field, value=_numbers(place),
                         way_out=f"The picture is {width} by {height} pixels")  # fmt: skip
    left, top = max(round(x), 0), max(round(y), 0)
    return picture[top : top + max(round(h), 1), left : left + max(round(w), 1)]


def _thinned(box: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Every so manieth row and column of a large place: a million pixels are enough for a mean."""
    step = math.ceil(math.sqrt(box.shape[0] * box.shape[1] / _ENOUGH))
    return box[::step, ::step] if step > 1 else box


def _full(box: NDArray[np.uint8]) -> float:
    """Share of pixels that are full in some channel."""
    return float((box >= value("pictures", "card.clipped").value).any(axis=-1).mean())


def _clipped(field: str, what: str) -> InputError:
    most = value("pictures", "card.clipped").value
    return InputError(
        f"{what} is as bright as the camera goes ({most:.0f} of 255 or more)",
        field=field,
        way_out="Take it again with less light, or in shade",
    )


def _dark(field: str, found: float) -> InputError:
    least = value("pictures", "card.dark").value
    return InputError("the picture is too dark for its colours", field=field,
                      value=f"{found:.0f} of 255, at least {least:.0f}",
                      way_out="Take it again in daylight")  # fmt: skip


def _numbers(given: Sequence[float] | Floats) -> str:
    return ",".join(f"{v:g}" for v in given)
