"""How fast one thread moves memory here, and what share of that benchmark B1 uses.

A step of the engine's B1 loop touches so many words of 8 bytes a cell: counted from the kernels,
each array read or written once a loop, neighbours free, those in single precision half a word. The
bandwidth is that of a[i] = b[i] + 3 c[i] (three words) on arrays that together are as large as B1's
fields.
"""

from __future__ import annotations

import time

import numba as nb
import numpy as np

#: Words a cell of each loop in a step, by kernel.
BASE = {
    "b1.buoyancy": 6, "b1.residual": 5, "b1.reaction": 9.5, "b1.carry, flux and exchange": 9.5,
    "b1.carry, diagonal": 3.5, "b1.carry, heat": 10.5,
}  # fmt: skip
PER_ITERATION, PER_SWEEP = 9.5, 11
#: Fields that the loop goes through, those in single precision half.
FIELDS = 27


@nb.njit(fastmath=True, error_model="numpy")
def _triad(a, b, c, rounds):  # type: ignore[no-untyped-def]
    for _ in range(rounds):
        for i in range(a.size):
            a[i] = b[i] + 3.0 * c[i]


def bandwidth(cells: int) -> float:
    """Bytes a second of one thread, best of 15, with the footprint of B1 at so many cells."""
    size = cells * FIELDS // 3
    a, b, c = np.zeros(size), np.ones(size), np.ones(size)
    rounds = max(1, 20_000_000 // size)
    _triad(a, b, c, 1)
    best = 0.0
    for _ in range(15):
        began = time.process_time()
        _triad(a, b, c, rounds)
        best = max(best, 24.0 * size * rounds / (time.process_time() - began))
    return best


def words(iterations: float, sweeps: float) -> float:
    """Words a cell and step."""
    return sum(BASE.values()) + PER_ITERATION * iterations + PER_SWEEP * sweeps
