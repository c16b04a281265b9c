"""Small sums, the spread of own trials and joined yards as pages: figures of the commands.

All heaps are invented (`heapwright.stats.naive`).
"""

from __future__ import annotations

import html
import json
import re
import tempfile
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command, dump
from tests.flow.test_together import END, fill, yards

from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

PAGE = {"accept": "text/html"}


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock of the commands at the moment of the pages."""
    monkeypatch.setenv("HEAPWRIGHT_NOW", END.isoformat())


def client_of(book: Path, role: Role = Role.KEEPER) -> TestClient:
    door = door_of(str(book))
    site = Site(str(book), door, hosts=frozenset({"testserver"}), here=frozenset(), now=lambda: END)
    made = TestClient(create_app(site), follow_redirects=False)
    cookie = door.cookie(role)
    made.cookies.set(door.cookie_name(https=False), cookie)
    visitor = door.visitor(cookie)
    assert visitor is not None
    made.headers["x-heapwright-token"] = visitor.token
    return made


@pytest.fixture
def client(tmp_path: Path) -> TestClient:
    """A reader of a book without anything in it."""
    return client_of(tmp_path / "new.sqlite", Role.READER)


def plain(text: str) -> str:
    """A page as a reader sees it: no tags, no escapes, single blanks."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


def printed(command: Command, *words: str) -> str:
    code, out, err = command(*words)
    assert code == 0, err
    return out


def sentences(out: str) -> list[str]:
    """Lines of a command that hold a sentence: not its tables, nor the option it names."""
    lines = [" ".join(line.split()) for line in out.splitlines()]
    return [line for line in lines if line.endswith((".", ")")) and "--" not in line]


# --- water, a heap by tape, a barrow --------------------------------------------------------------

SUMS: list[tuple[str, dict[str, Any], list[str]]] = [
    ("water", {"amount": "1 m3", "goal": "60 %", "moisture": "40 %", "flow": "15 L/min"},
     ["1 m3", "--goal", "60 %", "--moisture", "40 %", "--flow", "15 L/min"]),
    ("water", {"amount": "9 barrows", "squeeze": "dusty", "barrow": "85-100 L", "goal": "",
               "like": "grass clippings"},
     ["9 barrows", "--squeeze", "dusty", "--barrow", "85-100 L", "--like", "grass clippings"]),
    ("water", {"amount": "2 m3"}, ["2 m3"]),
    ("size", {"shape": "cone", "width": "2 m", "height": "1,2 m"},
     ["cone", "--diameter", "2 m", "--height", "1,2 m"]),
    ("size", {"shape": "windrow", "width": "3 m", "height": "1.5 m", "length": "10 m",
              "section": "trapezoid", "top": "1 m", "rounded_ends": "true", "air": "-3 C"},
     ["windrow", "--width", "3 m", "--height", "1.5 m", "--length", "10 m", "--section",
      "trapezoid", "--top", "1 m", "--rounded-ends", "--air", "-3 C"]),
    ("size", {"shape": "cone", "width": "2 m", "volume": "1.2566 m3"},
     ["cone", "--width", "2 m", "--volume", "1.2566 m3"]),
    ("size", {"volume": "7.6 m3", "heaps": "8"}, ["--volume", "7.6 m3", "--heaps", "8"]),
    ("barrow", {"counts": "4.5 5; 4,7, 4.8"}, ["4.5", "5", "4,7", "4.8"]),
    ("barrow", {"counts": "", "loads": "10", "buckets": "47", "bucket": "15 L"},
     ["--loads", "10", "--buckets", "47", "--bucket", "15 L"]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "typed", "words"), SUMS)
def test_a_sum_is_that_of_the_command_as_data_and_on_the_page(
    client: TestClient, command: Command, name: str, typed: dict[str, str], words: list[str]
) -> None:
    answer = client.get(f"/api/{name}", params=typed)
    assert answer.status_code == 200, answer.text
    assert answer.text == printed(command, name, *words, "--json").rstrip("\n")
    page = client.get("/plan/sums", params={"sum": name, **typed}, headers=PAGE)
    assert page.status_code == 200
    shown = plain(page.text)
    said = sentences(printed(command, name, *words))
    assert said
    for line in said:
        assert line in shown, line


