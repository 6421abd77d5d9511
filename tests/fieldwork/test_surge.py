"""From a site to a run, and what its volumes mean."""

from dataclasses import replace

import numpy as np
import pytest

from dbox.errors import DomainError
from dbox.fieldwork.readings import measured_lips
from dbox.fieldwork.site import Box, Site, Works
from dbox.fieldwork.surge import (
    FRAMES,
    YEAR,
    Ponding,
    frame_times,
    house_days,
    house_event,
    line_flow,
    plan,
    run,
    run_days,
    settling_rates,
    shown_until,
    side_by_side,
    system_of,
)
from dbox.hydraulics.surge.inflow import PER_PERSON, steady
from dbox.hydraulics.surge.parts import SupplyPipe, Tank, Trench
from dbox.hydraulics.surge.stepper import surge
from dbox.report.wording import sentences
from dbox.units import DAY, TRICKLE
from tests.fieldwork.sites import INCH, SIDES, box

PIPE = SupplyPipe(length=9.0, diameter=0.1, fall=0.01)
TRENCH = Trench(length=18.0, width=0.6, depth=0.6, pipe_height=0.2, acceptance=1.5e-7)
TANK = Tank(area=3.7, outlet=0.1)
SIXTEENTH = INCH / 16
READINGS = (0.0, 0.0, 2 * SIXTEENTH, 2 * SIXTEENTH)


def site(readings=READINGS, **works) -> Site:
    """Four lines off level, in a box of 16 by 20 in."""
    parts = {"people": 4, "tank": TANK, "supply": PIPE, "trenches": (TRENCH,) * len(readings)}
    return box(
        readings,
        positions=SIDES,
        box=Box(inside=(16 * INCH, 20 * INCH), rim=0.15, inlet="tee"),
        works=Works(**{**parts, **works}),
    )


def test_heights_of_a_system() -> None:
    """A trench lies under its lip by the header's fall and the height of its pipe."""
    header = SupplyPipe(length=3.0, diameter=0.1, fall=0.02)
    system = system_of(site(headers=(header, None, header, None)), 1e-5)
    lips = np.array(READINGS)
    assert system.lips == pytest.approx(lips)
    assert system.bottoms == pytest.approx(lips - 0.2 - np.array([0.06, 0, 0.06, 0]))
    assert system.delays == pytest.approx([header.delay(1e-5), 0, header.delay(1e-5), 0])
    assert system.area == pytest.approx(320 * INCH**2)
    assert system.rim_length == pytest.approx(72 * INCH)


def test_plan_of_a_round_box() -> None:
    assert plan(Box(shape="round", inside=(0.5,))) == pytest.approx((np.pi / 16, np.pi / 2))


@pytest.mark.parametrize(
    ("ask", "fault"),
    [
        (lambda: run(box([0.0, 0.0]), steady(1e-4, 60.0)), "add inside = "),
        (lambda: run(site((0.0, None, 0.0, 0.0)), steady(1e-4, 60.0)), "no reading for open"),
        (lambda: settling_rates(box([0.0, 0.0]), 0.01, "right"), "place of every open outlet"),
        (lambda: settling_rates(site(), 0.01, "up"), "up"),
        (lambda: house_days(site(people=None), 1, 0), r"add people = 4 under \[house\]"),
    ],
)
def test_what_cannot_be_run_is_refused(ask, fault: str) -> None:
    with pytest.raises(DomainError, match=fault):
        ask()


def test_only_a_straight_inlet_throws_a_jet() -> None:
    for inlet, there in (("straight", True), ("tee", False), ("baffle", False), (None, False)):
        one = replace(site(), box=replace(site().box, inlet=inlet))
        assert (system_of(one, 1e-5).jet is not None) == there
    bare = replace(site(), box=replace(site().box, inlet="straight"))
    no_places = replace(bare, outlets=tuple(replace(o, position=None) for o in bare.outlets))
    found = run(no_places, steady(1e-3, 60.0))
    assert found.surge.system.jet is None
    assert any("places of outlets are not given" in w for w in sentences(found.warnings))


def test_only_outlets_in_the_far_wall_face_the_jet() -> None:
    far = ((16 * INCH, 10 * INCH), *SIDES[1:])
    straight = replace(
        box([0.0] * 4, positions=far, works=Works(supply=PIPE)),
        box=Box(inside=(16 * INCH, 20 * INCH), inlet="straight"),
    )
    jet = system_of(straight, 1e-5).jet
    assert jet is not None
    assert jet.facing.tolist() == [1.0, 0.0, 0.0, 0.0]
    assert jet.offset[0] == pytest.approx(0.0)


