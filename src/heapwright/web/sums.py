"""Small sums and joined yards: water, a heap by tape, a barrow; spread of own trials; together.

Conventions: a form left empty takes what the command takes when its option is left out; an error
stands above its form, names the field as the page does, and what was typed stays. Books sent in
are read for one answer and never kept.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.responses import HTMLResponse, Response
from starlette.datastructures import FormData, UploadFile

from heapwright.errors import HeapwrightError, InputError
from heapwright.planning.sizing import squeeze_bands
from heapwright.science.geometry import SECTIONS, SHAPES
from heapwright.services import mix as mixing
from heapwright.services import mixwords
from heapwright.services.mailbag import MOST_BOOKS, Sent, together_sent
from heapwright.services.spread import EarlierSpread, spread_of
from heapwright.services.tape import heap_by_tape, whole_number
from heapwright.services.together import Together
from heapwright.services.togetherwords import together_words
from heapwright.units import parse_number
from heapwright.web.exact import exact
from heapwright.web.limits import MOST_BYTES
from heapwright.web.pagewords import on_page
from heapwright.web.site import Access, keeper, reader, show

__all__ = ["router"]

router = APIRouter()
Short = Annotated[str, Query(max_length=80)]
Trials = Annotated[list[str] | None, Query(max_length=40)]
Typed = Mapping[str, str]
#: a field of a service by the field of the page that it came from
_FROM = {
    "goal_moisture_wb": "goal", "moisture_wb": "moisture", "material": "like",
    "flow_l_min": "flow", "volume_m3": "volume", "bucketfuls": "counts", "container_l": "bucket",
    "air_temp_c": "air", "length_m": "width",
}  # fmt: skip
_FROM_BOOKS = {"--names": "names", "yard": "names", "trial": "trials", "book": "books",
               "books": "books"}  # fmt: skip
#: what is typed into the forms at first; the defaults of the commands
_WATER = {"amount": "", "squeeze": "", "moisture": "", "goal": "55 %", "like": "arborist chips",
          "flow": "", "barrow": ""}  # fmt: skip
_SIZE = {"shape": "", "width": "", "height": "", "length": "", "volume": "", "heaps": "",
         "section": "parabola", "top": "", "rounded_ends": "", "air": ""}  # fmt: skip
_BARROW = {"counts": "", "bucket": "20 L", "loads": "", "buckets": ""}
#: most letters of a text in the form of books
_LETTERS = 400


# --- water, size, barrow -------------------------------------------------------------------------


def _water_typed(
    amount: Short = "", goal: Short = "", like: Short = "", squeeze: Short = "",
    moisture: Short = "", flow: Short = "", barrow: Short = "",
) -> Typed:  # fmt: skip
    return {"amount": amount, "goal": goal, "like": like, "squeeze": squeeze,
            "moisture": moisture, "flow": flow, "barrow": barrow}  # fmt: skip


def _size_typed(
    shape: Short = "", diameter: Short = "", width: Short = "", height: Short = "",
    length: Short = "", top: Short = "", section: Short = _SIZE["section"],
    rounded_ends: Annotated[str, Query(pattern="^(|true|false)$")] = "", volume: Short = "",
    heaps: Short = "", air: Short = "",
) -> Typed:  # fmt: skip
    return {"shape": shape, "width": diameter or width, "height": height, "length": length,
            "top": top, "section": section, "rounded_ends": rounded_ends, "volume": volume,
            "heaps": heaps, "air": air}  # fmt: skip


def _barrow_typed(
    counts: Annotated[str, Query(max_length=2000)] = "", bucket: Short = "", loads: Short = "",
    buckets: Short = "",
) -> Typed:  # fmt: skip
    return {"counts": counts, "bucket": bucket, "loads": loads, "buckets": buckets}


Water = Annotated[Typed, Depends(_water_typed)]
Size = Annotated[Typed, Depends(_size_typed)]
Barrow = Annotated[Typed, Depends(_barrow_typed)]


@router.get("/plan/sums", response_class=HTMLResponse)
def sums(
    to: reader, water: Water, size: Size, barrow: Barrow,
    which: Annotated[str, Query(alias="sum", pattern="^(|water|size|barrow)$")] = "",
) -> HTMLResponse:  # fmt: skip
    """Three forms; the answer of the one that was sent stands above it."""
    asked = {"water": water, "size": size, "barrow": barrow}
    worked = {"water": _water, "size": _size, "barrow": _barrow}
    typed: dict[str, Typed] = {"water": _WATER, "size": _SIZE, "barrow": _BARROW}
    found, wrong = None, None
    if which:
        typed[which] = asked[which]
        try:
            found = worked[which](asked[which])
        except HeapwrightError as error:
            wrong = error
    if which == "barrow" and found is not None:  # what was measured just now is at hand
        typed["water"] = {**_WATER, "barrow": mixwords.barrow_span(found)}
    return show(
        to, "sums.html", status=422 if wrong else 200, which=which, typed=typed, found=found,
        wrong=wrong, field=_field(wrong, _FROM, typed.get(which, {})), words=mixwords,
        squeezes=squeeze_bands().values(), shapes=SHAPES, sections=SECTIONS, said=_said,
    )  # fmt: skip


@router.get("/api/water")
def water_data(to: reader, water: Water) -> Response:
    """The same as ``heapwright water --json``."""
    return exact(mixwords.water_json(_water(water)))


@router.get("/api/size")
def size_data(to: reader, size: Size) -> Response:
    """The same as ``heapwright size --json``."""
    return exact(mixwords.size_json(_size(size)))


@router.get("/api/barrow")
def barrow_data(to: reader, barrow: Barrow) -> Response:
    """The same as ``heapwright barrow --json``; counts with blanks between them."""
    return exact(mixwords.barrow_json(_barrow(barrow)))


def _water(typed: Typed) -> mixing.WaterAnswer:
    given = _given(typed)
    if "amount" not in given:
        raise InputError("nothing stands there", field="amount", way_out="Write 1 m3, or 9 barrows")
    return mixing.water_for(
        given["amount"], like=given.get("like", _WATER["like"]),
        goal=given.get("goal", _WATER["goal"]), moisture=given.get("moisture"),
        squeeze=given.get("squeeze"), flow=given.get("flow"), barrow=given.get("barrow"),
    )  # fmt: skip


def _size(typed: Typed) -> Any:  # SizeAnswer or SizingAdvice
    given = _given(typed)
    heaps = given.get("heaps")
    return heap_by_tape(
        given.get("shape"), width=given.get("width"), height=given.get("height"),
        length=given.get("length"), top=given.get("top"),
        section=given.get("section", _SIZE["section"]),
        rounded_ends=given.get("rounded_ends") == "true", volume=given.get("volume"),
        heaps=None if heaps is None else whole_number(heaps, field="heaps"),
        air=given.get("air"),
    )  # fmt: skip


def _barrow(typed: Typed) -> Any:  # BarrowSize
    given = _given(typed)
    loads, buckets = given.get("loads"), given.get("buckets")
    return mixing.calibrate_barrow(
        [c for c in re.split(r"[,;]?\s+|;", given.get("counts", "")) if c],
        bucket=given.get("bucket", _BARROW["bucket"]),
        loads=None if loads is None else whole_number(loads, field="loads"),
        buckets=None if buckets is None else parse_number(buckets, field="buckets"),
    )


def _given(typed: Typed) -> dict[str, str]:
    """What was typed, without what was left empty."""
    return {k: v.strip() for k, v in typed.items() if v.strip()}


def _field(wrong: HeapwrightError | None, came: Typed, here: Iterable[str]) -> str:
    """The field *here* that an error is about; empty where there is none."""
    key = "" if wrong is None else wrong.field or ""
    key = came.get(key, key)
    return key if key in here else ""


#: way out as a command says it, where the form here has another
_HERE = (
    ("or --loads and --buckets in all", "or the loads and bucketfuls in all"),
    ("Name one with --trial, or several as seasons", "Name one, or several as seasons"),
    ("books: --names north,south", "books, as in: north, south"),
    ("Restore a backup or name another with --book", "Have it mailed again, or leave it out"),
)


def _said(error: HeapwrightError, label: str = "") -> str:
    """An error with its field as the page names it, and what to do on the page."""
    way_out = error.way_out or ""
    for option, here in _HERE:
        way_out = way_out.replace(option, here)
    return HeapwrightError(
        on_page(error.what), field=label or error.field, value=error.value,
        way_out=on_page(way_out), where=error.where,
    ).message  # fmt: skip


# --- the spread of earlier trials ----------------------------------------------------------------


@router.get("/plan/spread", response_class=HTMLResponse)
def spread(to: reader, trial: Trials = None) -> HTMLResponse:
    """How far heaps treated alike differed; trials to choose where the book has several."""
    found, why, wrong = None, "", None
    with to.site.open() as book:
        trials = book.trials()
        if trial or len(trials) == 1:
            try:
                found = spread_of(book, trial or (), now=to.now)
            except HeapwrightError as error:
                wrong, why = (error if trial else None), _said(error)
    chosen = trial or (trials if len(trials) == 1 else [])
    return show(
        to, "spread.html", status=422 if wrong else 200, found=found, why=why, trials=trials,
        chosen=chosen,
    )  # fmt: skip


@router.get("/api/spread")
def spread_data(to: reader, trial: Trials = None) -> Response:
    """The same as ``heapwright plan spread --json``."""
    with to.site.open() as book:
        found: EarlierSpread = spread_of(book, trial or (), now=to.now)
    return exact(found.to_json())


# --- several yards -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Mailed:
    """What the form of joined yards sent: books, trials and names by commas, trials of the own."""

    books: tuple[Sent, ...] = ()
    trials: str = ""
    names: str = ""
    own: tuple[str, ...] = ()

    @staticmethod
    def of(form: FormData, books: tuple[Sent, ...]) -> Mailed:
        """From a form whose files are read."""

        def text(key: str) -> str:
            found = form.get(key)
            return found[:_LETTERS] if isinstance(found, str) else ""

        own = tuple(v[:_LETTERS] for v in form.getlist("own") if isinstance(v, str) and v.strip())
        return Mailed(books, text("trials"), text("names"), own)


async def _mailed(request: Request) -> Mailed:
    form = await request.form()
    books = []
    for file in form.getlist("books")[: MOST_BOOKS + 1]:
        if isinstance(file, UploadFile) and file.filename:
            books.append(Sent(file.filename, await file.read(MOST_BYTES + 1)))
    return Mailed.of(form, tuple(books))


@router.get("/together", response_class=HTMLResponse)
def together_page(to: keeper) -> HTMLResponse:
    """The form: books mailed in, and trials of the own book."""
    return _joining(to, Mailed())


@router.post("/together", response_class=HTMLResponse)
def together(to: keeper, sent: Annotated[Mailed, Depends(_mailed)]) -> HTMLResponse:
    """What the yards show together; one look at every trial of the own book taken."""
    try:
        found = _joined(to, sent)
    except HeapwrightError as error:
        return _joining(to, sent, wrong=error)
    return _joining(to, sent, found=found)


@router.post("/api/together")
def together_data(to: keeper, sent: Annotated[Mailed, Depends(_mailed)]) -> Response:
    """The same as ``heapwright together BOOKS --json``."""
    return exact(_joined(to, sent).to_json())


def _joined(to: Access, sent: Mailed) -> Together:
    trials, names = _by_commas(sent.trials), _by_commas(sent.names)
    if not sent.own:
        return together_sent(sent.books, now=to.now, trials=trials, names=names)
    with to.site.open() as book:
        return together_sent(
            sent.books, now=to.now, trials=trials, names=names, own=book, own_trials=sent.own
        )


def _by_commas(text: str) -> list[str]:
    return [part.strip() for part in text.split(",")] if text.strip() else []


def _joining(
    to: Access, sent: Mailed, *, found: Together | None = None, wrong: HeapwrightError | None = None
) -> HTMLResponse:
    with to.site.open() as book:
        trials = book.trials()
    return show(
        to, "together.html", status=422 if wrong else 200, sent=sent, trials=trials,
        words=None if found is None else together_words(found), wrong=wrong, said=_said,
        field=_field(wrong, _FROM_BOOKS, ("books", "names", "trials")),
        most=MOST_BOOKS, megabytes=MOST_BYTES // 1_000_000,
    )  # fmt: skip
