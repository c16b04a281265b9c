"""The page docs/explain/hindcasts.md, written from hindcast.json, the cases and notes.md.

Misses come first. Nothing on the page is typed by hand but ``notes.md``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from benchmarks.hindcast.cases import all_cases
from benchmarks.hindcast.score import is_comparison

__all__ = ["PAGE", "line", "text", "write"]

PAGE = Path(__file__).parents[2] / "docs" / "explain" / "hindcasts.md"
NOTES = Path(__file__).parent / "notes.md"
_UNITS = {"degC": "C", "d": "days", "%": "%", "% O2": "% O2", "kg": "kg", "m2": "m2",
          "share": ""}  # fmt: skip


def write(result: Mapping[str, Any]) -> None:
    """Write the page."""
    PAGE.write_text(text(result), encoding="utf-8")


def number(value: float | None) -> str:
    """A number as the page prints it."""
    if value is None:
        return "never"
    return f"{value:.2g}" if 0 < abs(value) < 0.1 else f"{value:.3g}" if abs(value) < 1e3 else (
        f"{value:.0f}"
    )  # fmt: skip


def published(row: Mapping[str, Any]) -> str:
    """The published range in words."""
    low, high = row["published_low"], row["published_high"]
    if low is None:
        return f"at most {number(high)}"
    if high is None:
        return f"above {number(low)}" if is_comparison(row) else f"at least {number(low)}"
    return number(low) if low == high else f"{number(low)} to {number(high)}"


def line(row: Mapping[str, Any]) -> str:
    """One row of a table."""
    unit = _UNITS[row["unit"]]
    mark = "yes" if row["inside"] else "**no**"
    quantity = str(row["quantity"]).removeprefix("order: ").removeprefix("sign: ")
    cells = (row["case"], quantity, f"{published(row)} {unit}".strip(),
             f"{number(row['model'])} {unit if row['model'] is not None else ''}".strip(),
             mark)  # fmt: skip
    return "| " + " | ".join(cells) + " |"


def _table(rows: Iterable[Mapping[str, Any]], last: str) -> list[str]:
    return [f"| heap | quantity | published | simulated | {last} |", "|---|---|---|---|---|",
            *(line(r) for r in rows), ""]  # fmt: skip


def text(result: Mapping[str, Any]) -> str:
    """The page."""
    rows, score = result["rows"], result["score"]
    counted = [r for r in rows if r["counted"]]
    compared = [r for r in rows if is_comparison(r)]
    apart = [r for r in rows if not r["counted"] and not is_comparison(r)]
    missed = [r for r in counted if not r["inside"]]
    failed = [r for r in compared if not r["inside"]]
    out = [
        "# Published heaps, simulated",
        "",
        f"Of {score['counted']} published numbers, {score['inside']} come out inside and "
        f"{score['counted'] - score['inside']} do not; {score['comparisons_held']} of "
        f"{score['comparisons']} comparisons of order and sign hold. One constant was fitted, "
        f"to the humid chamber; without it {score['untaught_inside']} of {score['untaught']} are "
        "inside. The misses come first.",
        "",
        "One set of constants, the published medians of this project (hash "
        f"`{result['parameter_hash']}`), serves all heaps; only material, heap and weather differ. "
        "Inputs were settled from descriptions and published numbers before the first run, but for "
        "the few that are named below as changed after it, and stand with their sources. A "
        "quantity is inside when it lies in the published range, "
        "widened by 5 C for temperatures and by a quarter of the number for all else; comparisons "
        "have no such allowance. `make hindcast` runs it all and writes this page and "
        "`benchmarks/results/hindcast.json`.",
        "",
        f"Version {result['version']}, {result['date']}, {result['machine']}; {cost(result)}.",
        "",
        "## Misses",
        "",
        *_table(missed, "inside"),
    ]
    if failed:
        out += ["### Comparisons that do not hold", "", *_table(failed, "holds")]
    out += [NOTES.read_text(encoding="utf-8").strip(), ""]
    out += ["## Inside", "", *_table([r for r in counted if r["inside"]], "inside")]
    out += [
        "![Result over published number for every counted quantity](../images/hindcast-ranges.svg)",
        "",
        "![Temperatures of the simulated heaps over time](../images/hindcast-curves.svg)",
        "",
        "## Orders and signs",
        "",
        "Two runs that differ in one thing; the number is the first less the second, or as said.",
        "",
        *_table([r for r in compared if r["inside"]], "holds"),
        "## Scored apart",
        "",
        "Common practice has no source and shaped the priors, so these rows do not count; nor does "
        "the humid chamber at the second temperature tried.",
        "",
        *_table(apart, "inside"),
        *_spread(result["spread"]),
        *_inputs(),
    ]
    return "\n".join(out).rstrip() + "\n"


def cost(result: Mapping[str, Any]) -> str:
    """What the runs cost, in words."""
    total = sum(r["cpu_s"] for r in result["runs"])
    return f"{len(result['runs']) - 1} runs and the signs took {total / 60:.0f} processor minutes"


def _spread(spread: list[Mapping[str, Any]]) -> list[str]:
    out = [
        "## Willow heaps of other heights",
        "",
        "Their heights are not in what could be read. Volume held, the middle is scored.",
        "",
        "| heap | quantity | 3 m | 4 m | 5 m |",
        "|---|---|---|---|---|",
    ]
    for row in spread:
        cells = " | ".join(number(m) for m in row["model"])
        unit = _UNITS[row["unit"]]
        out.append(f"| {row['case']} | {row['quantity']} [{unit}] | {cells} |")
    return [*out, ""]


def _inputs() -> list[str]:
    out = [
        "## What went in",
        "",
        "S seen in the source named, M from memory, C computed from published numbers, own: a "
        "choice of this project. Years of weather are made up from monthly normals (seed 1).",
        "",
    ]
    for case in all_cases().values():
        out += [f"### {case.title}", "", f"{case.source}. {case.days:g} days.", "",
                "| input | value | from | tag |", "|---|---|---|---|"]  # fmt: skip
        first = case.variants[case.scored]
        for table in ("material", "heap"):
            for name, told in first[table].items():
                if isinstance(told, dict) and "from" in told:
                    shown = told["value"]
                    out.append(f"| {name} | {_shown(shown)} | {told['from']} | {told['tag']} |")
        for part in first["material"]["parts"]:
            facts = ", ".join(f"{k} {v:g}" for k, v in part.items()
                              if isinstance(v, float) and k != "share")  # fmt: skip
            out.append(f"| {part['like']} | {part['share']:.0%} of dry matter"
                       f"{', ' + facts if facts else ''} | {part['from']} "
                       f"| {part['tag']} |")  # fmt: skip
        weather = first["weather"]
        out.append(f"| weather from {first['start']} | made year | {weather['from']} | "
                   f"{weather['tag']} |")  # fmt: skip
        match = weather.get("match")
        if match and "from" in match:
            out.append(f"| weather matched | {_shown(match)} | {match['from']} | {match['tag']} |")
        for name, variant in case.variants.items():
            if variant["why"]:
                out.append(f"| *{name}* | differs | {variant['why']} | |")
        out.append("")
    return out


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return ", ".join(f"{k} {v:g}" for k, v in value.items() if isinstance(v, (int, float)))
    if isinstance(value, list):
        return ", ".join(f"{v:g}" for v in value)
    return f"{value:.3g}" if isinstance(value, float) else str(value)