def test_load_is_the_day_s_volume_or_the_share_of_what_people_send() -> None:
    event = run(site(), house_event(["shower"]))
    assert event.load == pytest.approx(4 * PER_PERSON / DAY * event.surge.share)
    assert event.ponding is None
    day = run_days(site(), 1, seed=3)
    assert day.load == pytest.approx(day.surge.volume[-1] / DAY)
    assert day.capacity == pytest.approx([TRENCH.capacity] * 4)
    nobody = run(site(people=None), house_event(["shower"]))
    assert np.all(np.isnan(nobody.load))
    assert nobody.overloaded == ()


def test_the_load_of_a_longer_run_is_that_of_one_of_its_days() -> None:
    """Exact: what ran in over the run, by its three days of 86,400 s; a load is a rate."""
    days = run_days(site(), 3, seed=3)
    assert days.load == pytest.approx(days.surge.volume[-1] / (3 * 86400.0))
    # four people send one day's water a day, whatever the length of the run; days differ by chance
    assert 0.5 < days.load.sum() / (4 * PER_PERSON / 86400.0) < 1.5


def test_overloaded_is_more_than_a_trench_takes() -> None:
    tight = replace(TRENCH, acceptance=TRENCH.acceptance / 5)
    day = run_days(site(trenches=(tight,) * 4), 1)
    wanted = np.flatnonzero(day.surge.volume[-1] > tight.capacity * DAY).tolist()
    assert list(day.overloaded) == wanted
    assert wanted


@pytest.mark.slow
def test_the_low_side_ponds_first_and_a_level_box_later() -> None:
    """Exact: a level box gives every trench a quarter, the tilted one gives the low side more."""
    tight = replace(TRENCH, acceptance=TRENCH.acceptance / 1.5)
    outcome = run_days(site(trenches=(tight,) * 4), 40, seed=2)
    ponding = outcome.ponding
    assert ponding is not None
    assert ponding.line in (0, 1)
    assert ponding.time == np.nanmin(outcome.surge.time_full)
    assert ponding.level_line is None or ponding.level_time > ponding.time
    assert ponding.sooner > 0


def test_shares_while_dry_lips_hold_water_back() -> None:
    """Two ways: the runs of the site's system with the least and the most hold-back."""
    event = steady(TRICKLE, 900.0)
    at_site = replace(site(), hold_back=(0.002, 0.004))
    found = run(at_site, event)
    system = system_of(at_site, line_flow(at_site, event))
    each = [
        surge(replace(system, hold_back=hold), event, seconds=found.surge.seconds,
              max_change=0.1).share
        for hold in at_site.hold_back
    ]  # fmt: skip
    assert np.array_equal(found.rising, np.sort(each, axis=0))
    # a trickle that dry lips hold back goes to the low ones, the more so
    assert np.all(found.rising[1, :2] > found.surge.share[:2] + 0.02)


def test_nothing_held_back_changes_no_share() -> None:
    event = steady(TRICKLE, 900.0)
    none = run(replace(site(), hold_back=(0.0, 0.0)), event)
    assert np.array_equal(none.rising, [none.surge.share] * 2)
    assert np.array_equal(run(site(), event).surge.volume, none.surge.volume)


def test_a_level_box_shares_equally_however_much_it_holds_back() -> None:
    found = run(site((0.0,) * 4), house_event(["shower"]))
    assert found.rising == pytest.approx(np.full((2, 4), 0.25), abs=1e-12)


def test_runs_of_many_days_are_not_run_again() -> None:
    assert np.all(np.isnan(run_days(site(), 3).rising))


def test_a_level_box_ponds_no_sooner_than_itself() -> None:
    """Two ways: the run of a level box against the refilling that stands for it."""
    tight = replace(TRENCH, acceptance=TRENCH.acceptance / 6)
    ponding = run_days(site((0.0,) * 4, trenches=(tight,) * 4), 12, seed=5).ponding
    assert ponding is not None
    assert ponding.line is not None
    assert ponding.level_time == pytest.approx(ponding.time, abs=3600.0)


