"""What a fitted ensemble says of readings to come, and of those that came since.

Units: degrees C, days. Conventions: each member goes on as it was fitted; what its readings were
off is carried on as far as it lasts; readings after the fit move the courses at once, as normal
numbers together, without a new fit. Ranges hold the error of a reading, so that readings fall into
them as often as they say.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import NotEnoughError
from heapwright.inference.fit import Fitted
from heapwright.inference.readings import ErrorModel, Read, told

__all__ = ["carried_on", "expected"]

Floats = NDArray[np.float64]
_STREAM = 29
#: how often each member is drawn with errors, so that few members make a smooth range
_DRAWS = 20


def expected(
    fitted: Fitted, coming: Sequence[Read], since: Sequence[Read] = (), *, seed: int = 0
) -> Floats:
    """Possible values of readings to come, (draws, n), on the scale of the readings as told.

    coming : readings whose value does not matter; since : what was read after the fit. Raises
    `NotEnoughError` for readings beyond the days that the members were run.
    """
    late = [r.day for r in (*coming, *since) if r.day > fitted.days + 1e-6]
    if late:
        raise NotEnoughError(
            "the fitted heaps were not run so far", field="day", value=f"{max(late):g}",
            way_out=f"Run them on from day {fitted.days:g}",
        )  # fmt: skip
    rng = np.random.default_rng([_STREAM, seed])
    ahead = [*since, *coming]
    said = fitted.said(ahead)
    mean, cov = carried_on(fitted, ahead, said, fitted.errors)
    n = len(since)
    members = mean.shape[1]
    root = _root(cov)
    noise = root @ rng.normal(size=(len(ahead), members * _DRAWS))
    drawn = np.repeat(mean, _DRAWS, axis=1) + noise
    if n == 0:
        return np.asarray(drawn.T)
    apart = mean - mean.mean(axis=1, keepdims=True)
    spread = apart @ apart.T / max(members - 1, 1) + cov
    gain = np.linalg.solve(spread[:n, :n], spread[:n, n:]).T
    read = np.array([told(r) for r in since])
    return np.asarray((drawn[n:] + gain @ (read[:, None] - drawn[:n])).T)


def carried_on(
    fitted: Fitted, ahead: Sequence[Read], said: Floats, errors: ErrorModel
) -> tuple[Floats, Floats]:
    """What members say with what their readings were off carried on, (n, members), and the
    covariance (n, n) of what is left open; said : what the members say to *ahead*."""
    if not fitted.reads:
        return said, errors.covariance(ahead)
    read = np.array([told(r) for r in fitted.reads])
    past = errors.covariance(fitted.reads)
    across = errors.covariance(ahead, fitted.reads)
    gain = np.linalg.solve(past, across.T).T
    off = read[:, None] - fitted.said(fitted.reads)
    return said + gain @ off, errors.covariance(ahead) - gain @ across.T


def _root(cov: Floats) -> Floats:
    """A square root of a covariance that may have lost its last digits."""
    size = np.trace(cov) / max(len(cov), 1)
    return np.asarray(np.linalg.cholesky(cov + 1e-9 * max(size, 1e-12) * np.eye(len(cov))))
