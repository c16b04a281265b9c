"""The folder of a simulated heap: NetCDF, figures, tables and what to cite.

Units: as in the files, which name them. Conventions: every heap has a folder of its own name; each
file appears whole or not at all; a run that was stopped writes the same files and says so in them.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from pathlib import Path

from heapwright.domain.when import local_zone
from heapwright.engine.run import CURVES, SPOT_FIELDS, Run
from heapwright.exchange.files import write_whole
from heapwright.exchange.netcdf import dataset_of, write_netcdf
from heapwright.reports.pictures import Picture
from heapwright.services.simulating import Job, Simulated
from heapwright.services.simwords import heap_rows, shown_days

__all__ = ["folder_for", "heap_pictures", "write_heap", "write_table"]


def folder_for(trial: str) -> str:
    """The name of a folder when none is given.

    >>> folder_for("Ferncombe 2026")
    'ferncombe-2026-simulated'
    """
    return f"{_plain(trial.lower()) or 'heap'}-simulated"


def write_heap(job: Job, run: Run, out: Path, *, now: datetime | None = None) -> tuple[Path, ...]:
    """Write everything about one run to ``out/HEAP``; returns the files.

    run.nc, curves.csv, curves / section-x / section-y / ledgers as .svg and .png, cite.txt.
    Raises `InputError` when they cannot be written.
    """
    import heapwright

    case = job.case
    folder = out / (_plain(case.name) or "heap")
    made = f"{now.isoformat()}: " if now is not None else ""
    lat, lon = job.place.latitude_deg, job.place.longitude_deg
    invented = "INVENTED: " if case.invented else ""
    title = f"{invented}heap {case.name} of {case.trial}" + (f", {case.way}" if case.way else "")
    files = [
        write_netcdf(
            dataset_of(
                run, built=case.built, title=f"Simulated {title}",
                history=f"{made}heapwright {heapwright.__version__} simulate",
                place=(lat, lon) if lat is not None and lon is not None else None,
                notes=[f"assumed: {a}" for a in job.assumed],
            ),
            folder / "run.nc",
        ),
        write_whole(folder / "curves.csv", _curves(job, run)),
    ]  # fmt: skip
    files += _figures(job, run, folder)
    files.append(write_whole(folder / "cite.txt", _cite(job, run, title)))
    return tuple(files)


def write_table(made: Sequence[Simulated], out: Path) -> Path:
    """The table at the probe spots of all heaps as ``out/table.csv``, one row a heap and spot."""
    days = max((shown_days(m.run) for m in made), key=len)
    rows: list[list[str]] = [
        ["heap", "way", "spot", *[f"day {d:g} [C]" for d in days], "highest [C]", "on day",
         "complete"]
    ]  # fmt: skip
    for m in made:
        mine = shown_days(m.run)
        for r in heap_rows(m, mine):
            temps = dict(zip(mine, r.temp_c, strict=True))
            rows.append(
                [r.heap, m.job.case.way, r.spot,
                 *[f"{temps[d]:.1f}" if d in temps else "" for d in days],
                 f"{r.highest_c:.1f}", f"{r.highest_d:.1f}", "yes" if m.run.complete else "no"]
            )  # fmt: skip
    return write_whole(out / "table.csv", _csv(rows))


# --- parts ---------------------------------------------------------------------------------------


def heap_pictures(job: Job, run: Run) -> dict[str, Picture]:
    """Curves, sections along and across, and accounts of a simulated heap, by name."""
    from heapwright.reports.heap_figures import heap_curves
    from heapwright.reports.heap_ledgers import heap_ledgers
    from heapwright.reports.heap_sections import heap_sections

    case = job.case
    title = f"Heap {case.name}" + (f" ({case.way})" if case.way else "")
    note = "INVENTED." if case.invented else ""
    built = case.built.astimezone(local_zone(case.zone)).replace(tzinfo=None)
    return {
        "curves": heap_curves(
            run, title=title, built=built, read=case.read, note=note, prefix=f"curves-{case.name}"
        ),
        "section-x": heap_sections(
            run, along="x", title=title, note=note, prefix=f"section-x-{case.name}"
        ),
        "section-y": heap_sections(
            run, along="y", title=title, note=note, prefix=f"section-y-{case.name}"
        ),
        "ledgers": heap_ledgers(run, title=title, note=note, prefix=f"ledgers-{case.name}"),
    }


def _figures(job: Job, run: Run, folder: Path) -> list[Path]:
    files = []
    for name, made in heap_pictures(job, run).items():
        files.append(write_whole(folder / f"{name}.svg", made.svg))
        files.append(write_whole(folder / f"{name}.png", made.png))
    return files


def _curves(job: Job, run: Run) -> str:
    """Every kept moment as a row: age, time, curves of the heap, and each spot."""
    head = ["age [h]", "time [UTC]"]
    head += [f"{name} [{unit}]" for name, (unit, _) in CURVES.items()]
    head += [f"{s} {name} [{unit}]" for s in run.spots for name, (unit, _) in SPOT_FIELDS.items()]
    rows = [head]
    for k, hours in enumerate(run.hours):
        moment = job.case.built + timedelta(hours=float(hours))
        row = [f"{hours:.2f}", f"{moment:%Y-%m-%dT%H:%M:%SZ}"]
        row += [f"{run.curves[name][k]:.6g}" for name in CURVES]
        row += [f"{run.spots[s][name][k]:.6g}" for s in run.spots for name in SPOT_FIELDS]
        rows.append(row)
    return _csv(rows)


def _cite(job: Job, run: Run, title: str) -> str:
    lines = [title[:1].upper() + title[1:], "", run.cite(), "", "Taken for granted:"]
    lines += [f"- {a}" for a in job.assumed] or ["- nothing"]
    if run.notes:
        lines += ["", "To know:", *[f"- {n}" for n in run.notes]]
    return "\n".join(lines) + "\n"


def _csv(rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _plain(name: str) -> str:
    return re.sub(r"[^\w.-]+", "-", name).strip("-_.")
