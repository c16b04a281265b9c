"""The other figures: ranges of comparisons, one number a heap, and bars of water and work.

Units: those of the outcome on screen; sizes in pixels. Conventions: as in `reports.figures`;
every bar and range carries its number, so that nothing is read off by colour.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from heapwright.reports.figures import spread_labels
from heapwright.reports.kept import drawn_once
from heapwright.reports.model import BarChart, Intervals, Values
from heapwright.reports.style import (
    FAINT,
    GRID,
    INK,
    NARROW_PX,
    PAPER,
    SOFT,
    WIDE_PX,
    drawing,
    fitted,
    hues,
)
from heapwright.reports.svg import Canvas, to_svg

__all__ = ["bars_figure", "intervals_figure", "values_figure"]

_BAND = "#ebe1cb"


@drawn_once
def intervals_figure(ranges: Intervals, *, prefix: str, wide: bool = True) -> str:
    """Estimate and range of every comparison, other analyses faint below it, as SVG.

    The shaded band is the difference that would not change practice. *prefix* is put before ids.
    """
    width = WIDE_PX if wide else NARROW_PX
    left, right, top = 14.0, 14.0, 48.0 if ranges.matters else 22.0
    row_px, other_px = 56.0, 15.0
    heights = [row_px + other_px * len(r.others) + 12 for r in ranges.rows]
    inner = sum(heights)
    with drawing(prefix):
        canvas = Canvas.of(width, top + inner + 62)
        ax = canvas.axes(left, top, width - left - right, inner)
        low, high = _reach(ranges)
        ax.set_xlim(low, high)
        ax.set_ylim(inner, 0)
        _no_frame(ax)
        if ranges.matters:
            _band(canvas, ax, ranges, left, (low, high))
        ax.axvline(0, color=INK, linewidth=1)
        y = 0.0
        for row, height in zip(ranges.rows, heights, strict=True):
            name = fitted(row.name, width - 40 - 7.2 * len(row.said), 13, bold=True)
            ax.annotate(
                name, (0, y + 16), xycoords=("axes fraction", "data"), fontsize=13,
                fontweight="bold",
            )  # fmt: skip
            ax.annotate(
                row.said, (1, y + 16), xycoords=("axes fraction", "data"), fontsize=12, ha="right",
                bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 2, "alpha": 0.85},
            )  # fmt: skip
            at = y + 34
            ax.plot([row.low, row.high], [at, at], color=INK, linewidth=3, solid_capstyle="butt")
            ax.plot([row.low, row.low], [at - 6, at + 6], color=INK, linewidth=1.5)
            ax.plot([row.high, row.high], [at - 6, at + 6], color=INK, linewidth=1.5)
            ax.plot([row.estimate], [at], "o", color=INK, markersize=9)
            for k, (letter, estimate, a, b) in enumerate(row.others):
                here = at + 22 + k * other_px
                ax.plot([a, b], [here, here], color=FAINT, linewidth=1.2)
                ax.plot([estimate], [here], "o", color=FAINT, markersize=4)
                ax.annotate(
                    letter, (max(a, low), here), xytext=(-5, 0), textcoords="offset points",
                    ha="right", va="center", fontsize=11, color=SOFT,
                )  # fmt: skip
            y += height
        _below(canvas, ranges, left, top + inner, width)
        said = "; ".join(f"{r.name}: {r.said}" for r in ranges.rows)
        return to_svg(canvas.figure, prefix, title=f"Ranges, {ranges.unit}", desc=said)


def _reach(ranges: Intervals) -> tuple[float, float]:
    ends = [v for r in ranges.rows for v in (r.low, r.high)]
    ends += [v for r in ranges.rows for _, _, a, b in r.others for v in (a, b)]
    if ranges.matters:
        ends += [-ranges.matters, ranges.matters]
    low, high = min(0.0, *ends), max(0.0, *ends)
    room = 0.06 * (high - low or 1)
    return low - room, high + room


def _no_frame(ax: Any) -> None:
    for side in ("left", "top", "right"):
        ax.spines[side].set_visible(False)
    ax.set_yticks([])
    ax.grid(axis="x", color=GRID, linewidth=0.8)
    ax.set_axisbelow(True)


def _band(
    canvas: Canvas, ax: Any, ranges: Intervals, left: float, reach: tuple[float, float]
) -> None:
    assert ranges.matters is not None
    ax.axvspan(-ranges.matters, ranges.matters, color=_BAND, linewidth=0, zorder=0)
    for edge in (-ranges.matters, ranges.matters):
        ax.axvline(edge, color=SOFT, linewidth=1, linestyle=(0, (3, 2)), zorder=0.5)
    ax.annotate(
        "in the shaded band:\ntoo small to change practice", (0, 0), xytext=(0, 6),
        textcoords="offset points", ha="center", va="bottom", fontsize=11, color=SOFT,
        annotation_clip=False,
    )  # fmt: skip


def _below(canvas: Canvas, ranges: Intervals, left: float, y: float, width: float) -> None:
    canvas.text(left, y + 38, f"← {ranges.less}", fontsize=12)
    canvas.text(width - left, y + 38, f"{ranges.more} →", fontsize=12, ha="right")
    canvas.text(
        width / 2, y + 56, f"{ranges.unit} against {ranges.control}".strip(), fontsize=11,
        color=SOFT, ha="center",
    )  # fmt: skip


@drawn_once
def values_figure(values: Values, *, control: str | None, prefix: str, wide: bool = True) -> str:
    """One dot a heap on one line a way, with its letter, as SVG; the tick is the way's mean."""
    width = WIDE_PX if wide else NARROW_PX
    left, row_px, top = 14.0, 58.0, 8.0
    inner = row_px * len(values.ways)
    hue = hues([w for w, _ in values.ways], control)
    numbers = [v for _, heaps in values.ways for _, v in heaps]
    room = 0.12 * (max(numbers) - min(numbers)) or max(abs(numbers[0]) * 0.1, 1e-9)
    with drawing(prefix):
        canvas = Canvas.of(width, top + inner + 46)
        ax = canvas.axes(left, top, width - 2 * left, inner)
        ax.set_xlim(min(numbers) - room, max(numbers) + room)
        ax.set_ylim(inner, 0)
        _no_frame(ax)
        for row, (way, heaps) in enumerate(values.ways):
            at = row * row_px + 34
            ax.annotate(
                way, (0, row * row_px + 14), xycoords=("axes fraction", "data"), fontsize=13,
                fontweight="bold",
            )  # fmt: skip
            mean = math.fsum(v for _, v in heaps) / len(heaps)
            ax.plot([mean, mean], [at - 10, at + 8], color=INK, linewidth=1.4)
            ax.plot(
                [v for _, v in heaps], [at] * len(heaps), "o", color=hue[way], markersize=9,
                markeredgecolor="white", linestyle="none",
            )  # fmt: skip
            _letters(ax, heaps, at, width - 2 * left)
        canvas.text(width / 2, top + inner + 40, values.unit, fontsize=11, color=SOFT, ha="center")
        said = "; ".join(
            f"{way}: " + ", ".join(f"{n} {v:.3g}" for n, v in heaps) for way, heaps in values.ways
        )
        return to_svg(canvas.figure, prefix, title=f"{values.title}, heap by heap", desc=said)


