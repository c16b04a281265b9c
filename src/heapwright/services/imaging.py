"""Pictures taken in: checked before they are opened out, turned upright, measured, kept as samples.

Units: pixels, millimetres, L*a*b* under D50. Conventions: a picture is written anew before anything
is read off it, upright, in sRGB and without what the camera wrote into it (place, owner); what is
measured is that, and that is what is kept, so that every figure can be read off again. A picture
that cannot be used is refused with the reason, and nothing is written.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from heapwright.domain.entries import Event, Sample, Trail
from heapwright.errors import EntryError, InputError, sentence
from heapwright.exchange.files import write_whole
from heapwright.reports.part import Part
from heapwright.science.values import value
from heapwright.services.log import Logged, made_id
from heapwright.services.yard import yard_of
from heapwright.store.book import Book
from heapwright.units import parse

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = [
    "CARDS", "Marks", "Read", "Taken", "as_svg", "keep_read", "kept_picture", "photo_folder",
    "read_colour", "read_size", "take_picture",
]  # fmt: skip

#: cards that a picture may be corrected by
CARDS = ("white", "grey")
_MODES = ("RGB", "RGBA", "L", "LA", "P")
_SOURCE = "picture"
#: longest side of the picture that is shown with its outlines [px]
_SHOWN = 900


@dataclass(frozen=True, slots=True)
class Taken:
    """A picture ready to be measured.

    content : the file as it would be kept; ending : ``.jpg`` or ``.png``; pixels : rows by columns
    by red, green, blue; grey : it holds no colour; clock : what the camera's clock said, or "".
    """

    content: bytes
    ending: str
    pixels: NDArray[np.uint8]
    grey: bool
    clock: str = ""


@dataclass(frozen=True, slots=True)
class Marks:
    """What was marked in a picture, as typed: numbers in pixels with commas between.

    card, area : x, y, width, height; chart : the same, or its four corners clockwise from the
    brown patch; card_is : one of `CARDS`; scale : a length with its unit; ends : x1, y1, x2, y2.
    """

    card: str = ""
    card_is: str = "white"
    chart: str = ""
    area: str = ""
    scale: str = ""
    ends: str = ""

    def said(self) -> str:
        """What stands in them, for the note of an entry."""
        named = {
            f"{self.card_is} card": self.card, "chart": self.chart, "area": self.area,
            "scale": self.scale, "ends": self.ends,
        }  # fmt: skip
        return "; ".join(f"{k} {' '.join(v.split())}" for k, v in named.items() if v.strip())


@dataclass(frozen=True, slots=True)
class Read:
    """What was read off a picture: the answer; samples : quantity, value as typed, its basis; how :
    for their method; marks; outlined : a PNG with what was found drawn in, or none."""

    part: Part
    samples: tuple[tuple[str, str, str], ...]
    how: str
    marks: Marks
    outlined: bytes = field(default=b"", repr=False)


# --- taking a picture in -------------------------------------------------------------------------


def take_picture(content: bytes, name: str = "") -> Taken:
    """A picture file checked, turned upright and written anew.

    Raises `InputError` for a file that is too large, neither JPEG nor PNG, broken, or too many
    pixels; size is judged by the head of the file, before it is opened out.
    """
    from PIL import Image, ImageOps

    opened = _opened(content, name)
    try:
        clock = str(opened.getexif().get_ifd(0x8769).get(36867, ""))[:19]
        upright = ImageOps.exif_transpose(opened)
        upright.load()
        grey = upright.mode in ("L", "LA")
        plain = _in_srgb(upright) if upright.mode == "RGB" else upright
        made = plain.convert("RGBA").convert("RGB") if plain.mode == "P" else plain.convert("RGB")
        fresh = Image.fromarray(_array(made))  # nothing but pixels
    except (OSError, ValueError, SyntaxError, EOFError, TypeError) as error:
        raise _broken(name, error) from None
    out = BytesIO()
    if opened.format == "PNG":
        fresh.save(out, "PNG")
        ending = ".png"
    else:
        fresh.save(out, "JPEG", quality=95, subsampling=0)
        ending = ".jpg"
    return Taken(out.getvalue(), ending, _array(Image.open(out)), grey, _clock(clock))


def kept_picture(path: Path) -> Taken:
    """A picture that was written by `take_picture` before; raises `InputError` as it does."""
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(f"the picture cannot be read ({error.strerror})", field="picture",
                         value=path.name, way_out="Choose the file again") from None  # fmt: skip
    opened = _opened(content, path.name)
    try:
        pixels = _array(opened.convert("RGB"))
    except (OSError, ValueError, SyntaxError, EOFError) as error:
        raise _broken(path.name, error) from None
    grey = bool((pixels[..., 0] == pixels[..., 1]).all() and (pixels[..., 1] == pixels[..., 2])
                .all())  # fmt: skip
    return Taken(content, path.suffix.lower(), pixels, grey)


def _opened(content: bytes, name: str) -> Any:
    """The head of a picture file, judged; its pixels are not touched yet."""
    from PIL import Image

    most = value("pictures", "file.bytes").value
    if len(content) > most:
        raise InputError(f"this is larger than {most / 1e6:.0f} MB", field="picture",
                         value=name or f"{len(content) / 1e6:.0f} MB",
                         way_out="Take it with fewer pixels, or cut it")  # fmt: skip
    try:
        opened = Image.open(BytesIO(content), formats=("JPEG", "PNG"))
    except Image.DecompressionBombError:
        raise _too_many(name, "far too many pixels") from None
    except (OSError, ValueError, SyntaxError, EOFError, TypeError):
        raise InputError(
            "this is neither JPEG nor PNG",
            field="picture",
            value=name or None,
            way_out="Save it as JPEG; other kinds are not opened",
        ) from None
    width, height = opened.size
    if width * height > value("pictures", "file.pixels").value:
        raise _too_many(name, f"{width} by {height} pixels")
    if opened.mode not in _MODES:
        raise InputError(f"pictures of kind {opened.mode} are not read", field="picture",
                         value=name or None,
                         way_out="Save it as an ordinary JPEG with 8 bits a colour")  # fmt: skip
    return opened


def _too_many(name: str, found: str) -> InputError:
    most = value("pictures", "file.pixels").value
    return InputError(f"the picture has more than {most / 1e6:.0f} million pixels", field="picture",
                      value=f"{name}: {found}" if name else found,
                      way_out="Make it smaller, or cut it")  # fmt: skip


def _broken(name: str, error: Exception) -> InputError:
    return InputError(f"the picture is broken ({str(error)[:60]})", field="picture",
                      value=name or None, way_out="Copy it from the camera again")  # fmt: skip


def _in_srgb(picture: Any) -> Any:
    """A picture in sRGB: many phones keep wider colours, and say so in a profile."""
    from PIL import ImageCms

    profile = picture.info.get("icc_profile")
    if not profile:
        return picture
    try:
        own = ImageCms.ImageCmsProfile(BytesIO(profile))
        return ImageCms.profileToProfile(picture, own, ImageCms.createProfile("sRGB"))
    except ImageCms.PyCMSError:
        return picture


def _array(picture: Any) -> NDArray[np.uint8]:
    import numpy as np

    return np.asarray(picture.convert("RGB"), dtype=np.uint8)


def _clock(text: str) -> str:
    """The camera's clock as ``2026-05-03 07:10``, or "".

    >>> _clock("2026:05:03 07:10:22"), _clock("yesterday")
    ('2026-05-03 07:10', '')
    """
    found = re.fullmatch(r"(\d{4}):(\d\d):(\d\d) (\d\d:\d\d):\d\d", text.strip())
    return f"{found[1]}-{found[2]}-{found[3]} {found[4]}" if found else ""


def _numbers(text: str, counts: tuple[int, ...], name: str, way_out: str) -> tuple[float, ...]:
    """Numbers as typed; raises `InputError` for anything else.

    >>> _numbers("1, 2 3;4", (4,), "area", "")
    (1.0, 2.0, 3.0, 4.0)
    """
    words = re.split(r"[,;\s]+", text.strip()) if text.strip() else []
    try:
        found = tuple(float(w) for w in words)
    except ValueError:
        found = ()
    if len(found) not in counts or not all(abs(v) < 1e6 for v in found):
        raise InputError(f"{' or '.join(str(c) for c in counts)} numbers in pixels were expected",
                         field=name, value=text[:60], way_out=way_out)  # fmt: skip
    return found


def _place(text: str, name: str) -> tuple[float, float, float, float]:
    x, y, w, h = _numbers(text, (4,), name, "Write x,y,width,height, as in 25,40,120,80")
    return x, y, w, h


# --- colour --------------------------------------------------------------------------------------


def read_colour(taken: Taken, marks: Marks) -> Read:
    """The colour of a place of a picture, corrected by its chart or card.

    Raises `InputError` when neither is marked, no place is marked, or as
    `heapwright.science.pictures.by_chart`, `by_card` and `colour_of`.
    """
    from heapwright.science.pictures import colour_of

    if not (marks.card.strip() or marks.chart.strip()):
        raise InputError(
            "no card and no chart is marked, and without one nobody knows how warm the light was",
            field="card", way_out="Lay a white card beside the compost and mark it",
        )  # fmt: skip
    if not marks.area.strip():
        raise InputError("no place is marked whose colour is wanted", field="area",
                         way_out="Mark two opposite corners of it")  # fmt: skip
    if taken.grey:
        raise InputError("the picture is black and white, it holds no colour", field="picture",
                         way_out="Take it in colour")  # fmt: skip
    made, words, known, numbers = _corrected(taken, marks)
    area = _place(marks.area, "area")
    found = colour_of(taken.pixels, area, made)
    lightness, a, b = found.lab
    across = ", ".join(f"{s:.1f}" for s in found.spread)
    part = Part(
        "What colour is it?",
        [
            f"The place marked is L* {lightness:.1f}, a* {a:.1f}, b* {b:.1f}.",
            *map(sentence, words),
            "L* runs from 0, black, to 100, white; a* towards red, b* towards yellow. Wet compost "
            "is darker than dry: compare pictures taken at the same squeeze.",
        ],
        known=[
            f"mean of {found.pixels} pixels; from pixel to pixel they vary by {across}", *known,
            *_by_the_card(numbers["by"], lightness),
            *([f"{100 * found.full:.1f} % of the place is as bright as the camera goes"]
              if found.full else []),
            *_clock_said(taken),
        ],
        sources=_COLOUR_SOURCES,
        numbers={
            "lab": [round(v, 3) for v in found.lab], "spread": [round(v, 3) for v in found.spread],
            "pixels": found.pixels, "full": round(found.full, 5), **numbers,
        },
    )  # fmt: skip
    basis = "D50, 2 degrees"
    samples = tuple(
        (key, f"{v:.2f}", basis)
        for key, v in zip(("colour_l", "colour_a", "colour_b"), found.lab, strict=True)
    )
    how = "picture, chart" if made.by == "chart" else f"picture, {marks.card_is} card"
    return Read(part, samples, how, marks)


_COLOUR_SOURCES = (
    "24-patch chart: computed with colour-science 0.4.7 (BSD-3)",
    "sRGB: IEC 61966-2-1, 1999 (from memory); L*a*b*: CIE 15 (from memory); CIEDE2000: CIE 142, "
    "2001 (from memory)",
    "what a card must be like: own choice, values/pictures.toml",
)


def _corrected(taken: Taken, marks: Marks) -> tuple[Any, list[str], list[str], dict[str, Any]]:
    """The correction, what is said of it, what is known of it, and its numbers."""
    import numpy as np

    from heapwright.science.pictures import by_card, by_chart, corners_of

    if marks.chart.strip():
        given = _numbers(
            marks.chart,
            (4, 8),
            "chart",
            "Write x,y,width,height or its four corners, from the brown patch on",
        )
        corners = (
            corners_of((given[0], given[1], given[2], given[3]))
            if len(given) == 4 else np.array(given).reshape(4, 2)
        )  # fmt: skip
        made = by_chart(taken.pixels, corners)
        middle, worst = float(np.median(made.off)), max(made.off)
        said = (
            f"Corrected by {len(made.used)} patches of the chart; a patch left out of the fit is "
            f"off by CIEDE2000 {middle:.1f}, the worst by {worst:.1f}"
        )
        left = [f"patches left out: {', '.join(made.left_out)} (outside sRGB, or full)"]
        numbers = {"by": "chart", "off_median": round(middle, 3), "off_worst": round(worst, 3),
                   "left_out": list(made.left_out)}  # fmt: skip
        return made, [said], left, numbers
    if marks.card_is not in CARDS:
        raise InputError("no such card is known", field="card", value=marks.card_is,
                         way_out="One of " + ", ".join(CARDS))  # fmt: skip
    row = value("pictures", f"card.{marks.card_is}")
    card = _place(marks.card, "card")
    made = by_card(taken.pixels, card, gives_back=row.value)
    factors = ", ".join(f"{v:.2f}" for v in np.diag(made.matrix))
    words = [f"Corrected by the {marks.card_is} card: red, green and blue times {factors}"]
    left = [f"the card is taken to give back {row.value:.0%} of the light".replace("%", " %")]
    return made, words, left, {"by": f"{marks.card_is} card"}


def _by_the_card(by: str, lightness: float) -> list[str]:
    """How far L* may be off because cards differ; nothing for a card that is one number.

    >>> _by_the_card("white card", 30.0)[0].partition("L* ")[2]
    'may lie 1.4 lower to 0.7 higher, so keep to one card'
    """
    if by == "chart":
        return []
    row = value("pictures", f"card.{by.removesuffix(' card')}")
    if row.low == row.high:
        return []
    off = [((lightness + 16) * ((f / row.value) ** (1 / 3) - 1)) for f in (row.low, row.high)]
    back = f"{row.low:.0%} to {row.high:.0%}".replace("%", " %")
    return [
        f"{by}s give back {back}; by that alone L* may lie {-off[0]:.1f} lower to {off[1]:.1f} "
        "higher, so keep to one card"
    ]


def _clock_said(taken: Taken) -> list[str]:
    return [f"the camera's clock said {taken.clock}"] if taken.clock else []


# --- size ----------------------------------------------------------------------------------------


def read_size(taken: Taken, marks: Marks) -> Read:
    """Sizes of the particles in a picture, or in a place of it, by its scale.

    Raises `InputError` when no scale is marked, and as `heapwright.science.particles.scale_of` and
    `find_particles`.
    """
    import numpy as np
    from PIL import Image

    from heapwright.science.particles import find_particles, scale_of, sizes_of
    from heapwright.science.pictures import cut

    if not (marks.scale.strip() and marks.ends.strip()):
        raise InputError(
            "no scale is marked, and without one a picture has no millimetres",
            field="scale" if not marks.scale.strip() else "ends",
            way_out="Lay a rule beside the particles, mark two points on it and say how far apart "
            "they are",
        )  # fmt: skip
    length = parse(marks.scale, "length_m", field="scale", default_unit="mm").typical * 1000
    x1, y1, x2, y2 = _numbers(marks.ends, (4,), "ends", "Write x1,y1,x2,y2 of the two ends")
    scale = scale_of(length, (x1, y1, x2, y2))
    height, width = taken.pixels.shape[:2]
    if not all(-1 <= x <= width + 1 and -1 <= y <= height + 1 for x, y in ((x1, y1), (x2, y2))):
        raise InputError("an end lies outside the picture", field="ends", value=marks.ends[:60],
                         way_out=f"The picture is {width} by {height} pixels")  # fmt: skip
    area = _place(marks.area, "area") if marks.area.strip() else (0.0, 0.0, width, height)
    box = cut(taken.pixels, area, "area")
    if min(box.shape[:2]) < 50:
        raise InputError("the area is too small", field="area", value=marks.area[:60],
                         way_out="Mark at least 50 by 50 pixels")  # fmt: skip
    shrink = min(1.0, value("pictures", "size.longest_px").value / max(box.shape[:2]))
    small = Image.fromarray(box).convert("L")
    if shrink < 1:
        small = small.resize((round(box.shape[1] * shrink), round(box.shape[0] * shrink)),
                             Image.Resampling.BOX)  # fmt: skip
    shrink = small.width / box.shape[1]
    moved = tuple((v - o) * shrink for v, o in zip((x1, y1, x2, y2), area[:2] * 2, strict=True))
    found = find_particles(np.asarray(small, dtype=float) / 255.0,
                           ends=(moved[0], moved[1], moved[2], moved[3]))  # fmt: skip
    per_px = scale.mm_per_px / shrink
    sizes = sizes_of(found.diameters * per_px)
    low, high = sizes.d50_low * (1 - scale.off), sizes.d50_high * (1 + scale.off)
    smallest = value("pictures", "size.smallest_px").value * per_px
    left = [
        f"{n} {what}" for n, what in (
            (found.cut, "cut by the border"), (found.tiny, f"smaller than {smallest:.2g} mm"),
            (found.scale, "under the scale"),
        ) if n
    ]  # fmt: skip
    part = Part(
        "How coarse is it?",
        [
            f"Half of the area is of pieces finer than {sizes.d50:.2g} mm ({low:.2g} to "
            f"{high:.2g}); a tenth is finer than {sizes.d10:.2g} mm, nine tenths finer than "
            f"{sizes.d90:.2g} mm.",
            f"{sizes.count} whole pieces were measured"
            + (f"; left out: {', '.join(left)}" if left else "; none was left out") + ".",
            *(["Large pieces are cut by the border more often than small ones, so it is rather "
               "coarser than that."] if found.cut else []),
        ],
        known=[
            "the size of a piece is the diameter of the disc of the area that is seen from above; "
            "a sieve lets long thin pieces through and reads finer",
            f"{per_px:.3g} mm a pixel, off by {100 * scale.off:.1f} % if both ends are off by "
            f"{value('pictures', 'size.tap_px').value:.0f} pixels",
            "the range of the half is that of other handfuls of as many pieces, nine in ten; it "
            "does not know how the handful was taken",
            f"outlines are blurred by {found.blur:.1f} pixels; {100 * found.covered:.0f} % of the "
            "place is covered",
            *_clock_said(taken),
        ],
        sources=_SIZE_SOURCES,
        numbers={
            "d10_mm": round(sizes.d10, 4), "d50_mm": round(sizes.d50, 4),
            "d90_mm": round(sizes.d90, 4), "d50_low_mm": round(low, 4),
            "d50_high_mm": round(high, 4), "count": sizes.count, "cut": found.cut,
            "tiny": found.tiny, "under_scale": found.scale, "mm_per_px": round(per_px, 6),
            "blur_px": round(found.blur, 3), "covered": round(found.covered, 4),
        },
    )  # fmt: skip
    samples = tuple(
        (f"particle_{name}_mm", f"{v:.4g} mm", f"by area, {sizes.count} pieces")
        for name, v in (("d10", sizes.d10), ("d50", sizes.d50), ("d90", sizes.d90))
    )
    return Read(part, samples, "picture, scale", marks, _outlined(small, found.labels, sizes.count))


_SIZE_SOURCES = (
    "watershed from markers: Beucher and Meyer 1993 (from memory), as in scikit-image",
    "threshold: Otsu 1979 (from memory); focus by the variance of the Laplacian: Pech-Pacheco et "
    "al. 2000 (from memory)",
    "what a picture must be like: own choice, values/pictures.toml",
)


def _outlined(small: Any, labels: Any, whole: int) -> bytes:
    """The picture with what was found drawn in, as PNG: measured in one hue, left out in grey."""
    import numpy as np
    from PIL import Image
    from skimage.segmentation import find_boundaries

    shown = np.repeat(np.asarray(small)[..., None], 3, axis=-1).copy()
    measured = np.where(labels <= whole, labels, 0)
    shown[find_boundaries(labels > whole, mode="thick")] = (120, 120, 120)
    shown[find_boundaries(measured, mode="thick")] = (213, 94, 0)
    made = Image.fromarray(shown)
    made.thumbnail((_SHOWN, _SHOWN))
    out = BytesIO()
    made.save(out, "PNG")
    return out.getvalue()


def as_svg(png: bytes, *, title: str, desc: str) -> str:
    """A PNG as an ``<svg>`` element that a `Part` can hold."""
    from html import escape

    from PIL import Image

    width, height = Image.open(BytesIO(png)).size
    data = base64.b64encode(png).decode()
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" role="img" '
        f'aria-label="{escape(title)}: {escape(desc)}"><image width="{width}" height="{height}" '
        f'href="data:image/png;base64,{data}"/></svg>'
    )


# --- keeping -------------------------------------------------------------------------------------


def photo_folder(book: Book) -> Path:
    """Where pictures lie beside a book; raises `EntryError` for a book that is no file."""
    if book.is_url:
        raise EntryError("a picture is kept beside a book that is a file", field="picture",
                         way_out="Enter what was read as samples")  # fmt: skip
    return Path(book.where + ".photos")


def keep_read(
    book: Book, trial: str | None, heap: str, taken: Taken, read: Read | None, *, now: datetime,
    when: str | None = None, who: str = "", note: str = "",
) -> Logged:  # fmt: skip
    """Put a picture and what was read off it into the book: a photo, and a sample a figure.

    The same picture with the same marks is one entry, however often it is sent. read : None keeps
    the picture alone. Raises `EntryError` when the book cannot keep it, or when it was kept and
    withdrawn; and as `heapwright.services.yard.Yard.when` and `heap`.
    """
    yard = yard_of(book, trial)
    name = yard.heap(heap)
    moment = yard.when(when, now=now)
    said = read.marks.said() if read else ""
    print_ = hashlib.sha256(taken.content).hexdigest()
    what = [s[0] for s in read.samples] if read else []
    photo = made_id("picture", yard.trial.lower(), name.lower(), print_, said, *what)
    folder = photo_folder(book)
    chain = [e for e in book.history(yard.trial, id=photo) if e.id == photo]
    if chain:
        return _known(book, yard.trial, photo)
    words = " ".join(w for w in (f"{photo}{taken.ending}", note.strip(), said) if w)
    made: list[Event | Sample] = [
        Event(photo, yard.trial, name, moment, "photo", who=who.strip(), note=words,
              trail=Trail("", source=_SOURCE))
    ]  # fmt: skip
    for key, typed, basis in read.samples if read else ():
        number = parse(typed, key, field=key).typical
        made.append(Sample(
            made_id("picture", photo, key), yard.trial, name, moment, key, number, typed=typed,
            method=read.how if read else "", basis=basis, note=f"photo {photo}",
            trail=Trail("", source=_SOURCE),
        ))  # fmt: skip
    write_whole(folder / f"{photo}{taken.ending}", taken.content)
    added = book.add(made, now=now)
    return Logged(yard.trial, tuple(made), added)


def _known(book: Book, trial: str, photo: str) -> Logged:
    """What stands in the book of a picture already; raises `EntryError` if it was withdrawn."""
    from heapwright.store.book import Added

    mine: Mapping[str, Any] = {
        e.trail.root: e for kind in ("event", "sample") for e in book.current(kind, trial)
    }
    if photo not in mine:
        raise EntryError(
            "this picture was kept before and withdrawn", field="picture", value=photo[:8],
            way_out=f"Restore it first: heapwright restore {photo} --why REASON",
        )  # fmt: skip
    found = [mine[photo], *(e for e in mine.values() if e.note == f"photo {photo}")]
    return Logged(trial, tuple(found), Added(), ("this is in the book already",))
