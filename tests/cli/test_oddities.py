"""What is typed by a slip and still possible is doubted by name; what cannot be is refused."""

import json

import pytest

from dbox.fieldwork.readings import odd_notes
from dbox.files.scenario import load, shipped_names

BOX = """
title = "Slips (invented)"
box = {inside = ["16 in", "20 in"], inlet = "tee", inlet_drop = "2 in"}
insert = {kind = "circle", diameter = "2 in", offset = "1/2 in"}
readings = {spread = "1/32 in", rim = "6 in"}
record = {date = "2026-05-04"}
outlet = [{label = "1", reading = "0 in", at = ["8 in", "0 in"]}, {label = "2", reading = "1/8 in"}]
tolerance = {share = "10 %", source = "permit (invented)"}
"""

SLIPS = [
    ('reading = "1/8 in"', 'reading = "7 in"', "outlet 2: its lip reads 178 mm over still water"),
    ('diameter = "2 in", offset = "1/2 in"', 'diameter = "17 in"', "432 mm wide, more than"),
    ('offset = "1/2 in"', 'offset = "3 in"', "need a pipe of 203 mm"),
    ('["8 in", "0 in"]', '["8 in", "10 in"]', "outlet 1: it stands 203 mm from the nearest wall"),
    ('inlet_drop = "2 in"', 'inlet_drop = "-2 in"', "the inlet lies 51 mm under the outlets"),
    ('spread = "1/32 in"', 'spread = "2 in"', "one reading is said to be good to 51 mm only"),
    ("2026-05-04", "2026-02-30", 'record.date is "2026-02-30", which is no day'),
    ("2026-05-04", "some day", 'record.date is "some day", which is no day'),
]  # fmt: skip


@pytest.mark.everyday(3)
@pytest.mark.parametrize(("right", "slip", "told"), SLIPS)
def test_a_slip_is_doubted_by_name(dbox, tmp_path, right, slip, told):
    """Exact: lengths in mm are 25.4 times those in inches."""
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    assert told not in " ".join(dbox("check", str(file))[1].split())
    file.write_text(BOX.replace(right, slip))
    code, out, _ = dbox("check", str(file))
    assert (code, told in " ".join(out.split())) == (0, True)
    for command in ("split", "level", "pour"):
        code, out, _ = dbox(command, str(file), "--json")
        assert code == 0
        # a set of turns tells it with the shares before and after
        assert told in json.dumps(json.loads(out), ensure_ascii=False).replace('\\"', '"'), command


@pytest.mark.parametrize(
    ("one", "other"), [("1", "１"), ("A", "a"), ("ﬁeld", "field"), ("STRASSE", "straße")]
)
def test_labels_that_look_alike_are_refused(dbox, tmp_path, one, other):
    """Exact: they are equal in Unicode's compatibility form (NFKC) with case folded."""
    file = tmp_path / "box.toml"
    named = BOX.replace('label = "1"', f'label = "{one}"')
    file.write_text(named.replace('label = "2"', f'label = "{other}"'))
    code, _, err = dbox("check", str(file))
    assert code == 2
    assert f'outlet[2].label is "{other}", which outlet[1] has too; give each its own' in err


def test_no_shipped_scenario_is_odd():
    from dbox.files.scenario import resolve

    assert [name for name in shipped_names() if [*odd_notes(load(resolve(name)))]] == []
