"""What the engine is said to reproduce: one table for the tests and for the page in docs.

``claims.toml`` holds for each claim the exact answer, what the engine got, how far it may lie off,
source and test. `check` holds a fresh result against both the answer and the printed result; the
page docs/explain/verification.md is written from the same table by ``python -m
tests.verification.claims``.
"""

from __future__ import annotations

import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "docs" / "explain" / "verification.md"
CLAIMS: dict[str, dict[str, Any]] = tomllib.loads(
    (HERE / "claims.toml").read_text(encoding="utf-8")
)

_HEAD = """\
# Checks against exact answers

This page is written from `tests/verification/claims.toml`, and every test named here holds its
result against this table: against the exact answer, and against the figure printed under "got", to
one unit of its last digit. Write it anew with `python -m tests.verification.claims`.

All of it runs through the engine's own compiled kernels (`engine/kernels/`) with other coefficients
and boundaries; there is no second solver. "Within" is how far the result may lie from the answer.
"""

_TAIL = """\
## What to know about these figures

- **Order in space.** Conduction, diffusion and the ignition branches are of order 2 in the cell
  size. Advection is of order 2 where it is limited (`transport.inner`, what the simulator uses) and
  of order 1 where it is upwind (`heat.conduction_advection`, as benchmark B1 is; it costs 2.8 %
  of the heat through a square at Ra 50 with 32 cells). Two places in the limited scheme are upwind:
  the inner face next to the skin, where the limiter has no cell behind it, and the enthalpy that
  diffusing vapour carries. The first lets the onset under a closed top near its limit with an order
  that climbs from 1.3 to 1.7 between 10 and 40 cells (with the mean of the two cells at those faces
  it was 2.01 and 2.00 in a trial, but the error larger); the second costs 0.001 degrees C.
- **Order in time.** Heat and vapour in a heap take explicit Euler steps and oxygen implicit ones:
  the whole step of the simulator is of order 1. The two-step rule that B1 uses is of order 2.
  Decay, once an hour, goes at the rates of the middle of the hour, carried on from the hour before:
  of order 2 in it. Without that the core of the heap in the last rows would be 1.2 degrees C off.
- **Stairs.** A sphere of cells has a skin of stairs; its cells are scaled to the true volume. What
  that costs is printed in the rows "in cells". The rows "in shells" put the areas and volumes of
  spherical shells into the same kernels and show what is left without stairs.
- **Neutral buoyancy** depends on vapour. 25.5 and 30.0 degrees C hold for air of 15 degrees C and
  70 % outside and saturated gas inside, the state of a damp heap; for dry gas on both sides the
  answers are 28.1 and 34.0 degrees C. At 50 and 100 % outside the first pair moves to 25.2 and
  29.7, and to 25.9 and 30.5.
- **Symmetry.** The sweeps for oxygen have a direction, so a heap is its own mirror image only to
  the tolerance of the solvers. The test tightens them to 1e-14, takes double precision for what
  flows between cells, too, and finds round-off; with the tolerances and the single precision of
  the simulator the two sides of a small mound differ by about 2e-6 degrees C after two hours.
- "From memory" beside a source means that the book or paper was not at hand. Those figures were
  computed anew for this project by other means where it says so.
"""


def _number(text: str) -> float:
    return float(Decimal(text))


def allowed(claim: dict[str, Any]) -> float:
    """How far the result may lie from the answer."""
    if "rel" in claim:
        return float(claim["rel"]) * abs(_number(claim["answer"]))
    return float(claim["abs"])


def unit_in_last_place(text: str) -> float:
    """One unit of the last printed digit: 0.01 for "39.51"."""
    return float(Decimal(1).scaleb(int(Decimal(text).as_tuple().exponent)))


def check(name: str, got: float) -> None:
    """Hold a result against the answer and against what the page prints."""
    claim = CLAIMS[name]
    off = abs(float(got) - _number(claim["answer"]))
    assert off <= allowed(claim), f"{name}: got {got:.6g}, answer {claim['answer']}"
    printed = claim["got"]
    assert abs(float(got) - _number(printed)) <= unit_in_last_place(printed), (
        f"{name}: got {got:.8g}, but the page prints {printed}"
    )


def _within(claim: dict[str, Any]) -> str:
    return f"{100 * claim['rel']:g} %" if "rel" in claim else f"{claim['abs']:g}"


def page() -> str:
    """The text of docs/explain/verification.md."""
    lines = [_HEAD]
    part = None
    for claim in CLAIMS.values():
        if claim["part"] != part:
            part = claim["part"]
            lines += [f"\n## {part}\n", "| problem | answer | got | within | source | test |",
                      "|---|---|---|---|---|---|"]  # fmt: skip
        lines.append(
            f"| {claim['problem']} | {claim['answer']} | {claim.get('shown', claim['got'])} "
            f"| {_within(claim)} | {claim['source']} | `{claim['test']}` |"
        )
    return "\n".join(lines) + "\n\n" + _TAIL


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
