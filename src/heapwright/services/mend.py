"""Set entries right: correct, withdraw, restore, exchange two heaps of a round; and the history.

Conventions: nothing is ever changed. Every call appends new versions that point at the old ones
and carry the reason; the last version of a chain is the one that counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from heapwright.domain.entries import Entry, Event, Reading, Weather
from heapwright.errors import EntryError
from heapwright.services.doings import sample_value
from heapwright.services.yard import Yard, pick_trial, yard_of
from heapwright.store.book import Book, next_version
from heapwright.units import REGISTER, parse, show

__all__ = ["Exchanged", "HistoryRow", "correct", "exchange_heaps", "history", "restore", "withdraw"]


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One version of one entry, ready to be shown.

    current : it is the last of its chain and was not withdrawn; by : who read or did it.
    """

    entry: Entry
    current: bool

    @property
    def what(self) -> str:
        """What the entry says, in a few words: ``A core 52 C (typed 52)``."""
        return describe(self.entry)

    def as_dict(self) -> dict[str, Any]:
        """The version as plain values for JSON."""
        e, t = self.entry, self.entry.trail
        out = {
            "id": e.id, "root": t.root, "version": t.version, "action": t.action,
            "replaces": t.replaces, "current": self.current, "kind": e.kind, "heap": e.heap,
            "what": self.what, "low": e.when.low, "high": e.when.high, "typed_when": e.when.typed,
            "by": who(e), "why": t.why, "recorded": t.recorded, "source": t.source,
            "note": e.note,
        }  # fmt: skip
        for name in ("spot", "quantity", "value", "typed", "typed_unit", "water_l", "minutes",
                     "probe", "round", "part", "method", "basis"):  # fmt: skip
            if hasattr(e, name):
                out[name] = getattr(e, name)
        return out


@dataclass(frozen=True, slots=True)
class Exchanged:
    """The new versions that an exchange of two heaps wrote."""

    entries: tuple[Reading, ...]
    heaps: tuple[str, str]
    when: datetime


def who(entry: Entry) -> str:
    """Who read or did it, empty when nobody said."""
    return getattr(entry, "reader", "") or getattr(entry, "who", "")


def describe(entry: Entry) -> str:
    """An entry in a few words.

    >>> from datetime import UTC; from heapwright.domain.when import When
    >>> moment = When.instant(datetime(2026, 5, 3, 7, tzinfo=UTC))
    >>> describe(Reading("1", "T", "A", "core", moment, 52.0))
    'A core 52 C'
    """
    if isinstance(entry, Event):
        parts = [entry.heap, entry.what]
        if entry.water_l is not None:
            parts.append(show(entry.water_l, "water_l"))
        if entry.minutes is not None:
            parts.append(show(entry.minutes, "minutes"))
        return " ".join(parts) + (f": {entry.note}" if entry.what == "note" else "")
    value = show(entry.value, entry.quantity, digits=_digits(entry.value, entry.quantity))
    if isinstance(entry, Reading):
        return f"{entry.heap} {entry.spot} {value}"
    if isinstance(entry, Weather):
        return f"air {value}" if entry.quantity == "air_temp_c" else f"{entry.quantity} {value}"
    part = "" if entry.part == "whole" else f" ({entry.part})"
    return f"{entry.heap} {entry.quantity} {value}{part}"


def _digits(value: float, key: str) -> int | None:
    """Decimals of temperatures only where they are not all zero."""
    if not REGISTER[key].unit.endswith("degC"):
        return None
    return 0 if abs(value - round(value)) < 0.05 else 1


