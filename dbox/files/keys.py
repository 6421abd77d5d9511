"""How is a key of a scenario file declared? Its reader, its description and how it is written.

The tables of the file are pydantic models made of these. Values arrive in SI, the readers of
`measures` see to that; the unit of a bare length is passed as validation context.
"""

from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from dbox.errors import ScenarioError
from dbox.files import measures

TEXT = WithJsonSchema({"type": "string"})
VALUE = WithJsonSchema({"type": ["string", "number"]})
VALUES = WithJsonSchema(
    {"type": ["string", "number", "array"], "items": {"type": ["string", "number"]}}
)


def bare_unit(info: ValidationInfo) -> str | None:
    """Unit of a bare length, as the file states it."""
    return info.context["bare_unit"] if info.context else None


def length(read: Callable[[object, str | None], float]) -> PlainValidator:
    """Validate one length, bare numbers being in the file's unit."""

    def validate(value: object, info: ValidationInfo) -> float:
        return read(value, bare_unit(info))

    return PlainValidator(validate)


def lengths(read: Callable[[object, str | None], float], most: int) -> PlainValidator:
    """Validate one length or a list of them."""

    def validate(value: object, info: ValidationInfo) -> tuple[float, ...]:
        if not isinstance(value, list):
            return (read(value, bare_unit(info)),)
        if not 1 <= len(value) <= most:
            raise ScenarioError(f"is a list of {len(value)}; write 1 to {most}")
        return measures.each(value, lambda item: read(item, bare_unit(info)))

    return PlainValidator(validate)


def word(words: tuple[str, ...]) -> tuple[PlainValidator, WithJsonSchema]:
    """Validate one of a few words."""
    return (
        PlainValidator(lambda value: measures.choice(value, words)),
        WithJsonSchema({"enum": list(words)}),
    )


Text = Annotated[str | None, PlainValidator(measures.text), TEXT]
Flag = Annotated[bool | None, PlainValidator(measures.flag), WithJsonSchema({"type": "boolean"})]
Size = Annotated[float | None, length(measures.size), VALUE]


def key(description: str, *examples: object) -> Any:
    """Declare an optional key: what it is for and how it is written."""
    return Field(default=None, description=description, examples=list(examples) or None)


class Table(BaseModel):
    """A table of the file: no key but those declared."""

    model_config = ConfigDict(extra="forbid", frozen=True)
