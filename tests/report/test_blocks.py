"""Blocks on a terminal and on paper, and words for every note that is made."""

import ast
from pathlib import Path

import pytest

from dbox.drawings.paper import Pages, set_blocks
from dbox.fieldwork.site import Site
from dbox.files.scenario import load, resolve
from dbox.report.blocks import Column, Heading, Paragraph, Table, text
from dbox.report.wording import WORDS

HEADS = (Column("outlet", 10), Column("flow", 8, "right"), Column("share", 8, "right", paper=True),
         Column("", 14))  # fmt: skip
ROWS = [["1", "2.5", "20 %", "as expected"], ["the ditch side", "capped", "", ""]]


def test_a_section_by_hand():
    section = [Heading("FOUND"), Paragraph("word " * 16, "- "), Table(HEADS, ROWS)]
    assert text([section, [], [Paragraph("end")]]) == [
        "FOUND",
        "- word word word word word word word word word word word word word word",
        "  word word",
        "  outlet        flow",
        "  1              2.5  as expected",
        "  the…        capped",
        "",
        "end",
    ]


def test_a_table_without_words_over_it_has_no_head():
    columns = [Column("", 4), Column("", 6, "right")]
    assert text([[Table(columns, [["a", "1"], ["b", "2"]])]]) == ["  a        1", "  b        2"]


def words_on(site: Site, *sections):
    pages = Pages("Sheet", site, "letter")
    set_blocks(pages, sections)
    return [[t.get_text() for t in page.axes[0].texts] for page in pages.finished()]


def test_paper_has_room_for_every_column_and_the_whole_label():
    (page,) = words_on(load(resolve("off-level")), [Heading("FOUND"), Table(HEADS, ROWS)])
    for word in ("FOUND", "outlet", "share", "20 %", "the ditch side", "capped", "as expected"):
        assert word in page


@pytest.mark.parametrize("head", ["", "at"])
def test_a_long_table_goes_on_over_the_pages_and_loses_no_row(head):
    rows = [[f"row {i}"] for i in range(45)]
    pages = words_on(load(resolve("off-level")), [Table([Column(head, 1)], rows)])
    assert len(pages) == 2
    assert [word for page in pages for word in page if word.startswith("row")] == [
        row for (row,) in rows
    ]
    assert all(page.count("at") == bool(head) for page in pages)


def test_every_note_that_is_made_has_words():
    made = set()
    for path in Path(__file__).parents[2].glob("dbox/**/*.py"):
        nodes = list(ast.walk(ast.parse(path.read_text())))
        for node in nodes:
            if not (isinstance(node, ast.Call) and ast.unparse(node.func) == "Note"):
                continue
            named = {ast.unparse(word.value) for word in node.keywords if word.arg == "what"}
            said = [word.value for word in node.keywords if word.arg == "what"]
            said += [
                each.value
                for each in nodes
                if isinstance(each, ast.Assign) and named & set(map(ast.unparse, each.targets))
            ]
            each_said = (part for value in said for part in ast.walk(value))
            made |= {
                part.value
                for part in each_said
                if isinstance(part, ast.Constant) and ": " in str(part.value)
            }
    assert "pour: order" in made
    assert made - set(WORDS) == set()
    assert list(WORDS) == sorted(WORDS)
