"""What stands in a book: rounds, readings, events, samples and weather.

Units: values in the unit of their register row; times in UTC (`When`).
Conventions: an entry is never changed. A correction, a withdrawal and a restoration are new
entries that point at the one they replace (`Trail`); the last of a chain is the current one.
Ids are made by whoever enters, so that the same entry sent twice stays one entry.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, get_args

from heapwright.domain.when import When
from heapwright.errors import EntryError
from heapwright.units import quantity

__all__ = [
    "ACTIONS",
    "EVENT_KINDS",
    "Action",
    "Entry",
    "Event",
    "Reading",
    "Round",
    "Sample",
    "Trail",
    "Weather",
]

Action = Literal["entered", "corrected", "withdrawn", "restored"]
ACTIONS: tuple[str, ...] = get_args(Action)

#: What can be done to a heap, and the yard words for it.
EVENT_KINDS: dict[str, str] = {
    "built": "built",
    "added": "material added",
    "turned": "turned",
    "watered": "watered",
    "covered": "covered",
    "uncovered": "cover taken off",
    "vent opened": "pipes opened",
    "vent plugged": "pipes plugged",
    "vent pulled": "pipes pulled",
    "air on": "blower on",
    "air off": "blower off",
    "closed": "no more adding",
    "lost": "heap lost",
    "photo": "photo taken",
    "note": "note",
}


@dataclass(frozen=True, slots=True)
class Trail:
    """How an entry came to be and what it replaces.

    root : id of the first entry of its chain; version : 1, 2, ...; action : one of `ACTIONS`;
    replaces : id of the entry before, None for the first; why : reason given;
    recorded : when the book took it; source : ``log``, ``import FILE``, ...
    """

    root: str
    version: int = 1
    action: Action = "entered"
    replaces: str | None = None
    why: str = ""
    recorded: datetime | None = None
    source: str = "log"


@dataclass(frozen=True, slots=True)
class Reading:
    """One value read at one spot of one heap.

    value : in the unit of *quantity*; typed, typed_unit : as written; probe : its name or "";
    depth_m, pipe_distance_m : where the probe's tip was, None if only the spot is known.
    Raises `EntryError` for a value outside the physical range of its quantity.
    """

    id: str
    trial: str
    heap: str
    spot: str
    when: When
    value: float
    quantity: str = "temp_c"
    typed: str = ""
    typed_unit: str = ""
    probe: str = ""
    reader: str = ""
    depth_m: float | None = None
    pipe_distance_m: float | None = None
    round: str | None = None
    note: str = ""
    trail: Trail = field(default=Trail(""))

    kind = "reading"

    def __post_init__(self) -> None:
        _check(self.value, self.quantity, f"reading of heap {self.heap}", self.typed)


@dataclass(frozen=True, slots=True)
class Event:
    """Something done to a heap: ``what`` is a key of `EVENT_KINDS`; litres and minutes or None."""

    id: str
    trial: str
    heap: str
    when: When
    what: str
    water_l: float | None = None
    minutes: float | None = None
    who: str = ""
    typed: str = ""
    note: str = ""
    trail: Trail = field(default=Trail(""))

    kind = "event"

    def __post_init__(self) -> None:
        if self.what not in EVENT_KINDS:
            raise EntryError(
                "nothing of that name is done to a heap",
                field="event",
                value=self.what,
                way_out="One of " + ", ".join(EVENT_KINDS),
            )
        if self.water_l is not None:
            _check(self.water_l, "water_l", "litres", "")
        if self.minutes is not None:
            _check(self.minutes, "minutes", "minutes", "")


@dataclass(frozen=True, slots=True)
class Sample:
    """A kitchen or laboratory test of one heap.

    part : which part of the heap (``whole``, ``core`` ...); method, basis : as done, kept.
    """

    id: str
    trial: str
    heap: str
    when: When
    quantity: str
    value: float
    typed: str = ""
    typed_unit: str = ""
    part: str = "whole"
    method: str = ""
    basis: str = ""
    note: str = ""
    trail: Trail = field(default=Trail(""))

    kind = "sample"

    def __post_init__(self) -> None:
        _check(self.value, self.quantity, f"sample of heap {self.heap}", self.typed)


@dataclass(frozen=True, slots=True)
class Weather:
    """Air beside the heaps or weather from a station.

    source : ``round`` (read on a walk), ``logger`` or ``station``.
    """

    id: str
    trial: str
    when: When
    value: float
    quantity: str = "air_temp_c"
    typed: str = ""
    typed_unit: str = ""
    source: str = "round"
    round: str | None = None
    note: str = ""
    trail: Trail = field(default=Trail(""))

    kind = "weather"
    heap = ""

    def __post_init__(self) -> None:
        _check(self.value, self.quantity, "air", self.typed)


@dataclass(frozen=True, slots=True)
class Round:
    """One walk with the probe past all heaps; readings and the air reading point at it."""

    id: str
    trial: str
    when: When
    reader: str = ""
    note: str = ""


Entry = Reading | Event | Sample | Weather


def _check(value: float, key: str, name: str, typed: str) -> None:
    row = quantity(key)
    try:
        row.check(value, field=name, typed=typed or None)
    except Exception as error:
        raise EntryError(
            getattr(error, "what", str(error)),
            field=name,
            value=typed or value,
            way_out=getattr(error, "way_out", None),
        ) from None
