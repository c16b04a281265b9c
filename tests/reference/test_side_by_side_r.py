"""Side by side with R: the same tables through R's own models and ours, in one Rscript.

R is a test tool only. Digits: where R is told to go on past its usual stop, coefficients, errors
and variances agree to about 1e-6 of themselves; multcomp integrates by Monte Carlo (2e-3).
"""

from __future__ import annotations

import csv
import json
import math
import shutil
import subprocess
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import pytest
from tests.reference.test_mixed import (
    DATA,
    body_weight,
    numbers,
    oats,
    orthodont,
    sleep_study,
    split_plot_rows,
    table,
)
from tests.reference.test_statistics import BLOOD, FABRIC, PLANTS, SLEEP, against

from heapwright.stats.contrast import Interval, pooled_t, welch
from heapwright.stats.mixedfit import MixedFit, fit_reml

SCRIPT = Path(__file__).with_name("side_by_side.R")
R = "R with lme4, nlme, lmerTest and multcomp, run beside"
MONTE_CARLO = 2e-3
GROUPS = {"fabric": FABRIC, "blood": BLOOD, "plants": PLANTS, "sleep": SLEEP}

pytestmark = [
    pytest.mark.skipif(
        shutil.which("Rscript") is None,
        reason="Rscript is not installed: run scripts/debian-packages",
    ),
    pytest.mark.reference(source=R, where="live"),
]


def invented_heaps() -> dict[str, np.ndarray]:
    """Invented: six heaps, 30 rounds at uneven ages, one spot, a wander of 5 days and noise."""
    rng = np.random.default_rng(20)
    rows: dict[str, list[np.ndarray]] = {"heap": [], "way": [], "age_d": [], "excess_c": []}
    for k in range(6):
        age = np.sort(rng.choice(np.arange(3.0, 60.0, 0.5), 30, replace=False))
        apart = np.abs(age[:, None] - age[None, :])
        wander = np.linalg.cholesky(9 * np.exp(-apart / 5)) @ rng.normal(size=30)
        own = rng.normal() * 4 + 40 - 0.4 * age + 5 * (k % 2) + wander
        rows["heap"].append(np.full(30, k))
        rows["way"].append(np.full(30, k % 2))
        rows["age_d"].append(age)
        rows["excess_c"].append((own + rng.normal(size=30) * 2).round(2))
    return {name: np.concatenate(columns) for name, columns in rows.items()}


