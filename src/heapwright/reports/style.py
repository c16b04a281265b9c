"""Colours, line styles and sizes of every figure, and the look of the page they stand on.

Units: figures are drawn in CSS pixels (1 pixel = 1/72 inch of matplotlib).
Conventions: one hue a way from the set of Okabe and Ito; heaps of a way differ by line style,
marker and letter, so that nothing rests on colour alone.
Source of the hues: Okabe and Ito 2008, Color Universal Design (from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

__all__ = [
    "FAINT", "GRID", "INK", "LINES", "MARKERS", "NARROW_PX", "PAPER", "SOFT", "WIDE_PX",
    "drawing", "fitted", "hues",
]  # fmt: skip

PAPER, INK, SOFT, FAINT, GRID = "#fdfbf5", "#221c15", "#554c41", "#8d8478", "#ddd6c8"
WIDE_PX, NARROW_PX = 760, 336
#: The control is drawn in black; the others take these in turn. Yellow is left out: it vanishes
#: on paper.
_CONTROL = "#000000"
_HUES = ("#D55E00", "#0072B2", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
#: Line style and marker of the first, second ... heap of a way.
LINES: tuple[str | tuple[float, tuple[float, ...]], ...] = (
    "-", (0, (5, 2)), (0, (1.2, 1.6)), (0, (6, 2, 1.2, 2)), (0, (9, 3)), (0, (3, 1, 1, 1, 1, 1)),
)  # fmt: skip
MARKERS = ("o", "s", "^", "D", "v", "P")


def hues(ways: Sequence[str], control: str | None) -> dict[str, str]:
    """The hue of each way; the control is black.

    >>> hues(["turned", "left alone"], "left alone")
    {'turned': '#D55E00', 'left alone': '#000000'}
    """
    others = [way for way in ways if way != control]
    found = {way: _HUES[i % len(_HUES)] for i, way in enumerate(others)}
    return {way: found.get(way, _CONTROL) for way in ways}


def fitted(text: str, room_px: float, size: float, *, bold: bool = False) -> str:
    """*text*, cut with an ellipsis where it would be wider than *room_px* at that font size.

    >>> fitted("left alone", 200, 12), fitted("left alone under a fleece", 60, 12)
    ('left alone', 'left al…')
    """
    most = max(int(room_px / (size * (0.66 if bold else 0.62))), 2)
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


@contextmanager
def drawing(salt: str) -> Iterator[None]:
    """matplotlib as figures need it: text stays text, names are never read as formulas.

    salt : makes ids repeatable, and different from figure to figure.
    """
    import matplotlib as mpl

    settings = {
        "svg.fonttype": "none", "svg.hashsalt": salt, "text.parse_math": False,
        "font.family": "DejaVu Sans", "font.size": 12, "text.color": INK,
        "figure.facecolor": PAPER, "axes.facecolor": "none", "axes.edgecolor": FAINT,
        "axes.linewidth": 0.8, "axes.labelcolor": INK, "xtick.color": SOFT, "ytick.color": SOFT,
        "xtick.labelcolor": INK, "ytick.labelcolor": INK, "axes.unicode_minus": True,
        "axes.spines.right": False, "axes.spines.top": False, "path.simplify": True,
        "lines.solid_capstyle": "round",
    }  # fmt: skip
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(settings)
        yield
