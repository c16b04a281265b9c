"""From one value a heap to findings: the interval, the claim, and the sentence that says it.

Units: estimates are in the unit of the outcome (see `heapwright.stats.outcomes`), way minus
control; only sentences are rounded and converted. Conventions: the heap is the unit; before the
locked end date there is an estimate and no interval; a temperature claim is never without the
sentence that temperature is not quality.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np

from heapwright.errors import InputError, NotEnoughError, QuantityError, UnknownNameError
from heapwright.stats import claims
from heapwright.stats.contrast import Interval
from heapwright.stats.outcomes import outcome
from heapwright.stats.prior import SpreadPrior
from heapwright.stats.tried import Alternative, Tried, usable_blocks
from heapwright.stats.wording import Words, headline

__all__ = ["Comparison", "compare"]

_LEVEL, _LEAN_LEVEL = 0.95, 0.80


@dataclass(frozen=True, slots=True)
class Comparison:
    """One way against the control, with all that a reader needs to check it.

    outcome, unit : key and unit of the estimate; window : ages in days, or None; way, control;
    estimate, low, high, df : way minus control with its 95 % interval, None where there is none;
    heaps : value of every heap by way (all ways, as they share the spread); claim : see
    `heapwright.stats.claims`; matters : the locked difference that would change practice;
    sentence : the finding in words; caveat : stands with it ("" for none); alternatives, differed,
    assumptions, sources : shown beside.
    """

    outcome: str
    unit: str
    window: tuple[float, float] | None
    way: str
    control: str
    estimate: float
    low: float | None
    high: float | None
    df: float | None
    heaps: Mapping[str, Mapping[str, float]]
    claim: str
    matters: float | None
    method: str
    sentence: str
    caveat: str
    alternatives: tuple[Alternative, ...]
    differed: tuple[str, ...]
    assumptions: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def headline(self) -> str:
        """The finding in words, with the caveat that stands with it."""
        return f"{self.sentence} {self.caveat}".strip()

    def to_json(self) -> dict[str, Any]:
        """As it stands in the findings: plain lists, numbers and text.

        Numbers are in the published unit of the outcome: fractions as per cent.
        """
        what = outcome(self.outcome)
        factor = what.per_kept

        def shown(value: float | None) -> float | None:
            return None if value is None else value * factor

        window = None if self.window is None else {"from_d": self.window[0], "to_d": self.window[1]}
        return {
            "outcome": self.outcome,
            "unit": what.published_unit,
            "window": window,
            "way": self.way,
            "control": self.control,
            "estimate": shown(self.estimate),
            "low": shown(self.low),
            "high": shown(self.high),
            "df": self.df,
            "heaps": {
                way: {heap: shown(v) for heap, v in values.items()}
                for way, values in self.heaps.items()
            },
            "claim": self.claim,
            "matters": shown(self.matters),
            "method": self.method,
            "headline": self.headline,
            "alternatives": [a.to_json(factor) for a in self.alternatives],
            "differed": list(self.differed),
            "assumptions": list(self.assumptions),
            "sources": list(self.sources),
        }


def compare(
    outcome_key: str,
    values_by_way: Mapping[str, Mapping[str, float]],
    control: str,
    *,
    matters: float | None,
    ended: bool,
    prior: SpreadPrior | None = None,
    exposures: Mapping[str, Mapping[str, float]] | None = None,
    blocks: Mapping[str, str] | None = None,
    window: tuple[float, float] | None = None,
    end_date: date | str | None = None,
    start_by_way: Mapping[str, Mapping[str, float]] | None = None,
    second: Mapping[str, Interval] | None = None,
    differed: Mapping[str, Sequence[str]] | None = None,
    notes: Sequence[str] = (),
    labels: Mapping[str, str] | None = None,
    doing: Mapping[str, str] | None = None,
    shown_in: str = "C",
) -> list[Comparison]:
    """Every way against the control, by one value a heap.

    Mean and peak degrees above air: the informed contrast, with the prior-free pooled t (two
    heaps on), Welch (three on) and other assumed spreads beside it. All else: the pooled t with
    Welch beside it (on the log scale for ratios; overdispersed binomial and Poisson models for
    what is counted), and "cannot tell" with one heap. More than two ways: Dunnett's intervals,
    with the unadjusted pair beside them.

    Parameters
    ----------
    outcome_key : str
        A key of `heapwright.stats.outcomes.OUTCOMES`.
    values_by_way : mapping of way to mapping of heap to float
        One value a heap, in the unit of the outcome; at least one heap a way.
    control : str
        The way that the others are compared with.
    matters : float or None
        The locked difference that would change practice, > 0, in the unit of the outcome; None
        where none was locked, and then nothing can be enough or too small to matter.
    ended : bool
        Whether the locked end date has come; before it there is no interval and no claim.
    prior : SpreadPrior, optional
        For outcomes with an informed spread; that of science/values/spread.toml unless given.
    exposures : mapping like *values_by_way*, optional
        For shares and numbers in a field: seeds sown, fields looked at.
    blocks : mapping of heap to str, optional
        Where heaps stand in blocks; taken out where every way can be compared within them.
    window : (float, float), optional
        Heap ages the values were taken over [day]; carried along.
    end_date : date or str, optional
        Needed if not *ended*.
    start_by_way : mapping like *values_by_way*, optional
        The common phase of each heap; adds the line with a covariate from three heaps a way on.
    second : mapping of way to Interval, optional
        A second opinion on each way, shown beside.
    differed : mapping of way to sequence of str, optional
        What else differed between a way and the control. Carried along.
    notes : sequence of str, optional
        What a reader must know about the values. Carried along.
    labels, doing : mapping of way to str, optional
        Way on screen ("turned"), and what was done as a noun ("turning").
    shown_in : {"C", "F"}, default "C"
        Unit of temperature differences in sentences; estimates stay in C.

    Returns
    -------
    list of Comparison
        One for each way but the control, in the order given.

    Raises
    ------
    UnknownNameError
        No such outcome or way.
    NotEnoughError
        Only one way has heaps.
    QuantityError, InputError
        *matters* not above 0, a value not finite, no end date before the end.

    Examples
    --------
    >>> heaps = {"left alone": {"A": 31.2}, "turned": {"B": 38.9}}
    >>> found = compare("mean_excess_c", heaps, "left alone", matters=5.0, ended=True,
    ...                 doing={"turned": "turning"})
    >>> found[0].claim, round(found[0].low, 1), round(found[0].high, 1)
    ('cannot tell', -5.7, 21.1)
    """
    what = outcome(outcome_key)
    values = _checked(values_by_way, control, matters)
    when = _when(ended, end_date)
    wording = dict(labels or {})
    standing = usable_blocks(values, blocks or {}, control)
    result = []
    for way in values:
        if way == control:
            continue
        tried = Tried(
            what, values, way, control, prior or SpreadPrior.published(), exposures or {}, standing
        )
        at95, at80 = (tried.main(_LEVEL), tried.main(_LEAN_LEVEL)) if ended else (None, None)
        estimate = at95.estimate if at95 else _mean(values[way]) - _mean(values[control])
        if when is not None:
            said = claims.so_far(when)
        elif not what.tested:
            said, at95 = claims.DESCRIBED, None
        else:
            said = claims.claim(*tried.carrying, at95, at80, matters, informed=what.informed)
        words = Words(
            outcome=what,
            way=wording.get(way, way),
            control=wording.get(control, control),
            way_heaps=tuple(values[way]),
            control_heaps=tuple(values[control]),
            doing=(doing or {}).get(way, ""),
            matters=matters,
            s0_c=tried.prior.s0_c,
            end_date=when,
            shown_in=shown_in,
        )
        result.append(
            Comparison(
                outcome=what.key,
                unit=what.unit,
                window=window,
                way=way,
                control=control,
                estimate=estimate,
                low=at95.low if at95 else None,
                high=at95.high if at95 else None,
                df=at95.df if at95 else None,
                heaps={w: dict(heaps) for w, heaps in values.items()},
                claim=said,
                matters=None if matters is None else float(matters),
                method=at95.method if at95 else "difference of means, no interval",
                sentence=headline(words, said, estimate, at95),
                caveat=claims.TEMPERATURE_CAVEAT if what.kind == "temperature" else "",
                alternatives=tried.beside(start_by_way, (second or {}).get(way)) if at95 else (),
                differed=tuple((differed or {}).get(way, ())),
                assumptions=tried.assumptions(at95, when, notes),
                sources=tried.sources(at95),
            )
        )
    return result


def _mean(values: Mapping[str, float]) -> float:
    return float(np.mean(list(values.values())))


def _when(ended: bool, end_date: date | str | None) -> str | None:
    """The end date as text if it has not come, else None."""
    if ended:
        return None
    if end_date is None or str(end_date).strip() == "":
        raise InputError(
            "before the end the end date must be named",
            field="end_date",
            way_out="Give the date that was locked in the plan",
        )
    if isinstance(end_date, date):
        return f"{end_date.day} {end_date:%B %Y}"
    return str(end_date)


def _checked(
    values_by_way: Mapping[str, Mapping[str, float]], control: str, matters: float | None
) -> dict[str, dict[str, float]]:
    values = {way: dict(heaps) for way, heaps in values_by_way.items()}
    if control not in values:
        raise UnknownNameError(
            "there is no way of that name in this comparison",
            field="control",
            value=control,
            way_out=f"Choose one of {', '.join(values)}",
        )
    if len(values) < 2:
        raise NotEnoughError(
            "there is only one way, and nothing to compare it with",
            field="ways",
            way_out="Treat at least one heap differently, or ask how the heaps are doing",
        )
    for way, heaps in values.items():
        if not heaps:
            raise NotEnoughError(
                f"no heap of way {way} has a value",
                field="heaps",
                way_out=f"Measure a heap of way {way}, or compare the other ways",
            )
        for heap, value in heaps.items():
            if not np.isfinite(value):
                raise InputError("the value of a heap must be a number", field=heap, value=value)
    if matters is not None and not (np.isfinite(matters) and matters > 0):
        raise QuantityError(
            "the difference that would change practice must be above 0",
            field="matters",
            value=matters,
            way_out="Say from which difference on you would do it the other way",
        )
    return values
