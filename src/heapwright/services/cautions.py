"""Cautions where the work of a trial meets them, and the list of all with their sources.

Units: degrees C. Conventions: a heap is as hot as the hottest spot of its last round; a round older
than two weeks says nothing of today. Each caution is said once, whatever number of heaps meets it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

from heapwright.domain.entries import Entry, Event, Reading
from heapwright.domain.trial import Trial
from heapwright.planning.today import Today
from heapwright.reports.part import Grid, Part
from heapwright.science.cautions import (
    CIRCUMSTANCES,
    WORKS,
    Caution,
    Met,
    cautions,
    cautions_for,
)
from heapwright.science.values import values
from heapwright.units import parse, show

__all__ = [
    "all_cautions", "cautions_part", "hottest_now", "materials_of", "met_today",
    "planning_cautions",
]  # fmt: skip

#: the work of `planning.cautions.WORKS` that a task of the calendar is
_WORK_OF = {
    "turn": "turning", "water check": "watering", "round": "reading",
    "first measures": "building", "final measures": "opening",
}  # fmt: skip
#: readings this close together are one round; how long one says something of a heap; own choices
_ROUND, _LASTS = timedelta(hours=5), timedelta(days=14)


def all_cautions() -> Sequence[Caution]:
    """All of them, in the order of the list."""
    return tuple(cautions().values())


def materials_of(trial: Trial) -> tuple[str, ...]:
    """Names of what goes into the heaps of a plan, as written and as looked up."""
    named = [n for i in trial.ingredients for n in (i.name, i.like) if n]
    return tuple(dict.fromkeys(named))


def planning_cautions(trial: Trial) -> tuple[Caution, ...]:
    """What to mind of the materials and heights of a plan."""
    tall = values("caution")["tall_m"].value
    high = any(h.height_m is not None and h.height_m > tall for h in trial.heaps)
    return cautions_for(work="planning", materials=materials_of(trial), tall=high)


def hottest_now(entries: Iterable[Entry], *, now: datetime) -> dict[str, float]:
    """By heap the hottest spot of its last round [degrees C]; heaps that were lost, or not read
    within two weeks, are left out."""
    entries = list(entries)
    lost = {e.heap.lower() for e in entries if isinstance(e, Event) and e.what == "lost"}
    read: dict[str, list[Reading]] = {}
    for e in entries:
        if isinstance(e, Reading) and e.quantity == "temp_c" and e.when.middle <= now:
            read.setdefault(e.heap, []).append(e)
    made = {}
    for heap, readings in read.items():
        last = max(r.when.middle for r in readings)
        if heap.lower() not in lost and now - last <= _LASTS:
            made[heap] = max(r.value for r in readings if last - r.when.middle <= _ROUND)
    return made


def met_today(
    trial: Trial, answer: Today, entries: Iterable[Entry], *, now: datetime
) -> tuple[Met, ...]:
    """The cautions that what is due today meets, and heaps too hot to be left alone."""
    hot = {heap.lower(): c for heap, c in hottest_now(entries, now=now).items()}
    met: dict[str, list[str]] = {}
    for heap in trial.heaps:
        works = {
            _WORK_OF[d.kind] for d in answer.due if heap.name in d.heaps and d.kind in _WORK_OF
        }
        for c in cautions_for(work=works, core_c=hot.get(heap.name.lower())):
            met.setdefault(c.key, []).append(heap.name)
    return tuple(Met(c, tuple(met[c.key])) for c in all_cautions() if c.key in met)


def cautions_part(
    work: str | None = None,
    *,
    core: str | None = None,
    materials: Iterable[str] = (),
    shed: bool = False,
    fertilised: bool = False,
) -> Part:
    """The list: all of them, or those that are met by what is given.

    work : a key of `WORKS`; core : as typed, ``72 C``; the rest as in `cautions_for`.
    Raises `UnknownNameError` or `QuantityError`.
    """
    named = tuple(m for m in materials if m.strip())
    core_c = parse(core, "temp_c", field="core").typical if core else None
    asked = bool(work or named or shed or fertilised) or core_c is not None
    found = (
        cautions_for(work=work, core_c=core_c, materials=named, shed=shed, fertilised=fertilised)
        if asked else all_cautions()
    )  # fmt: skip
    said = f"{len(found)} caution{'s' if len(found) != 1 else ''}"
    given = [WORKS[work]] if work else []
    given += [f"a core of {show(core_c, 'temp_c', digits=0)}"] if core_c is not None else []
    given += [*named, *(CIRCUMSTANCES[k] for k, on in
                        (("shed", shed), ("fertilised", fertilised)) if on)]  # fmt: skip
    words = (
        f"{said} for {', '.join(given)}." if found and asked
        else f"Nothing of the list is met by {', '.join(given)}." if asked
        else f"{said}, each said only where the work meets it."
    )  # fmt: skip
    rows = [[c.title, c.text, "" if asked else c.applies, c.sourced] for c in found]
    head = ["what", "do", "applies", "source, edition"]
    if asked:
        head, rows = [head[0], head[1], head[3]], [[r[0], r[1], r[3]] for r in rows]
    return Part(
        title="What to take care of",
        words=(words,),
        grids=(Grid("", head, rows), *(() if asked else (_heat(),))),
        known=("What is not known of a heap meets nothing; your local rule comes first.",),
        numbers={"cautions": [
            {"key": c.key, "title": c.title, "text": c.text, "applies": c.applies,
             "source": c.source, "edition": c.edition, "seen": c.seen}
            for c in found
        ]},
    )  # fmt: skip


def _heat() -> Grid:
    """The numbers that cautions and advice share."""
    rows = [
        [key.removesuffix("_c").replace("_", " "), f"{v.value:g} {v.unit.replace('degC', 'C')}",
         v.where, v.source, v.seen]
        for key, v in values("caution").items()
    ]  # fmt: skip
    return Grid("Numbers behind them", ["number", "is", "means", "source", "read"], rows)
