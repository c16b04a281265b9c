"""Sheets for the yard as self-contained HTML: the dealer's sheet and the sealed lots.

Conventions: printed in grey on A4; nothing is loaded from elsewhere; the dealer's sheet never
shows a way. Scores are per cent of leaf, as they are written by hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["DealRow", "DealSheet", "LotsSheet", "deal_sheet_html", "lots_sheet_html"]


@dataclass(frozen=True, slots=True)
class DealRow:
    """One load: its number, its score [%] or None, its heap or None, that heap's sum after it."""

    load: int
    score: float | None = None
    heap: str | None = None
    total: float | None = None
    last_of_batch: bool = False


@dataclass(frozen=True, slots=True)
class DealSheet:
    """Everything on the dealer's sheet; ``steps`` is the rule to follow by hand, in order."""

    trial: str
    invented: bool
    fingerprint: str
    heaps: Sequence[str]
    rows: Sequence[DealRow]
    steps: Sequence[str]
    balance: Sequence[str]
    site: Sequence[str]
    questions: Sequence[str]
    safety: Sequence[str]
    printed: str


@dataclass(frozen=True, slots=True)
class LotsSheet:
    """Everything on the sealed sheet: which heap gets which way, the seed, and what was fixed."""

    trial: str
    invented: bool
    fingerprint: str
    seed: int
    lots: Mapping[str, str]
    details: Mapping[str, str]
    notes: Sequence[str]
    printed: str


def deal_sheet_html(sheet: DealSheet) -> str:
    """The dealer's sheet as one HTML page.

    Examples
    --------
    >>> page = deal_sheet_html(DealSheet("Ferncombe", True, "abcd-efgh", ["A", "B"],
    ...     [DealRow(1), DealRow(2, last_of_batch=True)], ["Score it."], [], [], [], [], "1 May"))
    >>> "Ferncombe" in page and "http" not in page
    True
    """
    return _render("deal.html", {"sheet": sheet, "landscape": len(sheet.heaps) > 7})


def lots_sheet_html(sheet: LotsSheet) -> str:
    """The sealed sheet of lots as one HTML page."""
    return _render("lots.html", {"sheet": sheet})


def _render(name: str, values: Mapping[str, Any]) -> str:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("heapwright.reports", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name).render(**values)
