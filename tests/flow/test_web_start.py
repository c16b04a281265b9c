"""Start and plan pages over HTTP: answers, locking, mix, calendar, sharing out, paper."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command

from heapwright.errors import InputError
from heapwright.services.paper import read_code, sheet_code
from heapwright.services.plans import example_plan
from heapwright.store.book import Book
from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

NOW = datetime(2026, 5, 2, 9, tzinfo=UTC)
TRIAL = "Ferncombe 2026"  # invented
Client = Callable[..., TestClient]


@pytest.fixture
def client(tmp_path: Path) -> Client:
    """``client()`` is the keeper of the test's book; ``client(Role.READER)`` only looks."""
    book = str(tmp_path / "book.sqlite")
    with Book(book):
        pass

    def made(role: Role = Role.KEEPER, now: datetime = NOW) -> TestClient:
        door = door_of(book)
        site = Site(book, door, hosts=frozenset({"testserver"}),
                    here=frozenset({"testclient"} if role is Role.KEEPER else ()),
                    now=lambda: now)  # fmt: skip
        found = TestClient(create_app(site), headers={"accept": "text/html"})
        if role is not Role.KEEPER:
            found.post("/join", data={"code": door.code(role)}, follow_redirects=False)
        return found

    return made


def _token(client: TestClient) -> str:
    found = re.search(r'name="heapwright-token" content="([^"]*)"', client.get("/start").text)
    assert found is not None
    return found[1]


def _post(client: TestClient, where: str, **fields: Any) -> Any:
    return client.post(where, data={"token": _token(client), **fields})


@pytest.fixture
def locked(client: Client) -> TestClient:
    """The keeper's client with the invented example plan locked."""
    found = client()
    assert _post(found, "/plan/lock", text=example_plan()).status_code == 200
    return found


# --- start ---------------------------------------------------------------------------------------


def test_an_empty_book_leads_to_the_four_questions(client: Client) -> None:
    page = client().get("/")
    assert page.url.path == "/start"
    assert page.text.count("<fieldset") == 4


def test_every_suggestion_can_be_read_and_every_question_skipped(client: Client) -> None:
    keeper = client()
    page = keeper.get("/start").text
    offered = re.findall(r'type="radio" name="(\w+)" value="([^"]+)"', page)
    assert len(offered) >= 12
    for name, value in offered:
        answer = keeper.get("/started", params={name: value})
        assert answer.status_code == 200, (name, value)
    assert keeper.get("/started").status_code == 200


def test_the_useful_page_has_heaps_litres_spots_and_what_it_can_show(client: Client) -> None:
    page = client().get("/started", params={
        "what": "nine barrows of shredded prunings and two of grass mowings",
        "heaps": "three heaps, today", "probe": "50 cm",
    }).text  # fmt: skip
    assert "This makes one warm heap, not three" in page
    assert "litres" in page
    assert "Where should the probe go?" in page
    assert "gap" in page
    assert "[[heap]]" in page


def test_an_answer_that_cannot_be_read_keeps_all_that_was_said(client: Client) -> None:
    answer = client().get(
        "/started", params={"own_what": "a heap of <b>stuff", "heaps": "two heaps, today"}
    )
    assert answer.status_code == 422
    assert "a heap of &lt;b&gt;stuff" in answer.text
    assert 'value="two heaps, today" checked' in answer.text


def test_start_says_what_the_command_says(client: Client, command: Command, tmp_path: Path) -> None:
    line = "nine barrows of shredded prunings, three heaps, 1 July 2026, probe 50 cm"
    code, out, _ = command("start", line, "--json", "--out", str(tmp_path / "p.toml"))
    assert code == 0
    mine = client(now=datetime(2026, 7, 2, 8, tzinfo=UTC)).get("/api/start", params={"line": line})
    theirs = json.loads(out)
    theirs["plan"] = Path(theirs["plan"]).read_text(encoding="utf-8")
    assert mine.json() == theirs


# --- lock ----------------------------------------------------------------------------------------


def test_the_plan_of_the_first_page_can_be_checked_and_locked(client: Client) -> None:
    keeper = client()
    page = keeper.get("/started", params={
        "what": "12 barrows of arborist chips", "heaps": "two heaps, today",
        "ways": "one turned, one left alone",
    }).text  # fmt: skip
    text = html.unescape(page.split("<textarea")[1].split(">", 1)[1].split("</textarea>")[0])
    checked = _post(keeper, "/plan/check", text=text.strip().replace("\n", "\r\n"))
    assert "One heap each" in checked.text
    done = _post(keeper, "/plan/lock", text=text.strip().replace("\n", "\r\n"))
    assert done.status_code == 200
    assert re.search(r'class="code">\w{4}-\w{4}<', done.text)
    assert "was locked" not in done.text


