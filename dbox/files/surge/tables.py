"""Which keys has the part of a scenario that stands before the box and behind it?

[house]
people = 4
[tank]
inside = ["8 ft", "5 ft"]
outlet = "4 in"
[supply]
length = "30 ft"
fall = "1/8 in/ft"
diameter = "4 in"
[header]                    # an outlet may override any key: header = {length = "12 ft"}
length = "10 ft"
diameter = "4 in"
[trench]                    # an outlet may override any key: trench = {soil = "smeared"}
width = "30 in"
depth = "20 in"
acceptance = "0.45 gal/ft2/day"
"""

from typing import Annotated

from pydantic import PlainValidator, WithJsonSchema

from dbox.files import measures
from dbox.files.keys import TEXT, VALUE, VALUES, Table, key, length, lengths, word
from dbox.files.surge import measures as surge_measures
from dbox.hydraulics.surge.trench import SOIL_STATES

_Pipe = Annotated[float | None, length(surge_measures.pipe), VALUE]
_PipeLength = Annotated[float | None, length(surge_measures.pipe_length), VALUE]
_Fall = Annotated[float | None, PlainValidator(surge_measures.fall), TEXT]
_Inside = Annotated[tuple[float, ...] | None, lengths(measures.side, 2), VALUES]
_Height = Annotated[float | None, length(surge_measures.height), VALUE]
_Depth = Annotated[float | None, length(surge_measures.trench_depth), VALUE]
_Volume = Annotated[float | None, PlainValidator(surge_measures.volume), TEXT]
_Loss = Annotated[float | None, PlainValidator(surge_measures.loss), VALUE]


class HouseTable(Table):
    """The house that the tank serves."""

    people: Annotated[
        int | None, PlainValidator(surge_measures.people), WithJsonSchema({"type": "integer"})
    ] = key("How many live in the house.", 4)


class TankTable(Table):
    """The septic tank, its water standing at the outlet."""

    inside: _Inside = key(
        "Inside length and width at the water; one diameter for a round tank.", ["8 ft", "5 ft"]
    )
    outlet: _Pipe = key("Inside diameter of the outlet pipe behind the tee.", "4 in")
    filter_loss: _Loss = key(
        "Loss of the clean effluent filter, in velocity heads; absent: no filter.", 2
    )
    clogged: Annotated[float | None, PlainValidator(surge_measures.clogged), TEXT] = key(
        "How much of the filter is clogged; absent: nothing.", "50 %"
    )


class SupplyTable(Table):
    """The gravity pipe from the tank to the box."""

    length: _PipeLength = key("Its length.", "30 ft")
    diameter: _Pipe = key("Its inside diameter.", "4 in")
    fall: _Fall = key("Its fall.", "1/8 in/ft", "1 %")


class HeaderTable(Table):
    """The pipe from each outlet to its trench; its fall is header_fall of the outlet."""

    length: _PipeLength = key("Its length.", "10 ft")
    diameter: _Pipe = key("Its inside diameter.", "4 in")


class TrenchTable(Table):
    """The trench of every line; its length is line_length, or line_area over its width."""

    width: Annotated[float | None, length(surge_measures.trench_width), VALUE] = key(
        "Width of its bottom.", "30 in"
    )
    depth: _Depth = key("Height over its bottom at which water surfaces.", "20 in")
    pipe: Annotated[float | None, length(measures.depth), VALUE] = key(
        "Height of its pipe's invert over its bottom; absent: half its depth.", "8 in"
    )
    voids: Annotated[float | None, PlainValidator(surge_measures.voids), TEXT] = key(
        "Part of its fill that water can take; absent: 35 %.", "35 %"
    )
    acceptance: Annotated[float | None, PlainValidator(surge_measures.acceptance), TEXT] = key(
        "Long-term rate at which its soil takes water.", "0.45 gal/ft2/day", "18 mm/day"
    )
    soil: Annotated[str | None, *word(tuple(SOIL_STATES))] = key(
        "State of its soil; absent: biomat, at which the long-term rate holds.", "biomat"
    )
    water_table: _Height = key(
        "Height of the groundwater over its bottom, negative below it; absent: deep.", "-30 in"
    )
    ponding: Annotated[float | None, length(measures.depth), VALUE] = key(
        "Water in it at the start; absent: none.", "2 in"
    )


class PumpTable(Table):
    """A dosing pump: its rate, or its curve with what it must overcome."""

    volume: _Volume = key("What it lifts in one dose.", "60 gal")
    rate: Annotated[float | None, PlainValidator(measures.inflow), TEXT] = key(
        "Its rate.", "30 gpm"
    )
    curve: Annotated[
        tuple[tuple[float, float], ...] | None,
        PlainValidator(surge_measures.curve),
        WithJsonSchema({"type": "array", "items": {"type": "array"}}),
    ] = key(
        "Its curve, where the rate is not known: pairs of a rate and a head.",
        [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]],
    )
    lift: Annotated[float | None, length(measures.depth), VALUE] = key(
        "Height from the water in its chamber to the box.", "8 ft"
    )
    main_length: _PipeLength = key("Length of its pressure pipe.", "60 ft")
    main_diameter: _Pipe = key("Inside diameter of its pressure pipe.", "2 in")
    drain_back: _Volume = key(
        "What runs back from the pressure pipe after a dose; absent: nothing.", "3 gal"
    )


class SiphonTable(Table):
    """A dosing siphon."""

    inside: _Inside = key(
        "Inside length and width of its chamber; one diameter for a round one.", ["4 ft", "4 ft"]
    )
    diameter: _Pipe = key("Inside diameter of the siphon.", "3 in")
    high: _Depth = key("Head over its outlet at which it starts.", "24 in")
    low: _Depth = key("Head over its outlet at which air breaks it.", "9 in")
    coefficient: Annotated[float | None, PlainValidator(measures.coefficient), VALUE] = key(
        "Discharge coefficient, all its losses within; absent: 0.6.", 0.6
    )
