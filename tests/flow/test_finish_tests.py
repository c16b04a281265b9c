"""Is it done, by command, page and report alike; and judging blind from the deal to the heaps."""

from __future__ import annotations

import json
import re
from itertools import pairwise
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command
from tests.flow.test_web_pages import (
    PAGE,
    TRIAL,
    book,
    client,
    client_of,
    finished,
    page,
    plain,
    said,
)

from heapwright.services.blind import blind_rounds
from heapwright.services.finishing import finish_parts
from heapwright.store.book import Book
from heapwright.web.access import Role

__all__ = ["book", "client", "finished"]


def _logged(command: Command, book: Path, *words: str) -> None:
    code, _, err = command("log", "sample", *words, "--book", str(book))
    assert code == 0, err


def _posted(client: TestClient, where: str, **form: str) -> tuple[int, str]:
    answer = client.post(where, data={"trial": TRIAL, **form}, headers=PAGE)
    return answer.status_code, answer.text


# --- is it done -----------------------------------------------------------------------------------


def test_command_page_data_and_report_say_the_same(
    client: TestClient, command: Command, book: Path
) -> None:
    _logged(command, book, "A", "cress", "20/20 30 mm, control 20/20 30 mm")
    _logged(command, book, "A", "reheating", "peak 46 C, air 22 C")
    _logged(command, book, "B", "reheating", "5 C")
    for words, asked in (((), ""), (("A",), "?heap=A"), (("b",), "?heap=B")):
        expected = said(command, book, "finish", *words)
        assert client.get(f"/api/finish/tests{asked}").json() == expected
        text = plain(page(client, f"/finish/tests{asked}"))
        for line in expected["words"]:
            assert plain(line) in text
        for grid in expected["grids"]:
            for row in grid["rows"]:
                assert plain(" ".join(row)) in text
    first = "Cress grew as in the control, but the sample warmed 24 degrees: it is still rotting."
    assert first in plain(page(client, "/finish"))
    with Book(book) as opened:
        from tests.flow.test_web_pages import NOW

        titles = [p.title for p in finish_parts(opened, TRIAL, now=NOW)]
    assert {"Is it done?", "Is heap A done?", "Is heap B done?"} <= set(titles)
    code, out, _ = command("finish", "A", "--book", str(book))
    assert code == 0
    assert "I go by the worse: mulch yes, pots not yet." in " ".join(out.split())


def test_nothing_tested_says_how_to_begin(client: TestClient, command: Command, book: Path) -> None:
    code, _, err = command("finish", "--book", str(book))
    assert code == 2
    assert "heapwright log sample A reheating VALUE" in err
    text = page(client, "/finish/tests")
    assert "Begin with the test that costs least" in text
    assert "heapwright log" not in text
    code, _, err = command("finish", "Z", "--book", str(book))
    assert code == 2
    assert "Known: A" in err


def test_the_raw_text_stays_as_typed_and_can_be_corrected(command: Command, book: Path) -> None:
    typed = "16 mg CO2/g OM/d"
    _logged(command, book, "A", "respiration", typed, "--id", "resp-1")
    with Book(book) as opened:
        entry = opened.find(TRIAL, "resp-1")
        assert (entry.typed, round(entry.value, 4)) == (typed, 4.3636)  # type: ignore[union-attr]
    code, _, err = command(
        "correct", "resp-1", "18 mg CO2/g/d", "--why", "misread", "--book", str(book)
    )
    assert code == 0, err
    with Book(book) as opened:
        entry = opened.find(TRIAL, "resp-1")
        assert entry.value == pytest.approx(18 * 12 / 44)  # type: ignore[union-attr]


