"""The jet of a straight inlet and the headers behind bare pipe ends, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from dbox import PipeEnd, split
from dbox.arrays import GRAVITY
from dbox.errors import DomainError
from dbox.fieldwork.estimate import Estimate
from dbox.fieldwork.inlet import header_notes, jet_from, mouths, pumped_mouth, ways
from dbox.fieldwork.levelling import level
from dbox.fieldwork.pour import balance, expect
from dbox.fieldwork.pour_fit import explain
from dbox.fieldwork.readings import measured_lips
from dbox.fieldwork.recheck import Standing, share_change
from dbox.fieldwork.setup import Read, Still, begin, replay
from dbox.fieldwork.shares import assess
from dbox.fieldwork.site import Box, Flow, Pour, Site, Works
from dbox.fieldwork.surge import run
from dbox.hydraulics.surge.inflow import Pump, steady
from dbox.hydraulics.surge.parts import SupplyPipe
from dbox.notes import Note
from dbox.report.wording import sentences
from tests.fieldwork.pours import GPM, simulate
from tests.fieldwork.sites import INCH, POUR, box, same_bytes

PLACES = ((4, 0), (12, 0), (16, 10), (12, 20), (4, 20))
"""Five outlets, the third on the axis of the inlet in the far wall. [in]"""

MAIN = 2 * INCH
PUMP = Pump(volume=0.2, rate=40 * GPM, main_length=15.0, main_diameter=MAIN)
DOSE, SLOW = Flow(name="dose", inflow=40 * GPM), Flow(name="slow", inflow=0.5 * GPM)
OFF_AXIS = [0, 1, 3, 4]


def site(inlet: str | None = "straight", lips=(0.0,) * 5, **changed) -> Site:
    """A level box of 16 by 20 in, read finely and fed by a pump."""
    parts = {"positions": [(x * INCH, y * INCH) for x, y in PLACES], "spread": 1e-5,
             "flows": (SLOW, DOSE), "works": Works(pump=PUMP), "clocks": np.pi / 2,
             "box": Box(inside=(16 * INCH, 20 * INCH), inlet=inlet)}  # fmt: skip
    return box(list(lips), **{**parts, **changed})


def head_by_hand(inflow: float, diameter: float = MAIN) -> float:
    """Velocity head of a full pipe's jet across a box of 16 in. [m]"""
    velocity = inflow / (np.pi / 4 * diameter**2)
    return float((min(1.0, 6.2 * diameter / (16 * INCH)) * velocity) ** 2 / (2 * GRAVITY))


def shares_by_hand(inflow: float, extra: float) -> np.ndarray:
    flows = simulate(np.array([0.0, 0.0, -extra, 0.0, 0.0]), np.ones(5), inflow)
    return flows / flows.sum()


def test_a_main_runs_full_and_its_jet_decays_across_the_box():
    """2 in and 40 gpm: 79 mm of velocity head at the mouth, 0.60 of it at 16 in."""
    jet = jet_from(site(), pumped_mouth(site()))
    heads = jet.heads(DOSE.inflow)
    assert heads[2] == pytest.approx(head_by_hand(DOSE.inflow))
    assert heads[2] == pytest.approx(0.0475, abs=5e-4)
    assert heads[OFF_AXIS].tolist() == [0.0] * 4


def test_a_pumped_dose_has_the_jet_of_its_main_and_a_poured_one_that_of_the_pipe():
    """The main of 3 in: 9 mm at 30 gpm; a steep gravity pipe flows part full and far faster."""
    pump = replace(PUMP, rate=30 * GPM, main_diameter=3 * INCH)
    pipe = SupplyPipe(length=9.0, diameter=4 * INCH, fall=0.04)
    both = site(works=Works(pump=pump, supply=pipe))
    pumped = run(both, pump.dose(), seconds=300.0).surge.system.jet
    poured = run(both, steady(30 * GPM, 60.0), seconds=300.0).surge.system.jet
    assert pumped is not None
    assert poured is not None
    assert pumped.heads(30 * GPM)[2] == pytest.approx(head_by_hand(30 * GPM, 3 * INCH))
    assert pumped.heads(30 * GPM)[2] == pytest.approx(0.0088, abs=1e-4)
    assert poured.heads(30 * GPM)[2] > 3 * pumped.heads(30 * GPM)[2]


