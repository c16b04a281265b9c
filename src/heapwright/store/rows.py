"""Rows of a book to domain objects and back.

Conventions: the trail columns map to `Trail`; heap and trial ids map to names. The id of a forecast
follows from what it is about and when it was made, so that the same forecast has the same id.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from heapwright.domain.entries import Entry, Event, Reading, Sample, Trail, Weather
from heapwright.domain.forecast import Forecast
from heapwright.domain.names import one_of
from heapwright.domain.when import When

__all__ = ["forecast_from", "forecast_row", "from_row", "same", "to_row"]

_OWN: dict[str, tuple[type[Any], tuple[str, ...]]] = {
    "reading": (
        Reading,
        (
            "quantity",
            "value",
            "typed",
            "typed_unit",
            "spot",
            "probe",
            "reader",
            "depth_m",
            "pipe_distance_m",
            "round",
        ),
    ),
    "event": (Event, ("what", "water_l", "minutes", "who", "typed")),
    "sample": (Sample, ("quantity", "value", "typed", "typed_unit", "part", "method", "basis")),
    "weather": (Weather, ("quantity", "value", "typed", "typed_unit", "round")),
}
_FORECAST = (
    "spot", "made", "due", "quantity", "low", "mean", "high", "no_change", "cooling", "weather",
    "print",
)  # fmt: skip
# The words a time was given in are not content: "yesterday 7:10" and its date say the same.
_NOT_CONTENT = {"recorded", "source", "typed_when", "trial_name", "heap_name"}


def to_row(entry: Entry, *, trial: str, heaps: Mapping[str, str], now: datetime) -> dict[str, Any]:
    """The row of an entry; raises `UnknownNameError` for a heap the trial does not have."""
    _, columns = _OWN[entry.kind]
    trail = entry.trail
    row: dict[str, Any] = {
        "id": entry.id,
        "trial": trial,
        "low": entry.when.low,
        "high": entry.when.high,
        "typed_when": entry.when.typed,
        "note": entry.note,
        "root": trail.root or entry.id,
        "version": trail.version,
        "action": trail.action,
        "replaces": trail.replaces,
        "why": trail.why,
        "recorded": trail.recorded or now,
        "source": trail.source,
    }
    row |= {c: getattr(entry, c) for c in columns}
    if isinstance(entry, Weather):
        row["origin"] = entry.source
    else:
        row["heap"] = one_of("heap", entry.heap, dict(heaps))
    return row


def from_row(kind: str, row: Mapping[str, Any]) -> Entry:
    """The entry a row (with its trial and heap names) stands for."""
    made, columns = _OWN[kind]
    values = {c: row[c] for c in columns}
    if kind == "weather":
        values["source"] = row["origin"]
    else:
        values["heap"] = row["heap_name"]
    trail = Trail(
        root=row["root"],
        version=row["version"],
        action=row["action"],
        replaces=row["replaces"],
        why=row["why"],
        recorded=row["recorded"],
        source=row["source"],
    )
    entry: Entry = made(
        id=row["id"],
        trial=row["trial_name"],
        when=When(row["low"], row["high"], row["typed_when"]),
        note=row["note"],
        trail=trail,
        **values,
    )
    return entry


def forecast_row(
    forecast: Forecast, *, trial: str, heaps: Mapping[str, str], now: datetime
) -> dict[str, Any]:
    """The row of a forecast; raises `UnknownNameError` for a heap the trial does not have."""
    heap = one_of("heap", forecast.heap, dict(heaps))
    made, due = (t.astimezone(UTC).isoformat("T", "seconds") for t in (forecast.made, forecast.due))
    row: dict[str, Any] = {c: getattr(forecast, c) for c in _FORECAST}
    return row | {
        "id": str(uuid.uuid5(uuid.UUID(trial), f"forecast:{heap}:{made}:{due}:{forecast.spot}")),
        "trial": trial,
        "heap": heap,
        "recorded": forecast.recorded or now,
    }


def forecast_from(row: Mapping[str, Any]) -> Forecast:
    """The forecast a row (with its heap's name) stands for."""
    values = {c: row[c] for c in _FORECAST}
    return Forecast(heap=row["heap_name"], recorded=row["recorded"], **values)


def same(mine: Mapping[str, Any], theirs: Mapping[str, Any]) -> bool:
    """True when two rows say the same thing, whenever and from wherever they were recorded."""
    return all(_plain(mine[k]) == _plain(theirs.get(k)) for k in mine if k not in _NOT_CONTENT)


def _plain(value: Any) -> Any:
    return value.replace(microsecond=0) if isinstance(value, datetime) else value
