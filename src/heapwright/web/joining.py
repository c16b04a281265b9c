"""Joining from another device, and showing it how."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.web.access import COOKIE, Role
from heapwright.web.site import Refused, access, keeper, show

__all__ = ["router"]

router = APIRouter()


@router.get("/join", response_class=HTMLResponse)
def join_page(request: Request, code: str = "") -> HTMLResponse:
    """The form for a join code."""
    return show(access(request), "join.html", code=code[:20])


@router.post("/join")
def join(request: Request, code: Annotated[str, Form(max_length=40)]) -> Response:
    """A session for whoever has a code."""
    here = access(request)
    role = here.site.door.role_of(code)
    if role is Role.NOBODY:
        raise Refused(403, "That code opens nothing here. Ask the keeper to show it again.")
    answer = RedirectResponse("/", 303)
    answer.set_cookie(
        COOKIE, here.site.door.cookie(role), max_age=400 * 86400, httponly=True,
        samesite="strict", secure=request.url.scheme == "https",
    )  # fmt: skip
    return answer


@router.get("/devices", response_class=HTMLResponse)
def devices(to: keeper) -> HTMLResponse:
    """Join codes of every role, as text and as a QR code."""
    import segno

    base = str(to.request.base_url).rstrip("/")
    rows = []
    for role in (Role.HELPER, Role.READER, Role.KEEPER):
        code = to.site.door.code(role)
        drawn = segno.make(f"{base}/join?code={code}", error="m").svg_inline(scale=5, border=2)
        rows.append((role.name.lower(), code, drawn))
    return show(to, "devices.html", rows=rows, lan=to.site.lan)
