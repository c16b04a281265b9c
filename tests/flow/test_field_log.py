"""What phones send from the heaps: one by one, twice, doubtful, wrong, exchanged, undone."""

from __future__ import annotations

import base64
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from fastapi.testclient import TestClient

from heapwright.errors import EntryError
from heapwright.services.fieldlog import MOST, take
from heapwright.services.fieldround import round_page
from heapwright.services.log import log_round
from heapwright.services.plans import example_plan, lock_plan
from heapwright.store.book import Book
from heapwright.web.access import Role, door_of
from heapwright.web.app import create_app
from heapwright.web.site import Site

TRIAL = "Ferncombe 2026"
LEVELS = {"A": 52, "B": 40, "C": 45, "D": 58}
FIRST = datetime(2026, 5, 1, 6, tzinfo=UTC)
NEXT = FIRST + timedelta(days=24)


@pytest.fixture
def book(tmp_path: Path, now: datetime) -> Book:
    """The locked example plan with eight INVENTED rounds of four heaps, every third day."""
    plan = tmp_path / "plan.toml"
    plan.write_text(example_plan(), encoding="utf-8")
    opened = Book(str(tmp_path / "book.sqlite"))
    lock_plan(opened, plan, now=now - timedelta(days=75))
    rng = np.random.default_rng(4)
    for n in range(8):
        when = FIRST + timedelta(days=3 * n)
        words = [
            f"{h} " + " ".join(f"{level + rng.normal(0, 1.5):.0f}" for _ in range(3))
            for h, level in LEVELS.items()
        ]
        log_round(opened, TRIAL, " ".join(words) + " air 12", now=now, when=when, probe="long")
    return opened


def spots(book: Book) -> list[str]:
    return [s["name"] for s in round_page(book, TRIAL, now=NEXT)["spots"]]


def entry(n: int, heap: str, spot: str, text: str, **more: Any) -> dict[str, Any]:
    """One entry of the visit ``walk``, *n* minutes after it began."""
    made = {
        "id": f"e{n}", "kind": "reading", "visit": "walk", "began": NEXT.isoformat(),
        "time": (NEXT + timedelta(minutes=n)).isoformat(), "heap": heap, "spot": spot,
        "text": text, "unit": "C", "reader": "Ada", "probe": "long", "answers": {},
    }  # fmt: skip
    return {**made, **more}


def whole(book: Book, levels: dict[str, int]) -> list[dict[str, Any]]:
    names = spots(book)
    return [
        entry(10 * i + k, heap, spot, str(level))
        for i, (heap, level) in enumerate(levels.items())
        for k, spot in enumerate(names)
    ]


def states(book: Book, now: datetime, *raws: Any) -> list[str]:
    return [a.state for a in take(book, TRIAL, raws, now=now)]


def kept(book: Book) -> dict[tuple[str, str], list[float]]:
    out: dict[tuple[str, str], list[float]] = {}
    for r in book.current("reading", TRIAL):
        if r.when.low >= NEXT:
            out.setdefault((r.heap, r.spot), []).append(round(r.value, 1))
    return out


# --- sending -------------------------------------------------------------------------------------


def test_a_round_sent_twice_stands_once(book: Book, now: datetime) -> None:
    raws = [entry(99, "", "", "12", kind="air"), *whole(book, LEVELS)]
    assert set(states(book, now, *raws)) == {"kept"}
    assert set(states(book, now, *raws)) == {"known"}
    assert sum(map(len, kept(book).values())) == 12
    walk = {r.round for r in book.current("reading", TRIAL) if r.when.low >= NEXT}
    assert walk == {"walk"}
    air = [w for w in book.current("weather", TRIAL) if w.when.low >= NEXT]
    assert [w.value for w in air] == [12.0]


def test_readings_keep_text_unit_probe_and_reader(book: Book, now: datetime) -> None:
    assert states(book, now, entry(1, "A", spots(book)[0], "125", unit="F")) == ["kept"]
    found = next(r for r in book.current("reading", TRIAL) if r.id == "e1")
    assert (found.typed, found.typed_unit, found.probe, found.reader) == ("125", "F", "long", "Ada")
    assert found.value == pytest.approx(51.67, abs=0.01)
    assert found.trail.source == "round page"


def test_two_phones_at_one_spot_are_both_kept(book: Book, now: datetime) -> None:
    spot = spots(book)[0]
    first = entry(1, "A", spot, "52")
    second = entry(2, "A", spot, "53", visit="other")
    assert states(book, now, first, second) == ["kept", "kept"]
    assert kept(book) == {("A", spot): [52.0, 53.0]}


