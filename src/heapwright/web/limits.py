"""How much and how often: the bytes of one request, and guesses at a join code.

Units: bytes; seconds.
Conventions: bytes are counted as they arrive, so that a body that does not say how long it is
cannot be longer than one that does; guesses are counted by client address and over all of them.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from fastapi import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = [
    "MOST_BYTES", "MOST_BYTES_OUTSIDE", "TOO_MUCH", "Counted", "Tries", "length_of", "too_much",
]  # fmt: skip

#: largest body of a request [bytes]
MOST_BYTES = 25_000_000
#: largest body of somebody who has not joined: a join code and its form [bytes]
MOST_BYTES_OUTSIDE = 10_000
TOO_MUCH = f"At most {MOST_BYTES // 1_000_000} MB at once."
_SEEN = "heapwright.bytes"


def length_of(said: str | None) -> int | None:
    """The length that a request says its body has [bytes]; None where it says none.

    An unreadable length counts as too long.

    >>> length_of("12"), length_of(None), length_of("²") > MOST_BYTES
    (12, None, True)
    """
    if said is None:
        return None
    if len(said) > 15 or not (said.isascii() and said.isdigit()):
        return MOST_BYTES + 1
    return int(said)


class Counted:
    """Counts the bytes of a request as they arrive and ends it with 413 past `MOST_BYTES`."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one request."""
        scope[_SEEN] = seen = [0]

        async def counted() -> Message:
            message = await receive()
            seen[0] += len(message.get("body", b""))
            if seen[0] > MOST_BYTES:
                raise HTTPException(413, TOO_MUCH)
            return message

        await self.app(scope, counted if scope["type"] == "http" else receive, send)


def too_much(scope: Scope) -> bool:
    """Whether a request was ended because its body was too long."""
    return bool(scope.get(_SEEN, [0])[0] > MOST_BYTES)


@dataclass(slots=True)
class Tries:
    """Wrong join codes of the last minute.

    each, all : most wrong codes from one address, from all of them; span_s : what counts as the
    last minute [s]; clock : seconds that only go forward.

    >>> tries = Tries(each=2, clock=lambda: 0.0)
    >>> tries.wrong("10.0.0.7"), tries.wrong("10.0.0.7")
    (None, None)
    >>> tries.may("10.0.0.7"), tries.may("10.0.0.8")
    (False, True)
    """

    each: int = 5
    all: int = 60
    span_s: float = 60.0
    clock: Callable[[], float] = time.monotonic
    _wrong: deque[tuple[float, str]] = field(default_factory=deque)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def may(self, address: str) -> bool:
        """Whether that address may try now."""
        with self._lock:
            self._forget()
            mine = sum(who == address for _, who in self._wrong)
            return mine < self.each and len(self._wrong) < self.all

    def wrong(self, address: str) -> None:
        """A wrong code came from that address."""
        with self._lock:
            self._forget()
            self._wrong.append((self.clock(), address))

    def _forget(self) -> None:
        while self._wrong and self._wrong[0][0] <= self.clock() - self.span_s:
            self._wrong.popleft()
