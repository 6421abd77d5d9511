"""The Python example of README runs and says what it shows."""

import re
from pathlib import Path

import dbox

README = (Path(__file__).parents[1] / "README.md").read_text()


def test_the_example_runs_and_prints_what_it_shows(capsys):
    (example,) = re.findall(r"^```python\n(.*?)^```", README, re.DOTALL | re.MULTILINE)
    assert len(example.splitlines()) <= 10
    made: dict[str, object] = {}
    exec(example, made)
    shown = re.findall(r"^print\(.*\)  # (.*)$", example, re.MULTILINE)
    assert capsys.readouterr().out.splitlines() == shown


def test_an_answer_is_what_its_command_says():
    plan = dbox.level(dbox.load("tilted-rebed"), samples=200)
    assert repr(plan) in " ".join(plan.report().split())
    assert len(repr(plan).splitlines()) == 1
    assert plan.to_dict()["verdict"] == "re-bed"
