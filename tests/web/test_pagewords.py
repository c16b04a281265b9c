"""No page names a command or an option: what the services say is put into words of a page."""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.web.conftest import MOMENT

import heapwright
from heapwright.services.doings import log_event
from heapwright.store.book import Book
from heapwright.web.access import Role
from heapwright.web.pagewords import answer_on_page, on_page

HOME = Path(heapwright.__file__).parent
#: where sentences are made that a page may show
LAYERS = ("domain", "errors.py", "exchange", "inference", "planning", "services", "stats", "store")
COMMAND = re.compile(r"heapwright [a-z]|(?<![\w-])--[a-z]")
#: what a placeholder of a sentence may hold: a heap, a kind of work, an id
FILLED = "turned"

_FILES = "a page takes the text of a plan and never names a file"
_OUT = "a page sends what it makes and writes no file to a place that is named"
_DAYS = "pages ask for a fixed number of days"
_SERVER = "the book is named when the server starts, before there is a page"
#: texts that no page can show, and why
NEVER = {
    "Make one with: heapwright plan example > plan.toml": _FILES,
    "# Written by heapwright start. Change anything until you lock it:": "a comment in the text of "
    "a plan, which is shown and kept as it is",
    "#   heapwright plan check FILE      heapwright plan lock FILE": "the same",
    "Everything in this folder was made by heapwright demo and is INVENTED.\n": "stands in a file "
    "beside the book",
    "Name another with --out, or move the old one away": _OUT,
    "Name another place with --out": _OUT,
    "Name a folder that may be written with --out": _OUT,
    "--out": _OUT,
    "Write --out {}.svg": _OUT,
    "Write --days 14": _DAYS,
    "Write --days 30": _DAYS,
    "Start workers for it: dask worker {} --nthreads 1": "pages calculate on the server alone",
    "{} rows left out by --where": "the form of an import takes all rows",
    "--book": _SERVER,
    "Name a file, or leave --book out for your own book": _SERVER,
    "pg_dump --format=custom --file=book.dump DATABASE, and pg_restore to get it back": "the one "
    "text here that a page does show: a command of the database, which no page can give",
}  # fmt: skip


def _texts(path: Path) -> Iterator[str]:
    """Every text of a module with ``{}`` for what is filled in; docstrings and parts left out."""
    tree = ast.parse(path.read_text("utf-8"))
    left = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            left.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            left |= {id(part) for part in node.values}
    for node in ast.walk(tree):
        if id(node) in left:
            continue
        if isinstance(node, ast.JoinedStr):
            yield "".join(
                str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values
            )
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _named() -> dict[str, str]:
    """The texts that name a command or an option, with the module of each."""
    files = [HOME / name for name in LAYERS]
    paths = [p for f in files for p in ([f] if f.is_file() else sorted(f.rglob("*.py")))]
    return {
        text: str(path.relative_to(HOME)) for path in paths for text in _texts(path)
        if COMMAND.search(text)
    }  # fmt: skip


def test_every_command_and_option_of_a_sentence_is_put_into_words_of_a_page() -> None:
    named = _named()
    assert len(named) > 40
    left = {
        text: where for text, where in named.items()
        if text not in NEVER and COMMAND.search(on_page(text.replace("{}", FILLED)))
    }  # fmt: skip
    assert not left, "give each a rule in web/pagewords.py, or a reason why no page shows it"


def test_texts_that_no_page_shows_still_exist() -> None:
    named = _named()
    assert sorted(text for text in NEVER if text not in named) == []


