"""Words in any script are drawn with what fonts there are, and what none has is told of.

No font is needed but the one that comes with matplotlib: which letters that one has is read from
its file here, and a second font is made known by the test itself.
"""

import sys
import warnings

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import fontManager
from matplotlib.ft2font import FT2Font

from dbox import ScenarioError
from dbox.drawings import fonts
from dbox.drawings.fonts import BASE, SUBSTITUTE, drawable, families
from dbox.drawings.inspection_sheet import inspection_sheet
from dbox.drawings.level_picture import level_figure
from dbox.drawings.paper import save_pages
from dbox.drawings.run_picture import surge_figure
from dbox.drawings.setup_sheet import field_sheet, setup_sheet
from dbox.drawings.split_picture import split_figure
from dbox.drawings.style import save, text_width, wrap
from dbox.drawings.surge_film import write_film
from dbox.drawings.surge_frames import Show, contrast_figure
from dbox.errors import LetterWarning
from dbox.fieldwork.levelling import level
from dbox.fieldwork.shares import assess
from dbox.fieldwork.surge import run
from dbox.fieldwork.turning import turn_tables
from dbox.hydraulics.surge.inflow import steady
from dbox.keys import text
from tests.drawings import paper
from tests.drawings.cases import box

PRIVATE = "\ue000"
"""For private use: no two fonts agree on it (The Unicode Standard, chapter 23)."""

LABELS = (
    "\u5317\u4fa7\u7ba1\u7ebf",  # Chinese: north side line
    "\u0e19\u0e49\u0e33 1",  # Thai: water
    "\u05e7\u05d5 3",  # Hebrew: line
    "\u0627\u0644\u0634\u0645\u0627\u0644",  # Arabic: the north
    "e\u0301t\u0302 \U0001f6b0",  # marks set on letters, and an emoji
    f"{PRIVATE} pump",
)
SITE = box(6, labels=LABELS, title=f"\u6c34 \u0e19\u0e49\u0e33 \U0001f6b0 {PRIVATE}")


@pytest.fixture
def bare(monkeypatch):
    """A machine that has no font but matplotlib's own."""
    listed = list(fontManager.ttflist)
    monkeypatch.setattr(fonts, "findSystemFonts", list)
    monkeypatch.setattr(fontManager, "ttflist", [e for e in listed if BASE in e.name])
    forget()
    yield
    forget()


def forget():
    """Have fonts looked for anew."""
    for known in (fonts._drawn, fonts._family, fonts._advance, fonts._faces, fonts._entries):
        known.cache_clear()


def has(letter, file="DejaVuSans.ttf"):
    """Whether a font that comes with matplotlib has a letter, by its own table."""
    from matplotlib import get_data_path

    return ord(letter) in FT2Font(f"{get_data_path()}/fonts/ttf/{file}").get_charmap()


def figures():
    outcome = run(SITE, steady(3e-4, 60.0))
    yield lambda: level_figure(level(SITE, samples=100))
    yield lambda: surge_figure(outcome)
    yield lambda: contrast_figure([outcome])
    yield lambda: split_figure(SITE, assess(SITE, samples=100))


def sheets():
    yield lambda: field_sheet(SITE, turn_tables(SITE))
    yield lambda: setup_sheet([level(SITE, samples=200)])
    yield lambda: inspection_sheet(SITE)


@pytest.mark.slow
@pytest.mark.usefixtures("bare")
def test_every_picture_is_drawn_with_a_mark_for_what_no_font_has(tmp_path):
    """Every other warning, such as matplotlib's of a missing glyph, is an error in these tests."""
    for draw in figures():
        with pytest.warns(LetterWarning, match=r"U\+5317|U\+6C34"):
            figure = draw()
        written = "".join(paper.texts(figure))
        assert SUBSTITUTE in written
        assert all(has(letter) for letter in written if letter != "\n")
    for suffix in ("png", "pdf", "svg"):
        save(figure, tmp_path / f"split.{suffix}")


@pytest.mark.slow
@pytest.mark.usefixtures("bare")
def test_every_sheet_and_film_is_drawn_with_a_mark_for_what_no_font_has(tmp_path):
    for number, draw in enumerate(sheets()):
        with pytest.warns(LetterWarning, match=r"U\+6C34"):
            pages = draw()
        save_pages(pages, tmp_path / f"{number}.pdf", title=SITE.title)
    with pytest.warns(LetterWarning, match=r"U\+5317"):
        write_film([run(SITE, steady(3e-4, 60.0))], tmp_path / "film.gif", Show(seconds=4.1))


@pytest.mark.usefixtures("bare")
def test_the_warning_names_each_letter_once_and_what_to_do():
    with pytest.warns(LetterWarning) as told:
        split_figure(SITE, assess(SITE, samples=100))
    (warning,) = told
    said = str(warning.message)
    assert said.count("U+0E49") == 1
    assert "U+0065" not in said  # a letter that the font has
    assert "install a font" in said


