"""Enter what was seen under a microscope, field by field, and how the slide was made.

Units: lengths in a field in mm, diameters in um, areas in mm2, as typed with any fitting unit.
Conventions: a field is one sample of cells and one of hyphae, every piece of hypha one of its
diameter, all with the field as their part; how the slide was made stands in their method, so that
each entry can be read by itself. All fields of a call are written together or not at all.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from heapwright.domain.entries import Sample, Trail
from heapwright.domain.when import When
from heapwright.errors import EntryError, HeapwrightError
from heapwright.science.microscopy import coccus_volume, crossed_length, rod_volume
from heapwright.services.log import Logged, check_id, made_id
from heapwright.services.yard import Yard, yard_of
from heapwright.store.book import Book
from heapwright.units import parse, parse_number

__all__ = [
    "SLIDE_WORDS",
    "FieldSeen",
    "Slide",
    "last_slide",
    "log_fields",
    "read_field",
    "read_slide",
    "read_slide_method",
]

#: most fields taken at once, and pieces of hypha in one
_MOST_FIELDS, _MOST_PIECES = 200, 400
_NUMBER = r"\d+(?:[.,]\d+)?"
#: what a slide is described by: key in the method, its name on screen, how to write it
SLIDE_WORDS: dict[str, tuple[str, str]] = {
    "field": ("Size of a field", "its diameter, as in 0.45 mm, or its area, as in 0.16 mm2"),
    "cover": ("Cover slip", "18 x 18 mm, or 324 mm2"),
    "drop": ("Drop under it", "0.05 mL"),
    "dilution": ("Compost in water", "1 g to 100 mL; then 1:10 where diluted again"),
    "grid": ("Lines of the grid in a field", "their length together, as in 4 mm"),
    "cell": ("Size of the cells", "rod 1.2 x 0.6 um, or round 0.8 um; several with a comma"),
    "dry": ("Dry matter", "45 %; else from a moisture test of the heap"),
    "stain": ("Stain", "none, or its name; FDA shows what is active"),
}


@dataclass(frozen=True, slots=True)
class Slide:
    """How a slide was made; None where nobody said.

    typed : as written, by the keys of `SLIDE_WORDS`; field_mm2, cover_mm2 : areas; drop_ml;
    ml_per_g : suspension that holds a gram of fresh compost; grid_mm : lines in a field together;
    cell_um3 : mean volume of a cell; dry_share : dry matter over fresh mass; stain.
    """

    typed: Mapping[str, str] = field(default_factory=dict, hash=False)
    field_mm2: float | None = None
    cover_mm2: float | None = None
    drop_ml: float | None = None
    ml_per_g: float | None = None
    grid_mm: float | None = None
    cell_um3: float | None = None
    dry_share: float | None = None
    stain: str = ""

    @property
    def method(self) -> str:
        """As it is kept with every sample."""
        return "; ".join(f"{k} {self.typed[k]}" for k in SLIDE_WORDS if self.typed.get(k))

    @property
    def share(self) -> tuple[float | None, ...]:
        """What decides how much of a gram a field shows."""
        return self.field_mm2, self.cover_mm2, self.drop_ml, self.ml_per_g

    @property
    def active(self) -> bool:
        """Whether only what lives was stained."""
        return "fda" in self.stain.lower()


@dataclass(frozen=True, slots=True)
class FieldSeen:
    """One field: cells, hyphae_mm : None where not looked at; pieces : (length mm, diameter um);
    crossings : counted with a grid, else None; typed : as written."""

    name: str
    cells: float | None = None
    hyphae_mm: float | None = None
    pieces: tuple[tuple[float, float], ...] = ()
    crossings: float | None = None
    typed: str = ""


# --- reading what was typed ----------------------------------------------------------------------


def read_slide(said: Mapping[str, str]) -> Slide:
    """A slide from what was typed, by the keys of `SLIDE_WORDS`; empty ones are not known.

    Raises `EntryError` or `QuantityError` naming the field.

    >>> slide = read_slide({"field": "0.45 mm", "cover": "18 x 18 mm", "dilution": "1 g to 9 mL, "
    ...                     "then 1:10", "cell": "rod 1.2 x 0.6 um, round 0.8 um"})
    >>> round(slide.field_mm2, 3), slide.cover_mm2, round(slide.ml_per_g), round(slide.cell_um3, 3)
    (0.159, 324.0, 90, 0.275)
    """
    typed = {k: " ".join(v.replace(";", ",").split()) for k, v in said.items()
             if k in SLIDE_WORDS and v.strip()}  # fmt: skip

    def one(key: str, quantity: str) -> float | None:
        return parse(typed[key], quantity, field=key).typical if key in typed else None

    return Slide(
        typed,
        field_mm2=_area(typed["field"], "field") if "field" in typed else None,
        cover_mm2=_area(typed["cover"], "cover") if "cover" in typed else None,
        drop_ml=one("drop", "drop_ml"),
        ml_per_g=_dilution(typed["dilution"]) if "dilution" in typed else None,
        grid_mm=one("grid", "hyphae_mm"),
        cell_um3=_cell(typed["cell"]) if "cell" in typed else None,
        dry_share=one("dry", "dry_share") if "dry" in typed else None,
        stain=typed.get("stain", ""),
    )


def read_slide_method(method: str) -> Slide:
    """The slide that a sample's method tells of; what it does not tell is not known.

    >>> read_slide_method("field 0.16 mm2; stain FDA").active
    True
    """
    said = {}
    for part in method.split("; "):
        key, _, text = part.partition(" ")
        said[key] = text
    try:
        return read_slide(said)
    except HeapwrightError:  # a method of somebody else's words
        return Slide()


def _area(text: str, key: str) -> float:
    """An area [mm2] from sides, a square unit, or the diameter of a circle."""
    sides = re.fullmatch(rf"({_NUMBER})\s*(\D*?)\s*[x×]\s*({_NUMBER}\s*\D*)", text)
    if sides:
        unit = sides[2] or re.sub(_NUMBER, "", sides[3], count=1).strip()
        first = parse(f"{sides[1]} {unit}", "hyphae_mm", field=key).typical
        area = first * parse(sides[3], "hyphae_mm", field=key).typical
    elif re.search(r"(2|²)\s*$", text) and not re.fullmatch(_NUMBER, text):
        area = parse(text, "slide_mm2", field=key).typical
    elif key == "cover" and not text.endswith("round"):
        raise EntryError("one length does not say whether it is square or round", field=key,
                         value=text, way_out="Write 18 x 18 mm, or 25 mm round")  # fmt: skip
    else:
        across = parse(text.removesuffix("round"), "hyphae_mm", field=key).typical
        area = math.pi * across**2 / 4
    return parse(area, "slide_mm2", field=key).typical


def _dilution(text: str) -> float:
    """Suspension that holds a gram [mL/g], over all steps: ``1 g to 9 mL, then 1:10``."""
    first, *steps = [p.strip() for p in re.split(r",\s+|\bthen\b", text) if p.strip(" ,")]
    made = re.fullmatch(rf"({_NUMBER})\s*g\s*(?:in|to|made up to)\s*(.+)", first)
    if made:
        grams = parse_number(made[1], field="dilution")
        litres = parse(made[2], "water_l", field="dilution", default_unit="ml").typical
        found = 1e3 * litres / grams if grams else math.inf
    else:
        found = parse(first, "dilution_ml_g", field="dilution").typical
    for step in steps:
        times = re.fullmatch(rf"1\s*[:/]\s*({_NUMBER})", step)
        if times is None:
            raise EntryError("a further dilution is one part to so many", field="dilution",
                             value=step, way_out="Write: 1 g to 9 mL, then 1:10")  # fmt: skip
        found *= parse_number(times[1], field="dilution")
    return parse(found, "dilution_ml_g", field="dilution").typical


def _cell(text: str) -> float:
    """Mean volume [um3] of cells named one by one: ``rod 1.2 x 0.6 um, round 0.8 um``."""
    found = []
    for part in re.split(r",\s+", text):
        said = re.fullmatch(
            rf"(?:(rod|round|coccus)\s+)?({_NUMBER})\s*(?:um|µm|μm)?"
            rf"(?:\s*[x×]\s*({_NUMBER})\s*(?:um|µm|μm)?)?", part.strip(), re.IGNORECASE,
        )  # fmt: skip
        kind = (said[1] or ("rod" if said[3] else "")).lower() if said else ""
        if said is None or kind == "" or (kind == "rod") != bool(said[3]):
            raise EntryError("the size of a cell is not clear", field="cell", value=part,
                             way_out="Write rod 1.2 x 0.6 um, or round 0.8 um")  # fmt: skip
        sizes = [
            parse(parse_number(s, field="cell"), "hypha_um", field="cell").typical
            for s in (said[2], said[3]) if s
        ]  # fmt: skip
        found.append(rod_volume(*sizes) if kind == "rod" else coccus_volume(sizes[0]))
    return sum(found) / len(found)


def read_field(line: str, name: str, slide: Slide) -> FieldSeen:
    """One field from a line such as ``12 cells; 0.4 mm at 4 um; 1.1 mm at 6 um``.

    Parts are parted by semicolons: so many cells, pieces of hypha with length and diameter (mm and
    um where no unit stands), a length alone, crossings with the grid, ``no cells``, ``no hyphae``.
    ``field 3:`` in front names the field. Raises `EntryError` for anything else.

    >>> seen = read_field("field 2: 12 cells; 0.4 mm at 4 um; 1.1 at 6", "field 1", Slide())
    >>> seen.name, seen.cells, round(seen.hyphae_mm, 2), seen.pieces
    ('field 2', 12.0, 1.5, ((0.4, 4.0), (1.1, 6.0)))
    """
    named = re.match(r"\s*(field\s+[^:;]{1,20}):", line, re.IGNORECASE)
    if named:
        name, line = " ".join(named[1].lower().split()), line[named.end() :]
    cells: float | None = None
    crossings: float | None = None
    lengths: list[float] = []
    pieces: list[tuple[float, float]] = []
    empty = False
    for part in (p.strip() for p in line.split(";")):
        if not part:
            continue
        bare = re.sub(r"^(?:hypha|hyphae)\s+|\s+(?:of\s+)?(?:hypha|hyphae)$", "", part)
        counted = re.fullmatch(r"(no|\d+)\s*(?:cells?|microbes?)?", part, re.IGNORECASE)
        crossed = re.fullmatch(r"(no|\d+)\s*crossings?", part, re.IGNORECASE)
        if re.fullmatch(r"no hyphae?|0 hyphae?", part, re.IGNORECASE):
            empty = True
        elif counted and part.lower() != "no" and cells is None:
            cells = 0.0 if counted[1].lower() == "no" else float(counted[1])
            parse(cells, "microbes", field=name)
        elif crossed and crossings is None:
            crossings = 0.0 if crossed[1].lower() == "no" else float(crossed[1])
        elif (at := re.fullmatch(r"(.+?)\s+at\s+(.+)", bare)) is not None:
            pieces.append((_length(at[1], name), parse(at[2], "hypha_um", field=name).typical))
        elif re.match(_NUMBER, bare) and counted is None and crossed is None:
            lengths.append(_length(bare, name))
        else:
            raise EntryError("this does not say what was seen", field=name, value=part, way_out=
                             'Write it as in "12 cells; 0.4 mm at 4 um; 7 crossings"')  # fmt: skip
    return _whole(name, cells, crossings, lengths, pieces, empty, slide, line.strip())


def _length(text: str, name: str) -> float:
    found = parse(text, "hyphae_mm", field=name).typical
    if found > 0:
        return found
    raise EntryError("a piece of hypha has a length", field=name, value=text,
                     way_out="Write no hyphae where there were none")  # fmt: skip


def _whole(
    name: str, cells: float | None, crossings: float | None, lengths: list[float],
    pieces: list[tuple[float, float]], empty: bool, slide: Slide, typed: str,
) -> FieldSeen:  # fmt: skip
    """The field, where its parts do not contradict each other."""
    if len(pieces) + len(lengths) > _MOST_PIECES:
        raise EntryError(f"at most {_MOST_PIECES} pieces of hypha in a field", field=name,
                         value=len(pieces) + len(lengths), way_out="Add up short ones")  # fmt: skip
    measured = bool(lengths or pieces)
    if empty and (measured or crossings):
        raise EntryError("it says no hyphae, and hyphae", field=name, value=typed,
                         way_out="Leave one of them out")  # fmt: skip
    total: float | None = 0.0 if empty else None
    if measured:
        total = sum(lengths) + sum(long for long, _ in pieces)
    if crossings is not None:
        if lengths or pieces:
            raise EntryError("hyphae are measured piece by piece or by crossings, not both",
                             field=name, value=typed, way_out="Leave one of them out")  # fmt: skip
        if slide.field_mm2 is None or slide.grid_mm is None:
            raise EntryError(
                "crossings give a length only with the size of a field and the length of the grid's"
                " lines in it", field=name, value=typed,
                way_out="Give both, as in a field of 0.16 mm2 and lines of 4 mm",
            )  # fmt: skip
        total = crossed_length(crossings, slide.field_mm2, slide.grid_mm)
    if cells is None and total is None:
        raise EntryError("nothing was seen in it", field=name, value=typed,
                         way_out="Write 0 cells, or no hyphae, where you looked")  # fmt: skip
    return FieldSeen(name, cells, total, tuple(pieces), crossings, typed)


# --- into the book -------------------------------------------------------------------------------


def log_fields(
    book: Book,
    trial: str | None,
    heap: str,
    lines: Sequence[str],
    slide: Slide,
    *,
    now: datetime,
    when: str | datetime | None = None,
    note: str = "",
    entry_id: str | None = None,
    source: str = "log",
) -> Logged:
    """Enter the fields of one sitting at the microscope, all of them or none.

    Parameters
    ----------
    lines : sequence of str
        One a field, see `read_field`; fields without a name go on numbering those of that day.
    slide : Slide
        How it was made; kept with every sample.
    entry_id : str, optional
        Made by the enterer; the same sent twice stays one sitting.

    Raises
    ------
    EntryError, QuantityError, UnknownNameError, InputError
        A field, size, heap or time that cannot stand; nothing was written.
    """
    lines = [line.strip() for line in lines if line.strip()]
    if not lines or len(lines) > _MOST_FIELDS:
        raise EntryError(f"give 1 to {_MOST_FIELDS} fields at a time", field="fields",
                         value=len(lines), way_out="Write one line a field")  # fmt: skip
    yard = yard_of(book, trial)
    name = yard.heap(heap)
    moment = yard.when(when, now=now)
    base = check_id(entry_id) if entry_id else made_id(
        "fields", yard.trial.lower(), name.lower(), moment.low, moment.high, slide.method, *lines
    )  # fmt: skip
    own = {made_id("field", base, n, kind) for n in range(len(lines)) for kind in ("c", "h")}
    if entry_id:  # sent again: the moment of the first time stays
        sent = [v for i in sorted(own) for v in book.history(yard.trial, id=i) if v.id == i]
        moment = sent[0].when if sent else moment
    stand = [s for s in book.current("sample", yard.trial)
             if s.heap == name and (s.trail.root or s.id) not in own]  # fmt: skip
    day = [s for s in stand if s.quantity in ("microbes", "hyphae_mm") and abs(
           s.when.middle - moment.middle) < timedelta(days=1)]  # fmt: skip
    taken = {s.part.lower() for s in day}
    numbers = [int(m[1]) for p in taken if (m := re.fullmatch(r"field (\d+)", p))]
    first = max(numbers, default=0) + 1
    entries: list[Sample] = []
    for n, line in enumerate(lines):
        try:
            seen = read_field(line, f"field {first + n}", slide)
        except HeapwrightError as error:
            raise error.at(f"line {n + 1}") from None
        if seen.name in taken:
            raise EntryError(
                "that field stands in the book for that day already", field="field",
                value=seen.name, where=f"line {n + 1}", way_out="Leave the name out, or number on",
            )  # fmt: skip
        taken.add(seen.name)
        entries += _samples(yard, name, moment, seen, slide, (base, n), note.strip(), source)
    added = book.add(entries, now=now)
    return Logged(yard.trial, tuple(entries), added)


def last_slide(book: Book, trial: str) -> Mapping[str, str]:
    """How the last slide of a trial was made, as typed; empty before the first.

    Without its dry matter, which is another for every heap and day.
    """
    taken = [s for s in book.current("sample", trial)
             if s.quantity in ("microbes", "hyphae_mm") and s.method]  # fmt: skip
    if not taken:
        return {}
    typed = read_slide_method(max(taken, key=lambda s: s.when.middle).method).typed
    return {k: v for k, v in typed.items() if k != "dry"}


def _samples(
    yard: Yard, heap: str, moment: When, seen: FieldSeen, slide: Slide, own: tuple[str, int],
    note: str, source: str,
) -> list[Sample]:  # fmt: skip
    """The samples of one field."""

    def sample(kind: str, key: str, value: float, typed: str, part: str, basis: str) -> Sample:
        return Sample(
            made_id("field", *own, kind), yard.trial, heap, moment, key, value, typed=typed,
            part=part, method=slide.method, basis=basis, note=note, trail=Trail("", source=source),
        )  # fmt: skip

    made = []
    if seen.cells is not None:
        made.append(sample("c", "microbes", seen.cells, seen.typed, seen.name, ""))
    if seen.hyphae_mm is not None:
        basis = "" if seen.crossings is None else f"{seen.crossings:g} crossings"
        made.append(sample("h", "hyphae_mm", seen.hyphae_mm, seen.typed, seen.name, basis))
    made += [
        sample(f"d{n}", "hypha_um", wide, f"{wide:g} um", f"{seen.name}, piece {n}",
               f"over {long:.6g} mm")
        for n, (long, wide) in enumerate(seen.pieces, 1)
    ]  # fmt: skip
    return made
