"""Heat over time against published rules: clocks that the coldest measured point decides.

Units: degrees C, hours (of any common zero), moisture on wet basis as a fraction, carbon over
nitrogen by mass. Conventions: a spot is known between two of its own readings at most a gap apart,
and there counts the lower end (the higher one where a rule has a top); before its first, after its
last and across a longer gap it is not measured, which counts against: so one more probe can only
make an answer stricter. Rules are data (`hygiene_rules.toml`); nothing here calls a compost clean.
"""

from __future__ import annotations

import difflib
import functools
import itertools
import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from importlib import resources
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from heapwright.errors import QuantityError, UnknownNameError

__all__ = [
    "KINDS", "Clock", "Course", "History", "Judged", "Option", "Rule", "clock", "course", "dose",
    "dry_spans", "hours_at", "judge", "kill_days", "measured_share", "outside", "rule", "rule_file",
    "rules", "stands_within", "stretches", "sure_course",
]  # fmt: skip

Floats = NDArray[np.float64]
Spots = Mapping[str, tuple[Sequence[float] | Floats, Sequence[float] | Floats]]
Span = tuple[float, float]
Verdict = Literal["met", "not met", "cannot tell", "no category fits"]

#: Kinds of heap that rules speak of, in yard words.
KINDS: dict[str, str] = {
    "windrow": "a windrow", "in_vessel": "a vessel with forced air",
    "static_aerated": "a heap with forced air", "closed_reactor": "a closed reactor",
    "housed_windrow": "a windrow under a roof", "any": "any heap",
}  # fmt: skip
_ROUNDING = 1e-7  # hours: sums of floats


@dataclass(frozen=True, slots=True)
class Option:
    """One way of meeting a rule, see the head of ``hygiene_rules.toml``.

    words : its name; kinds : of heap; c [C] for hours [h]; how : consecutive, summed, blocks or
    before turns; gap_h : longest gap between readings [h]; top_c : not above [C]; strictly : over
    c, not at it; turns, apart_d [d]; blocks : number; window_c, window_h; mean_c [C]; cover : only
    time under a cover counts, but for a vessel.
    """

    words: str
    kinds: tuple[str, ...]
    c: float
    hours: float
    how: str
    gap_h: float
    top_c: float = math.inf
    strictly: bool = False
    turns: int = 0
    apart_d: float = 0.0
    blocks: int = 1
    window_c: float | None = None
    window_h: float = 0.0
    mean_c: float | None = None
    cover: bool = False

    @property
    def needed_h(self) -> float:
        """Hours in all that the option asks for."""
        return self.hours * (self.turns if self.how == "before turns" else self.blocks)


@dataclass(frozen=True, slots=True)
class Rule:
    """A published rule: its names and edition, whether it was seen, and what it asks.

    short : its name in a table; moisture : least, of the wet mass; cn : range at the start;
    storage_d : after the heat [d]; least_spots : measured points, zones : of them in words;
    skin_m : one of them at most so deep [m].
    """

    key: str
    short: str
    name: str
    edition: str
    source: str
    seen: str
    options: tuple[Option, ...]
    moisture: float | None = None
    cn: Span | None = None
    storage_d: float = 0.0
    caveats: tuple[str, ...] = ()
    least_spots: int = 0
    zones: str = ""
    skin_m: float | None = None

    @property
    def called(self) -> str:
        """Name and edition, as they stand in a sentence."""
        return f"{self.name}, {self.edition}"

    @property
    def named(self) -> str:
        """The same with how surely it is known, where that is from memory alone.

        >>> rules()["dk"].named
        'Denmark, compost, edition not seen here (from memory, low confidence)'
        """
        return f"{self.called} (from {self.seen})" if self.from_memory else self.called

    @property
    def unsure(self) -> bool:
        """True when it is remembered with low confidence."""
        return "low confidence" in self.seen

    @property
    def from_memory(self) -> bool:
        """True when no page of it was read here."""
        return self.seen.startswith("memory")


@functools.cache
def rule_file() -> Mapping[str, Any]:
    """``hygiene_rules.toml`` as read."""
    text = resources.files("heapwright.science").joinpath("hygiene_rules.toml")
    return tomllib.loads(text.read_text(encoding="utf-8"))


