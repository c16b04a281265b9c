"""What was learned and what is forecast, in sentences, rows and JSON.

Units: degrees C rounded to 1. Conventions: a range is an 80 % range with the error of a reading in
it; nothing here counts anew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from math import exp
from typing import Any

from heapwright.inference.fit import Fitted
from heapwright.inference.narrowing import Worth
from heapwright.inference.priors import Learned
from heapwright.inference.readings import Read
from heapwright.services.forecasting import Ahead, Outlook, Track

__all__ = [
    "ahead_rows", "alike", "learned_json", "learned_rows", "learned_words", "outlook_json",
    "outlook_words", "track_json", "track_words", "worth_json", "worth_words",
]  # fmt: skip

_KINDS = {
    "temp_c": "the temperature", "o2": "oxygen", "moisture_wb": "the moisture of the core",
    "height_m": "the height", "mass_kg": "the mass", "dry_kg": "the dry mass",
    "volume_m3": "the volume",
}  # fmt: skip
_SHOWN_DAYS = (1, 3, 5, 7, 10, 14, 21, 28)
_HITS = 5


def learned_words(fitted: Fitted) -> list[str]:
    """What the fit stands on, and what looked wrong."""
    count = len(fitted.reads)
    if count == 0:
        said = ["No readings yet: every range is that of all heaps of such material, and wide"]
    else:
        heaps = len({r.heap for r in fitted.reads})
        off = fitted.errors.lasting
        said = [
            f"Learned from {count} readings of {heaps} heap{'s' if heaps > 1 else ''}; what the "
            f"physics cannot do here is about {off:.0f} C and lasts for days"
        ]
    return said + [e.words() for e in fitted.doubted]


def learned_json(trial: str, fitted: Fitted) -> dict[str, Any]:
    """All numbers of what was learned of the heaps of *trial*."""
    return {
        "trial": trial, "readings": len(fitted.reads), "print": fitted.print_,
        "lasting_c": fitted.errors.lasting, "learned": [asdict(x) for x in fitted.learned()],
        "doubted": [e.words() for e in fitted.doubted],
        "members": fitted.members, "cell_m": fitted.settings.cell_m,
    }  # fmt: skip


def learned_rows(found: Sequence[Learned]) -> list[list[str]]:
    """Rows by number: heap, what, before, after, verdict; drawn ones that nothing teaches left
    out."""
    return [
        [
            x.heap, x.words + (f", {x.spot}" if x.spot else ""), _three(x, x.before),
            _three(x, x.after), x.verdict,
        ]
        for x in found
        if x.verdict != "only prior" or x.name in ("rate", "permeability", "moisture", "wind")
    ]  # fmt: skip


def alike(rows: Sequence[list[str]]) -> list[list[str]]:
    """Rows of `learned_rows` with heaps of the same numbers together, number by number.

    >>> alike([["A", "rate", "1"], ["A", "food", "2"], ["B", "rate", "1"], ["B", "food", "3"]])
    [['A, B', 'rate', '1'], ['A', 'food', '2'], ['B', 'food', '3']]
    """
    order = list(dict.fromkeys(row[1] for row in rows))
    heaps: dict[tuple[str, ...], list[str]] = {}
    for heap, *rest in rows:
        heaps.setdefault(tuple(rest), []).append(heap)
    made = [[", ".join(names), *rest] for rest, names in heaps.items()]
    return sorted(made, key=lambda row: order.index(row[1]))


def _three(x: Learned, three: tuple[float, float, float]) -> str:
    low, _, high = three
    if x.name in ("moisture", "bypass", "dry_limit"):
        return f"{100 * low:+.0f} to {100 * high:+.0f} points"
    if x.name == "depth":
        return f"{100 * low:+.0f} to {100 * high:+.0f} cm"
    if x.name == "loose":
        return f"x {exp(low):.2g} to {exp(high):.2g}"
    if x.name == "warmest":
        return f"{low:+.0f} to {high:+.0f} C"
    return f"x {low:.2g} to {high:.2g}"


def outlook_words(found: Outlook) -> list[str]:
    """The answer first, then whether to plan by it."""
    last = max(found.ahead, key=lambda a: a.day)
    said = []
    for subject in found.task.subjects:
        mine = [a for a in found.ahead if a.heap == subject.name]
        end = [a for a in mine if abs(a.day - max(m.day for m in mine)) < 1e-6]
        low, high = (sum(getattr(a, k) for a in end) / len(end) for k in ("low", "high"))
        said.append(
            f"Heap {subject.name}: {low:.0f} to {high:.0f} C on {last.when:%d %b} "
            f"(mean of {len(end)} spot{'s' if len(end) > 1 else ''})"
        )
    for name in found.unread:
        said.append(
            f"Heap {name} was never read: its range is that of all such heaps, as wide as it gets"
        )
    return said + track_words(found.track)


def track_words(track: Track) -> list[str]:
    """How earlier forecasts did."""
    if track.score is None:
        return ["No reading came in yet for an earlier forecast; nobody knows how good they are"]
    n = track.score.n
    expected = max(1, round(0.2 * n))
    said = [
        f"{track.missed} of {n} readings missed the range that was forecast; {expected} "
        f"{'is' if expected == 1 else 'are'} to be expected. Mean error "
        f"{track.score.rmse_c:.1f} C; assuming no change {track.score.no_change_rmse_c:.1f}, a "
        f"plain cooling curve {track.score.cooling_rmse_c:.1f}"
    ]
    for h in [h for h in track.hits if not h.inside][:_HITS]:
        said.append(
            f"Missed on {h.when:%d %b}, heap {h.heap}, {h.spot}: I said {h.low:.0f} to "
            f"{h.high:.0f}; it was {h.read:.0f}"
        )
    if track.wider > 1.05:
        said.append(f"Ranges are {100 * (track.wider - 1):.0f} % wider than the fit says for that")
    if track.trusted is False:
        said.append("Assuming no change has done better here. Don't plan by me yet")
    elif track.trusted is None:
        said.append("Too few to say whether this beats assuming no change")
    return said


def worth_words(worth: Sequence[Worth], most: int = 3) -> list[str]:
    """What to measure next."""
    if not worth:
        return ["No single measurement would narrow this much"]
    return [
        f"{_where(w.read)}: narrows the range by {100 * w.narrows:.0f} %, about {w.minutes:.0f} min"
        for w in worth[:most]
    ]


def worth_json(worth: Sequence[Worth]) -> list[dict[str, Any]]:
    """All numbers of what to measure next."""
    return [
        {"heap": w.read.heap, "spot": w.read.spot, "quantity": w.read.quantity,
         "narrows": w.narrows, "minutes": w.minutes}
        for w in worth
    ]  # fmt: skip


def _where(read: Read) -> str:
    place = f", {read.spot}" if read.spot else ""
    return f"{_KINDS[read.quantity]} of heap {read.heap}{place}"


def ahead_rows(ahead: Sequence[Ahead]) -> tuple[list[str], list[list[str]]]:
    """Header and rows: heap, spot and the range on some days ahead."""
    days: dict[tuple[str, str], dict[int, Ahead]] = {}
    for a in ahead:
        mine = days.setdefault((a.heap, a.spot), {})
        mine[len(mine) + 1] = a
    most = max(max(d) for d in days.values())
    shown = [d for d in _SHOWN_DAYS if d <= most]
    first = next(iter(days.values()))
    header = ["heap", "spot, C", *[f"{first[d].when:%d %b}" for d in shown], "no change"]
    rows, last = [], ""
    for (heap, spot), mine in days.items():
        still = mine[1].no_change
        rows.append(
            ["" if heap == last else heap, spot]
            + [f"{mine[d].low:.0f} to {mine[d].high:.0f}" for d in shown]
            + ["" if still is None else f"{still:.0f}"]
        )
        last = heap
    return header, rows


def track_json(t: Track) -> dict[str, Any]:
    """How earlier forecasts did, all numbers."""
    return {
        "n": t.score.n if t.score else 0,
        "rmse_c": t.score.rmse_c if t.score else None,
        "no_change_rmse_c": t.score.no_change_rmse_c if t.score else None,
        "cooling_rmse_c": t.score.cooling_rmse_c if t.score else None,
        "coverage80": t.score.coverage80 if t.score else None,
        "trusted": t.trusted, "wider": t.wider,
        "hits": [asdict(h) | {"inside": h.inside} for h in t.hits],
    }  # fmt: skip


def outlook_json(found: Outlook) -> dict[str, Any]:
    """All numbers of a forecast."""
    return {
        "trial": found.task.trial, "made": found.task.now, "invented": found.task.invented,
        "ahead": [asdict(a) for a in found.ahead],
        "track": track_json(found.track),
        "next": worth_json(found.next),
        "never_read": found.unread,
        "weather": found.task.jobs[0].weather.source,
    }  # fmt: skip
