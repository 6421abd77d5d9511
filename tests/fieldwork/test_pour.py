"""What a pour should give, in what order, after how long; and whether all of it came out."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from dbox import Circle, DomainError
from dbox.fieldwork.pour import balance, box_filling, expect, usual_jug
from dbox.fieldwork.site import Box, Pour
from dbox.report.wording import sentences

from .pours import COEFFICIENT, DIAMETER, FAST, SLOW, simulate
from .sites import INCH, arrays, box, same_bytes

HOLE = Circle(DIAMETER, coefficient=COEFFICIENT)
QUART = 231 * INCH**3 / 4
LEVEL = [0.0] * 4


def done(catches, *, inflow=FAST, **pour):
    """A pour with these catches, as fractions of the inflow."""
    caught = tuple(None if c is None else c * inflow for c in catches)
    return Pour(name="pour", inflow=inflow, catches=caught, **pour)


def test_level_lips_share_the_pour_and_fill_the_jug_alike():
    site = box(LEVEL, openings=HOLE)
    found = expect(site, [Pour(name="pour", inflow=FAST, jug=QUART)])
    np.testing.assert_allclose(found.result.flow, FAST / 4, rtol=1e-10)
    np.testing.assert_allclose(found.fill_time(found.result.flow), 4 * QUART / FAST, rtol=1e-10)
    assert found.still_level == 0.0


def test_a_dry_outlet_never_fills_its_jug_and_no_jug_is_no_time():
    site = box([0.0, 0.05], openings=HOLE)
    jug, none = Pour(name="a", inflow=SLOW, jug=QUART), Pour(name="b", inflow=SLOW)
    times = expect(site, [jug, none]).fill_time(expect(site, [jug, none]).result.flow)
    assert times[0, 1] == np.inf
    assert np.isnan(times[1]).all()


@pytest.mark.parametrize("inflow", [SLOW, FAST])
def test_flows_are_those_of_the_plain_simulator(inflow):
    lips = np.array([1, 0, 2, -1, 3]) * INCH / 32
    found = expect(box(list(lips), openings=HOLE), [Pour(name="pour", inflow=inflow)])
    plain = simulate(lips, np.ones(5), inflow)
    np.testing.assert_allclose(found.result.flow[0], plain, rtol=1e-5)


def test_the_band_is_that_of_plainly_drawn_boxes():
    """300 boxes drawn and simulated one by one; their percentiles are good to about a tenth."""
    spread = INCH / 32
    site = box([0.0, INCH / 16, 0.0], openings=HOLE, spread=spread)
    found = expect(site, [Pour(name="pour", inflow=SLOW)])
    draw = np.random.default_rng(5)
    heights = np.array([0.0, INCH / 16, 0.0])
    flows = [simulate(heights + draw.normal(0, spread, 3), np.ones(3), SLOW) for _ in range(300)]
    low, high = np.percentile(flows, (5, 95), axis=0)
    width = high - low
    np.testing.assert_allclose((found.low[0] - low) / width, 0, atol=0.12)
    np.testing.assert_allclose((found.high[0] - high) / width, 0, atol=0.12)


@pytest.mark.parametrize("apart", [0.0, 0.7, 1.5, 3.0])
def test_the_lower_of_two_lips_starts_first(apart):
    """P(first) = Phi(difference / error of a difference)."""
    spread = INCH / 32
    site = box([0.0, apart * spread], openings=HOLE, spread=spread)
    found = expect(site, [Pour(name="pour", inflow=SLOW)], samples=20_000)
    exact = NormalDist().cdf(apart / np.sqrt(2))
    np.testing.assert_allclose(found.first_probability, [exact, 1 - exact], atol=0.02)
    assert found.order == (0, 1)


def test_a_capped_outlet_never_starts():
    found = expect(box([0.01, 0.0, 0.02], capped=[1]), [Pour(name="pour", inflow=FAST)])
    assert found.order == (0, 2)
    assert found.first_probability[1] == 0
    assert found.still_level == 0.01
    assert found.result.flow[0, 1] == 0


@pytest.mark.parametrize(
    "size", [Box(inside=(0.4, 0.5)), Box(shape="round", inside=(0.6,))], ids=["rectangle", "round"]
)
def test_three_time_constants_bring_the_level_95_per_cent_of_the_way(size):
    site = box([0.0, 0.002, 0.001], openings=HOLE, box=size)
    found = expect(site, [Pour(name="pour", inflow=FAST)])
    plan = 0.2 if size.shape == "rectangle" else np.pi * 0.3**2
    lips, steady = found.lips.height, float(found.result.level[0])

    def rise(_, level):
        return [(FAST - HOLE.discharge(level[0] - lips).sum()) / plan]

    begin = steady - 1e-4
    end = solve_ivp(rise, (0, found.settling[0]), [begin], rtol=1e-10, atol=1e-14).y[0, -1]
    assert (steady - end) / (steady - begin) == pytest.approx(np.exp(-3), rel=0.02)


def test_without_a_size_there_is_no_settling_time():
    assert np.isnan(expect(box(LEVEL), [Pour(name="pour", inflow=FAST)]).settling).all()


def test_an_outlet_without_a_reading_is_refused():
    with pytest.raises(DomainError, match="no reading for open outlet 2"):
        expect(box([0.0, None]), [Pour(name="pour", inflow=FAST)])


def test_same_seed_same_answer_and_arrays_are_read_only():
    site, pours = box([0.0, 0.001]), [Pour(name="pour", inflow=FAST)]
    one, other = expect(site, pours, seed=3), expect(site, pours, seed=3)
    assert same_bytes(one, other)
    assert all(not array.flags.writeable for _, array in arrays(one))


def test_catches_are_held_against_their_bands():
    """Nothing to do with the pour's own balance: each outlet for itself."""
    site = box(LEVEL, openings=HOLE, spread=INCH / 64)
    found = expect(site, [done([0.25, 0.1, 0.5, None])])
    np.testing.assert_array_equal(found.stands[0], [0, -1, 1, np.nan])


