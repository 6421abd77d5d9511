"""The guided set-up: what is asked when, what counts, and that playing back loses nothing."""

from dataclasses import replace

import numpy as np
import pytest

from dbox.errors import DomainError
from dbox.fieldwork.setup import (
    ClockSet,
    Closed,
    Confirmed,
    Correcting,
    Event,
    Left,
    Read,
    Settled,
    Skipped,
    Still,
    Stuck,
    Turned,
    Undone,
    begin,
    replay,
)
from dbox.fieldwork.site import Box, Tolerance
from tests.fieldwork.sites import INCH, SIDES, TRICKLE, box

STILL = Still(method="ruler")


def unread(n: int = 4, **site):
    return box([None] * n, clocks=0.0, **site)


def job(*events: Event, site=None):
    return replay(begin(unread() if site is None else site), events)


def reads(*heights: float) -> tuple[Event, ...]:
    """Two equal readings of each outlet, in order."""
    return tuple(Read(outlet=i, heights=(h, h)) for i, h in enumerate(heights))


def asked(*events: Event, site=None):
    question = job(*events, site=site).question
    return None if question is None else (question.kind, question.outlet)


def test_open_outlets_are_asked_in_order_and_capped_ones_never():
    site = unread(capped=(1,))
    assert asked(site=site) == ("still", None)
    assert asked(STILL, site=site) == ("reading", 0)
    one = Read(outlet=0, heights=(0.001,))
    assert asked(STILL, one, site=site) == ("repeat", 0)
    assert asked(STILL, one, one, site=site) == ("repeat", 0)
    assert asked(STILL, one, Settled(outlet=0), site=site) == ("reading", 2)
    assert asked(STILL, Read(outlet=0, heights=(0.001, 0.0)), site=site) == ("reading", 2)
    with pytest.raises(DomainError, match="capped"):
        job(STILL, Read(outlet=1, heights=(0.0,)), site=site)


def test_an_unknown_clock_is_asked_once_and_only_where_the_insert_turns():
    site = box([None] * 3, clocks=[0.0, None, None], offset=[0.01, 0.01, None])
    assert asked(site=site) == ("clock", 1)
    assert asked(ClockSet(outlet=1, angle=None), site=site) == ("still", None)
    known = job(ClockSet(outlet=1, angle=0.5), site=site)
    assert known.question.kind == "still"
    assert known.now.angles == (0.0, 0.5, None)


def test_repeats_one_by_one_are_repeats_on_one_line():
    together = job(STILL, Read(outlet=0, heights=(0.001, 0.002)))
    apart = job(STILL, Read(outlet=0, heights=(0.001,)), Read(outlet=0, heights=(0.002,)),
                Settled(outlet=0))  # fmt: skip
    assert together == apart


def test_what_is_skipped_is_unmeasured_and_asked_again_last():
    events = (STILL, Skipped(outlet=0), *reads(0.0, 0.0, 0.0, 0.0)[1:])
    left = job(*events)
    assert left.now.readings[0] == ()
    assert left.now.levelling is None
    assert asked(*events) == ("reading", 0)
    assert asked(*events, Read(outlet=0, heights=(0.0, 0.0)))[0] in ("turn", "close")


def test_a_doubtful_reading_counts_only_once_confirmed():
    doubtful = Read(outlet=0, heights=(0.5,), doubtful=True)
    assert asked(STILL, doubtful) == ("confirm", 0)
    assert job(STILL, doubtful).now.readings[0] == ()
    assert job(STILL, doubtful, Confirmed(sure=False)) == replace(
        job(STILL), passes=job(STILL, doubtful, Confirmed(sure=False)).passes
    )
    assert asked(STILL, doubtful, Confirmed(sure=False)) == ("reading", 0)
    assert job(STILL, doubtful, Confirmed(sure=True)).now.readings[0] == (0.5,)


def test_a_correction_keeps_the_old_reading_until_the_new_one():
    events = (STILL, *reads(0.0, 0.001), Correcting(outlet=0))
    assert asked(*events) == ("reading", 0)
    assert job(*events).now.readings[0] == (0.0, 0.0)
    assert job(*events, Settled(outlet=0)).now == job(*events[:-1]).now
    new = job(*events, Read(outlet=0, heights=(0.002, 0.003)))
    assert new.now.readings[:2] == ((0.002, 0.003), (0.001, 0.001))
    assert asked(*events, Read(outlet=0, heights=(0.002, 0.003))) == ("reading", 2)


