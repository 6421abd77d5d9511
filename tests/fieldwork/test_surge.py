"""From a site to a run, and what its volumes mean."""

from dataclasses import replace

import numpy as np
import pytest

from dbox.errors import DomainError
from dbox.fieldwork.site import Box, Site, Works
from dbox.fieldwork.surge import (
    TRICKLE,
    YEAR,
    Ponding,
    house_days,
    house_event,
    plan,
    prepare,
    run,
    run_days,
    settling_rates,
    side_by_side,
)
from dbox.hydraulics.surge.inflow import steady
from dbox.hydraulics.surge.parts import SupplyPipe, Tank, Trench
from dbox.hydraulics.surge.sources import DAY, PER_PERSON
from dbox.report.wording import sentences
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
    system = prepare(site(headers=(header, None, header, None)), 1e-5).system
    lips = np.array(READINGS)
    assert system.lips == pytest.approx(lips)
    assert system.bottoms == pytest.approx(lips - 0.2 - np.array([0.06, 0, 0.06, 0]))
    assert system.delays == pytest.approx([header.delay(1e-5), 0, header.delay(1e-5), 0])
    assert system.area == pytest.approx(320 * INCH**2)
    assert system.rim_length == pytest.approx(72 * INCH)


def test_plan_of_a_round_box() -> None:
    assert plan(Box(shape="round", inside=(0.5,))) == pytest.approx((np.pi / 16, np.pi / 2))


def test_a_box_without_its_inside_is_refused() -> None:
    with pytest.raises(DomainError, match=r"add inside = "):
        run(box([0.0, 0.0]), steady(1e-4, 60.0))


def test_an_unmeasured_lip_is_refused() -> None:
    with pytest.raises(DomainError, match="no reading for open outlet 2"):
        run(site((0.0, None, 0.0, 0.0)), steady(1e-4, 60.0))


def test_only_a_straight_inlet_throws_a_jet() -> None:
    for inlet, there in (("straight", True), ("tee", False), ("baffle", False), (None, False)):
        one = replace(site(), box=replace(site().box, inlet=inlet))
        assert (prepare(one, 1e-5).system.jet is not None) == there
    bare = replace(site(), box=replace(site().box, inlet="straight"))
    no_places = replace(bare, outlets=tuple(replace(o, position=None) for o in bare.outlets))
    found = prepare(no_places, 1e-5)
    assert found.system.jet is None
    assert "places of outlets are not given" in sentences(found.warnings)[-1]


def test_only_outlets_in_the_far_wall_face_the_jet() -> None:
    far = ((16 * INCH, 10 * INCH), *SIDES[1:])
    straight = replace(
        box([0.0] * 4, positions=far, works=Works(supply=PIPE)),
        box=Box(inside=(16 * INCH, 20 * INCH), inlet="straight"),
    )
    jet = prepare(straight, 1e-5).system.jet
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


def test_the_low_side_ponds_first_and_a_level_box_later() -> None:
    """Exact: a level box gives every trench a quarter, the tilted one gives the low side more."""
    tight = replace(TRENCH, acceptance=TRENCH.acceptance / 1.5)
    outcome = run_days(site(trenches=(tight,) * 4), 40, seed=2)
    ponding = outcome.ponding
    assert ponding is not None
    assert ponding.line in (0, 1)
    assert ponding.time == np.nanmin(outcome.surge.filled)
    assert ponding.level_line is None or ponding.level_time > ponding.time
    assert ponding.sooner > 0


def test_a_level_box_ponds_no_sooner_than_itself() -> None:
    """Two ways: the run of a level box against the refilling that stands for it."""
    tight = replace(TRENCH, acceptance=TRENCH.acceptance / 6)
    ponding = run_days(site((0.0,) * 4, trenches=(tight,) * 4), 12, seed=5).ponding
    assert ponding is not None
    assert ponding.line is not None
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


def test_settling_needs_places_and_a_side() -> None:
    with pytest.raises(DomainError, match="place of every open outlet"):
        settling_rates(box([0.0, 0.0]), 0.01, "right")
    with pytest.raises(DomainError, match="up"):
        settling_rates(site(), 0.01, "up")


def test_days_of_nobody_are_refused() -> None:
    with pytest.raises(DomainError, match=r"add people = 4 under \[house\]"):
        house_days(site(people=None), 1, 0)


def test_side_by_side_lets_in_the_same_volume() -> None:
    outcomes = side_by_side(site(), 0.05)
    assert [o.surge.event.name for o in outcomes] == ["trickle", "pour", "dose"]
    assert [o.surge.came for o in outcomes] == pytest.approx([0.05] * 3)
    low = [float(o.surge.share[0]) for o in outcomes]
    assert low == sorted(low, reverse=True)


def test_same_seed_same_run() -> None:
    first, again = run_days(site(), 2, seed=4), run_days(site(), 2, seed=4)
    assert first.surge.volume.tolist() == again.surge.volume.tolist()
    assert run_days(site(), 2, seed=5).surge.came != first.surge.came


def test_what_is_left_out_and_what_goes_over_is_said() -> None:
    bare = run(site(tank=None, supply=None, trenches=()), house_event(["washer"]))
    said = " ".join(sentences(bare.warnings))
    assert all(part in said for part in ("[tank]", "[supply]", "[trench]"))
    brim = replace(site(), box=replace(site().box, rim=0.01))
    assert any("overtops" in w for w in sentences(run(brim, steady(5e-3, 60.0)).warnings))
    dropped = replace(site(), box=replace(site().box, inlet_drop=0.005))
    assert any(
        "backs up toward the tank" in w
        for w in sentences(run(dropped, steady(1e-3, 60.0)).warnings)
    )
    flooded = replace(TRENCH, ponding=0.4)
    wet = run(site(trenches=(flooded, TRENCH, TRENCH, TRENCH)), steady(1e-3, 60.0))
    assert any("outlet 1 stands over its lip" in w for w in sentences(wet.warnings))
    full = replace(TRENCH, ponding=0.6, pipe_height=0.58)
    out = run(site(trenches=(full,) * 4), steady(2e-3, 600.0))
    assert any("come to the surface" in w for w in sentences(out.warnings))
    smeared = replace(TRENCH, soil="smeared")
    invented = run(site(trenches=(smeared,) * 4), steady(1e-3, 60.0))
    assert any("invented" in w for w in sentences(invented.warnings))
    trickle = run(site(), steady(TRICKLE / 3, 3600.0))
    assert any("surface tension" in w for w in sentences(trickle.warnings))


def test_a_quiet_site_says_nothing() -> None:
    assert run(site(), steady(1e-3, 120.0)).warnings == site_warnings()


def site_warnings() -> tuple[str, ...]:
    """What the readings alone give rise to."""
    return prepare(site(), 1e-5).warnings
