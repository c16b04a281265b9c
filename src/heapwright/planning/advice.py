"""Advice for one heap: what to do now, what it buys, and when nothing needs doing.

Units: degrees C, days, litres, moisture on wet basis. Conventions: rules only, nothing is simulated
here. What was seen goes before what was fitted. Danger comes first, then what the plan of a running
trial asks for, then what is plainly wrong, then a cheap look that would decide, then what would
only be better; in a running trial the last never goes before leaving the heap. An act that is worth
less than what follows, or whose gain cannot be told from none, is not advised.
"""

from __future__ import annotations

from collections.abc import Mapping

from heapwright.planning import advicewords as words
from heapwright.planning.advicefacts import ACTS, Advice, Advised, Change, Situation, TrialSide
from heapwright.planning.advicewater import (
    DRY_WB,
    core_moisture,
    is_dry,
    is_wet,
    kept_open,
    kept_over,
    litres,
    rest_moisture,
)  # fmt: skip
from heapwright.science.values import value

__all__ = ["ACTS", "Advice", "Advised", "Change", "Situation", "TrialSide", "advise", "litres"]

#: Gains that are worth the work: mean of the core [degrees C], share of the dry mass lost more,
#: days above 55 C, share of the time no longer short of air (own choices).
WORTH_C, WORTH_DRY, WORTH_DAYS, WORTH_O2 = 3.0, 0.02, 2.0, 0.2
#: The near end of the range has to be at least this share of what is worth it (own choice).
SURELY = 1.0 / 3.0
#: A core this warm, now or in the days ahead, need not be warmer or rot quicker [degrees C], own
#: choice.
WARM_ENOUGH_C = 55.0
#: Water that adds less than this to the core does not reach it (own choice).
REACHES_WB = 0.03
#: A skin wetter than the core by this is "wet on top, dry inside" (own choice).
APART_WB = 0.08
#: Fewer litres are not worth a hose, and an older reading says little of now [L, d] (own choices).
LEAST_L, STALE_D = 10.0, 7.0
#: A test that takes longer is not a cheap look [minutes], own choice.
CHEAP_MIN = 15.0
#: A first cause this likely needs no further test (own choice).
SURE = 0.7
#: Rain of a week that calls for a cover on a wet heap [mm], as in ``symptoms.toml`` (own choice).
MUCH_RAIN_MM = 25.0
#: Causes with which a heap is best left.
_FINE = ("ordinary", "used_up", "young", "chilled", "mould")
_BAD_AIR = {
    "rotten egg": "it smells of rotten egg", "sour": "it smells sour",
    "vinegar": "it smells of vinegar",
}  # fmt: skip
_OPENED = ("turn", "moisten")
#: what no heap that is wet or short of air wants, whatever it would gain
_SHUTS = ("cover", "plug pipes", "water", "moisten")
_WORDS = {
    "turn": "Turn heap {}.", "water": "Water heap {} over the top.",
    "open pipes": "Open the pipes of heap {}.", "plug pipes": "Plug the pipes of heap {}.",
    "cover": "Cover heap {} with a sheet, its foot left open.",
    "uncover": "Take the cover off heap {}.",
}  # fmt: skip


def advise(s: Situation) -> Advised:
    """What to do with a heap now, first what comes first.

    Examples
    --------
    >>> advise(Situation(heap="A", core_c=48.0, read_d=1.0)).sentence
    'Nothing needs doing to heap A.'
    """
    danger = _danger(s)
    if s.core_c is not None and s.core_c >= value("caution", "act_c").value:
        return Advised(danger[0].words, tuple(danger))
    found = [*danger, *_planned(s)]
    wrong = _wrong(s)
    wrong = [a for a in wrong if a.act not in {b.act for b in found}]
    reads = [] if any(a.act == "read" for a in found) else _reads(s, sure=bool(wrong))
    better = _better(s, {a.act for a in (*found, *wrong)})
    later = [a for a in better if a.breaks_trial]
    found += [*wrong, *reads, *(a for a in better if not a.breaks_trial)]
    if not found:
        found.append(_leave(s, later))
    found += later
    first = found[0]
    sentence = first.words
    if first.breaks_trial:
        sentence += " The same for every heap in the trial, or log it as a difference."
    return Advised(sentence, tuple(found))


# --- danger, and what the plan wants ----------------------------------------------------------


def _danger(s: Situation) -> list[Advice]:
    """A heap that could harm somebody or itself; safety goes before any trial."""
    watch, act = value("caution", "watch_c"), value("caution", "act_c")
    hot = s.core_c
    if hot is not None and hot >= act.value:
        return [
            Advice(
                act="read",
                words=f"Do not open heap {s.heap} and do not dig in alone: at {hot:.0f} C ask the "
                "fire service.",
                why=act.source, caution="Water at hand, people and fuel away.",
            )
        ]  # fmt: skip
    if s.smell == "burnt" or (hot is not None and hot >= watch.value):
        why = "It smells burnt." if s.smell == "burnt" else f"{hot:.0f} C was read. {watch.source}."
        return [
            Advice(
                act="read",
                words=f"Read heap {s.heap} again tomorrow at the same spots, and do not open it "
                "dry.",
                why=why,
                caution="If it smokes, smells burnt or goes on rising, ask the fire service "
                "before you open it.",
            )
        ]  # fmt: skip
    return []


