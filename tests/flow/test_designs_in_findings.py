"""Factors, blocks, counts and ratios, from the plan file to the findings; INVENTED but for one."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from scipy import stats
from tests.flow.commands import Command

from heapwright.services.findings import Findings, find
from heapwright.services.importing import import_sheet
from heapwright.services.plans import lock_plan
from heapwright.stats.claims import CANNOT_TELL
from heapwright.store.book import Book

NOW = datetime(2026, 9, 1, tzinfo=UTC)
SHEET = Path(__file__).parents[1] / "data" / "expdes_ex4_turning_interval_x_manure.csv"


def plan_of(decides: str, ways: str, heaps: str, also: str = "[]", more: str = "") -> str:
    return f"""
[trial]
name = "Rows"
starts = 2026-03-01
invented = true
[outcome]
decides = "{decides}"
window = "5-60 days"
ends = 2026-06-01
also = {also}
{more}
{ways}
{heaps}
"""


def heap(name: str, way: str, block: str = "") -> str:
    rows = f'[[heap]]\nname = "{name}"\nway = "{way}"\nbuilt = "2026-03-01 06:00"\n'
    return rows + (f'block = "{block}"\n' if block else "")


def way(name: str, kind: str = "left alone", factors: str = "") -> str:
    rows = f'[[way]]\nname = "{name}"\nkind = "{kind}"\n'
    rows += 'every = "14 days"\n' if kind == "turned" else ""
    return rows + (f"factors = {factors}\n" if factors else "")


def found_in(book: Book) -> Findings:
    return find(book, "Rows", now=NOW)


# --- two factors ---------------------------------------------------------------------------------


@pytest.fixture
def crossed(tmp_path: Path) -> Book:
    """The published trial of 24 heaps: turning interval x manure."""
    rows = SHEET.read_text(encoding="utf-8").splitlines()[1:]
    names, ways, heaps = [], [], []
    lines = ["time,heap,carbon,nitrogen,cn"]
    for row in rows:
        interval, manure, repeat, c, n, *rest = (x.strip('"') for x in row.split(","))
        name = f"{interval} days, manure {manure}"
        if name not in names:
            names.append(name)
            levels = json.dumps([f"interval: {interval} days", f"manure: {manure}"])
            ways.append(way(name, factors=levels))
        called = f"{manure}{interval}-{repeat}"
        heaps.append(heap(called, name))
        lines.append(f"2026-04-20 08:00,{called},{c},{n},{rest[-1]}")
    plan = tmp_path / "plan.toml"
    control = f'control = "{next(w for w in names if w.startswith("5 days") and "sem" in w)}"'
    plan.write_text(
        plan_of("carbon_dm", "".join(ways), "".join(heaps), '["nitrogen_dm", "cn_ratio"]', control),
        encoding="utf-8",
    )
    sheet = tmp_path / "sheet.csv"
    sheet.write_text("\n".join(lines) + "\n", encoding="utf-8")
    book = Book(tmp_path / "rows.sqlite")
    lock_plan(book, plan, now=datetime(2026, 2, 1, tzinfo=UTC))
    answers = {"column.carbon": "carbon_dm:%", "column.nitrogen": "nitrogen_dm:%",
               "column.cn": "cn_ratio", "columns": "suggested"}  # fmt: skip
    import_sheet(book, sheet, "Rows", answers=answers, now=NOW)
    return book


@pytest.mark.reference(
    source="Rezende 2010, thesis, UFLA, as shipped in R's ExpDes 1.2.2: turning x manure",
    where="F of manure and interval, from the plan file on",
)
def test_the_published_trial_of_two_factors(crossed: Book) -> None:
    with crossed:
        found = found_in(crossed)
    table = {f.outcome: {r.term: r for r in f.table.rows} for f in found.effects if f.table}
    assert round(table["carbon_dm"]["manure"].f or 0, 2) == 11.31
    assert round(table["carbon_dm"]["interval"].f or 0, 2) == 2.97
    assert round(table["nitrogen_dm"]["interval"].f or 0, 2) == 3.90
    assert round(table["cn_ratio"]["manure"].p or 0, 3) == 0.044
    manure = next(e for f in found.effects for e in f.effects if e.factor == "manure")
    assert manure.df == 16
    assert "manure" in found.headline.lower()
    said = [e.sentence for f in found.effects for e in f.together]
    assert any("depend on each other" in s for s in said)


# --- blocks --------------------------------------------------------------------------------------


def test_blocks_are_taken_out_and_the_plain_range_stands_beside(
    tmp_path: Path, command: Command
) -> None:
    left = {"A": (10.0, "north"), "B": (18.0, "south"), "C": (25.0, "east")}
    turned = {"D": (7.0, "north"), "E": (15.5, "south"), "F": (21.0, "east")}
    heaps = [heap(h, "left", b) for h, (_, b) in left.items()]
    heaps += [heap(h, "turned", b) for h, (_, b) in turned.items()]
    plan = tmp_path / "plan.toml"
    plan.write_text(
        plan_of("mass_kg", way("left") + way("turned", "turned"), "".join(heaps)),
        encoding="utf-8",
    )
    book = str(tmp_path / "rows.sqlite")
    with Book(book) as opened:
        lock_plan(opened, plan, now=datetime(2026, 2, 1, tzinfo=UTC))
    for h, (v, _) in {**left, **turned}.items():
        command("log", "sample", h, "mass", f"{v} kg", "--when", "2026-04-20", "--book", book)
    with Book(book) as opened:
        (one,) = found_in(opened).comparisons
    pairs = stats.ttest_rel([v for v, _ in turned.values()], [v for v, _ in left.values()])
    interval = pairs.confidence_interval(0.95)
    assert (one.low, one.high, one.df) == pytest.approx((interval.low, interval.high, 2))
    assert "blocks taken out" in one.method
    plain = next(a for a in one.alternatives if "blocks not taken out" in a.method)
    assert plain.high - plain.low > one.high - one.low  # type: ignore[operator]
    assert any("within their blocks" in a for a in one.assumptions)


# --- counts --------------------------------------------------------------------------------------


def test_seedlings_are_logged_by_dish_and_compared_as_shares(
    tmp_path: Path, command: Command
) -> None:
    plan = tmp_path / "plan.toml"
    heaps = heap("A", "left") + heap("B", "left") + heap("C", "turned") + heap("D", "turned")
    plan.write_text(
        plan_of("came_up", way("left") + way("turned", "turned"), heaps, '["microbes"]'),
        encoding="utf-8",
    )
    book = str(tmp_path / "rows.sqlite")
    with Book(book) as opened:
        lock_plan(opened, plan, now=datetime(2026, 2, 1, tzinfo=UTC))
    dishes = {"A": ("4 of 10", "6/10"), "B": ("5 of 10", "5 of 10"), "C": ("9 of 10", "8 of 10"),
              "D": ("9 of 10", "10 of 10")}  # fmt: skip
    for h, values in dishes.items():
        for k, value in enumerate(values):
            code, _, err = command(
                "log", "sample", h, "seedlings", value, "--part", f"dish {k}", "--when",
                "2026-04-20", "--book", book,
            )  # fmt: skip
            assert code == 0, err
    code, _, err = command("log", "sample", "A", "seedlings", "7", "--book", book)
    assert code != 0
    assert "7 of 10" in err
    code, _, err = command("log", "sample", "A", "microbes", "12", "--book", book)
    assert code != 0
    assert "field 1" in err
    with Book(book) as opened:
        found = found_in(opened)
    (one,) = [c for c in found.comparisons if c.outcome == "came_up"]
    assert found.values["came_up"] == {"A": 0.5, "B": 0.5, "C": 0.85, "D": 0.95}
    ratio = next(a for a in one.alternatives if a.scale == "ratio")
    assert ratio.estimate == pytest.approx((36 / 4) / (20 / 20))
    assert "percentage points more of its seedlings" in one.sentence
    assert one.claim != CANNOT_TELL
    assert "microbes" in found.missing


def test_a_described_outcome_cannot_decide(tmp_path: Path, command: Command) -> None:
    plan = tmp_path / "plan.toml"
    heaps = heap("A", "left") + heap("B", "turned")
    plan.write_text(
        plan_of("water_l", way("left") + way("turned", "turned"), heaps), encoding="utf-8"
    )
    code, _, err = command("plan", "lock", str(plan), "--book", str(tmp_path / "b.sqlite"))
    assert code != 0
    assert "described and never tested" in err
