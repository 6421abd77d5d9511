"""Every command says what it said: text exactly, numbers to 1e-9 (regression)."""

import pytest

from tests.golden.commands import commands
from tests.golden.run import KEPT, answer, differences

REPORTS = ("split", "level", "grades", "pour", "surge", "diagnose", "batch", "teach")


@pytest.mark.slow
@pytest.mark.parametrize("name", commands())
def test_the_command_says_what_it_said(name):
    assert differences((KEPT / f"{name}.txt").read_text(), answer(name)) == []


def test_a_changed_number_a_lost_key_and_a_changed_word_are_told():
    kept = 'exit 0\n--- stdout\n{"a": 1.0, "b": [1, 2]}\n--- stderr\nred\n'
    assert differences(kept, kept.replace("1.0", "1.0000000000001")) == []
    for old, new in (("1.0", "1.00001"), ('"b"', '"c"'), ("red", "rod"), ("exit 0", "exit 2")):
        assert differences(kept, kept.replace(old, new)) != []


def test_every_line_of_a_report_fits_72_columns():
    # a talk is as wide as its questions
    names = [n for n, words in commands().items() if words[0] in REPORTS and "--ask" not in words]
    outs = {n: (KEPT / f"{n}.txt").read_text().split("--- stdout\n")[1] for n in names}
    lines = [
        (name, line)
        for name, out in outs.items()
        if not out.startswith("{")
        for line in out.split("--- stderr")[0].splitlines()
    ]
    assert len(lines) > 1000
    assert [(name, line) for name, line in lines if len(line) > 72] == []
