"""The app: middleware, errors, and the pages put together.

Conventions: only known hosts are answered; a changing request carries the token of its session;
requests are limited; nothing is loaded from another address (content security policy); an error of
the house is shown with what was typed, an unforeseen one without its inside.
"""

from __future__ import annotations

import logging
from collections.abc import Awaitable, Callable
from importlib import resources
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse
from fastapi.staticfiles import StaticFiles
from starlette.exceptions import HTTPException

from heapwright import __version__
from heapwright.errors import (
    BookError,
    ConflictError,
    HeapwrightError,
    LockedError,
    NotEnoughError,
    QuestionError,
    UnknownNameError,
)
from heapwright.web import (
    balance,
    book,
    finish,
    heaps,
    hygiene,
    jobs,
    joining,
    maturity,
    microscope,
    paper,
    pictures,
    plan,
    rounds,
    shows,
    start,
    sums,
    today,
    trial,
    use,
)
from heapwright.web.access import Role, Visitor, hand_over
from heapwright.web.limits import (
    MOST_BYTES,
    MOST_BYTES_OUTSIDE,
    TOO_MUCH,
    Counted,
    length_of,
    too_much,
)
from heapwright.web.pagewords import all_on_page, on_page
from heapwright.web.site import Refused, Site, access, show

__all__ = ["MOST_BYTES", "create_app"]

#: modules with a router each, in the order of the menu
_PAGES = (joining, today, rounds, trial, heaps, shows, finish, book, jobs, start, plan, paper, sums,
          maturity, balance, microscope, pictures, use, hygiene)  # fmt: skip
_ERRORS = (
    HeapwrightError, Refused, HTTPException, RequestValidationError, UnicodeEncodeError, Exception,
)  # fmt: skip
_PROXIED = ("forwarded", "x-forwarded-for", "x-real-ip", "via")
_SAFE = ("GET", "HEAD", "OPTIONS")
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' data: blob:; style-src 'self' 'unsafe-inline'; "
        "script-src 'self'; connect-src 'self'; object-src 'none'; base-uri 'none'; "
        "frame-ancestors 'none'; form-action 'self'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
Next = Callable[[Request], Awaitable[Response]]


def create_app(site: Site) -> FastAPI:
    """The app of one book."""
    app = FastAPI(
        title="Heapwright", version=__version__, docs_url=None, redoc_url=None,
        openapi_url="/api/openapi.json",
    )  # fmt: skip
    app.state.site = site
    app.middleware("http")(_guard)
    app.add_middleware(Counted)
    for kind in _ERRORS:
        app.add_exception_handler(kind, _shown)
    for module in _PAGES:
        app.include_router(module.router)
    static = Path(str(resources.files("heapwright.web").joinpath("static")))
    app.mount("/static", StaticFiles(directory=static), name="static")
    return app


# --- before a page -------------------------------------------------------------------------------


async def _guard(request: Request, ahead: Next) -> Response:
    """Host, size, session and token of a request; headers of its answer."""
    site: Site = request.app.state.site
    if _host_of(request.headers.get("host", "")) not in site.hosts:
        return _plain(400, "This server does not answer to that name.")
    visitor, fresh = _visitor(request, site)
    request.state.visitor = visitor
    if _too_long(request, visitor):
        return _plain(413, TOO_MUCH)
    try:
        carries = request.method in _SAFE or await _carries_token(request, site, visitor)
    except HTTPException as error:  # a form that cannot be read, or is too long
        return _plain(error.status_code, "The form cannot be read, or is too long.")
    if not carries:
        return _plain(403, "This page was open too long or came from elsewhere. Load it again.")
    response = await ahead(request)
    response.headers.update({**_HEADERS, "Cache-Control": "no-store"} if not request.url.path
                            .startswith("/static/") else _HEADERS)  # fmt: skip
    if fresh is not None:
        hand_over(response, site.door, fresh, https=request.url.scheme == "https")
    return response


def _host_of(said: str) -> str:
    """The host that a request names, without its port, in small letters."""
    host, colon, port = said.lower().rpartition(":")
    return host if colon and port.isdigit() else said.lower()


