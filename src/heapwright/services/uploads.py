"""What is looked at of every file that a page takes in, and what it is called on the disk.

Units: bytes. Conventions: the name a file came with is shown cut to what a line holds, and never
used as a path.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from heapwright.errors import InputError

__all__ = ["checked_name", "disk_name"]


def checked_name(
    name: str, content: bytes, *, endings: Sequence[str], most: int, kind: str, way_out: str,
    smaller: str,
) -> str:  # fmt: skip
    """The plain name of an uploaded file.

    endings : that it may have; most : bytes; kind : what it should be, as in "no sheet"; way_out,
    smaller : what to do with another kind, and with one that is too large. Raises `InputError` for
    one that is too large, empty, or of another kind.

    >>> checked_name("../yard/a.csv", b"1", endings=(".csv",), most=9, kind="", way_out="",
    ...              smaller="")
    'a.csv'
    """
    plain = re.split(r"[/\\]", name)[-1].strip()[:80]
    if Path(plain).suffix.lower() not in endings:
        raise InputError(
            f"this is {kind} that can be read", field="file", value=plain,
            way_out=f"{way_out}; endings: {', '.join(endings)}",
        )  # fmt: skip
    if len(content) > most:
        raise InputError(
            f"this is larger than {most // 1_000_000} MB", field="file", value=plain,
            way_out=smaller,
        )  # fmt: skip
    if not content.strip():
        raise InputError("nothing stands in it", field="file", value=plain)
    return plain


def disk_name(plain: str) -> str:
    """A name that any disk takes.

    >>> disk_name("..hübsch/2026?.csv")
    'hübsch_2026_.csv'
    """
    made = re.sub(r"[^\w. -]", "_", plain).lstrip(". ")
    return made if Path(made).stem else f"file{Path(plain).suffix.lower()}"
