"""The Python door: what it answers is what the commands print, and it draws figures."""

import json

import pytest
from matplotlib.figure import Figure

import dbox
from dbox import DomainError

JOBS = {
    "split": lambda site: dbox.assess(site, samples=200),
    "level": lambda site: dbox.level(site, samples=200),
    "pour": lambda site: dbox.pour(site, samples=200),
    "grades": dbox.grades,
    "surge": lambda site: dbox.surge(site, event="shower"),
    "diagnose": lambda site: dbox.diagnose(site, draws=40),
}
OPTIONS = {
    "split": ["--samples", "200"], "level": ["--samples", "200"], "pour": ["--samples", "200"],
    "grades": [], "surge": ["--event", "shower"], "diagnose": ["--draws", "40"],
}  # fmt: skip


@pytest.mark.everyday(3)
@pytest.mark.parametrize("job", JOBS)
def test_an_answer_is_what_the_command_prints(dbox_command, job):
    answer = JOBS[job](dbox.load("full-job"))
    assert dbox_command(job, "full-job", *OPTIONS[job]) == answer.report() + "\n"
    said = json.loads(dbox_command(job, "full-job", *OPTIONS[job], "--json"))
    assert json.loads(json.dumps(answer.to_dict())) == said


@pytest.mark.everyday(3)
@pytest.mark.parametrize("job", JOBS)
def test_an_answer_shows_its_headline_and_draws_a_figure(job):
    answer = JOBS[job](dbox.load("full-job"))
    assert 20 < len(repr(answer)) < 400
    assert "\n" not in repr(answer)
    assert isinstance(answer.plot(), Figure)


def test_a_day_a_dose_and_a_series_are_sent_through():
    site = dbox.load("family-of-four")
    for asked in ({"day": True}, {"dose": "60 gal at 30 gpm"}, {"inflow": ([0, 60], [1e-4, 0.0])}):
        run = dbox.surge(site, **asked)
        assert run.result.surge.share.sum() == pytest.approx(1.0)


def test_what_is_not_asked_for_clearly_is_refused():
    site = dbox.load("family-of-four")
    with pytest.raises(DomainError, match="ask for one"):
        dbox.surge(site, day=True, dose="pump")
    with pytest.raises(DomainError, match="the flows are"):
        dbox.level(site, at="flood")
    with pytest.raises(AttributeError, match="no attribute 'drain'"):
        dbox.drain  # noqa: B018


def test_text_of_a_scenario_loads_as_its_file_does():
    text = 'insert = {kind = "circle", diameter = "2 in"}\noutlet = [{reading = "1/8 in"}]\n'
    (outlet,) = dbox.loads(text).outlets
    assert outlet.readings == (pytest.approx(0.125 * 0.0254),)


@pytest.fixture
def dbox_command(monkeypatch, capsys):
    """Run the command in this process; give what it prints."""
    from dbox_cli.main import run

    def call(*arguments: str) -> str:
        monkeypatch.setattr("sys.argv", ["dbox", *arguments])
        with pytest.raises(SystemExit) as stop:
            run()
        assert not stop.value.code
        return capsys.readouterr().out

    return call


def test_a_box_without_a_file_is_the_box_of_its_text():
    """Inches by their definition; clocks and a mark of the flows as a scenario reads them."""
    made = dbox.Site.of(
        ["1/8 in", 0, -0.001], dbox.Circle(0.0508), offset="1/2 in", clock="6:00",
        spread="1/32 in",
        tolerance="10 %", flows={"slow": "1 L/min", "fast": 1e-3}, hold_back=["1 mm", 0.003],
    )  # fmt: skip
    assert made.hold_back == (0.001, 0.003)
    assert dbox.Site.of([0.0], dbox.Circle(0.05), hold_back=0).hold_back == (0.0, 0.0)
    assert [o.readings for o in made.outlets] == [(0.125 * 0.0254,), (0.0,), (-0.001,)]
    assert {o.hole_offset for o in made.outlets} == {0.0127}
    assert [f.inflow for f in made.flows] == pytest.approx([1e-3 / 60, 1e-3])
    assert dbox.level(made, samples=200).result.verdict == "adjust"
    with pytest.raises(DomainError, match="one of each"):
        dbox.Site.of([0.0, 0.0], [dbox.Circle(0.05)])
