"""A heap by tape, from text as it is typed: its volume, or only how many warm heaps a volume makes.

Units: register units out; text in. Conventions: for the command and the page alike; what is left
out is None. A diameter is the width of a round heap on the ground.
"""

from __future__ import annotations

from typing import cast

from heapwright.errors import InputError
from heapwright.planning.sizing import SizingAdvice
from heapwright.science.geometry import Section, Shape
from heapwright.services.mix import SizeAnswer, size_heap, split_volume
from heapwright.units import parse, parse_number

__all__ = ["heap_by_tape", "whole_number"]


def heap_by_tape(
    shape: str | None,
    *,
    diameter: str | None = None,
    width: str | None = None,
    height: str | None = None,
    length: str | None = None,
    top: str | None = None,
    section: str = "parabola",
    rounded_ends: bool = False,
    volume: str | None = None,
    heaps: int | None = None,
    air: str | None = None,
) -> SizeAnswer | SizingAdvice:
    """A heap from its measures; without a shape only the splits of a volume.

    shape, section : as in `heapwright.science.geometry.Body`; volume : in place of the height, or
    alone; heaps : how many are wished for; air : mean air to come. Raises `InputError` where
    something is missing, `QuantityError` for a measure that cannot be.

    >>> round(heap_by_tape("cone", diameter="2 m", height="1.2 m").volume_m3, 2)
    1.26
    >>> heap_by_tape(None, volume="7.6 m3").warm_heaps
    8
    """
    much = None if volume is None else parse(volume, "volume_m3", field="volume")
    air_temp_c = None if air is None else parse(air, "air_temp_c", field="air").typical
    if shape is None:
        if much is None:
            raise InputError(
                "neither a shape nor a volume given", field="shape",
                way_out="Choose a shape and give its measures, or give a volume",
            )  # fmt: skip
        return split_volume(much, heaps, air_temp_c)
    foot = _metres(diameter, "diameter") or _metres(width, "width")
    if foot is None:
        raise InputError(
            "no width given", field="width", way_out="Measure the heap across, on the ground"
        )
    return size_heap(
        cast(Shape, shape),  # checked by Body
        width_m=foot,
        height_m=_metres(height, "height"),
        volume_m3=None if much is None else much.typical,
        length_m=_metres(length, "length"),
        top_m=_metres(top, "top") or 0.0,
        section=cast(Section, section),  # checked by Body
        rounded_ends=rounded_ends,
        heaps=heaps,
        air_temp_c=air_temp_c,
    )


def whole_number(text: str, *, field: str) -> int:
    """A whole number from text; raises `InputError`.

    >>> whole_number("3", field="heaps")
    3
    """
    number = parse_number(text, field=field)
    if not number.is_integer():
        raise InputError("a whole number was expected", field=field, value=text, way_out="Write 3")
    return int(number)


def _metres(text: str | None, field: str) -> float | None:
    return None if text is None else parse(text, "length_m", field=field).typical
