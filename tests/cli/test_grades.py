"""`dbox grades` as an installer types it."""

import io
import json

import pytest

RUN = """
[grades]
spread = "1/1000 in"
diameter = "4.026 in"
[[grades.run]]
name = "supply pipe"
kind = "supply pipe"
station = [{at = "0 ft", rod = 60}, {at = "5 ft", rod = %s}]
[[grades.run]]
name = "header 1"
kind = "header"
outlet = "1"
station = [{at = "0 ft", rod = 63}, {at = "5 ft", rod = %s}]
"""
BOX = 'insert = {kind = "circle", diameter = "2 in"}\noutlet = [{reading = 0}, {reading = 0}]\n'


@pytest.fixture
def job(tmp_path):
    def write(supply, header):
        path = tmp_path / "job.toml"
        path.write_text('units = "in"\n' + BOX + RUN % (supply, header))
        return str(path)

    return write


def test_json_is_the_fall_in_si(dbox, job):
    code, out, err = dbox("grades", job(61, 64), "--json")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    supply, header = answer["runs"]
    assert answer["verdict"] == "within"
    assert supply["fall_m"] == pytest.approx(0.0254)
    assert supply["length_m"] == pytest.approx(1.524)
    assert supply["slope"] == pytest.approx(1 / 60)
    assert supply["limit"] == {"slope": 0.01, "source": "Minn. R. 7080.2050", "default": True}
    assert [p["verdict"] for p in header["pieces"]] == ["enough"]
    assert [f["verdict"] for f in header["flows"]] == ["steep"] * 3
    assert answer["inlet_drops"][0]["drop_m"] == pytest.approx(2 * 0.0254)


def test_what_is_wrong_comes_first(dbox, job):
    code, out, _ = dbox("grades", job("60.125", "62.5"))
    assert code == 0
    lines = out.splitlines()
    assert lines[0] == "OUTSIDE: at least one fall is wrong."
    assert lines[1].startswith("- supply pipe, 0 to 5 ft: TOO FLAT, it falls 1/8 in (3.2 mm)")
    assert "header 1, 0 to 5 ft: BACK-PITCHED, it rises 1/2 in (12.7 mm)" in out
    assert "FLATTER THAN CRITICAL at trickle (default), bucket (default)" in out.replace(
        "\n  ", " "
    )


def test_limits_are_told_with_their_sources_and_marked(dbox, job):
    _, out, _ = dbox("grades", job(61, 64))
    flowed = " ".join(out.split())
    assert "supply pipe: at least 1.00 %, 0.12 in per ft (default, Minn. R. 7080.2050)" in flowed
    assert "inlet over outlets: at least 1 in (25.4 mm) (default, 25 Pa. Code 73.42; " in flowed
    assert "29 CFR 1926.651-652" in flowed


def test_the_shipped_job_says_what_the_rod_cannot_tell(dbox):
    code, out, _ = dbox("grades", "full-job")
    assert code == 0
    flowed = " ".join(out.split())
    assert "(invented)" in flowed
    # half way from 32-1/4 to 34-3/4 in is 33-1/2 in, where the rod reads 33-15/16
    assert "supply pipe at 18 ft: sags, 7/16 in (11.1 mm) under" in flowed
    assert "supply pipe, 18 to 24 ft: the rod cannot tell" in flowed
    assert max(map(len, out.splitlines())) <= 72


def test_the_gate_is_shut_by_a_wrong_fall_only(dbox, job):
    assert dbox("grades", job("60.25", 64), "--gate")[0] == 1
    assert dbox("grades", job(61, 64), "--gate")[0] == 0
    assert dbox("grades", "full-job", "--gate")[0] == 0


def test_a_flow_that_is_typed_is_the_one_that_headers_are_held_to(dbox, job):
    _, out, _ = dbox("grades", job(61, 64), "--flow", "2 gpm", "--json")
    flows = json.loads(out)["runs"][1]["flows"]
    assert [flow["name"] for flow in flows] == ["2 gpm"]
    assert flows[0]["flow_m3_s"] == pytest.approx(3.785411784e-3 / 60)


