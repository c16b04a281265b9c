"""What a design with factors or yards is asked: effects, interactions, pairs.

Units: estimates in the unit of the outcome, way minus control; chance figures 0 to 1.
Conventions: rows and fits are those of `stats.linear`; a main effect averages over the other
factors with equal weights; intervals are prior-free unless a prior is given. Several levels
against one control: `stats.manytoone`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import InputError, NotEnoughError, UnknownNameError
from heapwright.stats.contrast import Interval
from heapwright.stats.estimable import contrast
from heapwright.stats.linear import Fit, HeapRow, Setting, fit
from heapwright.stats.prior import SpreadPrior

__all__ = ["Paired", "effect", "effect_weights", "interaction", "paired"]

Floats = NDArray[np.float64]
_MOST_FLIPPED = 16  # yards up to which all 2^n signs are tried


@dataclass(frozen=True, slots=True)
class Paired:
    """One pair in each of several yards.

    differences : way minus control by yard; left_out : the ways each yard without a pair lacks;
    prior_free : the paired t, None with one yard; informed : None without a prior; difference_sd :
    SD of the differences, heap to heap included, None with one yard; effect_sd : what is left of it
    beyond two heaps of the assumed spread, and differ_p the chance figure of at least this SD if
    the effect is the same in every yard (both None without a prior); sign_p : chance figure of the
    mean among all 2^n flips of signs, None above 16 yards; floor : the smallest it can be, 2/2^n.
    """

    way: str
    control: str
    differences: Mapping[str, float]
    left_out: Mapping[str, tuple[str, ...]]
    estimate: float
    prior_free: Interval | None
    informed: Interval | None
    difference_sd: float | None
    effect_sd: float | None
    differ_p: float | None
    sign_p: float | None
    floor: float


def effect(
    f: Fit,
    factor: str,
    way: str,
    control: str,
    *,
    at: Setting | None = None,
    prior: SpreadPrior | None = None,
    level: float = 0.95,
) -> Interval:
    """One level of a factor against another: the main effect, or the simple effect *at* a setting.

    Parameters
    ----------
    f : Fit
    factor : str
        "way" or another factor of the design.
    way, control : str
        Two of its levels; the estimate is way minus control.
    at : mapping of factor to level, optional
        Where the other factors are held ({"material": "grass"}); averaged with equal weights
        unless given.
    prior, level
        As in `estimable.contrast`.

    Returns
    -------
    Interval

    Raises
    ------
    NotEnoughError, UnknownNameError
        As `estimable.contrast`.
    InputError
        If way and control are the same.

    Examples
    --------
    >>> rows = [HeapRow(str(i), v, factors={"turning": t, "material": m}) for i, (v, t, m) in
    ...         enumerate([(30, "no", "bark"), (34, "yes", "bark"), (41, "no", "grass"),
    ...                    (51, "yes", "grass")])]
    >>> f = fit(rows, [("turning", "material")])
    >>> round(effect(f, "turning", "yes", "no", prior=SpreadPrior()).estimate, 6)
    7.0
    >>> grass = effect(f, "turning", "yes", "no", at={"material": "grass"}, prior=SpreadPrior())
    >>> round(grass.estimate, 6)
    10.0
    """
    weights = effect_weights(factor, way, control, at or {})
    return contrast(f, weights, prior=prior, level=level)


def effect_weights(
    factor: str, way: str, control: str, at: Setting
) -> list[tuple[float, dict[str, str | float]]]:
    """The difference of two levels of a factor, *at* a setting, as weights for `contrast`.

    >>> effect_weights("way", "turned", "left", {})
    [(1.0, {'way': 'turned'}), (-1.0, {'way': 'left'})]
    """
    if way == control:
        raise InputError("a level cannot be compared with itself", field=factor, value=way)
    return [(1.0, {**at, factor: way}), (-1.0, {**at, factor: control})]


def interaction(
    f: Fit,
    one: tuple[str, str, str],
    other: tuple[str, str, str],
    *,
    prior: SpreadPrior | None = None,
    level: float = 0.95,
) -> Interval:
    """How much more one factor does under a level of another than under that one's control.

    one, other : (factor, way, control) each; the estimate is the effect of *one* at the way of
    *other* minus its effect at the control. Errors as `effect`; `InputError` if the design has no
    such interaction.

    Examples
    --------
    >>> rows = [HeapRow(str(i), v, factors={"turning": t, "material": m}) for i, (v, t, m) in
    ...         enumerate([(30, "no", "bark"), (34, "yes", "bark"), (41, "no", "grass"),
    ...                    (51, "yes", "grass")])]
    >>> f = fit(rows, [("turning", "material")])
    >>> asked = ("turning", "yes", "no"), ("material", "grass", "bark")
    >>> round(interaction(f, *asked, prior=SpreadPrior()).estimate, 6)
    6.0
    """
    if not any({one[0], other[0]} <= set(term) for term in f.terms):
        raise InputError(
            "the design takes the effect of one to be the same under every level of the other",
            field="terms",
            value=f"{one[0]}, {other[0]}",
            way_out=f'Add ("{one[0]}", "{other[0]}") to the terms',
        )
    more = effect_weights(*one, {other[0]: other[1]})
    less = effect_weights(*one, {other[0]: other[2]})
    if other[1] == other[2] or one[0] == other[0]:
        raise InputError("an interaction needs two factors with two levels each", field="other")
    return contrast(f, [*more, *((-w, s) for w, s in less)], prior=prior, level=level)


def paired(
    rows: Sequence[tuple[str, str, float]],
    way: str,
    control: str,
    *,
    prior: SpreadPrior | None = None,
    level: float = 0.95,
) -> Paired:
    """Two ways by one pair of heaps in each of several yards, paired by yard.

    Parameters
    ----------
    rows : sequence of (yard, way, value)
        One heap each, in the unit of the outcome; other ways are passed over. Yards that lack one
        of the two are left out and named. The same yard in another season is another block; then
        name both in it, and note that its effects may be alike.
    way, control : str
        The estimate is way minus control.
    prior : SpreadPrior, optional
        For outcomes with an informed spread [degrees C]. It holds for heaps, not for how far the
        effect varies between yards: five yards with heaps differing by 3 to 6 C give coverage .951
        / .944 / .925 / .899 where the effect varies with SD 0 / 2 / 4 / 6 C (40,000 trials each,
        and .885 at 6 C with three yards); the paired t .95 throughout, and rather wider.
    level : float, default 0.95
        Level of the intervals, 0 to 1.

    Returns
    -------
    Paired

    Raises
    ------
    NotEnoughError
        If no yard has both.
    UnknownNameError
        If nobody has a heap of one of the ways.
    InputError
        If a yard has two heaps of one way, a value is not finite, or both ways are the same.

    References
    ----------
    Student 1908, Biometrika 6, 1-25 (from memory). Against R's t.test on its sleep data in
    tests/reference/test_designs.py.

    Examples
    --------
    >>> rows = [("Fern", "left", 31.2), ("Fern", "turned", 38.9), ("Hill", "left", 27.5),
    ...         ("Hill", "turned", 36.1), ("Mill", "turned", 40.2)]
    >>> found = paired(rows, "turned", "left")
    >>> round(found.estimate, 2), found.prior_free.df, dict(found.left_out)
    (8.15, 1.0, {'Mill': ('left',)})
    """
    if way == control:
        raise InputError("a way cannot be compared with itself", field="way", value=way)
    by_yard = _by_yard(rows, way, control)
    both = {yard: v for yard, v in by_yard.items() if len(v) == 2}
    lacking = {
        yard: tuple(w for w in (way, control) if w not in v)
        for yard, v in by_yard.items()
        if yard not in both
    }
    if not both:
        raise NotEnoughError(
            f"no yard has a heap of {way} and one of {control}",
            field="yards",
            value=", ".join(lacking),
            way_out="Build the other heap in one of them",
        )
    differences = {yard: v[way] - v[control] for yard, v in both.items()}
    heaps = [HeapRow(w, value, w, yard) for yard, v in both.items() for w, value in v.items()]
    f = fit(heaps, ["block", "way"], controls={"way": control})
    d = np.array(list(differences.values()))
    many = d.size > 1
    free = effect(f, "way", way, control, level=level) if many else None
    sd = float(d.std(ddof=1)) if many else None
    effect_sd, differ_p = _beyond(sd, d.size, prior)
    return Paired(
        way=way,
        control=control,
        differences=differences,
        left_out=lacking,
        estimate=float(d.mean()),
        prior_free=free,
        informed=effect(f, "way", way, control, prior=prior, level=level) if prior else None,
        difference_sd=sd,
        effect_sd=effect_sd,
        differ_p=differ_p,
        sign_p=_sign_p(d),
        floor=min(1.0, 2.0 ** (1 - d.size)),
    )


def _by_yard(
    rows: Sequence[tuple[str, str, float]], way: str, control: str
) -> dict[str, dict[str, float]]:
    found: dict[str, dict[str, float]] = {}
    ways = dict.fromkeys(w for _, w, _ in rows)
    for wanted in (way, control):
        if wanted not in ways:
            raise UnknownNameError(
                "no yard has a heap of that way",
                field="way",
                value=wanted,
                way_out=f"Choose one of {', '.join(ways) or 'none'}",
            )
    for yard, one, value in rows:
        here = found.setdefault(yard, {})
        if one in here and one in (way, control):
            raise InputError(
                f"yard {yard} has more than one heap of {one}, which makes no pair",
                field="yard",
                value=yard,
                way_out="Compare with linear.fit and the terms block and way, or name the pairs",
            )
        if one in (way, control):
            here[one] = value
    return found


def _beyond(
    sd: float | None, yards: int, prior: SpreadPrior | None
) -> tuple[float | None, float | None]:
    """SD of the effect between yards beyond what heaps explain, and the chance figure of none."""
    if sd is None or prior is None:
        return None, None
    from scipy.special import fdtrc

    of_heaps = 2 * (prior.s0_c**2 + prior.va)
    p = float(fdtrc(yards - 1, prior.nu0, sd**2 / of_heaps))
    return math.sqrt(max(0.0, sd**2 - of_heaps)), p


def _sign_p(d: Floats) -> float | None:
    """Share of all flips of signs whose mean is at least as far from 0."""
    if d.size > _MOST_FLIPPED:
        return None
    bits = (np.arange(2**d.size)[:, None] >> np.arange(d.size)) & 1
    sums = np.abs((1 - 2 * bits) @ d)
    return float((sums >= abs(d.sum()) - 1e-9 * np.abs(d).sum()).mean())
