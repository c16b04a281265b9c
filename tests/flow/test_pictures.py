"""Pictures: the command, the page and the data say the same; what is kept can be read off again.

All pictures are drawn by the test (`tests.reference.drawn`) and invented.
"""

from __future__ import annotations

import html
import json
import re
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command, dump
from tests.flow.test_web_pages import (
    PAGE,
    TRIAL,
    book,
    client,
    client_of,
    finished,
    page,
    plain,
    said,
)
from tests.reference.drawn import WARM, as_file, cast_on, discs

from heapwright.science.pictures import chart
from heapwright.services.imaging import kept_picture
from heapwright.store.book import Book
from heapwright.web.access import Role

__all__ = ["book", "client", "finished"]

CARD, AREA = "25,25,50,50", "100,20,180,160"
COLOUR = {"card": CARD, "area": AREA}
SIZE = {"scale": "100 mm", "ends": "10,10,410,10"}


def brown(level: float = 1.0) -> np.ndarray:
    """Dark brown beside a white card under a warm lamp."""
    linear = np.full((200, 300, 3), np.array(chart()[0].light) * level)
    linear[20:80, 20:80] = 0.88
    return cast_on(linear, WARM)


def pieces() -> np.ndarray:
    """36 pieces of 5, 7.5 and 10 mm at 4 px a millimetre."""
    drawn = (discs([20.0, 30.0, 40.0] * 12, columns=9) * 255).astype(np.uint8)
    return np.repeat(drawn[..., None], 3, axis=-1)


@pytest.fixture
def colour_file(tmp_path: Path) -> Path:
    path = tmp_path / "brown.png"
    path.write_bytes(as_file(brown()))
    return path


@pytest.fixture
def size_file(tmp_path: Path) -> Path:
    path = tmp_path / "pieces.png"
    path.write_bytes(as_file(pieces()))
    return path


def send(client: TestClient, file: Path, what: str, status: int = 303) -> Any:
    form = {"trial": TRIAL, "what": what, "heap": "A"}
    with file.open("rb") as opened:
        answer = client.post("/finish/pictures", data=form, files={"file": (file.name, opened)},
                             headers=PAGE)  # fmt: skip
    assert answer.status_code == status, answer.text[-3000:]
    return answer


def held_of(answer: Any) -> str:
    return parse_qs(urlsplit(answer.headers["location"]).query)["held"][0]


def over_time(command: Command, book: Path, *heap: str) -> Any:
    """What the command says; of the book itself, since its photos lie beside it."""
    code, out, err = command("picture", "history", *heap, "--json", "--book", str(book))
    assert code == 0, err
    return json.loads(out)


def options(marks: dict[str, str]) -> list[str]:
    return [w for k, v in marks.items() for w in (f"--{k}", v)]


@pytest.mark.parametrize(("what", "marks"), [("colour", COLOUR), ("size", SIZE)])
def test_a_picture_says_the_same_by_command_and_on_the_page(
    client: TestClient, command: Command, colour_file: Path, size_file: Path, what: str,
    marks: dict[str, str],
) -> None:  # fmt: skip
    file = colour_file if what == "colour" else size_file
    code, out, err = command("picture", what, str(file), *options(marks), "--json")
    assert code == 0, err
    found = json.loads(out)
    asked = {"held": held_of(send(client, file, what)), "what": what, "ask": "yes", **marks}
    shown = plain(client.get("/finish/pictures/mark", params=asked, headers=PAGE).text)
    for line in (*found["words"], *found["known"], *found["sources"]):
        assert line in shown, line
    code, out, _ = command("picture", what, str(file), *options(marks))
    assert found["words"][0] in " ".join(out.split())


def test_the_numbers_are_those_that_were_drawn(
    command: Command, colour_file: Path, size_file: Path
) -> None:
    colour = json.loads(command("picture", "colour", str(colour_file), *options(COLOUR),
                                "--json")[1])  # fmt: skip
    assert colour["numbers"]["lab"] == pytest.approx(chart()[0].lab, abs=0.8)
    size = json.loads(command("picture", "size", str(size_file), *options(SIZE), "--json")[1])
    assert size["numbers"]["count"] == 36
    assert size["numbers"]["d90_mm"] == pytest.approx(10.0, rel=0.03)
    assert size["numbers"]["d10_mm"] == pytest.approx(5.2, rel=0.05)


