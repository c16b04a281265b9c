"""A drawn figure as SVG and PNG, and colour maps for fields that stand up to print in grey.

Units: pixels. Conventions: maps run through even steps of lightness (CIE L*), so that equal steps
of a number look equal, in grey too; dark is hot, short of oxygen, or wet.
Source of CIE L*: CIE 15 (from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from io import BytesIO
from typing import Any

import numpy as np

from heapwright.reports.style import drawing
from heapwright.reports.svg import Canvas, to_svg

__all__ = ["Picture", "lightness", "picture", "shades"]

#: pixels of a PNG for one pixel of the figure
_SHARP = 2
#: Colours a map runs through, from its low to its high end.
_RAMPS: dict[str, tuple[str, ...]] = {
    "heat": ("#fbf4df", "#f3cd86", "#e38d4a", "#bf4a2c", "#7d1f2f", "#33101f"),
    "air": ("#2a1836", "#5b2f6b", "#8d5f8f", "#b797ad", "#ddcdd0", "#f8f5ee"),
    "water": ("#f6f0dd", "#cfdcc4", "#8fbdbb", "#4d90ad", "#245c8f", "#14285a"),
}


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure both ways: text of an ``<svg>`` element, and the bytes of a PNG."""

    svg: str
    png: bytes


def picture(draw: Callable[[], Canvas], prefix: str, *, title: str, desc: str) -> Picture:
    """What *draw* puts on a canvas, as SVG and PNG.

    prefix : for ids; title, desc : what a reader who cannot see it is told. The same drawing gives
    the same SVG text.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    with drawing(prefix):
        canvas = draw()
        svg = to_svg(canvas.figure, prefix, title=title, desc=desc)
    with drawing(prefix):
        canvas.figure.set_dpi(72 * _SHARP)
        buffer = BytesIO()
        FigureCanvasAgg(canvas.figure).print_png(buffer, metadata={"Title": title})
    return Picture(svg, buffer.getvalue())


@cache
def shades(name: str) -> Any:
    """A colour map by name: ``heat`` (light is cold), ``air`` (dark is without oxygen), ``water``.

    >>> light = [lightness(shades("heat")(x)[:3]) for x in (0.0, 0.5, 1.0)]
    >>> bool(abs(light[0] - 2 * light[1] + light[2]) < 2)
    True
    """
    from matplotlib.colors import ListedColormap, to_rgb

    ramp = np.array([to_rgb(c) for c in _RAMPS[name]])
    at = np.linspace(0, 1, len(ramp))
    fine = np.linspace(0, 1, 1001)
    colours = np.column_stack([np.interp(fine, at, ramp[:, k]) for k in range(3)])
    light = np.array([lightness(c) for c in colours])
    even = np.linspace(light[0], light[-1], 256)
    order = slice(None, None, -1) if light[0] > light[-1] else slice(None)
    where = np.interp(even[order], light[order], fine[order])[order]
    return ListedColormap(
        np.column_stack([np.interp(where, fine, colours[:, k]) for k in range(3)]), name=name
    )


def lightness(rgb: Sequence[float]) -> float:
    """CIE L* (0 to 100) of a colour in sRGB, each part 0 to 1.

    >>> round(lightness((1, 1, 1))), round(lightness((0, 0, 0)))
    (100, 0)
    """
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb]
    y = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return float(116 * y ** (1 / 3) - 16 if y > 216 / 24389 else y * 24389 / 27)
