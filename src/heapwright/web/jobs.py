"""Calculations: the list, one with its progress or its answer, asking, cancelling, going on."""

from __future__ import annotations

import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, FastAPI, Form, Query, Request
from fastapi import Path as InPath
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.errors import HeapwrightError, InputError, QuestionError, UnknownNameError
from heapwright.services.calculating import KINDS
from heapwright.services.settings import beside
from heapwright.services.trialweather import (
    WEATHER_ENDINGS,
    WEATHER_MOST_BYTES,
    drop_weather,
    keep_file,
    use_weather,
    weather_of,
)
from heapwright.services.yard import pick_trial
from heapwright.web.board import Board
from heapwright.web.exact import exact
from heapwright.web.forms import Sent, sent_form
from heapwright.web.pagewords import answer_on_page
from heapwright.web.site import Access, helper, keeper, reader, show
from heapwright.web.today import trial_of

__all__ = ["board", "router"]

_making = threading.Lock()
Name = Annotated[str, InPath(max_length=40)]
Typed = Annotated[str, Form(max_length=80)]
Wanted = Annotated[str | None, Query(max_length=80)]


@asynccontextmanager
async def _life(app: FastAPI) -> AsyncIterator[None]:
    """What had not ended goes on with the server and is ended with it."""
    if beside(app.state.site.book, ".jobs").exists():
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
def jobs_page(to: reader, trial: Wanted = None) -> HTMLResponse:
    """All calculations, and asking for one of a whole trial."""
    return _page(to, trial)


def _page(to: Access, trial: str | None, **more: Any) -> HTMLResponse:
    """The list; more : key and answers of a weather file and what is asked of it, or an error."""
    name = trial_of(to, trial)
    shown = {"key": "", "answers": {}, "questions": (), "wrong": None} | more
    status = 409 if shown["questions"] else 422 if shown["wrong"] else 200
    return show(
        to, "jobs.html", status=status, jobs=board(to.request).jobs(), kinds=KINDS, name=name,
        weather=None if name is None else weather_of(to.site.book, name),
        endings=",".join(WEATHER_ENDINGS), most=WEATHER_MOST_BYTES // 1_000_000, **shown,
    )  # fmt: skip


@router.get("/api/jobs")
def jobs_data(to: reader) -> Response:
    """All calculations as JSON."""
    return exact([j.to_json() for j in board(to.request).jobs()])


@router.get("/jobs/{name}", response_class=HTMLResponse)
def job_page(to: reader, name: Name) -> HTMLResponse:
    """One calculation: how far it is, or what came of it."""
    found = board(to.request)
    job, answer = found.job(name), answer_on_page(found.result(name))
    return show(to, "job.html", job=job, answer=answer, kinds=KINDS)


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
    careful: Typed = "",
    labels: Typed = "",
) -> Response:
    """Ask for a calculation, with the weather of its trial."""
    if kind not in KINDS:
        raise UnknownNameError(
            "no calculation of that name", field="kind", value=kind,
            way_out="One of " + ", ".join(KINDS),
        )  # fmt: skip
    name = trial_of(to, trial) or ""
    args = {
        "trial": name, "heap": heap, "one": one, "other": other, "squeeze": squeeze,
        "smell": smell, "hose": hose, "careful": careful, "labels": labels,
    }  # fmt: skip
    weather = weather_of(to.site.book, name)
    if weather is not None:
        args["weather"] = str(weather.path)
        args |= {f"answer.{k}": v for k, v in weather.answers.items()}
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


# --- weather --------------------------------------------------------------------------------------


@router.post("/jobs/weather")
def weather(to: keeper, sent: Annotated[Sent, Depends(sent_form)]) -> Response:
    """Use a weather file for the calculations of a trial; what it leaves open is asked first."""
    key = sent.texts.get("key", "")
    with to.site.open() as book:
        name = pick_trial(book, sent.texts.get("trial") or None)
        try:
            if sent.content is not None:
                key = keep_file(to.site.book, sent.name, sent.content)
            elif not key:
                raise InputError("choose a file first", field="file")
            use_weather(book, name, key, sent.answers)
        except QuestionError as error:
            return _page(to, name, key=key, answers=sent.answers, questions=error.questions)
        except HeapwrightError as error:
            return _page(to, name, key=key, answers=sent.answers, wrong=error)
    return _listed(name)


@router.post("/jobs/weather/drop")
def no_weather(to: keeper, trial: Typed = "") -> Response:
    """Go by the air that was read again."""
    with to.site.open() as book:
        name = pick_trial(book, trial or None)
    drop_weather(to.site.book, name)
    return _listed(name)


def _listed(trial: str) -> Response:
    return RedirectResponse(f"/jobs?trial={quote(trial)}#weather", 303)
