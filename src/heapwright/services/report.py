"""The report of a trial: findings and record mapped to what a page shows, and written to a file.

Units: numbers become text here, rounded to what is known, in the unit the keeper chose (C or F).
Conventions: the look is counted once, by `heapwright.services.findings.find`; times are shown on
the clock of the place.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from heapwright import __version__
from heapwright.domain.way import Treatment
from heapwright.domain.when import local_zone
from heapwright.errors import InputError
from heapwright.reports.model import (
    ComparisonBlock, IntervalRow, Intervals, OutcomeBlock, ReportModel, Values, WayLine,
)  # fmt: skip
from heapwright.reports.report import render_report
from heapwright.services.findings import Findings, find
from heapwright.services.reportparts import (
    Clock, bar_charts, bars_said, curves, curves_said, done_rows, mix_block, round_rows,
)  # fmt: skip
from heapwright.stats.compare import Comparison
from heapwright.stats.outcomes import Outcome, outcome
from heapwright.stats.power import permutation_floor
from heapwright.store.book import Book

__all__ = ["build_report", "file_name", "write_report"]


def build_report(book: Book, trial: str, *, now: datetime) -> tuple[Findings, ReportModel]:
    """Findings of a trial and the report made of them; counted as one look.

    Raises
    ------
    UnknownNameError, NotEnoughError
        No such trial, or no locked plan.
    """
    found = find(book, trial, now=now)
    return found, report_model(found)


def write_report(book: Book, trial: str, path: Path, *, now: datetime) -> Path:
    """Write the report of a trial to *path* as one HTML file, and return the path.

    Raises `InputError` when the file cannot be written; else as `build_report`.
    """
    _, model = build_report(book, trial, now=now)
    page = render_report(model)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(page, encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"the report cannot be written ({error.strerror})", field="--out", value=str(path),
            way_out="Name a file in a folder that may be written",
        ) from None  # fmt: skip
    return path


def file_name(trial: str) -> str:
    """The name of a report's file when none is given.

    >>> file_name("Ferncombe 2026")
    'ferncombe-2026-report.html'
    """
    plain = re.sub(r"[^\w]+", "-", trial.lower()).strip("-_") or "trial"
    return f"{plain}-report.html"


def report_model(found: Findings) -> ReportModel:
    """Everything a report shows, from findings."""
    record, plan = found.record, found.record.plan
    locked, trial = plan.locked, plan.trial
    clock = Clock(local_zone(trial.place.time_zone), _shown_in(found))
    drawn, rounds = curves(record, clock)
    blocks = _outcomes(found, clock.unit)
    bars = bar_charts(record)
    mix, mix_said = mix_block(trial)
    heap_columns, heap_rows = _heap_table(found, clock.unit)
    sources = [s for c in found.comparisons for s in c.sources] + list(mix.sources if mix else ())
    return ReportModel(
        trial=record.name,
        question=locked.question,
        invented=trial.invented,
        made=clock.moment(found.made),
        ended=found.ended,
        state=_state(found, clock),
        finding=_finding(found),
        as_done=_as_done(found),
        ways=tuple(
            WayLine(w.name, way_in_words(w), tuple(h.name for h in record.by_way()[w.name]))
            for w in trial.ways
        ),
        control=locked.control,
        locked=_locked(found, clock),
        curves=drawn,
        curves_said=curves_said(record, drawn, clock),
        outcomes=blocks,
        differed=_differed(found),
        assumed=_assumed(found),
        fair_start=found.fair_start.sentence,
        not_shown=_not_shown(found),
        bars=bars,
        bars_said=bars_said(record, bars),
        mix=mix,
        mix_said=mix_said,
        done=done_rows(record, clock),
        deviations=tuple(d.text for d in found.deviations),
        looks=_looks(found),
        corrected=_corrected(found),
        warnings=tuple(
            w for w in found.warnings if all(w not in c.assumptions for c in found.comparisons)
        ),
        heap_columns=heap_columns,
        heap_rows=heap_rows,
        round_heaps=tuple(record.heaps),
        rounds=round_rows(record, drawn, rounds, clock),
        known=_known(found, clock, len(rounds)),
        sources=tuple(dict.fromkeys(sources)) or ("None was needed: nothing was claimed.",),
        data=found.to_json(),
    )


def _shown_in(found: Findings) -> str:
    return "F" if found.record.plan.locked.unit.strip().upper().endswith("F") else "C"


def way_in_words(way: Treatment) -> str:
    """What is done to a heap of this way, as a clause.

    >>> way_in_words(Treatment("turned", "turned", first_after_d=5, every_d=14))
    'turned first after 5 days, then every 14 days.'
    """
    said = "nothing is done but what every heap gets" if way.kind == "left alone" else way.kind
    if way.kind == "turned":
        first = way.first_after_d if way.first_after_d is not None else way.every_d
        said = f"turned first after {first:g} days"
        said += f", then every {way.every_d:g} days" if way.every_d is not None else ", once"
    if way.vent is not None:
        v = way.vent
        said = f"{v.pipes} perforated pipe{'s' if v.pipes != 1 else ''}, {v.diameter_m * 100:g} cm"
        said += " wide, " + ("upright" if v.upright else "laid")
        said += f", {v.state} from the build"
        said += f", opened after {v.open_after_d:g} days" if v.open_after_d is not None else ""
        said += f", pulled after {v.pull_after_d:g} days" if v.pull_after_d is not None else ""
    return f"{said}{'; ' + way.note if way.note else ''}."


# --- words ---------------------------------------------------------------------------------------


def _deciding(found: Findings, comparisons: Sequence[Comparison]) -> list[Comparison]:
    return [c for c in comparisons if c.outcome == found.record.plan.locked.decides]


def _finding(found: Findings) -> tuple[str, ...]:
    decides = _deciding(found, found.comparisons)
    if not decides:
        return (found.headline,)
    said = [c.sentence for c in decides] + [decides[0].caveat]
    return tuple(s for s in dict.fromkeys(said) if s)


def _as_done(found: Findings) -> tuple[str, ...]:
    """The finding without heaps that were handled otherwise, and which those are."""
    if not found.left_out:
        return ()
    names = ", ".join(found.left_out)
    many = len(found.left_out) != 1
    left = f"Heap{'s' if many else ''} {names} left out: {'they were' if many else 'it was'}"
    decides = _deciding(found, found.as_done)
    said = [c.sentence for c in decides] or [
        "Then no heap of a way is left, so nothing can be compared as done."
    ]
    return (f"{left} not handled as planned or lost.", *said)


def _state(found: Findings, clock: Clock) -> str:
    locked = found.record.plan.locked
    ends = clock.day(locked.ends)
    if not found.ended:
        return f"Before the end date: no claim yet. The trial ends on {ends}."
    return f"Ended on {ends}, as was fixed on {clock.day(found.record.plan.locked_on)}."


def _looks(found: Findings) -> str:
    if found.looks == 0:
        return "How often the findings were looked at was not counted for this copy."
    times = "once" if found.looks == 1 else f"{found.looks} times"
    before = found.looks_before_end
    early = (
        "never before the end date" if before == 0
        else f"{'once' if before == 1 else f'{before} times'} before the end date"
    )  # fmt: skip
    return f"The findings were looked at {times}, {early}, this report included."


def _corrected(found: Findings) -> str:
    record = found.record
    if not record.corrections and not record.withdrawn:
        return "No entry was corrected or withdrawn."
    entries = "entry was" if record.corrections == 1 else "entries were"
    return (
        f"{record.corrections} {entries} corrected and {record.withdrawn} withdrawn; every version "
        "is kept (heapwright history)."
    )


def _not_shown(found: Findings) -> tuple[str, ...]:
    """What a reader might take from the report and should not."""
    plan = found.record.plan
    said: list[str] = []
    decides = _deciding(found, found.comparisons)
    if not found.ended:
        said.append("Nothing yet: what stands above is how it looks so far, without a claim.")
    for c in decides:
        if c.claim in ("cannot tell", "leans"):
            said.append(f"That {c.way} and {c.control} differ. Nor that they are the same.")
        elif c.claim == "real, perhaps too small":
            said.append(f"That the difference of {c.way} and {c.control} is big enough to matter.")
    others = [w.name for w in plan.trial.ways if w.name != plan.locked.control]
    if len(others) > 1:
        named = f"{', '.join(others[:-1])} and {others[-1]}"
        said.append(
            f"Which of {named} is better: each was held against {plan.locked.control}, not "
            "against the other."
        )
    said += [
        f"{outcome(key).title[:1].upper()}{outcome(key).title[1:]}: {_plain_missing(found, key)}"
        for key in found.missing
    ]
    counts = [len(heaps) for heaps in found.record.by_way().values() if heaps]
    if len(counts) > 1:
        fewest = sorted(counts)[:2]
        floor = permutation_floor(fewest[0], fewest[1])
        said.append(
            f"More than these heaps can carry: with {fewest[0]} against {fewest[1]}, the smallest "
            f"chance figure that mere counting can give is {floor:.2g}."
        )
    said += [
        "That it would come out alike with other material, in another yard or another season.",
        "That the compost is finished, good or safe to use: none of that was asked here.",
    ]
    return tuple(said)


def _locked(found: Findings, clock: Clock) -> tuple[tuple[str, str], ...]:
    plan = found.record.plan
    locked, what = plan.locked, outcome(plan.locked.decides)
    low, high = locked.window_d
    rows = [
        ("What decides", what.title),
        ("Heap ages that count", f"day {low:g} to day {high:g}" if low != high else f"day {low:g}"),
        ("No claim before", clock.day(locked.ends)),
        (
            "Difference that would change practice",
            what.amount(locked.matters, shown_in=clock.unit) if locked.matters else "none was named",
        ),
    ]
    if locked.spread is not None:
        spread = what.amount(locked.spread, shown_in=clock.unit)
        rows.append(("Assumed standard deviation between heaps treated alike", spread))
    rows += [
        ("Held against", locked.control or "nothing"),
        ("Lots drawn from the seed", str(locked.seed)),
        ("Fingerprint", f"{plan.fingerprint}, locked on {clock.day(plan.locked_on)}"),
    ]
    return tuple(rows)


def _known(found: Findings, clock: Clock, rounds: int) -> tuple[tuple[str, str], ...]:
    record, plan = found.record, found.record.plan
    readings = [r for h in record.heaps.values() for r in h.readings]
    temps = [r for r in readings if r.quantity == "temp_c"]
    samples = sum(len(h.samples) for h in record.heaps.values())
    ways = "; ".join(f"{way}: {len(heaps)}" for way, heaps in record.by_way().items())
    rows = [("Heaps", f"{len(record.heaps)}" + (f" ({ways})" if ways else ""))]
    if temps:
        spots = sorted({r.spot for r in temps})
        last = max(r.when.middle for r in temps)
        days = (found.made - last).days
        rows += [
            ("Rounds and readings", f"{rounds} rounds, {len(temps)} readings"),
            ("Spots", ", ".join(spots)),
            ("Newest reading", f"{clock.moment(last)}, {days} days before this report"),
        ]
    rows.append(("Air", f"{len(record.air)} readings" if record.air else "not read"))
    if samples:
        rows.append(("Samples", str(samples)))
    rows += [
        ("Where entries came from", ", ".join(record.sources) or "nowhere yet"),
        ("Question locked", f"{clock.day(plan.locked_on)}, fingerprint {plan.fingerprint}"),
        ("Seed of the lots", str(plan.locked.seed)),
        ("Looks at the findings", f"{found.looks}, of these {found.looks_before_end} before the end"),
        ("Made by", f"Heapwright {__version__}, {clock.moment(found.made)}"),
        ("To do the sums again", "the findings stand in this file as JSON (element findings-data)"),
    ]
    return tuple(rows)


def _differed(found: Findings) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What else differed, once for each pair of ways."""
    pairs: dict[str, dict[str, None]] = {}
    for c in found.comparisons:
        pairs.setdefault(f"{c.way} against {c.control}", {}).update(dict.fromkeys(c.differed))
    return tuple((pair, tuple(said)) for pair, said in pairs.items())


