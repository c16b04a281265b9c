"""What is probably the matter with a heap, from what a keeper saw and typed.

Quantities come as people write them ("16 C", "61 F", "1.3 m3"); what was not looked at is left out.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from heapwright.planning.diagnosis import COMPLAINTS, QUANTITIES, Diagnosis, Seen, diagnose
from heapwright.units import parse

__all__ = ["COMPLAINTS", "Diagnosis", "judge", "judged_json"]


def judge(complaint: str, **facts: str | float | bool | None) -> Diagnosis:
    """Causes of a complaint, most likely first, and what to look at next.

    complaint : one of `COMPLAINTS`; facts : fields of `Seen`, numbers as text with their unit or in
    the unit of the field. Raises `QuantityError` or `UnknownNameError`.

    >>> judge("not heating", core_c="61 F", air_c="14 C", squeeze_core="dusty").causes[0].name
    'dry'
    """
    read: dict[str, object] = {}
    for name, said in facts.items():
        if said is not None and name in QUANTITIES:
            read[name] = parse(str(said), QUANTITIES[name], field=name).typical
        else:
            read[name] = said
    return diagnose(Seen(complaint=complaint, **read))  # type: ignore[arg-type]


def judged_json(found: Diagnosis) -> dict[str, Any]:
    """A diagnosis as plain values; the same for the command and the page."""
    return {"diagnosis": asdict(found)}
