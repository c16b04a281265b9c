"""The inverse: how much of each ingredient, water and nitrogen meets the goals.

Units: shares of what is available, kg, litres.
Conventions: a linear programme on typical values. C:N between two bounds is linear in the masses
(carbon - bound x nitrogen), and so is moisture. First as much as can be used, then as near to the
middle of the goals as that allows. What cannot be is refused with the two goals that conflict.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.domain.material import Ingredient, Mix
from heapwright.errors import ImpossibleError
from heapwright.planning.mix_parts import draw, look_up
from heapwright.planning.mix_summary import MixSummary, describe_mix
from heapwright.planning.nitrogen import NitrogenPlan, NitrogenProduct, nitrogen_plan
from heapwright.units import Ranged, show

__all__ = ["MixSolution", "solve_mix"]

Floats = NDArray[np.float64]

_LOOSE = 1e-9
_KEEP = 0.999


@dataclass(frozen=True, slots=True)
class MixSolution:
    """A mix that meets the goals on typical values, described with its ranges.

    mix, summary : the mix with its water and without the product; used : share of what was
    available [0-1] by ingredient; water_l : on typical values; nitrogen : doses, if a product was
    offered; cn_with_doses : typical C:N counting the product's nitrogen by what it stands in for.
    """

    mix: Mix
    summary: MixSummary
    used: tuple[float, ...]
    water_l: float
    nitrogen: NitrogenPlan | None
    cn_with_doses: float
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Stock:
    """Typical totals of what is available, one entry an ingredient; the goals as bounds."""

    mass: Floats
    water: Floats
    carbon: Floats
    nitrogen: Floats
    volume: Floats
    cn: tuple[float, float]
    moisture: tuple[float, float]
    product: bool

    @property
    def n(self) -> int:
        return len(self.mass)


def solve_mix(
    available: Mix,
    *,
    goal_cn_ratio: Ranged,
    goal_moisture_wb: Ranged,
    rng: np.random.Generator,
    product: NitrogenProduct | None = None,
    draws: int = 2000,
) -> MixSolution:
    """How much of each available ingredient, water and nitrogen meets both goals.

    available : ingredients with the most there is of each; goal_* : bounds, equal for a point;
    product : nitrogen that may be added. Whole and half loads are kept where the goals allow.
    Raises `ImpossibleError` naming the goals that conflict and by how much.

    Examples
    --------
    >>> parts = (Ingredient("arborist chips", volume_m3=Ranged.exact(1.0)),
    ...          Ingredient("grass clippings", volume_m3=Ranged.exact(1.0)))
    >>> found = solve_mix(Mix(parts), goal_cn_ratio=Ranged(30, 25, 35),
    ...     goal_moisture_wb=Ranged(0.6, 0.5, 0.7), rng=np.random.default_rng(1), draws=200)
    >>> 25 <= found.summary.cn_ratio.typical <= 35
    True
    """
    stock = _stock(available, goal_cn_ratio, goal_moisture_wb, product is not None, rng)
    if float(stock.mass.sum()) <= 0:
        raise ImpossibleError("all amounts are nought", field="mix", way_out="Give an amount")
    answer = _programme(stock)
    if answer is None:
        raise _conflict(stock, [part.name for part in available.ingredients])
    shares, notes = _in_half_loads(available, stock, answer[: stock.n])
    water, extra = answer[stock.n], answer[stock.n + 1]
    if not np.array_equal(shares, answer[: stock.n]):
        water, extra = _water_and_nitrogen(stock, shares)
    parts = tuple(
        _scaled(part, float(share))
        for part, share in zip(available.ingredients, shares, strict=True)
        if share > 1e-6
    )
    mix = Mix(parts, barrow_m3=available.barrow_m3, water_l=float(max(0.0, water)))
    carbon, nitrogen = float(shares @ stock.carbon), float(shares @ stock.nitrogen)
    plan = None
    if product is not None:
        plan = nitrogen_plan(float(extra), float(shares @ stock.volume), product=product)
    return MixSolution(
        mix=mix,
        summary=describe_mix(mix, rng=rng, draws=draws),
        used=tuple(float(share) for share in shares),
        water_l=mix.water_l,
        nitrogen=plan,
        cn_with_doses=carbon / (nitrogen + float(extra)),
        notes=tuple(notes),
    )


def _stock(
    available: Mix, cn: Ranged, moisture: Ranged, product: bool, rng: np.random.Generator
) -> _Stock:
    parts = tuple(look_up(part) for part in available.ingredients)
    d = draw(available, parts, rng, 0)
    dry = d.dry_mass_kg[:, 0]
    return _Stock(
        mass=d.wet_mass_kg[:, 0],
        water=d.wet_mass_kg[:, 0] - dry,
        carbon=dry * d.carbon_dm[:, 0],
        nitrogen=dry * d.nitrogen_dm[:, 0],
        volume=d.volume_m3[:, 0],
        cn=(cn.low, cn.high),
        moisture=(moisture.low, moisture.high),
        product=product,
    )


def _rows(stock: _Stock, *, cn: bool = True, moisture: bool = True) -> Floats:
    """Rows of A x <= 0 for x = shares, water [kg], nitrogen of the product [kg]."""
    rows = []
    if cn:
        low, high = stock.cn
        rows.append([*(stock.carbon - high * stock.nitrogen), 0.0, -high])
        rows.append([*(low * stock.nitrogen - stock.carbon), 0.0, low])
    if moisture:
        low, high = stock.moisture
        rows.append([*(stock.water - high * stock.mass), 1.0 - high, 0.0])
        rows.append([*(low * stock.mass - stock.water), low - 1.0, 0.0])
    return np.array(rows) if rows else np.zeros((1, stock.n + 2))


def _bounds(stock: _Stock, top: float | None = 1.0) -> list[tuple[float, float | None]]:
    return [(0.0, top)] * stock.n + [(0.0, None), (0.0, None if stock.product else 0.0)]


def _programme(stock: _Stock) -> Floats | None:
    """Shares, water and nitrogen: most volume first, then the middle of the goals; None if none."""
    rows = _rows(stock)
    scale = float(stock.mass.sum())
    volume = np.array([*stock.volume, 0.0, 0.0])
    slack = np.full(len(rows), _LOOSE * scale)
    first = _linprog(-volume - 0.0, rows, slack, _bounds(stock))
    if first is None or float(volume @ first) < 1e-6 * float(stock.volume.sum()):
        return None
    # second: u, v >= |distance from the middle of each goal|, at (nearly) the same volume
    n = stock.n + 2
    cn, moisture = _middle(stock.cn), sum(stock.moisture) / 2
    c_row = np.array([*(stock.carbon - cn * stock.nitrogen), 0.0, -cn]) / float(stock.carbon.sum())
    m_row = np.array([*(stock.water - moisture * stock.mass), 1 - moisture, 0.0]) / scale
    wide = np.zeros((len(rows) + 5, n + 2))
    wide[: len(rows), :n] = rows
    for k, row in enumerate((c_row, -c_row, m_row, -m_row)):
        wide[len(rows) + k, :n] = row
        wide[len(rows) + k, n + k // 2] = -1.0
    wide[-1, :n] = -volume
    limits = np.array([*slack, 0.0, 0.0, 0.0, 0.0, -_KEEP * float(volume @ first)])
    cost = np.zeros(n + 2)
    cost[n:] = 1.0
    second = _linprog(cost, wide, limits, [*_bounds(stock), (0.0, None), (0.0, None)])
    return first if second is None else second[:n]


def _linprog(
    cost: Floats,
    rows: Floats,
    limits: Floats,
    bounds: list[tuple[float, float | None]],
    equal: tuple[Floats, float] | None = None,
) -> Floats | None:
    from scipy.optimize import linprog

    found = linprog(
        cost,
        A_ub=rows,
        b_ub=limits,
        A_eq=None if equal is None else equal[0][None, :],
        b_eq=None if equal is None else [equal[1]],
        bounds=bounds,
        method="highs",
    )
    return np.asarray(found.x, dtype=np.float64) if found.status == 0 else None


def _middle(bounds: tuple[float, float]) -> float:
    """The middle of two C:N bounds, by nitrogen (the harmonic mean)."""
    return 2.0 / (1.0 / bounds[0] + 1.0 / bounds[1])


# --- half loads ---


def _in_half_loads(available: Mix, stock: _Stock, shares: Floats) -> tuple[Floats, list[str]]:
    """Shares rounded so that loads come in halves, if the goals can still be met; else as found."""
    loads = [p.loads.typical if p.loads else math.nan for p in available.ingredients]
    rounded = shares.copy()
    for k, count in enumerate(loads):
        if count and math.isfinite(count):
            rounded[k] = min(1.0, round(2 * shares[k] * count) / 2 / count)
    if float(rounded @ stock.volume) <= 0:
        return shares, []
    try:
        _water_and_nitrogen(stock, rounded)
    except ImpossibleError:
        return shares, []
    same = np.allclose(rounded, shares, atol=5e-3)
    note = [] if same else ["Rounded to half loads; water and nitrogen worked out again."]
    return rounded, note


def _water_and_nitrogen(stock: _Stock, shares: Floats) -> tuple[float, float]:
    """Water and nitrogen [kg] for given shares, nearest the middle of the goals."""
    mass, water = float(shares @ stock.mass), float(shares @ stock.water)
    carbon, nitrogen = float(shares @ stock.carbon), float(shares @ stock.nitrogen)
    low, high = stock.moisture
    if water > high * mass * (1 + 1e-9):
        raise ImpossibleError("too wet", field="goal_moisture")
    add = max(0.0, (((low + high) / 2) * mass - water) / (1 - (low + high) / 2))
    if carbon < stock.cn[0] * nitrogen * (1 - 1e-9):
        raise ImpossibleError("too much nitrogen", field="goal_cn")
    extra = max(0.0, carbon / _middle(stock.cn) - nitrogen) if stock.product else 0.0
    if carbon > stock.cn[1] * (nitrogen + extra) * (1 + 1e-9):
        raise ImpossibleError("too little nitrogen", field="goal_cn")
    return add, extra


def _scaled(part: Ingredient, share: float) -> Ingredient:
    def times(amount: Ranged | None) -> Ranged | None:
        return None if amount is None else amount.scaled(share)

    return dataclasses.replace(
        part,
        loads=times(part.loads),
        volume_m3=times(part.volume_m3),
        mass_kg=times(part.mass_kg),
    )


# --- why not ---


def _conflict(stock: _Stock, names: list[str]) -> ImpossibleError:
    """Which goals conflict, and by how much."""
    listed = " and ".join(names) if len(names) < 3 else ", ".join(names[:-1]) + " and " + names[-1]
    (cn_low, cn_high), m_high = stock.cn, stock.moisture[1]
    alone = "" if stock.product else " alone"
    lowest, highest = _cn_reach(stock, moisture=False)
    if lowest > cn_high or highest < cn_low:
        one = f"{lowest:.3g}" == f"{highest:.3g}"
        reach = f"{lowest:.3g}" if one else f"from {lowest:.3g} to {highest:.3g}"
        return ImpossibleError(
            f"with {listed}{alone} the C:N is {reach}, not {_goal(stock.cn, 'cn_ratio')}",
            field="goal C:N",
            value=_goal(stock.cn, "cn_ratio"),
            way_out="Add something richer in nitrogen, or a nitrogen product"
            if lowest > cn_high
            else "Add something richer in carbon, such as chips, straw or cardboard",
        )
    driest = _driest(stock, cn=False)
    if driest > m_high:
        return ImpossibleError(
            f"the driest that {listed} can be is {show(driest, 'moisture_wb')} moisture; "
            "a wet ingredient cannot lower moisture and water only adds",
            field="goal moisture",
            value=_goal(stock.moisture, "moisture_wb"),
            way_out="Add something dry, such as straw, dry leaves or cardboard",
        )
    driest = _driest(stock, cn=True)
    if driest <= m_high:
        return ImpossibleError(
            f"no amounts of {listed} were found that meet both goals",
            field="goals",
            way_out="Widen one of the two goals a little",
        )
    lowest, highest = _cn_reach(stock, moisture=True)
    if lowest > cn_high:
        reach = f"at {_goal(stock.moisture, 'moisture_wb')} moisture the lowest C:N is {lowest:.3g}"
    else:
        reach = (
            f"at {_goal(stock.moisture, 'moisture_wb')} moisture the highest C:N is {highest:.3g}"
        )
    return ImpossibleError(
        f"{listed}{alone} cannot give both {_goal(stock.moisture, 'moisture_wb')} moisture and "
        f"C:N {_goal(stock.cn, 'cn_ratio')}: at that C:N the driest mix holds "
        f"{show(driest, 'moisture_wb')}, {100 * (driest - m_high):.1f} points too much, and "
        f"{reach}; a wet ingredient cannot lower moisture and water only adds",
        field="goals",
        way_out="Add a third, drier material, or widen one of the two goals",
    )


def _goal(bounds: tuple[float, float], key: str) -> str:
    low, high = (show(b, key) for b in bounds)
    return low if low == high else f"{low.removesuffix(' %')}-{high}"


def _driest(stock: _Stock, *, cn: bool) -> float:
    """Least moisture of any mix, with the C:N goal kept or not; 1 if there is no such mix."""
    rows = _rows(stock, cn=cn, moisture=False)
    cost = np.array([*stock.water, 1.0, 0.0])
    total = (np.array([*stock.mass, 1.0, 0.0]), 1.0)
    found = _linprog(cost, rows, np.zeros(len(rows)), _bounds(stock, None), total)
    return 1.0 if found is None else float(cost @ found)


def _cn_reach(stock: _Stock, *, moisture: bool) -> tuple[float, float]:
    """Least and greatest C:N of any mix, with the moisture goal kept or not."""
    rows = _rows(stock, cn=False, moisture=moisture)
    limits, bounds = np.zeros(len(rows)), _bounds(stock, None)
    nitrogen = (np.array([*stock.nitrogen, 0.0, 1.0]), 1.0)
    carbon = np.array([*stock.carbon, 0.0, 0.0])
    least = _linprog(carbon, rows, limits, bounds, nitrogen)
    most = _linprog(-carbon, rows, limits, bounds, nitrogen)
    return (
        math.inf if least is None else float(carbon @ least),
        0.0 if most is None else float(carbon @ most),
    )
