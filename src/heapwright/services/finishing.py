"""All that a trial says of finish and use, part by part, for its report and its page.

Units: text. Conventions: a part without anything recorded for it is left out; the order is that of
the end of the job: what was it held against, is it done, what came out, where may it go.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from datetime import datetime

from heapwright.errors import NotEnoughError
from heapwright.reports.part import Part
from heapwright.services.balancewords import balance_parts
from heapwright.services.hygiene import hygiene_parts
from heapwright.services.maturity import maturity_parts
from heapwright.services.microscope import microscope_parts
from heapwright.services.picturetime import picture_parts
from heapwright.services.record import read_once
from heapwright.services.use import use_parts
from heapwright.store.book import Book

__all__ = ["MAKERS", "finish_parts"]

Maker = Callable[..., Sequence[Part]]
#: what makes parts, as ``maker(book, trial, now=...)``, in the order of the page
MAKERS: tuple[Maker, ...] = (
    hygiene_parts, maturity_parts, balance_parts, microscope_parts, picture_parts, use_parts,
)  # fmt: skip


def finish_parts(book: Book, trial: str, *, now: datetime) -> tuple[Part, ...]:
    """Every part that has something to say of a trial.

    Raises `UnknownNameError` for no such trial.
    """
    made: list[Part] = []
    with read_once():
        for maker in MAKERS:
            with suppress(NotEnoughError):
                made += maker(book, trial, now=now)
    return tuple(made)
