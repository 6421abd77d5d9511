"""Readings and catches out of tables that spreadsheets save, and back into them."""

import csv
import io
import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dbox import Circle
from dbox.errors import CellWarning, ScenarioError
from dbox.fieldwork.site import Flow, Outlet, Pour, Site
from dbox.files.csv_table import csv_text, texts_written
from dbox.files.readings_csv import (
    catches_csv,
    read_inflow,
    readings_csv,
    with_catches,
    with_readings,
)

INCH = 0.0254
LPM = 1e-3 / 60
LABELS = ("1", "2", "ditch side")


def a_site(*pours: Pour, labels: tuple[str, ...] = LABELS, capped: str = "") -> Site:
    outlets = tuple(
        Outlet(label=label, opening=Circle(0.05), readings=(0.01,), capped=label == capped)
        for label in labels
    )
    return Site(outlets=outlets, flows=(Flow(name="day", inflow=LPM),), pours=pours)


def saved(tmp_path: Path, content: str | bytes) -> Path:
    path = tmp_path / "table.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def readings(tmp_path: Path, content: str | bytes) -> list[tuple[float, ...]]:
    return [o.readings for o in with_readings(a_site(), saved(tmp_path, content)).outlets]


def faults(tmp_path: Path, content: str | bytes) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        readings(tmp_path, content)
    name = str(tmp_path / "table.csv")
    assert all(fault.startswith(f"{name}: ") for fault in caught.value.faults)
    return [fault.removeprefix(f"{name}: ") for fault in caught.value.faults]


MM = [(0.0032, 0.003), (0.0,), ()]


@pytest.mark.parametrize(
    "content",
    [
        "outlet,reading (mm),reading 2 (mm)\n1,3.2,3\n2,0,\nditch side,,\n",
        "outlet;reading (mm);reading 2 (mm)\n1;3,2;3\n2;0;\n",
        "outlet\treading (mm)\treading 2 (mm)\r\n1\t3,2\t3\r\n2\t0\t\r\n",
        "\ufeffOutlet;Reading [mm];Reading 2 [mm]\r\n1;3,2;3\r\n2;0;\r\n;;\r\n",
        "sep=;\r\nlabel;readings (mm);reading 2\r\n2;0;\r\n1;3,2;3 mm\r\n",
        'outlet,reading (mm),reading 2 (mm)\n1,"3,2","3"\n2,0,\n',
        "outlet,reading,reading 2,\n1, 3.2 mm ,3 mm,\n2,0,,\nDitch  Side,,,\n",
        '"outlet","reading (mm)","reading 2 (mm)"\n"1","3.2","3"\n"2","0",""\n',
    ],
    ids=["plain", "semicolons", "tabs", "mark", "hint", "quoted", "units in cells", "all quoted"],
)
def test_one_table_saved_in_many_ways_is_one_table(tmp_path: Path, content: str) -> None:
    for found, wanted in zip(readings(tmp_path, content), MM, strict=True):
        assert found == pytest.approx(wanted)


def test_fractions_are_read_as_people_write_them(tmp_path: Path) -> None:
    content = 'outlet;reading (in)\n1;1-3/16\n2;"-1/16"""\nditch side;½\n'
    found = readings(tmp_path, content)
    assert [f[0] for f in found] == pytest.approx([1.1875 * INCH, -INCH / 16, INCH / 2])


def test_a_leading_nought_makes_a_decimal_comma_clear(tmp_path: Path) -> None:
    found = readings(tmp_path, "outlet;reading (in)\n1;0,125\n2;-0,125\nditch side;3,1250\n")
    assert [f[0] for f in found] == pytest.approx([INCH / 8, -INCH / 8, 3.125 * INCH])


def test_a_spreadsheets_exponent_is_no_unit(tmp_path: Path) -> None:
    found = readings(tmp_path, "outlet;reading (m)\n1;3,2E-03\n2;-1e-3\n")
    assert found == [(0.0032,), (-0.001,), ()]