def test_a_wrong_entry_never_takes_a_right_one_with_it(book: Book, now: datetime) -> None:
    spot = spots(book)[0]
    raws = [
        entry(1, "A", spot, "52"), entry(2, "Q", spot, "52"), entry(3, "B", "nowhere", "40"),
        entry(4, "C", spot, "many"), "rubbish", {"id": "e5"},
        entry(6, "B", spot, "40", kind="dance"), entry(7, "B", spot, "4" * 700),
        entry(8, "B", spot, "40", began="yesterday"), entry(9, "B", spot, "40", id="../x"),
        entry(10, "C", spot, "45", unit="K"), entry(11, "B", spot, "40"),
    ]  # fmt: skip
    found = take(book, TRIAL, raws, now=now)
    assert [a.state for a in found] == ["kept", *["refused"] * 10, "kept"]
    assert all(a.message for a in found if a.state == "refused")
    assert kept(book) == {("A", spot): [52.0], ("B", spot): [40.0]}


def test_an_id_that_stands_for_something_else_is_refused(book: Book, now: datetime) -> None:
    spot = spots(book)[0]
    assert states(book, now, entry(1, "A", spot, "52")) == ["kept"]
    answer = take(book, TRIAL, [entry(1, "A", spot, "51")], now=now)[0]
    assert (answer.state, answer.way_out != "") == ("refused", True)
    assert kept(book) == {("A", spot): [52.0]}


def test_too_many_at_once_are_not_taken(book: Book, now: datetime) -> None:
    with pytest.raises(EntryError, match="at most"):
        take(book, TRIAL, [{}] * (MOST + 1), now=now)


# --- asking --------------------------------------------------------------------------------------


def test_140_on_a_c_probe_is_asked_about_and_the_answer_is_kept(book: Book, now: datetime) -> None:
    spot = spots(book)[0]
    good, odd = entry(1, "A", spot, "52"), entry(2, "D", spot, "140")
    found = take(book, TRIAL, [good, odd], now=now)
    assert [a.state for a in found] == ["kept", "asked"]
    assert found[1].questions[0].key == f"D.{spot}"
    assert "F" in found[1].questions[0].choices
    assert kept(book) == {("A", spot): [52.0]}
    again = {**odd, "answers": {f"D.{spot}": "F"}}
    assert states(book, now, again) == ["kept"]
    assert states(book, now, again) == ["known"]
    assert kept(book)[("D", spot)] == [60.0]


def test_an_odd_reading_is_asked_about_once_and_may_be_retyped(book: Book, now: datetime) -> None:
    spot = spots(book)[0]
    odd = entry(1, "A", spot, "25")
    found = take(book, TRIAL, [odd], now=now)[0]
    assert found.state == "asked"
    assert found.questions[0].default == "52"
    again = {**odd, "answers": {f"A.{spot}": "52"}}
    assert states(book, now, again, again) in (["kept", "known"], ["kept", "kept"])
    assert states(book, now, again) == ["known"]
    stands = next(r for r in book.current("reading", TRIAL) if r.id == "e1")
    assert (stands.value, stands.note) == (52.0, "typed 25 at first")


def test_as_written_keeps_and_withdraw_leaves_out(book: Book, now: datetime) -> None:
    spot = spots(book)[0]
    one = entry(1, "A", spot, "25", answers={f"A.{spot}": "as-written"})
    two = entry(2, "B", spot, "77", answers={f"B.{spot}": "withdraw"})
    assert states(book, now, one, two) == ["kept", "left out"]
    assert kept(book) == {("A", spot): [25.0]}


def test_a_clock_that_is_ahead_is_asked_about(book: Book) -> None:
    spot = spots(book)[0]
    now = NEXT - timedelta(hours=3)
    ahead = entry(1, "A", spot, "52")
    found = take(book, TRIAL, [ahead], now=now)[0]
    assert [q.key for q in found.questions] == ["when"]
    assert states(book, now, {**ahead, "answers": {"when": "now"}}) == ["kept"]
    stands = next(r for r in book.current("reading", TRIAL) if r.id == "e1")
    assert stands.when.low == now
    assert stands.note == "the phone's clock was ahead"


# --- exchanged heaps -----------------------------------------------------------------------------


