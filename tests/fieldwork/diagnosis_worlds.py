"""How right the diagnosis is in made-up worlds, beside plain classifiers that were trained in them.

    python -m tests.fieldwork.diagnosis_worlds                       every world, in about an hour
    python -m tests.fieldwork.diagnosis_worlds --world old --jobs 200 --faults 2
    python -m tests.fieldwork.diagnosis_worlds --wrong               one look written down wrong

Jobs, worlds and looks are invented (`jobs`, `job_world`). Classifiers are kept in the machine's
temporary directory, by what makes them. A cause is right whichever outlet it is put at; chances
below 1 in 10,000 count as that in the log-loss.
"""

import argparse
import ast
import hashlib
import pickle
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from dbox.fieldwork.diagnosis.causes import CAUSES
from dbox.fieldwork.diagnosis.diagnose import contradictions
from dbox.fieldwork.diagnosis.posterior import SURPRISED, Weighing, fit_of, keystones, weigh
from dbox.fieldwork.evidence import Prior
from dbox.fieldwork.site import Site
from tests.fieldwork.job_world import OWN_PRIORS, SETTINGS, SINGLE, Setting
from tests.fieldwork.jobs import MOST, looks_made, make_job, revealed, with_one_wrong
from tests.fieldwork.plain_classifiers import Classifier, categories, logistic, naive_bayes

LOOSE = Setting("loose", {key: OWN_PRIORS[key] for key in SINGLE}, (0.003, 0.0045),
                (0.0014, 0.0021), (0.04, 0.10), cases=5.0, swaps=0.04, by_rule=True,
                absent=("wiped",))  # fmt: skip
"""The world that the tool's temperature is fitted on, and that is not reported: uneven boxes,
loose signs, careless people."""

WORLDS = SETTINGS | {LOOSE.name: LOOSE}
LOOKS = {4: "4", 8: "8", MOST: "most"}
TRAINED_ON = 5000
_LEAST = 1e-4
_MADE_BY = ("job_water", "job_world", "jobs", "plain_classifiers")


def written(key: str) -> str:
    """A cause as it is compared: a pair by its two keys, in order.

    >>> written("tilt_full"), written("low+deposit"), written("all_full")
    ('full+tilt', 'deposit+low', 'all_full')
    """
    for pair in ("tilt_full", "low_full", "solids_full"):
        key = pair.replace("_", "+") if key == pair else key
    return "+".join(sorted(key.split("+")))


def with_priors(site: Site, setting: Setting) -> Site:
    """The same visit with the world's priors typed in, and how often it has two causes at once."""
    typed = [
        Prior(c.key, float(setting.priors.get(c.key, 0.0))) for c in CAUSES if c.key != "other"
    ]
    two = sum(weight for key, weight in setting.priors.items() if "+" in key)
    return replace(site, priors=(*typed, Prior("two_causes", float(two))))


def by_cause(site: Site, draws: int) -> dict[str, float]:
    """What the tool gives each cause, its outlets added up."""
    return of_causes(weigh(site, draws=draws, seed=1))


def of_causes(weighing: Weighing) -> dict[str, float]:
    """Probability of each cause, its outlets added up."""
    found: dict[str, float] = {}
    for parts, chance in zip(
        weighing.hypotheses.answers, weighing.probability.tolist(), strict=True
    ):
        key = written("+".join(CAUSES[cause].key for cause, _ in parts))
        found[key] = found.get(key, 0.0) + chance
    return found


def flagged(weighing: Weighing) -> bool:
    """Whether the tool points something out: two looks that do not go together, one look on which
    alone the lead rests, or that nothing fits well."""
    apart = contradictions(weighing.site, weighing.suspicion)
    surprise = fit_of(weighing).surprise[int(weighing.probability.argmax())]
    return bool(apart or keystones(weighing) or surprise >= SURPRISED)


@cache
def classifiers(name: str) -> dict[int, tuple[Classifier, Classifier]]:
    """Trained on jobs of a world at each number of looks, or as they were kept."""
    here = Path(__file__).parent
    made_by = [ast.dump(ast.parse((here / f"{module}.py").read_text())) for module in _MADE_BY]
    mark = hashlib.sha256(f"{made_by} {WORLDS[name]} {TRAINED_ON}".encode()).hexdigest()[:16]
    kept = Path(tempfile.gettempdir()) / f"dbox-classifiers-{mark}.pickle"
    if kept.exists():
        return pickle.loads(kept.read_bytes())
    setting, rng = WORLDS[name], np.random.default_rng(77)
    jobs = [make_job(rng, setting=setting) for _ in range(TRAINED_ON)]
    truths, trained = [written(job.truth) for job in jobs], {}
    for count in LOOKS:
        rows = np.array([categories(revealed(j, looks_made(rng, count, setting))) for j in jobs])
        trained[count] = naive_bayes(rows, truths), logistic(rows, truths)
    kept.write_bytes(pickle.dumps(trained))
    return trained