def test_check_lock_and_show_are_those_of_the_command(
    client: Client, command: Command, tmp_path: Path
) -> None:
    file = tmp_path / "plan.toml"
    file.write_text(example_plan(), encoding="utf-8")
    keeper = client(now=datetime(2026, 7, 2, 8, tzinfo=UTC))
    token = {"x-heapwright-token": _token(keeper)}
    checked = keeper.post("/api/plan/check", data={"text": example_plan()}, headers=token)
    assert checked.json() == json.loads(command("plan", "check", str(file), "--json")[1])
    stored = keeper.post("/api/plan/lock", data={"text": example_plan()}, headers=token).json()
    assert stored["fingerprint"] == checked.json()["fingerprint"]
    for place, words in (
        ("/api/plan", ("plan", "show", "--json")),
        ("/api/plan/reach", ("plan", "reach", str(file), "--json")),
        ("/api/calendar", ("calendar", TRIAL, "--json")),
        ("/api/deal?loads=12&scores=10 20 30 40 50 60", ("deal", TRIAL, "--loads", "12",
         "--scores", "10 20 30 40 50 60", "--json")),
        ("/api/deal?lots=true", ("deal", TRIAL, "--lots", "--json")),
    ):  # fmt: skip
        code, out, err = command(*words)
        assert code == 0, err
        assert keeper.get(place).json() == json.loads(out), place


def test_a_faulty_plan_is_said_and_kept(client: Client) -> None:
    keeper = client()
    answer = _post(keeper, "/plan/lock", text='[trial]\nname = "X"\nstarts = never')
    assert answer.status_code == 422
    assert "line 3" in answer.text
    assert "starts = never" in answer.text
    assert keeper.get("/plan").text.count("No plan yet")


def test_an_edit_of_a_locked_part_asks_for_a_reason(locked: TestClient) -> None:
    edited = example_plan().replace('matters = "8 C"', 'matters = "2 C"')
    refused = _post(locked, "/plan/lock", text=edited)
    assert refused.status_code == 409
    assert 'name="why"' in refused.text
    assert "2 C" in refused.text
    assert _post(locked, "/plan/lock", text=edited, edit="true").status_code == 409
    done = _post(locked, "/plan/lock", text=edited, edit="true", why="the old one was a slip")
    assert done.status_code == 200
    page = locked.get("/plan").text
    assert "the old one was a slip" in page
    assert "Locked parts edited since: 1" in page


def test_a_reader_may_look_and_not_lock(locked: TestClient, client: Client) -> None:
    reader = client(Role.READER)
    assert reader.get("/plan").status_code == 200
    assert "Edit the plan" not in reader.get("/plan").text
    assert reader.get("/plan/lock").status_code == 403
    assert _post(reader, "/plan/lock", text=example_plan()).status_code == 403
    assert reader.get("/plan/deal?lots=true").status_code == 403
    assert reader.get("/plan/deal/lots").status_code == 403
    assert reader.get("/sheet").status_code == 403


# --- plan pages ----------------------------------------------------------------------------------

PAGES = ("/plan", "/plan/mix", "/plan/reach", "/plan/calendar", "/plan/deal", "/plan/sheet",
         "/plan/signs", "/sheet")  # fmt: skip


@pytest.mark.parametrize("place", PAGES)
def test_every_page_begins_with_its_sentence_and_labels_its_fields(
    locked: TestClient, place: str
) -> None:
    page = locked.get(place)
    assert page.status_code == 200
    _well_made(page.text)


@pytest.mark.parametrize("place", PAGES)
def test_without_a_plan_a_page_teaches_the_one_step(client: Client, place: str) -> None:
    page = client().get(place)
    assert page.status_code == 200
    assert "/start" in page.text or place == "/plan/mix"
    _well_made(page.text)


def _well_made(page: str) -> None:
    main = page.split('<main id="main">')[1].split("</main>")[0]
    assert 'class="lead"' in main or 'class="lead noprint"' in main
    levels = [int(n) for n in re.findall(r"<h(\d)", main)]
    assert levels[0] == 1
    assert all(b <= a + 1 for a, b in pairwise(levels))
    assert "style=" not in page
    for tag in re.findall(r"<(?:input|select|textarea)[^>]*>", main):
        if 'type="hidden"' in tag or 'type="radio"' in tag or 'type="checkbox"' in tag:
            continue
        named = re.search(r'id="([^"]+)"', tag)
        assert named is not None, tag
        assert f'for="{named[1]}"' in main, tag