def exchanged(book: Book) -> list[dict[str, Any]]:
    return whole(book, {"A": 40, "B": 52, "C": 45, "D": 58})


def test_exchanged_heaps_are_asked_about_and_put_right_only_after_a_yes(
    book: Book, now: datetime
) -> None:
    raws = exchanged(book)
    found = take(book, TRIAL, raws, now=now)
    assert [a.state for a in found] == ["asked"] * 6 + ["kept"] * 6
    assert {q.key for a in found for q in a.questions} == {"exchange.A.B"}
    assert all(k[0] in "CD" for k in kept(book))
    yes = [{**r, "answers": {"exchange.A.B": "exchanged"}} for r in raws[:6]]
    assert set(states(book, now, *yes)) == {"kept"}
    right = {**kept(book)}
    assert set(states(book, now, *yes)) == {"known"}
    assert kept(book) == right
    assert {right[("A", s)][0] for s in spots(book)} == {52.0}
    assert {right[("B", s)][0] for s in spots(book)} == {40.0}
    chain = book.history(TRIAL, id="e0")
    assert [(e.heap, e.trail.action) for e in chain] == [("A", "entered"), ("B", "corrected")]
    assert "exchanged" in chain[1].trail.why


def test_exchanged_heaps_that_come_one_by_one_are_asked_about_together(
    book: Book, now: datetime
) -> None:
    """A heap that fell as a whole may stand; once the other rose too, one question is for both."""
    held: list[dict[str, Any]] = []
    last: list[Any] = []
    for raw in exchanged(book)[:6]:
        held.append(raw)
        last = take(book, TRIAL, held, now=now)
        held = [r for r, a in zip(held, last, strict=True) if a.state == "asked"]
    assert held
    assert {q.key for a in last for q in a.questions} == {"exchange.A.B"}
    assert sum(map(len, kept(book).values())) + len(held) == 6
    yes = [{**r, "answers": {"exchange.A.B": "exchanged"}} for r in held]
    assert set(states(book, now, *yes)) == {"kept"}
    for _ in range(2):
        assert {kept(book)[("A", s)][0] for s in spots(book)} == {52.0}
        assert {kept(book)[("B", s)][0] for s in spots(book)} == {40.0}
        assert set(states(book, now, *yes)) == {"known"}


def test_not_exchanged_is_kept_as_written_and_not_asked_again(book: Book, now: datetime) -> None:
    raws = exchanged(book)
    no = [{**r, "answers": {"exchange.A.B": "as-written"}} for r in raws[:6]]
    assert set(states(book, now, *no)) == {"kept"}
    assert kept(book)[("A", spots(book)[0])] == [40.0]
    assert set(states(book, now, *raws[6:])) == {"kept"}
    stands = next(r for r in book.current("reading", TRIAL) if r.id == "e0")
    assert stands.note == "not exchanged with B, on asking"


# --- the rest ------------------------------------------------------------------------------------


def test_notes_smell_squeeze_and_photo_stand_at_the_heap(book: Book, now: datetime) -> None:
    picture = base64.b64encode(b"\xff\xd8\xff\xe0 invented").decode()
    raws = [
        entry(1, "A", "", "steam at dawn", kind="note"), entry(2, "A", "", "sour", kind="smell"),
        entry(3, "B", "", "dusty", kind="squeeze"), entry(4, "B", "", "foot", kind="photo",
                                                          photo=picture),
        entry(5, "A", "", "roses", kind="smell"), entry(6, "A", "", "", kind="note"),
        entry(7, "A", "", "", kind="photo", photo="bm90IGEganBlZw=="),
    ]  # fmt: skip
    assert states(book, now, *raws) == ["kept"] * 4 + ["refused"] * 3
    assert states(book, now, *raws) == ["known"] * 4 + ["refused"] * 3
    said = {e.id: (e.heap, e.what, e.note, e.who) for e in book.current("event", TRIAL)}
    assert said["e1"] == ("A", "note", "steam at dawn", "Ada")
    assert said["e2"][2:3] == ("smell: sour",)
    assert said["e3"][2:3] == ("squeeze: dusty",)
    assert said["e4"][1:3] == ("photo", "e4.jpg foot")
    assert Path(book.where + ".photos", "e4.jpg").read_bytes().startswith(b"\xff\xd8\xff")


