"""The inspector's sheet of one heap as a self-contained page: every line names its entries.

Units: text. Conventions: printed in grey on A4; nothing is loaded from elsewhere; ids are shortened
as far as they stay unlike all others of the trial.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["InspectorSheet", "SheetRow", "inspector_html"]


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One line: cells; by : initials or name, "" if unknown; ids : of the entries it stands on."""

    cells: Sequence[str]
    by: str = ""
    ids: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class InspectorSheet:
    """Everything on the sheet.

    rules : (name and edition, what it says of the heap); facts : (what, as known); inputs; done :
    events and samples (when, what); spots, rounds : temperatures by round and spot; unit : of
    them; caveats; printed : day.
    """

    trial: str
    invented: bool
    fingerprint: str
    heap: str
    rules: Sequence[tuple[str, str]]
    facts: Sequence[tuple[str, str]]
    inputs: Sequence[str]
    done: Sequence[SheetRow]
    spots: Sequence[str]
    rounds: Sequence[SheetRow]
    unit: str
    caveats: Sequence[str]
    printed: str


def inspector_html(sheet: InspectorSheet) -> str:
    """The sheet as one HTML page.

    >>> page = inspector_html(InspectorSheet("Ferncombe", True, "abcd-efgh", "A", [], [], [], [],
    ...     ["core"], [SheetRow(["1 May", "60"], "Ada", ["r1"])], "C", [], "2 May"))
    >>> "Ada" in page and "http" not in page
    True
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("heapwright.reports", "templates"), autoescape=True,
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("inspector.html").render(
        sheet=sheet, landscape=len(sheet.spots) > 6
    )