def test_the_plan_in_words_has_fingerprint_question_and_links(locked: TestClient) -> None:
    page = locked.get("/plan").text
    assert re.search(r"fingerprint \w{4}-\w{4}", page)
    assert "mean degrees above air" in page.lower()
    for place in PAGES[1:]:
        assert f'href="{place}?trial=Ferncombe%202026"' in page


def test_the_mix_is_that_of_the_command(locked: TestClient, command: Command) -> None:
    token = {"x-heapwright-token": _token(locked)}
    lines = ["6 barrows arborist chips [moisture 45-55 %]", "2 barrows grass mowings"]
    for more in ({}, {"goal_cn": "25-35", "barrow": "85-100 L", "nitrogen": "urea 46 %"}):
        options = [w for k, v in more.items() for w in ("--" + k.replace("_", "-"), v)]
        code, out, err = command("mix", *lines, *options, "--json")
        assert code == 0, err
        mine = locked.post("/api/mix", data={"materials": "\n".join(lines), **more}, headers=token)
        assert mine.json() == json.loads(out)


def test_the_mix_begins_with_the_materials_of_the_plan(locked: TestClient) -> None:
    page = locked.get("/plan/mix").text
    assert "62 barrows shredded apple prunings" in page
    assert "moisture 46-52 %" in page
    assert "This mix has a C:N of about" in page


def test_a_mix_that_cannot_be_read_is_kept(locked: TestClient) -> None:
    answer = locked.get("/plan/mix", params={"materials": "some chips"})
    assert answer.status_code == 422
    assert "some chips</textarea>" in answer.text
    assert "no amount and material found" in answer.text


