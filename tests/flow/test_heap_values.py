"""One value a heap and what was done to it: lost heaps, missing minutes, late counts, no turns.

All heaps and numbers are invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from heapwright.errors import NotEnoughError
from heapwright.services.conduct import Deviation, deviations, handled_otherwise
from heapwright.services.doings import log_event, log_sample
from heapwright.services.findings import find
from heapwright.services.heapvalues import counted_in, heap_outcomes, window_of
from heapwright.services.log import log_round
from heapwright.services.plans import lock_plan
from heapwright.services.record import TrialRecord, load_record
from heapwright.store.book import Book

START = datetime(2026, 3, 1, 6, tzinfo=UTC)
END = datetime(2026, 7, 1, tzinfo=UTC)
HEAPS = {"A": "left", "B": "left", "C": "turned", "D": "turned"}


def locked(folder: Path, decides: str, also: str = "[]") -> Book:
    """A book with four heaps of two ways; turns are planned for days 7, 21, 35 and 49."""
    lines = [
        "[trial]", 'name = "T"', "starts = 2026-03-01", "invented = true", "[outcome]",
        f'decides = "{decides}"', 'window = "3-60 days"', "ends = 2026-06-01", 'control = "left"',
        f"also = {also}", "[[way]]", 'name = "left"', 'kind = "left alone"',
        "[[way]]", 'name = "turned"', 'kind = "turned"',
        'first_after = "7 days"', 'every = "14 days"', "[[spot]]", 'name = "core"',
        'depth = "40 cm"',
    ]  # fmt: skip
    for heap, way in HEAPS.items():
        lines += ["[[heap]]", f'name = "{heap}"', f'way = "{way}"', 'built = "2026-03-01 06:00"']
    plan = folder / "plan.toml"
    plan.write_text("\n".join(lines) + "\n", encoding="utf-8")
    book = Book(folder / "book.sqlite")
    lock_plan(book, plan, now=START - timedelta(days=2))
    return book


@pytest.fixture
def acid(tmp_path: Path) -> Iterator[Book]:
    """Decided by pH, with seedlings, minutes and litres beside it."""
    with locked(tmp_path, "ph", '["came_up", "minutes", "water_l"]') as book:
        yield book


def done(book: Book, heap: str, what: str, day: float, **more: str) -> None:
    log_event(book, None, [heap], what, now=END, when=START + timedelta(days=day), **more)  # type: ignore[arg-type]


def sample(book: Book, heap: str, what: str, value: str, day: float, part: str = "whole") -> None:
    when = START + timedelta(days=day)
    log_sample(book, None, heap, what, value, now=END, when=when, part=part)


def record(book: Book) -> TrialRecord:
    return load_record(book, "T")


# --- lost heaps ----------------------------------------------------------------------------------


def test_a_lost_heap_without_a_sample_is_left_out_and_named(acid: Book) -> None:
    for heap in "ABD":
        sample(acid, heap, "ph", "7.5", 50)
    with pytest.raises(NotEnoughError, match="heap C has no sample of pH"):
        heap_outcomes(record(acid), "ph")
    done(acid, "C", "lost", 12)
    values, notes = heap_outcomes(record(acid), "ph")
    assert values == {"A": 7.5, "B": 7.5, "D": 7.5}
    assert notes == ["Heap C was lost and has no value: heap C has no sample of pH that counts."]
    (one,) = find(acid, "T", now=END).comparisons
    assert dict(one.heaps["turned"]) == {"D": 7.5}


def test_a_lost_heap_that_gave_its_value_keeps_it(acid: Book) -> None:
    for heap in "ABCD":
        sample(acid, heap, "ph", "7.5", 50)
    done(acid, "C", "lost", 70)
    assert heap_outcomes(record(acid), "ph") == (dict.fromkeys("ABCD", 7.5), [])


def test_a_lost_heap_without_counts_is_left_out_of_values_and_of_what_was_counted(
    acid: Book,
) -> None:
    for heap in "ABD":
        sample(acid, heap, "seedlings", "6 of 10", 50, "dish 1")
        sample(acid, heap, "seedlings", "5 of 5", 50, "dish 2")
    with pytest.raises(NotEnoughError, match="in heap C"):
        heap_outcomes(record(acid), "came_up")
    done(acid, "C", "lost", 12)
    values, notes = heap_outcomes(record(acid), "came_up")
    assert values == pytest.approx(dict.fromkeys("ABD", 11 / 15))
    assert counted_in(record(acid), "came_up") == dict.fromkeys("ABD", 15.0)
    assert notes[0].startswith("Heap C was lost and has no value: ")


def test_a_lost_heap_does_not_cut_the_window_before_the_end(tmp_path: Path) -> None:
    with locked(tmp_path, "mean_excess_c") as book:
        for day in range(0, 31, 3):
            when = START + timedelta(days=day)
            heaps = "ABCD" if day < 12 else "ABD"
            log_round(book, None, " ".join(f"{h} 40" for h in heaps) + " air 12", now=END,
                      when=when)  # fmt: skip
        done(book, "C", "lost", 11)
        assert window_of(record(book), ended=False) == pytest.approx((3, 30), abs=0.1)
        values, notes = heap_outcomes(record(book), "mean_excess_c", ended=False)
    assert set(values) == {"A", "B", "D"}
    assert any(n.startswith("Heap C was lost and has no value") for n in notes)


# --- minutes and litres --------------------------------------------------------------------------


def test_no_work_is_no_minutes_but_work_without_minutes_is_no_value(acid: Book) -> None:
    done(acid, "B", "watered", 7, litres="20")
    done(acid, "C", "turned", 7, minutes="20")
    done(acid, "C", "turned", 21, minutes="25")
    done(acid, "D", "turned", 7)
    done(acid, "D", "turned", 21)
    values, notes = heap_outcomes(record(acid), "minutes")
    assert values == {"A": 0.0, "C": 45.0}
    assert notes[0].startswith("Heap B has no value, because its one entry has no minutes (watered")
    assert notes[1].startswith("Heap D has no value, because none of its 2 entries has minutes")
    assert all("heapwright correct ID --minutes NUMBER" in n for n in notes)


def test_some_work_without_minutes_makes_the_total_too_low(acid: Book) -> None:
    done(acid, "C", "turned", 7, minutes="20")
    done(acid, "C", "turned", 21)
    done(acid, "C", "watered", 22, litres="20")
    values, notes = heap_outcomes(record(acid), "minutes")
    assert values == {"A": 0.0, "B": 0.0, "C": 20.0, "D": 0.0}
    assert notes == [
        "Heap C: 2 of 3 entries (turned, watered) have no minutes, so its total is too low."
    ]


def test_waterings_without_litres_are_no_value_and_turns_need_none(acid: Book) -> None:
    done(acid, "A", "watered", 7, litres="20")
    done(acid, "B", "watered", 7)
    done(acid, "C", "turned", 7)
    values, notes = heap_outcomes(record(acid), "water_l")
    assert values == {"A": 20.0, "C": 0.0, "D": 0.0}
    assert [n[:26] for n in notes] == ["Heap B has no value, becau"]


def test_minutes_of_lost_heaps(acid: Book) -> None:
    done(acid, "C", "turned", 7, minutes="20")
    for heap in "CD":
        done(acid, heap, "lost", 12)
    values, notes = heap_outcomes(record(acid), "minutes")
    assert values == {"A": 0.0, "B": 0.0, "C": 20.0}
    assert notes == [
        "Heap C was lost, and its minutes end there.",
        "Heap D was lost and has no value: no minutes were noted for its work.",
    ]


# --- the window of what is counted ---------------------------------------------------------------


def test_deciding_counts_are_those_inside_the_window(tmp_path: Path) -> None:
    with locked(tmp_path, "came_up") as book:
        for heap in "ABCD":
            sample(book, heap, "seedlings", "5 of 10", 60.5, "dish 1")
            sample(book, heap, "seedlings", "9 of 10", 80, "dish 1")
        assert heap_outcomes(record(book), "came_up")[0] == dict.fromkeys("ABCD", 0.5)


def test_counts_beside_the_deciding_outcome_are_the_last_ones(acid: Book) -> None:
    for heap in "ABCD":
        sample(acid, heap, "seedlings", "5 of 10", 60.5, "dish 1")
        sample(acid, heap, "seedlings", "9 of 10", 80, "dish 1")
    assert heap_outcomes(record(acid), "came_up")[0] == dict.fromkeys("ABCD", 0.9)


# --- turns ---------------------------------------------------------------------------------------


def turns(book: Book, now: datetime = END) -> list[Deviation]:
    return [d for d in deviations(record(book), now=now) if d.kind == "turn"]


def test_a_heap_that_was_never_turned_was_not_handled_as_its_way(acid: Book) -> None:
    for day in (7, 21, 35, 49):
        done(acid, "C", "turned", day)
    (one,) = turns(acid)
    assert one.text == "Heap D was never turned, though its way is turned."
    assert one.changes_way
    assert handled_otherwise((one,)) == ("D",)
    for heap, value in zip("ABCD", ("7.1", "7.2", "7.6", "7.3"), strict=True):
        sample(acid, heap, "ph", value, 50)
    found = find(acid, "T", now=END)
    assert found.left_out == ("D",)
    assert dict(found.comparisons[0].heaps["turned"]) == {"C": 7.6, "D": 7.3}
    assert dict(found.as_done[0].heaps["turned"]) == {"C": 7.6}


def test_a_heap_that_was_turned_in_part_stays(acid: Book) -> None:
    for day in (7, 21, 35, 49):
        done(acid, "C", "turned", day)
    done(acid, "D", "turned", 25)
    found = turns(acid)
    assert [d.text for d in found] == [
        "The turn of heap D planned for day 7 was not done.",
        "The turn of heap D planned for day 21 came 4 days off.",
        "The turn of heap D planned for day 35 was not done.",
        "The turn of heap D planned for day 49 was not done.",
    ]
    assert handled_otherwise(tuple(found)) == ()


def test_turns_after_the_window_are_none_of_the_planned(acid: Book) -> None:
    done(acid, "C", "turned", 7)
    done(acid, "D", "turned", 80)
    (one,) = [d for d in turns(acid) if d.changes_way]
    assert one.text == "Heap D was turned on none of the planned days, though its way is turned."


def test_a_turn_before_it_counts_as_late_is_a_turn(acid: Book) -> None:
    """On day 22 the first turn is missed, the second done and not yet due for sure."""
    for heap in "CD":
        done(acid, heap, "turned", 21)
    found = turns(acid, now=START + timedelta(days=22))
    assert [d.heap for d in found] == ["C", "D"]
    assert not any(d.changes_way for d in found)


@pytest.mark.parametrize("lost", [False, True])
def test_where_no_work_was_logged_nothing_is_known_about_turns(acid: Book, lost: bool) -> None:
    done(acid, "A", "built", 0)
    if lost:
        done(acid, "B", "lost", 30)
    (one,) = turns(acid)
    assert (one.heap, one.changes_way) == ("", False)
    assert one.text.startswith("No work was logged at all, so nobody knows whether heaps were")
    assert turns(acid, now=START + timedelta(days=5)) == []