WALK: tuple[Event, ...] = (
    STILL, *reads(0.0, 0.004, 0.002, 0.001), Correcting(outlet=1),
    Read(outlet=1, heights=(0.005,)), Settled(outlet=1), Left(outlet=2, angle=0.7),
    Turned(angles=(0.1, 0.2, 0.7, 0.0)), STILL, Skipped(outlet=0), *reads(0.0, 0.0, 0.0, 0.0)[1:],
    Read(outlet=0, heights=(0.1,), doubtful=True), Confirmed(sure=True), Settled(outlet=0),
    Closed(),
)  # fmt: skip


@pytest.mark.parametrize("length", range(1, len(WALK)))
def test_undo_leads_back_to_where_one_stood(length):
    before, event = WALK[:length], WALK[length]
    assert job(*before, event, Undone()) == job(*before)
    assert job(*before, event, Undone()).last == before[-1]
    # and back again as often as one likes
    undone = (*WALK[: length + 1], *[Undone()] * (length + 1))
    assert job(*undone[:-1]) == job(WALK[0])
    assert job(*undone) == job()


def test_nothing_can_be_taken_back_before_the_first_answer():
    with pytest.raises(DomainError, match="nothing to take back"):
        job(STILL, Undone(), Undone())


@pytest.mark.parametrize(
    "event", [Read(outlet=0, heights=(0.0,)), Turned(angles=(0.0,) * 4), Closed(),
              Confirmed(sure=True), Left(outlet=0, angle=0.0)]
)  # fmt: skip
def test_what_cannot_happen_yet_is_refused(event):
    with pytest.raises(DomainError):
        job(event)


@pytest.mark.parametrize(
    ("event", "why"),
    [(Settled(outlet=0), "without a reading"), (Confirmed(sure=True), "no reading to confirm")],
)
def test_nothing_is_done_or_confirmed_before_it_is_read(event, why):
    with pytest.raises(DomainError, match=why):
        job(STILL, event)


def test_a_job_that_has_ended_asks_nothing_and_takes_nothing():
    events = (STILL, *reads(0.0, 0.0, 0.0, 0.0), Closed())
    assert asked(*events) is None
    with pytest.raises(DomainError, match="ended"):
        job(*events, STILL)


def test_a_log_plays_back_whatever_the_tolerance_has_become():
    """Events lead on by what they say, so an edited scenario never leaves a log unreadable."""
    events = WALK[:-1]
    for share in (0.01, 0.5, 1.0):
        site = replace(unread(), tolerance=Tolerance(share=share))
        assert job(*events, site=site).passes == job(*events).passes


# Conclusions whose answer is known without computing it.


@pytest.mark.everyday(1)
@pytest.mark.parametrize(("spread", "tolerance", "ends"), [
    (INCH / 8, 0.1, ["again", "again", "ruler"]), (INCH / 8, None, ["again", "again", "ruler"]),
    (INCH / 32, 0.1, ["ruler"]), (INCH / 32, None, ["level"]), (1e-6, 0.1, ["within"]),
])  # fmt: skip
def test_level_lips_are_read_again_until_more_of_it_tells_little(spread, tolerance, ends):
    site, events, found = unread(spread=spread, tolerance=tolerance), (), []
    for _ in ends:
        events = (*events, STILL, *reads(*[0.0] * 4))
        now = job(*events, site=site)
        found.append(now.now.conclusion)
        assert now.question.kind == ("still" if found[-1] == "again" else "close")
    assert found == ends


