"""Take people's own sheets and logger files into the book: everything is settled before a write.

Conventions: all questions come at once and nothing is written until they are answered; one import
is one transaction; the same rows again are already there, because ids follow from trial, heap,
spot, time and quantity. Answers that describe the layout are kept for the next sheet with the same
header; answers about single rows, the time, a filter or the heap of a logger are not.
"""

from __future__ import annotations

import itertools
import json
import re
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from heapwright.domain.entries import Entry, Event, Reading, Sample, Trail, Weather
from heapwright.errors import ConflictError, HeapwrightError, TableError
from heapwright.exchange.sheets import Sheet, read_sheet
from heapwright.science.values import value as published
from heapwright.services.asking import Asker
from heapwright.services.import_columns import KEYS as LAYOUT_KEYS
from heapwright.services.import_columns import Columns, read_columns
from heapwright.services.import_doubts import SCREEN_KEYS, drop, listed, screen_rows
from heapwright.services.import_rows import Draft, Rows, read_rows
from heapwright.services.log import made_id, to_celsius
from heapwright.services.yard import Yard, yard_of
from heapwright.store.book import Added, Book
from heapwright.units import REGISTER

__all__ = ["KEYS", "Imported", "import_sheet"]

#: Every key of ``--answer`` for an import, and what it settles.
KEYS: dict[str, str] = LAYOUT_KEYS | SCREEN_KEYS