@dataclass
class Judged:
    """One who judged jobs: what it gave the truth, and its leaders."""

    truth: np.ndarray  # (jobs,) Chance given to the truth.
    rank: np.ndarray  # (jobs,) Place of the truth, 0 the first.
    leader: np.ndarray  # (jobs,) Chance of the first.

    @classmethod
    def of(cls, found: Iterable[dict[str, float]], truths: list[str]) -> "Judged":
        rows = []
        for chances, truth in zip(found, truths, strict=True):
            own = chances.get(truth, 0.0)
            more = sum(c > own for key, c in chances.items() if key != truth)
            rows.append((own, more if truth in chances else 99, max(chances.values())))
        return cls(*np.array(rows).T)

    @property
    def log_loss(self) -> float:
        return float(-np.log(np.maximum(self.truth, _LEAST)).mean())

    def first(self, among: int = 1) -> float:
        return float((self.rank < among).mean())

    def right_of(self, low: float, high: float = 1.1) -> tuple[int, int]:
        """How many leaders lay in a range, and how many of those were right."""
        some = (self.leader > low) & (self.leader <= high)
        return int(some.sum()), int((self.rank[some] == 0).sum())


def _class_chances(classifier: Classifier, rows: np.ndarray) -> list[dict[str, float]]:
    return [
        dict(zip(classifier.classes, row, strict=True)) for row in classifier.chances(rows).tolist()
    ]


def visits(setting: Setting, count: int, jobs: int, seed: int, faults: int = 1):
    """Truths and what the visits brought."""
    rng = np.random.default_rng([seed, count, faults])
    made = [make_job(rng, setting=setting, faults=faults) for _ in range(jobs)]
    sites = [revealed(job, looks_made(rng, count, setting)) for job in made]
    return [written(job.truth) for job in made], sites


def one_cause(name: str, count: int, jobs: int, draws: int, seed: int = 5) -> dict[str, Judged]:
    """The tool with and without the world's priors, and both classifiers, on the same jobs."""
    truths, sites = visits(WORLDS[name], count, jobs, seed)
    rows = np.array([categories(site) for site in sites])
    bayes, logit = (_class_chances(each, rows) for each in classifiers(name)[count])
    typed = [by_cause(with_priors(site, WORLDS[name]), draws) for site in sites]
    plain = [by_cause(site, draws) for site in sites]
    found = {"typed": typed, "plain": plain, "bayes": bayes, "logistic": logit}
    keep = Path(tempfile.gettempdir()) / f"dbox-judged-{name}-{count}.pickle"
    keep.write_bytes(pickle.dumps((truths, found)))
    return {who: Judged.of(chances, truths) for who, chances in found.items()}


def pairs(name: str, count: int, jobs: int, draws: int, seed: int = 6) -> tuple[float, float]:
    """Two faults: the right pair among the first three, and either fault first."""
    truths, sites = visits(WORLDS[name], count, jobs, seed, faults=2)
    among, either = 0, 0
    for truth, site in zip(truths, sites, strict=True):
        found = by_cause(site, draws)
        order = sorted(found, key=lambda key: -found[key])
        among += truth in order[:3]
        either += bool({*truth.split("+")} & {*order[0].split("+")})
    return among / jobs, either / jobs


