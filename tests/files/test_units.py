"""Units as people write them. Every expected value is exact: worked by hand from the definitions
1 in = 25.4 mm, 1 ft = 12 in, 1 US gal = 231 in3 = 3.785411784 L, 1 min = 60 s."""

import math
import time
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox import units
from dbox.errors import ScenarioError

LENGTHS = [
    ("1/8 in", 3.175e-3),
    ("1-3/16 in", 30.1625e-3),
    ('1 3/16"', 30.1625e-3),
    ("1.1875 in", 30.1625e-3),
    ("-1/16 in", -1.5875e-3),
    ("-1-3/16 in", -30.1625e-3),
    ("+1/8 in", 3.175e-3),
    ("−1/16 in", -1.5875e-3),
    ("1½ in", 38.1e-3),
    ("¼ in", 6.35e-3),
    ("-⅜ in", -9.525e-3),
    ("1-½ in", 38.1e-3),
    ("2”", 50.8e-3),
    ("2 ″", 50.8e-3),
    ("2''", 50.8e-3),
    ("3 mm", 3e-3),
    ("3mm", 3e-3),
    (".5 cm", 5e-3),
    ("60 ft", 18.288),
    ("60'", 18.288),
    ("60’", 18.288),
    ("5' 3\"", 1.6002),
    ("5 ft 3 1/2 in", 1.6129),
    ("1e-3 m", 1e-3),
    ("16 INCHES", 406.4e-3),
    ("0", 0.0),
    (0, 0.0),
]
FLOWS = [
    ("5 gpm", 5 * 3.785411784e-3 / 60),
    ("0.3 L/s", 3e-4),
    ("12 L/min", 2e-4),
    ("12 lpm", 2e-4),
    ("300 gal/day", 300 * 3.785411784e-3 / 86400),
    ("300 gpd", 300 * 3.785411784e-3 / 86400),
    ("60 gph", 60 * 3.785411784e-3 / 3600),
    ("0.5 cfs", 0.5 * 0.3048**3),
    ("5 gal in 40 s", 3.785411784e-3 / 8),
    ("5 gal in 40s", 3.785411784e-3 / 8),
    ("5 gal / 40 s", 3.785411784e-3 / 8),
    ("12 L in 35 s", 0.012 / 35),
    ("12 L in 1 min 10 s", 0.012 / 70),
    ("1/2 gal/min", 0.5 * 3.785411784e-3 / 60),
    ("5 gallons per minute", 5 * 3.785411784e-3 / 60),
    ("1 m³/h", 1 / 3600),
    ("1 ft3/s", 0.3048**3),
    ("2 cfs", 2 * 0.3048**3),
]
OTHERS = [
    (units.volume, "1500 gal", 1500 * 3.785411784e-3),
    (units.volume, "12 L", 0.012),
    (units.volume, "3 qt", 0.75 * 3.785411784e-3),
    (units.volume, "500 mL", 5e-4),
    (units.duration, "40 s", 40.0),
    (units.duration, "1 min 30 s", 90.0),
    (units.duration, "2 h", 7200.0),
    (units.area, "100 ft2", 9.290304),
    (units.area, "100 sq ft", 9.290304),
    (units.area, "17 m²", 17.0),
    (units.grade, "3/16in/ft", 1 / 64),
    (units.grade, "1/8 in per ft", 1 / 96),
    (units.grade, "1 in in 4 ft", 1 / 48),
    (units.grade, "-2 %", -0.02),
    (units.grade, "10 mm/m", 0.01),
    (units.angle, "90 deg", math.pi / 2),
    (units.angle, "45°", math.pi / 4),
    (units.percent, "10 %", 0.1),
    (units.percent, "2.5 per cent", 0.025),
    (units.number, "3/4", 0.75),
    (units.number, 0.6, 0.6),
]


@pytest.mark.parametrize(("text", "metres"), LENGTHS)
def test_lengths(text: object, metres: float) -> None:
    assert units.length(text) == pytest.approx(metres, rel=1e-14)


@pytest.mark.parametrize(("unit", "size"), [("in", 25.4e-3), ("mm", 1e-3), ("cm", 1e-2)])
def test_bare_lengths_are_in_the_unit_stated(unit: str, size: float) -> None:
    assert units.length("1-3/16", unit) == pytest.approx(1.1875 * size, rel=1e-14)
    assert units.length(-2, unit) == pytest.approx(-2 * size, rel=1e-14)
    assert units.length("2 ft", unit) == pytest.approx(0.6096, rel=1e-14)


