"""Is it done? The tests of finish of heaps, each by its published classes, and the worse gone by.

Units: text; numbers in the unit of their register row. Conventions: tests that contradict each
other stand side by side; the answer goes by the worse; what was not tested is named; a class whose
page nobody here has seen says "from memory". How classes are read as ripe, half ripe or not ripe is
this project's own reading and said to be.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from heapwright.domain.heap import Heap
from heapwright.domain.names import one_of
from heapwright.domain.when import local_zone
from heapwright.errors import NotEnoughError, sentence
from heapwright.reports.part import Grid, Part
from heapwright.science import finish
from heapwright.science.finish import STAGES, Rating
from heapwright.services.maturityfound import Found, found_of
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.services.yard import pick_trial
from heapwright.store.book import Book

__all__ = ["finish_part", "maturity_parts"]

_SENSITIVE = "peas, beans, tomatoes, potatoes, carrots and lettuce"
_BEANS = (
    "Beans show weedkiller, and cannot tell which. Salt and unripe compost give the same signs, so "
    "test again once it is ripe.",
    f"Until then keep it off {_SENSITIVE}; grasses and cabbages bear more.",
)
#: the cheapest test of each question, and the name it is written down by
_SOON = {"rotting": ("reheat_c", "reheating"), "plants": ("germination_index", "cress")}


@dataclass(frozen=True, slots=True)
class _Judged:
    """A heap with its tests, the worst stage of those that count (None: none), the CCQC index."""

    heap: HeapRecord
    found: tuple[Found, ...]
    stage: int | None
    rating: Rating

    @property
    def counted(self) -> tuple[Found, ...]:
        return tuple(f for f in self.found if f.counts)

    def has(self, group: str) -> bool:
        """Whether a test of a group counts."""
        return any(f.assay.group == group for f in self.counted)


def finish_part(book: Book, trial: str | None, heap: str | None, *, now: datetime) -> Part:
    """Is a heap done, or for None: which heaps of a trial are.

    Raises `UnknownNameError` for no such trial or heap, `NotEnoughError` when nothing was tested.
    """
    name = pick_trial(book, trial)
    record, heaps, shown_in = _heaps(book, name)
    if heap is not None:
        key = one_of("heap", heap, {h: h for h in heaps})
        judged = _judged(record, heaps[key], now, shown_in)
        if judged is None:
            raise _nothing(f"no test of finish of heap {key} stands in the book", key)
        return _heap_part(name, judged, _zone(record))
    found = [j for h in heaps.values() if (j := _judged(record, h, now, shown_in)) is not None]
    if not found:
        raise _nothing(f"no test of finish stands in the book of {name}", next(iter(heaps), "A"))
    return _trial_part(name, found, len(heaps))


def maturity_parts(book: Book, trial: str, *, now: datetime) -> Sequence[Part]:
    """What the tests of a trial say: its heaps together, then each that was tested; or nothing."""
    record, heaps, shown_in = _heaps(book, trial)
    found = [j for h in heaps.values() if (j := _judged(record, h, now, shown_in)) is not None]
    if not found:
        return []
    zone = _zone(record)
    whole = [_trial_part(trial, found, len(heaps))] if len(found) > 1 else []
    return [*whole, *(_heap_part(trial, j, zone) for j in found)]


def _nothing(what: str, heap: str) -> NotEnoughError:
    return NotEnoughError(
        what, field="test",
        way_out=f"Begin with a sample in a vacuum flask. Log it: heapwright log sample {heap} "
        "reheating VALUE",
    )  # fmt: skip


# --- judging --------------------------------------------------------------------------------------


def _heaps(book: Book, name: str) -> tuple[TrialRecord | None, dict[str, HeapRecord], str]:
    """The record of a trial and its heaps; without a locked plan the heaps the book knows."""
    try:
        record = load_record(book, name)
    except NotEnoughError:
        samples, events = book.current("sample", name), book.current("event", name)
        names = list(book.heap_ids(book.trial_id(name)))
        made = {}
        for heap in names:
            mine = tuple(e for e in events if e.heap == heap)
            built = next((e.when.middle for e in mine if e.what == "built"), None)
            taken = tuple(s for s in samples if s.heap == heap)
            made[heap] = HeapRecord(Heap(heap), built, (), mine, taken)
        return None, made, "C"
    return record, dict(record.heaps), record.plan.locked.shown_in


def _zone(record: TrialRecord | None) -> tzinfo:
    return local_zone(record.plan.trial.place.time_zone if record else None)


def _judged(
    record: TrialRecord | None, heap: HeapRecord, now: datetime, shown_in: str
) -> _Judged | None:
    found = found_of(record, heap, shown_in=shown_in)
    if not found:
        return None
    counted = [f for f in found if f.counts]
    stage = max((f.stage for f in counted if f.stage is not None), default=None)
    values = {f.assay.key: f.value for f in found
              if f.says and not f.apart and f.assay.ccqc}  # fmt: skip
    return _Judged(heap, found, stage, finish.ccqc_rating(values))


def _use(j: _Judged) -> str:
    """Where it may go by the worst test, and what is not known."""
    signs = _signs(j)
    if signs and not signs.says:  # what may carry weedkiller is spread nowhere
        control = " with a control" if signs.why_not else ""
        return f"mulch, beds and pots not before beans are sown again{control}"
    if signs:
        return "grass yes, beds and pots not"
    if j.stage == 2:
        return "mulch yes, pots not yet"
    both = j.has("rotting") and j.has("plants")
    if j.stage == 1:
        return "mulch and beds yes, pots not yet" if both else (
            "mulch yes, beds not known, pots not yet"
        )  # fmt: skip
    return "mulch, beds and pots yes" if both else "mulch yes, beds and pots not known"


def _signs(j: _Judged) -> Found | None:
    """The bean test that is gone by, where any pot shows signs, even if it does not count."""
    return next((f for f in j.found if f.signs and not f.passed), None)


def _answer(j: _Judged) -> str:
    """The sentence that answers: what the tests say, and which is gone by."""
    if j.stage is None:
        held = f". Beans showed signs: {_use(j)}" if _signs(j) else ""
        return f"Nothing that was tested of heap {j.heap.name} decides yet{held}"
    at = {s: [f for f in _by_weight(j.counted) if f.stage == s] for s in range(3)}
    # a single limit that is missed weighs less than a class of its own
    bad, good = at[j.stage], at[0] if j.stage else []
    if j.stage == 0:
        well = _listed([f.assay.well.format(x=f.shown) for f in bad[:3]])
        if j.has("rotting") and j.has("plants"):
            return f"{well}: it is ripe, as far as these tests go. {_up(_use(j))}"
        rest = "whether plants bear it" if j.has("rotting") else "whether it still rots"
        return f"{well}; {rest} was not tested. {_up(_use(j))}"
    worst = bad[0]
    badly = _listed([f.assay.badly.format(x=f.shown) for f in bad if f is worst or f.assay.means
                     == worst.assay.means][:2])  # fmt: skip
    means = _means(worst, j.stage)
    if not good:
        return f"{badly}: {means}. {_up(_use(j))}"
    other = next((f for f in good if f.assay.group != worst.assay.group), good[0])
    well = other.assay.well.format(x=other.shown)
    return f"{well}, but {badly}: {means}. I go by the worse: {_use(j)}"


def _means(worst: Found, stage: int) -> str:
    if stage == 1 and worst.assay.group == "rotting":
        return "it is still ripening"
    if stage == 1 and worst.assay.ccqc == "B":
        return "young plants may be held back"
    return worst.assay.means


def _by_weight(found: Sequence[Found]) -> list[Found]:
    """Rotting first, then plants, then the rest: what a reader must hear first."""
    order = ("rotting", "plants", "other")
    return sorted(found, key=lambda f: order.index(f.assay.group))


def _listed(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1]


def _up(text: str) -> str:
    return text[:1].upper() + text[1:]


# --- a heap ---------------------------------------------------------------------------------------


def _heap_part(trial: str, j: _Judged, zone: tzinfo) -> Part:
    answer = sentence(_answer(j))
    words = [answer, sentence(_index_said(j.rating))]
    said = {f.assay.key for f in j.counted if f.stage == j.stage}
    also = [f for f in _by_weight(j.counted) if f.stage and f.assay.badly
            and f.assay.badly.format(x=f.shown).lower() not in answer.lower()]  # fmt: skip
    if also:
        words.append(sentence(
            "Also " + _listed([f.assay.badly.format(x=f.shown) for f in also[:4]])
        ))  # fmt: skip
    words += [f"{_up(f.assay.title)}: unsure. {_up(sentence(f.unsure))}" for f in j.found
              if f.unsure and not f.apart]  # fmt: skip
    words += [f"{_up(f.assay.title)} does not count: {sentence(f.why_not)}" for f in j.found
              if f.why_not and not f.apart]  # fmt: skip
    step = _next_test(j)
    if step:
        words.append(step)
    return Part(
        title=f"Is heap {j.heap.name} done?",
        words=words,
        grids=_heap_grids(j, zone),
        known=_known(j),
        sources=_sources(j.found),
        cautions=_cautions(j),
        numbers=_numbers(trial, j) | {"by": sorted(said)},
    )


def _index_said(rating: Rating) -> str:
    head = "CCQC Compost Maturity Index, 2001, from memory"
    groups = {"C:N": rating.gate, "stability": rating.a, "plants": rating.b}
    each = ", ".join(
        f"{name} {'passes' if not stage else 'does not pass'}" if name == "C:N"
        else f"{name} {_rate(stage)}"
        for name, stage in groups.items() if stage is not None
    )  # fmt: skip
    missing = _listed(rating.missing) if rating.missing else ""
    if not rating.rating:
        lacks = f"not rated, for want of {missing}"
        return f"{head}: {lacks}" + (f" ({each})" if each else "")
    return f"{head}: {rating.rating} ({each})" + (f"; not tested: {missing}" if missing else "")


def _rate(stage: int | None) -> str | None:
    return None if stage is None else finish.RATES[stage]


def _next_test(j: _Judged) -> str:
    """The cheapest test that is still missing; "" where both questions have one that counts."""
    for group, words in (
        ("rotting", "whether it still rots"),
        ("plants", "whether plants bear it"),
    ):
        if not j.has(group) and j.stage != 2:
            key, name = _SOON[group]
            test = finish.assay(key)
            return (
                f"Next, {words}: {test.how[:1].lower()}{test.how[1:]} (about {test.minutes:.0f} "
                f'minutes of work). Write it down as {name}, "{test.typed}".'
            )
    return ""


def _heap_grids(j: _Judged, zone: tzinfo) -> tuple[Grid, ...]:
    rows, classes = [], []
    for f in j.found:
        local = f.when.astimezone(zone)
        age = f", day {f.age_d:.0f}" if f.age_d is not None else ""
        rows.append((f.assay.title, f.shown, f"{local.day} {local:%B %Y}{age}", _reading(f)))
        if not f.passed:
            classes += [(f.assay.title, v.scheme.said_short, v.label) for v in f.verdicts]
    curve = next((f.curve for f in j.found if f.curve), ())
    notes = [f"{f.assay.title}: {'; '.join(f.notes)}." for f in j.found
             if f.notes and not f.passed]  # fmt: skip
    return (
        Grid("What was tested", ("test", "result", "when", "read as"), rows, " ".join(notes)),
        Grid("What the published classes say", ("test", "who says so", "class"), classes,
             "Where they differ, the worse is gone by."),
        Grid("What passes the sieve", ("mesh", "of the mass finer"),
             [(f"{mesh:g} mm", f"{100 * share:.0f} %") for mesh, share in curve],
             "What stays on the mesh goes back on a heap." if curve else ""),
    )  # fmt: skip


def _reading(f: Found) -> str:
    if f.passed:
        return f"{f.passed}, not gone by"
    if f.older:
        return "older, not gone by"
    if f.why_not:
        return "does not count"
    if f.unsure:
        return "unsure"
    return "-" if f.stage is None else STAGES[f.stage]


def _known(j: _Judged) -> tuple[str, ...]:
    lines = [
        "Ripe, half ripe and not ripe are this program's reading of the classes: half ripe is what "
        "they call mature or of limited use; a single limit that is kept says nothing of ripeness.",
        "Each test is one sample of a heap. Ten handfuls from all over it, well mixed, make a fair "
        "one.",
    ]
    if any(f.older for f in j.found):
        days = finish.number("together_d").value
        lines.append(f"Tests more than {days:.0f} days older than the newest are shown and not "
                     "gone by.")  # fmt: skip
    if any(f.passed for f in j.found):
        days = finish.number("worse_within_d").value
        lines.append(
            f"Of results of one test within {days:.0f} days the worse is gone by (own choice); of "
            "others the newest that counts. All of them are shown."
        )
    if any(f.signs for f in j.found):
        lines.append(
            "Signs in beans do not grow old: only a clean test that counts, more than "
            f"{finish.number('worse_within_d').value:.0f} days later, lifts them (own choice)."
        )
    if any(f.assay.key == "reheat_c" for f in j.found):
        limit = finish.number("dry_below")
        lines.append(
            f"A sample below {100 * limit.value:.0f} % of water ({limit.seen}) is refused for "
            "warming and breathing: dry, it only rests. Compost with much soil or ash in it needs "
            "less."
        )
    if any(f.assay.key in ("germination_index", "emergence", "bean_signs") for f in j.found):
        least = finish.number("control_up")
        lines.append(
            f"A test of plants counts where {100 * least.value:.0f} % of the control came up, "
            f"better {100 * least.high:.0f} % (from memory)."
        )
    if any(f.assay.key == "overs_frac" for f in j.found):
        lines.append("What stays on the sieve goes back on a heap; it is no fault of the compost.")
    return tuple(lines)


def _sources(found: Sequence[Found]) -> tuple[str, ...]:
    schemes = {v.scheme.key: v.scheme for f in found for v in f.verdicts}
    return tuple(f"{s.said}.{' ' + s.note if s.note else ''}" for s in schemes.values())


def _cautions(j: _Judged) -> tuple[str, ...]:
    return _BEANS if _signs(j) else ()


def _numbers(trial: str, j: _Judged) -> dict[str, Any]:
    return {
        "trial": trial,
        "heap": j.heap.name,
        "way": j.heap.heap.way,
        "stage": None if j.stage is None else STAGES[j.stage],
        "use": _use(j) if j.stage is not None or _signs(j) else "",
        "ccqc": {
            "rating": j.rating.rating, "missing": list(j.rating.missing),
            "gate": None if j.rating.gate is None else not j.rating.gate,
            "stability": _rate(j.rating.a), "plants": _rate(j.rating.b),
        },
        "tests": [_test_json(f) for f in j.found],
    }  # fmt: skip


def _test_json(f: Found) -> Mapping[str, Any]:
    return {
        "test": f.assay.key, "value": f.value if math.isfinite(f.value) else None,
        "shown": f.shown, "when": f.when.isoformat(),
        "age_d": f.age_d, "read_as": _reading(f), "counts": f.counts, "why_not": f.why_not,
        "unsure": f.unsure, "notes": list(f.notes),
        "classes": [
            {"by": v.scheme.name, "edition": v.scheme.edition, "seen": v.scheme.seen,
             "class": v.label} for v in f.verdicts
        ],
    }  # fmt: skip


# --- a trial --------------------------------------------------------------------------------------


def _trial_part(trial: str, found: Sequence[_Judged], heaps: int) -> Part:
    by_stage = [
        (name, [j.heap.name for j in found if j.stage == stage])
        for stage, name in ((2, "not ripe"), (1, "half ripe"), (0, "ripe as far as tested"),
                            (None, "undecided"))
    ]  # fmt: skip
    said = "; ".join(f"{_listed(names)} {'is' if len(names) == 1 else 'are'} {name}"
                     for name, names in by_stage if names)  # fmt: skip
    count = f"{len(found)} of {heaps} heaps {'was' if len(found) == 1 else 'were'} tested"
    words = [f"{count}: {said}."]
    compared = [
        key for key in ("cn_ratio", "came_up", "reheat_c", "respiration")
        if sum(any(s.quantity == key for s in j.heap.samples) for j in found) > 1
    ]  # fmt: skip
    if compared:
        names = {"cn_ratio": "C:N", "came_up": "seedlings", "reheat_c": "warming of a sample",
                 "respiration": "breathing of a sample"}  # fmt: skip
        words.append(
            f"Which way made the better compost is for the findings, which can compare "
            f'{_listed([names[k] for k in compared])} where the plan names them under "also".'
        )
    rows = [
        (j.heap.name, j.heap.heap.way or "-", "undecided" if j.stage is None else STAGES[j.stage],
         _up(_use(j)) if j.stage is not None or _signs(j) else "not known",
         j.rating.rating or "not rated",
         _listed([f.assay.title for f in _by_weight(j.counted) if f.stage == j.stage][:2] or ["-"]))
        for j in found
    ]  # fmt: skip
    return Part(
        title="Is it done?",
        words=words,
        grids=(Grid("Heap by heap", ("heap", "way", "by its worst test", "where it may go",
                                     "CCQC 2001", "which test"), rows),),
        known=_known(found[0])[:2],
        sources=_sources([f for j in found for f in j.found]),
        cautions=_BEANS if any(_signs(j) for j in found) else (),
        numbers={"trial": trial, "heaps": [_numbers(trial, j) for j in found]},
    )  # fmt: skip
