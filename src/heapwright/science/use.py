"""What compost may be used for by its tests, how far it goes, and what it does to nitrogen.

Units: m3, m2, m; fractions 0 to 1; carbon over nitrogen by mass. Conventions: ranges run with what
they are made of; of several tests the worst decides, and a test that is missing is named, never
taken as passed. Numbers stand in ``use.toml`` with their sources.
"""

from __future__ import annotations

import functools
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Literal

from heapwright.errors import QuantityError
from heapwright.science.finish import STAGES
from heapwright.units import Ranged, quantity

__all__ = [
    "USES", "Answer", "Limit", "Result", "after_sinking_m", "break_even_cn", "covers_m2", "limit",
    "limits", "nitrogen_free_g_kg", "nitrogen_words", "suits",
]  # fmt: skip

Use = Literal["mulch", "bed", "pots", "seedlings"]
#: uses, what asks least first
USES: tuple[Use, ...] = ("mulch", "bed", "pots", "seedlings")
#: the latest stage (of `heapwright.science.finish.STAGES`) that a use allows; mulch asks for none
_ASKS = {"bed": 1, "pots": 0, "seedlings": 0}


@dataclass(frozen=True, slots=True)
class Limit:
    """One number of ``use.toml`` with its range, source, edition and how far it was read."""

    key: str
    value: float
    low: float
    high: float
    source: str
    edition: str
    where: str
    seen: str

    @property
    def ranged(self) -> Ranged:
        """The number with its range."""
        return Ranged(self.value, self.low, self.high)

    @property
    def sourced(self) -> str:
        """Source and edition, with "from memory" where nobody here read it."""
        edition = "" if self.edition == "no edition" else f", {self.edition}"
        mark = ", from memory" if self.seen.startswith("memory") else ""
        return f"{self.source}{edition}{mark}"


@functools.cache
def limits() -> Mapping[str, Limit]:
    """All numbers of ``use.toml`` by key."""
    text = resources.files("heapwright.science").joinpath("use.toml").read_text("utf-8")
    return {
        key: Limit(
            key, row["value"], row.get("low", row["value"]), row.get("high", row["value"]),
            row["source"], row["edition"], row["where"], row["seen"],
        )
        for key, row in tomllib.loads(text).items()
    }  # fmt: skip


def limit(key: str) -> Limit:
    """One of them."""
    return limits()[key]


# --- how far it goes ------------------------------------------------------------------------------


def covers_m2(volume_m3: Ranged, depth_m: Ranged) -> Ranged:
    """The ground [m2] that a volume [m3] covers at a depth [m, 0.001 to 5].

    Raises `QuantityError` for a depth that is no layer.

    Examples
    --------
    >>> covers_m2(Ranged(1.0, 0.9, 1.1), Ranged.exact(0.05))
    Ranged(typical=20.0, low=18.0, high=22.0)
    """
    if not 0.001 <= depth_m.low <= depth_m.high <= 5.0:
        raise QuantityError("a layer is from a millimetre to 5 m deep", field="depth",
                            value=f"{depth_m.typical:g} m", way_out='As in "5 cm"')  # fmt: skip
    return Ranged(
        volume_m3.typical / depth_m.typical, volume_m3.low / depth_m.high,
        volume_m3.high / depth_m.low,
    )  # fmt: skip


def after_sinking_m(depth_m: Ranged, sinking: Ranged | None = None) -> Ranged:
    """The depth [m] left of a layer after a season.

    sinking : fraction of the depth that is lost, 0 to below 1; the usual one if left out.

    Examples
    --------
    >>> after_sinking_m(Ranged.exact(0.08), Ranged(0.25, 0.125, 0.5))
    Ranged(typical=0.06, low=0.04, high=0.07)
    """
    lost = sinking or limit("sinking").ranged
    return Ranged(
        depth_m.typical * (1 - lost.typical), depth_m.low * (1 - lost.high),
        depth_m.high * (1 - lost.low),
    )  # fmt: skip


# --- nitrogen -------------------------------------------------------------------------------------


def break_even_cn(built_in: float | None = None, microbes_cn: float | None = None) -> float:
    """Carbon over nitrogen at which microbes neither need nitrogen nor let it go.

    built_in : share of the carbon eaten that they build in (0 to 1, not 0); microbes_cn : their own
    carbon over nitrogen. Brady and Weil, see ``use.toml``: 8 over a third is 24.

    Examples
    --------
    >>> round(break_even_cn(), 6)
    24.0
    """
    share = limit("carbon_built_in").value if built_in is None else built_in
    return (limit("cn_microbes").value if microbes_cn is None else microbes_cn) / share


