"""How a forecast did, in sentences, rows and JSON.

Units: degrees C rounded to 0.1; shares in per cent. Conventions: nothing here counts anew; dry
mass, mass and volume are also given as shares of what was there when built, so that heaps compare.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from heapwright.inference.rivals import Score
from heapwright.services.learnwords import learned_rows
from heapwright.services.seriescheck import Checked, Said

__all__ = ["check_json", "check_rows", "check_words", "taught_rows"]

#: unit on screen and factor to it, by quantity
_SHOWN = {
    "o2": ("%", 100.0), "moisture_wb": ("%", 100.0), "height_m": ("m", 1.0),
    "mass_kg": ("kg", 1.0), "dry_kg": ("kg", 1.0), "volume_m3": ("m3", 1.0),
}  # fmt: skip
_NAMES = {
    "temp_c": "temperature", "o2": "oxygen", "moisture_wb": "moisture", "height_m": "height",
    "mass_kg": "mass", "dry_kg": "dry mass", "volume_m3": "volume",
}  # fmt: skip
_OF_FIRST = ("mass_kg", "dry_kg", "volume_m3")
#: fewer readings than this say little
_FEW = 6


def check_words(found: Checked) -> list[str]:
    """The answer first: better or not than no change and the cooling curve."""
    made = found.scored()
    said = [_temperatures(made)] if made is not None else []
    for quantity in found.quantities:
        said.append(_other(found, quantity))
    if made is None:
        said.append("No temperature was read after that day, so none was scored")
    held = [k.name for k in found.bench.known if k.held_out]
    if held:
        said.append(
            f"{', '.join(held)} held out: what is said of it is what the others taught, and its "
            "range is wider than one from its own readings"
        )
    fitted = found.fitted
    said.append(
        f"Fitted to {len(fitted.reads)} readings up to day {found.fit_until:g}, scored on "
        f"{len(found.said)} after it, up to day {max(s.read.day for s in found.said):g}"
    )
    return said + [e.words() for e in fitted.doubted]


def _temperatures(made: Score) -> str:
    f, n, c = made.rmse_c, made.no_change_rmse_c, made.cooling_rmse_c
    few = " Few readings: this says little." if made.n < _FEW else ""
    than_n, than_c = f < n, f < c
    if than_n and than_c:
        lead = "The forecast did better than no change and than a cooling curve"
    elif than_n:
        lead = "The forecast did better than no change, but not better than a cooling curve"
    elif than_c:
        lead = "The forecast did no better than no change, but better than a cooling curve"
    else:
        lead = "The forecast did no better than no change, nor than a cooling curve"
    warn = "" if than_n else ": don't plan by it"
    return (
        f"{lead}{warn}. Off by {f:.1f} C (no change {n:.1f}, cooling curve {c:.1f}); "
        f"{100 * made.coverage80:.0f} % of {made.n} readings in its 80 % range.{few}"
    )


def _other(found: Checked, quantity: str) -> str:
    made = found.scored(quantity)
    assert made is not None
    better = "better" if made.rmse_c < made.no_change_rmse_c else "no better"
    if quantity in _OF_FIRST:
        size, still = (100 * x for x in _of_first(found, quantity))
        unit = "% of what was built"
    else:
        unit, factor = _SHOWN[quantity]
        size, still = factor * made.rmse_c, factor * made.no_change_rmse_c
        unit = "points" if unit == "%" else unit
    return (
        f"Of {_NAMES[quantity]} the forecast did {better} than no change: off by {size:.2g} "
        f"{unit} (no change {still:.2g}); {100 * made.coverage80:.0f} % of {made.n} in its 80 % "
        "range"
    )


def _of_first(found: Checked, quantity: str) -> tuple[float, float]:
    """Errors of forecast and no change as shares of what was there when built."""
    off, still = [], []
    for s in found.said:
        if s.read.quantity == quantity:
            first = found.bench.of(s.read.heap).first[quantity]
            off.append((s.draws.mean() - s.read.value) / first)
            still.append((s.no_change - s.read.value) / first)
    return float(np.sqrt(np.mean(np.square(off)))), float(np.sqrt(np.mean(np.square(still))))


def check_rows(found: Checked) -> tuple[list[str], list[list[str]]]:
    """Header and rows of the table: by heap and quantity."""
    head = ["heap", "what", "n", "forecast off", "no change", "cooling", "in 80 %", "range"]
    rows = []
    for known in found.bench.known:
        name = known.name + (" (held out)" if known.held_out else "")
        for quantity in ("temp_c", *found.quantities):
            made = found.scored(quantity, known.name)
            if made is None:
                continue
            unit, factor = _SHOWN.get(quantity, ("C", 1.0))
            mine = [
                s for s in found.said
                if (s.read.heap, s.read.quantity) == (known.name, quantity)
            ]  # fmt: skip
            width = factor * float(np.mean([s.range[2] - s.range[0] for s in mine]))
            rows.append(
                [
                    name, f"{_NAMES[quantity]}, {unit}", str(made.n),
                    _short(factor * made.rmse_c), _short(factor * made.no_change_rmse_c),
                    _short(made.cooling_rmse_c) if quantity == "temp_c" else "",
                    f"{100 * made.coverage80:.0f} %", _short(width),
                ]
            )  # fmt: skip
            name = ""
    return head, rows


def _short(number: float) -> str:
    return f"{number:.1f}" if number >= 1 else f"{number:.2g}"


def taught_rows(found: Checked) -> list[list[str]]:
    """What was learned, numbers that say nothing of a vessel left out."""
    vessels = {k.name for k in found.bench.known if k.weather is None}
    return [
        row
        for row in learned_rows(found.fitted.learned())
        if row[0] not in vessels or row[-1] != "only prior"
    ]


def check_json(found: Checked) -> dict[str, Any]:
    """All of it as plain values; null and 0 where no temperature was scored."""
    heaps = {
        k.name: _five(found.scored(heap=k.name)) | {
            "held_out": k.held_out,
            "quantities": _quantities(found, k.name),
            "scored": [_scored(s) for s in found.said if s.read.heap == k.name],
        }
        for k in found.bench.known
    }  # fmt: skip
    return _five(found.scored()) | {
        "fit_until": found.fit_until,
        "trial": found.bench.trial,
        "invented": found.bench.invented,
        "heaps": heaps,
        "quantities": _quantities(found, None),
        "learned": [
            {
                "heap": x.heap, "spot": x.spot, "parameter": x.name, "verdict": x.verdict,
                "words": x.words, "before": list(x.before), "after": list(x.after),
            }
            for x in found.fitted.learned()
        ],
        "readings_fitted": len(found.fitted.reads),
        "doubted": [e.words() for e in found.fitted.doubted],
        "assumed": list(found.assumed),
        "sources": list(found.bench.sources),
    }  # fmt: skip


def _five(made: Score | None) -> dict[str, Any]:
    if made is None:
        return {
            "rmse_c": None, "no_change_rmse_c": None, "cooling_rmse_c": None, "coverage80": None,
            "n": 0,
        }  # fmt: skip
    return {
        "rmse_c": round(made.rmse_c, 3), "no_change_rmse_c": round(made.no_change_rmse_c, 3),
        "cooling_rmse_c": round(made.cooling_rmse_c, 3), "coverage80": round(made.coverage80, 4),
        "n": made.n,
    }  # fmt: skip


def _quantities(found: Checked, heap: str | None) -> dict[str, dict[str, Any]]:
    made: dict[str, dict[str, Any]] = {}
    for quantity in found.quantities:
        one = found.scored(quantity, heap)
        if one is None:
            continue
        unit, factor = _SHOWN[quantity]
        made[quantity] = {
            "rmse": _digits(factor * one.rmse_c),
            "no_change_rmse": _digits(factor * one.no_change_rmse_c),
            "coverage80": round(one.coverage80, 4), "n": one.n, "unit": unit,
        }  # fmt: skip
        if quantity in _OF_FIRST and heap is None:
            off, still = _of_first(found, quantity)
            made[quantity] |= {
                "rmse_of_first": _digits(off), "no_change_rmse_of_first": _digits(still)
            }  # fmt: skip
    return made


def _scored(said: Said) -> dict[str, Any]:
    low, mean, high = said.range
    read = said.read
    row: dict[str, Any] = {
        "quantity": read.quantity, "spot": read.spot, "day": round(read.day, 4),
        "read": _digits(read.value), "low": _digits(low), "mean": _digits(mean),
        "high": _digits(high), "no_change": _digits(said.no_change),
    }  # fmt: skip
    if read.quantity == "temp_c":
        row["cooling"] = _digits(said.cooling)
    return row


def _digits(number: float) -> float:
    return float(f"{number:.5g}")