@pytest.mark.parametrize(
    ("supply", "said"),
    [
        (64, "inlet over outlet 1: BELOW it by 1 in (25.4 mm)"),
        ("62.5", "inlet over outlet 1: TOO SMALL a drop, 1/2 in (12.7 mm); 1 in (25.4 mm) is "
         "wanted"),
    ],
)  # fmt: skip
def test_an_inlet_that_is_too_low_is_told(dbox, job, supply, said):
    """Exact: the header's mouth reads 63 in on the rod, the inlet's what is given."""
    _, out, _ = dbox("grades", job(supply, 66))
    assert said in " ".join(out.split())


PLAN = """
units = "in"
box = {inside = ["16 in", "20 in"], inlet_drop = "2 in", sump = "4 in"}
insert = {kind = "circle", diameter = "2 in", header_fall = "1/8 in/ft"}
supply = {length = "30 ft", diameter = "4 in", fall = "1/8 in/ft"}
header = {length = "8 ft", diameter = "4 in"}
outlet = [{label = "1"}, {label = "2"}]
tolerance = {share = "10 %"}
plan = {tank_outlet = "TANK in", box_inlet = "33-1/2 in", tank_ground = "10 in"}
"""


@pytest.fixture
def plan(tmp_path):
    def write(tank_outlet):
        path = tmp_path / "plan.toml"
        path.write_text(PLAN.replace("TANK", tank_outlet))
        return str(path)

    return write


def test_a_plan_tells_what_the_rod_is_to_read(dbox, plan):
    """By hand: 33-1/2 in, 2 in lower, 1 in lower; 3-3/4 in are wanted of the 4-1/2 in there are."""
    code, out, _ = dbox("grades", plan("29"))
    assert code == 0
    assert max(map(len, out.splitlines())) <= 72
    rows = {row[:28].strip(): row[28:].split() for row in out.splitlines() if row.startswith("  ")}
    assert out.startswith("PLANNED, NO FALL MEASURED")
    assert rows["tank outlet (given)"][:4] == ["29", "in", "736.6", "mm"]
    assert rows["box outlets"][:2] == ["35-1/2", "in"]
    assert rows["header 2, end"][:2] == ["36-1/2", "in"]
    flowed = " ".join(out.split())
    # 4-1/2 in of 30 ft is 1.25 %; a block of 0.6 in under 4 ft, 5/8 in rounded up
    assert "supply pipe 30 ft 4-1/2 in 1.25 % 5/8 in 3/4 in" in flowed
    assert "least of a supply pipe 1.00 % 1/2 in" in flowed
    assert "Have buried utilities marked" in flowed
    assert "29 CFR 1926.651-652" in flowed


def test_a_plan_for_machines(dbox, plan):
    answer = json.loads(dbox("grades", plan("29"), "--json")[1])
    assert (answer["verdict"], answer["runs"]) == ("planned", [])
    points = {point["name"]: point for point in answer["plan"]["points"]}
    assert points["header 1, end"]["rod_m"] == pytest.approx(36.5 * 0.0254)
    assert points["tank outlet"]["cover_m"] == pytest.approx(15 * 0.0254)
    supply = answer["plan"]["stretches"][0]
    assert supply["left_m"] == pytest.approx(0.75 * 0.0254)
    assert supply["block_m"] == pytest.approx(0.6 * 0.0254)


@pytest.mark.parametrize("command", ["grades", "check", "sheet"])
def test_water_up_a_hill_is_an_error(dbox, plan, tmp_path, command):
    more = ("--kind", "field", "--out", str(tmp_path / "f.pdf")) if command == "sheet" else ()
    code, out, err = dbox(command, plan("34"), *more)
    assert (code, out) == (2, "")
    assert "water would have to run uphill: supply pipe, by 1/2 in (12.7 mm)" in err


def test_the_gate_is_shut_by_a_plan_that_is_short(dbox, plan):
    assert dbox("grades", plan("33"), "--gate")[0] == 1
    assert dbox("grades", plan("29"), "--gate")[0] == 0


def test_a_planned_box_says_so_first_everywhere(dbox, plan):
    path = plan("29")
    for command in (("split", path), ("surge", path, "--dose", "5 gal at 5 gpm")):
        assert dbox(*command)[1].lstrip().startswith("PLANNED, NOTHING MEASURED")
        assert json.loads(dbox(*command, "--json")[1])["planned"]
    assert "NO VERDICT" in dbox("split", path)[1]
    assert "no outlet is read yet" in dbox("level", path)[2]


