"""What every page shares: the book, the visitor, templates, and how errors are shown.

Conventions: a page takes a `Site` from the app and opens the book for one request; handlers are
plain functions, run in a thread.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Annotated, Any

from fastapi import Depends, Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, PackageLoader, StrictUndefined

from heapwright import __version__
from heapwright.errors import sentence
from heapwright.science.cautions import met_in
from heapwright.services import settings
from heapwright.store.book import Book
from heapwright.web.access import Door, Role, Visitor
from heapwright.web.limits import Tries
from heapwright.web.pagewords import on_page
from heapwright.web.words import Words

__all__ = ["Access", "Refused", "Site", "access", "helper", "keeper", "reader", "show"]


class Refused(Exception):
    """A request that may not be: *what* is said, with an HTTP status."""

    def __init__(self, status: int, what: str, way_out: str = "") -> None:
        super().__init__(what)
        self.status, self.what, self.way_out = status, what, way_out


@dataclass(frozen=True)
class Site:
    """One running app.

    book : path or address; door; hosts : host names answered; here : client addresses that are this
    machine (their visitors are the keeper); lan : whether others may join; language : of words;
    now : the clock; outside : address for phones; tries : wrong join codes.
    """

    book: str
    door: Door
    hosts: frozenset[str] = frozenset({"localhost", "127.0.0.1", "[::1]"})
    here: frozenset[str] = frozenset({"127.0.0.1", "::1"})
    lan: bool = False
    language: str = "en"
    now: Callable[[], datetime] = settings.now
    outside: str = ""
    tries: Tries = field(default_factory=Tries)
    words: Words = field(init=False)
    templates: Environment = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "words", Words(self.language))
        made = Environment(
            loader=PackageLoader("heapwright.web"), autoescape=True, undefined=StrictUndefined,
            trim_blocks=True, lstrip_blocks=True,
        )  # fmt: skip
        made.globals |= {"_": self.words, "version": __version__, "language": self.language}
        made.filters |= {"on_page": on_page, "met": met_in, "sentence": sentence}
        object.__setattr__(self, "templates", made)

    def open(self) -> Book:
        """The book, for one request; a context manager."""
        return Book(self.book)


@dataclass(frozen=True)
class Access:
    """One request: the site, who asks."""

    site: Site
    visitor: Visitor
    request: Request

    @property
    def now(self) -> datetime:
        """The moment of the request."""
        return self.site.now()


def access(request: Request) -> Access:
    """The request with its visitor, as the middleware found them."""
    return Access(request.app.state.site, request.state.visitor, request)


def _at_least(role: Role) -> Callable[[Request], Access]:
    def check(request: Request) -> Access:
        found = access(request)
        if found.visitor.role >= role:
            return found
        if found.visitor.role is Role.NOBODY:
            raise Refused(401, "Join first: this yard is not open to everybody", "/join")
        raise Refused(403, f"That is for a {role.name.lower()}: you may look and not change")

    return check


reader = Annotated[Access, Depends(_at_least(Role.READER))]
helper = Annotated[Access, Depends(_at_least(Role.HELPER))]
keeper = Annotated[Access, Depends(_at_least(Role.KEEPER))]


def show(to: Access, template: str, *, status: int = 200, **what: Any) -> HTMLResponse:
    """A page."""
    made = to.site.templates.get_template(template).render(
        visitor=to.visitor, token=to.visitor.token, path=to.request.url.path,
        helps=to.visitor.role >= Role.HELPER, keeps=to.visitor.role >= Role.KEEPER, **what,
    )  # fmt: skip
    return HTMLResponse(made, status_code=status)
