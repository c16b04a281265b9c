"""The fit of a coarse heap against its posterior by random walks.

The model is the simulator itself, so the responses are not linear. Four numbers are free; readings
are those of a possible heap with errors drawn from the error model. The other answer comes from
walkers (differential evolution, snooker moves) that know neither the smoother nor its ensemble.

The heap is near the middle of the prior. Far from it the fit is less exact: for one nearly two SD
less permeable than the middle (z = 0.02, -0.51, -1.85, 0.69, its core above 60 C), 400 members were
0.51 SD off in the slow rate and 0.26 in permeability with 4 passes, 0.44 and 0.22 with 8 (13,000
draws of walkers, about 800 independent ones). Chance alone makes about 0.06.
"""

from __future__ import annotations

from collections.abc import Sequence

import emcee
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
from tests.unit.inference.invented import subject

from heapwright.inference.crew import Crew
from heapwright.inference.fit import Settings, fit, responses
from heapwright.inference.priors import Space
from heapwright.inference.readings import ErrorModel, Read, told

Floats = NDArray[np.float64]
FREE = ("rate", "permeability", "slow", "moisture")
HEAP = subject("A")
CELL_M = 0.25
#: when and where it is read
READ = [(spot, day) for day in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0) for spot in ("core", "top")]
DAYS = 6.01
ERRORS = ErrorModel(reading=2.0, probe=0.5, spot=1.5, lasting=3.0, lasting_days=8.0, alike=0.6)
#: each number half an SD from the middle of what it may be, in the order of the rows
TRUTH = np.array([0.5, 0.5, -0.5, 0.5])
WALKERS, STEPS, BURN_IN = 24, 420, 120
WORKERS = 2


def space() -> Space:
    return Space((HEAP.name,), tuple((HEAP.name, s.name) for s in HEAP.spec.spots), FREE)


def said(z: Floats, reads: Sequence[Read], crew: Crew) -> Floats:
    """What heaps of numbers z (rows, members) say to readings, (n, members)."""
    numbers = [space().numbers(column, HEAP.name) for column in z.T]
    (courses,) = crew.run([(HEAP, numbers)], DAYS, CELL_M)
    return responses({HEAP.name: courses}, reads)


def readings_of(z: Floats, seed: int, crew: Crew) -> tuple[Read, ...]:
    """Readings of the heap of numbers z, with errors."""
    bare = [Read(HEAP.name, spot, day, 0.0, probe="p") for spot, day in READ]
    root = np.linalg.cholesky(ERRORS.covariance(bare))
    off = root @ np.random.default_rng(seed).normal(size=len(bare))
    true = said(z[:, None], bare, crew)[:, 0]
    return tuple(
        Read(r.heap, r.spot, r.day, float(t + e), probe="p")
        for r, t, e in zip(bare, true, off, strict=True)
    )


def walked(reads: Sequence[Read], seed: int, crew: Crew) -> emcee.EnsembleSampler:
    """Walkers in the posterior, from where the prior put them."""
    observed = np.array([told(r) for r in reads])
    root = cho_factor(ERRORS.covariance(reads), lower=True)

    def log_posterior(z: Floats) -> Floats:
        left = observed[:, None] - said(z.T, reads, crew)
        return -0.5 * (np.sum(left * cho_solve(root, left), axis=0) + np.sum(z**2, axis=1))

    moves = [(emcee.moves.DEMove(), 0.8), (emcee.moves.DESnookerMove(), 0.2)]
    sampler = emcee.EnsembleSampler(WALKERS, len(FREE), log_posterior, moves=moves, vectorize=True)
    rng = np.random.default_rng(seed)
    start = emcee.State(
        rng.normal(size=(WALKERS, len(FREE))), random_state=np.random.RandomState(seed).get_state()
    )
    sampler.run_mcmc(start, STEPS)
    return sampler


@pytest.mark.long
def test_the_fit_has_the_middle_and_the_width_of_the_posterior() -> None:
    with Crew(WORKERS) as crew:
        reads = readings_of(TRUTH, 1, crew)
        sampler = walked(reads, 1, crew)
        settings = Settings(cell_m=CELL_M, members=400, passes=8, errors=ERRORS, free=FREE)
        made = fit((HEAP,), reads, settings=settings, crew=crew, trusted=True)
    walks = sampler.get_chain(discard=BURN_IN)
    flat = walks.reshape(-1, len(FREE))
    mean, sd = flat.mean(axis=0), flat.std(axis=0)
    # the walkers have to be a yardstick first: many independent draws, alike early and late
    draws = flat.shape[0] / sampler.get_autocorr_time(discard=BURN_IN, tol=0)
    early, late = (w.reshape(-1, len(FREE)).mean(axis=0) for w in np.array_split(walks, 2))
    off = (made.last.mean(axis=1) - mean) / sd
    ratio = made.last.std(axis=1, ddof=1) / sd
    names = [r.knob.name for r in space().rows]
    for row in zip(names, mean, sd, draws, (late - early) / sd, off, ratio, strict=True):
        print("{:13s} mean {:+.2f} SD {:.2f} draws {:.0f} late {:+.2f}; off {:+.2f} SD {:.2f}"
              .format(*row))  # fmt: skip
    assert np.all(draws > 150), draws
    assert np.all(np.abs(late - early) < 0.35 * sd), (early, late, sd)
    assert sd.min() < 0.5, "the readings teach too little"
    assert np.all(np.abs(off) < 0.3), off
    assert np.all((ratio > 0.7) & (ratio < 1.4)), ratio