def test_without_a_pipe_the_jet_is_that_of_an_ordinary_one():
    """Half full its velocity is that of the full pipe: V = (D / 4)^(2/3) sqrt(S) / n.

    4 in at 1/8 in per ft (common practice, no source), n = 0.010 of smooth plastic.
    """
    bare = site(works=Works())
    diameter, fall = 4 * INCH, 0.125 / 12
    velocity = (diameter / 4) ** (2 / 3) * np.sqrt(fall) / 0.010
    area = np.pi / 8 * diameter**2
    decay = min(1.0, 6.2 * np.sqrt(4 / np.pi * area) / (16 * INCH))
    found = ways(bare, np.array([velocity * area]))
    expected = (decay * velocity) ** 2 / (2 * GRAVITY)
    assert found.taken[0, 2] == pytest.approx(expected, rel=1e-6)
    # a 2 in main may bring the water as well
    assert found.head[1, 0, 2] == pytest.approx(head_by_hand(velocity * area), rel=1e-6)
    assert (len(found.head), found.calm) == (3, 2)
    assert mouths(bare)[0].taken == Note(what="jet: supply not known")
    told = assess(bare, samples=200)
    assert any(
        "4 in pipe at 1/8 in per ft (common practice)" in w for w in sentences(told.warnings)
    )
    poured = run(bare, steady(DOSE.inflow, 60.0), seconds=120.0)
    assert any(
        "4 in pipe at 1/8 in per ft (common practice)" in w for w in sentences(poured.warnings)
    )


def test_one_box_one_flow_one_answer():
    """The surge gives the far outlet what the jet by hand gives it; the split says so."""
    by_hand = shares_by_hand(DOSE.inflow, head_by_hand(DOSE.inflow))
    assert by_hand[2] > 0.4
    dose = run(site(), replace(PUMP, volume=2.0).dose())
    assert dose.surge.share == pytest.approx(by_hand, abs=0.01)
    told = f"gets about {100 * by_hand[2]:.0f} % with it and 20 % without"
    assert [w for w in sentences(dose.warnings) if "jet of the straight inlet" in w and told in w]
    split = assess(site(), samples=200)
    assert [w for w in sentences(split.warnings) if w.startswith("dose: the jet") and told in w]
    assert split.result.share[1] == pytest.approx(by_hand, abs=1e-4)


def test_within_is_never_said_where_the_jet_decides():
    """Exact: a level box read finely is within at any flow, but for the jet."""
    straight, cured = assess(site(), samples=200), assess(site("turned down"), samples=200)
    assert cured.verdicts == straight.lip_verdicts == ("within", "within")
    assert straight.verdicts == ("within", "outside")
    assert straight.jet_decides.tolist() == [False, True]
    assert straight.within_probability.tolist() == [1.0, 0.0]
    np.testing.assert_array_equal(straight.no_jet, cured.result.share)
    assert any("turn the inlet's end down, or set a tee or a baffle" in w
               for w in sentences(straight.warnings))  # fmt: skip
    assert not any("jet" in w for w in sentences(cured.warnings))


@pytest.mark.parametrize("inlet", ["tee", "baffle"])
def test_what_ends_the_jet_leaves_nothing_of_it(inlet):
    found, down = (assess(site(each), samples=200) for each in (inlet, "turned down"))
    assert same_bytes(found, down)
    assert found.warnings == down.warnings


