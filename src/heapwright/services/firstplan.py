"""The default plan behind the first page: everything that was said, and a default for the rest.

Units: metres for depths. Conventions: an existing file is never overwritten.
"""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta
from pathlib import Path

from heapwright.domain.answers import Answers
from heapwright.domain.material import Ingredient
from heapwright.errors import InputError
from heapwright.units import Ranged

__all__ = ["default_plan", "spots", "write_plan"]

_WAY_DEFAULTS = {
    "turned": ('first_after = "5 days"', 'every = "14 days"'),
    "vented": ("pipes = 2", 'vents = "open"'),
}


def spots(answers: Answers, volume: Ranged | None) -> list[tuple[str, float, str]]:
    """Spots as (name, depth [m], position), no deeper than the probe reaches or the heap goes."""
    reach = answers.probe_m or 0.5
    height = None
    if volume is not None:
        each = volume.typical / max(answers.heaps or 1, 1)
        height = _height(each)
    core = min(reach, 0.6 * height) if height else reach
    core = max(0.1, math.floor(core * 20) / 20)
    flank = max(0.1, math.floor(core * 0.6 * 20) / 20)
    return [
        ("core", core, "top, straight down"),
        ("south", flank, "south flank, half way up"),
        ("north", flank, "north flank, half way up"),
    ]


def _height(volume_m3: float) -> float:
    """Height of a mound 1.7 times as wide as high [m]: pi/8 D^2 h = V (common practice)."""
    return float((volume_m3 * 8 / (math.pi * 1.7**2)) ** (1 / 3))


def default_plan(
    answers: Answers,
    ingredients: tuple[Ingredient, ...],
    *,
    now: datetime,
    barrow: Ranged,
    volume: Ranged | None,
) -> str:
    """The text of an editable plan with everything that was said and a default for the rest."""
    starts: date = answers.made or now.date()
    heaps = answers.heaps or 1
    lines = [
        "# Written by heapwright start. Change anything until you lock it:",
        "#   heapwright plan check FILE      heapwright plan lock FILE",
        "[trial]",
        f'name = "Yard {starts.isoformat()}"',
        'question = "What do these heaps do?"'
        if len(answers.ways) < 2
        else f'question = "Which of {", ".join(answers.ways)} keeps a heap warmer?"',
        f"starts = {starts.isoformat()}",
        f"seed = {starts:%Y%m%d}",
        "",
        "[outcome]",
        'decides = "mean_excess_c"       # mean degrees above air',
        'window = "5-55 days"',
        f"ends = {(starts + timedelta(days=60)).isoformat()}",
        'matters = "8 C"                 # a smaller difference would not change what you do',
        'spread = "4 C"                  # how much heaps treated alike are assumed to differ',
    ]
    if "left alone" in answers.ways and len(answers.ways) > 1:
        lines.append('control = "left alone"')
    lines += ["", "[barrow]", f'volume = "{barrow.low * 1000:.0f}-{barrow.high * 1000:.0f} litres"']
    for ingredient in ingredients:
        lines += ["", "[[ingredient]]", f"name = {_quoted(ingredient.name)}"]
        lines.append(f"like = {_quoted(ingredient.feedstock.name)}")
        lines.append(_amount_line(ingredient))
    for kind in answers.ways:
        lines += [
            "",
            "[[way]]",
            f'name = "{kind}"',
            f'kind = "{kind}"',
            *_WAY_DEFAULTS.get(kind, ()),
        ]
    for number in range(heaps):
        lines += ["", "[[heap]]", f'name = "{_letter(number)}"']
        if volume is not None:
            each = volume.scaled(1 / heaps)
            lines.append(f'volume = "{each.low:.2f}-{each.high:.2f} m3"')
    for name, depth, where in spots(answers, volume):
        lines += ["", "[[spot]]", f'name = "{name}"', f'depth = "{depth * 100:.0f} cm"']
        lines.append(f'position = "{where}"')
    lines += [
        "", "[rounds]", 'every = "3 days"', 'at = "07:00"   # "sunrise" once [place] is given', "",
        "[water]", 'target = "50-60 %"', 'every = "7 days"', "equal = true", "",
    ]  # fmt: skip
    return "\n".join(lines)


def write_plan(text: str, path: Path) -> Path:
    """Write the text of a plan; an existing file is never overwritten (`InputError`)."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise InputError(
            "there is a file of that name, and it is left as it is",
            field="out",
            value=str(path),
            way_out="Name another with --out, or move the old one away",
        ) from None
    except OSError as error:
        raise InputError(
            f"it cannot be written ({error.strerror})",
            field="out",
            value=str(path),
            way_out="Name another place with --out",
        ) from None
    return path


def _amount_line(ingredient: Ingredient) -> str:
    if ingredient.loads is not None:
        a, unit = ingredient.loads, "barrows"
    elif ingredient.volume_m3 is not None:
        a, unit = ingredient.volume_m3, "m3"
    else:
        assert ingredient.mass_kg is not None
        return f'mass = "{ingredient.mass_kg.typical:g} kg"'
    text = f"{a.typical:g}" if a.is_exact else f"{a.low:g}-{a.high:g}"
    return f'amount = "{text} {unit}"'


def _letter(number: int) -> str:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    return letters[number] if number < 26 else f"{letters[number // 26 - 1]}{letters[number % 26]}"


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
