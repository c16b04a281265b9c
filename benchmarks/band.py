"""Whether the band over time holds for whole curves, how wide it is, and where it is too narrow.

Run: ``python benchmarks/band.py [--trials 4000] [--seed 20260501]``. Invented data throughout: the
generator of `heapwright.stats.naive`, heaps treated alike. Prints tables and writes
``benchmarks/results/band.json``.
"""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.stats.band import band_critical, pooled_spread
from heapwright.stats.contrast import t_quantile
from heapwright.stats.naive import Study, null_readings
from heapwright.stats.prior import SpreadPrior

Floats = NDArray[np.float64]
RESULT = Path(__file__).parent / "results" / "band.json"
PRIOR = SpreadPrior.published()
#: Generators that wander otherwise than the band assumes.
OTHERS = {
    "40 rounds": Study(rounds=40),
    "10 rounds": Study(rounds=10),
    "nothing but lasting": Study(fixed_share=1.0),
    "30 % lasting": Study(fixed_share=0.3),
    "quick swings of 3 C": Study(quick_sd_c=3.0),
    "one spot": Study(spots=1),
    "spots differ by 4 C": Study(spot_sd_c=4.0),
}


def differences(
    rng: np.random.Generator, trials: int, n: int, study: Study, ways: int, sigma_c: float | None
) -> tuple[Floats, Floats]:
    """Differences from the first way, shape (trials, ways - 1, rounds), and sums of squares."""
    excess, _, _ = null_readings(rng, trials, heaps=ways * n, study=study, sigma_c=sigma_c)
    y = excess.mean(axis=-1).reshape(trials, ways, n, study.rounds)
    means = y.mean(axis=2)
    within = ((y - means[:, :, None]) ** 2).sum(axis=(1, 2))
    return means[:, 1:] - means[:, :1], within


def coverage(
    rng: np.random.Generator,
    trials: int,
    n: int,
    *,
    study: Study | None = None,
    ways: int = 2,
    sigma_c: float | None = None,
) -> dict[str, Any]:
    """How often no curve leaves its band at any round, and the half-widths."""
    study = study or Study()
    gap, within = differences(rng, trials, n, study, ways, sigma_c)
    s, df = pooled_spread(within, study.days, ways * (n - 1), PRIOR)
    critical = band_critical(study.days, n, [n] * (ways - 1), df, prior=PRIOR)
    half = critical * s * math.sqrt(2 / n)
    largest = np.abs(gap).max(axis=(1, 2))
    one_age = t_quantile(0.95, df) * s * math.sqrt(2 / n)
    free = ways * (n - 1)
    share = 1 - 0.05 / (study.rounds * (ways - 1))
    bonferroni = t_quantile(share, free) * np.sqrt(within / free * 2 / n)
    return {
        "ways": ways,
        "heaps_each": n,
        "sigma_c": sigma_c or "3 to 6",
        "critical": critical,
        "df": df,
        "coverage": float((largest <= half).mean()),
        "half_width_c": float(half.mean()),
        "coverage_of_one_age_intervals": float((largest <= one_age).mean()),
        "bonferroni_half_width_c": float(bonferroni.mean()),
    }


def seen_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """A real difference until day 30, none after: how often it is seen, and where it is not."""
    study, rows = Study(), []
    early = study.days <= 30
    for n in (2, 3, 4):
        for real in (10.0, 15.0, 20.0):
            gap, within = differences(rng, trials, n, study, 2, None)
            s, df = pooled_spread(within, study.days, 2 * n - 2, PRIOR)
            half = band_critical(study.days, n, [n], df, prior=PRIOR) * s * math.sqrt(2 / n)
            out = np.abs(gap[:, 0] + real * early) > half[:, None]
            rows.append(
                {
                    "heaps_each": n,
                    "difference_until_day_30_c": real,
                    "seen_at_some_age": float(out[:, early].any(axis=1).mean()),
                    "share_of_those_ages_seen": float(out[:, early].mean()),
                    "claimed_at_an_age_without_one": float(out[:, ~early].any(axis=1).mean()),
                }
            )
    return rows


def table(rows: list[dict[str, Any]]) -> str:
    """Rows as plain text."""
    keys = list(rows[0])

    def cell(value: Any) -> str:
        return f"{value:.3f}" if isinstance(value, float) else str(value)

    lines = [keys, *([cell(row[k]) for k in keys] for row in rows)]
    wide = [max(len(line[i]) for line in lines) for i in range(len(keys))]
    return "\n".join(
        "  ".join(c.rjust(w) for c, w in zip(line, wide, strict=True)) for line in lines
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=4000)
    parser.add_argument("--seed", type=int, default=20260501)
    given = parser.parse_args()
    rng, trials = np.random.default_rng(given.seed), given.trials
    each = (2, 3, 4)
    result: dict[str, Any] = {
        "trials": trials,
        "seed": given.seed,
        "as_assumed": [coverage(rng, trials, n) for n in each],
        "sigma_8": [coverage(rng, trials, n, sigma_c=8.0) for n in each],
        "fixed_sigma": [
            coverage(rng, trials, n, sigma_c=sigma) for sigma in (3.0, 4.5, 6.0) for n in each
        ],
        "more_ways": [coverage(rng, trials, n, ways=ways) for ways in (3, 4) for n in each],
        "other_wandering": [
            {"generator": name, **coverage(rng, trials, n, study=study)}
            for name, study in OTHERS.items()
            for n in (2, 3)
        ],
        "seen": seen_rows(rng, trials),
    }
    RESULT.parent.mkdir(exist_ok=True)
    RESULT.write_text(json.dumps(result, indent=2) + "\n", encoding="utf-8")
    for name, rows in result.items():
        if isinstance(rows, list):
            print(f"\n{name}\n{table(rows)}")


if __name__ == "__main__":
    main()
