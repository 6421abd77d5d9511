"""The shapes effluent leaves through, each with its exact discharge and slope."""

from dbox.hydraulics.openings.base import Opening
from dbox.hydraulics.openings.circle import Circle
from dbox.hydraulics.openings.pipe_end import PipeEnd
from dbox.hydraulics.openings.plates import Notch, Slot

__all__ = ["Circle", "Notch", "Opening", "PipeEnd", "Slot"]
