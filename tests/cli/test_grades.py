"""`dbox grades` as an installer types it."""

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
