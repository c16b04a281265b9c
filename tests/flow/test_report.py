"""The report of an invented trial: words first, nothing hidden, nothing loaded."""

from __future__ import annotations

import importlib.util
import json
import re
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from heapwright.cli.findings import findings, report
from heapwright.errors import InputError
from heapwright.reports.report import render_report
from heapwright.services.plans import example_plan
from heapwright.services.report import build_report, write_report
from heapwright.stats.claims import CANNOT_TELL, DESCRIBED, LEANS
from heapwright.store.book import Book

_spec = importlib.util.spec_from_file_location("invented", Path(__file__).with_name("invented.py"))
assert _spec is not None
assert _spec.loader is not None
invented = importlib.util.module_from_spec(_spec)
sys.modules["invented"] = invented
_spec.loader.exec_module(invented)
TRIAL: str = invented.TRIAL

AFTER = datetime(2026, 7, 2, 8, tzinfo=UTC)
DURING = datetime(2026, 5, 20, 8, tzinfo=UTC)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    with invented.invented_book(tmp_path_factory.mktemp("report")) as made:
        yield made


@pytest.fixture(scope="module")
def page(book: Book) -> str:
    return render_report(build_report(book, TRIAL, now=AFTER)[1])


def _plain(page: str) -> str:
    body = re.sub(r"<(script|style|svg).*?</\1>", " ", page, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body))


def test_the_finding_comes_first_and_in_full(book: Book, page: str) -> None:
    found, model = build_report(book, TRIAL, now=AFTER)
    text = _plain(page)
    assert found.ended
    for sentence in model.finding:
        assert sentence in text
        assert text.index(sentence) < text.index("What was compared")
    for comparison in found.comparisons:
        assert comparison.claim in text
    assert "Temperature shows how fast it rots" in text
    assert text.count("Invented data") == 1


def test_deviations_corrections_and_looks_are_told(book: Book, page: str) -> None:
    found, _ = build_report(book, TRIAL, now=AFTER)
    text = _plain(page)
    assert found.deviations
    for deviation in found.deviations:
        assert deviation.text in text
    wrong = [d for d in found.deviations if d.changes_way]
    assert [d.heap for d in wrong] == list(found.left_out)
    assert "As done, which was not as planned" in text
    assert "1 entry was corrected and 0 withdrawn" in text
    assert "The findings were looked at" in text


def test_every_part_of_the_report_is_there(page: str) -> None:
    text = _plain(page)
    for heading in (
        "How warm the heaps ran", "Findings in full", "What else differed", "Was the start fair?",
        "What was not shown", "Where the water and the minutes went",
        "What the heaps were made of", "What was done", "What was not as planned",
        "The numbers behind it", "How we know", "Sources", "Taken for granted",
    ):  # fmt: skip
        assert heading in text
    assert "from memory" in text
    assert "Fingerprint" in text
    assert "18 rounds, 324 readings" in text
    assert "about 21 May" in text
    for forbidden in ("contrast", "confounder", "ambient", "interval", "treatment"):
        assert forbidden not in text.lower().split("sources")[0], forbidden


def test_nothing_is_loaded_from_anywhere(page: str) -> None:
    targets = re.findall(r"\b(?:src|href|srcset|action|data)\s*=\s*([^\s>]+)", page)
    assert targets
    assert [t for t in targets if not t.startswith('"#')] == []
    assert not re.search(r"url\((?!#)", page)
    assert "@import" not in page
    assert "<link" not in page


def test_ids_are_unique_in_the_page_and_links_have_targets(page: str) -> None:
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids))
    wanted = set(re.findall(r'href="#([^"]+)"', page)) | set(re.findall(r"url\(#([^)]+)\)", page))
    assert wanted <= set(ids)
    assert "round-18" in wanted


def test_the_same_record_gives_the_same_page(book: Book) -> None:
    _, one = build_report(book, TRIAL, now=AFTER)
    assert render_report(one) == render_report(one)


def test_a_report_counts_as_one_look(book: Book) -> None:
    first, _ = build_report(book, TRIAL, now=AFTER)
    second, _ = build_report(book, TRIAL, now=AFTER)
    assert second.looks == first.looks + 1


def test_the_data_in_the_page_is_the_findings(book: Book) -> None:
    found, model = build_report(book, TRIAL, now=AFTER)
    page = render_report(model)
    data = re.search(r'id="findings-data">(.*?)</script>', page, re.DOTALL)
    assert data is not None
    assert json.loads(data[1]) == json.loads(json.dumps(found.to_json(), default=str))


