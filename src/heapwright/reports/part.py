"""An answer as command, page and report show it alike: words first, then tables, then sources.

Units: text, rounded by whoever made it. Conventions: the first sentence answers the question; every
source names its edition; cautions are said where the work meets them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Grid", "Part"]


@dataclass(frozen=True, slots=True)
class Grid:
    """A table: title, header, rows of text; note : what stands below it."""

    title: str
    head: Sequence[str]
    rows: Sequence[Sequence[str]]
    note: str = ""

    def to_json(self) -> dict[str, Any]:
        """All of it as plain values."""
        return {"title": self.title, "head": list(self.head), "rows": [list(r) for r in self.rows],
                "note": self.note}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Part:
    """An answer: title : the question; words : sentences, first the one that answers; grids;
    picture : SVG elements, "" for none; known : what it stands on; sources : with edition and
    year; cautions : only those that apply; numbers : plain values for machines."""

    title: str
    words: Sequence[str]
    grids: Sequence[Grid] = ()
    picture: str = ""
    known: Sequence[str] = ()
    sources: Sequence[str] = ()
    cautions: Sequence[str] = ()
    numbers: Mapping[str, Any] = field(default_factory=dict, hash=False)

    def to_json(self) -> dict[str, Any]:
        """All of it but the picture, as plain values."""
        return {
            "title": self.title, "words": list(self.words),
            "grids": [g.to_json() for g in self.grids], "known": list(self.known),
            "sources": list(self.sources), "cautions": list(self.cautions),
            "numbers": dict(self.numbers),
        }  # fmt: skip