def test_an_outlet_without_a_row_is_not_measured(tmp_path: Path) -> None:
    assert readings(tmp_path, "outlet,reading (mm)\n2,3\n") == [(), (0.003,), ()]


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ("outlet;reading (mm)\n1;1,250\n", 'row 2, column "reading (mm)" is "1,250 mm"; write "1'),
        ("outlet;reading (mm)\n1;1.250,5\n", 'row 2, column "reading (mm)" is "1.250,5 mm"; write'),
        ("outlet;reading (mm)\n1;1,2,3\n", 'row 2, column "reading (mm)" is "1,2,3 mm"; write'),
        (
            "outlet;reading (mm)\n1;1,5\n2;2.5\n",
            'row 2, column "reading (mm)" has a decimal comma, row 3, column "reading (mm)" a '
            "decimal point; write all the same way",
        ),
        ("outlet,reading (mm)\n1,3,2\n", "row 2 has 3 cells under 2 heads; look for a decimal"),
        ("outlet,reading (mm),reading 2 (mm)\n1,3,2\n2,3\n", "row 3 has 2 cells under 3 heads"),
        ("outlet,reading\n1,08. Jan\n", 'row 2, column "reading" is "08. Jan", a date that'),
        ("outlet,reading (in)\n1,Jan-16\n", 'row 2, column "reading (in)" is "Jan-16", a date'),
        ("outlet,reading\n1,1/8/2025\n", 'row 2, column "reading" is "1/8/2025", a date'),
        ("outlet,reading\n1,2025-01-08\n", 'row 2, column "reading" is "2025-01-08", a date'),
        ("outlet,reading\n1,1/8\n", 'row 2, column "reading" is "1/8"; give its unit, or name the'),
        ("outlet,reading (mm)\n1,high\n", 'row 2, column "reading (mm)" is "high"'),
        ("outlet,reading (furlong)\n1,3\n", 'column "reading (furlong)": its unit is'),
        ("outlet,reading (m)\n1,32\n", 'row 2, column "reading (m)" is "32 m"; a reading at a box'),
        ("outlet,reading (mm)\n4,3\n", 'row 2, column "outlet" is "4"; there is no such outlet'),
        ("outlet,reading (mm)\ndich side,3\n", 'row 2, column "outlet" is "dich side"; there is'),
        ("outlet,reading (mm)\n1,3\n\n1,4\n", 'row 4, column "outlet" is "1", which row 2 has too'),
        ("outlet,reading (mm)\n,3\n", "row 2 has no outlet; write its label in the first column"),
        ("outlet,reeding (mm)\n1,3\n", 'unknown column "reeding (mm)"; did you mean reading?'),
        ("outlet,,reading (mm)\n1,3,3\n", 'unknown column ""; use reading'),
        ("reading (mm),outlet\n3,1\n", 'the first column is "reading (mm)"; it must be outlet'),
        ("outlet\n1\n", "has no column of values; add reading"),
        ("", "is empty; its first row names the columns"),
        ('outlet,reading\n1,"3 mm\n', "row 2 is no row of a table"),
        ("outlet,reading (mm)\n" + "1,3\n" * 1001, "has more than 1,000 rows"),
    ],
)
def test_what_is_not_clear_is_refused_with_row_and_column(
    tmp_path: Path, content: str, fault: str
) -> None:
    told = faults(tmp_path, content)
    assert told[0].startswith(fault)


def test_every_fault_of_a_table_is_told_at_once(tmp_path: Path) -> None:
    told = faults(tmp_path, "outlet;reading (mm)\n1;1,250\n7;1\nditch side;8-Jan\n")
    assert [fault.split(",")[0] for fault in told] == ["row 2", "row 3", "row 4"]


@pytest.mark.parametrize(
    "content", [b"\xff\xfeo\x00", b"outlet;reading\n1;\xbd in\n", b"PK\x03\x04"]
)
def test_what_is_no_text_table_is_refused(tmp_path: Path, content: bytes) -> None:
    assert faults(tmp_path, content)


