"""Every page over a book on SQLite and on a PostgreSQL server: the same trial, the same figures."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.web.test_access import reads

from heapwright.services.demo import put_demo
from heapwright.services.findings import find
from heapwright.store.book import Book
from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.exact import exact
from heapwright.web.site import Site

MOMENT = datetime(2026, 6, 21, 8, tzinfo=UTC)


def test_every_page_answers_and_a_round_is_kept(
    book_url: str, invented_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("platformdirs.user_data_path", lambda name: tmp_path / name)
    with Book(book_url) as book:
        put_demo(book, now=MOMENT)
    site = Site(
        book_url, door_of(book_url), hosts=frozenset({"testserver"}), here=frozenset(),
        now=lambda: MOMENT,
    )  # fmt: skip
    app = create_app(site)
    client = TestClient(app, follow_redirects=False, raise_server_exceptions=False)
    cookie = site.door.cookie(Role.KEEPER)
    client.cookies.set(site.door.cookie_name(https=False), cookie)
    held = site.door.visitor(cookie)
    assert held is not None
    client.headers["x-heapwright-token"] = held.token
    for path in reads(app):
        answer = client.get(path, headers={"accept": "text/html"})
        # a copy is not taken from a database server; codes and files of one's own may be missing
        fine = (200, 303, 404, 422) + ((503,) if path == "/book/copy" else ())
        assert answer.status_code in fine, (path, answer.text[:300])
    with Book(invented_file) as same:
        expected = json.loads(exact(find(same, "Ferncombe 2026", now=MOMENT).to_json()).body)
    found = client.get("/api/findings").json()
    assert found["comparisons"] == expected["comparisons"]
    done = client.post(
        "/did", data={"trial": "Ferncombe 2026", "heaps": ["A"], "what": "watered", "litres": "20"}
    )
    assert done.status_code in (200, 303), done.text[:300]
    assert "watered 20 L" in client.get("/heaps/A", headers={"accept": "text/html"}).text
    app.state.board.close()
