"""Pictures of heaps over their age: what was read off them, which say nothing, pairs of photos.

Units: L*a*b* under D50, millimetres, days of heap age. Conventions: a row is one picture of one
heap; figures entered by hand stand beside those of pictures; a photo off which nothing was read is
counted and said; the outline of a photo is drawn so that the next is taken from the same place.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path

from heapwright.domain.entries import Event, Sample
from heapwright.domain.names import one_of
from heapwright.domain.when import local_zone
from heapwright.errors import NotEnoughError, UnknownNameError, sentence
from heapwright.reports.part import Grid, Part
from heapwright.reports.picture_figure import Panel, over_age_figure
from heapwright.services.imaging import photo_folder
from heapwright.services.record import HeapRecord, TrialRecord, load_record
from heapwright.services.reportparts import Clock
from heapwright.store.book import Book

__all__ = ["Photo", "outline", "photo_path", "photos_of", "picture_parts", "pictures_over_time"]

#: what is read off pictures, by quantity, with its column
_COLUMNS = {
    "colour_l": "L*", "colour_a": "a*", "colour_b": "b*", "particle_d10_mm": "d10 [mm]",
    "particle_d50_mm": "d50 [mm]", "particle_d90_mm": "d90 [mm]",
}  # fmt: skip
#: longest side of an outline [px], its smoothing [px], how steep lines are (shares of all pixels),
#: and the shortest line [px]; own choice
_OUTLINE_PX, _SIGMA, _STEEP, _LONG = 1000, 3.0, (0.8, 0.92), 60


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo of a heap: id of its entry; file : its name beside the book; when, age : in words;
    note; there : whether the file is still there; read : whether anything was read off it."""

    id: str
    file: str
    when: str
    age: str
    note: str
    there: bool
    read: bool


def picture_parts(book: Book, trial: str, *, now: datetime) -> Sequence[Part]:
    """What pictures say of a trial; nothing where none was read. Raises as `load_record`."""
    record = load_record(book, trial)
    if not any(s.quantity in _COLUMNS for h in record.heaps.values() for s in h.samples):
        return ()
    return (_part(book, record, list(record.heaps.values()), now),)


def pictures_over_time(book: Book, trial: str, *, now: datetime, heap: str | None = None) -> Part:
    """Colour and size by heap and age, in a table and drawn.

    Raises `UnknownNameError` for no such trial or heap, `NotEnoughError` without a locked plan.
    """
    record = load_record(book, trial)
    heaps = list(record.heaps.values())
    if heap is not None:
        heaps = [record.heaps[one_of("heap", heap, {n: n for n in record.heaps})]]
    return _part(book, record, heaps, now)


def _part(book: Book, record: TrialRecord, heaps: Sequence[HeapRecord], now: datetime) -> Part:
    clock = _clock(record)
    rows, numbers = [], []
    for heap in heaps:
        for moment, found in _moments(heap, now):
            age = _age(heap, moment)
            rows.append(
                [heap.name, age, clock.day(moment)]
                + [f"{found[k].value:.3g}" if k in found else "–" for k in _COLUMNS]
            )
            numbers.append({
                "heap": heap.name, "when": moment.isoformat(),
                "age_d": round(heap.age_d(moment), 3) if heap.built else None,
                **{k: found[k].value if k in found else None for k in _COLUMNS},
            })  # fmt: skip
    photos = [p for h in heaps for p in _photos(book, h, clock, now)]
    used = [k for k in _COLUMNS if any(n[k] is not None for n in numbers)]
    keep = [0, 1, 2, *(3 + i for i, k in enumerate(_COLUMNS) if k in used)]
    head = ["heap", "age [d]", "when", *_COLUMNS.values()]
    grid = Grid("Read off pictures", [head[i] for i in keep],
                [[row[i] for i in keep] for row in rows])  # fmt: skip
    return Part(
        "How do colour and pieces change?",
        [sentence(w) for w in (*_words(heaps, now), *_unused(photos))],
        grids=[grid] if rows else [],
        picture=_drawn(heaps, now),
        known=[
            "L* falls as compost darkens, and wet compost is darker than dry; d50 is the size that "
            "half of the area is finer than",
            "pictures taken with another card, camera or squeeze differ by that too",
        ],
        numbers={"rows": numbers, "photos": len(photos),
                 "photos_not_read": sum(not p.read for p in photos),
            "invented": record.plan.trial.invented},
    )  # fmt: skip


def _clock(record: TrialRecord) -> Clock:
    return Clock(local_zone(record.plan.trial.place.time_zone))


def _moments(heap: HeapRecord, now: datetime) -> list[tuple[datetime, Mapping[str, Sample]]]:
    """What was read of a heap, picture by picture in order of time; nothing stands for another."""
    found: list[tuple[datetime, str, dict[str, Sample]]] = []
    for s in heap.samples:
        if s.quantity not in _COLUMNS or s.when.low > now:
            continue
        key = s.when.middle, s.note if s.note.startswith("photo ") else ""
        for moment, photo, row in found:
            if (moment, photo) == key and s.quantity not in row:
                row[s.quantity] = s
                break
        else:
            found.append((*key, {s.quantity: s}))
    return [(moment, row) for moment, _, row in sorted(found, key=lambda f: f[:2])]


def _age(heap: HeapRecord, moment: datetime) -> str:
    return f"{heap.age_d(moment):.0f}" if heap.built else "–"


