"""Tables of what was seen, `[evidence]` and `evidence` of an outlet, and `[priors]`.

[evidence]
since_use = "8 h"
at_rest   = "above some lips"
[[outlet]]
evidence  = {mouth = "full", port = "to the pipe", ground = ["head"], rod = "clear"}

The keys are the fields of `fieldwork.evidence`. A key that is absent was not looked at. A word such
as `none`, or an empty list of wet places, was looked at and is evidence too.
"""

import json
from collections.abc import Callable, Iterable, Sequence
from textwrap import wrap
from typing import Annotated, Any

from pydantic import Field, PlainValidator, ValidationInfo, WithJsonSchema, create_model

from dbox.errors import ScenarioError, did_you_mean
from dbox.fieldwork.diagnosis.causes import KEYS
from dbox.fieldwork.evidence import NOTHING_SEEN, Evidence, Kind, OutletEvidence, Prior
from dbox.files.scenario_keys import Table, bare_unit
from dbox.keys import Reader, by_name, keys_of, weight

PORT_ERROR = 0.013
"""How far a measured port may be from the word given with it. [m] (judgement)"""


def _prior(cause: str, written: object) -> tuple[str, float]:
    if cause not in KEYS:
        raise ScenarioError(f"is no cause; {did_you_mean(cause, KEYS)}")
    return cause, weight(written)


def priors(value: object) -> tuple[Prior, ...]:
    """Read weights of causes by key, all faults at once."""
    found = by_name(value, "[priors] and under it causes, as tilt = 20", _prior)
    return tuple(Prior(cause, common) for cause, common in found.items())


Priors = Annotated[
    tuple[Prior, ...] | None,
    PlainValidator(priors),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "number"}}),
]


def _validator(reader: Reader[Any]) -> PlainValidator:
    def validate(value: object, info: ValidationInfo) -> Any:
        return reader(value, bare_unit(info))

    return PlainValidator(validate)


def _table(kinds: type) -> Any:
    """A table with the keys of a dataclass."""
    columns: Any = {
        name: (
            Annotated[Any, _validator(key.reader), WithJsonSchema(dict(key.reader.schema))],
            Field(default=None, description=key.about, examples=list(key.examples)),
        )
        for name, key in keys_of(kinds).items()
        if isinstance(key.reader, Reader)
    }
    return create_model(kinds.__name__, __base__=Table, **columns)


class OutletEvidenceTable(_table(OutletEvidence)):  # type: ignore[misc]
    """What was seen of one outlet, its header and its line; absent: not looked at."""

    def evidence(self) -> OutletEvidence:
        """What was seen; a port that was only measured gets its word."""
        values = self.model_dump()
        if self.port is None and self.port_water is not None:
            values["port"] = "to the pipe" if self.port_water >= 0 else "below the pipe"
        return OutletEvidence(**values)

    def check(self, place: str, fault: Callable[[str], None]) -> None:
        """Refuse a port whose word and whose depths say different things."""
        water = self.port_water
        if water is None or self.port is None:
            return
        agrees = {
            "dry": water < 0,
            "below the pipe": water < PORT_ERROR,
            "to the pipe": water > -PORT_ERROR,
        }
        if not agrees[self.port]:
            side = "over" if water >= 0 else "under"
            fault(
                f'{place}.port is "{self.port}", but its port_water lies {side} the bottom of the '
                "pipe; keep the one that is right"
            )


class EvidenceTable(_table(Evidence)):  # type: ignore[misc]
    """What was seen of the whole system in trouble; absent: not looked at."""

    def evidence(self, outlets: Sequence[OutletEvidenceTable | None]) -> Evidence:
        """What was seen of the system and of its outlets."""
        seen = tuple(NOTHING_SEEN if table is None else table.evidence() for table in outlets)
        values = self.model_dump()
        values["photos"] = values["photos"] or ()
        looked = any(each != NOTHING_SEEN for each in seen)
        return Evidence(**values, outlets=seen if looked else ())


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