@functools.cache
def rules() -> Mapping[str, Rule]:
    """Every rule by key, in the order of the file.

    >>> rules()["us_nop"].cn
    (25.0, 40.0)
    """
    gaps = {name: float(row["hours"]) for name, row in rule_file()["gap"].items()}
    return {key: _rule(key, row, gaps) for key, row in rule_file()["rule"].items()}


def _rule(key: str, row: Mapping[str, Any], gaps: Mapping[str, float]) -> Rule:
    options = tuple(
        Option(gap_h=gaps[o["gap"]], kinds=tuple(o["kinds"]),
               **{k: v for k, v in o.items() if k not in ("gap", "kinds")})
        for o in row["option"]
    )  # fmt: skip
    cn = row.get("cn")
    return Rule(
        key=key, short=row["short"], name=row["name"], edition=row["edition"],
        source=row["source"], seen=row["seen"], options=options, moisture=row.get("moisture"),
        cn=None if cn is None else (cn[0], cn[1]), storage_d=row.get("storage_d", 0.0),
        caveats=tuple(row["caveats"]), least_spots=row.get("least_spots", 0),
        zones=row.get("zones", ""), skin_m=row.get("skin_m"),
    )  # fmt: skip


def rule(key: str) -> Rule:
    """The rule called *key*; `UnknownNameError` names near or all keys.

    >>> rule("US-PFRP").key
    'us_pfrp'
    """
    typed = key.strip().lower().replace("-", "_").replace(" ", "_")
    known = rules()
    if typed in known:
        return known[typed]
    near = difflib.get_close_matches(typed, list(known), n=2)
    raise UnknownNameError(
        "no such rule is kept here", field="rule", value=key,
        way_out="Did you mean " + " or ".join(near) if near else "One of " + ", ".join(known),
    )  # fmt: skip


# --- the coldest measured point ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Course:
    """The coldest and the warmest measured point over time.

    edges_h : n + 1 times [h]; low_c, high_c : between them [C]; -inf and inf while one spot is
    not measured.
    """

    edges_h: Floats
    low_c: Floats
    high_c: Floats

    @property
    def lasts_h(self) -> Floats:
        """Length of each piece [h]."""
        return np.diff(self.edges_h)


def course(spots: Spots, *, gap_h: float) -> Course:
    """The coldest (and warmest) of all spots, each known between its own readings only.

    Parameters
    ----------
    spots : mapping
        Spot to (times [h], temperatures [C]), in any order; twice the same time: the lower counts
        for cold, the higher for warm.
    gap_h : float
        Longest time [h] between two readings of a spot in which it counts as measured, above 0.

    Raises
    ------
    QuantityError
        A gap of nought, lists of unequal length, or numbers that are not finite.

    Examples
    --------
    >>> made = course({"core": ([0, 24, 96], [60, 58, 61])}, gap_h=36)
    >>> made.low_c.tolist()
    [58.0, -inf]
    """
    if not gap_h > 0:
        raise QuantityError("a gap lasts some hours", field="gap_h", value=gap_h)
    read = {name: _checked(name, *pair) for name, pair in spots.items()}
    times = [t for t, _, _ in read.values() if t.size]
    edges = np.unique(np.concatenate(times)) if times else np.zeros(0)
    pieces = max(edges.size - 1, 0)
    low, high = np.full(pieces, np.inf), np.full(pieces, -np.inf)
    for t, colder, warmer in read.values():
        mine_low, mine_high = np.full(pieces, -np.inf), np.full(pieces, np.inf)
        if pieces and t.size > 1:
            k = np.searchsorted(t, edges[:-1], side="right") - 1
            inside = (k >= 0) & (k < t.size - 1)
            k = np.clip(k, 0, t.size - 2)
            inside &= t[k + 1] - t[k] <= gap_h + _ROUNDING
            mine_low = np.where(inside, np.minimum(colder[k], colder[k + 1]), -np.inf)
            mine_high = np.where(inside, np.maximum(warmer[k], warmer[k + 1]), np.inf)
        low, high = np.minimum(low, mine_low), np.maximum(high, mine_high)
    return Course(edges if pieces else np.zeros(1), low, high)