def test_what_is_kept_stands_in_the_book_and_can_be_read_off_again(
    client: TestClient, command: Command, book: Path, colour_file: Path, size_file: Path,
    tmp_path: Path,
) -> None:  # fmt: skip
    for file, what, marks, when in (
        (colour_file, "colour", COLOUR, "2 June 2026 9:00"),
        (size_file, "size", SIZE, "2 June 2026 9:05"),
    ):
        asked = {"held": held_of(send(client, file, what)), "what": what, **marks, "heap": "B",
                 "trial": TRIAL, "when": when, "who": "Ann", "note": "damp"}  # fmt: skip
        answer = client.post("/finish/pictures/keep", data=asked, headers=PAGE)
        assert answer.status_code == 303, answer.text[-3000:]
    with Book(str(book)) as opened:
        samples = {s.quantity: s for s in opened.current("sample", TRIAL, heap="B")
                   if s.note.startswith("photo ")}  # fmt: skip
        photos = [e for e in opened.current("event", TRIAL, heap="B") if e.what == "photo"]
    assert sorted(samples) == ["colour_a", "colour_b", "colour_l", "particle_d10_mm",
                               "particle_d50_mm", "particle_d90_mm"]  # fmt: skip
    assert samples["colour_l"].value == pytest.approx(chart()[0].lab[0], abs=0.8)
    assert samples["particle_d90_mm"].typed.endswith(" mm")
    assert [e.who for e in photos] == ["Ann", "Ann"]
    assert "white card 25,25,50,50; area 100,20,180,160" in photos[0].note
    for photo in photos:
        kept = Path(f"{book}.photos") / photo.note.split()[0]
        what, marks = ("colour", COLOUR) if "card" in photo.note else ("size", SIZE)
        again = command("picture", what, str(kept), *options(marks), "--json")
        numbers = json.loads(again[1])["numbers"]
        if "lab" in numbers:
            assert f"{numbers['lab'][0]:.2f}" == samples["colour_l"].typed
        else:
            assert f"{numbers['d50_mm']:.4g} mm" == samples["particle_d50_mm"].typed
        shown = client.get(f"/finish/pictures/photo/{kept.name}")
        assert shown.headers["content-type"] == "image/png"
        assert (kept_picture(kept).pixels.shape[2], shown.content) == (3, kept.read_bytes())
        assert client.get(f"/finish/pictures/outline/{kept.name}").content[:4] == b"\x89PNG"


def _keep(command: Command, book: Path, file: Path, when: str, heap: str = "A") -> str:
    code, out, err = command("picture", "colour", str(file), *options(COLOUR), "--heap", heap,
                             "--when", when, "--book", str(book))  # fmt: skip
    assert code == 0, err
    return out


def test_the_same_picture_twice_is_one_entry(
    command: Command, book: Path, colour_file: Path
) -> None:
    assert "Kept as a photo and 3 samples of heap A" in _keep(command, book, colour_file, "2 June")
    before = dump(book)
    assert "This is in the book already." in _keep(command, book, colour_file, "3 June")
    assert dump(book) == before
    found = said(command, book, "history", "--heap", "A")
    photo = next(e for e in found if "photo" in e["what"])
    assert command("withdraw", photo["id"], "--why", "blurred", "--book", str(book))[0] == 0
    code, _, err = command("picture", "colour", str(colour_file), *options(COLOUR), "--heap", "A",
                           "--book", str(book))  # fmt: skip
    assert code == 2
    assert "kept before and withdrawn" in err


def test_colour_over_time_by_command_page_data_and_finish(
    client: TestClient, command: Command, book: Path, tmp_path: Path
) -> None:
    assert over_time(command, book)["words"] == [
        "Nothing was read off a picture yet. Lay a white card or a rule beside a handful and take "
        "one."
    ]  # fmt: skip
    for n, (level, when) in enumerate(((1.0, "2 June 2026"), (0.5, "12 June 2026"))):
        file = tmp_path / f"{n}.png"
        file.write_bytes(as_file(brown(level)))
        _keep(command, book, file, when)
    for heap in ((), ("A",)):
        found = over_time(command, book, *heap)
        assert client.get("/api/pictures", params={"heap": "".join(heap)}).json() == found
    first, last = (r["colour_l"] for r in found["numbers"]["rows"])
    assert last < first - 5
    assert found["words"] == [f"Heap A: L* went from {first:.3g} to {last:.3g} in 10 days."]
    for where in ("/finish/pictures", "/finish"):
        text = page(client, where)
        assert found["words"][0] in plain(text)
        assert "Read off pictures, over heap age" in text  # the chart


