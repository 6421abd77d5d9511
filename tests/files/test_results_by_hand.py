"""What a machine is told, by hand: each number under the key that it belongs to."""

from dataclasses import replace

import pytest

from dbox.fieldwork.diagnosis.diagnose import diagnose
from dbox.fieldwork.evidence import Evidence
from dbox.fieldwork.grades import grade
from dbox.fieldwork.pour import expect
from dbox.fieldwork.site import Box, Pour, Works
from dbox.fieldwork.surge import run
from dbox.fieldwork.survey import Run, Station, Survey
from dbox.hydraulics.surge.inflow import steady
from dbox.hydraulics.surge.parts import Trench
from dbox.report.diagnose_report import diagnosis_json
from dbox.report.grades_report import grades_json
from dbox.report.pour_report import pour_json
from dbox.report.surge_report import surge_json
from tests.fieldwork.sites import INCH, box

FOOT = 12 * INCH
GALLONS_A_DAY = 231 * INCH**3 / 86400


def test_slopes_of_a_pipe_and_of_its_pieces() -> None:
    """4 in in 10 ft, then 2 in in 20 ft: 1/30 and 1/120; 6 in in 30 ft in all is 1/60."""
    rods = ((0.0, 50.0), (10.0, 54.0), (30.0, 56.0))
    stations = tuple(Station(at=at * FOOT, rod=(rod * INCH,)) for at, rod in rods)
    pipe = Run(name="sewer", kind="house sewer", stations=stations)
    site = replace(box([0.0] * 3), grades=Survey(runs=(pipe,), spread=INCH / 8))
    (told,) = grades_json(grade(site))["runs"]
    assert [piece["slope"] for piece in told["pieces"]] == pytest.approx([1 / 30, 1 / 120])
    assert told["slope"] == pytest.approx(1 / 60)
    assert told["length_m"] == pytest.approx(30 * FOOT)


def test_the_least_time_to_fill_a_jug_goes_with_the_greatest_flow() -> None:
    site = box([0.0] * 4, spread=INCH / 32)
    expectation = expect(site, [Pour(name="pour", inflow=2e-4, jug=1e-3)])
    for told in pour_json(expectation, (), None)["pours"][0]["outlets"]:
        assert told["fill_s"] == pytest.approx(1e-3 / 0.5e-4)
        assert told["fill_low_s"] == pytest.approx(1e-3 / told["flow_high_m3_s"])
        assert told["fill_high_s"] == pytest.approx(1e-3 / told["flow_low_m3_s"])
        assert told["fill_low_s"] < told["fill_s"] < told["fill_high_s"]


def test_the_depth_of_a_trench_is_what_it_holds_at_the_end() -> None:
    """40 L over four tight trenches of 6 m by 0.6 m with a third of voids: 10 L on 1.2 m2."""
    tight = Trench(length=6.0, width=0.6, depth=0.6, pipe_height=0.3, acceptance=1e-12, voids=1 / 3)
    site = box([0.0] * 4, box=Box(inside=(0.4, 0.5)), works=Works(trenches=(tight,) * 4))
    told = surge_json(run(site, steady(2e-4, 200.0)))["outlets"]
    # the last of it still stands over the lips
    assert [each["trench_depth_m"] for each in told] == pytest.approx([0.01 / 1.2] * 4, rel=0.02)


def test_loads_after_leveling_and_with_a_line_resting() -> None:
    """240 gal a day on three lines of 100 ft2: 0.8 gal/ft2 a day; two carry 1.2, the third none."""
    site = box([0.0] * 3, evidence=Evidence(daily_flow=240 * GALLONS_A_DAY))
    lines = tuple(replace(outlet, line_area=100 * FOOT**2) for outlet in site.outlets)
    told = diagnosis_json(diagnose(replace(site, outlets=lines), draws=60))["overload"]
    unit = GALLONS_A_DAY / FOOT**2
    for each in told["outlets"]:
        resting = each["label"] == told["outlet"]
        assert each["load_reset_m_s"] == pytest.approx(0.8 * unit)
        assert each["load_rested_m_s"] == pytest.approx(0.0 if resting else 1.2 * unit)
