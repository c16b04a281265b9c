"""The command ``picture``: colour and particle size off a picture, and both over time."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from heapwright.cli.shared import BookOption, JsonOption, say, say_json, say_part

if TYPE_CHECKING:
    from heapwright.services.imaging import Read, Taken

__all__ = ["picture_app"]

picture_app = typer.Typer(
    help="Read colour and particle size off a picture with a card or a scale in it.",
    no_args_is_help=True,
    rich_markup_mode=None,
)

FileArgument = Annotated[Path, typer.Argument(help="The picture, JPEG or PNG.")]
AreaOption = Annotated[
    str, typer.Option("--area", help="The place that counts, as x,y,width,height in pixels.")
]
HeapOption = Annotated[
    str | None, typer.Option("--heap", help="Keep picture and figures as samples of this heap.")
]
TrialOption = Annotated[
    str | None, typer.Option("--trial", help="Name of the trial, if the book has several.")
]
WhenOption = Annotated[
    str | None, typer.Option("--when", help='When it was taken, as "3 May 7:10"; now if left out.')
]
WhoOption = Annotated[str, typer.Option("--who", help="Who took it.")]
NoteOption = Annotated[str, typer.Option("--note", help="Anything worth keeping, in words.")]


@picture_app.command()
def colour(
    file: FileArgument,
    area: AreaOption = "",
    card: Annotated[
        str, typer.Option("--card", help="A plain card in it, as x,y,width,height in pixels.")
    ] = "",
    card_is: Annotated[str, typer.Option("--card-is", help="white or grey (18 %).")] = "white",
    chart: Annotated[
        str,
        typer.Option(
            "--chart",
            help="A 24-patch chart in it: x,y,width,height, or four corners from the brown patch.",
        ),
    ] = "",
    heap: HeapOption = None,
    when: WhenOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    trial: TrialOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read the colour of a place, corrected by a card or a chart in the picture.

    A picture without one, or whose card is full, dark or unevenly lit, is refused with the reason.
    """
    from heapwright.services.imaging import Marks, read_colour

    taken = _taken(file)
    read = read_colour(taken, Marks(card=card, card_is=card_is, chart=chart, area=area))
    _answer(taken, read, heap, trial, when, who, note, book, as_json)


@picture_app.command()
def size(
    file: FileArgument,
    scale: Annotated[
        str, typer.Option("--scale", help='A known length in it, as in "100 mm".')
    ] = "",
    ends: Annotated[
        str, typer.Option("--ends", help="Its two ends, as x1,y1,x2,y2 in pixels.")
    ] = "",
    area: AreaOption = "",
    outlines: Annotated[
        Path | None, typer.Option("--outlines", help="Write what was found as a PNG.")
    ] = None,
    heap: HeapOption = None,
    when: WhenOption = None,
    who: WhoOption = "",
    note: NoteOption = "",
    trial: TrialOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Read how coarse a handful is that lies spread on a plain sheet beside a rule.

    A picture without a scale, out of focus, or with too few pieces is refused with the reason.
    """
    from heapwright.services.imaging import Marks, read_size

    taken = _taken(file)
    read = read_size(taken, Marks(scale=scale, ends=ends, area=area))
    if outlines is not None:
        from heapwright.exchange.files import write_whole

        write_whole(outlines, read.outlined)
    _answer(taken, read, heap, trial, when, who, note, book, as_json)


@picture_app.command()
def history(
    heap: Annotated[str | None, typer.Argument(help="One heap; all of them if left out.")] = None,
    trial: TrialOption = None,
    book: BookOption = None,
    as_json: JsonOption = False,
) -> None:
    """Say what was read off pictures over time, and which photos say nothing."""
    from heapwright.services.picturetime import pictures_over_time
    from heapwright.services.settings import now, open_book
    from heapwright.services.yard import pick_trial

    with open_book(book, create=False) as opened:
        part = pictures_over_time(opened, pick_trial(opened, trial), now=now(), heap=heap)
    if as_json:
        say_json(part.to_json())
        return
    say_part(part)


def _taken(file: Path) -> Taken:
    """The picture in a file; raises `InputError` for one that cannot be read."""
    from heapwright.errors import InputError
    from heapwright.science.values import value
    from heapwright.services.imaging import take_picture

    try:
        with file.open("rb") as opened:
            content = opened.read(int(value("pictures", "file.bytes").value) + 1)
    except OSError as error:
        raise InputError(f"the picture cannot be read ({error.strerror})", field="picture",
                         value=str(file)) from None  # fmt: skip
    return take_picture(content, file.name)


def _answer(
    taken: Taken, read: Read, heap: str | None, trial: str | None, when: str | None, who: str,
    note: str, book: str | None, as_json: bool,
) -> None:  # fmt: skip
    """Show what was read; keep it where a heap was named."""
    kept = None
    if heap is not None:
        from heapwright.services.imaging import keep_read
        from heapwright.services.settings import now, open_book

        with open_book(book, create=False) as opened:
            kept = keep_read(opened, trial, heap, taken, read, now=now(), when=when, who=who,
                             note=note)  # fmt: skip
    if as_json:
        ids = {"kept": list(kept.ids)} if kept else {}
        say_json({**read.part.to_json(), **ids})
        return
    say_part(read.part)
    if kept is not None:
        say()
        for remark in kept.remarks:
            say(remark[:1].upper() + remark[1:] + ".")
        if kept.added.new:
            say(f"Kept as a photo and {len(kept.entries) - 1} samples of heap "
                f"{kept.entries[0].heap}; the photo is entry {kept.ids[0][:8]}.")  # fmt: skip
