"""What came out of each heap: dry mass, volume, water, carbon, nitrogen, minutes and money.

Units: kg, litres, m3, minutes; losses as fractions of what came in. Conventions: every number has a
range of nine in ten; the same loss by several methods stands side by side and the sums that follow
take the range that holds them all. What is missing is named with the cheapest measurement for it.
Comparisons between ways are those of the findings, never made here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from heapwright.domain.entries import Event, Weather
from heapwright.errors import NotEnoughError, QuantityError
from heapwright.science.balance import (
    Closure,
    Estimate,
    Together,
    carbon_from_organic,
    close,
    dry_mass_left,
    dry_mass_loss,
    fell_back,
    ground_covered,
    organic_loss,
    propagate,
    share_lost,
    together,
    water_held,
)
from heapwright.science.values import value
from heapwright.services.balancefacts import (
    Ends,
    Fact,
    amounts,
    ash_at_both,
    ends_of,
    known_of,
    losses,
    mix_fractions,
    volumes,
)
from heapwright.services.heapvalues import heap_outcomes
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.store.book import Book
from heapwright.units import Ranged, quantity

__all__ = ["HeapBalance", "Pay", "TrialBalance", "balance_of", "pay"]

_NOUGHT = Ranged.exact(0.0)


@dataclass(frozen=True, slots=True)
class Pay:
    """What an hour of work costs: with its range; before, after : the currency as it was typed."""

    hour: Ranged
    before: str = ""
    after: str = ""

    def money(self, text: str) -> str:
        """An amount with the currency where the keeper put it."""
        return f"{self.before}{text} {self.after}".strip()


@dataclass(frozen=True, slots=True)
class HeapBalance:
    """One heap. ends : what is known; loss, fallen : shares of dry matter and of volume lost, by
    every method; dry_first, dry_left, first_m3, left_m3 : over all methods; accounts : ash, water,
    carbon, nitrogen, by name; water : what came in, by source; minutes : in all; missing : (what
    cannot be told, what would give it); notes; barred : why losses are not told, in words."""

    ends: Ends
    loss: Together | None
    fallen: Together | None
    dry_first: Ranged | None
    dry_left: Ranged | None
    first_m3: Ranged | None
    left_m3: Ranged | None
    accounts: Mapping[str, Closure]
    water: Mapping[str, Ranged]
    minutes: float | None
    missing: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    barred: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Name of the heap."""
        return self.ends.heap.name

    @property
    def way(self) -> str:
        """Its way, "" without one."""
        return self.ends.heap.heap.way or ""

    @property
    def fell_back(self) -> tuple[str, ...]:
        """Days on which the loss by ash reads below an earlier one, in words."""
        if "ash_dm" not in self.ends.first or not self.ends.ash_days:
            return ()
        first = self.ends.first["ash_dm"].value.typical
        names = [day for day, _ in self.ends.ash_days]
        return fell_back(names, [dry_mass_loss(first, ash) for _, ash in self.ends.ash_days])

    @property
    def minutes_per_m3(self) -> Ranged | None:
        """Minutes of work for a cubic metre of what is left."""
        if self.minutes is None or self.left_m3 is None:
            return None
        return propagate(lambda v: (self.minutes or 0.0) / v["m3"], {"m3": self.left_m3})

    def cost_per_m3(self, wage: Pay) -> Ranged | None:
        """Labour cost of a cubic metre of what is left, in the keeper's currency."""
        if self.minutes is None or self.left_m3 is None:
            return None
        known = {"m3": self.left_m3, "hour": wage.hour}
        return propagate(lambda v: (self.minutes or 0.0) / 60 * v["hour"] / v["m3"], known)


@dataclass(frozen=True, slots=True)
class TrialBalance:
    """All heaps of a trial; wage : what an hour costs, None where the keeper did not say;
    left_out : heaps that were lost; notes."""

    record: TrialRecord
    heaps: tuple[HeapBalance, ...]
    wage: Pay | None = None
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())

    @property
    def told(self) -> tuple[HeapBalance, ...]:
        """Heaps of which something of the end was measured."""
        return tuple(h for h in self.heaps if h.ends.left)


