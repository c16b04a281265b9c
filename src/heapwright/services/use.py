"""What the compost of a trial may be used for, how far it goes and what it does to nitrogen.

Units: m3, m2, m; text in. Conventions: the tests are the samples of the book, judged by
`heapwright.science.finish`; the worst decides, one that is missing is named. A volume is the last
that was measured; where none was, the volume when built less the usual loss, and that is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from heapwright.domain.entries import Sample
from heapwright.domain.names import one_of
from heapwright.errors import HeapwrightError, InputError
from heapwright.planning.workwords import listed
from heapwright.reports.part import Grid, Part
from heapwright.science import use as science
from heapwright.science.cautions import Caution, cautions_for
from heapwright.science.finish import STAGES, assay, assays, number, verdicts
from heapwright.science.use import USES, Answer, Result, limit
from heapwright.science.values import value
from heapwright.services.cautions import materials_of
from heapwright.services.maturityfound import found_of
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.store.book import Book
from heapwright.units import Ranged, parse

__all__ = ["HeapUse", "tests_of", "use_of", "use_parts"]

#: a volume sampled at least so long after the build is one of compost [d], own choice
_LATER_D = 14.0
#: samples this close together are of one day
_DAY = timedelta(days=1)
#: tests in which seeds are sown in the compost itself
_SOWN = ("emergence", "vigour", "bean_signs")
_WORKS = {
    "mulch": ("using", "spreading"), "bed": ("using", "spreading"), "pots": ("using", "filling"),
    "seedlings": ("using", "filling"),
}  # fmt: skip
_SHARES = {"pots": "share_pots", "seedlings": "share_seedlings"}
_DEPTHS = {"mulch": "depth_mulch_m", "bed": "depth_bed_m"}


@dataclass(frozen=True, slots=True)
class HeapUse:
    """One heap: answers by use; tests they stand on; left : why others do not count; volume [m3]
    with its range, None where nobody knows any, and where it is from; cn; overs (fraction of the
    mass) or None."""

    heap: str
    answers: tuple[Answer, ...]
    tests: tuple[Result, ...]
    left: tuple[str, ...]
    volume_m3: Ranged | None
    volume_from: str
    cn: float | None
    overs: float | None


def use_parts(book: Book, trial: str, *, now: datetime) -> Sequence[Part]:
    """The answer for a trial, where a test of finish or the volume at the end was recorded."""
    record = load_record(book, trial)
    if not any(found_of(record, h) or _end_volume(h) for h in record.heaps.values()):
        return ()
    return (_part(record, tuple(record.heaps), None, None, None),)


def use_of(
    book: Book,
    trial: str,
    heap: str | None = None,
    *,
    depth: str | None = None,
    purpose: str | None = None,
    volume: str | None = None,
    now: datetime,
) -> Part:
    """What a heap, or every heap of a trial, may be used for.

    depth, volume : as typed; purpose : one of `heapwright.science.use.USES`.
    Raises `UnknownNameError` for no such heap, `InputError` or `QuantityError` for the rest.
    """
    record = load_record(book, trial)
    names = tuple(record.heaps)
    if heap:
        names = (one_of("heap", heap, {n: n for n in names}),)
    if purpose and purpose not in USES:
        raise InputError("no such use is known", field="for", value=purpose,
                         way_out="One of " + ", ".join(USES))  # fmt: skip
    layer = parse(depth, "depth_m", field="depth") if depth else None
    if layer is not None:
        science.covers_m2(Ranged.exact(1.0), layer)  # a depth that can be
    there = parse(volume, "volume_m3", field="volume") if volume else None
    return _part(record, names, layer, purpose or None, there)


# --- what is known of a heap ----------------------------------------------------------------------


def tests_of(record: TrialRecord, heap: HeapRecord) -> tuple[tuple[Result, ...], tuple[str, ...]]:
    """The tests of finish of a heap that count, and why others do not, in words."""
    found = found_of(record, heap, shown_in=record.plan.locked.shown_in)
    made, left = [], []
    for f in found:
        if f.passed:
            if f.passed == "newer":
                days = number("worse_within_d").value
                left.append(f"{f.assay.title} of heap {heap.name}, {f.shown}, is newer and not "
                            f"gone by: the worse within {days:.0f} days is.")  # fmt: skip
        elif f.counts and f.stage is not None:
            sown = f.assay.key in _SOWN
            made.append(Result(f.assay.title, f.shown, f.assay.group, f.stage, sown=sown))
        elif f.why_not or f.unsure:
            left.append(f"{f.assay.title} of heap {heap.name} does not count: "
                        f"{f.why_not or f.unsure}.")  # fmt: skip
    if not any(t.sown for t in made) and any(s.quantity == "came_up" for s in heap.samples):
        left.append(
            f"Seedlings of heap {heap.name} were counted to compare heaps, without a control that "
            'stands beside them: enter them as emergence, as in "18/20, control 20/20".'
        )
    return tuple(made), tuple(left)


def _beans(record: TrialRecord, heap: HeapRecord) -> tuple[dict[str, str], dict[str, str]]:
    """Uses that signs of weedkiller in beans rule out, and those they hold back where it is not
    sure, or where the control is wanting."""
    signs = next((f for f in found_of(record, heap) if f.signs and not f.passed), None)
    if signs is None:
        return {}, {}
    if signs.why_not:
        why = (
            "signs were seen in beans, and the control is missing or does not serve "
            f"({signs.why_not}): sow beans again with a control"
        )
        return {}, dict.fromkeys(USES, why)
    if signs.unsure:
        return {}, dict.fromkeys(USES, "beans may show weedkiller: sow them again")
    return dict.fromkeys(USES, "beans show signs of weedkiller: on grass only"), {}


def _end_volume(heap: HeapRecord) -> Sample | None:
    """The last volume that was measured once the heap had stood a while."""
    taken = [
        s for s in heap.samples
        if s.quantity == "volume_m3" and s.part == "whole"
        and (heap.built is None or heap.age_d(s.when.middle) >= _LATER_D)
    ]  # fmt: skip
    return max(taken, key=lambda s: s.when.middle, default=None)


def _volume(heap: HeapRecord, given: Ranged | None) -> tuple[Ranged | None, str]:
    if given is not None:
        return given, "as given"
    end = _end_volume(heap)
    off = value("balance", "off_volume").value
    if end is not None:
        typed = _as_typed(end)
        if typed.is_exact:
            typed = Ranged(end.value, end.value * (1 - off), end.value * (1 + off))
        return typed, "measured"
    built = heap.volume_m3
    if built is None:
        return None, "nobody measured it"
    planned = heap.heap.volume_m3
    first = planned if planned is not None and planned.typical == built else None
    first = first or Ranged(built, built * (1 - off), built * (1 + off))
    lost = value("balance", "usual_volume_loss")
    left = Ranged(first.typical * (1 - lost.value), first.low * (1 - lost.high),
                  first.high * (1 - lost.low))  # fmt: skip
    return left, "when built, less the usual loss"


def _as_typed(sample: Sample) -> Ranged:
    """A volume with the range that was typed, if one was."""
    try:
        typed = parse(sample.typed, "volume_m3", default_unit=sample.typed_unit or None)
    except HeapwrightError:
        return Ranged.exact(sample.value)
    same = abs(typed.typical - sample.value) <= 1e-6 * max(sample.value, 1e-9)
    return typed if same else Ranged.exact(sample.value)


def _last(heap: HeapRecord, key: str) -> float | None:
    """The mean of the last day on which something was sampled of the whole heap, once it had stood
    a while: before that it was the mix."""
    taken = [
        s for s in heap.samples
        if s.quantity == key and s.part == "whole"
        and (heap.built is None or heap.age_d(s.when.middle) >= _LATER_D)
    ]  # fmt: skip
    last = max((s.when.middle for s in taken), default=None)
    same = [s.value for s in taken if last is not None and last - s.when.middle < _DAY]
    return sum(same) / len(same) if same else None


def _cn(heap: HeapRecord) -> float | None:
    """Carbon over nitrogen as measured, or of carbon and nitrogen."""
    carbon, nitrogen = _last(heap, "carbon_dm"), _last(heap, "nitrogen_dm")
    ratio = _last(heap, "cn_ratio")
    return carbon / nitrogen if ratio is None and carbon and nitrogen else ratio


def _heap_use(
    record: TrialRecord, heap: HeapRecord, barred: dict[str, str], given: Ranged | None
) -> HeapUse:
    tests, left = tests_of(record, heap)
    shown, held = _beans(record, heap)
    volume, where = _volume(heap, given)
    overs = _last(heap, "overs_frac")
    if volume is not None and overs and given is None:
        volume, where = volume.scaled(1 - overs), f"{where}, without the overs"
    return HeapUse(
        heap.name,
        science.suits(tests, shown | barred, held),
        tests,
        left,
        volume,
        where,
        _cn(heap),
        overs,
    )


def _barred(met: Iterable[Caution], names: Sequence[str]) -> dict[str, str]:
    """Uses ruled out by what is in the heaps, and by what."""
    made: dict[str, str] = {}
    for c in met:
        for use in c.bars:
            made.setdefault(use, f"in the heap: {', '.join(c.names(names))}")
    return made


# --- the answer -----------------------------------------------------------------------------------


def _part(
    record: TrialRecord,
    names: Sequence[str],
    depth: Ranged | None,
    purpose: str | None,
    volume: Ranged | None,
) -> Part:
    materials = materials_of(record.plan.trial)
    met = cautions_for(work=_WORKS.get(purpose or "", ("using",)), materials=materials)
    barred = _barred(met, materials)
    found = [_heap_use(record, record.heaps[n], barred, volume) for n in names
             if record.heaps[n].lost is None]  # fmt: skip
    lost = [n for n in names if record.heaps[n].lost is not None]
    if found and all(any(t.name == assay("bean_signs").title for t in h.tests) for h in found):
        met = tuple(c for c in met if c.key != "herbicides")  # beans were asked already
    uses = (purpose,) if purpose else USES
    words = [*_said(found, uses), *(f"Heap {n} was lost." for n in lost)]
    words += _overs(found)
    bare = [h.heap for h in found if h.cn is None]
    if bare:
        words.append(
            f"What compost of {listed(bare)} does to nitrogen is not known: its C:N was not "
            "measured."
        )
    words.append("How long to wait before a food crop is for your local rule to say.")
    reach = [_reach(h, depth, uses) for h in found if h.volume_m3 is not None]
    return Part(
        title="What it may be used for",
        words=tuple(words),
        grids=(
            _by_tests(found, uses),
            Grid("How far it goes", ("heap", "there is", "from", *(_at(u, depth) for u in uses)),
                 reach, _sinking_words(depth, uses) if reach else ""),
            Grid("Nitrogen", ("heap", "what it does"),
                 [[h.heap, science.nitrogen_words(h.cn)] for h in found if h.cn is not None],
                 "Woody compost ties nitrogen up where it is dug in, hardly as mulch."),
        ),
        known=_known(found),
        sources=_sources(found),
        cautions=tuple(c.said for c in met),
        numbers={"heaps": [_numbers(h, depth, uses) for h in found]},
    )  # fmt: skip


def _said(found: Sequence[HeapUse], uses: Sequence[str]) -> list[str]:
    """One sentence for heaps of which the same may be said."""
    same: dict[str, list[str]] = {}
    for h in found:
        by_answer: dict[str, list[str]] = {}
        for a in h.answers:
            if a.use in uses:
                by_answer.setdefault(a.answer, []).append(a.use)
        mark = "; " if max(map(len, by_answer.values())) > 1 else ", "
        said = mark.join(f"{listed(u)} {answer}" for answer, u in by_answer.items())
        by = "by these tests" if h.tests else "no test of finish yet"
        same.setdefault(f"{by}: {said}", []).append(h.heap)
    return [
        f"Heap{'s' if len(heaps) > 1 else ''} {listed(heaps)}, {said}."
        for said, heaps in same.items()
    ] or ["No heap of these stands any more."]


def _overs(found: Sequence[HeapUse]) -> list[str]:
    return [
        f"Heap {h.heap}: {100 * h.overs:.0f} % of it is overs; they go back into the next heap."
        for h in found if h.overs
    ]  # fmt: skip


def _by_tests(found: Sequence[HeapUse], uses: Sequence[str]) -> Grid:
    same: dict[tuple[str, str, str], list[str]] = {}
    for use in uses:
        for h in found:
            for a in h.answers:
                if a.use == use:
                    same.setdefault((use, a.answer, a.why), []).append(h.heap)
    rows = [
        [f"{use}: {answer}", "all" if len(heaps) == len(found) > 1 else listed(heaps), why]
        for (use, answer, why), heaps in same.items()
    ]
    return Grid("By the tests", ("use", "heap", "why"), rows)


def _at(use: str, depth: Ranged | None) -> str:
    """The head of a column: ``mulch, 5 cm``."""
    if use in _SHARES:
        return f"{use}, {_span(limit(_SHARES[use]).ranged.scaled(100), '%', 0)} of a mix"
    return f"{use}, {_span(_layer(use, depth).scaled(100), 'cm', 1)}"


def _layer(use: str, depth: Ranged | None) -> Ranged:
    return depth or Ranged.exact(limit(_DEPTHS[use]).value)


def _reach(h: HeapUse, depth: Ranged | None, uses: Sequence[str]) -> list[str]:
    """How far a heap goes, use by use."""
    assert h.volume_m3 is not None
    cells = [h.heap, _span(h.volume_m3, "m3", 2), h.volume_from]
    for use in uses:
        if use in _SHARES:
            much = h.volume_m3.typical / limit(_SHARES[use]).value
            cells.append(f"about {much:.0f} m3" if much >= 10 else f"about {much:.1f} m3")
        else:
            cells.append(_span(science.covers_m2(h.volume_m3, _layer(use, depth)), "m2", 0))
    return cells


def _span(r: Ranged, unit: str, digits: int) -> str:
    """A number with its range: ``20 m2 (18 to 22)``."""
    typical, low, high = (f"{round(x, digits):g}" for x in (r.typical, r.low, r.high))
    return f"{typical} {unit}" if low == high else f"{typical} {unit} ({low} to {high})"


def _sinking_words(depth: Ranged | None, uses: Sequence[str]) -> str:
    layers = [_layer(u, depth) for u in uses if u in _DEPTHS]
    if not layers:
        return "Shares of a mix are common practice; sow a few pots first."
    left = _span(science.after_sinking_m(layers[0]).scaled(100), "cm", 1)
    return (
        f"As it is spread. It sinks: of {_span(layers[0].scaled(100), 'cm', 1)} about {left} are "
        "left after a season (common practice, no source)."
    )


def _known(found: Sequence[HeapUse]) -> tuple[str, ...]:
    known = [
        "By tests alone: mulch asks for none, a bed for compost that is at least half ripe, pots "
        "for ripe compost, sowing for ripe compost that seeds were sown in. The worst test "
        "decides.",
        f"Stages: {', '.join(STAGES)}; each test is read by the worst of its published classes.",
        f"Nitrogen is free or bound around C:N {science.break_even_cn():.0f}: microbes of C:N "
        f"{limit('cn_microbes').value:g} build in about a third of the carbon they eat.",
    ]
    known += [line for h in found for line in h.left]
    if any("usual loss" in h.volume_from for h in found):
        lost = value("balance", "usual_volume_loss")
        known.append(
            f"Where nobody measured what is there: heaps usually lose {100 * lost.low:.0f} to "
            f"{100 * lost.high:.0f} % of their volume. A tape says more."
        )
    return tuple(known)


def _sources(found: Sequence[HeapUse]) -> tuple[str, ...]:
    made = [limit("uses").sourced, limit("cn_microbes").sourced, limit("cn_ties_up").sourced]
    tests = {t.name for h in found for t in h.tests}
    for key, test in assays().items():
        if test.title in tests:  # every class of it, whatever the value
            made += [f"{test.title}: {v.scheme.said}" for v in verdicts(key, 0.5)]
    if any("usual loss" in h.volume_from for h in found):
        made.append(f"Usual loss of volume: {value('balance', 'usual_volume_loss').source}")
    return tuple(dict.fromkeys(made))


def _numbers(h: HeapUse, depth: Ranged | None, uses: Sequence[str]) -> dict[str, Any]:
    covers = {}
    for use in uses:
        if use in _DEPTHS and h.volume_m3 is not None:
            layer = _layer(use, depth)
            area = science.covers_m2(h.volume_m3, layer)
            covers[use] = {"depth_m": layer.typical, "m2": area.typical, "low": area.low,
                           "high": area.high}  # fmt: skip
    v = h.volume_m3
    return {
        "heap": h.heap,
        "answers": {a.use: {"answer": a.answer, "why": a.why} for a in h.answers if a.use in uses},
        "tests": [{"test": t.name, "said": t.said, "group": t.group, "stage": STAGES[t.stage]}
                  for t in h.tests],
        "volume_m3": None if v is None else {"typical": v.typical, "low": v.low, "high": v.high},
        "volume_from": h.volume_from, "covers": covers, "cn": h.cn, "overs": h.overs,
        "nitrogen_free_g_kg": None if h.cn is None else science.nitrogen_free_g_kg(h.cn),
    }  # fmt: skip
