"""Accounts of energy, water, oxygen, carbon and nitrogen: what came in, went out and stayed.

Units: J, kg, mol of oxygen. Conventions: terms are positive when they add to the heap; the error
of an account is its residual over the sum of the absolute terms, with what the heap holds taken
from the state's own enthalpy and masses, never from the fluxes.
"""

from __future__ import annotations

from dataclasses import dataclass, field

__all__ = ["Account", "Ledger"]


@dataclass(slots=True)
class Account:
    """One account: unit, what the heap held at first, and the terms summed so far."""

    unit: str
    start: float = 0.0
    now: float = 0.0
    terms: dict[str, float] = field(default_factory=dict)
    gross: float = 0.0

    def add(self, name: str, amount: float, *, moved: float | None = None) -> None:
        """Add an amount to a term; positive into the heap.

        moved : what came in and what went out added up, where *amount* is only their difference.
        """
        self.terms[name] = self.terms.get(name, 0.0) + amount
        self.gross += abs(amount) if moved is None else moved

    @property
    def residual(self) -> float:
        """What the terms do not explain of the change: now - start - sum of terms."""
        return self.now - self.start - sum(self.terms.values())

    @property
    def error(self) -> float:
        """Residual over the sum of absolute sources and fluxes; 0 when nothing flowed."""
        return abs(self.residual) / self.gross if self.gross > 0 else 0.0

    @property
    def error_in_words(self) -> str:
        """The error as a percentage, with a floor below which it says nothing.

        >>> account = Account("kg", now=3e-4)
        >>> account.add("rain", 1.0); account.add("drained", -1.0); account.error_in_words
        '0.015 %'
        """
        return "under 0.0001 %" if self.error < 1e-6 else f"{self.error * 100:.2g} %"


@dataclass(slots=True)
class Ledger:
    """The five accounts of a heap."""

    energy: Account = field(default_factory=lambda: Account("J"))
    water: Account = field(default_factory=lambda: Account("kg"))
    oxygen: Account = field(default_factory=lambda: Account("mol"))
    carbon: Account = field(default_factory=lambda: Account("kg"))
    nitrogen: Account = field(default_factory=lambda: Account("kg"))

    def accounts(self) -> dict[str, Account]:
        """All accounts by name."""
        return {
            "energy": self.energy, "water": self.water, "oxygen": self.oxygen,
            "carbon": self.carbon, "nitrogen": self.nitrogen,
        }  # fmt: skip
