"""Falls of pipes: numbers by hand, the slow way, and what the rod cannot tell."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.errors import DomainError
from dbox.fieldwork.grades import find_bellies, fit_line, grade, hold_to
from dbox.fieldwork.shares import SIDE_95
from dbox.fieldwork.survey import Limit, Limits, Run, Station, Survey
from dbox.hydraulics.pipes import CAPACITY, full_flow, header_check
from dbox.report.grades_report import doubts
from dbox.report.wording import sentences
from tests.fieldwork.sites import INCH, box

FOOT = 12 * INCH
SPREAD = INCH / 16
INSIDE = 4.026 * INCH
NO_FALL = Limits(supply_pipe=Limit(value=0.0, source="by hand"))

heights = st.lists(st.floats(-1.0, 1.0), min_size=3, max_size=12)


def run(rods, *, kind="supply pipe", step=5.0, name="", instrument=None, **more):
    """A run read every `step` feet; rods in inches, greater where the pipe is lower."""
    stations = tuple(
        Station(at=i * step * FOOT, rod=tuple(r * INCH for r in np.atleast_1d(rod)))
        for i, rod in enumerate(rods)
    )
    return Run(name=name or kind, kind=kind, stations=stations, instrument=instrument, **more)


def graded(*runs, spread=SPREAD, limits=None, **site):
    survey = Survey(runs=runs, spread=spread, limits=limits or Limits())
    return grade(replace(box([0.0] * 4, **site), grades=survey))


def only(*rods, **more):
    return graded(run(rods, **more)).runs[0]


def test_a_fall_by_hand():
    # 1 1/4 in in 5 ft is 1/4 in per ft; the difference of two readings has sqrt(2) times the spread
    found = only(10, 11.25, 12.5, kind="house sewer")
    assert found.pieces.fall == pytest.approx([1.25 * INCH] * 2, abs=1e-15)
    assert found.pieces.error == pytest.approx([SPREAD * np.sqrt(2)] * 2)
    assert found.length == pytest.approx([5 * FOOT] * 2)
    assert float(found.whole.fall) == pytest.approx(2.5 * INCH, abs=1e-15)
    assert float(found.whole.error) == pytest.approx(SPREAD * np.sqrt(2))
    # exactly at the limit, so as likely enough as not
    assert found.pieces.probability == pytest.approx([0.5, 0.5], abs=1e-9)
    assert found.pieces.verdicts == ("cannot tell", "cannot tell")


def test_a_margin_of_a_tabled_quantile():
    # the normal distribution: 1.2816, 1.6449 and 2.3263 leave 10, 5 and 1 % beyond
    margins = np.array([1.281551565545, 1.644853626951, 2.326347874041])
    held = hold_to(1.0 + margins, 1.0, 1.0)
    assert held.probability == pytest.approx([0.90, 0.95, 0.99], abs=1e-9)
    assert hold_to(1.0 - margins, 1.0, 1.0).probability == pytest.approx(
        [0.1, 0.05, 0.01], abs=1e-9
    )
    assert pytest.approx(margins[1], rel=1e-12) == SIDE_95


def test_the_four_verdicts():
    # half an inch in 5 ft is asked for here
    limits = Limits(supply_pipe=Limit(value=0.5 / 60, source="by hand"))
    found = graded(run([10, 11, 11.1, 11.65, 11.2]), limits=limits).runs[0]
    assert found.pieces.verdicts == ("enough", "too flat", "cannot tell", "back-pitched")
    assert found.limit.source == "by hand"


def test_the_probability_is_that_of_drawn_rods():
    rng = np.random.default_rng(4)
    drawn = rng.normal([10.0, 10.7], 1 / 16, (200_000, 2)) @ [-1.0, 1.0]
    share = float(np.mean(drawn >= 0.6))
    # of readings 0.7 in apart; the rod being as likely high as low, truth scatters alike
    assert float(only(10, 10.7).whole.probability) == pytest.approx(share, abs=0.004)


def test_repeats_and_the_default_spread():
    found = graded(run([[10, 10, 10, 10], [11]]), spread=None)
    assert found.spread == INCH / 8
    assert found.runs[0].error == pytest.approx([INCH / 16, INCH / 8])
    assert "1/8 in, common practice" in sentences(found.warnings)[0]


def test_what_would_settle_it():
    # 1/16 in over what is wanted, error sqrt(2)/16 in: (1.645 sqrt 2)^2 = 5.41 times the readings
    found = only(10, 10 + 0.6 + 1 / 16)
    assert float(found.whole.settling_repeats) == 6
    assert float(only(10, 12).whole.settling_repeats) == 1
    assert float(hold_to(1.0, 0.1, 1.0).settling_repeats) == np.inf


def test_no_more_readings_of_a_rod_are_promised_than_settle_anything():
    """As above, 6 times the readings: 6 in all where one was taken, 18 where there were three."""
    once, thrice = (
        graded(run([[10] * count, [10 + 0.6 + margin] * count]))
        for count, margin in ((1, 1 / 16), (3, 3**-0.5 / 16))
    )
    assert float(thrice.runs[0].whole.settling_repeats) == 6
    assert "6 times as many readings would settle it" in doubts(once)[0]
    assert "more readings with this rod will not settle it" in doubts(thrice)[0]


def test_a_belly_that_holds_water():
    # 3/4 in per 5 ft, but the third station 1 in low: under the line by 1 in, behind a dam 1/4 in
    found = only(10, 10.75, 12.5, 12.25, 13)
    assert found.sag[1:-1] / INCH == pytest.approx([-0.5, 1.0, -0.5])
    assert np.isnan(found.sag[[0, -1]]).all()
    assert found.belly.tolist() == [False, False, True, False, False]
    assert found.pond / INCH == pytest.approx([0, 0, 0.25, 0, 0])
    assert found.pieces.verdicts[2] == "back-pitched"


def test_a_sag_within_the_rods_error_is_no_belly():
    # its own error is sqrt(1 + 1/4 + 1/4) / 16 = 0.077 in; 5 % of one side is 0.126 in
    assert not only(10, 10.75 + 0.12, 11.5).belly.any()
    assert only(10, 10.75 + 0.13, 11.5).belly.tolist() == [False, True, False]


def test_uneven_spacing_weighs_the_nearer_neighbour_more():
    at = np.array([0.0, 1.0, 4.0])
    sag, _ = find_bellies(at, np.array([0.0, -0.5, -0.8]), np.eye(3))
    assert sag[1] == pytest.approx(0.5 - 0.8 / 4)


@pytest.mark.parametrize(("rough", "spread"), [(0, 7.570e-3), (2, 2.795e-3)])
def test_the_nearer_neighbour_brings_more_of_its_error(rough, spread):
    """Stations at 0, 1 and 4: the line between the ends stands at 3/4 of the first, 1/4 of the
    last. A neighbour read to 10 mm, the rest to 1 mm, so the sag is good to

        sqrt(1 + (3/4 10)^2 + (1/4 1)^2) = 7.570 mm where that is the near one,
        sqrt(1 + (3/4 1)^2 + (1/4 10)^2) = 2.795 mm where it is the far one,

    and is a belly from 1.6449 times that, the 95 % point of the normal distribution.
    """
    at, error = np.array([0.0, 1.0, 4.0]), np.full(3, 0.001)
    error[rough] = 0.010
    for part, bellied in ((0.99, False), (1.01, True)):
        sag = part * 1.6449 * spread
        _, belly = find_bellies(at, np.array([0.0, -sag, 0.0]), np.diag(error**2))
        assert bool(belly[1]) is bellied


def test_straight_pipes_are_seldom_called_bellied():
    rng = np.random.default_rng(11)
    at, straight = np.arange(9.0), -0.02 * np.arange(9.0)
    error = np.full(9, 0.003)
    called = [
        find_bellies(at, straight + rng.normal(0, error), np.diag(error**2))[1].any()
        for _ in range(3000)
    ]
    # at most 5 % of runs, and not so few that a belly could never be called
    assert 0.01 < np.mean(called) < 0.05 + 3 * np.sqrt(0.05 * 0.95 / 3000)


@given(heights)
def test_water_stands_as_deep_as_the_highest_point_further_down(levels):
    found = only(*[-level / INCH for level in levels])
    plain = [max(levels[i:]) - levels[i] for i in range(len(levels))]
    assert found.pond == pytest.approx(plain, abs=1e-12)


@given(heights, st.floats(-50.0, 50.0))
def test_moving_the_instrument_changes_nothing(levels, up):
    rods = [100.0 - level for level in levels]
    here, there = only(*rods), only(*[rod + up for rod in rods])
    assert here.pieces.fall == pytest.approx(there.pieces.fall, abs=1e-12)
    assert here.sag[1:-1] == pytest.approx(there.sag[1:-1], abs=1e-12)
    assert here.line.slope == pytest.approx(there.line.slope, abs=1e-12)


@given(heights)
def test_pieces_add_up_to_the_whole(levels):
    found = only(*levels)
    assert float(found.pieces.fall.sum()) == pytest.approx(float(found.whole.fall), abs=1e-12)


@given(st.floats(-0.1, 0.1), st.integers(2, 12))
def test_a_straight_pipe_has_its_slope_and_no_residual(slope, count):
    at = np.linspace(0.0, 10.0, count)
    line = fit_line(at, 3.0 - slope * at, np.full(count, 0.002))
    assert line.slope == pytest.approx(slope, abs=1e-12)
    assert np.abs(line.residual).max() < 1e-12
    assert line.slope_error == pytest.approx(0.002 / np.sqrt(count * at.var()))


def test_the_inlet_over_each_outlet():
    supply = run([30, 31, 32])
    headers = [
        run([rod, rod + 1], kind="header", name=f"header {i}", outlet=str(i))
        for i, rod in ((1, 34), (2, 32.5), (3, 31), (4, 33))
    ]
    drops = graded(supply, *headers).drops
    assert [float(d.fall.fall) / INCH for d in drops] == pytest.approx([2, 0.5, -1, 1])
    words = [d.fall.verdicts[0] for d in drops]
    assert words == ["enough", "too flat", "back-pitched", "cannot tell"]
    assert drops[0].limit.default
    assert drops[0].limit.value == INCH
    assert drops[0].outlet == "1"


def test_heights_from_two_places_are_not_compared():
    header = run([34, 35], kind="header", outlet="1", instrument="elsewhere")
    assert graded(run([30, 31, 32]), header).drops == ()


def test_a_drop_has_the_error_of_the_two_ends_that_meet_in_the_box():
    """Exact: one reading to 1/16 in at the inlet; four of the header where it leaves, so half that.

    The far ends, read once and nine times, have no part in it.
    """
    supply = run([[28] * 9, 30], instrument="box")
    header = run([[32] * 4, [33] * 9], kind="header", outlet="1", name="header 1", instrument="box")
    (drop,) = graded(supply, header).drops
    assert float(drop.fall.fall) == pytest.approx(2 * INCH)
    assert float(drop.fall.error) == pytest.approx(INCH / 16 * np.sqrt(1 + 1 / 4))


@pytest.mark.parametrize(("entered", "told"), [(2.0, False), (3.0, True)])
def test_the_entered_drop_is_that_over_the_highest_outlet(entered, told):
    """Water backs into the inlet once it stands over the outlet that is hardest to reach, so the
    drop that counts is the least one (common practice, no source)."""
    supply = run([28, 30], instrument="box")
    headers = [
        run([rod, rod + 1], kind="header", outlet=str(i), name=f"header {i}", instrument="box")
        for i, rod in ((1, 33), (2, 32), (3, 33))
    ]
    site = box([0.0] * 4)
    site = replace(site, box=replace(site.box, inlet_drop=entered * INCH))
    survey = Survey(runs=(supply, *headers), spread=SPREAD)
    warnings = sentences(grade(replace(site, grades=survey)).warnings)
    said = [sentence for sentence in warnings if "inlet drop" in sentence]
    assert len(said) == told
    assert all("76 mm; by the rod it is 51 mm over outlet 2" in sentence for sentence in said)


def test_a_header_is_steep_as_the_check_of_its_grade_says():
    for fall in (0.02, 0.1, 0.2, 0.3, 0.6, 1.2):
        found = only(10, 10 + fall, kind="header", outlet="2", diameter=INSIDE)
        assert found.header is not None
        low, high = (
            header_check(found.header.flow, INSIDE, found.line.slope + k * found.line.slope_error)
            for k in (-SIDE_95, SIDE_95)
        )
        for word, least, most in zip(found.header.verdicts, low.steep, high.steep, strict=True):
            assert word == (
                "steep" if least else "cannot tell" if most else "flatter than critical"
            )


def test_a_header_gets_its_target_share_of_every_flow():
    found = only(10, 11, kind="header", outlet="2", diameter=INSIDE)
    assert found.header is not None
    assert found.header.flow * 60e3 == pytest.approx([0.5, 5, 25])
    assert found.header.verdicts == ("steep",) * 3


def test_a_header_of_a_capped_outlet_is_dry_and_steep():
    survey = Survey(
        runs=(run([10, 11], kind="header", outlet="1", diameter=INSIDE),), spread=SPREAD
    )
    found = grade(replace(box([0.0] * 4, capped=(0,)), grades=survey)).runs[0]
    assert found.header is not None
    assert found.header.flow.tolist() == [0.0] * 3
    assert found.header.verdicts == ("steep",) * 3


def test_a_flat_header_backs_up():
    found = graded(run([10, 10.02], kind="header", outlet="2", diameter=INSIDE), spread=INCH / 1000)
    assert found.runs[0].header.verdicts == ("flatter than critical",) * 3
    assert found.verdict == "outside"


def test_capacity_is_that_of_the_straight_grade():
    found = only(10, 10.625, diameter=INSIDE)
    assert found.capacity == pytest.approx(CAPACITY * float(full_flow(INSIDE, 1 / 96)))
    assert np.isnan(only(10, 9, diameter=INSIDE).capacity)
    assert np.isnan(only(10, 11).capacity)


def test_a_supply_pipe_too_small_for_the_dose_is_told():
    # a dose of 100 L/min; 1 in inside at 1 % carries about 10 L/min
    found = graded(run([10, 10.6], diameter=INCH))
    assert any("runs full" in sentence for sentence in sentences(found.warnings))
    assert not graded(run([10, 10.6], diameter=INSIDE)).warnings


def test_stations_far_apart_are_told():
    limits = Limits(spacing=Limit(value=4 * FOOT, source="permit 7"))
    (told,) = sentences(graded(run([10, 12], step=9.0), limits=limits).warnings)
    assert told.startswith(
        "supply pipe: stations farther apart than about 4 ft (permit 7); a belly"
    )
    assert not graded(run([10, 12], step=4.5), limits=limits).warnings
    # nobody asks for a spacing, so none is missed
    assert not graded(run([10, 40], step=60.0)).warnings


def test_the_verdict_on_everything():
    assert graded(run([10, 11, 12])).verdict == "within"
    assert graded(run([10, 11, 11.6])).verdict == "cannot tell"
    assert graded(run([10, 11, 11.1])).verdict == "outside"
    # every piece falls enough: a change of grade sags, and drains
    changes = graded(run([10, 12, 13]))
    assert changes.runs[0].belly.tolist() == [False, True, False]
    assert changes.verdict == "within"
    # a belly so slight that no piece is surely back-pitched still holds water
    assert graded(run([10, 12, 11.99]), limits=NO_FALL).verdict == "outside"
    assert graded(run([10, 12, 12.01]), limits=NO_FALL).verdict == "cannot tell"


def test_nothing_read_and_no_such_outlet_are_refused():
    with pytest.raises(DomainError, match="no rod readings"):
        grade(box([0.0] * 4))
    with pytest.raises(DomainError, match="outlet 9"):
        graded(run([10, 11], kind="header", outlet="9", diameter=INSIDE))


def test_results_are_read_only():
    found = only(10, 11, 12, kind="header", outlet="1", diameter=INSIDE)
    falls = (found.pieces.fall, found.whole.error, found.pieces.probability)
    shape = (found.height, found.line.residual, found.sag, found.belly, found.pond)
    for array in (*falls, *shape, found.header.flow, found.header.normal_depth):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0


def stepped(blocks, *, level=4.0, every=None, tilt=0.0005, block=INCH / 32, **more):
    """A run checked with a level of so many feet; blocks in inches."""
    pipe = Run(
        name="pipe", kind=more.pop("kind", "supply pipe"), level=level * FOOT,
        blocks=tuple(b * INCH for b in blocks), every=every and every * FOOT, **more,
    )  # fmt: skip
    survey = Survey(runs=(pipe,), level_spread=tilt, block_spread=block)
    return grade(replace(box([0.0] * 4), grades=survey)).runs[0]


def test_blocks_by_hand():
    # 1/2 in under 4 ft is 1/8 in per ft; three of them in a row lose 1-1/2 in of 12 ft
    found = stepped([0.5, 0.5, 0.5])
    assert found.at / FOOT == pytest.approx([0, 4, 8, 12])
    assert found.pieces.fall / INCH == pytest.approx([0.5] * 3)
    assert float(found.whole.fall) / INCH == pytest.approx(1.5)
    assert found.line.slope == pytest.approx(1 / 96)
    assert found.line.residual == pytest.approx([0.0] * 4, abs=1e-12)
    assert found.method == "level and block"


def test_one_block_a_stick_stands_for_all_of_it():
    # 1/2 in under 4 ft on a stick of 10 ft: it loses 1-1/4 in
    found = stepped([0.5, 0.5], every=10.0)
    assert found.at / FOOT == pytest.approx([0, 10, 20])
    assert found.pieces.fall / INCH == pytest.approx([1.25] * 2)


def test_a_block_under_the_upper_end_is_a_rise():
    found = stepped([0.5, -0.25, 0.5])
    assert found.pieces.verdicts[1] == "back-pitched"
    assert found.pond[1] / INCH == pytest.approx(0.25)


@pytest.mark.parametrize("every", [None, 10.0])
def test_errors_of_blocks_are_those_of_made_up_levels(every):
    """A slow plain Monte Carlo: a level that is off the same way all along, blocks that are not."""
    rng, blocks, n = np.random.default_rng(5), np.array([0.5, 0.6, 0.4, 0.5]) * INCH, 40_000
    length, tilt, block = 4 * FOOT, 0.001, INCH / 24
    step = length if every is None else every * FOOT
    off = rng.normal(0, tilt, (n, 1))
    true_fall = step * ((blocks + rng.normal(0, block, (n, 4))) / length + off)
    height = np.hstack([np.zeros((n, 1)), -np.cumsum(true_fall, axis=1)])
    found = stepped(blocks / INCH, every=every, tilt=tilt, block=block)
    assert found.error[1:] == pytest.approx(height.std(0)[1:], rel=0.02)
    assert found.pieces.error == pytest.approx(true_fall.std(0), rel=0.02)
    assert float(found.whole.error) == pytest.approx(height[:, -1].std(), rel=0.02)
    assert found.line.slope_error == pytest.approx((height[:, -1] / (4 * step)).std(), rel=0.02)
    enough = (-height[:, -1] >= found.limit.value * 4 * step).mean()
    assert float(found.whole.probability) == pytest.approx(enough, abs=0.01)


def test_a_level_that_is_off_makes_no_belly():
    # the same error at every place leaves the line straight: even blocks never sag
    assert not stepped([0.5] * 6, tilt=0.02).belly.any()
    assert stepped([0.5, 1.5, 0.5, 0.5], tilt=0.02).belly.any()


def trench(rods, most=0.5, spread=INCH / 16, **more):
    allowed = None if most is None else Limit(value=most * INCH, source="by hand")
    survey = Survey(
        runs=(run(rods, kind="trench", **more),), spread=spread, limits=Limits(trench=allowed)
    )
    return grade(replace(box([0.0] * 4), grades=survey))


@pytest.mark.parametrize(
    ("rods", "most", "lean", "verdict", "whole"),
    [
        # 1/16 in a reading: a difference errs by 0.088 in, 0.145 in of it on one side
        ([60, 60.1, 60.2, 60.1], 0.5, None, "flat", "within"),
        ([60, 60.1, 60.2, 60.4], 0.5, None, "cannot tell", "cannot tell"),
        ([60, 60.5, 60.9, 61.3], 0.5, None, "leans toward its end", "outside"),
        ([60, 59.5, 59.1, 58.7], 0.5, None, "leans toward the box", "outside"),
        ([60, 61, 60.9, 60], 0.5, None, "uneven", "outside"),
        ([60, 60.1, 60.2, 60.3], 0.5, "toward its end", "flat", "within"),
        ([60, 60.1, 60.2, 60.3], 0.5, "toward the box", "leans toward its end", "outside"),
        ([60, 60.1, 60.2, 60.3], None, "toward the box", "leans toward its end", "outside"),
        ([60, 60.1, 60.2, 60.3], None, None, "leans toward its end", "cannot tell"),
        ([60, 60, 60, 60], None, None, "cannot tell", "cannot tell"),
    ],
)
def test_a_trench_bottom_is_flat_or_leans(rods, most, lean, verdict, whole):
    found = trench(rods, most, lean=lean)
    assert found.runs[0].flatness.verdict == verdict
    assert found.verdict == whole


def test_a_trench_at_the_edge_of_its_tolerance_is_seldom_called_either_way():
    """Drawn readings of a bottom that leans by just what is allowed: one time in twenty at most."""
    rng, true = np.random.default_rng(8), 60 + 0.5 * np.arange(5) / 4
    verdicts = [
        trench(rng.normal(true, 1 / 16).tolist()).runs[0].flatness.verdict for _ in range(200)
    ]
    allowed = 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)
    assert verdicts.count("flat") / 200 < allowed
    wrong = sum(verdict not in ("flat", "cannot tell") for verdict in verdicts)
    assert wrong / 200 < allowed


def test_nobody_who_names_a_tolerance_of_a_trench_is_told():
    (told,) = sentences(trench([60, 60], None).warnings)
    assert told.startswith("trench: no limit is entered for how far a trench bottom may be")
