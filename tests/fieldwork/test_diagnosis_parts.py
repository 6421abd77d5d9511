"""The parts that a diagnosis is put together from, each by hand: places, loads, priors, words."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy import stats

from dbox import Circle, Notch, Slot
from dbox.fieldwork.diagnosis.cause_lips import HELD, SOUND_SLOPES, UNEVEN, draw_lips
from dbox.fieldwork.diagnosis.causes import (
    _ALIKE,
    CAUSES,
    KEYS,
    OWN_SCATTER,
    TWO_CAUSES,
    chances,
    hypotheses,
    index_of,
    pair_priors,
)
from dbox.fieldwork.diagnosis.diagnose import contradictions, diagnose, overload_of
from dbox.fieldwork.diagnosis.posterior import DECIDES, keystones, support_of, weigh
from dbox.fieldwork.diagnosis.visible import View, call_chance, gauges_of
from dbox.fieldwork.diagnosis.worlds import outlet_places
from dbox.fieldwork.evidence import WORDED, WORDS, Evidence, OutletEvidence, Prior, Sign
from dbox.fieldwork.site import Box, Outlet, Site, Target, Works
from dbox.hydraulics.surge.parts import Trench
from tests.fieldwork.sites import POUR, states

FOOT = 0.3048
GALLONS_A_DAY = 231 * 0.0254**3 / 86400


def lines(count: int = 3, lengths: tuple[float, ...] = (), **site: object) -> Site:
    """Lips alike and read, nothing else known."""
    outlets = tuple(
        Outlet(
            label=str(i + 1),
            opening=Circle(0.05),
            readings=(0.0,),
            line_length=lengths[i] if lengths else None,
        )
        for i in range(count)
    )
    return Site(outlets=outlets, flows=(POUR,), **site)


def test_outlets_are_numbered_clockwise_from_the_inlet_seen_from_above():
    """Looking the way the water comes: left wall, far wall, right wall; left corner is 0, 0."""
    places, measured = outlet_places(lines(3, box=Box(inside=(0.4, 0.6))))
    assert not measured
    np.testing.assert_allclose(places, [(0.2, 0.0), (0.4, 0.3), (0.2, 0.6)], atol=1e-12)


def test_load_is_the_days_water_over_the_bottom_of_the_trench():
    """240 gal a day over three trenches of 50 ft by 2 ft: 80 gal on 100 ft2, with one resting 120.

    What a trench loads is its bottom (common practice, no source).
    """
    trench = Trench(length=50 * FOOT, width=2 * FOOT, depth=0.6, pipe_height=0.3, acceptance=1e-7)
    site = lines(
        works=Works(trenches=(trench,) * 3),
        evidence=Evidence(daily_flow=240 * GALLONS_A_DAY),
    )
    over = overload_of(weigh(site, draws=60, seed=1))
    assert over is not None
    per_area = GALLONS_A_DAY / FOOT**2
    np.testing.assert_allclose(over.load_reset / per_area, 0.8)
    resting = np.arange(3) == over.outlet
    np.testing.assert_allclose(over.load_rested / per_area, np.where(resting, 0.0, 1.2))
    np.testing.assert_allclose(over.load / per_area, over.share * 2.4)


def prior(site: Site, cause: str) -> list[float]:
    """Prior of a cause at each outlet."""
    may_be = hypotheses(site)
    return may_be.prior[may_be.cause[:, 0] == index_of(cause)[0]].tolist()


def test_an_equal_split_overloads_the_short_line():
    """A third of the water on a sixth of the field is twice its part; on five twelfths, less."""
    long, short = 25.0, 10.0
    first, second, third = prior(lines(lengths=(long, short, long)), "unequal")
    assert first == third
    assert second > 2 * first
    by_length = lines(lengths=(long, short, long), target=Target(by="length"))
    assert len(set(prior(by_length, "unequal"))) == 1
    assert len(set(prior(lines(lengths=(20.0,) * 3), "unequal"))) == 1


def test_water_over_the_lips_tells_most_long_after_water_was_used():
    """Just after use it may be on its way (common practice, no source)."""

    def odds(hours: float) -> float:
        seen = Evidence(at_rest="above all lips", since_use=3600 * hours)
        weighing = weigh(lines(evidence=seen), draws=60, seed=1)
        full, tilt = (
            weighing.probability[weighing.hypotheses.answers.index(((index_of(key)[0], -1),))]
            for key in ("all_full", "tilt")
        )
        return float(full / tilt)

    assert odds(0.2) < 0.7 * odds(1.5) < 0.7**2 * odds(12)


@pytest.mark.parametrize("kind", [k for k in WORDED.values() if k.usual], ids=lambda k: k.name)
def test_the_chances_of_all_words_add_up_to_one_as_they_are_written(kind):
    """A slip in one of them shows, though the tool scales them to one."""
    rows = [kind.usual, *kind.under.values(), *kind.everywhere.values()]
    assert [row for row in rows if sum(row) != pytest.approx(1.0, abs=1e-9)] == []
    assert {len(row) for row in rows} == {len(kind.words)}
    assert {*kind.under, *kind.everywhere} <= {*KEYS}


def test_chances_of_drawn_boxes_are_chances():
    """Of all words of a look they add up to one; of a call they lie between nothing and one."""
    weighing = weigh(lines(4), draws=60, seed=2)
    view = View(weighing.states, Evidence())
    looks = [kind for kind in WORDED.values() if kind.minutes]
    assert len(looks) > 20
    for kind in looks:
        chance = view.chance(kind)
        assert np.all((chance > 0) & (chance < 1)), kind.name
        np.testing.assert_allclose(chance.sum(-1), 1.0, rtol=1e-12, err_msg=kind.name)
    called = call_chance(weighing.states)
    assert np.all((called > 0) & (called <= 1))


def test_an_ordinary_day_is_a_trickle_and_a_jet_needs_more():
    """1 to 4 L/min at the box: Water Science and Technology 51(10), 2005, p. 39.

    In a pool that a trickle falls into a jet is spent (common practice, no source).
    """
    states = weigh(lines(4, box=Box(inlet="straight")), draws=200, seed=1).states
    middle = {jet: np.exp(np.log(states.day[(states.jet > 0) == jet]).mean()) for jet in (0, 1)}
    assert 1e-3 / 60 < middle[0] < 4e-3 / 60
    assert middle[1] > 4e-3 / 60


@pytest.mark.parametrize("factor", [0.7, 1.4])
def test_an_opening_of_another_width_passes_that_many_times_more(factor):
    """A notch passes as tan(angle / 2) and a slot as its width; a round hole has its diameter."""
    notch, slot = Notch(np.pi / 2, coefficient=0.6), Slot(0.05, coefficient=0.6)
    for opening in (notch, slot):
        wider = opening.widened(factor).discharge(0.03)
        assert float(wider) == pytest.approx(factor * float(opening.discharge(0.03)))
    assert Circle(0.05).widened(factor).top == pytest.approx(0.05 * factor)


def test_what_a_look_speaks_for_a_cause():
    """Logarithm of its chance under the cause over the mean chance under the others."""
    chance, weight = np.log([[0.8], [0.1], [0.3]]), np.array([3.0, 2.0, 2.0])
    support = support_of(chance, weight)
    assert support[0, 0] == pytest.approx(np.log(0.8 / 0.2))
    assert support[1, 0] == pytest.approx(np.log(0.1 / (0.6 * 0.8 + 0.4 * 0.3)))


@pytest.mark.parametrize(("acceptance", "days"), [(1e-12, 12.6), (1e-4, np.inf)])
def test_a_trench_fills_while_it_gets_more_than_its_soil_takes(acceptance, days):
    """100 L a day into 20 m by 0.6 m with 0.35 of voids up to 0.3 m: 1.26 m3 in tight soil."""
    trench = Trench(length=20.0, width=0.6, depth=0.6, pipe_height=0.3, acceptance=acceptance)
    one = lines(1, works=Works(trenches=(trench,)), evidence=Evidence(daily_flow=0.1 / 86400))
    over = overload_of(weigh(one, draws=60, seed=1))
    assert over is not None
    # some of it never gets there in a box that leaks or is frozen shut
    assert over.fills_in * over.share[0] / 86400 == pytest.approx(days, rel=1e-3)


def test_no_line_gives_water_back_and_none_is_made():
    """Lines that are shut seep; what leaks or stays in the box is not in any line."""
    weighing = weigh(lines(4), draws=60, seed=1)
    inflow = np.full(weighing.states.day.shape, 2e-4)
    flow = weighing.water.flows(weighing.states, inflow)
    assert flow.min() >= 0
    assert np.all(flow.sum(-1) <= inflow * (1 + 1e-9))
    shut = weighing.states.closed & (weighing.states.seep > 0)
    assert shut.any()
    np.testing.assert_allclose(
        flow[shut], np.minimum(weighing.states.seep, 0.3 * inflow[:, None])[shut], rtol=1e-9
    )


def test_where_water_at_rest_stands_is_told_as_it_is():
    """Lips 20 mm apart, the water 15 mm under the lowest, at it, between them and over all."""
    still = np.array([-0.015, 0.0, 0.01, 0.04])
    boxes = states(4, read=np.tile([0.0, 0.02], (4, 1)), still=still)
    chance = View(boxes, Evidence(since_use=86400.0)).chance(WORDED["at_rest"])
    assert [WORDS["at_rest"][k] for k in chance.argmax(-1)] == list(WORDS["at_rest"])
    assert chance.max(-1).min() > 0.8


def uneven(*heights: float, **site: object) -> Site:
    """Lips read once each, in millimetres over the water, at the corners of a box."""
    places = ((0.1, 0.0), (0.4, 0.0), (0.4, 0.4), (0.1, 0.4))
    outlets = tuple(
        Outlet(label=str(i + 1), opening=Circle(0.05), readings=(h / 1000,), position=place)
        for i, (h, place) in enumerate(zip(heights, places, strict=True))
    )
    return Site(outlets=outlets, flows=(POUR,), spread=0.0008, **site)


def test_readings_are_weighed_over_every_kind_of_sound_box():
    """Differences from the first lip are normal in each of the nine: scipy's density of them."""
    site = uneven(1.0, 0.0, 4.0, 2.5)
    may_be = hypotheses(site)
    places, _ = outlet_places(site)
    (gauge,) = gauges_of(site, may_be)
    drawn = draw_lips(may_be, places, [gauge], 20, np.random.default_rng(1))
    less = np.array([[-1.0, 1, 0, 0], [-1, 0, 1, 0], [-1, 0, 0, 1]])
    chance = 0.0
    for i, slope in enumerate(SOUND_SLOPES):
        for k, times in enumerate(UNEVEN):
            own = (times * OWN_SCATTER) ** 2 + (HELD[(i + k) % 3] * gauge.errors) ** 2
            cover = less @ (slope**2 * places @ places.T + np.diag(own)) @ less.T
            chance += stats.multivariate_normal(cov=cover).pdf(less @ gauge.heights) / 9
    # the water line may stand anywhere, so that the first lip tells nothing but how wide that is
    sound = np.flatnonzero(may_be.cause[:, 0] == index_of("full")[0])[0]
    likewise = np.flatnonzero(may_be.cause[:, 0] == index_of("inlet_drop")[0])[0]
    assert drawn.log_readings[sound] == drawn.log_readings[likewise]
    wide = drawn.log_readings[sound] - np.log(chance)
    assert wide == pytest.approx(np.log(stats.norm.pdf(0.0, scale=0.1)), abs=0.02)


