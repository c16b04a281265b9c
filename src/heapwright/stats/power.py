"""What a number of heaps can show, before anything is built.

Units: degrees C (differences) for everything about temperature. Conventions: n is heaps a way;
figures are for mean degrees above air, whose spread between heaps is the best known. "Prior-free"
(informed=False) assumes nothing about that spread: an ordinary t, paired by block where there are
blocks; what is found then is still worked out at a true spread of 4.5 C.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import QuantityError
from heapwright.stats import dunnett
from heapwright.stats.contrast import t_quantile
from heapwright.stats.prior import SpreadPrior

__all__ = [
    "Layout",
    "classical_gap",
    "classical_heaps",
    "classical_power",
    "detectable_gap",
    "expected_half_width",
    "explainable_gap",
    "floor_in_blocks",
    "permutation_floor",
    "sampling_variance",
]

Floats = NDArray[np.float64]

#: Planning value of the heap-to-heap standard deviation, and the range it is averaged over [C].
SIGMA_C, SIGMA_RANGE_C = 4.5, (3.0, 6.0)
_NODES = 64


@dataclass(frozen=True, slots=True)
class Layout:
    """How many heaps stand under each way, and in how many blocks.

    control : heaps of the control, >= 1; others : heaps of every other way, >= 1 each; blocks :
    blocks, yards or seasons whose own level is taken out (each holding every way), 1 for none;
    taken : further degrees of freedom that the design takes up, as other things varied do, >= 0.
    Figures are for the first of *others* against the control, and exact where every block holds as
    many heaps. Raises `QuantityError`.
    """

    control: int
    others: tuple[int, ...]
    blocks: int = 1
    taken: int = 0

    def __post_init__(self) -> None:
        if not self.others:
            raise QuantityError("a comparison needs at least two ways", field="ways", value=1)
        for n in (self.control, *self.others):
            _heaps(n)
        if not 1 <= self.blocks <= min(self.control, *self.others):
            raise QuantityError(
                "every block holds a heap of every way", field="blocks", value=self.blocks,
                way_out="Count only blocks that do",
            )  # fmt: skip
        if self.taken < 0 or self.within_df < 0:
            raise QuantityError(
                "a design takes up no more than its heaps give", field="taken", value=self.taken
            )

    @classmethod
    def even(cls, n: int, ways: int = 2) -> Layout:
        """The same number of heaps under every way; raises `QuantityError`."""
        if ways < 2:
            raise QuantityError("a comparison needs at least two ways", field="ways", value=ways)
        return cls(_heaps(n), (n,) * (ways - 1))

    @classmethod
    def pairs(cls, yards: int) -> Layout:
        """One heap of either way in each of so many yards.

        >>> round(Layout.pairs(4).half_width(), 1)
        6.6
        """
        return cls(_heaps(yards), (yards,), yards)

    @property
    def within_df(self) -> int:
        """Degrees of freedom that the trial itself gives for the spread between heaps."""
        heaps = self.control + sum(self.others)
        return heaps - len(self.others) - self.blocks - self.taken

    @property
    def per_heap(self) -> float:
        """1/n + 1/n of the two ways."""
        return 1 / self.others[0] + 1 / self.control

    def _critical(self, df: float, level: float) -> float:
        if len(self.others) == 1:
            return t_quantile(level, df)
        return dunnett.critical_value(self.control, list(self.others), df, level=level)

    def _known(self, prior: SpreadPrior | None, informed: bool) -> tuple[float, float, float]:
        """Degrees of freedom, the sum of squares that is assumed, and the sampling variance."""
        prior = prior or SpreadPrior.published()
        if informed:
            base = prior.nu0 * (prior.s0_c**2 + prior.va)
            return prior.nu0 + self.within_df, base, prior.va
        if self.within_df == 0:
            raise QuantityError(
                "no heap is left over to show how far heaps treated alike differ", field="heaps",
                value=self.control, way_out="Add a heap of each way, or another yard",
            )  # fmt: skip
        return self.within_df, 0.0, prior.va

    def half_width(
        self, *, prior: SpreadPrior | None = None, level: float = 0.95, informed: bool = True
    ) -> float:
        """Half-width of the interval to expect [C]; as `expected_half_width`.

        informed : False for the prior-free interval; `QuantityError` where no heap is left over.

        >>> round(Layout.pairs(3).half_width(informed=False), 1)
        14.3
        """
        df, base, va = self._known(prior, informed)
        if self.within_df == 0:
            mean_s = math.sqrt(base / df)
        else:
            nodes, weights = np.polynomial.legendre.leggauss(16)
            low, high = SIGMA_RANGE_C
            sigma = low + (nodes + 1) / 2 * (high - low)
            chi2, w = _chi2(self.within_df)
            spread = np.sqrt((base + np.outer(sigma**2 + va, chi2)) / df)
            mean_s = float(weights / 2 @ spread @ w)
        return self._critical(df, level) * mean_s * math.sqrt(self.per_heap)

    def power(
        self, gap_c: float, *, sigma_c: float = SIGMA_C, prior: SpreadPrior | None = None,
        level: float = 0.95, informed: bool = True,
    ) -> float:  # fmt: skip
        """In which share of trials a true difference [C] is told from none, 0 to 1.

        >>> round(Layout.even(3).power(10.8), 2)
        0.8
        """
        return self._found(sigma_c, prior, level, informed)(gap_c)

    def detectable(
        self, power: float = 0.80, *, sigma_c: float = SIGMA_C, prior: SpreadPrior | None = None,
        level: float = 0.95, informed: bool = True,
    ) -> float:  # fmt: skip
        """The difference that is told from none in that share of trials [C]."""
        from scipy.optimize import brentq

        if not 0 < power < 1:
            raise QuantityError("power must lie between 0 and 1", field="power", value=power)
        found = self._found(sigma_c, prior, level, informed)
        top = 60 * math.hypot(sigma_c, 1.0)
        return float(brentq(lambda gap: found(gap) - power, 0.0, top, xtol=1e-6))

    def gap_in_sds(self, power: float = 0.80, *, level: float = 0.95) -> float:
        """The difference that is found prior-free, in standard deviations of one heap's value.

        >>> round(Layout.even(3).gap_in_sds(), 3)
        3.071
        """
        sd = math.sqrt(SIGMA_C**2 + SpreadPrior.published().va)
        return self.detectable(power, level=level, informed=False) / sd

    def _found(
        self, sigma_c: float, prior: SpreadPrior | None, level: float, informed: bool
    ) -> Callable[[float], float]:
        """The share of trials in which a difference is found, as a function of it."""
        from scipy.special import ndtr

        if not sigma_c > 0:
            raise QuantityError("a spread must be above 0", field="sigma_c", value=sigma_c)
        df, base, va = self._known(prior, informed)
        variance = sigma_c**2 + va
        chi2, w = _chi2(self.within_df) if self.within_df else (np.zeros(1), np.ones(1))
        s = np.sqrt((base + variance * chi2) / df)
        reach = self._critical(df, level) * s / math.sqrt(variance)
        per_gap = 1 / math.sqrt(variance * self.per_heap)

        def share(gap: float) -> float:
            z = gap * per_gap
            return float(w @ (ndtr(z - reach) + ndtr(-z - reach)))

        return share


def permutation_floor(n_way: int, n_control: int) -> float:
    """The smallest two-sided chance figure that this many heaps can give.

    Of all ways to deal the labels, the one seen (and its mirror image, if both ways have as many
    heaps) is the most extreme there can be. Heaps >= 1 each; 0 to 1.

    >>> round(permutation_floor(2, 2), 2), round(permutation_floor(4, 4), 3)
    (0.33, 0.029)
    """
    return floor_in_blocks([(n_way, n_control)])


def floor_in_blocks(heaps: Sequence[tuple[int, int]]) -> float:
    """As `permutation_floor`, where the labels are dealt within each of several blocks.

    heaps : heaps of the way and of the control by block, >= 1 each.

    >>> floor_in_blocks([(1, 1)] * 4), round(floor_in_blocks([(2, 2), (2, 1)]), 3)
    (0.125, 0.056)
    """
    deals = math.prod(math.comb(_heaps(a) + _heaps(b), a) for a, b in heaps)
    return (2 if all(a == b for a, b in heaps) else 1) / deals


def expected_half_width(
    n: int, *, ways: int = 2, prior: SpreadPrior | None = None, level: float = 0.95
) -> float:
    """Half-width of the informed interval to expect with n heaps a way [C].

    Averaged over a true heap-to-heap standard deviation of 3 to 6 C. With more than two ways the
    interval is Dunnett's. n : heaps a way, >= 1; ways : with the control, >= 2; prior : that of
    science/values/spread.toml unless given; level : of the interval. Raises `QuantityError`.

    >>> [round(expected_half_width(n), 1) for n in (1, 2, 4)]
    [13.4, 9.3, 6.5]
    """
    return Layout.even(n, ways).half_width(prior=prior, level=level)


def detectable_gap(
    n: int,
    *,
    ways: int = 2,
    power: float = 0.80,
    sigma_c: float = SIGMA_C,
    prior: SpreadPrior | None = None,
    level: float = 0.95,
) -> float:
    """The difference that the informed interval would tell from none, in most trials [C].

    power : in which share of trials, 0 to 1; sigma_c : true heap-to-heap standard deviation [C],
    > 0, sampling comes on top; the rest as in `expected_half_width`. Raises `QuantityError`.

    >>> [round(detectable_gap(n), 1) for n in (1, 2, 3, 4, 6)]
    [18.8, 13.3, 10.8, 9.3, 7.6]
    """
    return Layout.even(n, ways).detectable(power, sigma_c=sigma_c, prior=prior, level=level)


def explainable_gap(n_per_way: int, ways: int) -> float:
    """The gap that heaps treated alike can show, below which nothing is explained [C].

    The half-width of the interval at this number of heaps: 13 C for one heap each of two ways,
    15 for two ways of one heap and a control.

    >>> round(explainable_gap(1, 2), 1), round(explainable_gap(1, 3), 1)
    (13.4, 15.5)
    """
    return expected_half_width(n_per_way, ways=ways)


def classical_power(n: float, gaps: float, *, level: float = 0.95) -> float:
    """In which share of trials an ordinary two-sample t test finds a difference, exactly; 0 to 1.

    n : heaps a way, >= 2 (a fraction is allowed, for planning); gaps : true difference in standard
    deviations of one heap's value.

    >>> round(classical_power(20, 1.0), 6)
    0.868953
    """
    from scipy.special import ndtr

    if n < 2:
        raise QuantityError("an ordinary t test needs two heaps a way", field="n", value=n)
    df = 2 * (n - 1)
    chi2, w = _chi2(df)
    reach = t_quantile(level, df) * np.sqrt(chi2 / df)
    z = gaps * math.sqrt(n / 2)
    return float(w @ (ndtr(z - reach) + ndtr(-z - reach)))


def classical_gap(n: float, sd_c: float, *, power: float = 0.80, level: float = 0.95) -> float:
    """The difference an ordinary two-sample t test would find, exactly [C].

    n : heaps a way, >= 2; sd_c : standard deviation of one heap's value [C], > 0.

    >>> round(classical_gap(3, 1.0), 4)
    3.0709
    """
    from scipy.optimize import brentq

    if not sd_c > 0:
        raise QuantityError("a spread must be above 0", field="sd_c", value=sd_c)
    return sd_c * float(
        brentq(lambda g: classical_power(n, g, level=level) - power, 0.0, 60.0, xtol=1e-9)
    )


def classical_heaps(gaps: float, *, power: float = 0.80, level: float = 0.95) -> float:
    """How many heaps a way an ordinary t test needs to find a difference, as a fraction.

    gaps : true difference in standard deviations of one heap's value, 0.05 to 20 (`QuantityError`);
    2 where two would do.

    >>> round(classical_heaps(0.5), 2)
    63.77
    """
    from scipy.optimize import brentq

    if not 0.05 <= gaps <= 20:
        raise QuantityError(
            "a difference is 0.05 to 20 standard deviations", field="gaps", value=gaps
        )
    if classical_power(2, gaps, level=level) >= power:
        return 2.0
    return float(brentq(lambda n: classical_power(n, gaps, level=level) - power, 2.0, 1e4))


def sampling_variance(
    spots: int,
    rounds: int,
    *,
    span_d: float = 57.0,
    spot_sd_c: float = 1.5,
    reading_sd_c: float = math.hypot(2.0, 0.5),
    quick_sd_c: float = 1.5,
    quick_d: float = 3.0,
) -> float:
    """Variance that spots, rounds and quick swings add to one heap's mean [C squared].

    Parameters
    ----------
    spots, rounds : int
        Spots a round and rounds, >= 1, evenly over *span_d* days.
    span_d : float, default 57
        Length of the window [day].
    spot_sd_c, reading_sd_c, quick_sd_c : float
        Standard deviations of spots, single readings and quick swings [C].
    quick_d : float, default 3
        Days in which a quick swing dies down.

    Returns
    -------
    float
        [C squared]

    Notes
    -----
    Defaults are those of the project's own simulation study (docs/explain/comparing-fairly.md).

    Examples
    --------
    >>> round(sampling_variance(3, 20), 2), round(sampling_variance(1, 5), 2)
    (1.05, 3.56)
    """
    if spots < 1 or rounds < 1:
        raise QuantityError(
            "there must be at least one spot and one round",
            field="spots, rounds",
            value=f"{spots}, {rounds}",
        )
    at = np.linspace(0.0, span_d, rounds)
    quick = float(np.exp(-np.abs(at[:, None] - at[None, :]) / quick_d).mean())
    return spot_sd_c**2 / spots + reading_sd_c**2 / (spots * rounds) + quick_sd_c**2 * quick


def _heaps(n: int) -> int:
    if n < 1:
        raise QuantityError("a way needs at least one heap", field="heaps", value=n)
    return n


def _chi2(df: float) -> tuple[Floats, Floats]:
    """Nodes and weights for a chi-square distribution: Gauss-Legendre in its root."""
    from scipy.special import chdtri, gammaln

    low = math.sqrt(float(chdtri(df, 1 - 1e-13)))
    high = math.sqrt(float(chdtri(df, 1e-13)))
    nodes, weights = np.polynomial.legendre.leggauss(_NODES)
    x = low + (nodes + 1) / 2 * (high - low)
    log_density = (df - 1) * np.log(x) - x**2 / 2 - (df / 2 - 1) * math.log(2)
    w = weights * np.exp(log_density - float(gammaln(df / 2)))
    return x**2, w / w.sum()