def sure_course(spots: Spots, rough: Spots, *, gap_h: float) -> Course:
    """The course that holds whenever within their ranges the readings were made.

    A spot is known only after its first reading at its latest and before its last at its earliest,
    where the two around a time lie at most a gap apart at their worst; and there the lowest of all
    readings that could be one of the two counts (the highest where a rule has a top).

    rough : spot to (earliest, latest) times [h] of its readings, in the order of *spots*.

    >>> read = {"a": ([12, 24, 48], [60, 61, 62])}
    >>> sure_course(read, {"a": ([2, 24, 48], [22, 24, 48])}, gap_h=36).edges_h.tolist()
    [2.0, 22.0, 24.0, 48.0]
    >>> sure_course(read, {"a": ([2, 24, 48], [22, 24, 48])}, gap_h=36).low_c.tolist()
    [-inf, 60.0, 61.0]
    """
    ranged = {}
    for name, (_, temps) in spots.items():
        early, late = (np.asarray(x, dtype=float) for x in rough[name])
        c = np.asarray(temps, dtype=float)
        if not early.shape == late.shape == c.shape or (early > late).any():
            raise QuantityError("times and temperatures do not go together", field="spot",
                                value=name)  # fmt: skip
        ranged[name] = early, late, c
    ends = [x for early, late, _ in ranged.values() for x in (early, late)]
    edges = np.unique(np.concatenate(ends)) if ends else np.zeros(0)
    pieces = max(edges.size - 1, 0)
    low, high = np.full(pieces, np.inf), np.full(pieces, -np.inf)
    for early, late, c in ranged.values():
        for k in range(pieces):
            a, b = _sure_piece(early, late, c, float(edges[k]), float(edges[k + 1]), gap_h)
            low[k], high[k] = min(low[k], a), max(high[k], b)
    return Course(edges if pieces else np.zeros(1), low, high)


def _sure_piece(
    early: Floats, late: Floats, c: Floats, begin: float, end: float, gap_h: float
) -> Span:
    """Lowest and highest that one spot can have been in a piece; infinite where not measured."""
    before, after = late <= begin, early >= end
    if not (before.any() and after.any()):
        return -math.inf, math.inf
    either = ~(before | after)
    left, right = float(early[before].max()), float(late[after].min())
    # the worst that those which may lie on either side can do: some of them left, the rest right
    ins, outs = early[either], late[either]
    worst = max(
        min([right, *outs[ins > t].tolist()]) - max(left, t) for t in (-math.inf, *ins.tolist())
    )
    if worst > gap_h + _ROUNDING:
        return -math.inf, math.inf
    could = either | (before & (late >= left)) | (after & (early <= right))
    return float(c[could].min()), float(c[could].max())


def _checked(name: str, times: Any, temps: Any) -> tuple[Floats, Floats, Floats]:
    """Times in order, each once, with the lower and the higher reading at it."""
    t, c = np.asarray(times, dtype=float), np.asarray(temps, dtype=float)
    if t.shape != c.shape or t.ndim != 1 or not (np.isfinite(t).all() and np.isfinite(c).all()):
        raise QuantityError("times and temperatures do not go together", field="spot", value=name)
    once, back = np.unique(t, return_inverse=True)
    colder, warmer = np.full(once.size, np.inf), np.full(once.size, -np.inf)
    np.minimum.at(colder, back, c)
    np.maximum.at(warmer, back, c)
    return once, colder, warmer


def stretches(
    found: Course, c: float, *, top_c: float = math.inf, strictly: bool = False
) -> tuple[Span, ...]:
    """The (start, end) [h] of each unbroken time at or above *c* (over it where *strictly*) and
    not above *top_c*.

    >>> stretches(course({"a": ([0, 24, 48, 72], [60, 58, 50, 61])}, gap_h=36), 55)
    ((0.0, 24.0),)
    """
    warm = (found.low_c > c) if strictly else (found.low_c >= c)
    if math.isfinite(top_c):
        warm &= found.high_c <= top_c
    padded = np.concatenate([[False], warm, [False]]).astype(int)
    change = np.diff(padded)
    starts, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
    return tuple(
        (float(found.edges_h[a]), float(found.edges_h[b]))
        for a, b in zip(starts, ends, strict=True)
    )


