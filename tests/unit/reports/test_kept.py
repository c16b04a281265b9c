"""Pictures are kept only where asked for, and only for the same content."""

from __future__ import annotations

from heapwright.reports import kept
from heapwright.reports.kept import drawn_once, keeping


def test_the_same_picture_is_drawn_once_and_another_anew() -> None:
    asked: list[tuple[list[float], str]] = []

    @drawn_once
    def draw(values: list[float], *, prefix: str) -> str:
        asked.append((values, prefix))
        return f"{prefix}{values}"

    with keeping():
        first = draw([1.0], prefix="a")
        assert draw([1.0], prefix="a") == first
        assert draw([1.5], prefix="a") != first
        assert draw([1.0], prefix="b") != first
    assert len(asked) == 3
    assert draw([1.0], prefix="a") == first
    assert len(asked) == 4


def test_the_oldest_gives_way() -> None:
    @drawn_once
    def number(n: int) -> str:
        return str(n)

    with keeping():
        assert [number(n) for n in range(100)] == [str(n) for n in range(100)]
    assert len(kept._DRAWN) == kept._MOST
