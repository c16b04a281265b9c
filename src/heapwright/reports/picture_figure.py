"""Figures read off pictures, over heap age: one line a heap, named where it ends.

Units: days of heap age; pixels. Conventions: as in `reports.figures`; heaps differ by line style,
marker and name, so that nothing rests on colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from heapwright.reports.figures import spread_labels
from heapwright.reports.style import (
    GRID,
    INK,
    LINES,
    MARKERS,
    NARROW_PX,
    PAPER,
    SOFT,
    WIDE_PX,
    drawing,
)  # fmt: skip
from heapwright.reports.svg import Canvas, to_svg

__all__ = ["Panel", "over_age_figure"]

#: what stands above a panel, its unit, and ages and values by heap
Panel = tuple[str, str, Mapping[str, tuple[Sequence[float], Sequence[float]]]]
_LEFT, _RIGHT, _HEAD, _EACH, _FOOT = 52.0, 70.0, 34.0, 150.0, 46.0


def over_age_figure(panels: Sequence[Panel], *, prefix: str, desc: str, wide: bool = True) -> str:
    """One panel a quantity over the same ages, as SVG; *prefix* is put before ids."""
    heaps = sorted({h for _, _, lines in panels for h in lines})
    ages = [a for _, _, lines in panels for xs, _ in lines.values() for a in xs]
    room = 0.05 * (max(ages) - min(ages) or 1.0)
    width = WIDE_PX if wide else NARROW_PX
    with drawing(prefix):
        canvas = Canvas.of(width, (_HEAD + _EACH) * len(panels) + _FOOT)
        for k, (title, unit, lines) in enumerate(panels):
            top = k * (_HEAD + _EACH) + _HEAD
            canvas.text(_LEFT, top - 10, title, fontsize=13, fontweight="bold")
            ax = canvas.axes(_LEFT, top, width - _LEFT - _RIGHT, _EACH)
            values = [v for _, ys in lines.values() for v in ys]
            low, high = min(values), max(values)
            pad = 0.12 * (high - low) or 0.1 * abs(high) or 1.0
            ax.set_xlim(min(ages) - room, max(ages) + room)
            ax.set_ylim(low - pad, high + pad)
            ax.grid(axis="y", color=GRID, linewidth=0.8)
            ax.set_axisbelow(True)
            for name, (xs, ys) in lines.items():
                n = heaps.index(name)
                ax.plot(
                    xs,
                    ys,
                    color=INK,
                    linewidth=1.6,
                    linestyle=LINES[n % len(LINES)],
                    marker=MARKERS[n % len(MARKERS)],
                    markersize=5,
                    markerfacecolor=PAPER,
                )
            names = list(lines)
            scale = (high - low + 2 * pad) / _EACH
            at = spread_labels([lines[n][1][-1] for n in names], 14 * scale, low - pad, high + pad)
            for name, y in zip(names, at, strict=True):
                ax.annotate(name, (1, y), xycoords=("axes fraction", "data"), xytext=(6, 0),
                            textcoords="offset points", va="center", fontsize=12)  # fmt: skip
            if unit:
                ax.annotate(unit, (0, 1), xycoords="axes fraction", xytext=(5, -5), va="top",
                            textcoords="offset points", fontsize=11, color=SOFT)  # fmt: skip
            if k + 1 < len(panels):
                ax.set_xticklabels([])
        canvas.text(_LEFT + (width - _LEFT - _RIGHT) / 2, canvas.height - 10, "heap age, days",
                    fontsize=11, color=SOFT, ha="center")  # fmt: skip
        return to_svg(canvas.figure, prefix, title="Read off pictures, over heap age", desc=desc)
