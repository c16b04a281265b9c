"""Pictures taken in: judged before they are opened out, turned upright, written anew."""

from __future__ import annotations

import struct
import zlib
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms
from tests.reference.drawn import as_file

from heapwright.errors import InputError, UnknownNameError
from heapwright.services.imaging import Marks, kept_picture, read_colour, read_size, take_picture
from heapwright.services.picturedesk import forget_picture, held_picture, hold_picture


def _png_head(width: int, height: int) -> bytes:
    """A PNG that says it is so large; its pixels are a few bytes."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(
            ">I", zlib.crc32(name + data))  # fmt: skip

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 999))
            + chunk(b"IEND", b""))  # fmt: skip


def _picture(width: int = 80, height: int = 60) -> np.ndarray:
    made = np.zeros((height, width, 3), dtype=np.uint8)
    made[:, : width // 4] = (220, 30, 30)
    return made


@pytest.mark.filterwarnings("ignore::PIL.Image.DecompressionBombWarning")
@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"", "neither JPEG nor PNG"),
        (b"\xff\xd8\xff", "neither JPEG nor PNG"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "neither JPEG nor PNG"),
        (as_file(_picture(), "GIF"), "neither JPEG nor PNG"),
        (as_file(_picture(), "BMP"), "neither JPEG nor PNG"),
        (as_file(_picture(400, 300), "JPEG")[:800], "broken"),
        (as_file(_picture(400, 300))[:200], "broken"),
        (_png_head(10_000, 10_000), "more than 50 million pixels"),
        (_png_head(60_000, 60_000), "more than 50 million pixels"),
        (b"\xff" * 15_000_001, "larger than 15 MB"),
    ],
)
def test_files_that_cannot_be_used_are_refused_with_the_reason(content: bytes, reason: str) -> None:
    with pytest.raises(InputError, match=reason) as caught:
        take_picture(content, "heap.jpg")
    assert caught.value.field == "picture"
    assert caught.value.way_out


@pytest.mark.parametrize("mode", ["CMYK", "I;16", "1"])
def test_other_kinds_of_pixels_are_refused(mode: str) -> None:
    out = BytesIO()
    Image.new(mode, (40, 30)).save(out, "JPEG" if mode == "CMYK" else "PNG")
    with pytest.raises(InputError, match="pictures of kind"):
        take_picture(out.getvalue())


def test_a_phone_held_upright_gives_an_upright_picture_and_no_place(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # turned by a quarter
    exif[0x010F] = "MAKER OF PHONES"
    exif.get_ifd(0x8825)[1] = "N"
    exif.get_ifd(0x8769)[36867] = "2026:05:03 07:10:22"
    out = BytesIO()
    Image.fromarray(_picture()).save(out, "JPEG", exif=exif, quality=95)
    taken = take_picture(out.getvalue())
    assert taken.pixels.shape == (80, 60, 3)
    assert taken.pixels[5, 30, 0] > 200  # what lay to the left is on top
    assert taken.clock == "2026-05-03 07:10"
    assert b"MAKER" not in taken.content
    assert not Image.open(BytesIO(taken.content)).getexif()
    path = tmp_path / "a.jpg"
    path.write_bytes(taken.content)
    assert (kept_picture(path).pixels == taken.pixels).all()  # what is kept is what is measured


def test_what_is_written_into_a_png_is_left_out() -> None:
    from PIL.PngImagePlugin import PngInfo

    info = PngInfo()
    info.add_text("Author", "somebody")
    out = BytesIO()
    Image.fromarray(_picture()).save(out, "PNG", pnginfo=info)
    taken = take_picture(out.getvalue())
    assert taken.ending == ".png"
    assert b"somebody" not in taken.content
    assert (taken.pixels == _picture()).all()


def test_a_profile_of_another_space_is_applied() -> None:
    out = BytesIO()
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB"))
    Image.fromarray(_picture()).save(out, "PNG", icc_profile=lab.tobytes())
    assert np.abs(take_picture(out.getvalue()).pixels.astype(int) - _picture()).max() <= 1


@pytest.mark.parametrize("mode", ["RGBA", "L", "LA", "P"])
def test_ordinary_kinds_become_red_green_blue(mode: str) -> None:
    out = BytesIO()
    Image.fromarray(_picture()).convert(mode).save(out, "PNG")
    taken = take_picture(out.getvalue())
    assert taken.pixels.shape == (60, 80, 3)
    assert taken.grey == (mode in ("L", "LA"))


@pytest.mark.parametrize(
    ("marks", "field", "reason"),
    [
        (Marks(), "card", "no card and no chart is marked"),
        (Marks(area="0,0,60,60"), "card", "no card and no chart is marked"),
        (Marks(card="0,0,19,30"), "area", "no place is marked"),
        (Marks(card="1,2,3", area="0,0,60,60"), "card", "4 numbers in pixels"),
        (Marks(card="a,b,c,d", area="0,0,60,60"), "card", "4 numbers in pixels"),
        (Marks(card="nan,0,9,9", area="0,0,60,60"), "card", "4 numbers in pixels"),
        (Marks(card="0,0,30,30", card_is="pink", area="0,0,60,60"), "card", "no such card"),
        (Marks(chart="1,2,3,4,5", area="0,0,60,60"), "chart", "4 or 8 numbers"),
    ],
)
def test_colour_without_marks_is_refused(marks: Marks, field: str, reason: str) -> None:
    with pytest.raises(InputError, match=reason) as caught:
        read_colour(take_picture(as_file(_picture(200, 200))), marks)
    assert caught.value.field == field


def test_a_black_and_white_picture_holds_no_colour(tmp_path: Path) -> None:
    out = BytesIO()
    Image.fromarray(_picture(200, 200)).convert("L").save(out, "JPEG")
    taken = take_picture(out.getvalue())
    marks = Marks(card="0,0,40,40", area="60,60,60,60")
    with pytest.raises(InputError, match="black and white"):
        read_colour(taken, marks)
    path = tmp_path / "a.jpg"
    path.write_bytes(taken.content)
    with pytest.raises(InputError, match="black and white"):
        read_colour(kept_picture(path), marks)


@pytest.mark.parametrize(
    ("marks", "field", "reason"),
    [
        (Marks(), "scale", "no scale is marked"),
        (Marks(scale="100 mm"), "ends", "no scale is marked"),
        (Marks(ends="0,0,150,0"), "scale", "no scale is marked"),
        (Marks(scale="100 mm", ends="0,0,150"), "ends", "4 numbers"),
        (Marks(scale="100 kg", ends="0,0,150,0"), "scale", "unit"),
        (Marks(scale="100 mm", ends="0,0,50,0"), "ends", "too near"),
        (Marks(scale="100 mm", ends="0,0,900,0"), "ends", "outside the picture"),
        (Marks(scale="100 mm", ends="0,0,150,0", area="0,0,20,20"), "area", "too small"),
        (Marks(scale="100 mm", ends="0,0,150,0"), "picture", "too few"),
    ],
)
def test_size_without_a_scale_is_refused(marks: Marks, field: str, reason: str) -> None:
    picture = np.full((200, 200, 3), 230, dtype=np.uint8)
    picture[80:100, 80:100] = 30
    with pytest.raises(InputError, match=reason) as caught:
        read_size(take_picture(as_file(picture)), marks)
    assert caught.value.field == field


def test_a_large_picture_is_reduced_and_keeps_its_millimetres() -> None:
    from tests.reference.drawn import discs

    drawn = (discs([90.0] * 24, noise=0.0, apart=4.0) * 255).astype(np.uint8)
    assert max(drawn.shape) > 1600
    content = as_file(np.repeat(drawn[..., None], 3, axis=-1))
    read = read_size(take_picture(content), Marks(scale="10 cm", ends="1,1,1001,1"))
    assert read.part.numbers["d50_mm"] == pytest.approx(9.0, rel=0.03)
    assert read.part.numbers["mm_per_px"] > 0.1


# --- pictures that wait --------------------------------------------------------------------------


def test_a_picture_waits_until_it_is_kept_and_no_other_file_is_found(tmp_path: Path) -> None:
    book = str(tmp_path / "book.sqlite")
    taken = take_picture(as_file(_picture()))
    name = hold_picture(book, taken)
    assert held_picture(book, name).read_bytes() == taken.content
    for other in ("../book.sqlite", "x.png", "0" * 32 + ".png", "", name.upper()):
        with pytest.raises(UnknownNameError, match="waits here no longer"):
            held_picture(book, other)
    forget_picture(book, name)
    forget_picture(book, name)
    with pytest.raises(UnknownNameError):
        held_picture(book, name)


def test_no_more_than_thirty_wait(tmp_path: Path) -> None:
    book = str(tmp_path / "book.sqlite")
    taken = take_picture(as_file(_picture(8, 8)))
    names = [hold_picture(book, taken) for _ in range(35)]
    assert len(list((tmp_path / "book.sqlite.pictures").iterdir())) == 30
    assert held_picture(book, names[-1])
