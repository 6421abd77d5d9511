"""How a septic distribution box splits its flow, in SI floats and arrays.

>>> from dbox import Circle, split
>>> split(3e-5, [0.0, 0.003, 0.0], Circle(0.05)).share.round(2).tolist()
[0.46, 0.09, 0.46]
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dbox.api import assess, diagnose, grades, level, load, loads, pour, surge
    from dbox.errors import DboxError, DomainError, ScenarioError, SolveError
    from dbox.fieldwork.site import Site
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
    "Site",
    "Slot",
    "SolveError",
    "Split",
    "assess",
    "diagnose",
    "grades",
    "level",
    "load",
    "loads",
    "pour",
    "split",
    "surge",
]
__version__ = "0.2.0"

_HOME = {
    "dbox.api": ("assess", "diagnose", "grades", "level", "load", "loads", "pour", "surge"),
    "dbox.errors": ("DboxError", "DomainError", "ScenarioError", "SolveError"),
    "dbox.fieldwork.site": ("Site",),
    "dbox.hydraulics.openings": ("Circle", "Notch", "Opening", "PipeEnd", "Slot"),
    "dbox.hydraulics.split": ("Split", "split"),
}


def __getattr__(name: str) -> Any:
    """Load a name when it is first used, so that `import dbox` loads nothing heavy."""
    for module, names in _HOME.items():
        if name in names:
            return globals().setdefault(name, getattr(import_module(module), name))
    raise AttributeError(f"module 'dbox' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