def _assumed(found: Findings) -> tuple[str, ...]:
    """What is taken for granted in any comparison, once, with the outcome where it is its own."""
    by_text: dict[str, dict[str, None]] = {}
    for c in found.comparisons:
        for text in c.assumptions:
            by_text.setdefault(text, {})[c.outcome] = None
    keys = {c.outcome for c in found.comparisons}
    said = []
    for text, mine in by_text.items():
        where = ", ".join(outcome(k).title for k in mine) if set(mine) != keys else ""
        full = text if text.endswith(".") else f"{text}."
        said.append(f"{full} (For {where}.)" if where else full)
    return tuple(said)


# --- outcomes ------------------------------------------------------------------------------------


def _outcomes(found: Findings, unit: str) -> tuple[OutcomeBlock, ...]:
    plan = found.record.plan
    keys = [plan.locked.decides, *[k for k in plan.trial.also if k != plan.locked.decides]]
    return tuple(_outcome(found, key, unit) for key in keys)


def _outcome(found: Findings, key: str, unit: str) -> OutcomeBlock:
    what = outcome(key)
    mine = [c for c in found.comparisons if c.outcome == key]
    decides = key == found.record.plan.locked.decides
    window = mine[0].window if mine else None
    about = f"In {what.unit_on_screen(unit)}" if what.shown else "A plain number"
    if window is not None:
        about += f", over heap ages {window[0]:g} to {window[1]:g} days"
    about += ". Differences are way minus control." if mine else "."
    return OutcomeBlock(
        key=key,
        title=what.title[:1].upper() + what.title[1:],
        decides=decides,
        about=about,
        caveat=mine[0].caveat if mine else "",
        comparisons=tuple(_comparison(c, what, unit) for c in mine),
        as_done=tuple(c.sentence for c in found.as_done if c.outcome == key),
        missing=_plain_missing(found, key),
        values=_values(found, what, unit) if decides else None,
        intervals=_intervals(mine, what, unit) if decides else None,
    )


