"""How often plain analyses find an effect where there is none, beside the informed contrast.

Run: ``python benchmarks/naive.py [--trials 10000] [--seed 20260501]``. Prints a table and writes
``benchmarks/results/naive.json`` and the tables of docs/explain/comparing-fairly.md.
"""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from heapwright.stats.claims import CANNOT_TELL, LEANS, claim
from heapwright.stats.contrast import informed_contrast, pooled_t, t_quantile
from heapwright.stats.naive import Study, heap_means, null_readings, round_anova_p, t_test_p
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.sharing import deal_buffered, deal_one_at_a_time

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]
RESULT = Path(__file__).parent / "results" / "naive.json"
PAGE = Path(__file__).parent.parent / "docs" / "explain" / "comparing-fairly.md"
MATTERS_C = 5.0


def naive_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """False findings of readings-as-heaps analyses and of the contrast, one heap each."""
    rows = []
    for rounds in (10, 20, 40):
        for spot_sd in (1.5, 4.0):
            study = Study(rounds=rounds, spot_sd_c=spot_sd)
            excess, _, _ = null_readings(rng, trials, study=study)
            leans, winners = contrast_rates(heap_means(excess, study=study))
            rows.append(
                {
                    "rounds": rounds,
                    "spot_sd_c": spot_sd,
                    "t_test_on_readings": float((t_test_p(excess) < 0.05).mean()),
                    "round_and_way_anova": float((round_anova_p(excess) < 0.05).mean()),
                    "contrast_leans": leans,
                    "contrast_winner": winners,
                }
            )
    return rows


def contrast_rates(means: Floats) -> tuple[float, float]:
    """Shares of one-heap-each trials in which the findings lean, and in which they claim more."""
    prior, said = SpreadPrior.published(), []
    for a, b in means:
        groups = {"left": [a], "turned": [b]}
        at95 = informed_contrast(groups, "turned", "left", prior)
        said.append(claim(1, 1, at95, at95.at_level(0.8), MATTERS_C))
    more = [s for s in said if s not in (LEANS, CANNOT_TELL)]
    return said.count(LEANS) / len(said), len(more) / len(said)


def coverage_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """Coverage and half-width of the informed and the pooled 95 % interval, by heaps a way."""
    rows = []
    for sigma in (None, 8.0):
        for n in (1, 2, 3, 4):
            prior = SpreadPrior.published()
            means = null_means(rng, trials, heaps=2 * n, sigma_c=sigma, va=prior.va)
            row: dict[str, Any] = {"heaps_each": n, "sigma_c": sigma or "3 to 6"}
            hits, widths, pooled = [], [], []
            for values in means:
                groups = {"left": values[:n], "turned": values[n:]}
                one = informed_contrast(groups, "turned", "left", prior)
                hits.append(not one.excludes_zero)
                widths.append(one.half_width)
                if n > 1:
                    pooled.append(not pooled_t(groups, "turned", "left").excludes_zero)
            row["informed_coverage"] = float(np.mean(hits))
            row["informed_half_width_c"] = float(np.mean(widths))
            row["pooled_coverage"] = float(np.mean(pooled)) if pooled else None
            rows.append(row)
    return rows


def null_means(
    rng: np.random.Generator, trials: int, *, heaps: int, sigma_c: float | None, va: float
) -> Floats:
    """Heap values of trials without effect; here sigma is the spread of the heap means."""
    sigma = rng.uniform(3, 6, trials) if sigma_c is None else np.full(trials, sigma_c)
    return rng.normal(size=(trials, heaps)) * np.sqrt(sigma**2 + va)[:, None]


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


