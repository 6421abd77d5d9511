"""The JSON of a diagnosis: what its units say."""

from dbox import Circle
from dbox.fieldwork.diagnosis.diagnose import diagnose
from dbox.fieldwork.site import Flow, Outlet, Site
from dbox.report.diagnose_report import diagnosis_json


def test_the_effort_of_every_look_is_told_in_seconds() -> None:
    """Exact: a minute has 60 s, and no look at a box takes a minute's sixtieth or a working day."""
    outlets = tuple(Outlet(label=str(i), opening=Circle(0.05)) for i in (1, 2))
    found = diagnose(Site(outlets=outlets, flows=(Flow(name="day", inflow=3e-5),)), draws=20)
    looks = diagnosis_json(found)["next_tests"]
    assert len(looks) == len(found.looks) > 10
    for look, told in zip(found.looks, looks, strict=True):
        assert told["effort_s"] == 60 * look.minutes
        assert told["effort"] == f"{look.minutes:.0f} min"
        assert 60 <= told["effort_s"] <= 8 * 3600
