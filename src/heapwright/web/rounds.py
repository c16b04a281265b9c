"""The round: a page that works without a network, and where phones send what was read."""

from __future__ import annotations

from importlib import resources
from typing import Annotated, Any

from fastapi import APIRouter, Body, Query
from fastapi.responses import HTMLResponse, Response

from heapwright.errors import InputError
from heapwright.services.fieldlog import SMELLS, SQUEEZES, take
from heapwright.services.fieldround import round_page
from heapwright.web.pagewords import all_on_page
from heapwright.web.roundwords import round_words
from heapwright.web.site import helper, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Trial = Annotated[str | None, Query(max_length=80)]


@router.get("/round", response_class=HTMLResponse)
def page(to: helper, trial: Trial = None) -> HTMLResponse:
    """The round page of a trial; without heaps, the step that makes some."""
    name = trial_of(to, trial)
    walk = None
    if name is not None:
        with to.site.open() as book:
            walk = round_page(book, name, now=to.now)
    words = round_words(to.site.words)
    return show(to, "round.html", walk=walk, words=words, squeezes=SQUEEZES, smells=SMELLS)


@router.get("/api/round")
def round_data(to: reader, trial: Trial = None) -> dict[str, Any]:
    """What the round page knows: heaps, spots, last readings, probes."""
    with to.site.open() as book:
        return round_page(book, trial_of(to, trial), now=to.now)


@router.post("/api/field")
def field(to: helper, body: Annotated[dict[str, Any], Body()]) -> dict[str, Any]:
    """Take entries from a phone; one answer for each, see `heapwright.services.fieldlog.take`."""
    entries, trial = body.get("entries"), body.get("trial")
    if not isinstance(entries, list):
        raise InputError("a list was expected", field="entries", way_out="Send entries: [...]")
    if trial is not None and (not isinstance(trial, str) or len(trial) > 80):
        raise InputError("a name was expected", field="trial", value=str(trial)[:80])
    with to.site.open() as book:
        found = take(book, trial_of(to, trial), entries, now=to.now)
    return {"answers": [all_on_page(a.as_dict()) for a in found]}


@router.get("/worker.js")
def worker() -> Response:
    """The service worker: it lies at the top so that it may open the round page."""
    text = resources.files("heapwright.web").joinpath("static/worker.js").read_text("utf-8")
    return Response(text, media_type="text/javascript")
