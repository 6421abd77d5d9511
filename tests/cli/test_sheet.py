"""`dbox sheet`: what is written, where, and what is refused."""

import json
import re
from datetime import date
from pathlib import Path

import pytest

from dbox.files.scenario import load, resolve


@pytest.mark.slow
@pytest.mark.parametrize(("paper", "box"), [("letter", (612, 792)), ("a4", (595.28, 841.89))])
def test_pages_have_the_size_of_their_paper_and_no_date(dbox, tmp_path, paper, box):
    """Exact: 8.5 by 11 in, and 210 by 297 mm, at 72 points an inch."""
    path = tmp_path / "one.pdf"
    args = ("sheet", "off-level", "--kind", "setup", "--paper", paper, "--out", str(path))
    code, out, _ = dbox(*args)
    assert code == 0
    content = path.read_bytes()
    assert content.startswith(b"%PDF")
    assert b"CreationDate" not in content
    pages = int(re.fullmatch(rf"wrote .*: (\d+) pages on {paper} paper, from .*\n", out)[1])
    sizes = re.findall(rb"/MediaBox \[ 0 0 ([0-9.]+) ([0-9.]+) \]", content)
    assert len(sizes) == pages
    for width, height in sizes:
        assert (float(width), float(height)) == pytest.approx(box, abs=0.01)


@pytest.mark.slow
def test_a_file_that_is_there_is_left_alone_unless_told(dbox, tmp_path):
    path = tmp_path / "mine.pdf"
    path.write_text("mine")
    code, out, err = dbox("sheet", "full-job", "--kind", "field", "--out", str(path))
    assert (code, out) == (2, "")
    assert "is there already and is not replaced; name another file, or give --overwrite" in err
    assert path.read_text() == "mine"
    args = ("sheet", "full-job", "--kind", "field", "--out", str(path), "--overwrite")
    assert dbox(*args)[0] == 0
    assert path.read_bytes().startswith(b"%PDF")


@pytest.mark.slow
def test_an_inspection_is_filled_in_where_the_scenario_has_evidence(dbox, tmp_path):
    """Exact: the same file without its evidence gives the form to fill in by hand."""
    text = (Path(__file__).parents[2] / "scenarios" / "wet-line.toml").read_text()
    seen, bare = tmp_path / "seen.toml", tmp_path / "bare.toml"
    seen.write_text(text)
    table = r"^\[(outlet\.)?evidence\]\n(?:(?!\[).*\n)*"
    bare.write_text(re.sub(table, "", text, flags=re.MULTILINE))
    contents = []
    for file in (seen, bare):
        path = file.with_suffix(".pdf")
        assert dbox("sheet", str(file), "--kind", "inspection", "--out", str(path))[0] == 0
        contents.append(path.read_bytes())
    assert contents[0] != contents[1]


@pytest.mark.slow
def test_json_names_the_file(dbox, tmp_path):
    path = tmp_path / "form.pdf"
    _, out, _ = dbox("sheet", "off-level", "--kind", "field", "--out", str(path), "--json")
    answer = json.loads(out)
    assert answer == {
        "kind": "field", "paper": "letter", "pages": answer["pages"], "from": "off-level",
        "files": [str(path)], "warnings": [],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--kind", "field", "--out", "form.png"), "a sheet is a PDF file"),
        (("--kind", "field", "--out", "none/form.pdf"), "there is no folder none"),
        (("--kind", "poster", "--out", "form.pdf"), "poster"),
        (("--kind", "field", "--paper", "a5", "--out", "form.pdf"), "a5"),
        (("--kind", "setup", "--at", "flood", "--out", "form.pdf"), "flood"),
        (("--kind", "setup", "--step", "0", "--out", "form.pdf"), "--step is"),
        (("--kind", "field"), "--out"),
    ],
)
def test_what_cannot_be_done_is_told(dbox, tmp_path, monkeypatch, arguments, told):
    monkeypatch.chdir(tmp_path)
    code, _, err = dbox("sheet", "full-job", *arguments)
    assert code == 2
    assert told in err
    assert list(tmp_path.iterdir()) == []


