"""Printed sheets: every word readable on both papers, and everything said that a record wants."""

import re
from dataclasses import replace
from functools import cache, lru_cache

import numpy as np
import pytest
from matplotlib.backends.backend_agg import RendererAgg
from matplotlib.colors import to_rgba

from dbox.drawings.inspection_sheet import inspection_sheet
from dbox.drawings.paper import HEADING, Pages
from dbox.drawings.setup_sheet import blank_sheet, field_sheet, setup_sheet
from dbox.errors import ScenarioError
from dbox.fieldwork.evidence import OUTLET_WORDS, PLACES, WORDS
from dbox.fieldwork.falls_plan import aim
from dbox.fieldwork.grades import grade
from dbox.fieldwork.levelling import level
from dbox.fieldwork.pour import expect
from dbox.fieldwork.setup import Read, Rules, Still, Stuck, Turned, begin, replay
from dbox.fieldwork.site import Box, JobRecord, Pour, Tolerance
from dbox.fieldwork.turning import turn_tables
from dbox.files.scenario import load, resolve
from dbox.report import cautions
from tests.drawings import paper
from tests.drawings.cases import LONG, SIX, TITLE, box

TOUCH = 1.0
"""Overlap that is none, letters being set on whole dots. [dots]"""

KINDS = ("field", "setup", "inspection")
LONG_NOTE = "It rained, " + "and then it went on raining all over the field, " * 10
FULL_RECORD = JobRecord(
    permit="P 7", address="12 Example Road", date="2026-05-04", weather="dry", who="A. Installer",
    system="equal", bedrooms="5", feed="pump", bedding="stone", pipe_bed="tamped sand",
    cover="11 in", riser="to grade", lid="two screws", seals="tight",
    north="along outlet 1", benchmark="sill, 100 ft",
    ties=("oak 9 ft", "well 60 ft"), method="steel rule", photo="IMG 1", recheck="in May",
    notes=LONG_NOTE, exceptions="none at all",
)  # fmt: skip

SITES = {
    "two": box(2),
    "six": replace(box(6, title="Six (invented)"), record=FULL_RECORD),
    "twelve, capped": box(12, capped=(3, 7), title=TITLE),
    "twelve, long labels, no places": box(12, labels=LONG, placed=False, amounts=SIX),
    "twenty round": box(20, shape="round", size=(30.0,), labels=LONG),
    "fixed": box(3, fixed=(0, 1, 2), clocks=False, size=(), tolerance=None),
    "full job": load(resolve("full-job")),
}

ON_BOTH = ("two", "six", "twelve, capped", "full job")
EVERYDAY = ("six", "twelve, long labels, no places", "twenty round")
"""Sites of which every sheet is looked at every day; the rest are for the longer checks."""

SHEETS = [
    pytest.param(kind, name, sheet, marks=[] if everyday else pytest.mark.slow)
    for kind in KINDS
    for sheet in ("letter", "a4")
    for name in (SITES if sheet == "letter" else ON_BOTH)
    for everyday in [name in EVERYDAY or (kind, sheet) == ("setup", "letter")]
]


@cache
def levelled(name):
    """What the levelling of a site says."""
    return level(SITES[name], samples=200)


@lru_cache(16)
def pages(kind, name, sheet="letter"):
    site = SITES[name]
    if kind == "field":
        return field_sheet(site, turn_tables(site), sheet)
    if kind == "inspection":
        return inspection_sheet(site, sheet)
    grading = grade(site) if site.grades else None
    return setup_sheet([levelled(name)], grading=grading, paper=sheet)


def texts(page):
    """What a page says, text by text."""
    return [text.get_text() for text in page.axes[0].texts]


def said(kind, name):
    """Everything that a sheet says, words joined by blanks."""
    return spoken(pages(kind, name))


def spoken(sheet):
    """Everything that pages say."""
    return " ".join(" ".join(texts(page)) for page in sheet)


@pytest.mark.slow
def test_a_plan_stands_on_the_field_form_with_room_for_what_is_read():
    site = load(resolve("family-of-four"))
    sheet = field_sheet(site, turn_tables(site), aims=aim(site))
    words = spoken(sheet)
    # the permit asks for 50 in, and the pipe lies 10 in over it
    for said in ("Plan: no fall is measured", "trench 5, bottom (given)", "header 5, end 40 in",
                 "read", "Planned falls; block under the low end of a 4 ft level:"):  # fmt: skip
        assert said in words
    assert "Plan: no fall is measured" in texts(sheet[1])
    assert faults(sheet[1]) == []


