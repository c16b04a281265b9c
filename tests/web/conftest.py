"""Apps over an invented book, and who asks them; shared by the tests of the web app."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from heapwright.services.demo import run_demo
from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

MOMENT = datetime(2026, 6, 21, 8, tzinfo=UTC)


@pytest.fixture(scope="session")
def invented_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book of the invented trial; to be copied, never written to."""
    folder = tmp_path_factory.mktemp("demo") / "demo"
    run_demo(folder, say=lambda _="": None)
    return folder / "book.sqlite"


@pytest.fixture
def book(invented_file: Path, tmp_path: Path) -> str:
    """A copy of that book, free to be changed."""
    return str(shutil.copy(invented_file, tmp_path / "copy.sqlite"))


@pytest.fixture
def site_of() -> Callable[..., Site]:
    """Makes the site of a book as a test wants it; nobody is taken as this machine."""

    def made(book: str, **other: Any) -> Site:
        usual: dict[str, Any] = {
            "hosts": frozenset({"testserver"}), "here": frozenset(), "now": lambda: MOMENT,
            "lan": True,
        }  # fmt: skip
        return Site(book, door_of(book), **(usual | other))

    return made


@pytest.fixture
def site(book: str, site_of: Callable[..., Site]) -> Site:
    return site_of(book)


@pytest.fixture
def app(site: Site) -> Iterator[FastAPI]:
    made = create_app(site)
    yield made
    board = getattr(made.state, "board", None)  # of calculations, where a test came by it
    if board is not None:
        board.close()


@pytest.fixture
def as_(app: FastAPI, site: Site) -> Iterator[Callable[..., TestClient]]:
    """A client of a role; of nobody without a session. ``client.own_token`` is its token."""
    opened: list[TestClient] = []

    def made(role: Role, *, https: bool = False) -> TestClient:
        scheme = "https" if https else "http"
        client = TestClient(
            app, base_url=f"{scheme}://testserver", follow_redirects=False,
            raise_server_exceptions=False,
        )  # fmt: skip
        client.own_token = ""  # type: ignore[attr-defined]
        if role is not Role.NOBODY:
            cookie = site.door.cookie(role)
            client.cookies.set(site.door.cookie_name(https=https), cookie)
            client.own_token = site.door.visitor(cookie).token  # type: ignore[attr-defined, union-attr]
        opened.append(client)
        return client

    yield made
    for client in opened:
        client.close()
