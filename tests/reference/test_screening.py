"""The screening against printed values of the filter, and its own simulation study."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from tests.conftest import LONG

from heapwright.stats.screenfilter import HeapFilter, Spreads
from heapwright.stats.screenstudy import screening_rates

LOGS = 2000 if LONG else 150
#: By figure: daily, every third day, weekly.
EVERY = {"daily": (1.0, 5), "3-day": (3.0, 2), "weekly": (7.0, 1)}
MOST = {"false, a reading": (0.004,) * 3, "false exchange, a pair": (0.003,) * 3}
LEAST = {
    "F or C": (0.99,) * 3,
    "ten times": (0.99,) * 3,
    "20 C": (0.97,) * 3,
    "exchanged, gap 6-10 C": (0.85, 0.60, 0.36),
    "exchanged, gap above 15 C": (0.97, 0.95, 0.88),
}


@pytest.mark.reference(
    source="Durbin and Koopman, local level of the Nile flow (data as carried by statsmodels)",
    where="filtered level and variance at variances 15099 and 1469.1",
)
def test_the_filter_is_the_printed_local_level() -> None:
    from statsmodels.datasets import nile

    flow = nile.load_pandas().data["volume"].to_numpy(dtype=float)
    off = dict.fromkeys(Spreads.__slots__, 0.0)
    level = Spreads(
        **off
        | {
            "quick_d": 1.0, "slope_d": 1.0, "spot_d": 1.0, "wander_c2_d": 1469.1,
            "reading_sd_c": math.sqrt(15099), "start_level_sd_c": 1e6, "huber": math.inf,
            "scale_nu0": 1.0, "first_rounds": 1000.0,
        }
    )  # fmt: skip
    kept = HeapFilter(1, 1, spreads=level)
    means, variances = [], []
    for year, value in enumerate(flow):
        kept.advance(year)
        kept.take([[[value]]])
        means.append(kept.state[0, 0])
        variances.append(kept.variance[0, 0, 0])
    assert means[:3] == pytest.approx([1120, 1140.92784, 1072.79853], abs=1e-4)
    assert variances[:3] == pytest.approx([15099, 7899.7364, 5781.4699], rel=1e-6)
    assert means[-1] == pytest.approx(798.370293, abs=1e-6)
    assert variances[-1] == pytest.approx(4032.157942, abs=1e-5)


def error(limit: float, tries: int, logs: int) -> float:
    """Three standard errors of a rate; readings of one log lean on each other."""
    return 3 * math.sqrt(limit * (1 - limit) / max(1.0, min(tries, 40 * logs)))


@pytest.mark.reference(source="the project's own simulation study", where="screening at entry")
@pytest.mark.parametrize("n", range(3), ids=list(EVERY))
def test_what_is_asked_falsely_and_what_is_found(n: int) -> None:
    every_d, each = list(EVERY.values())[n]
    rng = np.random.default_rng([71, n])
    rates: dict[str, Any] = screening_rates(rng, LOGS, every_d, slips_each=each)
    for name, most in MOST.items():
        got = rates[name]
        slack = 0 if LONG else error(most[n], got["tries"], LOGS)
        assert got["rate"] <= most[n] + slack, name
    for name, least in LEAST.items():
        got = rates[name]
        assert got["tries"] > 20
        slack = 0 if LONG else error(least[n], got["tries"], LOGS)
        assert got["rate"] >= least[n] - slack, name
    for name in ("round in F", "round ten times"):
        assert rates[name]["rate"] > 0.9


@pytest.mark.reference(source="the project's own simulation study", where="without air readings")
def test_without_air_the_common_shift_is_taken_out() -> None:
    rates = screening_rates(np.random.default_rng(72), LOGS, 3.0, air=False, slips_each=4)
    assert rates["false, a reading"]["rate"] <= 0.004 + error(0.004, 10**6, LOGS)
    assert rates["20 C"]["rate"] >= 0.97
    assert rates["exchanged, gap above 15 C"]["rate"] >= 0.95
