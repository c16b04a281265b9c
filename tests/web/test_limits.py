"""How much a request may bring: no body gets around the limit, said or unsaid."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

import anyio
import pytest
from fastapi import Body, FastAPI, File, UploadFile
from fastapi.testclient import TestClient
from starlette.types import Message

from heapwright.web.access import Role
from heapwright.web.limits import MOST_BYTES, MOST_BYTES_OUTSIDE
from heapwright.web.site import Site

As = Callable[..., TestClient]


async def _endless(app: FastAPI, path: str, headers: dict[str, str], first: bytes) -> list[int]:
    """Send a body that never ends and says no length; status of the answer, pieces taken."""
    status, taken = 0, 0

    async def receive() -> Message:
        nonlocal taken
        taken += 1
        body = first if taken == 1 else b"x" * 1_000_000
        return {"type": "http.request", "body": body, "more_body": True}

    async def send(message: Message) -> None:
        nonlocal status
        status = message.get("status", status)

    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST",
        "scheme": "http", "path": path, "raw_path": path.encode(), "query_string": b"",
        "root_path": "", "client": ("10.0.0.7", 1), "server": ("testserver", 80),
        "headers": [(k.encode(), v.encode()) for k, v in {"host": "testserver", **headers}.items()],
    }  # fmt: skip
    await app(scope, receive, send)
    return [status, taken]


def test_a_body_past_the_limit_is_refused_by_what_it_says(as_: As) -> None:
    client = as_(Role.KEEPER)
    for said in (str(MOST_BYTES + 1), "9" * 5000, "-1", "\xb2", "1e3", "0x10", ""):
        headers = {"x-heapwright-token": client.own_token, "content-length": said.encode("latin-1")}
        assert client.post("/did", headers=headers).status_code == 413, said


FILE = b'--b\r\ncontent-disposition: form-data; name="f"; filename="f"\r\n\r\n'
BODIES = {
    "application/x-www-form-urlencoded": b"what=",
    "application/json": b'"',
    "multipart/form-data; boundary=b": FILE,
}


@pytest.mark.parametrize("kind", BODIES)
@pytest.mark.parametrize("header", [True, False])
def test_a_body_that_does_not_say_its_length_is_stopped_at_the_same_limit(
    app: FastAPI, site: Site, kind: str, header: bool
) -> None:
    @app.post("/eats/json")
    def eats_json(text: Annotated[str, Body()]) -> None: ...

    @app.post("/eats/form")
    def eats_form(f: Annotated[UploadFile, File()]) -> None: ...

    cookie = site.door.cookie(Role.KEEPER)
    held = site.door.visitor(cookie)
    assert held is not None
    headers = {"content-type": kind, "cookie": f"{site.door.cookie_name(https=False)}={cookie}"}
    if header:
        headers["x-heapwright-token"] = held.token
    path = "/eats/json" if kind.endswith("json") else "/eats/form"
    status, taken = anyio.run(_endless, app, path, headers, BODIES[kind])
    if kind.endswith("json") and not header:
        assert (status, taken) == (403, 0)
    elif kind.endswith("urlencoded") and header:
        assert status == 400  # one field may have a megabyte
        assert taken <= 4
    else:
        assert (status, taken) == (413, MOST_BYTES // 1_000_000 + 1)


def test_a_form_that_cannot_be_read_is_refused_in_words(as_: As) -> None:
    client = as_(Role.KEEPER)
    for kind in ("multipart/form-data", "multipart/form-data; boundary=b"):
        answer = client.post("/did", content=b"--c\r\nnonsense", headers={"content-type": kind})
        assert answer.status_code in (400, 403), kind


def test_outside_the_door_only_a_little_is_read(app: FastAPI, as_: As) -> None:
    client = as_(Role.NOBODY)
    long = client.post("/join", data={"code": "x" * MOST_BYTES_OUTSIDE})
    assert long.status_code == 413
    for kind in BODIES:
        assert anyio.run(_endless, app, "/join", {"content-type": kind}, b"code=") == [413, 0]
