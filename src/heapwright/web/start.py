"""The four questions with suggestions to tap, the first useful page, and an invented trial."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.domain.answers import Answers
from heapwright.errors import HeapwrightError, InputError
from heapwright.services.demo import put_demo
from heapwright.services.start import first_page, told_in
from heapwright.units import parse
from heapwright.web.site import Access, keeper, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Said = Annotated[str, Query(max_length=400)]
#: suggestions by question; each is an answer as it could be typed
_SUGGESTED = {
    "what": (
        "nine barrows of shredded prunings and two of grass mowings",
        "12 barrows of arborist chips",
        "6 barrows of leaves and 3 of grass mowings",
        "1 m3 of horse manure and 0.5 m3 of straw",
    ),
    "heaps": ("one heap, today", "two heaps, today", "three heaps, today", "six heaps, today"),
    "ways": (
        "all alike",
        "one turned, one left alone",
        "one vented, one left alone",
        "one turned, one vented, one left alone",
    ),
    "probe": ("15 cm", "30 cm", "50 cm", "90 cm", "no probe"),
}


@router.get("/start", response_class=HTMLResponse)
def start(to: reader) -> HTMLResponse:
    """The four questions; each may be skipped."""
    return _asking(to, {})


@router.get("/started", response_class=HTMLResponse)
def started(
    to: reader,
    what: Said = "", heaps: Said = "", ways: Said = "", probe: Said = "",
    own_what: Said = "", own_heaps: Said = "", own_ways: Said = "", own_probe: Said = "",
    barrow: Said = "",
) -> HTMLResponse:  # fmt: skip
    """The useful page from what was tapped; own words stand before a suggestion."""
    tapped = {"what": what, "heaps": heaps, "ways": ways, "probe": probe}
    own = {"what": own_what, "heaps": own_heaps, "ways": own_ways, "probe": own_probe}
    said = {key: own[key].strip() or tapped[key] for key in tapped}
    try:
        page = first_page(
            _told(to, **said), now=to.now,
            barrow_m3=parse(barrow, "volume_m3", field="barrow", default_unit="litre")
            if barrow.strip() else None,
        )  # fmt: skip
    except HeapwrightError as error:
        typed = {"tapped": tapped, "own": own, "barrow": barrow}
        return _asking(to, typed, fault=error.message, field=error.field or "", status=422)
    return show(to, "started.html", page=page, said=said)


@router.get("/api/start")
def start_data(
    to: reader, line: Said = "", what: Said = "", heaps: Said = "", ways: Said = "",
    probe: Said = "", barrow: Said = "",
) -> dict[str, Any]:  # fmt: skip
    """The same as ``heapwright start --json``, with the plan's text in place of its file."""
    told = told_in(line, what=what, heaps=heaps, ways=ways, probe=probe, now=to.now)
    size = parse(barrow, "volume_m3", field="barrow", default_unit="litre") if barrow else None
    page = first_page(told, now=to.now, barrow_m3=size)
    return {**page.to_json(), "plan": page.plan}


@router.post("/invented")
def invented(to: keeper) -> Response:
    """Put the invented trial into a book that is still empty, and show what it shows."""
    try:
        with to.site.open() as book:
            name = put_demo(book, now=to.now)
    except InputError as error:
        return _asking(to, {}, fault=error.message, status=422)
    return RedirectResponse(f"/shows?trial={quote(name)}", 303)


def _told(to: Access, **said: str) -> Answers:
    return told_in(now=to.now, **said)


def _asking(
    to: Access, typed: dict[str, Any], *, fault: str = "", field: str = "", status: int = 200
) -> HTMLResponse:
    none = dict.fromkeys(_SUGGESTED, "")
    return show(
        to, "start.html", status=status, suggested=_SUGGESTED, tapped=typed.get("tapped", none),
        own=typed.get("own", none), barrow=typed.get("barrow", ""), fault=fault, field=field,
        empty=trial_of(to, None) is None,
    )  # fmt: skip