def write(path: Path, columns: dict[str, Iterable[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(columns)
        writer.writerows(zip(*columns.values(), strict=True))


@pytest.fixture(scope="module")
def theirs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[float]]:
    """Every number that R printed, by name."""
    folder = tmp_path_factory.mktemp("side_by_side")
    write(folder / "heaps.csv", {k: v.tolist() for k, v in invented_heaps().items()})
    for name, data in GROUPS.items():
        label = [group for group, values in data.items() for _ in values]
        write(
            folder / f"{name}.csv",
            {"group": label, "value": [v for values in data.values() for v in values]},
        )
    done = subprocess.run(
        ["Rscript", "--vanilla", str(SCRIPT), str(DATA), str(folder)],
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found: dict[str, list[float]] = {}
    for line in done.stdout.splitlines():
        if line.startswith('{"'):
            found.update(json.loads(line))
    return found


# our variance parts in the order in which lme4 prints its own
LME4_PARTS = {
    "sleepstudy.slope": ("heap", "slope", "heap_slope_cov", "reading"),
    "sleepstudy.heap": ("heap", "reading"),
    "dyestuff2": ("heap", "reading"),
    "oats.nitro": ("spot", "heap", "reading"),
    "oats.variety": ("spot", "heap", "reading"),
    "oats.full": ("spot", "heap", "reading"),
}


def ours(name: str) -> MixedFit:
    if name == "dyestuff2":
        data = table("dyestuff2")
        return fit_reml(numbers(data["Yield"]), np.ones((30, 1)), data["Batch"])
    if name.startswith("oats"):
        columns = {
            "oats.nitro": ("nitro",),
            "oats.variety": ("variety", "nitro"),
            "oats.full": ("variety", "nitro_factor", "both"),
        }
        return oats(*columns[name])
    return sleep_study(slope=name == "sleepstudy.slope")


@pytest.mark.parametrize("name", list(LME4_PARTS))
def test_lme4_and_lmertest(theirs: dict[str, list[float]], name: str) -> None:
    fit = ours(name)
    assert fit.criterion == pytest.approx(theirs[f"{name}.criterion"][0], abs=2e-7)
    assert fit.coef == pytest.approx(theirs[f"{name}.coef"], rel=1e-8, abs=1e-8)
    assert fit.se == pytest.approx(theirs[f"{name}.se"], rel=1e-6)
    parts = [fit.parts[part] for part in LME4_PARTS[name]]
    assert parts == pytest.approx(theirs[f"{name}.parts"], rel=5e-6, abs=1e-9)
    lines = [fit.contrast(c) for c in np.eye(fit.coef.size)]
    assert [i.df for i in lines] == pytest.approx(theirs[f"{name}.df"], rel=2e-5)
    assert [i.p_value for i in lines] == pytest.approx(theirs[f"{name}.p"], rel=2e-4)


def test_f_tests_of_the_split_plot(theirs: dict[str, list[float]]) -> None:
    fit = oats("variety", "nitro_factor", "both")
    tests = [fit.f_test(rows) for rows in split_plot_rows()]
    assert [t.f for t in tests] == pytest.approx(theirs["oats.full.f"], rel=1e-6)
    assert [t.df2 for t in tests] == pytest.approx(theirs["oats.full.f_df"], rel=1e-6)


def heaps_model() -> MixedFit:
    data = invented_heaps()
    age, way = data["age_d"], data["way"]
    x = np.column_stack([np.ones(age.size), age, way, age * way])
    return fit_reml(data["excess_c"], x, data["heap"].tolist(), age_d=age)


NLME = {
    "orthodont.sex": lambda: orthodont(by_sex=True),
    "orthodont.age": orthodont,
    "orthodont.wander": lambda: orthodont(wander=True),
    "body": body_weight,
    "heaps": heaps_model,
}


@pytest.mark.parametrize("name", list(NLME))
def test_nlme(theirs: dict[str, list[float]], name: str) -> None:
    fit = NLME[name]()
    assert fit.loglik == pytest.approx(theirs[f"{name}.loglik"][0], abs=2e-7)
    # a coefficient near 0 has no digits of its own: its error is the measure
    assert (np.abs(fit.coef - theirs[f"{name}.coef"]) / fit.se).max() < 1e-5
    assert fit.se == pytest.approx(theirs[f"{name}.se"], rel=1e-5)
    scale = fit.parts.get("wander", 0.0) + fit.parts.get("reading", 0.0)
    assert scale == pytest.approx(theirs[f"{name}.scale"][0], rel=1e-5)
    assert fit.parts["heap"] == pytest.approx(theirs[f"{name}.heap"][0], rel=1e-5)


def test_range_and_share_of_noise(theirs: dict[str, list[float]]) -> None:
    """corAR1's phi, corExp's range, and corExp's range and nugget."""
    step = orthodont(wander=True).parts["range_d"]
    assert math.exp(-1 / step) == pytest.approx(theirs["orthodont.wander.correlation"][0], rel=1e-5)
    (long,) = theirs["body.correlation"]
    assert body_weight().parts["range_d"] == pytest.approx(long, rel=1e-5)
    parts = heaps_model().parts
    share = parts["reading"] / (parts["reading"] + parts["wander"])
    assert [parts["range_d"], share] == pytest.approx(theirs["heaps.correlation"], rel=1e-4)


@pytest.mark.parametrize(("name", "method"), [("pooled", pooled_t), ("welch", welch)])
def test_t_intervals(
    theirs: dict[str, list[float]], name: str, method: Callable[..., Interval]
) -> None:
    i = method(SLEEP, "one", "two")
    mine = [i.estimate, i.se, i.df, i.low, i.high, i.p_value]
    assert mine == pytest.approx(theirs[name], rel=1e-9)


@pytest.mark.parametrize(
    ("name", "control"),
    [("fabric", "std"), ("blood", "control"), ("plants", "ctrl"), ("recovery", "b0")],
)
def test_dunnett(theirs: dict[str, list[float]], name: str, control: str) -> None:
    rows = against(GROUPS[name] if name in GROUPS else recovery(), control)
    t, p, low, high = (list(column) for column in zip(*rows, strict=True))
    assert t == pytest.approx(theirs[f"dunnett.{name}.t"], rel=1e-9)
    assert p == pytest.approx(theirs[f"dunnett.{name}.p"], abs=MONTE_CARLO)
    # an end of an interval is off by the error of the critical value times the standard error
    width = [(h - m) / 2 for h, m in zip(high, low, strict=True)]
    for mine, end in ((low, "low"), (high, "high")):
        far = np.abs(np.subtract(mine, theirs[f"dunnett.{name}.{end}"]))
        assert (far / width).max() < MONTE_CARLO


def recovery() -> dict[str, list[float]]:
    data = table("recovery")
    found: dict[str, list[float]] = {}
    for blanket, minutes in zip(data["blanket"], data["minutes"], strict=True):
        found.setdefault(blanket, []).append(float(minutes))
    return found
