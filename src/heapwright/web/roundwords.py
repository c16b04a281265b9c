"""The words that the round page's script shows, as one object in the language of the site."""

from __future__ import annotations

from heapwright.web.words import Words

__all__ = ["round_words"]

_TEXTS = {
    "unsent": "Not yet sent: {n}",
    "held": "to answer: {n}",
    "next": "Next: heap {heap}, {spot}, {depth} cm deep.",
    "next_plain": "Next: heap {heap}, {spot}.",
    "next_air": "Next: the air, in the shade beside the heaps, once.",
    "done": "Every spot is read. Send, then you are finished.",
    "air": "Air",
    "last": "Last here: {temp} C, {days} days ago.",
    "never": "Never read here before.",
    "taken": "{heap} {spot}: {text} {unit}",
    "taken_air": "Air: {text} {unit}",
    "nothing_undo": "Nothing to undo.",
    "undone": "Undone: {what}",
    "no_number": "Type a number first.",
    "wait": "Wait {n} s for the probe",
    "waiting": "Wait: {n} s",
    "settled": "The probe has settled: read it.",
    "offline": "No way to the server now. What you type stays on this phone and is sent later.",
    "sent": "All that was sent has arrived.",
    "join": "The server does not know this phone any more: join again in another tab. "
    "Nothing is lost.",
    "fault": "The server could not take it now. It stays here and is tried again.",
    "http": "Over plain http this page works without a signal as long as it stays open. "
    "Do not close or reload it out there.",
    "worker": "This page also opens without a signal.",
    "no_store": "This browser keeps nothing: send before you close the page.",
    "refused": "Not taken: {what}",
    "drop": "Leave it out",
    "retype": "Another number",
    "put": "Put it in",
    "kept_note": "Put down: {what}",
    "note": "note",
    "smell": "smell",
    "squeeze": "squeeze",
    "photo": "photo",
    "line": "pasted line",
    "undo": "undo",
    "new_round": "A new round began.",
    "photo_big": "This picture cannot be read.",
    "choice_as-written": "As written",
    "choice_withdraw": "Leave it out",
    "choice_exchanged": "Exchanged: put them right",
    "choice_F": "It was F",
    "choice_C": "It was C",
    "choice_tenth": "A decimal mark is missing",
    "choice_tenfold": "A digit is missing",
    "choice_now": "Just now",
}


def round_words(say: Words) -> dict[str, str]:
    """The texts by key, translated; names in braces are filled in by the script.

    >>> round_words(Words("zz"))["unsent"]
    '⟦Not yet sent: {n}⟧'
    """
    return {key: say(text) for key, text in _TEXTS.items()}
