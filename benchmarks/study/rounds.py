"""More rounds and more looks: what they do to plain analyses and to the contrast.

Units: degrees C above air, days. Conventions: trials without any effect.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from benchmarks.study.methods import heap_rows, naive_rows
from numpy.typing import NDArray

from heapwright.stats.contrast import t_quantile
from heapwright.stats.naive import Study, heap_means, null_readings
from heapwright.stats.prior import SpreadPrior

__all__ = ["looks_rows", "rounds_rows"]

Floats = NDArray[np.float64]


def rounds_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """False findings with one heap each, by rounds and by how far spots differ."""
    rows = []
    for rounds in (10, 20, 40):
        for spot_sd in (1.5, 4.0):
            study = Study(rounds=rounds, spot_sd_c=spot_sd)
            excess, _, _ = null_readings(rng, trials, study=study)
            found = [*heap_rows(heap_means(excess, study=study), None), *naive_rows(excess, None)]
            rows.append(
                {
                    "rounds": rounds, "spot_sd_c": spot_sd,
                    **{r["method"]: r["false_positive"] for r in found},
                }
            )  # fmt: skip
    return rows


def looks_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """Ten weekly looks at a trial without effect, each as if it were the last, and one look."""
    study = Study(rounds=24, first_d=1.0, last_d=70.0)
    days, prior, rows = study.days, SpreadPrior.published(), []
    for n in (1, 2, 3):
        excess, _, _ = null_readings(rng, trials, heaps=2 * n, study=study)
        y = excess.mean(axis=-1)
        informed, pooled = np.zeros((2, trials, 10), dtype=bool)
        for week in range(1, 11):
            upto = days <= 7 * week
            d, part = days[upto], y[..., upto]
            means = ((part[..., 1:] + part[..., :-1]) * np.diff(d)).sum(-1) / 2 / (d[-1] - d[0])
            a, b = means[:, :n], means[:, n:]
            gap = np.abs(b.mean(axis=1) - a.mean(axis=1))
            saa = n * a.var(axis=1) + n * b.var(axis=1)
            df = prior.nu0 + 2 * n - 2
            s2 = (prior.nu0 * (prior.s0_c**2 + prior.va) + saa) / df
            informed[:, week - 1] = gap > t_quantile(0.95, df) * np.sqrt(s2 * 2 / n)
            if n > 1:
                se = np.sqrt(saa / (2 * n - 2) * 2 / n)
                pooled[:, week - 1] = gap > t_quantile(0.95, 2 * n - 2) * se
        rows.append(
            {
                "heaps_each": n,
                "informed_any_of_ten": float(informed.any(axis=1).mean()),
                "informed_last": float(informed[:, -1].mean()),
                "pooled_any_of_ten": float(pooled.any(axis=1).mean()) if n > 1 else None,
                "pooled_last": float(pooled[:, -1].mean()) if n > 1 else None,
            }
        )
    return rows
