"""What a line at the box means: commands anywhere, answers where they are asked for."""

from math import pi

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork import setup
from dbox.fieldwork.setup import begin, replay
from dbox.files.scenario import loads
from dbox.files.setup_answers import read_answer, readings_of_all, said_stuck
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


LASER = setup.Still(method="laser")
AGAIN = setup.Turned(angles=(0.0, 0.0))
DOUBTFUL = setup.Read(outlet=0, heights=(0.2,), doubtful=True)
LEVEL = (STILL, NORTH, setup.Read(outlet=1, heights=(0.0, 0.0)))
TURN = (STILL, NORTH, FAR)
TOLD = replay(begin(SITE), TURN).told_angles
NOW = (0.0, pi / 4)
YES, NO = ("yes", "y", "ok", "done", "YES", " Ok "), ("no", "N")
NEXT = (STILL, NORTH, setup.Correcting(outlet=0))

CASES = [
    # how heights are read is never "yes", and stays what it was in the pass before
    *((word, (), STILL) for word in ("", *YES)),
    *((word, (LASER, NORTH, FAR, AGAIN), LASER) for word in ("", *YES)),
    *((word, (), STILL) for word in ("yes, it is", "still", "ok go", "ready")),
    ("laser and rod", (), setup.Still(method="laser and rod")),
    ("by eye", (), setup.Still(method="eye")),
    ("yes, By laser", (), LASER),
    ("yes, it is level now", (), STILL),
    ("1/8", (STILL,), setup.Read(outlet=0, heights=(INCH / 8,))),
    ("skip", (STILL,), setup.Skipped(outlet=0)),
    *((word, (STILL,), setup.Skipped(outlet=0)) for word in ("idk", "none", "n/a")),
    # the scenario has a reading of this outlet, which counts only when it is taken
    ("same", (STILL,), setup.Read(outlet=0, heights=(INCH / 4,))),
    ("2,5 mm", (STILL,), setup.Read(outlet=0, heights=(0.0025,))),
    ("3,2, 3 mm", (STILL,), setup.Read(outlet=0, heights=(0.0032, 0.003))),
    ("3 in", (STILL,), setup.Read(outlet=0, heights=(3 * INCH,), doubtful=True)),
    # a correction keeps what there was only where that is said
    ("same", (STILL, NORTH, setup.Correcting(outlet=0)), setup.Settled(outlet=0)),
    *((word, (STILL, DOUBTFUL), setup.Confirmed(sure=True)) for word in YES),
    *((word, (STILL, DOUBTFUL), setup.Confirmed(sure=False)) for word in ("", *NO)),
    *((word, TURN, setup.Turned(angles=TOLD)) for word in ("", *YES)),
    *((word, TURN, setup.Turned(angles=NOW)) for word in ("skip", "none")),
    ("end", TURN, setup.Closed()),
    ("south 9:00", TURN, setup.Left(outlet=1, angle=pi / 2)),
    *((typed, TURN, setup.Left(outlet=1, angle=pi / 2)) for typed in (
        "2 at 9:00", "2 9", "outlet 2 at 9 o'clock", "south 9.00")),
    *((word, LEVEL, setup.Closed()) for word in ("", "end", *YES)),
    ("pass", LEVEL, setup.Turned(angles=NOW)),
    ("2 9:00", LEVEL, setup.Left(outlet=1, angle=pi / 2)),
]  # fmt: skip


@pytest.mark.everyday(12)
@pytest.mark.parametrize(("typed", "before", "event"), CASES)
def test_what_is_typed_means(typed, before, event):
    assert means(typed, *before) == event


@pytest.mark.parametrize(
    ("typed", "before", "mend"),
    [
        *((word, (), "say how heights are read") for word in ("skip", "end", "circle", "idk")),
        *((word, (), "press Enter once the water is still$") for word in NO),
        # Enter is never a reading, be it in the file or read before
        *(("", before, "is empty; write the reading") for before in ((STILL,), NEXT)),
        ("", (STILL, NORTH), "is empty; write the reading"),
        ("same", (STILL, NORTH), 'is "same"; write the reading'),
        *((word, (STILL,), "write one number") for word in ("yes", "ok", "6:00")),
        ("10 %", (STILL,), "a percentage; a length is wanted"),
        # the readings of the file are offered in the first pass only
        ("", (*TURN, AGAIN, STILL), "is empty; write the reading"),
        ("1/8", (STILL, DOUBTFUL), "write yes if it is meant"),
        *((wrong, TURN, "write Enter alone, or an outlet and") for wrong in ("1/8", "7:00")),
        ("2 25:00", TURN, "write a clock position"),
        ("9 7:00", TURN, "the outlets are north, south"),
        ("1/8", LEVEL, "write pass to read once more"),
    ],
)
def test_what_cannot_be_meant_is_told_with_its_mend(typed, before, mend):
    with pytest.raises(ScenarioError, match=mend):
        means(typed, *before)