def test_where_nobody_said_how_the_inlet_ends_nothing_is_within_that_a_jet_would_change():
    """Exact: the numbers are those without a jet."""
    found, down = (assess(site(each), samples=200) for each in (None, "turned down"))
    for name in ("share_low", "share_high", "share_rising_low", "share_rising_high"):
        np.testing.assert_array_equal(getattr(found, name), getattr(down, name))
    np.testing.assert_array_equal(found.result.share, down.result.share)
    assert found.verdicts == ("within", "cannot tell")
    assert np.isnan(found.within_probability).tolist() == [False, True]
    (said,) = (w for w in sentences(found.warnings) if "how the inlet ends is not given" in w)
    assert "a straight one would decide at dose" in said
    assert level(site(None), samples=200).next_step == "inlet"
    # what the lips put outside stays so, though a jet might cure it
    high = (0.0, 0.0, head_by_hand(DOSE.inflow), 0.0, 0.0)
    assert assess(site(None, lips=high, flows=(DOSE,)), samples=200).verdicts == ("outside",)


def test_a_re_check_tells_the_shares_in_the_jet():
    lips = measured_lips(site())
    left = Standing(site=site(), lips=Estimate(height=lips.height, covariance=lips.covariance))
    dose = share_change(left, left, samples=100).before[1]
    assert dose == pytest.approx(shares_by_hand(DOSE.inflow, head_by_hand(DOSE.inflow)), abs=1e-4)


def test_outlets_out_of_the_jet_keep_their_verdict():
    """Exact: in the side walls none faces it."""
    aside = [(x * INCH, y * INCH) for x, y in ((4, 0), (8, 0), (12, 0), (12, 20), (4, 20))]
    found = assess(site(positions=aside), samples=200)
    assert found.verdicts == ("within", "within")
    assert not any("jet" in w for w in sentences(found.warnings))


def test_where_outlets_stand_unknown_any_may_be_in_the_jet():
    found = assess(site(positions=None), samples=200)
    assert found.verdicts[1] == "cannot tell"
    assert any(
        "where the outlets stand in the box is not given" in w for w in sentences(found.warnings)
    )
    extra, share = head_by_hand(DOSE.inflow), shares_by_hand(DOSE.inflow, head_by_hand(DOSE.inflow))
    assert found.result.share[1] == pytest.approx([0.2] * 5)
    assert found.share_low[1] == pytest.approx([share[0]] * 5, abs=1e-3)
    assert found.share_high[1] == pytest.approx([share[2]] * 5, abs=1e-3)
    each = ways(site(positions=None, capped=[1]), np.array([DOSE.inflow]))
    assert each.calm == 0
    np.testing.assert_allclose(each.head[1:, 0], extra * np.eye(5)[[0, 2, 3, 4]])


def test_a_verdict_that_the_jet_cannot_change_stands():
    """Exact: lip 1 stands 25 mm under all others; outside with the jet and without."""
    off = assess(site(lips=(-0.025, 0.0, 0.0, 0.0, 0.0)), samples=200)
    assert off.verdicts == ("outside", "outside")
    assert off.jet_decides[1]
    assert off.within_probability.tolist() == [0.0, 0.0]


def test_outside_is_not_said_where_the_jet_cures_it():
    """Exact: lip 3 stands higher by just the velocity head of its jet; from a wider main, less."""
    high = {"lips": (0.0, 0.0, head_by_hand(DOSE.inflow), 0.0, 0.0), "flows": (DOSE,)}
    found = assess(site(**high), samples=200)
    assert found.lip_verdicts == ("outside",)
    assert found.verdicts == ("within",)
    # the inlet is seen to before lips are brought to where the jet would spoil them
    told = level(site(**high), samples=200)
    assert (told.lips_step, told.next_step) == ("re-bed", "inlet")
    pipe = SupplyPipe(length=9.0, diameter=4 * INCH, fall=0.002)
    either = assess(site(**high, works=Works(pump=PUMP, supply=pipe)), samples=200)
    assert either.verdicts == ("cannot tell",)


