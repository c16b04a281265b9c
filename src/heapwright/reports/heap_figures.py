"""Curves of a simulated heap: core and probe spots over its age, air below, what was done marked.

Units: degrees C, days, pixels. Conventions: the core (the third of the heap furthest from the air,
mean) is bold; spots are told apart by hue, line style and their name at the end; what was read in
the heap stands as marks of the same hue. The vertical scale is 0 to 80 C in every figure, so that
heaps compare at a glance.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from heapwright.engine.run import Run
from heapwright.reports.figures import spread_labels
from heapwright.reports.pictures import Picture, picture
from heapwright.reports.style import FAINT, GRID, INK, LINES, MARKERS, SOFT, WIDE_PX, fitted
from heapwright.reports.svg import Canvas

__all__ = ["heap_curves"]

#: core first, then spots
_HUES = ("#D55E00", "#0072B2", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
_MARKS = {
    "turned": "^", "watered": "|", "covered": "s", "uncovered": "s", "vent opened": "o",
    "vent plugged": "X", "vent pulled": "v", "air on": "P", "air off": "x",
}  # fmt: skip
_WORDS = {
    "uncovered": "cover off", "vent opened": "pipes opened", "vent plugged": "pipes plugged",
    "vent pulled": "pipes pulled", "air on": "blower on", "air off": "blower off",
}  # fmt: skip
_LOW, _HIGH = 0.0, 80.0
_CORE = "inner third"
_TOP, _PANEL, _FOOT, _ROW, _RIGHT = 74.0, 300.0, 28.0, 20.0, 112.0
_STEPS = (1, 2, 5, 10, 20, 50, 100, 200)

Read = Mapping[str, tuple[Sequence[float], Sequence[float]]]


def heap_curves(
    run: Run,
    *,
    title: str,
    prefix: str = "curves",
    built: datetime | None = None,
    read: Read | None = None,
    note: str = "",
) -> Picture:
    """Temperatures of core and spots as SVG and PNG.

    title : the heap and its way; built : clock time of the place, for dates above; read : ages [d]
    and temperatures read in the heap by spot; note : below the title, as "INVENTED".
    """
    kinds = tuple(dict.fromkeys(d.kind for d in run.done))
    marks = [_WORDS.get(k, k) for k in kinds]
    left = max(58.0, *[7.0 * len(m) + 16 for m in marks]) if marks else 58.0

    def draw() -> Canvas:
        height = _TOP + _PANEL + _FOOT + len(kinds) * _ROW + 14
        canvas = Canvas.of(WIDE_PX, height)
        width = WIDE_PX - left - _RIGHT
        canvas.text(left, 24, fitted(title, width, 15, bold=True), fontsize=15, fontweight="bold")
        below = "Simulated. Bold: mean of the inner third. Thin: the probe spots" + (
            "; marks: what was read." if read else "."
        )
        canvas.text(left, 43, f"{note} {below}".strip(), fontsize=11, color=SOFT)
        ax = canvas.axes(left, _TOP, width, _PANEL)
        _panel(ax, run, read or {})
        _axes(ax, built)
        _strip(canvas, run, kinds, left, width)
        return canvas

    core = run.curves["core_c"]
    peak = int(core.argmax())
    return picture(
        draw, prefix, title=f"{title}: simulated temperatures",
        desc=f"The core is hottest with {core[peak]:.0f} C on day {run.hours[peak] / 24:.1f}; "
        f"spots: {', '.join(run.spots) or 'none'}.",
    )  # fmt: skip


def _panel(ax: Any, run: Run, read: Read) -> None:
    ages = run.hours / 24
    span = max(float(ages[-1]), run.days if run.complete else float(ages[-1]), 0.1)
    lines = [(_CORE, run.curves["core_c"], 2.6, _HUES[0], LINES[0])]
    for n, (name, kept) in enumerate(run.spots.items()):
        style = LINES[(n + 1) % len(LINES)]
        lines.append((name, kept["temp_c"], 1.5, _HUES[(n + 1) % len(_HUES)], style))
    highest = max(_HIGH, *(float(np.max(v)) + 2 for _, v, *_ in lines))
    lowest = min(_LOW, *(float(np.min(v)) - 2 for _, v, *_ in [*lines, ("", run.curves["air_c"])]))
    ax.set_xlim(0, span * 1.01)
    ax.set_ylim(lowest, highest)
    ax.fill_between(ages, run.curves["air_c"], lowest, color="#c9c3b8", linewidth=0, zorder=1)
    ax.annotate(
        "air", (0, lowest), xytext=(6, 6), textcoords="offset points", fontsize=11, color=SOFT,
        zorder=6,
    )  # fmt: skip
    for name, values, width, hue, style in lines:
        ax.plot(ages, values, color=hue, linewidth=width, linestyle=style, zorder=4 if
                name == _CORE else 3)  # fmt: skip
    for n, name in enumerate(run.spots):
        if name in read:
            ax.plot(
                *read[name], MARKERS[(n + 1) % len(MARKERS)], markersize=5, markeredgewidth=1.3,
                markerfacecolor="white", markeredgecolor=_HUES[(n + 1) % len(_HUES)], zorder=5,
            )  # fmt: skip
    _ends(ax, [(name, float(v[-1]), hue, style) for name, v, _, hue, style in lines], span)
    if not run.complete:
        ax.axvline(float(ages[-1]), color=SOFT, linewidth=1, linestyle=(0, (2, 3)))
        ax.annotate(
            "stopped here", (float(ages[-1]), highest), xytext=(-4, -4), ha="right", va="top",
            textcoords="offset points", fontsize=11, color=SOFT,
        )  # fmt: skip


def _ends(ax: Any, ends: Sequence[tuple[str, float, str, Any]], span: float) -> None:
    """The name of every curve at its end, with a piece of its line, pushed apart."""
    low, high = ax.get_ylim()
    per_px = (high - low) / _PANEL
    heights = spread_labels([e[1] for e in ends], 15 * per_px, low, high)
    right = ax.get_xlim()[1]
    px = right / (WIDE_PX - 58 - _RIGHT)
    for (name, _, hue, style), height in zip(ends, heights, strict=True):
        ax.plot(
            [right + 5 * px, right + 25 * px], [height, height], color=hue, linestyle=style,
            linewidth=2.6 if name == _CORE else 1.5, clip_on=False, solid_capstyle="butt",
        )  # fmt: skip
        ax.annotate(
            fitted(name, 86, 12), (right + 29 * px, height), va="center", fontsize=12,
            fontweight="bold" if name == _CORE else "normal", annotation_clip=False,
        )  # fmt: skip


def _axes(ax: Any, built: datetime | None) -> None:
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    ax.set_axisbelow(True)
    ax.grid(axis="y", color=GRID, linewidth=0.8)
    ax.yaxis.set_major_locator(MultipleLocator(10))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda y, _: f"{y:.0f}"))
    span = ax.get_xlim()[1]
    step = next((s for s in _STEPS if span / s <= 14), _STEPS[-1])
    ticks = [k * step for k in range(int(span / step) + 1)]
    ax.set_xticks(ticks)
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:.0f}"))
    ax.tick_params(axis="x", pad=3, length=3)
    ax.annotate(
        "day", (0, 0), xycoords="axes fraction", xytext=(-10, -15), textcoords="offset points",
        ha="right", fontsize=11, color=SOFT,
    )  # fmt: skip
    ax.annotate(
        "°C", (0, 1), xycoords="axes fraction", xytext=(-8, 10), textcoords="offset points",
        ha="right", fontsize=11, color=SOFT,
    )  # fmt: skip
    if built is None:
        return
    above = ax.secondary_xaxis("top")
    first = 1 - (built.hour + built.minute / 60) / 24
    wide = next((s for s in (1, 2, 7, 14, 28, 56, 91, 182) if span / s <= 9), 365)
    at = [first - 1 + k * wide for k in range(int(span / wide) + 2)]
    at = [a for a in at if 0 <= a <= span]
    above.set_xticks(at)
    above.set_xticklabels([_short(built + timedelta(days=a + 1e-6)) for a in at])
    above.tick_params(axis="x", labelsize=11, pad=2, length=3, labelcolor=SOFT)


def _short(moment: datetime) -> str:
    return f"{moment.day} {moment:%b}"


def _strip(canvas: Canvas, run: Run, kinds: Sequence[str], left: float, width: float) -> None:
    """One line a kind of work under the axis, a mark for each time it was done."""
    if not kinds:
        return
    top = _TOP + _PANEL + _FOOT
    ax = canvas.axes(left, top, width, len(kinds) * _ROW)
    ages = run.hours / 24
    ax.set_xlim(0, max(float(ages[-1]), run.days if run.complete else float(ages[-1]), 0.1) * 1.01)
    ax.set_ylim(len(kinds) - 0.5, -0.5)
    ax.axis("off")
    for row, kind in enumerate(kinds):
        ax.axhline(row, color=GRID, linewidth=0.8)
        word = _WORDS.get(kind, kind)
        canvas.text(left - 10, top + (row + 0.5) * _ROW + 4, word, ha="right", fontsize=11)
        ax.plot(
            [d.hours / 24 for d in run.done if d.kind == kind],
            [row] * sum(d.kind == kind for d in run.done), marker=_MARKS.get(kind, "d"),
            color=INK, markeredgecolor=INK, markersize=6.5, markeredgewidth=1.4, linestyle="none",
            clip_on=False,
        )  # fmt: skip
    ax.axhline(-0.5, color=FAINT, linewidth=0)
