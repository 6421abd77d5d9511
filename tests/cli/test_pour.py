"""`dbox pour` and the tables that go with it, as an installer types them."""

import json

import pytest

LPM = 1e-3 / 60


def flowed(text):
    return " ".join(text.split())


@pytest.fixture
def table(tmp_path):
    def write(name, *rows):
        path = tmp_path / f"{name}.csv"
        path.write_text("\n".join(rows) + "\n")
        return str(path)

    return write


def caught(table, *litres_per_min):
    """A table of catches for the five outlets of a shipped scenario."""
    rows = [f"{i},{q}" for i, q in enumerate(litres_per_min, start=1)]
    return table("catches", "outlet,catch (L/min)", *rows)


def test_the_finding_comes_first_with_what_to_do(dbox):
    code, out, err = dbox("pour", "pour-test")
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[1].startswith("RULER AND WATER DISAGREE at outlet 3: it is blocked by 4")
    assert "Next: look into outlet 3, wipe the lip, and pour and catch again." in out
    assert "A wrong height explains it worse (under 1 % against over 99 %)." in flowed(out)
    assert "Assumed: a timed catch is good to 5 %" in out
    assert max(map(len, lines)) <= 72


def test_before_the_pour_every_outlet_gets_its_catch_and_its_time(dbox):
    code, out, _ = dbox("pour", "off-level", "--flow", "5 gal in 60 s", "--jug", "1 qt")
    assert code == 0
    lines = out.splitlines()
    # outlet 2 was read at still water twice, every other over it
    assert "Outlet 2 starts first" in out
    assert "water stands at the lowest lip, 0 in (0.0 mm)." in flowed(out)
    (row,) = [line for line in lines if line.startswith("  5 ")]
    assert "gal" in row
    assert " s (" in row
    assert "pour longer, or catch at several at once" in flowed(out)
    assert max(map(len, lines)) <= 72


def test_the_pail_is_timed_and_the_box_filled_in_the_unit_of_the_job(dbox, tmp_path):
    """5.54 gal: 16 x 20 x 4 in are 1280 in3 of 231 to the gallon; at 5 gpm 66.5 s."""
    _, out, _ = dbox("pour", "off-level", "--flow", "5 gpm")
    assert "1 gal* full in" in out
    assert "* 1 gal is taken (common practice), since no jug is named" in flowed(out)
    assert "first takes 5.54 gal up to the bottoms of the outlet pipes, and 1.39 gal more" in (
        flowed(out))  # fmt: skip
    assert "that is 66 s at 5 gpm." in flowed(out)
    told = json.loads(dbox("pour", "off-level", "--flow", "5 gpm", "--json")[1])
    assert told["box_filling"]["volume_m3"] == pytest.approx(1280 * 0.0254**3)
    (pour,) = told["pours"]
    assert (pour["jug_m3"], pour["usual_jug_m3"]) == (None, pytest.approx(231 * 0.0254**3))
    for outlet in pour["outlets"]:
        assert outlet["fill_s"] * outlet["flow_m3_s"] == pytest.approx(pour["usual_jug_m3"])
        assert outlet["fill_low_s"] * outlet["flow_high_m3_s"] == pytest.approx(231 * 0.0254**3)
    file = tmp_path / "box.toml"
    file.write_text('units = "mm"\nbox = {inside = ["400", "500"]}\n'
                    'insert = {kind = "circle", diameter = "50"}\n'
                    'outlet = [{reading = "0"}, {reading = "30"}]\n')  # fmt: skip
    _, out, _ = dbox("pour", str(file), "--flow", "10 L/min")
    assert "5 L* full in" in out
    assert "stays dry" in out
    assert "How much water fills the box is not known: enter sump under [box]." in flowed(out)


