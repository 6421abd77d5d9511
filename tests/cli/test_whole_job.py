"""One invented job from the plan to a complaint, as README tells it: by the commands alone.

The box is made up: where its pipes stand, and so its lips, is known here and to nobody else. A
prompt is answered by its name, and one that nobody expected fails: no number is typed twice.
"""

import io
import json
import re
import sys
from collections.abc import Callable
from math import cos, pi
from pathlib import Path
from typing import Any

import pytest

INCH = 0.0254
OFFSET = 0.5  # Hole centre from pipe centre. [in]
BOX = {
    "units": "in", "title": "Maple 12 (invented)", "outlets": "5", "alike": "",
    "hole": "circle 1-3/4", "offset": "1/2", "inside": "16 x 20",
    "place 1": "10, 0; 16, 4; 16, 10; 16, 16; 10, 20", "inlet": "turned down", "air_hole": "yes",
    "drop": "2", "pipes": "tamped gravel", "lengths": "60, 60, 50, 60, 60", "target": "equal",
    "point": "", "mark": "1/32", "spread": "1/32", "tolerance": "10 %", "source": "permit 12",
    "flows": "", "write it?": "",
}  # fmt: skip
PLAN = {
    "by": "", "benchmark": "100 ft, 30", "tank outlet": "34", "tank ground": "12",
    "supply pipe": "30 ft, 4, 1/8 in/ft", "box inlet": "", "box ground": "14", "inlet drop": "",
    "floor": "4", "lip": "1/2", "header": "10 ft, 4", "header fall": "1/8 in/ft",
    "line length": "", "trench": "24, 12, 8, 0.45 gal/ft2/day", "trench bottom": "",
    "line ground": "", "level": "4 ft", "run 1": "",
}  # fmt: skip


class Crew:
    """Who reads the lips of the box and turns its inserts, as the screen says."""

    def __init__(self) -> None:
        self.pipes = {"1": 0.0, "2": 1 / 8, "3": -1 / 16, "4": 3 / 16, "5": 1 / 16}  # [in]
        self.clocks = dict.fromkeys(self.pipes, "6:00")

    def lip(self, outlet: str) -> float:
        """Height of a lip, lowest where its hole is straight down. [in]"""
        hour, minute = map(int, self.clocks[outlet].split(":"))
        return self.pipes[outlet] - OFFSET * cos(((hour % 12 + minute / 60) / 12 - 0.5) * 2 * pi)

    def reading(self, outlet: str) -> str:
        """How far the lip is over the still water, to 1/32 in, read twice."""
        over = self.lip(outlet) - min(map(self.lip, self.pipes))
        return f"{round(over * 32)}/32 {round(over * 32)}/32"

    def answer(self, prompt: str, screen: str) -> str:
        """What to type where the box itself is asked about."""
        if found := re.fullmatch(r"outlet (\w)(?: \(same.*\))?", prompt):
            return self.reading(found[1])
        if found := re.fullmatch(r"clock of outlet (\w)", prompt):
            return self.clocks[found[1]]
        if prompt.startswith("turned?"):
            told = " ".join(screen[screen.rindex("To turn:") :].split())
            for outlet, clock in re.findall(r"(\w) from [\d:]+ to (\d+:\d\d)", told):
                self.clocks[outlet] = clock
            return ""
        if prompt.startswith(("still?", "end?")):
            return ""
        raise AssertionError(f"nobody expected to be asked: {prompt}")


class Typist:
    """Stands for the keyboard: answers the prompt that stands last on the screen."""

    def __init__(self, screen: io.StringIO, crew: Crew, answers: dict[str, str], rest: str | None):
        self.screen, self.crew, self.answers, self.rest = screen, crew, dict(answers), rest

    def readline(self, _: int = -1) -> str:
        shown = self.screen.getvalue()
        prompt = shown.rpartition("\n")[2].removesuffix(" > ")
        typed = self.answers.pop(re.sub(r"^\d+\. | \([Ee]nter: .*\)$", "", prompt), self.rest)
        typed = self.crew.answer(prompt, shown) if typed is None else typed
        print(typed, file=self.screen)
        return f"{typed}\n"


@pytest.fixture
def crew() -> Crew:
    return Crew()


@pytest.fixture
def type_at(dbox, crew, monkeypatch, tmp_path: Path) -> Callable[..., str]:
    """Run a command that asks, in an empty folder; give all words of the screen in one line.

    rest: What is typed where neither the answers nor the crew are meant.
    """
    monkeypatch.chdir(tmp_path)

    def call(answers: dict[str, str], *arguments: str, rest: str | None = None) -> str:
        screen = io.StringIO()
        typist = Typist(screen, crew, answers, rest)
        with monkeypatch.context() as during:
            during.setattr(sys, "stdin", typist)
            during.setattr(sys, "stdout", screen)
            code, _, err = dbox(*arguments)
        assert code == 0, screen.getvalue()
        assert not typist.answers, screen.getvalue()
        return " ".join((err + screen.getvalue()).split())

    return call


@pytest.fixture
def told(dbox) -> Callable[..., Any]:
    def call(*arguments: str) -> Any:
        code, out, err = dbox(*arguments, "--json")
        assert code == 0, err
        return json.loads(out)

    return call