def pay(text: str) -> Pay:
    """What an hour of work costs, as typed: ``15``, ``EUR 15``, ``12-15 pounds``.

    Raises `QuantityError` where no amount stands, or one that cannot be.

    >>> pay("15 EUR").money("12"), pay("£14-16").hour.typical
    ('12 EUR', 15.0)
    """
    from heapwright.units import parse_number

    number = r"\d+(?:[.,]\d+)?"
    found = re.fullmatch(
        rf"\s*(?P<before>[^\d\s.,+-][^\d.,+-]{{0,11}})?(?P<a>{number})"
        rf"(?:\s*(?:-|–|to)\s*(?P<b>{number}))?\s*(?P<after>[^\d.,+-]{{0,12}})\s*",
        text,
    )
    if found is None or "per" in (found["after"] or "").lower().split():
        raise QuantityError(
            "no amount of money for an hour was found", field="per_hour", value=text,
            way_out="Write 15, or 15 EUR; the currency stays as typed",
        )  # fmt: skip
    low = parse_number(found["a"], field="per_hour")
    high = parse_number(found["b"], field="per_hour") if found["b"] else low
    for part in (low, high):
        quantity("money").check(part, field="per_hour", typed=text)
    if low > high:
        raise QuantityError(
            "the first number of a range must be the smaller one", field="per_hour", value=text,
            way_out="Write 12-15",
        )  # fmt: skip
    return Pay(Ranged((low + high) / 2, low, high), found["before"] or "", found["after"].strip())


def balance_of(
    book: Book, trial: str, *, heap: str | None = None, per_hour: str | None = None
) -> TrialBalance:
    """The balance of every heap of a trial, or of one.

    Raises `UnknownNameError` for no such trial or heap, `NotEnoughError` without a locked plan,
    `QuantityError` for a wage that cannot be.
    """
    record = load_record(book, trial)
    wage = pay(per_hour) if per_hour is not None and per_hour.strip() else None
    wanted = [record.heaps[record.plan.trial.heap(heap).name]] if heap else record.heaps.values()
    try:
        minutes, notes = heap_outcomes(record, "minutes")
    except NotEnoughError:
        minutes, notes = {}, []
    fractions = mix_fractions(record.plan.trial)
    shares = _shares(record)
    rain = tuple(w for w in book.current("weather", record.name) if w.quantity == "rain_mm")
    made = tuple(
        _heap(
            h, ends_of(h, record.plan.trial, fractions, share=shares.get(h.name)), rain,
            minutes.get(h.name),
        )
        for h in wanted if h.lost is None
    )  # fmt: skip
    lost = tuple(h.name for h in wanted if h.lost is not None)
    said = [n for n in notes if not heap or any(n.startswith(f"Heap {m.name}") for m in made)]
    return TrialBalance(record, made, wage, lost, tuple(said))


def _shares(record: TrialRecord) -> dict[str, float]:
    """Each heap's share of the plan's material: by planned volume, else as many parts as heaps."""
    heaps = record.plan.trial.heaps
    sizes = {h.name: h.volume_m3.typical for h in heaps if h.volume_m3 is not None}
    if len(sizes) < len(heaps):
        return dict.fromkeys((h.name for h in heaps), 1.0 / len(heaps)) if heaps else {}
    total = sum(sizes.values())
    return {name: size / total for name, size in sizes.items()}


# --- one heap -------------------------------------------------------------------------------------


