"""What is probably the matter with a heap, from what a keeper saw and typed.

Quantities come as people write them ("16 C", "61 F", "1.3 m3"); what was not looked at is left out.
"""

from __future__ import annotations

from heapwright.planning.diagnosis import COMPLAINTS, Diagnosis, Seen, diagnose
from heapwright.units import parse

__all__ = ["COMPLAINTS", "Diagnosis", "judge"]

#: Quantity of each fact that is given as text.
_QUANTITIES = {
    "age_d": "age_d", "volume_m3": "volume_m3", "height_m": "length_m", "core_c": "temp_c",
    "air_c": "temp_c", "peak_c": "temp_c", "other_spots_c": "temp_c", "days_since_turn": "age_d",
}  # fmt: skip


def judge(complaint: str, **facts: str | float | bool | None) -> Diagnosis:
    """Causes of a complaint, most likely first, and what to look at next.

    complaint : one of `COMPLAINTS`; facts : fields of `Seen`; temperatures, ages, volume and height
    as text with their unit, the rest as they are. Raises `QuantityError`, `InputError` or
    `UnknownNameError`.

    >>> judge("not heating", core_c="61 F", air_c="14 C", squeeze_core="dusty").causes[0].name
    'dry'
    """
    read: dict[str, object] = {}
    for name, said in facts.items():
        if said is not None and name in _QUANTITIES:
            read[name] = parse(str(said), _QUANTITIES[name], field=name).typical
        else:
            read[name] = said
    return diagnose(Seen(complaint=complaint, **read))  # type: ignore[arg-type]