def rooms(page):
    """Every word of a page with the room it takes, at the fineness of a printer. [dots]"""
    page.set_dpi(200)
    # letters are measured, not drawn: dots for a whole page would be kept as long as the page
    renderer = RendererAgg(8, 8, page.dpi)
    words = [text for text in page.axes[0].texts if paper.seen(text)]
    return words, np.array([text.get_window_extent(renderer).extents for text in words])


def faults(page, margin=0.47):
    """Words that lie on others, outside the margins, or on a line or the box around it."""
    written, room = rooms(page)
    on_others = np.triu(np.all(paper.shared(room, room) > TOUCH, axis=-1), k=1)
    words = [text.get_text() for text in written]
    found = [("on", words[i], words[k]) for i, k in np.argwhere(on_others)]
    low, high = margin * page.dpi, page.bbox.extents[2:] - margin * page.dpi
    outside = np.any((room[:, :2] < low) | (room[:, 2:] > high), axis=-1)
    found += [("outside", words[i]) for i in np.flatnonzero(outside)]
    lines = np.array([line.get_window_extent().extents for line in page.axes[0].lines])
    inner = room + np.array([2.0, 2.0, -2.0, -2.0])
    crossed = np.any(np.all(paper.shared(inner, lines) >= 0.0, axis=-1), axis=-1)
    return found + [("crossed", words[i]) for i in np.flatnonzero(crossed)]


@pytest.mark.everyday(1)
@pytest.mark.parametrize(("kind", "name", "sheet"), SHEETS)
def test_every_word_on_every_page_can_be_read(kind, name, sheet):
    for page in pages(kind, name, sheet):
        assert faults(page) == []
        assert min(text.get_fontsize() for text in page.axes[0].texts) >= 10.0


def test_the_check_itself_finds_faults():
    page = Pages("Field form", SITES["six"], "letter")
    figure = page.finished()[0]
    assert faults(figure) == []
    page.sheet.write(1.0, 5.0, "under", 12)
    page.sheet.write(1.1, 5.0, "over", 12)
    page.sheet.write(8.0, 3.0, "over the edge", 12)
    page.sheet.write(1.0, 2.0, "struck", 12)
    page.rule(1.0, 3.0, 1.9)
    kinds = [(fault[0], fault[1]) for fault in faults(figure)]
    assert kinds == [("on", "under"), ("outside", "over the edge"), ("crossed", "struck")]


@pytest.mark.everyday(2)
@pytest.mark.parametrize(("sheet", "size"), [("letter", (8.5, 11.0)), ("a4", (8.268, 11.693))])
@pytest.mark.parametrize("kind", KINDS)
def test_every_page_is_of_its_paper_with_its_number_title_and_foot(kind, sheet, size):
    all_pages = pages(kind, "six", sheet)
    for number, page in enumerate(all_pages, start=1):
        assert tuple(page.get_size_inches()) == pytest.approx(size, abs=5e-4)
        words = texts(page)
        assert f"page {number} of {len(all_pages)}" in words
        assert "Six (invented)" in words
        assert any(text.startswith("Never enter or lean into a tank") for text in words)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("kind", KINDS)
def test_pages_are_black_on_white_and_say_that_data_are_invented(kind):
    for page in pages(kind, "full job"):
        colours = {to_rgba(text.get_color()) for text in page.axes[0].texts}
        colours |= {to_rgba(line.get_color()) for line in page.axes[0].lines}
        assert colours == {(0.0, 0.0, 0.0, 1.0)}
        assert "INVENTED DATA" in texts(page)
    assert "INVENTED DATA" not in said(kind, "six")


@pytest.mark.everyday(1)
@pytest.mark.parametrize("kind", KINDS)
def test_every_caution_is_on_every_sheet(kind):
    words = said(kind, "two")
    for caution in cautions.LONG:
        assert caution in words
    for what in ("lean into", "children", "5 ft", "4 ft", "29 CFR 1926.651-652", "disease",
                 "buried utilities", "lock out the pump", "clean water only",
                 "Local code"):  # fmt: skip
        assert what in words
    for word in ("certified", "guaranteed", "passes code"):
        assert word not in words.lower()


def test_outlets_are_numbered_around_the_plan():
    first = pages("field", "six")[0]
    numbers = {
        text.get_text(): extents
        for text, extents in zip(*rooms(first), strict=True)
        if text.get_fontsize() == HEADING
    }
    assert {str(i) for i in range(1, 7)} <= set(numbers)
    # the inlet comes from below, so clockwise from it is up the left side and down the right
    assert numbers["1"][0] == pytest.approx(numbers["2"][0], abs=2)
    assert numbers["1"][1] < numbers["2"][1] < numbers["3"][1]
    assert numbers["3"][0] < numbers["4"][0] < numbers["5"][0]
    assert numbers["6"][1] < numbers["5"][1] < numbers["4"][1]