def _heap(
    heap: HeapRecord, ends: Ends, rain: Sequence[Weather], minutes: float | None
) -> HeapBalance:
    """All sums of one heap."""
    added = _added(heap)
    loss, impossible = _possible(() if added else losses(ends))
    starts, finishes = amounts(ends, "first"), amounts(ends, "left")
    dry_first = together(starts).whole if starts else None
    dry_left = together(finishes).whole if finishes else None
    known = known_of(ends)
    by_ash = False
    if ash_at_both(ends) and (dry_first is None) != (dry_left is None):
        by_ash = True
        if dry_left is None and dry_first is not None:
            known["dry"] = dry_first
            dry_left = propagate(
                lambda v: dry_mass_left(v["dry"], v["first ash_dm"], v["left ash_dm"]), known
            )
        elif dry_left is not None:
            known["dry"] = dry_left
            dry_first = propagate(lambda v: v["dry"] * v["left ash_dm"] / v["first ash_dm"], known)
    accounts: dict[str, Closure] = {}
    water: dict[str, Ranged] = {}
    notes = [*ends.unusable]
    if dry_first is not None and dry_left is not None and ends.left and not added:
        if ash_at_both(ends) and not by_ash:
            accounts["ash"] = close(
                "ash", _part(ends, dry_first, "first", "ash_dm"),
                _part(ends, dry_left, "left", "ash_dm"), _NOUGHT,
            )  # fmt: skip
        carbon = _carbon(ends, dry_first, dry_left)
        if carbon is not None:
            accounts["carbon"] = carbon
        nitrogen = _nitrogen(ends, dry_first, dry_left)
        if nitrogen is not None:
            accounts["nitrogen"] = nitrogen
        water, said = _water_in(ends, dry_first, dry_left, rain)
        notes += said
        if water and "moisture_wb" in ends.left:
            accounts["water"] = _water(ends, dry_first, dry_left, water)
    fallen = [] if added else _fallen(ends)
    first_m3, left_m3 = volumes(ends, "first"), volumes(ends, "left")
    return HeapBalance(
        ends=ends,
        loss=together(loss) if loss else None,
        fallen=together(fallen) if fallen else None,
        dry_first=dry_first,
        dry_left=dry_left,
        first_m3=together(first_m3).whole if first_m3 else None,
        left_m3=together(left_m3).whole if left_m3 else None,
        accounts=accounts,
        water=water,
        minutes=minutes,
        missing=(*_weigh_more(added), *_missing(ends, bool(loss) or bool(added), minutes)),
        notes=tuple(notes),
        barred=(*added, *impossible),
    )


def _part(ends: Ends, dry: Ranged, end: str, key: str) -> Ranged:
    """Kilograms of something that is a fraction of the dry mass."""
    held = ends.first if end == "first" else ends.left
    return propagate(lambda v: v["dry"] * v["part"], {"dry": dry, "part": held[key].value})


def _fallen(ends: Ends) -> list[Estimate]:
    """Volume lost [fraction], by one method at both ends where there is one."""
    starts = {e.name: e.value for e in volumes(ends, "first")}
    finishes = {e.name: e.value for e in volumes(ends, "left")}
    same = [m for m in finishes if m in starts]
    made = [
        Estimate(
            m,
            share_lost(ends.first["barrows"].value, ends.left["barrows"].value)
            if m == "barrow" else share_lost(starts[m], finishes[m]),
        )
        for m in same
    ]  # fmt: skip
    if not made:
        made = [
            Estimate(f"{a} at first, {b} at the end", share_lost(x, y))
            for a, x in starts.items() for b, y in finishes.items()
        ]  # fmt: skip
    return made


def _carbon_at(ends: Ends, end: str) -> tuple[Ranged, bool] | None:
    """Carbon [fraction of dry matter] at one end, and whether it was measured."""
    held = ends.first if end == "first" else ends.left
    if "carbon_dm" in held and held["carbon_dm"].own:
        return held["carbon_dm"].value, True
    if "ash_dm" in held and held["ash_dm"].own and held["ash_dm"].value.high < 1:
        return carbon_from_organic(held["ash_dm"].value), False
    if "carbon_dm" in held:
        return held["carbon_dm"].value, False
    return None


def _carbon(ends: Ends, dry_first: Ranged, dry_left: Ranged) -> Closure | None:
    """Carbon: where it was measured at both ends, held against the organic matter lost by ash."""
    first, left = _carbon_at(ends, "first"), _carbon_at(ends, "left")
    if first is None or left is None:
        return None
    known = {"in": dry_first, "c in": first[0], "left": dry_left, "c left": left[0]}
    came = propagate(lambda v: v["in"] * v["c in"], known)
    stays = propagate(lambda v: v["left"] * v["c left"], known)
    if not (first[1] and left[1] and ash_at_both(ends)):
        return close("carbon", came, stays)
    known |= {
        "x": ends.first["ash_dm"].value, "y": ends.left["ash_dm"].value,
        "ratio": value("mixing", "vs_per_carbon").ranged,
    }  # fmt: skip

    def went(v: Mapping[str, float]) -> float:
        return v["in"] * (1 - v["x"]) * organic_loss(v["x"], v["y"]) / v["ratio"]

    out = propagate(went, known)
    rest = propagate(lambda v: v["in"] * v["c in"] - went(v) - v["left"] * v["c left"], known)
    return close("carbon", came, stays, out, rest=rest)


