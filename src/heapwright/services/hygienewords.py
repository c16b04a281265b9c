"""What clocks of heat say of heaps, in words and tables.

Units: degrees of the trial's unit, days and hours as text. Conventions: the most that is said is
that a heap meets the time-temperature part of a rule, at the measured points; the local rule
decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from heapwright.errors import sentence
from heapwright.reports.part import Grid, Part
from heapwright.science import hygiene as science
from heapwright.science import seeds
from heapwright.services.hygiene import HeapHeat

__all__ = ["CAUTIONS", "heap_sentence", "part_of", "seen_as"]

_COUNTS = (
    "none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
    "eleven", "twelve",
)  # fmt: skip
_DECIDES = "your local rule decides"
#: share of the time from which on nothing is said of gaps (own choice)
_MOSTLY = 0.95
#: what holds of every rule; the first from a study that was read, the second our own summary
CAUTIONS = (
    "A log of temperatures alone shows little of germs: winter windrows of food waste that were "
    "logged as hot kept Salmonella at 6 to 150 MPN/g (Cekmecelioglu et al. 2005, seen).",
    "Readings are at points. Edges stay cold, and every rule takes turning or a cover for granted.",
)


def seen_as(seen: str) -> str:
    """How far a source was read, as it stands behind its name.

    >>> seen_as("memory"), seen_as("seen")
    ('from memory', 'seen')
    """
    return seen.replace("memory", "from memory", 1) if seen.startswith("memory") else seen


def part_of(
    heats: Sequence[HeapHeat], asked: Sequence[science.Rule], *, in_f: bool = False,
    chosen: bool = True,
) -> Part:  # fmt: skip
    """Heaps against rules as one answer; chosen : one rule was asked for."""
    held = {h.record.name: [science.judge(r, h.kinds, h.history) for r in asked] for h in heats}
    one = held[heats[0].record.name][0] if len(heats) == 1 and chosen else None
    words = (
        [heap_sentence(h, held[h.record.name][0], in_f=in_f) for h in heats] if chosen
        else [_all_said(heats, held), *(f"{h.lost_said}; its clock ends there" for h in heats
                                        if h.lost_said)]
    )  # fmt: skip
    words += [*_gap_words(heats), *_seed_words(heats, in_f=in_f)]
    if len(heats) == 1:
        grids = [_rule_grid(heats[0], held[heats[0].record.name], in_f=in_f)]
    elif chosen:
        grids = [_one_rule_grid(heats, asked[0], held, in_f=in_f)]
    else:
        grids = [_heaps_by_rules(heats, asked, held)]
    if one is not None and one.option is not None:
        grids.append(_spot_grid(one, in_f=in_f))
    grids += _seed_grids(heats, in_f=in_f)
    return Part(
        title="Heat over time, held against rules",
        words=tuple(sentence(w) for w in words),
        grids=tuple(g for g in grids if g.rows),
        known=tuple(sentence(k) for k in _known(heats, asked if chosen else (), held)),
        sources=_sources(asked),
        cautions=CAUTIONS,
        numbers={h.record.name: _numbers(h, held[h.record.name]) for h in heats},
    )


# --- sentences -----------------------------------------------------------------------------------


def _all_said(
    heats: Sequence[HeapHeat], held: dict[str, list[science.Judged]]
) -> str:  # fmt: skip
    met = [
        (h, j) for h, found in held.items() for j in found
        if j.verdict == "met" and not j.rule.unsure
    ]  # fmt: skip
    rules = len(next(iter(held.values()))) if held else 0
    who = f"heap {heats[0].record.name}" if len(heats) == 1 else f"{_count(len(heats))} heaps"
    aside = any(j.verdict == "met" and j.rule.unsure for found in held.values() for j in found)
    end = "; what is remembered with low confidence stands in the table only" * aside
    if not met:
        return (
            f"{who} held against {_count(rules)} rules: the time-temperature part of none is met "
            f"at the measured points so far{end}; {_DECIDES}"
        )
    named = "; ".join(
        f"heap {h} meets that of {j.rule.named}"
        + (", read as if it were a windrow" * j.as_if)
        + _alone(j)
        for h, j in met
    )
    return (
        f"{who} held against {_count(rules)} rules, of each its time-temperature part at the "
        f"measured points: {named}{end}; {_DECIDES}"
    )


def heap_sentence(heat: HeapHeat, found: science.Judged, *, in_f: bool = False) -> str:
    """What a rule says of one heap, in one to four sentences; first that it was lost, if so."""
    said = _heap_said(heat, found, in_f=in_f)
    return f"{heat.lost_said}; the clock ends there. {said}" if heat.lost_said else said


def _heap_said(heat: HeapHeat, found: science.Judged, *, in_f: bool) -> str:
    name, rule = f"Heap {heat.record.name}", found.rule
    if found.verdict == "no category fits":
        return (
            f"{name}, {rule.named}: no category of it fits this heap ({heat.called}). A piped "
            f"or untouched heap is no heap with forced air. {_DECIDES[0].upper()}{_DECIDES[1:]}."
        )
    if found.as_if:
        name += " (read as if it were a windrow; the rule is written for windrows)"
    assert found.option is not None
    if found.verdict == "met" and rule.unsure:
        return (
            f"{name}, {rule.named} ({found.option.words}): the measured points reach what is "
            f"remembered of its heat and time{_alone(found)}; look the rule up; {_DECIDES}."
        )
    if found.verdict == "met":
        return (
            f"{name} meets the time-temperature part of {rule.named} "
            f"({found.option.words}), {_where(found)}; {_DECIDES}."
        )
    points = _points_said(found, in_f=in_f)
    other = [f for f in found.fails if f != "heat over time"]
    parts = [p for p in (points, *other) if p]
    if found.verdict == "cannot tell":
        missing = "; ".join(found.missing)
        said = f"{'; '.join(parts)}. " if parts else ""
        return f"{name}, {rule.named} ({found.option.words}): {said}Cannot tell: \
{missing}. {_DECIDES[0].upper()}{_DECIDES[1:]}."
    also = f" Not known either: {'; '.join(found.missing)}." if found.missing else ""
    return (
        f"{name}, {rule.named} ({found.option.words}): {'; '.join(parts)}. Not met."
        f"{also} {_DECIDES[0].upper()}{_DECIDES[1:]}."
    )


def _alone(found: science.Judged) -> str:
    return ", at one measured point only" if len(found.points) == 1 else ""


def _where(found: science.Judged) -> str:
    return _alone(found).removeprefix(", ") or "at the measured points"


def _points_said(found: science.Judged, *, in_f: bool) -> str:
    """How many points meet heat and time alone, and what the one that blocks reached."""
    assert found.option is not None
    assert found.clock is not None
    total = len(found.points)
    if not total:
        return ""
    if found.option.how == "before turns":
        return ""
    if found.meeting == total:
        if found.clock.hot:
            return f"all {_count(total)} measured points meet its heat and time" if total > 1 else \
                "one measured point only, which meets its heat and time"  # fmt: skip
        return (
            "every measured point meets its heat and time by itself, but not all at the same time"
        )
    meet = "meets" if found.meeting == 1 else "meet"
    return (
        f"{_count(found.meeting)} of {_count(total)} measured points {meet} its heat and time; "
        f"the {found.blocking} {_blocked(found, in_f=in_f)}"
    )


def _blocked(found: science.Judged, *, in_f: bool) -> str:
    option = found.option
    assert option is not None
    hours, warmest = next((h, w) for n, h, w in found.points if n == found.blocking)
    if warmest is None:
        return "was not read in the time that counts"
    if warmest < option.c:
        return f"reached {_deg(warmest, in_f, below=option.c)}"
    how = "in all" if option.how == "summed" else "in a row"
    need = _time(option.needed_h)
    if option.top_c < math.inf and warmest > option.top_c:
        return (
            f"was from {_deg(option.c, in_f)} to {_deg(option.top_c, in_f)} for {_time(hours)} "
            f"{how} of {need}"
        )
    return f"was measured at {_deg(option.c, in_f)} or more for {_time(hours)} {how} of {need}"


def _count(n: int) -> str:
    return _COUNTS[n] if n < len(_COUNTS) else str(n)


def _deg(c: float, in_f: bool, *, below: float | None = None) -> str:
    """A temperature in the trial's unit; below : with a digit where rounding would hide that."""
    shown, limit = (
        x * 1.8 + 32 if in_f else x for x in (c, math.inf if below is None else below)
    )  # fmt: skip
    hides = shown < limit <= round(shown)
    text = f"{math.floor(shown * 10) / 10:.1f}" if hides else f"{round(shown, 1):g}"
    return f"{text if hides or below is None else f'{shown:.0f}'} {'F' if in_f else 'C'}"