def test_json_is_si_with_its_units_in_the_keys(dbox):
    code, out, err = dbox("pour", "pour-test", "--json")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    slow, fast = answer["pours"]
    assert fast["inflow_m3_s"] == pytest.approx(12 * 3.785411784e-3 / 120)
    assert fast["volume_m3"] == pytest.approx(12 * 3.785411784e-3)
    assert slow["volume_m3"] is None
    assert slow["outlets"][1]["caught_m3_s"] == pytest.approx(9.46352946e-4 / 45)
    assert sum(o["flow_m3_s"] for o in fast["outlets"]) == pytest.approx(fast["inflow_m3_s"])
    assert [o["stands"] for o in fast["outlets"]][2] == "below"
    assert fast["balance"]["verdict"] == "balanced"
    finding, best = answer["finding"], answer["explanations"][0]
    assert (finding["verdict"], finding["outlet"], finding["kind"]) == ("disagree", "3", "blockage")
    assert finding["probability"] == best["probability"]
    assert best["off_low"] < 0.4 < best["off_high"]
    assert len(answer["explanations"]) == 1 + 2 * 5
    assert sum(e["probability"] for e in answer["explanations"]) == pytest.approx(1)
    height = next(e for e in answer["explanations"] if e["explanation"] == "height")
    assert height["off_low_m"] < height["off_m"] < height["off_high_m"]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_catches_from_a_table_take_the_place_of_the_files(dbox, tmp_path, end):
    path = tmp_path / "catches.csv"
    rows = ("outlet;slow (s)", "1;57,5", "2;45", "3;55", "4;48", "5;78", "")
    path.write_bytes(("\ufeff" + end.join(rows)).encode())
    _, out, _ = dbox("pour", "pour-test", "--catches", str(path), "--json")
    slow, fast = json.loads(out)["pours"]
    assert slow["outlets"][0]["caught_m3_s"] == pytest.approx(9.46352946e-4 / 57.5)
    assert fast["outlets"][0]["caught_m3_s"] == pytest.approx(2.5e-3 / 30)


def test_one_flow_alone_says_that_it_cannot_tell_why_and_what_would(dbox, table):
    """Outlet 3 gives 40 % less than the others make it expect, at one flow."""
    catches = caught(table, 4.0, 4.7, 2.5, 4.3, 3.7)
    code, out, _ = dbox("pour", "pour-test", "--flow", "5 gpm", "--catches", catches)
    assert code == 0
    text = flowed(out)
    assert "DISAGREE at outlet 3" in text
    assert "CANNOT TELL why: outlet 3 is blocked" in text or "CANNOT TELL why: the lip" in text
    assert "Pour next 1." in text
    assert "what wiping changes was a deposit" in text


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    ("catches", "told"),
    [
        ((3.6, 4.3, 3.85, 3.8, 3.4), ["(invented) AGREE ("]),
        ((3.4, 4.0, 5.8, 3.6, 3.1), ["DISAGREE at outlet 3: its lip is 1/8 in", "lower than read",
                                     "Next: read outlet 3 again over still water"]),
        ((2.7, 3.2, 2.9, 2.85, 2.5), ["(invented) AGREE (", "WATER IS MISSING in 5 gpm: 4.78 L/min",
                                      "IS MISSING; look for a leak or a spill"]),
        ((5.2, 6.2, 5.6, 5.5, 4.9), ["MORE WAS CAUGHT THAN POURED in 5 gpm",
                                     "check the volumes and the times"]),
        ((3.6, 4.3, "", 3.8, 3.4), ["not caught 4 ", "outlet 3 not caught, so a leak or a spill "
                                    "would not show"]),
        ((1.1, 3.2, 3.3, 8.0, 2.7), ["(invented) NO SINGLE FAULT EXPLAINS IT"]),
    ],
    ids=["agree", "low lip", "leak", "too much", "not caught", "two faults"],
)  # fmt: skip
def test_what_the_catches_say_comes_first_in_plain_words(dbox, table, catches, told):
    """In L/min, of about 18.9 poured; by the readings 3.6, 4.3, 3.85, 3.8 and 3.4 are due."""
    file = caught(table, *catches)
    _, out, _ = dbox("pour", "pour-test", "--flow", "5 gpm", "--catches", file)
    for part in told:
        assert part in flowed(out)


def test_a_dry_outlet_is_named_as_untested(dbox, table):
    readings = table("readings", "outlet,reading (mm)", "1,0", "2,0", "3,0", "4,0", "5,20")
    catches = caught(table, 1.18, 1.18, 1.18, 1.18, "dry")
    _, out, _ = dbox("pour", "pour-test", "--flow", "1.25 gpm", "--readings", readings,
                     "--catches", catches)  # fmt: skip
    assert "Outlet 5 stays dry in these pours: what may block it does not show." in flowed(out)


def test_absurd_catches_are_refused_and_no_bug(dbox, table):
    catches = caught(table, 5e4, "dry", 1e-4, 2e4, "dry")
    code, out, err = dbox("pour", "pour-test", "--flow", "5 gpm", "--error", "0.5 %",
                          "--catches", catches)  # fmt: skip
    assert code in (0, 2)
    assert "bug" not in err
    assert "NO SINGLE FAULT" in out or "check volumes, times, labels and readings" in err


