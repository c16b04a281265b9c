"""What a hand and a nose found at a heap, read back from the notes of its rounds.

Units: days. Conventions: a note says ``squeeze: damp`` or ``smell: sour``, as the round page writes
it. What a turn or a watering may have changed since is not read back; where a day is all that is
known of one, a note of that day counts as before it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

from heapwright.domain.entries import Event
from heapwright.errors import UnknownNameError
from heapwright.planning.diagnosis import Seen
from heapwright.services.record import HeapRecord

__all__ = ["FIELDS", "FRESH_D", "Noted", "last_noted"]

#: A squeeze or smell noted so many days ago is that of now [d]: common practice, no source.
FRESH_D = 3.0
#: The field of a diagnosis that each tells.
FIELDS = {"squeeze": "squeeze_core", "smell": "smell"}
#: The work after which each tells nothing any more.
_CHANGES = {"squeeze": ("built", "turned", "watered"), "smell": ("built", "turned")}


@dataclass(frozen=True, slots=True)
class Noted:
    """A squeeze or smell in a note: what ("squeeze" or "smell"), its word, when."""

    what: str
    word: str
    when: datetime

    def said(self, zone: tzinfo) -> str:
        """As in "squeeze damp, noted on 12 May"."""
        day = self.when.astimezone(zone)
        return f"{self.what} {self.word.replace('_', ' ')}, noted on {day.day} {day:%B}"


def last_noted(heap: HeapRecord, now: datetime) -> dict[str, Noted]:
    """By "squeeze" and "smell" the last note of each that still tells something of the heap.

    Left out is what is older than `FRESH_D`, what came before a turn (a squeeze also: before a
    watering), and what is no word of the diagnosis.
    """
    out: dict[str, Noted] = {}
    for event in sorted(heap.events, key=lambda e: e.when.middle):
        found = _noted(event)
        if found is None or not now - timedelta(days=FRESH_D) <= found.when <= now:
            continue
        later = (e for e in heap.events if e.what in _CHANGES[found.what] and e.when.low <= now)
        if not any(e.when.high > event.when.low for e in later):
            out[found.what] = found
    return out


def _noted(event: Event) -> Noted | None:
    """What a note says of squeeze or smell; None for any other entry."""
    what, colon, word = (part.strip().lower() for part in event.note.partition(":"))
    if event.what != "note" or not colon or what not in FIELDS:
        return None
    try:
        Seen(complaint="smells", **{FIELDS[what]: word})  # type: ignore[arg-type]
    except UnknownNameError:
        return None
    return Noted(what, word, event.when.middle)
