"""Does the diagnosis find what is wrong, and is it as sure as it may be?

Judged on jobs made by `jobs`, which it did not make, in the worlds of `job_world`;
`diagnosis_worlds` measures at length and holds plain classifiers beside it.
"""

from dataclasses import replace

import numpy as np
import pytest

from dbox import Circle, DomainError
from dbox.fieldwork.diagnosis.causes import CAUSES, KEYS, index_of
from dbox.fieldwork.diagnosis.diagnose import diagnose
from dbox.fieldwork.diagnosis.posterior import Weighing, weigh
from dbox.fieldwork.evidence import Evidence, OutletEvidence
from dbox.fieldwork.site import Flow, Outlet, Site, Works
from dbox.hydraulics.surge.parts import Trench
from tests.fieldwork.diagnosis_worlds import Judged, by_cause, visits
from tests.fieldwork.job_world import OWN
from tests.fieldwork.jobs import MOST, make_job, revealed


def answers(weighing: Weighing) -> list[tuple[tuple[str, int], ...]]:
    """Causes with their outlets, the most probable answer first."""
    order = np.argsort(-weighing.probability, kind="stable")
    told = [tuple((KEYS[c], o) for c, o in parts) for parts in weighing.hypotheses.answers]
    return [told[i] for i in order]


def judged(jobs: int, *, draws: int, seed: int = 2024) -> Judged:
    """Jobs of the first world with most looks made."""
    truths, sites = visits(OWN, MOST, jobs, seed)
    return Judged.of([by_cause(site, draws) for site in sites], truths)


@pytest.mark.slow
def test_the_right_cause_of_ten_jobs_leads():
    """At the aim of the longer test less twice its own error here."""
    assert judged(10, draws=30).first() >= 0.88 - 2 * np.sqrt(0.88 * 0.12 / 10)


LOOK_ALIKES = {
    "blocked": {"port": "dry", "drain_back": "none"},
    "back_pitched": {"port": "dry", "drain_back": "small"},
    "full": {"port": "to the pipe", "drain_back": "long"},
}
"""What separates three mouths that stand full of water (common practice, no source)."""


def test_the_look_alikes_are_told_apart_once_drain_back_and_port_are_given():
    """The rest is what the person of `jobs` saw, errors included."""
    rng = np.random.default_rng(5)
    told = []
    for truth in list(LOOK_ALIKES) * 2:
        job = make_job(rng, truth)
        site = revealed(job, {"mouth", "drain_back", "port", "readings", "slow"})
        seen = list(site.evidence.outlets)
        seen[job.outlet] = replace(seen[job.outlet], **LOOK_ALIKES[truth])
        site = replace(site, evidence=replace(site.evidence, outlets=tuple(seen)))
        weighing = weigh(site, draws=120, seed=1)
        among = [a for a in answers(weighing) if len(a) == 1 and a[0][0] in LOOK_ALIKES]
        told.append(among[0] == ((job.truth, job.outlet),))
    assert np.mean(told) >= 0.9


def box(**evidence: object) -> Site:
    outlets = tuple(
        Outlet(label=str(i + 1), opening=Circle(0.0508), readings=(0.0, 0.0005)) for i in range(4)
    )
    return Site(
        outlets=outlets,
        flows=(Flow(name="day", inflow=3e-5),),
        spread=0.0008,
        evidence=Evidence(**evidence),
    )


@pytest.mark.slow
def test_with_nothing_seen_the_priors_stand():
    site = replace(box(), outlets=tuple(replace(o, readings=()) for o in box().outlets))
    result = diagnose(site, draws=60)
    assert sum(answer.probability for answer in result.answers) == pytest.approx(1.0)
    found = by_cause(site, 60)
    # a gravity box on which nothing was seen: the order is that of the priors, within its draws
    assert max(found, key=lambda key: found[key]) == max(CAUSES, key=lambda c: c.weight).key


def test_water_that_cannot_stand_so_is_pointed_out():
    """A dry port says that the header is shut; a long drain-back that the trench is full."""
    wet = OutletEvidence(mouth="full", port="dry", drain_back="long", ground=())
    dry = OutletEvidence(mouth="dry", port="below the pipe", drain_back="none", ground=())
    result = diagnose(box(outlets=(wet, dry, dry, dry)), draws=120)
    pairs = [{pair.one.kind.name, pair.other.kind.name} for pair in result.contradictions]
    assert {"port", "drain_back"} in pairs
    agreed = replace(wet, port="to the pipe")
    assert diagnose(box(outlets=(agreed, dry, dry, dry)), draws=120).contradictions == ()


def probability(site: Site, cause: str, outlet: int) -> float:
    weighing = weigh(site, draws=120, seed=1)
    return float(
        weighing.probability[weighing.hypotheses.answers.index(((index_of(cause)[0], outlet),))]
    )


