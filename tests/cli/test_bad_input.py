"""What cannot be answered exits with 2, names what is wrong, and writes and prints nothing."""

from shlex import split

import pytest

ASKED = """
split                                               | name a FILE
split --heights '0, 0'                              | --opening
split off-level --heights '0, 0'                    | --heights
split no-such-scenario                              | no-such-scenario
split --heights 0 --opening 'circle 2 in' --units furlong | --units is "furlong"; write in, mm or cm
grades off-level                                    | off-level: no rod readings; add [grades]
pour pour-test --flow 5                             | error: --flow is "5"; give its unit
pour pour-test --jug big                            | error: --jug is "big"
pour pour-test --error 5                            | error: --error is "5"; give its unit
pour pour-test --catches none.csv                   | error: none.csv: there is no such file
pour pour-test --readings none.csv                  | error: none.csv: there is no such file
surge family-of-four --event bidet                  | family-of-four: there is no fixture 'bidet'
surge family-of-four --dose x                       | --dose is
surge family-of-four --day --contrast               | one of them at a time
surge family-of-four --day --for '2 h'              | --for means nothing with --day
surge family-of-four --contrast --settling '1 in'   | --settling means nothing
surge off-level --day                               | add people = 4 under [house]
surge off-level --dose pump                         | has no [pump]
surge family-of-four --inflow nowhere.csv           | nowhere.csv: there is no such file
surge family-of-four --volume 5 --contrast          | --volume is
teach sweep --opening circle                        | --opening
teach sweep --coefficient 0.6                       | --coefficient needs --opening
teach sweep --flow 5                                | --flow
teach sweep --tolerance '200 %'                     | --tolerance
teach sweep --most 0                                | --most
teach sweep --most -1/8                             | above 0
teach sweep off-level --outlets 3                   | --outlets
teach sweep no-such-file                            | no-such-file
teach sweep --csv table.txt                         | table.txt
teach sweep --picture sweep.gif                     | sweep.gif
teach compare --opening 'hole 2 in'                 | --opening
teach compare --error 0                             | --error
teach live --outlet 9                               | --outlet
teach live --outlets 12                             | at most 8
teach live --out page.txt                           | page.txt
teach handout --out page.txt                        | page.txt
teach case                                          | --seed
teach case --seed -1                                | --seed
teach case --seed 1 --groups 14                     | --groups
teach case --seed 1 --out case.doc                  | case.doc
teach case --seed 1 --out no/case.txt               | no folder
"""


@pytest.mark.parametrize(
    "line", ASKED.strip().splitlines(), ids=lambda line: line.split(" |")[0].strip()
)
def test_it_exits_with_2_and_names_it(dbox, line, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    words, named = line.rsplit(" | ", 1)
    code, out, err = dbox(*split(words))
    assert (code, out) == (2, "")
    assert named in " ".join(err.split())
    assert "Traceback" not in err
    assert list(tmp_path.iterdir()) == []
