"""What does a phrase on the command line mean? Openings and heights without a scenario file."""

from functools import partial

from dbox.errors import ScenarioError
from dbox.files import inserts, measures
from dbox.files.faults import any_of, at_place, did_you_mean, show
from dbox.hydraulics.openings import Opening

_EXAMPLES = {
    "circle": "circle 2 in",
    "notch": "notch 90 deg",
    "slot": "slot 1 in x 2 in",
    "pipe": "pipe 4.026 in",
}


def opening_from_text(
    text: str, coefficient: float | None = None, bare_unit: str | None = None
) -> Opening:
    """Read an opening: its kind, then its sizes.

    Parameters
    ----------
    text : str
        `circle 2 in`, `notch 90 deg`, `slot 1 in` (open on top), `slot 1 in x 2 in` (width, height)
        or `pipe 4.026 in`.
    coefficient : float, optional
        Discharge coefficient. [-]
    bare_unit : str, optional
        Unit of a length without one.

    Raises
    ------
    ScenarioError
        Where the phrase is no opening; the message begins with `is`.

    >>> opening_from_text("circle 2 in").top
    0.0508
    """
    kind, _, rest = text.strip().lower().partition(" ")
    if kind not in inserts.KINDS:
        examples = any_of(map(show, _EXAMPLES.values()))
        raise ScenarioError(f"is {show(text)}; {did_you_mean(kind, inserts.KINDS)}, as {examples}")
    names = inserts.KINDS[kind].sizes
    parts = rest.replace("×", "x").split("x")
    if len(parts) > len(names) or not rest.strip():
        raise ScenarioError(f"is {show(text)}; write it as {show(_EXAMPLES[kind])}")
    sizes: dict[str, float] = {}
    for name, part in zip(names, parts, strict=False):
        try:
            sizes[name] = (
                measures.notch_angle(part) if name == "angle" else measures.size(part, bare_unit)
            )
        except ScenarioError as error:
            fault = at_place(f"its {name}", str(error))
            raise ScenarioError(f"is {show(text)}: {fault}") from error
    if coefficient is not None:
        coefficient = measures.coefficient(coefficient)
    return inserts.build(kind, sizes, coefficient)


def heights_from_text(text: str, bare_unit: str | None = None) -> tuple[float, ...]:
    """Read heights parted by commas, or by semicolons.

    Parameters
    ----------
    text : str
        `1/8, 0, -1/16, 3 mm`.
    bare_unit : str, optional
        Unit of a height without one.

    Returns
    -------
    tuple of float
        In the order of the text. [m]

    Raises
    ------
    ScenarioError
        With every height that cannot be read; each fault begins with its place, `[2]`.

    >>> heights_from_text("1/8, 0, -1/16", "in")
    (0.003175, 0.0, -0.0015875)
    """
    parts = [part.strip() for part in text.split(";" if ";" in text else ",")]
    return measures.each(parts, partial(measures.reading, bare_unit=bare_unit))
