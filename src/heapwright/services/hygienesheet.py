"""The inspector's sheet of one heap: rule, inputs, work, temperatures, every line traceable.

Units: degrees of the trial's unit; moments on the clock of the place. Conventions: every current
entry of the heap stands on it once, with who read or did it and its id.
"""

from __future__ import annotations

from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from heapwright.domain.entries import Entry, Reading
from heapwright.domain.trial import Trial
from heapwright.domain.when import When, local_zone
from heapwright.errors import sentence
from heapwright.exchange.files import write_whole
from heapwright.science import hygiene as science
from heapwright.services.hygiene import HeapHeat, heat_of
from heapwright.services.hygienewords import CAUTIONS, heap_sentence, seen_as
from heapwright.services.mend import describe, who
from heapwright.services.mixwords import material_line
from heapwright.services.record import TrialRecord, load_record
from heapwright.store.book import Book
from heapwright.units import show

if TYPE_CHECKING:
    from heapwright.reports.inspector import InspectorSheet, SheetRow

__all__ = ["sheet_of", "write_sheet"]

#: ids are never shorter
_LEAST_ID = 8


def sheet_of(
    book: Book, trial: str, heap: str, *, now: datetime, rule: str | None = None,
    read_as: str | None = None,
) -> InspectorSheet:  # fmt: skip
    """The sheet of a heap for one rule (that of the plan, else all that speak of such a heap).

    Raises as `heapwright.services.hygiene.hygiene_part`.
    """
    from heapwright.reports.inspector import InspectorSheet

    record = load_record(book, trial)
    plan = record.plan.trial
    heat = heat_of(record, plan.heap(heap).name, now=now, read_as=read_as)
    in_f = record.plan.locked.shown_in == "F"
    chosen = rule or plan.hygiene or None
    asked = [science.rule(chosen)] if chosen else list(science.rules().values())
    held = [science.judge(r, heat.kinds, heat.history) for r in asked]
    if not chosen:
        held = [j for j in held if j.verdict != "no category fits"]
    zone = local_zone(plan.place.time_zone)
    spots = list(heat.record_spots)
    short = _short_ids(record)
    return InspectorSheet(
        trial=plan.name, invented=plan.invented, fingerprint=record.plan.fingerprint,
        heap=heat.record.name,
        rules=[(f"{j.rule.called} ({seen_as(j.rule.seen)})", heap_sentence(heat, j, in_f=in_f))
               for j in held],
        facts=_facts(plan, heat, zone),
        inputs=[sentence(line) for i in plan.ingredients if (line := material_line(i))],
        done=_done(heat, zone, short), spots=spots,
        rounds=_rounds(heat, spots, zone, short, in_f=in_f), unit="F" if in_f else "C",
        caveats=[sentence(c) for c in (
            *(c for j in held for c in j.rule.caveats), *heat.notes, *CAUTIONS,
        )] if chosen else [sentence(c) for c in (*heat.notes, *CAUTIONS)],
        printed=f"{now.astimezone(zone):%Y-%m-%d %H:%M}",
    )  # fmt: skip


def write_sheet(sheet: InspectorSheet, out: Path) -> Path:
    """Write a sheet to *out*, whole or not at all; raises `InputError` if it cannot be written."""
    from heapwright.reports.inspector import inspector_html

    return write_whole(out, inspector_html(sheet))


def _facts(plan: Trial, heat: HeapHeat, zone: tzinfo) -> list[tuple[str, str]]:
    mine = heat.record
    volume = mine.volume_m3
    rows = [
        ("heap", f"{mine.name}: {heat.called}"),
        ("built", f"{mine.built.astimezone(zone):%Y-%m-%d %H:%M}" if mine.built else "not known"),
        ("volume when built", show(volume, "volume_m3") if volume is not None else "not known"),
        ("C:N at the start", heat.cn_said or "not known"),
    ]
    for s in plan.spots:
        where = f"{s.depth_m * 100:.0f} cm deep" + (f", {s.position}" if s.position else "")
        rows.append((f"spot {s.name}", where))
    return rows


def _done(heat: HeapHeat, zone: tzinfo, short: dict[str, str]) -> list[SheetRow]:
    from heapwright.reports.inspector import SheetRow

    entries: list[Entry] = [*heat.record.events, *heat.record.samples]
    entries += [r for r in heat.record.readings if r.quantity != "temp_c"]
    return [
        SheetRow(
            [_moment(e.when, zone), describe(e) + (f" ({e.note})" if e.note else "")],
            who(e), [short[e.id]],
        )
        for e in sorted(entries, key=lambda e: (e.when.low, e.id))
    ]  # fmt: skip


def _rounds(
    heat: HeapHeat, spots: list[str], zone: tzinfo, short: dict[str, str], *, in_f: bool
) -> list[SheetRow]:
    """One line for each round (or time, where readings belong to no round)."""
    from heapwright.reports.inspector import SheetRow

    walks: dict[tuple[datetime, datetime, str], list[Reading]] = {}
    for r in heat.record.readings:
        if r.quantity == "temp_c":
            key = (r.when.low, r.when.high, r.round or "")
            walks.setdefault(key, []).append(r)
    made = []
    for _, read in sorted(walks.items()):
        at = {s: [r for r in read if r.spot == s] for s in spots}
        ordered = [r for s in spots for r in at[s]]
        cells = [" / ".join(_deg(r.value, in_f) for r in at[s]) or "–" for s in spots]
        made.append(
            SheetRow(
                [_moment(read[0].when, zone), *cells],
                ", ".join(dict.fromkeys(r.reader for r in read if r.reader)),
                [short[r.id] for r in ordered],
            )
        )
    return made


def _moment(when: When, zone: tzinfo) -> str:
    """A time as exactly as it is known, on the clock of the place."""
    low, high = when.low.astimezone(zone), when.high.astimezone(zone)
    if when.exact:
        return f"{when.middle.astimezone(zone):%Y-%m-%d %H:%M}"
    if low.date() == high.date():
        return f"{low:%Y-%m-%d}"
    return f"{low:%Y-%m-%d %H:%M} to {high:%Y-%m-%d %H:%M}"


def _deg(c: float, in_f: bool) -> str:
    return f"{round(c * 1.8 + 32 if in_f else c, 1):g}"


def _short_ids(record: TrialRecord) -> dict[str, str]:
    """Ids cut to the least length at which all entries of the trial stay apart, 8 or more."""
    every: set[str] = {a.id for a in record.air}
    for h in record.heaps.values():
        every |= {r.id for r in h.readings} | {e.id for e in h.events} | {s.id for s in h.samples}
    size = _LEAST_ID
    while size < 64 and len({i[:size] for i in every}) < len(every):
        size += 1
    return {i: i[:size] for i in every}
