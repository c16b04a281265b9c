"""Whether a sample was too dry for a test that asks how fast it still rots.

Units: moisture on wet basis, 0 to 1; days. Conventions: what lies nearest before or after the test
tells, a squeeze or a moisture sample; a watering after it makes it void; a method that says
"wetted" goes before both. A dry sample is dormant, not done.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from heapwright.domain.entries import Event, Sample
from heapwright.errors import EntryError
from heapwright.science.finish import number
from heapwright.store.book import Book
from heapwright.units import show

__all__ = ["NEEDS_DAMP", "WET_IT", "refuse_dry", "too_dry"]

#: Tests that a dry sample passes by being dormant.
NEEDS_DAMP = ("reheat_c", "respiration", "oxygen_uptake", "at4")
WET_IT = "Wet it to squeeze-damp, let it stand a day, and test again"
_DRY_HANDS = {"crumbles": "crumbles", "no_ball": "gives no ball", "dusty": "is dusty"}
_HANDS = (*_DRY_HANDS, "streams", "drops", "damp")


def too_dry(
    samples: Iterable[Sample], events: Iterable[Event], when: datetime, *, method: str = ""
) -> str | None:
    """What shows that a heap's material was too dry for a test at *when*; None if nothing does.

    samples, events : of one heap. Looked at is what lies within two days of the test.
    """
    if "wetted" in method.lower():
        return None
    events = list(events)
    reach = timedelta(days=number("dry_within_d").value)
    told: list[tuple[datetime, bool, str]] = []
    limit = number("dry_below").value
    for sample in samples:
        if sample.quantity == "moisture_wb" and abs(sample.when.middle - when) <= reach:
            water = show(sample.value, "moisture_wb")
            said = f"a sample of {_day(sample.when.middle)} holds {water} of water"
            told.append((sample.when.middle, sample.value < limit, said))
    for event in events:
        word = _squeezed(event)
        if word and abs(event.when.middle - when) <= reach:
            said = f"a handful of {_day(event.when.middle)} {_DRY_HANDS.get(word, word)}"
            told.append((event.when.middle, word in _DRY_HANDS, said))
    if not told:
        return None
    # the last word counts; of two at the same moment the damper one
    last, dry, said = max(told, key=lambda t: (t[0], not t[1]))
    wetted = any(e.what == "watered" and last < e.when.middle <= when for e in events)
    return said if dry and not wetted else None


def refuse_dry(
    book: Book, trial: str, heap: str, key: str, value: str, when: datetime, *, method: str
) -> None:
    """Raise `EntryError` for a test that needs a damp sample when that of the heap was dry."""
    if key not in NEEDS_DAMP or trial not in book.trials():
        return
    mine = [s for s in book.current("sample", trial) if s.heap.lower() == heap.lower()]
    done = [e for e in book.current("event", trial) if e.heap.lower() == heap.lower()]
    said = too_dry(mine, done, when, method=method)
    if said is not None:
        raise EntryError(
            f"{said}: dry material neither warms nor breathes, however far it is",
            field="value",
            value=value,
            way_out=f"{WET_IT}; then enter it with its new moisture, or with the method: wetted",
        )


def _squeezed(event: Event) -> str:
    """The word of a squeeze note (as the round page writes it); "" for any other entry."""
    what, colon, word = (part.strip().lower() for part in event.note.partition(":"))
    found = word.split()[0] if word else ""
    return found if event.what == "note" and colon and what == "squeeze" and found in _HANDS else ""


def _day(moment: datetime) -> str:
    return f"{moment.day} {moment:%B}"
