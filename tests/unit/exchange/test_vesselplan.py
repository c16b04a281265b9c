"""Vessels of a laboratory in a plan file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from heapwright.errors import PlanError
from heapwright.exchange.planfile import read_plan_tables, read_plan_text
from heapwright.exchange.vesselplan import PlannedVessel, planned_vessels

NOW = datetime(2026, 5, 1, tzinfo=UTC)
PLAN = """[trial]
name = "Bench"
[[vessel]]
name = "V1"
mass = "20 kg"
moisture = "60 %"
cn = 25
wall_r = "2 m2K/W"
wall_area = "0.5 m2"
air_flow = "0.3 L/min per kg dry"
air_humidity = "80 %"
room = [[0, "20 C"], [5, "77 F"]]
moistened = [[6, "60 %"]]
"""


def _read(text: str, folder: Path) -> tuple[PlannedVessel, ...]:
    path = folder / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return planned_vessels(read_plan_tables(path, now=NOW)[1])


def test_a_vessel_with_all_its_units(tmp_path: Path) -> None:
    (made,) = _read(PLAN, tmp_path)
    v = made.vessel
    assert (v.dry_kg, v.moisture_wb, v.wall_w_k) == (8.0, 0.6, 0.25)
    assert v.air_l_min == pytest.approx(2.4)
    assert v.room_c == ((0.0, 20.0), (120.0, pytest.approx(25.0)))
    assert [(a.age_d, a.kind, a.amount) for a in v.actions] == [(6.0, "moistened", 0.6)]
    assert made.ingredient.like == "mixed_yard_trimmings"
    assert made.said == ("material not named: taken as mixed yard trimmings, by its C:N of 25",)
    assert not made.hold_out


@pytest.mark.parametrize(
    ("cn", "like"),
    [(12, "food_scraps_kitchen_mixed"), (30, "mixed_yard_trimmings"),
     (90, "arborist_chips_green_with_leaves_twigs"), (500, "wood_chips_shavings_hardwood")],
)  # fmt: skip
def test_a_material_that_is_not_named_follows_from_its_cn(
    cn: int, like: str, tmp_path: Path
) -> None:
    (made,) = _read(PLAN.replace("cn = 25", f"cn = {cn}"), tmp_path)
    assert made.ingredient.like == like


def test_a_chamber_keeps_temperature_and_moisture(tmp_path: Path) -> None:
    text = PLAN[: PLAN.index("wall_r")] + (
        'held = true\nroom = "30 C"\nmoisture_kept = [[0, "57 %"], ["7 days", 0.5]]\n'
        "hold_out = true\nfilled = 2026-05-01\n"
    )
    (made,) = _read(text, tmp_path)
    assert made.vessel.moisture_kept == ((0.0, pytest.approx(0.57)), (168.0, 0.5))
    assert made.hold_out
    assert made.filled is not None


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('name = "V1"\n', "", "needs the key name"),
        ('moisture = "60 %"\n', "", "[[vessel]] V1 needs the key moisture"),
        ('mass = "20 kg"\n', "", "vessel V1, mass"),
        ("cn = 25\n", "", "vessel V1, cn"),
        ('wall_area = "0.5 m2"\n', "", "wall_resistance, or both wall_r and wall_area"),
        ("wall_r =", "wal_r =", "no such key in [[vessel]] V1. Did you mean wall_r"),
        ("per kg dry", "per kg", "vessel V1, air_flow"),
        ('"0.3 L/min per kg dry"', '"a lot"', "vessel V1, air_flow"),
        ('"20 kg"', '"20 m"', "vessel V1, mass"),
        ('[[6, "60 %"]]', "[6]", "a list of [day, value]"),
        ('[5, "77 F"]', '[0, "77 F"]', "days rise"),
        ('moisture = "60 %"', "moisture = 60", "Write 60 %"),
        ('moisture = "60 %"', 'moisture = "97 %"', "vessel V1, moisture"),
        ("cn = 25", 'cn = 25\nheld = true\nstart = "20 C"', "vessel V1, start"),
        ("cn = 25", 'material = "moon dust"', "vessel V1, material"),
        ("cn = 25", 'cn = 25\nnitrogen = "2 %"', "vessel V1, nitrogen"),
        ("cn = 25", 'cn = 25\nmoisture_kept = "50 %"', "vessel V1, moisture_kept"),
        ("cn = 25", 'cn = 25\ndry_mass = "8 kg"', "vessel V1, mass"),
    ],
)
def test_errors_name_line_vessel_and_key(old: str, new: str, words: str, tmp_path: Path) -> None:
    assert old in PLAN
    with pytest.raises(PlanError) as error:
        _read(PLAN.replace(old, new, 1), tmp_path)
    assert words in error.value.message
    assert "plan.toml, line" in error.value.message


def test_two_vessels_of_one_name_are_refused(tmp_path: Path) -> None:
    again = PLAN[PLAN.index("[[vessel]]") :].replace("V1", "v1")
    with pytest.raises(PlanError, match="same name"):
        _read(PLAN + again, tmp_path)


def test_a_trial_takes_no_vessels() -> None:
    with pytest.raises(PlanError, match="check-forecast"):
        read_plan_text(PLAN, now=NOW)
