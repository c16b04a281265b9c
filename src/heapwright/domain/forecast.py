"""What was forecast for one spot of one heap, beside what two plain rules would have said.

Units: values in the unit of the register row of the quantity (degrees C for ``temp_c``); aware
datetimes, kept to the second. Conventions: a forecast is never changed; another one is made later.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from heapwright.errors import InputError
from heapwright.units import quantity

__all__ = ["Forecast", "check_print"]

_PRINT = 16


@dataclass(frozen=True, slots=True)
class Forecast:
    """One value to come: its mean and the range that four of five readings should fall into.

    Parameters
    ----------
    heap, spot : str
        Where: the heap by name, the spot as readings name it.
    made, due : datetime
        When the forecast was made and the moment it is about; aware, *due* at least one second
        after *made*.
    low, mean, high : float
        The 80 % range with the error of a reading in it, low <= mean <= high, and its mean.
    no_change, cooling : float or None
        What "no change" and the plain cooling curve say; None where they have nothing to go by.
    weather : str
        What weather was assumed.
    print : str
        Which fit it came from: 1 to 16 letters.
    quantity : str
        A registered quantity.
    recorded : datetime or None
        When the book took it; None before. Not compared.

    Raises
    ------
    InputError
        A time without zone, *due* not after *made*, a value that is no number, a range that does
        not hold its mean, no heap, a print of another length.
    QuantityError
        No such quantity.
    """

    heap: str
    spot: str
    made: datetime
    due: datetime
    low: float
    mean: float
    high: float
    no_change: float | None = None
    cooling: float | None = None
    weather: str = ""
    print: str = field(kw_only=True)
    quantity: str = "temp_c"
    recorded: datetime | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if not self.heap.strip():
            raise InputError(
                "a forecast is about one heap", field="heap", value=repr(self.heap),
                way_out="Give the name of a heap of the trial",
            )  # fmt: skip
        self._check_times()
        self._check_values()
        check_print(self.print)
        quantity(self.quantity)

    def _check_times(self) -> None:
        for name, moment in (("made", self.made), ("due", self.due)):
            if moment.utcoffset() is None:
                raise InputError(
                    "a time without zone cannot be kept", field=name, value=moment.isoformat(),
                    way_out="Give an aware time, for example in UTC",
                )  # fmt: skip
        if self.due - self.made < timedelta(seconds=1):
            raise InputError(
                f"a forecast made {self.made.isoformat()} is about a later time",
                field="due",
                value=self.due.isoformat(),
                way_out="Forecast a time at least one second after it is made",
            )

    def _check_values(self) -> None:
        for name in ("low", "mean", "high", "no_change", "cooling"):
            value = getattr(self, name)
            if value is not None and not math.isfinite(value):
                raise InputError(
                    f"the forecast of heap {self.heap} is no number here", field=name, value=value,
                    way_out="Leave it out (None)" if name in ("no_change", "cooling")
                    else "Give a finite number",
                )  # fmt: skip
        if not self.low <= self.mean <= self.high:
            raise InputError(
                f"the range {self.low:g} to {self.high:g} does not hold its mean",
                field="mean",
                value=f"{self.mean:g}",
                way_out="Give low <= mean <= high",
            )


def check_print(print_: str) -> str:
    """*print_* if it can name a fit (1 to 16 letters); raises `InputError`.

    >>> check_print("0f3a")
    '0f3a'
    """
    if not 1 <= len(print_) <= _PRINT:
        raise InputError(
            f"the print of a fit has 1 to {_PRINT} letters",
            field="print",
            value=repr(print_),
            way_out="Give the print as the fit names it",
        )
    return print_
