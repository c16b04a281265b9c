"""Make the INVENTED series of three vessels: ``python -m benchmarks.series.invent``.

Units: degrees C, % wet basis. Conventions: the truth is another kinetics than the one that is
fitted (six groups of microbes); readings every six hours with a noise of 0.7 C, moisture
every third day with 1 point (own choices). The seed makes it the same every time.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from heapwright.domain.material import Mix
from heapwright.engine.composition import recipe
from heapwright.engine.kinetics import Kinetics
from heapwright.engine.vesselrun import run_vessel
from heapwright.exchange.planfile import read_plan_tables
from heapwright.exchange.vesselplan import planned_vessels

DATA = Path(__file__).parent / "data"
_SEED, _DAYS, _NOISE_C, _NOISE_WB = 20261129, 12, 0.7, 1.0


def main() -> None:
    """Run the vessels of the plan and write the sheet."""
    rng = np.random.default_rng(_SEED)
    _, tables = read_plan_tables(DATA / "vessels.toml", now=datetime(2026, 1, 1, tzinfo=UTC))
    kinetics = Kinetics.published()
    lines = ["# INVENTED by benchmarks/series/invent.py: nobody built these vessels"]
    lines.append("day,vessel,temperature (C),moisture (%)")
    for planned in planned_vessels(tables):
        matter = recipe(Mix((planned.ingredient,)), leafy_share=planned.leafiness)
        run = run_vessel(
            planned.vessel, days=_DAYS, recipe=matter, kinetics=kinetics, biology="six groups"
        )
        for step in range(4 * _DAYS + 1):
            at = 6.0 * step
            temp = np.interp(at, run.hours, run.curves["temp_c"]) + rng.normal(0, _NOISE_C)
            wet = 100 * np.interp(at, run.hours, run.curves["moisture_wb"])
            shown = f"{wet + rng.normal(0, _NOISE_WB):.1f}" if step and step % 12 == 0 else ""
            lines.append(f"{step / 4:g},{planned.name},{temp:.1f},{shown}")
    (DATA / "vessels.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
