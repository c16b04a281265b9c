"""The tables of docs/explain/comparing-fairly.md, made from the result of the study."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

__all__ = ["PAGE", "filled", "tables"]

PAGE = Path(__file__).parents[2] / "docs" / "explain" / "comparing-fairly.md"

Row = Mapping[str, Any]


def share(value: float | None) -> str:
    """As per cent, with one digit where it is small."""
    if value is None:
        return "none"
    return f"{100 * value:.0f} %" if value in (0, 1) or value > 0.2 else f"{100 * value:.1f} %"


def tables(result: Row) -> dict[str, str]:
    """Every table of the page by its name."""
    rows = result["rows"]
    return {
        "naive": _rounds(result["rounds"]),
        "methods": _by_method(
            [r for r in rows if r["method"] == "contrast, from readings" or _naive(r)]
        ),
        "coverage": _coverage(rows),
        "start": _start(rows),
        "looks": _looks(result["looks"]),
        "sharing": _sharing(result["sharing"]),
    }


def _naive(row: Row) -> bool:
    return bool(row["method"].startswith("naive"))


def _table(head: Sequence[str], body: Sequence[Sequence[str]]) -> str:
    return "\n".join("| " + " | ".join(r) + " |" for r in (head, ["---"] * len(head), *body))


def _rounds(rows: Sequence[Row]) -> str:
    head = (
        "rounds", "spot SD [C]", "t test on all readings", "ANOVA with round and way",
        "paired t over rounds", "spots as heaps", 'here: "leans"', "here: a winner",
    )  # fmt: skip
    keys = ("t test on all readings", "ANOVA with round and way", "paired t over rounds",
            "spots as heaps")  # fmt: skip
    body = [
        [f"{r['rounds']}", f"{r['spot_sd_c']}", *[share(r[f"naive: {k}"]) for k in keys],
         share(r["contrast"]), "never"]
        for r in rows
    ]  # fmt: skip
    return _table(head, body)


def _by_method(rows: Sequence[Row]) -> str:
    """False findings and half-width by method, a column for each number of heaps."""
    counts = sorted({r["heaps_per_way"] for r in rows})
    found = {(r["method"], r["heaps_per_way"]): r for r in rows}
    methods = list(dict.fromkeys(r["method"] for r in rows))

    def cell(method: str, n: int) -> str:
        row = found.get((method, n))
        if row is None:
            return "none"
        return f"{share(row['false_positive'])}, ± {row['half_width_c']:.1f} C"

    body = [[m.removeprefix("naive: "), *[cell(m, n) for n in counts]] for m in methods]
    return _table(("method", *[_each(n) for n in counts]), body)


def _each(n: int) -> str:
    return f"{n} heap{'s' if n > 1 else ''} each"


def _coverage(rows: Sequence[Row]) -> str:
    head = ("true SD between heaps [C]", "heaps each", "informed: coverage",
            "informed: half-width [C]", "pooled t: coverage", "Welch: coverage")  # fmt: skip
    groups: list[tuple[str, Callable[[Row], bool], str]] = [
        (f"{s}".replace("U(3,6)", "3 to 6"), lambda r, s=s: r["sigma"] == s, "")  # type: ignore[misc]
        for s in ("U(3,6)", 3.0, 4.5, 6.0, 8.0)
    ]
    twice = ", one way spreads twice as far"
    groups.append(("3 to 6, and twice that in one way", lambda r: r["sigma"] == "U(3,6)", twice))
    body = []
    for shown, fits, suffix in groups:
        found = {(r["method"], r["heaps_per_way"]): r for r in rows if fits(r)}
        for n in (1, 2, 3, 4):
            one = found.get((f"contrast{suffix}", n))
            if one is not None:
                others = [found.get((f"{m}{suffix}", n)) for m in ("pooled t", "Welch")]
                body.append(
                    [shown, f"{n}", f"{one['coverage']:.3f}", f"{one['half_width_c']:.1f}",
                     *["none" if o is None else f"{o['coverage']:.3f}" for o in others]]
                )  # fmt: skip
    return _table(head, body)


def _start(rows: Sequence[Row]) -> str:
    head = ("correlation of start and end", "heaps each", "covariate: coverage",
            "covariate: half-width [C]", "change: coverage", "change: half-width [C]")  # fmt: skip
    change = {(r["heaps_per_way"], r["correlation"]): r for r in rows
              if r["method"] == "change from the common phase"}  # fmt: skip
    body = []
    for r in rows:
        if r["method"] == "covariate":
            other = change[r["heaps_per_way"], r["correlation"]]
            body.append(
                [f"{r['correlation']:g}", f"{r['heaps_per_way']}", f"{r['coverage']:.3f}",
                 f"{r['half_width_c']:.1f}", f"{other['coverage']:.3f}",
                 f"{other['half_width_c']:.1f}"]
            )  # fmt: skip
    return _table(head, body)


def _looks(rows: Sequence[Row]) -> str:
    head = ("heaps each", "informed: any of ten weekly looks", "informed: one look at the end",
            "pooled t: any of ten", "pooled t: one look")  # fmt: skip
    keys = ("informed_any_of_ten", "informed_last", "pooled_any_of_ten", "pooled_last")
    return _table(head, [[f"{r['heaps_each']}", *[share(r[k]) for k in keys]] for r in rows])


def _sharing(rows: Sequence[Row]) -> str:
    head = ("heaps", "loads each", "rule", "SD", "SD, scores off by 8")
    body = [
        [f"{r['heaps']}", f"{r['loads_each']}", r["rule"], f"{r['sd']:.1f}",
         f"{r['sd_with_scoring_error_8']:.1f}"]
        for r in rows
    ]  # fmt: skip
    return _table(head, body)


def filled(text: str, result: Row) -> str:
    """The page with its tables made from *result*."""
    for name, table in tables(result).items():
        start, end = f"<!-- {name}:start -->", f"<!-- {name}:end -->"
        head, rest = text.split(start)
        _, tail = rest.split(end)
        text = f"{head}{start}\n\n{table}\n\n{end}{tail}"
    return text