def measured_share(found: Course) -> float:
    """Share of the time from the first to the last reading in which every spot was measured.

    >>> measured_share(course({"a": ([0, 24, 96], [60, 58, 61])}, gap_h=36))
    0.25
    """
    lasts = found.lasts_h
    return float(lasts[np.isfinite(found.low_c)].sum() / lasts.sum()) if lasts.size else 0.0


def hours_at(found: Course, c: float) -> float:
    """Hours in all that the coldest measured point spent at or above *c* [C].

    >>> hours_at(course({"a": ([0, 24, 48], [60, 58, 50])}, gap_h=36), 55)
    24.0
    """
    return float(found.lasts_h[found.low_c >= c].sum()) if found.low_c.size else 0.0


# --- dose ----------------------------------------------------------------------------------------


def kill_days(temp_c: float, *, thin: bool = False) -> float:
    """Days the US time and temperature formula asks for at a steady temperature.

    D = 131,700,000 / 10^(0.14 t), or 50,070,000 / ... for thin liquids (under 7 % solids); t in
    degrees C. As restated in North Carolina 15A NCAC 02T .1106 (seen). Infinite below 50 C.

    >>> round(kill_days(55), 3), round(kill_days(55, thin=True), 3)
    (2.628, 0.999)
    """
    row = rule_file()["dose"]
    if not math.isfinite(temp_c):
        raise QuantityError("a temperature is a finite number", field="temp_c", value=temp_c)
    if temp_c < row["least_c"]:
        return math.inf
    days: float = row["thin" if thin else "thick"] / 10 ** (row["slope"] * temp_c)
    return days


def dose(hours: Sequence[float] | Floats, temps_c: Sequence[float] | Floats) -> float:
    """How often the time asked for by `kill_days` went by: sum of dt / D(t); information only.

    hours : of each piece; temps_c : in it, -inf where not measured. Source as `kill_days`.

    >>> round(dose([31.53, 6.29], [55, 60]), 2), dose([1000], [49.9])
    (1.0, 0.0)
    """
    return float(
        sum(h / 24 / kill_days(c) for h, c in zip(hours, temps_c, strict=True) if math.isfinite(c))
    )


# --- clocks --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Clock:
    """How far an option got: hours [h] and turns that count, the (start, end) [h] they lie in.

    hot : the heat and time are there; met : and the turns, by dates that are sure; perhaps : and
    the turns, if roughly dated ones fell well. window_h, mean_c : the second condition, if any;
    done_h : when an unbroken stretch had met it [h].
    """

    hours: float
    turns: int
    span: Span | None
    hot: bool
    met: bool
    perhaps: bool
    window_h: float | None = None
    mean_c: float | None = None
    done_h: float | None = None


def clock(
    option: Option, spots: Spots, turns: Sequence[Span] = (), *, dry: Sequence[Span] = (),
    rough: Spots | None = None,
) -> Clock:  # fmt: skip
    """How far the coldest of *spots* got with an option of a rule.

    Parameters
    ----------
    turns : sequence of (earliest, latest)
        When the heap was turned [h], equal for an exact time. One with a range counts only if
        all of it lies inside, and at most one a day.
    dry : sequence of (start, end)
        Times [h] that do not count because the heap was too dry, see `dry_spans`.
    rough : mapping, optional
        Earliest and latest times of the readings: the clock counts no time that is not sure.

    Examples
    --------
    >>> steady = {"core": (list(range(0, 361, 24)), [60.0] * 16)}
    >>> days = [(24.0 * d, 24.0 * d) for d in (3, 5, 7, 9, 11)]
    >>> clock(rule("us_pfrp").options[0], steady, days).met
    True
    >>> clock(rule("us_pfrp").options[0], steady, days[:4]).met
    False
    """
    found = (
        sure_course(spots, rough, gap_h=option.gap_h) if rough else
        course(spots, gap_h=option.gap_h)
    )  # fmt: skip
    warm = stretches(found, option.c, top_c=option.top_c, strictly=option.strictly)
    warm = _without(warm, dry)
    if option.how == "before turns":
        made = [_before_turns(option, warm, turns)]
    elif option.how in ("summed", "blocks"):
        made = [_together(option, warm, turns)]
    else:
        made = [_stretch(option, found, span, turns) for span in warm]
    if not made:
        return Clock(0.0, 0, None, False, False, False)
    best = max(made, key=_goodness)
    done = [m.done_h for m in made if m.done_h is not None]
    return replace(best, done_h=min(done)) if best.met and done else best