@pytest.mark.parametrize(
    ("catches", "verdict", "missing"),
    [
        ([0.25, 0.25, 0.25, 0.25], "balanced", 0.0),
        ([0.2, 0.2, 0.2, 0.2], "less", 0.2),
        ([0.3, 0.3, 0.3, 0.3], "more", -0.2),
        ([0.25, 0.25, 0.25, None], "open", 0.25),
        ([0.4, 0.4, 0.5, None], "more", -0.3),
    ],
)
def test_the_balance_of_a_pour(catches, verdict, missing):
    found = balance(expect(box(LEVEL), [done(catches)]), 0)
    assert found.verdict == verdict
    assert found.missing == pytest.approx(missing * FAST)
    assert found.caught == pytest.approx(sum(c or 0 for c in catches) * FAST)
    assert found.not_caught == ((3,) if catches[3] is None else ())


def test_the_error_of_the_balance_is_that_of_pour_and_catches_together():
    """Poured 1 and caught 4 times 1/4, each to 5 %: 1.645 x 5 % x sqrt(1 + 4/16)."""
    found = balance(expect(box(LEVEL), [done([0.25] * 4)]), 0)
    half = 1.6449 * 0.05 * np.sqrt(1.25) * FAST
    assert found.missing_high - found.missing == pytest.approx(half, rel=1e-4)
    assert found.missing - found.missing_low == pytest.approx(half, rel=1e-4)


def test_an_uncaught_outlet_counts_with_the_most_its_reading_allows():
    """Half is missing where a quarter may have left uncaught: less, and by less than half."""
    expectation = expect(box(LEVEL, spread=INCH / 64), [done([0.1, 0.1, 0.1, None])])
    found = balance(expectation, 0)
    assert found.verdict == "less"
    assert found.missing == pytest.approx(0.7 * FAST - expectation.high[0, 3])


def test_starting_against_the_readings_is_told():
    lips = [0.0, 0.007, 0.001]
    backwards = Pour(name="pour", inflow=FAST, order=(1, 0, 2))
    (told,) = told_of(expect(box(lips, spread=0.0005), [backwards]), "started")
    assert "outlet 2 started before outlet 1" in told
    assert told.endswith("though its lip was read 7.0 mm higher; read both again")
    fitting = Pour(name="pour", inflow=FAST, order=(2, 0, 1))
    assert told_of(expect(box(lips, spread=0.0005), [fitting]), "started") == []