def _words(heaps: Sequence[HeapRecord], now: datetime) -> list[str]:
    """A sentence a heap and quantity: from its first to its last."""
    said = []
    for heap in heaps:
        for key, what, unit in (("colour_l", "L*", ""), ("particle_d50_mm", "d50", " mm")):
            mine = [(m, f[key].value) for m, f in _moments(heap, now) if key in f]
            if len(mine) < 2:
                continue
            (first, a), (last, b) = mine[0], mine[-1]
            days = (last - first).total_seconds() / 86400
            said.append(f"Heap {heap.name}: {what} went from {a:.3g} to {b:.3g}{unit} in "
                        f"{days:.0f} days")  # fmt: skip
    if said:
        return said
    if any(_moments(h, now) for h in heaps):
        return ["Each heap was read off a picture once so far; a second one begins a line"]
    return ["Nothing was read off a picture yet. Lay a white card or a rule beside a handful and "
            "take one"]  # fmt: skip


def _unused(photos: Sequence[Photo]) -> list[str]:
    """How many photos say nothing, and why."""
    gone = [p for p in photos if not p.there]
    bare = [p for p in photos if p.there and not p.read]
    said = []
    if bare:
        said.append(
            f"{len(bare)} photo{'s are' if len(bare) > 1 else ' is'} kept off which nothing was "
            "read: no card and no scale is marked in " + ("them" if len(bare) > 1 else "it")
        )
    if gone:
        said.append(f"{len(gone)} photo{'s are' if len(gone) > 1 else ' is'} in the book whose "
                    "file is not beside it")  # fmt: skip
    return said


def _drawn(heaps: Sequence[HeapRecord], now: datetime) -> str:
    """L* and d50 over heap age; nothing before a heap has two ages."""
    panels: list[Panel] = []
    for key, title, unit in (("colour_l", "Lightness L*", ""), ("particle_d50_mm", "d50", "mm")):
        lines = {}
        for heap in heaps:
            mine = [(heap.age_d(m), f[key].value) for m, f in _moments(heap, now) if key in f] \
                if heap.built else []  # fmt: skip
            if mine:
                lines[heap.name] = ([a for a, _ in mine], [v for _, v in mine])
        if any(len(xs) > 1 for xs, _ in lines.values()):
            panels.append((title, unit, lines))
    if not panels:
        return ""
    said = ". ".join(_words(heaps, now))
    sizes = {
        name: over_age_figure(panels, prefix=f"pictured-{name}", desc=said, wide=name == "wide")
        for name in ("narrow", "wide")
    }
    return "".join(f'<div class="{name}">{svg}</div>' for name, svg in sizes.items())


# --- photos and pairs ----------------------------------------------------------------------------


def photos_of(book: Book, trial: str, heap: str, *, now: datetime) -> list[Photo]:
    """Photos of a heap, the last first. Raises as `pictures_over_time`."""
    record = load_record(book, trial)
    name = one_of("heap", heap, {n: n for n in record.heaps})
    return _photos(book, record.heaps[name], _clock(record), now)


def _photos(book: Book, heap: HeapRecord, clock: Clock, now: datetime) -> list[Photo]:
    folder = Path(book.where + ".photos")
    read = {s.note.removeprefix("photo ") for s in heap.samples if s.note.startswith("photo ")}
    made = []
    for e in sorted(heap.events, key=_taken_at, reverse=True):
        file, note = _file_of(e)
        if file and e.when.low <= now:
            there = not book.is_url and (folder / file).is_file()
            made.append(Photo(e.id, file, clock.moment(e.when.middle), _age(heap, e.when.middle),
                              note, there, e.trail.root in read or e.id in read))  # fmt: skip
    return made


def _taken_at(event: Event) -> tuple[datetime, datetime]:
    return event.when.middle, event.trail.recorded or event.when.middle


def _file_of(event: Event) -> tuple[str, str]:
    """The name of the file of a photo and the rest of its note; "" for none."""
    found = re.match(r"([A-Za-z0-9_-]{1,64}\.(?:jpg|png))(?:\s+|$)", event.note)
    if event.what != "photo" or found is None:
        return "", event.note
    return found[1], event.note[found.end() :]


def photo_path(book: Book, file: str) -> Path:
    """The file of a photo beside the book; raises `UnknownNameError` for any other name."""
    path = photo_folder(book) / file
    if not re.fullmatch(r"[A-Za-z0-9_-]{1,64}\.(jpg|png)", file) or not path.is_file():
        raise UnknownNameError("no photo of that name lies beside the book", field="photo",
                               value=file[:70])  # fmt: skip
    return path


def outline(path: Path) -> bytes:
    """The lines of a photo as a PNG that lets everything else through.

    Raises `InputError` for a picture that cannot be opened, `NotEnoughError` for one without lines.
    """
    import numpy as np
    from PIL import Image
    from scipy.ndimage import binary_dilation
    from skimage.feature import canny
    from skimage.measure import label

    from heapwright.services.imaging import kept_picture

    small = Image.fromarray(kept_picture(path).pixels).convert("L")
    small.thumbnail((_OUTLINE_PX, _OUTLINE_PX))
    thin = canny(np.asarray(small, dtype=float) / 255.0, _SIGMA, *_STEEP, use_quantiles=True)
    pieces = label(thin, connectivity=2)
    long = np.bincount(pieces.ravel()) >= _LONG
    long[0] = False
    lines = binary_dilation(long[pieces])
    if not lines.any():
        raise NotEnoughError("there is no line in that photo to stand by", field="photo",
                             value=path.name)  # fmt: skip
    shown = np.zeros((*lines.shape, 4), dtype=np.uint8)
    shown[lines] = (255, 120, 40, 255)
    out = BytesIO()
    Image.fromarray(shown, "RGBA").save(out, "PNG")
    return out.getvalue()
