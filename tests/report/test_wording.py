"""Each kind of note that the house makes has its words, and nothing is lost where they join."""

import ast
from pathlib import Path

from dbox.notes import Note
from dbox.report.wording import ENDINGS, WORDS, joined, sentences

HEADS = {"low": 0.002, "high": 0.0031, "level": 0.003}
DBOX = Path(__file__).parents[2] / "dbox"


def test_every_kind_of_note_has_words_and_no_words_are_left_over():
    trees = [
        ast.parse(path.read_text())
        for floor in ("hydraulics", "fieldwork")
        for path in (DBOX / floor).rglob("*.py")
    ]
    nodes = [node for tree in trees for node in ast.walk(tree)]
    texts = {node.value for node in nodes if isinstance(node, ast.Constant)}
    made = {
        node.value.value
        for node in nodes
        if isinstance(node, ast.keyword) and node.arg == "what"
        if isinstance(node.value, ast.Constant)
    }
    assert made <= WORDS.keys() <= texts
    assert ENDINGS.keys() <= WORDS.keys()


def test_notes_with_one_ending_say_it_once_on_paper():
    low = [Note(what="split: heads too low", where=name, values=HEADS) for name in "ab"]
    other = Note(what="tilt: three outlets")
    told = joined([low[0], other, low[1], low[0], other])
    assert told == [
        "a: heads of 2.0 to 3.1 mm (all lips level: 3.0 mm), b: heads of 2.0 to 3.1 mm (all lips "
        "level: 3.0 mm); below 5 mm surface tension decides and weir formulas are out of their "
        "range",
        "three outlets always lie on one plane: one that moved looks like a lean",
    ]
    assert len(sentences([*low, other, other])) == 3


def test_a_note_keeps_its_own_place_under_a_name():
    note = Note(what="split: overtops", where="dose", values={"overflow": 0.0012})
    assert sentences([note.under("slot")])[0].startswith("slot: dose: the outlets cannot take")
    assert sentences([note.under("slot")])[0].endswith("1.2 L/s")
