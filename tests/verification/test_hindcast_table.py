"""The stored hindcast: its form, its rule, its constants, and the page that is written from it."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from typing import Any

import numpy as np
import pytest
from benchmarks.hindcast import chamber, page
from benchmarks.hindcast.__main__ import RESULT
from benchmarks.hindcast.cases import HERE, all_cases, build, parameter_hash
from benchmarks.hindcast.measures import MEASURES, Facts, measure
from benchmarks.hindcast.score import KEYS, RULE, inside, is_comparison, tally

from heapwright.engine.parameters import Parameters

CASES = all_cases()
STORED: dict[str, Any] = json.loads(RESULT.read_text(encoding="utf-8"))
TAGS = {"S", "M", "C", "own"}


# --- the stored result ---------------------------------------------------------------------------


def test_the_form_of_the_result() -> None:
    assert {"version", "machine", "date", "parameter_hash", "tolerance_rule"} <= set(STORED)
    date.fromisoformat(STORED["date"])
    assert STORED["tolerance_rule"] == RULE
    assert len(STORED["rows"]) >= 80
    for row in STORED["rows"]:
        assert tuple(row) == KEYS
        assert row["case"]
        assert row["source"]
        assert row["unit"] in {"degC", "d", "%", "% O2", "kg", "m2", "share"}
        assert type(row["inside"]) is bool
        assert type(row["counted"]) is bool
        ends = [row["published_low"], row["published_high"]]
        assert any(e is not None for e in ends)
        assert None in ends or ends[0] <= ends[1]
        assert row["model"] is None or np.isfinite(row["model"])


def test_every_verdict_follows_the_rule() -> None:
    for row in STORED["rows"]:
        exact = is_comparison(row)
        found = inside(
            row["model"], row["published_low"], row["published_high"], row["unit"], exact=exact
        )
        assert found == row["inside"], row
        assert not (exact and row["counted"])
        assert not (row["counted"] and row["source"].startswith("common practice"))
    assert STORED["score"] == tally(STORED["rows"])


def test_the_result_was_made_with_these_constants() -> None:
    assert STORED["parameter_hash"] == parameter_hash(), "stale; run: make hindcast"


def test_the_rows_are_those_of_the_cases() -> None:
    rows = {(r["case"], r["quantity"]): r for r in STORED["rows"]}
    for case in CASES.values():
        for told in (*case.quantities, *case.orders):
            row = rows[case.title, told["quantity"]]
            assert row["published_low"] == told.get("low")
            assert row["published_high"] == told.get("high")
            assert row["unit"] == told["unit"]
            assert row["source"] == case.source


def test_at_least_three_fifths_come_out_inside() -> None:
    score = STORED["score"]
    assert score["counted"] >= 45
    assert score["inside"] / score["counted"] >= 0.6
    # and without the trial that a constant was fitted to
    assert score["untaught"] >= 45
    assert score["untaught_inside"] / score["untaught"] >= 0.6


def test_every_comparison_holds() -> None:
    failed = [r["quantity"] for r in STORED["rows"] if is_comparison(r) and not r["inside"]]
    assert failed == []


def test_balances_of_all_runs_close() -> None:
    limits = {"energy": 1e-3, "water": 1e-3, "carbon": 1e-4, "nitrogen": 1e-3, "oxygen": 2e-2}
    for run in STORED["runs"]:
        for account, error in run.get("balance_errors", {}).items():
            assert error <= limits[account], run


def test_the_forced_pile_is_blown_and_the_others_are_not() -> None:
    for way in ("NA", "PA", "FA"):
        heap = build(CASES["peat_poultry"], way).heap
        assert [a.kind for a in heap.actions] == (["air on"] if way == "FA" else [])
        assert all(p.forced_l_s > 0 for p in heap.pipes) == (way != "PA")
        assert bool(heap.pipes) == (way != "NA")


# --- the page ------------------------------------------------------------------------------------


def test_the_page_is_written_from_the_result() -> None:
    text = page.PAGE.read_text(encoding="utf-8")
    assert text == page.text(STORED), "stale; run: python -m benchmarks.hindcast --page"
    for row in STORED["rows"]:
        assert page.line(row) in text
    for figure in ("hindcast-ranges.svg", "hindcast-curves.svg"):
        assert f"../images/{figure}" in text
        assert (page.PAGE.parents[1] / "images" / figure).stat().st_size > 10_000


def test_misses_come_first() -> None:
    text = page.PAGE.read_text(encoding="utf-8")
    missed = [r for r in STORED["rows"] if r["counted"] and not r["inside"]]
    last = max(text.index(page.line(r)) for r in missed)
    assert last < text.index("## Inside")


# --- the rule and the measures -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("model", "low", "high", "unit", "expected"),
    [
        (71.0, 66.0, 66.0, "degC", True),
        (71.1, 66.0, 66.0, "degC", False),
        (55.0, None, 50.0, "degC", True),
        (55.1, None, 50.0, "degC", False),
        (14.25, 19.0, 29.0, "d", True),
        (14.2, 19.0, 29.0, "d", False),
        (36.25, 19.0, 29.0, "d", True),
        (45.0, 60.0, None, "d", True),
        (44.9, 60.0, None, "d", False),
        (None, 0.0, None, "d", False),
    ],
)
def test_the_allowance(
    model: float | None, low: float | None, high: float | None, unit: str, expected: bool
) -> None:
    assert inside(model, low, high, unit) is expected


def test_comparisons_have_no_allowance() -> None:
    assert not inside(-0.1, 0.0, None, "degC", exact=True)
    assert inside(0.1, 0.0, None, "degC", exact=True)


def made_up() -> Facts:
    """Ten days: up from 10 to 60 on day 2, held to day 4, down to 10 on day 9."""
    hours = np.arange(0, 241.0)
    core = np.interp(hours / 24, [0, 2, 4, 9, 10], [10.0, 60.0, 60.0, 10.0, 10.0])
    dry = np.linspace(100.0, 80.0, hours.size)
    return Facts(
        hours=hours,
        curves={"air_c": np.full(hours.size, 5.0), "dry_kg": dry, "water_kg": 1.5 * dry},
        spots={"core": core, "logger 1": core, "logger 2": core - 20.0},
        sources=(), cells=1, steps=1, cpu_s=0.0, errors={},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ({"measure": "peak", "of": "loggers max"}, 60.0),
        ({"measure": "peak", "of": "loggers mean"}, 50.0),
        ({"measure": "lowest", "of": "loggers min"}, -10.0),
        ({"measure": "day_of_peak", "of": "spot core"}, 2.0),
        ({"measure": "first_above", "of": "spot core", "level": 35}, 1.0),
        ({"measure": "first_above", "of": "spot core", "level": 61}, None),
        ({"measure": "last_above", "of": "spot core", "level": 60}, 4.0),
        ({"measure": "days_above", "of": "spot core", "level": 35}, 5.5),
        ({"measure": "falls_to", "of": "spot core", "level": 30}, 7.0),
        ({"measure": "at", "of": "spot core", "at": 1.0}, 35.0),
        ({"measure": "mean", "of": "spot core", "between": [2.0, 4.0]}, 60.0),
        ({"measure": "end", "of": "spot core"}, 10.0),
        ({"measure": "lost", "of": "dry_kg", "times": 100}, 20.0),
        ({"measure": "drop", "of": "water_kg"}, 30.0),
        ({"measure": "mass_lost", "times": 100}, 20.0),
    ],
)
def test_measures_of_a_made_up_run(told: dict[str, Any], expected: float | None) -> None:
    found = measure(made_up(), told)
    if expected is None:
        assert found is None
    else:
        assert found == pytest.approx(expected, abs=0.06)


def test_own_heat_is_neither_the_air_nor_what_it_was_built_with() -> None:
    facts = made_up()
    told = {"measure": "own_heat", "of": "spot core"}
    # air at 5 C: more than 15 C above it from 20 C on, after 0.4 days
    assert measure(facts, told | {"level": 15}) == pytest.approx(0.4, abs=0.05)
    assert measure(facts, told | {"level": 56}) is None


# --- the cases -----------------------------------------------------------------------------------


def test_nothing_but_material_heap_and_weather_differs() -> None:
    published = Parameters.published()
    for case in CASES.values():
        for variant in case.variants:
            setting = build(case, variant)
            same = setting.parameters.with_(permeability=published.permeability)
            assert same == published
            assert setting.heap.spots


def test_every_input_has_a_source_and_a_tag() -> None:
    def walk(node: Any) -> None:
        if isinstance(node, dict):
            if "value" in node or "like" in node:
                assert node["from"]
                assert node["tag"] in TAGS
            for child in node.values():
                walk(child)
        elif isinstance(node, list):
            for child in node:
                walk(child)

    for path in (HERE / "cases").glob("*.toml"):
        told = tomllib.loads(path.read_text(encoding="utf-8"))
        walk(told)
        assert told["base"]["weather"]["from"]


def test_every_quantity_names_a_measure_there_is() -> None:
    for case in CASES.values():
        for told in (*case.quantities, *case.orders):
            assert told["measure"] in MEASURES
            assert "low" in told or "high" in told
            for variant in [told.get("which"), *told.get("mean_of", []), *told.get("least_of", [])]:
                assert variant is None or variant in case.variants


def test_weather_meets_the_published_air_and_rain() -> None:
    weather = build(CASES["willow_a"], "middle").weather
    hours = 140 * 24
    assert weather.air_temp_c[:hours].mean() == pytest.approx(18.0, abs=1e-9)
    assert weather.rain_mm[:hours].sum() == pytest.approx(334.0, abs=1e-6)


def test_the_mix_of_the_peat_piles_has_the_published_cn() -> None:
    made = build(CASES["peat_poultry"], "NA").recipe
    assert made.carbon / (made.organic_n + made.mineral_n) == pytest.approx(21.9, abs=0.5)


@pytest.mark.reference(
    source="Hernandez-Estrada et al. 2022, Forests 13(3):459, table A1",
    where="means of week 1 and week 4: 4.2 and 9.8 %",
)
def test_the_bags_of_the_humid_chamber() -> None:
    bags = chamber.bags()
    assert len(bags) == 6
    assert np.mean([loss for _, loss in bags[1]]) == pytest.approx(4.2, abs=0.05)
    assert np.mean([loss for _, loss in bags[4]]) == pytest.approx(9.8, abs=0.05)


def test_the_chamber_as_stored() -> None:
    stored = {(r["quantity"], r["model"]) for r in STORED["rows"] if "humid chamber" in r["case"]}
    assert {(r["quantity"], r["model"]) for r in chamber.rows()} == stored
