"""A cross-section of a heap as it probably is now: colours from the fit, dots where it was read.

Units: degrees C and % of water of wet mass on fixed scales (0-80, 20-80); metres to scale; pixels.
Conventions: as `heapwright.reports.cut`; a ring's number is what was read there last, and the
colours are the mean of the heaps that fit.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from heapwright.reports.cut import Ring, Scale, colour_bar, cut, height_px
from heapwright.reports.pictures import Picture, picture
from heapwright.reports.style import NARROW_PX, SOFT, fitted
from heapwright.reports.svg import Canvas

__all__ = ["inside_section"]

Floats = NDArray[np.float64]
_HEAD, _BAR, _TITLE, _GAP = 93.0, 62.0, 16.0, 12.0
_TEMP = Scale(
    "temperature, °C", "heat", 0, 80, (0, 20, 40, 60, 80), (10, 20, 30, 40, 50, 55, 60, 65, 70, 75)
)
_WATER = Scale("water in the wet mass, %", "water", 20, 80, (20, 40, 60, 80), (30, 40, 50, 60, 70))


def inside_section(
    temp_c: NDArray[np.float32],
    moisture_wb: NDArray[np.float32],
    axes: tuple[Floats, Floats, Floats],
    *,
    title: str,
    rings: Sequence[Ring] = (),
    wet_rings: Sequence[Ring] = (),
    note: str = "",
    prefix: str = "inside",
) -> Picture:
    """Temperature over water, along x through the middle, as wide as a phone.

    temp_c, moisture_wb : (nz, ny, nx), NaN outside the heap; axes : centres along z, y, x [m];
    rings, wet_rings : spots with what was read of temperature and of moisture.
    """
    height = height_px(axes)
    panels = (
        ("Heat", temp_c, _TEMP, rings),
        ("Water", 100 * moisture_wb, _WATER, wet_rings),
    )
    each = _TITLE + height + _BAR + _GAP

    def draw() -> Canvas:
        canvas = Canvas.of(NARROW_PX, _HEAD + len(panels) * each)
        canvas.text(
            14, 24, fitted(f"{title}: inside, now", NARROW_PX - 28, 15, bold=True), fontsize=15,
            fontweight="bold",
        )  # fmt: skip
        said = (
            f"{note} Colours: worked out. Numbers in rings: read.".strip(),
            "Hatched: nobody measured it within 30 cm.",
            "In brackets: spots before or behind the cut.",
        )
        for n, line in enumerate(said):
            canvas.text(14, 43 + 15 * n, line, fontsize=11, color=SOFT)
        for n, (words, field, scale, spots) in enumerate(panels):
            top = _HEAD + n * each
            canvas.text(14, top + 10, words, fontsize=12, fontweight="bold")
            cut(canvas, top + _TITLE, field, axes, scale, spots)
            colour_bar(canvas, top + _TITLE + height + 8, scale)
        return canvas

    low, high = float(np.nanmin(temp_c)), float(np.nanmax(temp_c))
    return picture(
        draw, prefix, title=f"{title}: inside",
        desc=f"Probably {low:.0f} to {high:.0f} C inside, by places.",
    )  # fmt: skip
