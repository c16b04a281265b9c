"""A cross-section of where oxygen was probably short, hatched where nobody measured it.

Units: metres to scale; chance in %; pixels. Conventions: a fixed scale from 0 to 100 %; within
30 cm of a place where oxygen was read there is no hatching; rings are probe spots, full ones where
oxygen was read.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.reports.pictures import Picture, picture, shades
from heapwright.reports.style import FAINT, INK, NARROW_PX, PAPER, SOFT, fitted
from heapwright.reports.svg import Canvas

__all__ = ["air_section"]

Floats = NDArray[np.float64]
_LEFT, _HEAD, _BAR, _GAP = 44.0, 93.0, 62.0, 30.0
_NEAR_M = 0.3


def air_section(
    panels: Sequence[tuple[str, NDArray[np.float32]]],
    axes: tuple[Floats, Floats, Floats],
    *,
    title: str,
    spots: Sequence[tuple[str, tuple[float, float, float], bool]] = (),
    note: str = "",
    prefix: str = "air",
) -> Picture:
    """Sections along x through the middle, one below the other, as wide as a phone.

    panels : words above each, and chances (nz, ny, nx), NaN outside the heap; axes : centres
    along z, y, x [m]; spots : name, place and whether oxygen was read there.
    """
    z, _, x = axes
    d = float(x[1] - x[0]) if x.size > 1 else 0.2
    tall, wide = float(z[-1]) + d / 2 + 0.1, float(x[-1] - x[0]) + d + 0.2
    width = NARROW_PX - _LEFT - 14
    height = width * tall / wide

    def draw() -> Canvas:
        canvas = Canvas.of(NARROW_PX, _HEAD + len(panels) * (height + _GAP) + _BAR)
        room = NARROW_PX - 28
        canvas.text(
            14, 24, fitted(f"{title}: was there enough air?", room, 15, bold=True),
            fontsize=15, fontweight="bold",
        )  # fmt: skip
        said = (
            "Chance that oxygen was below 5 %.",
            "Hatched: nobody measured it within 30 cm.",
            "In brackets: spots before or behind the cut.",
        )
        for n, line in enumerate(said):
            words = f"{note} {line}".strip() if n == 0 else line
            canvas.text(14, 43 + 15 * n, words, fontsize=11, color=SOFT)
        for n, (words, chance) in enumerate(panels):
            top = _HEAD + n * (height + _GAP)
            canvas.text(14, top + 10, words, fontsize=12, fontweight="bold")
            ax = canvas.axes(_LEFT, top + 16, width, height)
            _panel(ax, chance, axes, spots, d)
        _bar(canvas, _HEAD + len(panels) * (height + _GAP) + 8)
        return canvas

    told = "; ".join(f"{w}: highest chance {100 * float(np.nanmax(c)):.0f} %" for w, c in panels)
    return picture(draw, prefix, title=f"{title}: air in the heap", desc=f"{told}.")


def _panel(
    ax: Any,
    chance: NDArray[np.float32],
    axes: tuple[Floats, Floats, Floats],
    spots: Sequence[tuple[str, tuple[float, float, float], bool]],
    d: float,
) -> None:
    from matplotlib.patches import Rectangle

    z, y, x = axes
    first, second = (y.size - 1) // 2, y.size // 2
    pair = chance[:, [first, second], :]
    known = np.isfinite(pair)
    total, count = np.where(known, pair, 0.0).sum(axis=1), known.sum(axis=1)
    plane = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    inside = np.isfinite(plane)
    extent = (x[0] - d / 2, x[-1] + d / 2, z[0] - d / 2, z[-1] + d / 2)
    ax.imshow(
        np.ma.masked_invalid(plane), origin="lower", extent=extent, cmap=shades("air").reversed(),
        vmin=0, vmax=1, aspect="equal", zorder=1,
    )  # fmt: skip
    far = _unmeasured(z, x, spots) & inside
    for k, i in np.argwhere(far):
        ax.add_patch(
            Rectangle(
                (x[i] - d / 2, z[k] - d / 2), d, d, facecolor="none", edgecolor=INK, linewidth=0,
                hatch="///", zorder=2,
            )
        )  # fmt: skip
    for k, row in enumerate(inside):
        for i in np.flatnonzero(row):
            _edges(ax, inside, k, int(i), x, z, d)
    for name, (px, py, pz), read in spots:
        inplane = abs(py) <= d
        hue = INK if inplane else SOFT
        ax.plot(px, pz, "o", ms=11, mfc="none", mec=PAPER, mew=2.5, zorder=4.5)
        ax.plot(px, pz, "o", ms=9, mfc=PAPER if read else "none", mec=hue, mew=1.4, zorder=5,
                alpha=1.0 if inplane else 0.7)  # fmt: skip
        ax.annotate(
            name if inplane else f"({name})", (px, pz), xytext=(8, -3),
            textcoords="offset points", fontsize=9, color=hue, zorder=6,
            bbox={"facecolor": PAPER, "edgecolor": "none", "alpha": 0.85, "pad": 1},
        )  # fmt: skip
    ax.axhline(0, color=INK, linewidth=1.2)
    ax.set_xlim(x[0] - d / 2 - 0.1, x[-1] + d / 2 + 0.1)
    ax.set_ylim(-0.02, z[-1] + d / 2 + 0.08)
    ax.set_xticks([])
    ax.set_yticks([v for v in (0.0, 0.5, 1.0, 1.5, 2.0) if v < z[-1] + d])
    ax.set_yticklabels([f"{v:g} m" for v in ax.get_yticks()])
    ax.tick_params(labelsize=9, length=2)
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    ax.spines["left"].set_color(FAINT)


def _unmeasured(
    z: Floats, x: Floats, spots: Sequence[tuple[str, tuple[float, float, float], bool]]
) -> NDArray[np.bool_]:
    far = np.ones((z.size, x.size), dtype=bool)
    for _, (px, py, pz), read in spots:
        if read:
            gap = (x[None, :] - px) ** 2 + (z[:, None] - pz) ** 2 + py**2
            far &= gap > _NEAR_M**2
    return far


def _edges(
    ax: Any, inside: NDArray[np.bool_], k: int, i: int, x: Floats, z: Floats, d: float
) -> None:
    """The skin: edges of cells that have no cell beside them."""
    left, right, low, high = x[i] - d / 2, x[i] + d / 2, z[k] - d / 2, z[k] + d / 2
    sides = (
        ((k, i - 1), (left, left), (low, high)), ((k, i + 1), (right, right), (low, high)),
        ((k + 1, i), (left, right), (high, high)),
    )  # fmt: skip
    for (row, column), xs, zs in sides:
        beside = (
            0 <= row < inside.shape[0] and 0 <= column < inside.shape[1] and inside[row, column]
        )
        if not beside:
            ax.plot(xs, zs, color=INK, linewidth=1.2, zorder=4)


def _bar(canvas: Canvas, top: float) -> None:
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import Normalize

    ax = canvas.axes(_LEFT, top, 180, 9)
    bar = canvas.figure.colorbar(
        ScalarMappable(Normalize(0, 100), shades("air").reversed()), cax=ax,
        orientation="horizontal",
    )  # fmt: skip
    bar.outline.set_edgecolor(FAINT)
    bar.set_ticks([0, 25, 50, 75, 100])
    ax.tick_params(labelsize=10, length=2, pad=1)
    canvas.text(_LEFT, top + 40, "% chance of too little air", fontsize=11)
