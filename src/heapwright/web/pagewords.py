"""Sentences of the services that name a command or an option, said as what to do on a page.

Conventions: the services speak to the command line, where most of their sentences are read; a page
passes them through `on_page`, which knows each phrase by a rule and leaves everything else as it
is. Never for what a keeper typed, nor for the text of a plan: those are shown as they are.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from heapwright.domain.entries import EVENT_KINDS

__all__ = ["all_on_page", "answer_on_page", "on_page"]

_ENDS = r"(?=[.,;)]|$)"
#: phrase and what a page says instead; the first that fits goes first
_RULES: tuple[tuple[str, str], ...] = (
    # heaps: work and samples
    (r"heapwright log event HEAP built",
     "Open the heap's page and write down that it was built"),
    (r"heapwright log event (.+?) built --when DATE",
     r"Open the page of heap \1 and write down that it was built, and when"),
    *((rf"heapwright log event {kind} (.+?){_ENDS}", rf'write down "{word}" on the page of heap \1')
      for kind, word in EVENT_KINDS.items()),
    (r": heapwright log watered", ', as "watered"'),
    (r"Log it: heapwright log sample (.+?) (\S+) COUNT --part NAME",
     r'Write it down on the page of heap \1, under "Write down a test": \2, with its part'),
    (r"Log it: heapwright log sample (.+?) (\S+) VALUE",
     r'Write it down on the page of heap \1, under "Write down a test": \2'),
    (r'log what the tape says: heapwright log sample (.+?) volume "[^"]*"',
     r'write down what the tape says on the page of heap \1, under "Write down a test"'),
    (r"Give --weather FILE:.*?\. Or read the air once and log it: heapwright log air 12",
     "Read the air once on a round"),
    (r"litres unknown: give --litres, or --minutes and --flow",
     "litres unknown: give the litres, or the minutes where the plan has the flow of the hose"),
    (r"Add --minutes, or give --litres", "Give the minutes, or the litres"),
    (r"Add --note", "Write the note"),
    (r'Name the field, as in --part "field 1"', 'Name the field as the part, as in "field 1"'),
    (r" \(with --part\)", ", each with its part"),
    (r'Enter a field: heapwright microscope .+? --field (".*?")', r"Write down a field, as in \1"),
    # the book
    (r"Add them: heapwright correct ID --\w+ NUMBER, with the ID that heapwright history shows",
     "Open the entry in the book and correct it"),
    (r"(Restore it first|To count it again): heapwright restore (\S+) --why REASON",
     r'\1: open entry \2 in the book, "Count it again"'),
    (r"Give another value, --heap, --when or --litres", "Give another value, heap, time or litres"),
    (r"Correct its --litres, --minutes, --when or --heap", "Correct its litres, minutes, time or \
heap"),
    (r"Add --why ", "Say why, as in "),
    (r"Look at heapwright history (\S+?);", r"Look at \1 in the book;"),
    (r"(See them|See the rounds|See the ids) in: heapwright history", r"\1 in the book"),
    (r"Look again: heapwright history", "Look again in the book"),
    (r" \(heapwright history\)", " (see the book)"),
    # plan and yard
    (r" \(heapwright plan lock FILE\), or add (?:--trial NAME )?--new(?: to keep a record without "
     r"one)?", " on the page Plan"),
    (r"Write a plan \(heapwright start\) and lock it: heapwright plan lock FILE",
     "Answer the four questions and lock the plan they make"),
    (r" \(heapwright plan lock FILE\)", " on the page Plan"),
    (r": heapwright plan lock FILE", ", on the page Plan"),
    (r"Only heapwright check-forecast takes them", "No page takes them"),
    (r'store the edit openly with --edit --why "reason"', "store the edit openly, with the reason"),
    (r"Add --trial NAME; known", "Choose a trial; known"),
    (r"\. Add --new for a heap that is new", ""),
    (r" \(add --new to take new heaps as they come\)", ""),
    (r"Give --loads \d+", "Say how many loads there are"),
    (r"Give --weather FILE to see how warm heaps of each size would run\.",
     "How warm heaps of each size would run is not worked out on this page: it needs a weather "
     "file."),
    (r" \(heapwright barrow\)", ""),
    (r"in: heapwright mix", 'on the page "The mix in barrows"'),
    (r"give --barrow", "say what one barrow holds"),
    # sheets
    (r"Nothing was written\. Answer with --answer key=value",
     "Nothing was written. Answer what is asked and send it again"),
    (r" Change with --answer, or --ask-again",
     ' To change it, tick "ask again" and send the file again'),
    (r"Name it, as in --answer column\.HEADER=(\w+)",
     r"Name a column of the sheet \1 and send it again"),
    (r"For instance --answer unit=F", "For instance unit=F"),
    (r"--answer\b", "answer"),
    # calculations
    (r'time it, and give it as --hose "10 L/25 s"',
     'time it, and put the flow into the plan, as in flow = "24 L/min"'),
    (r'Time a bucket of known size: --hose "', 'Time a bucket of known size, as in "'),
    (r"Take larger cells \(--cell\), fewer heaps at a time \(--jobs 1\) or fewer days",
     "Close what else runs on this machine and try again"),
    (r"judge it by itself with heapwright findings", 'judge it by itself on "What it shows"'),
    (r"heapwright findings says what it shows", 'the page "What it shows" says what it shows'),
    # several books, and the sums of a heap
    (r"Name one with --trial, or several as seasons", "Name one trial, or several as seasons"),
    (r": --names north,south", ", as in north,south"),
    (r"--names\b", "names"),
    (r"or --loads and --buckets in all", "or the loads and the buckets in all"),
    # the server's own book and folder
    (r"name another(?: file)? with --book", "start the server with another book"),
    (r"Name another (?:place|file or database) with --book", "Start the server with another book"),
    (r"Name a new folder with --folder", "Move that folder away, or empty it"),
)  # fmt: skip
_KNOWN = tuple((re.compile(phrase), said) for phrase, said in _RULES)


def on_page(text: str) -> str:
    """*text* with every command and option that is known said as what to do on a page.

    >>> on_page("Lock a plan first: heapwright plan lock FILE")
    'Lock a plan first, on the page Plan'
    """
    if "--" not in text and "heapwright " not in text:
        return text
    for phrase, said in _KNOWN:
        text = phrase.sub(said, text)
    return text


def all_on_page(found: Any) -> Any:
    """The same for every text in lists and mappings; keys and anything else stay."""
    if isinstance(found, str):
        return on_page(found)
    if isinstance(found, Mapping):
        return {key: all_on_page(value) for key, value in found.items()}
    if isinstance(found, Sequence):
        return [all_on_page(value) for value in found]
    return found


def answer_on_page(answer: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """The answer of a calculation with its words for a page; pictures and numbers stay."""
    if answer is None:
        return None
    said = ("words", "grids", "known")
    return {k: all_on_page(v) if k in said else v for k, v in answer.items()}
