"""What a plan can show, before building."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.flow.commands import Command

from heapwright.services import reach as module

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
    assert [r["half_width_c"] for r in yards][:2] == pytest.approx([13.4, 9.4], abs=0.05)
    assert [r["floor"] for r in yards][1:4] == [0.5, 0.25, 0.125]
    assert found["now"]["found"] == pytest.approx(splits[1]["found"])
    for rows in (splits, yards):
        widths = [r["half_width_c"] for r in rows]
        assert widths == sorted(widths, reverse=True)
    assert "--weather" in found["without_sizes"]


def test_said_by_plan_check_too(plan: Path, command: Command) -> None:
    said = command("plan", "check", str(plan))[1]
    assert "two of them treated alike can differ by 11 C" in said
    assert "heapwright plan reach" in said
    text = command("plan", "reach", str(plan))[1]
    assert "a skipped round costs little" in text


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
