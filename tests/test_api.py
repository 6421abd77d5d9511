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
    gaps = dbox.Site.of(["1/8 in", None, float("inf")], dbox.Circle(0.05), offset="unknown")
    assert [o.readings for o in gaps.outlets] == [(0.125 * 0.0254,), (), ()]
    assert [o.capped for o in gaps.outlets] == [False, False, True]
    assert repr(gaps).startswith("Site('', 3 outlets, 1 read, flows trickle")


HOLE = dbox.Circle(0.05)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: dbox.Site.of([0.0, 0.0], [HOLE]), "1 openings for 2 lips"),
        (
            lambda: dbox.Site.of([0.0, 0.0], "circle 2 in"),
            'opening is "circle 2 in"; give a Circle',
        ),
        (lambda: dbox.Site.of([0, 0], HOLE, clock=["6:00"]), "1 clocks .* one of each"),
        (lambda: dbox.Site.of("1/8, 0", HOLE), "give one for each outlet"),
        (lambda: dbox.Site.of([0, "x"], HOLE), r'heights\[1\] is "x"; write one number'),
        (lambda: dbox.Site.of([0, 3.0], HOLE), r"heights\[1\] is 3.0; give -1 to 1 m"),
        (lambda: dbox.Site.of([0, 0], HOLE, spread=-1), "spread is -1; give 1e-06 to 0.1 m"),
        (lambda: dbox.Site.of([0, 0], HOLE, tolerance=10), "tolerance is 10; give 1e-06 to 1"),
        (lambda: dbox.Site.of([0, 0], HOLE, labels=["a", "a"]), 'labels has "a" twice'),
        (lambda: dbox.Site.of([0, 0], HOLE, flows=[1e-5]), "flows is a list; give each a name"),
        (lambda: dbox.assess("off-level"), 'site is "off-level"; load it first'),
        (lambda: dbox.assess(dbox.load("off-level"), samples=0), "samples is 0"),
        (lambda: dbox.surge(dbox.load("family-of-four"), days=0), "days is 0; give 1 or more"),
        (lambda: dbox.split("3 gpm", [0, 0], HOLE), r'inflow \[m3/s\] is "3 gpm"; give numbers'),
        (lambda: dbox.split(1e-5, [0, 0], dbox.Circle), "opening is .*; give a Circle"),
        (lambda: dbox.split([1e-5, 2e-5], [[0, 0]] * 3, HOLE), r"inflow \(2,\), lips \(3, 2\)"),
        (lambda: HOLE.discharge([0.1, 0.2], [0.1, 0.2, 0.3]), r"head has the shape \(2,\)"),
        (lambda: dbox.Circle("2 in"), r'diameter \[m\] is "2 in"; it must be a number'),
    ],
)
def test_what_a_notebook_may_ask_wrongly_is_told_with_its_mend(call, said):
    with pytest.raises(dbox.DboxError, match=said):
        call()


def test_a_split_shows_its_shares():
    """Equal holes at equal heights share equally."""
    one = dbox.split(3e-5, [0.0, 0.0], dbox.Circle(0.05, coefficient=0.6))
    assert repr(one).startswith("Split(share=[0.500, 0.500], level=0.00")
    assert repr(dbox.split([[1e-5]] * 3, [[0.0, 0.0]] * 2, HOLE)) == "Split(3 x 2 cases, 2 outlets)"