def test_a_box_is_planned_from_an_empty_folder(type_at, told):
    """By hand: 34 in + 30 ft x 1/8 in + 2 in + 10 ft x 1/8 in = 41 in, the trench 8 in lower."""
    out = type_at({**BOX, **PLAN}, "grades", "job.toml", "--ask")
    assert "25. write it? > wrote job.toml" in out.replace(str(Path.cwd()) + "/", "")
    points = {each["name"]: each for each in told("grades", "job.toml")["plan"]["points"]}
    rods = {"box inlet": 37.75, "box outlets": 39.75, "lips, all level": 39.25,
            "header 3, end": 41.0, "trench 3, bottom": 49.0}  # fmt: skip
    assert {name: points[name]["rod_m"] / INCH for name in rods} == pytest.approx(rods)
    assert points["trench 3, bottom"]["elevation_m"] / 0.3048 == pytest.approx(102.5 - 49 / 12)
    # what was read later goes into the same file, and of the plan nothing is asked again
    runs = {"run 1": "header 2: 0 ft 39-3/4 and 39-3/4, 10 ft 41-3/4",
            "run 2": "supply pipe: blocks 1/2, 9/16 every 10 ft", "run 3": ""}  # fmt: skip
    out = type_at(runs, "grades", "job.toml", "--ask")
    assert "tank outlet >" not in out
    header, supply = told("grades", "job.toml")["runs"]
    assert header["fall_m"] == pytest.approx(2 * INCH)
    # two sticks of 10 ft, each falling 2-1/2 times its block under the 4 ft level
    assert supply["fall_m"] == pytest.approx(2.5 * (1 / 2 + 9 / 16) * INCH)
    assert "no pipe diameter" not in out


@pytest.mark.slow
def test_a_job_from_the_plan_to_a_complaint(dbox, type_at, told, crew, monkeypatch):
    """Nobody wrote in the file by hand; what is asked twice would fail as not expected."""
    printed: list[str] = []

    def words(kind: str, *options: str) -> str:
        with monkeypatch.context() as during:
            during.setattr(
                "dbox.drawings.paper.save_pages",
                lambda pages, *_, **__: printed.append(
                    " ".join(" ".join(t.get_text() for p in pages for t in p.axes[0].texts).split())
                ),
            )
            code, _, err = dbox("sheet", "job.toml", "--kind", kind, "--out", "x.pdf", *options)
        assert code == 0, err
        return printed[-1]

    type_at({**BOX, **PLAN}, "grades", "job.toml", "--ask")
    assert told("split", "job.toml")["cases"][0]["verdict"] != "within"
    form = words("field")
    assert "37-3/4 in" in form
    assert "Rule, finest mark: 1/32 in" in form
    assert "blocks under a 4 ft level" in form

    # the plan knew all but the clocks and, with the water in the box, the rim
    out = type_at({"rim": "6"}, "setup", "job.toml")
    assert out.startswith("MIND:")
    assert "FINISHED after 2 passes" in out
    highest = max(map(crew.lip, crew.pipes))
    assert [crew.lip(each) for each in crew.pipes] == pytest.approx([highest] * 5, abs=1 / 32)
    first = told("setup", "job.toml")
    assert first["passes"][-1]["split"]["cases"][2]["verdict"] == "within"

    # level lips: 1 gpm each of 5 gpm, so a gallon takes a minute
    pour = ("pour", "job.toml", "--flow", "5 gpm", "--jug", "1 gal")
    for outlet in told(*pour)["pours"][0]["outlets"]:
        assert outlet["fill_s"] == pytest.approx(60, rel=0.03)
    caught = told(*pour, "--catch", "1 62 s, others 59 s")["pours"][0]["outlets"]
    assert caught[0]["caught_m3_s"] == pytest.approx(3.785411784e-3 / 62)
    assert "Pour test 5 gpm" in words("setup")
    ties = ("--tie", "SE corner; 36 ft", "--tie", "oak; 27 ft; 30 ft", "--side", "left")
    assert "Where 36 ft and 27 ft meet, on the left" in words("owner", *ties)

    out = type_at({"rim": "5-3/4"}, "setup", "job.toml", "--visit", "after backfill")
    assert "THE RULE CANNOT TELL that anything moved" in out
    assert "Its pours were of the box before" in out
    assert '# 1 = "62 s"' in Path("job.toml").read_text()

    # the corner between outlets 4 and 5 sinks: a plane, down by 1/4 in at outlet 4
    for outlet, along, across in (("2", 16, 4), ("3", 16, 10), ("4", 16, 16), ("5", 10, 20)):
        crew.pipes[outlet] -= (along + across - 10) / 22 / 4
    out = type_at({"visit": "2", "rim": ""}, "setup", "job.toml")
    assert "MOVED: the box leaned toward outlet 4 by 1/4 in" in out
    season = told("setup", "job.toml")["recheck"]
    assert season["verdict"] == "box"

    crew.pipes["6"], crew.clocks["6"] = 0.0, "6:00"
    answers = {"visit": "4", "still?": "add 6 after 5 with 60 ft", "place of outlet 6": "4, 20"}
    out = type_at({**answers, "rim": ""}, "setup", "job.toml")
    assert "outlet 6 is new" in out
    added = told("setup", "job.toml")["recheck"]["flows"][2]["outlets"]
    assert added[5]["share_before"] is None
    assert [each["share_after"] for each in added] == pytest.approx([1 / 6] * 6, abs=0.02)

    type_at({"visit": "3", "rim": ""}, "setup", "job.toml")
    record = words("setup")
    for said in ("a complaint", "leaned toward outlet 4", "outlet 6 is new", "SE corner 36 ft"):
        assert said in record
    words("inspection")
    seen = {"ground": "5 over the pipe", "port": "5 to the pipe, others dry"}
    out = type_at(seen, "diagnose", "job.toml", "--ask", "--draws", "60", rest="")
    for outlet in crew.pipes:
        count = crew.reading(outlet).partition("/")[0]
        read = "0 in" if count == "0" else f"{count}/32 in"
        assert f"{outlet} {read} and {read}" in out
    assert "wrote job-seen.toml" in out
    assert "DO NEXT" in out