def test_of_ports_with_water_the_deeper_one_is_the_line_that_gets_too_much():
    """All four ports say "below the pipe"; only the depths tell the lines apart."""

    def seen(deep: int) -> Site:
        depths = [-0.06 if i == deep else -0.29 for i in range(4)]
        return box(
            outlets=tuple(OutletEvidence(port="below the pipe", port_water=d) for d in depths)
        )

    assert probability(seen(0), "unequal", 0) > 3 * probability(seen(1), "unequal", 0)
    assert probability(seen(1), "unequal", 1) > 3 * probability(seen(0), "unequal", 1)


def test_a_rod_that_stops_at_the_mouth_is_at_a_cap_and_far_off_at_a_crushed_header():
    def seen(distance: float) -> Site:
        rods = (OutletEvidence(rod="hard stop", rod_distance=distance),)
        return box(outlets=rods + (OutletEvidence(rod="clear"),) * 3)

    assert probability(seen(0.1), "capped", 0) > 2 * probability(seen(4.0), "capped", 0)
    assert probability(seen(4.0), "crushed", 0) > 2 * probability(seen(0.1), "crushed", 0)


def test_a_serial_box_at_work_is_no_puzzle():
    """Its first lines are full up to the lip of the one that is at work, the last is dry (common
    practice, no source)."""
    ports = [("to the pipe", "full")] * 2 + [("below the pipe", "dry"), ("dry", "dry")]
    site = box(
        system="serial",
        at_rest="above some lips",
        since_use=8 * 3600.0,
        outlets=tuple(OutletEvidence(port=port, mouth=mouth) for port, mouth in ports),
    )
    lips = [Outlet(label=str(i + 1), opening=Circle(0.05), readings=(0.025 * i,)) for i in range(4)]
    found = diagnose(replace(site, outlets=tuple(lips)), draws=60)
    assert (found.answers[0].key, found.fits_well) == ("serial", True)
    assert found.answers[0].probability > 0.9
    assert found.unexplained == ()


def test_the_line_that_is_full_got_its_share_before_it_backed_up():
    """Lips alike, so each of four got about a quarter."""
    full = OutletEvidence(mouth="full", port="to the pipe", drain_back="long", rod="clear")
    dry = OutletEvidence(mouth="dry", port="dry", drain_back="none", rod="clear")
    over = diagnose(box(outlets=(dry, full, dry, dry)), draws=120).overload
    assert over is not None
    assert over.sealed == 1
    low, mean, high = over.before
    assert low < 0.25 < high
    assert mean > over.share[1]
    nothing = diagnose(box(), draws=120).overload
    assert nothing is not None
    assert nothing.sealed == -1
    assert np.isnan(nothing.before).all()


def test_a_line_fills_in_the_time_of_its_closed_form():
    """Storage A_s takes what the soil does not: A_s dh/dt = Q - r (w L + 2 (w + L) h), so to the
    pipe at h it takes A_s / k ln(1 + k h / (Q - r w L - k h)), k = 2 r (w + L). The walls of this
    short and deep trench take as much as its bottom."""
    width, length, pipe, rate, voids = 0.9, 3.0, 0.4, 5e-7, 0.35
    trench = Trench(length=length, width=width, depth=0.6, pipe_height=pipe, acceptance=rate)
    site = replace(box(daily_flow=4 * 4.6e-6), works=Works(trenches=(trench,) * 4))
    over = diagnose(site, draws=60).overload
    assert over is not None
    inflow = float(over.share[over.outlet]) * 4 * 4.6e-6
    walls = 2 * rate * (width + length)
    left = inflow - rate * width * length - walls * pipe
    assert 0 < left < inflow / 2
    expected = voids * width * length / walls * np.log1p(walls * pipe / left)
    assert over.fills_in == pytest.approx(expected, rel=1e-3)


def test_normal_things_are_asked_first_and_ruled_out_once_answered():
    asked = {thing.topic: thing.state for thing in diagnose(box(), draws=60).normal}
    assert asked == {"system": "ask", "caps": "ask", "use": "ask"}
    seen = box(
        system="distribution box",
        since_use=7200.0,
        outlets=(OutletEvidence(cap="none"),) * 4,
    )
    answered = {thing.topic: thing.state for thing in diagnose(seen, draws=60).normal}
    assert set(answered.values()) == {"ruled out"}


def test_same_seed_same_answer():
    site = box(at_rest="above some lips")
    first, again = diagnose(site, draws=60), diagnose(site, draws=60)
    assert [a.probability for a in first.answers] == [a.probability for a in again.answers]
    assert first.looks == again.looks


def test_no_open_outlet_or_too_few_draws_is_refused():
    shut = replace(box(), outlets=tuple(replace(o, capped=True) for o in box().outlets))
    with pytest.raises(DomainError, match="capped"):
        diagnose(shut)
    with pytest.raises(DomainError, match="draws"):
        diagnose(box(), draws=5)
