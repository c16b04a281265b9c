"""Finish: the way in to hygiene, tests of finish, balances, microscope, pictures and use."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response

from heapwright.services.finishing import finish_parts
from heapwright.services.yard import pick_trial
from heapwright.web.exact import exact
from heapwright.web.site import reader, show
from heapwright.web.today import trial_of

__all__ = ["ROOMS", "router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
#: path, name and what is asked there
ROOMS: tuple[tuple[str, str, str], ...] = ()


@router.get("/finish", response_class=HTMLResponse)
def finish_page(to: reader, trial: Wanted = None) -> HTMLResponse:
    """What a trial says of its end so far, and where to enter more."""
    name = trial_of(to, trial)
    if name is None:
        return show(to, "finish.html", name=None, parts=(), rooms=ROOMS)
    with to.site.open() as book:
        parts = finish_parts(book, name, now=to.now)
    return show(to, "finish.html", name=name, parts=parts, rooms=ROOMS)


@router.get("/api/finish")
def finish_data(to: reader, trial: Wanted = None) -> Response:
    """The same as JSON."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        return exact([p.to_json() for p in finish_parts(book, name, now=to.now)])
