"""The main job on real data: the coffee-husk field trial in, findings and a report out."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from tests.flow.commands import Command

DATA = Path(__file__).parents[1] / "data"
SHEET = DATA / "expdes_ex4_turning_interval_x_manure.csv"
ANSWERS = ["kind=samples", "heap=revol+rep", "column.c=carbon_dm:%", "column.n=nitrogen_dm:%",
           "columns=named"]  # fmt: skip


@pytest.fixture
def coffee(command: Command, monkeypatch: pytest.MonkeyPatch) -> Command:
    """The trial of 12 coffee-husk heaps without manure, locked and imported."""
    monkeypatch.setenv("HEAPWRIGHT_NOW", datetime(2009, 9, 1, tzinfo=UTC).isoformat())
    assert command("plan", "lock", str(DATA / "coffee_husk_plan.toml"))[0] == 0
    monkeypatch.setenv("HEAPWRIGHT_NOW", datetime(2026, 7, 2, tzinfo=UTC).isoformat())
    answers = [w for a in ANSWERS for w in ("--answer", a)]
    code, out, err = command(
        "import", str(SHEET), "--where", "esterco=sem", "--when", "2010-01-01", *answers
    )
    assert code == 0, err
    assert "24 new" in out
    return command


@pytest.mark.reference(
    source="Rezende 2010 thesis (UFLA), data as in R package ExpDes 1.2.2",
    where="12 heaps without manure; Dunnett half-widths recomputed in R: C 12.44, N 0.779 %",
)
def test_the_coffee_husk_trial_comes_out_as_findings(
    coffee: Command,
) -> None:
    code, out, err = coffee("findings", "Coffee husk", "--json")
    assert code == 0, err
    found = json.loads(out)
    assert found["missing"] == {}
    by_outcome: dict[str, list[dict[str, object]]] = {}
    for comparison in found["comparisons"]:
        by_outcome.setdefault(comparison["outcome"], []).append(comparison)
    assert set(by_outcome) == {"carbon_dm", "nitrogen_dm"}
    for key, half, digit in (("carbon_dm", 12.44, 0.005), ("nitrogen_dm", 0.779, 0.0005)):
        assert {c["way"] for c in by_outcome[key]} == {f"every {d} days" for d in (5, 10, 15)}
        for c in by_outcome[key]:
            assert c["unit"] == "%"
            assert c["df"] == 8
            assert (c["high"] - c["low"]) / 2 == pytest.approx(half, abs=digit)
            text = json.dumps(c)
            assert "4 C" not in text
            assert "informed" not in text.lower()
    claims = {c["way"]: c["claim"] for c in by_outcome["carbon_dm"]}
    assert claims["every 10 days"] == "real, perhaps too small"
    assert claims["every 5 days"] == claims["every 15 days"] == "cannot tell"


def test_the_coffee_husk_trial_comes_out_as_a_report(coffee: Command, tmp_path: Path) -> None:
    page = tmp_path / "report.html"
    code, _, err = coffee("report", "Coffee husk", "--out", str(page))
    assert code == 0, err
    text = page.read_text(encoding="utf-8")
    assert "Does turning more often" in text
    assert "every 20 days" in text
    assert "Dunnett" in text
    assert "Temperature shows how fast" not in text
