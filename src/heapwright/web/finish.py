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
ROOMS: tuple[tuple[str, str, str], ...] = (
    ("/finish/hygiene", "Hygiene", "Was it hot enough for long enough, and by which rule?"),
    ("/finish/tests", "Tests of finish", "Is it done, by warming, seedlings and laboratory?"),
    ("/finish/balance", "Balance", "How much came out, what went, and at what cost?"),
    ("/finish/microscope", "Microscope", "What cells and hyphae are there?"),
    ("/finish/pictures", "Pictures", "How do colour and coarseness change?"),
    ("/finish/use", "Use", "What may it be used for, how far does it go?"),
    ("/cautions", "Cautions", "What should be minded at the work, and who says so?"),
)


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
