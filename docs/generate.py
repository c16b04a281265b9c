"""Makes the reference pages from the code: ``python docs/generate.py [--check]``.

Every page is a function below; ``--check`` writes nothing and fails when a page differs.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from heapwright import errors
from heapwright.exchange.plankeys import ALL
from heapwright.units import REGISTER

FOLDER = Path(__file__).parent / "reference"


def _page(title: str, intro: str, lines: list[str]) -> str:
    return "\n".join([f"# {title}", "", intro, "", *lines]).rstrip() + "\n"


def _table(columns: list[str], rows: list[list[str]]) -> list[str]:
    def line(cells: list[str]) -> str:
        return "| " + " | ".join(c.replace("|", "\\|").replace("\n", " ") for c in cells) + " |"

    return [line(columns), line(["---"] * len(columns)), *map(line, rows), ""]


def _commands(command: Any, path: str) -> Iterator[tuple[str, Any]]:
    children = getattr(command, "commands", None)
    if children:
        for name in sorted(children):
            yield from _commands(children[name], f"{path} {name}")
    elif not command.hidden:
        yield path, command


def commands() -> str:
    """Every command with its arguments and options."""
    import typer

    from heapwright.cli.main import app

    lines: list[str] = []
    for path, command in _commands(typer.main.get_command(app), "heapwright"):
        lines += [f"## {path}", "", inspect.cleandoc(command.help or ""), ""]
        rows = []
        for param in command.params:
            if param.name in ("help", "install_completion", "show_completion"):
                continue
            option = param.param_type_name == "option"
            shown = ", ".join(f"`{o}`" for o in param.opts) if option else f"`{param.name.upper()}`"
            needed = "needed" if param.required else ""
            rows.append([shown, getattr(param, "help", None) or "", needed])
        if rows:
            lines += _table(["argument or option", "meaning", ""], rows)
    return _page(
        "Commands", "Exit codes: 0 an answer, 2 input that cannot stand, 3 a question to answer.",
        lines,
    )  # fmt: skip


def plan_keys() -> str:
    """Every key of a plan file."""
    lines: list[str] = []
    for table in ALL:
        lines += [f"## {table.header}", "", table.meaning, ""]
        rows = []
        for key in table.keys:
            marks = [w for w, on in (("needed", key.required), ("locked", key.locked)) if on]
            meaning = key.meaning
            if key.choices:
                meaning += ": " + ", ".join(key.choices)
            rows.append(
                [f"`{key.name}`", f"`{key.name} = {key.example}`", meaning, _reads(key.reads),
                 ", ".join(marks)]
            )  # fmt: skip
        lines += _table(["key", "example", "meaning", "read as", ""], rows)
    return _page(
        "Keys of a plan file",
        "A plan is a TOML file. A number may be bare, in the unit of its quantity, or text with "
        'any fitting unit and a range: `"45-55 %"`, `"9 barrows"`, `"3 ft"`, `"131 F"`.',
        lines,
    )


def _reads(reads: str) -> str:
    if reads in REGISTER:
        row = REGISTER[reads]
        return f"quantity {reads}" + (f" [{row.unit}]" if row.unit else "")
    return reads


def quantities() -> str:
    """The register of quantities."""
    rows = [
        [f"`{q.key}`", q.symbol, q.unit or "fraction or number", f"{q.low:g} to {q.high:g}",
         q.meaning]
        for q in REGISTER.values()
    ]  # fmt: skip
    return _page(
        "Quantities",
        "One quantity, one name, one unit. Ranges are what is accepted, in the unit kept.",
        _table(["name", "symbol", "unit kept", "range", "meaning"], rows),
    )


def outcomes() -> str:
    """What a trial can be decided on."""
    from heapwright.stats.outcomes import OUTCOMES

    rows = [
        [f"`{o.key}`", o.title, o.kind, o.shown or "-",
         "tested" if o.tested else "described only", o.note]
        for o in OUTCOMES.values()
    ]  # fmt: skip
    return _page(
        "Outcomes", "What may stand in `decides` and `also` of a plan.",
        _table(["name", "on screen", "comes from", "unit", "", "note"], rows),
    )  # fmt: skip


def materials() -> str:
    """The table of materials with ranges and sources."""
    from heapwright.science.feedstocks import feedstocks

    def cell(row: Any, key: str, factor: float = 1.0) -> str:
        span = row.spans.get(key)
        if span is None:
            return "-"
        typical = "?" if span.typical is None else f"{span.typical * factor:.3g}"
        if span.low is None and span.high is None:
            return typical
        ends = ["?" if x is None else f"{x * factor:.3g}" for x in (span.low, span.high)]
        return f"{typical} ({ends[0]}-{ends[1]})"

    rows = []
    sources: dict[str, int] = {}
    for f in feedstocks().values():
        number = sources.setdefault(f.source, len(sources) + 1)
        rows.append(
            [f.name, cell(f, "moisture_wb", 100), cell(f, "nitrogen_dm", 100), cell(f, "cn_ratio"),
             cell(f, "bulk_density_kg_m3"), f"[{number}], {f.seen}"]
        )  # fmt: skip
    lines = _table(
        ["material", "moisture % wet", "N % dry", "C:N", "bulk density kg/m3", "source"], rows
    )
    lines += ["## Sources", ""]
    lines += [f"{n}. {source}" for source, n in sources.items()]
    return _page(
        "Materials",
        "Typical value and range of each material. `memory` means that the numbers were written "
        "down from memory of the source named: measure your own where it matters.",
        lines,
    )


def error_page() -> str:
    """The error tree."""
    lines = ["```text", *inspect.cleandoc(errors.__doc__ or "").splitlines()[2:], "```", ""]
    lines = lines[: lines.index("```", 1) + 2]
    rows = []
    for name in errors.__all__:
        made = getattr(errors, name)
        if isinstance(made, type) and issubclass(made, errors.HeapwrightError):
            rows.append([f"`{name}`", str(made.exit_code), (made.__doc__ or "").splitlines()[0]])
    return _page(
        "Errors",
        "Every error names the field, the value and the way out; users never see a traceback.",
        [*lines, *_table(["error", "exit code", "meaning"], rows)],
    )


def settings() -> str:
    """Settings by environment variable."""
    from heapwright.services.settings import Settings

    prefix = Settings.model_config.get("env_prefix", "")
    rows = [
        [f"`{prefix}{name.upper()}`", field.description or "", str(field.default or "not set")]
        for name, field in Settings.model_fields.items()
    ]
    return _page(
        "Settings", "Read from the environment; an option of a command comes first.",
        _table(["variable", "meaning", "default"], rows),
    )  # fmt: skip


PAGES: dict[str, Callable[[], str]] = {
    "commands.md": commands,
    "plan-keys.md": plan_keys,
    "quantities.md": quantities,
    "outcomes.md": outcomes,
    "materials.md": materials,
    "errors.md": error_page,
    "settings.md": settings,
}


def main(arguments: list[str]) -> int:
    """Write the pages, or with ``--check`` name those that are missing or stale."""
    stale = []
    for name, make in PAGES.items():
        path, text = FOLDER / name, make()
        if "--check" in arguments:
            if not path.exists() or path.read_text(encoding="utf-8") != text:
                stale.append(name)
        else:
            path.write_text(text, encoding="utf-8")
    if stale:
        print("Missing or stale reference pages: " + ", ".join(stale))
        print("Run: python docs/generate.py")
    return 1 if stale else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