def test_without_a_tolerance_a_change_over_a_twentieth_is_warned_of():
    found = assess(site(tolerance=None), samples=200)
    assert found.jet_decides.tolist() == [False, True]
    assert any(w.startswith("dose: the jet") for w in sentences(found.warnings))


def test_a_pump_and_a_gravity_pipe_are_two_ways():
    """A wide main hardly throws a jet, the steep pipe does: either may bring the water."""
    wide = replace(PUMP, main_diameter=6 * INCH)
    pipe = SupplyPipe(length=9.0, diameter=4 * INCH, fall=0.04)
    alone = assess(site(works=Works(pump=wide)), samples=200)
    both = assess(site(works=Works(pump=wide, supply=pipe)), samples=200)
    assert alone.verdicts == ("within", "within")
    assert both.verdicts[1] == "cannot tell"
    assert any(
        "leave out the one that does not feed the box" in w for w in sentences(both.warnings)
    )


def test_no_turn_is_asked_for_because_of_a_jet():
    levelling = level(site(), samples=200)
    assert levelling.verdict == "nothing to do"
    assert levelling.next_step == "inlet"
    assert levelling.before.verdicts == levelling.after.verdicts == ("within", "outside")
    shares = shares_by_hand(DOSE.inflow, head_by_hand(DOSE.inflow))
    for each in (levelling.before, levelling.after):
        assert each.result.share[1] == pytest.approx(shares, abs=1e-3)


def test_a_set_up_ends_at_the_inlet_and_not_within():
    reads = [Read(outlet=i, heights=(0.001, 0.001)) for i in range(5)]
    for inlet, conclusion in (("straight", "inlet"), ("tee", "within")):
        start = begin(replace(site(inlet), spread=1e-6))
        done = replay(start, [Still(method="ruler"), *reads])
        assert done.now.conclusion == conclusion
        assert done.question is not None
        assert done.question.kind == "close"


def caught(inflow: float, extra: float) -> Pour:
    """A pour with what a level box in a jet gives."""
    flows = shares_by_hand(inflow, extra) * inflow
    return Pour(name=f"{inflow / GPM:g} gpm", inflow=inflow, catches=tuple(flows.tolist()))


def test_catches_in_a_jet_blame_no_lip():
    """Exact: every lip stands where it was read; what differs is the jet."""
    fast = caught(DOSE.inflow, head_by_hand(DOSE.inflow))
    found = expect(site(), [fast], samples=200)
    assert (found.jet_decides.tolist(), found.inlet_open.tolist()) == ([True], [False])
    assert found.stands.tolist() == [[0.0] * 5]
    assert any("the jet of the straight inlet" in w for w in sentences(found.warnings))
    best = explain(found)[0]
    assert best.kind == "agree"
    assert best.flow[0] == pytest.approx(fast.catches, rel=1e-3)
    # where it is not known which outlet it strikes nothing is held against the ruler
    open_ended = expect(site(positions=None), [fast], samples=200)
    assert open_ended.weighed == ()
    assert np.isnan(open_ended.stands).all()
    with pytest.raises(DomainError, match="jet of the straight inlet decides"):
        explain(open_ended)
    # without knowing of the jet the same catches would blame the far lip
    blamed = explain(expect(site("tee"), [fast], samples=200))[0]
    assert (blamed.kind, blamed.outlet) == ("height", 2)
    assert blamed.size < -0.02


def test_a_pour_too_slow_for_a_jet_is_weighed_alone():
    slow = caught(SLOW.inflow, head_by_hand(SLOW.inflow))
    fast = caught(DOSE.inflow, head_by_hand(DOSE.inflow))
    found = expect(site(positions=None), [fast, slow], samples=200)
    assert found.weighed == (1,)
    best = explain(found)[0]
    assert (best.kind, best.flow.shape) == ("agree", (1, 5))