@pytest.mark.parametrize(
    ("said", "page"),
    [
        ("heapwright log event HEAP built",
         "Open the heap's page and write down that it was built"),
        ("built: so it has no age. heapwright log event B built --when DATE.",
         "built: so it has no age. Open the page of heap B and write down that it was built, and "
         "when."),
        ("or log it as a difference: heapwright log event vent opened old heap.",
         'or log it as a difference: write down "pipes opened" on the page of heap old heap.'),
        ("Restore it first: heapwright restore 0a1b2c3d --why REASON",
         'Restore it first: open entry 0a1b2c3d in the book, "Count it again"'),
        ("no such trial. Lock a plan (heapwright plan lock FILE), or add --trial NAME --new.",
         "no such trial. Lock a plan on the page Plan."),
        ("A - dash -- and heapwright, Heapwright and a --- rule stay",
         "A - dash -- and heapwright, Heapwright and a --- rule stay"),
    ],
)  # fmt: skip
def test_what_a_page_says_instead(said: str, page: str) -> None:
    assert on_page(said) == page


def test_an_answer_keeps_its_numbers_and_its_picture() -> None:
    text = "Lock a plan first: heapwright plan lock FILE"
    answer = {"words": [text], "grids": [{"rows": [["a", text]]}], "known": [], "picture": text,
              "numbers": {"way_out": text}}  # fmt: skip
    said = "Lock a plan first, on the page Plan"
    assert answer_on_page(answer) == {
        "words": [said], "grids": [{"rows": [["a", said]]}], "known": [], "picture": text,
        "numbers": {"way_out": text},
    }  # fmt: skip
    assert answer_on_page(None) is None


def test_errors_of_pages_and_of_their_scripts_use_the_words_of_a_page(
    as_: Callable[..., TestClient],
) -> None:
    keeper = as_(Role.KEEPER)
    head = {"x-heapwright-token": keeper.own_token, "accept": "text/html"}  # type: ignore[attr-defined]
    form = {"trial": "Ferncombe 2026", "what": "note"}
    page = keeper.post("/heaps/A/work", data=form, headers=head)
    assert page.status_code == 422
    assert "a note without words says nothing. Write the note." in page.text
    assert "--note" not in page.text
    sent = {
        "id": "e1-of-this-test", "kind": "note", "visit": "v1-of-this-test", "text": "",
        "began": MOMENT.isoformat(), "time": MOMENT.isoformat(), "heap": "A",
    }  # fmt: skip
    body = {"trial": "Ferncombe 2026", "entries": [sent]}
    answer = keeper.post("/api/field", json=body, headers=head).json()["answers"][0]
    assert (answer["state"], answer["way_out"]) == ("refused", "Write the note")
    lost = keeper.get("/api/heaps?trial=nowhere", headers=head).json()
    assert not COMMAND.search(lost["message"] + str(lost["way_out"]))


def test_what_a_keeper_typed_stands_as_it_was_typed(
    as_: Callable[..., TestClient], book: str
) -> None:
    note = "Lock a plan first: heapwright plan lock FILE"
    now = datetime(2026, 6, 20, 9, tzinfo=UTC)
    with Book(book) as opened:
        log_event(opened, "Ferncombe 2026", ["A"], "note", now=now, note=note)
    assert note in as_(Role.KEEPER).get("/heaps/A", headers={"accept": "text/html"}).text


def test_the_form_of_what_is_wrong_begins_with_what_was_noted_at_the_heap(
    as_: Callable[..., TestClient], book: str
) -> None:
    with Book(book) as opened:
        for note in ("squeeze: no_ball", "smell: sour"):
            when = MOMENT - timedelta(hours=3)
            log_event(opened, "Ferncombe 2026", ["A"], "note", now=when, note=note)
    keeper = as_(Role.KEEPER)
    page = keeper.get("/heaps/A", headers={"accept": "text/html"}).text
    assert '<option value="no_ball" selected>' in page
    assert '<option value="sour" selected>' in page
    assert page.count("as last noted at the heap") == 2
    other = "/heaps/A/wrong?complaint=smells&squeeze=damp"
    asked = keeper.get(other, headers={"accept": "text/html"}).text
    assert '<option value="damp" selected>' in asked
    assert '<option value="sour" selected>' not in asked
    assert "as last noted" not in asked
