"""Every kind of table as other programs save it: read as it was meant, or refused by its name.

The values are invented.
"""

import re
from collections.abc import Callable
from itertools import product

import pytest

from tests.cli.test_fuzz import BOX

SIDE = "côté nord"
SIDE_8, SIDE_1 = SIDE.encode(), SIDE.encode("latin-1")
SITE = BOX.replace('label = "1"', f'label = "{SIDE}"')
FULL = SITE.replace('clock = "6:00", at', 'reading = "0.125 in", clock = "6:00", at')
FALLS = """
[grades]
spread = "1/16 in"
[[grades.run]]
name = "côté"
kind = "supply pipe"
station = [{at = "0 ft", rod = "39-3/4 in"}, {at = "10 ft", rod = "41.5 in"}]
"""
SEEN = FULL.replace("reading =", 'evidence = {mouth = "full"}, reading =', 1)
ANSWERS = f"\n0,25 0,25\n1/4 1/4\n# {SIDE}\n"
POURS = """
[[pour]]
name = "slow"
flow = "5 gpm"
"""

KINDS = {
    "scenario": ({"FILE": FULL}, ("split", "FILE", "--samples", "100")),
    "rods": ({"FILE": FULL + FALLS}, ("grades", "FILE")),
    "evidence": ({"FILE": SEEN}, ("diagnose", "FILE", "--draws", "20")),
    "readings": ({"SITE": SITE, "FILE": f"outlet,reading (in)\n{SIDE},0.125\n2,0.5\n3,0\n4,1.25\n"},
                 ("level", "SITE", "--readings", "FILE", "--samples", "100")),
    "catches": ({"SITE": FULL + POURS,
                 "FILE": f"outlet,slow (L/min)\n{SIDE},4.5\n2,5.25\n3,4\n4,4.75\n"},
                ("pour", "SITE", "--catches", "FILE", "--samples", "100")),
    "inflow": ({"SITE": FULL, "FILE": "seconds,m3_s\n0,0\n10.5,0.00012\n60,0.0002\n90,0\n"},
               ("surge", "SITE", "--inflow", "FILE", "--for", "100 s")),
    "answers": ({"SITE": SITE, "FILE": ANSWERS},
                ("setup", "SITE", "--answers", "FILE")),
    "list": ({"FILE": f"box,outlet 1 (in),outlet 2 (in)\n{SIDE},0.125,0\nbarn,0.5,0.25\n"},
             ("batch", "FILE", "--out", "made.csv", "--opening", "circle 2 in", "--quick",
              "--tolerance", "10 %", "--processes", "1")),
}  # fmt: skip
"""Files, and the command that reads the one called FILE."""

WAYS: dict[str, Callable[[str], bytes]] = {
    "crlf": lambda text: text.replace("\n", "\r\n").encode(),
    "cr": lambda text: text.replace("\n", "\r").encode(),
    "bom": lambda text: text.encode("utf-8-sig"),
    "crlf bom": lambda text: text.replace("\n", "\r\n").encode("utf-8-sig"),
    "utf-16": lambda text: text.encode("utf-16"),
    "utf-16 be": lambda text: b"\xfe\xff" + text.encode("utf-16-be"),
    "utf-16 bare": lambda text: text.encode("utf-16-le"),
    "latin-1": lambda text: text.encode("latin-1"),
    "semicolons": lambda text: text.replace(",", ";").replace(".", ",").encode(),
    "tabs": lambda text: text.replace(",", "\t").replace(".", ",").encode(),
}
TABLES = ("readings", "catches", "inflow", "list")
READ = {
    *product(KINDS, ("crlf", "bom", "crlf bom")),
    *product(TABLES, ("semicolons", "tabs")),
    *product(("readings", "catches", "inflow", "answers"), ("cr",)),
    ("list", "latin-1"),
}
"""What is read, as it was meant; all else is refused by its name."""


EVERYDAY = ("readings", "answers", "list")


@pytest.mark.parametrize(
    "kind", [pytest.param(k, marks=[pytest.mark.slow] * (k not in EVERYDAY)) for k in KINDS]
)
def test_a_table_is_read_as_it_was_meant_or_refused(dbox, tmp_path, monkeypatch, kind):
    files, command = KINDS[kind]
    monkeypatch.chdir(tmp_path)

    def run(content: bytes) -> tuple[int, str, str]:
        for path in tmp_path.iterdir():
            path.unlink()
        for name, text in files.items():
            (tmp_path / name).write_bytes(content if name == "FILE" else text.encode())
        code, out, err = dbox(*command, "--json")
        for name in ("SITE.log.jsonl", "made.csv"):
            if (tmp_path / name).exists():
                # the results are parted as the list is, and a name stays as it is in it
                made = (tmp_path / name).read_bytes().replace(SIDE_1, SIDE_8).decode("utf-8-sig")
                parts = ";" if ";" in made else "\t" if "\t" in made else ""
                out += made.replace(",", ".").replace(parts, ",") if parts else made
        return code, re.sub(r"\d{4}-\d\d-\d\dT[\d:.+-]+", "", out), err

    code, plain, err = run(files["FILE"].encode())
    assert code == 0, err
    for way, saved in WAYS.items():
        if way in ("semicolons", "tabs") and kind not in TABLES:
            continue
        if saved(files["FILE"]) == files["FILE"].encode():
            continue
        code, out, err = run(saved(files["FILE"]))
        if (kind, way) in READ:
            assert code == 0, (way, err)
            assert out == plain, way
        else:
            assert code == 2, way
            assert all(line.startswith("dbox: error: FILE: ") for line in err.splitlines()), way