def test_a_leak_is_not_told_from_what_a_jet_sends_to_an_outlet_that_was_not_caught():
    whole = caught(DOSE.inflow, head_by_hand(DOSE.inflow))
    part = replace(whole, catches=tuple(
        None if i == 2 else flow for i, flow in enumerate(whole.catches)))  # fmt: skip
    assert balance(expect(site("tee"), [part], samples=200), 0).verdict == "less"
    assert balance(expect(site(), [part], samples=200), 0).verdict == "open"
    assert balance(expect(site(positions=None), [part], samples=200), 0).verdict == "open"


def test_a_lip_that_is_off_is_found_in_a_jet():
    """Exact: lip 2 stands 8 mm higher than read, and 3 in the jet, in two pours well caught."""
    lips = np.array([0.0, 0.008, 0.0, 0.0, 0.0])
    pours = []
    for inflow in (3 * GPM, 20 * GPM):
        struck = np.array([0.0, 0.0, head_by_hand(inflow), 0.0, 0.0])
        flows = simulate(lips - struck, np.ones(5), inflow)
        catches = tuple(flows.tolist())
        pours.append(Pour(name=f"{inflow:g}", inflow=inflow, catches=catches, error=0.01))
    best = explain(expect(site(), pours, samples=200))[0]
    assert (best.kind, best.outlet) == ("height", 1)
    assert best.size == pytest.approx(0.008, abs=2e-4)


PIPE = PipeEnd(4 * INCH)


def said(*falls: float | None, capped: tuple[int, ...] = ()) -> tuple[str, ...]:
    """Sentences on a box of bare pipe ends with these falls, 20 L/min poured in."""
    site = box([0.0] * len(falls), openings=PIPE, capped=capped, flows=(POUR,))
    outlets = (replace(o, header_fall=f) for o, f in zip(site.outlets, falls, strict=True))
    flows = split([POUR.inflow], [0.0] * len(falls), PIPE)
    return tuple(sentences(header_notes(replace(site, outlets=tuple(outlets)), flows)))


def test_a_fall_that_was_not_entered_is_an_eighth_of_an_inch_in_a_foot() -> None:
    """1 in 96 is 1.04 %; it is steep for a 4 in pipe of smooth plastic at 10 L/min."""
    (sentence,) = said(None, 0.02)
    assert sentence.startswith("outlet 1: a bare pipe end, its header taken to fall 1.0 % ")
    (two,) = said(None, None)
    assert two.startswith("outlets 1 and 2: ")
    assert said(0.02, 0.02) == ()


@pytest.mark.parametrize(("fall", "told"), [(0.0005, True), (0.001, True), (0.02, False)])
def test_a_header_flatter_than_critical_is_told(fall: float, told: bool) -> None:
    """Water runs critical in smooth plastic at slopes of some 0.3 to 0.6 % (from memory)."""
    sentences = said(fall, 0.02)
    assert bool(sentences) is told
    for sentence in sentences:
        assert sentence.startswith(f"outlet 1: its header falls {100 * fall:.2g} %, flatter than")
        assert "at pour; water backs up" in sentence


def test_a_capped_outlet_and_an_insert_have_no_header_to_speak_of() -> None:
    assert said(0.0005, 0.02, capped=(0,)) == ()
    site = box([0.0, 0.0], flows=(POUR,))
    assert header_notes(site, split([POUR.inflow], [0.0, 0.0], site.outlets[0].opening)) == ()