def test_the_table_of_splits_stands_on_the_page(client: TestClient) -> None:
    asked = {"volume": "7.6 m3", "heaps": "8"}
    options = client.get("/api/size", params=asked).json()["advice"]["options"]
    page = client.get("/plan/sums", params={"sum": "size", **asked}, headers=PAGE).text
    rows = [plain(r) for r in re.findall(r"<tr>(<td.*?)</tr>", page, re.DOTALL)]
    assert len(rows) == len(options)
    for row, option in zip(rows, options, strict=True):
        assert row.startswith(f"{option['heaps']} ")
        assert f" {option['warm']} " in row
    assert any(row.endswith("0.029") for row in rows)


def test_a_barrow_just_measured_stands_in_the_form_for_water(client: TestClient) -> None:
    asked = {"sum": "barrow", "counts": "4.5 5 4.7"}
    page = client.get("/plan/sums", params=asked, headers=PAGE).text
    span = re.search(r"Use it as (\d+-\d+ L)", plain(page))
    assert span is not None
    assert f'id="water-barrow" name="barrow" value="{span[1]}"' in page


WRONG: list[tuple[str, dict[str, str], str, str]] = [
    ("water", {"amount": ""}, "amount", "How much material:"),
    ("water", {"amount": "9 shovels"}, "amount", "How much material = 9 shovels"),
    ("water", {"amount": "1 m3", "goal": "95 %"}, "goal", "Moisture wished = 95 %"),
    ("water", {"amount": "1 m3", "goal": "20 %", "moisture": "40 %"}, "goal", "cannot lower that"),
    ("water", {"amount": "1 m3", "squeeze": "wettish"}, "squeeze", "squeezed = wettish"),
    ("water", {"amount": "1 m3", "like": "moon dust"}, "like", "Material = moon dust"),
    ("water", {"amount": "1 m3", "flow": "fast"}, "flow", "Flow of the hose = fast"),
    ("water", {"amount": "1 barrow", "barrow": "big"}, "barrow", "One barrow holds = big"),
    ("size", {}, "shape", "Shape: neither a shape nor a volume given"),
    ("size", {"shape": "egg", "width": "2 m", "height": "1 m"}, "shape", "Shape = egg"),
    ("size", {"shape": "cone", "height": "1 m"}, "width", "Width on the ground: no width given"),
    ("size", {"shape": "cone", "width": "wide", "height": "1 m"}, "width", "ground = wide"),
    ("size", {"shape": "cone", "width": "2 m"}, "height", "give either a height or a volume"),
    ("size", {"shape": "windrow", "width": "2 m", "height": "1 m"}, "length", "needs its length"),
    ("size", {"volume": "7.6 m3", "heaps": "2.5"}, "heaps", "Heaps wished = 2.5"),
    ("size", {"volume": "7.6 m3", "heaps": "0"}, "heaps", "Heaps wished = 0"),
    ("size", {"volume": "7.6 m3", "air": "mild"}, "air", "Mean air to come = mild"),
    ("barrow", {}, "buckets", "nothing was counted"),
    ("barrow", {"counts": "4.5 five"}, "counts", "Bucketfuls of each load = five"),
    ("barrow", {"counts": "4.5 5", "bucket": "red"}, "bucket", "One bucket holds = red"),
    ("barrow", {"loads": "ten", "buckets": "47"}, "loads", "Loads counted together = ten"),
    ("barrow", {"loads": "1e400", "buckets": "47"}, "loads", "Loads counted together = 1e400"),
]


@pytest.mark.parametrize(("name", "typed", "field", "said"), WRONG)
def test_bad_input_stays_and_its_field_is_named(
    client: TestClient, name: str, typed: dict[str, str], field: str, said: str
) -> None:
    data = client.get(f"/api/{name}", params=typed)
    assert data.status_code in (404, 422), data.text
    answer = client.get("/plan/sums", params={"sum": name, **typed}, headers=PAGE)
    assert answer.status_code == 422
    (alert,) = re.findall(rf'<p[^>]* role="alert" id="{name}-wrong">(.*?)</p>', answer.text)
    assert said in html.unescape(alert)
    assert "--" not in alert
    marked = re.search(rf'id="{name}-{field}"[^>]*aria-invalid="true"', answer.text)
    assert marked is not None
    for key, text in typed.items():
        if key not in ("shape", "squeeze"):
            assert f'id="{name}-{key}" name="{key}" value="{text}"' in answer.text
    before = answer.text.index(f'<h2 id="{name}"')
    assert before < answer.text.index(alert) < answer.text.index(f'name="sum" value="{name}"')