def _too_long(request: Request, visitor: Visitor) -> bool:
    """Whether a body is too long by what it says; outside the door it must say so."""
    length = length_of(request.headers.get("content-length"))
    if visitor.role is Role.NOBODY and request.method not in _SAFE:
        return length is None or length > MOST_BYTES_OUTSIDE
    return (length or 0) > MOST_BYTES


def _visitor(request: Request, site: Site) -> tuple[Visitor, str | None]:
    """Who asks, and the cookie of a session made just now."""
    https = request.url.scheme == "https"
    known = site.door.visitor(request.cookies.get(site.door.cookie_name(https=https)))
    if known is not None:
        return known, None
    passed_on = any(name in request.headers for name in _PROXIED)
    if request.client is not None and request.client.host in site.here and not passed_on:
        cookie = site.door.cookie(Role.KEEPER)
        made = site.door.visitor(cookie)
        assert made is not None
        return made, cookie
    return Visitor(Role.NOBODY, "", ""), None


async def _carries_token(request: Request, site: Site, visitor: Visitor) -> bool:
    """Whether a changing request carries its session's token, as a header or in its form."""
    origin = request.headers.get("origin")
    if origin is not None and origin.split("://")[-1] != request.headers.get("host"):
        return False
    if visitor.role is Role.NOBODY:
        return request.url.path == "/join"
    token = request.headers.get("x-heapwright-token")
    if token is None and request.headers.get("content-type", "").startswith(
        ("application/x-www-form-urlencoded", "multipart/form-data")
    ):
        await request.body()  # kept by the request, so that the page can read it again
        async with request.form() as form:
            found = form.get("token")
        token = found if isinstance(found, str) else None
    return site.door.allows(visitor, token)


def _plain(status: int, text: str) -> Response:
    return HTMLResponse(f"<!doctype html><title>Heapwright</title><p>{text}</p>", status)


# --- errors --------------------------------------------------------------------------------------


def _status(error: Exception) -> int:
    match error:
        case Refused():
            return error.status
        case HTTPException():
            return error.status_code
        case QuestionError() | ConflictError() | LockedError():
            return 409
        case UnknownNameError():
            return 404
        case NotEnoughError():
            return 422
        case BookError():
            return 503
        case HeapwrightError() | RequestValidationError() | UnicodeEncodeError():
            return 422
    return 500


def _said(error: Exception) -> dict[str, Any]:
    """An error as JSON, in the words of a page: what, field, value, way_out, questions."""
    if isinstance(error, HeapwrightError):
        said: dict[str, Any] = {
            "what": on_page(error.what), "field": error.field,
            "value": None if error.value is None else str(error.value),
            "way_out": all_on_page(error.way_out), "message": on_page(error.message),
        }  # fmt: skip
        if isinstance(error, QuestionError):
            said["questions"] = [
                {
                    "key": q.key,
                    "text": on_page(q.text),
                    "choices": list(q.choices),
                    "suggested": q.default,
                }
                for q in error.questions
            ]
        return said
    if isinstance(error, Refused):
        return {"what": error.what, "way_out": error.way_out, "message": error.what}
    if isinstance(error, HTTPException):
        return {"what": str(error.detail), "message": str(error.detail)}
    if isinstance(error, RequestValidationError):
        first = error.errors()[0] if error.errors() else {"loc": ("body",), "msg": "not readable"}
        where = ".".join(str(p) for p in first["loc"])
        return {"what": first["msg"], "field": where, "message": f"{where}: {first['msg']}"}
    if isinstance(error, UnicodeEncodeError):
        return {"what": "half a letter", "message": "A letter in it is broken. Type it again."}
    return {"what": "fault", "message": "This is a fault of the program, not yours."}


async def _shown(request: Request, error: Exception) -> Response:
    """An error as JSON for scripts, else as a page that keeps the way back."""
    if too_much(request.scope):
        error = HTTPException(413, TOO_MUCH)
    status = _status(error)
    if status == 500:
        logging.getLogger("heapwright.web").exception("fault", exc_info=error)
    said = _said(error)
    if request.url.path.startswith("/api/") or "text/html" not in request.headers.get("accept", ""):
        return JSONResponse(said, status)
    if status == 401:
        return RedirectResponse("/join", 303)
    return show(access(request), "error.html", status=status, said=said)
