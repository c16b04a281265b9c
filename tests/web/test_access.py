"""Who may do what, over every route of the app; what a changing request must carry."""

from __future__ import annotations

import contextlib
import hmac
import re
import sqlite3
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from heapwright.services.plans import example_plan
from heapwright.web.access import Door, Role, door_of
from heapwright.web.app import create_app
from heapwright.web.limits import Tries
from heapwright.web.site import Site

#: what somebody who has not joined may read: the way in, and nothing of the book
OPEN = {"/join", "/trust", "/trust/heapwright.crt", "/api/openapi.json", "/worker.js"}
#: what a reader does not see, since there is nothing on it but entering
HELPERS_PAGES = {"/round"}
#: what only a keeper reads: the codes of every role, lots that stay folded, the whole book as a
#: file, and forms that are a keeper's to send
KEEPERS_PAGES = {"/devices", "/plan/deal/lots", "/book/copy", "/book/import", "/plan/lock",
                 "/together", "/finish/blind/key"}  # fmt: skip
#: what a reader does not see, since there is nothing on it but entering
HELPERS_PAGES = {"/round", "/sheet", "/finish/microscope/count"}
#: what a helper may send: rounds, work and samples, and calculations, which change no entry
HELPERS_CHANGES = {
    "/did", "/api/field", "/sheet", "/heaps/A/work", "/heaps/A/sample",
    "/finish/tests/sample", "/finish/blind/score",
    "/finish/microscope",
    "/finish/pictures", "/finish/pictures/keep", "/finish/pictures/pair",
    "/jobs", "/jobs/A/cancel", "/jobs/A/again",
}  # fmt: skip
#: what a reader may send, because it only answers and writes nothing
ANSWERS_ONLY = {"/api/mix", "/plan/check", "/api/plan/check"}
As = Callable[..., TestClient]


def routes(app: FastAPI) -> list[tuple[str, str]]:
    """Every (method, path) of the app, with something in place of each parameter."""
    try:
        from fastapi.routing import iter_route_contexts

        found: Any = iter_route_contexts(app.routes)
    except ImportError:
        found = app.routes
    return sorted(
        (method, re.sub(r"\{[^}]*\}", "A", route.path))
        for route in found
        for method in (getattr(route, "methods", None) or ())
        if method not in ("HEAD", "OPTIONS")
    )


def reads(app: FastAPI) -> list[str]:
    return [path for method, path in routes(app) if method == "GET"]


def changes(app: FastAPI) -> list[tuple[str, str]]:
    return [r for r in routes(app) if r[0] != "GET" and r[1] != "/join"]


def test_the_walk_over_the_routes_finds_them(app: FastAPI) -> None:
    assert {("GET", "/"), ("POST", "/did"), ("POST", "/join")} <= set(routes(app))


# --- roles ---------------------------------------------------------------------------------------


def test_nobody_reads_nothing_but_the_way_in(app: FastAPI, as_: As) -> None:
    client = as_(Role.NOBODY)
    for path in reads(app):
        answer = client.get(path)
        if path in OPEN:
            assert answer.status_code in (200, 404), path
        else:
            assert answer.status_code == 401, path
            page = client.get(path, headers={"accept": "text/html"})
            if path.startswith("/api/"):
                assert page.status_code == 401, path
            else:
                assert (page.status_code, page.headers["location"]) == (303, "/join"), path


def test_nobody_changes_nothing(app: FastAPI, as_: As) -> None:
    client = as_(Role.NOBODY)
    for method, path in changes(app):
        assert client.request(method, path).status_code == 403, path
        signed = {"x-heapwright-token": app.state.site.door.token("")}
        assert client.request(method, path, headers=signed).status_code == 403, path


def test_a_reader_reads_everything_but_the_codes_and_changes_nothing(app: FastAPI, as_: As) -> None:
    client = as_(Role.READER)
    for path in reads(app):
        status = client.get(path).status_code
        assert (status == 403) == (path in KEEPERS_PAGES | HELPERS_PAGES), (path, status)
        assert status not in (401, 500), (path, status)
    for method, path in changes(app):
        answer = client.request(method, path, headers={"x-heapwright-token": client.own_token})
        assert (answer.status_code != 403) == (path in ANSWERS_ONLY), path
        assert path in ANSWERS_ONLY or "may look and not change" in answer.text, path


