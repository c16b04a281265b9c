"""Heaps: all of a trial, and one with what was read, done, sampled, what is wrong, what to log."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Query
from fastapi import Path as InPath
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.domain.entries import EVENT_KINDS
from heapwright.errors import HeapwrightError, NotEnoughError, QuestionError
from heapwright.services.doings import log_sample
from heapwright.services.heapview import do_work, heap_lines, heap_view
from heapwright.services.judging import COMPLAINTS, judge, judged_json
from heapwright.services.yard import pick_trial
from heapwright.store.book import new_id
from heapwright.web.board import Job
from heapwright.web.exact import exact
from heapwright.web.jobs import board
from heapwright.web.pagewords import answer_on_page
from heapwright.web.site import Access, helper, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
Name = Annotated[str, InPath(max_length=60)]
Short = Annotated[str, Form(max_length=80)]
Seen = Annotated[str | None, Query(max_length=40)]
#: answers of a squeeze and smells, as the diagnosis knows them
_SQUEEZES = ("streams", "drops", "damp", "crumbles", "no_ball", "dusty")
_SMELLS = ("none", "earthy", "ammonia", "rotten egg", "sour", "vinegar", "burnt")
#: what samples measure most often, for the list of the form
_SAMPLES = ("moisture", "volume", "height", "mass", "carbon", "nitrogen", "cn", "ph",
            "free air space", "oxygen")  # fmt: skip


@router.get("/heaps", response_class=HTMLResponse)
def heaps_page(to: reader, trial: Wanted = None) -> HTMLResponse:
    """All heaps of a trial, a line each."""
    name, why = trial_of(to, trial), ""
    lines = []
    if name is not None:
        try:
            with to.site.open() as book:
                lines = heap_lines(book, name, now=to.now)
        except NotEnoughError as error:
            why = error.message
    return show(to, "heaps.html", name=name, lines=lines, why=why)


@router.get("/heaps/{heap}", response_class=HTMLResponse)
def heap_page(
    to: reader,
    heap: Name,
    trial: Wanted = None,
    kept: Annotated[str, Query(max_length=64)] = "",
) -> HTMLResponse:
    """One heap in full."""
    return _page(to, heap, trial, kept=kept)


def _page(to: Access, heap: str, trial: str | None, **more: Any) -> HTMLResponse:
    """The page of a heap; kept : id of an entry just made; found, asked : a diagnosis and what
    it was asked with; wrong, typed : an error of a form and what stood in it."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        view = heap_view(book, name, heap, now=to.now)
    answers = _answered(to, name, view.line.name)
    shown: dict[str, Any] = {"kept": "", "found": None, "asked": {}, "wrong": None, "typed": {}}
    status = 409 if isinstance(more.get("wrong"), QuestionError) else 422
    return show(
        to, "heap.html", status=status if more.get("wrong") else 200, view=view, fresh=new_id(),
        kinds=EVENT_KINDS, complaints=COMPLAINTS, squeezes=_SQUEEZES, smells=_SMELLS,
        samples=_SAMPLES, calculated=answers, **(shown | more),
    )  # fmt: skip


def _answered(to: Access, trial: str, heap: str) -> dict[str, tuple[Job, dict[str, Any]]]:
    """The last calculation of every kind about a heap that is done, with its answer."""
    kept = board(to.request)
    about = {
        "inside": {"heap": heap}, "advise": {"heap": heap}, "air": {"heap": heap},
        "why": {"one": heap}, "forecast": {},
    }  # fmt: skip
    found = {k: kept.latest(k, {"trial": trial, **args}) for k, args in about.items()}
    return {
        k: (answer[0], answer_on_page(answer[1]) or {})
        for k, answer in found.items() if answer is not None
    }  # fmt: skip


@router.get("/api/heaps")
def heaps_data(to: reader, trial: Wanted = None) -> Response:
    """All heaps of a trial as JSON."""
    from dataclasses import asdict

    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        return exact([asdict(line) for line in heap_lines(book, name, now=to.now)])


