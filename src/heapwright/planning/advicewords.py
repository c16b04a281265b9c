"""Words of advice: what an act buys, what it breaks in a trial, what to take care of.

Units: degrees C, litres, minutes. Conventions: changes are given as bands in whole numbers, litres
to 10; cautions stand only where the act meets the danger.
"""

from __future__ import annotations

from heapwright.planning.advicefacts import Change, Situation
from heapwright.planning.workwords import listed
from heapwright.science.values import value

__all__ = ["HOSE_TEST", "band", "breaks", "buys", "caution", "hose_words", "litre_words", "noun"]

HOSE_TEST = 'fill a bucket of known size, time it, and give it as --hose "10 L/25 s"'
#: a heap this heavy is not for one back at a time [kg], own choice
_HEAVY_KG = 200.0
#: log words of each act
_LOGGED = {
    "turn": "turned", "moisten": "turned", "water": "watered", "open pipes": "vent opened",
    "plug pipes": "vent plugged", "cover": "covered", "uncover": "uncovered",
}  # fmt: skip
_DOING = {
    "turn": "turning it", "moisten": "opening it", "water": "watering it",
    "open pipes": "opening its pipes", "plug pipes": "plugging its pipes",
    "cover": "covering it", "uncover": "taking its cover off",
}  # fmt: skip
_NOUNS = {
    "turn": "A turn", "moisten": "Wetting it while turning", "water": "Watering it",
    "open pipes": "Opening the pipes", "plug pipes": "Plugging the pipes", "cover": "A cover",
    "uncover": "Taking the cover off",
}  # fmt: skip


def band(change: Change, up: str, down: str, unit: str = "", scale: float = 1.0) -> str:
    """A change as a band in whole numbers.

    >>> band(Change(3.0, 1.6, 4.4), "warmer", "cooler", "degrees")
    '2 to 4 degrees warmer'
    >>> band(Change(0.0, -2.1, 1.0), "warmer", "cooler", "degrees")
    'between 2 degrees cooler and 1 warmer'
    """
    low, high = round(change.low * scale), round(change.high * scale)
    named = f" {unit}" if unit else ""
    if low == high == 0:
        return f"no{named} {up} or {down}"
    if low >= 0:
        amount = f"{low}" if low == high else f"{low} to {high}"
        return f"{amount}{named} {up}"
    if high <= 0:
        amount = f"{-high}" if low == high else f"{-high} to {-low}"
        return f"{amount}{named} {down}"
    return f"between {-low}{named} {down} and {high} {up}"


def buys(s: Situation, act: str) -> str:
    """What an act changes against leaving the heap, as far as it can be told from nothing."""
    changes = s.acts.get(act)
    if not changes:
        return ""
    said = []
    ahead = f"over {s.days:.0f} days"
    if "core_c" in changes:
        said.append(f"core {band(changes['core_c'], 'warmer', 'cooler', 'degrees')} {ahead}")
    for name, up, down, unit, scale in (
        ("dry_lost_kg", "more rotted", "less rotted", "kg", 1.0),
        ("days_55", "more above 55 C", "fewer above 55 C", "days", 1.0),
        ("core_wb", "wetter inside", "drier inside", "points", 100.0),
        ("o2_short", "more of the time short of air", "less of the time short of air", "%", 100.0),
    ):
        change = changes.get(name)
        if change is not None and change.clear and round(abs(change.mean) * scale) >= 1:
            said.append(band(change, up, down, unit, scale))
    return "; ".join(said)


def breaks(s: Situation, act: str) -> str:
    """What an act would do to a running trial, and the two ways out; empty where it is foreseen."""
    t = s.trial
    if t is None or act in ("leave", "read") or act in t.due:
        return ""
    if act == "moisten" and "turn" in t.due:
        own = "The plan turns it now; the water is not in it." if not t.equal_water else ""
        own = own or "The plan turns it now; it waters all heaps alike."
    elif act in ("turn", "moisten") and t.kind == "turned":
        when = f"turns heap {s.heap} {t.next_turn}" if t.next_turn else "turns it no more"
        own = f"The plan {when}: sooner or more often is not the way that is compared."
    elif act in ("turn", "moisten") and t.control:
        own = (
            f"Heap {s.heap} is {t.way}, and the others are held against that: {_DOING[act]} would "
            "end it."
        )
    elif act.endswith("pipes") and t.kind == "vented":
        own = f"Heap {s.heap} is {t.way}: {_DOING[act]} makes it another way."
    elif act == "water" and t.equal_water:
        own = "The plan waters all heaps alike."
    else:
        own = f"The plan does not foresee {_DOING[act]} (heap {s.heap}: {t.way})."
    others = [h for h in t.heaps if h != s.heap]
    same = f"Do the same to every heap ({listed(others)} too), the same day" if others else ""
    logged = f"log it as a difference: heapwright log event {_LOGGED[act]} {s.heap}"
    return f"{own} {same}, or {logged}." if same else f"{own} {logged[:1].upper()}{logged[1:]}."


def caution(s: Situation, act: str, *, dry: bool) -> str:
    """What to take care of, only where the act meets it; limits of heat as in ``caution.toml``."""
    said = []
    opened = act in ("turn", "moisten")
    if opened and s.hot_c is not None and s.hot_c >= value("caution", "steam_c").value:
        said.append("The steam of an opened heap scalds: stand back and let it blow off first.")
    if opened and dry:
        said.append(
            "Dry, mouldy dust carries spores: wet it first, wind from behind, and wear a mask."
        )
    if opened and _kg(s) >= _HEAVY_KG:
        said.append(f"Some {_kg(s):.0f} kg are to be moved: small forkfuls, and take turns.")
    if act in ("moisten", "water"):
        said.append("Let a hose that lay in the sun run off first: warm standing water has germs.")
    return " ".join(said)


def litre_words(litres: float) -> str:
    """Litres to 10.

    >>> litre_words(83.0)
    '80 litres'
    """
    return f"{10 * round(litres / 10)} litres"


def hose_words(hose_min: float | None) -> str:
    """How long the hose runs, or how to find that."""
    if hose_min is None:
        return f"For minutes of your hose, {HOSE_TEST}."
    return f"That is about {max(1, round(hose_min))} minutes of your hose."


def noun(act: str) -> str:
    """An act as the beginning of a sentence: "A turn"."""
    return _NOUNS[act]


def _kg(s: Situation) -> float:
    """Wet mass to the nearest 50 kg; 0 where it is not known."""
    if s.dry_kg is None:
        return 0.0
    wet = s.core_wb.mean if s.core_wb is not None else 0.5
    return 50.0 * round(s.dry_kg / (1.0 - wet) / 50.0)
