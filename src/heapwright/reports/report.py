"""One self-contained page from a `ReportModel`: words, figures, tables, how we know.

Conventions: the page loads nothing; names are shown as text, never as markup; the same model
gives the same page.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import resources
from typing import Literal

from heapwright.reports.bars import bars_figure, intervals_figure, values_figure
from heapwright.reports.figures import curves_figure
from heapwright.reports.model import OutcomeBlock, ReportModel
from heapwright.reports.overtime import over_time_figure

__all__ = ["render_report"]


@dataclass(frozen=True, slots=True)
class _Pair:
    """The same figure for a wide and a narrow page."""

    wide: str
    narrow: str


def render_report(model: ReportModel) -> str:
    """The report as one HTML page.

    Parameters
    ----------
    model : ReportModel
        Everything that stands in it.

    Returns
    -------
    str
        A whole HTML document that needs no other file.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("heapwright.reports"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["svg"] = Markup
    css = resources.files("heapwright.reports").joinpath("templates/report.css")
    return environment.get_template("report.html").render(
        m=model,
        css=Markup(css.read_text(encoding="utf-8")),
        by_age=_curves(model, "age"),
        by_date=_curves(model, "date"),
        ranges={o.key: _ranges(o, i) for i, o in enumerate(model.outcomes)},
        values={o.key: _values(o, i, model) for i, o in enumerate(model.outcomes)},
        bars=_bars(model),
        over_time=_over_time(model),
    )


def _curves(model: ReportModel, by: Literal["age", "date"]) -> _Pair | None:
    if model.curves is None:
        return None
    return _Pair(
        curves_figure(model.curves, by=by, prefix=f"{by}-wide"),
        curves_figure(model.curves, by=by, prefix=f"{by}-narrow", wide=False),
    )


def _ranges(block: OutcomeBlock, number: int) -> _Pair | None:
    if block.intervals is None:
        return None
    return _Pair(
        intervals_figure(block.intervals, prefix=f"range{number}-wide"),
        intervals_figure(block.intervals, prefix=f"range{number}-narrow", wide=False),
    )


def _values(block: OutcomeBlock, number: int, model: ReportModel) -> _Pair | None:
    if block.values is None:
        return None
    control = model.control
    return _Pair(
        values_figure(block.values, control=control, prefix=f"value{number}-wide"),
        values_figure(block.values, control=control, prefix=f"value{number}-narrow", wide=False),
    )


def _over_time(model: ReportModel) -> _Pair | None:
    if not model.over_time:
        return None
    return _Pair(
        over_time_figure(model.over_time, prefix="over-wide"),
        over_time_figure(model.over_time, prefix="over-narrow", wide=False),
    )


def _bars(model: ReportModel) -> _Pair | None:
    if not model.bars:
        return None
    ways = [w.name for w in model.ways]
    control = model.control
    return _Pair(
        bars_figure(model.bars, ways=ways, control=control, prefix="bars-wide"),
        bars_figure(model.bars, ways=ways, control=control, prefix="bars-narrow", wide=False),
    )
