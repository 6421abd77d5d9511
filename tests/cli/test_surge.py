"""`dbox surge` as its users type it."""

import json
import math
from pathlib import Path

import pytest

FAMILY = "family-of-four"
PROMISED = {
    "inflow_volume_m3", "balance_error_relative", "peak_level_m", "seconds", "outlets", "files",
    "warnings",
}  # fmt: skip
PROMISED_OF_OUTLET = {"label", "volume_m3", "share", "peak_flow_m3_s", "first_flow_s"}


def answer(dbox, *arguments: str) -> dict:
    code, out, err = dbox("surge", FAMILY, "--json", *arguments)
    assert (code, err) == (0, "")
    return json.loads(out)


@pytest.mark.everyday(2)
@pytest.mark.parametrize(
    "asked",
    [
        ("--event", "shower"), ("--day",), ("--days", "2"), ("--dose", "pump"),
        ("--dose", "siphon"), ("--dose", "60 gal at 30 gpm"),
    ],
)  # fmt: skip
def test_json_holds_what_is_promised(dbox, asked: tuple[str, ...]) -> None:
    said = answer(dbox, *asked)
    assert set(said) >= PROMISED
    assert all(set(outlet) >= PROMISED_OF_OUTLET for outlet in said["outlets"])
    assert [outlet["label"] for outlet in said["outlets"]] == list("12345")
    assert sum(outlet["share"] for outlet in said["outlets"]) == pytest.approx(1.0)
    assert said["balance_error_relative"] <= 1e-9
    passed = sum(outlet["volume_m3"] for outlet in said["outlets"])
    assert 0.8 * said["inflow_volume_m3"] < passed <= said["inflow_volume_m3"]


def test_a_dose_hides_what_a_day_shows(dbox) -> None:
    """Exact: outlet 1 stands lowest; the weaker the flow, the more it gets."""
    day, dose = (answer(dbox, *asked) for asked in (("--day",), ("--dose", "pump")))
    assert day["outlets"][0]["share"] > 2 * dose["outlets"][0]["share"]
    assert day["overloaded"] == ["1"]


def test_contrast_is_the_same_volume_at_every_flow(dbox) -> None:
    said = answer(dbox, "--contrast", "--volume", "10 gal")
    assert [run["event"] for run in said["runs"]] == ["trickle", "bucket", "dose"]
    assert [run["inflow_volume_m3"] for run in said["runs"]] == pytest.approx([0.0378541] * 3)
    low = [run["outlets"][0]["share"] for run in said["runs"]]
    assert low == sorted(low, reverse=True)
    # 42.5 % of a steady trickle through ideal holes, C 0.6, by bracketing the level over the
    # integral, as in tests/published/test_split_values.py; what runs out later adds a little
    assert low[0] == pytest.approx(0.425, abs=0.015)
    first = answer(dbox, "--contrast")["runs"][0]["outlets"][0]["share"]
    _, out, _ = dbox("surge", FAMILY, "--contrast")
    assert f"outlet 1 gets {100 * first:.0f} % of a trickle" in " ".join(out.split())


@pytest.mark.parametrize(("units", "flow"), [("in", "0.5 gpm"), ("mm", "1.89 L/min")])
def test_the_ordinary_flows_are_shown_in_the_unit_of_the_file(dbox, tmp_path, units, flow) -> None:
    file = tmp_path / "box.toml"
    file.write_text(
        f'units = "{units}"\nbox = {{inside = ["40 cm", "50 cm"]}}\n'
        'insert = {kind = "circle", diameter = "50 mm"}\noutlet = [{reading = 0}, {reading = 0}]\n'
    )
    _, out, _ = dbox("surge", str(file), "--contrast")
    (line,) = (line for line in out.splitlines() if line.startswith("  flow"))
    assert flow in line


def test_without_a_wish_it_is_a_day_or_the_contrast(dbox) -> None:
    assert dbox("surge", FAMILY)[1] == dbox("surge", FAMILY, "--day")[1]
    assert dbox("surge", "off-level")[1] == dbox("surge", "off-level", "--contrast")[1]


def test_a_level_box_is_said_to_give_every_line_its_target(dbox, tmp_path: Path) -> None:
    """Exact: equal holes at one height."""
    file = tmp_path / "level.toml"
    file.write_text(
        'box = {inside = ["16 in", "20 in"]}\ninsert = {kind = "circle", diameter = "2 in"}\n'
        'outlet = [{reading = "0 in"}, {reading = "0 in"}]\n'
        'flows = {trickle = "0.5 gpm", dose = "30 gpm"}\n'
    )
    _, out, _ = dbox("surge", str(file), "--contrast")
    assert "Every line gets its target at trickle and at dose." in " ".join(out.split())
    _, out, _ = dbox("surge", str(file), "--dose", "60 gal at 30 gpm")
    assert "Every line gets its target of" in " ".join(out.split())