def test_the_table_to_fill_in_is_written_once(dbox, tmp_path):
    path = tmp_path / "blank.csv"
    code, out, _ = dbox("pour", "off-level", "--flow", "5 gpm", "--jug", "1 qt",
                        "--write-csv", str(path))  # fmt: skip
    assert code == 0
    assert f"wrote {path}" in out
    assert path.read_text().splitlines()[:2] == ["outlet,5 gpm (s)", "1,"]
    code, _, err = dbox("pour", "off-level", "--write-csv", str(path))
    assert code == 2
    assert "is there already and is not replaced; name another file\n" in err


def test_json_leaves_stdout_to_the_answer(dbox, tmp_path):
    path = tmp_path / "blank.csv"
    _, out, err = dbox("pour", "pour-test", "--json", "--write-csv", str(path))
    json.loads(out)
    assert f"wrote {path}" in err


def test_an_unmeasured_outlet_is_named(dbox, table):
    readings = table("readings", "outlet,reading (mm)", "1,1", "2,0", "4,1", "5,1")
    code, _, err = dbox("pour", "pour-test", "--readings", readings)
    assert code == 2
    assert "pour-test: no reading for open outlet 3" in err


def test_readings_from_a_table_serve_check_split_and_level(dbox, table):
    readings = table(
        "readings", "outlet;reading (mm);reading 2 (mm)", "1;3,2;", "2;0;0", "3;0;", "4;0;", "5;0;"
    )
    code, out, _ = dbox("check", "off-level", "--readings", readings)
    assert code == 0
    assert "in order; 5 outlets" in out
    _, out, _ = dbox("split", "off-level", "--readings", readings, "--json")
    lips = [o["lip_m"] for o in json.loads(out)["cases"][0]["outlets"]]
    assert lips == pytest.approx([0.0032, 0, 0, 0, 0])
    _, out, _ = dbox("level", "off-level", "--readings", readings, "--json")
    assert [o["lip_m"] for o in json.loads(out)["outlets"]] == pytest.approx(lips)


def test_readings_out_and_in_again_change_nothing(dbox, tmp_path):
    path = tmp_path / "readings.csv"
    code, out, _ = dbox("check", "off-level", "--write-csv", str(path))
    assert code == 0
    assert f"wrote {path}" in out
    _, own, _ = dbox("split", "off-level", "--json")
    _, back, _ = dbox("split", "off-level", "--readings", str(path), "--json")
    one, other = json.loads(own)["cases"], json.loads(back)["cases"]
    for case, again in zip(one, other, strict=True):
        shares = [o["share"] for o in case["outlets"]]
        assert [o["share"] for o in again["outlets"]] == pytest.approx(shares, rel=1e-6)


def test_a_table_of_readings_needs_a_scenario(dbox, table):
    readings = table("readings", "outlet,reading (mm)", "1,1")
    code, _, err = dbox("split", "--heights", "0, 0", "--opening", "circle 2 in",
                        "--readings", readings)  # fmt: skip
    assert code == 2
    assert "--readings needs a FILE" in err


def test_a_catch_is_kept_in_the_file_and_weighed(dbox, tmp_path):
    """Exact: 1 gal in 50 s is 1.2 gpm; the second pour of one flow has a name of its own."""
    file = tmp_path / "box.toml"
    file.write_text(
        'units = "in"  # ours\ninsert = {kind = "circle", diameter = 2}\n'
        "outlet = [{reading = 0}, {reading = 0}]\n"
    )
    pour = ("pour", str(file), "--flow", "5 gal in 120 s", "--jug", "1 gal", "--catch")
    for catch in ("50 s", "1 50 s, 2 dry"):
        assert dbox(*pour, catch, "--json")[0] == 0
    assert file.read_text().startswith('units = "in"  # ours\n')
    first, second = json.loads(dbox("pour", str(file), "--json")[1])["pours"]
    gpm = 3.785411784 * LPM
    assert [o["caught_m3_s"] / gpm for o in first["outlets"]] == pytest.approx([60 / 50] * 2)
    assert second["outlets"][1]["caught_m3_s"] == 0.0
    assert [first["name"], second["name"]] == ["5 gal in 120 s", "5 gal in 120 s, 2"]
    text = file.read_text()
    for more, said in ((["61"], "--catch pour[3].catch.1 is"), (["9 s", "--flow", "1 gpm"], "one")):
        code, out, err = dbox(*pour, *more)
        assert (code, out) == (2, "")
        assert said in err
    assert file.read_text() == text
    assert "is a shipped scenario" in dbox("pour", "pour-test", *pour[2:], "9 s")[2]