def _time(hours: float) -> str:
    """Hours as they stand in a sentence: hours under two days, else days."""
    if hours < 48:
        return f"{_round(hours)} hour{'' if _round(hours) == '1' else 's'}"
    return f"{_round(hours / 24)} days"


def _round(x: float) -> str:
    """To one digit, never up over what was reached."""
    return f"{math.floor(x * 10 + 1e-6) / 10:g}"


# --- tables --------------------------------------------------------------------------------------

#: how an answer stands in a table, where it may be read without its sentence
_SHOWN = {"met": "time-temperature part met"}
_HEAD = ("rule", "answer", "reached", "asked", "coldest spot", "key")


def _cells(found: science.Judged, *, in_f: bool) -> tuple[str, str, str, str]:
    """Answer, reached, asked, coldest spot."""
    verdict = _SHOWN.get(found.verdict, found.verdict)
    if found.verdict == "met" and found.rule.unsure:
        verdict = "reached what is remembered"
    verdict += ", as if a windrow" if found.as_if else ""
    if found.clock is None or found.option is None:
        return verdict, "–", "–", "–"
    asked = found.option.words
    reached = _time(found.clock.hours)
    if found.option.how == "before turns":
        reached = f"{found.clock.turns} such turns"
    elif found.option.turns:
        reached += f", {found.clock.turns} turns"
    warmest = next((w for n, _, w in found.points if n == found.blocking), None)
    spot = found.blocking or "–"
    if warmest is not None:
        spot += f", at most {_deg(warmest, in_f, below=found.option.c)}"
    return verdict, reached, asked, spot