def _planned(s: Situation) -> list[Advice]:
    """What the plan asks for now comes first."""
    if s.trial is None:
        return []
    made = []
    for act, said in s.trial.due.items():
        made.append(
            Advice(
                act=act, words=f"The plan asks for it now: {said}.", buys=words.buys(s, act),
                why=f"It belongs to the way of heap {s.heap} ({s.trial.way}).",
                caution=words.caution(s, act, dry=is_dry(s) is not False),
            )
        )  # fmt: skip
    return made


# --- plainly wrong ----------------------------------------------------------------------------


def _wrong(s: Situation) -> list[Advice]:
    """Too dry, or wet and short of air."""
    wet, sour = is_wet(s), s.smell in _BAD_AIR
    if wet or sour:
        return _wet_or_sour(s, wet)
    if is_dry(s):
        return _dry(s)
    return []


def _wet_or_sour(s: Situation, wet: bool) -> list[Advice]:
    seen = []
    if wet:
        seen.append("too wet inside" if s.squeeze else "probably too wet inside")
    if s.smell in _BAD_AIR:
        seen.append(_BAD_AIR[s.smell])
    why = "It is short of air: " + ", ".join(seen) + "."
    loose = " and mix in dry, coarse chips" if wet else ""
    made = [_advice(s, "turn", f"Turn heap {s.heap} loosely{loose}.", why)]
    if "open pipes" in s.acts:
        made.append(_advice(s, "open pipes", f"Open the pipes of heap {s.heap}.", why))
    if wet and "cover" in s.acts and (s.rain_mm_week or 0.0) >= MUCH_RAIN_MM:
        rain = f"{s.rain_mm_week:.0f} mm of rain fell in a week."
        made.append(_advice(s, "cover", f"Keep the rain off heap {s.heap}: cover it.", rain))
    return made


def _dry(s: Situation) -> list[Advice]:
    """Open it and wet it in two goes; over the top only where that reaches the core."""
    need = litres(s)
    core, rest = core_moisture(s), rest_moisture(s)
    assert core is not None
    # a squeeze inside against a fitted skin says nothing of the two together
    alike = (s.squeeze is None) == (s.squeeze_skin is None)
    on_top = alike and rest is not None and rest.mean - core.mean >= APART_WB
    reached = s.acts.get("water", {}).get("core_wb")
    reaches = reached is not None and reached.mean >= REACHES_WB and not on_top
    said = "Wet on top, dry inside" if on_top else "It is dry inside"
    said += "." if reaches else ": water from above won't reach it."
    how = f"squeezed: {s.squeeze}" if s.squeeze else f"as fitted: {100 * core.mean:.0f} %"
    why = f"Below {100 * DRY_WB:.0f} % nothing much lives ({how})."
    if s.squeeze and s.core_wb is not None and s.core_wb.low > core.high:
        why += " The readings would fit a wetter heap; the squeeze goes first, so it may buy more."
    if need is None or need < LEAST_L:
        text = f"Open heap {s.heap} and wet it until a squeeze is right. {said}"
        return [_advice(s, "moisten", text, why)]
    given = need / kept_open(s)
    text = (
        f"Open heap {s.heap} and wet it layer by layer in two goes, about "
        f"{words.litre_words(given)} in all; squeeze before the second. {said}"
    )
    share = 100 * need / given
    why += f" Of what is given about {10 * round(share / 10):.0f} % stays."
    made = [_advice(s, "moisten", text, why, given)]
    if reaches:
        over = need / kept_over(s)
        said = f"Or water heap {s.heap} over the top, slowly, {words.litre_words(over)}."
        made.append(_advice(s, "water", said, "Less work, and less of it gets inside.", over))
    return made


# --- a cheap look that would decide -----------------------------------------------------------


def _reads(s: Situation, *, sure: bool) -> list[Advice]:
    if s.read_d is None:
        said = f"Read heap {s.heap} first: the book has no reading of it."
        why = "Without one every heap of such material is possible."
        return [Advice(act="read", words=said, why=why)]
    if s.read_d > STALE_D:
        said = f"Read heap {s.heap} first: its last reading is {s.read_d:.0f} days old."
        return [Advice(act="read", words=said, why="What is fitted to old readings is wide.")]
    if sure:
        return []
    wetting = s.acts.get("moisten", {})
    if s.squeeze is None and is_dry(s) is None and _gains(s, wetting, clearly=False):
        return [
            Advice(
                act="read",
                words=f"Dig 40 cm into heap {s.heap} and squeeze a handful: it decides whether to "
                "wet it.",
                why=f"The core is probably at {_range(s.core_wb)}, which may be dry or not.",
            )
        ]  # fmt: skip
    test = s.test if s.test is not None and s.test.minutes <= CHEAP_MIN else None
    if len(s.causes) > 1 and test is not None and s.causes[0].chance < SURE:
        one, other = s.causes[:2]
        return [
            Advice(
                act="read", words=f"Look first ({test.minutes:.0f} min): {test.how}",
                why=f"It may be {one.text}, or {other.text}; this tells them apart best.",
            )
        ]  # fmt: skip
    return []


