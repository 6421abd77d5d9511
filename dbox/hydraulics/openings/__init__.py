"""The shapes effluent leaves through, each with its exact discharge and slope."""

from dbox.hydraulics.openings.base import Opening
from dbox.hydraulics.openings.pipe_end import PipeEnd
from dbox.hydraulics.openings.plates import Circle, Notch, Slot

__all__ = ["Circle", "Notch", "Opening", "PipeEnd", "Slot"]

Kind = type[Circle] | type[Notch] | type[PipeEnd] | type[Slot]
KINDS: dict[str, Kind] = {each.kind: each for each in (Circle, Notch, Slot, PipeEnd)}
"""Every opening by what a scenario calls it; one line here for a new one."""
