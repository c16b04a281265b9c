"""A cover: what it sheds and what it shuts.

Conventions: ``Stepper.cover`` is the share of the skin that a cover shuts, 0 to 1. It sheds that
share of the rain and shuts it to the flow of gas, to diffusion and to vapour; sun, sky and
convection meet the cover as they would the skin. A fleece that breathes is no cover in this sense.
"""

from __future__ import annotations

from typing import Any

from heapwright.engine.process import Process
from heapwright.errors import InputError

__all__ = ["PROCESS", "put_on"]

PROCESS = Process(
    name="cover",
    reads=(),
    writes=(),
    sources=("own choice: a sheet is tight to gas, vapour and rain",),
    note="no air space under the sheet; gas still leaves through what it leaves open",
)
#: A sheet lies loosely: this share of the skin stays open at its foot.
_OPEN_FOOT = 0.1


def put_on(host: Any, share: float | None = None) -> None:
    """Cover a share of the skin (0 to 1), by default all but its foot; 0 takes the cover off.

    Raises `InputError` for a share outside 0 to 1.
    """
    wanted = 1.0 - _OPEN_FOOT if share is None else share
    if not 0 <= wanted <= 1:
        raise InputError("a share lies between 0 and 1", field="cover", value=wanted)
    host.cover = wanted
