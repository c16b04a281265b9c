"""Joining from another device, showing it how, and what a phone is asked to trust."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from heapwright.web.access import Role, hand_over
from heapwright.web.certificate import signer_of
from heapwright.web.site import Refused, access, keeper, show

__all__ = ["router"]

router = APIRouter()


@router.get("/join", response_class=HTMLResponse)
def join_page(request: Request, code: Annotated[str, Query(max_length=200)] = "") -> HTMLResponse:
    """The form for a join code."""
    return show(access(request), "join.html", code=code[:20])


@router.post("/join")
def join(request: Request, code: Annotated[str, Form(max_length=40)]) -> Response:
    """A session for whoever has a code."""
    here = access(request)
    who = request.client.host if request.client is not None else ""
    if not here.site.tries.may(who):
        raise Refused(429, "Too many wrong codes. Wait a minute, then try again.")
    role = here.site.door.role_of(code)
    if role is Role.NOBODY:
        here.site.tries.wrong(who)
        raise Refused(403, "That code opens nothing here. Ask the keeper to show it again.")
    answer = RedirectResponse("/", 303)
    cookie = here.site.door.cookie(role)
    hand_over(answer, here.site.door, cookie, https=request.url.scheme == "https")
    return answer


@router.get("/devices", response_class=HTMLResponse)
def devices(to: keeper) -> HTMLResponse:
    """Join codes of every role, as text and as a QR code."""
    import segno

    base = to.site.outside or str(to.request.base_url).rstrip("/")
    rows = []
    for role in (Role.HELPER, Role.READER, Role.KEEPER):
        code = to.site.door.code(role)
        drawn = segno.make(f"{base}/join?code={code}", error="m").svg_inline(scale=5, border=2)
        rows.append((role.name.lower(), code, drawn))
    return show(to, "devices.html", rows=rows, lan=to.site.lan, base=base)


@router.get("/trust", response_class=HTMLResponse)
def trust(request: Request) -> HTMLResponse:
    """What it means to trust this server's own certificate, how, and how to take it back."""
    here = access(request)
    signer = signer_of(here.site.book)
    return show(here, "trust.html", signer=signer, https=request.url.scheme == "https")


@router.get("/trust/heapwright.crt", response_class=Response)
def signer_file(request: Request) -> Response:
    """The certificate to trust, as a file that phones and computers read."""
    signer = signer_of(access(request).site.book)
    if signer is None:
        raise Refused(404, "There is no certificate yet. Start the server with --lan --https.")
    return Response(
        signer.der, media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="heapwright.crt"'},
    )  # fmt: skip
