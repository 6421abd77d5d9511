"""The scenario file: read whole into SI, or refused with every fault at once.

Every expected value is exact: by hand from 1 in = 25.4 mm, 1 gal = 3.785411784 L, 1 ft = 0.3048 m.
"""

import math
from pathlib import Path

import pytest

from dbox.errors import ScenarioError
from dbox.files.scenario import load, loads
from dbox.hydraulics.openings import Circle, Notch, PipeEnd, Slot

INCH = 0.0254
GOOD = """
title = "Five lines"
units = "in"
[box]
shape = "rectangle"
inside = ["16 in", "20 in"]
inlet = "turned down"
inlet_drop = "2 in"
sump = "4 in"
[insert]
kind = "circle"
diameter = "2 in"
offset = "1/2 in"
coefficient = 0.6
[readings]
point = "lip"
spread = "1/32 in"
mark = "1/64 in"
hand = "2 deg"
rim = 6
[[outlet]]
label = "1"
at = ["16 in", 4]
reading = "1/8 in"
clock = "9:00"
line_length = "60 ft"
state = "open"
[[outlet]]
label = "2"
reading = [0.25, "1/4 in", "7/32"]
[[outlet]]
label = "3"
state = "capped"
[flows]
trickle = "0.5 gpm"
"first pour" = "5 gal in 60 s"
[target]
by = [2, 1, 0]
[tolerance]
share = "10 %"
source = "permit 7"
"""


def faults_of(text: str) -> tuple[str, ...]:
    with pytest.raises(ScenarioError) as caught:
        loads(text, "five.toml")
    for fault in caught.value.faults:
        assert fault.startswith("five.toml: ")
    return tuple(fault.removeprefix("five.toml: ") for fault in caught.value.faults)


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, f"{old} is not once in the good file"
    return GOOD.replace(old, new)


def test_every_key_arrives_in_si() -> None:
    site = loads(GOOD)
    assert site.title == "Five lines"
    assert site.box.shape == "rectangle"
    assert site.box.inside == pytest.approx((16 * INCH, 20 * INCH))
    assert (site.box.inlet, site.spread) == ("turned down", INCH / 32)
    assert (site.mark, site.hand) == (INCH / 64, math.radians(2))
    assert site.box.inlet_drop == pytest.approx(2 * INCH)
    assert site.box.sump == pytest.approx(4 * INCH)
    assert site.box.rim == pytest.approx(6 * INCH)
    assert (site.target.by, site.target.weights) == ("list", (2.0, 1.0, 0.0))
    assert site.tolerance.share == pytest.approx(0.1)
    assert site.tolerance.source == "permit 7"


@pytest.mark.parametrize(
    ("written", "held"),
    [
        ('hold_back = ["1 mm", "3 mm"]', (0.001, 0.003)),
        ('hold_back = "2 mm"', (0.002, 0.002)),
        ("hold_back = [0, 0.125]", (0.0, INCH / 8)),
        ('hold_back = "0 in"', (0.0, 0.0)),
        ("", (0.001, 0.004)),
    ],
)
def test_what_dry_lips_hold_back(written: str, held: tuple[float, float]) -> None:
    assert loads(changed("rim = 6", written)).hold_back == pytest.approx(held)


def test_every_outlet_arrives_in_si() -> None:
    first, second, third = loads(GOOD).outlets
    assert first.label == "1"
    assert first.opening == Circle(2 * INCH, coefficient=0.6)
    assert first.position == pytest.approx((16 * INCH, 4 * INCH))
    assert first.readings == pytest.approx((INCH / 8,))
    assert first.clock == pytest.approx(math.pi / 2)
    assert first.hole_offset == pytest.approx(INCH / 2)
    assert first.line_length == pytest.approx(60 * 0.3048)
    assert not first.capped
    assert second.readings == pytest.approx((INCH / 4, INCH / 4, 7 * INCH / 32))
    assert third.capped


def test_flows_keep_their_names_and_order() -> None:
    flows = loads(GOOD).flows
    assert [flow.name for flow in flows] == ["trickle", "first pour"]
    gallon = 3.785411784e-3
    assert [flow.inflow for flow in flows] == pytest.approx([0.5 * gallon / 60, 5 * gallon / 60])


def test_what_is_not_measured_stays_unmeasured() -> None:
    site = loads('insert = {kind = "notch", angle = "90 deg"}\n[[outlet]]\n[[outlet]]')
    assert site.box.inside == ()
    assert (site.box.rim, site.box.sump, site.spread, site.tolerance) == (None, None, None, None)
    assert (site.mark, site.hand) == (None, None)
    for number, outlet in enumerate(site.outlets, start=1):
        assert outlet.label == str(number)
        assert outlet.readings == ()
        assert (outlet.position, outlet.clock, outlet.hole_offset) == (None, None, None)
        assert (outlet.line_length, outlet.line_area) == (None, None)