def _goodness(made: Clock) -> tuple[bool, bool, bool, float, int]:
    return made.met, made.perhaps, made.hot, made.hours, made.turns


def _without(warm: Sequence[Span], dry: Sequence[Span]) -> tuple[Span, ...]:
    """Stretches less the times that do not count."""
    left = list(warm)
    for a, b in dry:
        cut = [p for s, e in left for p in ((s, min(e, a)), (max(s, b), e))]
        left = [(s, e) for s, e in cut if e > s]
    return tuple(sorted(set(left)))


def dry_spans(samples: Sequence[Span], least: float) -> tuple[Span, ...]:
    """When a heap was too dry by its samples: as with temperatures the lower end counts between
    two of them, and the nearest one before the first and after the last.

    samples : (time [h], moisture as a fraction of wet mass).

    >>> dry_spans([(24, 0.5), (48, 0.3), (72, 0.5)], 0.4)
    ((24.0, 72.0),)
    """
    ordered = sorted((float(t), m >= least - 1e-9) for t, m in samples)
    edges = [(-math.inf, ordered[0][1]), *ordered, (math.inf, ordered[-1][1])] if ordered else []
    spans: list[Span] = []
    for (a, wet), (b, wet_then) in itertools.pairwise(edges):
        if not (wet and wet_then):
            spans.append((spans.pop()[0], b) if spans and spans[-1][1] == a else (a, b))
    return tuple(spans)


def outside(spans: Sequence[Span]) -> tuple[Span, ...]:
    """The times that lie in none of *spans*, without end on both sides.

    >>> outside([(1.0, 3.0), (2.0, 4.0)])
    ((-inf, 1.0), (4.0, inf))
    """
    left, since = [], -math.inf
    for begin, end in sorted(spans):
        if begin > since:
            left.append((since, begin))
        since = max(since, end)
    return (*left, (since, math.inf)) if since < math.inf else tuple(left)


def _stretch(option: Option, found: Course, span: Span, turns: Sequence[Span]) -> Clock:
    """One unbroken stretch against an option."""
    hours = span[1] - span[0]
    hot = hours >= option.hours - _ROUNDING
    over = mean = None
    if option.window_c is not None:
        over = option.hours * _best_mean(found, span, option.hours, (found.low_c > option.window_c))
        hot &= over >= option.window_h - _ROUNDING
    if option.mean_c is not None:
        mean = _best_mean(found, span, option.hours, found.low_c)
        hot &= mean > option.mean_c
    return _turned(option, hours, span, turns, hot=hot, window_h=over, mean_c=mean)