def test_photos_off_which_nothing_was_read_are_counted_and_paired(
    client: TestClient, command: Command, book: Path, tmp_path: Path
) -> None:
    assert "has no photo yet" in page(client, "/finish/pictures/pair?heap=C")
    form = {"trial": TRIAL, "heap": "C", "note": "by the gate"}
    for n, level in enumerate((1.0, 0.7)):
        files = {"file": (f"{n}.jpg", as_file(brown(level), "JPEG"))}
        assert client.post("/finish/pictures/pair", data=form, files=files,
                           headers=PAGE).status_code == 303  # fmt: skip
    text = page(client, "/finish/pictures/pair?heap=C")
    assert "The outline of the last photo of heap C" in plain(text)
    names = re.findall(r"/finish/pictures/(outline|photo)/([\w-]+\.jpg)", text)
    assert len({name for _, name in names}) == 2
    found = over_time(command, book, "C")
    assert "2 photos are kept off which nothing was read" in found["words"][-1]
    assert (found["numbers"]["photos"], found["numbers"]["photos_not_read"]) == (2, 2)
    for file in Path(f"{book}.photos").iterdir():
        file.unlink()
    found = over_time(command, book, "C")
    assert "2 photos are in the book whose file is not beside it" in found["words"][-1]
    assert client.get(f"/finish/pictures/photo/{names[0][1]}").status_code == 404


@pytest.mark.parametrize(
    ("content", "reason"),
    [
        (b"not a picture", "neither JPEG nor PNG"),
        (b"", "neither JPEG nor PNG"),
        (b"\xff" * 15_000_001, "larger than 15 MB"),
        (as_file(brown(), "JPEG")[:900], "broken"),
    ],
)
def test_what_is_no_picture_is_refused_on_the_page_and_nothing_is_kept(
    client: TestClient, book: Path, content: bytes, reason: str
) -> None:
    before = dump(book)
    files = {"file": ("x.jpg", content)}
    for where, more in (("/finish/pictures", {"what": "colour"}), ("/finish/pictures/pair",
                                                                   {"heap": "A"})):  # fmt: skip
        answer = client.post(where, data={"trial": TRIAL, **more}, files=files, headers=PAGE)
        assert answer.status_code == 422
        assert reason in answer.text
    assert client.post("/finish/pictures", data={"trial": TRIAL}, headers=PAGE).status_code == 422
    assert dump(book) == before
    assert not Path(f"{book}.photos").exists()
    assert not Path(f"{book}.pictures").exists()


def test_a_picture_that_cannot_be_used_says_why_and_keeps_the_marks(
    client: TestClient, colour_file: Path, size_file: Path, book: Path
) -> None:
    before = dump(book)
    cases = [
        (colour_file, "colour", {"area": AREA}, "no card and no chart is marked"),
        (colour_file, "colour", {"card": "100,20,50,50", "area": AREA}, None),
        (colour_file, "colour", {"card": "25,25,9,9", "area": AREA}, "the card is too small"),
        (size_file, "size", {"scale": "100 mm"}, "no scale is marked"),
        (size_file, "size", {**SIZE, "area": "0,0,120,120"}, "too few whole particles"),
    ]
    for file, what, marks, reason in cases:
        held = held_of(send(client, file, what))
        asked = {"held": held, "what": what, "ask": "yes", **marks}
        answer = client.get("/finish/pictures/mark", params=asked, headers=PAGE)
        assert answer.status_code == (422 if reason else 200), (marks, answer.text[-2000:])
        if reason:
            assert reason in html.unescape(answer.text)
            kept = client.post("/finish/pictures/keep", headers=PAGE,
                               data={"held": held, "what": what, "trial": TRIAL, "heap": "A",
                                     **marks})  # fmt: skip
            assert kept.status_code == 422
        for text in marks.values():
            assert f'value="{text}"' in answer.text
    assert dump(book) == before


def test_only_pictures_are_served_and_a_reader_sends_none(
    client: TestClient, book: Path, colour_file: Path
) -> None:
    for name in ("yard.sqlite", "x.jpg", "..%2fyard.sqlite", "a.png.jpg", "%2e%2e"):
        for kind in ("photo", "outline", "held"):
            assert client.get(f"/finish/pictures/{kind}/{name}").status_code == 404, (kind, name)
    reader = client_of(book, Role.READER)
    assert send(reader, colour_file, "colour", 403)
    assert page(reader, "/finish/pictures")