_KEPT = ("kind", "decimal", "unit", "zone", "dates", "air_source", "method", "basis")
_OUTPUT = re.compile(r"\b(compost|yield|output|product|crude|net|residue)\b")
_INPUT = re.compile(r"\b(feed|feedstock|input)\b")


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import wrote (or would write): counts, how the sheet was read, and remarks."""

    file: str
    trial: str
    kind: str
    added: Added
    dry_run: bool
    entries: Mapping[str, int]
    columns: Mapping[str, str]
    read_as: str
    reused: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    pairs: tuple[tuple[str, ...], ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """All of it as plain values for JSON."""
        return {
            "file": self.file, "trial": self.trial, "kind": self.kind, "new": self.added.new,
            "known": self.added.known, "dry_run": self.dry_run, "entries": dict(self.entries),
            "columns": dict(self.columns), "read_as": self.read_as, "reused": dict(self.reused),
            "notes": list(self.notes), "pairs": [list(p) for p in self.pairs],
        }  # fmt: skip

    def lines(self) -> list[str]:
        """All of it in plain sentences."""
        counts = ", ".join(f"{n} {kind}{'s' if n != 1 else ''}" for kind, n in self.entries.items())
        out = [f"{self.file}: {counts} for {self.trial}, read as {self.read_as}."]
        out.append("Columns: " + ", ".join(f"{h} = {r}" for h, r in self.columns.items()) + ".")
        if self.reused:
            kept = ", ".join(f"{k}={v}" for k, v in self.reused.items() if "column." not in k)
            out.append(
                "Answered as last time for this header" + (f": {kept}" if kept else "")
                + ". Change with --answer, or --ask-again."
            )  # fmt: skip
        out += [note[:1].upper() + note[1:] + "." for note in self.notes]
        said = f"{self.added.new} new, {self.added.known} already there."
        out.append(f"Dry run, nothing was written; it would be: {said}" if self.dry_run else said)
        return out


def import_sheet(
    book: Book,
    path: Path,
    trial: str | None,
    *,
    answers: Mapping[str, str],
    now: datetime,
    dry_run: bool = False,
    new: bool = False,
    ask_again: bool = False,
) -> Imported:
    """Read the sheet at *path* into the book.

    Parameters
    ----------
    trial : str or None
        Its name; None for the only one in the book.
    answers : mapping
        By key, see `KEYS`.
    dry_run : bool
        Settle everything and count, but write nothing.
    new : bool
        The trial and its heaps may be new when no plan was locked.
    ask_again : bool
        Leave out the answers remembered for this header.

    Raises
    ------
    QuestionError
        With all open questions at once; nothing was written.
    TableError, UnknownNameError, InputError
        Something in the sheet or an answer cannot stand; the message names line and column.
    ConflictError
        The book holds another value for a row.
    """
    sheet = read_sheet(path)
    yard = yard_of(book, trial, new=new)
    kept = None if ask_again else book.remembered(sheet.fingerprint)
    asker = Asker(answers, json.loads(kept) if kept else {})
    columns = read_columns(sheet, yard, asker)
    rows = read_rows(columns, yard, asker, now=now)
    _leave_out_doubtful(rows, asker)
    pairs = _pairs(rows, asker)
    _ordinals(rows, asker)
    origin = _air_source(rows, asker)
    screen_rows(book, yard, rows, asker)
    asker.settle()
    asker.unused([k for k in KEYS if "." not in k])
    if not rows.drafts:
        raise TableError(
            "nothing in the sheet is left to be written", where=sheet.name,
            way_out="See its columns and the answers given",
        )  # fmt: skip
    entries = [_entry(d, yard, sheet, rows, origin) for d in rows.drafts]
    if columns.left_by_where:
        rows.notes.insert(0, f"{columns.left_by_where} rows left out by --where")
    if rows.gaps:
        rows.notes.append(f"{rows.gaps} empty cells skipped")
    added = _write(book, entries, rows, asker, now=now, dry_run=dry_run, new=new)
    counts: dict[str, int] = defaultdict(int)
    for entry in entries:
        counts[entry.kind] += 1
    shown = {
        h: str(r) for h, r in zip(sheet.header, columns.roles, strict=True) if r.what != "ignore"
    }
    return Imported(
        sheet.name, yard.trial, columns.kind, added, dry_run, dict(counts), shown,
        _read_as(columns), dict(asker.reused), tuple(rows.notes), pairs,
    )  # fmt: skip


def _read_as(columns: Columns) -> str:
    names = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
    decimal = {"mixed": "decimal commas and points", "comma": "decimal comma"}.get(
        columns.decimal, "decimal point"
    )
    return f"{columns.kind} ({names[columns.sheet.delimiter]} between cells, {decimal})"


# --- doubts --------------------------------------------------------------------------------------


def _leave_out_doubtful(rows: Rows, asker: Asker) -> None:
    """Ask about values that cannot be, that a probe shows before its first look, and hot ones."""
    impossible = [
        d for d in rows.drafts
        if d.key and not REGISTER[d.key].low <= d.value <= REGISTER[d.key].high
    ]  # fmt: skip
    if impossible:
        warm = [d for d in impossible if REGISTER[d.key].unit == "degC" and d.unit == "C"]
        turned = [d for d in warm if _fits(d, to_celsius(d.value, "F"))]
        answer = asker.get(
            "out_of_range",
            f"{len(impossible)} {'value' if len(impossible) == 1 else 'values'} cannot be: "
            f"{listed(impossible, rows)}. Skip them"
            + (", or were these degrees F?" if turned else "?"),
            ("skip", "F") if turned else ("skip",),
            suggested="skip",
        )
        if answer == "F":
            for draft in turned:
                draft.value, draft.unit = to_celsius(draft.value, "F"), "F"
                draft.note = f"{draft.note}; F on asking".strip("; ")
            rows.notes.append(f"{len(turned)} values read as degrees F")
            impossible = [d for d in impossible if not _fits(d, d.value)]
        drop(rows, impossible, "values that cannot be")
    readings = [d for d in rows.drafts if d.kind == "reading"]
    lone = _power_on(readings)
    if lone and asker.get(
        "power_on",
        f"{len(lone)} readings are exactly {published('entry', 'power_on_c').value:g} C and stand "
        f"alone, which many probes show at switching on: {listed(lone, rows)}",
        ("skip", "keep"),
        suggested="skip",
    ) == "skip":  # fmt: skip
        drop(rows, lone, "readings that probes show at switching on")
    ask_above = published("entry", "ask_above_c").value
    gone = {id(d) for d in lone}
    hot = [d for d in readings if d.value > ask_above and id(d) not in gone]
    if hot and asker.get(
        "hot",
        f"{len(hot)} readings are above {ask_above:g} C, hotter than life in a heap makes it: "
        f"{listed(hot, rows)}",
        ("keep", "skip"),
    ) == "skip":  # fmt: skip
        drop(rows, hot, f"readings above {ask_above:g} C")


def _fits(draft: Draft, value: float) -> bool:
    return REGISTER[draft.key].low <= value <= REGISTER[draft.key].high


def _power_on(readings: list[Draft]) -> list[Draft]:
    """Readings of exactly the power-on value that jump away from the one before in their series."""
    mark = published("entry", "power_on_c").value
    jump = published("entry", "power_on_jump_c").value
    last: dict[tuple[str, str], float] = {}
    out: list[Draft] = []
    for draft in readings:
        series = (draft.heap, draft.spot)
        if draft.value == mark:
            before = last.get(series)
            if before is None or abs(before - mark) > jump:
                out.append(draft)
                continue
        last[series] = draft.value
    return out


# --- batches, doubles, air -----------------------------------------------------------------------


def _pairs(rows: Rows, asker: Asker) -> tuple[tuple[str, ...], ...]:
    """Batches whose outputs are all equal: neighbours, or any with two outputs or more."""
    if rows.columns.kind != "batches":
        return ()
    outputs: dict[int, list[tuple[int, float]]] = defaultdict(list)
    heaps: dict[int, str] = {}
    for draft in rows.drafts:
        words = draft.part.lower()
        heaps[draft.row] = draft.heap
        if _OUTPUT.search(words) and not _INPUT.search(words):
            outputs[draft.row].append((draft.column, draft.value))
    groups: dict[tuple[tuple[int, float], ...], list[int]] = defaultdict(list)
    for row, values in outputs.items():
        groups[tuple(values)].append(row)
    shared = [
        r for values, r in groups.items()
        if len(r) > 1 and (len(values) > 1 or r[-1] - r[0] == len(r) - 1)
    ]  # fmt: skip
    if not shared:
        return ()
    named = tuple(tuple(heaps[r] for r in group) for group in shared)
    text = ", ".join("+".join(group) for group in named[:12]) + (" ..." if len(named) > 12 else "")
    answer = asker.get(
        "pairs",
        f"{len(named)} groups of batches have exactly the same yield ({text}). One yield shared "
        "between them is one observation, not several: not-independent?",
        ("not-independent", "independent"),
        suggested="not-independent",
    )
    if answer != "not-independent":
        rows.notes.append(f"{len(named)} groups of batches with equal yields kept as independent")
        return ()
    partner = {r: [heaps[o] for o in group if o != r] for group in shared for r in group}
    for draft in rows.drafts:
        if draft.row in partner:
            said = f"shares its yield with batch {', '.join(partner[draft.row])}: not independent"
            draft.note = f"{draft.note}; {said}".strip("; ")
    rows.notes.append(
        f"not independent, each group shares one yield: {', '.join('+'.join(g) for g in named)}"
    )
    return named


def _ordinals(rows: Rows, asker: Asker) -> None:
    """Number true doubles (same thing, same time); merge air repeated in every row of a round."""
    seen: dict[tuple[Any, ...], list[Draft]] = {}
    keep: list[Draft] = []
    doubles: list[Draft] = []
    for draft in rows.drafts:
        key = _key(draft)
        before = seen.setdefault(key, [])
        if before:
            if draft.kind == "weather" and any(d.value == draft.value for d in before):
                continue
            doubles.append(draft)
        before.append(draft)
        keep.append(draft)
    rows.drafts = keep
    if not doubles:
        return
    answer = asker.get(
        "same_time",
        f"{len(doubles)} values come again for the same time and place: {listed(doubles, rows)}",
        ("both-kept", "first", "last"),
        suggested="both-kept",
    )
    if answer == "both-kept":
        for group in seen.values():
            for ordinal, draft in enumerate(group):
                draft.ordinal = ordinal
        return
    wanted = {id(g[0] if answer == "first" else g[-1]) for g in seen.values()}
    rows.drafts = [d for d in rows.drafts if id(d) in wanted]
    rows.notes.append(f"{len(doubles)} values for a time that had one already left out")


def _key(d: Draft) -> tuple[Any, ...]:
    what = (d.what, d.note) if d.what == "note" else d.what
    return (d.kind, d.heap.lower(), d.spot.lower(), d.key, d.part, what, d.when.low, d.when.high)


def _air_source(rows: Rows, asker: Asker) -> str:
    """Who read the air: ``logger`` when it was read every few hours, else ``round``."""
    given = asker.given("air_source")
    if given is not None:
        return asker.check("air_source", given, ("round", "logger", "station"))
    times = sorted({d.when.low for d in rows.drafts if d.kind == "weather"})
    if len(times) < 3:
        return "round"
    steps = sorted(b - a for a, b in itertools.pairwise(times))
    step = timedelta(hours=published("entry", "logger_step_h").value)
    return "logger" if steps[len(steps) // 2] <= step else "round"


# --- writing -------------------------------------------------------------------------------------


def _entry(d: Draft, yard: Yard, sheet: Sheet, rows: Rows, origin: str) -> Entry:
    id_ = made_id("import", yard.trial.lower(), *_key(d), d.ordinal)
    trail = Trail("", source=f"import {sheet.name}")
    try:
        if d.kind == "reading":
            depth, pipe = yard.place_of(d.heap, d.spot)
            return Reading(
                id_, yard.trial, d.heap, d.spot, d.when, d.value, d.key, d.typed, d.unit, d.probe,
                d.who, depth, pipe, None, d.note, trail,
            )  # fmt: skip
        if d.kind == "weather":
            return Weather(
                id_, yard.trial, d.when, d.value, d.key, d.typed, d.unit, origin, None, d.note,
                trail,
            )  # fmt: skip
        if d.kind == "sample":
            basis = (rows.asker.given("basis") or "") if d.key == "moisture_wb" else ""
            return Sample(
                id_, yard.trial, d.heap, d.when, d.key, d.value, d.typed, d.unit, d.part,
                d.method, basis, d.note, trail,
            )  # fmt: skip
        return Event(
            id_, yard.trial, d.heap, d.when, d.what, d.water_l, d.minutes, d.who, d.typed, d.note,
            trail,
        )  # fmt: skip
    except HeapwrightError as error:
        raise rows.wrong(error, d.row, d.column) from None


def _write(
    book: Book, entries: list[Entry], rows: Rows, asker: Asker, *, now: datetime, dry_run: bool,
    new: bool,
) -> Added:  # fmt: skip
    trial = entries[0].trial
    if dry_run:
        there: set[str] = set()
        if trial in book.trials():
            there = {e.trail.root for e in book.history(trial)}
        known = sum(1 for e in entries if e.id in there)
        return Added(len(entries) - known, known)
    layout = json.dumps(_layout(rows.columns, asker), sort_keys=True, ensure_ascii=False)
    header = rows.columns.sheet.fingerprint
    before = book.remembered(header)
    try:
        with book.write() as link:
            added = book.add(entries, now=now, make_heaps=new, link=link)
            if before != layout:
                book.remember(header, layout, now=now, link=link)
    except ConflictError as error:
        draft = next(
            (d for d, e in zip(rows.drafts, entries, strict=True) if e.id == error.value), None
        )
        if draft is None:
            raise
        sheet = rows.columns.sheet
        raise ConflictError(
            "the book holds something else for this row",
            where=f"{sheet.name}, line {sheet.lines[draft.row]}",
            field=sheet.header[draft.column],
            value=draft.typed or draft.what,
            way_out=f"Look at heapwright history {error.value}; correct the book or the sheet",
        ) from None
    return added


def _layout(columns: Columns, asker: Asker) -> dict[str, str]:
    """The answers worth keeping for the next sheet with this header."""
    kept = {k: v for k, v in (asker.reused | asker.used).items() if k in _KEPT}
    kept |= {
        k: v
        for k, v in (asker.reused | asker.used).items()
        if k.partition(".")[0] in ("heap", "spot", "what") and "." in k
    }
    kept["kind"] = columns.kind
    if "decimal" in kept or columns.decimal == "mixed":
        kept["decimal"] = columns.decimal
    for header, role in zip(columns.sheet.header, columns.roles, strict=True):
        kept[f"column.{header}"] = str(role)
    answer = asker.given("heap")
    if answer is not None and all(columns.sheet.index(p) is not None for p in answer.split("+")):
        kept["heap"] = answer
    return kept
