"""The table of measured series in the documentation, from the stored result."""

from __future__ import annotations

from pathlib import Path
from typing import Any

PAGE = Path(__file__).parents[2] / "docs" / "explain" / "measured-series.md"
_MARK = "<!-- series -->"
_NAMES = {
    "o2": "oxygen", "moisture_wb": "moisture", "height_m": "height", "mass_kg": "mass",
    "dry_kg": "dry mass", "volume_m3": "volume",
}  # fmt: skip


def table(made: dict[str, Any]) -> str:
    """A row a heap and quantity, with what came of it in words."""
    lines = [
        f"Made {made['made']} by version {made['heapwright']}, rough fits. Errors are root mean "
        "squares over the readings after the last day that was fitted; of dry mass in % of the "
        "first.",
        "",
        "| series | kind | fitted to day | of | n | forecast | no change | cooling | in 80 % "
        "| than no change |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    for row in made["rows"]:
        title = f"{row['name']} | {row['kind']} | {row['fit_until']:g}"
        for name, heap in row["heaps"].items():
            whose = f" of {name}" if len(row["heaps"]) > 1 else ""
            whose += " (held out)" if heap["held_out"] else ""
            if heap["n"]:
                lines.append(
                    f"| {title} | temperature{whose}, C | {heap['n']} | {heap['rmse_c']:.1f} | "
                    f"{heap['no_change_rmse_c']:.1f} | {heap['cooling_rmse_c']:.1f} | "
                    f"{_share(heap['coverage80'])} | "
                    f"{_than(heap['rmse_c'], heap['no_change_rmse_c'])} |"
                )
            for key, one in heap["quantities"].items():
                off, still, unit = one["rmse"], one["no_change_rmse"], one["unit"]
                if key == "dry_kg":
                    whole = row["quantities"]["dry_kg"]
                    off, still = (
                        100 * whole["rmse_of_first"], 100 * whole["no_change_rmse_of_first"]
                    )  # fmt: skip
                    unit = "%"
                lines.append(
                    f"| {title} | {_NAMES[key]}{whose}, {unit} | {one['n']} | {off:.1f} | "
                    f"{still:.1f} | | {_share(one['coverage80'])} | {_than(off, still)} |"
                )
    return "\n".join(lines) + "\n"


def _share(part: float) -> str:
    return f"{100 * part:.0f} %"


def _than(forecast: float, still: float) -> str:
    return "better" if forecast < still else "**no better**"


def write_page(made: dict[str, Any]) -> None:
    """Put the table behind its mark, at the end of the page."""
    text = PAGE.read_text(encoding="utf-8")
    PAGE.write_text(text[: text.index(_MARK)] + _MARK + "\n\n" + table(made), encoding="utf-8")


def in_page() -> str:
    """The table as it stands in the page."""
    return PAGE.read_text(encoding="utf-8").split(_MARK)[1].strip() + "\n"
