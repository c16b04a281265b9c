"""A mix, water, a heap by tape and a barrow in words and rows, for the commands and the pages
alike; and as plain JSON values.

Units: shares in per cent, as people say them. Conventions: two digits, never more than is known;
a range stands in brackets behind the likely value.
"""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from heapwright.domain.material import Ingredient
    from heapwright.planning.barrow import BarrowSize
    from heapwright.planning.mix import MixSolution, MixSummary, NitrogenPlan
    from heapwright.planning.sizing import SizingAdvice
    from heapwright.services.mix import SizeAnswer, WaterAnswer
    from heapwright.units import Ranged

__all__ = [
    "SPLIT_COLUMNS", "MixRow", "barrow_json", "barrow_lines", "barrow_span", "litres",
    "material_line", "material_rows", "mix_json", "nitrogen_lines", "origin", "percent", "range_of",
    "round_litres", "seen", "sig", "sinking_lines", "size_json", "size_sentence", "split_rows",
    "summary_rows", "summary_sentence", "taken_for_granted", "taken_sentence", "water_json",
    "water_lines", "words",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class MixRow:
    """One number of a mix: key in `MixSummary`; name; ranged in *unit*; scale : what one register
    unit is in *unit*; most : end of the line it is drawn on, 0 where none is drawn."""

    key: str
    name: str
    ranged: Ranged
    unit: str
    scale: float = 1.0
    most: float = 0.0

    @property
    def about(self) -> str:
        """The likely value with its unit."""
        return f"{sig(self.ranged.typical)} {self.unit}".strip()

    @property
    def span(self) -> str:
        """Nine times in ten."""
        return f"{sig(self.ranged.low)}-{sig(self.ranged.high)}"


#: (key, name, unit, register unit in unit, end of the drawn line)
_ROWS = (
    ("cn_ratio", "C:N", "", 1.0, 100.0),
    ("moisture_wb", "moisture", "%", 100.0, 100.0),
    ("bulk_density_kg_m3", "bulk density", "kg/m3", 1.0, 0.0),
    ("free_air_frac", "free air space", "%", 100.0, 100.0),
    ("degradable_vs", "share that can rot", "% of organic matter", 100.0, 0.0),
    ("oxygen_demand_kg_m3", "oxygen it needs", "kg/m3", 1.0, 0.0),
    ("wet_mass_kg", "wet mass", "kg", 1.0, 0.0),
    ("dry_mass_kg", "dry mass", "kg", 1.0, 0.0),
    ("volume_m3", "volume", "m3", 1.0, 0.0),
)


def summary_rows(summary: MixSummary) -> list[MixRow]:
    """The numbers of a mix, row by row."""
    return [
        MixRow(key, name, getattr(summary, key).scaled(scale), unit, scale, most)
        for key, name, unit, scale, most in _ROWS
    ]


def summary_sentence(summary: MixSummary) -> str:
    """What the mix is like, in one sentence."""
    return (
        f"This mix has a C:N of about {range_of(summary.cn_ratio, 2)} and "
        f"{percent(summary.moisture_wb)} moisture; {range_of(summary.volume_m3, 2)} m3."
    )


def material_rows(summary: MixSummary) -> list[list[str]]:
    """Material, read as, m3, kg, C:N and where the numbers are from, a row each."""
    rows = []
    for line in summary.lines:
        name = f"{sig(line.loads.typical)} x {line.name}" if line.loads else line.name
        rows.append(
            [name, line.read_as, range_of(line.volume_m3, 2), range_of(line.wet_mass_kg, 2),
             range_of(line.cn_ratio, 2), origin(line)]
        )  # fmt: skip
    return rows


def taken_for_granted(
    summary: MixSummary, barrow: str | None, *, way: str = "give --barrow"
) -> list[str]:
    """What the sums rest on; barrow : as given, None for a guess; way : how to give it."""
    said = list(summary.assumptions)
    if barrow is None and any(line.loads for line in summary.lines):
        said.insert(0, f"A barrow is taken as 85-140 L; measure yours and {way}.")
    return said


def taken_sentence(solution: MixSolution) -> str:
    """How much to take of each, and the water."""
    taken = []
    for part in solution.mix.ingredients:
        if part.loads is not None:
            taken.append(f"{part.loads.typical:.3g} barrows {part.name}")
        elif part.mass_kg is not None:
            taken.append(f"{sig(part.mass_kg.typical)} kg {part.name}")
        elif part.volume_m3 is not None:
            taken.append(f"{sig(part.volume_m3.typical)} m3 {part.name}")
    wet = f", and {round_litres(solution.water_l)} L water" if solution.water_l >= 1 else ""
    return f"Take {'; '.join(taken)}{wet}."


def nitrogen_lines(plan: NitrogenPlan, cn_with_doses: float) -> list[str]:
    """Nitrogen in doses, the total first and what to know last."""
    lines = []
    if plan.doses:
        lines.append(
            f"Nitrogen: {range_of(plan.total_kg, 2)} kg N at most, as {plan.product.name} "
            f"({100 * plan.product.nutrient_frac:g} % N); with all of it C:N would count as "
            f"{cn_with_doses:.0f}."
        )
    for k, dose in enumerate(plan.doses, start=1):
        lines.append(
            f"  dose {k}: {sig(dose.product_kg)} kg, {range_of(dose.cups, 2)} cups of 250 mL, "
            f"{dose.when}"
        )
    return [*lines, plan.note]


def material_line(ingredient: Ingredient) -> str:
    """An ingredient of a plan as it is typed for a mix; own measurements in brackets.

    >>> from heapwright.domain.material import Ingredient
    >>> from heapwright.units import Ranged
    >>> material_line(Ingredient("chips", like="arborist chips", loads=Ranged.exact(6)))
    '6 barrows chips like arborist chips'
    """
    amounts = {"kg": ingredient.mass_kg, "m3": ingredient.volume_m3, "barrows": ingredient.loads}
    found = next(((a, unit) for unit, a in amounts.items() if a is not None), None)
    if found is None:
        return ""
    amount, unit = found
    much = f"{amount.typical:g}" if amount.is_exact else f"{amount.low:g}-{amount.high:g}"
    like = f" like {ingredient.like}" if ingredient.like else ""
    own = [_own(key, found) for key, found in ingredient.measured.items()]
    brackets = f" [{'; '.join(o for o in own if o)}]" if any(own) else ""
    return f"{much} {unit} {ingredient.name}{like}{brackets}"


def _own(key: str, found: Any) -> str:
    """One own measurement as typed; empty for one that has no word there."""
    spoken = {
        "moisture_wb": ("moisture", 100, " %"), "nitrogen_dm": ("N", 100, " %"),
        "carbon_dm": ("C", 100, " %"), "cn_ratio": ("C:N", 1, ""), "ash_dm": ("ash", 100, " %"),
        "bulk_density_kg_m3": ("density", 1, " kg/m3"), "lignin_vs": ("lignin", 100, " %"),
    }  # fmt: skip
    if key not in spoken:
        return ""
    name, scale, unit = spoken[key]
    value = getattr(found, "value", found).scaled(scale)
    number = f"{value.typical:g}" if value.is_exact else f"{value.low:g}-{value.high:g}"
    dry = key == "moisture_wb" and getattr(found, "basis", "") == "dry"
    return f"{name} {number}{unit}{' dry' if dry else ''}"


def mix_json(answer: MixSummary | MixSolution, *, seed: int) -> dict[str, Any]:
    """A mix, or what to take for one, as plain JSON values."""
    name = "solution" if hasattr(answer, "summary") else "mix"
    return _json(**{name: answer, "seed": seed})


# --- water, a heap by tape, a barrow -------------------------------------------------------------


def water_lines(answer: WaterAnswer) -> list[str]:
    """Litres first, hose minutes where the flow is known, what it rests on, and the source."""
    advice = answer.advice
    lines = [f"Give {litres(advice.litres)} in all."]
    if advice.minutes_full is not None and advice.minutes_half is not None:
        lines.append(
            f"The hose runs {range_of(advice.minutes_full, 2)} minutes if all of it soaks "
            f"in, {range_of(advice.minutes_half, 2)} if half runs through."
        )
    return [
        *lines,
        f"From {percent(answer.moisture_wb)} to {100 * answer.goal_moisture_wb:.0f} % "
        f"moisture, {range_of(answer.dry_density, 2)} kg dry matter per m3 "
        f"({answer.material}; {seen(answer.seen)}).",
        advice.note,
        f"Source: {answer.source} ({seen(answer.seen)})",
    ]


def water_json(answer: WaterAnswer) -> dict[str, Any]:
    """Water for a volume as plain JSON values."""
    return _json(water=answer)


def size_sentence(answer: SizeAnswer) -> str:
    """What a heap of that size holds."""
    return (
        f"A {answer.body.shape} of this size holds about {sig(answer.volume_m3)} m3 "
        f"({sig(0.9 * answer.volume_m3)}-{sig(1.1 * answer.volume_m3)}), "
        f"{answer.body.height_m:.2f} m high, with {sig(answer.surface_m2)} m2 to the air."
    )


def sinking_lines(answer: SizeAnswer) -> list[str]:
    """How far it sinks, and how well that is known."""
    lines = []
    for later in answer.after:
        left = later.volume_left.scaled(answer.volume_m3)
        lines.append(f"after {later.age_d:.0f} days about {range_of(left, 2)} m3")
    return [*lines, answer.after[0].note]


#: columns of `split_rows`
SPLIT_COLUMNS = ("heaps", "m3 each", "stays warm", "smallest chance figure, two ways")


def split_rows(advice: SizingAdvice) -> list[list[str]]:
    """The splits of a volume into heaps, a row each."""
    return [
        [str(o.heaps), range_of(o.each_m3, 2), o.warm,
         "-" if o.chance_floor is None else f"{o.chance_floor:.2g}"]
        for o in advice.options
    ]  # fmt: skip


def size_json(answer: SizeAnswer | SizingAdvice) -> dict[str, Any]:
    """A heap by tape, or only the splits of a volume, as plain JSON values."""
    if hasattr(answer, "body"):
        return _json(size=answer, volume_m3=answer.volume_m3)
    return _json(advice=answer)


def barrow_lines(found: BarrowSize) -> list[str]:
    """What a barrow holds on average and at one load, and what to know of it."""
    mean, one = found.mean_m3.scaled(1000), found.one_m3.scaled(1000)
    lines = [
        f"Your barrow holds {range_of(mean, 2)} L on average, from {found.loads} loads.",
        f"A single load lies within {one.low:.0f}-{one.high:.0f} L nine times in ten.",
    ]
    return [*lines, found.note] if found.note else lines


def barrow_span(found: BarrowSize) -> str:
    """The average load as it is typed elsewhere, as in 85-100 L."""
    mean = found.mean_m3.scaled(1000)
    return f"{mean.low:.0f}-{mean.high:.0f} L"


def barrow_json(found: BarrowSize) -> dict[str, Any]:
    """A barrow as plain JSON values."""
    return _json(barrow=found)


def _json(**what: Any) -> dict[str, Any]:
    return dict(json.loads(json.dumps(what, default=_plain)))


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return dataclasses.asdict(value)
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


# --- numbers -------------------------------------------------------------------------------------


def origin(line: Any) -> str:
    """Where the numbers of a material come from."""
    own = [k.key for k in line.known if k.own]
    memory = "table, from memory" if line.from_memory else "table"
    return f"{memory}; you measured {len(own)}" if own else memory


def words(note: str) -> str:
    """A note with the name of its quantity in words."""
    from heapwright.units import REGISTER

    key, _, rest = note.partition(": ")
    return f"{REGISTER[key].meaning.split(' as a ')[0]}: {rest}" if key in REGISTER else note


def seen(how: str) -> str:
    """How a source was seen, in words."""
    return {
        "memory": "from memory",
        "memory, low confidence": "from memory, low confidence",
        "partly seen": "partly from memory",
        "measured": "measured",
    }.get(how, how)


def percent(share: Ranged) -> str:
    """A share in per cent with its range."""
    if share.is_exact:
        return f"{100 * share.typical:.0f} %"
    return f"{100 * share.typical:.0f} % ({100 * share.low:.0f}-{100 * share.high:.0f})"


def range_of(ranged: Ranged, digits: int) -> str:
    """The likely value with its range in brackets."""
    typical, low, high = (sig(x, digits) for x in (ranged.typical, ranged.low, ranged.high))
    return typical if low == high else f"{typical} ({low}-{high})"


def litres(ranged: Ranged) -> str:
    """Litres with their range, rounded to what can be poured."""
    typical, low, high = (round_litres(x) for x in (ranged.typical, ranged.low, ranged.high))
    return f"{typical} L" if low == high else f"{typical} L ({low}-{high})"


def round_litres(amount: float) -> str:
    """Litres to 10 above 100, to 5 above 20, else whole."""
    step = 10 if amount >= 100 else 5 if amount >= 20 else 1
    return f"{step * round(amount / step):d}"


def sig(number: float, digits: int = 2) -> str:
    """*number* to so many digits, never in powers of ten; whole numbers below 100 stay whole."""
    if number == 0:
        return "0"
    if 10 <= abs(number) < 100:
        return f"{number:.0f}"
    text = f"{float(f'{number:.{digits}g}'):f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