def _rule_grid(heat: HeapHeat, held: Sequence[science.Judged], *, in_f: bool) -> Grid:
    rows = []
    for found in held:
        why = "; ".join(f for f in (*found.fails, *found.missing) if f != "heat over time")
        verdict, *cells = _cells(found, in_f=in_f)
        answer = verdict + (f": {why}" if why else "")
        rows.append((found.rule.short, answer, *cells, found.rule.key))
    return Grid(f"Heap {heat.record.name} ({heat.called})", _HEAD, rows)


def _one_rule_grid(
    heats: Sequence[HeapHeat], rule: science.Rule, held: dict[str, list[science.Judged]], *,
    in_f: bool,
) -> Grid:  # fmt: skip
    rows = [(h.record.name, *_cells(held[h.record.name][0], in_f=in_f), h.called) for h in heats]
    head = ("heap", "answer", "reached", "asked", "coldest spot", "is")
    return Grid(f"{rule.called} ({seen_as(rule.seen)})", head, rows)


def _heaps_by_rules(
    heats: Sequence[HeapHeat], asked: Sequence[science.Rule], held: dict[str, list[science.Judged]]
) -> Grid:
    rows = [
        (r.short, *(
            _cells(held[h.record.name][k], in_f=False)[0].replace("no category fits", "none fits")
            for h in heats
        ), r.key)
        for k, r in enumerate(asked)
    ]  # fmt: skip
    head = ("rule", *(h.record.name for h in heats), "key")
    note = (
        "None fits: no category of the rule fits such a heap. To see what was reached and what is "
        "missing, ask for one heap or one rule. Names and editions in full stand under sources."
    )
    return Grid("Every heap against every rule", head, rows, note)


def _spot_grid(found: science.Judged, *, in_f: bool) -> Grid:
    assert found.option is not None
    rows = [
        (name, _time(hours), "–" if warmest is None else _deg(warmest, in_f, below=found.option.c))
        for name, hours, warmest in found.points
    ]
    head = ("spot", f"time that counts ({found.option.words})", "warmest")
    note = "The coldest of all at each time decides, so together they can reach less."
    return Grid("Each spot by itself", head, rows, note)


# --- seeds ---------------------------------------------------------------------------------------


def _seed_hours(heat: HeapHeat) -> dict[float, float]:
    gap = science.rule_file()["gap"]["daily"]["hours"]
    return seeds.warm_hours(science.course(heat.history.spots, gap_h=gap))


def _driest(heat: HeapHeat) -> float | None:
    """The least moisture measured, None if nobody did."""
    return min((m for _, m in heat.history.moistures), default=None)