def test_the_calendar_downloads(locked: TestClient) -> None:
    answer = locked.get("/plan/calendar.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    assert answer.text.startswith("BEGIN:VCALENDAR")


def test_sharing_out_hides_the_ways_from_the_dealer(locked: TestClient) -> None:
    page = locked.get("/plan/deal", params={"loads": "12", "scores": "10 20 30 40 50 60"}).text
    assert "Lots, not for the dealer" not in page
    assert not re.search(r"\bvented", page)
    sheet = locked.get("/plan/deal/sheet", params={"loads": "12"}).text
    assert not re.search(r"\bvented", sheet)
    assert ": vented" in locked.get("/plan/deal?lots=true").text
    assert re.search(r"\bvented", locked.get("/plan/deal/lots").text)
    assert locked.get("/plan/deal", params={"scores": "much"}).status_code == 422


# --- paper ---------------------------------------------------------------------------------------


def test_the_sheet_has_heaps_spots_air_and_a_code(locked: TestClient, tmp_path: Path) -> None:
    page = locked.get("/plan/sheet?day=2026-05-04").text
    code = sheet_code(TRIAL, date(2026, 5, 4))
    assert code in page
    fields = re.findall(r'<label for="r\d+">(\w+)</label>', locked.get("/sheet").text)
    rows = re.findall(r'<th scope="row">(\w)</th>', page)
    spots = re.findall(r'<th scope="col">(\w+)<br>', page)
    assert rows == list("ABCDEF")
    assert fields == spots * 6
    with Book(str(tmp_path / "book.sqlite")) as book:
        assert read_code(book, code.upper().replace("-", " ")) == (TRIAL, date(2026, 5, 4))
        with pytest.raises(InputError, match="no trial"):
            read_code(book, "222-222")


def test_the_code_of_a_sheet_brings_its_day(locked: TestClient) -> None:
    page = locked.get("/sheet", params={"code": sheet_code(TRIAL, date(2026, 4, 28))}).text
    assert 'name="when" value="2026-04-28"' in page
    wrong = locked.get("/sheet", params={"code": "222-222"})
    assert "no trial of this book has a sheet with that code" in wrong.text


def test_every_word_of_start_and_sheet_is_in_the_catalogue(
    locked: TestClient, tmp_path: Path
) -> None:
    book = str(tmp_path / "book.sqlite")
    site = Site(book, door_of(book), hosts=frozenset({"testserver"}),
                here=frozenset({"testclient"}), language="zz", now=lambda: NOW)  # fmt: skip
    with TestClient(create_app(site)) as marked:
        for place in ("/start", "/sheet"):
            main = marked.get(place).text.split('<main id="main">')[1].split("</main>")[0]
            texts = [html.unescape(x).strip() for x in re.findall(r">([^<>]+)<", main)]
            names = {*"ABCDEF", "core", "south", "north", ""}
            assert [x for x in texts if x not in names and not x.startswith("⟦")] == []


def test_an_exchange_is_asked_about_and_earlier_answers_are_kept(
    locked: TestClient, tmp_path: Path
) -> None:
    levels = {"A": 62, "B": 41, "C": 50, "D": 50, "E": 50, "F": 50}
    for day in (21, 24, 27, 30):
        rows = [str(v) for v in levels.values() for _ in range(3)]
        assert _sheet(locked, rows, when=f"2026-04-{day} 07:00").status_code == 200
    swapped = {**levels, "A": 41, "B": 62}
    rows = [str(v) for v in swapped.values() for _ in range(3)]
    rows[17] = "140"
    asked = _sheet(locked, rows)
    assert asked.status_code == 409
    given = {}
    for _ in range(3):
        pairs = re.findall(
            r'name="keys" value="([^"]+)"><input type="hidden" name="stood" value="([^"]+)"',
            asked.text,
        )
        for key, stood in pairs:
            given[key] = (stood, "F" if key == "F.north" else "exchanged")
        asked = _sheet(locked, rows, keys=list(given), stood=[s for s, _ in given.values()],
                       answers=[a for _, a in given.values()])  # fmt: skip
        if asked.status_code == 200:
            break
    assert asked.status_code == 200, asked.text
    assert {"exchange.A.B", "F.north"} <= set(given)
    last = [r for r in _readings(tmp_path) if r.heap == "A" and r.when.low.month == 5]
    assert {r.value for r in last} == {62}


def test_signs_tell_heap_and_spots_and_the_way_only_on_asking(locked: TestClient) -> None:
    page = locked.get("/plan/signs").text
    assert page.count('class="paper sign"') == 6
    assert "50 cm, top, straight down" in page
    assert not re.search(r"\bvented", page)
    assert re.search(r"\bvented", locked.get("/plan/signs?ways=true").text)


def _sheet(client: TestClient, readings: list[str], **more: Any) -> Any:
    fields = {"trial": TRIAL, "when": "2026-05-01 07:10", "readings": readings,
              "notes": [""] * 6, "air": "11", **more}  # fmt: skip
    return _post(client, "/sheet", **fields)


def _readings(folder: Path) -> list[Any]:
    with Book(str(folder / "book.sqlite")) as book:
        return list(book.current("reading", TRIAL))


def test_a_typed_sheet_is_one_round_and_twice_is_once(locked: TestClient, tmp_path: Path) -> None:
    code = sheet_code(TRIAL, date(2026, 5, 1))
    readings = [str(40 + k) for k in range(17)] + ["-"]
    notes = ["", "smelt of ammonia", "", "", "", ""]
    first = _sheet(locked, readings, notes=notes, code=code, who="Ann")
    assert first.status_code == 200, first.text
    assert "18 numbers, 1 notes" in first.text
    again = _sheet(locked, readings, notes=notes, code=code, who="Ann")
    assert "nothing new was written" in again.text
    kept = _readings(tmp_path)
    assert [r.value for r in sorted(kept, key=lambda r: r.value)] == list(range(40, 57))
    assert len({r.round for r in kept}) == 1
    assert {r.trail.source for r in kept} == {f"sheet {code}"}


def test_doubts_stand_beside_their_fields_and_nothing_is_lost(
    locked: TestClient, tmp_path: Path
) -> None:
    readings = [str(40 + k) for k in range(18)]
    readings[4] = "140"
    asked = _sheet(locked, readings, notes=["", "wet foot", "", "", "", ""])
    assert asked.status_code == 409
    assert _readings(tmp_path) == []
    assert 'value="140"' in asked.text
    assert "wet foot" in asked.text
    key, stood = re.search(
        r'name="keys" value="([^"]+)"><input type="hidden" name="stood" value="([^"]+)"', asked.text
    ).groups()  # type: ignore[union-attr]
    assert key == "B.south"
    done = _sheet(locked, readings, keys=[key], stood=[stood], answers=["F"])
    assert done.status_code == 200, done.text
    assert any(abs(r.value - 60) < 0.01 for r in _readings(tmp_path))


def test_a_corrected_number_ends_its_question(locked: TestClient, tmp_path: Path) -> None:
    readings = [str(40 + k) for k in range(18)]
    done = _sheet(locked, readings, keys=["B.south"], stood=["140 C"], answers=["F"])
    assert done.status_code == 200, done.text
    assert len(_readings(tmp_path)) == 18


def test_a_cell_that_is_no_number_is_named(locked: TestClient, tmp_path: Path) -> None:
    answer = _sheet(locked, ["4o", "5l", *["50"] * 16])
    assert answer.status_code == 422
    assert "4o is no temperature" in answer.text
    assert "5l is no temperature" in answer.text
    assert answer.text.count('value="50"') == 16
    assert _readings(tmp_path) == []
    assert _sheet(locked, [""] * 18, air="").status_code == 422
    assert "still to come" in _sheet(locked, ["50"] * 18, when="2027-01-01").text
