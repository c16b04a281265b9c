"""Rows of the hindcast: what was published, what came out, and whether that is inside.

Units: as named in each row. Conventions: a quantity is inside when it lies in the published range
widened by 5 C (temperatures) or by a quarter of the published number (all else); an open end is
None. Rows named "order:" and "sign:" compare two runs, have no allowance and have to hold; they
are not counted in the score. What never came about is None and is outside.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from benchmarks.hindcast.cases import Case, loose
from benchmarks.hindcast.measures import Facts, measure

__all__ = ["KEYS", "RULE", "TAUGHT", "inside", "is_comparison", "rows_of", "sign_row", "tally"]

KEYS = (
    "case", "quantity", "unit", "published_low", "published_high", "model", "inside", "source",
    "counted",
)  # fmt: skip
RULE = (
    "inside: within the published range, widened by 5 C for temperatures and by 25 % of the "
    "published number for all else; null is an open end or what never came about; rows named "
    "'order:' or 'sign:' have no allowance and are not counted"
)
_ALLOW_C, _ALLOW = 5.0, 0.25
_SAME_RUN = ("of", "which")
#: trials to which a constant was fitted
TAUGHT = frozenset({"poplar chips in a humid chamber"})


def is_comparison(row: Mapping[str, Any]) -> bool:
    """True for a row of order or sign."""
    return str(row["quantity"]).startswith(("order:", "sign:"))


def inside(
    model: float | None, low: float | None, high: float | None, unit: str, *, exact: bool = False
) -> bool:
    """Whether a result lies in the published range with its allowance.

    >>> inside(61.0, 66.0, 66.0, "degC"), inside(60.9, 66.0, 66.0, "degC")
    (True, False)
    >>> inside(15.0, 12.0, 12.0, "d"), inside(15.1, 12.0, 12.0, "d"), inside(None, 0.0, None, "d")
    (True, False, False)
    """
    if model is None:
        return False
    if exact:
        below = above = 0.0
    elif unit == "degC":
        below = above = _ALLOW_C
    else:
        below = _ALLOW * abs(low) if low is not None else 0.0
        above = _ALLOW * abs(high) if high is not None else 0.0
    if low is not None and model < low - below:
        return False
    return high is None or model <= high + above


def _one(case: Case, facts: Mapping[str, Facts], told: Mapping[str, Any]) -> float | None:
    """The number a quantity asks for, over one variant, the mean or the least of several."""
    many = told.get("mean_of") or told.get("least_of")
    if many is None:
        return measure(facts[told.get("which", case.scored)], told)
    found = [measure(facts[v], told) for v in many]
    known = [f for f in found if f is not None]
    if len(known) < len(found):
        return None
    return min(known) if "least_of" in told else sum(known) / len(known)


def value_of(case: Case, facts: Mapping[str, Facts], told: Mapping[str, Any]) -> float | None:
    """The number of a quantity or of an order (the first less the second)."""
    first = _one(case, facts, told)
    if "less" not in told:
        return first
    other = {k: v for k, v in told.items() if k not in ("less", "least_of", "mean_of")}
    second = _one(case, facts, other | dict(told["less"]))
    return None if first is None or second is None else first - second


def rows_of(case: Case, facts: Mapping[str, Facts]) -> list[dict[str, Any]]:
    """Rows of one case."""
    rows = []
    for told, exact in [(q, False) for q in case.quantities] + [(o, True) for o in case.orders]:
        model = loose(value_of(case, facts, told))
        low, high = told.get("low"), told.get("high")
        rows.append(
            {
                "case": case.title, "quantity": told["quantity"], "unit": told["unit"],
                "published_low": low, "published_high": high, "model": model,
                "inside": inside(model, low, high, told["unit"], exact=exact),
                "source": case.source, "counted": case.counted and not exact,
            }
        )  # fmt: skip
    return rows


def spread_of(case: Case, facts: Mapping[str, Facts]) -> list[tuple[str, str, list[float | None]]]:
    """Quantity, unit and results for each height, where the height is not known."""
    if not case.spread:
        return []
    return [
        (q["quantity"], q["unit"],
         [loose(value_of(case, facts, dict(q) | {"which": v})) for v in case.spread])
        for q in case.quantities
    ]  # fmt: skip


def sign_row(
    quantity: str,
    unit: str,
    model: float | None,
    *,
    low: float | None,
    high: float | None = None,
    source: str,
) -> dict[str, Any]:
    """A row of sign; it holds when the result lies between low and high."""
    model = loose(model)
    return {
        "case": "signs", "quantity": f"sign: {quantity}", "unit": unit, "published_low": low,
        "published_high": high, "model": model,
        "inside": inside(model, low, high, unit, exact=True),
        "source": source, "counted": False,
    }  # fmt: skip


def tally(rows: Iterable[Mapping[str, Any]]) -> dict[str, int]:
    """Counted rows and how many are inside, the same without the trials that taught a constant, and
    comparisons and how many hold."""
    rows = list(rows)
    counted = [r for r in rows if r["counted"]]
    blind = [r for r in counted if r["case"] not in TAUGHT]
    compared = [r for r in rows if is_comparison(r)]
    return {
        "inside": sum(r["inside"] for r in counted), "counted": len(counted),
        "untaught_inside": sum(r["inside"] for r in blind), "untaught": len(blind),
        "comparisons_held": sum(r["inside"] for r in compared), "comparisons": len(compared),
    }  # fmt: skip
