"""What the round page has to know: heaps, spots, what was last read there, probes and readers.

Units: depths in cm, temperatures in degrees C, waits in seconds. Conventions: everything that the
page shows away from the network stands in this one object.
"""

from __future__ import annotations

from datetime import datetime
from typing import Any

from heapwright.domain.entries import Reading
from heapwright.science.values import value
from heapwright.services.yard import Yard, yard_of
from heapwright.store.book import Book

__all__ = ["round_page"]

#: Most names of probes and readers that are offered.
_MOST = 8


def round_page(book: Book, trial: str | None, *, now: datetime) -> dict[str, Any]:
    """The round of a trial as plain values.

    Parameters
    ----------
    book : Book
        Open.
    trial : str or None
        Its name; None for the only one in the book.
    now : datetime
        The present, aware.

    Returns
    -------
    dict
        ``trial``; ``made``; ``heaps``: names; ``spots``: name, depth_cm (None if unknown),
        position; ``last``: by heap and spot, temp_c and days ago; ``probes``: name and unit as last
        typed, newest first; ``readers``; ``wait_s``: for the probe.

    Raises
    ------
    UnknownNameError
        No such trial.
    """
    yard = yard_of(book, trial)
    readings = [
        r for r in book.current("reading", yard.trial)
        if r.quantity == "temp_c" and r.when.low <= now
    ]  # fmt: skip
    last: dict[str, dict[str, dict[str, float]]] = {h: {} for h in yard.heaps}
    for r in readings:  # in order of time: the last stays
        days = max(0.0, (now - r.when.middle).total_seconds() / 86400)
        last.setdefault(r.heap, {})[r.spot] = {
            "temp_c": round(r.value, 1), "days_ago": round(days, 2)
        }  # fmt: skip
    return {
        "trial": yard.trial,
        "made": now.isoformat(),
        "heaps": list(yard.heaps),
        "spots": _spots(yard, readings),
        "last": last,
        "probes": _probes(readings),
        "readers": list(dict.fromkeys(r.reader for r in reversed(readings) if r.reader))[:_MOST],
        "wait_s": round(value("labour", "reading_minutes").value * 60),
    }


def _spots(yard: Yard, readings: list[Reading]) -> list[dict[str, Any]]:
    """The spots of the plan, else those read before, else a core."""
    if yard.spots:
        return [
            {"name": s.name, "depth_cm": round(s.depth_m * 100), "position": s.position}
            for s in yard.spots
        ]
    names = sorted({r.spot for r in readings}, key=lambda n: (len(n), n))[:20] or ["core"]
    return [{"name": n, "depth_cm": None, "position": ""} for n in names]


def _probes(readings: list[Reading]) -> list[dict[str, str]]:
    """Probes by name with the unit last typed for each, newest first."""
    found: dict[str, str] = {}
    for r in reversed(readings):
        if r.probe:
            found.setdefault(r.probe, r.typed_unit or "C")
    return [{"name": name, "unit": unit} for name, unit in list(found.items())[:_MOST]]
