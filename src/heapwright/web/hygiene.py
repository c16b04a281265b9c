"""Hygiene: heat over time against published rules, what it means for seeds, a sheet to print."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response

from heapwright.errors import InputError, NotEnoughError
from heapwright.reports.inspector import inspector_html
from heapwright.science.hygiene import KINDS, rules
from heapwright.services.hygiene import READ_AS, hygiene_part
from heapwright.services.hygienesheet import sheet_of
from heapwright.services.record import load_record
from heapwright.services.yard import pick_trial
from heapwright.web.exact import exact
from heapwright.web.plan import named, none_yet
from heapwright.web.site import reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
Key = Annotated[str, Query(max_length=40)]
ReadAs = Annotated[str, Query(max_length=40, alias="as")]


@router.get("/finish/hygiene", response_class=HTMLResponse)
def hygiene_page(
    to: reader, trial: Wanted = None, heap: Wanted = None, rule: Key = "", read_as: ReadAs = ""
) -> HTMLResponse:
    """Heaps against one rule or all; what a plan cannot say of a heap is said for one answer."""
    name = trial_of(to, trial)
    if name is None:
        return show(to, "hygiene.html", name=None)
    wrong = ""
    with to.site.open() as book:
        try:
            record = load_record(book, name)
        except NotEnoughError as error:
            return none_yet(to, error)
        try:
            part = hygiene_part(book, name, now=to.now, heap=heap or None, rule=rule or None,
                                read_as=read_as or None)  # fmt: skip
        except InputError as error:
            if error.field != "as":
                raise
            wrong = f"{error.what}. {error.way_out}"
            part = hygiene_part(book, name, now=to.now, heap=heap or None, rule=rule or None)
    return show(
        to, "hygiene.html", status=422 if wrong else 200, name=name, part_=part, heap=heap or "",
        heaps=list(record.heaps), rule=rule, rules=rules().values(), read_as=read_as, wrong=wrong,
        kinds=[(k, KINDS[k], READ_AS[k]) for k in READ_AS], planned=record.plan.trial.hygiene,
    )  # fmt: skip


@router.get("/finish/hygiene/sheet", response_class=HTMLResponse)
def hygiene_sheet(
    to: reader, trial: Wanted = None, heap: Wanted = None, rule: Key = "", read_as: ReadAs = ""
) -> HTMLResponse:
    """The inspector's sheet of a heap (the first where none is named), to print."""
    try:
        name = named(to, trial)
        with to.site.open() as book:
            chosen = heap or next(iter(load_record(book, name).heaps))
            sheet = sheet_of(book, name, chosen, now=to.now, rule=rule or None,
                             read_as=read_as or None)  # fmt: skip
    except NotEnoughError as error:
        return none_yet(to, error)
    return HTMLResponse(inspector_html(sheet))


@router.get("/api/hygiene")
def hygiene_data(
    to: reader, trial: Wanted = None, heap: Wanted = None, rule: Key = "", read_as: ReadAs = ""
) -> Response:
    """The same as ``heapwright hygiene --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        part = hygiene_part(book, name, now=to.now, heap=heap or None, rule=rule or None,
                            read_as=read_as or None)  # fmt: skip
    return exact(part.to_json())
