"""The report of a trial: findings and record mapped to what a page shows, and written to a file.

Units: numbers become text here, rounded to what is known, in the unit the keeper chose (C or F).
Conventions: the look is counted once, by `heapwright.services.findings.find`; times are shown on
the clock of the place.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from heapwright.domain.when import local_zone
from heapwright.errors import InputError
from heapwright.reports.model import (
    ComparisonBlock,
    FactorTable,
    IntervalRow,
    Intervals,
    OutcomeBlock,
    OverTime,
    ReportModel,
    Values,
    WayLine,
)
from heapwright.reports.report import render_report
from heapwright.services.findings import Findings, find
from heapwright.services.finishing import finish_parts
from heapwright.services.record import read_once
from heapwright.services.reportmix import mix_block
from heapwright.services.reportparts import (
    Clock,
    bar_charts,
    bars_said,
    curves,
    curves_said,
    done_rows,
    round_rows,
)
from heapwright.services.reportwords import (
    as_done,
    assumed,
    corrected,
    differed,
    finding,
    known_rows,
    locked_rows,
    looks,
    not_shown,
    plain_missing,
    state,
    way_in_words,
)
from heapwright.stats.band import Band
from heapwright.stats.bandwords import spans, when_differed
from heapwright.stats.claims import TEMPERATURE_CAVEAT
from heapwright.stats.compare import Comparison
from heapwright.stats.effects import Factorial
from heapwright.stats.outcomes import Outcome, outcome
from heapwright.store.book import Book

_LETTERS = "abcdefghijklmnop"

__all__ = ["build_report", "file_name", "report_model", "shown_in", "write_report"]


def build_report(
    book: Book, trial: str, *, now: datetime, finish: bool = True
) -> tuple[Findings, ReportModel]:
    """Findings of a trial and the report made of them; counted as one look.

    finish : with what it says of finish and use.

    Raises
    ------
    UnknownNameError, NotEnoughError
        No such trial, or no locked plan.
    """
    with read_once():
        found = find(book, trial, now=now)
        model = report_model(found)
        if finish:
            model = replace(model, finish=finish_parts(book, found.record.name, now=now))
    return found, model


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
    clock = Clock(local_zone(trial.place.time_zone), shown_in(found))
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
        state=state(found, clock),
        finding=finding(found),
        as_done=as_done(found),
        ways=tuple(
            WayLine(w.name, way_in_words(w), tuple(h.name for h in record.by_way()[w.name]))
            for w in trial.ways
        ),
        control=locked.control,
        locked=locked_rows(found, clock),
        curves=drawn,
        curves_said=curves_said(record, drawn, clock),
        over_time=_over_time(found.bands, clock.unit),
        factor_tables=tuple(_factor_table(f) for f in found.effects),
        outcomes=blocks,
        differed=differed(found),
        assumed=assumed(found),
        fair_start=found.fair_start.sentence,
        not_shown=not_shown(found),
        bars=bars,
        bars_said=bars_said(record, bars),
        mix=mix,
        mix_said=mix_said,
        done=done_rows(record, clock),
        deviations=tuple(d.text for d in found.deviations),
        looks=looks(found),
        corrected=corrected(found),
        warnings=tuple(
            w for w in found.warnings if all(w not in c.assumptions for c in found.comparisons)
        ),
        heap_columns=heap_columns,
        heap_rows=heap_rows,
        round_heaps=tuple(record.heaps),
        rounds=round_rows(record, drawn, rounds, clock),
        known=known_rows(found, clock, len(rounds)),
        sources=tuple(dict.fromkeys(sources)) or ("None was needed: nothing was claimed.",),
        data=found.to_json(),
    )


def shown_in(found: Findings) -> str:
    """The unit of temperatures on screen, "C" or "F", as locked in the plan."""
    return found.record.plan.locked.shown_in


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
        missing=plain_missing(found, key),
        values=_values(found, what, unit) if decides else None,
        intervals=_intervals(mine, what, unit) if decides else None,
    )


def _factor_table(f: Factorial) -> FactorTable:
    """Effects of factors in words, with the analysis of variance and what must be said."""
    title = outcome(f.outcome).title
    tests = []
    if f.table is not None:
        for row in f.table.rows:
            if row.f is not None and row.p is not None:
                tests.append(
                    f"{row.term}: F({row.df}, {f.table.df_residual:g}) = {row.f:.2f}, chance "
                    f"figure {row.p:.2g}"
                )
        tests.append(f.table.note)
    return FactorTable(
        title[:1].upper() + title[1:], tuple(e.sentence for e in (*f.effects, *f.together)),
        (*tests, *f.notes),
    )  # fmt: skip


def _over_time(bands: Sequence[Band], unit: str) -> tuple[OverTime, ...]:
    """Bands as they are drawn; what stands with every temperature claim is said once, last."""
    k = outcome("mean_excess_c").factor(unit)
    last = len(bands) - 1
    return tuple(
        OverTime(
            b.way, b.control, tuple(b.age_d.tolist()), tuple((b.difference_c * k).tolist()),
            (b.half_width_c or 0.0) * k,
            tuple((s.from_d, s.to_d) for s in spans(b)) if b.half_width_c else (),
            outcome("mean_excess_c").unit_on_screen(unit),
            "" if b.half_width_c is None and i else
            when_differed(b, shown_in=unit).removesuffix(TEMPERATURE_CAVEAT if i < last else "")
            .strip(),
        )
        for i, b in enumerate(bands)
    )  # fmt: skip


def _span(c: Comparison, what: Outcome, unit: str) -> str:
    if c.low is None or c.high is None:
        return "none"
    low, high = (what.signed(v, shown_in=unit) for v in (c.low, c.high))
    return f"{low} to {high}"


def _comparison(c: Comparison, what: Outcome, unit: str) -> ComparisonBlock:
    counts = {way: len(c.heaps.get(way, {})) for way in (c.way, c.control)}
    heaps = " and ".join(f"{n} heap{'s' if n != 1 else ''} of {way}" for way, n in counts.items())
    others = []
    for letter, other in zip(_LETTERS, c.alternatives, strict=False):
        mid, low, high = other.said(what, shown_in=unit)
        others.append((letter, other.method, mid, f"{low} to {high}"))
    return ComparisonBlock(
        way=c.way,
        control=c.control,
        sentence=c.sentence,
        estimate=what.signed(c.estimate, shown_in=unit),
        range=_span(c, what, unit),
        heaps=heaps,
        claim=c.claim,
        method=c.method if c.low is not None else "difference of means, without a range",
        others=tuple(others),
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
            (letter, o.estimate * k, o.low * k, o.high * k)
            for letter, o in zip(_LETTERS, c.alternatives, strict=False)
            if o.scale == "difference"
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


def _heap_table(found: Findings, unit: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Heaps as columns; way, build, volume and every outcome as rows."""
    heaps = list(found.record.heaps.values())
    rows = [
        ("way", *[h.heap.way or "" for h in heaps]),
        ("built", *[f"{h.built.day} {h.built:%b}" if h.built else "not known" for h in heaps]),
        ("m3 when built", *[f"{h.volume_m3:.2g}" if h.volume_m3 else "–" for h in heaps]),
    ]
    for key, per_heap in found.values.items():
        what = outcome(key)
        values = [
            _digits(per_heap[h.name], what, unit) if h.name in per_heap else "–" for h in heaps
        ]
        rows.append((f"{what.title}, {what.unit_on_screen(unit)}".rstrip(", "), *values))
    return ("", *[h.name for h in heaps]), tuple(rows)


def _digits(value: float, what: Outcome, unit: str) -> str:
    """A value of one heap with one digit more than is known; counts and minutes as they are."""
    shown = value * what.factor(unit)
    if what.shown in ("min", "L") or what.key == "count":
        return f"{shown:.0f}"
    return f"{shown:.1f}" if abs(shown) >= 10 else f"{shown:.2f}"
