"""Balances of a whole heap over a season, on its own enthalpy and masses.

Error = residual over the sum of absolute sources and fluxes. What the heap holds is worked out anew
from temperature, ice and masses at the end, not from the fluxes.
"""

from __future__ import annotations

import pytest

from heapwright.domain.climate import Climate
from heapwright.engine.run import Run
from heapwright.engine.scenario import Action, HeapSpec, Pipe
from heapwright.engine.simulate import simulate
from heapwright.services.weather import described_year

#: what each account may be out by
LIMITS = {"energy": 1e-3, "water": 1e-3, "carbon": 1e-4, "nitrogen": 1e-3, "oxygen": 2e-2}
YEAR = described_year(
    Climate(
        mean_c=(3, 4, 6, 9, 13, 16, 18, 18, 15, 11, 7, 4), range_c=(6,) * 12, rain_mm=(60,) * 12,
        latitude_deg=52,
    ),
    seed=3,
)  # fmt: skip
DONE = (
    Action(5, "turned"), Action(15, "turned"), Action(20, "watered", 50), Action(30, "turned"),
    Action(35, "vent plugged"), Action(40, "watered", 50), Action(50, "vent opened"),
    Action(60, "covered"), Action(70, "uncovered"), Action(75, "vent pulled"),
)  # fmt: skip


def season(biology: str, days: float, start_d: float, dx_m: float = 0.1) -> Run:
    """A vented heap of leafy chips with turns, rain, watering and a cover."""
    heap = HeapSpec(
        1.3, leafy_share=0.15, start_c=14, exposure="sheltered", actions=DONE, dx_m=dx_m,
        pipes=(Pipe(((-1, 0, 0.15), (1, 0, 0.15))),),
    )  # fmt: skip
    return simulate(
        heap, weather=YEAR, days=days, start_h=24 * start_d, biology=biology, field_every_h=480
    )


@pytest.mark.parametrize(
    ("biology", "days", "start_d", "dx_m"),
    [
        ("group curves", 90, 120, 0.1),
        ("group curves", 60, 330 - 60, 0.15),
        ("six groups", 40, 120, 0.15),
    ],
    ids=["90 summer days", "autumn", "six groups"],
)
def test_all_accounts_close(biology: str, days: float, start_d: float, dx_m: float) -> None:
    run = season(biology, days, start_d, dx_m)
    assert run.complete
    for name, account in run.ledger.accounts().items():
        assert account.gross > 0
        assert account.error < LIMITS[name], (name, account.error)
    terms = run.ledger.water.terms
    assert terms["watering"] == pytest.approx(50.0 * sum(a.kind == "watered" and a.age_d < days
                                                         for a in DONE))  # fmt: skip
    assert terms["rain"] > 50
    assert terms["turning: vapour"] < 0
    assert run.totals["water_not_there_kg"] < 1e-3 * run.ledger.water.gross


def test_mass_is_lost_as_carbon_dioxide_and_water_only() -> None:
    """Dry mass lost is what its carbon, hydrogen and oxygen became: between 1.5 and 3 times the
    carbon (carbohydrate 2.25)."""
    run = season("group curves", 20, 120, 0.15)
    lost = run.curves["dry_kg"][0] - run.curves["dry_kg"][-1]
    carbon = -run.ledger.carbon.terms["carbon dioxide"]
    assert 1.5 < lost / carbon < 3.0