def test_flows_left_out_are_three_defaults_that_say_so() -> None:
    flows = loads('insert = {kind = "pipe", diameter = "4 in"}\n[[outlet]]').flows
    assert len(flows) == 3
    assert all(flow.name.endswith("(default)") for flow in flows)


def test_an_outlet_overrides_any_key_of_the_insert() -> None:
    insert = 'kind = "circle"\ndiameter = "2 in"\noffset = "1/2 in"\ncoefficient = 0.6\n'
    site = loads(
        f"[insert]\n{insert}"
        '[[outlet]]\ndiameter = "1 in"\n'
        "[[outlet]]\noffset = 0\n"
        '[[outlet]]\nkind = "slot"\nwidth = "1 in"\nheight = "2 in"\n'
        '[[outlet]]\nkind = "notch"\nangle = "90 deg"\ncoefficient = 0.58\n'
        '[[outlet]]\nkind = "pipe"\ndiameter = "4 in"\n'
    )
    assert [outlet.opening for outlet in site.outlets] == [
        Circle(INCH, coefficient=0.6),
        Circle(2 * INCH, coefficient=0.6),
        Slot(INCH, 2 * INCH),
        Notch(math.pi / 2, coefficient=0.58),
        PipeEnd(4 * INCH),
    ]
    assert [outlet.hole_offset for outlet in site.outlets] == [INCH / 2, None, None, None, None]


@pytest.mark.parametrize(
    ("point", "heights"), [("lip", (0, 0, 0)), ("centre", (1, 1.5, 2)), ("top", (2, 3, 4))]
)
def test_the_point_read_is_over_the_lip(point: str, heights: tuple[float, ...]) -> None:
    site = loads(
        f'readings = {{point = "{point}"}}\ninsert = {{kind = "circle", diameter = "2 in"}}\n'
        '[[outlet]]\n[[outlet]]\nkind = "slot"\nwidth = "1 in"\nheight = "3 in"\n'
        '[[outlet]]\nkind = "pipe"\ndiameter = "4 in"'
    )
    expected = [height * INCH for height in heights]
    assert [outlet.point_over_lip for outlet in site.outlets] == pytest.approx(expected)


def test_a_round_box_has_one_diameter() -> None:
    box = 'box = {{shape = "round", inside = {}}}\n'
    text = box + 'insert = {{kind = "pipe", diameter = "4 in"}}\n[[outlet]]'
    assert loads(text.format('"20 in"')).box.inside == pytest.approx((20 * INCH,))
    assert loads(text.format('["20 in"]')).box.inside == pytest.approx((20 * INCH,))
    assert "round box has one diameter" in faults_of(text.format('["20 in", "20 in"]'))[0]


