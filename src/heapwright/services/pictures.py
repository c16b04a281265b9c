"""Writing a drawn picture to a file that a keeper named.

Units: none. Conventions: the ending of the name says which kind is written.
"""

from __future__ import annotations

from pathlib import Path

from heapwright.errors import InputError
from heapwright.exchange.files import write_whole
from heapwright.reports.pictures import Picture

__all__ = ["write_picture"]


def write_picture(drawn: Picture, out: Path) -> Path:
    """Write a picture as .svg or .png; raises `InputError` for a name of neither."""
    match out.suffix.lower():
        case ".svg":
            return write_whole(out, drawn.svg)
        case ".png":
            return write_whole(out, drawn.png)
        case _:
            raise InputError(
                "a picture is written as .svg or .png", field="--out", value=out.name,
                way_out=f"Write --out {out.stem}.svg",
            )  # fmt: skip
