"""Pasted lines of a probe round."""

from __future__ import annotations

import pytest

from heapwright.errors import EntryError, UnknownNameError
from heapwright.exchange.pasted import RoundLine, parse_round_line

HEAPS = ["A", "B", "C", "F", "north bin", "5-1"]
SPOTS = ["core", "south", "north"]


def read(text: str) -> RoundLine:
    return parse_round_line(text, heaps=HEAPS, spots=SPOTS)


def texts(line: RoundLine) -> dict[str, list[str | None]]:
    return {h: [t and t.text + t.unit for t in row] for h, row in line.heaps.items()}


def test_the_line_of_the_manual() -> None:
    line = read("A 52 48 55 B 41 44 40 air 12")
    assert texts(line) == {"A": ["52", "48", "55"], "B": ["41", "44", "40"]}
    assert line.air is not None
    assert line.air.number == 12
    assert (line.when, line.unit) == ("", "")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("A: 52/48/55; b 41,5 - x", {"A": ["52", "48", "55"], "B": ["41,5", None, None]}),
        ("a 52.5\n5-1 ? 48", {"A": ["52.5"], "5-1": [None, "48"]}),
        ("A 52, 48, 55 | B 41", {"A": ["52", "48", "55"], "B": ["41"]}),
        ("A 52,48,55", {"A": ["52", "48", "55"]}),
        ("North Bin 52 'F' 48", {"north bin": ["52"], "F": ["48"]}),
        ("A 131F 125°F 48 C", {"A": ["131F", "125F"], "C": []}),
        ("A 52 F 48", {"A": ["52"], "F": ["48"]}),
        ("A=52 B=-3", {"A": ["52"], "B": ["-3"]}),
    ],
)
def test_ways_of_writing_it(text: str, expected: dict[str, list[str | None]]) -> None:
    if expected.get("C") == []:
        with pytest.raises(EntryError, match="no reading follows"):
            read(text)
        return
    assert texts(read(text)) == expected


def test_a_unit_for_the_whole_line_and_a_decimal_comma() -> None:
    line = read("A 131 125,5 in F air 54")
    assert line.unit == "F"
    second = line.heaps["A"][1]
    assert second is not None
    assert second.number == 125.5


@pytest.mark.parametrize(
    ("text", "when"),
    [
        ("3 May 7:10 A 52", "3 May 7:10"),
        ("2026-05-03T07:10 A 52", "2026-05-03T07:10"),
        ("2026-05-03 07:10, A 52", "2026-05-03 07:10"),
        ("yesterday A 52", "yesterday"),
        ("about Tuesday A 52", "about Tuesday"),
        ("7:10 A 52", "7:10"),
        ("May 3, 2026 at 7:10 A 52", "May 3, 2026 at 7:10"),
    ],
)
def test_a_time_in_front(text: str, when: str) -> None:
    line = read(text)
    assert line.when == when
    assert texts(line) == {"A": ["52"]}


def test_new_names_and_names_of_digits() -> None:
    line = parse_round_line("1: 52 48 2: 41 bob 40", new=True)
    assert texts(line) == {"1": ["52", "48"], "2": ["41"], "bob": ["40"]}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "nothing was typed"),
        ("air 12", "no reading in this line"),
        ("A - - -", "no reading in this line"),
        ("A", "'A': no reading follows"),
        ("A B 52", "'A': no reading follows"),
        ("52 48", "'52': no heap stands before"),
        ("A 52 A 53", "'A': this heap stands twice"),
        ("A 52 air 12 air 13", "'air': the air is given twice"),
        ("A 52 air 12 13", "'13': the air takes one number"),
        ("A 52 air", "'air': no number follows"),
        ("A 52 48 55 4", "'4': heap A has more numbers than its 3 spots (core, south, north)"),
        ("A 52,48", "Write 52.48 or 52 48"),
        ("A 52.5.1", "'52.5.1'"),
        ("A (52)", "'(52)'"),
        ("A 1e9", "'1e9'"),
        ("A 52 in F in C", "two units"),
        ('A 52 "north bin 48', "not closed"),
        ("A --wen 52", "no such option"),
    ],
)
def test_what_cannot_stand_names_the_word(text: str, words: str) -> None:
    with pytest.raises(EntryError) as caught:
        read(text)
    assert words in caught.value.message


@pytest.mark.parametrize("text", ["Z 52", "A 52 Bee 48", "A fifty", '"west bin" 50', "7: 52"])
def test_a_heap_that_is_not_there(text: str) -> None:
    with pytest.raises(UnknownNameError, match="Known: A, B, C, F, north bin, 5-1"):
        read(text)
