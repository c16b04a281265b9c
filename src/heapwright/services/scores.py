"""Scores of leafiness as people write them: per cent by eye, one a load.

Units: per cent, 0 to 100. Conventions: nothing that could be read in two ways is guessed at.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

from heapwright.errors import InputError

__all__ = ["parse_scores", "read_scores"]


def parse_scores(text: str, *, field: str = "scores", where: str | None = None) -> list[float]:
    """Scores of leafiness in per cent from text such as ``20 35 50%``.

    Parted by spaces, semicolons, new lines or a comma with a space. Raises `InputError`.

    Examples
    --------
    >>> parse_scores("20 35; 50%, 5")
    [20.0, 35.0, 50.0, 5.0]
    """
    out: list[float] = []
    for token in re.split(r"[\s;]+|,\s+", text.strip().strip(",;")):
        bare = token.rstrip(",").rstrip("%")
        if not bare:
            continue
        place = f"{where}, " if where else ""
        at = f"{place}score {len(out) + 1}"
        if "," in bare:
            raise InputError(
                "a comma here can part two scores or be a decimal comma",
                field=field, value=token, where=at,
                way_out="Part scores by spaces and write tenths with a point",
            )  # fmt: skip
        try:
            score = float(bare)
        except ValueError:
            score = math.nan
        if not 0 <= score <= 100:
            raise InputError(
                "a score is the share of leaf in a load, 0 to 100 %",
                field=field, value=token, where=at,
                way_out='Write per cent by eye, as in "20 35 50"',
            )  # fmt: skip
        out.append(score)
    if out and max(out) <= 1 and any(s not in (0, 1) for s in out):
        raise InputError(
            "these look like fractions, and scores are per cent",
            field=field,
            value=text.strip()[:40],
            where=where,
            way_out="Write 35 for 0.35",
        )
    return out


def read_scores(path: Path) -> list[float]:
    """Scores from a text file; lines that start with # are passed over. Raises `InputError`."""
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"it cannot be read as text ({getattr(error, 'strerror', None) or 'not UTF-8'})",
            field="scores-file",
            value=str(path),
            way_out="Give a plain text file with scores parted by spaces or lines",
        ) from None
    text = "\n".join(line for line in lines if not line.lstrip().startswith("#"))
    found = parse_scores(text, field="scores-file", where=path.name)
    if not found:
        raise InputError("there is no score in it", field="scores-file", value=str(path),
                         way_out="Write one score a load, in per cent")  # fmt: skip
    return found
