"""Every command over every kind of file, damaged: told in form with 0, 1 or 2, soon and quietly.

Each case is drawn from its number alone, so that one which breaks something can be made again:
`one_case(samples, folder, 417)`. The good files are invented.
"""

import json
import random
import re
import time
from collections.abc import Callable
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import pytest
from typer.main import get_command

from dbox_cli.main import app, run
from tests.files.damage import JUNK_LINES, JUNK_VALUES, SCENARIOS

EVERYDAY = 300
LONGER = 10_000
SLOWEST = 10.0

BOX = """
title = "Four lines (invented)"
units = "in"
box = {inside = ["16 in", "20 in"], inlet = "turned down", sump = "4 in"}
insert = {kind = "circle", diameter = "1-3/4", offset = "1/2"}
readings = {spread = "1/32", mark = "1/16"}
outlet = [
    {label = "1", clock = "6:00", at = [4, 0]}, {label = "2", clock = "6:00", at = [12, 0]},
    {label = "3", clock = "6:00", at = [12, 20]}, {label = "4", clock = "6:00", at = [4, 20]},
]
tolerance = {share = "10 %", source = "permit (invented)"}
"""
ANSWERS = "\n0 0\n1/4 1/4\n0 0\n0 0\n\n\n0 0\n1/16 1/16\n0 0\n0 0\n\n"
QUESTIONS = (Path(__file__).parents[1] / "golden" / "odd" / "questions.txt").read_text()
LIST = """box,outlet 1 (in),outlet 2 (in),outlet 3 (in),clock 1,clock 2,clock 3,opening,offset (in)
invented 1,5/32,3/16,0,6:30,5:00,5:45,circle 2 in,1/2
invented 2,1/16,-1/16,none,6:30,5:15,,notch 60 deg,
invented 3,0,1/8,1/4,6:45,6:00,6:00,circle 1-3/4 in,3/8
"""
INFLOW = "seconds,m3_s\n0,0\n10,0.0001\n60,0.0002\n120,0\n"
READINGS = "outlet,reading (in)\n1,1/8 3/16\n2,0\n3,1/16\n4,0\n5,1/32\n"
CATCHES = "outlet,slow (L/min),fast (L/min)\n1,1,5\n2,1.26,5\n3,0.58,2.8\n4,1.2,4.8\n5,0.7,4.6\n"
JUNK_CELLS = (
    "", " ", ";", ",", '"', "nan", "inf", "-inf", "1e308", "-1e308", "1e-320", "9" * 400, "1/0",
    "\x00", "\u202e", "\u00a0", "½", "１", "−1", "0,5", "=1+1", "-", "none", "capped", "x" * 5000,
    "TRUE", "1e5", "-5", "10 %", "5 gpm", "3 mm", "6:00", "25:00", "0", "box", "outlet", "'",
)  # fmt: skip
ODD_VALUES = (
    '"1/4 in"', '"-1/4 in"', '"0.001 in"', '"200 in"', '"3 ft"', '"0.0001 gpm"', '"3000 gpm"',
    '"1 gal in 1000 s"', '"7:30"', '"12:00"', '"45 deg"', '"179 deg"', '"0.01 %"', '"99 %"',
    '"8 h"',
    '"straight"', '"tee"', '"round"', '"capped"', '"unknown"', '"notch"', '"slot"', '"top"',
    "[1, 2]", "0", "1", "4", "1e-6", "0.02", "60", "true", "false", '"none"', '"wet"', '"5 gal"',
)  # fmt: skip
"""What may well be typed for some key, though hardly for every one."""

JUNK_JSON = (
    None, True, False, 0, -1, 1, 3, 1e308, -1e308, 1e-320, 10**400, 0.5, "", "1", "9", "nan",
    "\x00", "x" * 3000, "\ud800", [], [[]], [1e9], ["1"], [0.001, 0.002, 0.003], {}, {"": None},
    {"1": 0.1},
    "begun", "read", "still", "turned", "told", "closed", "undone", "carried", "Circle", "unknown",
)  # fmt: skip
WORDS = {
    "--flow": ("5 gal in 40 s", "0.5 gpm"), "--seed": ("3",), "--samples": ("150",),
    "--at": ("trickle",), "--step": ("5",), "--spread": ("1/16 in",), "--tolerance": ("10 %",),
    "--opening": ("circle 2 in", "notch 90 deg"), "--heights": ("1/8, 0, -1/16",),
    "--coefficient": ("0.6",), "--units": ("mm",), "--jug": ("1 qt",), "--error": ("5 %",),
    "--event": ("toilet",), "--dose": ("2 gal at 5 gpm",), "--volume": ("1 gal",),
    "--for": ("60 s",),
    "--people": ("4",), "--settling": ("1/4 in",), "--most": ("1/4 in",), "--outlets": ("3",),
    "--outlet": ("2",), "--draws": ("20",), "--visit": ("later",), "--offset": ("1/2 in",),
    "--toward": ("left",), "--goal": ("highest",), "--inlet": ("tee",), "--pipe": ("4 in",),
    "--main": ("2 in",), "--ignore": ("opening",), "--gate": (), "--json": (), "--contrast": (),
    "--quick": (), "--shares": (), "--day": (),
}  # fmt: skip
"""Options, each with values that can be."""

