"""A forecast refuses what cannot be one."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from heapwright.domain.forecast import Forecast, check_print
from heapwright.errors import InputError, QuantityError

MADE = datetime(2026, 7, 2, 8, 0, tzinfo=UTC)
GOOD = Forecast("A", "core", MADE, MADE + timedelta(days=1), 48.0, 52.0, 57.0, print="0f3a")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"low": 53.0}, "mean"),
        ({"high": 51.0}, "mean"),
        ({"due": MADE}, "due"),
        ({"due": MADE + timedelta(milliseconds=400)}, "due"),
        ({"made": MADE.replace(tzinfo=None)}, "made"),
        ({"due": GOOD.due.replace(tzinfo=None)}, "due"),
        ({"mean": float("nan")}, "mean"),
        ({"high": float("inf")}, "high"),
        ({"no_change": float("nan")}, "no_change"),
        ({"cooling": float("-inf")}, "cooling"),
        ({"heap": " "}, "heap"),
        ({"print": ""}, "print"),
        ({"print": "x" * 17}, "print"),
    ],
)
def test_what_cannot_be_a_forecast_is_refused(change: dict[str, object], field: str) -> None:
    with pytest.raises(InputError) as caught:
        replace(GOOD, **change)  # type: ignore[arg-type]
    assert caught.value.field == field
    assert caught.value.way_out


def test_an_unknown_quantity_is_refused() -> None:
    with pytest.raises(QuantityError, match="no such quantity"):
        replace(GOOD, quantity="temperature of the moon")


def test_a_range_without_width_and_missing_rivals_can_stand() -> None:
    narrow = replace(GOOD, low=52.0, high=52.0)
    assert narrow.no_change is None
    assert narrow.cooling is None
    assert check_print("x" * 16) == "x" * 16


def test_when_the_book_took_it_is_not_what_it_says() -> None:
    assert replace(GOOD, recorded=MADE) == GOOD