def _plain_missing(found: Findings, key: str) -> str:
    """Why an outcome is missing, without the key it is kept under; "" if it is not."""
    return found.missing.get(key, "").removeprefix(f"{key}: ")


def _span(c: Comparison | Any, what: Outcome, unit: str) -> str:
    if c.low is None or c.high is None:
        return "none"
    low, high = (what.signed(v, shown_in=unit) for v in (c.low, c.high))
    return f"{low} to {high}"


def _comparison(c: Comparison, what: Outcome, unit: str) -> ComparisonBlock:
    counts = {way: len(c.heaps.get(way, {})) for way in (c.way, c.control)}
    heaps = " and ".join(f"{n} heap{'s' if n != 1 else ''} of {way}" for way, n in counts.items())
    others = tuple(
        (
            "abcdefghijklmnop"[i],
            other.method,
            what.signed(other.estimate, shown_in=unit),
            _span(other, what, unit),
        )
        for i, other in enumerate(c.alternatives)
    )
    return ComparisonBlock(
        way=c.way,
        control=c.control,
        sentence=c.sentence,
        estimate=what.signed(c.estimate, shown_in=unit),
        range=_span(c, what, unit),
        heaps=heaps,
        claim=c.claim,
        method=c.method,
        others=others,
    )


def _intervals(mine: Sequence[Comparison], what: Outcome, unit: str) -> Intervals | None:
    ranged = [c for c in mine if c.low is not None and c.high is not None]
    if not ranged:
        return None
    if all(c.low == c.high for c in ranged):
        return None
    k = what.factor(unit)
    rows = []
    for c in ranged:
        assert c.low is not None
        assert c.high is not None
        others = tuple(
            ("abcdefghijklmnop"[i], o.estimate * k, o.low * k, o.high * k)
            for i, o in enumerate(c.alternatives)
        )
        span = f"{_span(c, what, unit)} {what.unit_on_screen(unit)}".strip()
        said = f"{what.signed(c.estimate, shown_in=unit)} ({span})"
        rows.append(IntervalRow(c.way, c.estimate * k, c.low * k, c.high * k, said, others))
    warm = what.key in ("mean_excess_c", "peak_excess_c")
    matters = ranged[0].matters
    return Intervals(
        rows=tuple(rows),
        unit=what.unit_on_screen(unit),
        control=ranged[0].control,
        less="cooler" if warm else "less",
        more="warmer" if warm else "more",
        matters=matters * k if matters else None,
    )