def test_an_unknown_clock_is_given_or_skipped():
    site = loads("""
    insert = {kind = "circle", diameter = "2 in", offset = "1/2 in"}
    outlet = [{}, {}]
    """)
    assert means("7:30", site=site) == setup.ClockSet(outlet=0, angle=pi / 4)
    assert means("skip", site=site) == setup.ClockSet(outlet=0, angle=None)
    with pytest.raises(ScenarioError, match="skip"):
        means("", site=site)


def stuck(typed: str, *before: setup.Event):
    return said_stuck(replay(begin(SITE), before), typed, "")


@pytest.mark.parametrize("typed", ["stuck 2", "2 stuck", "2 fixed", "Stuck south", "south is stuck",
                                   "stuck: 2", "fixed 2", "stuck outlet 2"])  # fmt: skip
@pytest.mark.parametrize("before", [(), (STILL,), (STILL, NORTH), TURN])
def test_a_stuck_insert_is_told_at_every_question(typed, before):
    assert stuck(typed, *before) == setup.Stuck(outlets=(1,))


def test_several_are_stuck_at_once_or_one_after_the_other_and_one_is_free_again():
    both, one = setup.Stuck(outlets=(0, 1)), setup.Stuck(outlets=(1,))
    for typed in ("stuck 1 2", "1, 2 stuck", "stuck 2 and 1", "stuck north; south"):
        assert stuck(typed) == both
    assert stuck("stuck 1", one) == both
    assert stuck("free 1", both) == one
    assert stuck("free 2", one) == setup.Stuck(outlets=())


@pytest.mark.parametrize("typed", ["", "2 9:00", "1/8", "by laser", "all 1/8 0", "end", "stucco 2"])
def test_other_answers_say_nothing_of_stuck_inserts(typed):
    assert stuck(typed, *TURN) is None


@pytest.mark.parametrize(
    ("typed", "mend"),
    [("stuck", "write stuck 3"), ("stuck 7", "the outlets are north, south"),
     ("2 9:00 stuck", "write stuck 3"), ("free 2", "was not called stuck")],
)  # fmt: skip
def test_stuck_of_nothing_is_told_with_its_mend(typed, mend):
    with pytest.raises(ScenarioError, match=mend):
        stuck(typed, *TURN)


def test_what_does_not_turn_by_its_file_cannot_be_stuck():
    site = loads("""
    insert = {kind = "circle", diameter = "2 in", offset = "1/2 in"}
    outlet = [{offset = "fixed"}, {state = "capped"}, {}]
    """)
    assert [outlet.hole_offset for outlet in site.outlets] == [None, INCH / 2, INCH / 2]
    for typed, why in (("stuck 1", "no insert that turns"), ("stuck 2", "is capped")):
        with pytest.raises(ScenarioError, match=why):
            said_stuck(begin(site), typed, "")


def every(typed: str, *before: setup.Event):
    job = replay(begin(SITE), before)
    return readings_of_all(job, job.question, typed, "in")


EIGHTH = INCH / 8


@pytest.mark.parametrize(
    ("typed", "before", "heights"),
    [
        ("1/8 0", (), [(0, (EIGHTH,)), (1, (0.0,))]),
        ("1/8, -1/8", (), [(0, (EIGHTH,)), (1, (-EIGHTH,))]),
        ("1/8 0, 0 1/8", (), [(0, (EIGHTH, 0.0)), (1, (0.0, EIGHTH))]),
        ("2,5; 3 mm", (), [(0, (0.0025,)), (1, (0.003,))]),
        ("2 0; 3 1 mm", (), [(0, (0.002, 0.0)), (1, (0.003, 0.001))]),
        ("all 1/8 0", (STILL,), [(0, (EIGHTH,)), (1, (0.0,))]),
        ("All: 1/8", (STILL, NORTH), [(1, (EIGHTH,))]),
        # else a line at an outlet is of that outlet, and a word at the water is how it is read
        ("1/8 0", (STILL,), []),
        ("", (), []),
        ("by laser", (), []),
        ("all 1/8 0", TURN, []),
    ],
)
def test_a_line_may_hold_the_readings_of_every_outlet(typed, before, heights):
    told = [(outlet, pytest.approx(each)) for outlet, each in heights]
    assert every(typed, *before) == told


@pytest.mark.parametrize(
    ("typed", "before"), [("1/8", ()), ("0 0 0", ()), ("3 mm", ()), ("all 1/8", (STILL,))]
)
def test_a_line_with_too_few_or_too_many_readings_is_told(typed, before):
    with pytest.raises(ScenarioError, match="for 2 outlets; write one for each, or press Enter"):
        every(typed, *before)
