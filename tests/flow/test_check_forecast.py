"""``check-forecast`` end to end on small INVENTED series: few possible vessels, few days."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from tests.flow.commands import Command

from heapwright.inference.fit import Settings
from heapwright.services import seriescheck

VESSEL = """[[vessel]]
name = "{name}"
mass = "20 kg"
moisture = "60 %"
cn = 25
wall_resistance = "2 K/W"
air_flow = "0.3 L/min per kg dry"
air_humidity = "50 %"
room = "20 C"
"""
TRIAL = '[trial]\nname = "Bench"\ninvented = true\n'
PLAN = TRIAL + VESSEL.format(name="V1") + VESSEL.format(name="V2")
#: day, temperatures of V1 and V2 [C], made up to look like a vessel
ROWS = [(0, 20, 20), (1, 42, 41), (2, 55, 54), (3, 52, 53), (4, 45, 46), (5, 40, 41)]
SHEET = "day,V1 (C),V2 (C)\n" + "\n".join(f"{d},{a},{b}" for d, a, b in ROWS) + "\n"
KEYS = {"rmse_c", "no_change_rmse_c", "cooling_rmse_c", "coverage80", "n"}
CLIMATE = """latitude_deg = 51.2
mean_c   = [5, 5, 7, 9, 12, 15, 17, 17, 14, 11, 8, 5]
range_c  = [6, 6, 8, 9, 10, 10, 10, 10, 9, 7, 6, 5]
rain_mm  = [70, 50, 50, 50, 55, 55, 55, 65, 65, 80, 75, 75]
"""
HEAP = (
    TRIAL
    + """starts = 2026-05-01
[place]
latitude = 51.2
time_zone = "Europe/London"
[[ingredient]]
name = "prunings"
like = "arborist chips"
amount = "1.4 m3"
moisture = "50 %"
[[heap]]
name = "A"
volume = "0.7 m3"
built = "2026-05-01 10:00"
[[heap]]
name = "B"
volume = "0.7 m3"
built = "2026-05-01 10:00"
[[spot]]
name = "core"
depth = "45 cm"
position = "top, straight down"
"""
)


@pytest.fixture(autouse=True)
def small(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Few possible heaps, so that a test takes seconds, in a folder of its own."""
    monkeypatch.setattr(seriescheck, "ROUGH", Settings(None, members=16, passes=2))
    monkeypatch.chdir(tmp_path)


@pytest.fixture
def checked(command: Command) -> Any:
    """Runs it on a sheet and a plan given as text: (exit code, output, errors)."""

    def call(sheet: str, plan: str, *words: str) -> tuple[int, str, str]:
        Path("series.csv").write_text(sheet, encoding="utf-8")
        Path("plan.toml").write_text(plan, encoding="utf-8")
        return command(
            "check-forecast", "series.csv", "--plan", "plan.toml", "--jobs", "1", *words
        )  # fmt: skip

    return call


def _json(made: tuple[int, str, str]) -> dict[str, Any]:
    code, out, err = made
    assert code == 0, err
    found: dict[str, Any] = json.loads(out)
    return found


def _width(found: dict[str, Any], heap: str) -> float:
    scored = found["heaps"][heap]["scored"]
    return float(sum(s["high"] - s["low"] for s in scored) / len(scored))


def test_the_answer_as_json(checked: Any) -> None:
    found = _json(checked(SHEET, PLAN, "--fit-until", "2", "--json"))
    more = {"fit_until", "heaps", "quantities", "learned", "doubted", "assumed", "sources"}
    assert KEYS | more <= set(found)
    assert (found["n"], found["fit_until"], found["readings_fitted"]) == (6, 2.0, 6)
    assert set(found["heaps"]) == {"V1", "V2"}
    for heap in found["heaps"].values():
        assert KEYS | {"held_out"} <= set(heap)
        assert heap["n"] == 3
        assert not heap["held_out"]
    # no change: V1 stays at 55, so it is off by 3, 10 and 15
    assert found["heaps"]["V1"]["no_change_rmse_c"] == pytest.approx((334 / 3) ** 0.5, abs=0.01)
    assert 0 < found["rmse_c"] < found["no_change_rmse_c"]
    assert {x["verdict"] for x in found["learned"]} <= {"learned", "partly", "only prior"}
    assert any(x["parameter"] == "rate" for x in found["learned"])
    assert any("V1: material not named" in a for a in found["assumed"])
    assert "readings: series.csv" in found["sources"]