def test_a_file_that_is_too_big_or_not_there_is_refused(tmp_path: Path) -> None:
    assert "bigger than" in faults(tmp_path, "outlet,reading\n" + " " * 1_000_000)[0]
    with pytest.raises(ScenarioError, match="no such file"):
        with_readings(a_site(), tmp_path / "none.csv")


SLOW = Pour(name="slow", inflow=4 * LPM, jug=1e-3)
FAST = Pour(name="fast (buckets)", inflow=20 * LPM, catches=(LPM, LPM, LPM))


def test_catches_are_read_by_the_name_of_the_pour(tmp_path: Path) -> None:
    path = saved(tmp_path, "outlet;Slow (s);fast (buckets)\n1;41,5;1,2 L in 30 s\n2;;dry\n")
    slow, fast = with_catches(a_site(SLOW, FAST), path).pours
    assert slow.catches == (pytest.approx(1e-3 / 41.5), None, None)
    assert fast.catches == (pytest.approx(1.2e-3 / 30), 0.0, None)


def test_a_pour_without_a_column_keeps_its_catches(tmp_path: Path) -> None:
    path = saved(tmp_path, "outlet,slow (L/min)\n2,1.5\n")
    slow, fast = with_catches(a_site(SLOW, FAST), path).pours
    assert slow.catches == (None, pytest.approx(1.5 * LPM), None)
    assert fast is FAST


@pytest.mark.parametrize("head", ["catch", "Caught", "catches (L/min)", "slow"])
def test_one_pour_needs_no_name(tmp_path: Path, head: str) -> None:
    path = saved(tmp_path, f"outlet,{head}\n1,0.6 gpm\n")
    assert with_catches(a_site(SLOW), path).pours[0].catches[0] == pytest.approx(
        0.6 * 3.785411784 * LPM
    )


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ("outlet,fast (s)\n1,12\n", 'unknown column "fast (s)"; use slow or fast (buckets)'),
        ("outlet,fast (buckets)\n1,12 s\n", 'row 2, column "fast (buckets)" is "12 s", a time'),
        ("outlet,slow\n1,12\n", 'row 2, column "slow" is "12"; give its unit'),
        ("outlet,slow (s),slow\n1,12,\n", 'column "slow" is there twice; keep one of them'),
        (
            "outlet,slow (s)\nditch side,12\n",
            'column "slow" has a catch at outlet ditch side, which',
        ),
    ],
)
def test_catches_that_cannot_be_are_refused(tmp_path: Path, content: str, fault: str) -> None:
    path = saved(tmp_path, content)
    with pytest.raises(ScenarioError) as caught:
        with_catches(a_site(SLOW, FAST, capped="ditch side"), path)
    assert caught.value.faults[0].startswith(f"{path}: {fault}")


def test_catches_without_a_pour_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match="has no pour"):
        with_catches(a_site(), saved(tmp_path, "outlet,catch\n1,dry\n"))


labels = st.text(
    st.characters(exclude_categories=("C", "Z"), exclude_characters="\ufeff"),
    min_size=1,
    max_size=12,
)
heights = st.lists(st.floats(-0.9, 0.9), max_size=4).map(tuple)


@pytest.mark.filterwarnings("ignore::dbox.errors.CellWarning")
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    st.lists(st.tuples(labels, heights), min_size=1, max_size=6, unique_by=lambda o: o[0].lower())
)
def test_readings_written_are_read_back(tmp_path: Path, rows: list) -> None:
    site = a_site(labels=tuple(label for label, _ in rows))
    outlets = [replace(o, readings=r) for o, (_, r) in zip(site.outlets, rows, strict=True)]
    site = replace(site, outlets=tuple(outlets))
    back = with_readings(site, saved(tmp_path, readings_csv(site)))
    for one, other in zip(back.outlets, site.outlets, strict=True):
        assert one.readings == pytest.approx(other.readings, rel=1e-9, abs=1e-12)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.none() | st.floats(0, 1e-2), min_size=3, max_size=3))
