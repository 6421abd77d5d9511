"""The table of faults follows the code: each line it changes is still there, once."""

import pytest

from tests.mutants.table import Mutant, mutants
from tests.test_house import ROOT


@pytest.mark.parametrize("file", sorted({mutant.file for mutant in mutants()}))
def test_each_fault_of_a_file_can_be_planted(file):
    text = (ROOT / file).read_text().splitlines()
    for mutant in (each for each in mutants() if each.file == file):
        planted = mutant.planted("\n".join(text)).splitlines()
        changed = [(old, new) for old, new in zip(text, planted, strict=True) if old != new]
        assert [(old.strip(), new.strip()) for old, new in changed] == [(mutant.old, mutant.new)]


@pytest.mark.parametrize("text", ["", "a = 1\nb = 2\na = 1\n", "    aa = 1\n"])
def test_a_line_that_is_not_there_once_is_refused(text):
    with pytest.raises(ValueError, match="not once: a = 1"):
        Mutant(file="x.py", old="a = 1", new="a = 2", why="").planted(text)
