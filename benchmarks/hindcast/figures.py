"""Figures of the hindcasts: published ranges against results, and curves of three trials.

Units: degrees C and days. Conventions: the colour-blind-safe set of Okabe and Ito, told apart by
line style as well; SVG without dates, so that the same result gives the same file.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.hindcast.cases import Case
from benchmarks.hindcast.measures import Facts

__all__ = ["IMAGES", "draw"]

IMAGES = Path(__file__).parents[2] / "docs" / "images"
_INK, _HEAT, _COOL, _PALE = "#333333", "#D55E00", "#0072B2", "#BBBBBB"


def draw(
    cases: Mapping[str, Case], found: Mapping[tuple[str, str], Any], result: Mapping[str, Any]
) -> None:
    """Write both figures."""
    import matplotlib

    matplotlib.use("Agg")
    matplotlib.rcParams.update(
        {"svg.hashsalt": "heapwright", "svg.fonttype": "none", "font.size": 9,
         "axes.spines.top": False, "axes.spines.right": False}
    )  # fmt: skip
    IMAGES.mkdir(parents=True, exist_ok=True)
    _ranges(result)
    _curves(cases, found)


def _save(figure: Any, name: str) -> None:
    figure.savefig(IMAGES / name, metadata={"Date": None}, bbox_inches="tight")


def _ranges(result: Mapping[str, Any]) -> None:
    """Every counted quantity: result over published, the allowance as a band."""
    import matplotlib.pyplot as plt

    rows = [r for r in result["rows"] if r["counted"]]
    figure, axis = plt.subplots(figsize=(7.2, 0.21 * len(rows) + 0.8))
    for n, row in enumerate(reversed(rows)):
        low, high = row["published_low"], row["published_high"]
        scale = _scale(row)
        a, b = _allowed(low, high, row["unit"])
        axis.barh(n, min(b / scale, 3.0) - a / scale, left=a / scale, height=0.7, color="#E8E4DA")
        ends = [x / scale for x in (low, high) if x is not None]
        axis.plot(ends, [n] * len(ends), color=_INK, marker="|", markersize=7, linewidth=1.5)
        if row["model"] is not None:
            x = min(row["model"] / scale, 2.6)
            axis.plot(x, n, marker="o" if row["inside"] else "X", markersize=5,
                      color=_COOL if row["inside"] else _HEAT)  # fmt: skip
        else:
            axis.text(0.02, n, "never", va="center", color=_HEAT, fontsize=8)
    axis.set_yticks(range(len(rows)), [f"{r['case']}: {_short(r)}" for r in reversed(rows)],
                    fontsize=7)  # fmt: skip
    axis.set_xlim(0, 2.7)
    axis.set_ylim(-0.8, len(rows) - 0.2)
    axis.set_xlabel("result over published number (dot inside, cross outside; band: allowed)")
    _save(figure, "hindcast-ranges.svg")
    plt.close(figure)


def _short(row: Mapping[str, Any]) -> str:
    text = str(row["quantity"])
    return text if len(text) < 58 else text[:55] + "..."


def _scale(row: Mapping[str, Any]) -> float:
    known = [x for x in (row["published_low"], row["published_high"]) if x is not None]
    return float(np.mean(known)) or 1.0


def _allowed(low: float | None, high: float | None, unit: str) -> tuple[float, float]:
    width = 5.0 if unit == "degC" else None
    a = 0.0 if low is None else low - (width if width is not None else 0.25 * abs(low))
    b = 1e9 if high is None else high + (width if width is not None else 0.25 * abs(high))
    return a, b


def _curves(cases: Mapping[str, Case], found: Mapping[tuple[str, str], Any]) -> None:
    """Willow heaps, poplar and peat-poultry piles over time, with the published marks."""
    import matplotlib.pyplot as plt

    figure, axes = plt.subplots(3, 2, figsize=(7.2, 7.6))
    flat = axes.ravel()
    for axis, key in zip(flat, ("willow_a", "willow_b", "willow_c"), strict=False):
        _heap(axis, cases[key], found[key, "middle"])
    for axis, key in zip(flat[3:5], ("poplar", "peat_poultry"), strict=True):
        _ways(axis, cases[key], {v: found[key, v] for v in cases[key].variants})
    _heap(flat[5], cases["frozen"], found["frozen", "pile"])
    for axis in flat[:-1]:
        axis.set_ylim(-5, 95)  # room for the legend above the curves
    flat[-1].set_ylim(-30, 95)
    for axis in axes[:, 0]:
        axis.set_ylabel("degrees C")
    for axis in axes[-1]:
        axis.set_xlabel("days since built")
    figure.tight_layout()
    _save(figure, "hindcast-curves.svg")
    plt.close(figure)


def _thin(facts: Facts, signal: Any) -> tuple[Any, Any]:
    n = max(1, facts.hours.size // 180)
    return facts.days[::n], np.asarray(signal)[::n]


def _heap(axis: Any, case: Case, facts: Facts) -> None:
    days, air = _thin(facts, facts.curves["air_c"])
    axis.fill_between(days, np.minimum(air, 0), air, color=_PALE, alpha=0.35, linewidth=0)
    axis.plot(*_thin(facts, facts.signal("loggers max")), color=_HEAT, linewidth=1, label="hottest")
    axis.plot(*_thin(facts, facts.signal("loggers mean")), color=_INK, linewidth=1.8, label="mean")
    axis.plot(*_thin(facts, facts.signal("loggers min")), color=_COOL, linewidth=1, linestyle=":",
              label="coolest")  # fmt: skip
    marks = {
        "willow_a": [(3, 60), (12, 66), (30, 60)],
        "willow_b": [(5, 60), (6, 64)],
        "willow_c": [(10, 62), (20, 58)],
        "frozen": [(102, 0)],
    }[case.key]
    axis.plot(*zip(*marks, strict=True), "D", color="black", markersize=4, label="published")
    axis.set_title(case.title, fontsize=9)
    axis.legend(fontsize=7, frameon=False, loc="upper right", ncols=2)


#: how the published piles were aired
_IN_WORDS = {"NA": "left alone", "PA": "passive pipes", "FA": "blown"}


def _ways(axis: Any, case: Case, facts: Mapping[str, Facts]) -> None:
    styles = [("-", _INK), ("--", _COOL), (":", _HEAT)]
    for (name, one), (line, colour) in zip(facts.items(), styles, strict=True):
        axis.plot(*_thin(one, one.curves["mean_c"]), line, color=colour, linewidth=1.5,
                  label=_IN_WORDS.get(name, name))  # fmt: skip
    first = next(iter(facts.values()))
    days, air = _thin(first, first.curves["air_c"])
    axis.fill_between(days, np.minimum(air, 0), air, color=_PALE, alpha=0.35, linewidth=0)
    axis.set_title(f"{case.title}, mean", fontsize=9)
    axis.legend(fontsize=7, frameon=False, loc="upper right", ncols=2)
