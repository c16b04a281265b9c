"""The table of the twin trials in the documentation, from the stored result."""

from __future__ import annotations

from pathlib import Path
from typing import Any

PAGE = Path(__file__).parents[2] / "docs" / "explain" / "learning.md"
_MARK = "<!-- twins -->"


def table(made: dict[str, Any]) -> str:
    """What all pairs came to, then a row a pair."""
    s = made["summary"]
    low, high = s["coverage80_range"]
    lines = [
        f"Made {made['made']} by version {made['heapwright']}. {s['forecasts']} forecasts a week "
        f"ahead over {s['pairs']} pairs: pooled error {s['pooled_rmse_c']} C, no change "
        f"{s['pooled_persistence_rmse_c']} C, cooling curve {s['pooled_cooling_rmse_c']} C; "
        f"{s['over_no_change']} of no change. Better than no change in "
        f"{s['better_than_no_change']} pairs, than the cooling curve in "
        f"{s['better_than_cooling']}. The 80 % ranges held {100 * s['coverage80']:.0f} % of the "
        f"readings ({100 * low:.0f} to {100 * high:.0f} % when pairs are drawn again).",
        "",
        f"Of {s['causes_counted']} pairs with one clear cause it came first in "
        f"{s['right_first']} and among the first two in {s['right_in_two']}; naming the known "
        f"difference is right in {s['known_difference_right']}. Of {s['no_cause']} pairs without a "
        f'cause above 2 C the answer was "cannot tell" in {s["cannot_tell_right"]}.',
        "",
        "| pair | forecast | no change | cooling | in 80 % | known difference | true cause | named "
        "first |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for r in made["rows"]:
        lines.append(
            f"| {r['case'].split()[1]} | {r['rmse_c']:.1f} | {r['persistence_rmse_c']:.1f} | "
            f"{r['cooling_rmse_c']:.1f} | {100 * r['coverage80']:.0f} % | {r['known_difference']} "
            f"| {r['true_cause'] or 'none'} | {r['first_cause'] or 'cannot tell'} |"
        )
    return "\n".join(lines) + "\n"


def write_page(made: dict[str, Any]) -> None:
    """Put the table behind its mark, at the end of the page."""
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(text[: text.index(_MARK)] + _MARK + "\n\n" + table(made), encoding="utf-8")


def in_page() -> str:
    """The table as it stands in the page."""
    return PAGE.read_text(encoding="utf-8").split(_MARK)[1].strip() + "\n"
