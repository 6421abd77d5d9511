"""A capped outlet in every command: it gets nothing, and the others what a box without it gives."""

import json
import re
from pathlib import Path

import pytest

SCENARIOS = Path(__file__).parents[2] / "scenarios"
EVENT = ("--event", "toilet", "--for", "20 min")


@pytest.fixture
def boxes(tmp_path: Path) -> tuple[Path, Path]:
    """The family's box with outlet 3 capped, and the same without outlet 3."""
    text = (SCENARIOS / "family-of-four.toml").read_text()
    tables = re.split(r"(?=^\[\[outlet\]\]$)", text, flags=re.MULTILINE)
    third = next(i for i, table in enumerate(tables) if 'label = "3"' in table)
    capped, without = tmp_path / "capped.toml", tmp_path / "without.toml"
    closed = re.sub(r"^reading = .*$", 'state = "capped"', tables[third], flags=re.MULTILINE)
    capped.write_text("".join([*tables[:third], closed, *tables[third + 1 :]]))
    without.write_text("".join([*tables[:third], *tables[third + 1 :]]))
    return capped, without


def outlets(answer: dict) -> dict[tuple[str, str], dict]:
    """Every outlet of a JSON answer, by the case it stands in and its label."""
    cases = answer.get("cases") or answer.get("runs") or answer.get("after") or [answer]
    return {(c.get("name", c.get("event")), o["label"]): o for c in cases for o in c["outlets"]}


@pytest.mark.parametrize(
    "command", [("split",), ("level",), ("surge", *EVENT), ("surge", "--contrast")]
)
def test_the_others_get_what_a_box_without_it_gives(dbox, boxes, command):
    answers = []
    for box in boxes:
        code, out, _ = dbox(command[0], str(box), "--json", *command[1:])
        assert code == 0
        answers.append(outlets(json.loads(out)))
    capped, without = answers
    assert {key for key in capped if key not in without} == {(case, "3") for case, _ in without}
    for (case, label), outlet in capped.items():
        share = 0.0 if label == "3" else without[case, label]["share"]
        assert outlet["share"] == pytest.approx(share, abs=1e-9)


@pytest.mark.parametrize(
    "command",
    [("split",), ("surge", *EVENT), ("surge", "--contrast"), ("diagnose",),
     ("pour", "--flow", "5 gpm")],
)  # fmt: skip
def test_its_row_says_so(dbox, boxes, command):
    code, out, _ = dbox(command[0], str(boxes[0]), *command[1:])
    assert code == 0
    rows = [line.split() for line in out.splitlines() if re.match(r"  3 .*capped", line)]
    assert rows
    assert all(set(row) <= {"3", "capped", "-"} for row in rows)
    assert max(map(len, out.splitlines())) <= 72


def test_level_gives_it_nothing_to_do(dbox, boxes):
    answer = json.loads(dbox("level", str(boxes[0]), "--json")[1])
    third = next(outlet for outlet in answer["outlets"] if outlet["label"] == "3")
    assert third["move_m"] in (0, None)
    assert "3" not in answer["order"]
    assert "outlet 3" not in dbox("level", str(boxes[0]))[1]