def test_a_helper_logs_and_no_more(app: FastAPI, as_: As) -> None:
    client = as_(Role.HELPER)
    for path in reads(app):
        assert (client.get(path).status_code == 403) == (path in KEEPERS_PAGES), path
    for method, path in changes(app):
        answer = client.request(method, path, headers={"x-heapwright-token": client.own_token})
        assert (answer.status_code != 403) == (path in HELPERS_CHANGES | ANSWERS_ONLY), path


def test_what_a_reader_may_send_writes_nothing(app: FastAPI, as_: As, book: str) -> None:
    client = as_(Role.READER)
    before = _rows(book)
    texts = (example_plan(), example_plan().replace("Ferncombe 2026", "Another 2027"), "62 barrows")
    for _, path in changes(app):
        if path in ANSWERS_ONLY:
            for text in texts:
                form = {"text": text, "lines": text, "token": client.own_token}
                assert client.post(path, data=form).status_code < 500, path
                headers = {"x-heapwright-token": client.own_token}
                assert client.post(path, json=form, headers=headers).status_code < 500, path
    assert _rows(book) == before


def _rows(book: str) -> list[str]:
    with contextlib.closing(sqlite3.connect(book)) as link:
        return list(link.iterdump())


def test_a_keeper_may_do_everything(app: FastAPI, as_: As) -> None:
    client = as_(Role.KEEPER)
    for path in reads(app):
        assert client.get(path).status_code not in (401, 403, 500), path
    for method, path in changes(app):
        answer = client.request(method, path, headers={"x-heapwright-token": client.own_token})
        assert answer.status_code not in (401, 403, 500), path


def test_this_machine_is_the_keeper_unless_somebody_passes_the_request_on(
    book: str, site_of: Callable[..., Site]
) -> None:
    here = site_of(book, here=frozenset({"testclient"}))
    client = TestClient(create_app(here), follow_redirects=False)
    assert client.get("/devices").status_code == 200
    for name in ("x-forwarded-for", "forwarded", "x-real-ip", "via"):
        fresh = TestClient(create_app(here), follow_redirects=False)
        assert fresh.get("/devices", headers={name: "10.0.0.9"}).status_code == 401, name


# --- what a changing request carries -------------------------------------------------------------


@pytest.mark.parametrize("role", [Role.READER, Role.HELPER, Role.KEEPER])
def test_a_change_needs_the_token_of_its_own_session(app: FastAPI, as_: As, role: Role) -> None:
    client, other = as_(role), as_(Role.KEEPER)
    for method, path in [*changes(app), ("POST", "/join")]:
        for token in (None, "", "x", "ü", other.own_token, client.own_token[:-1]):
            headers = {} if token is None else {"x-heapwright-token": token.encode()}
            refused = client.request(method, path, headers=headers)
            assert refused.status_code == 403, (path, token)
            assert "Load it again" in refused.text
            form = {} if token is None else {"token": token}
            assert client.request(method, path, data=form).status_code == 403, (path, token)


def test_a_token_in_the_address_or_in_json_counts_for_nothing(as_: As) -> None:
    client = as_(Role.KEEPER)
    assert client.post("/did", params={"token": client.own_token}).status_code == 403
    assert client.post("/did", json={"token": client.own_token}).status_code == 403


def test_a_change_from_another_page_or_to_another_name_is_refused(app: FastAPI, as_: As) -> None:
    client = as_(Role.KEEPER)
    token = {"x-heapwright-token": client.own_token}
    for method, path in [*changes(app), ("POST", "/join")]:
        for origin in ("http://evil.example", "null", "http://testserver.evil.example", ""):
            answer = client.request(method, path, headers={**token, "origin": origin})
            assert answer.status_code == 403, (path, origin)
        own = client.request(method, path, headers={**token, "origin": "http://testserver"})
        assert own.status_code != 403, path


