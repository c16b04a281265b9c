"""Pictures: colour and coarseness over time; a picture sent, marked, read, kept; photo pairs.

Conventions: a picture is judged by its head before it is opened out; it waits beside the book until
it is kept or a day has gone; one picture is read at a time. Everything that a tap marks may be
typed as numbers instead.
"""

from __future__ import annotations

import threading
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, File, Form, Query, UploadFile
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.domain.names import one_of
from heapwright.errors import HeapwrightError, InputError, NotEnoughError
from heapwright.science.values import value
from heapwright.services.imaging import (
    CARDS,
    Marks,
    Read,
    Taken,
    as_svg,
    keep_read,
    kept_picture,
    read_colour,
    read_size,
    take_picture,
)
from heapwright.services.picturedesk import forget_picture, held_picture, hold_picture
from heapwright.services.picturetime import outline, photo_path, photos_of, pictures_over_time
from heapwright.services.yard import pick_trial, yard_of
from heapwright.web.exact import exact
from heapwright.web.site import Access, helper, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
Short = Annotated[str, Form(max_length=120)]
Held = Annotated[str, InPath(max_length=40)]
Photo = Annotated[str, InPath(max_length=70)]
What = Annotated[str, Query(pattern="^(colour|size)$")]
Mark = Annotated[str, Query(max_length=120)]
Sent = Annotated[UploadFile | None, File()]
#: one at a time: a picture takes seconds and much memory
_ONE = threading.Lock()
_TYPES = {".jpg": "image/jpeg", ".png": "image/png"}


@router.get("/finish/pictures", response_class=HTMLResponse)
def pictures_page(
    to: reader, trial: Wanted = None, heap: Wanted = None,
    kept: Annotated[str, Query(max_length=64)] = "",
) -> HTMLResponse:  # fmt: skip
    """What was read off pictures so far, and a form for the next one."""
    return _page(to, trial, heap, kept=kept)


def _page(to: Access, trial: str | None, heap: str | None, **more: Any) -> HTMLResponse:
    name = trial_of(to, trial)
    shown: dict[str, Any] = {"wrong": None, "what": "colour", "kept": ""} | more
    if name is None:
        return show(to, "pictures.html", name=None, part=None, heaps=(), why="", heap="", **shown)
    part, why = None, ""
    with to.site.open() as book:
        heaps = yard_of(book, name).heaps
        try:
            part = pictures_over_time(book, name, now=to.now, heap=heap or None)
        except NotEnoughError as error:
            why = error.message
    return show(
        to, "pictures.html", status=422 if shown["wrong"] else 200, name=name, part=part,
        heaps=heaps, why=why, heap=heap or "", **shown,
    )  # fmt: skip