# --- what would be better, and nothing --------------------------------------------------------


def _better(s: Situation, taken: set[str]) -> list[Advice]:
    """Acts whose gain is clear and worth it, largest first."""
    made = []
    stuffy = is_wet(s) or s.smell in _BAD_AIR
    for act, changes in s.acts.items():
        if stuffy and act in _SHUTS:
            continue
        score = _gains(s, changes, clearly=True)
        opened = act in _OPENED and bool(taken.intersection(_OPENED))
        if act in taken or opened or not score:
            continue
        need = None
        text = _WORDS.get(act, "").format(s.heap)
        if act in ("moisten", "water"):
            need = litres(s)
            share = kept_open(s) if act == "moisten" else kept_over(s)
            if need is None or need < LEAST_L:
                continue
            need /= share
            text = f"Water heap {s.heap} over the top, slowly" if act == "water" else (
                f"Turn heap {s.heap} and wet it meanwhile in two goes")  # fmt: skip
            text += f", about {words.litre_words(need)}."
        why = "The gain is clear in the heaps that fit."
        if act == "cover":
            why += " It keeps water and steam in, and air out: smell under it after a week."
        made.append((score, _advice(s, act, text, why, need)))
    made.sort(key=lambda pair: -pair[0])
    best = [advice for _, advice in made]
    # to turn it and to wet it meanwhile are one piece of work
    once = [a for a in best if a.act in _OPENED][:1]
    return [a for a in best if a.act not in _OPENED or a in once]


def _gains(s: Situation, changes: Mapping[str, Change], *, clearly: bool) -> float:
    """How many times over an act is worth it; 0 where it is not, or spoils the heat."""
    ahead = [c.mean for name, c in s.leave.items() if name == "core_c"]
    known = ahead if s.core_c is None else [*ahead, s.core_c]
    warm = max(known, default=0.0) >= WARM_ENOUGH_C
    wanted = [("o2_short", -WORTH_O2)]
    if not warm:
        wanted += [("core_c", WORTH_C), ("days_55", WORTH_DAYS)]
        wanted += [("dry_lost_kg", WORTH_DRY * s.dry_kg)] if s.dry_kg else []
    score = 0.0
    for name, worth in wanted:
        change = changes.get(name)
        if change is None or change.mean / worth < 1.0:
            continue
        if min(change.low / worth, change.high / worth) >= SURELY or not clearly:
            score += change.mean / worth
    cooled = changes.get("core_c")
    if cooled is not None and cooled.clear and cooled.mean <= -WORTH_C:
        return 0.0
    return score


def _leave(s: Situation, later: list[Advice]) -> Advice:
    """Nothing needs doing, with what the usual act would do."""
    first = s.causes[0] if s.causes else None
    if first is not None and first.name not in _FINE:
        fits = "that the plan allows " if later else ""
        said = f"No act {fits}would surely help heap {s.heap} now. It is probably {first.text}: "
        said += first.advice
        return Advice(act="leave", words=said, why=f"Source: {first.source}.")
    said = f"Nothing needs doing to heap {s.heap}."
    if later and s.trial is not None:
        gain = words.buys(s, later[0].act)
        until = f" until {s.trial.ends.removeprefix('on ')}" if s.trial.ends else ""
        said += f" {words.noun(later[0].act)} now would help ({gain}), but the trial comes first"
        said += f"{until}."
    elif "turn" in s.acts and "core_c" in s.acts["turn"]:
        turn = s.acts["turn"]["core_c"]
        amount = words.band(turn, "warmer", "cooler", "degrees")
        over = f"over {s.days:.0f} days"
        if not turn.clear:
            said += f" A turn now might make it {amount} {over}; I can't tell that from none."
        elif turn.mean < 0:
            said += f" A turn now would make it {amount} {over}."
        else:
            said += f" A turn now would make it {amount} {over}: too little to be worth it."
    if s.next_look:
        said += f" {s.next_look}"
    why = "No act has a gain that is worth it and can be told from none."
    if later:
        why = "What would help is not in the plan."
    return Advice(
        act="leave", words=said, why=why if first is None else f"Probably {first.text}. {why}"
    )


# --- parts ------------------------------------------------------------------------------------


def _advice(s: Situation, act: str, text: str, why: str, given: float | None = None) -> Advice:
    hose = None if given is None or s.hose_l_min is None else given / s.hose_l_min
    return Advice(
        act=act, words=text, litres=None if given is None else 10.0 * round(given / 10),
        hose_min=None if hose is None else float(max(1, round(hose))), buys=words.buys(s, act),
        why=why, caution=words.caution(s, act, dry=is_dry(s) is not False),
        breaks_trial=words.breaks(s, act),
    )  # fmt: skip


def _range(moisture: Change | None) -> str:
    assert moisture is not None
    return f"{100 * moisture.low:.0f} to {100 * moisture.high:.0f} %"
