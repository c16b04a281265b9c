"""Balances: what came out of the heaps of a trial, by every method, with minutes and money."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response

from heapwright.errors import InputError
from heapwright.services.balancewords import balance_part
from heapwright.services.record import load_record
from heapwright.services.yard import pick_trial
from heapwright.web.exact import exact
from heapwright.web.site import reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
Wage = Annotated[str, Query(max_length=30)]


@router.get("/finish/balance", response_class=HTMLResponse)
def balance_page(
    to: reader, trial: Wanted = None, heap: Wanted = None, per_hour: Wage = ""
) -> HTMLResponse:
    """What came out of all heaps, or of one; a wage is used for this answer and kept nowhere."""
    name = trial_of(to, trial)
    if name is None:
        return show(to, "balance.html", name=None)
    wrong = ""
    with to.site.open() as book:
        heaps = list(load_record(book, name).heaps)
        try:
            part = balance_part(book, name, now=to.now, heap=heap or None, per_hour=per_hour)
        except InputError as error:
            if error.field != "per_hour":
                raise
            wrong = error.what
            part = balance_part(book, name, now=to.now, heap=heap or None)
    return show(
        to, "balance.html", name=name, part_=part, heaps=heaps, heap=heap or "",
        per_hour=per_hour, wrong=wrong,
    )  # fmt: skip


@router.get("/api/balance")
def balance_data(
    to: reader, trial: Wanted = None, heap: Wanted = None, per_hour: Wage = ""
) -> Response:
    """The same as ``heapwright balance --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        part = balance_part(book, name, now=to.now, heap=heap or None, per_hour=per_hour or None)
    return exact(part.to_json())
