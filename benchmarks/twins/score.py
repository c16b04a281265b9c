"""One pair: fitted on its first days, forecast from every later round, and its gap explained.

Units: degrees C, days. Conventions: what is forecast is what is read a week after a round, error of
reading and place of the probe included; the rivals see the same readings, and the cooling curve the
air of the same station.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from benchmarks.twins.truth import AHEAD_DAYS, FITTED_DAYS, GAP_DAYS, Pair, main_cause, make_pair
from numpy.typing import NDArray

from heapwright.inference.causes import why
from heapwright.inference.fit import ROUGH, Fitted, fit
from heapwright.inference.forecast import expected
from heapwright.inference.readings import Read
from heapwright.inference.rivals import cooling, no_change, score

Floats = NDArray[np.float64]
#: the air of a reading is the mean of the day before it [h]
_AIR_H = 24.0


def run_pair(seed: int) -> dict[str, Any]:
    """All there is to say of the pair of a seed, as plain numbers."""
    began = time.process_time()
    pair = make_pair(seed)
    made = time.process_time()
    first = [r for day, reads in pair.rounds if day < FITTED_DAYS for r in reads]
    days = pair.later[-1][0] + AHEAD_DAYS
    fitted = fit(pair.told, first, settings=replace(ROUGH, seed=seed), days=days)
    rows = forecasts(pair, fitted)
    scored = score(*(np.concatenate([r[k] for r in rows], axis=-1) for k in
                     ("read", "members", "no_change", "cooling")))  # fmt: skip
    told = why(fitted, "A", "B", GAP_DAYS)
    true, margin = main_cause(pair.shares)
    return {
        "case": f"pair {seed}", "seed": seed, "kind": pair.kind, "known_difference": pair.known,
        "n": scored.n, "origins": len(rows), "rmse_c": round(scored.rmse_c, 3),
        "persistence_rmse_c": round(scored.no_change_rmse_c, 3),
        "cooling_rmse_c": round(scored.cooling_rmse_c, 3),
        "coverage80": round(scored.coverage80, 3),
        "true_cause": true, "first_cause": told.first,
        "margin_c": None if margin is None else round(margin, 2),
        "ranked": [s.cause for s in told.shares],
        "true_gap_c": round(pair.gap_c, 2), "gap_c": round(told.gap[1], 2),
        "true_shares_c": {c: round(s, 2) for c, s in pair.shares.items()},
        "shares_c": {s.cause: round(s.mean, 2) for s in told.shares},
        "sure": {s.cause: round(s.first, 2) for s in told.shares},
        "doubted": len(fitted.doubted), "lasting_c": round(fitted.errors.lasting, 2),
        "cpu_s": [round(made - began, 1), round(time.process_time() - made, 1)],
    }  # fmt: skip


def forecasts(pair: Pair, fitted: Fitted) -> list[dict[str, Floats]]:
    """From every later round: what is read a week later, and what was said of it."""
    made = []
    for origin, coming in pair.later:
        since = [r for d, reads in pair.rounds if FITTED_DAYS <= d <= origin for r in reads]
        told = [r for d, reads in pair.rounds if d <= origin for r in reads]
        made.append(
            {
                "read": np.array([r.value for r in coming]),
                "members": expected(fitted, coming, since, seed=pair.seed),
                "no_change": np.array([no_change(_own(told, r)[1], 1)[0] for r in coming]),
                "cooling": np.array([_cooled(pair, told, r) for r in coming]),
            }
        )
    return made


def _own(told: Sequence[Read], of: Read) -> tuple[Floats, Floats]:
    mine = [(r.day, r.value) for r in told if (r.heap, r.spot) == (of.heap, of.spot)]
    day, value = np.array(mine).T
    return day, value


def _cooled(pair: Pair, told: Sequence[Read], of: Read) -> float:
    day, value = _own(told, of)
    said = cooling(day, value, _air(pair, day), np.array([of.day]), _air(pair, np.array([of.day])))
    return float(said[0])


def _air(pair: Pair, day: Floats) -> Floats:
    station = pair.told[0].weather
    sums = np.concatenate([[0.0], np.cumsum(station.air_temp_c)])
    end = np.clip(day * 24.0, 1.0, station.count)
    begin = np.maximum(end - _AIR_H, 0.0)
    at = np.arange(station.count + 1.0)
    held = np.interp(end, at, sums) - np.interp(begin, at, sums)
    return np.asarray(held / (end - begin), dtype=np.float64)
