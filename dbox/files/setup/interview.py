"""Which box is it, where there is no scenario yet? What is asked, in the order one meets it.

Each question has a key; its answer is text, checked at once and kept as typed, so that the
scenario written in the end says what the person said: `1-3/4 in`, not 44.45 mm. An empty answer is
"left out" and stays out of the file: not measured, never zero.
"""

from collections.abc import Iterator
from typing import Any

from dbox.errors import ScenarioError
from dbox.files.inserts import KINDS
from dbox.files.scenario import loads
from dbox.files.setup.interview_checks import CHECKS, Answers, capped_of, labels_of, parts_of
from dbox.files.writer import toml_text

NEEDED = ("outlets", "hole", "offset")
"""Questions that cannot be left out; the first clock position has to be given or skipped."""


def next_key(answers: Answers) -> str | None:
    """Key of the first question that is not answered; None where all are.

    Parameters
    ----------
    answers : mapping of str to str
        Checked answers by key.

    >>> next_key({"units": "in", "title": ""})
    'outlets'
    """
    return next((key for key in keys(answers) if key not in answers), None)


def keys(answers: Answers) -> Iterator[str]:
    """Keys of the questions that these answers lead to, in order."""
    yield from ("units", "title", "outlets", "capped", "hole")
    labels = labels_of(answers)
    if answers.get("hole", "circle").lower().startswith("circle"):
        yield "offset"
    if answers.get("offset", "") not in ("", "fixed"):
        yield from (f"clock {label}" for label in labels if label not in capped_of(answers))
    yield "inside"
    if answers.get("inside"):
        yield from (f"place {label}" for label in labels)
    yield from ("point", "spread", "tolerance")
    if answers.get("tolerance"):
        yield "source"
    yield "write"


def check(key: str, text: str, answers: Answers) -> str:
    """Check an answer and bring it to the form that is kept.

    Parameters
    ----------
    key : str
        Which question.
    text : str
        As typed; empty: Enter alone.
    answers : mapping of str to str
        The answers so far.

    Returns
    -------
    str
        Empty where it is left out.

    Raises
    ------
    ScenarioError
        Where it cannot be; the message begins with `is` or with the key of a scenario.
    """
    topic = key.partition(" ")[0]
    kept = CHECKS[topic](text.strip(), answers)
    if topic in NEEDED and not kept:
        raise ScenarioError("is empty; this one is needed")
    told = {**answers, key: kept}
    if "hole" in told:
        scenario_text(told)
    return kept


def scenario_text(answers: Answers) -> str:
    """The scenario that the answers make.

    Parameters
    ----------
    answers : mapping of str to str
        At least `outlets` and `hole`.

    Returns
    -------
    str
        TOML that is in order.

    Raises
    ------
    ScenarioError
        Where the answers do not fit together.
    """
    text = toml_text(_document(answers))
    try:
        loads(text, "")
    except ScenarioError as error:
        raise ScenarioError(*(fault.removeprefix(": ") for fault in error.faults)) from error
    return _HEAD + text


_HEAD = """\
# Written by the questions of `dbox setup`. Its readings are in the
# log next to it. Equal shares are wanted and the default flows are
# computed, unless you add [target] and [flows]; `dbox new` shows all.

"""


def _document(answers: Answers) -> dict[str, Any]:
    tables: dict[str, Any] = {
        "title": answers.get("title"),
        "units": answers.get("units", "in"),
        "box": _box(answers),
        "insert": _insert(answers),
        "readings": _given(point=answers.get("point"), spread=answers.get("spread")),
        "outlet": [_outlet(label, answers) for label in labels_of(answers)],
        "tolerance": _given(share=answers.get("tolerance"), source=answers.get("source")),
    }
    return {key: value for key, value in tables.items() if value}


def _given(**values: Any) -> dict[str, Any]:
    """The values that are not left out."""
    return {key: value for key, value in values.items() if value}


def _box(answers: Answers) -> dict[str, Any]:
    inside = parts_of(answers.get("inside", ""))
    return (
        {"shape": "rectangle" if len(inside) == 2 else "round", "inside": inside} if inside else {}
    )


def _insert(answers: Answers) -> dict[str, Any]:
    kind, _, rest = answers["hole"].partition(" ")
    sizes = zip(KINDS[kind].sizes, parts_of(rest), strict=False)
    offset = answers.get("offset", "")
    return {"kind": kind, **dict(sizes), **_given(offset="" if offset == "fixed" else offset)}


def _outlet(label: str, answers: Answers) -> dict[str, Any]:
    place = answers.get(f"place {label}", "")
    return _given(
        label=label,
        at=parts_of(place),
        clock=answers.get(f"clock {label}"),
        state="capped" if label in capped_of(answers) else "",
    )
