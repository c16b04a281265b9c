"""Curves of a trial: one panel a way, all on the same vertical scale, by age or by date.

Units: temperatures as in `Curves.unit`; ages in days; sizes in pixels.
Conventions: heap mean bold, spots faint, air as a grey area, rounds as dots, a longer gap between
rounds dotted, the control thin and grey beside every other way, what was done under the axis.
The other figures (ranges, numbers by heap, bars) are in `reports.bars`.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, Literal

from heapwright.reports.kept import drawn_once
from heapwright.reports.model import Curves, HeapCurve
from heapwright.reports.style import (
    FAINT,
    GRID,
    INK,
    LINES,
    MARKERS,
    NARROW_PX,
    PAPER,
    SOFT,
    WIDE_PX,
    drawing,
    fitted,
    hues,
)
from heapwright.reports.svg import Canvas, to_svg

__all__ = ["curves_figure", "spread_labels"]

By = Literal["age", "date"]
_ROW_PX = 19
#: A gap this many times the usual one between rounds is dotted: nobody looked.
_GAP = 1.9
_MARKS = {
    "turned": "^", "watered": "|", "covered": "s", "uncovered": "s", "added": "P",
    "heap lost": "x", "pipes opened": "o", "pipes plugged": "X", "pipes pulled": "v",
}  # fmt: skip
_LETTER_PX = 13
#: Longer names of heaps are cut at the end of a line.
_NAME_LETTERS = 7
#: Days between ticks that read well, for ages and for dates.
_AGE_STEPS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
_DATE_STEPS = (1, 2, 7, 14, 28, 56, 91, 182, 364, 1000)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where panels stand: columns, left margin, size of a panel, gap between panels [px]."""

    columns: int
    width: float
    left: float
    panel_width: float
    panel_height: float
    gap: float
    strip: float
    head: float = 52
    foot: float = 26

    @property
    def block(self) -> float:
        """Height of a panel with its title, axes and strip."""
        return self.head + self.panel_height + self.foot + self.strip + 14


@dataclass(frozen=True, slots=True)
class _Scale:
    """What all panels share: x range, y range, kinds of events, hues."""

    by: By
    x: tuple[float, float]
    y: tuple[float, float]
    kinds: tuple[str, ...]
    hue: dict[str, str]


@drawn_once
def curves_figure(curves: Curves, *, by: By, prefix: str, wide: bool = True) -> str:
    """Heap temperatures by way as SVG.

    Parameters
    ----------
    curves : Curves
        At least one heap with at least one round.
    by : {"age", "date"}
        The axis below; the other one is drawn above where the heaps of a panel share a build day.
    prefix : str
        For ids; unique within the page.
    wide : bool
        False draws panels below each other for a narrow screen.

    Returns
    -------
    str
        The same input gives the same text.
    """
    ways = [w for w in curves.ways if any(h.way == w for h in curves.heaps)]
    kinds = tuple(dict.fromkeys(m.what for h in curves.heaps for m in h.marks))
    frame = _frame(len(ways), kinds, max(len(h.name) for h in curves.heaps), wide)
    scale = _Scale(by, _x_range(curves, by), _y_range(curves), kinds, hues(ways, curves.control))
    rows = math.ceil(len(ways) / frame.columns)
    with drawing(prefix):
        canvas = Canvas.of(frame.width, rows * frame.block + 4)
        for i, way in enumerate(ways):
            row, column = divmod(i, frame.columns)
            left = frame.left + column * (frame.panel_width + frame.gap)
            _panel(canvas, frame, scale, curves, way, (left, row * frame.block, column == 0))
        what = "heap age" if by == "age" else "date"
        names = ", ".join(f"{h.name} ({h.way})" if h.way else h.name for h in curves.heaps)
        return to_svg(
            canvas.figure, prefix, links=True,
            title=f"Temperature in every heap by {what}",
            desc=f"Heaps {names}. One panel a way, all on one scale; the table of rounds holds "
            "the same numbers.",
        )  # fmt: skip


def _frame(ways: int, kinds: Sequence[str], name: int, wide: bool) -> _Frame:
    columns = 1 if not wide else ways if ways <= 3 else 2 if ways == 4 else 3
    width = WIDE_PX if wide else NARROW_PX
    left = max([52.0, *[6.4 * len(k) + 16 for k in kinds]])
    right = 14.0 + 8 * min(name, _NAME_LETTERS)
    gap = right + 6
    panel = (width - left - right - (columns - 1) * gap) / columns
    height = (215.0 if columns > 1 else 250.0) if wide else 190.0
    return _Frame(columns, width, left, panel, height, gap, len(kinds) * _ROW_PX)


