"""The mix of a trial for its report: whole numbers and ingredients, each with its range.

Units: as in the register, as text. Conventions: rounded to what is known; numbers that no source
was read for carry their mark.
"""

from __future__ import annotations

from typing import Any

from heapwright.domain.material import Mix
from heapwright.domain.trial import Trial
from heapwright.errors import HeapwrightError, sentence
from heapwright.reports.model import MixBlock, MixLine
from heapwright.units import Ranged, quantity

__all__ = ["mix_block"]

_NAMES = {
    "cn_ratio": "C:N", "moisture_wb": "moisture (of wet mass)", "bulk_density_kg_m3": "density",
    "free_air_frac": "free air space", "degradable_vs": "share of the solids that can rot",
    "oxygen_demand_kg_m3": "oxygen to rot all that can", "volume_m3": "volume",
    "wet_mass_kg": "mass as it lies", "dry_mass_kg": "dry mass", "nitrogen_dm": "nitrogen (of dry)",
    "carbon_dm": "carbon (of dry)", "vs_dm": "volatile solids (of dry)",
    "lignin_vs": "lignin (of volatile)",
}  # fmt: skip
_KEYS = {"wet_mass_kg": "mass_kg", "dry_mass_kg": "mass_kg"}


def mix_block(trial: Trial) -> tuple[MixBlock | None, str]:
    """The mix as planned, or why it cannot be described."""
    if not trial.ingredients:
        return None, "The plan names no ingredients, so nothing can be said about the mix."
    import numpy as np

    from heapwright.planning.mix import describe_mix

    try:
        mix = Mix(trial.ingredients, barrow_m3=trial.barrow_m3)
        summary = describe_mix(mix, rng=np.random.default_rng(trial.locked.seed))
    except HeapwrightError as error:
        return None, f"The mix cannot be described: {error.message}"
    numbers = tuple(
        (_NAMES[key], _ranged(getattr(summary, key), key))
        for key in (
            "cn_ratio", "moisture_wb", "bulk_density_kg_m3", "free_air_frac", "degradable_vs",
            "oxygen_demand_kg_m3", "volume_m3", "dry_mass_kg",
        )
    )  # fmt: skip
    lines = tuple(
        MixLine(
            name=line.name,
            read_as=line.read_as,
            amount=_amount(line.loads, line.volume_m3),
            notes=tuple(
                f"{line.name}, {_NAMES.get(k.key, k.key)}: {k.said}" for k in line.known if k.said
            ),
        )
        for line in summary.lines
    )
    return (
        MixBlock(
            sentence=_mix_said(summary),
            numbers=numbers,
            lines=lines,
            rows=_ingredient_rows(summary),
            against=tuple(sentence(s) for s in summary.against),
            warnings=tuple(sentence(s) for s in summary.warnings),
            assumptions=tuple(sentence(s) for s in summary.assumptions),
            sources=tuple(
                source if seen == "seen" or seen == "measured" else f"{source} ({_seen(seen)})"
                for source, seen in summary.sources
            ),
        ),
        "",
    )


def _ingredient_rows(summary: Any) -> tuple[tuple[str, tuple[tuple[str, bool], ...]], ...]:
    """One row a quantity, one (text, from memory) an ingredient."""
    known = [{k.key: k for k in line.known} for line in summary.lines]
    rows = []
    for key in dict.fromkeys(k for one in known for k in one):
        cells = tuple(
            (_ranged(one[key].value, key), one[key].from_memory) if key in one else ("–", False)
            for one in known
        )
        rows.append((_NAMES.get(key, key), cells))
    return tuple(rows)


def _mix_said(summary: Any) -> str:
    cn, wet = summary.cn_ratio, summary.moisture_wb
    named = " and ".join(line.name for line in summary.lines)
    return (
        f"All the material together ({named}) has a C:N of {cn.low:.0f} to {cn.high:.0f} and holds "
        f"{wet.low * 100:.0f} to {wet.high * 100:.0f} % water before any is added; nine in ten "
        "such mixes lie in these ranges."
    )


def _seen(seen: str) -> str:
    return "from memory" if seen.startswith("memory") else seen


def _amount(loads: Ranged | None, volume_m3: Ranged) -> str:
    said = f"{_ranged(volume_m3, 'volume_m3')}"
    if loads is None:
        return said
    count = f"{loads.typical:g}" if loads.is_exact else f"{loads.low:g} to {loads.high:g}"
    return f"{count} barrows, {said}"


def _ranged(value: Ranged, key: str) -> str:
    """A number with its range and one unit, as in "38 (29 to 52)"."""
    row = quantity(_KEYS.get(key, key))
    numbers = [v * row.shown_factor for v in (value.typical, value.low, value.high)]
    digits = next((d for limit, d in ((100, -1), (10, 0), (1, 1)) if numbers[0] >= limit), 2)
    typical, low, high = (f"{round(n, digits):.{max(digits, 0)}f}" for n in numbers)
    if value.is_exact or low == high:
        return f"{typical} {row.shown}".strip()
    return f"{typical} ({low} to {high}) {row.shown}".strip()
