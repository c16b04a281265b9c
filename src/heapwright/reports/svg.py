"""From a drawn figure to SVG text that can stand inside a page beside other figures.

Units: pixels. Conventions: no document type, metadata, style sheet or address; every id carries
the prefix of its figure; text is text; the same figure gives the same characters.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape
from io import StringIO
from typing import Any

from heapwright.reports.style import drawing

__all__ = ["Canvas", "to_svg"]

_FAMILY = re.compile(r"font-family: [^;\"]*")
_OWN_FONT = "font-family: system-ui, -apple-system, 'Segoe UI', Roboto, sans-serif"


@dataclass(frozen=True, slots=True)
class Canvas:
    """A figure measured in pixels from its top left corner."""

    figure: Any
    width: float
    height: float

    @classmethod
    def of(cls, width: float, height: float) -> Canvas:
        """An empty figure of that size [px]."""
        from matplotlib.figure import Figure

        return cls(Figure(figsize=(width / 72, height / 72), dpi=72), width, height)

    def axes(self, left: float, top: float, width: float, height: float) -> Any:
        """Axes whose upper left corner lies at (left, top) [px]."""
        box = (
            left / self.width, 1 - (top + height) / self.height,
            width / self.width, height / self.height,
        )  # fmt: skip
        return self.figure.add_axes(box)

    def text(self, x: float, y: float, text: str, **how: Any) -> None:
        """Text with its base line at (x, y) [px]."""
        self.figure.text(x / self.width, 1 - y / self.height, text, **how)


def to_svg(figure: Any, prefix: str, *, title: str, desc: str, links: bool = False) -> str:
    """A matplotlib figure as an ``<svg>`` element.

    Parameters
    ----------
    figure : Figure
        Drawn inside `style.drawing`.
    prefix : str
        Put before every id; unique within the page.
    title, desc : str
        What a reader who cannot see the figure is told.
    links : bool
        True keeps the group readable for its links into the page.

    Returns
    -------
    str
        Starts with ``<svg`` and loads nothing.
    """
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    buffer = StringIO()
    with drawing(prefix):
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None})
    text = buffer.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>\s*", "", text, flags=re.DOTALL)
    text = re.sub(r"<defs>\s*<style.*?</style>\s*</defs>\s*", "", text, count=1, flags=re.DOTALL)
    text = _FAMILY.sub(_OWN_FONT, text)
    text = _prefixed(text, prefix)
    text = text.replace(' target="_blank"', ' tabindex="-1" aria-label="to its row in the table"')
    box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text)
    assert box is not None
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {box[1]} {box[2]}" '
        f'role="{"group" if links else "img"}" aria-labelledby="{prefix}-title {prefix}-desc" '
        'stroke-linejoin="round">\n'
        f'<title id="{prefix}-title">{escape(title)}</title>\n'
        f'<desc id="{prefix}-desc">{escape(desc)}</desc>\n'
    )
    return head + re.sub(r"^<svg[^>]*>\s*", "", text).rstrip() + "\n"


def _prefixed(text: str, prefix: str) -> str:
    """Ids and references to them with *prefix*; links into the page stay as they are."""
    ids = set(re.findall(r'\bid="([^"]+)"', text))
    text = re.sub(r'\bid="([^"]+)"', lambda m: f'id="{prefix}-{m[1]}"', text)

    def reference(found: re.Match[str]) -> str:
        name = found["name"]
        return found[0].replace(f"#{name}", f"#{prefix}-{name}") if name in ids else found[0]

    text = re.sub(r'xlink:href="#(?P<name>[^"]+)"', reference, text)
    text = re.sub(r"url\(#(?P<name>[^)]+)\)", reference, text)
    return text.replace("xlink:href=", "href=")