def _gap_words(heats: Sequence[HeapHeat]) -> list[str]:
    """What is said where much of the time counts as not measured."""
    gap = float(science.rule_file()["gap"]["daily"]["hours"])
    said = []
    for h in heats:
        share = science.measured_share(science.course(h.history.spots, gap_h=gap))
        if h.history.spots and share < _MOSTLY:
            said.append((h.record.name, f"{100 * share:.0f} %"))
    if not said:
        return []
    shares = {s for _, s in said}
    alike = len(said) > 1 and len(shares) == 1
    each = f"{shares.pop()} in heap {', '.join(n for n, _ in said)}" if alike else ", ".join(
        f"heap {n} {s}" for n, s in said
    )  # fmt: skip
    return [
        f"Rules ask for readings daily, and a spot counts as measured only between two readings at "
        f"most {gap:g} hours apart. Time that counts as measured, from the first reading to the "
        f"last: {each}."
    ]


def _seed_words(heats: Sequence[HeapHeat], *, in_f: bool) -> list[str]:
    read = [h for h in heats if h.history.spots]
    if not read:
        return []
    fifty = {h.record.name: _seed_hours(h)[50.0] for h in read}
    at = f"at {_deg(50.0, in_f)} or more"
    longest = max(fifty, key=lambda n: fifty[n])
    if fifty[longest] <= 0:
        said = f"Weed seeds: no heap's coldest point was measured {at} for any time"
        if len(read) == 1:
            said = f"Weed seeds: the coldest point was not measured {at} for any time"
    elif len(read) == 1:
        said = f"Weed seeds: the coldest point was measured {at} for {_time(fifty[longest])}"
    else:
        said = (
            f"Weed seeds: the coldest point was measured {at} for longest in heap {longest}, "
            f"{_time(fifty[longest])}"
        )
    hard = ", ".join(seeds.seed_file()["hard"]["groups"])
    unmeasured = [h.record.name for h in read if _driest(h) is None]
    who = "" if len(read) == 1 else f" of heap {', '.join(unmeasured)}"
    moist = f" The studies kept their seeds moist; moisture{who} was not measured."
    return [
        f"{said}. Hard seeds come through whatever a heap does: {hard}; others lie in cold edges. "
        f"Expect some to come up.{moist if unmeasured else ''}"
    ]


def _seed_grids(heats: Sequence[HeapHeat], *, in_f: bool) -> list[Grid]:
    read = [h for h in heats if h.history.spots]
    if not read:
        return []
    hours = {h.record.name: _seed_hours(h) for h in read}
    steps = seeds.seed_steps()
    warm = Grid(
        "How long the coldest measured point was so warm",
        ("heap", *(f"{_deg(c, in_f)} or more" for c in steps)),
        [(n, *(_time(x[c]) for c in steps)) for n, x in hours.items()],
        "A time without readings counts nothing.",
    )
    found = Grid(
        "Weed seeds, beside what studies found",
        ("species", *(f"heap {n}" for n in hours), "asked for", "study"),
        [(s.name, *(seeds.compared(s, hours[h.record.name], moisture=_driest(h)) for h in read),
          _asked_of(s, in_f), _study(s)) for s in seeds.species()],
        "Studies are of few species in even warmth; in windrows temperature explained only 17 to "
        "29 % of how many seeds lived on (Larney and Blackshaw 2003).",
    )  # fmt: skip
    return [warm, found] if len(read) == 1 else [warm]


def _asked_of(one: seeds.Species, in_f: bool) -> str:
    if one.lethal_c is None or one.hours_at_lethal is None:
        return f"not harmed up to {_deg(one.unaffected_c or 0.0, in_f)}"
    low, high = one.hours_at_lethal
    span = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    return f"{span} hours at {_deg(one.lethal_c, in_f)} ({seen_as(one.hours_seen or one.seen)})"


def _study(one: seeds.Species) -> str:
    return (
        str(seeds.seed_file()["study"][one.study]["source"]).split(",")[0].split()[0]
        + f" {one.year}"
    )


# --- what it stands on ---------------------------------------------------------------------------