ONE_FAULT = [
    ('title = "Five lines"', "title = 5", "title is 5; write text in quotes"),
    ('units = "in"', 'units = "inch"', 'units is "inch"; did you mean in?'),
    ('shape = "rectangle"', 'shape = "rectangel"', "did you mean rectangle?"),
    ('inside = ["16 in", "20 in"]', 'inside = "16 in"', "a rectangle has two"),
    ('inside = ["16 in", "20 in"]', "inside = []", "box.inside is a list of 0"),
    ('inside = ["16 in", "20 in"]', 'inside = ["16 in", "0 in"]', "box.inside[2] is"),
    ('sump = "4 in"', 'sump = "-4 in"', "box.sump is"),
    ('kind = "circle"', "", "the openings have no kind"),
    ('diameter = "2 in"', "", "insert has no diameter; a circle needs it"),
    ('diameter = "2 in"', 'diameter = "0 in"', "insert.diameter is"),
    ('diameter = "2 in"', 'diameter = "-2 in"', "insert.diameter is"),
    ('diameter = "2 in"', 'diameter = "2 gpm"', "a flow; a length is wanted"),
    ('offset = "1/2 in"', 'offset = "1/2 ft"', "insert.offset is"),
    ("coefficient = 0.6", "coefficient = 60", "insert.coefficient is 60"),
    ("coefficient = 0.6", 'height = "1 in"', "insert.height has no meaning for a circle"),
    ('point = "lip"', 'point = "rim"', "readings.point is"),
    ('spread = "1/32 in"', "spread = 0", "readings.spread is 0"),
    ("rim = 6", "hold_back = -1", "readings.hold_back is -1; a dry lip holds back between 0 and"),
    ("rim = 6", 'hold_back = ["1 mm", "2 in"]', "readings.hold_back[2] is"),
    ("rim = 6", 'coefficient_spread = "40 %"', "readings.coefficient_spread is"),
    ("rim = 6", "hold_back = []", "readings.hold_back is a list of 0; write 1 to 2"),
    ("rim = 6", "hold_back = [1, 2, 3]", "readings.hold_back is a list of 3; write 1 to 2"),
    ("rim = 6", 'hold_back = ["4 mm", "1 mm"]', "hold_back is a list that falls; write the least"),
    ("rim = 6", 'hold_back = "1 gpm"', "a flow; a length is wanted"),
    ('mark = "1/64 in"', "mark = 0", "readings.mark is 0"),
    ('hand = "2 deg"', 'hand = "60 deg"', "a hand errs by 0.1 deg to 45 deg"),
    ('reading = "1/8 in"', 'reading = "60 ft"', "outlet[1].reading is"),
    ('reading = "1/8 in"', "reading = true", "outlet[1].reading is true"),
    ('reading = "1/8 in"', 'kind = "notch"\nangle = 90', "outlet[1].angle is 90"),
    ('reading = "1/8 in"', 'width = "1 in"', "outlet[1].width has no meaning for a circle"),
    ('reading = "1/8 in"', 'kind = "slot"', "outlet[1] has no width; a slot needs it"),
    ('label = "2"', 'label = "1"', "outlet[2].label is"),
    ('label = "2"', "label = 1", "outlet[2].label is"),
    ('label = "2"', 'label = ""', "outlet[2].label is empty"),
    ('label = "2"', 'label = "a\\u0000b"', "outlet[2].label is"),
    ('label = "2"', 'at = ["16 in", "4 in"]', "outlet[2].at is the place of outlet[1] too"),
    ('label = "2"', 'at = ["16 in", "5 ft"]', "outlet[2].at lies outside the box"),
    ('label = "2"', 'at = "16 in"', "outlet[2].at is"),
    ('label = "2"', 'line_area = "60 ft"', "an area is wanted here"),
    ('label = "3"', 'reading = "1 in"\ndiamter = 2', "unknown key outlet[3].diamter; did you mean"),
    ('state = "open"', 'state = "opne"', "did you mean open?"),
    ('clock = "9:00"', 'clock = "25:00"', "outlet[1].clock is"),
    ('clock = "9:00"', "clock = 09:00:00", "outlet[1].clock is 09:00:00"),
    ('trickle = "0.5 gpm"', "trickle = 0.5", "flows.trickle is 0.5; give its unit"),
    ('trickle = "0.5 gpm"', 'trickle = "0 gpm"', "flows.trickle is"),
    (
        'trickle = "0.5 gpm"',
        '"first pour " = "5 gpm"',
        'flows."first pour" has a name that is there',
    ),
    ("by = [2, 1, 0]", 'by = "lenght"', "did you mean length?"),
    ("by = [2, 1, 0]", 'by = "length"', "outlet[2] has no line_length"),
    ("by = [2, 1, 0]", "by = [2, 1]", "target.by is a list of 2 for 3 outlets"),
    ("by = [2, 1, 0]", "by = [2, 0, 0]", "target.by[2] is 0 for an open outlet"),
    ("by = [2, 1, 0]", "by = [2, -1, 0]", "target.by[2] is -1"),
    ('share = "10 %"', "share = 0.1", "tolerance.share is 0.1; give its unit"),
    ('share = "10 %"', "", "tolerance has no share"),
    ('point = "lip"', 'placeholder = "yes"', 'placeholder is "yes"; write true or false'),
    ('source = "permit 7"', "sauce = 7", "unknown key tolerance.sauce; did you mean source?"),
    ('source = "permit 7"', "diameter = 7", "unknown key tolerance.diameter; it belongs under"),
]


@pytest.mark.parametrize(("old", "new", "said"), ONE_FAULT)
def test_one_slip_is_one_fault(old: str, new: str, said: str) -> None:
    (fault,) = faults_of(changed(old, new))
    assert said in fault


def test_by_area_wants_an_area_of_each_open_outlet() -> None:
    text = changed("by = [2, 1, 0]", 'by = "area"')
    assert [fault[:9] for fault in faults_of(text)] == ["outlet[1]", "outlet[2]"]
    text = text.replace('state = "open"', 'line_area = "100 ft2"')
    text = text.replace('label = "2"', 'line_area = "17 m2"')
    assert [outlet.line_area for outlet in loads(text).outlets] == [
        pytest.approx(9.290304),
        17.0,
        None,
    ]


def test_a_top_that_is_open_cannot_be_read() -> None:
    text = 'readings = {point = "top"}\ninsert = {kind = "slot", width = "1 in"}\n[[outlet]]'
    assert "outlet[1] is open on top" in faults_of(text)[0]


