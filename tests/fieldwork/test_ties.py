"""The box found by its ties: closed forms, drawn places, and what tapes cannot tell."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import least_squares

from dbox.errors import DomainError
from dbox.fieldwork.ties import Tie, Ties, locate
from dbox.report.wording import sentences

INCH = 0.0254


def taped(fixed, place, *, sides=True, off=(0.0, 0.0, 0.0), **more):
    """Ties from fixed points to a place, the second point on the x axis. [m]"""
    fixed, place = np.asarray(fixed, float), np.asarray(place, float)
    points = []
    for i, at in enumerate(fixed):
        between = np.hypot(*(fixed[:i] - at).T).tolist()
        known = dict(zip(("from_first", "from_second"), between, strict=False))
        if i == 2 and sides:
            known["side"] = "left" if at[1] > 0 else "right"
        far = float(np.hypot(*(place - at))) + off[i]
        points.append(Tie(name="ABC"[i], distance=far, **known))
    side = ("left" if place[1] > 0 else "right") if sides else None
    return Ties(points=tuple(points), **{"side": side, **more})


def kinds(found):
    return [note.what for note in found.warnings]


def test_two_tapes_of_a_right_triangle():
    """Closed form: 30 and 40 from points 50 apart cross at (18, 24), a triangle of 3, 4 and 5."""
    points = Tie(name="oak", distance=30.0), Tie(name="well", distance=40.0, from_first=50.0)
    for side, y in (("left", 24.0), ("right", -24.0)):
        found = locate(Ties(points=points, side=side))
        assert found.places == pytest.approx(np.array([[18.0, y]]))
        assert found.warnings == ()
    both = locate(Ties(points=points))
    assert both.places == pytest.approx(np.array([[18.0, 24.0], [18.0, -24.0]]))
    assert kinds(both) == ["ties: two places"]
    said = sentences(both.warnings)[0]
    assert "enter side under [ties], left or right as seen from oak to well" in said
    assert "third tie from a point well off that line" in said


def test_tapes_that_cross_squarely_move_the_place_by_both_errors():
    """Closed form: at a right angle the errors of two tapes add as sqrt(2)."""
    points = Tie(name="A", distance=30.0), Tie(name="B", distance=40.0, from_first=50.0)
    found = locate(Ties(points=points, side="left", spread=0.01))
    assert found.error == pytest.approx(0.01 * np.sqrt(2.0), rel=2e-3)


coordinate = st.floats(-40.0, 40.0)


@given(st.floats(2.0, 40.0), coordinate, coordinate, coordinate, coordinate)
def test_any_place_is_found_again(base, x, y, third_x, third_y):
    """Exact: distances made from a place lead back to it, by two ties and by three."""
    assume(abs(y) > 1.0 and abs(third_y) > 1.0)
    fixed = [(0.0, 0.0), (base, 0.0), (third_x, third_y)]
    assume(min(np.hypot(*np.subtract(fixed, (x, y)).T)) > 0.1)
    assume(min(np.hypot(third_x, third_y), np.hypot(third_x - base, third_y)) > 0.1)
    two = locate(taped(fixed[:2], (x, y)))
    assert two.places[0] == pytest.approx((x, y), abs=1e-6)
    three = locate(taped(fixed, (x, y)))
    assert three.places == pytest.approx(np.array([[x, y]]), abs=1e-6)
    assert three.points == pytest.approx(np.array(fixed), abs=1e-6)
    assert "ties: misfit" not in kinds(three)


def test_a_third_tie_tells_the_sides_apart():
    """Exact: the place on the side of the third point, and the one across from it."""
    fixed = [(0.0, 0.0), (10.0, 0.0), (4.0, 6.0)]
    for y in (7.0, -7.0):
        ties = taped(fixed, (3.0, y), sides=False)
        found = locate(ties)
        assert found.places == pytest.approx(np.array([[3.0, y]]))
        assert found.mirrored
        assert kinds(found) == ["ties: mirrored"]
        said = locate(Ties(points=ties.points, side="left"))
        # the box is on the left, so the third point is where its tape puts it
        assert said.places == pytest.approx(np.array([[3.0, 7.0]]))
        assert said.points[2] == pytest.approx((4.0, 6.0 if y > 0 else -6.0))
        assert said.warnings == ()


def test_a_third_point_in_line_tells_nothing():
    found = locate(taped([(0.0, 0.0), (10.0, 0.0), (16.0, 0.01)], (3.0, 7.0), sides=False))
    assert len(found.places) == 2
    assert kinds(found) == ["ties: third in line", "ties: mirrored"]


def test_three_tapes_that_do_not_agree_are_fitted_and_told():
    """Two ways: against scipy's least squares."""
    fixed = np.array([(0.0, 0.0), (10.0, 0.0), (4.0, 9.0)])
    ties = taped(fixed, (3.0, 5.0), off=(0.4, 0.0, 0.0))
    found = locate(ties)
    tapes = np.array([point.distance for point in ties.points])
    fit = least_squares(lambda p: np.hypot(*(p - fixed).T) - tapes, (3.0, 5.0), xtol=1e-14)
    assert found.places[0] == pytest.approx(fit.x, abs=1e-6)
    assert found.off == pytest.approx(-fit.fun, abs=1e-6)
    assert kinds(found) == ["ties: misfit"]
    good = locate(taped(fixed, (3.0, 5.0), off=(0.02, -0.02, 0.01)))
    assert good.warnings == ()


def test_tapes_that_barely_touch_put_the_box_in_line_and_say_how_well():
    points = Tie(name="A", distance=4.0), Tie(name="B", distance=5.99, from_first=10.0)
    found = locate(Ties(points=points))
    assert found.places == pytest.approx(np.array([[4.006, 0.0]]), abs=1e-3)
    assert kinds(found) == ["ties: weak"]


@pytest.mark.parametrize(
    ("points", "said"),
    [
        ([(3.0, None), (4.0, 10.0)], "the two points stand 32.8 ft (10.00 m) apart, 9.84 ft"),
        ([(3.0, None), (14.0, 10.0)], "they differ by 36.1 ft (11.00 m), and the two points stand"),
        ([(3.0, None)], "there are 1 fixed points; a box is found by two or three"),
        ([(3.0, None), (4.0, None)], "point[2] has no from_first; "),
        ([(6.0, None), (7.0, 10.0), (5.0, 3.0)], "point[3] has no from_second; "),
        ([(6.0, None), (7.0, 10.0), (5.0, 3.0, 4.0)], "the tapes from A, 9.84 ft"),
    ],
)
def test_ties_that_cannot_be_are_refused_with_numbers(points, said):
    names = ("from_first", "from_second")
    made = [
        Tie(name="ABC"[i], distance=far, **dict(zip(names, between, strict=False)))
        for i, (far, *between) in enumerate(points)
    ]
    with pytest.raises(DomainError) as caught:
        locate(Ties(points=tuple(made)))
    assert said in str(caught.value)
