"""Today: what is due, with reason, minutes and what skipping costs; "I did it"."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.errors import NotEnoughError, UnknownNameError
from heapwright.services.calendar import due_today, today_json
from heapwright.services.doings import log_event
from heapwright.services.yard import pick_trial
from heapwright.web.pagewords import on_page
from heapwright.web.site import Access, helper, reader, show

__all__ = ["router", "trial_of"]

router = APIRouter()
#: what is logged when a piece of work was done
_DOES = {"turn": "turned", "open pipes": "vent opened", "pull pipes": "vent pulled",
         "water check": "watered"}  # fmt: skip


def trial_of(to: Access, wanted: str | None) -> str | None:
    """The trial that is looked at: *wanted*, else the newest of the book; None without any."""
    with to.site.open() as book:
        known = book.trials()
        if wanted:
            return pick_trial(book, wanted)
    return known[-1] if known else None


@router.get("/", response_class=HTMLResponse)
def today(to: reader, trial: Annotated[str | None, Query(max_length=80)] = None) -> Response:
    """What is due now in a trial; the four questions where there is none yet."""
    name = trial_of(to, trial)
    if name is None:
        return RedirectResponse("/start", 303)
    try:
        about, answer = due_today(name, book=to.site.book, now=to.now)
    except NotEnoughError as error:
        return show(
            to, "today.html", name=name, answer=None, why=on_page(error.message), does=_DOES,
            invented=False,
        )  # fmt: skip
    return show(
        to, "today.html", name=about.name, answer=answer, why="", does=_DOES,
        invented=about.invented,
    )  # fmt: skip


@router.get("/api/today")
def today_data(
    to: reader, trial: Annotated[str | None, Query(max_length=80)] = None
) -> dict[str, Any]:
    """The same numbers as ``heapwright today --json``."""
    about, answer = due_today(trial_of(to, trial), book=to.site.book, now=to.now)
    return today_json(about, answer)


@router.post("/did")
def did(
    to: helper,
    trial: Annotated[str, Form(max_length=80)],
    what: Annotated[str, Form(max_length=40)],
    heaps: Annotated[list[str], Form(max_length=60)],
    when: Annotated[str, Form(max_length=60)] = "",
    minutes: Annotated[str, Form(max_length=20)] = "",
    litres: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Work was done, perhaps "about Tuesday"."""
    if not heaps:
        raise UnknownNameError("say which heap", field="heap", way_out="Tick one")
    with to.site.open() as book:
        log_event(
            book, trial, heaps, what, now=to.now, when=when.strip() or None,
            minutes=minutes.strip() or None, litres=litres.strip() or None, source="page",
        )  # fmt: skip
    return RedirectResponse("/", 303)
