"""What must not slip through: heaps moved between ways, ranges of no width, lone heaps in blocks.

All trials are INVENTED.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.flow.commands import Command
from tests.flow.test_designs_in_findings import heap, plan_of, way

from heapwright.errors import LockedError, NotEnoughError, PlanError
from heapwright.services.findings import find
from heapwright.services.plans import lock_plan, stored_plan
from heapwright.services.report import report_model
from heapwright.stats.claims import CANNOT_TELL, LEANS
from heapwright.stats.compare import compare
from heapwright.stats.effects import factorial
from heapwright.stats.linear import HeapRow
from heapwright.store.book import Book

EARLY, NOW = datetime(2026, 2, 1, tzinfo=UTC), datetime(2026, 9, 1, tzinfo=UTC)
TWO = way("left") + way("turned", "turned")


def write(
    path: Path, heaps: str, *, decides: str = "mass_kg", ways: str = TWO, **more: str
) -> Path:
    path.write_text(plan_of(decides, ways, heaps, **more), encoding="utf-8")
    return path


# --- which heap got which way --------------------------------------------------------------------


def test_heaps_cannot_change_their_way_or_block_in_silence(tmp_path: Path) -> None:
    right = heap("A", "left", "n") + heap("B", "turned", "n") + heap("C", "left", "s")
    swapped = heap("A", "turned", "n") + heap("B", "left", "n") + heap("C", "left", "s")
    moved = heap("A", "left", "s") + heap("B", "turned", "n") + heap("C", "left", "s")
    plan = write(tmp_path / "plan.toml", right)
    with Book(tmp_path / "b.sqlite") as book:
        lock_plan(book, plan, now=EARLY)
        for other, part in ((swapped, "way of heap A"), (moved, "block of heap A")):
            write(plan, other)
            with pytest.raises(LockedError, match=part):
                lock_plan(book, plan, now=NOW)
        write(plan, right + heap("D", "turned"))
        with pytest.raises(LockedError, match="way of heap D"):
            lock_plan(book, plan, now=NOW)
        write(plan, swapped)
        made = lock_plan(book, plan, now=NOW, unlock=True, why="the signs were wrong")
        assert {e.part for e in made.edits} == {"way of heap A", "way of heap B"}
        # the locked one decides
        assert made.trial.heap("A").way == "left"


def test_lots_are_those_of_the_locked_plan_even_if_heaps_are_added(tmp_path: Path) -> None:
    open_heaps = "".join(f'[[heap]]\nname = "{n}"\n' for n in "ABCD")
    plan = write(tmp_path / "plan.toml", open_heaps)
    with Book(tmp_path / "b.sqlite") as book:
        before = {h.name: h.way for h in lock_plan(book, plan, now=EARLY).trial.heaps}
        write(plan, '[[heap]]\nname = "E"\nway = "left"\n' + open_heaps)
        after = lock_plan(book, plan, now=NOW, unlock=True, why="one more").trial
        assert {h.name: h.way for h in after.heaps if h.name != "E"} == before


def test_outcomes_added_later_are_seen(tmp_path: Path) -> None:
    plan = write(tmp_path / "plan.toml", heap("A", "left") + heap("B", "turned"))
    with Book(tmp_path / "b.sqlite") as book:
        lock_plan(book, plan, now=EARLY)
        write(plan, heap("A", "left") + heap("B", "turned"), also='["ph"]')
        made = lock_plan(book, plan, now=NOW)
        assert [e.part for e in made.edits] == ["outcomes beside"]
        texts = [d.text for d in find(book, "Rows", now=NOW).deviations]
        assert any("outcomes beside" in t for t in texts)


# --- plans ---------------------------------------------------------------------------------------


def test_a_book_locked_with_something_that_is_only_read_still_opens(tmp_path: Path) -> None:
    text = plan_of("mass_kg", TWO, heap("A", "left") + heap("B", "turned"), '["o2_frac"]')
    plan = tmp_path / "plan.toml"
    plan.write_text(text, encoding="utf-8")
    with Book(tmp_path / "b.sqlite") as book:
        with pytest.raises(PlanError, match="also"):
            lock_plan(book, plan, now=EARLY)
        book.save_plan(
            "Rows", text, heaps=["A", "B"], fingerprint="old", locked=True, now=EARLY, why=""
        )
        assert stored_plan(book, "Rows").trial.also == ("o2_frac",)
        assert "o2_frac" in find(book, "Rows", now=NOW).missing


@pytest.mark.parametrize("name", ["block", "Way"])
def test_factor_names_that_stand_for_something_else(name: str, tmp_path: Path) -> None:
    ways = way("a", factors=f'["{name}: x", "other: y"]') + way(
        "b", factors=f'["{name}: z", "other: y"]'
    )
    plan = write(tmp_path / "plan.toml", heap("A", "a") + heap("B", "b"), ways=ways)
    with Book(tmp_path / "b.sqlite") as book, pytest.raises(PlanError, match="factors"):
        lock_plan(book, plan, now=EARLY)


def test_ways_that_differ_in_material_only(tmp_path: Path, command: Command) -> None:
    """No common phase is claimed, and nothing says that leaving it alone did it."""
    plan = write(
        tmp_path / "plan.toml", heap("A", "bark") + heap("B", "grass"),
        ways=way("bark") + way("grass"), decides="mean_excess_c",
    )  # fmt: skip
    path = str(tmp_path / "b.sqlite")
    with Book(path) as book:
        lock_plan(book, plan, now=EARLY)
    for day in range(1, 62, 4):
        moment = datetime(2026, 3, 1, 8, tzinfo=UTC).timestamp() + day * 86400
        when = f"{datetime.fromtimestamp(moment, UTC):%Y-%m-%d %H:%M}"
        code, _, err = command("log", "round", "A 40 B 55 air 10", "--when", when, "--book", path)
        assert code == 0, err
    with Book(path) as book:
        found = find(book, "Rows", now=NOW)
        report_model(found)
    assert "common phase" in found.fair_start.sentence
    assert "leaving it alone did it" not in found.headline


# --- claims --------------------------------------------------------------------------------------


def test_lone_heaps_in_blocks_never_win() -> None:
    values = {"left": {"A": 20.0, "B": 30.0}, "turned": {"C": 45.0, "D": 33.0}}
    blocks = {"A": "n", "B": "s", "C": "n", "D": "e"}
    (one,) = compare("mean_excess_c", values, "left", matters=5.0, ended=True, blocks=blocks)
    assert one.claim in (LEANS, CANNOT_TELL)
    assert any("Within blocks" in a for a in one.assumptions)
    blocks = {"A": "n", "B": "s", "C": "n", "D": "n"}
    (one,) = compare("mean_excess_c", values, "left", matters=5.0, ended=True, blocks=blocks)
    assert one.claim in (LEANS, CANNOT_TELL)


@pytest.mark.parametrize("key", ["ph", "minutes", "cn_ratio"])
def test_heaps_exactly_alike_show_rounding_not_spread(key: str) -> None:
    values = {"left": {"A": 7.0, "B": 7.0}, "turned": {"C": 7.5, "D": 7.5}}
    (one,) = compare(key, values, "left", matters=0.1, ended=True)
    assert one.claim == CANNOT_TELL
    assert one.low is None
    assert any("rounded" in a for a in one.assumptions)


def test_alternatives_say_that_they_are_without_blocks() -> None:
    values = {"left": {"A": 20.0, "B": 30.0}, "turned": {"C": 27.0, "D": 35.0}}
    blocks = {"A": "n", "B": "s", "C": "n", "D": "s"}
    (one,) = compare("mean_excess_c", values, "left", matters=5.0, ended=True, blocks=blocks)
    assert "blocks taken out" in one.method
    assert all(
        "blocks taken out" in a.method or "blocks not taken out" in a.method
        for a in one.alternatives
    )


def test_a_two_by_two_of_single_heaps_only_leans() -> None:
    cells = [("A", 20.0, "no", "bark"), ("B", 60.0, "yes", "bark"), ("C", 22.0, "no", "grass"),
             ("D", 99.0, "yes", "grass"), ("E", 98.0, "yes", "grass")]  # fmt: skip
    rows = [HeapRow(h, v, factors={"turning": t, "material": m}) for h, v, t, m in cells]
    levels = {"turning": ("no", "yes"), "material": ("bark", "grass")}
    found = factorial("mean_excess_c", rows, levels, matters=5.0, ended=True)
    assert {e.claim for e in found.effects} <= {LEANS, CANNOT_TELL}
    assert found.together == ()


def test_a_missing_combination_leaves_the_effects_without_what_depends_on_what() -> None:
    cells = [(20.0, "no", "bark"), (60.0, "yes", "bark"), (22.0, "no", "grass"),
             (24.0, "no", "bark"), (55.0, "yes", "bark"), (27.0, "no", "grass")]  # fmt: skip
    rows = [
        HeapRow(f"H{i}", v, factors={"turning": t, "material": m})
        for i, (v, t, m) in enumerate(cells)
    ]
    levels = {"turning": ("no", "yes"), "material": ("bark", "grass")}
    found = factorial("mean_excess_c", rows, levels, matters=5.0, ended=True)
    assert len(found.effects) == 2
    assert found.together == ()
    assert any("Not every combination" in n for n in found.notes)


def test_things_that_always_go_together_cannot_be_told_apart() -> None:
    rows = [HeapRow(f"{i}", v, factors={"turning": t, "material": t}) for i, (v, t) in
            enumerate([(20.0, "a"), (30.0, "b"), (25.0, "a"), (33.0, "b")])]  # fmt: skip
    levels = {"turning": ("a", "b"), "material": ("a", "b")}
    with pytest.raises(NotEnoughError, match="stand together"):
        factorial("mean_excess_c", rows, levels, matters=5.0, ended=True)
