"""Tests of finish: is it done, entering a test, and judging blind."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, Form, Query
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.errors import HeapwrightError, NotEnoughError, QuestionError
from heapwright.reports.part import Part
from heapwright.science.finish import assays
from heapwright.services import blind
from heapwright.services.doings import log_sample
from heapwright.services.maturity import finish_part
from heapwright.services.yard import pick_trial, yard_of
from heapwright.store.book import new_id
from heapwright.web.exact import exact
from heapwright.web.forms import Sent, sent_form
from heapwright.web.site import Access, helper, keeper, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Wanted = Annotated[str | None, Query(max_length=80)]
HeapName = Annotated[str, Query(max_length=60)]
Number = Annotated[int | None, Query(alias="round", ge=1, le=9999)]
Short = Annotated[str, Form(max_length=80)]
Long = Annotated[str, Form(max_length=300)]
Count = Annotated[int, Form(ge=0, le=99)]


# --- tests ----------------------------------------------------------------------------------------


@router.get("/finish/tests", response_class=HTMLResponse)
def maturity_page(to: reader, trial: Wanted = None, heap: HeapName = "") -> HTMLResponse:
    """Whether heaps are done, and the form of a test."""
    return _maturity(to, trial, heap)


def _maturity(to: Access, trial: str | None, heap: str, **more: Any) -> HTMLResponse:
    """wrong, typed : an error of the form and what stood in it."""
    name, why = trial_of(to, trial), ""
    part: Part | None = None
    heaps: tuple[str, ...] = ()
    if name is not None:
        with to.site.open() as book:
            heaps = yard_of(book, name).heaps
            try:
                part = finish_part(book, name, heap.strip() or None, now=to.now)
            except NotEnoughError as error:
                why = error.what
    wrong = more.get("wrong")
    status = 200 if wrong is None else 409 if isinstance(wrong, QuestionError) else 422
    return show(
        to, "finish_tests.html", status=status, name=name, heap=heap.strip(), heaps=heaps,
        part=part, why=why, assays=[a for a in assays().values() if a.typed], fresh=new_id(),
        **({"wrong": None, "typed": {}} | more),
    )  # fmt: skip


@router.get("/api/finish/tests")
def maturity_data(to: reader, trial: Wanted = None, heap: HeapName = "") -> Response:
    """The same as ``heapwright finish --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        return exact(finish_part(book, name, heap.strip() or None, now=to.now).to_json())


@router.post("/finish/tests/sample")
def enter_test(
    to: helper,
    trial: Short,
    heap: Short,
    test: Short,
    value: Long,
    entry: Annotated[str, Form(max_length=64)] = "",
    when: Short = "",
    part: Short = "",
    method: Short = "",
    note: Annotated[str, Form(max_length=500)] = "",
) -> Response:
    """A test of a heap, as typed."""
    try:
        with to.site.open() as book:
            made = log_sample(
                book, trial, heap, test, value, now=to.now, when=when.strip() or None, part=part,
                method=method, note=note, entry_id=entry or None, source="page",
            )  # fmt: skip
    except HeapwrightError as error:
        typed = {"heap": heap, "test": test, "value": value, "when": when, "part": part,
                 "method": method, "note": note}  # fmt: skip
        return _maturity(to, trial, heap, wrong=error, typed=typed)
    asked = urlencode({"trial": made.trial, "heap": made.entries[0].heap})
    return RedirectResponse(f"/finish/tests?{asked}", 303)


# --- blind ----------------------------------------------------------------------------------------


@router.get("/finish/blind", response_class=HTMLResponse)
def blind_page(to: reader, trial: Wanted = None, number: Number = None) -> HTMLResponse:
    """A round of blind judging: its labels, scores, and the heaps once it is open."""
    return _blind(to, trial, number)