@pytest.mark.parametrize(("drop", "least", "most"), [(2.5, 0.0, 0.10), (19.0, 0.5, 1.0)])
def test_a_little_off_level_is_told_and_not_blamed(drop, least, most):
    """An eighth of an inch across is common in an old box (common practice, no source)."""
    found = diagnose(uneven(0.0, drop, drop, 0.0), draws=60)
    (tilt,) = (a.probability for a in found.answers if a.key == "tilt")
    assert least < tilt < most
    assert found.off_level.low < drop / 1000 < found.off_level.high


def test_two_causes_are_any_two_that_fit_together():
    site = lines(4)
    single = hypotheses(site)
    weight = pair_priors(site, single)
    assert weight.sum() == pytest.approx(TWO_CAUSES * single.prior.sum())
    keys, at = np.array(KEYS)[single.cause[:, 0]], single.outlet[:, 0]
    some = {(keys[i], keys[k]) for i, k in zip(*np.nonzero(weight), strict=True)}
    assert {("tilt", "full"), ("high", "blocked"), ("full", "solids")} <= some
    for i, k in zip(*np.nonzero(weight), strict=True):
        assert i < k
        assert not {keys[i], keys[k]} & {"other", "frozen", "serial"}
        both_lines = all(CAUSES[KEYS.index(key)].line for key in (keys[i], keys[k]))
        assert not (both_lines and at[i] == at[k])


