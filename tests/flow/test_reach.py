"""What a plan can show, before building."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from tests.flow.commands import Command

from heapwright.services import reach as module
from heapwright.stats.power import Layout, classical_gap
from heapwright.stats.prior import SpreadPrior

CLIMATE = """
latitude_deg = 52
longitude_deg = -1.5
mean_c = [4, 4, 6, 9, 12, 15, 17, 17, 14, 11, 7, 5]
range_c = [6, 6, 8, 9, 10, 10, 10, 10, 9, 7, 6, 5]
rain_mm = [60, 45, 45, 45, 50, 50, 50, 55, 55, 70, 65, 65]
"""


@pytest.fixture
def plan(tmp_path: Path, command: Command) -> Path:
    path = tmp_path / "plan.toml"
    path.write_text(command("plan", "example")[1], encoding="utf-8")
    return path


def test_figures_of_the_design(plan: Path, command: Command) -> None:
    found = json.loads(command("plan", "reach", str(plan), "--json")[1])
    splits, yards = found["splits"], found["yards"]
    # three ways: two of one heap and a control, as in docs/explain/comparing-fairly.md
    assert splits[0]["half_width_c"] == pytest.approx(15.5, abs=0.05)
    assert [r["floor"] for r in splits[1:4]] == pytest.approx([1 / 3, 0.1, 0.0286], abs=1e-3)
    # yards: the paired t, as the claim over yards rests on it
    assert [r["each"] for r in yards] == [2, 3, 4, 5, 6]
    assert [r["half_width_c"] for r in yards][:3] == pytest.approx([46.5, 14.3, 9.5], abs=0.06)
    assert [r["detectable_c"] for r in yards][:3] == pytest.approx([74.9, 21.2, 13.8], abs=0.06)
    assert [r["floor"] for r in yards][:3] == [0.5, 0.25, 0.125]
    assert found["now"]["found"] == pytest.approx(splits[1]["found"])
    for rows in (splits, yards):
        widths = [r["half_width_c"] for r in rows]
        assert widths == sorted(widths, reverse=True)
    assert "--weather" in found["without_sizes"]


def test_said_by_plan_check_too(plan: Path, command: Command) -> None:
    said = command("plan", "check", str(plan))[1]
    assert "ways that do nothing at all can still come out 11 C apart" in said
    assert "heapwright plan reach" in said
    text = command("plan", "reach", str(plan))[1]
    assert "a skipped round costs little" in text
    assert "Three yards are the least for a claim" in text
    assert "treated alike can differ" not in text


HEAD = """
[trial]
name = "Rows"
starts = 2026-03-01
invented = true
[outcome]
ends = 2026-06-01
"""


def shown(
    command: Command, folder: Path, outcome: str, ways: dict[str, str], heaps: list[tuple[str, str]]
) -> dict[str, Any]:
    """What `plan reach` says of an invented plan; ways with factors, heaps as (way, block)."""
    text = HEAD + outcome
    for name, factors in ways.items():
        text += f'[[way]]\nname = "{name}"\nkind = "left alone"\n'
        text += f"factors = {factors}\n" if factors else ""
    for k, (way, block) in enumerate(heaps):
        text += f'[[heap]]\nname = "H{k}"\nway = "{way}"\n'
        text += f'block = "{block}"\n' if block else ""
    path = folder / "rows.toml"
    path.write_text(text, encoding="utf-8")
    found: dict[str, Any] = json.loads(command("plan", "reach", str(path), "--json")[1])
    return {**found, "text": command("plan", "reach", str(path))[1]}


WARM = 'decides = "mean_excess_c"\nwindow = "5-55 days"\nmatters = "8 C"\ncontrol = "left"\n'
TWO = {"left": "", "turned": ""}


def test_blocks_are_taken_out_of_the_plan_as_it_stands(tmp_path: Path, command: Command) -> None:
    pairs = [(way, block) for block in "abcd" for way in TWO]
    now = shown(command, tmp_path, WARM, TWO, pairs)
    assert now["rests"] == "Heaps are compared within their 4 blocks."
    assert now["now"]["floor"] == 2 / 2**4
    assert now["now"]["half_width_c"] == pytest.approx(Layout.pairs(4).half_width())
    # a block short of a way: none is taken out
    short = shown(command, tmp_path, WARM, TWO, [*pairs[:-1], ("left", "d")])
    assert (short["rests"], short["now"]["floor"]) == ("", 1 / math.comb(8, 3))
    # two heaps of one way in a block: no mirror image
    uneven = shown(command, tmp_path, WARM, TWO, [*pairs[:4], ("left", "a")])
    assert uneven["now"]["floor"] == pytest.approx(1 / (3 * 2))


CROSSED = {
    "left": '["turning: never", "material: bark"]',
    "left grass": '["turning: never", "material: grass"]',
    "turned": '["turning: weekly", "material: bark"]',
    "turned grass": '["turning: weekly", "material: grass"]',
}


def test_factors_rest_on_the_heaps_at_each_level(tmp_path: Path, command: Command) -> None:
    found = shown(command, tmp_path, WARM, CROSSED, [(w, "") for w in CROSSED] * 2)
    assert found["sentences"][0] == (
        "Figures are for turning weekly (4 heaps) against never (4 heaps), whatever else is varied."
    )
    # 8 heaps, 4 combinations: 4 degrees of freedom; the prior's 8 beside
    wide = Layout(4, (4,), taken=2)
    assert (wide.within_df, found["now"]["each"]) == (4, 4)
    assert found["now"]["half_width_c"] == pytest.approx(wide.half_width())
    assert found["now"]["floor"] == pytest.approx(2 / 70)
    single = shown(command, tmp_path, WARM, CROSSED, [(w, "") for w in CROSSED])
    assert "Fewer than half of the combinations" in " ".join(single["sentences"])
    three = [(w, "") for w in CROSSED if w != "turned grass"] * 2
    rests = shown(command, tmp_path, WARM, CROSSED, three)["rests"]
    assert "turning weekly (2 heaps) against never (4 heaps)" in rests
    assert "so real ranges are wider" in rests
    more = shown(command, tmp_path, WARM, CROSSED, [(w, "") for w in [*CROSSED, "left"]] * 2)
    assert "so real ranges are wider" in more["rests"]
    # what is counted is compared by way only
    sown = 'decides = "came_up"\ncontrol = "left"\n'
    assert shown(command, tmp_path, sown, CROSSED, [(w, "") for w in CROSSED] * 2)["rests"] == ""


def test_other_outcomes_are_told_in_standard_deviations(tmp_path: Path, command: Command) -> None:
    carbon = 'decides = "carbon_dm"\ncontrol = "left"\n'
    found = shown(command, tmp_path, carbon, TWO, [(w, "") for w in TWO] * 3)
    assert [r["each"] for r in found["splits"]] == [2, 3, 4, 5, 6]
    told = [r["in_sds"] for r in found["splits"]]
    assert told == pytest.approx([classical_gap(n, 1.0) for n in range(2, 7)], abs=1e-5)
    assert found["now"]["in_sds"] == pytest.approx(told[1])
    assert (found["yards"], found["spots"], found["now"]["half_width_c"]) == ([], "", None)
    assert "[C]" not in found["text"]
    assert " C " not in found["text"]
    assert "3.1 times how far heaps of one way usually differ" in found["text"]
    one = shown(command, tmp_path, carbon, TWO, [("left", ""), ("turned", ""), ("left", "")])
    assert "can be told but not tested" in one["sentences"][0]
    assert one["now"]["in_sds"] is None


def test_rounds_are_told_where_they_matter(tmp_path: Path, command: Command) -> None:
    heaps = [(w, "") for w in TWO] * 2
    for more, doubt in (
        (WARM, "about 17 rounds"),
        (WARM.replace("5-55", "5-12"), ""),
        (WARM.replace("5-55", "20-20"), ""),
        (WARM.replace("mean_", "peak_"), ""),
    ):
        said = shown(command, tmp_path, more, TWO, heaps)["spots"]
        assert doubt in said if doubt else said == ""
    often = shown(command, tmp_path, WARM + '[rounds]\nevery = "0.1 days"\n', TWO, heaps)
    assert "half the rounds would leave hardly more" in often["spots"]


def test_the_locked_spread_and_its_worth_count(tmp_path: Path, command: Command) -> None:
    heaps = [(w, "") for w in TWO] * 2
    own = WARM + 'spread = "3 C"\nspread_worth = 20\n'
    found = shown(command, tmp_path, own, TWO, heaps)["now"]
    prior = SpreadPrior(s0_c=3.0, nu0=20.0)
    assert found["half_width_c"] == pytest.approx(Layout.even(2).half_width(prior=prior))
    assert found["found"] == pytest.approx(Layout.even(2).power(8.0, prior=prior))


def test_single_heaps_and_outcomes_that_are_only_described(
    tmp_path: Path, command: Command
) -> None:
    said = shown(command, tmp_path, WARM, TWO, [("left", ""), ("turned", "")])["sentences"]
    assert "two that are treated alike can differ by 13 C" in said[0]
    path = tmp_path / "rows.toml"
    path.write_text(path.read_text().replace("mean_excess_c", "degree_hours_55").replace(
        'matters = "8 C"\n', ""), encoding="utf-8")  # fmt: skip
    code, _, refused = command("plan", "reach", str(path))
    assert code != 0
    assert "described and never tested" in refused


def test_more_and_smaller_heaps_heat_less(
    plan: Path, command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "_MEMBERS", 4)
    monkeypatch.setattr(module, "_DAYS", 8.0)
    monkeypatch.setattr(module, "_MOST_EACH", 2)
    climate = tmp_path / "climate.toml"
    climate.write_text(CLIMATE, encoding="utf-8")
    found = json.loads(command("plan", "reach", str(plan), "--weather", str(climate), "--json")[1])
    one, two = found["sizes"]
    assert one["volume_m3"] == pytest.approx(2 * two["volume_m3"])
    assert one["peak_c"][1] > two["peak_c"][1]
    assert 0 <= one["cold"] <= two["cold"] <= 1


def test_a_plan_that_compares_nothing_is_refused_by_name(tmp_path: Path, command: Command) -> None:
    path = tmp_path / "one.toml"
    path.write_text(
        '[trial]\nname = "One"\nquestion = "How does it go?"\nseed = 1\n'
        '[outcome]\nends = 2026-09-01\nwindow = "5-55 days"\n[[heap]]\nname = "A"\n',
        encoding="utf-8",
    )
    code, _, said = command("plan", "reach", str(path))
    assert code != 0
    assert "compares nothing" in said
    assert command("plan", "check", str(path))[0] == 0
