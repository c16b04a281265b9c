"""The assumed spread between heaps treated alike, read from science/values/spread.toml.

Units: `s0_c` in degrees C (a difference), `va` in degrees C squared, `nu0` without unit.
Convention: a prior is said aloud in every claim that rests on it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from heapwright.errors import NotEnoughError, QuantityError
from heapwright.science.values import value

__all__ = ["CovariatePrior", "SpreadPrior", "air_memory_d", "spread_value"]


#: heaps are never taken to be more alike than this [C]
_LEAST_C = 0.5


def spread_value(key: str) -> float:
    """The number kept under *key* in spread.toml; `UnknownNameError` if there is none.

    >>> spread_value("s0_c")
    4.0
    """
    return value("spread", key).value


def air_memory_d() -> float:
    """Days over which the air is averaged back [day]; source in spread.toml.

    >>> air_memory_d()
    6.0
    """
    return spread_value("air_memory_d")


def _positive(name: str, number: float) -> None:
    if not (math.isfinite(number) and number > 0):
        raise QuantityError(
            "the assumed spread must be a number above 0",
            field=name,
            value=number,
            way_out=f"Leave it out for the usual {spread_value(name):g}",
        )


@dataclass(frozen=True, slots=True)
class SpreadPrior:
    """What is assumed about the spread between heaps treated alike.

    Parameters
    ----------
    s0_c : float
        Standard deviation between heaps [degrees C], > 0.
    nu0 : float
        Degrees of freedom that assumption is worth, > 0.
    va : float
        Sampling variance of one heap's value [degrees C squared], > 0.

    Raises
    ------
    QuantityError
        If one of them is not a finite number above 0.

    Examples
    --------
    >>> SpreadPrior().pooled_sd
    4.09878030638384
    """

    s0_c: float = 4.0
    nu0: float = 8.0
    va: float = 0.8

    def __post_init__(self) -> None:
        _positive("s0_c", self.s0_c)
        _positive("nu0", self.nu0)
        _positive("va", self.va)

    @classmethod
    def published(cls) -> SpreadPrior:
        """The prior of science/values/spread.toml.

        >>> SpreadPrior.published()
        SpreadPrior(s0_c=4.0, nu0=8.0, va=0.8)
        """
        return cls(spread_value("s0_c"), spread_value("nu0"), spread_value("va"))

    @classmethod
    def assumed(cls, spread: float | None, worth: int | None) -> SpreadPrior:
        """What a plan locked about the spread; the usual for whatever it left open.

        spread : standard deviation between heaps [degrees C], > 0; worth : degrees of freedom that
        this is worth, >= 1; None for the usual of either. Raises `QuantityError`.

        >>> SpreadPrior.assumed(3.0, None), SpreadPrior.assumed(None, 12).nu0
        (SpreadPrior(s0_c=3.0, nu0=8.0, va=0.8), 12.0)
        """
        usual = cls.published()
        return cls(
            usual.s0_c if spread is None else spread,
            usual.nu0 if worth is None else float(worth),
            usual.va,
        )

    @classmethod
    def from_trials(cls, residuals: Sequence[tuple[float, float]]) -> SpreadPrior:
        """The spread that earlier trials showed, in place of the usual assumption.

        Parameters
        ----------
        residuals : sequence of (float, float)
            Residual sum of squares [degrees C squared] and degrees of freedom of each trial: one
            value a heap, within ways (and blocks). It is taken that the next trial is like them.

        Returns
        -------
        SpreadPrior
            s0^2 = pooled mean square less the sampling variance (0.5 C at least), worth the pooled
            degrees of freedom.

        Raises
        ------
        NotEnoughError
            If no trial has a degree of freedom: one heap each shows no spread.

        Examples
        --------
        >>> made = SpreadPrior.from_trials([(70.0, 4), (30.0, 2)])
        >>> round(made.s0_c, 2), made.nu0
        (3.98, 6)
        """
        df = sum(d for _, d in residuals)
        if df < 1:
            raise NotEnoughError(
                "these trials have one heap of each way, so they show no spread",
                field="trials",
                way_out="Name trials with two heaps of a way or more",
            )
        usual = cls.published()
        over = sum(rss for rss, _ in residuals) / df - usual.va
        return cls(math.sqrt(max(over, _LEAST_C**2)), df, usual.va)

    @property
    def pooled_sd(self) -> float:
        """Standard deviation of one heap's value, sampling included [degrees C]."""
        return math.sqrt(self.s0_c**2 + self.va)

    def with_spread(self, s0_c: float) -> SpreadPrior:
        """The same prior with another heap-to-heap standard deviation [degrees C]."""
        return replace(self, s0_c=s0_c)

    def sentence(self) -> str:
        """The assumption as it stands beside a claim."""
        return (
            f"Heaps treated alike are taken to differ with a standard deviation of about "
            f"{self.s0_c:g} C (worth {self.nu0:g} degrees of freedom; sampling variance "
            f"{self.va:g} C squared)"
        )


@dataclass(frozen=True, slots=True)
class CovariatePrior:
    """What is assumed about the slope of the outcome on the common phase.

    slope : expected slope, without unit; slope_sd : its standard deviation, > 0.
    """

    slope: float = 0.3
    slope_sd: float = 0.5

    @classmethod
    def published(cls) -> CovariatePrior:
        """The numbers of science/values/spread.toml.

        >>> CovariatePrior.published()
        CovariatePrior(slope=0.3, slope_sd=0.5)
        """
        return cls(spread_value("covariate_slope"), spread_value("covariate_slope_sd"))
