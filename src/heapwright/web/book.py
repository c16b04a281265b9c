"""The book: history of every value, mending with a reason, importing a sheet, a copy to keep."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends, Form, Query
from fastapi import Path as InPath
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response
from starlette.background import BackgroundTask

from heapwright.errors import HeapwrightError, InputError, QuestionError
from heapwright.services import mend
from heapwright.services.importing import Imported, import_sheet
from heapwright.services.taking import ENDINGS, MOST_BYTES, copy_of_book, forget, held, hold
from heapwright.services.yard import pick_trial
from heapwright.web.exact import exact
from heapwright.web.forms import Sent, sent_form
from heapwright.web.site import Access, keeper, reader, show
from heapwright.web.today import trial_of

__all__ = ["router"]

router = APIRouter()
#: rows on one page of the history
_ROWS = 150
Wanted = Annotated[str | None, Query(max_length=80)]
Name = Annotated[str, InPath(max_length=64)]
Short = Annotated[str, Form(max_length=80)]
Why = Annotated[str, Form(max_length=300)]


@router.get("/book", response_class=HTMLResponse)
def book_page(
    to: reader,
    trial: Wanted = None,
    heap: Annotated[str, Query(max_length=60)] = "",
    changed: bool = False,
    page: Annotated[int, Query(ge=1, le=100_000)] = 1,
) -> HTMLResponse:
    """Every version of every value, the last first."""
    return _history(to, trial, heap, changed, page)


def _history(
    to: Access, trial: str | None, heap: str, changed: bool, page: int, **more: Any
) -> HTMLResponse:
    name = trial_of(to, trial)
    rows: list[mend.HistoryRow] = []
    trials: list[str] = []
    if name is not None:
        with to.site.open() as book:
            trials = book.trials()
            rows = mend.history(book, name, heap=heap.strip() or None, changed=changed)
    rows = rows[::-1]
    first = (page - 1) * _ROWS
    return show(
        to, "book.html", status=422 if more.get("wrong") else 200, name=name, trials=trials,
        rows=rows[first : first + _ROWS], count=len(rows), page=page,
        pages=max(1, -(-len(rows) // _ROWS)), heap=heap, changed=changed, who=mend.who,
        on_server="://" in to.site.book,
        **({"wrong": None, "typed": {}} | more),
    )  # fmt: skip


@router.get("/api/history")
def history_data(
    to: reader,
    trial: Wanted = None,
    id: Annotated[str | None, Query(max_length=64)] = None,
    heap: Annotated[str | None, Query(max_length=60)] = None,
    changed: bool = False,
) -> Response:
    """The same as ``heapwright history --json``."""
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        rows = mend.history(book, name, entry_id=id, heap=heap, changed=changed)
        return exact([r.as_dict() for r in rows])


# --- one value ------------------------------------------------------------------------------------


@router.get("/book/entry/{entry}", response_class=HTMLResponse)
def entry_page(to: reader, entry: Name, trial: Wanted = None) -> HTMLResponse:
    """All versions of one value, and mending it."""
    return _entry(to, entry, trial)


def _entry(
    to: Access,
    entry: str,
    trial: str | None,
    *,
    wrong: HeapwrightError | None = None,
    typed: Mapping[str, str] | None = None,
) -> HTMLResponse:
    with to.site.open() as book:
        name = trial_of(to, trial) or pick_trial(book, None)
        rows = mend.history(book, name, entry_id=entry)
    return show(
        to, "entry.html", status=422 if wrong else 200, name=name, rows=rows, last=rows[-1],
        who=mend.who, wrong=wrong, typed=dict(typed or {}),
    )  # fmt: skip


@router.post("/book/entry/{entry}/{how}")
def mend_entry(
    to: keeper,
    entry: Name,
    how: Annotated[str, InPath(pattern="^(correct|withdraw|restore)$")],
    trial: Short,
    why: Why = "",
    value: Short = "",
    heap: Short = "",
    when: Short = "",
    litres: Short = "",
    minutes: Short = "",
) -> Response:
    """Correct, withdraw or restore a value, with a reason."""
    given = {"value": value, "heap": heap, "when": when, "litres": litres, "minutes": minutes}
    said = {k: v.strip() or None for k, v in given.items()}
    try:
        with to.site.open() as book:
            match how:
                case "withdraw":
                    made = mend.withdraw(book, trial, entry, why=why, now=to.now)
                case "restore":
                    made = mend.restore(book, trial, entry, why=why, now=to.now)
                case _:
                    made = mend.correct(
                        book, trial, entry, said.pop("value"), why=why, now=to.now, source="page",
                        **said,
                    )  # fmt: skip
    except HeapwrightError as error:
        return _entry(to, entry, trial, wrong=error, typed=given | {"why": why, "how": how})
    return RedirectResponse(f"/book/entry/{quote(made.id)}?{urlencode({'trial': trial})}", 303)


@router.post("/book/exchange")
def exchange(
    to: keeper, trial: Short, round_: Annotated[str, Form(alias="round", max_length=80)],
    one: Short, other: Short, why: Why = "",
) -> Response:  # fmt: skip
    """Exchange two heaps of one round whose names were swapped."""
    try:
        with to.site.open() as book:
            mend.exchange_heaps(book, trial, round_, one, other, why=why, now=to.now)
    except HeapwrightError as error:
        typed = {"round": round_, "one": one, "other": other, "why": why}
        return _history(to, trial, "", False, 1, wrong=error, typed=typed)
    return RedirectResponse(f"/book?{urlencode({'trial': trial, 'changed': 'true'})}", 303)


# --- a copy ---------------------------------------------------------------------------------------


@router.get("/book/copy")
def copy(to: keeper) -> Response:
    """A whole copy of the book, as it stands now."""
    with to.site.open() as book:
        made = copy_of_book(book)
    return FileResponse(
        made, media_type="application/vnd.sqlite3", filename=f"book-{to.now:%Y-%m-%d}.sqlite",
        background=BackgroundTask(shutil.rmtree, made.parent, ignore_errors=True),
    )  # fmt: skip


# --- import ---------------------------------------------------------------------------------------


@router.get("/book/import", response_class=HTMLResponse)
def import_page(to: keeper, trial: Wanted = None) -> HTMLResponse:
    """The form for a sheet or logger file."""
    return _importing(to, {"trial": trial_of(to, trial) or ""})


@router.post("/book/import")
def import_(to: keeper, sent: Annotated[Sent, Depends(sent_form)]) -> Response:
    """Look at a sheet, ask what is not certain, say what it would write, write it."""
    texts = dict(sent.texts)
    waiting = texts.get("waiting", "")
    try:
        if sent.content is not None:
            waiting = hold(to.site.book, sent.name, sent.content)
        elif not waiting:
            raise InputError("choose a file first", field="file")
        texts["waiting"] = waiting
        path = held(to.site.book, waiting)
        done = _read(to, path, texts, sent.answers)
    except QuestionError as error:
        return _importing(to, texts, answers=sent.answers, asked=error, name=path.name)
    except HeapwrightError as error:
        return _importing(to, texts, answers=sent.answers, wrong=error)
    if not done.dry_run:
        forget(to.site.book, waiting)
    return _importing(to, texts, answers=sent.answers, done=done, name=path.name)


def _read(to: Access, path: Path, texts: Mapping[str, str], answers: Mapping[str, str]) -> Imported:
    given = dict(answers)
    if texts.get("when", "").strip():
        given["when"] = texts["when"].strip()
    with to.site.open() as book:
        return import_sheet(
            book, path, texts.get("trial") or None, answers=given, now=to.now,
            dry_run=texts.get("step") != "write", ask_again=texts.get("again") == "yes",
        )  # fmt: skip


def _importing(
    to: Access,
    texts: Mapping[str, str],
    *,
    answers: Mapping[str, str] | None = None,
    asked: QuestionError | None = None,
    wrong: HeapwrightError | None = None,
    done: Imported | None = None,
    name: str = "",
) -> HTMLResponse:
    with to.site.open() as book:
        trials = book.trials()
    open_ = asked.questions if asked else ()
    keys = {q.key.lower() for q in open_}
    kept = {k: v for k, v in (answers or {}).items() if k.lower() not in keys}
    return show(
        to, "import.html", status=409 if asked else 422 if wrong else 200, trials=trials,
        texts=texts, answers=kept, questions=open_, wrong=wrong, done=done, name=name,
        endings=",".join(ENDINGS), most=MOST_BYTES // 1_000_000,
    )  # fmt: skip
