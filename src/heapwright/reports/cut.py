"""What sections through a heap share: its skin, smooth fields, contours, rings, and hatching.

Units: metres to scale; pixels. Conventions: a section runs along x through the middle; whatever
lies more than 30 cm from a place where it was measured is hatched; rings are probe spots, full ones
where something was read; names in brackets stand for spots before or behind the cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.reports.pictures import shades
from heapwright.reports.style import FAINT, INK, NARROW_PX, PAPER, SOFT
from heapwright.reports.svg import Canvas

__all__ = [
    "BEHIND", "NEAR_M", "Ring", "Scale", "colour_bar", "contour_lines", "cut", "height_px",
    "is_dark", "skin", "spread_out",
]  # fmt: skip

Floats = NDArray[np.float64]
#: nobody measured what lies farther than this from where a probe was [m]
NEAR_M = 0.3
#: room of a section on a phone's picture: for its scale, and to the right
_LEFT, _RIGHT = 44.0, 14.0
#: points a side where it is asked whether it was measured
_FINE = 160
#: paper behind numbers, so that they stay text in SVG and readable on any colour
BEHIND: dict[str, Any] = {
    "facecolor": PAPER, "edgecolor": "none", "alpha": 0.78, "boxstyle": "round,pad=0.12"
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ring:
    """A probe spot in a section: its name; place [m]; read : it was measured there; said : what
    stands beside it, its name if left out."""

    name: str
    place_m: tuple[float, float, float]
    read: bool
    said: str = ""


@dataclass(frozen=True, slots=True)
class Scale:
    """How a field is coloured: words with unit; shades : name of the map, turned over where
    *turned*; low, high; ticks of the bar; contours, none if empty."""

    words: str
    shades: str
    low: float
    high: float
    ticks: tuple[float, ...]
    contours: tuple[float, ...] = ()
    turned: bool = False

    @property
    def colours(self) -> Any:
        """The map."""
        made = shades(self.shades)
        return made.reversed() if self.turned else made


def height_px(axes: tuple[Floats, Floats, Floats]) -> float:
    """How tall a section is on a picture as wide as a phone [px]."""
    wide, tall = _frame(axes)
    return (NARROW_PX - _LEFT - _RIGHT) * tall / wide


def cut(
    canvas: Canvas,
    top: float,
    field: NDArray[np.float32],
    axes: tuple[Floats, Floats, Floats],
    scale: Scale,
    rings: Sequence[Ring] = (),
) -> None:
    """Draw a section at a height of a picture as wide as a phone.

    field (nz, ny, nx) : NaN outside the heap; axes : centres along z, y, x [m].
    """
    z, y, x = axes
    d = _cell(x)
    wide, tall = _frame(axes)
    ax = canvas.axes(_LEFT, top, NARROW_PX - _LEFT - _RIGHT, height_px(axes))
    pair = field[:, [(y.size - 1) // 2, y.size // 2], :]
    known = np.isfinite(pair)
    count = known.sum(axis=1)
    total = np.where(known, pair, 0.0).sum(axis=1)
    plane = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    middle = float(x[0] + x[-1]) / 2
    ax.set_xlim(middle - wide / 2, middle + wide / 2)
    ax.set_ylim(-0.02, tall - 0.02)
    patch = skin(ax, x, z, np.isfinite(plane))
    image = ax.imshow(
        spread_out(plane), origin="lower", cmap=scale.colours, vmin=scale.low, vmax=scale.high,
        extent=(x[0] - d / 2, x[-1] + d / 2, z[0] - d / 2, z[-1] + d / 2), aspect="equal",
        interpolation="bilinear", zorder=1,
    )  # fmt: skip
    image.set_clip_path(patch)
    _hatched(ax, patch, rings)
    if scale.contours:
        taken = [(r.place_m[0], r.place_m[2]) for r in rings if abs(r.place_m[1]) <= d]
        contour_lines(ax, x, z, plane, scale.contours, (scale.low, scale.high), taken)
    for ring in rings:
        _ring(ax, ring, d)
    ax.axhline(0, color=INK, linewidth=1.2)
    ax.set_xlim(middle - wide / 2, middle + wide / 2)
    ax.set_ylim(-0.02, tall - 0.02)
    ax.set_xticks([])
    ax.set_yticks([v for v in (0.0, 0.5, 1.0, 1.5, 2.0) if v < z[-1] + d])
    ax.set_yticklabels([f"{v:g} m" for v in ax.get_yticks()])
    ax.tick_params(labelsize=9, length=2)
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    ax.spines["left"].set_color(FAINT)


def _cell(x: Floats) -> float:
    return float(x[1] - x[0]) if x.size > 1 else 0.2


def _frame(axes: tuple[Floats, Floats, Floats]) -> tuple[float, float]:
    """Width and height that a section takes [m]."""
    z, _, x = axes
    d = _cell(x)
    return float(x[-1] - x[0]) + d + 0.2, float(z[-1]) + d / 2 + 0.1


def _hatched(ax: Any, patch: Any, rings: Sequence[Ring]) -> None:
    """Hatch the heap but for what lies near a place where it was measured."""
    (low, high), (floor, top) = ax.get_xlim(), ax.get_ylim()
    across, up = np.linspace(low, high, _FINE), np.linspace(max(floor, 0.0), top, _FINE)
    far = np.ones((_FINE, _FINE))
    for x, y, z in (r.place_m for r in rings if r.read):
        gap = np.sqrt((across[None, :] - x) ** 2 + (up[:, None] - z) ** 2 + y**2)
        far = np.minimum(far, np.clip(0.5 + (gap - NEAR_M) / NEAR_M, 0.0, 1.0))
    drawn = ax.contourf(
        across, up, far, levels=[0.5, 1.5], colors="none", hatches=["///"], zorder=1.5
    )
    drawn.set_edgecolor(INK)
    drawn.set_linewidth(0)
    drawn.set_clip_path(patch)


def _ring(ax: Any, ring: Ring, d: float) -> None:
    x, y, z = ring.place_m
    inplane = abs(y) <= d
    hue = INK if inplane else SOFT
    said = ring.said or ring.name
    ax.plot(x, z, "o", ms=11, mfc="none", mec=PAPER, mew=2.5, zorder=4.5)
    ax.plot(x, z, "o", ms=9, mfc=PAPER if ring.read else "none", mec=hue, mew=1.4, zorder=5,
            alpha=1.0 if inplane else 0.7)  # fmt: skip
    ax.annotate(
        said if inplane else f"({said})", (x, z), xytext=(8, -3), textcoords="offset points",
        fontsize=9, color=hue, zorder=6,
        bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 1},
    )  # fmt: skip


def colour_bar(canvas: Canvas, top: float, scale: Scale) -> None:
    """The bar of a scale with its words, 40 px tall."""
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    ax = canvas.axes(_LEFT, top, 180, 9)
    bar = canvas.figure.colorbar(
        ScalarMappable(Normalize(scale.low, scale.high), scale.colours), cax=ax,
        orientation="horizontal",
    )  # fmt: skip
    bar.outline.set_edgecolor(FAINT)
    bar.set_ticks(list(scale.ticks))
    ax.tick_params(labelsize=10, length=2, pad=1)
    canvas.text(_LEFT, top + 40, scale.words, fontsize=11)


# --- parts of any section ------------------------------------------------------------------------


def spread_out(values: Floats) -> Floats:
    """Values carried on to empty places from the nearest cell, for a smooth picture."""
    from scipy.ndimage import distance_transform_edt

    empty = ~np.isfinite(values)
    if empty.all():
        return np.zeros_like(values)
    nearest = distance_transform_edt(empty, return_distances=False, return_indices=True)
    return np.asarray(values[tuple(nearest)])


def skin(ax: Any, across: Floats, up: Floats, inside: NDArray[np.bool_]) -> Any:
    """The skin of the heap, smoothed within half a cell; returns its patch."""
    from contourpy import contour_generator
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path
    from scipy.ndimage import gaussian_filter

    d, fine, pad = float(up[1] - up[0]) if up.size > 1 else 0.1, 6, 2
    # whatever lies under the heap counts as heap, so that its foot stays sharp; earth hides it
    filled = np.flipud(np.maximum.accumulate(np.flipud(inside), axis=0))
    mask = np.pad(filled.astype(float), pad)
    mask[:pad] = mask[pad]
    mask = gaussian_filter(np.kron(mask, np.ones((fine, fine))), 0.6 * fine)
    xs = across[0] - d * (pad + 0.5) + (np.arange(mask.shape[1]) + 0.5) * d / fine
    zs = up[0] - d * (pad + 0.5) + (np.arange(mask.shape[0]) + 0.5) * d / fine
    closed = np.pad(mask, 1)
    xs = np.concatenate([[xs[0] - d], xs, [xs[-1] + d]])
    zs = np.concatenate([[zs[0] - d], zs, [zs[-1] + d]])
    lines = contour_generator(xs, zs, closed).lines(0.5)
    path = Path.make_compound_path(*[Path(np.asarray(line)) for line in lines])
    patch = PathPatch(path, facecolor="none", edgecolor=INK, linewidth=1.2, zorder=4)
    ax.add_patch(patch)
    return patch


def contour_lines(
    ax: Any, across: Floats, up: Floats, values: Floats, levels: Sequence[float],
    scale: tuple[float, float], taken: list[tuple[float, float]],
) -> None:  # fmt: skip
    """Lines of equal value with one number each; scraps of lines are left out.

    taken : places that numbers keep clear of; those of the new ones are added.
    """
    from contourpy import contour_generator

    known = values[np.isfinite(values)]
    if known.size == 0 or min(values.shape) < 2:
        return
    low, high = float(known.min()), float(known.max())
    cross = [v for v in levels if low < v < high]
    while len(cross) > 4:
        cross = cross[1::2]
    found = contour_generator(across, up, np.ma.masked_invalid(values))
    tall = float(up[-1] - up[0])
    clear = 0.16 * tall
    for level in cross:
        hue = PAPER if is_dark(level, scale) else INK
        for line in (np.asarray(part) for part in found.lines(level)):
            steps = np.hypot(*np.diff(line, axis=0).T)
            if steps.sum() < 0.5 * tall:
                continue
            ax.plot(line[:, 0], line[:, 1], color=hue, linewidth=0.8, zorder=2)
            ends = max(1, len(line) // 8)
            inner = [p for p in line[ends:-ends] if p[1] > up[0] + 0.15 * tall]
            if not inner:
                continue
            away = [
                min((float(np.hypot(x - a, z - b)) for a, b in taken), default=9.0)
                for x, z in inner
            ]
            best = int(np.argmax(away))
            if away[best] < clear:
                continue
            x, z = (float(v) for v in inner[best])
            taken.append((x, z))
            ax.text(
                x, z, f"{level:g}", fontsize=9, color=INK, ha="center", va="center", zorder=2.5,
                bbox=BEHIND,
            )  # fmt: skip


def is_dark(value: float, scale: tuple[float, float]) -> bool:
    """Whether a value of a field is drawn so dark that lines on it must be light.

    >>> is_dark(70, (0, 80)), is_dark(2, (0, 21)), is_dark(20, (0, 21))
    (True, True, False)
    """
    low, high = scale
    share = (value - low) / (high - low)
    return share < 0.45 if high == 21 else share > 0.55  # oxygen: dark is little
