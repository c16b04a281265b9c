"""What is probably the matter with a heap, from what was seen; and what to look at next.

Units: degrees C, days, m3; carbon over nitrogen by mass. Conventions: a complaint gives each cause
a weight to begin with, and each thing that was looked at multiplies it by how often it goes with
that cause (`symptoms.toml`), as if findings came independently. Chances are judgement, not counts.
What was not looked at changes nothing, and may be proposed as the next test: the cheap one that
splits the first two causes best. It gives no orders: the advice is that of the sources beside it.
"""

from __future__ import annotations

import functools
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from heapwright.errors import UnknownNameError
from heapwright.planning.sizing import squeeze_bands
from heapwright.units import quantity

__all__ = ["COMPLAINTS", "QUANTITIES", "Cause", "Diagnosis", "NextTest", "Seen", "diagnose"]

#: Complaints that are known.
COMPLAINTS = (
    "not heating", "fell back", "too hot", "smells", "white dust", "dry core", "wet and sour",
)  # fmt: skip
_SQUEEZES = {
    "streams": "wet", "drops": "right", "damp": "right", "crumbles": "rather dry",
    "no_ball": "dry", "dusty": "dry",
}  # fmt: skip
_SMELLS = {
    "none": "none", "earthy": "none", "ammonia": "ammonia", "rotten egg": "rotten egg",
    "sour": "sour", "vinegar": "vinegar", "burnt": "burnt",
}  # fmt: skip
#: What each fact that is a number is a number of, see `heapwright.units`.
QUANTITIES = {
    "age_d": "age_d", "volume_m3": "volume_m3", "height_m": "length_m", "core_c": "temp_c",
    "air_c": "air_temp_c", "peak_c": "temp_c", "other_spots_c": "temp_c",
    "days_since_peak": "age_d", "days_since_turn": "age_d", "rose_after_turn_c": "diff_c",
    "cn": "cn_ratio", "rain_mm_week": "rain_mm", "band_m": "length_m",
}  # fmt: skip
#: A test that takes longer is worth half as much [minutes].
_PATIENCE_MIN = 15.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What is known of a heap; None for what was not looked at.

    complaint : see `COMPLAINTS`; age_d, days_since_peak, days_since_turn [d]; volume_m3, height_m;
    core_c, air_c, peak_c, other_spots_c (mean of the other spots now); rising : of the core;
    squeeze_core, squeeze_skin, squeeze_band (of a white band): streams, drops, damp, crumbles,
    no_ball, dusty; smell : none, earthy, ammonia, rotten egg, sour, vinegar, burnt; cn; fine;
    fast_food; fertilised; rose_after_turn_c : how much it warmed after the last turn, 0 if it did
    not; rain_mm_week; band_m : how deep the white band lies. days_since_peak and band_m may be
    given and are not weighed yet. Raises `UnknownNameError` or `QuantityError`.
    """

    complaint: str
    age_d: float | None = None
    volume_m3: float | None = None
    height_m: float | None = None
    core_c: float | None = None
    air_c: float | None = None
    peak_c: float | None = None
    other_spots_c: float | None = None
    days_since_peak: float | None = None
    days_since_turn: float | None = None
    rose_after_turn_c: float | None = None
    rising: bool | None = None
    squeeze_core: str | None = None
    squeeze_skin: str | None = None
    squeeze_band: str | None = None
    smell: str | None = None
    cn: float | None = None
    rain_mm_week: float | None = None
    band_m: float | None = None
    fine: bool | None = None
    fast_food: bool | None = None
    fertilised: bool | None = None

    def __post_init__(self) -> None:
        for field, said, known in (
            ("complaint", self.complaint, COMPLAINTS),
            ("squeeze_core", self.squeeze_core, _SQUEEZES),
            ("squeeze_skin", self.squeeze_skin, _SQUEEZES),
            ("squeeze_band", self.squeeze_band, _SQUEEZES),
            ("smell", self.smell, _SMELLS),
        ):
            if said is not None and said not in known:
                raise UnknownNameError("not known here", field=field, value=said,
                                       way_out="One of " + ", ".join(known))  # fmt: skip
        for field, key in QUANTITIES.items():
            number = getattr(self, field)
            if number is not None:
                quantity(key).check(number, field=field)


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause with its chance (all chances add up to 1), advice and source; guides_differ : where
    published advice conflicts, else empty."""

    name: str
    text: str
    chance: float
    advice: str
    source: str
    guides_differ: str


