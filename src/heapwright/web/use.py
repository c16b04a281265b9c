"""Use: what the tests allow, how far it goes, nitrogen; and the list of cautions with sources."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query
from fastapi.responses import HTMLResponse, Response

from heapwright.errors import HeapwrightError
from heapwright.reports.part import Part
from heapwright.science.cautions import WORKS
from heapwright.science.use import USES
from heapwright.services.cautions import cautions_part
from heapwright.services.record import load_record
from heapwright.services.use import use_of
from heapwright.services.yard import pick_trial
from heapwright.web.exact import exact
from heapwright.web.pagewords import on_page
from heapwright.web.site import Access, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
Short = Annotated[str, Query(max_length=80)]
Words = Annotated[list[str] | None, Query(max_length=40)]
Wanted = Annotated[str | None, Query(max_length=80)]
For = Annotated[str, Query(alias="for", max_length=20)]


@router.get("/finish/use", response_class=HTMLResponse)
def use_page(
    to: reader, trial: Wanted = None, heap: Short = "", depth: Short = "", purpose: For = "",
    volume: Short = "",
) -> HTMLResponse:  # fmt: skip
    """The answer for a trial or a heap; what was typed stays, an error stands above the form."""
    name = trial_of(to, trial)
    typed = {"heap": heap, "depth": depth, "for": purpose, "volume": volume}
    found: Part | None = None
    heaps: tuple[str, ...] = ()
    wrong = ""
    if name is not None:
        try:
            with to.site.open() as book:
                heaps = tuple(load_record(book, name).heaps)
            found = _found(to, name, typed)
        except HeapwrightError as error:
            wrong = on_page(error.message)
    return show(
        to, "use.html", status=422 if wrong else 200, name=name, found=found, wrong=wrong,
        typed=typed, heaps=heaps, uses=USES,
    )  # fmt: skip


@router.get("/api/use")
def use_data(
    to: reader, trial: Wanted = None, heap: Short = "", depth: Short = "", purpose: For = "",
    volume: Short = "",
) -> Response:  # fmt: skip
    """The same as ``heapwright use --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
    typed = {"heap": heap, "depth": depth, "for": purpose, "volume": volume}
    return exact(_found(to, name, typed).to_json())


def _found(to: Access, name: str, typed: dict[str, str]) -> Part:
    given = {k: v.strip() or None for k, v in typed.items()}
    with to.site.open() as book:
        return use_of(
            book, name, given["heap"], depth=given["depth"], purpose=given["for"],
            volume=given["volume"], now=to.now,
        )  # fmt: skip


@router.get("/cautions", response_class=HTMLResponse)
def cautions_page(
    to: reader, work: Short = "", core: Short = "", material: Words = None, shed: bool = False,
    fertilised: bool = False,
) -> HTMLResponse:  # fmt: skip
    """All cautions with when they apply and their sources, each with an address of its own."""
    typed = {"work": work, "core": core, "material": ", ".join(material or ()), "shed": shed,
             "fertilised": fertilised}  # fmt: skip
    wrong = ""
    try:
        found = _listed(work, core, material, shed, fertilised)
    except HeapwrightError as error:
        found, wrong = cautions_part(), on_page(error.message)
    return show(
        to, "cautions.html", status=422 if wrong else 200, found=found, wrong=wrong, typed=typed,
        works=WORKS,
    )  # fmt: skip


@router.get("/api/cautions")
def cautions_data(
    to: reader, work: Short = "", core: Short = "", material: Words = None, shed: bool = False,
    fertilised: bool = False,
) -> Response:  # fmt: skip
    """The same as ``heapwright cautions --json``."""
    return exact(_listed(work, core, material, shed, fertilised).to_json())


def _listed(work: str, core: str, material: list[str] | None, shed: bool, fertilised: bool) -> Part:
    named = [part.strip() for text in material or () for part in text.split(",")]
    return cautions_part(
        work.strip() or None, core=core.strip() or None, materials=[m for m in named if m],
        shed=shed, fertilised=fertilised,
    )  # fmt: skip
