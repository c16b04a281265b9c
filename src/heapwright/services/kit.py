"""A kit with which anyone can do the sums of a trial again: its data and an R script beside them.

Units: as in the findings, kept units (degrees C, fractions). Conventions: plain CSV; the script
uses nothing but base R, takes readings to heap values and those to intervals, and says whether it
came to the same numbers; nothing is claimed in it that the findings do not claim.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from datetime import datetime
from importlib import resources
from pathlib import Path

from heapwright.errors import InputError
from heapwright.services.findings import Findings, assumed_spread, find
from heapwright.services.heapvalues import counted_in, window_of
from heapwright.services.record import TrialRecord
from heapwright.stats.air import ROUND_SLACK_D
from heapwright.stats.outcomes import outcome
from heapwright.stats.prior import air_memory_d
from heapwright.store.book import Book

__all__ = ["write_kit"]

_SCRIPT = "recompute.R"


def write_kit(book: Book, trial: str, folder: Path, *, now: datetime) -> tuple[Path, ...]:
    """Write the kit of a trial into *folder* and return its files; counted as one look.

    Raises
    ------
    UnknownNameError, NotEnoughError
        No such trial, or no locked plan.
    InputError
        The folder is there and holds something else, or cannot be written.
    """
    found = find(book, trial, now=now)
    tables = {
        "heaps.csv": (("heap", "way", "block"), _heaps(found.record)),
        "readings.csv": (("heap", "spot", "age_d", "temp_c"), _readings(found.record)),
        "air.csv": (("heap", "age_d", "temp_c"), _air(found.record)),
        "values.csv": (("outcome", "heap", "value", "exposure"), _values(found)),
        "outcomes.csv": (
            ("outcome", "model", "informed", "control", "from_d", "to_d"), _outcomes(found)
        ),
        "settings.csv": (("name", "value"), _settings(found.record)),
        "said.csv": (("outcome", "way", "estimate", "low", "high"), _said(found)),
    }  # fmt: skip
    script = resources.files("heapwright.exchange").joinpath("kit", _SCRIPT)
    _refuse_foreign(folder, {*tables, _SCRIPT, "README.txt", "recomputed.csv"})
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, (head, rows) in tables.items():
            _write(folder / name, head, rows)
        (folder / _SCRIPT).write_text(script.read_text(encoding="utf-8"), encoding="utf-8")
        (folder / "README.txt").write_text(_readme(found), encoding="utf-8")
    except OSError as error:
        raise InputError(
            f"the kit cannot be written ({error.strerror})", field="--out", value=str(folder),
            way_out="Name a folder that may be written",
        ) from None  # fmt: skip
    return tuple(folder / name for name in (*tables, _SCRIPT, "README.txt"))


def _refuse_foreign(folder: Path, own: set[str]) -> None:
    if folder.exists() and (not folder.is_dir() or {p.name for p in folder.iterdir()} - own):
        raise InputError(
            "this is there already and holds something else", field="--out", value=str(folder),
            way_out="Name a new folder",
        )  # fmt: skip


def _write(path: Path, head: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(head)
        out.writerows(rows)


def _heaps(record: TrialRecord) -> list[Sequence[object]]:
    return [
        (h.name, h.heap.way, h.heap.block or "")
        for h in record.heaps.values()
        if h.heap.way is not None
    ]


def _readings(record: TrialRecord) -> list[Sequence[object]]:
    return [
        (h.name, r.spot, repr(h.age_d(r.when.middle)), repr(r.value))
        for h in record.heaps.values()
        if h.built is not None
        for r in h.readings
        if r.quantity == "temp_c"
    ]


def _air(record: TrialRecord) -> list[Sequence[object]]:
    return [
        (h.name, repr(age), repr(temp))
        for h in record.heaps.values()
        if h.built is not None
        for age, temp in zip(*(record.air_for(h) or ((), ())), strict=True)
    ]


def _values(found: Findings) -> list[Sequence[object]]:
    rows: list[Sequence[object]] = []
    for key, per_heap in found.values.items():
        exposure = counted_in(found.record, key) if outcome(key).model in ("share", "rate") else {}
        rows += [(key, h, repr(v), repr(exposure.get(h, 1.0))) for h, v in per_heap.items()]
    return rows


def _outcomes(found: Findings) -> list[Sequence[object]]:
    low, high = window_of(found.record, ended=found.ended)
    return [
        (key, outcome(key).model, int(outcome(key).informed), found.record.plan.locked.control,
         repr(low), repr(high))
        for key in found.values
    ]  # fmt: skip


def _settings(record: TrialRecord) -> list[Sequence[object]]:
    prior = assumed_spread(record)
    return [
        ("s0_c", repr(prior.s0_c)), ("nu0", repr(prior.nu0)), ("va", repr(prior.va)),
        ("air_memory_d", repr(air_memory_d())), ("slack_d", repr(ROUND_SLACK_D)),
    ]  # fmt: skip


def _said(found: Findings) -> list[Sequence[object]]:
    return [
        (c.outcome, c.way, repr(c.estimate), "" if c.low is None else repr(c.low),
         "" if c.high is None else repr(c.high))
        for c in found.comparisons
    ]  # fmt: skip


def _readme(found: Findings) -> str:
    plan = found.record.plan
    invented = "INVENTED DATA: nobody built these heaps.\n" if plan.trial.invented else ""
    return (
        f"{found.record.name}: {plan.locked.question}\n{invented}"
        f"Fingerprint {plan.fingerprint}, locked on {plan.locked_on:%Y-%m-%d}, ends "
        f"{plan.locked.ends:%Y-%m-%d}.\n"
        + ("" if found.ended else "Before the end date: no ranges and no claims yet.\n")
        + "\nTo do the sums again:  Rscript recompute.R\n"
        "It goes from the readings to one number a heap, from those to the ranges, and says "
        "whether it came to the same numbers as said.csv. Every table is explained at the top of "
        "the script. Ages are days since the heap was built; way less control.\n"
        + "".join(f"\n{c.headline}" for c in found.comparisons)
        + "\n"
    )