@pytest.mark.usefixtures("bare")
def test_a_font_that_the_machine_has_is_used(monkeypatch):
    """A font with letters that the base font lacks, matplotlib's own, listed as if installed."""
    from matplotlib import get_data_path

    letter = "\U0001d4d0"  # mathematical bold script A
    file = f"{get_data_path()}/fonts/ttf/STIXGeneral.ttf"
    assert not has(letter)
    assert has(letter, "STIXGeneral.ttf")
    assert drawable(letter) == SUBSTITUTE
    forget()
    monkeypatch.setattr(fonts, "findSystemFonts", lambda: [file])
    assert drawable(letter) == drawable(letter, "bold") == letter
    assert len(families(f"line {letter}")) == 2
    font = FT2Font(file)
    font.set_size(1000.0, 72.0)
    wide = font.load_char(ord(letter)).linearHoriAdvance / 65536 / 1000
    assert text_width(letter, 72.0) == pytest.approx(1.03 * wide, rel=1e-3)
    figure = level_figure(level(box(2, title=letter), samples=100))
    assert letter in paper.texts(figure)
    assert paper.overlaps(figure) == []


@pytest.mark.usefixtures("bare")
def test_a_file_that_is_no_font_is_passed_over(monkeypatch, tmp_path):
    (tmp_path / "broken.ttf").write_bytes(b"no font")
    broken, gone = (str(tmp_path / name) for name in ("broken.ttf", "gone.ttf"))
    monkeypatch.setattr(fonts, "findSystemFonts", lambda: [broken, gone])
    assert drawable("\u6c34") == SUBSTITUTE


@pytest.mark.usefixtures("bare")
def test_what_has_no_shape_of_its_own_leaves_no_mark():
    """An ideographic space is a space; a tag of a flag, which is a format sign, has no ink."""
    assert not any(has(sign) for sign in "\u3000\U000e0067")
    assert drawable("a\u3000b\U000e0067c") == "a bc"
    assert drawable(PRIVATE) == SUBSTITUTE


def test_marks_stay_with_their_letters_where_a_line_breaks():
    word = "e\u0301" * 40
    for lines in (wrap(word, 0.5, 8.0), wrap(word, 0.5, 8.0, most=1)):
        assert len("".join(lines)) > 4
        assert not any(line.startswith("\u0301") or line.endswith("e") for line in lines)
        assert "\u2026\u0301" not in "".join(lines)


@pytest.mark.parametrize("words", ["\u05e7\u05d5 \u05e6\u05e4\u05d5\u05df", "e\u0301t\u0302e",
                                   "\u0627\u0644\u0634\u0645\u0627\u0644"])  # fmt: skip
def test_words_that_are_shaped_are_no_wider_than_measured(words):
    figure = Figure(figsize=(6, 2), dpi=100)
    figure.text(0.1, 0.5, words, fontsize=8.0, family=[BASE])
    (room,) = paper.words(figure).values()
    assert room.width / figure.dpi <= text_width(words, 8.0) + 0.02


@pytest.mark.usefixtures("bare")
def test_a_mark_goes_only_on_a_letter_of_its_own_font(monkeypatch):
    """U+20EB is a mark that STIX has and the base font lacks; the letter e is in both."""
    from matplotlib import get_data_path

    mark = "\u20eb"
    assert not has(mark)
    assert has(mark, "STIXGeneral.ttf")
    assert drawable(f"e{mark}") == f"e{SUBSTITUTE}"
    forget()
    file = f"{get_data_path()}/fonts/ttf/STIXGeneral.ttf"
    monkeypatch.setattr(fonts, "findSystemFonts", lambda: [file])
    assert drawable(f"e{mark}") == f"e{mark}"


def test_right_to_left_words_are_set_from_the_right():
    """Alef then bet: the first letter stands on the right, as Hebrew is read."""
    alef, bet = "\u05d0", "\u05d1"

    def ink(words):
        figure = Figure(figsize=(2, 1), dpi=100)
        figure.text(0.1, 0.3, words, fontsize=30.0, family=[BASE])
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        dark = np.asarray(canvas.buffer_rgba())[:, :, 0] < 128
        return dark[:, np.flatnonzero(dark.any(0))[0] :][:, :20]

    assert np.array_equal(ink(alef + bet), ink(bet))


def test_letters_of_any_script_may_be_typed_and_controls_may_not():
    for label in (
        *LABELS,
        "\u6c34\u3000\u6c34",
        "\u0645\u06cc\u200c\u0634",
        "\U0001f468\u200d\U0001f469",
    ):
        assert text(label) == label.strip()
    for wrong in ("a\nb", "a\x07", "a\u2028b", "a\u202eb", "\ufeffa"):
        with pytest.raises(ScenarioError, match="control characters"):
            text(wrong)


def test_no_letter_of_any_script_is_ever_a_crash():
    """Every thousandth code point of Unicode but the surrogates, in this machine's own fonts."""
    figure = Figure(figsize=(6, 2))
    signs = [chr(code) for code in range(0, sys.maxunicode, 1009) if not 0xD800 <= code < 0xE000]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", LetterWarning)
        for part in range(0, len(signs), 500):
            words = drawable("".join(signs[part : part + 500]))
            artist = figure.text(0.0, 0.0, words, family=families(words))
            paper.words(figure)
            artist.remove()
            paper.words.cache_clear()
