"""Enter what was done to heaps and what was measured of them: events and samples.

Units: water in litres, work in minutes; samples in the unit of their register row.
Conventions: "about Tuesday" stays an interval; moisture on dry basis is turned into wet basis and
said; text, method and basis stay as given. The same entry sent twice is one entry.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from datetime import datetime

from heapwright.domain.entries import EVENT_KINDS, Event, Sample, Trail
from heapwright.errors import EntryError
from heapwright.services import finishentry
from heapwright.services.damp import refuse_dry
from heapwright.services.log import Logged, check_id, made_id
from heapwright.services.yard import Yard, yard_of
from heapwright.store.book import Book
from heapwright.units import REGISTER, parse, show

__all__ = [
    "EVENT_WORDS",
    "SAMPLE_WORDS",
    "event_kind",
    "log_event",
    "log_sample",
    "sample_quantity",
    "sample_value",
]

#: Words people use for what is done, beside the keys of `EVENT_KINDS`.
EVENT_WORDS: dict[str, str] = {
    "build": "built", "add": "added", "turn": "turned", "water": "watered", "watering": "watered",
    "wetted": "watered", "turning": "turned", "cover": "covered", "uncover": "uncovered",
    "opened": "vent opened", "pipes opened": "vent opened", "vents opened": "vent opened",
    "plugged": "vent plugged", "pipes plugged": "vent plugged", "vents plugged": "vent plugged",
    "pulled": "vent pulled", "pipes pulled": "vent pulled", "vents pulled": "vent pulled",
    "blower on": "air on", "blower off": "air off", "material added": "added",
    "cover taken off": "uncovered", "heap lost": "lost", "photo taken": "photo",
}  # fmt: skip

#: Friendly names of what a sample measures.
SAMPLE_WORDS: dict[str, str] = {
    "moisture": "moisture_wb", "water content": "moisture_wb", "mc": "moisture_wb",
    "carbon": "carbon_dm", "c": "carbon_dm", "nitrogen": "nitrogen_dm", "n": "nitrogen_dm",
    "cn": "cn_ratio", "c:n": "cn_ratio", "c/n": "cn_ratio", "c/n ratio": "cn_ratio",
    "ash": "ash_dm", "volatile solids": "vs_dm", "volume": "volume_m3", "mass": "mass_kg",
    "weight": "mass_kg", "dry mass": "dry_mass_kg", "dry weight": "dry_mass_kg",
    "height": "length_m", "depth": "length_m", "bulk density": "bulk_density_kg_m3",
    "density": "bulk_density_kg_m3", "free air": "free_air_frac",
    "free air space": "free_air_frac", "oxygen": "o2_frac", "carbon dioxide": "co2_frac",
    "ph": "ph", "temperature": "temp_c", "leafiness": "leafiness", "count": "count",
    "duration": "duration_d", "air temperature": "air_temp_c",
    "seedlings": "came_up", "seedlings up": "came_up", "germination": "came_up",
    "microbes in a field": "microbes", "cells": "microbes", **finishentry.WORDS,
    "lightness": "colour_l", "d10": "particle_d10_mm", "d50": "particle_d50_mm",
    "d90": "particle_d90_mm",
    "hyphae": "hyphae_mm", "hyphae in a field": "hyphae_mm", "hypha diameter": "hypha_um",
}  # fmt: skip
#: Quantities counted out of something: the share is kept, and what it was counted out of beside it.
OUT_OF = ("came_up",)
#: Quantities counted in many places of one sample, each an entry with a part of its own.
BY_PART = ("microbes", "hyphae_mm", "hypha_um")
#: How far litres may lie from minutes times flow before they contradict each other.
_AGREE = 0.25


def event_kind(words: str) -> str:
    """The key of `EVENT_KINDS` meant by *words*; raises `EntryError` naming near or all kinds.

    >>> event_kind("Turn"), event_kind("pipes opened")
    ('turned', 'vent opened')
    """
    typed = " ".join(words.lower().replace("-", " ").replace("_", " ").split())
    if typed in EVENT_KINDS:
        return typed
    if typed in EVENT_WORDS:
        return EVENT_WORDS[typed]
    near = difflib.get_close_matches(typed, [*EVENT_KINDS, *EVENT_WORDS], n=2)
    raise EntryError(
        "nothing of that name is done to a heap",
        field="event",
        value=words,
        way_out=f"Did you mean {' or '.join(near)}"
        if near
        else "One of " + ", ".join(EVENT_KINDS) + "; anything else is a note",
    )


def sample_quantity(words: str) -> str:
    """The registered quantity meant by *words* (a key or a friendly name); or `EntryError`.

    >>> sample_quantity("moisture"), sample_quantity("carbon_dm")
    ('moisture_wb', 'carbon_dm')
    """
    typed = " ".join(words.lower().split())
    if typed in REGISTER:
        return typed
    if typed.replace("_", " ") in SAMPLE_WORDS:
        return SAMPLE_WORDS[typed.replace("_", " ")]
    near = difflib.get_close_matches(typed, [*SAMPLE_WORDS, *REGISTER], n=3)
    raise EntryError(
        "nothing of that name is measured",
        field="quantity",
        value=words,
        way_out=f"Did you mean {' or '.join(near)}"
        if near
        else "For instance moisture, carbon, nitrogen, volume, mass or height",
    )


def log_event(
    book: Book,
    trial: str | None,
    heaps: Sequence[str],
    what: str,
    *,
    now: datetime,
    when: str | datetime | None = None,
    litres: str | None = None,
    minutes: str | None = None,
    flow: str | None = None,
    who: str = "",
    note: str = "",
    entry_id: str | None = None,
    source: str = "log",
    new: bool = False,
) -> Logged:
    """Enter something done to one or several heaps (``["all"]`` for every heap).

    Parameters
    ----------
    litres, minutes, flow : str, optional
        As written, with units or without (litres, minutes, L/min); they hold for each heap.
        Litres follow from minutes and flow; the flow of the plan is used when none is given.
    when : str or datetime, optional
        As exactly as it is known; "about Tuesday" is kept as an interval.
    entry_id : str, optional
        Made by the enterer; with several heaps each heap's id follows from it.

    Raises
    ------
    EntryError
        An unknown kind, water that contradicts minutes times flow, or no heap.
    UnknownNameError, QuantityError, InputError
        A heap, a number or a time that cannot stand.
    """
    yard = yard_of(book, trial, new=new)
    kind = event_kind(what)
    names = _heaps(yard, heaps)
    moment = yard.when(when, now=now)
    water, mins, typed, remarks = _water(yard, kind, litres, minutes, flow)
    if kind == "note" and not note.strip():
        raise EntryError("a note without words says nothing", field="note", way_out="Add --note")
    if entry_id:
        check_id(entry_id)
    content = (moment.low, moment.high, kind, typed, note.strip())
    entries = tuple(
        Event(
            _event_id(yard, entry_id, heap, len(names), content),
            yard.trial, heap, moment, kind, water_l=water, minutes=mins, who=who.strip(),
            typed=typed, note=note.strip(), trail=Trail("", source=source),
        )
        for heap in names
    )  # fmt: skip
    added = book.add(entries, now=now, make_heaps=new)
    return Logged(yard.trial, entries, added, remarks)


def log_sample(
    book: Book,
    trial: str | None,
    heap: str,
    what: str,
    value: str,
    *,
    now: datetime,
    when: str | datetime | None = None,
    part: str = "whole",
    method: str = "",
    basis: str = "",
    note: str = "",
    entry_id: str | None = None,
    source: str = "log",
    new: bool = False,
) -> Logged:
    """Enter what a kitchen or laboratory test of a heap gave.

    Parameters
    ----------
    what : str
        A registered quantity or a friendly name (moisture, carbon, volume, mass, height ...).
    value : str
        As written, with its unit: ``45 %``, ``1.1 m3``, ``3 ft``; ``7 of 10`` for seedlings.
    basis : str
        ``wet`` or ``dry`` for moisture; the seeds sown for seedlings (kept as ``of 10``); kept as
        given for everything else.

    Raises
    ------
    EntryError, QuantityError, UnknownNameError, InputError
        A name, value, basis or time that cannot stand.
    """
    yard = yard_of(book, trial, new=new)
    key = sample_quantity(what)
    name = yard.heap(heap)
    moment = yard.when(when, now=now)
    part = part.strip() or "whole"
    if key in BY_PART and part == "whole":
        raise EntryError(
            "each field is counted by itself, or two that count alike would be taken for one",
            field="part",
            value=part,
            way_out='Name the field, as in --part "field 1"',
        )
    kept, remark = sample_value(key, value, basis=basis, field=what)
    refuse_dry(book, yard.trial, name, key, value, moment.middle, method=method)
    if key in OUT_OF:
        basis = f"of {out_of(value) or out_of(basis):g}"
    content = (yard.trial.lower(), name.lower(), moment.low, moment.high, key, part, value.strip())
    entry = Sample(
        check_id(entry_id) if entry_id else made_id("sample", *content),
        yard.trial, name, moment, key, kept, typed=value.strip(), part=part,
        method=method.strip(), basis=basis.strip(), note=note.strip(),
        trail=Trail("", source=source),
    )  # fmt: skip
    added = book.add([entry], now=now, make_heaps=new)
    return Logged(yard.trial, (entry,), added, (remark,) if remark else ())


def sample_value(
    key: str, value: str, *, basis: str = "", field: str | None = None, unit: str | None = None
) -> tuple[float, str]:
    """A sample's value in the unit of its register row, and what must be said about it.

    Moisture on dry basis becomes wet basis. Raises `EntryError` for an unknown basis of moisture
    and `QuantityError` for a value that cannot stand.

    >>> value, said = sample_value("moisture_wb", "50 %", basis="dry")
    >>> round(value, 4), said
    (0.3333, '50 % on dry basis is 33 % of the wet mass')
    """
    if key == "moisture_wb" and basis.strip().lower() not in ("", "wet", "dry"):
        raise EntryError(
            "moisture is on wet or on dry basis",
            field="basis",
            value=basis,
            way_out="Write wet (of the wet mass) or dry (of the dry mass)",
        )
    if key in OUT_OF:
        return _share(key, value, basis, field or key), ""
    if key in finishentry.READERS:
        return finishentry.read_test(key, value, basis=basis, field=field, unit=unit)
    if key == "moisture_wb" and basis.strip().lower() == "dry":
        over_dry = parse(value, "ratio", field=field, default_unit=unit).typical
        wet = over_dry / (1 + over_dry)
        said = f"{over_dry * 100:.0f} % on dry basis is {show(wet, key)} of the wet mass"
        return wet, said
    return parse(value, key, field=field or key, default_unit=unit).typical, ""


def out_of(text: str) -> float:
    """The number something was counted out of, as in ``7 of 10`` or ``of 10``; 0 if none stands.

    >>> out_of("7 of 10"), out_of("7")
    (10.0, 0.0)
    """
    found = re.fullmatch(r"\s*(?:\d+)?\s*(?:of|/)\s*(\d+)\s*(?:seeds?|sown)?\s*", text)
    return float(found[1]) if found else 0.0


def _share(key: str, value: str, basis: str, field: str) -> float:
    """The share of ``7 of 10``, or of ``7`` with a basis of ``of 10``."""
    total = out_of(value) or out_of(basis)
    counted = re.match(r"\s*(\d+)", value)
    if not total or counted is None or float(counted[1]) > total:
        raise EntryError(
            "seedlings are counted out of the seeds sown",
            field=field,
            value=value,
            way_out="Write 7 of 10, one dish or pot at a time (with --part)",
        )
    return float(counted[1]) / total


def _heaps(yard: Yard, typed: Sequence[str]) -> list[str]:
    """Heap names in the spelling of the trial; each word is a name, or ``all``."""
    if not typed:
        raise EntryError("say which heap", field="heap", way_out="For instance A, or all")
    if [t.lower() for t in typed] == ["all"] and yard.heaps:
        return list(yard.heaps)
    whole = " ".join(typed)
    if any(whole.lower() == h.lower() for h in yard.heaps):
        return [yard.heap(whole)]
    names = [yard.heap(n) for t in typed for n in t.split(",") if n.strip()]
    return list(dict.fromkeys(names))


def _water(
    yard: Yard, kind: str, litres: str | None, minutes: str | None, flow: str | None
) -> tuple[float | None, float | None, str, tuple[str, ...]]:
    """Litres, minutes, text as typed, and remarks."""
    given = (("litres", litres), ("minutes", minutes), ("flow", flow))
    typed = ", ".join(f"{name} {text.strip()}" for name, text in given if text)
    water = parse(litres, "water_l", field="litres").typical if litres else None
    mins = parse(minutes, "minutes", field="minutes").typical if minutes else None
    rate = parse(flow, "flow_l_min", field="flow").typical if flow else None
    if kind != "watered":
        if water is not None or rate is not None:
            raise EntryError(
                f"water is given, but what was done is: {kind}",
                field="litres",
                value=litres or flow,
                way_out="Enter the watering by itself: heapwright log watered",
            )
        return None, mins, typed, ()
    if rate is not None and mins is None:
        raise EntryError(
            "a flow without minutes gives no litres",
            field="flow",
            value=flow,
            way_out="Add --minutes, or give --litres",
        )
    if water is not None and rate is not None and mins is not None:
        if abs(rate * mins - water) > _AGREE * max(water, rate * mins):
            raise EntryError(
                f"{mins:g} minutes at {rate:g} L/min are {rate * mins:g} litres",
                field="litres",
                value=litres,
                way_out="Leave one of the three out",
            )
    elif water is None and mins is not None:
        rate = rate or yard.flow_l_min
        if rate is not None:
            water = rate * mins
            return water, mins, typed, (f"{mins:g} min at {rate:g} L/min: {water:g} litres",)
    if water is None:
        return None, mins, typed, ("litres unknown: give --litres, or --minutes and --flow",)
    return water, mins, typed, ()


def _event_id(
    yard: Yard, entry_id: str | None, heap: str, heaps: int, content: tuple[object, ...]
) -> str:
    if entry_id is None:
        return made_id("event", yard.trial.lower(), heap.lower(), *content)
    return entry_id if heaps == 1 else made_id("event", entry_id, heap.lower())
