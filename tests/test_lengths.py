"""Lengths as a job writes them: inches and millimetres side by side are one length."""

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dbox.files.scenario import loads
from dbox.lengths import Lengths
from dbox.units import INCH, length

HALF_A_TENTH = 0.5e-4 * 1.000001
"""What a tenth of a millimetre leaves open. [m]"""

lengths = st.builds(Lengths, st.booleans(), st.sampled_from((32, 64)))


@given(lengths, st.floats(-1.0, 1.0))
@example(Lengths(), 0.0024)
@example(Lengths(), 0.0003)
def test_inches_and_millimetres_are_the_same_length(how, metres):
    """Exact: inches within half a mark of the length, millimetres within half a tenth of it."""
    said = how.both(metres, signed=True)
    first, second = re.fullmatch(r"(\S+ (?:in|mm))(?: \((.*)\))?", said).groups()
    for text in filter(None, (first, second)):
        most = HALF_A_TENTH if text.endswith("mm") else INCH / how.parts / 2 * 1.000001
        assert abs(length(text) - metres) <= most
    assert first.endswith("mm") or not how.metric
    # what is less than half a mark is no mark at all, and is not said to be 0 in
    assert second or (first.endswith("mm") and abs(metres) <= INCH / how.parts / 2 * 1.000001)


BOX = 'insert = {{kind = "circle", diameter = "2 in"}}\nreadings = {{{}}}\noutlet = [{}]'


@pytest.mark.parametrize(
    ("told", "readings", "parts"),
    [
        ("", '{reading = "1/16 in"}', 32),
        ("", '{reading = ["1/16 in", "5/64 in"]}', 64),
        ("", '{reading = "1.3 mm"}, {reading = "0.13 in"}', 32),
        ('spread = "1/64 in"', '{reading = "1/16 in"}', 64),
        ('mark = "1/64 in"', '{reading = "1/16 in"}', 64),
        ('mark = "1/32 in"', '{reading = ["1/16 in", "5/64 in"]}', 32),
        ('mark = "1/8 in"', '{reading = "1/8 in"}', 32),
    ],
)
def test_inches_are_as_fine_as_the_rule(told, readings, parts):
    assert loads(BOX.format(told, readings)).lengths.parts == parts


@pytest.mark.parametrize(
    ("units", "reading", "metric"),
    [("in", "3 mm", False), ("mm", "1/8 in", True), ("cm", "1/8 in", True),
     (None, "3 mm", True), (None, "1/8 in", False)],
)  # fmt: skip
def test_a_job_is_written_in_its_own_unit(units, reading, metric):
    text = BOX.format("", f'{{label = "2 mm", reading = "{reading}"}}')
    head = f'units = "{units}"\n' if units else ""
    assert loads(head + text).metric is metric
