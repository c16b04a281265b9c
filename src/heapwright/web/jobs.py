"""Calculations: the list, one with its progress or its answer, asking, cancelling, going on."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Annotated, Any

from fastapi import APIRouter, FastAPI, Form, Request
from fastapi import Path as InPath
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.errors import UnknownNameError
from heapwright.services.calculating import KINDS
from heapwright.web.board import Board, folder_of
from heapwright.web.exact import exact
from heapwright.web.site import helper, reader, show
from heapwright.web.today import trial_of

__all__ = ["board", "router"]

_making = threading.Lock()
Name = Annotated[str, InPath(max_length=40)]
Typed = Annotated[str, Form(max_length=80)]


@asynccontextmanager
async def _life(app: FastAPI) -> AsyncIterator[None]:
    """What had not ended goes on with the server and is ended with it."""
    if folder_of(app.state.site.book).exists():
        await run_in_threadpool(_board, app)
    yield
    made = getattr(app.state, "board", None)
    if made is not None:
        await run_in_threadpool(made.close)


router = APIRouter(lifespan=_life)


def _board(app: Any) -> Board:
    with _making:
        if getattr(app.state, "board", None) is None:
            app.state.board = Board(app.state.site.book)
        found: Board = app.state.board
    return found


def board(request: Request) -> Board:
    """The board of this server's book, made when it is first needed."""
    return _board(request.app)


@router.get("/jobs", response_class=HTMLResponse)
def jobs_page(to: reader) -> HTMLResponse:
    """All calculations."""
    return show(to, "jobs.html", jobs=board(to.request).jobs(), kinds=KINDS)


@router.get("/api/jobs")
def jobs_data(to: reader) -> Response:
    """All calculations as JSON."""
    return exact([j.to_json() for j in board(to.request).jobs()])


@router.get("/jobs/{name}", response_class=HTMLResponse)
def job_page(to: reader, name: Name) -> HTMLResponse:
    """One calculation: how far it is, or what came of it."""
    found = board(to.request)
    return show(to, "job.html", job=found.job(name), answer=found.result(name), kinds=KINDS)


@router.get("/api/jobs/{name}")
def job_data(to: reader, name: Name) -> Response:
    """One calculation as JSON, with its answer where it is done."""
    found = board(to.request)
    return exact(found.job(name).to_json() | {"answer": found.result(name)})


@router.post("/jobs")
def ask(
    to: helper,
    kind: Typed,
    trial: Typed = "",
    heap: Typed = "",
    one: Typed = "",
    other: Typed = "",
    squeeze: Typed = "",
    smell: Typed = "",
    hose: Typed = "",
) -> Response:
    """Ask for a calculation."""
    if kind not in KINDS:
        raise UnknownNameError(
            "no calculation of that name", field="kind", value=kind,
            way_out="One of " + ", ".join(KINDS),
        )  # fmt: skip
    args = {
        "trial": trial_of(to, trial) or "", "heap": heap, "one": one, "other": other,
        "squeeze": squeeze, "smell": smell, "hose": hose,
    }  # fmt: skip
    job = board(to.request).ask(kind, args, now=to.now)
    return RedirectResponse(f"/jobs/{job.id}", 303)


@router.post("/jobs/{name}/cancel")
def cancel(to: helper, name: Name) -> Response:
    """End a calculation."""
    board(to.request).cancel(name)
    return RedirectResponse(f"/jobs/{name}", 303)


@router.post("/jobs/{name}/again")
def again(to: helper, name: Name) -> Response:
    """Go on with a calculation that was ended."""
    board(to.request).again(name)
    return RedirectResponse(f"/jobs/{name}", 303)
