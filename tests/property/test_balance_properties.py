"""What holds of losses, ranges and closures whatever the numbers are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heapwright.science.balance import (
    Estimate,
    close,
    dry_mass_left,
    dry_mass_loss,
    organic_loss,
    propagate,
    share_lost,
    together,
)
from heapwright.units import Ranged

ASH = st.floats(0.005, 0.95)


@st.composite
def ranges(draw: st.DrawFn) -> Ranged:
    middle = draw(st.floats(0.1, 1e4))
    down, up = draw(st.floats(0, 0.4)), draw(st.floats(0, 0.4))
    return Ranged(middle, middle * (1 - down), middle * (1 + up))


@given(ASH, ASH)
def test_dry_mass_lost_is_the_organic_matter_lost(first: float, left: float) -> None:
    assert dry_mass_loss(first, left) == pytest.approx(
        (1 - first) * organic_loss(first, left), abs=1e-9
    )
    # and what is left holds the ash that was there
    assert dry_mass_left(100.0, first, left) * left == pytest.approx(100.0 * first)


@given(ranges(), ranges())
def test_a_loss_holds_its_number_and_wider_ends_widen_it(first: Ranged, left: Ranged) -> None:
    loss = share_lost(first, left)
    assert loss.low <= loss.typical <= loss.high
    narrow = share_lost(Ranged.exact(first.typical), left)
    assert loss.low <= narrow.low + 1e-12
    assert narrow.high <= loss.high + 1e-12
    twice = share_lost(first.scaled(2), left.scaled(2))
    assert (twice.low, twice.high) == pytest.approx((loss.low, loss.high))


@given(st.lists(ranges(), min_size=1, max_size=5))
def test_the_whole_holds_every_method_in_any_order(found: list[Ranged]) -> None:
    estimates = [Estimate(str(k), r) for k, r in enumerate(found)]
    whole, back = together(estimates), together(estimates[::-1])
    assert all(whole.whole.low <= r.low and r.high <= whole.whole.high for r in found)
    assert (whole.spread, whole.agree) == (back.spread, back.agree)
    assert whole.words()


@given(ranges(), st.floats(0, 1))
def test_an_exact_account_closes_within_rounding(came: Ranged, share: float) -> None:
    exact = Ranged.exact(came.typical)
    left = Ranged.exact(came.typical * share)
    out = Ranged.exact(came.typical - came.typical * share)
    assert close("anything", exact, left, out).closes is True
    assert close("anything", exact, Ranged.exact(came.typical * 1.01), out).closes is False


@given(ranges())
def test_a_number_used_twice_cancels(number: Ranged) -> None:
    ratio = propagate(lambda v: v["x"] / v["x"], {"x": number})
    assert (ratio.low, ratio.high) == pytest.approx((1.0, 1.0))