def test_a_still_on_a_complete_pass_begins_the_next_filling():
    """Nothing is turned between; what both fillings tell is twice as sure."""
    site = unread(spread=INCH / 8)
    one = job(STILL, *reads(0.0, 0.001, 0.002, 0.0), site=site)
    events = (STILL, *reads(0.0, 0.001, 0.002, 0.0), replace(STILL, at="10:00"))
    begun = job(*events, site=site)
    assert begun.question.kind == "reading"
    assert (begun.now.number, begun.now.angles, begun.now.still_at) == (2, (0.0,) * 4, "10:00")
    assert begun.passes[0] == one.now
    two = job(*events, *reads(0.003, 0.004, 0.005, 0.003), site=site)
    across = np.array([1.0, -1.0, 0.0, 0.0])
    sure = [across @ each.now.known.covariance @ across for each in (one, two)]
    assert sure[1] == pytest.approx(0.5 * sure[0], rel=1e-9)
    np.testing.assert_allclose(two.now.known.height - one.now.known.height, 0.003, atol=1e-12)
    assert two.now.known.fillings == 2
    assert job(*events, Undone(), site=site) == one


@pytest.mark.parametrize(("errors", "turns"), [(1.8, False), (2.2, False), (2.6, True)])
def test_what_readings_alone_would_scatter_is_not_turned(errors, turns):
    """Two lips read apart by some standard errors of their difference.

    Two-sided, 1.8 of them come by chance in 7 of a hundred level boxes, 2.2 in 3 and 2.6 in 1.
    """
    spread = 0.0008
    site = box([None] * 2, clocks=1.2, spread=spread, tolerance=0.001, flows=[TRICKLE])
    # each is read twice, so that a mean errs by spread / sqrt(2) and a difference by the spread
    now = job(STILL, *reads(0.0, errors * spread), site=site)
    assert (now.now.conclusion == "adjust") == turns
    assert now.question.kind == ("turn" if turns else "still")


def test_an_insert_that_stuck_is_told_of_in_the_next_pass():
    site = unread(6, spread=0.0003)
    first = (STILL, *reads(0.0, 0.004, 0.004, 0.004, 0.004, 0.004))
    told = job(*first, site=site).told_angles
    moved = 0.5 * INCH * (1.0 - np.cos(told[0]))
    assert moved > 0.0035
    for rises, slipped in ((0.0, (0,)), (moved, ())):
        again = (STILL, *reads(rises, 0.004, 0.004, 0.004, 0.004, 0.004))
        now = job(*first, Turned(angles=told), *again, site=site)
        assert now.now.levelling.stuck == slipped
        notes = [note.where for note in now.now.levelling.warnings if "slipped" in note.what]
        assert notes == ["outlet 1"] * len(slipped)


def test_lips_off_by_less_than_a_hand_can_turn_end_at_the_hand():
    # at a quarter turn half a step of 5 deg moves the lip by e sin 2.5 deg = 0.55 mm
    site = box([None] * 4, clocks=np.pi / 2, spread=1e-6, tolerance=0.001)
    assert job(STILL, *reads(0.0, 0.0, 0.0, 0.0005), site=site).now.conclusion == "hand"


def test_more_than_the_full_travel_apart_is_to_be_bedded_again():
    site = unread(positions=SIDES, spread=1e-4)
    far = job(STILL, *reads(0.0, 0.0, 0.03, 0.03), site=site)
    assert far.now.conclusion == "re-bed"
    assert far.question.kind == "close"
    assert far.now.levelling.lift is not None


def test_a_box_that_can_be_set_asks_to_turn():
    far = job(STILL, *reads(0.0, 0.0, 0.01, 0.01), site=unread(spread=1e-4))
    assert far.now.conclusion == "adjust"
    assert far.question.kind == "turn"


def test_holes_stand_where_told_but_for_those_left_elsewhere():
    events = (STILL, *reads(0.0, 0.0, 0.0, 0.01))
    told = job(*events, site=unread(spread=1e-4))
    assert sum(a != 0.0 for a in told.told_angles) == 3
    assert told.left_angles == (0.0,) * 4
    left = job(*events, Left(outlet=0, angle=1.5), site=unread(spread=1e-4))
    assert left.told_angles == (1.5, *told.told_angles[1:])
    assert left.left_angles == (1.5, 0.0, 0.0, 0.0)


# A box of known lips, set by what the job tells: two ways to the same end.


