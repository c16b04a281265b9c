"""Plan files: what they mean, and what is said when they cannot be carried out."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from heapwright.errors import PlanError
from heapwright.exchange.planfile import read_plan_text
from heapwright.exchange.plankeys import TABLES
from heapwright.services.plans import example_plan, with_lots

SMALL = """
[trial]
name = "T"
starts = 2026-05-01
[[way]]
name = "turned"
kind = "turned"
every = "2 weeks"
[[way]]
name = "left alone"
kind = "left alone"
[[heap]]
name = "A"
[[heap]]
name = "B"
"""


def test_the_example_plan_is_read_whole(now: datetime) -> None:
    trial = read_plan_text(example_plan(), now=now)
    assert [h.name for h in trial.heaps] == list("ABCDEF")
    assert trial.locked.window_d == (5.0, 55.0)
    assert trial.locked.ends == date(2026, 6, 18)
    assert trial.locked.matters == 8.0
    assert trial.invented
    assert trial.ingredients[0].loads is not None
    assert trial.ingredients[0].loads.typical == 62
    assert trial.barrow_m3 is not None
    assert trial.barrow_m3.low == pytest.approx(0.08)
    assert trial.heap("C").downhill_of == "B"
    assert trial.way("turned").turn_ages_d(60) == (5, 19, 33, 47)


def test_the_example_shows_every_table() -> None:
    text = example_plan()
    assert [t.header for t in TABLES if t.header not in text] == []


def test_defaults_fill_a_small_plan(now: datetime) -> None:
    trial = read_plan_text(SMALL, now=now)
    assert trial.locked.decides == "mean_excess_c"
    assert trial.locked.control == "left alone"
    assert trial.locked.spread == 4.0
    assert trial.locked.ends == date(2026, 6, 26)
    assert trial.way("turned").every_d == 14


def test_lots_are_even_and_repeat(now: datetime) -> None:
    trial = read_plan_text(example_plan(), now=now)
    drawn = with_lots(trial)
    ways = [h.way for h in drawn.heaps]
    assert sorted(ways) == sorted(["turned", "vented", "left alone"] * 2)
    assert with_lots(trial) == drawn


def test_lots_respect_heaps_that_have_a_way(now: datetime) -> None:
    text = SMALL.replace('name = "A"', 'name = "A"\nway = "turned"')
    drawn = with_lots(read_plan_text(text, now=now))
    assert [h.way for h in drawn.heaps] == ["turned", "left alone"]


def test_degrees_fahrenheit_of_difference_are_scaled_not_shifted(now: datetime) -> None:
    text = SMALL + '[outcome]\nmatters = "14.4 F"\n'
    assert read_plan_text(text, now=now).locked.matters == pytest.approx(8.0)


def test_the_fingerprint_follows_locked_parts_only(now: datetime) -> None:
    first = read_plan_text(SMALL, now=now).locked.fingerprint
    assert (
        read_plan_text(SMALL + '[rounds]\nevery = "7 days"\n', now=now).locked.fingerprint == first
    )
    other = SMALL + '[outcome]\nmatters = "5 C"\n'
    assert read_plan_text(other, now=now).locked.fingerprint != first


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('kind = "turned"', 'kind = "tossed"', 7, "no such choice"),
        ('every = "2 weeks"', 'every = "2 furlongs"', 8, "does not fit"),
        ('every = "2 weeks"', 'evry = "2 weeks"', 8, "Did you mean every"),
        ('name = "B"', 'name = "A"', 15, "same name"),
        ('name = "B"', 'name = "B"\nway = "stirred"', 16, "Known: turned, left alone"),
        ('name = "B"', 'nam = "B"', 15, "Did you mean name"),
        ("starts = 2026-05-01", 'starts = "3/5/2026"', 4, "different days"),
        ("starts = 2026-05-01", "starts = 2026-05-41", 4, "not TOML"),
        ("[[heap]]", "[heap]", None, ""),
        ('name = "T"', "", 2, "needs the key name"),
        ('name = "B"', 'name = "B"\nvolume = "-3 m3"', 16, "must lie within"),
        ('name = "B"', 'name = "B"\nvolume = "3 gallons"', 16, "US gal or imp gal"),
        ('name = "B"', 'name = "B"\nleafiness = 30', 16, "Write 30 %"),
        ('name = "B"', 'name = "B"\nshape = "pyramid"', 16, "no such choice"),
    ],
)
def test_a_wrong_line_is_named(
    old: str, new: str, line: int | None, words: str, now: datetime
) -> None:
    assert old in SMALL
    with pytest.raises(PlanError) as caught:
        read_plan_text(SMALL.replace(old, new), now=now, name="plan.toml")
    message = caught.value.message
    assert message.startswith("plan.toml")
    assert words in message
    if line is not None:
        assert f"line {line}:" in message
    assert caught.value.exit_code == 2


def test_no_trial_table_is_said(now: datetime) -> None:
    with pytest.raises(PlanError, match=r"needs a \[trial\] table"):
        read_plan_text("[place]\nlatitude = 3\n", now=now)


def test_moisture_on_dry_basis_may_pass_one_hundred_per_cent(now: datetime) -> None:
    text = SMALL + '[[ingredient]]\nname = "chips"\namount = "3 barrows"\n'
    text += 'moisture = "120 %"\nbasis = "dry"\nmethod = "oven"\n'
    (chips,) = read_plan_text(text, now=now).ingredients
    measured = chips.own("moisture_wb")
    assert measured is not None
    kept, said = measured.as_kept("moisture_wb")
    assert kept.typical == pytest.approx(1.2 / 2.2)
    assert "dry basis" in said
    with pytest.raises(PlanError, match="must lie within"):
        read_plan_text(text.replace('"dry"', '"wet"'), now=now)


@pytest.mark.parametrize(("line", "seed"), [("seed = 0", 0), ("seed = 7", 7), ("", 1)])
def test_the_seed_is_the_one_that_was_written(line: str, seed: int, now: datetime) -> None:
    text = SMALL.replace('name = "T"', f'name = "T"\n{line}')
    assert read_plan_text(text, now=now).locked.seed == seed


@pytest.mark.parametrize("year", ["0001", "1026", "9999"])
def test_a_year_that_is_a_slip_is_refused_with_its_line(year: str, now: datetime) -> None:
    text = SMALL.replace("starts = 2026-05-01", f"starts = {year}-05-01")
    with pytest.raises(PlanError, match=r"line 4: starts.*so long ago or so far ahead"):
        read_plan_text(text, now=now)
