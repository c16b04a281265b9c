"""How far heaps treated alike differed in the keeper's own earlier trials.

Units: degrees C of mean degrees above air. Conventions: ended trials only, each over its own locked
window, within ways and blocks; "assumes similar trials" stands with the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from heapwright.errors import HeapwrightError, InputError, NotEnoughError
from heapwright.services.heapvalues import heap_outcomes
from heapwright.services.plans import only_trial
from heapwright.services.record import TrialRecord, load_record
from heapwright.stats.linear import HeapRow, fit
from heapwright.stats.prior import SpreadPrior
from heapwright.store.book import Book

__all__ = ["EarlierSpread", "spread_of"]

_FEW_DF = 4.0


@dataclass(frozen=True, slots=True)
class EarlierSpread:
    """The spread of earlier trials: each as (name, standard deviation [C], df), left out with why,
    and the assumption they make together."""

    trials: tuple[tuple[str, float, float], ...]
    left_out: tuple[tuple[str, str], ...]
    prior: SpreadPrior

    @property
    def sentence(self) -> str:
        """What it means, and what it takes for granted."""
        said = (
            f"Heaps treated alike differed with a standard deviation of {self.prior.s0_c:.1f} C "
            f"({self.prior.nu0:g} degrees of freedom). It is assumed that the next trial is like "
            "these."
        )
        if self.prior.nu0 < _FEW_DF:
            return said + " That is little to go by: the usual assumption is worth 8."
        return said

    @property
    def lines(self) -> tuple[str, str]:
        """What to write into [outcome] of the next plan, before it is locked."""
        return (f'spread = "{self.prior.s0_c:.1f} C"', f"spread_worth = {self.prior.nu0:.0f}")

    def to_json(self) -> dict[str, Any]:
        """As plain JSON values."""
        return {
            "trials": [{"trial": n, "sd_c": s, "df": d} for n, s, d in self.trials],
            "left_out": dict(self.left_out), "s0_c": self.prior.s0_c, "worth": self.prior.nu0,
            "sentence": self.sentence, "lines": list(self.lines),
        }  # fmt: skip


def spread_of(book: Book, trials: Sequence[str], *, now: datetime) -> EarlierSpread:
    """The spread of the trials named (the only one of the book if none is).

    Raises `UnknownNameError` for a trial that is not there, `NotEnoughError` if none shows a
    spread, `InputError` if one stands twice.
    """
    names = list(trials) or [only_trial(book, None)]
    if len({n.lower() for n in names}) < len(names):
        raise InputError("a trial stands twice", field="trial", value=", ".join(names))
    found, sums, left_out = [], [], []
    for name in names:
        record = load_record(book, name)
        try:
            rss, df = _residual(record, now)
        except HeapwrightError as error:
            left_out.append((record.name, error.what))
            continue
        sums.append((rss, df))
        found.append((record.name, (rss / df) ** 0.5, df))
    if not sums:
        raise NotEnoughError(
            "no trial shows how far heaps treated alike differ", field="trial",
            value="; ".join(f"{n}: {why}" for n, why in left_out),
            way_out="Name ended trials with two heaps of a way or more",
        )  # fmt: skip
    return EarlierSpread(tuple(found), tuple(left_out), SpreadPrior.from_trials(sums))


def _residual(record: TrialRecord, now: datetime) -> tuple[float, float]:
    """Residual sum of squares [C squared] and df of one value a heap, within ways and blocks."""
    locked = record.plan.locked
    if now < record.ends_at:
        raise NotEnoughError("it has not ended", field="ends", value=locked.ends.isoformat())
    values, _ = heap_outcomes(record, "mean_excess_c")
    heaps = [h for h in record.heaps.values() if h.name in values]
    blocks = {h.heap.block for h in heaps}
    terms = ["way"] if record.by_way() else []
    if len(blocks) > 1 and None not in blocks:
        terms.insert(0, "block")
    rows = [
        HeapRow(h.name, values[h.name], h.heap.way or "all alike", h.heap.block or "")
        for h in heaps
    ]
    made = fit(rows, terms or ["way"])
    if made.df < 1:
        raise NotEnoughError("it has one heap of each way", field="heaps", value=len(heaps))
    return made.rss, float(made.df)