class Bench:
    """Lips over a fixed datum, moved by turning and read over the lowest of them."""

    def __init__(self, seed: int, n: int = 6) -> None:
        rng = np.random.default_rng(seed)
        self.offset = 0.5 * INCH
        self.angles = rng.uniform(-0.5, 0.5, n)
        self.pipes = rng.uniform(0.0, 0.8 * self.offset, n)

    @property
    def lips(self) -> np.ndarray:
        return self.pipes - self.offset * np.cos(self.angles)

    @property
    def still(self) -> float:
        return float(self.lips.min())

    def site(self, **more):
        n = self.angles.size
        return box([None] * n, clocks=self.angles.tolist(), offset=self.offset, spread=1e-5, **more)

    def readings(self) -> tuple[Event, ...]:
        return (STILL, *reads(*(self.lips - self.still)))


@pytest.mark.everyday(3)
@pytest.mark.parametrize("seed", range(8))
def test_turning_as_told_levels_the_lips_to_half_a_step_of_the_hand(seed):
    bench = Bench(seed)
    events = bench.readings()
    now = job(*events, site=bench.site())
    assert now.now.conclusion == "adjust"
    bench.angles = np.array(now.told_angles)
    # the lip moves by at most e per radian
    step = np.radians(5.0)
    assert np.ptp(bench.lips) <= 2 * bench.offset * step / 2


@pytest.mark.everyday(3)
@pytest.mark.parametrize("seed", range(8))
def test_readings_without_error_end_within_tolerance_or_at_the_hand(seed):
    bench = Bench(seed)
    site, events = bench.site(), ()
    for _ in range(4):
        events = (*events, *bench.readings())
        now = job(*events, site=site)
        if now.now.conclusion != "adjust":
            break
        bench.angles = np.array(now.told_angles)
        events = (*events, Turned(angles=now.told_angles))
    # one in eight ends so near to an edge of the tolerance that no ruler tells
    assert now.now.conclusion in ("within", "hand", "ruler")
    # no lip is left further from the others than half a step of the hand moves it
    assert np.ptp(bench.lips) <= 2 * bench.offset * np.radians(5.0) / 2


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_the_rim_stays_where_it_is_while_the_water_rises(seed):
    bench, rim = Bench(seed), 0.15
    over_first_water = rim - bench.still
    site = bench.site()
    site = replace(site, box=Box(rim=over_first_water))
    events = bench.readings()
    for _ in range(2):
        now = job(*events, site=site)
        bench.angles = np.array(now.told_angles)
        events = (*events, Turned(angles=now.told_angles), *bench.readings())
        last = job(*events, site=site)
        assert last.now.site.box.rim == pytest.approx(rim - bench.still, abs=1e-12)


def test_a_rim_is_followed_by_the_lips_that_stayed_and_by_those_set_by_the_rule():
    site = replace(box([None] * 4, clocks=None), box=Box(rim=0.1))
    start = tuple(ClockSet(outlet=i, angle=None) for i in range(4))
    first = (*start, STILL, *reads(0.0, 0.0, 0.0, 0.01))
    assert job(*first, site=site).now.levelling.order == (3,)
    # the fourth was set by the rule, the others stand where they stood
    stayed = job(*first, Turned(angles=(None,) * 4), STILL, *reads(*[0.002] * 4), site=site)
    assert stayed.now.site.box.rim == pytest.approx(0.1 + 0.002, abs=2e-5)
    turned = job(*first, Turned(angles=(0.3,) * 4), STILL, *reads(*[0.002] * 4), site=site)
    # the first three were moved, nobody knows by how much: the rule alone tells
    assert turned.now.site.box.rim == pytest.approx(0.1 + 0.002, abs=0.001)


def test_the_record_holds_every_pass_with_its_readings_and_times():
    bench = Bench(3)
    site = bench.site()
    first = tuple(replace(e, at=f"09:{i:02d}") for i, e in enumerate(bench.readings()))
    now = job(*first, site=site)
    before = tuple(bench.angles.tolist())
    bench.angles = np.array(now.told_angles)
    turned = Turned(at="09:30", angles=now.told_angles)
    kept = job(*first, turned, *bench.readings(), Closed(), site=site)
    assert [each.number for each in kept.passes] == [1, 2]
    one, two = kept.passes
    assert one.method == "ruler"
    assert (one.still_at, one.read_at[2], one.done_at) == ("09:00", "09:03", "09:30")
    assert tuple(o.clock for o in one.site.outlets) == before
    assert tuple(o.clock for o in two.site.outlets) == one.turned == now.told_angles
    assert two.turned is None
    assert kept.closed
    assert kept.last_complete is two


