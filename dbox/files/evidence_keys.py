"""What was seen, as a scenario writes it: `[evidence]`, `evidence` of an outlet, and `[priors]`.

    [evidence]
    since_use = "8 h"
    at_rest   = "above some lips"
    [[outlet]]
    evidence  = {mouth = "full", port = "to the pipe", ground = ["head"], rod = "clear"}

The keys are the fields of `fieldwork.evidence`. A key that is absent was not looked at. A word such
as `none`, or an empty list of wet places, was looked at and is evidence too.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import replace
from textwrap import wrap

from dbox.errors import ScenarioError, did_you_mean
from dbox.fieldwork.diagnosis.causes import KEYS
from dbox.fieldwork.evidence import Kind, OutletEvidence, Prior
from dbox.keys import by_name, keys_of, reads, weight

PORT_ERROR = 0.013
"""How far a measured port may be from the word given with it. [m] (judgement)"""


def _prior(cause: str, written: object) -> tuple[str, float]:
    if cause not in KEYS:
        raise ScenarioError(f"is no cause; {did_you_mean(cause, KEYS)}")
    return cause, weight(written)


@reads({"type": "object", "additionalProperties": {"type": "number"}})
def priors(value: object) -> tuple[Prior, ...]:
    """Read weights of causes by key, all faults at once."""
    found = by_name(value, "[priors] and under it causes, as tilt = 20", _prior)
    return tuple(Prior(cause, common) for cause, common in found.items())


def completed(seen: OutletEvidence) -> OutletEvidence:
    """The same, a port that was only measured with its word."""
    if seen.port is not None or seen.port_water is None:
        return seen
    return replace(seen, port="to the pipe" if seen.port_water >= 0 else "below the pipe")


def check_port(seen: OutletEvidence, place: str, fault: Callable[[str], None]) -> None:
    """Refuse a port whose word and whose depths say different things."""
    water = seen.port_water
    if water is None or seen.port is None:
        return
    agrees = {
        "dry": water < 0,
        "below the pipe": water < PORT_ERROR,
        "to the pipe": water > -PORT_ERROR,
    }
    if not agrees[seen.port]:
        side = "over" if water >= 0 else "under"
        fault(
            f'{place}.port is "{seen.port}", but its port_water lies {side} the bottom of the '
            "pipe; keep the one that is right"
        )


def starter_lines(table: type, kinds: Iterable[Kind]) -> str:
    """Every key of evidence as a comment of a starter: an example, and what else it may be."""
    lines = []
    for kind in sorted(kinds, key=lambda kind: kind.place):
        key = keys_of(table)[kind.name]
        example = json.dumps(key.examples[0])
        others = ", ".join(word for word in kind.choices if word not in example)
        about = key.about[0].lower() + key.about[1:].removesuffix(".")
        note = f"{kind.said}; or {others}" if kind.choices else about
        lines += wrap(f"{f'# {kind.name} = {example}':<39}# {note}", 100,
                      subsequent_indent="# ".ljust(39) + "# ", break_on_hyphens=False)  # fmt: skip
    return "\n".join(lines)
