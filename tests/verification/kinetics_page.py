"""What the two kinetics say in a box, and the page docs/explain/kinetics.md written from it.

Write the page anew with ``python -m tests.verification.kinetics_page``; a test holds it to runs.
"""

from __future__ import annotations

import functools
from pathlib import Path

import numpy as np

from heapwright.engine.biology import Decay
from heapwright.engine.box import Course, run_box
from heapwright.engine.composition import chips
from heapwright.engine.six_groups import SixConstants, SixGroups

PAGE = Path(__file__).parents[2] / "docs" / "explain" / "kinetics.md"
LEAFY = 0.1
AIR_C, LOSS, DAYS_WARMING = 15.0, 0.01, 60.0
HELD_C, DAYS_HELD = (15.0, 30.0, 55.0), 150.0
NAMES = ("group curves", "six groups, literature", "six groups, refit")

_HEAD = """\
# Two kinetics: group curves and six groups

This page is written by `python -m tests.verification.kinetics_page`, and a test holds its figures
to fresh runs.

How fast a heap rots is worked out by one of two sets of rules. Both work on the same pools
(soluble matter, protein, fat, hemicellulose, cellulose, lignin, and what lies out of reach inside
a chip), use the same temperature curves, moisture factor and oxygen, and close mass, carbon,
nitrogen and oxygen to round-off.

**Group curves** (`engine/biology.py`, what is used unless you choose otherwise). A pool decays at
its own rate times the activity of mesophiles, thermophiles or fungi, each between 0 and 1. About
a third of what is eaten becomes microbes, which are paid back later. The rates come from measured
losses of leaf and grass and from published willow heaps. Living tissue of fresh chips eats soluble
matter as well, from the first day on and at any temperature above freezing.

**Six groups** (`engine/six_groups.py`). Bacteria, actinomycetes and fungi, each mesophilic and
thermophilic, are masses that open polymers (Contois), eat what is dissolved (Monod), die and
dissolve. The form is that of Sole-Mauri et al. 2007; its constants are those which a third party
coded: a row named after the literature, and a refit kept in the same file. What had to be added
so that it runs in chips at all is listed at the top of `engine/processes/six_groups.py`.

## What each says in a box

One cell of chips with 10 % leaf at 55 % moisture and 18 % oxygen, both held. This compares the
rules and nothing else: a box has no air flow and no vapour, so its temperatures are no forecast.

"""

_TAIL = """\
The share of fungi is, for the group curves, the share of the decay of that moment that fungi do;
for the six groups, the share of fungi in all living matter, by mass. They are not the same thing.

## How to read it

- **The first days.** Both warm a box of chips to 40 degrees C within three days. In the six
  groups that is set by how much is dissolved at the start (30 % of the soluble matter, our own
  choice) and by growth.
- **After that they part.** With the row named after the literature, microbes die faster than what
  they open can feed: a mesophilic bacterium opens at most 0.07 kg a kg and hour, of which 0.025
  become microbes, while 0.03 die; a fungus opens 0.014, makes 0.005 and loses 0.01. The
  population shrinks to its floor, and decay all but stops at a loss well short of the 20 to 23 %
  that willow heaps lost in five months. In the refit mesophilic bacteria open two to nine times
  as fast, but thermophilic ones next to no carbohydrate, so that a hot box starves.
- **Above 60 degrees C fungi die in both**; where all that lives has shrunk to its floor (a hot
  box of the six groups late on), their share there is that of the floors and means nothing.

## "Bacterial or fungal?"

`SixGroups.share_of_fungi` gives a computed answer, and `Decay.share_of_fungi` another. Lean on
neither. Two sets of constants from one file differ by a factor of two in loss after 150 days at 30
degrees C and agree at neither temperature: readings of temperature and mass cannot tell which is
right, because many sets give the same curve (the constants are **weakly identifiable**). The start
of the fungi, their floor and what a turn leaves of them are own choices. What can be said: fungi
matter where a heap stays below about 45 degrees C or has cooled to it, where wood is a large part,
and where nobody turns. That rests on microbiology (no fungus grows above 62 to 65 degrees C:
Deacon; wood-rotting ones stop near 42 degrees C: wood-decay texts, from memory), not on these
runs.

Use the group curves for forecasts and for fitting. Use the six groups to see how much of an
answer hangs on the rules themselves.
"""


@functools.cache
def _kinetics() -> tuple[Decay | SixGroups, ...]:
    recipe = chips(LEAFY)
    return (
        Decay(recipe),
        SixGroups(recipe),
        SixGroups(recipe, constants=SixConstants.refitted()),
    )


@functools.cache
def warming(which: int) -> Course:
    """The box that keeps most of its heat."""
    return run_box(
        _kinetics()[which], days=DAYS_WARMING, start_c=AIR_C, air_c=AIR_C, loss=LOSS,
        step_s=1200.0,
    )  # fmt: skip


@functools.cache
def held(which: int, temp_c: float) -> Course:
    """The box at one temperature."""
    return run_box(_kinetics()[which], days=DAYS_HELD, start_c=temp_c, loss=None, step_s=3600.0)


def _when(days: float) -> str:
    return f"day {days:.1f}" if np.isfinite(days) else "never"


def page() -> str:
    """The text of the page."""
    lines = [
        f"**Left to warm**: from {AIR_C:g} degrees C, air of {AIR_C:g} degrees C, losing "
        f"{LOSS:g} W per K and kg of dry matter.",
        "",
        "| rules | above 40 | above 55 | hottest | days above 50 | lost in 60 d | fungi, day 60 |",
        "|---|---|---|---|---|---|---|",
    ]
    for n, name in enumerate(NAMES):
        c = warming(n)
        lines.append(
            f"| {name} | {_when(c.first_above(40))} | {_when(c.first_above(55))} "
            f"| {c.temp_c.max():.0f} | {c.days_above(50):.0f} | {100 * c.lost[-1]:.1f} % "
            f"| {100 * c.fungi[-1]:.0f} % |"
        )
    lines += [
        "",
        "**Held at one temperature** for 150 days: dry matter lost, and the share of fungi.",
        "",
        "| rules | degrees C | 7 d | 28 d | 150 d | fungi, 7 d | 28 d | 150 d |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for n, name in enumerate(NAMES):
        for temp_c in HELD_C:
            c = held(n, temp_c)
            at = [int(np.argmin(np.abs(c.age_d - d))) for d in (7, 28, 150)]
            lost = " | ".join(f"{100 * c.lost[i]:.1f} %" for i in at)
            fungi = " | ".join(f"{100 * c.fungi[i]:.0f} %" for i in at)
            lines.append(f"| {name} | {temp_c:g} | {lost} | {fungi} |")
    return _HEAD + "\n".join(lines) + "\n\n" + _TAIL


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