def test_the_turn_table_is_that_of_the_insert():
    words = said("field", "six")
    # a hole 1/2 in off centre: nothing down, half the travel at a quarter turn, 1 in straight up
    assert "hole 1/2 in (12.7 mm) off centre" in words
    assert "9:00 or 3:00 1/2 in 12.7 mm" in words
    assert "12:00 1 in 25.4 mm" in words


def test_nothing_is_said_of_inserts_or_clocks_where_nothing_turns():
    for kind in ("field", "setup"):
        words = said(kind, "fixed").lower()
        for word in ("insert", "clock pos", "set to", "locked", "turn the", "turn table"):
            assert word not in words, (kind, word)
    assert "turn the inserts" in said("field", "six").lower()


def test_a_blank_form_holds_only_numbers_of_outlets():
    sheet = blank_sheet(6)
    words = spoken(sheet)
    for unknown in ("circle", " mm", ":00", "turned down", "INVENTED", "of 6", "Six"):
        assert unknown not in words
    assert "open" not in [text for page in sheet for text in texts(page)]
    # outlets, three passes on one table, pour test
    assert words.split().count("6") == 3
    for page in sheet:
        assert faults(page) == []


@pytest.mark.parametrize("count", [0, 101])
def test_a_blank_form_has_as_many_outlets_as_a_box_can(count):
    with pytest.raises(ScenarioError, match=f"--outlets is {count}; a box has 1 to 100 outlets"):
        blank_sheet(count)


MOST_BLANK = 0.35
"""Part of a page that may be left blank at its end. [-] (judgement)"""


def filled(page):
    """How far down a page is written or ruled, its foot left out, as part of its height. [-]"""
    height = page.get_size_inches()[1]
    ends = [y for line in page.axes[0].lines for y in line.get_ydata()]
    ends += [text.get_position()[1] for text in page.axes[0].texts]
    foot = next(t.get_position()[1] for t in page.axes[0].texts if "Never enter" in t.get_text())
    return 1 - min(y for y in ends if y > foot + 0.3) / height


@pytest.mark.slow
@pytest.mark.parametrize("sheet", ["letter", pytest.param("a4", marks=pytest.mark.slow)])
def test_no_page_is_half_empty(sheet):
    drawn = [pages(kind, name, sheet) for kind in ("field", "setup") for name in ON_BOTH]
    for form in [*drawn, *(blank_sheet(n, sheet) for n in (2, 4, 6, 8, 12))]:
        assert min(map(filled, form)) > 1 - MOST_BLANK
        # what is signed stands with what it is signed for
        alone = [page for page in form if "Signatures" in texts(page)]
        assert all(len(page.axes[0].lines) > 20 for page in alone)


def test_a_record_without_a_tolerance_says_what_is_reached_and_how_sure():
    words = said("setup", "fixed")
    assert "cannot tell" not in words[: words.index("What limits")]
    assert "Asked: no tolerance was entered" in words
    found = levelled("fixed").before
    over = 100 * found.over_target[0]
    low, high = (100 * (end[0] / found.target) for end in (found.share_low, found.share_high))
    told = f"get {over.min():.0f} to {over.max():.0f} % of their targets"
    assert f"{told} (5 to 95 % band {low.min():.0f} to {high.max():.0f} %)" in words


def test_a_record_takes_its_date_from_the_log_where_the_file_has_none():
    levelling = levelled("two")
    assert "2027-06-05" in spoken(setup_sheet([levelling], done="2027-06-05"))
    levelling = levelled("six")
    assert "2027-06-05" not in spoken(setup_sheet([levelling], done="2027-06-05"))
    again = spoken(setup_sheet([levelling], visit=(2, "2027-06-04"), done="2027-06-05"))
    assert "2027-06-05" in again
    assert FULL_RECORD.date not in again


def test_a_field_form_shows_no_reading():
    site = replace(SITES["six"], outlets=tuple(
        replace(o, readings=(0.0254 * 5 / 16,)) for o in SITES["six"].outlets))  # fmt: skip
    words = spoken(field_sheet(site, ()))
    assert "7.9 mm" not in words
    assert words.count("pass 3") == 3