def test_other_host_names_are_not_answered(app: FastAPI, as_: As) -> None:
    client = as_(Role.KEEPER)
    for host in ("evil.example", "testserver.evil.example", "", "testserver@evil", "[::1"):
        for path in reads(app):
            assert client.get(path, headers={"host": host}).status_code == 400, (host, path)
    assert client.get("/join", headers={"host": "TESTSERVER:8765"}).status_code == 200


def test_the_sixth_version_of_this_machine_is_answered_with_and_without_a_port(
    book: str, site_of: Callable[..., Site]
) -> None:
    client = TestClient(create_app(site_of(book, hosts=frozenset({"[::1]"}))))
    for host in ("[::1]", "[::1]:8765"):
        assert client.get("/join", headers={"host": host}).status_code == 200


# --- join codes ----------------------------------------------------------------------------------


def _join(client: TestClient, code: str) -> Any:
    return client.post("/join", data={"code": code}, headers={"accept": "text/html"})


@pytest.mark.parametrize("role", [Role.READER, Role.HELPER, Role.KEEPER])
@pytest.mark.parametrize("typed", [str, str.upper, lambda c: c.replace("-", " ")])
def test_a_code_gives_its_role(
    as_: As, site: Site, role: Role, typed: Callable[[str], str]
) -> None:
    client = as_(Role.NOBODY)
    answer = _join(client, typed(site.door.code(role)))
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    got = site.door.visitor(client.cookies[site.door.cookie_name(https=False)])
    assert got is not None
    assert got.role is role
    assert client.get("/").status_code == 200


def test_whoever_has_joined_may_join_again_with_another_code(as_: As, site: Site) -> None:
    client = as_(Role.READER)
    page = client.get("/join").text
    token = re.search(r'name="token" value="([^"]+)"', page)
    assert token is not None
    form = {"code": site.door.code(Role.HELPER), "token": token[1]}
    assert client.post("/join", data=form).status_code == 303