def test_catches_written_are_read_back(tmp_path: Path, catches: list) -> None:
    site = a_site(replace(SLOW, catches=tuple(catches)), FAST)
    back = with_catches(site, saved(tmp_path, catches_csv(site.pours, LABELS)))
    for one, other in zip(back.pours, site.pours, strict=True):
        for caught, wanted in zip(one.catches, other.catches, strict=True):
            assert caught == (
                None if wanted is None else pytest.approx(wanted, rel=1e-9, abs=1e-15)
            )


def test_a_table_to_fill_in_has_a_row_for_each_outlet() -> None:
    bare = Pour(name="bare", inflow=LPM)
    assert catches_csv([SLOW, bare, FAST], LABELS).splitlines() == [
        "outlet,slow (s),bare,fast (buckets) (L/min)",
        "1,,,1",
        "2,,,1",
        "ditch side,,,1",
    ]


def test_a_label_beyond_ascii_gets_a_byte_order_mark() -> None:
    assert readings_csv(a_site(labels=("Süd",))).startswith("\ufeffoutlet")
    assert readings_csv(a_site()).startswith("outlet")


@pytest.mark.parametrize(
    "content",
    [
        "seconds,m3_s\n0,0\n60,0.0003\n120,0\n",
        "time (min),flow (gpm)\n0,0\n1,4.7550967\n2,0\n",
        "﻿time (min);flow (L/min)\n0;0\n1,0;18,0\n2;0\n",
        "Seconds\tM3_S\n0\t0\n60\t3e-4\n\n120\t0\n",
    ],
)
def test_inflow_files_of_one_triangle(tmp_path: Path, content: str) -> None:
    path = tmp_path / "in.csv"
    path.write_text(content, encoding="utf-8")
    flow = read_inflow(path)
    assert flow.entry == "box"
    assert flow.name == "in.csv"
    assert flow.volume(1e6) == pytest.approx(60 * 3e-4, rel=1e-6)


@pytest.mark.parametrize(
    ("content", "fault"),
    [
        ("", "first row"),
        ("seconds\n0\n1\n", "first row"),
        ("m3_s,seconds\n0,0\n1,1\n", "its columns"),
        ("hours,m3_s\n0,0\n1,1\n", 'unknown column "hours"'),
        ("seconds,m3_s\n0,0\n1\n", "row 3 has 1 cell "),
        ("seconds,m3_s\n0,0\n1,x\n", 'row 3, column "m3_s" is "x"'),
        ("seconds,m3_s\n0,0\n1,-1\n", 'row 3, column "m3_s" is'),
        ("seconds,m3_s\n0,0\n", "two or more rows"),
        ("seconds,m3_s\n0,0\n5,0\n5,1\n", "apart"),
        ("seconds,m3_s\n0,0\n1,nan\n", 'row 3, column "m3_s" is'),
        (f"seconds,m3_s\n{'9' * 140_000},0\n", "is no row of a table"),
    ],
)
def test_inflow_files_that_cannot_be_are_refused(tmp_path: Path, content: str, fault: str) -> None:
    path = tmp_path / "in.csv"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(ScenarioError) as caught:
        read_inflow(path)
    assert all(str(path) in line for line in caught.value.faults)
    assert fault in str(caught.value)


@pytest.mark.parametrize(
    ("rows", "head"),
    [
        (86_401, "seconds,m3_s"),
        pytest.param(525_601, "time (min),flow (L/s)", marks=pytest.mark.slow),
    ],
)
def test_a_day_of_seconds_and_a_year_of_minutes_are_read(tmp_path, rows, head) -> None:
    """A steady rate; the volume is the rate times the time."""
    path = tmp_path / "in.csv"
    path.write_text("\n".join([head, *(f"{i},0.000125" for i in range(rows))]))
    step, unit = (60.0, 1e-3) if "min" in head else (1.0, 1.0)
    seconds = (rows - 1) * step
    assert read_inflow(path).volume(seconds) == pytest.approx(0.000125 * unit * seconds, rel=1e-9)