def _x(heap: HeapCurve, moment: datetime, by: By) -> float:
    return heap.age_d(moment) if by == "age" else _day(moment)


def _day(moment: datetime) -> float:
    """Days since 1970 (matplotlib's dates) of a clock time."""
    return (moment - datetime(1970, 1, 1)).total_seconds() / 86400


def _x_range(curves: Curves, by: By) -> tuple[float, float]:
    last = max(_x(h, h.when[-1], by) for h in curves.heaps if h.when)
    first = 0.0 if by == "age" else min(_day(h.built) for h in curves.heaps)
    first = min([first, *[_x(h, h.when[0], by) for h in curves.heaps if h.when]])
    return first, last + 0.02 * (last - first or 1)


def _y_range(curves: Curves) -> tuple[float, float]:
    inside = [t for h in curves.heaps for t in h.mean]
    inside += [t for h in curves.heaps for _, temps in h.spots.values() for t in temps]
    air = list(curves.air.temp) if curves.air else []
    low = 0.0 if curves.unit == "C" else 30.0
    return min(low, math.floor(min(inside + air) / 10) * 10), math.ceil(
        (max(inside) + 1) / 10
    ) * 10.0


def _panel(
    canvas: Canvas,
    frame: _Frame,
    scale: _Scale,
    curves: Curves,
    way: str,
    place: tuple[float, float, bool],
) -> None:
    """One way: title, curves, both axes, and the strip of what was done."""
    left, top, first = place
    heaps = [h for h in curves.heaps if h.way == way]
    ax = canvas.axes(left, top + frame.head, frame.panel_width, frame.panel_height)
    ax.set_xlim(*scale.x)
    ax.set_ylim(*scale.y)
    named = ", ".join(h.name for h in heaps)
    title = f"{way} ({named})" if way else named
    room = frame.panel_width + frame.gap - 8
    if fitted(title, room, 14, bold=True) != title:
        title = fitted(way or named, room, 14, bold=True)
    canvas.text(left, top + 18, title, fontsize=14, fontweight="bold")
    _air(ax, curves, heaps[0], scale)
    others = [h for h in curves.heaps if h.way == curves.control and way != curves.control]
    ends = []
    for heap in others:
        xs = [_x(heap, w, scale.by) for w in heap.when]
        ax.plot(xs, heap.mean, color=FAINT, linewidth=1, zorder=2)
        ends.append((xs[-1], heap.mean[-1], heap.name, False))
    for i, heap in enumerate(heaps):
        _heap(ax, heap, i, scale)
        ends.append((_x(heap, heap.when[-1], scale.by), heap.mean[-1], heap.name, True))
    _ends(ax, ends, frame)
    _window(ax, curves, heaps, scale)
    _axes(canvas, frame, ax, curves, heaps, scale, place)
    if scale.kinds:
        _strip(canvas, frame, heaps, scale, place)
    ax.tick_params(labelleft=first, length=0 if not first else 3)


def _heap(ax: Any, heap: HeapCurve, rank: int, scale: _Scale) -> None:
    hue, style = scale.hue[heap.way], LINES[rank % len(LINES)]
    for when, temps in heap.spots.values():
        ax.plot(
            [_x(heap, w, scale.by) for w in when], temps, color=hue, linewidth=0.7, alpha=0.35,
            zorder=1.5,
        )  # fmt: skip
    xs = [_x(heap, w, scale.by) for w in heap.when]
    for run, gap in _runs(xs):
        part = slice(run[0], run[-1] + 1)
        how: dict[str, Any] = (
            {"color": hue, "linewidth": 1.2, "linestyle": (0, (1, 2.5))}
            if gap
            else {"color": hue, "linewidth": 2.2, "linestyle": style}
        )
        ax.plot(xs[part], heap.mean[part], zorder=3, **how)
    dots = ax.scatter(
        xs, heap.mean, s=20, marker=MARKERS[rank % len(MARKERS)], facecolors="white",
        edgecolors=hue, linewidths=1.3, zorder=4,
    )  # fmt: skip
    if heap.rows:
        dots.set_urls([f"#{row}" if row else None for row in heap.rows])


def _runs(xs: Sequence[float]) -> list[tuple[list[int], bool]]:
    """Stretches of rounds to join, and the gaps between them: (indices, is a gap)."""
    steps = [b - a for a, b in pairwise(xs)]
    if len(steps) < 3:
        return [(list(range(len(xs))), False)]
    usual = statistics.median(steps)
    runs: list[tuple[list[int], bool]] = []
    run = [0]
    for i, step in enumerate(steps, 1):
        if step > _GAP * usual:
            runs += [(run, False), ([i - 1, i], True)]
            run = []
        run.append(i)
    return [*runs, (run, False)]