def test_a_wrong_code_opens_nothing_and_says_nothing(
    book: str, site_of: Callable[..., Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_of(book, tries=Tries(each=1000, all=1000))
    client = TestClient(create_app(site), follow_redirects=False)
    right = site.door.code(Role.KEEPER)
    near = right[:-1] + ("2" if right[-1] != "2" else "3")
    said = {_join(client, code).text for code in (near, right[:5], "x", "é", "0" * 40, near * 3)}
    assert len(said) == 1
    assert not client.cookies
    asked: list[tuple[bytes, bytes]] = []
    whole = hmac.compare_digest
    monkeypatch.setattr(hmac, "compare_digest", lambda a, b: asked.append((a, b)) or whole(a, b))
    for code in (right, near, "2222-2222"):
        asked.clear()
        site.door.role_of(code)
        assert len(asked) == 3  # every role is compared, in constant time, whatever was typed


def test_codes_differ_by_role_and_book_and_are_not_short(tmp_path: Any) -> None:
    doors = [door_of(str(tmp_path / name)) for name in ("a.sqlite", "b.sqlite")]
    codes = {d.code(r) for d in doors for r in (Role.READER, Role.HELPER, Role.KEEPER)}
    assert len(codes) == 6
    assert all(re.fullmatch(r"[2-9a-z]{5}-[2-9a-z]{5}", c) for c in codes)
    assert all(d.role_of(c) is Role.NOBODY for d, o in zip(doors, doors[::-1], strict=True)
               for c in [o.code(r) for r in (Role.READER, Role.HELPER, Role.KEEPER)])  # fmt: skip


def test_the_key_of_the_door_is_for_its_owner_only(tmp_path: Any) -> None:
    door_of(str(tmp_path / "a.sqlite"))
    assert (tmp_path / "a.sqlite.door").stat().st_mode & 0o077 == 0


def test_a_restart_keeps_sessions_and_new_codes_end_them(
    book: str, site_of: Callable[..., Site]
) -> None:
    before = door_of(book)
    cookie, code = before.cookie(Role.KEEPER), before.code(Role.HELPER)
    assert door_of(book).visitor(cookie) is not None
    door_of(book, renew=True)
    after = site_of(book)
    assert after.door.visitor(cookie) is None
    assert after.door.role_of(code) is Role.NOBODY
    client = TestClient(create_app(after), follow_redirects=False)
    for door in (before, after.door):
        client.cookies.set(door.cookie_name(https=False), cookie)
    assert client.get("/api/today").status_code == 401


def test_guessing_is_slowed_down_by_address_and_the_right_code_waits_too(
    book: str, site_of: Callable[..., Site]
) -> None:
    clock = [0.0]
    site = site_of(book, tries=Tries(clock=lambda: clock[0]))
    app = create_app(site)
    one = TestClient(app, client=("10.0.0.7", 1), follow_redirects=False)
    two = TestClient(app, client=("10.0.0.8", 1), follow_redirects=False)
    assert [_join(one, "wrong").status_code for _ in range(7)] == [403] * 5 + [429] * 2
    assert _join(one, site.door.code(Role.READER)).status_code == 429
    assert _join(two, site.door.code(Role.READER)).status_code == 303
    clock[0] = 61.0
    assert _join(one, site.door.code(Role.READER)).status_code == 303


def test_many_addresses_together_are_slowed_down_too() -> None:
    tries = Tries(each=5, all=20, clock=lambda: 0.0)
    for i in range(20):
        assert tries.may(f"10.0.0.{i}")
        tries.wrong(f"10.0.0.{i}")
    assert not tries.may("10.0.1.1")


# --- cookies -------------------------------------------------------------------------------------


@pytest.mark.parametrize("https", [False, True])
def test_no_script_reads_a_cookie_and_no_other_site_sends_it(
    as_: As, site: Site, https: bool
) -> None:
    said = _join(as_(Role.NOBODY, https=https), site.door.code(Role.HELPER)).headers["set-cookie"]
    parts = {p.strip().lower() for p in said.split(";")}
    assert {"httponly", "samesite=strict", "path=/"} <= parts
    assert ("secure" in parts) == https
    assert said.startswith("__Host-") == https
    assert not any(p.startswith("domain") for p in parts)


def test_the_cookie_of_this_machine_is_as_strict(book: str, site_of: Callable[..., Site]) -> None:
    site = site_of(book, here=frozenset({"testclient"}))
    said = TestClient(create_app(site)).get("/").headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said


def test_two_books_on_one_machine_keep_their_sessions_apart() -> None:
    one, two = Door(b"a" * 32), Door(b"b" * 32)
    assert one.cookie_name(https=False) != two.cookie_name(https=False)


def _forged(door: Door) -> Iterator[str]:
    real = door.cookie(Role.READER)
    role, name, sign = real.split(".")
    yield f"3.{name}.{sign}"
    yield f"{role}.{name}x.{sign}"
    yield f"3.{real}"
    yield f"{role}.{name}.{sign[:-1]}"
    yield f"{role}.{name}."
    yield f"{role}.{name}"
    yield f"{role}.{name}.{door.token(name)}"
    yield Door(b"y" * 32).cookie(Role.KEEPER)
    yield from ("", ".", "..", "3", "x.y.z", "\xfc.\xfc.\xfc")


def test_a_forged_cookie_is_nobodys(as_: As, site: Site) -> None:
    for cookie in _forged(site.door):
        client = as_(Role.NOBODY)
        named = f"{site.door.cookie_name(https=False)}={cookie}".encode("latin-1")
        answer = client.get("/api/today", headers={"cookie": named})
        assert answer.status_code == 401, cookie


# --- what every answer carries -------------------------------------------------------------------


def test_every_page_forbids_foreign_scripts_frames_and_keeping_it(app: FastAPI, as_: As) -> None:
    client = as_(Role.KEEPER)
    for path in [*reads(app), "/no-such-page"]:
        head = client.get(path, headers={"accept": "text/html"}).headers
        policy = head["content-security-policy"]
        assert "script-src 'self';" in policy, path
        assert "frame-ancestors 'none'" in policy, path
        assert head["x-content-type-options"] == "nosniff", path
        assert head["cache-control"] == "no-store", path


def test_nothing_beside_the_book_is_served(as_: As, site: Site) -> None:
    client = as_(Role.KEEPER)
    for path in ("/static/../access.py", "/static/%2e%2e/access.py", "/static/..%2faccess.py",
                 "/copy.sqlite.door", "/static//etc/passwd"):  # fmt: skip
        assert client.get(path).status_code == 404, path