@dataclass(frozen=True, slots=True)
class NextTest:
    """What to look at next, how long it takes, and how far it is expected to settle the first two
    causes [bit, 0 to 1]."""

    name: str
    how: str
    minutes: float
    bits: float


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Causes, most likely first; the test that splits the first two, None where none would; what
    was used."""

    causes: tuple[Cause, ...]
    next_test: NextTest | None
    used: Mapping[str, str]


def diagnose(seen: Seen) -> Diagnosis:
    """Rank the causes of a complaint.

    Examples
    --------
    >>> found = diagnose(Seen(complaint="not heating", squeeze_core="dusty", cn=40))
    >>> found.causes[0].text
    'too dry inside'
    >>> found.next_test is None
    False
    """
    table = _table()
    outcomes = _findings(seen)
    weights = {name: float(w) for name, w in table["complaint"][seen.complaint].items()}
    for name, outcome in outcomes.items():
        for cause in weights:
            weights[cause] *= _chance(name, cause)[outcome]
    whole = sum(weights.values())
    ranked = sorted(weights, key=lambda cause: -weights[cause])
    causes = tuple(
        Cause(
            cause, table["cause"][cause]["text"], weights[cause] / whole,
            table["cause"][cause]["advice"], table["cause"][cause]["source"],
            table["cause"][cause].get("guides_differ", ""),
        )
        for cause in ranked
    )  # fmt: skip
    return Diagnosis(causes, _next_test(causes, outcomes), outcomes)


def _findings(seen: Seen) -> dict[str, str]:
    """What was looked at, as outcomes of `symptoms.toml`."""
    s = seen
    made: dict[str, str | None] = {
        "core": _SQUEEZES[s.squeeze_core] if s.squeeze_core else None,
        "skin": _skin(s),
        "smell": _SMELLS[s.smell] if s.smell else None,
        "nitrogen": _class(s.cn, ((22, "rich"), (45, "middle"), (80, "poor")), "very poor"),
        "size": _class(s.volume_m3, ((0.5, "tiny"), (0.95, "small")), "enough"),
        "height": _class(s.height_m, ((2.5, "low"),), "tall"),
        "age": _class(s.age_d, ((7, "first week"),), "later"),
        "warmed": _class(_above(s), ((15, "never"), (30, "lukewarm")), "hot"),
        "season": _class(s.air_c, ((0, "frost"), (5, "cool")), "mild"),
        "turned": _class(s.days_since_turn, ((3, "just now"),), "not lately"),
        "answer": _class(s.rose_after_turn_c, ((5, "stays"),), "warms again")
        if s.days_since_turn is None or s.days_since_turn >= 3
        else None,
        "core_heat": _class(
            s.core_c, ((40, "below 40"), (55, "40 to 55"), (70, "55 to 70")), "above 70"
        ),
        "trend": None if s.rising is None else "rising" if s.rising else "falling",
        "rain": _class(s.rain_mm_week, ((25, "little"),), "much"),
        "sisters": _class(_apart(s), ((12, "alike"),), "far apart"),
        "band": _band(s),
        "fineness": None if s.fine is None else "fine" if s.fine else "coarse",
        "food": None if s.fast_food is None else "fast" if s.fast_food else "ordinary",
        "fertilised": None if s.fertilised is None else "yes" if s.fertilised else "no",
    }
    return {name: outcome for name, outcome in made.items() if outcome is not None}


def _class(number: float | None, below: tuple[tuple[float, str], ...], else_: str) -> str | None:
    """The first name whose bound *number* lies below."""
    if number is None:
        return None
    return next((name for bound, name in below if number < bound), else_)


def _skin(s: Seen) -> str | None:
    if s.squeeze_skin is None or s.squeeze_core is None:
        return None
    wettest_first = list(squeeze_bands())
    steps = wettest_first.index(s.squeeze_core) - wettest_first.index(s.squeeze_skin)
    return "wetter" if steps > 1 else "alike"


def _band(s: Seen) -> str | None:
    if s.squeeze_band is None:
        return None
    return "damp" if _SQUEEZES[s.squeeze_band] in ("right", "wet") else "dry"


def _above(s: Seen) -> float | None:
    return None if s.peak_c is None or s.air_c is None else s.peak_c - s.air_c


def _apart(s: Seen) -> float | None:
    return None if s.other_spots_c is None or s.core_c is None else abs(s.other_spots_c - s.core_c)


@functools.cache
def _table() -> dict[str, Any]:
    text = resources.files("heapwright.planning").joinpath("symptoms.toml").read_text("utf-8")
    return tomllib.loads(text)


@functools.cache
def _chance(finding: str, cause: str) -> dict[str, float]:
    """How likely each outcome of a finding is with a cause."""
    entry = _table()["finding"][finding]
    weights = entry["weights"].get(cause, {})
    raw = {outcome: usual * weights.get(outcome, 1.0) for outcome, usual in entry["usual"].items()}
    whole = sum(raw.values())
    return {outcome: number / whole for outcome, number in raw.items()}


def _next_test(causes: tuple[Cause, ...], done: Mapping[str, str]) -> NextTest | None:
    """The finding not looked at yet that tells most about the first two causes for its minutes."""
    first, second = causes[:2]
    share = first.chance / (first.chance + second.chance)
    best: NextTest | None = None
    most = 0.02
    for name, entry in _table()["finding"].items():
        if name in done:
            continue
        one, other = _chance(name, first.name), _chance(name, second.name)
        bits = _entropy(share)
        for outcome in entry["usual"]:
            met = share * one[outcome] + (1.0 - share) * other[outcome]
            if met > 0.0:
                bits -= met * _entropy(share * one[outcome] / met)
        worth = bits / (1.0 + entry["minutes"] / _PATIENCE_MIN)
        if worth > most:
            most = worth
            best = NextTest(name, entry["how"], float(entry["minutes"]), bits)
    return best


def _entropy(share: float) -> float:
    return -sum(p * math.log2(p) for p in (share, 1.0 - share) if p > 0.0)