def _nitrogen(ends: Ends, dry_first: Ranged, dry_left: Ranged) -> Closure | None:
    """Nitrogen, measured or worked out from carbon and a measured C:N."""
    sides = []
    for end, dry in (("first", dry_first), ("left", dry_left)):
        held = ends.first if end == "first" else ends.left
        carbon = _carbon_at(ends, end)
        ratio = held.get("cn_ratio")
        own = "nitrogen_dm" in held and held["nitrogen_dm"].own
        if not own and ratio is not None and carbon is not None:
            known = {"dry": dry, "c": carbon[0], "ratio": ratio.value}
            sides.append(propagate(lambda v: v["dry"] * v["c"] / v["ratio"], known))
        elif "nitrogen_dm" in held:
            sides.append(_part(ends, dry, end, "nitrogen_dm"))
        else:
            return None
    return close("nitrogen", sides[0], sides[1])


# --- water ----------------------------------------------------------------------------------------


def _water(ends: Ends, dry_first: Ranged, dry_left: Ranged, water: Mapping[str, Ranged]) -> Closure:
    """Water that came in less what is left: what went with the air and into the ground."""
    known = {
        "dry": dry_first, "wet": ends.first["moisture_wb"].value, "left": dry_left,
        "wet left": ends.left["moisture_wb"].value, "given": water["given"],
        "rain": water.get("rain", _NOUGHT), "kg": value("balance", "water_from_rotting").ranged,
    }  # fmt: skip

    def came(v: Mapping[str, float]) -> float:
        made = max(0.0, v["dry"] - v["left"]) * v["kg"]
        return water_held(v["dry"], v["wet"]) + v["given"] + v["rain"] + made

    def stays(v: Mapping[str, float]) -> float:
        return water_held(v["left"], v["wet left"])

    return close(
        "water", propagate(came, known), propagate(stays, known),
        rest=propagate(lambda v: came(v) - stays(v), known),
    )  # fmt: skip


def _water_in(
    ends: Ends, dry_first: Ranged, dry_left: Ranged, rain: Sequence[Weather]
) -> tuple[dict[str, Ranged], list[str]]:
    """Water that came in [kg, that is litres] by source, and what must be said of it."""
    if "moisture_wb" not in ends.first:
        return {}, []
    wet = ends.first["moisture_wb"]
    known = {"dry": dry_first, "wet": wet.value, "left": dry_left}
    made = {"in what was built": propagate(lambda v: water_held(v["dry"], v["wet"]), known)}
    given, notes = _given(ends)
    made["given"] = given
    caught, said = _rain(ends, rain)
    if caught is not None:
        made["rain"] = caught
    known["kg"] = value("balance", "water_from_rotting").ranged
    rot = propagate(lambda v: max(0.0, v["dry"] - v["left"]) * v["kg"], known)
    made["made by rotting"] = Ranged(rot.typical, max(0.0, rot.low), rot.high)
    return made, [*notes, *said]


def _given(ends: Ends) -> tuple[Ranged, list[str]]:
    """Litres given after the first moisture was taken and before the last."""
    heap, wet = ends.heap, ends.first["moisture_wb"]
    last = ends.left["moisture_wb"].when if "moisture_wb" in ends.left else None
    until = last.middle if last is not None else ends.left_on
    mine = [e for e in heap.events if e.what == "watered" and not _after(e, until)]
    bare = [e for e in mine if e.water_l is None]
    notes = []
    if bare:
        notes.append(f"{len(bare)} of {len(mine)} waterings have no litres, so water in is too low")
    if not wet.own or wet.when is None:
        return Ranged.exact(sum(e.water_l or 0.0 for e in mine)), notes
    low = high = 0.0
    for event in mine:
        litres = event.water_l or 0.0
        if event.when.low > wet.when.high:
            low, high = low + litres, high + litres
        elif event.when.high >= wet.when.low:
            high += litres  # before or after the sample, nobody knows
    if high > low:
        notes.append(
            f"{high - low:.0f} L were given about when the first moisture was taken: "
            "before or after is not known"
        )
    return Ranged((low + high) / 2, low, high), notes


def _after(event: Event, until: datetime | None) -> bool:
    return until is not None and event.when.middle > until


