"""A squeeze or smell noted at the heap is read back while it still tells something."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from heapwright.domain.entries import Event
from heapwright.domain.heap import Heap
from heapwright.domain.when import When, local_zone
from heapwright.services.noted import FRESH_D, last_noted
from heapwright.services.record import HeapRecord

NOW = datetime(2026, 5, 12, 12, tzinfo=UTC)
BUILT = datetime(2026, 5, 1, 9, tzinfo=UTC)


def _event(what: str, ago_d: float, note: str = "", *, wide_d: float = 0.0) -> Event:
    low = NOW - timedelta(days=ago_d)
    when = When(low, low + timedelta(days=wide_d), "")
    return Event(f"{what}{ago_d}{note}", "Ferncombe 2026", "A", when, what, note=note)


def _words(*events: Event) -> dict[str, str]:
    heap = HeapRecord(Heap("A"), BUILT, events=events)
    return {what: found.word for what, found in last_noted(heap, NOW).items()}


def test_the_last_note_of_each_counts_and_says_its_day() -> None:
    notes = (
        _event("note", 0.2, "smell: rotten egg"), _event("note", 2, "squeeze: dusty"),
        _event("note", 1, "squeeze: no_ball"), _event("note", 0.5, "steam at dawn"),
    )  # fmt: skip
    assert _words(*notes) == {"squeeze": "no_ball", "smell": "rotten egg"}
    found = last_noted(HeapRecord(Heap("A"), BUILT, events=notes), NOW)["squeeze"]
    assert found.said(local_zone("Europe/London")) == "squeeze no ball, noted on 11 May"


@pytest.mark.parametrize(
    ("note", "ago_d"),
    [("squeeze: damp", FRESH_D + 0.01), ("squeeze: damp", -0.01), ("squeeze: soggy", 1),
     ("smell: roses", 1), ("squeeze damp", 1), ("the squeeze: damp", 1), ("squeeze:", 1)],
)  # fmt: skip
def test_old_future_and_unknown_words_are_left_out(note: str, ago_d: float) -> None:
    assert _words(_event("note", ago_d, note)) == {}


def test_only_notes_are_read_back() -> None:
    assert _words(_event("covered", 1, "squeeze: damp")) == {}


@pytest.mark.parametrize(
    ("work", "left"),
    [("turned", set()), ("watered", {"smell"}), ("covered", {"squeeze", "smell"}),
     ("built", set())],
)  # fmt: skip
def test_work_after_a_note_changes_what_it_said(work: str, left: set[str]) -> None:
    notes = _event("note", 1, "squeeze: damp"), _event("note", 1, "smell: sour")
    assert set(_words(*notes, _event(work, 0.5))) == left
    assert set(_words(*notes, _event(work, 1.5))) == {"squeeze", "smell"}
    assert set(_words(*notes, _event(work, -0.5))) == {"squeeze", "smell"}


def test_a_turn_known_by_its_day_may_have_come_after_a_note_of_that_day() -> None:
    note = _event("note", 1, "smell: sour")
    assert _words(note, _event("turned", 1.4, wide_d=1.0)) == {}
    assert _words(note, _event("turned", 2.4, wide_d=1.0)) == {"smell": "sour"}