def test_a_jet_is_not_laid_on_lips_that_are_level() -> None:
    """The same, where a jet sends one line more than the others get."""
    tight, far = replace(TRENCH, acceptance=TRENCH.acceptance / 6), (16 * INCH, 10 * INCH)
    level = site((0.0,) * 4, trenches=(tight,) * 4, tank=None)
    one, *others = level.outlets
    struck = replace(
        level,
        box=replace(level.box, inlet="straight"),
        outlets=(replace(one, position=far), *others),
    )
    ponding = run_days(struck, 6, seed=5).ponding
    assert ponding is not None
    assert (ponding.line, ponding.level_line) == (0, 0)
    # without its jet the level box would take half as long again
    assert ponding.level_time == pytest.approx(ponding.time, abs=3600.0)


def test_sooner() -> None:
    none = Ponding(line=None, time=np.nan, level_line=None, level_time=np.nan)
    assert none.sooner == 0.0
    only = Ponding(line=1, time=5.0, level_line=None, level_time=np.nan)
    assert only.sooner == np.inf
    assert Ponding(line=1, time=5.0, level_line=0, level_time=9.0).sooner == 4.0


def test_settling_sinks_one_side() -> None:
    rates = settling_rates(site(), 0.01, "right")
    across = np.array([place[1] for place in SIDES]) / (20 * INCH)
    assert rates * YEAR == pytest.approx(-0.01 * across)
    assert settling_rates(site(), 0.01, "left") * YEAR == pytest.approx(-0.01 * (1 - across))
    along = np.array([place[0] for place in SIDES]) / (16 * INCH)
    assert settling_rates(site(), 0.01, "far") * YEAR == pytest.approx(-0.01 * along)


def test_side_by_side_lets_in_the_same_volume() -> None:
    outcomes = side_by_side(site(), 0.05)
    assert [o.surge.event.name for o in outcomes] == ["trickle", "pour", "dose"]
    assert [o.surge.inflow_volume for o in outcomes] == pytest.approx([0.05] * 3)
    low = [float(o.surge.share[0]) for o in outcomes]
    assert low == sorted(low, reverse=True)


FLOODED, FULL = replace(TRENCH, ponding=0.4), replace(TRENCH, ponding=0.6, pipe_height=0.58)
WASHER, POUR = house_event(["washer"]), steady(1e-3, 60.0)


@pytest.mark.parametrize(
    ("event", "parts", "said"),
    [
        (WASHER, {"tank": None}, "[tank] is not given"),
        (WASHER, {"supply": None}, "[supply] is not given"),
        (WASHER, {"trenches": ()}, "[trench] is not given"),
        (steady(5e-3, 60.0), {"rim": 0.01}, "overtops"),
        (POUR, {"inlet_drop": 0.005}, "backs up toward the tank"),
        (POUR, {"trenches": (FLOODED, TRENCH, TRENCH, TRENCH)}, "stands over the lip of outlet 1"),
        (steady(2e-3, 600.0), {"trenches": (FULL,) * 4}, "come to the surface"),
        (steady(0.02, 60.0, entry="supply"), {}, "supply pipe runs full"),
        (POUR, {"trenches": (replace(TRENCH, soil="smeared"),) * 4}, "invented"),
        (steady(TRICKLE / 3, 3600.0), {}, "surface tension"),
    ],
)
def test_what_is_left_out_and_what_goes_over_is_said(event, parts, said) -> None:
    box_parts = {key: parts[key] for key in parts if key in ("rim", "inlet_drop")}
    one = site(**{key: parts[key] for key in parts if key not in box_parts})
    one = replace(one, box=replace(one.box, **box_parts))
    assert any(said in sentence for sentence in sentences(run(one, event).warnings))


def test_a_quiet_site_says_no_more_than_its_readings() -> None:
    assert run(site(), steady(1e-3, 120.0)).warnings == measured_lips(site()).warnings


# What of a run is shown.

SHOWN = {"shower": house_event(["shower"]), "pour": steady(5e-4, 60.0), "flood": steady(9e-3, 20.0)}