@router.get("/api/heaps/{heap}")
def heap_data(to: reader, heap: Name, trial: Wanted = None) -> Response:
    """One heap as JSON."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        return exact(heap_view(book, name, heap, now=to.now).to_json())


# --- what is wrong --------------------------------------------------------------------------------


def _facts(
    age: Seen = None, volume: Seen = None, core: Seen = None, air: Seen = None, peak: Seen = None,
    squeeze: Seen = None, squeeze_skin: Seen = None, smell: Seen = None,
) -> dict[str, str | None]:  # fmt: skip
    """What was seen, by the fields of the diagnosis; nothing for what was left empty."""
    given = {
        "age_d": age, "volume_m3": volume, "core_c": core, "air_c": air, "peak_c": peak,
        "squeeze_core": squeeze, "squeeze_skin": squeeze_skin, "smell": smell,
    }  # fmt: skip
    return {k: (v or "").strip() or None for k, v in given.items()}


@router.get("/heaps/{heap}/wrong", response_class=HTMLResponse)
def wrong_page(
    to: reader, heap: Name, complaint: Annotated[str, Query(max_length=40)], trial: Wanted = None,
    age: Seen = None, volume: Seen = None, core: Seen = None, air: Seen = None, peak: Seen = None,
    squeeze: Seen = None, squeeze_skin: Seen = None, smell: Seen = None,
) -> HTMLResponse:  # fmt: skip
    """What is probably the matter with a heap."""
    facts = _facts(age, volume, core, air, peak, squeeze, squeeze_skin, smell)
    asked: dict[str, Any] = {"complaint": complaint, **facts}
    try:
        found = judge(complaint, **facts)
    except HeapwrightError as error:
        return _page(to, heap, trial, wrong=error, asked=asked)
    return _page(to, heap, trial, found=found, asked=asked)


@router.get("/api/diagnose")
def wrong_data(
    to: reader, complaint: Annotated[str, Query(max_length=40)],
    age: Seen = None, volume: Seen = None, core: Seen = None, air: Seen = None, peak: Seen = None,
    squeeze: Seen = None, squeeze_skin: Seen = None, smell: Seen = None,
) -> Response:  # fmt: skip
    """The same numbers as ``heapwright diagnose --json``."""
    facts = _facts(age, volume, core, air, peak, squeeze, squeeze_skin, smell)
    return exact(judged_json(judge(complaint, **facts)))


# --- logging --------------------------------------------------------------------------------------


def _back(heap: str, trial: str, entry: str) -> Response:
    from urllib.parse import quote, urlencode

    asked = urlencode({"trial": trial, "kept": entry})
    return RedirectResponse(f"/heaps/{quote(heap, safe='')}?{asked}#kept", 303)


@router.post("/heaps/{heap}/work")
def work(
    to: helper,
    heap: Name,
    trial: Short,
    what: Short,
    entry: Annotated[str, Form(max_length=64)] = "",
    when: Short = "",
    litres: Short = "",
    minutes: Short = "",
    who: Short = "",
    note: Annotated[str, Form(max_length=500)] = "",
) -> Response:
    """Something was done to a heap."""
    try:
        with to.site.open() as book:
            made = do_work(
                book, trial, heap, what, now=to.now, when=when.strip() or None,
                litres=litres.strip() or None, minutes=minutes.strip() or None, who=who, note=note,
                entry_id=entry or None,
            )  # fmt: skip
    except HeapwrightError as error:
        typed = {"what": what, "when": when, "litres": litres, "minutes": minutes, "who": who,
                 "note": note}  # fmt: skip
        return _page(to, heap, trial, wrong=error, typed=typed)
    return _back(heap, made.trial, made.ids[0])


@router.post("/heaps/{heap}/sample")
def sample(
    to: helper,
    heap: Name,
    trial: Short,
    quantity: Short,
    value: Short,
    entry: Annotated[str, Form(max_length=64)] = "",
    when: Short = "",
    part: Short = "",
    method: Short = "",
    basis: Short = "",
    note: Annotated[str, Form(max_length=500)] = "",
) -> Response:
    """A kitchen or laboratory test of a heap."""
    try:
        with to.site.open() as book:
            made = log_sample(
                book, trial, heap, quantity, value, now=to.now, when=when.strip() or None,
                part=part, method=method, basis=basis, note=note, entry_id=entry or None,
                source="page",
            )  # fmt: skip
    except HeapwrightError as error:
        typed = {"quantity": quantity, "value": value, "s_when": when, "part": part,
                 "method": method, "basis": basis, "s_note": note}  # fmt: skip
        return _page(to, heap, trial, wrong=error, typed=typed)
    return _back(heap, made.trial, made.ids[0])