def test_a_file_too_big_for_an_inflow_series_is_called_so(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr("dbox.files.readings_csv._MOST_BYTES", 1000)
    path = tmp_path / "in.csv"
    path.write_text("seconds,m3_s\n" + "0.000000,0.00000\n" * 100)
    with pytest.raises(ScenarioError, match=r"an inflow series has 1,000,000 rows") as caught:
        read_inflow(path)
    assert "scenario" not in str(caught.value)


def test_plain_numbers_and_written_ones_read_alike(tmp_path: Path) -> None:
    """The quick way of plain numbers against the way of quantities, taken for one fraction."""
    found = []
    for last in ("0.5", "1/2"):
        path = tmp_path / "in.csv"
        path.write_text(f"time (min),flow (gpm)\n0,3.25\n1.5,1e-1\n7,{last}\n")
        found.append(read_inflow(path))
    for part in ("begin", "first", "last"):
        assert getattr(found[0], part) == pytest.approx(getattr(found[1], part), rel=1e-14)


def test_inflow_faults_are_told_at_once_but_not_without_end(tmp_path: Path) -> None:
    path = tmp_path / "in.csv"
    path.write_text("seconds,m3_s\n" + "x,y\n" * 500)
    with pytest.raises(ScenarioError) as caught:
        read_inflow(path)
    assert len(caught.value.faults) == 21
    assert "980 more faults" in caught.value.faults[-1]


def test_as_many_rows_as_the_refusal_says(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr("dbox.files.readings_csv.MOST_SERIES", 3)
    path = tmp_path / "series.csv"
    path.write_text("seconds,m3_s\n0,0\n10,0.001\n20,0\n")
    assert read_inflow(path).end == 20.0
    path.write_text(path.read_text() + "30,0\n")
    with pytest.raises(ScenarioError, match=r"series.csv: has more than 3 rows"):
        read_inflow(path)


FORMULAS = ("=1+1", "=cmd|' /C calc'!A0", "+1", "@SUM(1)", "-2", " =1", "\uff1d1", "\t=1")
"""What spreadsheets take for a formula or a number (OWASP, CSV Injection: = + - @ tab, carriage
return, and their full-width forms)."""

TURNING = ("\u202egnp.exe", "a\u2066b", "bell\a", "a\x1b[2J", "a\u200fb")
"""Unicode Standard Annex 9: characters that set the direction; ASCII: that control."""


@pytest.mark.parametrize("text", [*FORMULAS, *TURNING])
def test_text_in_tables_is_harmless_and_numbers_are_numbers(tmp_path: Path, text: str) -> None:
    with pytest.warns(CellWarning, match="in the table it stands with ' in front"):
        written = csv_text(["name", text], [[text, -0.5], ["1-2", 3.0], ["O'k = 1", 1e-05]])
    rows = [*csv.reader(io.StringIO(written.removeprefix("\ufeff")))]
    assert [row[1] for row in rows[1:]] == ["-0.5", "3", "0.00001"]
    assert [row[0] for row in rows[2:]] == ["1-2", "O'k = 1"]
    for cell in (rows[0][1], rows[1][0]):
        assert cell.strip()[0] not in "=+-@\uff1d\uff0b\uff0d\uff20"
        assert not any(unicodedata.category(c) in ("Cc", "Cf") for c in cell)
    path = saved(tmp_path, f"outlet,reading (mm)\r\n{texts_written([text])[0]},-1.5\r\n")
    labels = (text, "other")
    assert with_readings(a_site(labels=labels), path).outlets[0].readings == (-0.0015,)


def test_an_unknown_unit_of_a_head_is_told_once(tmp_path: Path) -> None:
    (told,) = faults(tmp_path, "outlet,reading (furlong)\n1,3\n2,4\n")
    assert 'the unit "furlong" is not known' in told
    path = saved(tmp_path, "outlet,slow (furlong)\n1,3\n2,4\n")
    with pytest.raises(ScenarioError) as caught:
        with_catches(a_site(SLOW), path)
    assert len(caught.value.faults) == 1