def test_the_answer_in_words(checked: Any) -> None:
    code, out, err = checked(SHEET, PLAN, "--fit-until", "2", "--hold-out", "v2")
    assert code == 0, err
    assert out.startswith("The forecast did better than no change")
    assert "INVENTED DATA" in out
    assert "V2 (held out)" in out
    assert "V2 held out: what is said of it is what the others taught" in out
    assert out.index("in 80 %") < out.index("Learned") < out.index("Assumed:")
    assert out.index("Assumed:") < out.index("Sources:")


def test_a_held_out_vessel_teaches_nothing_and_has_a_wider_range(checked: Any) -> None:
    both = _json(checked(SHEET, PLAN, "--fit-until", "2", "--json"))
    one = _json(checked(SHEET, PLAN, "--fit-until", "2", "--json", "--hold-out", "V2"))
    said = _json(
        checked(SHEET, PLAN + "hold_out = true\n", "--fit-until", "2", "--json")
    )  # fmt: skip
    assert said == one
    assert one["readings_fitted"] == 3
    assert one["heaps"]["V2"]["held_out"]
    assert _width(one, "V2") > _width(both, "V2")
    assert _width(one, "V2") > _width(one, "V1")
    # its rivals still know its readings up to that day
    assert one["heaps"]["V2"]["no_change_rmse_c"] == both["heaps"]["V2"]["no_change_rmse_c"]
    # what it read before is of no matter to the forecast of it
    other = SHEET.replace("2,55,54", "2,55,35").replace("1,42,41", "1,42,29")
    changed = _json(checked(other, PLAN, "--fit-until", "2", "--json", "--hold-out", "V2"))
    assert changed["heaps"]["V2"]["rmse_c"] == one["heaps"]["V2"]["rmse_c"]


def test_degrees_f_and_other_layouts_give_the_same(checked: Any) -> None:
    plain = _json(checked(SHEET, PLAN, "--fit-until", "2", "--json"))
    rows = [f"{24 * d};{n};{1.8 * t + 32:.1f}".replace(".", ",")
            for d, a, b in ROWS for n, t in (("v1", a), ("V2", b))]  # fmt: skip
    other = "hour;vessel;temp (F)\n" + "\n".join(rows) + "\n"
    found = _json(checked(other, PLAN, "--fit-until", "2", "--json"))
    assert found["rmse_c"] == pytest.approx(plain["rmse_c"], abs=1e-3)


def test_loss_and_moisture_without_any_temperature(checked: Any) -> None:
    chamber = TRIAL + (
        '[[vessel]]\nname = "bag"\ndry_mass = "1 kg"\nmoisture = "57 %"\ncn = 120\nheld = true\n'
        'room = "30 C"\n'
    )
    sheet = "week,loss of dry matter (%),moisture (%)\n1,4.2,57\n2,6.4,\n3,7.5,56\n"
    found = _json(checked(sheet, chamber, "--fit-until", "14", "--json"))
    assert found["n"] == 0
    assert [found[k] for k in sorted(KEYS - {"n"})] == [None] * 4
    dry, wet = found["quantities"]["dry_kg"], found["quantities"]["moisture_wb"]
    assert (dry["n"], dry["unit"], wet["n"], wet["unit"]) == (1, "kg", 1, "%")
    assert dry["no_change_rmse"] == pytest.approx(0.011, abs=1e-4)
    assert dry["rmse"] < 0.05
    code, out, _ = checked(sheet, chamber, "--fit-until", "14")
    assert code == 0
    assert out.startswith("Of moisture the forecast did")
    assert "Of dry mass the forecast did" in out
    assert "No temperature was read after that day" in out


