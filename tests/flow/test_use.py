"""Use and cautions: command, page and data say the same; cautions only where work meets them.

The heaps are invented (Ferncombe).
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command
from tests.flow.test_web_pages import NOW, TRIAL, book, client, finished, page, plain, said

from heapwright.domain.entries import Event, Reading
from heapwright.domain.when import When
from heapwright.services.calendar import due_today
from heapwright.services.cautions import hottest_now
from heapwright.services.plans import example_plan, lock_plan
from heapwright.store.book import Book
from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

__all__ = ["book", "client", "finished"]


def log(command: Command, *words: str) -> None:
    code, _, err = command("log", "sample", *words)
    assert code == 0, err


@pytest.fixture
def tested(book: Path, command: Command, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book in which heap A still rots, B is ripe, and the rest was not tested."""
    monkeypatch.setenv("HEAPWRIGHT_BOOK", str(book))
    log(command, "A", "reheat_c", "24 C")
    log(command, "A", "cn", "34")
    log(command, "B", "reheat_c", "6 C")
    log(command, "B", "cn", "14")
    log(command, "B", "emergence", "58/60, control 58/60")
    return book


# --- command = page = data ------------------------------------------------------------------------

ASKED: list[tuple[dict[str, str], list[str]]] = [
    ({}, []),
    ({"heap": "b"}, ["b"]),
    ({"heap": "A", "depth": "8-10 cm", "for": "mulch"},
     ["A", "--depth", "8-10 cm", "--for", "mulch"]),
    ({"for": "pots", "volume": "0.6 m3"}, ["--for", "pots", "--volume", "0.6 m3"]),
    ({"depth": "2 in"}, ["--depth", "2 in"]),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "words"), ASKED)
def test_use_is_the_same_as_data_and_on_the_page(
    tested: Path, client: TestClient, command: Command, typed: dict[str, str], words: list[str]
) -> None:
    answer = client.get("/api/use", params={"trial": TRIAL, **typed})
    assert answer.status_code == 200, answer.text
    code, out, err = command("use", *words, "--trial", TRIAL, "--json", "--book", str(tested))
    assert code == 0, err
    assert answer.text == out.rstrip("\n")
    shown = plain(client.get("/finish/use", params=typed, headers={"accept": "text/html"}).text)
    part = json.loads(out)
    cells = [c for g in part["grids"] for row in g["rows"] for c in row]
    for line in (*part["words"], *part["known"], *part["sources"], *cells):
        assert " ".join(line.split()) in shown, line
    code, out, err = command("use", *words, "--trial", TRIAL, "--book", str(tested))
    assert part["words"][0] in " ".join(out.split())


def test_the_worse_test_decides_and_what_is_missing_is_named(
    tested: Path, command: Command
) -> None:
    found = said(command, tested, "use")
    assert found["words"][:3] == [
        "Heap A, by these tests: mulch yes; bed, pots and seedlings not yet.",
        "Heap B, by these tests: mulch, bed, pots and seedlings yes.",
        "Heaps C, D, E and F, no test of finish yet: mulch yes; bed, pots and seedlings not "
        "tested.",
    ]
    heaps = {h["heap"]: h for h in found["numbers"]["heaps"]}
    assert "24 degrees: not ripe" in heaps["A"]["answers"]["pots"]["why"]
    assert "whether it still rots" in heaps["C"]["answers"]["bed"]["why"]
    assert heaps["A"]["nitrogen_free_g_kg"] < 0 < heaps["B"]["nitrogen_free_g_kg"]
    assert any("local rule" in w for w in found["words"])


def test_what_a_heap_covers(tested: Path, command: Command) -> None:
    found = said(command, tested, "use", "A", "--depth", "5 cm", "--volume", "0.8-1.2 m3")
    covers = found["numbers"]["heaps"][0]["covers"]["mulch"]
    assert covers == {"depth_m": 0.05, "m2": 20.0, "low": 16.0, "high": pytest.approx(24.0)}
    assert "common practice, no source" in found["grids"][1]["note"]
    measured = said(command, tested, "use", "A")["numbers"]["heaps"][0]
    assert measured["volume_from"] == "measured"
    low, high = measured["volume_m3"]["low"], measured["volume_m3"]["high"]
    assert high / low == pytest.approx(1.1 / 0.9)  # what a tape is off by