# --- the spread of earlier trials -----------------------------------------------------------------


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A book of three ended trials, one of them with a heap of each way."""
    path = tmp_path / "ours.sqlite"
    fill(path, 3, each=2, trial="First")
    fill(path, 4, each=3, trial="Second")
    fill(path, 5, each=1, trial="Single")
    return path


def test_the_spread_is_that_of_the_command(own: Path, command: Command) -> None:
    client, book = client_of(own, Role.READER), ("--book", str(own))
    for names in (["First"], ["First", "Second"], ["First", "Second", "Single"]):
        answer = client.get("/api/spread", params={"trial": names})
        assert answer.text == printed(
            command, "plan", "spread", *names, *book, "--json"
        ).rstrip("\n")  # fmt: skip
        page = client.get("/plan/spread", params={"trial": names}, headers=PAGE)
        shown, found = plain(page.text), answer.json()
        assert found["sentence"] in shown
        for trial in found["trials"]:
            assert f"{trial['trial']} {trial['sd_c']:.1f} {trial['df']:g}" in shown
        for name, why in found["left_out"].items():
            assert f"{name}: {why}" in shown
        assert all(line in shown for line in found["lines"])
        ticked = re.findall(r'name="trial" value="([^"]+)" checked', page.text)
        assert ticked == names


def test_the_page_of_the_spread_asks_where_there_are_several(own: Path, tmp_path: Path) -> None:
    page = client_of(own, Role.READER).get("/plan/spread", headers=PAGE)
    assert page.status_code == 200
    assert "Choose the trials that have ended" in page.text
    assert page.text.count('type="checkbox"') == 3
    empty = client_of(tmp_path / "new.sqlite", Role.READER).get("/plan/spread", headers=PAGE)
    assert empty.status_code == 200
    assert "Nothing stands here yet" in empty.text


def test_a_spread_that_cannot_be_told_says_why_and_keeps_what_was_ticked(own: Path) -> None:
    client = client_of(own, Role.READER)
    for asked, status in (({"trial": "Single"}, 422), ({"trial": "Other"}, 404)):
        assert client.get("/api/spread", params=asked).status_code == status
        page = client.get("/plan/spread", params=asked, headers=PAGE)
        assert page.status_code == 422
        assert 'role="alert"' in page.text
        assert asked["trial"] in page.text
    assert 'value="Single" checked' in client.get("/plan/spread?trial=Single", headers=PAGE).text


# --- several yards --------------------------------------------------------------------------------


def files(books: list[str]) -> list[tuple[str, tuple[str, bytes, str]]]:
    kind = "application/vnd.sqlite3"
    return [("books", (Path(b).name, Path(b).read_bytes(), kind)) for b in books]


@pytest.fixture
def mailed(tmp_path: Path) -> list[str]:
    (tmp_path / "mailed").mkdir()
    return yards(tmp_path / "mailed", 4, effect_c=9.0)


def test_joined_yards_are_those_of_the_command(
    own: Path, mailed: list[str], command: Command
) -> None:
    client, before = client_of(own), dump(own)
    answer = client.post("/api/together", files=files(mailed))
    assert answer.status_code == 200, answer.text
    assert answer.text == printed(command, "together", *mailed, "--json").rstrip("\n")
    named = client.post("/api/together", files=files(mailed), data={"names": "n, m,s,h"})
    assert named.text == printed(
        command, "together", *mailed, "--names", "n,m,s,h", "--json"
    ).rstrip("\n")  # fmt: skip
    page = client.post("/together", files=files(mailed), headers=PAGE)
    assert page.status_code == 200
    shown = plain(page.text)
    out = [" ".join(line.split()) for line in printed(command, "together", *mailed).splitlines()]
    for word in " ".join(line for line in out if "─" not in line).split():
        assert word.rstrip(":").removeprefix("claim") in shown, word
    one = answer.json()["comparisons"][0]
    for text in (answer.json()["headline"], f"Claim: {one['claim']}", "north", "paired t by yard"):
        assert text in shown
    assert dump(own) == before


def test_seasons_of_mailed_books_are_named_by_commas(
    own: Path, tmp_path: Path, command: Command
) -> None:
    (tmp_path / "two").mkdir()
    book = fill(tmp_path / "two" / "hill.sqlite", 40, trial="Old", year=2025)
    fill(book, 41, trial="New")
    client = client_of(own)
    asked = client.post("/together", files=files([str(book)]), headers=PAGE)
    assert asked.status_code == 422
    assert "hill.sqlite" in asked.text
    assert "Old, New" in plain(asked.text)
    assert "--trial" not in asked.text
    answer = client.post("/api/together", files=files([str(book)]), data={"trials": "Old, New"})
    assert answer.text == printed(
        command, "together", str(book), "--trial", "Old", "--trial", "New", "--json"
    ).rstrip("\n")  # fmt: skip


def test_trials_of_the_own_book_are_joined_with_mailed_ones_and_count_a_look(
    own: Path, mailed: list[str], command: Command
) -> None:
    client = client_of(own)
    alone = client.post("/api/together", data={"own": ["First", "Second"]})
    assert alone.status_code == 200, alone.text
    first = alone.json()
    two = ("--trial", "First", "--trial", "Second")
    again = json.loads(printed(command, "together", "--book", str(own), *two, "--json"))
    assert [y["looks"] for y in first["yards"]] == [1, 1]
    assert [y["looks"] for y in again["yards"]] == [2, 2]
    for found in (first, again):
        for yard in found["yards"]:
            del yard["looks"]
    assert first == again
    both = client.post("/together", files=files(mailed[:2]), data={"own": "First"}, headers=PAGE)
    assert both.status_code == 200
    shown = plain(both.text)
    assert "3 trials (north, mill lane, ours)" in shown
    assert "ours: 3, this one included" in shown
    assert 'name="own" value="First" checked' in both.text
    none = client.post("/together", files=files(mailed[:1]), data={"own": "Third"}, headers=PAGE)
    assert none.status_code == 422
    assert "Known: First, Second, Single" in none.text


@pytest.mark.parametrize("where", ["/together", "/api/together"])
def test_what_is_no_book_is_refused_by_name_and_nothing_stays(
    own: Path, mailed: list[str], where: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    desk = tmp_path / "desk"
    desk.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(desk))
    client, before = client_of(own), dump(own)
    good = files(mailed)[0]
    torn = Path(mailed[1]).read_bytes()
    cases: list[tuple[list[Any], str]] = [
        ([], "no book was chosen"),
        ([("books", ("", b"", "application/octet-stream"))], "no book was chosen"),
        ([good, ("books", ("../../notes.txt", b"9 barrows", "text/plain"))], "notes.txt"),
        ([good, ("books", ("none.sqlite", b"", "text/plain"))], "none.sqlite"),
        ([good, ("books", ("cut.sqlite", torn[:8192], "text/plain"))], "cut.sqlite"),
        ([good, ("books", ("odd.sqlite", torn[:16] + b"x" * 9000, "text/plain"))], "odd.sqlite"),
        ([good, good], "two books have that name"),
        ([good, ("books", ("other.sqlite", *good[1][1:]))], "hold the same entries"),
        ([("books", (f"{i}.sqlite", *good[1][1:])) for i in range(13)], "at most 12 books"),
    ]
    for sent, said in cases:
        answer = client.post(where, files=sent, data={"names": ""}, headers=PAGE)
        assert answer.status_code in (404, 422, 503), (said, answer.text)
        assert said in html.unescape(answer.text)
        assert str(desk) not in answer.text
        assert list(desk.iterdir()) == []
    assert client.post(where, files=[good, files(mailed)[1]], headers=PAGE).status_code == 200
    assert list(desk.iterdir()) == []
    assert dump(own) == before


def test_a_refused_form_keeps_what_was_typed_and_says_that_files_are_gone(
    own: Path, mailed: list[str]
) -> None:
    typed = {"names": "north, mill", "trials": "", "own": "First"}
    answer = client_of(own).post("/together", files=files(mailed), data=typed, headers=PAGE)
    assert answer.status_code == 422
    assert 'value="north, mill"' in answer.text
    assert 'name="own" value="First" checked' in answer.text
    shown = plain(answer.text)
    assert "Names of the yards = north,mill: there are 4 mailed books and 2 names." in shown
    assert "Choose the files again" in shown
    assert "--names" not in answer.text
    assert re.search(r'id="names"[^>]*aria-invalid="true"', answer.text)


def test_only_a_keeper_joins_yards(own: Path, mailed: list[str]) -> None:
    for role in (Role.READER, Role.HELPER):
        client = client_of(own, role)
        assert client.get("/together").status_code == 403
        for where in ("/together", "/api/together"):
            assert client.post(where, files=files(mailed)).status_code == 403
        assert "/together" not in client.get("/plan", headers=PAGE).text


def test_the_plan_leads_to_all_of_them(own: Path, client: TestClient, tmp_path: Path) -> None:
    for book in (own, tmp_path / "new.sqlite"):
        page = client_of(book).get("/plan", headers=PAGE).text
        for where in ("/plan/sums", "/plan/spread", "/together"):
            assert f'href="{where}"' in page
    assert 'href="/together"' in client_of(own).get("/shows?trial=First", headers=PAGE).text
    assert 'href="/plan/sums"' in client.get("/plan", headers=PAGE).text
