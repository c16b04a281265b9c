"""Names people give: which ones can stand, and finding one whatever its case."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from typing import TypeVar

from heapwright.errors import PlanError, UnknownNameError

__all__ = ["check_name", "check_trial_name", "one_of"]

T = TypeVar("T")
_LONGEST = 80
_MEANT = ("air", "ambient", "all")
_NAME = re.compile(r"^[^\W_][\w .+-]{0,30}$")


def check_name(name: str, *, field: str) -> str:
    """*name* if it can be written on a sign and in a pasted line; raises `PlanError`.

    >>> check_name("north bin", field="heap name")
    'north bin'
    """
    if not _NAME.match(name):
        raise PlanError(
            "a name starts with a letter or digit and has at most 31 letters, digits or spaces",
            field=field,
            value=repr(name),
            way_out="Give a short name such as A or north bin",
        )
    if field in ("heap name", "heap") and name.lower() in _MEANT:
        raise PlanError(
            "this word means something else where heaps are entered",
            field=field,
            value=repr(name),
            way_out="Give a short name such as A or north bin",
        )
    return name


def check_trial_name(name: str) -> str:
    """*name* if it fits on one line of a page; raises `PlanError`.

    >>> check_trial_name("Ferncombe 2026")
    'Ferncombe 2026'
    """
    if len(name) > _LONGEST or not name.isprintable():
        raise PlanError(
            f"a trial has one line of at most {_LONGEST} letters as its name",
            field="trial name",
            value=repr(name[:20] + "..."),
            way_out="Write a short name; the rest belongs into the question",
        )
    return name


def one_of(what: str, name: str, known: Mapping[str, T], *, field: str | None = None) -> T:
    """``known[name]`` whatever its case; raises `UnknownNameError` with near or known names.

    field : where it was typed, if that is called otherwise.

    >>> one_of("heap", "a", {"A": 1})
    1
    """
    for key, found in known.items():
        if key.lower() == name.strip().lower():
            return found
    near = difflib.get_close_matches(name, known, n=3)
    listed = near if near and len(known) > 12 else list(known)[:12]
    raise UnknownNameError(
        f"there is no {what} of that name",
        field=field or what,
        value=name,
        way_out="Known: " + ", ".join(listed) if known else f"No {what} is named yet",
    )