def sharing_rows(rng: np.random.Generator, trials: int) -> list[dict[str, Any]]:
    """Standard deviation of heap-mean leafiness by how loads are shared out."""

    def loads(count: int) -> Floats:
        batch = np.repeat(rng.normal(50, 12, math.ceil(count / 6)), 6)[:count]
        return np.clip(batch + rng.normal(0, 8, count), 0, 100)

    def spread(deal: Any, heaps: int, each: int, error: float) -> float:
        total = 0.0
        for _ in range(trials):
            true = loads(heaps * each)
            seen = true + rng.normal(0, error, true.size) if error else true
            to = np.asarray(deal([float(x) for x in seen], heaps))
            total += float(np.var([true[to == i].mean() for i in range(heaps)], ddof=1))
        return math.sqrt(total / trials)

    def in_sequence(scores: list[float], heaps: int) -> Whole:
        return np.repeat(np.arange(heaps), len(scores) // heaps)

    def by_lot(scores: list[float], heaps: int) -> Whole:
        return rng.permutation(np.arange(len(scores)) % heaps)

    def rotating(scores: list[float], heaps: int) -> Whole:
        return np.arange(len(scores)) % heaps

    cases: list[tuple[str, Any, int, int]] = [
        ("in sequence", in_sequence, 4, 12),
        ("by lot", by_lot, 4, 12),
        ("leafiest of each four", deal_buffered, 4, 12),
        ("in sequence", in_sequence, 3, 8),
        ("in rotation", rotating, 3, 8),
        ("one at a time", deal_one_at_a_time, 3, 8),
    ]
    return [
        {
            "rule": name,
            "heaps": heaps,
            "loads_each": each,
            "sd": spread(deal, heaps, each, 0.0),
            "sd_with_scoring_error_8": spread(deal, heaps, each, 8.0),
        }
        for name, deal, heaps, each in cases
    ]


TABLES: dict[str, dict[str, str]] = {
    "naive": {
        "rounds": "rounds",
        "spot_sd_c": "spot SD [C]",
        "t_test_on_readings": "t test on all readings",
        "round_and_way_anova": "ANOVA with round and way",
        "contrast_leans": 'Heapwright: "leans"',
        "contrast_winner": "Heapwright: a winner",
    },
    "coverage": {
        "sigma_c": "true SD between heaps [C]",
        "heaps_each": "heaps each",
        "informed_coverage": "informed: coverage",
        "informed_half_width_c": "informed: half-width [C]",
        "pooled_coverage": "pooled t: coverage",
    },
    "looks": {
        "heaps_each": "heaps each",
        "informed_any_of_ten": "informed: any of ten weekly looks",
        "informed_last": "informed: one look at the end",
        "pooled_any_of_ten": "pooled t: any of ten",
        "pooled_last": "pooled t: one look",
    },
    "sharing": {
        "heaps": "heaps",
        "loads_each": "loads each",
        "rule": "rule",
        "sd": "SD",
        "sd_with_scoring_error_8": "SD, scores off by 8",
    },
}


def cell(key: str, value: Any) -> str:
    """One cell: shares as per cent, coverage to three digits, leafiness and degrees to one."""
    if value is None:
        return "none"
    if isinstance(value, str) or key in ("rounds", "heaps", "heaps_each", "loads_each"):
        return str(value)
    if "coverage" in key:
        return f"{value:.3f}"
    if key.startswith("sd") or key.endswith("_c"):
        return f"{value:.1f}"
    return f"{100 * value:.0f} %" if value in (0, 1) or value > 0.2 else f"{100 * value:.1f} %"


def table(name: str, rows: list[dict[str, Any]]) -> str:
    """One table of the page."""
    columns = TABLES[name]
    lines = [list(columns.values()), ["---"] * len(columns)]
    lines += [[cell(key, row[key]) for key in columns] for row in rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def page(text: str, result: dict[str, Any]) -> str:
    """The page with its tables made from *result*."""
    for name in TABLES:
        start, end = f"<!-- {name}:start -->", f"<!-- {name}:end -->"
        head, rest = text.split(start)
        _, tail = rest.split(end)
        text = f"{head}{start}\n\n{table(name, result[name])}\n\n{end}{tail}"
    return text


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--trials", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=20260501)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    result = {
        "trials": given.trials,
        "seed": given.seed,
        "naive": naive_rows(rng, given.trials),
        "coverage": coverage_rows(rng, given.trials),
        "looks": looks_rows(rng, given.trials),
        "sharing": sharing_rows(rng, max(200, given.trials // 5)),
    }
    RESULT.parent.mkdir(exist_ok=True)
    RESULT.write_text(json.dumps(result, indent=2) + "\n", encoding="utf-8")
    PAGE.write_text(page(PAGE.read_text(encoding="utf-8"), result), encoding="utf-8")
    for name in TABLES:
        rows: Any = result[name]
        print(f"\n{name}\n{table(name, rows)}")


if __name__ == "__main__":
    main()
