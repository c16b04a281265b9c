"""Pictures sent to a page, waiting beside the book until they are marked and kept.

Units: none. Conventions: a picture waits under a name of its own making, checked and written anew
as `heapwright.services.imaging.take_picture` does; at most a day and at most so many, the oldest
goes first.
"""

from __future__ import annotations

import re
import time
import uuid
from contextlib import suppress
from pathlib import Path

from heapwright.errors import InputError, UnknownNameError
from heapwright.exchange.files import write_whole
from heapwright.services.imaging import Taken
from heapwright.services.settings import beside

__all__ = ["forget_picture", "held_picture", "hold_picture"]

_DAY_S = 86400.0
#: pictures that wait at once
_MOST = 30


def hold_picture(book: str, taken: Taken) -> str:
    """Keep a picture until it is marked; returns what it is called here. Raises `InputError`."""
    desk = beside(book, ".pictures")
    _tidy(desk)
    name = f"{uuid.uuid4().hex}{taken.ending}"
    write_whole(desk / name, taken.content)
    return name


def held_picture(book: str, name: str) -> Path:
    """The picture that waits under that name; raises `UnknownNameError`."""
    path = beside(book, ".pictures") / name
    if not re.fullmatch(r"[0-9a-f]{32}\.(jpg|png)", name) or not path.is_file():
        raise UnknownNameError("this picture waits here no longer", field="picture",
                               value=name[:36], way_out="Choose the file again")  # fmt: skip
    return path


def forget_picture(book: str, name: str) -> None:
    """Put away a picture that is kept; nothing happens where it is gone."""
    with suppress(OSError, InputError, UnknownNameError):
        held_picture(book, name).unlink()


def _tidy(desk: Path) -> None:
    """Put away pictures that nobody came back to, and the oldest of too many."""
    if not desk.is_dir():
        return
    with suppress(OSError):
        waiting = sorted(desk.iterdir(), key=lambda p: p.stat().st_mtime)
        for n, path in enumerate(waiting):
            late = time.time() - path.stat().st_mtime > _DAY_S
            if late or n <= len(waiting) - _MOST:
                path.unlink(missing_ok=True)