ANSWERS = """

29 in
10 in
30 ft, 4 in
30 ft, 4 in, 1/8 in/ft
33-1/2 in

2 in, 3 in
2 in
4 in
undo
4 in

8 ft, 4 in
1/8 in/ft
60 ft
24 in, 12 in, 8 in, 0.45 gal/ft2/day
2 47 in
2 20 in and 22 in, others 21 in

"""


def test_a_plan_is_asked_for_and_written_beside_the_scenario(dbox, tmp_path, monkeypatch):
    """By hand: the trench's pipe lies 8 in over 47 in, so header 2 ends at 39 in."""
    monkeypatch.chdir(tmp_path)
    text = 'insert = {kind = "circle", diameter = "2 in"}\noutlet = [{}, {}]\n'
    (tmp_path / "job.toml").write_text(text)
    typed = io.TextIOWrapper(io.BytesIO(ANSWERS.encode()))
    monkeypatch.setattr("sys.stdin", typed)
    code, out, err = dbox("grades", "job.toml", "--ask", "--json")
    assert code == 0
    asked = " ".join(err.split())
    assert "write length, diameter, fall, with commas between" in asked
    assert "write inlet drop alone, as 2 in" in asked
    points = {point["name"]: point for point in json.loads(out)["plan"]["points"]}
    assert points["header 2, end"]["rod_m"] == pytest.approx(39 * 0.0254)
    assert points["trench 1, bottom"]["depth_m"] == pytest.approx((36.5 + 8 - 21) * 0.0254)
    assert points["trench 2, far end"]["depth_m"] == pytest.approx((47 - 22) * 0.0254)
    assert (tmp_path / "job.toml").read_text() == text
    assert dbox("grades", "job-plan.toml", "--json")[1] == out
    assert dbox("split", "job-plan.toml")[1].startswith("PLANNED")


def test_nothing_is_drawn_of_a_plan_alone(dbox, plan, tmp_path):
    code, out, err = dbox("grades", plan("29"), "--picture", str(tmp_path / "p.png"))
    assert (code, out) == (2, "")
    assert "dbox sheet FILE --kind field" in err


def test_blocks_are_read_like_rods(dbox, job):
    path = job(61, 64)
    with open(path, encoding="utf-8") as file:
        text = file.read()
    with open(path, "w", encoding="utf-8") as file:
        file.write(
            text.replace('station = [{at = "0 ft", rod = 60}, {at = "5 ft", rod = 61}]',
                         'level = "4 ft"\nblocks = ["3/4 in", "3/4 in"]')
        )  # fmt: skip
    run = json.loads(dbox("grades", path, "--json")[1])["runs"][0]
    assert run["method"] == "level and block"
    assert run["fall_m"] == pytest.approx(1.5 * 0.0254)
    # 2 blocks of 1/32 in and 8 ft of a level that errs by 0.5 mm per m
    assert run["error_m"] == pytest.approx((2 * (0.0254 / 32) ** 2 + (8 * 0.1524e-3) ** 2) ** 0.5)
    out = " ".join(dbox("grades", path)[1].split())
    assert "by blocks under a 4 ft level" in out
    assert "1/4 in per ft 2.08 % 1 in" in out


def test_a_belly_keeps_the_water_that_cannot_get_over_its_lower_end(dbox, job):
    """Exact: down 2 in, up 1 in: 1-1/2 in under the chord, 1 in of water, 1 in of fall in all."""
    path = job(61, 64)
    with open(path, encoding="utf-8") as file:
        text = file.read()
    stations = '{at = "5 ft", rod = 62}, {at = "10 ft", rod = 61}'
    with open(path, "w", encoding="utf-8") as file:
        file.write(text.replace('{at = "5 ft", rod = 61}', stations))
    out = " ".join(dbox("grades", path)[1].split())
    assert "supply pipe, 5 to 10 ft: BACK-PITCHED, it rises 1 in (25.4 mm)" in out
    assert "supply pipe as a whole: TOO FLAT, it falls 1 in (25.4 mm)" in out
    assert "supply pipe at 5 ft: BELLY, 1-1/2 in (38.1 mm) under" in out
    assert "water 1 in (25.4 mm) deep stays in it" in out