def test_seedlings_that_chance_could_explain_do_not_count(tested: Path, command: Command) -> None:
    log(command, "C", "emergence", "7/10, control 9/10")
    log(command, "C", "reheat_c", "6 C")
    found = said(command, tested, "use", "C")
    assert found["numbers"]["heaps"][0]["answers"]["pots"]["answer"] == "not tested"
    assert any("does not count: 7/10 against 9/10" in line for line in found["known"])


def test_seedlings_counted_to_compare_heaps_ask_for_a_control(
    tested: Path, command: Command
) -> None:
    log(command, "D", "came_up", "19 of 20", "--part", "dish 1")
    log(command, "D", "reheat_c", "6 C")
    found = said(command, tested, "use", "D")
    assert found["numbers"]["heaps"][0]["answers"]["bed"]["answer"] == "not tested"
    assert any("control 20/20" in line for line in found["known"])


@pytest.mark.parametrize(
    ("samples", "bed", "pots"),
    [
        ([("reheat_c", "24 C")], False, False),
        ([("reheat_c", "15 C"), ("emergence", "58/60, control 58/60")], True, False),
        ([("reheat_c", "6 C"), ("emergence", "58/60, control 58/60")], True, True),
        ([("reheat_c", "6 C")], False, False),
        ([("reheat_c", "15 C")], False, False),
        ([("emergence", "50/60, control 58/60")], False, False),
        ([("reheat_c", "6 C"), ("beans", "2 2 3, control 0 0 0, control up 9/9")], False, False),
    ],
)
def test_use_and_the_tests_of_finish_do_not_contradict_each_other(
    tested: Path, command: Command, samples: list[tuple[str, str]], bed: bool, pots: bool
) -> None:
    for what, typed in samples:
        log(command, "F", what, typed)
    answers = said(command, tested, "use", "F")["numbers"]["heaps"][0]["answers"]
    assert (answers["bed"]["answer"] == "yes", answers["pots"]["answer"] == "yes") == (bed, pots)
    words = " ".join(said(command, tested, "finish", "F")["words"])
    assert ("and beds yes" in words or "beds and pots yes" in words) == bed, words
    assert ("and pots yes" in words) == pots, words


def test_beans_with_signs_rule_beds_and_pots_out(tested: Path, command: Command) -> None:
    log(command, "B", "beans", "2 2 3, control 0 0 0, control up 9/9")
    answers = said(command, tested, "use", "B")["numbers"]["heaps"][0]["answers"]
    assert {a["answer"] for a in answers.values()} == {"no"}
    assert "weedkiller" in answers["bed"]["why"]


def _answers(command: Command, book: Path, heap: str) -> dict[str, dict[str, str]]:
    return dict(said(command, book, "use", heap)["numbers"]["heaps"][0]["answers"])


def test_signs_in_beans_bar_every_use_until_a_later_clean_test(
    tested: Path, command: Command
) -> None:
    may, end = (NOW - timedelta(days=40)).isoformat(), (NOW - timedelta(days=1)).isoformat()
    log(command, "B", "beans", "3 3 3, control 0 0 0, control up 9/9", "--when", may)
    assert {a["answer"] for a in _answers(command, tested, "B").values()} == {"no"}
    log(command, "B", "beans", "0 0 0, control 0 0 0, control up 9/9", "--when", end)
    assert {a["answer"] for a in _answers(command, tested, "B").values()} == {"yes"}


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("3 3 3", "sow beans again with a control"),
        ("3 3 3, control 0 0 0", "sow beans again with a control"),
        ("1 1 1, control 0 0, control up 6/6", "sow beans again with a control"),
        ("0 0 0 1, control 0 0 0, control up 9/9", "sow them again"),
    ],
)
def test_signs_that_are_not_sure_hold_every_use_back(
    tested: Path, command: Command, typed: str, why: str
) -> None:
    log(command, "B", "beans", typed)
    answers = _answers(command, tested, "B")
    assert {a["answer"] for a in answers.values()} == {"not yet"}
    assert all(why in a["why"] for a in answers.values())


def test_the_worse_of_a_week_decides_use_too(tested: Path, command: Command) -> None:
    log(command, "B", "reheat_c", "40 C", "--when", (NOW - timedelta(days=3)).isoformat())
    found = said(command, tested, "use", "B")
    assert found["numbers"]["heaps"][0]["answers"]["bed"]["answer"] == "not yet"
    assert any("is newer and not gone by: the worse within 7 days is" in k for k in found["known"])


