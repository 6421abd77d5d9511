"""What any second writing of the estimate must give too: the numbers of tests/vectors.json.

They were written once by `python -m tests.fieldwork.test_vectors` and are a contract, not a proof;
that the estimate is right is shown in `test_estimate`.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from dbox import Circle, split
from dbox.fieldwork.estimate import (
    Estimate,
    decide,
    level_chance,
    normal_points,
    turn_variance,
)
from dbox.fieldwork.readings import mark_variance, reading_variance
from dbox.fieldwork.turning import Reach

KEPT = Path(__file__).parents[1] / "vectors.json"
INCH = 0.0254


def made_up(seed):
    """The numbers that go in: fillings, and between them the turns that were made."""
    rng = np.random.default_rng(seed)
    n, fillings = int(rng.integers(2, 9)), int(rng.integers(1, 4))
    offset = np.where(rng.random(n) < 0.85, INCH / 2, 0.0)
    clock = rng.uniform(-np.pi, np.pi, n)
    told = [(clock + rng.uniform(-0.5, 0.5, n) * (rng.random(n) < 0.5)).tolist()
            for _ in range(fillings - 1)]  # fmt: skip
    mark = float(rng.choice([INCH / 16, INCH / 32, 0.001]))
    lips = rng.normal(0.0, rng.choice([0.0003, 0.002, 0.01]), n)
    means = [(np.round((lips + rng.normal(0, mark, n)) / mark) * mark).tolist()
             for _ in range(fillings)]  # fmt: skip
    return {
        "jitter_m": mark, "mark_m": mark, "repeats": rng.integers(1, 5, n).tolist(),
        "means_m": means, "offset_m": offset.tolist(), "clock_rad": clock.tolist(),
        "told_rad": told, "hand_rad": float(np.radians(rng.uniform(1, 5))),
        "wanted_m": (rng.uniform(0, 0.004, n) * (seed % 3 == 0)).tolist(),
        "highest": bool(seed % 4 == 3), "diameter_m": 1.75 * INCH, "inflow_m3_s": 3e-5,
    }  # fmt: skip


def answer(given):
    """What comes out."""
    jitter, mark, hand = given["jitter_m"], given["mark_m"], given["hand_rad"]
    offset, clock, wanted = (
        np.array(given[k]) for k in ("offset_m", "clock_rad", "wanted_m")
    )  # fmt: skip
    variance = reading_variance(jitter, mark, np.array(given["repeats"]))
    known = Estimate(height=np.array(given["means_m"][0]), covariance=np.diag(variance))
    for told, mean in zip(map(np.array, given["told_rad"]), given["means_m"][1:], strict=True):
        moved = (told != clock) & (offset > 0)
        rise = np.where(moved, offset * (np.cos(clock) - np.cos(told)), 0.0)
        spoiled = np.where(moved, turn_variance(clock, told, offset, hand), 0.0)
        known, clock = known.turned(rise, spoiled).read(np.array(mean), variance), told
    reach = Reach.of_lips(known.height, offset, clock)
    made = decide(reach, known.covariance, wanted, hand=hand, started=known.started,
                  by_rule=float(variance.max()), highest=given["highest"])  # fmt: skip
    root = np.linalg.cholesky(known.covariance)
    drawn = known.height + normal_points(4000, offset.size) @ root.T
    share = split(given["inflow_m3_s"], drawn, Circle(given["diameter_m"])).share
    chance = level_chance(known.height - wanted, known.covariance, np.ones(offset.size, bool))
    return {
        "mark_variance_m2": float(mark_variance(jitter, mark)),
        "variance_m2": variance.tolist(),
        "height_m": known.height.tolist(),
        "covariance_m2": known.covariance.tolist(),
        "slipped": list(known.slipped),
        "goal_m": float(made.goal),
        "turn": made.turn.tolist(),
        "to_m": made.wanted.tolist(),
        "apart": bool(made.apart),
        "off": made.off.tolist(),
        "level_chance": float(chance),
        "share_low": np.percentile(share, 5, axis=0).tolist(),
        "share_high": np.percentile(share, 95, axis=0).tolist(),
        "points": normal_points(4000, offset.size)[:3].tolist(),
    }


VECTORS = json.loads(KEPT.read_text()) if KEPT.exists() else []


@pytest.mark.parametrize("vector", VECTORS, ids=lambda v: f"{len(v['given']['offset_m'])} outlets")
def test_the_estimate_meets_the_kept_numbers(vector):
    found = answer(vector["given"])
    assert found.keys() == vector["answer"].keys()
    for key, value in vector["answer"].items():
        # covariances are 1e-7 m2: what is left of 1e-9 of them moves no share
        np.testing.assert_allclose(found[key], value, rtol=1e-9, atol=1e-13, err_msg=key)


def test_the_kept_numbers_hold_every_kind_of_answer():
    answers = [vector["answer"] for vector in VECTORS]
    assert len(answers) >= 24
    assert {answer["apart"] for answer in answers} == {True, False}
    assert any(any(answer["off"]) for answer in answers)
    assert any(any(answer["turn"]) and not all(answer["turn"]) for answer in answers)
    assert any(vector["given"]["told_rad"] for vector in VECTORS)


if __name__ == "__main__":
    made = [{"given": given, "answer": answer(given)} for given in map(made_up, range(28))]
    KEPT.write_text("[\n" + ",\n".join(map(json.dumps, made)) + "\n]\n")
