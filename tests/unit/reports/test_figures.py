"""Figures: the same twice, every heap named, ids that do not clash, nothing loaded."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from heapwright.reports.bars import bars_figure, intervals_figure, values_figure
from heapwright.reports.figures import curves_figure, spread_labels
from heapwright.reports.model import (
    AirSeries,
    BarChart,
    BarItem,
    Curves,
    HeapCurve,
    IntervalRow,
    Intervals,
    Mark,
    Values,
)
from heapwright.reports.style import LINES, MARKERS, fitted, hues

START = datetime(2026, 4, 18, 10)
WAYS = ("turned", "vented", "left alone")


def _heap(name: str, way: str, *, level: float, built: datetime = START) -> HeapCurve:
    when = tuple(built + timedelta(days=d) for d in range(1, 60, 3))
    mean = tuple(level + 30 * math.exp(-i / 8) for i in range(len(when)))
    return HeapCurve(
        name, way, built, when, mean,
        rows=tuple(f"round-{i + 1}" for i in range(len(when))),
        spots={"core": (when, tuple(t + 2 for t in mean))},
        marks=(Mark("watered", built + timedelta(days=7), built + timedelta(days=7)),),
    )  # fmt: skip


def _curves(**changes: object) -> Curves:
    heaps = tuple(_heap(name, WAYS[i // 2], level=20 + i) for i, name in enumerate("ABCDEF"))
    air = AirSeries(heaps[0].when, tuple(10.0 for _ in heaps[0].when))
    made = Curves(heaps, WAYS, "left alone", air, (5.0, 55.0))
    return replace(made, **changes)  # type: ignore[arg-type]


def _texts(svg: str) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]*)</text>", svg)


@pytest.mark.parametrize("wide", [True, False])
@pytest.mark.parametrize("by", ["age", "date"])
def test_curves_are_the_same_twice_and_name_every_heap_and_way(by: str, wide: bool) -> None:
    first = curves_figure(_curves(), by=by, prefix="x", wide=wide)  # type: ignore[arg-type]
    assert first == curves_figure(_curves(), by=by, prefix="x", wide=wide)  # type: ignore[arg-type]
    texts = _texts(first)
    assert set("ABCDEF") <= set(texts)
    assert {"turned (A, B)", "vented (C, D)", "left alone (E, F)"} <= set(texts)
    assert {"air", "watered", "°C", "day", "date"} <= set(texts)
    ElementTree.fromstring(first)


@pytest.mark.parametrize("by", ["age", "date"])
def test_words_left_of_the_axes_are_not_cut_off(by: str) -> None:
    heaps = tuple(replace(h, marks=()) for h in _curves().heaps)  # no wide words to make room for
    svg = curves_figure(_curves(heaps=heaps), by=by, prefix="x")  # type: ignore[arg-type]
    ends = re.findall(
        r'font-size: (\d+)px[^"]*text-anchor: end[^"]*" x="([\d.]+)"[^>]*>([^<]+)</text>', svg
    )
    assert "date" in {word for _, _, word in ends}
    for size, x, word in ends:
        assert float(x) >= len(word) * int(size) * 0.55, word


def test_curves_load_nothing_and_link_only_into_the_page() -> None:
    svg = curves_figure(_curves(), by="age", prefix="x")
    targets = re.findall(r'href="([^"]*)"', svg) + re.findall(r"url\(([^)]*)\)", svg)
    assert targets
    assert all(t.startswith("#") for t in targets)
    assert 'href="#round-1"' in svg
    assert "<style" not in svg
    assert "metadata" not in svg


def test_every_reference_of_a_figure_finds_its_id() -> None:
    svg = curves_figure(_curves(), by="age", prefix="x")
    ids = re.findall(r'\bid="([^"]+)"', svg)
    assert len(ids) == len(set(ids))
    assert all(i.startswith("x-") for i in ids)
    used = re.findall(r'<use href="#([^"]+)"', svg) + re.findall(r"url\(#([^)]+)\)", svg)
    assert set(used) <= set(ids)


def test_ids_of_two_figures_never_clash() -> None:
    one = set(re.findall(r'\bid="([^"]+)"', curves_figure(_curves(), by="age", prefix="a")))
    two = set(re.findall(r'\bid="([^"]+)"', curves_figure(_curves(), by="age", prefix="b")))
    assert not one & two


def test_names_are_text_never_markup_or_formulas() -> None:
    heap = _heap("<b>&$x^2$", "a $\\frac{1}{2}$ <i>", level=20)
    svg = curves_figure(
        _curves(heaps=(heap,), ways=(heap.way,), control=None), by="age", prefix="x"
    )
    ElementTree.fromstring(svg)
    assert "<b>" not in svg
    assert "a $\\frac{1}{2}$ &lt;i&gt; (&lt;" in svg


def test_heaps_of_a_way_differ_by_line_and_marker_and_ways_by_hue() -> None:
    assert len(set(map(str, LINES))) == len(LINES)
    assert len(set(MARKERS)) == len(MARKERS)
    found = hues(WAYS, "left alone")
    assert len(set(found.values())) == 3
    assert found["left alone"] == "#000000"


def test_heaps_built_on_different_days_have_no_second_axis() -> None:
    heaps = (
        _heap("A", "turned", level=20),
        _heap("B", "turned", level=22, built=START + timedelta(9)),
    )
    svg = curves_figure(_curves(heaps=heaps, ways=("turned",), control=None), by="age", prefix="x")
    assert "date" not in _texts(svg)
    assert "day" in _texts(svg)


def test_a_way_of_many_heaps_and_a_single_reading_can_be_drawn() -> None:
    heaps = tuple(_heap(f"H{i}", "turned", level=20 + i) for i in range(8))
    short = replace(
        heaps[0], name="S", when=heaps[0].when[:1], mean=heaps[0].mean[:1], rows=(), spots={}
    )
    for set_of in (heaps, (short,)):
        svg = curves_figure(_curves(heaps=set_of, air=None, window_d=None), by="date", prefix="x")
        assert {h.name for h in set_of} <= set(_texts(svg))


def test_labels_are_pushed_apart_and_stay_inside() -> None:
    placed = spread_labels([0, 0, 1, 40], 4, 0, 40)
    ordered = sorted(placed)
    assert all(b - a >= 4 - 1e-9 for a, b in pairwise(ordered))
    assert min(placed) >= 0
    assert max(placed) <= 40


def test_long_names_are_cut_where_they_would_run_into_the_next_panel() -> None:
    way = "turned by hand on the first dry Sunday of every month"
    heaps = (_heap("A", way, level=20), _heap("B", "left alone", level=20))
    svg = curves_figure(_curves(heaps=heaps, ways=(way, "left alone", "x")), by="age", prefix="x")
    assert all(len(t) < len(way) for t in _texts(svg))
    assert way in svg  # in the description
    assert fitted("short", 500, 12) == "short"


def test_ranges_show_number_band_and_the_other_analyses() -> None:
    row = IntervalRow("turned", 5.0, -4.0, 14.0, "5 (-4 to 14 degrees)", (("a", 5.0, -2.0, 12.0),))
    ranges = Intervals((row,), "degrees", "left alone", "cooler", "warmer", 8.0)
    for wide in (True, False):
        texts = _texts(intervals_figure(ranges, prefix="r", wide=wide))
        assert {"turned", "5 (-4 to 14 degrees)", "a", "← cooler", "warmer →"} <= set(texts)
        assert any("shaded band" in t for t in texts)
    bare = _texts(intervals_figure(replace(ranges, matters=None), prefix="r"))
    assert not any("shaded band" in t for t in bare)


def test_values_and_bars_carry_every_heap_and_number() -> None:
    values = Values(
        "minutes", "min", (("turned", (("A", 3.0), ("B", 3.0))), ("left", (("C", 9.0),)))
    )
    assert set("ABC") <= set(_texts(values_figure(values, control="left", prefix="v")))
    chart = BarChart(
        "Water given",
        (BarItem("A", "turned", 120.0, "120 L"), BarItem("B", "left", None, "not noted")),
    )
    for wide in (True, False):
        texts = _texts(
            bars_figure(
                [chart, chart], ways=["turned", "left"], control=None, prefix="b", wide=wide
            )
        )
        assert {"A", "B", "120 L", "not noted", "Water given"} <= set(texts)