@pytest.mark.parametrize(("text", "flow"), FLOWS)
def test_flows(text: str, flow: float) -> None:
    assert units.flow(text) == pytest.approx(flow, rel=1e-14)


@pytest.mark.parametrize(("read", "text", "value"), OTHERS)
def test_other_quantities(read: Callable[[object], float], text: object, value: float) -> None:
    assert read(text) == pytest.approx(value, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "quarters"),
    [("6:00", 0), ("9:00", 1), ("12:00", 2), ("3:00", -1), ("7:30", 0.5), ("4:30", -0.5)],
)
def test_clock_turns_clockwise_from_straight_down(text: str, quarters: float) -> None:
    assert units.clock(text) == pytest.approx(quarters * math.pi / 2, rel=1e-14)


def test_clock_stays_within_half_a_turn_either_way() -> None:
    assert units.clock("12:01") == pytest.approx(-math.pi * 359 / 360)
    assert units.clock("11:59") == pytest.approx(math.pi * 359 / 360)


@pytest.mark.parametrize(
    ("said", "read"),
    [
        *((text, "6:00") for text in ("6", "6:00", "6.00", "6 o'clock", "6 o’clock", "6 oclock")),
        ("6.30", "6:30"), ("12", "12:00"), ("9.45 O'Clock", "9:45"),
        # what is no clock position stays for the reader of clocks to refuse
        *((text, text) for text in ("6.5", "630", "6 30", "half past 6", "1/8", "")),
    ],
)  # fmt: skip
def test_a_clock_is_read_as_it_is_said(said: str, read: str) -> None:
    assert units.said_clock(said) == read


@pytest.mark.parametrize(
    ("said", "unit", "read"),
    [
        ("2,5 mm", "", "2.5 mm"), ("0,125 in", "", "0.125 in"), ("2,5, 3,0", "", "2.5, 3.0"),
        ("-0,5; 1,25 cm", "", "-0.5; 1.25 cm"), ("3,2 0 1", "", "3.2 0 1"),
        ("10", "%", "10 %"), ("2,5", "%", "2.5 %"), ("1/2", "in", "1/2 in"), ("10 %", "%", "10 %"),
        ("1-3/4", "in", "1-3/4 in"), ("ten", "%", "ten"), ("", "%", ""),
        # a comma that parts, or may part thousands, stays
        *((text, "", text) for text in ("1/8, 0", "1/8,3/16", "1,3/16", "1,2,3", "1,250 mm")),
    ],
)  # fmt: skip
def test_a_number_is_read_as_it_is_said(said: str, unit: str, read: str) -> None:
    assert units.said_number(said, unit) == read


