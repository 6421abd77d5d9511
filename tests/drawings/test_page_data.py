"""What a page is given of a site, and how its engine reads and writes lengths and clocks."""

import json

import numpy as np
import pytest

from dbox import Circle, PipeEnd, units
from dbox.drawings.phone_page import site_data
from dbox.errors import ScenarioError
from dbox.fieldwork.site import Box, Flow, Outlet, Site, Tolerance
from dbox.lengths import Lengths
from tests.drawings.engine_js import asked
from tests.files.test_units import LENGTHS

INCH = 0.0254


def refused(page, call):
    """The name of the error that a call raises; what it gives where it raises none."""
    return page.eval(f"try {{ {call} }} catch (error) {{ error.name }}")


def test_a_site_is_told_in_full():
    site = Site(
        title="a <b>", metric=True, mark=0.001, spread=0.002, hand=0.1,
        box=Box(inlet="tee", inside=(0.4,), rim=0.05),
        outlets=(
            Outlet(label="A", opening=Circle(0.05), readings=(0.001,), hole_offset=np.inf,
                   position=(0.1, 0.2), clock=1.0),
            Outlet(label="B", opening=PipeEnd(0.1, entrance_loss=0.5), capped=True),
        ),
        flows=(Flow(name="day", inflow=1e-5),),
        tolerance=Tolerance(share=0.1, source="permit"),
    )  # fmt: skip
    told = site_data(site)
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert told["outlets"][0] == {
        "label": "A", "at": [0.1, 0.2], "opening": {"kind": "circle", "diameter": 0.05,
        "coefficient": None}, "point": 0.0, "turns": True, "offset": None, "clock": 1.0,
        "capped": False, "readings": [0.001], "target": 1.0,
    }  # fmt: skip
    assert told["outlets"][1]["opening"]["entranceLoss"] == 0.5
    assert (told["outlets"][1]["turns"], told["outlets"][1]["target"]) == (False, 0.0)
    assert (told["units"], told["mark"], told["tolerance"]) == ("mm", 0.001, 0.1)
    assert told["inside"] == [0.4]
    assert told["flows"] == [{"name": "day", "inflow": 1e-5}]


def test_placeholders_are_no_readings():
    outlet = Outlet(label="1", opening=Circle(0.05), readings=(0.001,))
    site = Site(outlets=(outlet,), flows=(Flow(name="day", inflow=1e-5),), placeholder=True)
    assert site_data(site)["outlets"][0]["readings"] == []


def test_lengths_are_read_as_the_library_reads_them(page):
    texts = [text for text, _ in LENGTHS]
    found = asked(page, "(t) => dbox.length.parse(t)", texts)
    assert found == pytest.approx([value for _, value in LENGTHS], rel=1e-15, abs=1e-15)
    said = ["3/32", "-1-3/16", "4,5", "+0", "7", "1 1/2"]
    for unit in ("in", "mm"):
        found = asked(page, f"(t) => dbox.length.parse(t, '{unit}')", said)
        wanted = [units.length(units.said_number(text), unit) for text in said]
        assert found == pytest.approx(wanted, rel=1e-15, abs=1e-15)


@pytest.mark.parametrize(
    "text",
    ["", "1-5/4 in", "1/0 in", "1,234 in", "13/16/2 in", "3 furlong", "3", "in", "3 in 2 ft",
     "1 in 2 in", "5 in x", "1e9 m", "constructor", "5 toString", "--1 in", "1 2 in"],
)  # fmt: skip
def test_what_is_no_length_is_refused_as_the_library_refuses_it(page, text):
    with pytest.raises(ScenarioError):
        units.length(text)
    assert refused(page, f"dbox.length.parse({json.dumps(text)})") == "RangeError"


def test_lengths_are_written_as_the_library_writes_them(page):
    rng = np.random.default_rng(3)
    metres = [0.0, -1e-5, 0.00025, 0.00625, -0.00075, 0.0127, *rng.normal(0, 0.02, 200),
              *(rng.integers(-200, 200, 100) * INCH / 128)]  # fmt: skip
    metres = list(map(float, metres))
    for metric, mark in ((False, None), (False, INCH / 64), (True, None)):
        lengths = Lengths.of([], mark, metric=metric)
        for signed in (False, True):
            options = json.dumps({"metric": metric, "mark": mark, "signed": signed})
            found = asked(page, f"(m) => dbox.length.text(m, {options})", metres)
            assert found == [lengths.one(m, signed=signed) for m in metres]


def test_clocks_are_read_and_written_as_the_library_does(page):
    texts = [f"{h}:{m:02d}" for h in range(1, 13) for m in (0, 1, 30, 59)]
    texts += ["7", "7.30", "7 o'clock", "12 oclock", " 6:00 "]
    found = asked(page, "(t) => dbox.clock.parse(t)", texts)
    assert found == pytest.approx(
        [units.clock(units.said_clock(t)) for t in texts], rel=1e-15, abs=1e-15
    )
    assert asked(page, "(a) => dbox.clock.text(a)", found) == list(map(units.clock_text, found))
    for text in ("13:00", "0:30", "6:60", "half past", "", "6:0"):
        assert refused(page, f"dbox.clock.parse({json.dumps(text)})") == "RangeError"
