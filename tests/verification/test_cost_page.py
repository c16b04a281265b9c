"""The page of what a run costs is the one its stored result gives; no time is asserted."""

from __future__ import annotations

import json

from benchmarks import cost


def test_the_page_is_made_from_the_result() -> None:
    result = json.loads(cost.RESULT.read_text(encoding="utf-8"))
    assert cost.PAGE.read_text(encoding="utf-8") == cost.page(result)
    assert result["rows"][0]["cells"] <= 1100
    assert result["rows"][-1]["cells"] >= 90_000
    assert result["spans"][-1]["days"] == 90