def _air(ax: Any, curves: Curves, heap: HeapCurve, scale: _Scale) -> None:
    if curves.air is None:
        return
    xs = [_x(heap, w, scale.by) for w in curves.air.when]
    ax.fill_between(xs, curves.air.temp, scale.y[0], color="#c9c3b8", linewidth=0, zorder=1)
    inside = [(x, t) for x, t in zip(xs, curves.air.temp, strict=True) if scale.x[0] <= x]
    if inside:
        low = min(t for _, t in inside)
        ax.annotate(
            "air", (scale.x[0], (low + scale.y[0]) / 2), xytext=(5, 0), color=SOFT, fontsize=11,
            textcoords="offset points", va="center", zorder=5,
        )  # fmt: skip


def _window(ax: Any, curves: Curves, heaps: Sequence[HeapCurve], scale: _Scale) -> None:
    """Dotted uprights at both ends of the window that decides."""
    if curves.window_d is None or curves.window_d[0] == curves.window_d[1]:
        return
    shift = 0.0 if scale.by == "age" else _day(heaps[0].built)
    for age in curves.window_d:
        ax.axvline(age + shift, color=SOFT, linewidth=0.9, linestyle=(0, (2, 3)), zorder=0.5)


def spread_labels(wanted: Sequence[float], apart: float, low: float, high: float) -> list[float]:
    """Heights near *wanted* that lie at least *apart* from each other, within low to high.

    >>> spread_labels([10, 11, 30], 4, 0, 40)
    [8.5, 12.5, 30]
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    groups: list[list[int]] = []
    middle: list[float] = []
    for i in order:
        groups.append([i])
        middle.append(wanted[i])
        while len(groups) > 1 and (
            middle[-1] - middle[-2] < apart * (len(groups[-1]) + len(groups[-2])) / 2
        ):
            last = groups.pop()
            middle.pop()
            groups[-1] += last
            middle[-1] = sum(wanted[k] for k in groups[-1]) / len(groups[-1])
    placed = list(wanted)
    for group, centre in zip(groups, middle, strict=True):
        reach = apart * (len(group) - 1) / 2
        centre = min(max(centre, low + reach), high - reach)
        for rank, i in enumerate(group):
            placed[i] = wanted[i] if len(group) == 1 else centre - reach + rank * apart
    return placed


def _ends(ax: Any, ends: list[tuple[float, float, str, bool]], frame: _Frame) -> None:
    """The name of every heap at the end of its line, pushed apart where they meet."""
    low, high = ax.get_ylim()
    left, right = ax.get_xlim()
    per_px = (high - low) / frame.panel_height
    heights = spread_labels([e[1] for e in ends], _LETTER_PX * per_px, low, high)
    edge = max(e[0] for e in ends)
    pad = (right - left) / frame.panel_width
    for (x, y, name, own), height in zip(ends, heights, strict=True):
        if abs(height - y) > 3 * per_px or x < edge:
            ax.plot(
                [x + 4 * pad, edge + 7 * pad], [y, height], color=FAINT, linewidth=0.6,
                clip_on=False, zorder=2,
            )  # fmt: skip
        short = fitted(name, _NAME_LETTERS * 12 * 0.66, 12, bold=True)
        ax.annotate(
            short, (edge, height), xytext=(8, 0), textcoords="offset points", va="center",
            fontsize=12, fontweight="bold" if own else "normal", color=INK if own else SOFT,
            annotation_clip=False, zorder=6,
        )  # fmt: skip


def _axes(
    canvas: Canvas,
    frame: _Frame,
    ax: Any,
    curves: Curves,
    heaps: Sequence[HeapCurve],
    scale: _Scale,
    place: tuple[float, float, bool],
) -> None:
    """Age and date, one below and one above where the heaps were built together; degrees left."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    ax.set_axisbelow(True)
    ax.grid(axis="y", color=GRID, linewidth=0.8)
    ax.yaxis.set_major_locator(MultipleLocator(20 if curves.unit == "F" else 10))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda y, _: f"{y:.0f}"))
    days = scale.x[1] - scale.x[0]
    age_step = _step(days, frame.panel_width / 30, _AGE_STEPS)
    date_step = _step(days, frame.panel_width / (64 if frame.columns > 1 else 46), _DATE_STEPS)
    # A date at the very edge would run into the first date of the next panel.
    reach = days * (1 - 22 / frame.panel_width if frame.columns > 1 else 1)
    ages = [k * age_step for k in range(int(days / age_step) + 1)]
    dates = [k * date_step for k in range(int(reach / date_step) + 1)]
    built = [h.built for h in heaps]
    together = (max(built) - min(built)).total_seconds() < 86400
    by_age = scale.by == "age"
    age_words = FuncFormatter(lambda x, _: f"{x:.0f}")
    date_words = FuncFormatter(lambda x, _: _short(x))
    zero = math.floor(scale.x[0]) if not by_age else 0
    ax.set_xticks(ages if by_age else [zero + d for d in dates])
    ax.xaxis.set_major_formatter(age_words if by_age else date_words)
    ax.tick_params(axis="x", pad=3, length=3)
    if together:
        start = _day(built[0])
        shift = math.floor(start) if by_age else -start
        above = ax.secondary_xaxis("top", functions=(lambda x: x + shift, lambda x: x - shift))
        most = scale.x[1] - start
        above.set_xticks([shift + d for d in dates] if by_age else [a for a in ages if a <= most])
        above.xaxis.set_major_formatter(date_words if by_age else age_words)
        above.tick_params(axis="x", labelsize=11, pad=2, length=3, labelcolor=SOFT)
    if place[2]:
        _axis_words(canvas, frame, ax, f"°{curves.unit}", place, by_age, together)


