"""Spots and pipes stand where a tape would put them."""

from __future__ import annotations

import math

import pytest

from heapwright.domain.heap import SHAPES, Spot
from heapwright.domain.way import Vent
from heapwright.engine.scenario import HeapSpec
from heapwright.errors import InputError
from heapwright.services.heapplaces import Outline, outline_of, pipes_of, spots_of


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("height", [None, 1.0])
def test_the_outline_holds_the_volume_and_the_simulator_takes_it(
    shape: str, height: float | None
) -> None:
    outline, said = outline_of(shape, 3.0, height_m=height)
    assert ("height not measured" in said) == (height is None)
    steps = 4000
    dz = outline.height_m / steps
    halves = [outline.half_m((k + 0.5) * dz) for k in range(steps)]
    if outline.round:
        volume = sum(math.pi * h * h * dz for h in halves)
    else:
        volume = sum(2 * h * outline.length_m * dz for h in halves)
    assert volume == pytest.approx(3.0, rel=1e-3)
    mesh = HeapSpec(
        3.0, shape=shape, height_m=outline.height_m, width_m=outline.width_m,
        length_m=None if outline.round else outline.length_m, dx_m=0.15,
    ).mesh()  # fmt: skip
    assert mesh.volume_m3 == pytest.approx(3.0)


def _mound() -> Outline:
    return outline_of("mound", 1.2, height_m=1.1)[0]


def test_a_probe_goes_in_at_right_angles_and_as_deep_as_said() -> None:
    mound = _mound()
    (core, south, north), said = spots_of(
        [
            Spot("core", 0.5, position="top, straight down"),
            Spot("south", 0.35, position="south flank, half way up"),
            Spot("n", 0.35, position="north side, 30 cm up"),
        ],
        mound,
    )
    assert said == ()
    assert core.point_m == pytest.approx((0, 0, 0.6))
    entry = (0.0, -mound.half_m(0.55), 0.55)
    assert math.dist(entry, south.point_m) == pytest.approx(0.35)
    assert south.point_m[1] < 0 < north.point_m[1]
    # nearest way out is the way it came in: the tip lies 35 cm from the skin everywhere else
    for k in range(200):
        z = 1.1 * (k + 0.5) / 200
        assert math.dist((0.0, -mound.half_m(z), z), south.point_m) >= 0.349
    x, y, z = north.point_m
    assert math.dist((0.0, mound.half_m(0.3), 0.3), (x, y, z)) == pytest.approx(0.35)


@pytest.mark.parametrize(
    ("spot", "axis", "sign"),
    [("west flank", 0, -1), ("east flank, one third up", 0, 1), ("north-east side", 1, 1)],
)
def test_sides_are_compass_sides(spot: str, axis: int, sign: int) -> None:
    (tip,), _ = spots_of([Spot("s", 0.2, position=spot)], _mound())
    assert math.copysign(1, tip.point_m[axis]) == sign


def test_what_is_not_said_is_taken_for_granted_aloud() -> None:
    _, said = spots_of([Spot("one", 0.3), Spot("two", 0.3, position="flank")], _mound())
    assert said == (
        "spot one: straight down from the top, 30 cm deep",
        "spot two: side not named, south taken, height on the flank not named, half way up taken",
    )
    _, said = spots_of([Spot("deep", 2.0, position="top")], _mound())
    assert "would reach the ground" in said[0]
    found, said = spots_of([], _mound())
    assert found[0].point_m == (0, 0, pytest.approx(0.55))
    assert "no spots in the plan" in said[0]


def test_ends_of_a_windrow_are_its_short_sides() -> None:
    windrow, _ = outline_of("windrow triangle", 12.0, height_m=1.2)
    found, _ = spots_of(
        [Spot("e", 0.4, position="east end, half way up"), Spot("n", 0.4, position="north flank")],
        windrow,
    )
    assert found[0].point_m == pytest.approx((windrow.length_m / 2 - 0.4, 0.0, 0.6))
    assert found[1].point_m[0] == 0.0
    assert found[1].point_m[1] > 0


def test_pipes_lie_where_the_distances_to_the_probe_put_them() -> None:
    mound = _mound()
    spots = [
        Spot("core", 0.5, 0.3, "top, straight down"),
        Spot("south", 0.35, 0.3, "south flank, half way up"),
    ]
    points, _ = spots_of(spots, mound)
    pipes, said = pipes_of(Vent(2, spacing_m=0.6), mound, spots, points)
    assert [p.points_m[0][1] for p in pipes] == [-0.3, 0.3]
    height = pipes[0].points_m[0][2]
    assert 0.55 < height < 0.75
    assert f"pipes lie {height * 100:.0f} cm above the ground" in said[0]
    # mouths stand out of the skin on both sides
    x0, x1 = pipes[0].points_m[0][0], pipes[0].points_m[1][0]
    assert x1 == -x0
    assert x1 > mound.chord_m(0.3, height)


def test_a_distance_that_cannot_be_met_is_told() -> None:
    mound = _mound()
    spots = [Spot("core", 0.5, 1.5, "top, straight down")]
    points, _ = spots_of(spots, mound)
    _, said = pipes_of(Vent(1), mound, spots, points)
    assert any("150 cm in the plan" in s for s in said)


def test_upright_pipes_stand_and_open_above_the_skin() -> None:
    mound = _mound()
    pipes, said = pipes_of(Vent(2, upright=True, spacing_m=0.5, state="plugged"), mound, [], [])
    assert len(pipes) == 2
    for pipe in pipes:
        (_, y0, z0), (_, y1, z1) = pipe.points_m
        assert y0 == y1
        assert z0 < 0.05
        assert mound.half_m(z1 - 0.06) == pytest.approx(abs(y1), abs=0.05)
        assert not pipe.both_open
        assert pipe.state == "plugged"
    assert "upright" in said[0]


def test_pipes_cross_a_windrow() -> None:
    windrow, _ = outline_of("windrow parabola", 12.0, height_m=1.2)
    pipes, said = pipes_of(Vent(3), windrow, [], [])
    assert all(p.points_m[0][0] == p.points_m[1][0] for p in pipes)
    assert any("distance between the pipes not given" in s for s in said)
    assert any("15 cm above the ground" in s for s in said)


def test_an_unknown_shape_is_refused() -> None:
    with pytest.raises(InputError, match="mound"):
        outline_of("pyramid", 1.0)