@router.get("/api/pictures")
def pictures_data(to: reader, trial: Wanted = None, heap: Wanted = None) -> Response:
    """The same as ``heapwright picture history --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        return exact(pictures_over_time(book, name, now=to.now, heap=heap or None).to_json())


def _taken(file: UploadFile | None) -> Taken:
    """The picture of a form; raises `InputError` for none and for one that cannot be used."""
    if file is None or not file.filename:
        raise InputError("no picture was chosen", field="picture", way_out="Choose a file")
    content = file.file.read(int(value("pictures", "file.bytes").value) + 1)
    with _ONE:
        return take_picture(content, file.filename[:80])


@router.post("/finish/pictures")
def send(to: helper, trial: Short, what: Short = "colour", heap: Short = "",
         file: Sent = None) -> Response:  # fmt: skip
    """A picture comes in and waits to be marked."""
    kind = "size" if what == "size" else "colour"
    try:
        taken = _taken(file)
        held = hold_picture(to.site.book, taken)
    except HeapwrightError as error:
        return _page(to, trial, None, wrong=error, what=kind)
    asked = urlencode({"held": held, "trial": trial, "heap": heap, "what": kind,
                       "clock": taken.clock})  # fmt: skip
    return RedirectResponse(f"/finish/pictures/mark?{asked}", 303)


# --- marking -------------------------------------------------------------------------------------


def _marks(
    card: Mark = "", card_is: Mark = "white", chart: Mark = "", area: Mark = "", scale: Mark = "",
    ends: Mark = "",
) -> Marks:  # fmt: skip
    return Marks(card, card_is, chart, area, scale, ends)


Marked = Annotated[Marks, Depends(_marks)]


@router.get("/finish/pictures/mark", response_class=HTMLResponse)
def mark_page(
    to: reader, held: Annotated[str, Query(max_length=40)], marks: Marked, what: What = "colour",
    trial: Wanted = None, heap: Wanted = None, ask: Annotated[str, Query(max_length=3)] = "",
    clock: Annotated[str, Query(max_length=20)] = "",
) -> HTMLResponse:  # fmt: skip
    """A picture that waits, with its marks; what it says where they are set."""
    return _marking(to, held, marks, what, trial, heap, bool(ask), clock=clock, when=clock)


def _marking(
    to: Access, held: str, marks: Marks, what: str, trial: str | None, heap: str | None,
    ask: bool, wrong: HeapwrightError | None = None, clock: str = "", **typed: str,
) -> HTMLResponse:  # fmt: skip
    name = trial_of(to, trial)
    path = held_picture(to.site.book, held)
    read, picture, size = None, "", (0, 0)
    with _ONE:
        taken = kept_picture(path)
        size = (taken.pixels.shape[1], taken.pixels.shape[0])
        if ask:
            try:
                read = _read(taken, marks, what)
            except HeapwrightError as error:
                wrong = wrong or error
    if read is not None and read.outlined:
        picture = as_svg(read.outlined, title="What was found",
                         desc="pieces that were measured are outlined")  # fmt: skip
    heaps: tuple[str, ...] = ()
    if name is not None:
        with to.site.open() as book:
            heaps = yard_of(book, name).heaps
    return show(
        to, "pictures_mark.html", status=422 if wrong else 200, name=name, held=held, what=what,
        marks=marks, read=read, picture=picture, size=size, clock=clock, wrong=wrong, heaps=heaps,
        heap=heap or "", cards=CARDS, typed={"when": "", "who": "", "note": ""} | typed,
    )  # fmt: skip


def _read(taken: Taken, marks: Marks, what: str) -> Read:
    return read_size(taken, marks) if what == "size" else read_colour(taken, marks)


@router.get("/finish/pictures/held/{held}")
def held_file(to: reader, held: Held) -> Response:
    """A picture that waits."""
    path = held_picture(to.site.book, held)
    return Response(path.read_bytes(), media_type=_TYPES[path.suffix])


@router.post("/finish/pictures/keep")
def keep(
    to: helper, trial: Short, heap: Short, held: Short, what: Short = "colour", card: Short = "",
    card_is: Short = "white", chart: Short = "", area: Short = "", scale: Short = "",
    ends: Short = "", when: Short = "", who: Short = "",
    note: Annotated[str, Form(max_length=500)] = "",
) -> Response:  # fmt: skip
    """A picture and what was read off it go into the book."""
    marks = Marks(card, card_is, chart, area, scale, ends)
    kind = "size" if what == "size" else "colour"
    path = held_picture(to.site.book, held)
    try:
        with _ONE:
            taken = kept_picture(path)
            read = _read(taken, marks, kind)
        with to.site.open() as book:
            made = keep_read(book, trial, heap, taken, read, now=to.now,
                             when=when.strip() or None, who=who, note=note)  # fmt: skip
    except HeapwrightError as error:
        return _marking(to, held, marks, kind, trial, heap, True, error, when=when, who=who,
                        note=note)  # fmt: skip
    forget_picture(to.site.book, held)
    asked = urlencode({"trial": made.trial, "kept": made.ids[0]})
    return RedirectResponse(f"/finish/pictures?{asked}#kept", 303)


# --- pairs ---------------------------------------------------------------------------------------


@router.get("/finish/pictures/pair", response_class=HTMLResponse)
def pair_page(
    to: reader, trial: Wanted = None, heap: Wanted = None,
    kept: Annotated[str, Query(max_length=64)] = "",
) -> HTMLResponse:  # fmt: skip
    """The photos of a heap, and the outline of the last one to stand by."""
    return _pair(to, trial, heap, kept=kept)


def _pair(to: Access, trial: str | None, heap: str | None, **more: Any) -> HTMLResponse:
    name = trial_of(to, trial)
    heaps: tuple[str, ...] = ()
    photos, why, chosen = [], "", heap or ""
    if name is not None:
        with to.site.open() as book:
            heaps = yard_of(book, name).heaps
            chosen = one_of("heap", heap, {h: h for h in heaps}) if heap else (heaps or ("",))[0]
            try:
                photos = [
                    p for p in photos_of(book, name, chosen, now=to.now) if p.there and not p.read
                ]  # close to the heap, not a view of it
            except NotEnoughError as error:
                why = error.message
    shown: dict[str, Any] = {"wrong": None, "kept": ""} | more
    return show(
        to, "pictures_pair.html", status=422 if shown["wrong"] else 200, name=name, heaps=heaps,
        heap=chosen, photos=photos, why=why, **shown,
    )  # fmt: skip


@router.post("/finish/pictures/pair")
def pair(
    to: helper, trial: Short, heap: Short, who: Short = "",
    note: Annotated[str, Form(max_length=500)] = "", file: Sent = None,
) -> Response:  # fmt: skip
    """Another photo of a heap, off which nothing is read."""
    try:
        taken = _taken(file)
        with to.site.open() as book:
            made = keep_read(book, trial, heap, taken, None, now=to.now, who=who, note=note)
    except HeapwrightError as error:
        return _pair(to, trial, heap, wrong=error)
    asked = urlencode({"trial": made.trial, "heap": made.entries[0].heap, "kept": made.ids[0]})
    return RedirectResponse(f"/finish/pictures/pair?{asked}#kept", 303)


@router.get("/finish/pictures/photo/{photo}")
def photo_file(to: reader, photo: Photo) -> Response:
    """A photo that is kept."""
    with to.site.open() as book:
        path = photo_path(book, photo)
    return Response(path.read_bytes(), media_type=_TYPES[path.suffix])


@router.get("/finish/pictures/outline/{photo}")
def outline_file(to: reader, photo: Photo) -> Response:
    """The lines of a photo, everything else let through."""
    with to.site.open() as book:
        path = photo_path(book, photo)
    with _ONE:
        return Response(outline(path), media_type="image/png")
