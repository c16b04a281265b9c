"""Starting the server: where it listens, what is printed, and how it ends.

Conventions: this machine only, unless asked; the address printed is one that works from a browser.
"""

from __future__ import annotations

import io
import socket
from dataclasses import dataclass

from heapwright.errors import InputError
from heapwright.services import settings
from heapwright.web.access import Role, door_of
from heapwright.web.site import Site
from heapwright.web.words import LANGUAGES

__all__ = ["Serving", "prepare", "run"]


@dataclass(frozen=True)
class Serving:
    """A server about to start: site; socket it listens on; lines to print."""

    site: Site
    listening: socket.socket
    lines: tuple[str, ...]


def prepare(
    book: str | None, *, port: int, lan: bool = False, renew: bool = False, language: str = "en"
) -> Serving:
    """Take the port and say where the pages are.

    Raises `InputError` for a port that is taken or a language that is not there; `BookError` for a
    book that cannot be opened.
    """
    if language not in LANGUAGES:
        raise InputError(
            "the pages are not there in this language", field="--language", value=language,
            way_out="One of " + ", ".join(LANGUAGES),
        )  # fmt: skip
    with settings.open_book(book) as opened:
        where = opened.where
    address = _own_address() if lan else "127.0.0.1"
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("0.0.0.0" if lan else "127.0.0.1", port))
    except OSError as error:
        raise InputError(
            f"the port cannot be used ({error.strerror})", field="--port", value=port,
            way_out="Give another, or 0 for any that is free",
        ) from None  # fmt: skip
    listening.listen(64)
    taken = listening.getsockname()[1]
    hosts = frozenset({"localhost", "127.0.0.1", "[::1]", address, socket.gethostname().lower()})
    site = Site(where, door_of(where, renew=renew), hosts=hosts, lan=lan, language=language)
    lines = [f"Open http://localhost:{taken} in a browser on this machine. Ctrl-C ends it."]
    if lan:
        lines += _for_phones(site, f"http://{address}:{taken}")
    return Serving(site, listening, tuple(lines))


def _own_address() -> str:
    """The address of this machine in its network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _for_phones(site: Site, base: str) -> list[str]:
    import segno

    code = site.door.code(Role.HELPER)
    drawn = io.StringIO()
    segno.make(f"{base}/join?code={code}", error="l").terminal(out=drawn, compact=True)
    return [
        f"Helpers in the same network: {base}/join with the code {code}, or this:",
        drawn.getvalue().rstrip("\n"),
        "Whoever is in your network can see what passes; see the page on certificates for https.",
    ]


def run(serving: Serving) -> None:
    """Serve until Ctrl-C."""
    import uvicorn

    from heapwright.web.app import create_app

    config = uvicorn.Config(
        create_app(serving.site), log_level="warning", access_log=False, server_header=False,
        timeout_graceful_shutdown=5,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[serving.listening])