def test_pairs_that_had_keys_of_their_own_still_take_a_prior():
    site = lines(4, priors=(Prior("tilt_full", 9.0), Prior("two_causes", 0.0)))
    single = hypotheses(site)
    weight = pair_priors(site, single)
    assert weight.sum() == pytest.approx(9.0)
    row, column = np.nonzero(weight)
    assert {KEYS[c] for c in single.cause[row, 0]} == {"tilt"}
    assert {KEYS[c] for c in single.cause[column, 0]} == {"full"}


def test_priors_typed_for_most_causes_carry_the_others_along():
    """One for each of the causes of the first version, by hand: the others keep their part."""
    every = lines(4, priors=tuple(Prior(cause.key, 10 * cause.weight) for cause in CAUSES[:24]))
    shares = [h.prior / h.prior.sum() for h in (hypotheses(every), hypotheses(lines(4)))]
    np.testing.assert_allclose(*shares)


def test_what_two_causes_do_to_a_word_multiplies():
    """By plain loops over the rows of the table."""
    kind, n = WORDED["drain_back"], 3
    full, deposit, frozen = index_of("full", "deposit", "frozen")
    cause = np.array([[full, -1], [full, deposit], [frozen, full]])
    outlet = np.array([[1, -1], [1, 2], [-1, 0]])
    found = chances(kind, cause, outlet, n)
    for row in range(3):
        for i in range(n):
            told = np.array(kind.usual)
            for c, o in zip(cause[row], outlet[row], strict=True):
                if c >= 0:
                    away = kind.everywhere.get(KEYS[c], kind.usual)
                    times = (np.array(away) / kind.usual) ** (1 / (1 + _ALIKE * (n - 1)))
                    if o == i and KEYS[c] in kind.under:
                        times = np.array(kind.under[KEYS[c]]) / kind.usual
                    told = told * times
            np.testing.assert_allclose(found[row, i], told / told.sum())


