"""Scores as people write them, and what stands on the dealer's sheet and the sealed one."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from heapwright.errors import HeapwrightError, InputError
from heapwright.reports.sheets import deal_sheet_html, lots_sheet_html
from heapwright.services.deal import (
    deal_sheet,
    lots_sheet,
    share_out,
)
from heapwright.services.plans import example_plan
from heapwright.services.scores import parse_scores, read_scores

NOW = datetime(2026, 4, 17, 9, tzinfo=UTC)
#: 48 loads in batches of six that differ, as a truck brings them.
SCORES = [
    62, 55, 70, 58, 66, 61, 35, 28, 41, 30, 33, 38, 48, 52, 44, 57, 49, 46, 20, 12, 25, 18, 9, 22,
    75, 81, 68, 73, 79, 70, 50, 43, 55, 47, 52, 39, 31, 36, 24, 29, 40, 33, 60, 64, 53, 58, 67, 62,
]  # fmt: skip


@pytest.fixture
def plan(tmp_path: Path) -> Path:
    path = tmp_path / "ferncombe.toml"
    path.write_text(example_plan(), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("20 35 50", [20, 35, 50]),
        ("20; 35;50%", [20, 35, 50]),
        ("20, 35, 50", [20, 35, 50]),
        ("12.5\n0\n100 ", [12.5, 0, 100]),
        ("0 1 1", [0, 1, 1]),
        ("", []),
    ],
)
def test_scores_are_read_as_written(text: str, found: list[float]) -> None:
    assert parse_scores(text) == found


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("20,5 30", "decimal comma"),
        ("20,35,50", "decimal comma"),
        ("20 leafy", "0 to 100 %"),
        ("20 120", "score 2"),
        ("-5", "0 to 100 %"),
        ("nan 20", "0 to 100 %"),
        ("0.2 0.35", "fractions"),
    ],
)
def test_scores_that_can_be_misread_are_refused(text: str, said: str) -> None:
    with pytest.raises(InputError) as found:
        parse_scores(text)
    assert said in str(found.value)
    assert found.value.way_out


def test_a_file_of_scores_passes_over_remarks(tmp_path: Path) -> None:
    file = tmp_path / "scores.txt"
    file.write_text("# first truck\n20 35\n50\n", encoding="utf-8")
    assert read_scores(file) == [20, 35, 50]
    file.write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(InputError, match="no score"):
        read_scores(file)
    with pytest.raises(InputError, match="cannot be read"):
        read_scores(tmp_path / "missing.txt")


@pytest.mark.parametrize("rule", ["buffered", "one-at-a-time"])
def test_48_loads_come_out_even(plan: Path, rule: str) -> None:
    made = share_out(str(plan), now=NOW, scores=SCORES, rule=rule)
    assert made.balance is not None
    assert made.balance.load_gap == 0
    assert set(made.balance.loads.values()) == {8}
    assert made.in_sequence is not None
    # Heap by heap, as the truck brought them, the means lie 30 points apart and more.
    assert made.in_sequence > 30
    assert made.balance.score_gap < (4 if rule == "buffered" else 12)
    assert "Mean leafiness" in made.balance_lines[1]


def test_the_seed_repeats_the_lots_and_another_seed_changes_them(plan: Path) -> None:
    first = share_out(str(plan), now=NOW, loads=48)
    again = share_out(str(plan), now=NOW, loads=12, scores=SCORES[:12])
    assert first.lots is not None
    assert again.lots is not None
    assert first.lots.ways == again.lots.ways
    assert first.lots.seed == 418
    assert sorted(first.lots.ways.values()) == ["left alone"] * 2 + ["turned"] * 2 + ["vented"] * 2
    text = plan.read_text()
    drawn = set()
    for seed in range(1, 12):
        plan.write_text(text.replace("seed = 418", f"seed = {seed}"))
        other = share_out(str(plan), now=NOW, loads=48)
        assert other.lots is not None
        drawn.add(tuple(other.lots.ways.values()))
        assert other.fingerprint != first.fingerprint
    assert len(drawn) > 3


def test_the_dealers_sheet_never_shows_a_way(plan: Path) -> None:
    for scores in ([], SCORES):
        made = share_out(str(plan), now=NOW, loads=48, scores=scores)
        page = deal_sheet_html(deal_sheet(made, now=NOW)).lower()
        for word in ("turned", "vented", "left alone", "418", "http"):
            assert word not in page.replace("(invented)", "")
        assert made.fingerprint in page
        assert "(invented)" in page
        assert page.count('class="load"') == 48
        assert "guide weights" in page
        assert "run-off passes from heap to heap: a to b" in page
    assert page.count('class="here"') == 48


def test_the_sealed_sheet_names_ways_seed_and_fingerprint(plan: Path) -> None:
    made = share_out(str(plan), now=NOW, loads=48)
    page = lots_sheet_html(lots_sheet(made, now=NOW))
    assert made.lots is not None
    for heap, way in made.lots.ways.items():
        assert f"<tr><td><strong>{heap}</strong></td><td>{way}</td>" in page
    assert "seed 418" in page
    assert made.fingerprint in page
    assert "not locked yet" in page


def test_names_are_escaped_on_the_sheet(plan: Path) -> None:
    text = plan.read_text().replace('name = "Ferncombe 2026"', 'name = "<b>Fern & combe</b>"')
    plan.write_text(text)
    page = deal_sheet_html(deal_sheet(share_out(str(plan), now=NOW, loads=12), now=NOW))
    assert "<b>Fern" not in page
    assert "&lt;b&gt;Fern &amp; combe" in page


def test_slope_and_neighbours_are_asked_or_named(plan: Path) -> None:
    text = plan.read_text()
    known = share_out(str(plan), now=NOW, loads=12)
    assert known.questions == ()
    assert "The ground falls 3 %." in known.site
    plan.write_text(text.replace('slope = "3 %"', "").replace("downhill = [", "#"))
    asked = share_out(str(plan), now=NOW, loads=12)
    assert len(asked.questions) == 2
    assert "How much does the ground fall" in asked.questions[0]
    assert "run from one heap into the next" in asked.questions[1]
    page = deal_sheet_html(deal_sheet(asked, now=NOW))
    assert page.count("Asked:") == 2
    plan.write_text(text.replace('slope = "3 %"', 'slope = "8 %"').replace('"E", "F"]', '"E"]'))
    steep = share_out(str(plan), now=NOW, loads=12)
    assert "side by side along the slope" in steep.site[0]
    assert steep.questions == ("Where on the slope do F stand? (downhill under [place])",)
    plan.write_text(text.replace('slope = "3 %"', "slope = 0").replace("downhill = [", "#"))
    level = share_out(str(plan), now=NOW, loads=12)
    assert level.questions == ()
    assert level.site == ("The ground is level.",)


def test_a_way_set_by_hand_is_said_not_to_be_drawn(plan: Path) -> None:
    text = plan.read_text().replace('name = "A"\n', 'name = "A"\nway = "left alone"\n', 1)
    plan.write_text(text)
    made = share_out(str(plan), now=NOW, loads=12)
    assert made.lots is not None
    assert made.lots.ways["A"] == "left alone"
    assert made.lots.fixed == ("A",)
    assert any("not drawn: A" in n for n in made.lots.notes)


def test_loads_by_the_plan_when_none_are_given(plan: Path) -> None:
    made = share_out(str(plan), now=NOW)
    assert len(made.loads) == 62
    assert "62 loads of shredded apple prunings" in made.notes[0]
    assert "18 of grass mowings" in made.notes[1]


@pytest.mark.parametrize(
    ("change", "arguments", "said"),
    [
        ("", {"loads": 3}, "3 loads cannot go into 6 heaps"),
        ("", {"loads": 0}, "cannot be shared out"),
        ("", {"loads": 10**7}, "cannot be shared out"),
        ("", {"loads": 8, "scores": SCORES}, "48 scores for 8 loads"),
        ("", {"loads": 12, "rule": "by feel"}, "buffered, one-at-a-time"),
        ("", {"loads": 12, "next_score": 140}, "0 to 100"),
        ("no amounts", {}, "--loads 48"),
        ("one heap", {"loads": 12}, "nothing to share out"),
        ("no heap", {"loads": 12}, "no heaps"),
    ],
)
def test_what_cannot_be_dealt_is_said(
    plan: Path, change: str, arguments: dict[str, object], said: str
) -> None:
    text = plan.read_text()
    if change == "no amounts":
        text = "\n".join(x for x in text.splitlines() if not x.startswith("amount"))
    if change in ("one heap", "no heap"):
        text = '[trial]\nname = "Ferncombe"\n' + ('[[heap]]\nname="A"\n' * (change == "one heap"))
    plan.write_text(text)
    with pytest.raises(HeapwrightError) as found:
        share_out(str(plan), now=NOW, **arguments)  # type: ignore[arg-type]
    assert said in str(found.value)
    assert found.value.exit_code == 2