def nitrogen_free_g_kg(cn: float, built_in: float | None = None) -> float:
    """Nitrogen [g] set free for each kg of carbon that is eaten; below 0 it is taken from the soil.

    cn : of what is dug in, 0.5 to 2000. From the same two numbers: 1000 (1/cn - 1/break even).

    Examples
    --------
    >>> round(nitrogen_free_g_kg(12.0), 3), round(nitrogen_free_g_kg(48.0), 3)
    (41.667, -20.833)
    """
    quantity("cn_ratio").check(cn, field="cn")
    return 1000.0 * (1.0 / cn - 1.0 / break_even_cn(built_in))


def nitrogen_words(cn: float | None) -> str:
    """What compost does to the nitrogen of the soil, as a sentence.

    Examples
    --------
    >>> nitrogen_words(15.0)
    'C:N 15: dug in it sets nitrogen free, slowly.'
    """
    if cn is None:
        return "What it does to nitrogen is not known: C:N was not measured."
    quantity("cn_ratio").check(cn, field="cn")
    if cn < limit("cn_releases").value:
        return f"C:N {cn:.0f}: dug in it sets nitrogen free, slowly."
    if cn <= limit("cn_ties_up").value:
        return f"C:N {cn:.0f}: dug in it neither gives nor takes much nitrogen at first."
    woody = " Woody as it is, lay it on top." if cn >= limit("woody_cn").value else ""
    return (
        f"C:N {cn:.0f}: dug in it ties nitrogen up until it has rotted further; on top as mulch "
        f"it does so only where it touches the soil.{woody}"
    )


# --- what the tests allow -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Result:
    """What one test says of a heap.

    name, said : the test and its value, in words; group : ``rotting``, ``plants`` or ``other``;
    stage : index into `heapwright.science.finish.STAGES`; sown : seeds were sown in the compost.
    """

    name: str
    said: str
    group: str
    stage: int
    sown: bool = False

    def __str__(self) -> str:
        return f"{self.name} {self.said}: {STAGES[self.stage]}"


@dataclass(frozen=True, slots=True)
class Answer:
    """For one use: ``yes``, ``not yet``, ``not tested`` or ``no``, and why."""

    use: Use
    answer: Literal["yes", "not yet", "not tested", "no"]
    why: str


def suits(
    tests: Sequence[Result],
    barred: Mapping[str, str] | None = None,
    held: Mapping[str, str] | None = None,
) -> tuple[Answer, ...]:
    """What the tests allow, use by use; the worst test decides.

    barred, held : uses that are ruled out, or held back for now, and why.

    Examples
    --------
    >>> cress = Result("seedlings", "as in the control", "plants", 0, sown=True)
    >>> warm = Result("reheating", "24 C", "rotting", 2)
    >>> [f"{a.use} {a.answer}" for a in suits([cress, warm])]
    ['mulch yes', 'bed not yet', 'pots not yet', 'seedlings not yet']
    >>> [f"{a.use} {a.answer}" for a in suits([])]
    ['mulch yes', 'bed not tested', 'pots not tested', 'seedlings not tested']
    """
    return tuple(
        _suits(use, tests, (barred or {}).get(use, ""), (held or {}).get(use, "")) for use in USES
    )


def _suits(use: Use, tests: Sequence[Result], barred: str, held: str) -> Answer:
    if barred:
        return Answer(use, "no", barred)
    if held:
        return Answer(use, "not yet", held)
    if use == "mulch":
        return Answer(use, "yes", "mulch asks for no ripeness; it may still warm and smell")
    worse = [t for t in tests if t.stage > _ASKS[use]]
    if worse:
        return Answer(use, "not yet", "; ".join(map(str, worse)))
    groups = {t.group for t in tests}
    missing = [
        said for there, said in (
            ("rotting" in groups, "whether it still rots"),
            ("plants" in groups, "whether plants bear it"),
            (use != "seedlings" or any(t.sown for t in tests), "a sowing in it"),
        ) if not there
    ]  # fmt: skip
    if missing:
        return Answer(use, "not tested", "missing: " + ", ".join(missing))
    return Answer(use, "yes", "; ".join(map(str, tests)))