def _together(option: Option, warm: Sequence[Span], turns: Sequence[Span]) -> Clock:
    """All stretches together: their sum, or how many whole blocks they hold."""
    if not warm:
        return Clock(0.0, 0, None, False, False, False)
    lengths = [b - a for a, b in warm]
    hours = sum(lengths)
    if option.how == "blocks":
        hours = option.hours * sum(int((x + _ROUNDING) // option.hours) for x in lengths)
    hot = hours >= option.needed_h - _ROUNDING
    return _turned(option, hours, (warm[0][0], warm[-1][1]), turns, hot=hot)


def _turned(
    option: Option, hours: float, span: Span, turns: Sequence[Span], *, hot: bool,
    window_h: float | None = None, mean_c: float | None = None,
) -> Clock:  # fmt: skip
    sure = [t for t in turns if t[0] >= span[0] and t[1] <= span[1]]
    maybe = [t for t in turns if t[1] >= span[0] and t[0] <= span[1]]
    apart_h = max(24 * option.apart_d, float(rule_file()["turns"]["apart_h"]))
    picked = _apart(sure, apart_h)
    most = _apart([(b, a) for a, b in maybe], apart_h)
    met = hot and len(picked) >= option.turns
    done = None
    if met and option.how == "consecutive":
        done = max([span[0] + option.hours, *picked[: option.turns][-1:]])
    return Clock(
        hours, len(picked), span, hot, met, hot and len(most) >= option.turns, window_h, mean_c,
        done_h=done,
    )  # fmt: skip


def _apart(turns: Sequence[Span], apart_h: float) -> list[float]:
    """Ends of the most turns that can be picked so that each begins *apart_h* after the end of the
    one before, as early as can be.

    With ends exchanged (latest, earliest) it is the most that roughly dated turns could be.
    """
    picked: list[float] = []
    for begin, end in sorted(turns, key=lambda t: (t[1], t[0])):
        if apart_h <= 0 or not picked or begin >= picked[-1] + apart_h - _ROUNDING:
            picked.append(end)
    return picked


def _before_turns(option: Option, warm: Sequence[Span], turns: Sequence[Span]) -> Clock:
    """Turns with a stretch of the asked length since the turn before (or the start)."""
    ordered = sorted(turns)
    counts = []
    for lenient in (False, True):
        count, since = 0, -math.inf
        for earliest, latest in ordered:
            until = latest if lenient else earliest
            inside = (min(b, until) - max(a, since) for a, b in warm)
            count += max(inside, default=-math.inf) >= option.hours - _ROUNDING
            since = earliest if lenient else max(since, latest)
        counts.append(count)
    sure, most = counts
    hours = option.hours * min(sure, option.turns)
    return Clock(
        hours, sure, (warm[0][0], warm[-1][1]) if warm else None,
        sure >= option.turns, sure >= option.turns, most >= option.turns,
    )  # fmt: skip


def _best_mean(found: Course, span: Span, width_h: float, values: Any) -> float:
    """Largest mean of a piecewise constant course over *width_h* hours inside a stretch (over the
    whole stretch where that is shorter)."""
    inner = found.edges_h[(found.edges_h > span[0]) & (found.edges_h < span[1])]
    edges = np.concatenate([[span[0]], inner, [span[1]]])
    piece = np.searchsorted(found.edges_h, edges[:-1], side="right") - 1
    sums = np.concatenate([[0.0], np.cumsum(np.diff(edges) * values[piece])])
    width = min(width_h, span[1] - span[0])
    starts = np.concatenate([edges, edges - width])
    starts = starts[(starts >= edges[0]) & (starts + width <= edges[-1] + _ROUNDING)]
    areas = np.interp(starts + width, edges, sums) - np.interp(starts, edges, sums)
    return float(areas.max() / width)


# --- a rule over a history -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class History:
    """What is known of a heap, on one axis of hours.

    spots : readings; turns : (earliest, latest); moistures : (time, fraction of wet mass); cn :
    (low, high) at the start, None if unknown; cn_from : by what it is known, in words; unread :
    spots of the plan nobody read; now_h; depths : of spots [m], where known; rough : (earliest,
    latest) times of the readings of every spot in their order, empty where all are exact; covered :
    when it surely had a cover.
    """

    spots: Spots
    turns: tuple[Span, ...] = ()
    moistures: tuple[Span, ...] = ()
    cn: Span | None = None
    cn_from: str = ""
    unread: tuple[str, ...] = ()
    now_h: float = math.inf
    depths: Mapping[str, float] = field(default_factory=dict)
    rough: Spots = field(default_factory=dict)
    covered: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Judged:
    """A rule held against a history.

    verdict; option, clock : the one that came nearest, None where no category fits; as_if : it is
    written for windrows and this is a turned heap of another shape; points : (spot, hours alone,
    warmest reading or None) of every spot; meeting : how many meet heat and time alone; blocking :
    the spot that holds it up most; fails, missing : in words; storage_until_h.
    """

    rule: Rule
    verdict: Verdict
    option: Option | None = None
    clock: Clock | None = None
    as_if: bool = False
    points: tuple[tuple[str, float, float | None], ...] = ()
    meeting: int = 0
    blocking: str = ""
    fails: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    storage_until_h: float | None = None


def judge(asked: Rule, kinds: Mapping[str, bool], history: History) -> Judged:
    """Hold a rule against a history, by the option that comes nearest.

    Parameters
    ----------
    kinds : mapping
        What the heap is, of `KINDS`; True where it is so, False where it is only read as if.
        Without a kind that an option asks for, no category of the rule fits.

    Examples
    --------
    >>> days = (list(range(0, 97, 24)), [60.0] * 5)
    >>> hot = History({"core": days, "skin": days}, depths={"core": 0.6, "skin": 0.1})
    >>> judge(rule("us_nop_5021"), {}, hot).verdict, judge(rule("us_pfrp"), {}, hot).verdict
    ('met', 'no category fits')
    """
    fitting = [
        (option, as_if) for option in asked.options
        if (as_if := _fits(option, kinds)) is not None
    ]  # fmt: skip
    if not fitting:
        return Judged(asked, "no category fits")
    vessel = kinds.get("in_vessel", False)
    made = [
        _judge(asked, option, history, as_if=as_if, cover=option.cover and not vessel)
        for option, as_if in fitting
    ]
    order = ("met", "cannot tell", "not met")
    return min(made, key=lambda j: (order.index(j.verdict), -_share(j)))


def _fits(option: Option, kinds: Mapping[str, bool]) -> bool | None:
    """Whether an option is only read as if the heap were of its kind; None if it does not fit."""
    if "any" in option.kinds or any(kinds.get(k, False) for k in option.kinds):
        return False
    return True if any(k in kinds for k in option.kinds) else None


def _share(found: Judged) -> float:
    assert found.clock is not None
    assert found.option is not None
    return min(1.0, found.clock.hours / found.option.needed_h)


def _judge(
    asked: Rule, option: Option, history: History, *, as_if: bool, cover: bool = False
) -> Judged:
    reached = clock(option, history.spots, history.turns)
    points, meeting, blocking = _points(option, history)
    fails: list[str] = []
    missing: list[str] = []
    if asked.moisture is not None and reached.hot:
        reached = _moist(asked.moisture, option, history, reached, fails, missing)
    if not any(len(t) for t, _ in history.spots.values()):
        missing.append("no temperature was read")
    elif not reached.met and reached.perhaps:
        missing.append("when it was turned is known only roughly")
    elif option.how == "before turns" and not reached.met:
        after = f"{option.hours / 24:g} days of heat in a row"
        fails.append(f"{reached.turns} of {option.turns} turns came after {after}")
    elif not reached.hot and not fails:
        fails.append("heat over time")
    elif not reached.met and reached.hot:
        fails.append(f"{reached.turns} of {option.turns} turns in that time")
    missing += [f"the spot {name} of the plan was never read" for name in history.unread]
    missing += _too_few(asked, history)
    if asked.cn is not None:
        _start_cn(asked.cn, history, fails, missing)
    bare = outside(history.covered) if cover else ()
    if cover and reached.met:
        under = clock(option, history.spots, history.turns, dry=bare)
        if under.met:
            reached = under
        else:
            missing.append("no insulating cover was noted" + " for long enough" * bool(
                history.covered))  # fmt: skip
    if history.rough and reached.met and not fails and not missing:
        sure = _sure(asked, option, history, bare)
        if sure.met:
            reached = sure
        else:
            missing.append("times of readings are rough")
    until = None
    if asked.storage_d and reached.done_h is not None:
        until = reached.done_h + 24 * asked.storage_d
        if history.now_h < until:
            fails.append(f"{asked.storage_d:g} days of storage after the heat are not over")
    verdict: Verdict = "not met" if fails else "cannot tell" if missing else "met"
    return Judged(
        asked, verdict, option, reached, as_if, points, meeting, blocking, tuple(fails),
        tuple(missing), until,
    )  # fmt: skip


def _sure(asked: Rule, option: Option, history: History, bare: Sequence[Span]) -> Clock:
    """The clock at the pessimistic ends of the times of readings."""
    dry: list[Span] = []
    if asked.moisture is not None:
        dry += dry_spans(history.moistures, asked.moisture) + _unsampled(history.moistures)
    return clock(option, history.spots, history.turns, dry=[*dry, *bare], rough=history.rough)


def _too_few(asked: Rule, history: History) -> list[str]:
    """Which points a rule asks for that nobody measured."""
    read = [name for name, (times, _) in history.spots.items() if len(times)]
    if not read:
        return []
    said = []
    if len(read) < asked.least_spots:
        zones = f" ({asked.zones})" if asked.zones else ""
        said.append(
            f"it takes {asked.least_spots} measured points{zones}, and {len(read)} "
            f"{'was' if len(read) == 1 else 'were'} read"
        )
    skin = asked.skin_m
    if skin is not None and not any(
        history.depths.get(name, math.inf) <= skin + _ROUNDING for name in read
    ):
        said.append(f"the skin, at most {100 * skin:.0f} cm deep, was not measured")
    return said


def _start_cn(asked: Span, history: History, fails: list[str], missing: list[str]) -> None:
    known = history.cn
    if known is None:
        missing.append("C:N at the start was not measured")
        return
    by = f" {history.cn_from}" if history.cn_from else ""
    shown = f"{known[0]:.3g}" if known[0] == known[1] else f"{known[0]:.0f} to {known[1]:.0f}"
    said = f"C:N at the start{by}: {shown}, asked for {asked[0]:g} to {asked[1]:g}"
    stands = stands_within(known, *asked)
    if stands is None:
        missing.append(said)
    elif not stands:
        fails.append(said)


def _moist(
    least: float, option: Option, history: History, reached: Clock, fails: list[str],
    missing: list[str],
) -> Clock:  # fmt: skip
    """The clock over the time that was moist enough; what was too dry or never measured."""
    samples = history.moistures
    dry = dry_spans(samples, least)
    moist = clock(option, history.spots, history.turns, dry=dry)
    if not moist.hot:
        span = reached.span or (0.0, 0.0)
        low = min((m for t, m in samples if span[0] <= t <= span[1]),
                  default=min(m for _, m in samples))  # fmt: skip
        fails.append(f"moisture was {100 * low:.0f} %, asked for {100 * least:.0f} %")
        return moist
    known = clock(option, history.spots, history.turns, dry=[*dry, *_unsampled(samples)])
    if moist.met and known.met:
        return known
    if moist.met or not known.hot:
        missing.append("moisture at the time was not measured")
    return moist


def _unsampled(samples: Sequence[Span]) -> tuple[Span, ...]:
    """The time that no sample of moisture speaks for."""
    reach = 24 * float(rule_file()["moisture"]["reach_d"])
    return outside([(t - reach, t + reach) for t, _ in samples])


def stands_within(known: Span | None, least: float, most: float) -> bool | None:
    """Whether a number known as (low, high) lies in a range, ends included; None if open.

    >>> stands_within((25, 25), 25, 40), stands_within((24.9, 24.9), 25, 40)
    (True, False)
    >>> stands_within((24, 38), 25, 40) is None, stands_within(None, 25, 40) is None
    (True, True)
    """
    if known is None:
        return None
    low, high = known
    if low > high:
        raise QuantityError("the low of a range is above its high", field="known", value=known)
    if least <= low and high <= most:
        return True
    return False if high < least or low > most else None


def _points(
    option: Option, history: History
) -> tuple[tuple[tuple[str, float, float | None], ...], int, str]:
    """Each spot by itself: hours, warmest; how many meet heat and time; the one that blocks."""
    alone = []
    meeting = 0
    for name, pair in history.spots.items():
        reached = clock(option, {name: pair}, history.turns)
        warmest = max((float(x) for x in pair[1]), default=None)
        alone.append((name, reached.hours, warmest))
        meeting += reached.hot
    if not alone:
        return (), 0, ""
    least = min(alone, key=lambda p: (p[1], -math.inf if p[2] is None else p[2]))
    return tuple(alone), meeting, least[0]