def wrong_looks(name: str, count: int, jobs: int, draws: int, seed: int = 7) -> dict[str, float]:
    """One look written down wrong: what becomes of firsts that were right, and what is flagged.

    The person makes no other slip, so that a flag on the clean job is a false one.
    """
    careful = replace(WORLDS[name], slip=(0.0, 0.0), swaps=0.0)
    truths, clean = visits(careful, count, jobs, seed)
    rng = np.random.default_rng(seed)
    bayes = classifiers(name)[count][1]
    wrong = [with_one_wrong(site, rng) for site in clean]

    def right(found: list[dict[str, float]]) -> np.ndarray:
        return Judged.of(found, truths).rank == 0

    asked = [
        [
            (of_causes(each), flagged(each))
            for each in (weigh(s, draws=draws, seed=1) for s in sites)
        ]
        for sites in (clean, wrong)
    ]
    tool = [right([found for found, _ in some]) for some in asked]
    plain = [right(_class_chances(bayes, np.array([categories(s) for s in sites])))
             for sites in (clean, wrong)]  # fmt: skip
    flags = [np.array([flag for _, flag in some]) for some in asked]
    turned, by_plain = tool[0] & ~tool[1], plain[0] & ~plain[1] & tool[0]
    return {
        "right": tool[0].mean(), "turned": turned.sum(),
        "turned and flagged": (turned & flags[1]).sum(),
        "turn the classifier": by_plain.sum(),
        "of those saved or flagged": (by_plain & (tool[1] | flags[1])).sum(),
        "flags on clean": flags[0].mean(), "flags on wrong": flags[1].mean(),
    }  # fmt: skip


def wilson(right: int, many: int) -> tuple[float, float]:
    """95 % interval of a rate (Wilson, E. B., 1927, Probable inference, the law of succession, and
    statistical inference, Journal of the American Statistical Association 22, 209-212).

    81 of 263 is the example of Newcombe, R. G., 1998, Statistics in Medicine 17 (from memory).

    >>> [round(end, 4) for end in wilson(81, 263)]
    [0.2553, 0.3662]
    """
    z = 1.96
    middle, wide = right / many + z**2 / (2 * many), z**2 / (4 * many**2)
    away = z * np.sqrt(right / many * (1 - right / many) / many + wide)
    return float((middle - away) / (1 + z**2 / many)), float((middle + away) / (1 + z**2 / many))


def _line(name: str, count: int, judged: dict[str, Judged]) -> str:
    typed, plain, bayes, logit = (judged[w] for w in ("typed", "plain", "bayes", "logistic"))

    def of(judge: Judged, least: float, most: float = 1.1) -> str:
        many, right = judge.right_of(least, most)
        if not many:
            return "no job"
        low, high = wilson(right, many)
        return f"{100 * right / many:3.0f} ({100 * low:.0f} to {100 * high:.0f}) of {many:3d}"

    return (
        f"{name:6}{LOOKS[count]:>5} |"
        + " ".join(f"{100 * each.first():3.0f}" for each in (typed, plain, bayes, logit))
        + " | "
        + " ".join(f"{100 * each.first(2):3.0f}" for each in (typed, plain, logit))
        + " | "
        + " ".join(f"{each.log_loss:4.2f}" for each in (typed, plain, bayes, logit))
        + " | "
        + "  ".join(of(each, 0.9) for each in (typed, plain, logit))
        + " | "
        + "  ".join(of(each, 0.7, 0.9) for each in (typed, plain, logit))
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--world", choices=list(WORLDS), action="append")
    parser.add_argument("--looks", choices=list(LOOKS.values()), action="append")
    parser.add_argument("--jobs", type=int, default=300)
    parser.add_argument("--draws", type=int, default=100)
    parser.add_argument("--faults", type=int, choices=(1, 2), default=1)
    parser.add_argument("--wrong", action="store_true")
    typed = parser.parse_args()
    counts = [c for c, word in LOOKS.items() if not typed.looks or word in typed.looks]
    cells = [(name, count) for name in typed.world or SETTINGS for count in counts]
    if not typed.wrong and typed.faults == 1:
        print("T: tool, priors typed; t: its own; B: naive Bayes; L: logistic")
        print("world looks |  first T t B L | first two T t L | log-loss T t B L"
              " | over 90 %: right T, t, L | 70 to 90 %: right T, t, L")  # fmt: skip
    for name, count in cells:
        if typed.wrong:
            found = wrong_looks(name, count, typed.jobs, typed.draws)
            told = ", ".join(f"{key} {value:.3g}" for key, value in found.items())
            print(name, LOOKS[count], told, flush=True)
        elif typed.faults == 2:
            among, either = pairs(name, count, typed.jobs, typed.draws)
            print(name, LOOKS[count], f"pair in three {among:.2f}, either first {either:.2f}",
                  flush=True)  # fmt: skip
        else:
            judged = one_cause(name, count, typed.jobs, typed.draws)
            print(_line(name, count, judged), flush=True)


if __name__ == "__main__":
    main()