def test_heaps_with_dates_under_a_described_climate(checked: Any) -> None:
    Path("climate.toml").write_text(CLIMATE, encoding="utf-8")
    sheet = "date,A (C),B (C)\n" + "".join(
        f"2026-05-0{1 + d} 10:00,{a},{b}\n"
        for d, a, b in [(0, 15, 14), (1, 30, 26), (2, 44, 40), (3, 50, 47), (4, 50, 48)]
    )
    words = ("--weather", "climate.toml", "--fit-until", "2", "--json", "--hold-out", "B")
    found = _json(checked(sheet, HEAP, *words))
    assert (found["n"], found["readings_fitted"]) == (4, 3)
    assert _width(found, "B") > _width(found, "A")
    assert any("heap A: temperature when built: 15 C, as read" in a for a in found["assumed"])
    assert any("heap B: temperature when built" in a and "air" in a for a in found["assumed"])
    assert any("made up from monthly means" in s for s in found["sources"])


def test_air_in_the_sheet_serves_where_there_is_no_weather(checked: Any) -> None:
    sheet = "day,A (C),B (C),air (C)\n0,15,15,10\n1,30,26,12\n2,44,40,11\n2.5,47,43,12\n"
    found = _json(checked(sheet, HEAP, "--fit-until", "1", "--json"))
    assert found["n"] == 4
    code, _, err = checked(sheet.replace("air", "moon"), HEAP, "--fit-until", "1")
    assert code == 2
    assert "Give --weather FILE" in err


@pytest.mark.parametrize(
    ("sheet", "plan", "words", "said"),
    [
        # numbers in degrees F under a header that says C: the first is no start of 20 C
        (SHEET.replace("0,20,20", "0,68,68"), PLAN, (), ("line 2, column V1 (C)", "degrees F")),
        (SHEET.replace("2,55,54", "2,131,54"), PLAN, (), ("line 4, column V1 (C)", "131")),
        ("day,V1 mass (kg)\n1,19000\n9,1\n", PLAN, (), ("column V1 mass (kg)", "950 times less")),
        ("day,V1 height (m)\n1,1\n9,1\n", PLAN, (), ("column V1 height (m)", "neither height")),
        (SHEET, PLAN, ("--hold-out", "V9"), ("hold-out = V9", "V1, V2")),
        (SHEET, PLAN, ("--hold-out", "V1", "--hold-out", "V2"), ("V1, V2 held out",)),
        (SHEET, PLAN, ("--fit-until", "5"), ("no reading is left to be scored", "day 0 to 5")),
        (SHEET, PLAN, ("--fit-until", "-1"), ("fit-until = -1",)),
        (SHEET, PLAN, ("--fit-until", "nan"), ("fit-until = nan",)),
        (SHEET, PLAN.replace("cn = 25", "", 1), (), ("vessel V1, cn",)),
        (SHEET, PLAN.replace("wall_resistance", "wall"), (), ("[[vessel]] V1", "wall")),
        (SHEET, TRIAL, (), ("neither heaps nor vessels",)),
        (SHEET, PLAN.replace('"V2"', '"v1"'), (), ("same name",)),
        ("date,V1 (C)\n2026-05-01,20\n", PLAN, (), ("when V1 was built", "filled")),
        ("day,mood\n1,2\n", PLAN, (), ("no column holds values",)),
        ("", PLAN, (), ("series.csv", "empty")),
        (SHEET, "name = x\n", (), ("plan.toml, line 1",)),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(
    sheet: str, plan: str, words: tuple[str, ...], said: tuple[str, ...], checked: Any
) -> None:
    until = () if "--fit-until" in words else ("--fit-until", "2")
    code, out, err = checked(sheet, plan, *until, *words)
    assert (code, out) == (2, ""), err
    assert err.startswith("heapwright: ")
    assert err.count("\n") == 1
    for part in said:
        assert part in err


def test_other_commands_refuse_a_plan_with_vessels(command: Command) -> None:
    Path("plan.toml").write_text(PLAN, encoding="utf-8")
    for words in (("plan", "check", "plan.toml"), ("simulate", "--plan", "plan.toml")):
        code, _, err = command(*words)
        assert code == 2
        assert "Only heapwright check-forecast takes them" in err