def test_every_fault_is_told_at_once_and_none_twice() -> None:
    text = GOOD
    for old, new in [
        ('reading = "1/8 in"', 'reading = "13/16/2 in"'),
        ('label = "2"', 'label = "1"\ndiamter = 2'),
        ('diameter = "2 in"', 'diameter = "nan"'),
        ("by = [2, 1, 0]", "by = [2, 1]"),
        ('share = "10 %"', ""),
        ('trickle = "0.5 gpm"', 'trickle = "3 mm"'),
        ('units = "in"', 'units = "yard"'),
    ]:
        assert text.count(old) == 1
        text = text.replace(old, new)
    faults = faults_of(text)
    assert 'outlet[1].reading is "13/16/2 in"; write a fraction as 13/16 or 1-3/16' in faults
    assert "unknown key outlet[2].diamter; did you mean diameter?" in faults
    places = ["units", "insert.diameter", "outlet[1].reading", "outlet[2].diamter", "flows.trickle",
              "outlet[2].label", "target.by", "tolerance"]  # fmt: skip
    assert len(faults) == len(places)
    for place in places:
        assert sum(place in fault for fault in faults) == 1


def test_the_unit_of_bare_lengths_must_be_stated() -> None:
    faults = faults_of(GOOD.replace('units = "in"\n', ""))
    assert [fault.partition(" is ")[0] for fault in faults] == [
        "readings.rim",
        "outlet[1].at[2]",
        "outlet[2].reading[1]",
        "outlet[2].reading[3]",
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "there are no outlets"),
        ("outlet = []", "there are no outlets"),
        ("outlet = 5", "double brackets"),
        ("[outlet]\nreading = 1", "double brackets"),
        ("outlet = [5]\ninsert = {kind = 'circle', diameter = '2 in'}", "outlet[1] is 5"),
        ("box = 5\noutlet = [{}]", "box is 5; it is a table, write [box]"),
        ("flow = 5\n" + GOOD, "unknown key flow; did you mean flows?"),
        ("insert = {kind = 'pipe', diameter = '4 in'}\n" + "[[outlet]]\n" * 101, "at most 100"),
        ("insert = {kind = 'pipe', diameter = '4 in'}\n[[outlet]]\nstate='capped'", "every outlet"),
        ("x = \n", "not TOML at line 1"),
        ("title = 'a'\n\ntitle = 'b'\nx = 1", "line 3, column 12"),
        ("[[outlet]]\nreading = 1/8 in", "line 2"),
        ("x = " + "[" * 5000, "nested too deep"),
        ("x = 0x" + "f" * 9000, "unknown key x"),
        ("x = " + "9" * 9000, "a number that cannot be read"),
        (".".join("a" * 999) + " = 1", "more than 200 dots"),
    ],
)
def test_files_that_are_wrong_as_a_whole(text: str, said: str) -> None:
    assert any(said in fault for fault in faults_of(text))


def test_many_faults_are_counted() -> None:
    """Exact: 1000 unknown keys, 50 of them told."""
    faults = faults_of(GOOD + "".join(f"key{number} = 1\n" for number in range(1000)))
    assert len(faults) == 51
    assert faults[-1] == "and 950 more faults"


def test_a_bare_length_is_in_the_unit_however_it_is_written() -> None:
    text = 'units = "MM"\ninsert = {kind = "pipe", diameter = 100}\n[[outlet]]\nreading = 2'
    assert loads(text).outlets[0].readings == (0.002,)


def test_a_hundred_outlets_are_read() -> None:
    text = "insert = {kind = 'pipe', diameter = '4 in'}\n" + "[[outlet]]\n" * 100
    assert len(loads(text).outlets) == 100


def test_a_file_may_begin_with_a_byte_order_mark_and_end_lines_either_way(tmp_path: Path) -> None:
    path = tmp_path / "five.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load(path) == load(str(path)) == loads(GOOD)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"title = 'a'\n\xff\xfe", "line 2 holds byte 0xff"),
        (GOOD.encode("utf-16"), "not UTF-8"),
        (b"#" * 200_001, "bigger than 200,000 bytes"),
    ],
)
def test_files_that_are_no_text(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "five.toml"
    path.write_bytes(content)
    with pytest.raises(ScenarioError) as caught:
        load(path)
    assert str(caught.value).startswith(f"{path}: ")
    assert said in str(caught.value)


def test_paths_that_are_no_file(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match="there is no such file"):
        load(tmp_path / "none.toml")
    with pytest.raises(ScenarioError, match="is a folder"):
        load(tmp_path)
    for name in ("a\0b", "x" * 5000):
        with pytest.raises(ScenarioError, match="cannot be read"):
            load(name)