@pytest.mark.parametrize("rise", [0.0025, 0.003, 0.004])
def test_a_late_start_that_a_dry_lip_may_make_does_not_ask_to_read_again(rise):
    """Both ways: as the lips were read, a dry lip may hold back up to 4 mm; none where it is off"""
    site = box([0.0, rise, rise], spread=0.0005)
    backwards = Pour(name="slow", inflow=SLOW, order=(1, 0, 2))
    (told,) = told_of(expect(site, [backwards]), "started")
    assert told == (
        f"slow: outlet 2 started before outlet 1, though its lip was read {1000 * rise:.1f} mm "
        "higher; a dry lip may hold back up to 4 mm: wet every lip and pour again"
    )
    (told,) = told_of(expect(replace(site, hold_back=(0.0, 0.0)), [backwards]), "started")
    assert told.endswith("read both again")


def told_of(expectation, word):
    """Warnings with a word in them."""
    return [sentence for sentence in sentences(expectation.warnings) if word in sentence]


def test_a_pour_that_ends_before_the_catches_is_told():
    """60 s of pour; four jugs one after another take 4 x 4 QUART / FAST = 40 s, settling more."""
    site = box(LEVEL, openings=HOLE, box=Box(inside=(0.4, 0.5)))
    short = Pour(name="short", inflow=FAST, volume=FAST * 45, jug=QUART)
    long = Pour(name="long", inflow=FAST, volume=FAST * 120, jug=QUART)
    (told,) = told_of(expect(site, [short, long]), "lasts")
    assert told.startswith("short: the pour lasts 45 s")
    assert "one outlet after another 40 s" in told


def test_a_jug_that_nobody_named_fills_in_its_volume_over_the_flow():
    """By definition: seconds = volume / flow; a US gallon is 231 in3, 5 L where it is metric."""
    site = box([0.0, INCH / 16, 0.05], openings=HOLE, spread=INCH / 32)
    planned = [Pour(name="slow", inflow=SLOW), Pour(name="own", inflow=FAST, jug=QUART)]
    found = expect(site, planned)
    times = found.fill_time(found.result.flow, usual_jug(site))
    plain = simulate(np.array([0.0, INCH / 16, 0.05]), np.ones(3), SLOW)
    np.testing.assert_allclose(times[0, :2], 4 * QUART / plain[:2], rtol=1e-5)
    np.testing.assert_allclose(times[1, :2] * found.result.flow[1, :2], QUART, rtol=1e-12)
    assert times[0, 2] == np.inf
    assert usual_jug(replace(site, metric=True)) == 0.005


def test_the_band_of_a_jug_is_that_of_plainly_drawn_boxes():
    """300 boxes drawn and simulated one by one, each jug timed by volume over flow."""
    spread, heights = INCH / 32, np.array([0.0, INCH / 32, 0.0])
    found = expect(box(list(heights), openings=HOLE, spread=spread),
                   [Pour(name="pour", inflow=FAST, jug=QUART)])  # fmt: skip
    draw = np.random.default_rng(8)
    seconds = [
        QUART / simulate(heights + draw.normal(0, spread, 3), np.ones(3), FAST) for _ in range(300)
    ]
    low, high = np.percentile(seconds, (5, 95), axis=0)
    for ours, plain in ((found.high, low), (found.low, high)):
        error = (found.fill_time(ours)[0] - plain) / (high - low)
        np.testing.assert_allclose(error, 0, atol=0.12)


def test_the_water_that_fills_a_box_is_its_plan_times_its_sump():
    """By definition: 16 x 20 in and 4 in deep are 1280 in3; an inch more is 320 in3."""
    size = Box(inside=(16 * INCH, 20 * INCH), sump=4 * INCH)
    found = box_filling(box(LEVEL, box=size))
    assert found.volume == pytest.approx(1280 * INCH**3)
    assert found.area * INCH == pytest.approx(320 * INCH**3)
    round_box = Box(shape="round", inside=(24 * INCH,), sump=6 * INCH)
    assert box_filling(box(LEVEL, box=round_box)).volume == pytest.approx(
        np.pi / 4 * 24**2 * 6 * INCH**3
    )
    assert box_filling(box(LEVEL, box=replace(size, sump=None))) is None
    assert box_filling(box(LEVEL, box=replace(size, inside=()))) is None
