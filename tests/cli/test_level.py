"""`dbox level` as an installer types it."""

import json
from itertools import pairwise

import pytest


@pytest.mark.parametrize(
    ("name", "verdict"),
    [
        ("off-level", "adjust"),
        ("tilted-curable", "adjust"),
        ("tilted-rebed", "re-bed"),
        ("unequal-lines", "adjust"),
    ],
)
def test_shipped_scenarios_come_to_their_verdict(dbox, name, verdict):
    code, out, _ = dbox("level", name, "--json")
    assert code == 0
    assert json.loads(out)["verdict"] == verdict
    code, text, _ = dbox("level", name)
    assert verdict.upper() in text.splitlines()[1]


def test_matching_the_highest_lip_raises_all_others(dbox):
    """Common practice, no source: the hole highest over the water is the mark for the others."""
    _, out, _ = dbox("level", "tilted-curable", "--goal", "highest", "--step", "0.01", "--json")
    answer = json.loads(out)
    lips = [outlet["lip_m"] for outlet in answer["outlets"]]
    assert answer["goal_lip_m"] == max(lips)
    assert min(outlet["move_m"] for outlet in answer["outlets"]) >= 0
    for case in answer["after"]:
        shares = [outlet["share"] for outlet in case["outlets"]]
        assert max(shares) - min(shares) < 0.005


def test_still_water_stands_at_the_lowest_lip_and_rises_as_lips_are_raised(dbox):
    _, out, _ = dbox("level", "tilted-curable", "--goal", "highest", "--json")
    answer = json.loads(out)
    assert all(b >= a - 1e-12 for a, b in pairwise(answer["still_level_m"]))
    assert answer["still_level_m"][-1] == min(o["lip_after_m"] for o in answer["outlets"])


def test_turns_are_multiples_of_what_the_hand_can_do(dbox):
    _, out, _ = dbox("level", "off-level", "--step", "15", "--json")
    turns = [outlet["turn_deg"] for outlet in json.loads(out)["outlets"]]
    assert any(turns)
    assert all(abs(turn / 15 - round(turn / 15)) < 1e-9 for turn in turns)


def test_rebed_says_how_much_to_lift_which_side(dbox):
    _, out, _ = dbox("level", "tilted-rebed", "--json")
    answer = json.loads(out)
    along, across = answer["plane"]["slope_x"], answer["plane"]["slope_y"]
    # the shipped box is 16 in along and 20 in across
    assert answer["lift"]["far_end_m"] == pytest.approx(-along * 16 * 0.0254)
    assert answer["lift"]["right_side_m"] == pytest.approx(-across * 20 * 0.0254)
    _, text, _ = dbox("level", "tilted-rebed")
    assert "lift the right side by 1-1/8 in" in text


def test_unequal_lips_are_said_to_hold_for_one_flow_only(dbox):
    _, out, _ = dbox("level", "unequal-lines", "--step", "0.001", "--at", "bucket", "--json")
    answer = json.loads(out)
    bucket = next(case for case in answer["after"] if case["name"] == "bucket")
    for outlet in bucket["outlets"]:
        assert outlet["share"] == pytest.approx(outlet["target"], rel=1e-3)
    trickle = next(case for case in answer["after"] if case["name"] == "trickle")
    assert trickle["worst_over_target"] > 1.1
    assert any("one flow only" in warning for warning in answer["warnings"])


def test_an_unknown_flow_name_is_refused(dbox):
    code, out, err = dbox("level", "unequal-lines", "--at", "flood")
    assert (code, out) == (2, "")
    assert "trickle" in err