def test_a_job_ended_while_there_is_something_to_turn_was_stopped():
    events = (STILL, *reads(0.0, 0.0, 0.0, 0.01), Closed())
    assert job(*events, site=unread(spread=1e-4)).outcome == "stopped"
    assert job(*events[:-1], site=unread(spread=1e-4)).outcome is None


CLOCKS, OFFSET = (1.0, -1.0, 1.5, 0.8), INCH / 2
HIGH = (STILL, *reads(0.0, 0.001, INCH / 4, 0.0))
"""The third lip stands a quarter of an inch over the lowest."""


def slanted(**site):
    return box([None] * 4, clocks=CLOCKS, offset=OFFSET, spread=2e-4, mark=1e-4, **site)


def lips_once_turned(now) -> np.ndarray:
    """Lips over the water as it was read: a lip stands by -e cos(a) off its pipe. [m]"""
    read = np.array([np.mean(heights) for heights in now.now.readings])
    return read + OFFSET * (np.cos(now.now.angles) - np.cos(now.told_angles))


def test_once_an_insert_is_stuck_the_others_are_brought_to_it_at_once():
    site = slanted()
    assert 2 in job(*HIGH, site=site).now.levelling.order
    stuck = job(*HIGH, Stuck(outlets=(2,)), site=site)
    assert stuck.question.kind == "turn"
    assert set(stuck.now.levelling.order) == {0, 1, 3}
    assert stuck.told_angles[2] == CLOCKS[2]
    # turns are told to 2.5 deg, which at a quarter turn move a lip the most
    assert np.ptp(lips_once_turned(stuck)) < 2 * OFFSET * np.radians(2.5) / 2 + 2e-4
    assert lips_once_turned(stuck)[2] == pytest.approx(INCH / 4)


def test_stuck_holds_for_the_passes_that_follow_and_none_before():
    site = slanted()
    first = job(*HIGH, site=site)
    later = job(*HIGH, Turned(angles=first.told_angles), *HIGH, Stuck(outlets=(2,)), site=site)
    one, two = later.passes
    assert one.levelling.order == first.now.levelling.order
    assert 2 not in two.levelling.order
    after = job(Stuck(outlets=(2,)), *HIGH, Turned(angles=CLOCKS), *HIGH, site=site)
    assert [2 in each.levelling.order for each in after.passes] == [False, False]
    freed = job(*HIGH, Stuck(outlets=(2,)), Turned(angles=CLOCKS), *HIGH, Stuck(outlets=()),
                site=site)  # fmt: skip
    assert [2 in each.levelling.order for each in freed.passes] == [False, True]
    assert job(*HIGH, Stuck(outlets=(2,)), Undone(), site=site) == job(*HIGH, site=site)


def test_a_stuck_insert_that_no_other_can_follow_asks_to_bed_the_box_again():
    """The two are an inch and a half apart, and the full lift of an insert is an inch."""
    events = (STILL, *reads(0.0, 0.0, 1.5 * INCH, 0.0), Stuck(outlets=(2,)))
    now = job(*events, site=slanted()).now
    assert now.conclusion == "re-bed"
    assert 2 not in now.levelling.order


def test_an_insert_that_sticks_on_its_way_stands_where_it_was_left():
    """Its lip sank by e (cos b - cos a), and the others are brought to that."""
    left = Left(outlet=2, angle=1.2)
    now = job(*HIGH, left, Stuck(outlets=(2,)), site=slanted())
    stands = INCH / 4 - OFFSET * (np.cos(1.2) - np.cos(1.5))
    assert now.now.levelling.before.lips.height[2] == pytest.approx(stands)
    assert lips_once_turned(now)[2] == pytest.approx(stands)
    assert np.ptp(lips_once_turned(now)) < 2 * OFFSET * np.radians(2.5) / 2 + 3e-4


def test_no_clock_is_asked_of_an_insert_that_does_not_turn():
    site = box([None] * 3, clocks=[0.0, None, 0.0])
    assert asked(site=site) == ("clock", 1)
    assert asked(Stuck(outlets=(1,)), site=site) == ("still", None)
