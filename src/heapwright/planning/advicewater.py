"""Is a heap too dry or too wet inside, and how many litres would it take.

Units: moisture on wet basis, kg, litres. Conventions: what was squeezed goes before what was
fitted, for core and rest each by itself.
"""

from __future__ import annotations

from heapwright.planning.advicefacts import Change, Situation
from heapwright.planning.sizing import squeeze_moisture

__all__ = [
    "DRY_WB", "WET_WB", "core_moisture", "is_dry", "is_wet", "kept_open", "kept_over", "litres",
    "rest_moisture",
]  # fmt: skip

#: Too dry below, too wet above (CWMI Cornell compost pages: 40 to 60 %; LSU AgCenter 3838-D: 65 %).
DRY_WB, WET_WB = 0.40, 0.65
#: Share of water from above that stays where nothing is known of it (own choice), and the least
#: that is reckoned with: a smaller one would ask for a flood (own choice).
USUALLY_KEPT, LEAST_KEPT = 0.5, 0.1
#: Volume of the core as a share of the heap, as in `heapwright.engine.recording`.
_CORE = 1.0 / 3.0
_DRY_HANDS = ("crumbles", "no_ball", "dusty")


def litres(s: Situation) -> float | None:
    """Litres that have to stay in core and rest to bring what is too dry to the target; None where
    moisture or mass is not known.

    >>> half = Change(0.5, 0.5, 0.5)
    >>> round(litres(Situation(heap="A", dry_kg=300.0, core_wb=Change(0.3, 0.3, 0.3),
    ...                        rest_wb=half, target_wb=0.5)))
    57
    """
    core, rest = core_moisture(s), rest_moisture(s)
    if core is None or s.dry_kg is None:
        return None
    wanted = _ratio(s.target_wb)
    around = core if rest is None else rest
    return s.dry_kg * (
        _CORE * max(wanted - _ratio(core.mean), 0.0)
        + (1.0 - _CORE) * max(wanted - _ratio(around.mean), 0.0)
    )


def core_moisture(s: Situation) -> Change | None:
    """Moisture of the core: as squeezed, else as fitted."""
    return s.core_wb if s.squeeze is None else _squeezed(s.squeeze)


def rest_moisture(s: Situation) -> Change | None:
    """Moisture of what lies around the core: as squeezed at the skin, else as fitted."""
    return s.rest_wb if s.squeeze_skin is None else _squeezed(s.squeeze_skin)


def is_dry(s: Situation) -> bool | None:
    """Too dry inside; None where that is open."""
    if s.squeeze is not None:
        return s.squeeze in _DRY_HANDS
    if s.core_wb is None or s.core_wb.low < DRY_WB <= s.core_wb.high:
        return None
    return s.core_wb.high < DRY_WB


def is_wet(s: Situation) -> bool:
    """Surely too wet inside."""
    if s.squeeze is not None:
        return s.squeeze == "streams"
    return s.core_wb is not None and s.core_wb.low > WET_WB


def kept_over(s: Situation) -> float:
    """Share of water over the top that stays, as learned."""
    return min(max(USUALLY_KEPT if s.kept is None else s.kept, LEAST_KEPT), 1.0)


def kept_open(s: Situation) -> float:
    """Share that stays when a heap is opened and wetted by layers: what runs through one layer
    meets another, taken as once more (own choice).

    >>> round(kept_open(Situation(heap="A", kept=0.3)), 2)
    0.51
    """
    return 1.0 - (1.0 - kept_over(s)) ** 2


def _squeezed(band: str) -> Change:
    told = squeeze_moisture(band, woody=True)
    return Change(told.typical, told.low, told.high)


def _ratio(wet_basis: float) -> float:
    return wet_basis / (1.0 - wet_basis)
