"""The command ``finish``: is it done, and judging blind.

Conventions: a first word that names no command of the group is a heap, so that ``heapwright finish
A`` reads as it is said; without a heap all heaps of the trial are answered together.
"""

from __future__ import annotations

from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from heapwright.cli.shared import BookOption, JsonOption, say, say_part

__all__ = ["finish_app"]


class FinishGroup(TyperGroup):
    """Commands of ``finish``; anything else begins with a heap or an option of ``heap``."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Put ``heap`` in front of a line that names no command."""
        if not args or (args[0] not in self.commands and args[0] != "--help"):
            args = ["heap", *args]
        return super().parse_args(ctx, args)


finish_app = typer.Typer(
    cls=FinishGroup,
    help="Is it done? By the tests of finish in the book: `heapwright finish A`, or all heaps.",
    rich_markup_mode=None,
)
blind_app = typer.Typer(
    help="Judge smell, look or bean pots by labels, so that nobody knows the heap.",
    no_args_is_help=True,
    rich_markup_mode=None,
)
finish_app.add_typer(blind_app, name="blind")
TrialOption = Annotated[
    str | None, typer.Option("--trial", help="Name of the trial, if the book has several.")
]
RoundOption = Annotated[
    int | None, typer.Option("--round", help="Number of the round; the last closed if left out.")
]
WhoOption = Annotated[str, typer.Option("--who", help="Who did it.")]


@finish_app.command("heap")
def heap(
    name: Annotated[
        str | None, typer.Argument(metavar="HEAP", help="One heap; all heaps if left out.")
    ] = None,
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Say whether a heap is done, by every test in the book; the worse is gone by.

    Tests are entered as samples, as in: heapwright log sample A reheating "peak 46 C, air 22 C".
    """
    from heapwright.services.maturity import finish_part
    from heapwright.services.settings import now, open_book

    with open_book(book) as opened:
        part = finish_part(opened, trial, name, now=now())
    say_part(part, json_)


@blind_app.command("deal")
def deal_(
    about: Annotated[
        list[str] | None, typer.Argument(help="smell, look, or beans; smell and look if left out.")
    ] = None,
    heaps: Annotated[
        str, typer.Option("--heaps", help="Names with commas; all heaps if left out.")
    ] = "",
    pots: Annotated[int, typer.Option("--pots", help="Bean pots of each heap.")] = 3,
    controls: Annotated[int, typer.Option("--controls", help="Control pots of a bean test.")] = 3,
    seed: Annotated[int | None, typer.Option("--seed", help="Of the draw; stored.")] = None,
    trial: TrialOption = None,
    who: WhoOption = "",
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Draw labels and print the judge's sheet; the key stays in the book.

    Whoever fills bags or pots asks for the key (heapwright finish blind key) and does not judge.
    """
    from heapwright.services.blind import blind_part, deal_labels
    from heapwright.services.settings import now, open_book
    from heapwright.services.yard import pick_trial

    named = [h.strip() for h in heaps.split(",") if h.strip()]
    with open_book(book) as opened:
        found = deal_labels(
            opened, trial, now=now(), about=about or ("smell", "look"), heaps=named, pots=pots,
            controls=controls, seed=seed, who=who,
        )  # fmt: skip
        part = blind_part(found, pick_trial(opened, trial))
    say_part(part, json_)


@blind_app.command("sheet")
def sheet(
    number: RoundOption = None,
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Print the sheet of a round: labels and what was scored; the heaps once it is open."""
    from heapwright.services.blind import round_part
    from heapwright.services.settings import open_book

    with open_book(book) as opened:
        part = round_part(opened, trial, number=number)
    say_part(part, json_)


@blind_app.command("key")
def key(
    number: RoundOption = None,
    trial: TrialOption = None,
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Print which label is which, for whoever fills bags or pots and does not judge."""
    from heapwright.services.blind import key_part
    from heapwright.services.settings import open_book

    with open_book(book) as opened:
        part = key_part(opened, trial, number=number)
    say_part(part, json_)


@blind_app.command("score")
def score(
    scores: Annotated[
        list[str], typer.Argument(help="LABEL=SCORE, as 417=4 203=2; beans 417=none.")
    ],
    about: Annotated[
        str | None, typer.Option("--about", help="smell or look, where a round judges both.")
    ] = None,
    number: RoundOption = None,
    trial: TrialOption = None,
    who: WhoOption = "",
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter scores by label."""
    from heapwright.errors import EntryError
    from heapwright.services.blind import blind_part, enter_scores
    from heapwright.services.settings import now, open_book
    from heapwright.services.yard import pick_trial

    typed: dict[str, str] = {}
    for text in scores:
        label, sign, value = text.partition("=")
        if not sign or label.strip() in typed:
            raise EntryError(
                "a score is written as label and number, each label once", field="score",
                value=text, way_out="As in 417=4 203=2",
            )  # fmt: skip
        typed[label.strip()] = value
    with open_book(book) as opened:
        found = enter_scores(opened, trial, typed, now=now(), about=about, number=number, who=who)
        part = blind_part(found, pick_trial(opened, trial))
    say_part(part, json_)


@blind_app.command("open")
def open_(
    number: RoundOption = None,
    control_up: Annotated[
        str, typer.Option("--control-up", help="Beans of the control that came up, as 9/9.")
    ] = "",
    trial: TrialOption = None,
    who: WhoOption = "",
    book: BookOption = None,
    json_: JsonOption = False,
) -> None:
    """Tell the heaps, once every label is scored, and write the scores down as their samples."""
    from heapwright.services.blind import blind_part, open_round
    from heapwright.services.settings import now, open_book
    from heapwright.services.yard import pick_trial

    with open_book(book) as opened:
        found, made = open_round(
            opened, trial, now=now(), number=number, control_up=control_up, who=who
        )
        part = blind_part(found, pick_trial(opened, trial))
    say_part(part, json_)
    say(f"Written: {len(made)} samples.")
