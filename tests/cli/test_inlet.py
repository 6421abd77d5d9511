"""A straight inlet: the same answer to the same question in every command."""

import csv
import json
from pathlib import Path

import pytest

BOX = """
title = "Invented: a straight inlet"
box = {inside = ["16 in", "20 in"], inlet = "straight"}
insert = {kind = "circle", diameter = "2 in", coefficient = 0.6, offset = "1/2 in"}
readings = {spread = "0.01 mm"}
outlet = [
    {at = ["4 in", "0 in"], reading = "0 in", clock = "9:00"},
    {at = ["16 in", "10 in"], reading = "0 in", clock = "9:00"},
    {at = ["4 in", "20 in"], reading = "0 in", clock = "9:00"},
]
supply = {length = "30 ft", diameter = "4 in", fall = "2 %"}
pump = {volume = "60 gal", rate = "30 gpm", main_length = "50 ft", main_diameter = "3 in"}
flows = {dose = "40 gpm"}
tolerance = {share = "10 %", source = "invented"}
pour = [{name = "bucket", flow = "40 gpm", catch = {1 = "40 L in 60 s", 2 = "70 L in 60 s"}}]
"""
CURE = "turn the inlet's end down, or set a tee or a baffle"


@pytest.fixture
def file(tmp_path: Path) -> str:
    path = tmp_path / "box.toml"
    path.write_text(BOX)
    return str(path)


def told(dbox, *arguments: str) -> str:
    code, out, err = dbox(*arguments)
    assert (code, err) == (0, "")
    # a path is not broken
    folders = [str(Path(argument).parent) for argument in arguments if argument.startswith("/")]
    lines = [line for line in out.splitlines() if not any(f in line for f in folders)]
    assert all(len(line) <= 72 for line in lines)
    return " ".join(out.split())


def answer(dbox, *arguments: str) -> dict:
    return json.loads(told_json(dbox, *arguments))


def told_json(dbox, *arguments: str) -> str:
    code, out, err = dbox(*arguments, "--json")
    assert (code, err) == (0, "")
    return out


def test_split_and_surge_say_one_thing(dbox, file):
    said = answer(dbox, "split", file)
    (case,) = said["cases"]
    assert case["verdict"] == "outside"
    assert case["within_probability"] < 0.01
    assert case["jet_decides"] is True
    words = told(dbox, "split", file)
    assert "THE JET OF THE STRAIGHT INLET DECIDES at dose" in words
    assert "OUTSIDE 10 % of target" in words
    assert CURE in words
    down = "with the inlet's end turned down 1 33.3 %, 2 33.3 %, 3 33.3 %; worst line 100 % of its"
    assert down in words
    surge = answer(dbox, "surge", file, "--dose", "600 gal at 40 gpm")
    share = surge["outlets"][1]["share"]
    assert share > 0.5
    # the surge has the rise and the fall of the water in it
    assert case["outlets"][1]["share"] == pytest.approx(share, abs=0.005)
    about = f"gets about {100 * share:.0f} % with it and 33 % without"
    assert any(about in warning for warning in surge["warnings"])
    assert any(about in warning for warning in said["warnings"])
    assert "jet of the straight inlet" in told(dbox, "surge", file, "--dose", "60 gal at 40 gpm")


def test_level_lips_are_not_said_to_be_on_target_where_a_jet_is_not(dbox, file):
    slow = BOX.replace('dose = "40 gpm"', 'slow = "0.1 gpm", dose = "40 gpm"')
    Path(file).write_text(slow)
    words = told(dbox, "split", file)
    assert "every line gets its target" not in words
    assert "Outlet 2 gets 33." in words
    Path(file).write_text(slow.replace('"straight"', '"tee"'))
    assert "every line gets its target at every flow" in told(dbox, "split", file)


def test_a_pour_blames_no_lip_before_the_inlet_is_looked_at(dbox, file):
    first = "First look how the inlet ends, and enter inlet under [box]: the jet of a straight one"
    for end, asked in (("", True), (', inlet = "tee"', False)):
        Path(file).write_text(BOX.replace(', inlet = "straight"', end))
        assert (first in told(dbox, "pour", file)) == asked


def test_a_pumped_dose_is_thrown_by_its_main(dbox, file):
    """A full 3 in main at 30 gpm has 8.8 mm of velocity head, (Q / A)^2 / 2g."""
    pumped = answer(dbox, "surge", file, "--dose", "pump")
    poured = answer(dbox, "surge", file, "--dose", "60 gal at 30 gpm")
    assert any("adds 9 mm of head at outlet 2" in warning for warning in pumped["warnings"])
    assert pumped["outlets"][1]["share"] < poured["outlets"][1]["share"] - 0.05


def test_level_turns_nothing_and_names_the_jet(dbox, file):
    words = told(dbox, "level", file)
    assert "NOTHING TO TURN: the lips are within the tolerance, but the jet" in words
    assert CURE in words
    said = answer(dbox, "level", file)
    assert said["verdict"] == "nothing to do"
    assert said["next"]["step"] == "inlet"
    cases = [answer(dbox, "split", file)["cases"][0], said["before"][0], said["after"][0]]
    assert [case["verdict"] for case in cases] == ["outside"] * 3
    # what stands over the goal by rounding is turned nowhere
    assert [case["outlets"] for case in cases[1:]] == [cases[0]["outlets"]] * 2
    assert "with the inlet's end turned down 1 33.3 %" in words


