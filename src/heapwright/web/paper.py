"""Paper: the round sheet and the signs to print, and a filled sheet typed in by keyboard alone."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Form, Query
from fastapi.responses import HTMLResponse
from pydantic import StringConstraints

from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.services.paper import (
    MOST_CELL,
    MOST_NOTE,
    Entered,
    SheetTyped,
    enter_sheet,
    heap_signs,
    read_code,
    round_sheet,
)
from heapwright.web.plan import named, none_yet
from heapwright.web.site import Access, helper, reader, show

__all__ = ["router"]

router = APIRouter()
Name = Annotated[str | None, Query(max_length=80)]
Cell = Annotated[str, StringConstraints(max_length=MOST_CELL)]
Note = Annotated[str, StringConstraints(max_length=MOST_NOTE)]
Key = Annotated[str, StringConstraints(max_length=200)]
Stood = Annotated[str, StringConstraints(max_length=20_000)]
Short = Annotated[str, Form(max_length=80)]


@router.get("/plan/sheet", response_class=HTMLResponse)
def sheet(to: reader, trial: Name = None, day: date | None = None) -> HTMLResponse:
    """A round sheet to print."""
    try:
        name = named(to, trial)
        with to.site.open() as book:
            made = round_sheet(book, name, day=day or to.now.date())
    except NotEnoughError as error:
        return none_yet(to, error)
    return show(to, "plan_sheet.html", sheet=made)


@router.get("/plan/signs", response_class=HTMLResponse)
def signs(to: reader, trial: Name = None, ways: bool = False) -> HTMLResponse:
    """A sign for each heap, one a page."""
    try:
        name = named(to, trial)
        with to.site.open() as book:
            made = heap_signs(book, name, ways=ways)
    except NotEnoughError as error:
        return none_yet(to, error)
    return show(to, "plan_signs.html", signs=made, name=name, ways=ways)


@router.get("/sheet", response_class=HTMLResponse)
def typing(
    to: helper, trial: Name = None, code: Annotated[str, Query(max_length=20)] = ""
) -> HTMLResponse:
    """The fields of a sheet in its order; a code brings trial and day with it."""
    fault, day = "", to.now.date()
    try:
        if code.strip():
            with to.site.open() as book:
                trial, day = read_code(book, code)
    except HeapwrightError as error:
        fault = error.message
    try:
        name = named(to, trial)
    except NotEnoughError as error:
        return none_yet(to, error)
    kept = code if not fault else ""
    return _sheet(to, name, SheetTyped(code=kept, when=day.isoformat()), Entered(), fault=fault)


@router.post("/sheet", response_class=HTMLResponse)
def typed_in(
    to: helper,
    trial: Short,
    when: Short = "",
    code: Short = "",
    who: Short = "",
    probe: Short = "",
    unit: Annotated[str, Form(pattern="^[CF]$")] = "C",
    readings: Annotated[list[Cell] | None, Form(max_length=2000)] = None,
    air: Annotated[str, Form(max_length=MOST_CELL)] = "",
    notes: Annotated[list[Note] | None, Form(max_length=200)] = None,
    keys: Annotated[list[Key] | None, Form(max_length=500)] = None,
    stood: Annotated[list[Stood] | None, Form(max_length=500)] = None,
    answers: Annotated[list[Key] | None, Form(max_length=500)] = None,
) -> HTMLResponse:
    """One round from a sheet; what is doubtful is asked beside its field, and nothing is lost."""
    given = zip(keys or (), answers or (), stood or (), strict=False)
    typed = SheetTyped(
        code=code, when=when, reader=who, probe=probe, unit=unit, readings=tuple(readings or ()),
        air=air, notes=tuple(notes or ()), answers={k: (a, was) for k, a, was in given},
    )  # fmt: skip
    with to.site.open() as book:
        entered = enter_sheet(book, trial, typed, now=to.now)
    if entered.faults:
        return _sheet(to, trial, typed, entered, status=422)
    if entered.questions:
        return _sheet(to, trial, typed, entered, status=409)
    return show(to, "sheet_done.html", entered=entered, name=trial)


def _sheet(
    to: Access, name: str, typed: SheetTyped, entered: Entered, *, fault: str = "",
    status: int = 200,
) -> HTMLResponse:  # fmt: skip
    with to.site.open() as book:
        made = round_sheet(book, name, day=to.now.date())
    asked: dict[str, Any] = {q.key: q for q in entered.questions}
    return show(
        to, "sheet.html", status=status, sheet=made, typed=typed, entered=entered, asked=asked,
        fault=fault or entered.faults.get("", ""),
        rest=[q for key, q in asked.items() if key not in {*made.keys, "air"}],
    )  # fmt: skip