def test_the_form_keeps_what_was_typed_and_refuses_a_dry_sample(client: TestClient) -> None:
    form = {"heap": "A", "test": "respiration", "value": "16"}
    status, text = _posted(client, "/finish/tests/sample", **form)
    assert status == 422
    assert 'value="16"' in text
    assert "carbon dioxide or its carbon" in text
    client.post("/heaps/A/sample", data={"trial": TRIAL, "quantity": "moisture", "value": "30 %"})
    status, text = _posted(client, "/finish/tests/sample", heap="A", test="reheat_c", value="4 C")
    assert status == 422
    assert "Wet it to squeeze-damp, let it stand a day, and test again" in text
    status, _ = _posted(
        client, "/finish/tests/sample", heap="A", test="reheat_c", value="4 C", method="wetted"
    )
    assert status == 303
    assert "the sample warmed only 4 degrees" in plain(page(client, "/finish/tests?heap=A")).lower()


def test_findings_compare_reheating_where_the_plan_asks(tmp_path: Path, command: Command) -> None:
    from heapwright.services.plans import example_plan

    plan = tmp_path / "plan.toml"
    text = example_plan()
    assert 'also = ["peak_excess_c"' in text
    text = text.replace('also = ["peak_excess_c"', 'also = ["reheat_c"', 1)
    plan.write_text(text, encoding="utf-8")
    code, _, err = command("plan", "lock", str(plan))
    assert code == 0, err
    for heap, rise in zip("ABCDEF", (24, 12, 8, 20, 14, 9), strict=True):
        code, _, err = command("log", "sample", heap, "reheating", f"{rise} C")
        assert code == 0, err
    code, out, err = command("findings", "--json")
    assert code == 0, err
    found = [c for c in json.loads(out)["comparisons"] if c["outcome"] == "reheat_c"]
    assert found
    assert all("in the vessel" in c["headline"] for c in found)


# --- blind ----------------------------------------------------------------------------------------


def test_a_blind_round_from_the_deal_to_the_heaps(
    client: TestClient, command: Command, book: Path
) -> None:
    own = ("--book", str(book))
    code, out, err = command("finish", "blind", "deal", "--seed", "7", "--json", *own)
    assert code == 0, err
    dealt = json.loads(out)
    labels = dealt["numbers"]["labels"]
    assert labels == sorted(labels)
    assert dealt["numbers"]["key"] == {}
    assert "heap" not in {c for g in dealt["grids"] for c in g["head"]}
    with Book(book) as opened:
        (stored,) = blind_rounds(opened, TRIAL)
    assert (stored.seed, {u.label for u in stored.units}) == (7, set(labels))
    again = [u.of for u in stored.units]
    assert sorted(again) == ["A", "B", "C", "D", "E", "F"]

    code, _, err = command("finish", "blind", "open", *own)
    assert code == 2
    assert "the heaps are told when all are in" in err
    scores = [f"{label}={1 + i % 5}" for i, label in enumerate(labels)]
    for about, some in (("smell", scores), ("look", scores[:-1])):
        code, _, err = command("finish", "blind", "score", *some, "--about", about, *own)
        assert code == 0, err
    code, _, err = command("finish", "blind", "open", *own)
    assert code == 2
    assert labels[-1] in err
    with Book(book) as opened:
        assert not [s for s in opened.current("sample", TRIAL) if s.quantity == "smell_score"]
    assert client.get("/api/finish/blind").json() == said(command, book, "finish", "blind", "sheet")
    sheet = page(client, "/finish/blind/sheet")
    assert all(label in sheet for label in labels)
    for where in ("/finish/blind", "/finish/blind/sheet"):
        text = plain(page(client, where))
        assert not any(f"{u.label} {u.of} " in text for u in stored.units), where

    form = {"round": "1", f"score.{labels[-1]}.look": "5", "who": "Ada"}
    status, _ = _posted(client, "/finish/blind/score", **form)
    assert status == 303
    status, _ = _posted(client, "/finish/blind/open", round="1")
    assert status == 303
    told = client.get("/api/finish/blind").json()["numbers"]["key"]
    assert told == {u.label: u.of for u in stored.units}
    with Book(book) as opened:
        smelt = [s for s in opened.current("sample", TRIAL) if s.quantity == "smell_score"]
    given = dict(s.split("=") for s in scores)
    assert {s.heap: s.typed for s in smelt} == {of: given[label] for label, of in told.items()}
    assert all(s.method == "blind, round 1" for s in smelt)
    status, text = _posted(client, "/finish/blind/open", round="1")
    assert status == 422
    assert "opened before" in text