def test_before_the_end_date_there_is_no_claim_and_no_range(tmp_path: Path) -> None:
    with invented.invented_book(tmp_path) as book:
        found, model = build_report(book, TRIAL, now=DURING)
    text = _plain(render_report(model))
    assert not found.ended
    assert "Before the end date: no claim yet" in text
    assert all(o.intervals is None for o in model.outcomes)
    assert "1 times" not in text


def test_markup_in_names_is_shown_as_text(tmp_path: Path) -> None:
    plan = example_plan().replace(
        'question = "Does', 'question = "<script>alert(1)</script> & <img src=x> Does'
    )
    plan = plan.replace('"shredded apple prunings"', '"<b>prunings</b>"')
    with invented.invented_book(tmp_path, plan=plan) as book:
        page = render_report(build_report(book, TRIAL, now=AFTER)[1])
    assert "<script>alert" not in page
    assert "<img" not in page
    assert "<b>" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; &amp; &lt;img src=x&gt;" in page


def test_fahrenheit_plans_are_reported_in_fahrenheit(tmp_path: Path) -> None:
    plan = example_plan().replace("[outcome]", '[outcome]\nunit = "F"', 1)
    with invented.invented_book(tmp_path, plan=plan) as book:
        found, model = build_report(book, TRIAL, now=AFTER)
    assert model.curves is not None
    assert model.curves.unit == "F"
    assert max(max(h.mean) for h in model.curves.heaps) > 90
    assert "degrees F" in model.finding[0]
    ranges = model.outcomes[0].intervals
    assert ranges is not None
    assert ranges.unit == "degrees F"
    assert ranges.matters == pytest.approx(14.4)
    kept = found.comparisons[0]
    assert ranges.rows[0].estimate == pytest.approx(kept.estimate * 1.8)


def test_a_trial_without_readings_says_what_is_missing(tmp_path: Path) -> None:
    from heapwright.services.plans import lock_plan

    file = tmp_path / "plan.toml"
    file.write_text(example_plan(), encoding="utf-8")
    with Book(tmp_path / "empty.sqlite") as book:
        lock_plan(book, file, now=invented.LOCKED)
        _, model = build_report(book, TRIAL, now=AFTER)
    text = _plain(render_report(model))
    assert "No temperatures were read here" in text
    assert "Nobody wrote down anything that was done" in text
    assert "Nobody noted litres or minutes" in text


def test_one_heap_each_names_no_winner(tmp_path: Path) -> None:
    plan = example_plan()
    for name in "DEF":
        start = plan.index(f'[[heap]]\nname = "{name}"')
        plan = plan[:start] + plan[plan.index("\n\n", start) + 2 :]
    plan = plan.replace('["A", "B", "C", "D", "E", "F"]', '["A", "B", "C"]')
    with invented.invented_book(tmp_path, plan=plan) as book:
        found, model = build_report(book, TRIAL, now=AFTER)
    assert {c.claim for c in found.comparisons} <= {LEANS, CANNOT_TELL, DESCRIBED}
    assert all(c.claim != DESCRIBED for c in found.comparisons if c.outcome == "mean_excess_c")
    render_report(model)


def _app() -> typer.Typer:
    app = typer.Typer()
    app.command()(findings)
    app.command()(report)
    return app


def test_the_commands_print_words_json_and_a_path(
    book: Book, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    run = CliRunner()
    said = run.invoke(_app(), ["findings", "--book", book.where])
    assert said.exit_code == 0, said.output
    assert said.output.splitlines()[0].startswith("Does turning or venting")
    assert "INVENTED DATA" in said.output
    assert "claim: " in said.output
    assert "Not as planned:" in said.output
    answer = run.invoke(_app(), ["findings", TRIAL, "--json", "--book", book.where])
    assert json.loads(answer.output)["trial"] == TRIAL
    wrote = run.invoke(_app(), ["report", "--book", book.where])
    assert wrote.output.strip() == "ferncombe-2026-report.html"
    assert (
        (tmp_path / "ferncombe-2026-report.html")
        .read_text(encoding="utf-8")
        .startswith("<!DOCTYPE html>")
    )


def test_a_report_that_cannot_be_written_says_so(book: Book, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written"):
        write_report(book, TRIAL, tmp_path / "file" / "r.html", now=AFTER)
