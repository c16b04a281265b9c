"""The four answers, from words."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from heapwright.domain.answers import (
    parse_heaps,
    parse_probe,
    parse_ways,
    parse_what,
    read_answers,
)
from heapwright.errors import InputError

NOW = datetime(2026, 5, 7, 12, 0, tzinfo=UTC)


def test_the_whole_line() -> None:
    told = read_answers(
        "nine barrows of shredded prunings and two of grass mowings, three heaps, today, "
        "probe 50 cm",
        now=NOW,
    )
    assert [(i.name, i.loads and i.loads.typical) for i in told.ingredients] == [
        ("shredded prunings", 9),
        ("grass mowings", 2),
    ]
    assert (told.heaps, told.made, told.probe_m) == (3, date(2026, 5, 7), 0.5)
    assert told.ways == ()
    assert told.alike is None


def test_clauses_in_another_order_and_ways_over_two_clauses() -> None:
    told = read_answers(
        "probe 20 in, 2 heaps made yesterday, one turned, one left alone, 1.5 m3 of wood chips",
        now=NOW,
    )
    assert told.ways == ("turned", "left alone")
    assert told.alike is False
    assert told.probe_m == pytest.approx(0.508)
    assert told.made == date(2026, 5, 6)
    assert told.ingredients[0].volume_m3 is not None


def test_nothing_said_is_nothing_known() -> None:
    told = read_answers("", now=NOW)
    assert told.ingredients == ()
    assert told.heaps is None


@pytest.mark.parametrize(
    ("text", "ways", "alike"),
    [
        ("all treated alike", (), True),
        ("one turned, one with pipes, one left alone", ("turned", "vented", "left alone"), False),
        ("turning one of them", ("turned", "left alone"), False),
        ("differently", (), False),
        ("no idea", (), None),
    ],
)
def test_ways(text: str, ways: tuple[str, ...], alike: bool | None) -> None:
    assert parse_ways(text) == (ways, alike)


@pytest.mark.parametrize(
    ("text", "heaps", "made"),
    [
        ("three heaps, today", 3, date(2026, 5, 7)),
        ("3", 3, None),
        ("two heaps made on 3 May", 2, date(2026, 5, 3)),
        ("12 piles", 12, None),
    ],
)
def test_heaps(text: str, heaps: int, made: date | None) -> None:
    assert parse_heaps(text, now=NOW) == (heaps, made)


def test_probe() -> None:
    assert parse_probe("50 cm") == 0.5
    assert parse_probe("30") == 0.3
    assert parse_probe("no probe") is None


@pytest.mark.parametrize(
    "text", ["wood chips", "9 barrows", "9 of chips", "3 bags of leaves", ",", "nine"]
)
def test_what_cannot_be_read_is_said(text: str) -> None:
    with pytest.raises(InputError):
        parse_what(text)


def test_too_many_heaps() -> None:
    with pytest.raises(InputError, match="1 to 60"):
        parse_heaps("400 heaps", now=NOW)


@pytest.mark.parametrize(
    ("text", "heaps", "made"),
    [
        ("heaps built 2 May", None, date(2026, 5, 2)),
        ("two warm heaps built 2026-05-03", 2, date(2026, 5, 3)),
        ("13 bins from 3 May", 13, date(2026, 5, 3)),
        ("a heap built a week ago", 1, date(2026, 4, 30)),
        ("3, 2 May", 3, date(2026, 5, 2)),
        ("heaps: 4", 4, None),
    ],
)
def test_a_day_of_the_month_is_no_number_of_heaps(
    text: str, heaps: int | None, made: date | None
) -> None:
    assert parse_heaps(text, now=NOW) == (heaps, made)


@pytest.mark.parametrize("text", ["many heaps", "0 heaps", "zero heaps", "heaps"])
def test_heaps_that_are_no_number(text: str) -> None:
    with pytest.raises(InputError):
        parse_heaps(text, now=NOW)


def test_a_decimal_comma_is_not_the_end_of_a_clause() -> None:
    told = read_answers("10,5 barrows of Chips,Two Heaps, 5 cu. yds leaves. Probe 50 CM", now=NOW)
    assert [i.name for i in told.ingredients] == ["Chips", "leaves"]
    chips, leaves = told.ingredients
    assert chips.loads is not None
    assert chips.loads.typical == 10.5
    assert leaves.volume_m3 is not None
    assert leaves.volume_m3.typical == pytest.approx(5 * 0.9144**3)
    assert (told.heaps, told.probe_m) == (2, 0.5)


def test_thousands_are_not_read_as_a_decimal_comma() -> None:
    with pytest.raises(InputError, match=r"Write 1000 or 1\.000"):
        parse_what("1,000 litres of chips")


def test_a_probe_that_reaches_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="some way into a heap"):
        parse_probe("probe 0 cm")
