"""Microscope: what was seen of each heap, fields to enter, and a picture to count on."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any
from urllib.parse import urlencode
from uuid import uuid4

from fastapi import APIRouter, Form, Query
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.services.microscope import microscope
from heapwright.services.slides import SLIDE_WORDS, last_slide, log_fields, read_slide
from heapwright.services.yard import pick_trial, yard_of
from heapwright.web.exact import exact
from heapwright.web.pagewords import on_page
from heapwright.web.site import Access, helper, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
Short = Annotated[str, Form(max_length=80)]
#: most letters of all fields together
_LETTERS = 40_000


def _form(to: Access, name: str, heap: str | None) -> dict[str, Any]:
    """What the form needs: heaps, the last slide, a fresh id."""
    with to.site.open() as book:
        heaps = yard_of(book, name).heaps
        before = last_slide(book, name)
    typed = {"heap": heap or "", "fields": "", "when": "", "note": "", **before}
    return {"heaps": heaps, "slide": SLIDE_WORDS, "typed": typed, "fresh": str(uuid4()),
            "wrong": ""}  # fmt: skip


def _page(to: Access, name: str, heap: str | None, **other: Any) -> HTMLResponse:
    part, why = None, ""
    try:
        with to.site.open() as book:
            part = microscope(book, name, now=to.now, heap=heap)
    except NotEnoughError as error:
        why = on_page(error.message)
    lead = part.words[0] if part else why
    if part is not None:
        part = replace(part, words=part.words[1:])
    form = {"kept": 0, **_form(to, name, heap), **other}
    return show(to, "microscope.html", name=name, heap=heap or "", part=part, lead=lead, **form)


@router.get("/finish/microscope", response_class=HTMLResponse)
def microscope_page(
    to: reader, trial: Wanted = None, heap: Wanted = None,
    kept: Annotated[int, Query(ge=0, le=1000)] = 0,
) -> HTMLResponse:  # fmt: skip
    """What the microscope shows of a trial, or of one heap; a form for more fields."""
    name = trial_of(to, trial)
    if name is None:
        return show(to, "microscope.html", name=None)
    return _page(to, name, heap or None, kept=kept)


@router.get("/finish/microscope/count", response_class=HTMLResponse)
def count_page(to: helper, trial: Wanted = None, heap: Wanted = None) -> HTMLResponse:
    """A picture of a field to mark cells and hyphae on; it stays in the browser."""
    name = trial_of(to, trial)
    if name is None:
        return show(to, "microscope.html", name=None)
    words = {key: to.site.words(text) for key, text in _COUNT_WORDS.items()}
    form = _form(to, name, heap)
    return show(to, "microscope_count.html", name=name, words=words, **form)


@router.get("/api/microscope")
def microscope_data(to: reader, trial: Wanted = None, heap: Wanted = None) -> Response:
    """The same as ``heapwright microscope --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        return exact(microscope(book, name, now=to.now, heap=heap or None).to_json())


@router.post("/finish/microscope")
def enter(
    to: helper, trial: Short, heap: Short,
    fields: Annotated[str, Form(max_length=_LETTERS)],
    entry: Annotated[str, Form(max_length=64)] = "", field: Short = "", cover: Short = "",
    drop: Short = "", dilution: Short = "", grid: Short = "", cell: Short = "", dry: Short = "",
    stain: Short = "", when: Short = "", note: Annotated[str, Form(max_length=500)] = "",
) -> Response:  # fmt: skip
    """Fields of one sitting, all of them or none."""
    slide = {"field": field, "cover": cover, "drop": drop, "dilution": dilution, "grid": grid,
             "cell": cell, "dry": dry, "stain": stain}  # fmt: skip
    try:
        with to.site.open() as book:
            made = log_fields(
                book, trial, heap, fields.splitlines(), read_slide(slide), now=to.now,
                when=when.strip() or None, note=note, entry_id=entry or None, source="page",
            )  # fmt: skip
    except HeapwrightError as error:
        name = trial_of(to, trial)
        if name is None:
            raise
        typed = {"heap": heap, "fields": fields, "when": when, "note": note, **slide}
        return _page(to, name, None, typed=typed, wrong=on_page(error.message))
    kept = len({(e.heap, getattr(e, "part", "").partition(", piece ")[0]) for e in made.entries})
    name = made.entries[0].heap
    asked = urlencode({"trial": made.trial, "heap": name, "kept": kept})
    return RedirectResponse(f"/finish/microscope?{asked}#kept", 303)


#: words of the counting page that its script says; names in braces are filled there
_COUNT_WORDS = {
    "none": "Nothing is marked yet.",
    "cells": "{n} cells",
    "hypha": "hypha {n}: {long} mm",
    "thick": ", {wide} um thick",
    "open": " (goes on)",
    "scale": "{n} um in {px} pixels",
    "noscale": "no scale yet: mark the two ends of a known distance",
    "nodistance": "Say how long the known distance is, as in 100 um.",
    "needscale": "Hyphae have a length only with a scale: mark its two ends first.",
    "needpicture": "Open a picture first.",
    "large": "This picture is larger than 20 MB. Save it smaller and open it again.",
    "broken": "This is not a picture that can be opened: JPEG or PNG.",
    "added": "Added as a line below. Open the next picture, or put them in the book.",
    "nothing": "Mark what is in it, or say that you looked and there is none.",
    "from": "marked on {file} at {scale} um a pixel",
}
