"""How a septic distribution box splits its flow, in SI floats and arrays.

>>> from dbox import Circle, split
>>> split(3e-5, [0.0, 0.003, 0.0], Circle(0.05)).share.round(2).tolist()
[0.46, 0.09, 0.46]
"""

from dbox.errors import DboxError, DomainError, ScenarioError, SolveError
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot
from dbox.hydraulics.split import Split, split

__all__ = [
    "Circle",
    "DboxError",
    "DomainError",
    "Notch",
    "Opening",
    "PipeEnd",
    "ScenarioError",
    "Slot",
    "SolveError",
    "Split",
    "split",
]
__version__ = "0.1.0"
