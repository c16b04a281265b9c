"""Who may do what: roles, join codes, signed sessions, and what a changing request must carry.

Conventions: a session is a signed cookie; its secret lies beside the book and outlives the server.
On this machine a visitor is the keeper; anybody else joins with a code that decides the role.
Nothing here says whether a code was nearly right.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import secrets
from dataclasses import dataclass
from enum import IntEnum

from starlette.responses import Response

from heapwright.errors import InputError
from heapwright.services.settings import beside

__all__ = ["COOKIE", "Door", "Role", "Visitor", "door_of", "hand_over"]

#: how the name of every session's cookie begins
COOKIE = "heapwright"
_LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
_CODE = 10


class Role(IntEnum):
    """What a visitor may do; each may do what those before may."""

    NOBODY = 0
    READER = 1
    HELPER = 2
    KEEPER = 3


@dataclass(frozen=True, slots=True)
class Visitor:
    """Who asks: role; session : name of the session; token : what a changing request carries."""

    role: Role
    session: str
    token: str


@dataclass(frozen=True, slots=True)
class Door:
    """Hands out and checks sessions; secret : 32 bytes, kept beside the book."""

    secret: bytes

    def _signed(self, text: str) -> str:
        made = hmac.new(self.secret, _bytes(text), hashlib.sha256).digest()
        return base64.urlsafe_b64encode(made).decode().rstrip("=")

    def cookie_name(self, *, https: bool) -> str:
        """The cookie's name: one a book, since a browser keeps one jar for all ports of a machine.

        Over https it may be set by this very host only, and only over https.
        """
        mark = hashlib.sha256(b"name" + self.secret).hexdigest()[:8]
        return f"{'__Host-' if https else ''}{COOKIE}-{mark}"

    def code(self, role: Role) -> str:
        """The join code of a role, ten letters in two groups; the same until the secret changes.

        >>> len(Door(b"x" * 32).code(Role.HELPER))
        11
        """
        digest = hmac.new(self.secret, f"join {role.name}".encode(), hashlib.sha256).digest()
        bits, out = int.from_bytes(digest[:8], "big"), ""
        for _ in range(_CODE):
            bits, rest = divmod(bits, len(_LETTERS))
            out += _LETTERS[rest]
        return f"{out[:5]}-{out[5:]}"

    def role_of(self, code: str) -> Role:
        """The role that a join code gives; `Role.NOBODY` for none."""
        typed = "".join(c for c in code.lower() if c.isalnum())
        found = Role.NOBODY
        for role in (Role.READER, Role.HELPER, Role.KEEPER):
            if hmac.compare_digest(self.code(role).replace("-", "").encode(), _bytes(typed)):
                found = role
        return found

    def cookie(self, role: Role) -> str:
        """The value of a new session's cookie."""
        body = f"{role.value}.{secrets.token_urlsafe(12)}"
        return f"{body}.{self._signed('session ' + body)}"

    def visitor(self, cookie: str | None) -> Visitor | None:
        """Who holds that cookie; None where it was not handed out here."""
        parts = (cookie or "").rsplit(".", 1)
        if len(parts) != 2 or not hmac.compare_digest(
            self._signed("session " + parts[0]).encode(), _bytes(parts[1])
        ):
            return None
        role, _, name = parts[0].partition(".")
        return Visitor(Role(int(role)), name, self.token(name))

    def token(self, session: str) -> str:
        """What a changing request of that session carries."""
        return self._signed("change " + session)

    def allows(self, visitor: Visitor, token: str | None) -> bool:
        """Whether *token* is that of the visitor's session."""
        return hmac.compare_digest(visitor.token.encode(), _bytes(token or ""))


def door_of(book: str, *, renew: bool = False) -> Door:
    """The door of a book: its secret is made on first use and read again after that.

    book : path or address; renew : make a new secret, which ends all sessions and codes.
    Raises `InputError` if the secret can neither be read nor written.
    """
    place = beside(book, ".door")
    try:
        if renew or not place.exists():
            place.parent.mkdir(parents=True, exist_ok=True)
            handle = os.open(place, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(secrets.token_bytes(32))
        secret = place.read_bytes()
    except OSError as error:
        raise InputError(
            f"the key of the door cannot be kept ({error.strerror})",
            field="book",
            value=str(place),
            way_out="Give a book in a folder that may be written",
        ) from None
    if len(secret) != 32:
        return door_of(book, renew=True)
    return Door(secret)


def hand_over(answer: Response, door: Door, cookie: str, *, https: bool) -> None:
    """Give a session's cookie with an answer: no script reads it, no other site sends it."""
    answer.set_cookie(
        door.cookie_name(https=https), cookie, max_age=400 * 86400, path="/", httponly=True,
        samesite="strict", secure=https,
    )  # fmt: skip


def _bytes(text: str) -> bytes:
    """As bytes, also what cannot be written as UTF-8."""
    return text.encode("utf-8", "surrogatepass")