def test_treated_wood_in_the_plan_rules_every_use_out(
    tmp_path: Path, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = tmp_path / "boards.sqlite"
    monkeypatch.setenv("HEAPWRIGHT_NOW", NOW.isoformat())
    text = example_plan().replace('name = "grass mowings"', 'name = "painted boards"')
    plan = tmp_path / "p.toml"
    plan.write_text(text.replace("grass clippings loose", "sawdust"), encoding="utf-8")
    with Book(book) as opened:
        lock_plan(opened, plan, now=NOW - timedelta(days=60))
    found = said(command, book, "use", "A")
    assert {a["answer"] for a in found["numbers"]["heaps"][0]["answers"].values()} == {"no"}
    assert any("Treated, painted or glued wood" in c for c in found["cautions"])
    code, out, _ = command("plan", "check", str(plan), "--json")
    assert code == 0
    mind = json.loads(out)["cautions"]
    assert [c for c in mind if c.startswith("Treated")]
    assert [c for c in mind if c.startswith("Ask what was sawn")]
    code, out, _ = command("plan", "check", str(plan))
    assert "Mind: Treated, painted" in out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--for", "salad"), "One of mulch, bed, pots, seedlings"),
        (("Z",), "heap"), (("--depth", "0 cm"), "depth"), (("--depth", "deep"), "depth"),
        (("--volume", "lots"), "volume"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name(
    tested: Path, client: TestClient, command: Command, words: tuple[str, ...], says: str
) -> None:
    code, _, err = command("use", *words, "--trial", TRIAL)
    assert (code, says in err) == (2, True), err
    keys = {"--for": "for", "--depth": "depth", "--volume": "volume"}
    typed = {keys[words[0]]: words[1]} if len(words) > 1 else {"heap": words[0]}
    answer = client.get("/finish/use", params=typed, headers={"accept": "text/html"})
    assert answer.status_code == 422
    assert f'value="{words[-1]}"' in answer.text or len(words) == 1 or words[0] == "--for"


def test_use_stands_on_finish_and_in_the_report(tested: Path, client: TestClient) -> None:
    where = plain(page(client, "/finish"))
    assert "What may it be used for" in where
    assert "Heap A, by these tests: mulch yes" in where
    assert "Heap A, by these tests: mulch yes" in plain(page(client, "/shows/report"))


# --- the list of cautions -------------------------------------------------------------------------

LISTS: list[tuple[dict[str, Any], list[str]]] = [
    ({}, []),
    ({"work": "turning", "core": "72 C"}, ["turning", "--core", "72 C"]),
    ({"work": "planning", "material": ["yew", "old hay"]},
     ["planning", "--material", "yew", "--material", "old hay"]),
    ({"shed": "true", "fertilised": "true"}, ["--shed", "--fertilised"]),
    ({"work": "reading", "core": "131 F"}, ["reading", "--core", "131 F"]),
]  # fmt: skip


@pytest.mark.parametrize(("typed", "words"), LISTS)
def test_the_list_is_the_same_as_data_and_on_the_page(
    client: TestClient, command: Command, typed: dict[str, Any], words: list[str]
) -> None:
    answer = client.get("/api/cautions", params=typed)
    code, out, err = command("cautions", *words, "--json")
    assert code == 0, err
    assert answer.text == out.rstrip("\n")
    text = client.get("/cautions", params=typed, headers={"accept": "text/html"}).text
    part = json.loads(out)
    assert plain(part["words"][0]) in plain(text)
    for c in part["numbers"]["cautions"]:
        assert f'id="{c["key"]}"' in text
        for line in (c["text"], c["applies"], c["source"], c["edition"], c["seen"]):
            assert " ".join(line.split()) in plain(text), line


def test_no_caution_of_that_work(client: TestClient, command: Command) -> None:
    code, _, err = command("cautions", "juggling")
    assert code == 2
    assert "One of planning" in err
    answer = client.get("/cautions", params={"work": "juggling"}, headers={"accept": "text/html"})
    assert answer.status_code == 422
    assert client.get("/api/cautions", params={"core": "hot"}).status_code == 422


# --- where the work meets them --------------------------------------------------------------------

BUILT = datetime(2026, 4, 18, 9, tzinfo=UTC)


def yard(folder: Path, core_c: float, *, read: datetime) -> Path:
    """A book with six heaps built on 18 April and one core reading of heap A."""
    plan, file = folder / "plan.toml", folder / "yard.sqlite"
    plan.write_text(example_plan(), encoding="utf-8")
    with Book(file) as opened:
        stored = lock_plan(opened, plan, now=BUILT - timedelta(days=1))
        entries: list[Event | Reading] = [
            Event(f"built{h.name}", TRIAL, h.name, When.instant(BUILT), "built")
            for h in stored.trial.heaps
        ]
        turned = next(h.name for h in stored.trial.heaps if h.way == "turned")
        entries.append(Reading("r1", TRIAL, turned, "core", When.instant(read), core_c, typed="x"))
        opened.add(entries, now=read)
    return file


def keys_at(file: Path, moment: datetime) -> list[str]:
    _, answer = due_today(TRIAL, book=str(file), now=moment)
    return [m.key for m in answer.cautions]


TURN_DAY = BUILT + timedelta(days=5)


def test_a_turn_of_a_hot_heap_meets_steam_and_one_that_is_cool_does_not(tmp_path: Path) -> None:
    hot, cool = tmp_path / "hot", tmp_path / "cool"
    for folder in (hot, cool):
        folder.mkdir()
    met = keys_at(yard(hot, 68.0, read=TURN_DAY - timedelta(days=1)), TURN_DAY)
    assert "steam" in met
    assert met.count("spores") == 1  # once, whatever number of heaps is turned
    met = keys_at(yard(cool, 50.0, read=TURN_DAY - timedelta(days=1)), TURN_DAY)
    assert "steam" not in met
    assert "spores" in met


def test_a_reading_of_three_weeks_ago_says_nothing_of_today(tmp_path: Path) -> None:
    file = yard(tmp_path, 80.0, read=BUILT + timedelta(days=1))
    assert "heat-74" in keys_at(file, BUILT + timedelta(days=2))
    assert "heat-74" not in keys_at(file, BUILT + timedelta(days=22))


def test_nothing_is_said_on_a_day_without_work(tmp_path: Path) -> None:
    file = yard(tmp_path, 60.0, read=BUILT + timedelta(days=1))
    quiet = BUILT + timedelta(days=3)
    _, answer = due_today(TRIAL, book=str(file), now=quiet)
    works = {d.kind for d in answer.due}
    assert "turn" not in works
    assert not [k for k in keys_at(file, quiet) if k in ("steam", "spores", "hose-back")]


def test_a_watering_meets_the_hose(tmp_path: Path) -> None:
    file = yard(tmp_path, 50.0, read=BUILT + timedelta(days=6))
    met = keys_at(file, BUILT + timedelta(days=7))
    assert {"hose-sun", "hose-back"} <= set(met)


def test_a_heap_that_was_lost_is_not_hot() -> None:
    when = When.instant(TURN_DAY)
    reading = Reading("r", TRIAL, "A", "core", when, 80.0)
    lost = Event("l", TRIAL, "A", when, "lost")
    assert hottest_now([reading], now=TURN_DAY) == {"A": 80.0}
    assert hottest_now([reading, lost], now=TURN_DAY) == {}


def test_command_page_and_data_of_today_say_the_same_once(
    tmp_path: Path, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = yard(tmp_path, 86.0, read=TURN_DAY - timedelta(days=1))
    monkeypatch.setenv("HEAPWRIGHT_NOW", TURN_DAY.isoformat())
    door = door_of(str(file))
    site = Site(str(file), door, hosts=frozenset({"testserver"}), here=frozenset(),
                now=lambda: TURN_DAY)  # fmt: skip
    reader = TestClient(create_app(site))
    reader.cookies.set(door.cookie_name(https=False), door.cookie(Role.READER))
    data = reader.get("/api/today").json()
    assert data == said(command, file, "today", TRIAL)
    assert data["cautions"]
    text = reader.get("/", headers={"accept": "text/html"}).text
    code, out, _ = command("today", "--book", str(file))
    assert code == 0
    printed = " ".join(out.split())
    for met in data["cautions"]:
        assert plain(text).count(met["text"]) == 1, met
        assert f'href="/cautions#{met["key"]}"' in text
        assert printed.count(met["text"]) == 1
        assert met["source"] in printed
    assert "heat-85" in [m["key"] for m in data["cautions"]]


def test_the_sharing_out_sheet_minds_the_back_and_the_wound(
    tmp_path: Path, command: Command
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    code, out, err = command("deal", str(plan), "--loads", "12", "--json")
    assert code == 0, err
    safety = json.loads(out)["safety"]
    assert "guide weights" in safety[0]
    assert "tetanus" in safety[1]
    assert len(safety) == 2
