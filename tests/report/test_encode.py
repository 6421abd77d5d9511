"""Results for machines: the unit of a field in its key, outlets by their labels, null for NaN."""

from dataclasses import dataclass

import numpy as np

from dbox.keys import said
from dbox.report.encode import encode, keyed


@dataclass(frozen=True, kw_only=True)
class Told:
    """A result that is made up."""

    verdict: str
    flow: float = said("m3/s")
    level: np.ndarray = said("m")
    outlet: int | None = said(outlets=True)
    dry: tuple[int, ...] = said(outlets=True)
    model: object = said(hidden=True)


TOLD = Told(verdict="open", flow=2e-4, level=np.array([0.1, np.nan]), outlet=1, dry=(0, 2), model=1)


def test_a_field_is_told_with_its_unit_and_its_outlets():
    assert encode({"finding": [TOLD]}, "abc")["finding"] == [
        {"verdict": "open", "flow_m3_s": 2e-4, "level_m": [0.1, None], "outlet": "b",
         "dry": ["a", "c"]}
    ]  # fmt: skip


def test_no_outlet_is_null_and_some_fields_can_be_asked_for():
    none = Told(verdict="", flow=np.inf, level=np.zeros(1), outlet=None, dry=(), model=0)
    assert keyed(none, "outlet", "dry") == {"outlet": None, "dry": []}
    assert encode(none)["flow_m3_s"] is None