def test_pour_holds_nothing_against_the_ruler(dbox, file):
    """The pump or the pipe may bring the water, which makes more than the error of a catch."""
    words = told(dbox, "pour", file)
    assert "CANNOT TELL: the jet of the straight inlet decides in these pours" in words
    assert "jet decides" in words
    assert "as expected" not in words
    said = answer(dbox, "pour", file)
    assert said["finding"]["verdict"] == "cannot tell"
    assert said["pours"][0]["jet_decides"] is True
    assert [outlet["stands"] for outlet in said["pours"][0]["outlets"]] == [None] * 3


def test_a_set_up_ends_at_the_inlet(dbox, file, tmp_path: Path):
    answers = tmp_path / "answers.txt"
    answers.write_text("\n0 0 0\n0 0 0\n0 0 0\n\n")
    words = told(dbox, "setup", file, "--answers", str(answers))
    assert "PASS 1: THE LIPS ARE WITHIN TOLERANCE, but the jet of the inlet decides" in words
    assert "FINISHED after 1 pass: the lips are within the tolerance, but the inlet" in words
    said = answer(dbox, "setup", file)
    assert (said["passes"][0]["conclusion"], said["outcome"]) == ("inlet", "inlet")
    # the way out that is told leads out
    assert 'write inlet = "turned down"' in words
    assert f"Left to do: {CURE};" in words
    scenario = Path(file)
    scenario.write_text(scenario.read_text().replace('"straight"', '"turned down"'))
    assert answer(dbox, "setup", file)["passes"][0]["conclusion"] == "within"


def test_a_gate_stays_open_where_the_jet_may_cure_what_the_lips_do(dbox, file):
    """A far lip that stands higher by the jet's own head is outside by the lips alone."""
    high = BOX.replace(
        'at = ["16 in", "10 in"], reading = "0 in"', 'at = ["16 in", "10 in"], reading = "39 mm"'
    )
    Path(file).write_text(high.replace('"straight"', '"tee"'))
    assert dbox("split", file, "--gate")[0] == 1
    Path(file).write_text(high)
    assert dbox("split", file, "--gate")[0] == 0


LIST = """box,outlet 1 (mm),outlet 2 (mm),outlet 3 (mm),inlet,pipe (in),main (in),spread (mm)
level,0,0,0,straight,4,,0.05
unsaid,0,0,0,,4,3,0.05
low,0,3,3,straight,3,,0.2
little,0,0.2,0.1,,,,0.3
high,0,0,8,,4,,0.2
cured,0,0,8,straight,4,,0.2
down,0,0,0,turned down,4,,0.05
"""


@pytest.mark.parametrize("box", range(7))
def test_a_list_says_what_split_says_of_each_box(dbox, tmp_path: Path, box):
    """The same box as a scenario that does not say where its outlets stand, by the same draws."""
    rows = [row.split(",") for row in LIST.splitlines()[1:]]
    name, *heights, inlet, pipe, main, spread = rows[box]
    text = f'box = {{inlet = "{inlet}"}}\n' if inlet else ""
    text += 'insert = {kind = "circle", diameter = "2 in"}\n'
    text += f'readings = {{spread = "{spread} mm"}}\n'
    outlets = [f'{{reading = "{mm} mm"}}' for mm in heights]
    text += f"outlet = [{', '.join(outlets)}]\n"
    if pipe:
        text += f'supply = {{length = "1 m", diameter = "{pipe} in", fall = "1/8 in per ft"}}\n'
    if main:
        text += f'pump = {{volume = "60 gal", rate = "30 gpm", main_diameter = "{main} in"}}\n'
    text += 'tolerance = {share = "10 %"}\nflows = {slow = "0.2 gpm", fast = "20 gpm"}\n'
    (tmp_path / "box.toml").write_text(text)
    cases = answer(dbox, "split", str(tmp_path / "box.toml"), "--samples", "400")["cases"]
    (tmp_path / "list.csv").write_text(LIST)
    out = tmp_path / "results.csv"
    options = ["--opening", "circle 2 in", "--tolerance", "10 %", "--processes", "1"]
    flows = ["--flow", "0.2 gpm", "--flow", "20 gpm"]
    told(dbox, "batch", str(tmp_path / "list.csv"), "--out", str(out), *options, *flows)
    with out.open(newline="") as file:
        found = [*csv.DictReader(file)][box]
    for case, flow in zip(cases, ("0.2 gpm", "20 gpm"), strict=True):
        assert found[f"{flow} verdict"] == case["verdict"]
        chance = case["within_probability"]
        told_chance = "" if chance is None else f"{chance:.3f}"
        assert found[f"{flow} within probability"] == told_chance
    cannot = ("level", "unsaid", "little")
    wanted = "within" if name == "down" else "cannot tell" if name in cannot else "outside"
    assert found["verdict"] == wanted


def test_an_inlet_in_a_list_is_one_of_the_words(dbox, tmp_path: Path):
    (tmp_path / "list.csv").write_text(LIST.replace("turned down", "bent"))
    out = tmp_path / "results.csv"
    options = ["--opening", "circle 2 in", "--tolerance", "10 %", "--processes", "1"]
    told(dbox, "batch", str(tmp_path / "list.csv"), "--out", str(out), *options)
    assert (
        '""bent""; use straight, turned down, tee or baffle'
        in (tmp_path / "results.bad.csv").read_text()
    )


def test_without_a_file_the_inlet_may_be_said(dbox):
    typed = ["split", "--heights", "0, 0, 0", "--opening", "circle 2 in", "--spread", "0.05 mm",
             "--tolerance", "10 %", "--flow", "20 gpm"]  # fmt: skip
    verdicts = [
        answer(dbox, *typed, *inlet)["cases"][0]["verdict"]
        for inlet in ([], ["--inlet", "straight"], ["--inlet", "turned down"])
    ]
    assert verdicts == ["cannot tell", "cannot tell", "within"]
    assert "how the inlet ends is not given" in told(dbox, *typed)