def test_a_score_is_not_given_twice_and_labels_are_those_of_the_round(
    command: Command, book: Path
) -> None:
    own = ("--book", str(book))
    assert command("finish", "blind", "deal", "smell", "--heaps", "A,B", *own)[0] == 0
    with Book(book) as opened:
        one, two = blind_rounds(opened, TRIAL)[0].labels
    assert command("finish", "blind", "score", f"{one}=3", *own)[0] == 0
    assert command("finish", "blind", "score", f"{one}=3", *own)[0] == 0
    for words, wrong in (
        ((f"{one}=4",), "was scored 3 before"), ((f"{two}=7",), "scored 1 to 5"),
        (("1=4",), "no such label"), (("4",), "each label once"), ((f"{two}=",), "no score"),
        ((f"{two}=4", "99=4"), "no such label"),
    ):  # fmt: skip
        code, _, err = command("finish", "blind", "score", *words, *own)
        assert code == 2
        assert wrong in err
    with Book(book) as opened:
        assert blind_rounds(opened, TRIAL)[0].missing == (two,)
    code, _, err = command("finish", "blind", "deal", "smell", *own)
    assert code == 2
    assert "not opened yet" in err


def test_bean_pots_are_scored_by_label_with_control_pots(command: Command, book: Path) -> None:
    own = ("--book", str(book))
    code, _, err = command("finish", "blind", "deal", "beans", "--controls", "2", *own)
    assert code == 2
    assert "at least 3 control pots" in err
    assert command("finish", "blind", "deal", "beans", "--heaps", "A,B", *own)[0] == 0
    with Book(book) as opened:
        units = blind_rounds(opened, TRIAL)[0].units
    assert sorted(u.of for u in units) == ["A"] * 3 + ["B"] * 3 + ["control"] * 3
    scores = [f"{u.label}={'moderate' if u.of == 'A' else 'none'}" for u in units]
    assert command("finish", "blind", "score", *scores, *own)[0] == 0
    code, _, err = command("finish", "blind", "open", "--control-up", "9/9", *own)
    assert code == 0, err
    signs = {
        h: next(t for t in said(command, book, "finish", h)["numbers"]["tests"]
                if t["test"] == "bean_signs")
        for h in "AB"
    }  # fmt: skip
    assert (signs["A"]["read_as"], signs["B"]["read_as"]) == ("not ripe", "ripe")
    assert "scored blind" in signs["A"]["notes"]


def test_a_reader_looks_and_a_helper_scores(book: Path) -> None:
    keeper, helper, reader = (client_of(book, r) for r in (Role.KEEPER, Role.HELPER, Role.READER))
    assert _posted(keeper, "/finish/blind/deal", about="smell")[0] == 303
    with Book(book) as opened:
        label = blind_rounds(opened, TRIAL)[0].labels[0]
    assert _posted(reader, "/finish/blind/score", **{f"score.{label}.smell": "3"})[0] == 403
    assert _posted(helper, "/finish/blind/score", **{f"score.{label}.smell": "3"})[0] == 303
    assert _posted(helper, "/finish/blind/open")[0] == 403
    assert helper.get("/finish/blind/key").status_code == 403
    assert "select" not in page(reader, "/finish/blind")


def test_headings_of_the_page_go_down_one_step_at_a_time(
    client: TestClient, command: Command, book: Path
) -> None:
    _logged(command, book, "A", "reheating", "24 C")
    _logged(command, book, "A", "sieve", "25 mm 0.4 kg, pan 6.5 kg")
    for where in ("/finish/tests", "/finish/tests?heap=A", "/finish/blind"):
        levels = [int(n) for n in re.findall(r"<h(\d)", page(client, where))]
        assert levels.count(1) == 1
        assert levels[0] == 1
        assert all(b - a <= 1 for a, b in pairwise(levels)), (where, levels)