def _blind(to: Access, trial: str | None, number: int | None, **more: Any) -> HTMLResponse:
    name = trial_of(to, trial)
    rounds: tuple[blind.BlindRound, ...] = ()
    heaps: tuple[str, ...] = ()
    if name is not None:
        with to.site.open() as book:
            heaps = yard_of(book, name).heaps
            rounds = blind.blind_rounds(book, name)
        wanted = [r for r in rounds if r.number == number] or [r for r in rounds if not r.opened]
    found = (wanted or list(rounds))[-1] if rounds else None
    part = blind.blind_part(found, name) if found and name else None
    return show(
        to, "finish_blind.html", status=422 if more.get("wrong") else 200, name=name, found=found,
        part=part, rounds=rounds, heaps=heaps, about=blind.ABOUT,
        **({"wrong": None, "typed": {}} | more),
    )  # fmt: skip


@router.get("/api/finish/blind")
def blind_data(to: reader, trial: Wanted = None, number: Number = None) -> Response:
    """The same as ``heapwright finish blind sheet --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        return exact(blind.round_part(book, name, number=number).to_json())


@router.get("/finish/blind/sheet", response_class=HTMLResponse)
def blind_sheet(to: reader, trial: Wanted = None, number: Number = None) -> HTMLResponse:
    """The judge's sheet on paper: labels and empty fields, and no key."""
    return _paper(to, trial, number, key=False)


@router.get("/finish/blind/key", response_class=HTMLResponse)
def blind_key(to: keeper, trial: Wanted = None, number: Number = None) -> HTMLResponse:
    """Which label is which, for whoever fills the bags and does not judge."""
    return _paper(to, trial, number, key=True)


def _paper(to: Access, trial: str | None, number: int | None, *, key: bool) -> HTMLResponse:
    name, why = trial_of(to, trial), ""
    part: Part | None = None
    try:
        with to.site.open() as book:
            made = blind.key_part if key else blind.round_part
            part = made(book, name, number=number)
    except NotEnoughError as error:
        why = error.what
    return show(to, "finish_blind_sheet.html", name=name, part=part, why=why, key=key)


@router.post("/finish/blind/deal")
def blind_deal(
    to: keeper,
    trial: Short,
    about: Annotated[str, Form(pattern="^(smell and look|smell|look|beans)$")],
    heaps: Annotated[list[Short] | None, Form(max_length=60)] = None,
    pots: Count = 3,
    controls: Count = 3,
) -> Response:
    """Draw labels; the key stays in the book."""
    try:
        with to.site.open() as book:
            made = blind.deal_labels(
                book, trial, now=to.now, about=about.split(" and "), heaps=heaps or (), pots=pots,
                controls=controls,
            )  # fmt: skip
    except HeapwrightError as error:
        typed = {"about": about, "pots": pots, "controls": controls, "heaps": heaps or []}
        return _blind(to, trial, None, wrong=error, typed=typed)
    return _to_round(trial, made.number)


@router.post("/finish/blind/score")
def blind_score(to: helper, sent: Annotated[Sent, Depends(sent_form)]) -> Response:
    """Scores by label, from fields named ``score.LABEL.WORD``."""
    trial, number = sent.texts.get("trial", ""), _number(sent.texts.get("round", ""))
    sheet: dict[str, dict[str, str]] = {}
    for key, text in sent.texts.items():
        if key.startswith("score.") and key.count(".") == 2:
            _, label, word = key.split(".")
            sheet.setdefault(word, {})[label] = text
    try:
        with to.site.open() as book:
            who = sent.texts.get("who", "")
            made = blind.enter_sheet(book, trial, sheet, now=to.now, number=number, who=who)
    except HeapwrightError as error:
        return _blind(to, trial or None, number, wrong=error, typed=dict(sent.texts))
    return _to_round(trial, made.number)


@router.post("/finish/blind/open")
def blind_open(
    to: keeper,
    trial: Short,
    number: Annotated[int | None, Form(alias="round", ge=1, le=9999)] = None,
    control_up: Short = "",
) -> Response:
    """Tell the heaps and write the samples, once every label is scored."""
    try:
        with to.site.open() as book:
            made, _ = blind.open_round(
                book, trial, now=to.now, number=number, control_up=control_up
            )
    except HeapwrightError as error:
        return _blind(to, trial, number, wrong=error, typed={"control_up": control_up})
    return _to_round(trial, made.number)


def _number(text: str) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 5 else None


def _to_round(trial: str, number: int) -> Response:
    return RedirectResponse(f"/finish/blind?{urlencode({'trial': trial, 'round': number})}", 303)