def drawn_box(seed: int, *, pumped: bool) -> Site:
    """A box with a straight inlet, some outlets in the far wall and one or more in the others."""
    dice = np.random.default_rng(seed)
    along, across = dice.uniform(12, 30, 2) * INCH
    far = sorted(dice.uniform(0.3, 0.7, dice.integers(1, 4)))
    sides = dice.uniform(0.2, 0.8, dice.integers(1, 3))
    places = [(along * sides[0], 0.0), *((along, across * u) for u in far)]
    places += [(along * u, across) for u in sides[1:]]
    inflow = float(np.exp(dice.uniform(np.log(1e-5), np.log(2e-3))))
    pipe = SupplyPipe(
        length=9.0, diameter=dice.choice([3, 4]) * INCH, fall=dice.uniform(5e-3, 0.03)
    )
    main = replace(PUMP, rate=inflow, main_diameter=dice.choice([1.5, 2, 3]) * INCH)
    return box(
        dice.normal(0, 0.003, len(places)).tolist(), positions=places,
        works=Works(pump=main) if pumped else Works(supply=pipe),
        flows=(Flow(name="steady", inflow=inflow),),
        box=Box(inside=(along, across), inlet="straight"),
    )  # fmt: skip


def split_against_surge(seeds: range) -> np.ndarray:
    """What the jet moves in each box by the split, having held it against a settled surge."""
    moved = []
    for seed in seeds:
        one = drawn_box(seed, pumped=bool(seed % 2))
        found = assess(one, samples=100)
        inflow = one.flows[0].inflow
        event = replace(steady(inflow, 4000.0), pumped=bool(seed % 2))
        settled = run(one, event, seconds=3600.0).surge.flow[-1]
        assert settled / settled.sum() == pytest.approx(found.result.share[0], abs=1e-3)
        moved.append(np.abs(found.no_jet - found.result.share).max())
    return np.array(moved)


def test_split_and_surge_agree_in_a_jet():
    """Two ways: the level at which flows add up, and the march in time until nothing changes."""
    assert split_against_surge(range(6)).max() > 0.02


@pytest.mark.slow
def test_split_and_surge_agree_in_two_hundred_boxes():
    assert np.count_nonzero(split_against_surge(range(200)) > 0.02) > 20


@pytest.mark.parametrize("seed", range(3))
def test_a_mirrored_box_has_mirrored_shares(seed):
    one = drawn_box(seed, pumped=False)
    outlets = tuple(
        replace(o, position=(o.position[0], one.box.inside[1] - o.position[1]))
        for o in reversed(one.outlets)
    )
    there, back = (assess(each, samples=100) for each in (one, replace(one, outlets=outlets)))
    np.testing.assert_allclose(back.result.share[0], there.result.share[0, ::-1], atol=1e-9)


def test_a_jet_grows_with_the_flow_and_an_error_of_a_lip_fades():
    """Lip 1 stands 2 mm low in the side wall, outlet 3 in the jet; the others share the rest."""
    flows = tuple(Flow(name=str(q), inflow=q * GPM) for q in (0.5, 2, 10, 40, 60))
    each = assess(site(lips=(-0.002, 0.0, 0.0, 0.0, 0.0), flows=flows), samples=100)
    struck = each.result.share[:, 2] / each.result.share[:, 1]
    low = each.result.share[:, 0] / each.result.share[:, 1]
    assert np.all(np.diff(struck) > 0)
    assert np.all(np.diff(each.no_jet[:, 0]) < 0)
    # what the jet leaves to the others runs at less head, where a lip matters more again
    assert np.all(np.diff(low[:3]) < 0)


def test_a_known_jet_costs_little(monkeypatch):
    """Boxes that are split with a jet, over those without: at most 1.3 times as many."""
    counts = []

    def counted(inflow, lips, *rest, **options):
        counts.append(np.asarray(lips).size)
        return split(inflow, lips, *rest, **options)

    for module in ("shares", "inlet"):
        monkeypatch.setattr(f"dbox.fieldwork.{module}.split", counted)
    totals = {}
    for inlet in ("straight", "turned down"):
        counts.clear()
        assess(site(inlet, tolerance=None))
        totals[inlet] = sum(counts)
    assert totals["straight"] < 1.3 * totals["turned down"]
