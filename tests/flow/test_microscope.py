"""Fields into the book and out again: command, page and data say the same; nothing is graded.

All data are invented.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from tests.flow.commands import Command
from tests.flow.test_web_pages import TRIAL, book, client, client_of, finished, page, plain

from heapwright.domain.entries import Sample
from heapwright.services.finishing import finish_parts
from heapwright.services.slides import log_fields, read_slide
from heapwright.store.book import Book
from heapwright.web.access import Role

__all__ = ["book", "client", "finished"]

NOW = datetime(2026, 6, 21, 8, tzinfo=UTC)
SLIDE = {
    "field": "0.45 mm", "cover": "18 x 18 mm", "drop": "0.05 mL", "dilution": "1 g to 100 mL",
    "cell": "rod 1.2 x 0.6 um", "dry": "45 %",
}  # fmt: skip
ASKED = ("--size", "0.45 mm", "--cover", "18 x 18 mm", "--drop", "0.05 mL", "--dilution",
         "1 g to 100 mL", "--cell", "rod 1.2 x 0.6 um", "--dry", "45 %")  # fmt: skip
FIELDS = ("12 cells; 0.02 mm at 4 um; 0.05 at 5", "18 cells; 0.04 mm at 6 um", "9 cells; no hyphae",
          "21 cells; 0.06 mm at 8 um")  # fmt: skip


def _given() -> list[str]:
    return [word for line in FIELDS for word in ("--field", line)]


def _samples(path: Path) -> list[Sample]:
    with Book(path) as opened:
        return [s for s in opened.current("sample", TRIAL)
                if s.quantity in ("microbes", "hyphae_mm", "hypha_um")]  # fmt: skip


def test_fields_become_samples_with_text_and_slide(command: Command, book: Path) -> None:
    code, out, err = command("microscope", "A", *_given(), *ASKED, "--book", str(book))
    assert code == 0, err
    assert "Written: 4 fields, 12 values" in out
    kept = _samples(book)
    cells = {s.part: s.value for s in kept if s.quantity == "microbes"}
    assert cells == {"field 1": 12, "field 2": 18, "field 3": 9, "field 4": 21}
    lengths = {s.part: s.value for s in kept if s.quantity == "hyphae_mm"}
    assert lengths == pytest.approx(
        {"field 1": 0.07, "field 2": 0.04, "field 3": 0.0, "field 4": 0.06}
    )
    piece = next(s for s in kept if s.part == "field 1, piece 2")
    assert (piece.value, piece.basis) == (5.0, "over 0.05 mm")
    assert next(s for s in kept if s.part == "field 1").typed == FIELDS[0]
    assert all("cover 18 x 18 mm; drop 0.05 mL" in s.method for s in kept)


def test_figures_by_hand(command: Command, book: Path) -> None:
    words = ("microscope", "A", *_given(), *ASKED, "--json", "--book", str(book))
    code, out, err = command(*words)
    assert code == 0, err
    heap = json.loads(out)["numbers"]["heaps"]["A"]
    factor = (324 / (3.141592653589793 * 0.45**2 / 4)) * 100 / (0.05 * 0.45)
    assert heap["cells"]["mean"] == 15
    assert heap["cells"]["per_g"] == pytest.approx(15 * factor)
    rod = 3.141592653589793 * 0.3**2 * (1.2 - 0.2)
    assert heap["cells"]["mg_per_g"]["typical"] == pytest.approx(15 * factor * rod * 0.8e-9)
    assert heap["hyphae"]["m_per_g"] == pytest.approx(0.17 / 4 * factor / 1e3)
    square = (0.02 * 16 + 0.05 * 25 + 0.04 * 36 + 0.06 * 64) / 0.17
    assert heap["hyphae"]["rms_um"] == pytest.approx(square**0.5)
    above = 3.141592653589793 / 4 * (20 * 16 + 50 * 25 + 40 * 36 + 60 * 64)
    assert heap["ratio"]["by_volume"] == pytest.approx(above / (60 * rod))
    assert heap["ratio"]["low"] < heap["ratio"]["by_volume"] < heap["ratio"]["high"]
    folded = heap["ratio"]["by_volume"] / heap["ratio"]["by_mean_factors"]
    assert folded == pytest.approx(0.8 / 0.33)


def test_page_and_data_are_those_of_the_command(
    client: TestClient, command: Command, book: Path
) -> None:
    command("microscope", "A", *_given(), *ASKED, "--book", str(book))
    command("microscope", "B", "--field", "3 cells", "--field", "7 cells", *ASKED, "--book",
            str(book))  # fmt: skip
    for words, where in (((), ""), (("A",), "?heap=A")):
        code, out, err = command("microscope", *words, "--json", "--book", str(book))
        assert code == 0, err
        assert client.get(f"/api/microscope{where}").text + "\n" == out
        text = plain(page(client, f"/finish/microscope{where}"))
        part = json.loads(out)
        for line in part["words"]:
            assert " ".join(line.split()) in text
        for grid in part["grids"]:
            for row in grid["rows"]:
                assert " ".join(c for c in row if c) in text
    said = " ".join(part["words"])
    assert "not graded" in said
    assert "2.4 times" in said
    with Book(book) as opened:
        parts = finish_parts(opened, TRIAL, now=NOW)
    assert "What the microscope shows" in [p.title for p in parts]
    assert "What the microscope shows" in page(client, "/finish")


def test_the_form_writes_what_the_command_writes_and_once_only(
    client: TestClient, book: Path
) -> None:
    form = {"trial": TRIAL, "heap": "A", "fields": "\n".join(FIELDS), "entry": "sitting-1",
            "when": "20 June 10:00", **SLIDE}  # fmt: skip
    for _ in range(2):
        answer = client.post("/finish/microscope", data=form)
        assert answer.status_code == 303, answer.text
        assert len(_samples(book)) == 12
    assert "Kept: 4 fields of heap A" in page(client, answer.headers["location"])
    # the slide is offered again, but not the dry matter of another heap; fields go on numbering
    offered = page(client, "/finish/microscope/count")
    assert 'value="18 x 18 mm"' in offered
    assert 'value="45 %"' not in offered
    again = {**form, "entry": "sitting-2", "fields": "5 cells"}
    assert client.post("/finish/microscope", data=again).status_code == 303
    assert "field 5" in {s.part for s in _samples(book)}


@pytest.mark.parametrize(
    ("fields", "more", "named"),
    [
        ("12 cells; a few hyphae", {}, "a few hyphae"),
        ("12 cells\n7 crossings", {}, "line 2"),
        ("", {}, "1 to 200 fields"),
        ("field 1: 3 cells\nfield 1: 4 cells", {}, "field 1"),
        ("no hyphae; 0.2 mm", {}, "it says no hyphae, and hyphae"),
        ("3 cells; 0.2 mm at 900 um", {}, "diameter"),
        ("3 cells", {"cover": "18 mm"}, "square or round"),
        ("3 cells", {"cell": "rod 0.5 x 0.7 um"}, "at least as long as wide"),
        ("3 cells", {"field": "wide"}, "no number"),
        ("3 cells", {"dilution": "1:100"}, "dilution"),
    ],
)
def test_what_cannot_stand_is_named_and_nothing_is_written(
    client: TestClient, book: Path, fields: str, more: dict[str, str], named: str
) -> None:
    form = {"trial": TRIAL, "heap": "A", "fields": fields or " ", **SLIDE, **more}
    answer = client.post("/finish/microscope", data=form, headers={"accept": "text/html"})
    text = plain(answer.text)
    assert named in text, text
    assert "Nothing was written; what you typed stands below" in text
    assert fields.split("\n")[0] in text
    assert _samples(book) == []


def test_crossings_give_a_length(book: Path) -> None:
    with Book(book) as opened:
        slide = read_slide({"field": "0.16 mm2", "grid": "4 mm"})
        log_fields(opened, TRIAL, "A", ["10 crossings", "no crossings"], slide, now=NOW)
    first, second = sorted(_samples(book), key=lambda s: s.part)
    assert first.value == pytest.approx(3.141592653589793 * 10 * 0.16 / 8)
    assert (first.basis, second.value) == ("10 crossings", 0.0)


def test_what_is_missing_is_named(client: TestClient, command: Command, book: Path) -> None:
    code, _, err = command("microscope", "--book", str(book))
    assert code != 0
    assert "nothing was seen under a microscope of Ferncombe 2026 yet" in err
    text = plain(page(client, "/finish/microscope"))
    assert 'Write down a field, as in "12 cells; 0.4 mm at 4 um"' in text
    command("microscope", "A", "--field", "12 cells; 0.1 mm", "--book", str(book))
    _, out, _ = command("microscope", "A", "--book", str(book))
    text = " ".join(out.split())
    assert "nothing a gram: give the size of a field" in text
    assert "No ratio of fungi to bacteria for A: it needs the size of the cells and the diameter" \
        in text  # fmt: skip


def _all_heaps(book: Path, counts: dict[str, list[int]], size: Callable[[str], str]) -> None:
    with Book(book) as opened:
        for heap, found in counts.items():
            log_fields(opened, TRIAL, heap, [f"{n} cells" for n in found],
                       read_slide({**SLIDE, "field": size(heap)}), now=NOW)  # fmt: skip


COUNTS = {"A": [12, 15, 9], "B": [22, 28, 25], "C": [11, 13, 8], "D": [10, 14, 9],
          "E": [24, 30, 21], "F": [12, 9, 11]}  # fmt: skip


def test_ways_are_compared_by_heap_after_the_end_only(command: Command, book: Path) -> None:
    _all_heaps(book, COUNTS, lambda heap: "0.45 mm")
    _, out, _ = command("microscope", "--json", "--book", str(book))
    part = json.loads(out)
    assert len(part["numbers"]["compared"]) == 2
    for row in part["numbers"]["compared"]:
        assert row["outcome"] == "microbes"
        assert row["df"] == 3  # six heaps less three ways, not eighteen fields
    said = " ".join(part["words"])
    assert "The heap is the unit of a comparison, not the field" in said
    assert "a hint, not a finding" in said


def test_before_the_end_there_is_no_comparison(
    command: Command, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _all_heaps(book, COUNTS, lambda heap: "0.45 mm")
    monkeypatch.setenv("HEAPWRIGHT_NOW", "2026-06-10T08:00:00+00:00")
    _, out, _ = command("microscope", "--json", "--book", str(book))
    part = json.loads(out)
    assert part["numbers"]["compared"] == []
    assert any("compared from the locked end on, 18 June 2026" in w for w in part["words"])


def test_fields_of_different_size_are_not_compared(command: Command, book: Path) -> None:
    _all_heaps(book, COUNTS, lambda heap: "0.45 mm" if heap in "ABC" else "0.2 mm")
    _, out, _ = command("microscope", "--json", "--book", str(book))
    part = json.loads(out)
    assert part["numbers"]["compared"] == []
    assert any("fields of the heaps were not made in one way" in w for w in part["words"])


def test_a_reader_looks_and_a_helper_counts(book: Path) -> None:
    reader, helper = client_of(book, Role.READER), client_of(book, Role.HELPER)
    assert reader.get("/finish/microscope").status_code == 200
    assert "Put it in the book" not in reader.get("/finish/microscope").text
    assert reader.get("/finish/microscope/count").status_code == 403
    assert helper.get("/finish/microscope/count").status_code == 200
    form = {"trial": TRIAL, "heap": "A", "fields": "3 cells"}
    assert reader.post("/finish/microscope", data=form).status_code == 403
    assert helper.post("/finish/microscope", data=form).status_code == 303


def test_no_page_calls_it_good_or_bad(client: TestClient, command: Command, book: Path) -> None:
    command("microscope", "A", *_given(), *ASKED, "--book", str(book))
    text = plain(page(client, "/finish/microscope")).lower()
    assert not re.search(r"\b(good|bad|healthy|excellent|poor)\b", text)
