"""The sentences of a report: finding, state, what was not shown, what was fixed, how we know.

Conventions: plain yard words; one sentence a thing; nothing is claimed that findings do not claim.
"""

from __future__ import annotations

from collections.abc import Sequence

from heapwright import __version__
from heapwright.domain.way import Treatment
from heapwright.services.findings import Findings
from heapwright.services.reportparts import Clock
from heapwright.stats.compare import Comparison
from heapwright.stats.outcomes import outcome
from heapwright.stats.power import permutation_floor

__all__ = [
    "as_done",
    "assumed",
    "corrected",
    "differed",
    "finding",
    "known_rows",
    "locked_rows",
    "looks",
    "not_shown",
    "plain_missing",
    "state",
    "way_in_words",
]


def way_in_words(way: Treatment) -> str:
    """What is done to a heap of this way, as a clause.

    >>> way_in_words(Treatment("turned", "turned", first_after_d=5, every_d=14))
    'turned first after 5 days, then every 14 days.'
    """
    said: str = "nothing is done but what every heap gets" if way.kind == "left alone" else way.kind
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


def deciding(found: Findings, comparisons: Sequence[Comparison]) -> list[Comparison]:
    """The comparisons of the outcome that decides."""
    return [c for c in comparisons if c.outcome == found.record.plan.locked.decides]


def finding(found: Findings) -> tuple[str, ...]:
    """The finding as sentences, each once."""
    decides = deciding(found, found.comparisons)
    if not decides:
        return (found.headline,)
    said = found.deciding_effects or [c.sentence for c in decides]
    return tuple(s for s in dict.fromkeys([*said, decides[0].caveat]) if s)


def as_done(found: Findings) -> tuple[str, ...]:
    """The finding without heaps that were handled otherwise, and which those are."""
    if not found.left_out:
        return ()
    names = ", ".join(found.left_out)
    many = len(found.left_out) != 1
    left = f"Heap{'s' if many else ''} {names} left out: {'they were' if many else 'it was'}"
    if found.record.plan.locked.decides in found.missing:
        return (f"{left} lost or not handled as planned.",)
    decides = deciding(found, found.as_done)
    said = [c.sentence for c in decides] or [
        "Then no heap of a way is left, so nothing can be compared as done."
    ]
    return (f"{left} lost or not handled as planned.", *said)


def state(found: Findings, clock: Clock) -> str:
    """Whether the trial has ended, and since when that was fixed."""
    locked = found.record.plan.locked
    ends = clock.day(locked.ends)
    if not found.ended:
        return f"Before the end date: no claim yet. The trial ends on {ends}."
    return f"Ended on {ends}, as was fixed on {clock.day(found.record.plan.locked_on)}."


def looks(found: Findings) -> str:
    """How often the findings were looked at, and how often before the end date."""
    if found.looks == 0:
        return "How often the findings were looked at was not counted for this copy."
    times = "once" if found.looks == 1 else f"{found.looks} times"
    before = found.looks_before_end
    early = (
        "never before the end date" if before == 0
        else f"{'once' if before == 1 else f'{before} times'} before the end date"
    )  # fmt: skip
    return f"The findings were looked at {times}, {early}, this time included."


def corrected(found: Findings) -> str:
    """How many entries were corrected or withdrawn."""
    record = found.record
    if not record.corrections and not record.withdrawn:
        return "No entry was corrected or withdrawn."
    entries = "entry was" if record.corrections == 1 else "entries were"
    return (
        f"{record.corrections} {entries} corrected and {record.withdrawn} withdrawn; every version "
        "is kept (heapwright history)."
    )


def not_shown(found: Findings) -> tuple[str, ...]:
    """What a reader might take from the report and should not."""
    plan = found.record.plan
    said: list[str] = []
    decides = deciding(found, found.comparisons)
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
        f"{outcome(key).title[:1].upper()}{outcome(key).title[1:]}: {plain_missing(found, key)}"
        for key in found.missing
    ]
    counts = [len(heaps) for heaps in found.record.by_way().values() if heaps]
    blocked = any(h.heap.block for h in found.record.heaps.values())
    if len(counts) > 1 and not plan.trial.factors and not blocked:
        fewest = sorted(counts)[:2]
        floor = permutation_floor(fewest[0], fewest[1])
        said.append(
            f"More than these heaps can carry: with {fewest[0]} against {fewest[1]}, the smallest "
            f"chance figure that mere counting can give is {floor:.2g}."
        )
    said += [
        "That it would come out alike with other material, in another yard or another season.",
        "That the compost is finished or fit for any use: this comparison did not ask that.",
    ]
    return tuple(said)


def locked_rows(found: Findings, clock: Clock) -> tuple[tuple[str, str], ...]:
    """What was fixed before the first barrow, as (name, value)."""
    plan = found.record.plan
    locked, what = plan.locked, outcome(plan.locked.decides)
    low, high = locked.window_d
    rows = [
        ("What decides", what.title),
        ("Heap ages that count", f"day {low:g} to day {high:g}" if low != high else f"day {low:g}"),
        ("No claim before", clock.day(locked.ends)),
        (
            "Difference that would change practice",
            what.amount(locked.matters, shown_in=clock.unit)
            if locked.matters
            else "none was named",
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


def known_rows(found: Findings, clock: Clock, rounds: int) -> tuple[tuple[str, str], ...]:
    """How we know: counts, newest reading, seed and version, as (name, value)."""
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
            ("Rounds and readings", f"{_count(rounds, 'round')}, {_count(len(temps), 'reading')}"),
            ("Spots", ", ".join(spots)),
            ("Newest reading", f"{clock.moment(last)}, {_count(days, 'day')} before this report"),
        ]
    rows.append(("Air", _count(len(record.air), "reading") if record.air else "not read"))
    if samples:
        rows.append(("Samples", str(samples)))
    rows += [
        ("Where entries came from", ", ".join(record.sources) or "nowhere yet"),
        ("Question locked", f"{clock.day(plan.locked_on)}, fingerprint {plan.fingerprint}"),
        ("Seed of the lots", str(plan.locked.seed)),
        (
            "Looks at the findings",
            f"{found.looks}, of these {found.looks_before_end} before the end",
        ),
        ("Made by", f"Heapwright {__version__}, {clock.moment(found.made)}"),
        ("To do the sums again", "the findings stand in this file as JSON (element findings-data)"),
    ]
    return tuple(rows)


def differed(found: Findings) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What else differed, once for each pair of ways."""
    pairs: dict[str, dict[str, None]] = {}
    for c in found.comparisons:
        pairs.setdefault(f"{c.way} against {c.control}", {}).update(dict.fromkeys(c.differed))
    return tuple((pair, tuple(said)) for pair, said in pairs.items())


def assumed(found: Findings) -> tuple[str, ...]:
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


def _count(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def plain_missing(found: Findings, key: str) -> str:
    """Why an outcome is missing, without the key it is kept under; "" if it is not."""
    why = found.missing.get(key, "").removeprefix(f"{key}: ")
    return why[:1].upper() + why[1:]
