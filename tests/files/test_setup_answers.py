"""What a line at the box means: commands anywhere, answers where they are asked for."""

from math import pi

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork import setup
from dbox.fieldwork.setup import begin, replay
from dbox.files.scenario import loads
from dbox.files.setup_answers import read_answer
from dbox.units import INCH

SITE = loads("""
units = "in"
insert = {kind = "circle", diameter = 2, offset = "1/2"}
readings = {spread = "1/32"}
outlet = [{label = "north", clock = "6:00", reading = "1/4"}, {label = "south", clock = "7:30"}]
""")
STILL = setup.Still(method="ruler from still water")
NORTH = setup.Read(outlet=0, heights=(0.0, 0.0))
FAR = setup.Read(outlet=1, heights=(0.01, 0.01))


def means(typed: str, *before: setup.Event, site=SITE):
    job = replay(begin(site), before)
    return read_answer(job, job.question, typed, bare_unit="in", at="")


@pytest.mark.parametrize("before", [(), (STILL,), (STILL, NORTH), (STILL, NORTH, FAR)])
def test_a_clock_is_told_at_every_question(before):
    assert means("clock 2 9:00", *before) == setup.ClockSet(outlet=1, angle=pi / 2)
    for wrong in ("clock 2", "clock 9:00", "clock 2 13:00", "x" * 999):
        with pytest.raises(ScenarioError):
            means(wrong, *before)


def test_still_water_is_not_a_reading():
    assert means("") == STILL
    assert means("laser and rod") == setup.Still(method="laser and rod")
    for reading in ("1/8", "0", "3 mm", "1/8 3/16"):
        with pytest.raises(ScenarioError, match="readings come next"):
            means(reading)
    later = (setup.Still(method="laser"), NORTH, FAR, setup.Turned(angles=(0.0, 0.0)))
    assert means("", *later) == setup.Still(method="laser")


def test_readings():
    assert means("1/8", STILL) == setup.Read(outlet=0, heights=(INCH / 8,))
    assert means("skip", STILL) == setup.Skipped(outlet=0)
    # the scenario has a reading of this outlet, which counts only when it is taken
    assert means("", STILL) == setup.Read(outlet=0, heights=(INCH / 4,))
    with pytest.raises(ScenarioError, match="empty"):
        means("", STILL, NORTH)
    assert means("3 in", STILL).doubtful
    one = setup.Read(outlet=0, heights=(0.0,))
    assert means("", STILL, one) == setup.Settled(outlet=0)
    assert means("skip", STILL, one) == setup.Settled(outlet=0)
    assert means("1/32", STILL, one) == setup.Read(outlet=0, heights=(INCH / 32,))
    assert means("1/2", STILL, one).doubtful


def test_the_readings_of_the_file_are_offered_in_the_first_pass_only():
    second = (STILL, NORTH, FAR, setup.Turned(angles=(0.0, 0.0)), STILL)
    with pytest.raises(ScenarioError, match="empty"):
        means("", *second)


def test_a_correction_left_empty_keeps_what_there_was():
    correcting = (STILL, NORTH, setup.Correcting(outlet=0))
    assert means("", *correcting) == setup.Settled(outlet=0)


@pytest.mark.parametrize(
    ("typed", "sure"),
    [("yes", True), ("Y", True), ("ok", True), ("done", True), ("no", False), ("", False)],
)
def test_a_doubtful_reading_is_confirmed_or_not(typed, sure):
    doubtful = (STILL, setup.Read(outlet=0, heights=(0.2,), doubtful=True))
    assert means(typed, *doubtful) == setup.Confirmed(sure=sure)
    with pytest.raises(ScenarioError, match="yes"):
        means("1/8", *doubtful)


@pytest.mark.parametrize("word", ["yes", "y", "ok", "done", "YES", " Ok "])
def test_yes_is_yes_at_every_question_that_enter_answers_with_yes(word):
    """How heights are read is never "yes"."""
    laser = setup.Still(method="laser")
    turn = (STILL, NORTH, FAR)
    close = (STILL, NORTH, setup.Read(outlet=1, heights=(0.0, 0.0)))
    later = (laser, NORTH, FAR, setup.Turned(angles=(0.0, 0.0)))
    assert means(word) == means("") == STILL
    assert means(word, *later) == laser
    assert means(word, *turn) == means("", *turn)
    assert means(word, *close) == setup.Closed()


def test_water_that_is_not_still_is_waited_for():
    for word in ("no", "N"):
        with pytest.raises(ScenarioError, match="wait until the water is still"):
            means(word)


@pytest.mark.parametrize("word", ["enough", "done", "ok", "no", "n"])
def test_enough_readings_are_enough_in_other_words_too(word):
    assert means(word, STILL, setup.Read(outlet=0, heights=(0.0,))) == setup.Settled(outlet=0)


def test_turning():
    done = (STILL, NORTH, FAR)
    job = replay(begin(SITE), done)
    assert job.question.kind == "turn"
    assert means("", *done) == means("done", *done) == setup.Turned(angles=job.told_angles)
    assert means("skip", *done) == setup.Turned(angles=(0.0, pi / 4))
    assert means("end", *done) == setup.Closed()
    assert means("south 9:00", *done) == setup.Left(outlet=1, angle=pi / 2)
    assert means("2 at 9:00", *done) == setup.Left(outlet=1, angle=pi / 2)
    for wrong in ("1/8", "7:00", "2 25:00", "9 7:00"):
        with pytest.raises(ScenarioError):
            means(wrong, *done)


def test_closing():
    level = (STILL, NORTH, setup.Read(outlet=1, heights=(0.0, 0.0)))
    assert replay(begin(SITE), level).question.kind == "close"
    assert means("", *level) == setup.Closed()
    assert means("pass", *level) == setup.Turned(angles=(0.0, pi / 4))
    assert means("2 9:00", *level) == setup.Left(outlet=1, angle=pi / 2)
    with pytest.raises(ScenarioError, match="pass"):
        means("1/8", *level)


def test_an_unknown_clock_is_given_or_skipped():
    site = loads("""
    insert = {kind = "circle", diameter = "2 in", offset = "1/2 in"}
    outlet = [{}, {}]
    """)
    assert means("7:30", site=site) == setup.ClockSet(outlet=0, angle=pi / 4)
    assert means("skip", site=site) == setup.ClockSet(outlet=0, angle=None)
    with pytest.raises(ScenarioError, match="skip"):
        means("", site=site)
