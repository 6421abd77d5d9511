"""How is what a list came to written for machines? JSON-ready objects, the unit in the key."""

from typing import Any

from dbox.fieldwork.batch.tally import EDGES
from dbox.fieldwork.batch.work import WORK
from dbox.fieldwork.confidence import VERDICTS
from dbox.files.batch.run import Outcome
from dbox.files.batch.settings import Settings


def batch_json(outcome: Outcome, settings: Settings) -> dict[str, Any]:
    """The answer of `dbox batch --json`.

    Parameters
    ----------
    outcome : Outcome
        What the run came to.
    settings : Settings
        What it went by.

    Returns
    -------
    dict
        `boxes`, `refused`, `verdicts`, `flows`, `work` and `files`. Bins of the worst share over
        target are told by their lower edges; the last is open.
    """
    tally, places = outcome.tally, outcome.places
    refused = int(tally.refused[0])
    return {
        "boxes": tally.boxes,
        "refused": refused,
        "verdicts": _counts(VERDICTS, tally.verdicts),
        "flows": [
            {
                "name": flow.name,
                "inflow_m3_s": flow.inflow,
                "verdicts": _counts(VERDICTS, tally.by_flow[case]),
                "worst_over_target_from": EDGES[:-1].round(6).tolist(),
                "worst_over_target_boxes": tally.worst[case].tolist(),
            }
            for case, flow in enumerate(settings.flows)
        ],
        "work": {
            **_counts(WORK, tally.work),
            "unknown": tally.boxes - int(tally.work.sum()),
        }
        if outcome.with_work
        else None,
        "files": [str(places.results), *([str(places.bad)] if refused else [])],
    }


def _counts(words: tuple[str, ...], counts: Any) -> dict[str, int]:
    return dict(zip(words, counts.tolist(), strict=True))
