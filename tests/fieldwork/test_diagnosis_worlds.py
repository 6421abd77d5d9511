"""Is the diagnosis as sure as it may be, in worlds that others made up?

Every world and number of looks is asked a few dozen jobs; `diagnosis_worlds` asks hundreds, and
trains the plain classifiers that the aims are set against. A chance counts for a cause, its outlets
added up. What is held here is held within twice the error of so few jobs.
"""

import re

import numpy as np
import pytest

from dbox_cli.diagnose_command import command
from tests.fieldwork.diagnosis_worlds import (
    LOOKS,
    Judged,
    by_cause,
    pairs,
    visits,
    wrong_looks,
)
from tests.fieldwork.job_world import SETTINGS
from tests.fieldwork.jobs import MOST

pytestmark = pytest.mark.slow

CEILINGS = {
    ("own", 4): (0.245, 2.62, 0.023), ("own", 8): (0.410, 1.99, 0.069),
    ("own", MOST): (0.815, 0.60, 0.532), ("old", 4): (0.337, 2.31, 0.052),
    ("old", 8): (0.465, 1.86, 0.136), ("old", MOST): (0.759, 0.77, 0.515),
    ("rough", 4): (0.222, 2.78, 0.028), ("rough", 8): (0.346, 2.29, 0.077),
    ("rough", MOST): (0.680, 1.01, 0.404),
}  # fmt: skip
"""First, log-loss and part given over 90 % of the better classifier, which was the logistic one:
trained on 5,000 jobs of that world and asked 1,500 more."""

JOBS, DRAWS = 36, 40


@pytest.fixture(scope="module")
def asked() -> dict[tuple[str, int], Judged]:
    """What the tool says with its own priors."""
    found = {}
    for name, setting in SETTINGS.items():
        for count in LOOKS:
            truths, sites = visits(setting, count, JOBS, seed=31)
            found[name, count] = Judged.of([by_cause(site, DRAWS) for site in sites], truths)
    return found


def error_of(values: np.ndarray) -> float:
    """Standard error of a mean."""
    return float(np.std(values) / np.sqrt(len(values)))


def test_it_comes_close_to_classifiers_that_were_trained_in_that_world(asked):
    """Right first at least as often less 3 points; log-loss within 0.3, its own priors standing."""
    for part, (aim, slack) in enumerate(((0.03, 1.0), (0.30, -1.0))):
        gaps, errors = [], []
        for cell, judged in asked.items():
            hits = judged.rank == 0 if part == 0 else -np.log(np.maximum(judged.truth, 1e-4))
            gaps.append(slack * (hits.mean() - CEILINGS[cell][part]))
            errors.append(error_of(hits))
        assert np.mean(gaps) >= -aim - 2 * np.hypot.reduce(errors) / len(errors)


def test_it_is_as_sure_as_it_may_be(asked):
    """Of those given over 90 % nine in ten are right, of those given 70 to 90 % 65 to 92 %; and it
    gives over 90 % to at least 0.8 times as many as the classifiers do."""
    high = np.sum([judged.right_of(0.9) for judged in asked.values()], axis=0)
    middle = np.sum([judged.right_of(0.7, 0.9) for judged in asked.values()], axis=0)
    assert high[1] / high[0] >= 0.90 - 2 * np.sqrt(0.9 * 0.1 / high[0])
    slack = 2 * np.sqrt(0.8 * 0.2 / middle[0])
    assert 0.65 - slack <= middle[1] / middle[0] <= 0.92 + slack
    given = JOBS * sum(CEILINGS[cell][2] for cell in asked)
    assert high[0] >= 0.8 * given - 2 * np.sqrt(given)


def test_help_says_how_right_it_is(asked):
    """After 4 looks, 8 and most, the three worlds taken together; and over 90 %."""
    told = " ".join(str(command.__doc__).split())
    said = [int(number) for number in re.findall(r"in (\d+)", told)]
    for number, count in zip(said, LOOKS, strict=False):
        ranks = np.concatenate([asked[name, count].rank for name in SETTINGS])
        assert abs(np.mean(ranks == 0) - number / 100) <= 2 * error_of(ranks == 0) + 0.02
    high = np.sum([judged.right_of(0.9) for judged in asked.values()], axis=0)
    assert abs(high[1] / high[0] - said[3] / 100) <= 2 * np.sqrt(0.05 * 0.95 / high[0]) + 0.01


def test_most_looks_find_the_cause_in_its_own_world(asked):
    """88 in 100 first and 95 among the first two."""
    judged = asked["own", MOST]
    assert judged.first() >= 0.88 - 2 * np.sqrt(0.88 * 0.12 / JOBS)
    assert judged.first(2) >= 0.95 - 2 * np.sqrt(0.95 * 0.05 / JOBS)


def test_two_causes_are_found_as_a_pair():
    """The right pair among the first three in 40 of 100."""
    found = [pairs(name, MOST, 20, DRAWS)[0] for name in SETTINGS]
    assert np.mean(found) >= 0.40 - 2 * np.sqrt(0.4 * 0.6 / 60)


@pytest.fixture(scope="module")
def misread() -> dict[str, float]:
    """What becomes of jobs in which one look was written down wrong, and of the same ones clean."""
    return wrong_looks("old", MOST, 40, DRAWS)


def test_clean_jobs_are_seldom_flagged(misread):
    """One in ten at most."""
    assert misread["flags on clean"] <= 0.10 + 2 * np.sqrt(0.1 * 0.9 / 40)


def test_a_look_written_down_wrong_turns_few_right_firsts(misread):
    """Of those that it turns for the classifier half are saved or flagged; of the tool's own right
    firsts half of those that it turns are flagged, and at most one in twenty is turned and not."""
    lost = misread["turned"] - misread["turned and flagged"]
    assert lost <= 0.05 * 40
    assert lost <= 0.5 * misread["turned"] + np.sqrt(0.25 * misread["turned"])
    many = misread["turn the classifier"]
    assert misread["of those saved or flagged"] >= 0.5 * many - np.sqrt(many)
