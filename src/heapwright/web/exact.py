"""Answers as JSON, letter for letter those of the commands."""

from __future__ import annotations

import json
from typing import Any

from fastapi.responses import Response

__all__ = ["exact"]


def exact(answer: Any) -> Response:
    """The JSON that the command of the same name prints with ``--json``.

    >>> exact({"heap": "A"}).body
    b'{\\n  "heap": "A"\\n}'
    """
    text = json.dumps(answer, indent=2, ensure_ascii=False, default=str)
    return Response(text, media_type="application/json")
