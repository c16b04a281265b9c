"""Sections through a heap: what is hatched, what rings say, the same twice."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from heapwright.reports.air_section import air_section
from heapwright.reports.cut import Ring, Scale, cut, height_px
from heapwright.reports.inside_section import inside_section
from heapwright.reports.pictures import Picture
from heapwright.reports.style import INK, NARROW_PX, drawing
from heapwright.reports.svg import Canvas

Z, Y, X = (np.arange(5) * 0.2 + 0.1, np.arange(8) * 0.2 - 0.7, np.arange(8) * 0.2 - 0.7)
CORE = Ring("core", (0.0, 0.0, 0.5), True, "52")
SIDE = Ring("side", (0.3, -0.6, 0.3), False)


def heap(value: float = 50.0) -> np.ndarray:
    """A mound of one value in a box of nothing."""
    z, y, x = np.meshgrid(Z, Y, X, indexing="ij")
    return np.where(np.hypot(x, y) < 0.85 - 0.8 * z, value, np.nan).astype(np.float32)


def texts(made: Picture) -> list[str]:
    root = ElementTree.fromstring(made.svg)
    return [t.strip() for t in root.itertext() if t.strip()]


def test_rings_say_what_was_read_or_their_names() -> None:
    made = inside_section(heap(), heap(0.5), (Z, Y, X), title="Heap A", rings=(CORE, SIDE),
                          wet_rings=(SIDE,), note="INVENTED.")  # fmt: skip
    said = texts(made)
    assert "52" in said
    assert "core" not in said
    assert said.count("(side)") == 2  # before the cut, in both panels
    assert "temperature, °C" in said
    assert any(t.startswith("INVENTED.") for t in said)
    assert "Probably 50 to 50 C" in made.svg
    again = inside_section(heap(), heap(0.5), (Z, Y, X), title="Heap A", rings=(CORE, SIDE),
                           wet_rings=(SIDE,), note="INVENTED.")  # fmt: skip
    assert again == made


@pytest.mark.parametrize("read", [True, False])
def test_what_was_measured_within_30_cm_is_not_hatched(read: bool) -> None:
    scale = Scale("invented", "heat", 0, 80, (0, 80))
    axes = (Z, Y, X)
    with drawing("test"):
        canvas = Canvas.of(NARROW_PX, height_px(axes) + 20)
        cut(canvas, 10, heap(), axes, scale, (Ring("core", (0.0, 0.0, 0.5), read),))
        (ax,) = canvas.figure.axes
        hatched = [c for c in ax.collections if getattr(c, "hatches", None) == ["///"]]
        (area,) = hatched
        paths = [p for p in area.get_paths() if p.vertices.size]

        def is_hatched(x: float, z: float) -> bool:
            turns = sum(
                1 for path in paths for part in path.to_polygons()
                if _inside(part, x, z)
            )  # fmt: skip
            return turns % 2 == 1

        assert is_hatched(0.5, 0.1)
        for x, z in ((0.0, 0.5), (0.2, 0.5), (0.0, 0.25), (-0.2, 0.4)):
            assert is_hatched(x, z) is not read, (x, z)


def _inside(polygon: np.ndarray, x: float, z: float) -> bool:
    from matplotlib.path import Path

    return bool(Path(polygon).contains_point((x, z)))


def test_the_air_section_turns_its_scale_so_that_dark_is_short() -> None:
    made = air_section([("day 4, now", heap(0.3))], (Z, Y, X), title="Heap A", rings=(SIDE,))
    assert "% chance of too little air" in texts(made)
    assert "highest chance 30 %" in made.svg
    assert INK.lower() in made.svg.lower()
    assert re.search(r"https?://(?!www\.w3\.org)", made.svg) is None
