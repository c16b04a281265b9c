"""Odd input made from the app's own schema: no route ever fails with a fault of the program."""

from __future__ import annotations

import os
import shutil
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import pytest
import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings

from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.limits import Tries
from heapwright.web.site import Site

LONG = os.environ.get("HEAPWRIGHT_LONG") == "1"


@pytest.fixture(scope="module")
def odd(invented_file: Path, tmp_path_factory: pytest.TempPathFactory) -> schemathesis.BaseSchema:
    """The schema of an app over a copy of the invented book."""
    book = shutil.copy(invented_file, tmp_path_factory.mktemp("odd") / "copy.sqlite")
    site = Site(
        str(book), door_of(str(book)), hosts=frozenset({"testserver"}), here=frozenset(),
        now=lambda: datetime(2026, 6, 21, 8, tzinfo=UTC), tries=Tries(each=10**6, all=10**6),
    )  # fmt: skip
    return schemathesis.openapi.from_asgi(
        "/api/openapi.json", create_app(site), headers={"host": "testserver"}
    )


def test_no_odd_input_is_a_fault_of_the_program(odd: schemathesis.BaseSchema) -> None:
    site: Site = odd.app.state.site
    cookie = site.door.cookie(Role.KEEPER)
    held = site.door.visitor(cookie)
    assert held is not None
    carried = {
        "x-heapwright-token": held.token, "host": "testserver",
        "cookie": f"{site.door.cookie_name(https=False)}={cookie}",
    }  # fmt: skip
    seen: Counter[str] = Counter()
    for found in odd.get_all_operations():
        operation = found.ok()

        @settings(
            max_examples=300 if LONG else 3, deadline=None, derandomize=not LONG, database=None,
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(case=operation.as_strategy())
        def ask(case: schemathesis.Case) -> None:
            answer = case.call(headers=carried, allow_redirects=False, timeout=120)
            seen[str(answer.status_code)[0]] += 1
            assert answer.status_code < 500 or answer.status_code == 503, answer.content[:500]
            assert answer.status_code not in (401, 403) or case.path == "/join", case.path
            assert b"Traceback" not in answer.content

        ask()
    assert seen["2"] > 10
    assert seen["4"] > 10


@pytest.fixture
def client(book: str) -> TestClient:
    """The keeper's client over a book of its own."""
    site = Site(book, door_of(book), hosts=frozenset({"testserver"}), here=frozenset())
    made = TestClient(create_app(site), raise_server_exceptions=False)
    cookie = site.door.cookie(Role.KEEPER)
    held = site.door.visitor(cookie)
    assert held is not None
    made.cookies.set(site.door.cookie_name(https=False), cookie)
    made.headers["x-heapwright-token"] = held.token
    return made


ODD = ["\x00", "a\x00b", "\U0001f331" * 20, "'; drop table entries; --", "%00", "../../x",
       "{{7*7}}", "9" * 60, "-1e400", "nan", "NaN", "inf", "\u202eheap", "\n\r\t", " "]  # fmt: skip


@pytest.mark.parametrize("odd", ODD if LONG else ODD[1:6])
def test_odd_text_in_any_field_is_answered(client: TestClient, odd: str) -> None:
    paths = client.get("/api/openapi.json").json()
    kinds = paths.get("components", {}).get("schemas", {})
    for path, methods in paths["paths"].items():
        place = path
        for method, about in methods.items():
            query = {p["name"]: odd for p in about.get("parameters", ()) if p["in"] == "query"}
            for part in about.get("parameters", ()):
                if part["in"] == "path":
                    place = place.replace("{" + part["name"] + "}", "A")
            body = about.get("requestBody", {}).get("content", {})
            form: dict[str, str] = {}
            for content in body.values():
                named = content["schema"].get("$ref", "").rsplit("/", 1)[-1]
                form |= dict.fromkeys(kinds.get(named, {}).get("properties", ()), odd)
            sent = {"data": form} if form else {}
            answer = client.request(method, place, params=query, **sent)  # type: ignore[arg-type]
            assert answer.status_code < 500, (method, path, answer.text[:300])
            broken = client.request(
                method, place, params=query, content=b'{"x": "\\ud800"}',
                headers={"content-type": "application/json"},
            )  # fmt: skip
            assert broken.status_code < 500, (method, path, broken.text[:300])