REFUSED = [
    (units.length, "13/16/2 in", 'is "13/16/2 in"; write a fraction as 13/16 or 1-3/16'),
    (units.length, "1/0 in", "0 below the line"),
    (units.length, "1-17/16 in", "less than 1"),
    (units.length, "1e999 in", "above 10 km"),
    (units.length, "99999 ft", "above 10 km"),
    (units.length, "nan", "write one number"),
    (units.length, "inf in", "write one number"),
    (units.length, math.nan, "is nan"),
    (units.length, math.inf, "is inf"),
    (units.length, 1e300, "write a length"),
    (units.length, 2**9999, "write a length"),
    (units.length, "5", "give its unit"),
    (units.length, 5, "give its unit"),
    (units.length, "", "is empty"),
    (units.length, "  ", "is empty"),
    (units.length, True, "is true"),
    (units.length, None, "write a length"),
    (units.length, ["1 in"], "is a list"),
    (units.length, "-1,5 mm", 'decimals take a point, write "-1.5 mm"'),
    (units.length, "0,125 in", 'write "0.125 in"'),
    (units.volume, "1,250 gal", 'write "1250 gal" or "1.250 gal", the one you mean'),
    (units.length, "1,2,3 mm", "write one number, without a comma"),
    (units.length, "5 furlong", "not known"),
    (units.length, "3 in 5 ft", "larger unit first"),
    (units.length, "3 in 3 in", "larger unit first"),
    (units.length, "5 ft 3", "write one number"),
    (units.length, "1 -3/16 in", "write a fraction"),
    (units.length, "٣ in", "write one number"),
    (units.length, "5 gpm", "a flow; a length is wanted here"),
    (units.flow, "5", "give its unit"),
    (units.flow, 5, "give its unit"),
    (units.flow, 0, "give its unit"),
    (units.flow, "3 mm", "a length; a flow is wanted here"),
    (units.flow, "5 gal", "a volume; a flow is wanted here"),
    (units.flow, "-5 gpm", "cannot be below 0"),
    (units.flow, "5 gal in 0 s", "more than 0"),
    (units.flow, "5 gal in -4 s", "more than 0"),
    (units.flow, "1 gmp", "did you mean gpm?"),
    (units.flow, "5000 L/s", "above 1 m3/s"),
    (units.volume, "-1 gal", "cannot be below 0"),
    (units.percent, 10, "give its unit"),
    (units.percent, 0.1, "give its unit"),
    (units.angle, "90", "give its unit"),
    (units.grade, "1 in 50", "give its unit"),
    (units.grade, "3/16 in", "a length; a fall is wanted here"),
    (units.number, "3 in", "a length; a number is wanted here"),
    (units.number, "1 2", "without a unit"),
    (units.clock, "25:00", "write a clock position"),
    (units.clock, "0:30", "write a clock position"),
    (units.clock, "13:00", "write a clock position"),
    (units.clock, "6:60", "write a clock position"),
    (units.clock, "6", "write a clock position"),
    (units.clock, 6, "write a clock position"),
    (units.clock, "", "write a clock position"),
    (units.clock, "-6:00", "write a clock position"),
]


@pytest.mark.parametrize(("read", "value", "said"), REFUSED)
def test_refusals_say_the_value_and_the_mend(
    read: Callable[[object], float], value: object, said: str
) -> None:
    """Exact: none of these has a meaning."""
    with pytest.raises(ScenarioError) as caught:
        read(value)
    message = str(caught.value)
    assert message.startswith("is ")
    assert said in message
    assert len(message) < 200


def outcome(read: Callable[[object], float], value: object) -> float | ScenarioError:
    try:
        return read(value)
    except ScenarioError as error:
        return error


def is_finite_or_told(result: float | ScenarioError) -> bool:
    if isinstance(result, ScenarioError):
        return str(result).startswith("is ") and str(result).isprintable()
    return math.isfinite(result)


@given(st.text(max_size=300) | st.integers() | st.floats() | st.booleans() | st.none())
def test_anything_is_a_finite_number_or_a_fault(value: object) -> None:
    """Exact: no other error, and never a number that is none."""
    for read in (units.length, units.flow, units.grade, units.clock, units.number, units.area):
        assert is_finite_or_told(outcome(read, value))


@given(st.text(alphabet="0123456789-/. inftgal'\"½%", max_size=30))
def test_near_misses_are_finite_numbers_or_faults(text: str) -> None:
    """Exact: as above, with text that nearly is a quantity."""
    for read in (units.length, units.flow, units.grade):
        assert is_finite_or_told(outcome(read, text))


@pytest.mark.parametrize(
    "piece", ["1", "1/", "1 ", "1-", " ", "in ", "½", "1 in ", "5 gal in ", "'"]
)
def test_long_text_is_refused_at_once(piece: str) -> None:
    """Exact: a quantity is short; the time may not grow with what is not one."""
    begin = time.perf_counter()
    for length in (79, 80, 100_000):
        for read in (units.length, units.flow, units.clock):
            with pytest.raises(ScenarioError):
                read((piece * length)[:length])
    assert time.perf_counter() - begin < 2.0


@given(
    whole=st.integers(0, 50),
    top=st.integers(0, 63),
    negative=st.booleans(),
    dash=st.booleans(),
    unit=st.sampled_from([" in", '"', "in", " inches", "”"]),
)
def test_mixed_numbers_are_whole_plus_fraction(
    whole: int, top: int, negative: bool, dash: bool, unit: str
) -> None:
    """Exact: 64ths of an inch, worked in whole numbers."""
    text = f"{'-' if negative else ''}{whole}{'-' if dash else ' '}{top}/64{unit}"
    expected = (64 * whole + top) / 64 * 0.0254
    assert units.length(text) == pytest.approx(-expected if negative else expected, abs=1e-15)