@pytest.mark.parametrize("event", SHOWN.values(), ids=SHOWN)
def test_a_film_lingers_where_lines_start_and_hurries_through_the_recession(event) -> None:
    found = run(site(), event).surge
    at = frame_times(found)
    assert at.size == FRAMES
    assert np.all(np.diff(at) > 0)
    assert (at[0], at[-1]) == (0.0, pytest.approx(shown_until(found)))
    starts = found.first_flow[np.isfinite(found.first_flow)]
    frames = np.interp([starts.min(), starts.max(), found.peak_time], at, np.arange(at.size))
    # 25 frames of 0.08 s are the 2 s that a film takes at least
    assert starts.size > 1
    assert frames[1] - frames[0] >= 25
    speed = np.diff(at)
    starting = (starts.max() - starts.min()) / (frames[1] - frames[0])
    assert speed[-1] > 20 * starting
    # slower where the water turns than halfway from there to the end, and no jump
    turn = int(frames[2])
    assert speed[turn] < speed[(turn + FRAMES) // 2]
    assert np.abs(np.diff(np.log(speed))).max() < np.log(1.5)


def test_films_of_several_runs_linger_at_the_starts_of_them_all() -> None:
    runs = [run(site(), event).surge for event in SHOWN.values()]
    at = frame_times(*runs, frames=200)
    starts = np.concatenate([each.first_flow for each in runs])
    first, last = np.interp([np.nanmin(starts), np.nanmax(starts)], at, np.arange(200))
    assert last - first >= 25
    assert at[-1] == pytest.approx(max(shown_until(each) for each in runs))


def test_the_starting_takes_its_part_of_films_of_any_shape() -> None:
    rng = np.random.default_rng(3)
    blank = run(site(), SHOWN["pour"]).surge
    for _ in range(100):
        until = 10.0 ** rng.uniform(1, 6)
        first, lasts = until * 10.0 ** rng.uniform([-6, -7], [-0.4, -0.5])
        time = np.linspace(0.0, until, blank.time.size)
        flow = first + lasts * rng.random(blank.first_flow.size)
        peak = float(rng.choice([rng.uniform(0, until), first + lasts * rng.uniform(0, 2)]))
        made = replace(blank, time=time, first_flow=flow, peak_time=peak)
        for frames in (51, FRAMES):
            at = frame_times(made, frames=frames)
            within = np.interp([flow.min(), flow.max()], at, np.arange(frames))
            assert np.all(np.diff(at) > 0)
            if flow.max() < shown_until(made):
                assert np.ptp(within) >= 24.5


def test_a_run_is_shown_until_99_per_cent_have_passed() -> None:
    found = run(site(), SHOWN["shower"]).surge
    passed = found.volume.sum(1) + found.spilled
    row = int(np.searchsorted(found.time, shown_until(found)))
    assert passed[row] >= 0.99 * passed[-1] > passed[row - 1]


def test_a_run_in_which_nothing_moves_is_shown_to_its_end() -> None:
    found = run(site(), SHOWN["pour"]).surge
    nothing = {part: 0 * getattr(found, part) for part in ("inflow", "flow", "volume")}
    assert frame_times(replace(found, **nothing))[-1] == found.seconds


# A capped outlet takes no part, and heights count from the lips alone.

SMALL_TRENCH = Trench(length=6.0, width=0.6, depth=0.6, pipe_height=0.2, acceptance=1.5e-7)


def small_site(
    readings: tuple[float | None, ...], capped: tuple[int, ...] = (), **measures
) -> Site:
    return box(
        readings,
        capped=capped,
        box=Box(inside=(16 * INCH, 20 * INCH), rim=0.3, inlet="tee", **measures),
        works=Works(people=4, trenches=(SMALL_TRENCH,) * len(readings)),
    )


@pytest.mark.slow
def test_a_capped_outlet_is_as_one_that_is_not_there() -> None:
    """In the run, and in the level box that it is held against."""
    readings = (0.0, INCH / 16, INCH / 8)
    three = run_days(small_site(readings), 2)
    four = run_days(small_site((*readings, 0.0), capped=(3,)), 2)
    assert three.ponding is not None
    assert four.ponding is not None
    assert three.ponding.level_line is not None
    assert four.ponding.line == three.ponding.line
    assert four.ponding.time == pytest.approx(three.ponding.time, rel=1e-6)
    assert four.ponding.level_time == pytest.approx(three.ponding.level_time, rel=1e-6)


def test_the_open_lines_carry_what_is_poured() -> None:
    poured = steady(3e-4, 60.0)
    assert line_flow(small_site((0.0,) * 4, capped=(1,)), poured) == pytest.approx(1e-4)
    assert line_flow(small_site((0.0,) * 4), poured) == pytest.approx(0.75e-4)


@pytest.mark.parametrize("up", [-0.1, 0.0, 0.1])
def test_where_the_readings_count_from_does_not_back_the_inlet_up(up: float) -> None:
    """60 mm of inlet drop over lips that a steady 15 L/min stands some 15 mm above."""
    poured = steady(2.5e-4, 300.0)
    for drop, backs_up in ((0.06, False), (0.002, True)):
        said = sentences(run(small_site((up,) * 4, inlet_drop=drop), poured).warnings)
        assert any("backs up toward the tank" in sentence for sentence in said) is backs_up
