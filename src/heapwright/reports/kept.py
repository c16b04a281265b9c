"""Pictures that were drawn already, kept by what they show, where a caller asks for that.

Conventions: a drawing is asked for again only with the same content, so what is kept is what would
be drawn; nothing is kept outside of `keeping`. The oldest gives way.
"""

from __future__ import annotations

import functools
import hashlib
import pickle
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import ParamSpec

__all__ = ["drawn_once", "keeping"]

_P = ParamSpec("_P")
#: Most pictures that are kept: those of two reports.
_MOST = 32
_ON: ContextVar[bool] = ContextVar("_ON", default=False)
_DRAWN: OrderedDict[str, str] = OrderedDict()
_LOCK = threading.Lock()


@contextmanager
def keeping() -> Iterator[None]:
    """Inside, pictures that were drawn before with the same content are not drawn again."""
    before = _ON.set(True)
    try:
        yield
    finally:
        _ON.reset(before)


def drawn_once(draw: Callable[_P, str]) -> Callable[_P, str]:
    """A function that draws, with its pictures kept inside `keeping`.

    >>> asked = []
    >>> @drawn_once
    ... def line(n):
    ...     asked.append(n)
    ...     return "-" * n
    >>> with keeping():
    ...     line(2), line(2)
    ('--', '--')
    >>> line(2), asked
    ('--', [2, 2])
    """

    @functools.wraps(draw)
    def kept(*args: _P.args, **named: _P.kwargs) -> str:
        if not _ON.get():
            return draw(*args, **named)
        shown = pickle.dumps((draw.__module__, draw.__qualname__, args, sorted(named.items())))
        key = hashlib.sha256(shown).hexdigest()
        with _LOCK:
            found = _DRAWN.get(key)
        made = draw(*args, **named) if found is None else found
        with _LOCK:
            _DRAWN[key] = made
            _DRAWN.move_to_end(key)
            while len(_DRAWN) > _MOST:
                _DRAWN.popitem(last=False)
        return made

    return kept
