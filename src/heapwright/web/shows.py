"""What the trial shows: the findings in short, the report in full, the kit to do the sums again."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response

from heapwright.errors import NotEnoughError
from heapwright.reports.report import render_report
from heapwright.services.findings import find
from heapwright.services.report import build_report, file_name
from heapwright.services.taking import kit_zip
from heapwright.services.trialview import DRAWING
from heapwright.services.yard import pick_trial
from heapwright.web.exact import exact
from heapwright.web.site import Access, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
#: the script of a report that stands alone; pages may not hold scripts, so it is loaded instead
_INLINE = re.compile(r"<script>.*?</script>", re.DOTALL)
_LOADED = '<script src="/static/charts.js"></script>'
_ICON = '<link rel="icon" href="/static/mark.svg" type="image/svg+xml">'


@router.get("/shows", response_class=HTMLResponse)
def shows_page(to: reader, trial: Wanted = None) -> HTMLResponse:
    """The findings in short; one look."""
    name = trial_of(to, trial)
    if name is None:
        return show(to, "shows.html", m=None, why="", found=None)
    try:
        with to.site.open() as book:
            found, model = build_report(book, name, now=to.now, finish=False)
    except NotEnoughError as error:
        return show(to, "shows.html", m=None, why=error.message, found=None)
    return show(to, "shows.html", m=model, why="", found=found)


@router.get("/api/findings")
def findings_data(to: reader, trial: Wanted = None) -> Response:
    """The same numbers as ``heapwright findings --json``; one look."""
    with to.site.open() as book:
        return exact(find(book, _name(to, trial), now=to.now).to_json())


@router.get("/shows/report", response_class=HTMLResponse)
def report_page(to: reader, trial: Wanted = None) -> HTMLResponse:
    """The report of a trial as it is written to a file; one look."""
    with to.site.open() as book:
        _, model = build_report(book, _name(to, trial), now=to.now)
    with DRAWING:
        made = render_report(model)
    return HTMLResponse(_INLINE.sub(_LOADED, made).replace("</head>", f"{_ICON}</head>", 1))


@router.get("/shows/report/file")
def report_file(to: reader, trial: Wanted = None) -> Response:
    """The report as one file that needs nothing else; one look."""
    name = _name(to, trial)
    with to.site.open() as book:
        _, model = build_report(book, name, now=to.now)
    with DRAWING:
        made = render_report(model)
    return _file(made, "text/html; charset=utf-8", file_name(name))


@router.get("/shows/kit.zip")
def kit(to: reader, trial: Wanted = None) -> Response:
    """Data and script to do the sums again, in one zip file; one look."""
    name = _name(to, trial)
    with to.site.open() as book:
        made = kit_zip(book, name, now=to.now)
    return _file(made, "application/zip", file_name(name).replace("-report.html", "-kit.zip"))


def _name(to: Access, trial: str | None) -> str:
    found = trial_of(to, trial)
    if found is None:
        with to.site.open() as book:
            return pick_trial(book, None)
    return found


def _file(content: str | bytes, kind: str, name: str) -> Response:
    from urllib.parse import quote

    said = {"Content-Disposition": f"attachment; filename*=UTF-8''{quote(name)}"}
    return Response(content, media_type=kind, headers=said)