def test_a_record_says_what_practice_wants_on_it():
    words = said("setup", "six")
    for value in ("P 7", "12 Example Road", "2026-05-04", "A. Installer", "stone",
                  "Pipes lie on: tamped sand", "11 in", "two screws", "tight",
                  "north: along outlet 1", "oak 9 ft", "well 60 ft",
                  "sill, 100 ft", "steel rule", "IMG 1", "in May", "none at all"):  # fmt: skip
        assert value in words, value
    for label in ("Permit:", "Tie 2:", "Benchmark:", "Inspector", "signature", "locked"):
        assert label in words, label
    assert "Asked: within 10 % of each line's own target. Source: permit 7." in words


def test_a_record_without_a_source_asks_for_it():
    site = replace(SITES["six"], tolerance=Tolerance(share=0.1))
    words = spoken(setup_sheet([level(site, samples=200)]))
    assert "Source: NOT NAMED: write it here" in words
    assert "no tolerance was entered, so there is no verdict" in said("setup", "fixed")


def test_a_record_holds_readings_turns_and_shares_with_units():
    found = levelled("full job")
    words = said("setup", "full job")
    for i in range(5):
        lip = 1000 * float(found.before.lips.height[i])
        assert f"{lip:+.1f} mm" in words
    assert "Pass 1, as found: lips over still water" in words
    assert "Shares after turning: expected, not read" in words
    share = 100 * found.before.result.share[0, 4]
    low, high = (100 * end[0, 4] for end in (found.before.share_low, found.before.share_high))
    assert f"{share:.1f} % ({low:.0f} to {high:.0f})" in words
    assert "0.5 gpm" in words
    assert "1.89 L/min" in words


def two_passes(site, *said, mended=None):
    """A job of a box whose lips stand 0 to 1/4 in over the water, turned as told, then level.

    said: Events before the turning; mended: The box as its file was mended afterwards.
    """
    inch, count = 0.0254, len(site.outlets)
    reads = [Read(outlet=i, heights=(i * inch / 20,) * 2) for i in range(count)]
    first = [Still(method="rule", at="09:30"), *reads, *said]
    told = replay(begin(site, Rules(samples=200)), first).told_angles
    events = [*first, Turned(angles=told), Still(method="rule", at="10:15"),
              *(Read(outlet=i, heights=(0.0, 0.0)) for i in range(count))]  # fmt: skip
    return replay(begin(mended or site, Rules(samples=200)), events)


def recorded(job, **told):
    """The record of a job."""
    return setup_sheet([each.levelling for each in job.passes], logged=job.passes, **told)


def turns_on(sheet):
    """The lines of clock positions and of what was not turned, from page to page."""
    wanted = re.compile(r"(to )?\d+:\d\d|stuck|not turned")
    return [text for page in sheet for text in texts(page) if wanted.fullmatch(text)]


def test_a_record_prints_what_was_turned_not_what_a_mended_file_would_have_told():
    site = SITES["six"]
    job = two_passes(site)
    told = turns_on(recorded(job))
    fixed = replace(site.outlets[2], hole_offset=None)
    outlets = (*site.outlets[:2], fixed, *site.outlets[3:])
    mended = two_passes(site, mended=replace(site, outlets=outlets))
    assert mended.passes[0].levelling.order != job.passes[0].levelling.order
    assert sum(each.startswith("to ") for each in told) == len(job.passes[0].levelling.order)
    assert turns_on(recorded(mended)) == told


def test_a_record_names_the_insert_that_was_stuck():
    job = two_passes(SITES["six"], Stuck(outlets=(5,)))
    sheet = recorded(job, as_left=True)
    lines = turns_on(sheet)
    assert lines.count("stuck") == 2
    assert lines.count("not turned") == 1
    assert sum(each.startswith("to ") for each in lines) == len(job.passes[0].levelling.order)
    assert all(faults(page) == [] for page in sheet)


@pytest.mark.slow
def test_a_record_of_two_passes_tells_the_first_from_the_last():
    sheet = recorded(two_passes(SITES["six"]), as_left=True, outcome="ruler")
    words = spoken(sheet)
    for part in ("Pass 1, as found", "Pass 2, as left", "rule; water still at 09:30",
                 "rule; water still at 10:15",
                 "Reached, as left:",
                 "How it ended: what still differs is smaller than the rule can tell",
                 "Shares as left"):  # fmt: skip
        assert part in words
    assert "expected, not read" not in words
    assert all(faults(page) == [] for page in sheet)