def test_chances_of_words_are_the_user_s_to_change():
    """A trap that every lip wears a deposit makes one seen speak for nothing."""
    seen = Evidence(outlets=(OutletEvidence(lip="deposit"), *(OutletEvidence(lip="clean"),) * 3))
    always = (Sign("lip", "deposit", (0.5, 0.5)), Sign("lip", "usual", (0.5, 0.5)))
    by_table, by_user = (
        weigh(lines(4, evidence=seen, signs=signs), draws=60, seed=1) for signs in ((), always)
    )
    place = by_table.hypotheses.answers.index(((index_of("deposit")[0], 0),))
    assert by_table.probability[place] > 3 * by_user.probability[place]


def test_mouths_follow_the_water_whatever_the_cause():
    """Water 20 mm over a lip stands in its mouth, where no ice plugs it; this needs no source."""
    weighing = weigh(lines(4), draws=60, seed=3)
    states = weighing.states
    over = np.maximum(
        (states.read.min(-1) + states.still)[:, None], states.tail) - states.read  # fmt: skip
    told = View(states, Evidence(since_use=86400.0)).chance(WORDED["mouth"])
    some = (over > 0.020) & ~states.has("other", "frozen")[:, None]
    assert some.sum() > 500
    assert told[some][:, 0].max() < 0.1
    assert told[some][:, 2].min() > 0.6


WET = {"mouth": "full", "port": "to the pipe", "drain_back": "long", "rod": "clear"}


