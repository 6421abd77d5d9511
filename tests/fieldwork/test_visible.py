"""What a person sees of a box whose state is known: the judged sizes, held by what practice knows.

A chance here is a judgement, so it is held to no more than what the trade would be sure of: which
word is the likely one, and about where one word gives way to the next.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from dbox import Circle
from dbox.fieldwork.diagnosis.causes import index_of
from dbox.fieldwork.diagnosis.diagnose import diagnose
from dbox.fieldwork.diagnosis.next_look import LOOKS, SLOW_POUR
from dbox.fieldwork.diagnosis.visible import (
    MISTAKE,
    START_ERROR,
    View,
    call_chance,
    port_depth_chance,
    pour_chance,
    rod_chance,
)  # fmt: skip
from dbox.fieldwork.diagnosis.worlds import States
from dbox.fieldwork.evidence import OUTLET_WORDS, WORDED, Evidence, OutletEvidence
from dbox.fieldwork.site import Flow, Outlet, Pour, Site, Works
from dbox.hydraulics.surge.parts import Trench
from dbox.report.wording import sentences
from tests.fieldwork.sites import states

INCH, FOOT, HOUR = 0.0254, 0.3048, 3600.0


def seen(box: States, name: str, since_use: float | None = 8 * HOUR) -> dict[str, float]:
    """Chance of each word at the first outlet, or of the system, in the first box."""
    kind = WORDED[name]
    chance = View(box, Evidence(since_use=since_use)).chance(kind)[0]
    return dict(zip(kind.words, chance[0] if kind.of_outlet else chance, strict=True))


def port(load: float) -> dict[str, float]:
    return seen(states(load=np.full((1, 4), load)), "port")


def test_a_port_shows_the_depth_at_which_walls_take_what_the_bottom_does_not():
    """A long trench: load times w = w + 2 h, so 3 ft wide it stands to a pipe 1 ft up at a load of
    1 + 2/3; at half of what its bottom takes it is dry (the size is common practice, no source)."""
    assert port(1 + 2 / 3)["to the pipe"] == pytest.approx(0.5, abs=0.1)
    assert port(0.5)["dry"] > 0.8
    assert port(1.0)["to the pipe"] < 0.2
    # pools from a lasting load of 1 on, and is damp a little before that
    assert 0.25 < port(0.85)["dry"] < 0.75
    assert port(1.3)["dry"] < 0.25
    assert port(3.0)["to the pipe"] > 0.85


def test_wet_ground_takes_a_load_that_stands_to_the_ground():
    """The same trench, 18 in deep: 1 + 2 18 / 36 = 2. Of those that surface some are not found."""

    def wet(load: float) -> float:
        return 1 - seen(states(load=np.full((1, 4), load)), "ground")["dry"]

    assert wet(0.7) < 0.12
    assert wet(2.0) == pytest.approx(0.5 * (wet(0.3) + wet(20.0)), abs=0.06)
    assert 0.5 < wet(20.0) < 0.8


def test_nobody_calls_about_dry_lines_and_hardly_anybody_lives_with_a_full_one():
    """Common practice, no source."""
    most = np.array([0.5, 1.35, 3.0])
    chance = call_chance(states(3, load=np.repeat(most[:, None], 4, axis=1)))
    assert chance[0] < 0.1
    assert 0.3 < chance[1] < 0.7
    assert chance[2] > 0.85
    one = states(load=np.array([[0.3, 0.3, 3.0, 0.3]]))
    assert call_chance(one)[0] == pytest.approx(chance[2])


@pytest.mark.parametrize(
    ("share", "word", "least"),
    [(0.25, "as the others", 0.85), (0.47, "stained", 0.55), (0.70, "stained", 0.6),
     (0.35, "stained", 0.3), (0.01, "dusty", 0.55), (0.15, "as the others", 0.75)],
)  # fmt: skip
def test_a_favoured_lip_is_stained_and_an_idle_one_dusty(share, word, least):
    """Of four outlets a lip 1/16 in low takes 35 % at 4 L/min and 47 % at 1, one 1/8 in low 70 %,
    by the plain weir integral; that stains show it is common practice, no source."""
    rest = (1 - share) / 3
    assert seen(states(day_share=np.array([[share, rest, rest, rest]])), "trace")[word] > least


@pytest.mark.parametrize(
    ("slope", "least", "most"), [(0.0005, 0, 0.1), (1 / 160, 0.4, 0.65), (1 / 64, 0.9, 1)]
)
def test_a_rim_is_called_out_of_level_from_about_an_eighth_across_the_box(slope, least, most):
    """0.5 mm in 1 m is what a spirit level shows; 1/8 in on 20 in is seen by half, 1/4 in on 16 in
    by nearly all (common practice, no source)."""
    assert (
        least <= seen(states(slopes=np.array([[0.6, 0.8]]) * slope), "rim")["out of level"] <= most
    )


@pytest.mark.parametrize(
    ("still", "word"),
    [(-0.010, "below the lowest lip"), (-0.001, "at the lowest lip"), (0.002, "at the lowest lip"),
     (0.010, "above some lips"), (0.035, "above all lips")],
)  # fmt: skip
def test_still_water_is_called_after_the_lips_that_it_covers(still, word):
    """Lips over 20 mm. Water clings 2.7 mm over a lip, sqrt(0.0728 / (998 9.81)) m, and is still
    called level with it."""
    box = states(read=np.array([[0.0, 0.005, 0.012, 0.020]]), still=np.array([still]))
    chance = seen(box, "at_rest")
    assert max(chance, key=chance.__getitem__) == word
    assert chance[word] > 0.6


@pytest.mark.parametrize(
    ("since", "least", "most"), [(600.0, 0.4, 0.7), (3600.0, 0.2, 0.35), (8 * HOUR, 0.0, 0.15)]
)
def test_a_mouth_looked_at_soon_after_use_may_hold_water_on_its_way(since, least, most):
    """Half an hour without water used is what practice waits, an hour or two to be sure (common
    practice, no source)."""
    assert least < seen(states(), "mouth", since)["part full"] < most


def test_no_word_is_ever_impossible():
    """A person may misread, or write down the wrong word."""
    for name in OUTLET_WORDS:
        chance = seen(states(), name)
        assert sum(chance.values()) == pytest.approx(1.0)
        assert min(chance.values()) > 0.005
    assert min(port(1e-3).values()) > 0.005
    clear = seen(states(), "hole")
    assert clear["alike"] > 0.9


def depth_chance(depth: float, load: np.ndarray, width: float = 36 * INCH) -> np.ndarray:
    """Chance of so much water in the port of a trench, its pipe 30 cm up, by load."""
    trench = Trench(length=20.0, width=width, depth=0.6, pipe_height=0.30, acceptance=1e-7)
    site = Site(
        outlets=tuple(Outlet(label=str(i), opening=Circle(0.05)) for i in range(4)),
        flows=(Flow(name="day", inflow=3e-5),),
        works=Works(trenches=(trench,) * 4),
        evidence=Evidence(outlets=(OutletEvidence(port_water=depth - 0.30),)),
    )
    boxes = states(load.size, load=np.repeat(load[:, None], 4, axis=1))
    # that it stands below the pipe at all is seen, too
    below = View(boxes, site.evidence).chance(WORDED["port"])[:, 0, 1]
    return below * port_depth_chance(boxes, site, 0)


@pytest.mark.parametrize(
    ("width", "depth"),
    [
        (36 * INCH, 3 * INCH),
        (36 * INCH, 5 * INCH),
        (36 * INCH, 10 * INCH),
        (0.6, 0.12),
        (0.6, 0.25),
    ],
)
def test_a_depth_in_a_port_points_to_the_load_that_stands_so_deep(width, depth):
    """Bottom w and two walls h take L times what the bottom takes at w + 2 h = L w, also near the
    pipe: 10 in at 36 in wide is 1.56. What ponds more surely is a few per cent more likely."""
    load = np.geomspace(0.3, 4.0, 400)
    peak = load[depth_chance(depth, load, width).argmax()]
    assert peak == pytest.approx(1 + 2 * depth / width, rel=0.06)


def test_a_line_that_keeps_up_shows_a_film():
    """Not 5 in; one at 1.1 shows 2 in, not 10 (common practice, no source)."""
    load = np.geomspace(0.3, 4.0, 200)
    for keeps_up, inches, part in ((0.7, 5, 8), (1.1, 10, 2.5)):
        chance = depth_chance(inches * INCH, load)
        assert np.interp(keeps_up, load, chance) < chance.max() / part


@pytest.mark.parametrize(
    ("distance", "most_likely"), [(0.1, "capped"), (2 * FOOT, "blocked"), (15 * FOOT, "crushed")]
)
def test_how_far_a_rod_goes_tells_what_stops_it(distance, most_likely):
    """A cap is at the mouth, a blockage near the box, a crushed pipe where wheels cross (common
    practice, no source)."""
    causes = ("capped", "blocked", "crushed")
    box = states(3, cause=np.array([(c, -1) for c in index_of(*causes)]),
                 outlet=np.tile([0, -1], (3, 1)))  # fmt: skip
    assert causes[int(rod_chance(box, distance, 0).argmax())] == most_likely


@pytest.mark.parametrize(("caught", "told"), [(1.10, False), (1.30, True)])
def test_more_caught_than_poured_is_told_beyond_what_timing_explains(caught, told):
    """A timed catch is good to 5 to 10 % (common practice, no source)."""
    pour = Pour(name="fast", inflow=3e-4, catches=(caught * 1.5e-4,) * 2, error=0.07)
    site = Site(
        outlets=tuple(Outlet(label=str(i), opening=Circle(0.05)) for i in (1, 2)),
        flows=(Flow(name="day", inflow=3e-5),),
        pours=(pour,),
    )
    said = [note.what for note in diagnose(site, draws=20).warnings]
    assert ("diagnose: spilt" in said) is told


OUTSIDE = "system season rain meter cap ground traffic ground_at_box tank_level tank_outlet port"


def test_looks_cost_what_they_take():
    """Common practice, no source: asking and walking first, none of it with the box open; a bailed
    box is watched for 10 to 30 minutes; a slow pour of 5 gal is waited for, a fast one is not."""
    minutes = {kind.name: kind.minutes for kind in LOOKS}
    assert {kind.name for kind in LOOKS if not kind.inside} == set(OUTSIDE.split())
    assert max(minutes[n] for n in ("system", "season", "rain", "cap", "ground")) <= 5
    assert 10 <= minutes["drain_back"] <= 40
    assert minutes["slow pour"] * 60 > 5 * 231 * INCH**3 / SLOW_POUR
    assert minutes["fast pour"] < minutes["slow pour"]
    assert {kind.name for kind in LOOKS if kind.by_line} == {"port", "rod", "wiped"}
    assert minutes["port"] < minutes["rod"] < minutes["drain_back"]


def chance_of(order, lips, tails=None, *, hold_back=0.0, inflow=1e-3):
    """Log chance that outlets with these ways out are seen to start in an order."""
    n = len(lips)
    rows = SimpleNamespace(
        felt=np.array([lips]),
        tail=np.array([[-np.inf] * n if tails is None else tails]),
        closed=np.zeros((1, n), bool),
        seep=np.zeros((1, n)),
        read=np.array([lips]),
    )
    outlets = [Outlet(label=str(i), opening=Circle(0.05, coefficient=0.6)) for i in range(n)]
    site = SimpleNamespace(outlets=outlets, hold_back=(0.0, hold_back))

    def flows(_states, _inflow, shut=False):
        runs = ~np.broadcast_to(shut, n)
        return inflow * runs[None] / runs.sum()

    water = SimpleNamespace(flows=flows, site=site)
    pour = Pour(name="pour", inflow=inflow, order=order)
    return float(pour_chance(water, rows, pour, np.zeros(1))[0])


@pytest.mark.parametrize("errors", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("by", ["lip", "tail"])
def test_the_lower_way_out_starts_first(errors, by):
    """Water that rises meets the lower way first: P = Phi(gap / error of its height), mistakes
    apart. A line that holds water against its outlet starts at that water."""
    gap = errors * START_ERROR
    ways = ([0.0, gap],) if by == "lip" else ([0.0, 0.0], [-0.01, gap])
    right, wrong = (
        (1 - MISTAKE) * stats.norm.cdf(side * errors) + MISTAKE / 2 for side in (1.0, -1.0)
    )
    odds = np.exp(chance_of((0, 1), *ways) - chance_of((1, 0), *ways))
    # the curve used for Phi is within 0.01 of it
    assert odds == pytest.approx(right / wrong, rel=0.01 / wrong + 0.02)
    assert odds > 1.5


def test_an_order_says_less_of_heights_where_dry_lips_may_hold_back():
    """P = Phi(gap / sqrt(error^2 + 2 most^2 / 12)): each lip holds back anything up to the most.

    A line that holds water against its outlet keeps it wet.
    """
    gap, most = 0.002, 0.004
    for tails, dry in ((None, 2), ([-0.01, gap], 1), ([0.0, gap], 0)):
        error = np.sqrt(START_ERROR**2 + dry * most**2 / 12)
        lips = [0.0, gap] if tails is None else [0.0, 0.0]
        right, wrong = (
            (1 - MISTAKE) * stats.norm.cdf(side * gap / error) + MISTAKE / 2 for side in (1.0, -1.0)
        )
        of = {"lips": lips, "tails": tails, "hold_back": most}
        odds = np.exp(chance_of((0, 1), **of) - chance_of((1, 0), **of))
        assert odds == pytest.approx(right / wrong, rel=0.01 / wrong + 0.02)


@pytest.mark.parametrize(("head", "held"), [(0.001, 0.75), (0.003, 0.25), (0.012, 0.0)])
def test_an_outlet_that_never_started_may_be_dry(head, held):
    """Over the two that run the head is h; a lip that holds back up to 4 mm, all alike, stays dry
    with 1 - h / 4 mm. At a fast pour the missing outlet says what it said."""
    inflow = 2 * float(Circle(0.05, coefficient=0.6).discharge(head))
    of = {"lips": [0.0] * 3, "inflow": inflow}
    wet, dry = (chance_of((0, 1), **of, hold_back=h) for h in (0.0, 0.004))
    # of a fair share s an outlet is seen to run with 0.05 + 0.90 s^2 / (s^2 + 0.1^2)
    ran, shut = (1.0 - 0.05 - 0.90 * s**2 / (s**2 + 0.01) for s in (1.0, 0.0))
    started = [0.05 + 0.90 * s**2 / (s**2 + 0.01) for s in (1.0, 1.5)]

    def chance(missing, run):
        parts = np.array([0.5, missing, run, run])
        return float(np.prod((1 - MISTAKE) * parts + MISTAKE / 2))

    falling, kept = chance(ran, started[0]), chance(shut, started[1])
    assert np.exp(wet) == pytest.approx(falling, rel=1e-6)
    assert np.exp(dry) == pytest.approx((1 - held) * falling + held * kept, rel=1e-2)


@pytest.mark.slow
def test_nothing_caught_in_a_slow_pour_is_no_blockage_where_a_dry_lip_explains_it():
    """Level lips, the third gave nothing at 1 L/min: with hold-back and with none."""
    outlets = tuple(
        Outlet(label=str(i + 1), opening=Circle(0.05, coefficient=0.6), readings=(0.0, 0.0))
        for i in range(4)
    )
    inflow = 1e-3 / 60
    pour = Pour(name="slow", inflow=inflow, catches=(inflow / 3, inflow / 3, 0.0, inflow / 3),
                order=(0, 1, 3))  # fmt: skip
    site = Site(outlets=outlets, flows=(Flow(name="day", inflow=inflow),), pours=(pour,))

    def blamed(found):
        return sum(a.probability for a in found.answers if a.outlet == 2)

    found = diagnose(site, draws=400)
    without = diagnose(replace(site, hold_back=(0.0, 0.0)), draws=400)
    assert blamed(found) < 0.6 < 0.95 < blamed(without)
    (said,) = [w for w in sentences(found.warnings) if "wet the lip and pour again" in w]
    assert said.startswith("slow: nothing came at outlet 3")
    assert not [w for w in sentences(without.warnings) if "pour again" in w]


def test_the_next_slow_pour_asks_to_wet_the_lips():
    (slow,) = [kind.look for kind in LOOKS if kind.name == "slow pour"]
    assert slow.startswith("wet every lip, pour slowly and catch at every outlet")