def _axis_words(
    canvas: Canvas,
    frame: _Frame,
    ax: Any,
    degrees: str,
    place: tuple[float, float, bool],
    by_age: bool,
    together: bool,
) -> None:
    """The words "day" and "date" beside their ticks, and the unit of the temperatures."""
    left, top, _ = place
    heights = {"below": top + frame.head + frame.panel_height + 15, "above": top + frame.head - 6}
    for word, where in (("day", "below"), ("date", "above")):
        if not by_age:
            where = "above" if where == "below" else "below"
        if where == "below" or together:
            clear = left - (24 if word == "date" else 8)
            canvas.text(clear, heights[where], word, ha="right", fontsize=11, color=SOFT)
    ax.annotate(
        degrees, (0, 1), xycoords="axes fraction", xytext=(5, -4), va="top",
        textcoords="offset points", fontsize=11, color=SOFT,
    )  # fmt: skip


def _step(days: float, most: float, steps: Sequence[int]) -> float:
    """The first of *steps* [days] of which at most *most* fit into *days*."""
    return float(next((s for s in steps if days / s <= most), steps[-1]))


def _short(day: float) -> str:
    moment = datetime(1970, 1, 1) + timedelta(days=round(day, 3))
    return f"{moment.day} {moment:%b}"


def _strip(
    canvas: Canvas,
    frame: _Frame,
    heaps: Sequence[HeapCurve],
    scale: _Scale,
    place: tuple[float, float, bool],
) -> None:
    """One line a kind of work under the axis; a letter where not all heaps of the way had it."""
    left, top, first = place
    top += frame.head + frame.panel_height + frame.foot
    ax = canvas.axes(left, top, frame.panel_width, frame.strip)
    ax.set_xlim(*scale.x)
    ax.set_ylim(len(scale.kinds) - 0.5, -0.5)
    ax.axis("off")
    for row, kind in enumerate(scale.kinds):
        ax.axhline(row, color=GRID, linewidth=0.8)
        if first:
            canvas.text(
                left - 8, top + (row + 0.5) * _ROW_PX + 4, kind, ha="right", fontsize=11,
                color=INK,
            )  # fmt: skip
        for low, high, names in _together(heaps, kind, scale.by):
            if high - low > 0.3:
                ax.plot([low, high], [row, row], color=INK, linewidth=2, alpha=0.5)
            ax.plot(
                [(low + high) / 2], [row], marker=_MARKS.get(kind, "d"), color=INK, markersize=6,
                markeredgewidth=1.4, clip_on=False,
            )  # fmt: skip
            if len(names) < len(heaps):
                ax.annotate(
                    " ".join(names), ((low + high) / 2, row), xytext=(5, 0), fontsize=11,
                    textcoords="offset points", va="center", color=INK, zorder=5,
                    bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1},
                )  # fmt: skip


def _together(
    heaps: Sequence[HeapCurve], kind: str, by: By
) -> list[tuple[float, float, tuple[str, ...]]]:
    """Marks of one kind, those of different heaps within a day drawn as one."""
    marks = sorted(
        (_x(h, m.low, by), _x(h, m.high, by), h.name)
        for h in heaps
        for m in h.marks
        if m.what == kind
    )
    found: list[tuple[float, float, tuple[str, ...]]] = []
    for low, high, name in marks:
        if found and low - found[-1][0] < 1 and name not in found[-1][2]:
            a, b, names = found[-1]
            found[-1] = (a, max(b, high), (*names, name))
        else:
            found.append((low, high, (name,)))
    return found