SCENARIO_COMMANDS = (
    *[("check", "FILE")] * 10, *[("split", "FILE", "--samples", "100")] * 3,
    ("level", "FILE", "--samples", "100"), ("grades", "FILE"), ("pour", "FILE", "--samples", "100"),
    ("surge", "FILE", "--event", "toilet", "--for", "60 s"), ("surge", "FILE", "--contrast"),
    ("diagnose", "FILE", "--draws", "20"), ("teach", "sweep", "FILE"), ("setup", "FILE", "--json"),
    ("teach", "compare", "FILE"), ("check", "FILE", "--write-csv", "made.csv"),
)  # fmt: skip
RARE_COMMANDS = (
    ("split", "FILE", "--picture", "made.svg"), ("level", "FILE", "--picture", "made.png"),
    ("sheet", "FILE", "--kind", "field", "--out", "made.pdf"),
    ("sheet", "FILE", "--kind", "setup", "--out", "made.pdf"),
    ("sheet", "FILE", "--kind", "inspection", "--out", "made.pdf"),
    ("sheet", "FILE", "--kind", "owner", "--out", "made.pdf"),
    ("teach", "live", "FILE", "--out", "made.html"),
    ("surge", "FILE", "--event", "sink", "--out", "made.png"),
)  # fmt: skip
BATCH = ("batch", "LIST", "--out", "made.csv", "--quick", "--processes", "1", "--tolerance", "10 %")
KINDS = {
    "scenario": (16, SCENARIO_COMMANDS),
    "rare": (1, RARE_COMMANDS),
    "list": (4, (BATCH, BATCH, (*BATCH[:4], *BATCH[5:], "--samples", "50"))),
    "state": (3, (BATCH,)),
    "log": (2, (("setup", "BOX", "--json"), ("setup", "BOX", "--answers", "ANSWERS"),
                ("setup", "BOX", "--json", "--write-after"))),
    "answers": (1, (("setup", "BOX", "--answers", "ANSWERS"),
                    ("setup", "new.toml", "--answers", "QUESTIONS"))),
    "inflow": (3, (("surge", "off-level", "--inflow", "INFLOW", "--for", "200 s"),)),
    "readings": (5, (("check", "off-level", "--readings", "READINGS"),)),
    "catches": (1, (("pour", "pour-test", "--catches", "CATCHES", "--samples", "100"),)),
    "words": (5, (("split", "off-level"), ("split",), ("level", "off-level"),
                  ("pour", "pour-test"), ("surge", "off-level"), ("teach", "sweep"),
                  ("teach", "compare"), ("teach", "case", "--seed", "1"), ("grades", "full-job"),
                  ("setup", "BOX", "--json"), BATCH, ("check", "off-level"),
                  ("diagnose", "wet-line"))),
}  # fmt: skip
"""What is damaged: how often, and the commands that read it."""


@dataclass(frozen=True)
class Case:
    """One run."""

    number: int
    kind: str
    words: list[str]
    code: object
    out: str
    err: str
    seconds: float


def damaged_lines(lines: list[str], draw: random.Random, cells: str) -> None:
    """Do one thing to the lines of a file; `cells`: what parts its values."""
    place = draw.randrange(len(lines))
    what = draw.randrange(8)
    if what == 0 and len(lines) > 1:
        del lines[place]
    elif what == 1:
        lines.insert(place, lines[place])
    elif what == 2:
        lines.insert(draw.randrange(len(lines)), lines.pop(place))
    elif what == 3:
        lines.insert(place, draw.choice((*JUNK_CELLS, *JUNK_LINES)))
    elif cells == "=":
        key, _, value = lines[place].partition("=")
        cut = draw.randrange(1, 3) * (draw.random() < 0.1)
        lines[place] = (
            f"{key[cut:]}= {draw.choice((JUNK_VALUES, ODD_VALUES)[draw.random() < 0.6])}"
            if value
            else lines[place][cut:]
        )
    else:
        parts = re.split(f"({cells})", lines[place])
        parts[draw.randrange(len(parts))] = draw.choice((*JUNK_CELLS, *JUNK_VALUES))
        lines[place] = "".join(parts)


