"""Starting the server: where it listens, what is printed, and how it ends.

Conventions: this machine only, unless asked; the address printed is one that works from a browser;
over https the certificate is the book's own.
"""

from __future__ import annotations

import io
import socket
import threading
from dataclasses import dataclass
from datetime import UTC, datetime

from heapwright.errors import InputError
from heapwright.services import settings
from heapwright.services.trialview import DRAWING
from heapwright.web.access import Role, door_of
from heapwright.web.certificate import Papers, host_label, papers_of
from heapwright.web.site import Site
from heapwright.web.words import LANGUAGES

__all__ = ["Serving", "prepare", "run"]


@dataclass(frozen=True)
class Serving:
    """A server about to start: site; socket it listens on; lines to print; papers for https."""

    site: Site
    listening: socket.socket
    lines: tuple[str, ...]
    papers: Papers | None = None


def prepare(
    book: str | None,
    *,
    port: int,
    lan: bool = False,
    https: bool = False,
    renew: bool = False,
    language: str = "en",
) -> Serving:
    """Take the port and say where the pages are.

    Raises `InputError` for a port that is taken, a language that is not there, or https where no
    certificate can be made; `BookError` for a book that cannot be opened.
    """
    if language not in LANGUAGES:
        raise InputError(
            "the pages are not there in this language", field="--language", value=language,
            way_out="One of " + ", ".join(LANGUAGES),
        )  # fmt: skip
    with settings.open_book(book) as opened:
        where = opened.where
    address = _own_address() if lan else "127.0.0.1"
    papers = papers_of(where, address, now=datetime.now(UTC)) if https else None
    listening = _listen(port, lan=lan)
    base = f"{'https' if https else 'http'}://{{}}:{listening.getsockname()[1]}"
    names = {"localhost", "127.0.0.1", "[::1]", address, socket.gethostname().lower()}
    hosts = frozenset(names | {host_label(), f"{host_label()}.local"})
    site = Site(
        where, door_of(where, renew=renew), hosts=hosts, lan=lan, language=language,
        outside=base.format(address) if lan else "",
    )  # fmt: skip
    lines = [f"Open {base.format('localhost')} in a browser on this machine. Ctrl-C ends it."]
    if lan:
        lines += _for_phones(site)
    if papers is not None:
        lines += _about_trust(papers, base.format(address))
    return Serving(site, listening, tuple(lines), papers)


def _listen(port: int, *, lan: bool) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("0.0.0.0" if lan else "127.0.0.1", port))
    except OSError as error:
        listening.close()
        raise InputError(
            f"the port cannot be used ({error.strerror})", field="--port", value=port,
            way_out="Give another, or 0 for any that is free",
        ) from None  # fmt: skip
    listening.listen(64)
    return listening


def _own_address() -> str:
    """The address of this machine in its network; nothing is sent for it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def _for_phones(site: Site) -> list[str]:
    import segno

    base = site.outside

    code = site.door.code(Role.HELPER)
    drawn = io.StringIO()
    segno.make(f"{base}/join?code={code}", error="l").terminal(out=drawn, compact=True)
    lines = [
        f"Helpers in the same network: {base}/join with the code {code}, or this:",
        drawn.getvalue().rstrip("\n"),
    ]
    if base.startswith("http:"):
        lines.append("Whoever is in your network can see what passes; --https closes that.")
    return lines


def _about_trust(papers: Papers, base: str) -> list[str]:
    return [
        f"A browser warns until it trusts this server once: {base}/trust says what that means.",
        f"The certificate to trust is {papers.signer.fingerprint}.",
    ]


def _fetch_ahead() -> None:
    """Fetch what takes a while to come (drawing, the sun) before the first page asks for it."""
    import pvlib.solarposition  # noqa: F401

    from heapwright.reports.svg import Canvas, to_svg

    with DRAWING:
        to_svg(Canvas.of(10, 10).figure, "ahead", title="", desc="")


def run(serving: Serving) -> None:
    """Serve until Ctrl-C."""
    import uvicorn

    from heapwright.web.app import create_app

    papers = serving.papers
    threading.Thread(target=_fetch_ahead, daemon=True).start()
    config = uvicorn.Config(
        create_app(serving.site), log_level="warning", access_log=False, server_header=False,
        timeout_graceful_shutdown=5, proxy_headers=False,
        ssl_certfile=papers.certificate if papers else None,
        ssl_keyfile=papers.key if papers else None,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[serving.listening])
