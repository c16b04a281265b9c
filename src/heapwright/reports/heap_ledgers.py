"""Where the heat, the water, the oxygen, the carbon and the nitrogen of a simulated heap went.

Units: MJ, kg, mol; pixels. Conventions: bars to the right add to the heap, to the left take from
it; every bar carries its number, and every account the share it does not close by.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from heapwright.engine.ledger import Account
from heapwright.engine.run import Run
from heapwright.reports.pictures import Picture, picture
from heapwright.reports.style import FAINT, INK, SOFT, WIDE_PX, fitted
from heapwright.reports.svg import Canvas

__all__ = ["heap_ledgers", "shown_terms"]

#: account: words, factor to the unit shown, unit shown
_SHOWN = {
    "energy": ("Heat", 1e-6, "MJ"), "water": ("Water", 1.0, "kg"), "oxygen": ("Oxygen", 1.0, "mol"),
    "carbon": ("Carbon", 1.0, "kg"), "nitrogen": ("Nitrogen", 1000.0, "g"),
}  # fmt: skip
_IN, _OUT = "#D55E00", "#0072B2"
_ROW, _HEAD, _TOP, _LEFT, _RIGHT = 20.0, 44.0, 56.0, 250.0, 20.0
#: terms smaller than this share of all flows are drawn as one
_SMALL = 0.005


def shown_terms(account: Account) -> list[tuple[str, float]]:
    """Terms of an account, largest first, the small ones together.

    >>> a = Account("kg")
    >>> a.add("rain", 100.0), a.add("dew", 0.1), a.add("vapour", -40.0), a.add("mist", -0.2)
    (None, None, None, None)
    >>> shown_terms(a)
    [('rain', 100.0), ('vapour', -40.0), ('all smaller ones', -0.1)]
    """
    gross = sum(abs(v) for v in account.terms.values())
    big = [(k, v) for k, v in account.terms.items() if abs(v) >= _SMALL * gross and v != 0]
    small = [v for k, v in account.terms.items() if (k, v) not in big and v != 0]
    big.sort(key=lambda term: -abs(term[1]))
    return [*big, ("all smaller ones", sum(small))] if small else big


def heap_ledgers(run: Run, *, title: str, prefix: str = "ledgers", note: str = "") -> Picture:
    """All accounts of a run as bars, as SVG and PNG; title : the heap and its way."""
    accounts = [(n, a, shown_terms(a)) for n, a in run.ledger.accounts().items()]
    accounts = [(n, a, terms) for n, a, terms in accounts if terms]
    height = _TOP + sum(_HEAD + _ROW * len(terms) + 12 for _, _, terms in accounts) + 8

    def draw() -> Canvas:
        canvas = Canvas.of(WIDE_PX, height)
        canvas.text(
            14, 24, fitted(f"{title}: where it went", WIDE_PX - 28, 15, bold=True), fontsize=15,
            fontweight="bold",
        )  # fmt: skip
        said = f"Simulated, {run.days_done:.0f} days. To the right: into the heap; to the left: out"
        canvas.text(14, 43, f"{note} {said} of it.".strip(), fontsize=11, color=SOFT)
        top = _TOP
        for name, account, terms in accounts:
            _account(canvas, name, account, terms, top)
            top += _HEAD + _ROW * len(terms) + 12
        return canvas

    closing = "; ".join(f"{n} {a.error_in_words}" for n, a, _ in accounts)
    return picture(
        draw, prefix, title=f"{title}: accounts",
        desc=f"Bars of every term of the accounts. Errors: {closing}.",
    )  # fmt: skip


def _account(
    canvas: Canvas, name: str, account: Account, terms: Sequence[tuple[str, float]], top: float
) -> None:
    words, factor, unit = _SHOWN[name]
    canvas.text(14, top + 18, f"{words}, {unit}", fontsize=13, fontweight="bold")
    held = (
        f"held {_number(account.start * factor)} at first, {_number(account.now * factor)} at "
        f"last; error of the account {account.error_in_words}"
    )
    canvas.text(14, top + 35, held, fontsize=11, color=SOFT)
    width = WIDE_PX - _LEFT - _RIGHT
    ax = canvas.axes(_LEFT, top + _HEAD - 2, width, _ROW * len(terms))
    amounts = [v * factor for _, v in terms]
    low, high = min(0.0, *amounts), max(0.0, *amounts)
    room = 0.16 * (high - low or 1)
    ax.set_xlim(low - (room if low < 0 else 0.02), high + (room if high > 0 else 0.02))
    ax.set_ylim(len(terms) - 0.5, -0.5)
    ax.axis("off")
    ax.axvline(0, color=INK, linewidth=1)
    for row, ((term, _), amount) in enumerate(zip(terms, amounts, strict=True)):
        _bar(ax, row, amount)
        canvas.text(
            _LEFT - 8, top + _HEAD - 2 + (row + 0.5) * _ROW + 4, fitted(term, _LEFT - 18, 10),
            ha="right", fontsize=11,
        )  # fmt: skip
    canvas.figure.add_artist(_rule(canvas, top))


def _bar(ax: Any, row: int, amount: float) -> None:
    ax.barh(
        row, amount, height=0.62, color=_IN if amount > 0 else _OUT, linewidth=0,
        alpha=1.0 if amount > 0 else 0.85,
    )  # fmt: skip
    ax.annotate(
        _number(amount), (amount, row), xytext=(4 if amount >= 0 else -4, 0),
        textcoords="offset points", va="center", ha="left" if amount >= 0 else "right", fontsize=11,
    )  # fmt: skip


def _rule(canvas: Canvas, top: float) -> Any:
    from matplotlib.lines import Line2D

    y = 1 - (top + 2) / canvas.height
    return Line2D([14 / canvas.width, 1 - 14 / canvas.width], [y, y], color=FAINT, linewidth=0.6)


def _number(amount: float) -> str:
    """Three digits, never in powers of ten."""
    size = abs(amount)
    digits = 0 if size >= 100 else 1 if size >= 10 else 2 if size >= 0.1 else 4
    text = f"{amount:,.{digits}f}".replace(",", " ").replace("-", "−")
    return text.rstrip("0").rstrip(".") if digits == 4 else text
