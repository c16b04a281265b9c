"""What a simulated heap says: the table at the probe spots, key findings and cautions in words.

Units: degrees C, days of heap age, %, litres, kg. Conventions: in sentences temperatures are
rounded to 5 C and days to whole days, because a model knows no better; tables keep whole degrees so
that heaps can be compared. Limits of heat stand in ``values/caution.toml``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from heapwright.engine.run import Run
from heapwright.science.values import value
from heapwright.services.simulating import Simulated

__all__ = [
    "CORE", "DAYS", "NOT_MEASURED", "Row", "account_rows", "cautions", "compared",
    "findings", "heap_rows", "shown_days", "to_json",
]  # fmt: skip

#: ages shown in the table [d]
DAYS = (1, 2, 3, 5, 7, 10, 14, 21, 28, 42, 56, 70, 90, 120, 150, 180, 270, 365)
#: the row that is no spot
CORE = "inner third"
NOT_MEASURED = (
    "A simulation, not a measurement: take each figure as give or take 5 degrees or more, and a "
    "difference of less than 5 degrees between heaps as none."
)
_ROUND = 5


@dataclass(frozen=True, slots=True)
class Row:
    """One spot of one heap: temperature at each day shown [C], its highest and the day of it."""

    heap: str
    spot: str
    temp_c: tuple[float, ...]
    highest_c: float
    highest_d: float


def shown_days(run: Run) -> tuple[float, ...]:
    """The days of the table that were simulated; the last one where it is a day or more."""
    done = run.days_done
    return tuple(float(d) for d in DAYS if d <= done + 1e-6) or (round(done, 2),)


def heap_rows(made: Simulated, days: Sequence[float]) -> list[Row]:
    """The inner third, every probe spot, and the air."""
    run = made.run
    series = [(CORE, run.curves["core_c"])]
    series += [(name, kept["temp_c"]) for name, kept in run.spots.items()]
    series.append(("air", run.curves["air_c"]))
    rows = []
    for spot, temps in series:
        peak = int(np.argmax(temps))
        at = tuple(float(t) for t in np.interp(np.asarray(days) * 24, run.hours, temps))
        rows.append(Row(made.name, spot, at, float(temps[peak]), float(run.hours[peak]) / 24))
    return rows


# --- in words ------------------------------------------------------------------------------------


def findings(made: Simulated) -> list[str]:
    """Key findings of one heap: heat, air, water, what is left; first of all if it was stopped."""
    run, case = made.run, made.job.case
    said = []
    if not run.complete:
        said.append(
            f"Stopped on day {run.days_done:.1f} of {run.days:g}: what follows holds until then"
        )
    named = f"Heap {case.name}" + (f" ({case.way})" if case.way else "")
    return [*said, f"{named}: {_heat(run)}", _cooling(run), _air(run), _water(run), _left(run)]


def _five(temp_c: float) -> int:
    return _ROUND * round(temp_c / _ROUND)


def _heat(run: Run) -> str:
    series = {name: kept["temp_c"] for name, kept in run.spots.items()}
    series = series or {CORE: run.curves["core_c"]}
    spot = max(series, key=lambda name: float(series[name].max()))
    temps = series[spot]
    peak = int(temps.argmax())
    excess = float((temps - run.curves["air_c"]).max())
    if excess < 10:
        return f"hardly heats; no probe spot gets more than {excess:.0f} degrees above air"
    said = f"hottest at spot {spot}, about {_five(temps[peak])} C on {_day(run.hours[peak])}"
    hot = _days_where(run, temps > 55)
    if hot >= 0.5:
        said += f"; above 55 C there for about {_days(hot)}"
    share = float(run.curves["above_55"].max())
    if share >= 0.01:
        said += f"; at most {share * 100:.0f} % of the heap is above 55 C at once"
    return said


def _cooling(run: Run) -> str:
    above = run.curves["core_c"] - run.curves["air_c"]
    daily = _daily(run, above)
    warm = np.flatnonzero(daily > 5)
    if warm.size == 0:
        return "Its inner third never stays 5 degrees above air for a day"
    last = int(warm[-1])
    if last >= daily.size - 1:
        return (
            f"At the end, day {run.days_done:.0f}, its inner third is still about "
            f"{max(_five(float(daily[-1])), 5)} degrees above air"
        )
    return f"Its inner third is back within 5 degrees of the air from {_day((last + 1) * 24)} on"


def _air(run: Run) -> str:
    core, least = run.curves["o2_core"], run.curves["o2_least"]
    low = int(core.argmin())
    said = (
        f"Least oxygen in the inner third: {core[low] * 100:.0f} % on {_day(run.hours[low])} (the "
        "air outside holds 21 %)"
    )
    if float(least.min()) < 0.01 <= float(core.min()):
        said += "; some part of the heap has none for a while"
    return said


def _water(run: Run) -> str:
    first, last = run.curves["core_moisture_wb"][[0, -1]] * 100
    crust = run.curves["crust_moisture_wb"][-1] * 100
    said = (
        f"Water in the inner third goes from {first:.0f} to {last:.0f} %, in the crust to "
        f"{crust:.0f} %"
    )
    given = [
        (run.totals.get("rain_kg", 0.0), "rain"), (run.totals.get("watered_kg", 0.0), "hose")
    ]  # fmt: skip
    parts = [f"{_litres(kg)} L by {name}" for kg, name in given if kg >= 1]
    drained = run.totals.get("drained_kg", 0.0)
    if parts:
        said += f"; it gets {' and '.join(parts)}"
        said += f", of which {_litres(drained)} L drain away" if drained >= 1 else ""
    return said


def _left(run: Run) -> str:
    dry, volume = run.curves["dry_kg"], run.curves["volume_m3"]
    lost = 100 * (1 - float(dry[-1] / dry[0]))
    digits = 0 if volume[0] >= 20 else 1 if volume[0] >= 0.8 else 2
    sinks = f"{volume[0]:.{digits}f} to {volume[-1]:.{digits}f} m3"
    return f"Dry mass lost: {lost:.0f} %; it sinks from {sinks}"


def compared(made: Sequence[Simulated]) -> list[str]:
    """Heaps against each other by their mean degrees above air at the spots; "" for one heap."""
    if len(made) < 2:
        return []
    until = min(m.run.days_done for m in made)
    means = {m.name: _mean_excess(m.run, until) for m in made}
    listed = ", ".join(
        f"{m.name}{f' ({m.job.case.way})' if m.job.case.way else ''} {means[m.name]:.0f}"
        for m in made
    )
    spread = max(means.values()) - min(means.values())
    said = [f"Mean degrees above air at the spots over {until:.0f} days: {listed}"]
    said.append(
        "They differ by less than 5 degrees, which such a simulation cannot tell from none"
        if spread < 5
        else f"They differ by up to {spread:.0f} degrees; below 5 it cannot be told from none"
    )
    return said


def _mean_excess(run: Run, until_d: float) -> float:
    keep = run.hours <= until_d * 24 + 1e-6
    series = [kept["temp_c"] for kept in run.spots.values()] or [run.curves["core_c"]]
    return float(np.mean([(s - run.curves["air_c"])[keep].mean() for s in series]))


def cautions(made: Sequence[Simulated]) -> list[str]:
    """What has to be said where heat can hurt, by the hottest cell of all heaps."""
    top = max((float(m.run.curves["max_c"].max()) for m in made), default=0.0)
    steam, watch, act = (value("caution", key).value for key in ("steam_c", "watch_c", "act_c"))
    said = []
    if top >= steam:
        said.append(
            f"Care: parts of it pass {steam:.0f} C. The steam of an opened heap scalds: stand "
            "back, with gloves and sleeves, and let it blow off before you reach in"
        )
    if top >= watch:
        said.append(
            f"Above {watch:.0f} C read it every day and keep it moist; wet it before you open it. "
            "The simulator knows only living heat, so it never rules out a fire "
            f"({value('caution', 'watch_c').source})"
        )
    if top >= act:
        said.append(
            f"Above {act:.0f} C act at once: water at hand, never alone, no digging in, and the "
            "fire service if it smokes or smells burnt"
        )
    return said


def account_rows(made: Simulated) -> list[tuple[str, str, str]]:
    """Accounts of a heap: what, held at first and at last with unit, and the error."""
    rows = []
    scales = {"J": ("MJ", 1e-6)}
    for name, account in made.run.ledger.accounts().items():
        unit, factor = scales.get(account.unit, (account.unit, 1.0))
        if not account.terms:
            continue
        held = f"{account.start * factor:.3g} to {account.now * factor:.3g} {unit}"
        rows.append((name, held, account.error_in_words))
    return rows


def to_json(made: Sequence[Simulated]) -> dict[str, Any]:
    """Everything that is shown, as plain JSON values."""
    heaps = []
    for m in made:
        run, case = m.run, m.job.case
        days = shown_days(run)
        heaps.append(
            {
                "heap": case.name,
                "trial": case.trial,
                "way": case.way,
                "invented": case.invented,
                "built": case.built.isoformat(),
                "complete": run.complete,
                "days_asked_for": run.days,
                "days": round(run.days_done, 3),
                "table_days": list(days),
                "spots": {
                    r.spot: {
                        "temp_c": [round(t, 1) for t in r.temp_c],
                        "highest_c": round(r.highest_c, 1),
                        "highest_d": round(r.highest_d, 2),
                    }
                    for r in heap_rows(m, days)
                },
                "findings": findings(m),
                "accounts": {n: a.error for n, a in run.ledger.accounts().items()},
                "assumed": list(m.job.assumed),
                "weather": list(run.sources),
                "kinetics": run.kinetics,
                "files": [str(f) for f in m.files],
            }
        )
    return {
        "heaps": heaps, "compared": compared(made), "cautions": cautions(made),
        "said": NOT_MEASURED,
    }  # fmt: skip


# --- small things --------------------------------------------------------------------------------


def _daily(run: Run, values: Any) -> Any:
    """Mean of every whole day; of all there is when it is less than a day."""
    day = np.minimum((run.hours / 24 + 1e-9).astype(int), max(int(run.days_done - 1e-6), 0))
    return np.bincount(day, values) / np.maximum(np.bincount(day), 1)


def _days_where(run: Run, mask: Any) -> float:
    if run.hours.size < 2:
        return 0.0
    width = np.gradient(run.hours)
    return float(width[mask].sum() / 24)


def _day(hours: float) -> str:
    return f"day {max(1, round(hours / 24))}"


def _days(days: float) -> str:
    count = max(1, round(days))
    return f"{count} day{'s' if count != 1 else ''}"


def _litres(kg: float) -> str:
    step = 10 if kg >= 100 else 5 if kg >= 20 else 1
    return f"{step * round(kg / step):d}"