@pytest.mark.parametrize(
    ("whole", "outlet", "pair"),
    [
        ({"at_rest": "above all lips"}, {"mouth": "dry"}, ("at_rest", "mouth")),
        ({}, {**WET, "port": "dry"}, ("port", "drain_back")),
        ({}, {**WET, "drain_back": "none"}, ("mouth", "drain_back")),
        ({"plugged": "falls", "at_rest": "above all lips"}, WET, ("plugged", "at_rest")),
        ({}, WET, None),
        ({"at_rest": "above all lips"}, WET, None),
    ],
)
def test_water_that_cannot_be_so_is_told_whatever_the_causes(whole, outlet, pair):
    """Common practice, no source: the last two go together."""
    seen = Evidence(**whole, outlets=(OutletEvidence(**outlet),) * 3)
    found = contradictions(lines(3, evidence=seen), np.full(3, 0.5))
    names = {(each.one.kind.name, each.other.kind.name) for each in found}
    assert names == ({pair} if pair else set())


@pytest.mark.parametrize("typed", [{"two_causes": 0.0}, {k: float(k == "tilt") for k in KEYS}])
def test_no_two_causes_at_once_where_the_user_takes_them_for_never(typed):
    priors = tuple(Prior(key, weight) for key, weight in typed.items())
    weighing = weigh(lines(4, priors=priors), draws=20, seed=1)
    chance = weighing.probability
    assert chance.sum() == pytest.approx(1)
    two = [len(parts) == 2 for parts in weighing.hypotheses.answers]
    assert not chance[two].sum() > 0


DROPPED = tuple(
    OutletEvidence(trace=trace, mouth="dry", port="dry", hole=hole)
    for trace, hole in (("stained", "larger"), *[("as the others", "alike")] * 3)
)


@cache
def dropped(left_out: str = ""):
    """A visit to a box with lips alike, one outlet of which is used more than the others."""
    first = replace(DROPPED[0], **{left_out: None} if left_out else {})
    seen = Evidence(outlets=(first, *DROPPED[1:]))
    return weigh(lines(4, evidence=seen), draws=150, seed=1)


def by_causes(weighing):
    found: dict[tuple[int, ...], float] = {}
    answers = weighing.hypotheses.answers
    for parts, chance in zip(answers, weighing.probability.tolist(), strict=True):
        key = tuple(sorted(cause for cause, _ in parts))
        found[key] = found.get(key, 0.0) + chance
    return found


@pytest.mark.parametrize("name", ["hole", "trace"])
def test_a_look_left_out_is_as_if_it_had_not_been_made(name):
    """Against weighing the same visit without it, all boxes drawn anew."""
    whole, anew = dropped(), dropped(name)
    place = [item.seen.kind.name == name and item.seen.outlet == 0 for item in whole.items]
    log = whole.log_without[place.index(True)]
    weight = np.exp(log - log.max())
    weight = weight / weight.sum()
    expected: dict[tuple[int, ...], float] = {}
    for group, part in zip(whole.hypotheses.group.tolist(), weight.tolist(), strict=True):
        key = tuple(sorted(cause for cause, _ in whole.hypotheses.answers[group]))
        expected[key] = expected.get(key, 0.0) + part
    likely = {key: chance for key, chance in by_causes(anew).items() if chance > 0.04}
    assert len(likely) > 3
    # the pairs drawn are not all the same, and boxes are few
    for key, chance in likely.items():
        assert expected[key] == pytest.approx(chance, rel=0.2)


def test_a_lead_that_rests_on_one_look_is_told():
    """Told of a hole alone, by its own definition: without it another leads, and the odds of the
    two with it are `DECIDES` times those without it."""
    (key, *_) = keystones(dropped())
    assert (key.seen.kind.name, key.seen.outlet, key.seen.word) == ("hole", 0, "larger")
    found, without = by_causes(dropped()), by_causes(dropped("hole"))
    assert key.lead == max(found, key=found.__getitem__)
    assert key.other == max(without, key=without.__getitem__)
    odds = found[key.lead] / found[key.other] * without[key.other] / without[key.lead]
    assert odds > 0.9 * DECIDES
    assert not keystones(dropped("hole"))


@pytest.mark.slow
def test_a_cause_that_may_sit_at_any_outlet_is_summed():
    found = diagnose(lines(4), draws=60)
    (full,) = [each for each in found.summed if each.cause.key == "full"]
    alone = [a.probability for a in found.answers if a.key == "full"]
    assert full.probability == pytest.approx(sum(alone))
    assert sorted(full.outlets) == [0, 1, 2, 3]
