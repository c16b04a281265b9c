"""A cross-section of where oxygen was probably short, hatched where nobody measured it.

Units: metres to scale; chance in %; pixels. Conventions: a fixed scale from 0 to 100 %; full rings
where oxygen was read; else as `heapwright.reports.cut`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from heapwright.reports.cut import Ring, Scale, colour_bar, cut, height_px
from heapwright.reports.pictures import Picture, picture
from heapwright.reports.style import NARROW_PX, SOFT, fitted
from heapwright.reports.svg import Canvas

__all__ = ["air_section"]

Floats = NDArray[np.float64]
_HEAD, _BAR, _GAP = 93.0, 62.0, 30.0
_CHANCE = Scale("% chance of too little air", "air", 0, 100, (0, 25, 50, 75, 100), turned=True)


def air_section(
    panels: Sequence[tuple[str, NDArray[np.float32]]],
    axes: tuple[Floats, Floats, Floats],
    *,
    title: str,
    rings: Sequence[Ring] = (),
    note: str = "",
    prefix: str = "air",
) -> Picture:
    """Sections along x through the middle, one below the other, as wide as a phone.

    panels : words above each, and chances (nz, ny, nx), NaN outside the heap; axes : centres
    along z, y, x [m]; rings : read where oxygen was.
    """
    height = height_px(axes)

    def draw() -> Canvas:
        canvas = Canvas.of(NARROW_PX, _HEAD + len(panels) * (height + _GAP) + _BAR)
        canvas.text(
            14, 24, fitted(f"{title}: was there enough air?", NARROW_PX - 28, 15, bold=True),
            fontsize=15, fontweight="bold",
        )  # fmt: skip
        said = (
            f"{note} Chance that oxygen was below 5 %.".strip(),
            "Hatched: nobody measured it within 30 cm.",
            "In brackets: spots before or behind the cut.",
        )
        for n, line in enumerate(said):
            canvas.text(14, 43 + 15 * n, line, fontsize=11, color=SOFT)
        for n, (words, chance) in enumerate(panels):
            top = _HEAD + n * (height + _GAP)
            canvas.text(14, top + 10, words, fontsize=12, fontweight="bold")
            cut(canvas, top + 16, 100 * chance, axes, _CHANCE, rings)
        colour_bar(canvas, _HEAD + len(panels) * (height + _GAP) + 8, _CHANCE)
        return canvas

    told = "; ".join(f"{w}: highest chance {100 * float(np.nanmax(c)):.0f} %" for w, c in panels)
    return picture(draw, prefix, title=f"{title}: air in the heap", desc=f"{told}.")
