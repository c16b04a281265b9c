"""Trial, heaps, what it shows and book as pages: figures of the commands, and what they do."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
import zipfile
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command

from heapwright.services.demo import run_demo
from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

NOW = datetime(2026, 6, 21, 8, tzinfo=UTC)
TRIAL = "Ferncombe 2026"
PAGE = {"accept": "text/html"}


@pytest.fixture(scope="module")
def finished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book of the invented trial, made once."""
    folder = tmp_path_factory.mktemp("demo") / "demo"
    run_demo(folder, say=lambda _="": None)
    return folder / "book.sqlite"


@pytest.fixture
def book(finished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book of its own for a test, and the clock of the commands at the same moment."""
    monkeypatch.setenv("HEAPWRIGHT_NOW", NOW.isoformat())
    return Path(shutil.copy(finished, tmp_path / "yard.sqlite"))


def client_of(book: Path, role: Role = Role.KEEPER) -> TestClient:
    door = door_of(str(book))
    site = Site(str(book), door, hosts=frozenset({"testserver"}), here=frozenset(), now=lambda: NOW)
    made = TestClient(create_app(site), follow_redirects=False)
    cookie = door.cookie(role)
    made.cookies.set(door.cookie_name(https=False), cookie)
    visitor = door.visitor(cookie)
    assert visitor is not None
    made.headers["x-heapwright-token"] = visitor.token
    return made


@pytest.fixture
def client(book: Path) -> TestClient:
    return client_of(book)


def page(client: TestClient, where: str, status: int = 200) -> str:
    answer = client.get(where, headers=PAGE)
    assert answer.status_code == status, answer.text[:2000]
    return answer.text


def said(command: Command, book: Path, *words: str) -> Any:
    """What a command prints as JSON, on a copy of the book so that looks are counted apart."""
    other = Path(shutil.copy(book, book.with_name("other.sqlite")))
    own = () if words[0] == "diagnose" else ("--book", str(other))
    code, out, err = command(*words, "--json", *own)
    assert code == 0, err
    return json.loads(out)


def plain(text: str) -> str:
    """A page as a reader sees it: no tags, no escapes, single blanks."""
    import html

    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


# --- the same figures as the commands -------------------------------------------------------------


def test_data_of_the_pages_are_those_of_the_commands(
    client: TestClient, book: Path, command: Command
) -> None:
    assert client.get("/api/today").json() == said(command, book, "today", TRIAL)
    assert client.get("/api/history").json() == said(command, book, "history")
    assert client.get("/api/history?heap=B&changed=true").json() == said(
        command, book, "history", "--heap", "B", "--changed"
    )
    expected = said(command, book, "findings")
    assert client.get("/api/findings").json() == expected
    asked = "complaint=not+heating&squeeze=dusty&core=16+C&air=14+C&age=8+d&smell=earthy"
    assert client.get(f"/api/diagnose?{asked}").json() == said(
        command, book, "diagnose", "not heating", "--squeeze", "dusty", "--core", "16 C",
        "--air", "14 C", "--age", "8 d", "--smell", "earthy",
    )  # fmt: skip


def test_findings_stand_on_the_page_word_for_word(client: TestClient) -> None:
    data = client.get("/api/findings").json()
    text = plain(page(client, "/shows"))
    for comparison in data["comparisons"]:
        for sentence in re.split(r"(?<=[.])\s+(?=[A-Z])", comparison["headline"]):
            assert sentence in text
        assert f"Claim: {comparison['claim']}" in text
    assert data["fair_start"]["sentence"] in text
    assert "Opening this page is one look" in text
    report = page(client, "/shows/report")
    assert data["headline"] in plain(report)
    assert "<script>" not in report


def test_pages_and_findings_count_looks_and_the_trial_does_not(client: TestClient) -> None:
    def looks() -> int:
        found: int = client.get("/api/findings").json()["looks"]
        return found

    before = looks()
    page(client, "/trial")
    page(client, "/heaps/A")
    assert looks() == before + 1
    page(client, "/shows")
    assert looks() == before + 3


def test_curves_are_the_readings_that_count(client: TestClient) -> None:
    data = client.get("/api/trial").json()
    rows = client.get("/api/history").json()
    counted = [r for r in rows if r["kind"] == "reading" and r["current"]]
    for heap in data["heaps"]:
        mine = sorted(
            round(r["value"], 6) for r in counted
            if r["heap"] == heap["heap"] and r["quantity"] == "temp_c"
        )  # fmt: skip
        drawn = sorted(round(t, 6) for s in heap["spots"].values() for t in s["temp"])
        assert drawn == mine
        assert len(heap["when"]) == len(heap["mean"]) == len(heap["age_d"])
    text = page(client, "/trial")
    assert plain(data["sentence"]) in plain(text)
    for row in data["rounds"]:
        cells = re.search(rf'<tr id="{row["id"]}">(.*?)</tr>', text, re.DOTALL)
        assert cells is not None
        assert plain(cells[1]) == plain(
            " ".join([row["when"], row["age"], *row["cells"], row["air"]])
        )


def test_a_diagnosis_stands_on_the_page_of_its_heap(client: TestClient) -> None:
    asked = "complaint=not+heating&squeeze=dusty&core=16+C&air=14+C"
    data = client.get(f"/api/diagnose?{asked}").json()["diagnosis"]
    text = plain(page(client, f"/heaps/A/wrong?{asked}"))
    for cause in [c for c in data["causes"][:4] if c["chance"] >= 0.05]:
        assert f"{100 * cause['chance']:.0f} %: {cause['text']}" in text
        assert " ".join(cause["advice"].split()) in text
    wrong = page(client, "/heaps/A/wrong?complaint=not+heating&core=warm", 422)
    assert 'value="warm"' in wrong


# --- empty, named with care, and who may what -----------------------------------------------------


@pytest.mark.parametrize("where", ["/trial", "/heaps", "/shows", "/book", "/jobs"])
def test_an_empty_page_teaches_its_one_step(tmp_path: Path, where: str) -> None:
    text = page(client_of(tmp_path / "new.sqlite"), where)
    assert text.count('class="lead"') == 1
    assert 'class="button"' in text


def test_names_are_text_and_never_markup(tmp_path: Path, command: Command) -> None:
    from tests.flow.test_learning import PLAN

    name = "<img src=x onerror=alert(1)>"
    (tmp_path / "p.toml").write_text(
        PLAN.replace("INVENTED: is a turned heap warmer?", name), encoding="utf-8"
    )
    code, _, err = command("plan", "lock", str(tmp_path / "p.toml"))
    assert code == 0, err
    client = client_of(tmp_path / "book.sqlite")
    client.post(
        "/heaps/A/work", data={"trial": "Two small heaps", "what": "note", "note": name},
        headers=PAGE,
    )  # fmt: skip
    for where in ("/trial", "/heaps/A", "/shows", "/book"):
        text = page(client, where)
        assert "<img" not in text
        assert "onerror" in text or where == "/book"


def test_a_reader_looks_and_a_helper_logs_but_does_not_mend(book: Path) -> None:
    for where in ("/trial", "/heaps", "/heaps/A", "/shows", "/book", "/jobs"):
        page(client_of(book, Role.READER), where)
    work = {"trial": TRIAL, "what": "turned"}
    assert client_of(book, Role.READER).post("/heaps/A/work", data=work).status_code == 403
    assert client_of(book, Role.READER).post("/jobs", data={"kind": "learn"}).status_code == 403
    helper = client_of(book, Role.HELPER)
    assert helper.post("/heaps/A/work", data=work).status_code == 303
    entry = helper.get("/api/history?heap=A").json()[0]["id"]
    mend = {"trial": TRIAL, "why": "no"}
    assert helper.post(f"/book/entry/{entry}/withdraw", data=mend).status_code == 403
    assert helper.get("/book/copy").status_code == 403
    assert "Set it right" not in page(helper, f"/book/entry/{entry}")
    del helper.headers["x-heapwright-token"]
    assert helper.post("/heaps/A/work", data=work).status_code == 403


# --- logging --------------------------------------------------------------------------------------


def test_work_about_some_day_is_kept_once(client: TestClient) -> None:
    sent = {
        "trial": TRIAL, "what": "watered", "when": "about Tuesday", "litres": "20",
        "entry": "made-on-the-page-1",
    }  # fmt: skip
    first = client.post("/heaps/A/work", data=sent)
    again = client.post("/heaps/A/work", data=sent)
    assert first.status_code == again.status_code == 303
    (row,) = [r for r in client.get("/api/history?heap=A").json() if r["id"] == sent["entry"]]
    assert (row["typed_when"], row["water_l"]) == ("about Tuesday", 20.0)
    assert row["low"] < row["high"]
    text = plain(page(client, first.headers["location"].partition("#")[0]))
    assert "Kept: watered 20 L" in text


def test_what_cannot_stand_is_said_with_what_was_typed(client: TestClient) -> None:
    sent = {"trial": TRIAL, "what": "watered", "litres": "many", "note": "by <can>"}
    answer = client.post("/heaps/A/work", data=sent, headers=PAGE)
    assert answer.status_code == 422
    assert 'value="many"' in answer.text
    assert 'value="by &lt;can&gt;"' in answer.text
    sent = {"trial": TRIAL, "quantity": "moisture", "value": "145 %", "method": "oven"}
    answer = client.post("/heaps/A/sample", data=sent, headers=PAGE)
    assert answer.status_code == 422
    assert 'value="145 %"' in answer.text
    assert 'value="oven"' in answer.text
    sent["value"] = "55 %"
    assert client.post("/heaps/A/sample", data=sent).status_code == 303
    assert client.post("/heaps/Z/work", data={"trial": TRIAL, "what": "turned"}).status_code == 404


def test_no_more_adding_refuses_material_until_it_is_taken_back(client: TestClient) -> None:
    def work(what: str) -> Any:
        return client.post(
            "/heaps/B/work", data={"trial": TRIAL, "what": what, "entry": f"x-{what}"}, headers=PAGE
        )

    assert work("closed").status_code == 303
    refused = work("added")
    assert refused.status_code == 422
    assert "takes no more material" in plain(refused.text)
    assert "withdraw the entry x-closed" in plain(refused.text)
    assert work("turned").status_code == 303
    assert "It takes no more material." in plain(page(client, "/heaps/B"))
    why = {"trial": TRIAL, "why": "not this heap"}
    assert client.post("/book/entry/x-closed/withdraw", data=why).status_code == 303
    assert work("added").status_code == 303


# --- the book -------------------------------------------------------------------------------------


def test_a_value_is_corrected_withdrawn_and_counted_again_with_reasons(client: TestClient) -> None:
    first = next(r for r in client.get("/api/history").json() if r["kind"] == "reading")
    place = f"/book/entry/{first['id']}"
    answer = client.post(f"{place}/correct", data={"trial": TRIAL, "value": "51"}, headers=PAGE)
    assert answer.status_code == 422
    assert "reason" in answer.text
    for how, more in (("correct", {"value": "51"}), ("withdraw", {}), ("restore", {})):
        sent = {"trial": TRIAL, "why": f"{how} <b>", **more}
        assert client.post(f"{place}/{how}", data=sent).status_code == 303
    rows = client.get(f"/api/history?id={first['id']}").json()
    assert [r["action"] for r in rows][-3:] == ["corrected", "withdrawn", "restored"]
    assert rows[-1]["value"] == 51
    text = page(client, place)
    assert "correct &lt;b&gt;" in text
    assert client.post(f"{place}/burn", data={"trial": TRIAL, "why": "x"}).status_code == 422


def test_two_heaps_of_a_round_are_exchanged(client: TestClient) -> None:
    rows = client.get("/api/history").json()
    mark = next(r["round"] for r in rows if r["kind"] == "reading" and r["heap"] == "A")

    def read(heap: str) -> list[float]:
        found = client.get("/api/history").json()
        return sorted(
            r["value"] for r in found
            if r["kind"] == "reading" and r["current"] and r["round"] == mark and r["heap"] == heap
        )  # fmt: skip

    a, b = read("A"), read("B")
    sent = {"trial": TRIAL, "round": mark, "one": "A", "other": "B"}
    assert client.post("/book/exchange", data=sent, headers=PAGE).status_code == 422
    assert client.post("/book/exchange", data=sent | {"why": "swapped"}).status_code == 303
    assert (read("A"), read("B")) == (b, a)


SHEET = "time;heap;core\n2026-06-19 08:00;A;31\n2026-06-19 08:00;Bee;130\n"


def _fields(text: str) -> dict[str, str]:
    """Hidden fields of the first form that goes on with an import."""
    form = re.search(r'<form method="post" action="/book/import">(.*?)</form>', text, re.DOTALL)
    assert form is not None, plain(text)
    found = re.findall(r'type="hidden" name="([^"]*)" value="([^"]*)"', form[1])
    return dict(found)


def test_a_sheet_is_looked_at_asked_about_and_written(client: TestClient) -> None:
    before = len(client.get("/api/history").json())
    answer = client.post(
        "/book/import", data={"trial": TRIAL}, headers=PAGE,
        files={"file": ("../../<i>logger</i>.csv", SHEET.encode(), "text/csv")},
    )  # fmt: skip
    assert answer.status_code == 409, plain(answer.text)
    assert "<i>" not in answer.text
    asked = re.findall(r'name="(answer\.[^"]+)"', answer.text)
    assert asked
    told = {"answer.heap.Bee": "B", "answer.out_of_range": "skip"}
    kept = _fields(answer.text)
    for _ in range(6):
        answers = {k: told.get(k) or _suggested(answer.text, k) for k in asked}
        answer = client.post("/book/import", data=kept | answers, headers=PAGE)
        kept = _fields(answer.text)
        asked = [k for k in re.findall(r'name="(answer\.[^"]+)"', answer.text) if k not in kept]
        if answer.status_code != 409:
            break
    assert answer.status_code == 200, plain(answer.text)
    assert "nothing is written yet" in answer.text
    assert len(client.get("/api/history").json()) == before
    assert any(k == "answer.heap.Bee" for k in kept)
    answer = client.post("/book/import", data=kept, headers=PAGE)
    assert "It is in the book: " in answer.text
    assert len(client.get("/api/history").json()) > before
    assert client.post("/book/import", data=kept, headers=PAGE).status_code == 422


def _suggested(text: str, key: str) -> str:
    found = re.search(
        rf'<select[^>]*name="{re.escape(key)}">.*?</select>|<input[^>]*name="{re.escape(key)}"[^>]*>',
        text, re.DOTALL,
    )  # fmt: skip
    assert found is not None
    chosen = re.search(r'value="([^"]+)" selected', found[0]) or re.search(
        r'<option value="([^"]+)"', found[0]
    )
    typed = re.search(r' value="([^"]*)" maxlength', found[0])
    return chosen[1] if chosen else typed[1] if typed else ""


@pytest.mark.parametrize(
    ("name", "content"),
    [("a.exe", b"x"), ("a.csv", b""), ("a.csv", b"x," * 5_000_001), ("a.json", b"{}")],
)
def test_what_is_no_sheet_is_refused(client: TestClient, name: str, content: bytes) -> None:
    answer = client.post(
        "/book/import", data={"trial": TRIAL}, files={"file": (name, content)}, headers=PAGE
    )
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text


def test_a_sheet_that_waits_is_named_by_nobody_else(client: TestClient, book: Path) -> None:
    for waiting in ("../demo", "0" * 32, ""):
        sent = {"trial": TRIAL, "waiting": waiting}
        assert client.post("/book/import", data=sent, headers=PAGE).status_code == 422


def test_a_copy_is_a_whole_book_and_the_kit_a_zip(client: TestClient, tmp_path: Path) -> None:
    answer = client.get("/book/copy")
    (tmp_path / "copy.sqlite").write_bytes(answer.content)
    link = sqlite3.connect(tmp_path / "copy.sqlite")
    assert link.execute("pragma integrity_check").fetchone() == ("ok",)
    link.close()
    other = client_of(tmp_path / "copy.sqlite")
    assert other.get("/api/history").json() == client.get("/api/history").json()
    archive = zipfile.ZipFile(BytesIO(client.get("/shows/kit.zip").content))
    assert {"kit/recompute.R", "kit/heaps.csv"} <= set(archive.namelist())
    file = client.get("/shows/report/file")
    assert "ferncombe-2026-report.html" in file.headers["content-disposition"]


# --- forecasts that were kept ---------------------------------------------------------------------


def test_kept_forecasts_are_shown_with_hits_and_misses_without_a_fit(
    client: TestClient, book: Path
) -> None:
    from datetime import timedelta

    from heapwright.domain.forecast import Forecast
    from heapwright.store.book import Book

    rows = client.get("/api/history?heap=A").json()
    last = [r for r in rows if r["kind"] == "reading" and r["current"]][-2:]
    made = datetime.fromisoformat(last[0]["low"]) - timedelta(days=3)
    with Book(str(book)) as opened:
        opened.add_forecasts(TRIAL, [
            Forecast(heap="A", spot=r["spot"], made=made, due=made + timedelta(days=d),
                     low=r["value"] + off - 2, mean=r["value"] + off, high=r["value"] + off + 2,
                     no_change=30.0, cooling=30.0, weather="invented", print="x")
            for r, off in zip(last, (0.0, 20.0), strict=True) for d in (1, 5)
        ])  # fmt: skip
    track = client.get("/api/trial").json()["forecasts"]
    assert track["made"] == 1
    inside = {h["spot"]: h["inside"] for h in track["track"]["hits"]}
    assert inside == {last[0]["spot"]: True, last[1]["spot"]: False}
    text = plain(page(client, "/trial"))
    assert "1 of 2 readings missed the range that was forecast" in text