def _known(
    heats: Sequence[HeapHeat], chosen: Sequence[science.Rule],
    held: dict[str, list[science.Judged]],
) -> list[str]:  # fmt: skip
    gap = science.rule_file()["gap"]
    said = [
        "The coldest measured point decides: at each time the lowest of all spots",
        "Between two readings of a spot the lower one counts, nothing in between is made up; if "
        f"they lie more than {gap['daily']['hours']:g} hours apart ({gap['continuous']['hours']:g} "
        "hour for closed plants), or before the first and after the last, the spot counts as not "
        "measured, and that counts against (own choice)",
    ]
    apart_h, reach_d = (float(science.rule_file()[t][k]) for t, k in (
        ("turns", "apart_h"), ("moisture", "reach_d")))  # fmt: skip
    asked = chosen or _all()
    if any(o.turns for r in asked for o in r.options):
        said.append(f"Of turns less than {apart_h:g} hours apart one counts (own choice)")
    if any(r.moisture for r in asked):
        said.append(
            f"A sample of moisture speaks for {reach_d:g} days before and after it (own choice); "
            "the rest of the time it was not measured"
        )
    said += [c for r in chosen for c in r.caveats]
    if not chosen:  # what every rule that is met asks for beside the heat
        met = {j.rule.key for found in held.values() for j in found if j.verdict == "met"}
        said += [f"{r.short}: {c}" for r in _all() if r.key in met for c in r.caveats]
    said += [h.cn_said for h in heats if h.cn_said and any(r.cn for r in chosen or _all())][:6]
    said += [n for h in heats for n in h.notes]
    for h in heats:
        if h.small:
            said.append(f"Heap {h.record.name} has less than about 1 m3: its edge seldom gets hot")
        if h.history.spots:
            said.append(_dose_said(h))
    said += [str(s["said"]) + f" ({s['source']}, {seen_as(s['seen'])})"
             for s in seeds.seed_file()["study"].values()]  # fmt: skip
    return list(dict.fromkeys(said))


def _all() -> tuple[science.Rule, ...]:
    return tuple(science.rules().values())


def _dose(heat: HeapHeat) -> float:
    gap = science.rule_file()["gap"]["daily"]["hours"]
    found = science.course(heat.history.spots, gap_h=gap)
    return science.dose(found.lasts_h, found.low_c) if found.low_c.size else 0.0


def _dose_said(heat: HeapHeat) -> str:
    row = science.rule_file()["dose"]
    times = _dose(heat)
    much = "none of" if times <= 0 else f"{times:.2g} times" if times < 10 else f"{times:.0f} times"
    return (
        f"For information, not a pass: by the US formula of time and temperature the coldest point "
        f"of heap {heat.record.name} had {much} the time it asks for ({row['source']}, seen; "
        "Indiana says that it does not hold for composting)"
    )


def _sources(asked: Sequence[science.Rule]) -> tuple[str, ...]:
    made = [
        f"{r.name}: {r.edition}; {r.source}"
        + ("" if r.source.startswith("from memory") else f" ({seen_as(r.seen)})")
        for r in asked
    ]
    made += [f"{s['source']} ({seen_as(s['seen'])})" for s in seeds.seed_file()["study"].values()]
    return tuple(made)


def _numbers(heat: HeapHeat, held: Sequence[science.Judged]) -> dict[str, Any]:
    """Plain values for machines."""
    return {
        "is": heat.called,
        "dose": round(_dose(heat), 4) if heat.history.spots else None,
        "hours_at_c": {f"{c:g}": round(h, 2) for c, h in _seed_hours(heat).items()},
        "rules": {
            j.rule.key: {
                "verdict": j.verdict,
                "as_if_windrow": j.as_if,
                "option": j.option.words if j.option else None,
                "hours": round(j.clock.hours, 2) if j.clock else None,
                "hours_needed": j.option.needed_h if j.option else None,
                "turns": j.clock.turns if j.clock else None,
                "turns_needed": j.option.turns if j.option else None,
                "points": len(j.points),
                "points_meeting": j.meeting,
                "blocking_spot": j.blocking or None,
                "blocking_warmest_c": next((w for n, _, w in j.points if n == j.blocking), None),
                "from": heat.at(j.clock.span[0]).isoformat() if j.clock and j.clock.span else None,
                "to": heat.at(j.clock.span[1]).isoformat() if j.clock and j.clock.span else None,
                "fails": list(j.fails),
                "missing": list(j.missing),
            }
            for j in held
        },
    }
