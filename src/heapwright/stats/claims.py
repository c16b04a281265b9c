"""What may be claimed from a comparison: six phrases and no others.

Units: intervals and the difference that would change practice share the unit of the outcome.
Convention: the first phrase that fits, in the order of `CLAIMS`. A range that excludes no
difference and also lies within what would matter is therefore "real, perhaps too small"; the
sentence beside it says that all of it is too small.
"""

from __future__ import annotations

import math

from heapwright.errors import QuantityError
from heapwright.stats.contrast import Interval

__all__ = [
    "CANNOT_TELL",
    "CLAIMS",
    "DESCRIBED",
    "ENOUGH",
    "LEANS",
    "REAL",
    "TEMPERATURE_CAVEAT",
    "TOO_SMALL",
    "claim",
    "so_far",
]

ENOUGH = "enough to matter"
REAL = "real, perhaps too small"
TOO_SMALL = "too small to matter"
LEANS = "leans"
CANNOT_TELL = "cannot tell"
#: The whole vocabulary, strongest first.
CLAIMS = (ENOUGH, REAL, TOO_SMALL, LEANS, CANNOT_TELL)
#: Stands in for a claim where an outcome carries almost no power and is only described.
DESCRIBED = "described, not tested"
#: Stands with every temperature claim.
TEMPERATURE_CAVEAT = "Temperature shows how fast it rots, not how good the compost is."


def so_far(end_date: str) -> str:
    """What stands in for a claim before the end date that was locked.

    >>> so_far("1 September 2026")
    'so far: no claim before 1 September 2026'
    """
    return f"so far: no claim before {end_date}"


def claim(
    n_way: int,
    n_control: int,
    interval95: Interval | None,
    interval80: Interval | None,
    matters: float | None,
    *,
    informed: bool = True,
) -> str:
    """What may be claimed about one way against the control.

    Parameters
    ----------
    n_way, n_control : int
        Heaps of each, >= 1.
    interval95, interval80 : Interval or None
        The intervals at both levels; Dunnett's for more than two ways. None: there is none.
    matters : float or None
        The locked difference that would change practice, > 0, in the unit of the outcome; None
        where none was locked: then nothing is enough to matter or too small to.
    informed : bool, default True
        Whether the intervals rest on an informed spread, as for temperature outcomes.

    Returns
    -------
    str
        One of `CLAIMS`. Where either way has a single heap there is never a winner: "leans" if
        the 95 % interval excludes 0 and rests on an informed spread, else "cannot tell".

    Raises
    ------
    QuantityError
        If *matters* is not a finite number above 0 or a way has no heap.

    Examples
    --------
    >>> at95 = Interval(8.0, 1.0, 12.0, 5.8, 10.2, 0.95, "")
    >>> claim(3, 3, at95, at95.at_level(0.8), 5.0)
    'enough to matter'
    >>> claim(1, 1, at95, at95.at_level(0.8), 5.0)
    'leans'
    """
    if matters is not None and not (math.isfinite(matters) and matters > 0):
        raise QuantityError(
            "the difference that would change practice must be above 0",
            field="matters",
            value=matters,
            way_out="Say from which difference on you would do it the other way",
        )
    if min(n_way, n_control) < 1:
        raise QuantityError(
            "a way without a heap cannot be compared", field="heaps", value=min(n_way, n_control)
        )
    if interval95 is None or interval80 is None:
        return CANNOT_TELL
    if min(n_way, n_control) == 1:
        return LEANS if informed and interval95.excludes_zero else CANNOT_TELL
    if matters is not None and (interval95.low > matters or interval95.high < -matters):
        return ENOUGH
    if interval95.excludes_zero:
        return REAL
    if matters is not None and -matters < interval95.low and interval95.high < matters:
        return TOO_SMALL
    return LEANS if interval80.excludes_zero else CANNOT_TELL
