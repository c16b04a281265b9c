"""Mixes forwards and backwards: `describe_mix` says what a mix will be, `solve_mix` what to take.

The work is done in `mix_parts` (what is known of each ingredient, draws), `mix_summary`,
`mix_solver` and `nitrogen`; this module gathers their public names.
"""

from __future__ import annotations

from heapwright.planning.mix_parts import Known
from heapwright.planning.mix_solver import MixSolution, solve_mix
from heapwright.planning.mix_summary import IngredientLine, MixSummary, describe_mix
from heapwright.planning.nitrogen import (
    Dose,
    NitrogenPlan,
    NitrogenProduct,
    nitrogen_plan,
    parse_product,
)

__all__ = [
    "Dose",
    "IngredientLine",
    "Known",
    "MixSolution",
    "MixSummary",
    "NitrogenPlan",
    "NitrogenProduct",
    "describe_mix",
    "nitrogen_plan",
    "parse_product",
    "solve_mix",
]
