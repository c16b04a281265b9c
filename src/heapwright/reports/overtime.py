"""The difference of two ways over heap age, with the band that holds at all ages at once.

Units: degrees on screen, days of heap age; sizes in pixels. Conventions: as in `reports.figures`;
stretches where the band leaves out 0 are drawn bold and named in words beside the figure.
"""

from __future__ import annotations

from collections.abc import Sequence

from heapwright.reports.kept import drawn_once
from heapwright.reports.model import OverTime
from heapwright.reports.style import FAINT, GRID, INK, NARROW_PX, PAPER, SOFT, WIDE_PX, drawing
from heapwright.reports.svg import Canvas, to_svg

__all__ = ["over_time_figure"]

_BAND = "#dcd3bd"


@drawn_once
def over_time_figure(rows: Sequence[OverTime], *, prefix: str, wide: bool = True) -> str:
    """One panel a way, all on the same scale, as SVG; *prefix* is put before ids."""
    width = WIDE_PX if wide else NARROW_PX
    left, right, head, panel, foot = 46.0, 14.0, 30.0, 150.0, 44.0
    each = head + panel
    ends = [v for r in rows for d in r.difference for v in (d - r.half_width, d + r.half_width)]
    low, high = min(0.0, *ends), max(0.0, *ends)
    room = 0.06 * (high - low or 1.0)
    with drawing(prefix):
        canvas = Canvas.of(width, each * len(rows) + foot)
        for k, row in enumerate(rows):
            top = k * each + head
            canvas.text(left, top - 10, f"{row.way} less {row.control}", fontsize=13,
                        fontweight="bold")  # fmt: skip
            ax = canvas.axes(left, top, width - left - right, panel)
            ax.set_xlim(row.age_d[0], row.age_d[-1])
            ax.set_ylim(low - room, high + room)
            ax.grid(axis="y", color=GRID, linewidth=0.8)
            ax.set_axisbelow(True)
            if row.half_width:
                ax.fill_between(
                    row.age_d, [d - row.half_width for d in row.difference],
                    [d + row.half_width for d in row.difference], color=_BAND, linewidth=0,
                )  # fmt: skip
            ax.axhline(0, color=INK, linewidth=1)
            ax.plot(row.age_d, row.difference, color=INK if row.half_width else FAINT, linewidth=2)
            for a, b in row.spans:
                ax.plot([a, b], [0, 0], color=INK, linewidth=6, solid_capstyle="butt")
            if k + 1 < len(rows):
                ax.set_xticklabels([])
            ax.annotate(
                row.unit, (0, 1), xycoords="axes fraction", xytext=(5, -5), va="top",
                textcoords="offset points", fontsize=11, color=SOFT,
                bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1, "alpha": 0.8},
            )  # fmt: skip
        canvas.text(width / 2, each * len(rows) + 34, "heap age, days", fontsize=11, color=SOFT,
                    ha="center")  # fmt: skip
        said = " ".join(r.sentence for r in rows)
        return to_svg(canvas.figure, prefix, title="Difference over heap age", desc=said)
