"""Rows of a sheet that do not fit what was read before: one question a kind, and what it does.

Conventions: screened by `heapwright.services.screening`; rows that the book holds from an earlier
import are taken as they were answered then, so that a sheet that has grown comes in again.
"""

from __future__ import annotations

import re
from collections import defaultdict

from heapwright.domain.entries import Reading
from heapwright.science.values import value as published
from heapwright.services.asking import Asker
from heapwright.services.import_rows import Draft, Rows
from heapwright.services.screening import MOVES, screen_sheet
from heapwright.services.screenwords import words_of
from heapwright.services.yard import Yard
from heapwright.stats.screenlog import Doubt
from heapwright.store.book import Book

__all__ = ["SCREEN_KEYS", "drop", "listed", "screen_rows"]

#: Keys of ``--answer`` about rows that do not fit, and what they settle.
SCREEN_KEYS: dict[str, str] = {
    "doubtful": "keep or skip readings that do not fit the history of their heap",
    "exchanged": "keep, exchange or skip pairs of heaps that look exchanged in a round",
    "doubtful_rounds": "keep or skip rounds that look shifted or typed in another unit",
}
_SHOWN = 5
_KEPT_NOTE = "kept as written on asking"
_DOUBTS = ("out_of_range", "power_on", "hot", "pairs", "same_time")
_SCREENED = {
    "doubtful": ("readings do not fit their heap and the other spots", ("keep", "skip")),
    "exchanged": ("pairs of heaps look exchanged", ("keep", "exchange", "skip")),
    "doubtful_rounds": ("rounds do not fit as a whole", ("keep", "skip")),
}


def drop(rows: Rows, drafts: list[Draft], what: str) -> None:
    """Leave *drafts* out and say so in the notes."""
    if drafts:
        gone = {id(d) for d in drafts}
        rows.drafts = [d for d in rows.drafts if id(d) not in gone]
        rows.notes.append(f"{len(drafts)} {what} left out: {listed(drafts, rows)}")


def listed(drafts: list[Draft], rows: Rows) -> str:
    """The first of *drafts* by line, column and text, and how many more there are."""
    sheet = rows.columns.sheet
    shown = [
        f"line {sheet.lines[d.row]} {sheet.header[d.column]} {d.typed}" for d in drafts[:_SHOWN]
    ]
    more = f" and {len(drafts) - _SHOWN} more" if len(drafts) > _SHOWN else ""
    return ", ".join(shown) + more


def screen_rows(book: Book, yard: Yard, rows: Rows, asker: Asker) -> None:
    """Ask about readings that do not fit what was read before, one question a kind.

    Waits until the layout is settled: with another unit or other names all would look doubtful.
    """
    if any(q.key not in _DOUBTS for q in asker.open):
        return
    drafts = [d for d in rows.drafts if d.kind == "reading" and d.key == "temp_c"]
    _as_before(book, yard.trial, drafts)
    found = screen_sheet(
        book,
        yard.trial,
        [(d.heap, d.spot, d.when, d.value) for d in drafts],
        [(d.when, d.value) for d in rows.drafts if d.key == "air_temp_c"],
        [(d.heap, d.when) for d in rows.drafts if d.kind == "event" and d.what in MOVES],
        step_h=published("entry", "logger_step_h").value,
    )
    kinds = {"reading": "doubtful", "exchange": "exchanged"}
    by_key: dict[str, list[Doubt]] = defaultdict(list)
    for doubt in found:
        by_key[kinds.get(doubt.kind, "doubtful_rounds")].append(doubt)
    for key, doubts in by_key.items():
        concerned = list(dict.fromkeys(n for d in doubts for n in d.new))
        what = _SCREENED[key][0]
        choices = _SCREENED[key][1]
        answer = asker.get(
            key, f"{len(doubts)} {what}: {_doubts_listed(doubts, drafts, rows)}", choices
        )
        if answer == "skip":
            drop(rows, [drafts[n] for n in concerned], f"values of {what}")
        elif answer == "exchange":
            _exchange(doubts, drafts)
            rows.notes.append(f"{len(doubts)} pairs of heaps exchanged on asking")
        elif answer == "keep":
            for n in concerned:
                _noted(drafts[n], _KEPT_NOTE)


def _as_before(book: Book, trial: str, drafts: list[Draft]) -> None:
    """Rows of an earlier import of the sheet are taken as they were answered then."""
    if trial not in book.trials():
        return
    then = {
        (e.heap.lower(), e.spot.lower(), e.when.low, e.when.high): e.note
        for e in book.history(trial)
        if isinstance(e, Reading) and e.trail.version == 1 and "on asking" in e.note
    }
    for draft in drafts if then else ():
        place = (draft.heap.lower(), draft.spot.lower(), draft.when.low, draft.when.high)
        note = then.get(place, "")
        exchanged = re.search(r"exchanged with (.+) on asking", note)
        if exchanged:
            _exchange_one(draft, exchanged[1])
        elif _KEPT_NOTE in note:
            _noted(draft, _KEPT_NOTE)


def _exchange_one(draft: Draft, other: str) -> None:
    _noted(draft, f"exchanged with {draft.heap} on asking")
    draft.heap = other


def _noted(draft: Draft, note: str) -> None:
    draft.note = f"{draft.note}; {note}".strip("; ")


def _doubts_listed(doubts: list[Doubt], drafts: list[Draft], rows: Rows) -> str:
    sheet = rows.columns.sheet
    said = []
    for doubt in doubts[:_SHOWN]:
        draft = drafts[doubt.new[0]]
        place = f"line {sheet.lines[draft.row]}"
        if doubt.kind == "reading":
            expected = f"where about {doubt.expected_c[0]:.0f} C was expected"
            said.append(f"{place} {draft.heap} {draft.spot} {draft.typed} {expected}")
        else:
            said.append(f"{place} {words_of(doubt)}")
    more = f" and {len(doubts) - _SHOWN} more" if len(doubts) > _SHOWN else ""
    return ", ".join(said) + more


def _exchange(doubts: list[Doubt], drafts: list[Draft]) -> None:
    """Give the readings of each pair to the other heap."""
    for doubt in doubts:
        other = dict(zip(doubt.heaps, doubt.heaps[::-1], strict=True))
        for n in doubt.new:
            _exchange_one(drafts[n], other[drafts[n].heap])
