"""What cannot be answered exits with 2, names what is wrong, and writes and prints nothing."""

from shlex import split

import pytest

ASKED = """
split                                               | name a FILE
split --heights '0, 0'                              | --opening
split off-level --heights '0, 0'                    | --heights
split no-such-scenario                              | no-such-scenario
split --heights 0 --opening 'circle 2 in' --units furlong | --units is "furlong"; write in, mm or cm
grades off-level                                    | off-level: no rod readings and no plan
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
surge family-of-four --volume '5 gal'               | --volume means nothing with --day; leave
surge family-of-four --day --toward left            | --toward means nothing without --settling
surge family-of-four --event toilet --seed 0        | --seed means nothing with --event
sheet off-level --kind field --out a.pdf --step 5   | --step means nothing with --kind field
sheet off-level --kind owner --out a.pdf --seed 1   | --seed means nothing with --kind owner
sheet --outlets 3 --kind field --out a.pdf --flow 5 | --flow means nothing without FILE
batch forty-boxes --out r.csv --quick --samples 400 | --samples means nothing with --quick
batch forty-boxes --out r.csv --overwrite           | --overwrite means nothing without --picture
level off-level --step 400                          | --step is "400"; write 45
level off-level --step inf                          | --step is "inf"; write 45
level off-level --step nan                          | --step is "nan"; write
level off-level --at noon                           | --at is "noon", no flow here; use trickle
level off-level --goal lowest                       | --goal is "lowest"; write least-turning or
grades full-job --gat                               | --gat is no option of dbox grades; did you
grades full-job twice                               | twice is more than dbox grades takes
grades full-job --flow                              | --flow has no value; write one after it
level off-level --gate=1                            | --gate takes no value; leave out
level off-level --seed 1.5                          | --seed is "1.5"; write a whole number
grades                                              | grades: FILE is missing; dbox grades --help
leval off-level                                     | "leval" is no command of dbox; did you mean
teach sweep --opening circle                        | --opening
teach sweep --coefficient 0.6                       | --coefficient needs --opening
teach sweep --flow 5                                | --flow
teach sweep --tolerance '200 %'                     | --tolerance
teach sweep --most 0                                | --most
teach sweep --most -1/8                             | above 0
teach sweep off-level --outlets 3                   | --outlets
teach sweep no-such-file                            | no-such-file
split no-such-file.toml                             | dbox new FILE starts one
grades off-level                                    | dbox grades FILE --ask asks for them
teach sweep --csv table.txt                         | table.txt
teach sweep --picture sweep.gif                     | sweep.gif
teach compare --opening 'hole 2 in'                 | --opening
teach compare --error 0                             | --error
teach live --outlet 9                               | --outlet
teach live --outlets 21                             | --outlets is "21"; write 20 or less
teach live --out page.txt                           | page.txt
teach handout --out page.txt                        | page.txt
teach case                                          | --seed
teach case --seed -1                                | --seed
teach case --seed 1 --out c.txt --key               | --key means nothing with --out
teach case --seed 1 --paper a4                      | --paper means nothing without --out
teach compare --spread '1/8 in'                     | --spread means nothing without --opening
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