def _letters(ax: Any, heaps: Sequence[tuple[str, float]], at: float, width_px: float) -> None:
    low, high = ax.get_xlim()
    longest = max(len(name) for name, _ in heaps)
    apart = (7.5 * longest + 6) * (high - low) / width_px
    for (name, _), x in zip(
        heaps, spread_labels([v for _, v in heaps], apart, low, high), strict=True
    ):
        ax.annotate(name, (x, at + 20), ha="center", fontsize=12, fontweight="bold")


@drawn_once
def bars_figure(
    charts: Sequence[BarChart],
    *,
    ways: Sequence[str],
    control: str | None,
    prefix: str,
    wide: bool = True,
) -> str:
    """Horizontal bars, one a heap with its number, as SVG; several quantities beside each other."""
    width = WIDE_PX if wide else NARROW_PX
    columns = len(charts) if wide else 1
    gap = 36.0
    each = (width - 28 - gap * (columns - 1)) / columns
    hue = hues(ways, control)
    heights = [34.0 + _bars_px(chart, ways) for chart in charts]
    total = max(heights) if wide else sum(heights) + 16 * (len(charts) - 1)
    with drawing(prefix):
        canvas = Canvas.of(width, total + 10)
        x, y = 14.0, 0.0
        for chart, height in zip(charts, heights, strict=True):
            _bars(canvas, chart, ways, hue, (x, y, each))
            x, y = (x + each + gap, y) if wide else (x, y + height + 16)
        said = "; ".join(
            f"{c.title}: " + ", ".join(f"{i.heap} {i.said}" for i in c.items) for c in charts
        )
        return to_svg(
            canvas.figure, prefix, title="; ".join(c.title for c in charts) + ", heap by heap",
            desc=said,
        )  # fmt: skip


def _groups(chart: BarChart, ways: Sequence[str]) -> list[tuple[str, list[Any]]]:
    found = [(way, [i for i in chart.items if i.way == way]) for way in ways]
    rest = [i for i in chart.items if i.way not in ways]
    return [g for g in found if g[1]] + ([("", rest)] if rest else [])


def _bars_px(chart: BarChart, ways: Sequence[str]) -> float:
    return sum((22 if way else 0) + 22 * len(items) + 6 for way, items in _groups(chart, ways))


def _bars(
    canvas: Canvas,
    chart: BarChart,
    ways: Sequence[str],
    hue: dict[str, str],
    place: tuple[float, float, float],
) -> None:
    x, y, width = place
    canvas.text(x, y + 20, chart.title, fontsize=13, fontweight="bold")
    letters = 8.0 * max(len(i.heap) for i in chart.items) + 8
    number = 7.2 * max(len(i.said) for i in chart.items) + 8
    room = width - letters - number
    most = max([i.value for i in chart.items if i.value], default=1.0) or 1.0
    inner = _bars_px(chart, ways)
    ax = canvas.axes(x, y + 34, width, inner)
    ax.set_xlim(0, width)
    ax.set_ylim(inner, 0)
    ax.axis("off")
    at = 0.0
    for way, items in _groups(chart, ways):
        if way:
            ax.annotate(way, (0, at + 15), fontsize=12, color=SOFT)
            at += 22
        for item in items:
            ax.annotate(item.heap, (0, at + 15), fontsize=12, fontweight="bold")
            length = room * (item.value or 0) / most
            if item.value:
                ax.barh(
                    at + 11, length, 14, letters, color=hue.get(way, SOFT), alpha=0.8,
                    edgecolor=INK, linewidth=0.6,
                )  # fmt: skip
            else:
                ax.plot([letters, letters], [at + 4, at + 18], color=INK, linewidth=1)
            ax.annotate(item.said, (letters + length + 6, at + 15), fontsize=12)
            at += 22
        at += 6