def test_a_re_check_is_never_called_the_first_finding():
    """Its readings are not what was found before anything was turned."""
    levelling = levelled("six")
    first, later = (
        spoken(setup_sheet([levelling], visit=visit))
        for visit in ((1, "2026-05-04"), (3, "2027-06-05"))
    )
    assert "Set-up record" in first
    assert "Reached, as found:" in first
    assert "re-check" not in first.replace(FULL_RECORD.recheck, "")
    assert "Re-check record" in later
    assert "Reached, as found at the re-check of 2027-06-05 (visit 3):" in later
    assert "as found at the re-check of 2027-06-05 (visit 3)" in later
    assert "Shares as found at the re-check of 2027-06-05 (visit 3)" in later
    for page in setup_sheet([levelling, levelling], visit=(3, "2027-06-05"), as_left=True):
        assert faults(page) == []


def test_falls_stand_on_the_record_with_their_limits():
    words = said("setup", "full job")
    for part in ("supply pipe", "7-1/2 in (190.5 mm)", "36 ft", "1.74 %", "over 99 %", "sags",
                 "Minn. R. 7080.2050", "25 Pa. Code 73.42", "1/16 in (1.6 mm), as"):  # fmt: skip
        assert part in words, part
    assert "No rod readings were entered." in said("setup", "six")


def test_a_pour_that_was_done_is_on_the_record():
    site = SITES["six"]
    flow = 1e-3 / 60
    done = Pour(name="first", inflow=24 * flow, catches=(*[4 * flow] * 5, None), order=(2, 0))
    sheet = setup_sheet([levelled("six")], expectation=expect(site, [done], samples=200))
    words = spoken(sheet)
    for part in ("first: 6.34 gpm (24 L/min), water runs at", "Started in this order: 3, 1.",
                 "4.00 1.06 20.0 %", "caught 20 L/min of 24 L/min poured"):  # fmt: skip
        assert part in words, part
    assert all(faults(page) == [] for page in sheet)
    assert "Jug holds:" in said("setup", "six")


def test_the_pail_stands_on_the_record_with_a_form_to_fill_in():
    """By definition: seconds = volume / flow, a gallon being 231 in3."""
    site = replace(SITES["two"], metric=False)
    half = Pour(name="bucket", inflow=site.flows[0].inflow)
    found = expect(site, [half], samples=200)
    sheet = setup_sheet([level(site, samples=200)], expectation=found)
    words = spoken(sheet)
    seconds = 231 * 0.0254**3 / float(found.result.flow[0, 0])
    shown = f"{seconds:.0f} s (" if seconds < 600 else f"{seconds / 60:.0f} min ("
    assert shown in words
    assert "1 gal* full in" in words
    assert "order of start" in words
    # 16 x 20 x 4 in are 1280 in3, 5.54 gal: on the form for the field too
    deep = replace(site, box=Box(inside=(16 * 0.0254, 20 * 0.0254), sump=4 * 0.0254))
    assert "An empty box first takes 5.54 gal" in spoken(field_sheet(deep, turn_tables(deep)))
    assert all(faults(page) == [] for page in sheet)


def test_an_inspection_has_a_box_for_every_piece_of_evidence():
    words = said("inspection", "six")
    for choices in (*WORDS.values(), *OUTLET_WORDS.values(), PLACES):
        for word in choices:
            assert f"\u2610 {word}" in words, word


def test_an_inspection_takes_two_pours_lips_after_filling_and_a_field_walked_dry():
    """What the scenario takes, a form has room for: jug and seconds of a catch, too."""
    words = said("inspection", "six")
    blanks = ("Slow, poured:", "Fast, poured:", "slow: caught", "fast: caught", "fast: in seconds")
    for part in (*blanks, "Filled until it just spills, then still", "lip over water read again"):
        assert part in words, part
    assert words.count("in seconds:") == words.count("jug holds:") == 2
    assert words.count("\u2610 walked, dry") == 6


@pytest.mark.parametrize(
    ("count", "sheet"),
    [(4, "letter"), *(pytest.param(count, sheet, marks=pytest.mark.slow)
                      for count in (2, 8) for sheet in ("letter", "a4"))],
)  # fmt: skip
def test_no_page_of_an_inspection_is_half_empty(count, sheet):
    for page in inspection_sheet(box(count), sheet):
        _, room = rooms(page)
        heights = np.concatenate([room[:, 1], [
            line.get_window_extent().extents[1] for line in page.axes[0].lines
        ]])  # fmt: skip
        above_foot = heights[heights > 1.0 * page.dpi]
        assert above_foot.min() < 0.4 * page.bbox.height


def test_the_order_of_looking_begins_with_papers_and_ends_with_digging():
    words = said("inspection", "two")
    steps = [words.index(part) for part in ("Read the papers", "Walk the field", "Tank: level",
             "Ports of every line", "Wait for rest", "Read every lip", "Bail below", "Pour slowly",
             "Rod each header", "Dig last")]  # fmt: skip
    assert steps == sorted(steps)
