"""Which spot of a heap is its core.

Units: metres. Conventions: the core is read at the spot of that name, else at the deepest.
"""

from __future__ import annotations

from heapwright.services.record import HeapRecord, TrialRecord

__all__ = ["core_spot"]


def core_spot(record: TrialRecord, mine: HeapRecord) -> str | None:
    """The spot called core, else the deepest that was read."""
    read = {r.spot for r in mine.readings if r.quantity == "temp_c"}
    depths = {s.name: s.depth_m for s in record.plan.trial.spots}
    named = [s for s in read if s.lower() == "core"]
    return named[0] if named else max(read, key=lambda s: (depths.get(s, 0.0), s), default=None)