def _values(found: Findings, what: Outcome, unit: str) -> Values | None:
    per_heap = found.values.get(what.key)
    if not per_heap:
        return None
    k = what.factor(unit)
    ways = found.record.by_way() or {"": list(found.record.heaps.values())}
    groups = tuple(
        (way, tuple((h.name, per_heap[h.name] * k) for h in heaps if h.name in per_heap))
        for way, heaps in ways.items()
    )
    groups = tuple(g for g in groups if g[1])
    if not groups:
        return None
    return Values(what.title, f"{what.title}, {what.unit_on_screen(unit)}".rstrip(", "), groups)


def _heap_table(
    found: Findings, unit: str
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    columns = ["heap", "way", "built", "m³"]
    for key in found.values:
        what = outcome(key)
        columns.append(f"{what.title}, {what.unit_on_screen(unit)}".rstrip(", "))
    rows = []
    for heap in found.record.heaps.values():
        built = f"{heap.built.day} {heap.built:%b}" if heap.built else "not known"
        volume = f"{heap.volume_m3:.2g}" if heap.volume_m3 else "not known"
        row = [heap.name, heap.heap.way or "", built, volume]
        for key, per_heap in found.values.items():
            row.append(
                _digits(per_heap[heap.name] * outcome(key).factor(unit))
                if heap.name in per_heap
                else "none"
            )
        rows.append(tuple(row))
    return tuple(columns), tuple(rows)


def _digits(value: float) -> str:
    return f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}" if value else "0"
