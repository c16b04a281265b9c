"""The command that shows the whole job on invented data."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from heapwright.cli.shared import say

__all__ = ["demo"]


def demo(
    folder: Annotated[Path, typer.Option("--folder", help="A new folder for the demo.")] = Path(
        "ferncombe-demo"
    ),
) -> None:
    """Run the main job end to end on the invented Ferncombe trial and write its report."""
    from heapwright.services.demo import run_demo

    page = run_demo(folder, say=say)
    say()
    say(f"The report: {page.resolve()}")
