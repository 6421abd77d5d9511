"""Naive Bayes and multinomial logistic regression: what the looks of a made-up job hold.

They are trained on thousands of jobs of the very world that they are then asked about, so they know
its rates and its priors, which no tool in the field does. Both by their textbook definitions, the
second by `scipy.optimize`. What they see of a visit are words, counts of words over the outlets,
and binned readings and catches; "not looked at" is a word too.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_softmax, softmax

from dbox.fieldwork.evidence import OUTLET_WORDS, WORDS
from dbox.fieldwork.site import Site

_MM = 1e-3
_HEIGHTS = np.array([0.8, 1.6, 2.4, 3.6, 5.5, 8.0, 12.0]) * _MM
_SHARES = np.array([0.05, 0.3, 0.6, 0.8, 1.2, 1.4, 1.8, 2.5])
_USUAL = {"cap": "none", "mouth": "dry", "lip": "clean", "trace": "as the others", "hole": "alike",
          "port": "dry", "drain_back": "none", "rod": "clear", "traffic": "none",
          "wiped": "no change"}  # fmt: skip
_PLACES = ("over the pipe", "head", "middle", "end")


def _binned(value: float | None, edges) -> int:
    return 0 if value is None else 1 + int(np.searchsorted(edges, value))


def _heights(site: Site) -> np.ndarray | None:
    if not all(outlet.readings for outlet in site.outlets):
        return None
    return np.array([np.mean(outlet.readings) for outlet in site.outlets])


def _of_plane(site: Site, heights: np.ndarray | None) -> tuple[float | None, float | None]:
    """How far the best plane falls across the outlets, and the most that one is off it."""
    if heights is None:
        return None, None
    turn = 2 * np.pi * (np.arange(len(heights)) + 1) / (len(heights) + 1)
    places = [
        outlet.position or (0.2 - 0.2 * np.cos(a), 0.25 - 0.25 * np.sin(a))
        for outlet, a in zip(site.outlets, turn, strict=True)
    ]
    design = np.column_stack([np.ones(len(places)), np.array(places)])
    fitted = design @ np.linalg.lstsq(design, heights, rcond=None)[0]
    return float(np.ptp(fitted)), float(np.abs(heights - fitted).max())


def _odd_one(site: Site, heights: np.ndarray | None, shares: list) -> int:
    """The outlet with the most that is unusual."""
    score = np.zeros(len(site.outlets))
    for i, seen in enumerate(site.evidence.outlets):
        score[i] += sum(
            getattr(seen, kind) not in (None, usual) for kind, usual in _USUAL.items()
        ) + bool(seen.ground)
    if heights is not None:
        score += np.abs(heights - np.median(heights)) / (3 * _MM)
    for share in shares:
        score += np.abs(share - 1) / 1.5
    return int(score.argmax())


def categories(site: Site) -> list[int]:
    """What a visit brought, as a list of small whole numbers; 0 is not looked at."""
    seen, n = site.evidence, len(site.outlets)
    row = [0 if (w := getattr(seen, k)) is None else 1 + WORDS[k].index(w) for k in WORDS]
    for kind, words in OUTLET_WORDS.items():
        told = [getattr(outlet, kind) for outlet in seen.outlets]
        for word in words:
            count = told.count(word)
            row.append(0 if None in told else 1 + min(count, 2) + (count == n))
    wet = [outlet.ground for outlet in seen.outlets]
    for place in _PLACES:
        row.append(0 if None in wet else 1 + min(sum(place in w for w in wet), 2))
    heights = _heights(site)
    fall, off = _of_plane(site, heights)
    ends = (None, None)
    if heights is not None:
        ends = np.median(heights) - heights.min(), heights.max() - np.median(heights)
    row += [_binned(each, _HEIGHTS) for each in (fall, off, *ends)]
    by_name = {pour.name: np.array(pour.catches) / pour.inflow for pour in site.pours}
    shares = [caught * n for caught in by_name.values()]
    for name in ("slow", "fast"):
        caught = by_name.get(name)
        row += [_binned(None if caught is None else caught.max() * n, _SHARES),
                _binned(None if caught is None else caught.min() * n, _SHARES),
                _binned(None if caught is None else caught.sum(), (0.5, 0.8, 0.92))]  # fmt: skip
    lengths = [outlet.line_length for outlet in site.outlets]
    short = None if None in lengths else min(lengths) / max(lengths)
    row.append(_binned(short, (0.7, 0.95)))
    reach = [o.rod_distance for o in seen.outlets if o.rod_distance is not None]
    row.append(_binned(min(reach) if reach else None, (0.3, 1.0, 3.0, 7.0)))
    odd = _odd_one(site, heights, shares)
    of_odd = seen.of_outlet(odd)
    row += [0 if (w := getattr(of_odd, k)) is None else 1 + words.index(w)
            for k, words in OUTLET_WORDS.items()]  # fmt: skip
    row.append(0 if of_odd.ground is None else 1 + bool(of_odd.ground))
    row.append(_binned(None if heights is None else heights[odd] - np.median(heights),
                       np.concatenate([-_HEIGHTS[::-1], _HEIGHTS])))  # fmt: skip
    row += [_binned(shares[k][odd] if k < len(shares) else None, _SHARES) for k in (0, 1)]
    return row


@dataclass
class Classifier:
    """Scores that are linear in which category was seen, both kinds."""

    classes: list[str]
    sizes: np.ndarray  # (columns,) Categories of each column.
    weights: np.ndarray  # (categories in all, classes)
    start: np.ndarray  # (classes,)

    def chances(self, rows: np.ndarray) -> np.ndarray:
        """Probability of each class. (jobs, classes)"""
        return softmax(_one_hot(rows, self.sizes) @ self.weights + self.start, axis=1)


def _one_hot(rows: np.ndarray, sizes: np.ndarray) -> np.ndarray:
    hot = np.zeros((len(rows), int(sizes.sum())))
    starts = np.concatenate([[0], np.cumsum(sizes)[:-1]])
    clipped = np.minimum(rows, sizes - 1) + starts
    hot[np.arange(len(rows))[:, None], clipped] = 1.0
    return hot


def naive_bayes(rows: np.ndarray, truths: list[str]) -> Classifier:
    """Rates of each category under each class, each with half a job added."""
    classes, y = np.unique(truths, return_inverse=True)
    sizes = rows.max(0) + 1
    member = np.eye(len(classes))[y]
    counts = _one_hot(rows, sizes).T @ member + 0.5
    rates = np.concatenate([
        block / block.sum(0) for block in np.split(counts, np.cumsum(sizes)[:-1])
    ])  # fmt: skip
    return Classifier(list(classes), sizes, np.log(rates), np.log(member.mean(0)))


def logistic(rows: np.ndarray, truths: list[str], ridge: float = 1.5) -> Classifier:
    """Most likely weights under a normal prior of precision `ridge`, by L-BFGS."""
    classes, y = np.unique(truths, return_inverse=True)
    sizes = rows.max(0) + 1
    hot = _one_hot(rows, sizes)
    hot = hot.astype(np.float32)
    member = np.eye(len(classes), dtype=np.float32)[y]
    shape = (hot.shape[1], len(classes))

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        weights = flat[: shape[0] * shape[1]].reshape(shape)
        start = flat[shape[0] * shape[1] :]
        log_chance = log_softmax(hot @ weights.astype(np.float32) + start, axis=1)
        away = np.exp(log_chance) - member
        slope = (hot.T @ away.astype(np.float32)).astype(float) + ridge * weights
        value = -float((log_chance * member).sum()) + 0.5 * ridge * float((weights**2).sum())
        return value, np.concatenate([slope.ravel(), away.sum(0)])

    found = minimize(
        loss, np.zeros(shape[0] * shape[1] + shape[1]), jac=True, method="L-BFGS-B",
        options={"maxiter": 150},
    )  # fmt: skip
    return Classifier(
        list(classes), sizes, found.x[: -shape[1]].reshape(shape), found.x[-shape[1] :]
    )