def _rain(ends: Ends, rain: Sequence[Weather]) -> tuple[Ranged | None, list[str]]:
    """Rain on the ground under a heap: none to all of it soaks in; None where nobody read any."""
    heap = ends.heap
    if heap.built is None or ends.left_on is None:
        return None, []
    mm = sum(w.value for w in rain if heap.built <= w.when.middle <= ends.left_on)
    if not rain:
        return None, ["rain is not counted: none stands in the book"]
    first = volumes(ends, "first")
    if not first or heap.heap.shape is None or heap.heap.height_m is None:
        return None, [f"{mm:.0f} mm of rain are not counted: the plan has no shape and height"]
    ground = ground_covered(
        heap.heap.shape, together(first).whole.typical, heap.heap.height_m
    )  # fmt: skip
    most = mm * ground.high
    note = f"{mm:.0f} mm of rain fell; none to all of it is taken to have soaked in"
    return Ranged(mm * ground.typical / 2, 0.0, most), [note]


def _added(heap: HeapRecord) -> list[str]:
    """What was put on later and has no amount in the book: then no loss can be told."""
    count = sum(1 for e in heap.events if e.what == "added")
    if not count:
        return []
    times = "once" if count == 1 else f"{count} times"
    return [f"material was added {times} after the build and the book holds no amount of it: what "
            "was lost since cannot be told"]  # fmt: skip


def _possible(found: Sequence[Estimate]) -> tuple[list[Estimate], list[str]]:
    """Losses that can be, and what is said of those below nought over their whole range."""
    said = [
        f"{e.name}: {100 * e.value.typical:.0f} % of dry matter lost, which cannot be: a sample "
        "that was not the whole heap, or something was added; left out"
        for e in found if e.value.high < 0
    ]  # fmt: skip
    return [e for e in found if e.value.high >= 0], said


def _weigh_more(added: Sequence[str]) -> tuple[tuple[str, str], ...]:
    if not added:
        return ()
    return (("dry matter lost", "next time: weigh, or count in barrows, what is added later"),)


# --- what is missing ------------------------------------------------------------------------------

#: what a first dry mass is weighed by
_WEIGHED = ("mass_kg", "dry_mass_kg", "barrows", "bulk_density_kg_m3")
_OVEN = (
    "about 200 g from five places of the heap, weighed, dried in an oven at 105 C, weighed again"
)
_BUCKET = "a bucket of known size, filled and settled always the same way, on a kitchen scale"
_ASH = (
    "ash from a laboratory, the cheapest of its tests, at both ends; it needs no scale in the yard"
)


def _missing(ends: Ends, told: bool, minutes: float | None) -> tuple[tuple[str, str], ...]:
    """What cannot be told, and the cheapest measurement that would give it."""
    left, first = ends.left, ends.first
    if not left:
        return (("what is left", "the tape: width, length and height of the heap now"),)
    rows: list[tuple[str, str]] = []
    if not told:
        if not amounts(ends, "left"):
            rows.append(("dry matter left", _cheapest(ends, left)))
        if not amounts(ends, "first"):
            rows.append(("dry matter at first", _cheapest(ends, first)))
    elif not (_own(first, "ash_dm") or any(_own(first, key) for key in _WEIGHED)):
        rows.append(("dry matter at first, but from the plan", f"next time: {_BUCKET}"))
    if not volumes(ends, "left"):
        rows.append(("volume left", "the tape: width, length and height of the heap"))
    if not (_own(first, "ash_dm") and _own(left, "ash_dm")):
        rows.append(("whether the dry mass adds up", _ASH))
    if amounts(ends, "left") or ash_at_both(ends):
        if "moisture_wb" not in left:
            rows.append(("water left", _OVEN))
        if "nitrogen_dm" not in left and not ("cn_ratio" in left and _carbon_at(ends, "left")):
            rows.append(("nitrogen left", "nitrogen from a laboratory, once at the end"))
        if _carbon_at(ends, "left") is None:
            rows.append(("carbon left", "ash from a laboratory: carbon follows from it"))
    if minutes is None:
        rows.append(("minutes of work", "the clock: minutes noted with each turn and watering"))
    return tuple(rows)


def _own(held: Mapping[str, Fact], key: str) -> bool:
    return key in held and held[key].own


def _cheapest(ends: Ends, held: Mapping[str, Fact]) -> str:
    """The least that is lacking for a dry mass at one end."""
    wet = "moisture_wb" in held
    if "mass_kg" in held and not wet:
        return _OVEN
    if "volume_m3" in held or ("barrows" in held and ends.barrow_m3 is not None):
        lacking = [x for x, there in ((_BUCKET, "bulk_density_kg_m3" in held), (_OVEN, wet))
                   if not there]  # fmt: skip
        return "; ".join(lacking)
    return "; ".join(["the tape: width, length and height", _BUCKET, *([] if wet else [_OVEN])])