def correct(
    book: Book,
    trial: str | None,
    entry_id: str,
    value: str | None = None,
    *,
    why: str,
    now: datetime,
    heap: str | None = None,
    when: str | datetime | None = None,
    litres: str | None = None,
    minutes: str | None = None,
    source: str = "correct",
) -> Entry:
    """Append a corrected version of an entry; returns it.

    Parameters
    ----------
    entry_id : str
        Its id or the first characters of it; of any version.
    value : str, optional
        The right value of a reading, sample or air (``55``, ``131 F``, ``45 %``).
    why : str
        The reason; it stays with the correction.
    heap, when, litres, minutes : str, optional
        The right heap or time, and of an event the right water and minutes.

    Raises
    ------
    EntryError
        Nothing to correct, no reason, or the entry was withdrawn.
    UnknownNameError, QuantityError, InputError
        No such entry or heap, a number or time that cannot stand.
    """
    yard = yard_of(book, trial)
    found = book.find(yard.trial, entry_id)
    _reason(why)
    if found.trail.action == "withdrawn":
        raise EntryError(
            "it was withdrawn and no longer counts",
            field="id",
            value=entry_id,
            way_out=f"Restore it first: heapwright restore {found.id[:8]} --why REASON",
        )
    changes: dict[str, Any] = {}
    if value is not None:
        changes |= _new_value(found, value)
    changes |= _new_work(found, litres, minutes)
    if heap is not None:
        if isinstance(found, Weather):
            raise EntryError("the air belongs to no heap", field="heap", value=heap)
        changes["heap"] = yard.heap(heap)
    moment = yard.when(when, now=now) if when is not None else None
    same = all(getattr(found, k) == v for k, v in changes.items() if not k.startswith("typed"))
    if same and (moment is None or moment == found.when):
        raise EntryError(
            "nothing would change" if changes or moment else "say what is right",
            field="id",
            value=entry_id,
            way_out=f"It says: {describe(found)}. Give another value, --heap, --when or --litres",
        )
    made = next_version(found, "corrected", why=why.strip(), source=source, when=moment, **changes)
    return book.append(made, now=now)


def _new_value(entry: Entry, value: str) -> dict[str, Any]:
    if isinstance(entry, Event):
        raise EntryError(
            "what was done has no value",
            field="value",
            value=value,
            way_out="Correct its --litres, --minutes, --when or --heap, or withdraw it",
        )
    unit = entry.typed_unit or None
    if entry.kind == "sample":
        kept, _ = sample_value(
            entry.quantity, value, basis=getattr(entry, "basis", ""), field="value", unit=unit
        )
    else:
        kept = parse(value, entry.quantity, field="value", default_unit=unit).typical
    bare = value.strip()
    own = bare[-1:].upper() if bare[-1:].upper() in ("C", "F") else entry.typed_unit
    return {"value": kept, "typed": bare, "typed_unit": own}


def _new_work(entry: Entry, litres: str | None, minutes: str | None) -> dict[str, Any]:
    if litres is None and minutes is None:
        return {}
    if not isinstance(entry, Event):
        raise EntryError(
            "only what was done has litres and minutes",
            field="litres" if litres is not None else "minutes",
            value=litres if litres is not None else minutes,
            way_out="Give the right value instead",
        )
    out: dict[str, Any] = {}
    if litres is not None:
        out["water_l"] = parse(litres, "water_l", field="litres").typical
    if minutes is not None:
        out["minutes"] = parse(minutes, "minutes", field="minutes").typical
    words = [f"litres {litres}" if litres else "", f"minutes {minutes}" if minutes else ""]
    return out | {"typed": ", ".join(w for w in words if w)}


def withdraw(book: Book, trial: str | None, entry_id: str, *, why: str, now: datetime) -> Entry:
    """Take an entry out of account without deleting it; returns the new version.

    Raises `EntryError` without a reason or when it is withdrawn already, `UnknownNameError`.
    """
    found = book.find(pick_trial(book, trial), entry_id)
    _reason(why)
    if found.trail.action == "withdrawn":
        raise EntryError(
            "it is withdrawn already",
            field="id",
            value=entry_id,
            way_out=f"To count it again: heapwright restore {found.id[:8]} --why REASON",
        )
    made = next_version(found, "withdrawn", why=why.strip(), source="withdraw")
    return book.append(made, now=now)


def restore(book: Book, trial: str | None, entry_id: str, *, why: str, now: datetime) -> Entry:
    """Count a withdrawn entry again, as it stood; returns the new version.

    Raises `EntryError` without a reason or when it was not withdrawn, `UnknownNameError`.
    """
    found = book.find(pick_trial(book, trial), entry_id)
    _reason(why)
    if found.trail.action != "withdrawn":
        raise EntryError(
            "it counts already",
            field="id",
            value=entry_id,
            way_out="Only a withdrawn entry can be restored; to change it, correct it",
        )
    made = next_version(found, "restored", why=why.strip(), source="restore")
    return book.append(made, now=now)


def _reason(why: str) -> None:
    if not why.strip():
        raise EntryError(
            "a change needs its reason", field="why", way_out='Add --why "typed in degrees F"'
        )