def rewritten(text: str, draw: random.Random) -> bytes:
    """The text as another program would have saved it."""
    ways: tuple[Callable[[], bytes], ...] = (
        lambda: text.replace("\n", "\r\n").encode(),
        lambda: text.encode("utf-8-sig"),
        lambda: text.encode("utf-16"),
        lambda: text.encode("latin-1", "replace"),
        lambda: text.replace("\n", "\r").encode(),
        lambda: text.replace(",", ";").replace(".", ",").encode(),
        lambda: text.rstrip("\n").encode(),
    )
    return draw.choice(ways)()


def damaged_bytes(content: bytearray, draw: random.Random) -> None:
    """Flip bytes, cut short, cut out."""
    what, place = draw.randrange(3), draw.randrange(len(content))
    if what == 0:
        for _ in range(draw.randrange(1, 5)):
            content[draw.randrange(len(content))] = draw.randrange(256)
    elif what == 1:
        del content[place:]
    else:
        del content[place : place + draw.randrange(1, 80)]


def damaged_json(line: str, draw: random.Random) -> str:
    """A line of JSON with one value in it replaced, taken out or moved; as it was where none is."""
    try:
        whole = json.loads(line)
    except ValueError:
        return line
    place, key = {"": whole}, ""
    while isinstance(place[key], dict | list) and place[key] and (not key or draw.random() < 0.7):
        place = place[key]
        key = draw.choice([*(place if isinstance(place, dict) else range(len(place)))])
    if draw.random() < 0.3:
        del place[key]
    else:
        place[key] = draw.choice(JUNK_JSON)
    return json.dumps(whole)


def damaged_log(content: bytes, draw: random.Random) -> bytes:
    """Lines of JSON with values that cannot be; some without the numbers of the lines."""
    lines = content.decode().splitlines()
    if draw.random() < 0.7:
        lines = [re.sub(r'^{"n": \d+, ', "{", line) for line in lines]
    for _ in range(draw.randrange(1, 3)):
        place = draw.randrange(len(lines))
        lines[place] = damaged_json(lines[place], draw)
    if draw.random() < 0.3:
        damaged_lines(lines, draw, ", |: ")
    return "\n".join([*lines, ""]).encode()


def damaged(content: bytes, draw: random.Random, cells: str) -> bytes:
    """A file with one to three things done to it."""
    text = content.decode("utf-8", "replace")
    lines = text.split("\n")
    for _ in range(draw.choice((0, 1, 1, 1, 2, 3))):
        damaged_lines(lines, draw, cells)
    text = "\n".join(lines)
    hurt = bytearray(rewritten(text, draw) if draw.random() < 0.2 else text.encode())
    if hurt and (draw.random() < 0.2 or hurt == content):
        damaged_bytes(hurt, draw)
    return bytes(hurt)


OPTIONS = {
    f"{name} {sub}".strip(): [o for param in command.params for o in param.opts if o in WORDS]
    for name, group in get_command(app).commands.items()
    for sub, command in (getattr(group, "commands", None) or {"": group}).items()
}
"""The options of each command that have a value in `WORDS`."""


def damaged_words(words: tuple[str, ...], draw: random.Random) -> list[str]:
    """A command with one to three options more, some with nonsense; now and then of another."""
    said, own = [*words], OPTIONS[" ".join(words[: 1 + (words[0] == "teach")])]
    for _ in range(draw.randrange(1, 4)):
        option = draw.choice(own if draw.random() < 0.95 else sorted(WORDS))
        good = WORDS[option]
        junk = (*JUNK_CELLS, *(value.strip('"') for value in JUNK_VALUES))
        value = [draw.choice(good if draw.random() < 0.4 else junk)] if good else []
        said += [option, *(each.replace("\x00", "") for each in value)]
    return said


