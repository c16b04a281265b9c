"""What advice is made of: the situation of a heap, its trial, and a piece of advice.

Units: degrees C, days, litres, litres a minute, minutes; moisture on wet basis. Conventions: ranges
are the middle 80 % of the heaps that fit the readings. None stands for what nobody knows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from heapwright.planning.diagnosis import Cause, NextTest

__all__ = ["ACTS", "Advice", "Advised", "Change", "Situation", "TrialSide"]

#: Everything that can be advised; "moisten" is to open a heap and wet it while it is turned, and
#: pipes are only pulled when the plan says so.
ACTS = (
    "read", "turn", "moisten", "water", "open pipes", "plug pipes", "pull pipes", "cover",
    "uncover", "leave",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Change:
    """A figure, or the change of one against leaving the heap: mean, and its 80 % range."""

    mean: float
    low: float
    high: float

    @property
    def clear(self) -> bool:
        """The range excludes none at all."""
        return self.low > 0.0 or self.high < 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialSide:
    """What a running trial wants of a heap.

    name; heaps : all of it; way, kind : of this heap; control : the others are held against that
    way; equal_water : all heaps get the same; due : acts the plan asks for now, with the words of
    its calendar; next_turn : in words, as in "on 2 June", empty for none; ends : in words.
    """

    name: str
    heaps: tuple[str, ...]
    way: str
    kind: str
    control: bool = False
    equal_water: bool = True
    due: Mapping[str, str] = field(default_factory=dict)
    next_turn: str = ""
    ends: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Situation:
    """A heap as it is known.

    days : looked ahead; core_c, air_c : as read last; core_probable_c : as fitted, used without a
    reading; read_d : days since then; core_wb, rest_wb : moisture of the core and of what lies
    around it, as fitted; dry_kg : dry mass; target_wb : moisture aimed at; squeeze, squeeze_skin,
    smell : as in `heapwright.planning.diagnosis.Seen`; leave : figures of the days ahead if it is
    left; acts : what each possible act changes of them, by its name, with the names of
    `heapwright.inference.whatif.FIGURES`; kept : share of water from above that stays; hose_l_min;
    rain_mm_week; causes, test : of a diagnosis; next_look : in words; trial : None where no trial
    runs.
    """

    heap: str
    days: float = 14.0
    core_c: float | None = None
    core_probable_c: float | None = None
    air_c: float | None = None
    read_d: float | None = None
    core_wb: Change | None = None
    rest_wb: Change | None = None
    dry_kg: float | None = None
    target_wb: float = 0.55
    squeeze: str | None = None
    squeeze_skin: str | None = None
    smell: str | None = None
    leave: Mapping[str, Change] = field(default_factory=dict)
    acts: Mapping[str, Mapping[str, Change]] = field(default_factory=dict)
    kept: float | None = None
    hose_l_min: float | None = None
    rain_mm_week: float | None = None
    causes: tuple[Cause, ...] = ()
    test: NextTest | None = None
    next_look: str = ""
    trial: TrialSide | None = None

    @property
    def hot_c(self) -> float | None:
        """The core as read, else as fitted."""
        return self.core_c if self.core_c is not None else self.core_probable_c


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One piece of advice.

    act : one of `ACTS`; words : what to do; litres : to give in all, rounded; hose_min : for that,
    None where the flow is not known; buys : what it changes; why; caution : empty where the act
    meets no danger; breaks_trial : empty where it breaks nothing.
    """

    act: str
    words: str
    litres: float | None = None
    hose_min: float | None = None
    buys: str = ""
    why: str = ""
    caution: str = ""
    breaks_trial: str = ""


@dataclass(frozen=True, slots=True)
class Advised:
    """The answer: one sentence, and advice, first what comes first."""

    sentence: str
    items: tuple[Advice, ...]
