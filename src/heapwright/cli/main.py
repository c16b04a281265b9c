"""The command ``heapwright``: one function a command, each parses, calls one service and shows.

Conventions: modules imported here import nothing heavy at the top, so that ``--help`` is quick.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable
from typing import Any

import typer

from heapwright.cli.advising import advise
from heapwright.cli.balance import balance
from heapwright.cli.calendar import calendar, today
from heapwright.cli.dealing import deal
from heapwright.cli.demonstration import demo
from heapwright.cli.findings import findings, kit, report
from heapwright.cli.finish import finish_app
from heapwright.cli.hygiene import hygiene
from heapwright.cli.judging import diagnose
from heapwright.cli.learning import air, forecast, inside, learn, why
from heapwright.cli.logbook import correct, exchange, history, import_, log_app, restore, withdraw
from heapwright.cli.microscope import microscope
from heapwright.cli.mixing import barrow, mix, size, water
from heapwright.cli.picture import picture_app
from heapwright.cli.planning import plan_app
from heapwright.cli.seriescheck import check_forecast
from heapwright.cli.serve import serve
from heapwright.cli.simulate import simulate
from heapwright.cli.starting import start
from heapwright.cli.together import together
from heapwright.cli.use import cautions, use
from heapwright.errors import HeapwrightError

__all__ = ["ORDER", "app", "run"]

app = typer.Typer(
    name="heapwright",
    help="Plan, log, understand and honestly compare compost heaps.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


def _version(show: bool) -> None:
    if show:
        from heapwright import __version__

        typer.echo(f"heapwright {__version__}")
        raise typer.Exit


@app.callback()
def main(
    version: bool = typer.Option(
        False, "--version", callback=_version, is_eager=True, help="Print the version."
    ),
) -> None:
    """Plan, log, understand and honestly compare compost heaps."""


_COMMANDS: tuple[Callable[..., None], ...] = (
    start, mix, water, size, barrow, deal, calendar, today, diagnose, simulate, learn, forecast,
    why, air, inside, advise, serve, findings, report, kit, together, history, correct, withdraw,
    restore, exchange, demo, balance, microscope, use, cautions, hygiene,
)  # fmt: skip
#: commands in the order in which a trial needs them
ORDER = (
    "start", "mix", "water", "size", "barrow", "plan", "deal", "calendar", "today", "log", "import",
    "diagnose", "simulate", "learn", "forecast", "why", "air", "inside", "advise",
    "check-forecast", "hygiene", "finish", "serve",
    "balance", "microscope", "picture", "use", "cautions", "findings", "report", "kit", "together",
    "history", "correct", "withdraw", "restore", "exchange", "demo",
)  # fmt: skip
#: what an option takes, by the type it is declared with
_KINDS = {
    "str": "TEXT", "list[str]": "TEXT", "Path": "FILE", "int": "NUMBER", "float": "NUMBER",
}  # fmt: skip
for _command in _COMMANDS:
    app.command()(_command)
app.command("import")(import_)
app.command("check-forecast")(check_forecast)
app.add_typer(plan_app, name="plan")
app.add_typer(log_app, name="log")
app.add_typer(picture_app, name="picture")
app.add_typer(finish_app, name="finish")


def _commands() -> Any:
    """All commands in the order of the work, with help in plain words."""
    made: Any = _in_plain_words(typer.main.get_command(app))
    made.commands = {name: made.commands[name] for name in ORDER}
    return made


def _in_plain_words(command: Any) -> Any:
    """Help that says what kind of answer an option takes, and each command's sentence in full."""
    for below in getattr(command, "commands", {}).values():
        _in_plain_words(below)
    if command.help:
        command.short_help = " ".join(inspect.cleandoc(command.help).split("\n\n")[0].split())
    for param in command.params:
        kind = getattr(param, "type_descriptor", None)
        if param.param_type_name == "argument":
            param.display_type_rich = lambda ctx: None  # its name and help say what it is
        elif kind is not None and not kind.is_choice:
            param.metavar = param.metavar or _KINDS.get(param.bare_type())
    return command


def run() -> None:
    """Entry point: every error of ours is one message and an exit code, never a traceback."""
    try:
        _commands()()
    except HeapwrightError as error:
        sys.stderr.write(f"heapwright: {error.message}\n")
        sys.exit(error.exit_code)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(141)
    except KeyboardInterrupt:
        sys.stderr.write("heapwright: stopped; nothing half-done was kept.\n")
        sys.exit(130)
    except Exception as error:
        _own_fault(error)


def _own_fault(error: Exception) -> None:
    """Say that the program is at fault and where the details are kept."""
    import tempfile
    import traceback

    with tempfile.NamedTemporaryFile(
        "w", prefix="heapwright-fault-", suffix=".txt", delete=False, encoding="utf-8"
    ) as file:
        traceback.print_exception(error, file=file)
    sys.stderr.write(
        f"heapwright: this is a fault of the program, not yours ({type(error).__name__}). "
        f"Details are in {file.name}; please report them.\n"
    )
    sys.exit(70)
