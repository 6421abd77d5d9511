"""The owner's page: one page of large letters, the map to scale, and everything said."""

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
from matplotlib.patches import Rectangle

from dbox.drawings.owner_sheet import owner_sheet
from dbox.drawings.paper_parts import tie_entries
from dbox.fieldwork.site import JobRecord
from dbox.fieldwork.ties import Tie, Ties, locate
from dbox.files.scenario import load, resolve
from dbox.report import cautions
from tests.drawings import paper
from tests.drawings.cases import LONG, box

FULL = load(resolve("full-job"))
CORNER = Tie(name="SE corner of the house", distance=11.0)
POST = Tie(name="gate post at the end of the long drive, by the road", distance=9.0, from_first=8.0)
OAK = Tie(name="oak", distance=4.05, from_first=12.0, from_second=7.0, side="right")
FAR = Tie(name="well", distance=60.0, from_first=52.0)
SITES = {
    "three ties": FULL,
    "one place of two": replace(box(6), ties=Ties(points=(CORNER, POST), side="right")),
    "two places": replace(box(6, capped=(2,)), ties=Ties(points=(CORNER, POST)), metric=True),
    "third": replace(box(3), ties=Ties(points=(CORNER, POST, OAK), side="right")),
    "long and narrow": replace(box(4), ties=Ties(points=(CORNER, FAR), side="left")),
    "words": replace(box(5, labels=LONG), record=JobRecord(ties=("oak 27 ft", "well 9 ft"))),
    "nothing": box(2),
}

EVERYDAY = ("three ties", "letter"), ("two places", "letter")


@lru_cache(4)
def drawn(name, size):
    return owner_sheet(SITES[name], size)


def said(pages):
    return " ".join(" ".join(paper.texts(page)) for page in pages)


PAGES = [
    pytest.param(name, size, marks=[] if (name, size) in EVERYDAY else pytest.mark.slow)
    for name in SITES
    for size in ("letter", "a4")
]


@pytest.mark.parametrize(("name", "size"), PAGES)
def test_it_is_one_page_that_can_be_read_at_arms_length(name, size):
    """11 pt at least: judgement."""
    (page,) = drawn(name, size)
    assert paper.smallest(page) >= 11.0
    assert paper.overlaps(page) == []
    assert paper.off_page(page) == []


@pytest.mark.parametrize(
    "name",
    ["two places", *(pytest.param(n, marks=pytest.mark.slow) for n in ("third", "three ties"))],
)
def test_the_map_is_to_scale(name):
    """Exact: every tape and every line between fixed points, by one scale in both directions."""
    site = SITES[name]
    (page,), found = drawn(name, "letter"), locate(site.ties)
    ends = {kind: [line.get_xydata() for line in paper.lines(page) if line.get_label() == kind]
             for kind in ("tape", "between points")}  # fmt: skip
    lengths = {kind: [float(np.hypot(*(b - a))) for a, b in pairs] for kind, pairs in ends.items()}
    count = len(found.points)
    between = [np.hypot(*(found.points[i] - found.points[k]))
               for i in range(count) for k in range(i + 1, count)]  # fmt: skip
    tapes = [np.hypot(*(place - point)) for place in found.places for point in found.points]
    scale = lengths["between points"][0] / between[0]
    assert lengths["between points"] == pytest.approx([scale * each for each in between])
    assert lengths["tape"] == pytest.approx([scale * each for each in tapes])
    # not mirrored: which way round box and second point lie as seen from the first is kept
    (first, box_at), (_, second) = ends["tape"][0], ends["between points"][0]
    turn = np.cross([*(second - first), 0.0], [*(box_at - first), 0.0])[2]
    assert np.sign(turn) == np.sign(found.places[0, 1])
    assert len(paper.named(page, Rectangle, "box")) == len(found.places)


def test_it_says_what_an_owner_asks():
    words = said(drawn("three ties", "letter"))
    for each in (
        "SE corner of the house", "44 ft 9 in", "the centre of the lid",
        "In use: 1 (60 ft); 2 (60 ft)",
        "Do not drive, park, build or pave", "the strip from the lilac to the fence",
        "when the backfill has settled and after the first season", "before frost",
        "A. Installer, 555 0100", "INVENTED DATA",
    ):  # fmt: skip
        assert " ".join(each.split()) in words
    assert all(caution in words for caution in " ".join(cautions.LONG).split())


def test_two_places_are_both_drawn_and_told():
    words = said(drawn("two places", "letter"))
    assert "BOX here" in words
    assert "or here" in words
    assert "two places fit" in words
    assert "Closed on purpose: 3" in words


@pytest.mark.slow
def test_what_is_not_known_is_left_to_be_written():
    words = said(drawn("nothing", "letter"))
    assert "Sketch the house" in words
    assert "Box and lines:" in words
    assert "Taped: oak 27 ft; well 9 ft" in said(drawn("words", "letter"))


def test_the_record_of_a_set_up_has_the_ties_too():
    assert tie_entries(FULL)[1] == ("Tie 2", "SW corner of the house 44 ft 9 in")
    assert tie_entries(SITES["words"]) == [("Tie 1", "oak 27 ft"), ("Tie 2", "well 9 ft")]
    assert tie_entries(SITES["nothing"]) == [("Tie 1", ""), ("Tie 2", "")]