def test_undo_withdraws_what_was_sent_and_is_harmless_otherwise(book: Book, now: datetime) -> None:
    spot = spots(book)[0]
    undo = entry(9, "", "", "e1", kind="undo")
    assert states(book, now, undo) == ["known"]
    assert states(book, now, entry(1, "A", spot, "52"), undo, undo) == ["kept", "kept", "known"]
    assert kept(book) == {}
    assert [e.trail.action for e in book.history(TRIAL, id="e1")] == ["entered", "withdrawn"]


def test_a_pasted_line_typed_in_later_is_as_good(book: Book, now: datetime) -> None:
    text = "A 52 51 53 B 40 41 39 C 45 44 46 D 58 57 58 air 12"
    line = entry(1, "", "", text, kind="line", id="line1")
    assert states(book, now, line) == ["kept"]
    assert states(book, now, line) == ["known"]
    assert sum(map(len, kept(book).values())) == 12
    odd = entry(2, "", "", "A 140 - -", kind="line", id="line2")
    found = take(book, TRIAL, [odd], now=now)[0]
    assert found.state == "asked"
    key = found.questions[0].key
    assert states(book, now, {**odd, "answers": {key: "F"}}) == ["kept"]


def test_words_for_a_time_in_a_line_count_from_typing(book: Book, now: datetime) -> None:
    line = entry(0, "", "", "5:30 A 52 51 53", kind="line", time=(NEXT).isoformat(), id="line3")
    assert states(book, now, line) == ["kept"]
    found = [r for r in book.current("reading", TRIAL) if r.round == "line3"]
    assert {r.when.low.date() for r in found} == {NEXT.date()}


# --- the page and its interface ------------------------------------------------------------------


@pytest.fixture
def site(book: Book, now: datetime) -> Site:
    return Site(
        book.where, door_of(book.where), hosts=frozenset({"testserver"}),
        here=frozenset({"testclient"}), now=lambda: now,
    )  # fmt: skip


def token(client: TestClient) -> dict[str, str]:
    page = client.get("/round").text
    return {"X-Heapwright-Token": page.split('name="heapwright-token" content="')[1].split('"')[0]}


def test_the_page_has_all_it_needs_and_is_small(site: Site) -> None:
    client = TestClient(create_app(site))
    page = client.get("/round")
    script = client.get("/static/round.js")
    worker = client.get("/worker.js")
    assert page.status_code == script.status_code == worker.status_code == 200
    assert len(page.content) + len(script.content) + len(worker.content) <= 60_000
    assert "javascript" in worker.headers["content-type"]
    assert "http://" not in script.text + worker.text
    assert "https://" not in script.text + worker.text
    data = client.get("/api/round").json()
    assert data["heaps"] == ["A", "B", "C", "D", "E", "F"]
    assert data["probes"] == [{"name": "long", "unit": "C"}]
    assert set(data["last"]["A"]) == {s["name"] for s in data["spots"]}


def test_the_interface_answers_for_each_entry(site: Site, book: Book) -> None:
    client = TestClient(create_app(site))
    head = token(client)
    spot = spots(book)[0]
    body = {"trial": TRIAL, "entries": [entry(1, "A", spot, "52"), entry(2, "D", spot, "140")]}
    assert client.post("/api/field", json=body).status_code == 403
    found = client.post("/api/field", json=body, headers=head).json()["answers"]
    assert [(a["id"], a["state"]) for a in found] == [("e1", "kept"), ("e2", "asked")]
    assert found[1]["questions"][0]["choices"]
    for wrong in ([], {"entries": "x"}, {"trial": 3}, {"trial": "none", "entries": []}):
        assert client.post("/api/field", json=wrong, headers=head).status_code in (404, 422)


def test_a_reader_may_not_enter(site: Site) -> None:
    site = Site(site.book, site.door, hosts=site.hosts, here=frozenset(), now=site.now)
    for role, status in ((Role.READER, 403), (Role.HELPER, 200)):
        client = TestClient(create_app(site))
        client.post("/join", data={"code": site.door.code(role)})
        assert client.get("/round", headers={"accept": "text/html"}).status_code == status


def test_an_empty_book_teaches_the_first_step(tmp_path: Path, now: datetime) -> None:
    where = str(tmp_path / "empty.sqlite")
    site = Site(
        where, door_of(where), hosts=frozenset({"testserver"}), here=frozenset({"testclient"}),
        now=lambda: now,
    )  # fmt: skip
    page = TestClient(create_app(site)).get("/round", follow_redirects=False)
    assert page.status_code == 200
    assert 'href="/start"' in page.text