def exchange_heaps(
    book: Book,
    trial: str | None,
    round_or_when: str | datetime,
    heap_a: str,
    heap_b: str,
    *,
    why: str,
    now: datetime,
) -> Exchanged:
    """Exchange the readings of two heaps in one round, in one transaction.

    Parameters
    ----------
    round_or_when : str or datetime
        Id of the round (or its first characters), or a time that only one round fits.

    Raises
    ------
    EntryError
        No or several rounds fit, one of the heaps was not read in it, or no reason is given.
    UnknownNameError
        There is no such heap.
    """
    yard = yard_of(book, trial)
    _reason(why)
    one, two = yard.heap(heap_a), yard.heap(heap_b)
    if one == two:
        raise EntryError("these are the same heap", field="heap", value=heap_b)
    readings = [
        r
        for r in book.current("reading", yard.trial)
        if r.heap.lower() in (one.lower(), two.lower())
    ]
    mine = _of_round(readings, round_or_when, yard, now)
    for name in (one, two):
        if all(r.heap.lower() != name.lower() for r in mine):
            raise EntryError(
                "this heap was not read in that round",
                field="heap",
                value=name,
                way_out="See the rounds in: heapwright history",
            )
    made: list[Reading] = []
    with book.write() as link:
        for reading in mine:
            other = two if reading.heap.lower() == one.lower() else one
            version = next_version(
                reading,
                "corrected",
                why=why.strip(),
                source="exchange",
                heap=other,
                pipe_distance_m=yard.place_of(other, reading.spot)[1],
            )
            assert isinstance(version, Reading)
            made.append(version)
            book.append(version, now=now, link=link)
    return Exchanged(tuple(made), (one, two), mine[0].when.low)


def _of_round(
    readings: Sequence[Reading], wanted: str | datetime, yard: Yard, now: datetime
) -> list[Reading]:
    """The readings of the one round meant."""
    groups: dict[str, list[Reading]] = {}
    for reading in readings:
        groups.setdefault(reading.round or reading.when.low.isoformat(), []).append(reading)
    text = str(wanted).strip()
    fits = [k for k, rs in groups.items() if text and (rs[0].round or "").startswith(text)]
    if not fits:
        moment = yard.when(wanted, now=now, field="round")
        fits = [
            k
            for k, rs in groups.items()
            if rs[0].when.low <= moment.high and rs[0].when.high >= moment.low
        ]
    if len(fits) == 1:
        return groups[fits[0]]
    ways = ", ".join(_round_words(groups[k][0], yard) for k in fits[:6])
    raise EntryError(
        f"{len(fits)} rounds fit" if fits else "no round of these heaps fits",
        field="round",
        value=text,
        way_out=f"Name one by its id: {ways}" if fits else "See them in: heapwright history",
    )


def _round_words(reading: Reading, yard: Yard) -> str:
    local = reading.when.low.astimezone(yard.zone)
    return f"{(reading.round or '')[:8]} of {local:%Y-%m-%d %H:%M}".strip()


def history(
    book: Book,
    trial: str | None,
    *,
    entry_id: str | None = None,
    heap: str | None = None,
    changed: bool = False,
) -> list[HistoryRow]:
    """Every version of every entry, or of one chain or one heap, oldest time first.

    changed : only chains that have more than one version. A chain belongs to a heap when any of
    its versions does. Raises `UnknownNameError` for no such trial, entry or heap.
    """
    yard = yard_of(book, trial)
    if entry_id is not None:
        root = book.find(yard.trial, entry_id).trail.root
        entries = [e for e in book.history(yard.trial, id=entry_id) if e.trail.root == root]
    else:
        entries = book.history(yard.trial)
    chains: dict[str, list[Entry]] = {}
    for entry in entries:
        chains.setdefault(entry.trail.root, []).append(entry)
    name = yard.heap(heap).lower() if heap is not None else None
    out: list[HistoryRow] = []
    for chain in sorted(chains.values(), key=lambda c: (c[0].when.low, c[0].kind, c[0].heap)):
        if name is not None and all(e.heap.lower() != name for e in chain):
            continue
        if changed and len(chain) < 2:
            continue
        chain = sorted(chain, key=lambda e: e.trail.version)
        last = chain[-1]
        out += [HistoryRow(e, e is last and e.trail.action != "withdrawn") for e in chain]
    return out