def called(words: list[str]) -> tuple[object, str, str, float]:
    """Run a command in this process; its exit code, streams and time. [s]"""
    out, err, begin = StringIO(), StringIO(), time.process_time()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        patch.setattr("sys.argv", ["dbox", *words])
        with pytest.raises(SystemExit) as stop:
            run()
    return stop.value.code, out.getvalue(), err.getvalue(), time.process_time() - begin


@pytest.fixture(scope="module")
def samples(tmp_path_factory) -> dict[str, bytes]:
    """Good files, those that the tool makes too, by name."""
    folder = tmp_path_factory.mktemp("good")
    good = {"BOX": BOX, "ANSWERS": ANSWERS, "QUESTIONS": QUESTIONS, "LIST": LIST,
            "INFLOW": INFLOW, "READINGS": READINGS, "CATCHES": CATCHES}  # fmt: skip
    for name, text in good.items():
        (folder / name).write_text(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert called(["setup", "BOX", "--answers", "ANSWERS"])[0] in (None, 0)
        # killed at its end, a run leaves how far it has come
        patch.setattr("dbox.files.list_run.Progress.put_in_place", lambda *_, **__: 1 / 0)
        assert called([*BATCH])[0] == 70
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def one_case(samples: dict[str, bytes], folder: Path, number: int) -> Case:
    """Draw a case from its number, and run it in a folder."""
    draw = random.Random(number)
    kind = draw.choices([*KINDS], [often for often, _ in KINDS.values()])[0]
    words = list(draw.choice(KINDS[kind][1]))
    for path in folder.iterdir():
        path.unlink()
    named = {"LIST", "BOX", "ANSWERS", "QUESTIONS", "INFLOW", "READINGS", "CATCHES"} & {*words}
    needed = {name: samples[name] for name in named}
    if kind in ("scenario", "rare"):
        scenario = draw.choice(sorted(SCENARIOS.glob("*.toml")))
        needed["FILE"] = damaged(scenario.read_bytes(), draw, "=")
    elif kind == "state":
        made = sorted(name for name in samples if name.startswith("made."))
        needed |= {name: samples[name] for name in made}
        hurt = draw.choice(made)
        as_lines = hurt.endswith(".state") and draw.random() < 0.7
        ways = (damaged_log, samples[hurt], draw), (damaged, samples[hurt], draw, ",|:")
        way, *about = ways[not as_lines]
        needed[hurt] = way(*about)
    elif kind == "log":
        log = samples["BOX.log.jsonl"]
        hurt = draw.random() < 0.8
        needed["BOX.log.jsonl"] = damaged_log(log, draw) if hurt else damaged(log, draw, ", |: ")
    elif kind == "words":
        words = damaged_words(tuple(words), draw)
    else:
        hurt = next(iter({"LIST", "ANSWERS", "QUESTIONS", "INFLOW", "READINGS", "CATCHES"} & named))
        needed[hurt] = damaged(samples[hurt], draw, ",| ")
    for name, content in needed.items():
        (folder / name).write_bytes(content)
    return Case(number, kind, words, *called(words))


LIBRARIES = re.compile(r"Input should|Value error|validation error|Traceback|<class|Error\(")
"""Words of the libraries beneath, which are no words for a person."""


def told_in_form(case: Case) -> bool:
    """Each line of stderr says where, what and the mend, or is a note or what was written."""
    if LIBRARIES.search(case.err):
        return False
    lines = case.err.splitlines()
    talk = ("wrote ", "dbox: warning: ", "dbox: note: ")
    errors = [line for line in lines if not line.startswith(talk)]
    return (case.code == 2) == bool(errors) and all(
        re.match(r"dbox: error: \S.*\S[;,?:] \S", line) and line.isprintable() for line in errors
    )


def is_well(case: Case) -> bool:
    return case.code in (None, 0, 1, 2) and told_in_form(case) and case.seconds < SLOWEST


@pytest.mark.parametrize("count", [EVERYDAY, pytest.param(LONGER, marks=pytest.mark.slow)])
def test_no_damaged_file_or_word_breaks_a_command(samples, tmp_path, monkeypatch, count):
    """Exact: exit codes 0, 1 and 2 only, each fault told in form, no warning, none over 10 s."""
    folder = tmp_path / "case"
    folder.mkdir()
    monkeypatch.chdir(folder)
    broken = [
        (case.number, case.kind, case.words, case.code, case.err, case.seconds)
        for case in (one_case(samples, folder, number) for number in range(count))
        if not is_well(case)
    ]
    assert broken == []
