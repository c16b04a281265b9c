"""The page on the two kinetics says what they say, and what its prose leans on holds."""

from __future__ import annotations

from tests.verification.kinetics_page import PAGE, held, page, warming

GROUPS, LITERATURE, REFIT = range(3)


def test_the_page_is_what_the_runs_say() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), (
        "stale; run: python -m tests.verification.kinetics_page"
    )


def test_both_warm_within_three_days_and_then_part() -> None:
    assert all(warming(n).first_above(40) < 3.0 for n in range(3))
    assert warming(GROUPS).lost[-1] > 1.5 * warming(LITERATURE).lost[-1]
    assert warming(GROUPS).days_above(50) > 1.5 * warming(REFIT).days_above(50)


def test_the_literature_row_stops_short_and_the_rows_disagree() -> None:
    at_150 = {n: {t: held(n, t).lost[-1] for t in (30.0, 55.0)} for n in range(3)}
    assert all(lost < 0.13 for lost in at_150[LITERATURE].values())
    assert at_150[REFIT][30.0] > 2 * at_150[LITERATURE][30.0]
    assert at_150[REFIT][55.0] < 0.5 * at_150[REFIT][30.0]
    assert at_150[LITERATURE][55.0] > 0.5 * at_150[LITERATURE][30.0]
