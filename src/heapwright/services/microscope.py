"""What the microscope shows of every heap: numbers a field and a gram, mass, fungi to bacteria.

Units: numbers and mm a field, m and mg a gram of dry compost (of fresh where its moisture is not
known). Conventions: the last day that anything was seen of a heap; ranges are 95 %, of chance in
counting or of how far fields differ, whichever is wider; factors stand beside every mass. Ways are
compared by heap with the comparison of counts, from the locked end on; nothing is graded.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from heapwright.domain.entries import Sample
from heapwright.domain.names import one_of
from heapwright.domain.when import When
from heapwright.errors import HeapwrightError, NotEnoughError
from heapwright.reports.part import Grid, Part
from heapwright.science import microscopy as science
from heapwright.science.values import raw, value
from heapwright.services.heapvalues import counted_in, heap_outcomes
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.services.slides import FieldSeen, Slide, read_slide_method
from heapwright.services.yard import yard_of
from heapwright.stats.compare import compare
from heapwright.stats.contrast import t_quantile
from heapwright.stats.counted import counting_range, field_range
from heapwright.store.book import Book
from heapwright.units import two_digits

__all__ = ["HeapSeen", "looked_at", "microscope", "microscope_parts"]

TITLE = "What the microscope shows"
_LEVEL = 0.95
#: a moisture test this near to the day of the slide is taken for it [d]; own choice
_MOISTURE_DAYS = 7.0
NOT_GRADED = "No published threshold proves quality: this is reported, not graded."
UNIT = (
    "The heap is the unit of a comparison, not the field: more fields make a heap's number surer, "
    "and only more heaps make a comparison surer."
)


# --- what stands in the book ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class HeapSeen:
    """A heap on the last day that cells were counted in it and the last that hyphae were measured.

    days : both, as dates; fields : in order; cell_slide, hypha_slide : None where the fields of a
    day were not made in one way; dry_share : of the fresh compost, None if unknown, with dry_from.
    """

    heap: str
    way: str
    days: tuple[str, ...]
    fields: tuple[FieldSeen, ...]
    cell_slide: Slide | None
    hypha_slide: Slide | None
    dry_share: float | None
    dry_from: str

    @property
    def cells(self) -> list[float]:
        """Cells by field, where they were counted."""
        return [f.cells for f in self.fields if f.cells is not None]

    @property
    def hyphae_mm(self) -> list[float]:
        """Length of hyphae by field [mm], where they were measured."""
        return [f.hyphae_mm for f in self.fields if f.hyphae_mm is not None]

    @property
    def pieces(self) -> list[tuple[float, float]]:
        """Every piece of hypha with a diameter: length [mm], diameter [um]."""
        return [p for f in self.fields for p in f.pieces]

    @property
    def met(self) -> float:
        """How many hyphae were met in all fields: crossings, else pieces, else fields with any."""
        return sum(
            f.crossings or len(f.pieces) or float(bool(f.hyphae_mm)) for f in self.fields
        )  # fmt: skip

    @property
    def paired(self) -> bool:
        """Whether cells and hyphae were seen in the same fields."""
        return all(f.cells is not None and f.hyphae_mm is not None for f in self.fields)


def looked_at(record: TrialRecord, heap: HeapRecord) -> HeapSeen | None:
    """What was seen of a heap on the last day at the microscope; None if nothing ever was."""
    seen = [*_last_day(heap, ("microbes",)), *_last_day(heap, ("hyphae_mm", "hypha_um"))]
    if not seen:
        return None
    last = max(s.when.middle for s in seen)
    by_field: dict[tuple[str, str], list[Sample]] = {}
    for sample in seen:  # a name stands for another field on another day
        key = _day(sample.when), sample.part.partition(", piece ")[0]
        by_field.setdefault(key, []).append(sample)
    fields = tuple(_field(key[1], by_field[key]) for key in sorted(by_field, key=_in_order))
    cells, hyphae = (
        _one_slide([s for s in seen if s.quantity == key]) for key in ("microbes", "hyphae_mm")
    )
    share, source = _dry(heap, last, cells or hyphae)
    days = tuple(sorted({_day(s.when) for s in seen}))
    return HeapSeen(heap.name, heap.heap.way or "", days, fields, cells, hyphae, share, source)


def _last_day(heap: HeapRecord, keys: Sequence[str]) -> list[Sample]:
    """Samples of the last day on which any of these quantities was taken."""
    taken = [s for s in heap.samples if s.quantity in keys]
    last = max((s.when.middle for s in taken), default=None)
    return [s for s in taken if last is not None and last - s.when.middle < timedelta(days=1)]


def _in_order(key: tuple[str, str]) -> tuple[str, str, int]:
    found = re.fullmatch(r"(.*?)(\d{1,9})", key[1])
    return (key[0], found[1], int(found[2])) if found else (key[0], key[1], 0)


def _field(name: str, rows: Sequence[Sample]) -> FieldSeen:
    cells = [s.value for s in rows if s.quantity == "microbes"]
    hyphae = [s for s in rows if s.quantity == "hyphae_mm"]
    crossings = [float(m[1]) for s in hyphae if (m := re.match(r"([\d.]+) crossings", s.basis))]
    pieces = tuple(
        (float(m[1]), s.value) for s in rows
        if s.quantity == "hypha_um" and (m := re.match(r"over ([\d.e-]+) mm", s.basis))
    )  # fmt: skip
    return FieldSeen(
        name, sum(cells) / len(cells) if cells else None,
        sum(s.value for s in hyphae) / len(hyphae) if hyphae else None, pieces,
        crossings[0] if crossings else None,
    )  # fmt: skip


def _one_slide(rows: Sequence[Sample]) -> Slide | None:
    """How the slides of all samples were made; None where they differ or cannot be read."""
    made = [read_slide_method(s.method) for s in rows]
    return made[0] if made and all(m.share == made[0].share for m in made) else None


def _dry(heap: HeapRecord, moment: datetime, slide: Slide | None) -> tuple[float | None, str]:
    if slide is not None and slide.dry_share:
        return slide.dry_share, "dry matter as given with the slide"
    wet = [s for s in heap.samples if s.quantity == "moisture_wb" and s.part == "whole"
           and abs(s.when.middle - moment) <= timedelta(days=_MOISTURE_DAYS)]  # fmt: skip
    if not wet:
        return None, ""
    near = min(wet, key=lambda s: abs(s.when.middle - moment))
    share = 1 - near.value
    return (share, f"moisture test of {_day(near.when)}") if share > 0 else (None, "")


# --- what follows from it ------------------------------------------------------------------------


def _numbers(seen: HeapSeen) -> dict[str, Any]:
    """All figures of a heap, None where something is missing; ``why_not`` says what."""
    out: dict[str, Any] = {
        "heap": seen.heap, "way": seen.way, "day": " and ".join(seen.days),
        "fields": len(seen.fields), "dry_share": seen.dry_share, "cells": None, "hyphae": None,
        "ratio": None, "why_not": {},
    }  # fmt: skip
    if seen.cells:
        out["cells"] = _cells(seen)
    if seen.hyphae_mm:
        out["hyphae"] = _hyphae(seen)
    if seen.cells or seen.hyphae_mm:
        try:
            out["ratio"] = _ratio(seen)
        except HeapwrightError as error:
            out["why_not"]["ratio"] = error.what
    return out


def _cells(seen: HeapSeen) -> dict[str, Any]:
    counts = seen.cells
    low, high = counting_range(sum(counts), len(counts), family="rate", level=_LEVEL)
    mean, clumping, sd, how = sum(counts) / len(counts), None, None, "chance in counting"
    if len(counts) > 1:
        _, variance, k = science.spread_of_fields(counts)
        clumping = k if math.isfinite(k) else None
        sd = math.sqrt(variance) / mean if mean else None
        _, below, above = field_range(counts, level=_LEVEL)
        if variance > mean:
            low, high, how = min(low, max(below, 0.0)), max(high, above), "how far fields differ"
    out: dict[str, Any] = {
        "fields": len(counts), "counted": sum(counts), "mean": mean, "low": low, "high": high,
        "range_from": how, "sd_over_mean": sd, "clumping_k": clumping,
    }  # fmt: skip
    per_g, basis = _per_gram(seen, seen.cell_slide)
    out |= {"basis": basis, "per_g": None, "low_per_g": None, "high_per_g": None,
            "um3": None, "mg_per_g": None, "carbon_mg_per_g": None}  # fmt: skip
    if per_g is None:
        return out
    out |= {"per_g": mean * per_g, "low_per_g": low * per_g, "high_per_g": high * per_g}
    if seen.cell_slide is not None and seen.cell_slide.cell_um3:
        volume = mean * per_g * seen.cell_slide.cell_um3
        out |= {"um3": seen.cell_slide.cell_um3, "mg_per_g": _ranged(volume, "bacteria"),
                "carbon_mg_per_g": _carbon(volume, "bacteria")}  # fmt: skip
    return out


def _hyphae(seen: HeapSeen) -> dict[str, Any]:
    lengths = seen.hyphae_mm
    mean = sum(lengths) / len(lengths)
    low = high = sd = None
    if len(lengths) > 1:
        _, error = science.mean_of_fields(lengths, seen.met)
        reach = t_quantile(_LEVEL, len(lengths) - 1.0) * error
        if error > 0:
            low, high = max(mean - reach, 0.0), mean + reach
        sd = math.sqrt(sum((x - mean) ** 2 for x in lengths) / (len(lengths) - 1))
    out: dict[str, Any] = {
        "fields": len(lengths), "mean_mm": mean, "low_mm": low, "high_mm": high,
        "sd_over_mean": sd / mean if sd is not None and mean else None, "met": seen.met,
        "pieces": len(seen.pieces), "rms_um": None, "mean_um": None, "m_per_g": None,
        "low_m_per_g": None, "high_m_per_g": None, "mg_per_g": None, "carbon_mg_per_g": None,
        "active_mg_per_g": None,
    }  # fmt: skip
    if seen.pieces:
        long, wide = zip(*seen.pieces, strict=True)
        out["rms_um"] = science.root_mean_square_diameter(long, wide)
        out["mean_um"] = science.mean_diameter(long, wide)
    per_g, out["basis"] = _per_gram(seen, seen.hypha_slide)
    if per_g is None:
        return out
    out["m_per_g"] = mean * per_g / 1e3
    if low is not None and high is not None:
        out |= {"low_m_per_g": low * per_g / 1e3, "high_m_per_g": high * per_g / 1e3}
    if seen.hypha_slide is not None and seen.hypha_slide.active:
        out["active_mg_per_g"] = science.active_hyphae_mg(out["m_per_g"])
    if out["rms_um"] is not None:
        volume = science.hypha_volume(out["m_per_g"] * 1e6, out["rms_um"])
        out |= {"mg_per_g": _ranged(volume, "fungi"), "carbon_mg_per_g": _carbon(volume, "fungi")}
    return out


def _ranged(volume_um3: float, kind: str) -> dict[str, float]:
    """Dry mass [mg/g] by the mean factor and the ends of its range."""
    found = science.dry_mass_mg(volume_um3, kind)
    return {"typical": found.typical, "low": found.low, "high": found.high}


def _carbon(volume_um3: float, kind: str) -> dict[str, float]:
    found = science.carbon_fg(volume_um3, kind).scaled(1e-12)
    return {"typical": found.typical, "low": found.low, "high": found.high}


def _per_gram(seen: HeapSeen, slide: Slide | None) -> tuple[float | None, str]:
    """What a field is multiplied by for a gram, and of what: dry or fresh compost."""
    if slide is None or None in slide.share:
        return None, ""
    field, cover, drop, dilution = (float(x or 0) for x in slide.share)
    factor = science.per_gram(1.0, cover_mm2=cover, field_mm2=field, ml_per_g=dilution,
                              drop_ml=drop, dry_share=seen.dry_share or 1.0)  # fmt: skip
    return factor, "dry" if seen.dry_share else "fresh"


def _ratio(seen: HeapSeen) -> dict[str, Any]:
    """Fungi over bacteria by volume, and by the factors of two workers.

    Raises `NotEnoughError` saying what is missing.
    """
    need: list[str] = []
    if not seen.cells:
        need.append("cells counted")
    elif seen.cell_slide is not None and not seen.cell_slide.cell_um3:
        need.append("the size of the cells")
    if not seen.hyphae_mm:
        need.append("hyphae measured")
    elif not seen.pieces and sum(seen.hyphae_mm) > 0:
        need.append("the diameter of some hyphae")
    if need:
        raise NotEnoughError(f"it needs {' and '.join(need)}")
    cells, hyphae = seen.cell_slide, seen.hypha_slide
    if cells is None:
        raise NotEnoughError("the fields of that day were not made in one way")
    scale = 1.0
    if not seen.paired:
        if len(seen.days) > 1:
            raise NotEnoughError("cells and hyphae were seen on different days")
        (over, _), (under, _) = _per_gram(seen, hyphae), _per_gram(seen, cells)
        if over is None or under is None:
            raise NotEnoughError(
                "cells and hyphae were not seen in the same fields, so it needs how both slides "
                "were made"
            )
        scale = over / under
    elif hyphae is None or hyphae.share != cells.share:
        raise NotEnoughError("the fields of that day were not made in one way")
    pooled = science.root_mean_square_diameter(*zip(*seen.pieces, strict=True)) if seen.pieces \
        else 1.0  # fmt: skip
    above = [
        scale * science.hypha_volume(f.hyphae_mm * 1e3, _own_diameter(f, pooled))
        for f in seen.fields if f.hyphae_mm is not None
    ]  # fmt: skip
    below = [c * (cells.cell_um3 or 0.0) for c in seen.cells]
    few = max(min(len(above), len(below)) - 1.0, 1.0)
    low, mid, high = science.ratio_of_fields(
        above, below, seen_above=seen.met, seen_below=sum(seen.cells),
        reach=t_quantile(_LEVEL, few), paired=seen.paired,
    )  # fmt: skip
    factor = science.mass_factor_ratio()
    return {
        "by_volume": mid, "low": low, "high": high, "by_mean_factors": mid * factor.typical,
        "least_by_factors": mid * factor.low, "most_by_factors": mid * factor.high,
    }  # fmt: skip


def _own_diameter(seen: FieldSeen, pooled: float) -> float:
    if not seen.pieces:
        return pooled
    return science.root_mean_square_diameter(*zip(*seen.pieces, strict=True))


# --- the answer ----------------------------------------------------------------------------------


def microscope(book: Book, trial: str | None, *, now: datetime, heap: str | None = None) -> Part:
    """What the microscope shows of a trial, or of one heap of it with its fields.

    Raises `UnknownNameError` for no such trial or heap, `NotEnoughError` where nothing was seen.
    """
    record = load_record(book, yard_of(book, trial).trial)
    names = {name: name for name in record.heaps}
    wanted = [one_of("heap", heap, names)] if heap else list(names)
    found = [s for s in (looked_at(record, record.heaps[n]) for n in wanted) if s is not None]
    if not found:
        raise NotEnoughError(
            f"nothing was seen under a microscope of {'heap ' + wanted[0] if heap else record.name}"
            " yet",
            way_out=f'Enter a field: heapwright microscope {wanted[0] if wanted else "HEAP"} '
            '--field "12 cells; 0.4 mm at 4 um"',
        )  # fmt: skip
    numbers = {s.heap: _numbers(s) for s in found}
    said, compared = _ways(record, found, now=now) if not heap else ([], [])
    return Part(
        TITLE,
        words=[_answer(numbers), *said, *_ratio_words(numbers), NOT_GRADED],
        grids=[g for g in (
            _field_grid(numbers), _gram_grid(numbers), _ratio_grid(numbers),
            _fields_of(found[0]) if heap else Grid("", (), ()), _context(),
        ) if g.rows],
        known=_known(found, numbers),
        sources=_sources(numbers),
        numbers={"trial": record.name, "heaps": numbers, "compared": compared,
                 "factor_fold": science.FACTOR_FOLD},
    )  # fmt: skip


def microscope_parts(book: Book, trial: str, *, now: datetime) -> Sequence[Part]:
    """The same for the page of finish and the report; nothing where nothing was seen."""
    try:
        return [microscope(book, trial, now=now)]
    except NotEnoughError:
        return []


def _answer(numbers: Mapping[str, Any]) -> str:
    cells = [
        f"{h} {two_digits(n['cells']['mean'])} ({_span(n['cells'], 'low', 'high')})"
        for h, n in numbers.items() if n["cells"]
    ]  # fmt: skip
    hyphae = [
        f"{h} {two_digits(n['hyphae']['mean_mm'])} mm" for h, n in numbers.items() if n["hyphae"]
    ]  # fmt: skip
    said = []
    if cells:
        said.append(f"Cells in a mean field: {', '.join(cells)}.")
    if hyphae:
        said.append(f"Hyphae in a mean field: {', '.join(hyphae)}.")
    return " ".join(said)


def _span(row: Mapping[str, Any], low: str, high: str) -> str:
    if row[low] is None or row[high] is None:
        return "no range yet"
    return f"{two_digits(row[low])} to {two_digits(row[high])}"


def _ratio_words(numbers: Mapping[str, Any]) -> list[str]:
    made = {h: n["ratio"] for h, n in numbers.items() if n["ratio"]}
    out = []
    if made:
        each = [
            f"{h} {two_digits(r['by_volume'])} ({two_digits(r['low'])} to {two_digits(r['high'])})"
            for h, r in made.items()
        ]
        out = [
            f"Fungi to 1 of bacteria by volume: {', '.join(each)}.",
            f"The choice of factors alone changes that ratio {science.FACTOR_FOLD:.1f} times: by "
            "volume both have one factor, by the mean factors of one published work the ratio is "
            "that much lower. Hold only ratios together that were made alike.",
        ]
    return out + [
        f"No ratio of fungi to bacteria for {h}: {n['why_not']['ratio']}."
        for h, n in numbers.items() if "ratio" in n["why_not"] and n["hyphae"] and n["cells"]
    ]  # fmt: skip


def _ways(
    record: TrialRecord, found: Sequence[HeapSeen], *, now: datetime
) -> tuple[list[str], list[Any]]:
    """Ways against the control by the comparison of counts, and what stands against it."""
    if len(record.plan.trial.ways) < 2 or not any(s.cells for s in found):
        return [], []
    locked = record.plan.locked
    if now < record.ends_at:
        end = f"{locked.ends.day} {locked.ends:%B %Y}"
        return [f"Ways are compared from the locked end on, {end}. {UNIT}"], []
    shares = {s.cell_slide.share if s.cell_slide else None for s in found if s.cells}
    if len(shares) > 1 or shares == {None}:
        return ["Ways are not compared: fields of the heaps were not made in one way, so a number "
                f"a field does not mean the same in each. {UNIT}"], []  # fmt: skip
    try:
        values, notes = heap_outcomes(record, "microbes")
        out_of = counted_in(record, "microbes")
        by_way = {
            way: {h.name: values[h.name] for h in heaps if h.name in values}
            for way, heaps in record.by_way().items()
        }
        by_way = {way: heaps for way, heaps in by_way.items() if heaps}
        made = compare(
            "microbes", by_way, locked.control or "", ended=True, notes=notes,
            matters=locked.matters if locked.decides == "microbes" else None,
            exposures={way: {h: out_of[h] for h in heaps} for way, heaps in by_way.items()},
        )  # fmt: skip
    except HeapwrightError as error:
        return [f"Ways are not compared: {error.what}. {UNIT}"], []
    words = [c.headline for c in made]
    if "microbes" not in (locked.decides, *record.plan.trial.also):
        words.append("The locked plan does not name microbes: take it as a hint, not a finding.")
    return [*words, UNIT], [c.to_json() for c in made]


# --- tables and sources --------------------------------------------------------------------------


def _many(number: float | None) -> str:
    """A large number in words of two digits: ``97 million``."""
    if number is None:
        return "-"
    for size, word in ((1e9, "billion"), (1e6, "million"), (1e3, "thousand")):
        if number >= size:
            return f"{two_digits(number / size)} {word}"
    return two_digits(number)


def _share(number: float | None) -> str:
    return "-" if number is None else f"{100 * number:.0f} %"


def _field_grid(numbers: Mapping[str, Any]) -> Grid:
    rows = []
    for heap, n in numbers.items():
        cells, hyphae = n["cells"], n["hyphae"]
        rows.append((
            heap, n["way"], n["day"], str(n["fields"]),
            f"{two_digits(cells['mean'])} ({_span(cells, 'low', 'high')})" if cells else "-",
            _share(cells["sd_over_mean"]) if cells else "-",
            f"{two_digits(hyphae['mean_mm'])} ({_span(hyphae, 'low_mm', 'high_mm')})"
            if hyphae else "-",
            two_digits(hyphae["rms_um"]) if hyphae and hyphae["rms_um"] else "-",
        ))  # fmt: skip
    rule = value("microscopy", "spread.teaching_rule")
    return Grid(
        "In a field of view",
        ("heap", "way", "day", "fields", "cells", "fields differ by", "hyphae, mm", "thick, um"),
        rows,
        note="In brackets 95 %. Fields differ by: standard deviation over mean; a teaching rule "
        f"wants at most {100 * rule.value:.0f} %, and above 100 % a number cannot be told from "
        "none. Thickness is the root mean square.",
    )  # fmt: skip


def _gram_grid(numbers: Mapping[str, Any]) -> Grid:
    rows = []
    for heap, n in numbers.items():
        cells, hyphae = n["cells"] or {}, n["hyphae"] or {}
        basis = cells.get("basis") or hyphae.get("basis")
        if not basis:
            continue
        rows.append((
            heap, basis, _many(cells.get("per_g")), _mass(cells.get("mg_per_g")),
            _many(hyphae.get("m_per_g")), _mass(hyphae.get("mg_per_g")),
            _mass(hyphae.get("active_mg_per_g")),
            _typical(hyphae.get("carbon_mg_per_g")), _typical(cells.get("carbon_mg_per_g")),
        ))  # fmt: skip
    return Grid(
        "In a gram of compost",
        ("heap", "of", "cells", "bacteria, mg", "hyphae, m", "fungi, mg", "active fungi, mg",
         "carbon of fungi, mg", "carbon of bacteria, mg"),
        rows, note="In brackets the range of the factors alone; the range of the counts comes on "
        "top, in the table above.",
    )  # fmt: skip


def _typical(found: Mapping[str, float] | None) -> str:
    return "-" if found is None else two_digits(found["typical"])


def _mass(found: Any) -> str:
    if found is None:
        return "-"
    if isinstance(found, float):
        return two_digits(found)
    if found["low"] == found["high"]:
        return two_digits(found["typical"])
    low, high = two_digits(found["low"]), two_digits(found["high"])
    return f"{two_digits(found['typical'])} ({low} to {high})"


def _ratio_grid(numbers: Mapping[str, Any]) -> Grid:
    rows = [
        (h, f"{two_digits(r['by_volume'])} ({two_digits(r['low'])} to {two_digits(r['high'])})",
         two_digits(r["by_mean_factors"]),
         f"{two_digits(r['least_by_factors'])} to {two_digits(r['most_by_factors'])}")
        for h, n in numbers.items() if (r := n["ratio"])
    ]  # fmt: skip
    return Grid(
        "Fungi to bacteria", ("heap", "by volume", "by mean factors", "by the ends of the factors"),
        rows, note="By volume both have one factor.",
    )  # fmt: skip


def _fields_of(seen: HeapSeen) -> Grid:
    return Grid(
        f"Fields of heap {seen.heap}", ("field", "cells", "hyphae, mm", "pieces, mm at um"),
        [(f.name, "-" if f.cells is None else f"{f.cells:g}",
          "-" if f.hyphae_mm is None else f"{f.hyphae_mm:.3g}",
          ", ".join(f"{long:.3g} at {wide:.3g}" for long, wide in f.pieces)
          or ("" if f.crossings is None else f"{f.crossings:g} crossings"))
         for f in seen.fields],
    )  # fmt: skip


def _context() -> Grid:
    rows = raw("microscopy")["context"].values()
    return Grid(
        "Fungi to bacteria elsewhere", ("where", "fungi to 1 of bacteria", "source"),
        [(r["place"], r["said"], r["source"] + _memory(r["seen"])) for r in rows],
        note="Told as context: methods differ, and none of it is a mark to reach.",
    )  # fmt: skip


def _memory(seen: str) -> str:
    return " (from memory)" if seen.startswith("memory") else ""


def _known(found: Sequence[HeapSeen], numbers: Mapping[str, Any]) -> list[str]:
    said = []
    for s in found:
        n = numbers[s.heap]
        line = f"{s.heap}: {len(s.fields)} fields on {n['day']}"
        if n["cells"]:
            line += f", {n['cells']['counted']:g} cells; its range is that of " \
                    f"{n['cells']['range_from']}"  # fmt: skip
            if n["cells"]["clumping_k"] is not None:
                line += f" (clumped, k = {two_digits(n['cells']['clumping_k'])})"
        if s.dry_share:
            line += f"; {_share(s.dry_share)} dry, {s.dry_from}"
        said.append(line)
    said += [f"{s.heap}: {text}" for s in found for text in _missing(s)]
    usual = value("microscopy", "spread.fields").value
    few = [f"{s.heap} {len(s.fields)}" for s in found if len(s.fields) < usual]
    if few:
        said.append(f"Published work looked at {usual:.0f} fields; here {', '.join(few)}")
    said.append("Most of the variance lies between fields (Kirchman et al. 1982): look at more "
                "fields rather than count one again")  # fmt: skip
    return said


def _missing(seen: HeapSeen) -> list[str]:
    """What stands in the way of numbers a gram, with what would give it."""
    slides = [s for s, any_ in ((seen.cell_slide, seen.cells), (seen.hypha_slide, seen.hyphae_mm))
              if any_]  # fmt: skip
    out = []
    if None in slides:
        out.append("fields of that day were made in several ways, so nothing a gram")
    elif any(None in s.share for s in slides if s):
        out.append("nothing a gram: give the size of a field, the cover slip, the drop and the "
                   "dilution")  # fmt: skip
    elif not seen.dry_share:
        out.append("a gram of fresh compost: a moisture test within a week makes it dry matter")
    return out


def _sources(numbers: Mapping[str, Any]) -> list[str]:
    keys = ["dry_per_volume.fungi", "dry_per_volume.bacteria"]
    if any((n["hyphae"] or {}).get("active_mg_per_g") is not None for n in numbers.values()):
        keys.append("active_hyphae.section")
    keys += ["carbon_per_volume.fungi", "carbon_per_volume.bacteria",
             "carbon_per_volume.bacteria_lower"]  # fmt: skip
    out = []
    for key in keys:
        number = value("microscopy", key)
        span = "" if number.low == number.high else f" ({number.low:g} to {number.high:g})"
        unit = number.unit.replace("**", "")
        what = f"{number.where}: {number.value:g}{span} {unit}".replace("e-0", "e-")
        out.append(f"{what}. {number.source}{_memory(number.seen)}")
    return [*out, "exact limits of a count: Garwood 1936 (from memory)",
            "ratio of two means: Fieller 1954 (from memory)"]  # fmt: skip


def _day(when: When) -> str:
    return f"{when.middle:%Y-%m-%d}"
