"""On a terminal: lines as wide as it is, broken between words, and what was found in bold."""

import re
from io import StringIO

import pytest

from dbox_cli.main import run
from tests.cli.terminal import BOX as SIX_LINES
from tests.cli.terminal import Installer, Terminal

BOLD = re.compile(r"\x1b\[[01]m")
WIDTHS = (40, 72, 200)
REPORTS = (
    ("split", "off-level"), ("level", "off-level"), ("grades", "full-job"), ("pour", "pour-test"),
    ("surge", "off-level", "--contrast"), ("diagnose", "wet-line", "--draws", "30"),
    ("teach", "sweep"), ("teach", "compare"), ("teach", "case", "--seed", "1"),
    ("check", "unequal-lines"),
)  # fmt: skip


class Screen(StringIO):
    """A terminal to write on."""

    def isatty(self) -> bool:
        return True


@pytest.fixture
def on_screen(monkeypatch):
    """Run a command on a terminal of a width; what it shows, both streams in one."""

    def call(*arguments: str, width: int, **environment: str) -> str:
        screen = Screen()
        for name in ("stdout", "stderr"):
            monkeypatch.setattr(f"sys.{name}", screen)
        environment = {"COLUMNS": str(width), "TERM": "xterm", "NO_COLOR": "", **environment}
        for name, value in environment.items():
            monkeypatch.setenv(name, value)
        monkeypatch.setattr("sys.argv", ["dbox", *arguments])
        with pytest.raises(SystemExit):
            run()
        return screen.getvalue()

    return call


def words(text: str) -> list[str]:
    return re.findall(r"[A-Za-z][A-Za-z-]+", BOLD.sub("", text))


def assert_fits(shown: str, piped: str, width: int) -> None:
    """Exact: no line is wider, no word is broken or lost."""
    assert max(map(len, BOLD.sub("", shown).splitlines())) <= width
    assert {*words(shown)} <= {*words(piped)}
    assert len(words(shown)) >= len(words(piped))


@pytest.mark.parametrize("width", [40, 200])
def test_a_report_is_as_wide_as_its_terminal(dbox, on_screen, width):
    few = ("--samples", "100")
    _, piped, _ = dbox("split", "off-level", *few)
    assert_fits(on_screen("split", "off-level", *few, width=width), piped, width)


@pytest.mark.slow
@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("arguments", REPORTS, ids=" ".join)
def test_every_report_is_as_wide_as_its_terminal(dbox, on_screen, arguments, width):
    few = ("--samples", "100") if arguments[0] in ("split", "level", "pour") else ()
    _, piped, _ = dbox(*arguments, *few)
    assert_fits(on_screen(*arguments, *few, width=width), piped, width)


def test_the_verdict_is_bold_on_a_terminal_alone(dbox, on_screen):
    """Exact: NO_COLOR as no-color.org asks (from memory), TERM=dumb, and a pipe are plain."""
    given = ("level", "off-level", "--samples", "100")
    assert "\x1b[1mADJUST: turn 3" in on_screen(*given, width=72)
    assert "\x1b" not in on_screen(*given, width=72, NO_COLOR="1")
    assert "\x1b" not in on_screen(*given, width=72, TERM="dumb")
    assert "\x1b" not in dbox(*given)[1]


def test_an_error_is_one_line_in_a_pipe_and_broken_between_words_on_a_terminal(
    dbox, on_screen, tmp_path
):
    folder = tmp_path / ("long-name-of-a-folder-" * 3)
    folder.mkdir()
    path = folder / "box.toml"
    path.write_text('[box]\ninlet = "sideways"\n')
    code, _, told = dbox("check", str(path))
    shown = on_screen("check", str(path), width=40)
    assert code == 2
    assert all(line.startswith("dbox: error: ") for line in told.splitlines())
    assert f"{path}:" in shown.split()
    assert [line for line in shown.splitlines() if len(line) > 40 and str(path) not in line] == []
    assert shown.split() == told.split()


@pytest.mark.slow
@pytest.mark.parametrize("columns", [40, 200])
def test_a_set_up_on_a_terminal_of_any_width(tmp_path, columns):
    """Exact: no line that is told is wider, but for what names a file."""
    (tmp_path / "job.toml").write_text(SIX_LINES)
    installer = Installer(3)
    with Terminal("setup", str(tmp_path / "job.toml"), columns=columns) as terminal:
        for _ in range(60):
            prompt = terminal.prompt()
            if prompt is None:
                break
            terminal.type(f"{installer.answer(prompt, terminal.screen)}\n")
        assert terminal.process.wait(20) == 0
    lines = BOLD.sub("", terminal.screen).splitlines()
    assert "FINISHED" in terminal.screen
    assert [line for line in lines if len(line) > columns and "/" not in line] == []
