"""Patches of a heap: where it lies looser or closer than on the average.

Units: metres; factors on the permeability. Conventions: `Patches` is a smooth field of sines that
depends on nothing but the seed and the place, so that it is the same on any cells; `Bumps` are
places that are looser or closer than the rest. Either enters as the pore space when built, is
carried along when the heap sinks, and is gone after a turn.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from heapwright.engine.mesh import Mesh
from heapwright.errors import InputError

__all__ = ["Bumps", "Patches"]

Floats = NDArray[np.float64]
_WAVES = 64
#: air space over which the pores of a given permeability are looked up
_PORES = np.linspace(0.02, 0.98, 2000)


@dataclass(frozen=True, slots=True)
class Patches:
    """How patchy the permeability is.

    spread : SD of its logarithm, 0 to 2; length_m : how far a patch reaches, 0.05 to 5 m; seed.
    Raises `InputError` out of range.
    """

    spread: float
    length_m: float = 0.3
    seed: int = 0

    def __post_init__(self) -> None:
        for name, number, low, high in (
            ("spread", self.spread, 0.0, 2.0), ("length_m", self.length_m, 0.05, 5.0),
        ):  # fmt: skip
            if not low <= number <= high:
                raise InputError(f"give {low:g} to {high:g}", field=name, value=f"{number:g}")

    def factors(self, points_m: Floats) -> Floats:
        """Factor on the permeability at places (n, 3); its logarithm is normal about 0.

        >>> many = np.random.default_rng(0).uniform(-9, 9, (4000, 3))
        >>> bool(abs(np.log(Patches(0.5, seed=3).factors(many)).std() - 0.5) < 0.05)
        True
        """
        rng = np.random.default_rng(self.seed)
        waves = rng.normal(0.0, 1.0 / self.length_m, (3, _WAVES))
        phase = rng.uniform(0.0, 2.0 * np.pi, _WAVES)
        field = np.cos(points_m @ waves + phase).sum(axis=1) * np.sqrt(2.0 / _WAVES)
        return np.asarray(np.exp(self.spread * field), dtype=np.float64)

    def pores(self, mesh: Mesh, pores: Floats) -> Floats:
        """The pore space when built that gives cells of *pores* (a field) these factors."""
        return _pores(self.factors(mesh.centres()), mesh, pores)


@dataclass(frozen=True, slots=True)
class Bumps:
    """Looser or closer places about given points: points_m; logs : logarithm of the factor on the
    permeability at each; reach_m : how far a place reaches (SD of a bell curve), 0.05 to 5 m.
    Raises `InputError` out of range or for lists of different length."""

    points_m: tuple[tuple[float, float, float], ...]
    logs: tuple[float, ...]
    reach_m: float = 0.2

    def __post_init__(self) -> None:
        if len(self.points_m) != len(self.logs):
            raise InputError("one logarithm a point", field="logs", value=len(self.logs))
        if not 0.05 <= self.reach_m <= 5.0:
            raise InputError("give 0.05 to 5", field="reach_m", value=f"{self.reach_m:g}")

    def factors(self, points_m: Floats) -> Floats:
        """Factor on the permeability at places (n, 3).

        >>> float(Bumps(((0.0, 0.0, 0.5),), (1.0,)).factors(np.array([[0.0, 0.0, 0.5]]))[0])
        2.718281828459045
        """
        made = np.zeros(len(points_m))
        for point, log in zip(self.points_m, self.logs, strict=True):
            gap = ((points_m - np.asarray(point)) ** 2).sum(axis=1)
            made += log * np.exp(-gap / (2.0 * self.reach_m**2))
        return np.asarray(np.exp(made), dtype=np.float64)

    def pores(self, mesh: Mesh, pores: Floats) -> Floats:
        """The pore space when built that gives cells of *pores* (a field) these factors."""
        return _pores(self.factors(mesh.centres()), mesh, pores)


def _pores(factors: Floats, mesh: Mesh, pores: Floats) -> Floats:
    made = pores.copy()
    wanted = _openness(pores[mesh.cells]) / factors
    made[mesh.cells] = np.interp(wanted, _openness(_PORES), _PORES)
    return made


def _openness(pores: Floats) -> Floats:
    """What the permeability grows with (Kozeny and Carman)."""
    return pores**3 / (1.0 - pores) ** 2