def test_a_line_that_never_runs_is_said_to(dbox, tmp_path: Path) -> None:
    """Exact: its lip stands 2 in over the other, which takes a small dose alone."""
    file = tmp_path / "high.toml"
    file.write_text(
        'box = {inside = ["16 in", "20 in"]}\ninsert = {kind = "circle", diameter = "4 in"}\n'
        'outlet = [{reading = "0 in"}, {reading = "2 in"}]\n'
    )
    _, out, _ = dbox("surge", str(file), "--dose", "1 gal at 1 gpm")
    (row,) = [line.split() for line in out.splitlines() if line.startswith("  2 ")]
    assert float(row[1]) == 0.0
    assert "never" in row


def test_a_measured_inflow_enters_at_the_box(dbox, tmp_path: Path) -> None:
    path = tmp_path / "in.csv"
    path.write_text("seconds,m3_s\n0,0\n60,0.0003\n120,0\n")
    said = answer(dbox, "--inflow", str(path))
    assert said["inflow_volume_m3"] == pytest.approx(0.018)
    assert said["tank_peak_m"] is None
    assert said["event"] == "in.csv"


def test_days_tell_which_line_ponds_first_and_how_much_sooner(dbox) -> None:
    said = answer(dbox, "--days", "12")
    assert said["ponding"]["first"] == "1"
    assert said["ponding"]["first_s"] < 12 * 86400
    assert said["ponding"]["level_box_first"] is None
    _, out, _ = dbox("surge", FAMILY, "--days", "12")
    day = math.ceil(said["ponding"]["first_s"] / 86400)
    assert f", its trench is overloaded from day {day}. " in " ".join(out.split())


def test_a_settling_box_is_not_the_same(dbox) -> None:
    still = answer(dbox, "--days", "5")
    sinking = answer(dbox, "--days", "5", "--settling", "2 in", "--toward", "right")
    assert sinking["outlets"][4]["share"] > still["outlets"][4]["share"]


def test_more_people_send_more(dbox) -> None:
    few, many = (answer(dbox, "--days", "5", "--people", n) for n in ("2", "8"))
    assert many["inflow_volume_m3"] > 2 * few["inflow_volume_m3"]


@pytest.mark.parametrize(
    ("arguments", "fault"),
    [
        ((FAMILY, "--event", "bidet"), "family-of-four: there is no fixture 'bidet'"),
        ((FAMILY, "--dose", "x"), "--dose is"),
        ((FAMILY, "--day", "--contrast"), "one of them at a time"),
        ((FAMILY, "--day", "--for", "2 h"), "--for means nothing with --day"),
        ((FAMILY, "--contrast", "--settling", "1 in"), "--settling means nothing"),
        (("off-level", "--day"), "add people = 4 under [house]"),
        (("off-level", "--dose", "pump"), "has no [pump]"),
        ((FAMILY, "--inflow", "nowhere.csv"), "nowhere.csv: there is no such file"),
        ((FAMILY, "--volume", "5", "--contrast"), "--volume is"),
    ],
)
def test_bad_input_exits_with_2_and_the_mend(dbox, arguments, fault: str) -> None:
    code, out, err = dbox("surge", *arguments)
    assert code == 2
    assert out == ""
    assert fault in " ".join(err.split())


def test_a_surge_tells_the_lines_of_every_box(dbox):
    code, out, _ = dbox("surge", "first-of-two", "--dose", "pump", "--json")
    answer = json.loads(out)
    (behind,) = answer["boxes"]
    assert (code, behind["behind"]) == (0, "4")
    assert behind["inflow_volume_m3"] == pytest.approx(answer["outlets"][3]["volume_m3"], rel=1e-6)
    assert sum(line["share"] for line in answer["lines"]) == pytest.approx(1.0)
    _, out, _ = dbox("surge", "first-of-two", "--dose", "pump")
    assert "Box behind outlet 4: 15 gal" in " ".join(out.split())
    assert max(map(len, out.splitlines())) <= 72


@pytest.mark.slow
def test_flows_side_by_side_tell_the_lines_of_every_box(dbox):
    _, out, _ = dbox("surge", "first-of-two", "--contrast")
    assert "  4/A " in out
    assert max(map(len, out.splitlines())) <= 72