def test_a_blank_form_needs_no_file(dbox, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = dbox("sheet", "--kind", "field", "--outlets", "6", "--out", "form.pdf")
    assert (code, out) == (0, "wrote form.pdf: 3 pages on letter paper, from 6 outlets\n")
    for given in (["full-job", "--outlets", "6"], [], ["--outlets", "0"]):
        code, _, err = dbox("sheet", *given, "--kind", "field", "--out", "no.pdf")
        assert code == 2
        assert "--outlets" in err
    assert dbox("sheet", "--kind", "setup", "--outlets", "6", "--out", "no.pdf")[0] == 2
    assert [path.name for path in tmp_path.iterdir()] == ["form.pdf"]


def test_a_record_needs_every_reading(dbox, tmp_path):
    job = tmp_path / "job.toml"
    box = 'insert = {kind = "circle", diameter = "2 in"}\n'
    job.write_text(box + 'outlet = [{reading = "0 in"}, {label = "b"}]')
    code, _, err = dbox("sheet", str(job), "--kind", "setup", "--out", str(tmp_path / "x.pdf"))
    assert code == 2
    assert "no reading for open outlet b" in err
    # a form to fill in needs none
    assert dbox("sheet", str(job), "--kind", "field", "--out", str(tmp_path / "x.pdf"))[0] == 0


@pytest.mark.slow
def test_the_goal_is_that_of_level_and_the_same_goal_gives_the_same_bytes(dbox, tmp_path):
    contents = []
    for goal in ("highest", "least-turning", "least-turning"):
        path = tmp_path / f"{len(contents)}.pdf"
        args = ("sheet", "full-job", "--kind", "setup", "--goal", goal, "--out", str(path))
        assert dbox(*args)[0] == 0
        contents.append(path.read_bytes())
    assert contents[0] != contents[1] == contents[2]


BOX = """
title = "Four lines"
insert = {kind = "circle", diameter = "2 in", offset = "1/2 in"}
readings = {spread = "1/32 in"}
outlet = [{clock = "6:00"}, {clock = "6:00"}, {clock = "6:00"}, {clock = "6:00"}]
tolerance = {share = "10 %", source = "permit 7"}
"""
FIRST_PASS = ["", "0 in 0 in", "1/4 in 1/4 in", "0 in 0 in", "0 in 0 in", ""]
SECOND_PASS = ["", *["0 in 0 in 0 in"] * 4, ""]


@pytest.fixture
def set_up(dbox, tmp_path):
    """Run a set-up of a box that holds no reading; give the path of its scenario."""
    job = tmp_path / "box.toml"
    job.write_text(BOX)

    def call(answers):
        typed = tmp_path / "answers.txt"
        typed.write_text("\n".join(answers) + "\n")
        assert dbox("setup", str(job), "--answers", str(typed))[0] == 0
        return job

    return call


def test_a_record_is_made_of_what_a_setup_has_logged(dbox, set_up, tmp_path, monkeypatch):
    printed = []

    def keep(pages, *_args, **_options):
        printed.append({text.get_text() for page in pages for text in page.axes[0].texts})

    monkeypatch.setattr("dbox.drawings.paper.save_pages", keep)
    job, out = set_up(FIRST_PASS), tmp_path / "first.pdf"
    _, words, _ = dbox("sheet", str(job), "--kind", "setup", "--out", str(out))
    assert f"from 1 pass in {job}.log.jsonl" in words
    set_up(SECOND_PASS)
    again = tmp_path / "second.pdf"
    _, words, _ = dbox("sheet", str(job), "--kind", "setup", "--out", str(again))
    assert f"from 2 passes in {job}.log.jsonl" in words
    first, second = ("\n".join(sorted(words)) for words in printed)
    assert "Pass 1, as found" in first
    assert "Pass 2" not in first
    assert "Pass 1, as found" in second
    assert "Pass 2, as left" in second
    assert date.today().isoformat() in second


def record_of(dbox, job, out, *options):
    code, words, err = dbox("sheet", str(job), "--kind", "setup", "--out", str(out), *options)
    return code, words + err, out.read_bytes() if out.exists() else b""


@pytest.mark.slow
def test_the_first_record_prints_the_same_after_every_later_visit(dbox, set_up, tmp_path):
    """Exact: the same bytes, though an outlet and another visit have come since."""
    job = set_up([*FIRST_PASS, *SECOND_PASS])
    _, _, first = record_of(dbox, job, tmp_path / "first.pdf")
    labelled = BOX
    for label in "1234":
        labelled = labelled.replace("{clock", f'{{label = "{label}", clock', 1)
    job.write_text(labelled.replace("outlet = [", 'outlet = [{label = "new", clock = "6:00"}, '))
    typed = tmp_path / "answers.txt"
    typed.write_text("")
    assert dbox("setup", str(job), "--again", "--answers", str(typed))[0] == 0
    # a visit that was only begun passes over nothing
    _, words, begun = record_of(dbox, job, tmp_path / "begun.pdf")
    assert "2 passes in" in words
    assert begun == first
    typed.write_text("\n".join(["", *["0 in 0 in 0 in"] * 5, ""]) + "\n")
    assert dbox("setup", str(job), "--answers", str(typed))[0] == 0
    _, words, second = record_of(dbox, job, tmp_path / "second.pdf")
    assert re.search(r"from re-check, visit 2 of 2, begun \d{4}-\d\d-\d\d: 1 pass in", words)
    assert second != first
    _, words, again = record_of(dbox, job, tmp_path / "again.pdf", "--visit", "1")
    assert "visit 1 of 2, begun" in words
    assert "re-check" not in words
    assert again == first


@pytest.mark.slow
def test_the_record_of_a_box_that_became_another_still_prints(dbox, set_up, tmp_path):
    job = set_up([*FIRST_PASS, *SECOND_PASS])
    _, _, first = record_of(dbox, job, tmp_path / "first.pdf")
    job.write_text(BOX.replace('"2 in"', '"3 in"'))
    code, words, _ = record_of(dbox, job, tmp_path / "x.pdf")
    assert code == 2
    assert "--visit 1" in words
    assert record_of(dbox, job, tmp_path / "kept.pdf", "--visit", "1")[2] == first


def test_a_visit_that_was_not_is_refused(dbox, set_up, tmp_path):
    job = set_up(FIRST_PASS)
    for options, told in ((("--visit", "2"), "there is no visit 2"), (("--visit", "0"), "visit 0")):
        code, words, content = record_of(dbox, job, tmp_path / "x.pdf", *options)
        assert (code, content) == (2, b"")
        assert told in words
    out = str(tmp_path / "form.pdf")
    code, _, err = dbox("sheet", str(job), "--kind", "field", "--visit", "1", "--out", out)
    assert code == 2
    assert "--visit means nothing with --kind field" in " ".join(err.split())


def test_a_log_of_another_box_is_refused(dbox, set_up, tmp_path):
    job = set_up(FIRST_PASS)
    job.write_text(BOX.replace('"2 in"', '"3 in"'))
    out = tmp_path / "x.pdf"
    code, _, err = dbox("sheet", str(job), "--kind", "setup", "--out", str(out))
    assert code == 2
    assert "belongs to another scenario" in err
    assert not out.exists()


def test_ties_that_leave_something_open_are_told_and_those_that_cannot_be_refused(dbox, tmp_path):
    job, text = tmp_path / "job.toml", resolve("full-job").read_text()
    two, _, rest = text.replace('side = "left"\n', "").partition('[[ties.point]]\nname = "oak"')
    job.write_text(f"{two}[box]{rest.partition('[box]')[2]}")
    assert "! two places fit, one on each side of the line" in dbox("check", str(job))[1]
    job.write_text(text.replace('distance = "36 ft"', 'distance = "3 ft"'))
    code, _, said = dbox("check", str(job))
    assert code == 2
    assert "job.toml: ties: the tapes from SE corner of the house, 3 ft" in said


def test_what_is_told_for_the_owner_goes_into_the_scenario(dbox, tmp_path):
    """Nothing typed is lost, nothing in the file is replaced unasked, and no comment goes."""
    job, out = tmp_path / "job.toml", tmp_path / "owner.pdf"
    before = resolve("off-level").read_text()
    job.write_text(before)
    told = ("--tie", "gate; 36 ft", "--tie", "oak; 44 ft 9 in; 30 ft", "--side", "left")
    words = ("sheet", str(job), "--kind", "owner", "--out", str(out), *told, "--call",
             "B. Pumper, 555")  # fmt: skip
    code, said, _ = dbox(*words)
    assert code == 0
    assert said == (
        f"wrote {job}: ties and record\nwrote {out}: 1 page on letter paper, from {job}\n"
    )
    after = job.read_text()
    assert after.startswith(before)
    site = load(job)
    assert [(p.name, p.distance / 0.3048, p.from_first) for p in site.ties.points] == [
        ("gate", pytest.approx(36.0), None),
        ("oak", pytest.approx(44.75), pytest.approx(30 * 0.3048)),
    ]
    assert (site.ties.side, site.record.call) == ("left", ("B. Pumper, 555",))
    out.unlink()
    code, _, err = dbox(*words)
    assert (code, job.read_text(), out.exists()) == (2, after, False)
    assert "holds ties.side and ties.point and record.call already; add --overwrite" in err


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--tie", "oak"), '--tie is "oak"; write what it is and what was taped'),
        (
            ("--tie", "oak; 36 ft", "--tie", "gate; 3 ft; 30 ft"),
            "they differ by 33 ft",
        ),
        (("--tie", "oak; far", "--tie", "gate; 3 ft; 30 ft"), 'ties.point[1].distance is "far"'),
        (("--side", "left"), "--side goes with --tie"),
        (("--tie", "a; 1 ft", "--kind", "field"), "--tie: for FILE and --kind owner only"),
    ],
)
def test_what_cannot_be_told_for_the_owner_leaves_the_scenario_alone(dbox, tmp_path, options, said):
    job, out = tmp_path / "job.toml", tmp_path / "owner.pdf"
    before = resolve("off-level").read_text()
    job.write_text(before)
    code, _, err = dbox("sheet", str(job), "--kind", "owner", "--out", str(out), *options)
    assert (code, job.read_text(), out.exists()) == (2, before, False)
    assert said in " ".join(err.split())
    shipped = dbox("sheet", "off-level", "--kind", "owner", "--out", str(out), "--call", "me")
    assert (shipped[0], "is a shipped scenario; copy" in shipped[2]) == (2, True)
