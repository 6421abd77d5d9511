"""The one question loop: what is typed means the same whatever is asked."""

import io
from pathlib import Path

import pytest

from dbox.errors import DomainError, ScenarioError
from dbox.files.job_log import NotKeptError
from dbox_cli.console import LONGEST_ANSWER, Asking, Talk, hold


class Letters:
    """Asks for the letters a, b and c; keeps what it was told."""

    def __init__(self) -> None:
        self.told: list[tuple[str, ...]] = []
        self.kept = ""

    def opening(self) -> list[str]:
        return ["Letters."]

    def asking(self) -> Asking | None:
        if self.kept == "abc":
            return None
        letter = "abc"[len(self.kept)]
        topic = "c" if letter == "c" else "a or b"
        return Asking(part=f"part {topic}", topic=topic, words=[f"Type {topic}."], prompt="> ")

    def answer(self, typed: str) -> list[str]:
        if typed == "full":
            raise NotKeptError("the disk is full")
        if typed != "abc"[len(self.kept)]:
            raise ScenarioError(f"is {typed!r}; no", ".x is 1; deeper")
        self.kept += typed
        return [f"heard {typed}"]

    def undo(self, typed: str, /) -> list[str]:
        if not self.kept:
            raise DomainError("nothing was answered")
        self.told.append(("undo", typed))
        self.kept = self.kept[:-1]
        return ["undone"]

    def correct(self, which: str, typed: str, /) -> list[str]:
        self.told.append(("correct", which, typed))
        return []

    def help(self) -> list[str]:
        return ["HELP"]


@pytest.fixture
def talk(tmp_path, capsys):
    """Hold a talk with these answers; give whether it came to its end, the script, and stdout."""

    def call(*answers: str):
        file, script = tmp_path / "answers.txt", Letters()
        file.write_text("# a remark\n" + "".join(f"{line}\n" for line in answers))
        done = hold(Talk(file, quiet=False), script, "Paused.")
        return done, script, capsys.readouterr().out

    return call


def test_words_are_said_once_for_a_topic_and_headings_where_they_change(talk):
    done, _, out = talk("a", "b", "c")
    assert done
    assert out == (
        "Letters.\n\nPART A OR B\nType a or b.\n> a\nheard a\n> b\nheard b\n"
        "\nPART C\nType c.\n> c\nheard c\n"
    )


@pytest.mark.parametrize("word", ["?", " HELP "])
def test_help_says_the_words_again(talk, word):
    _, script, out = talk("a", word, "b", "c")
    assert (script.kept, out.count("HELP\n"), out.count("Type a or b.")) == ("abc", 1, 2)


@pytest.mark.parametrize("word", ["pause", "Quit", "exit", " q "])
def test_a_pause_ends_it_and_says_so(talk, word):
    done, script, out = talk("a", word, "b")
    assert not done
    assert script.kept == "a"
    assert out.endswith("\nPaused.\n")


def test_no_more_answers_are_a_pause(talk):
    done, script, out = talk("a")
    assert (done, script.kept) == (False, "a")
    assert out.endswith("> \n\nPaused.\n")


def test_second_thoughts_go_to_the_script_as_typed(talk):
    _, script, _ = talk("a", "Undo", "a", "Correct North 2", "b", "c")
    assert script.told == [("undo", "Undo"), ("correct", "north 2", "Correct North 2")]
    assert script.kept == "abc"


def test_every_fault_is_told_and_the_prompt_comes_again(talk):
    _, script, out = talk("undo", "x", "a", "b", "c")
    assert "> undo\n! nothing was answered\n> x\n! that is 'x'; no\n! .x is 1; deeper\n> a" in out
    assert script.kept == "abc"


def test_a_line_longer_than_any_answer_is_none(talk):
    _, script, out = talk("a" * (LONGEST_ANSWER + 1), "a", "b", "c")
    assert f"{LONGEST_ANSWER + 1} characters; write a short answer" in " ".join(out.split())
    assert script.kept == "abc"


def test_an_answer_that_no_disk_takes_ends_the_talk(talk):
    """Else the next line of a file of answers would answer the wrong question."""
    with pytest.raises(NotKeptError):
        talk("a", "full", "b")


def test_a_line_that_was_cut_off_is_no_answer(monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"a\nb")))
    script = Letters()
    assert not hold(Talk(None, quiet=True), script, "Paused.")
    assert script.kept == "a"
    assert capsys.readouterr().out == ""


@pytest.mark.parametrize("source", ["file", "typed"])
def test_answers_without_an_end_are_refused(monkeypatch, source):
    """Every system of this kind has /dev/zero, which never ends."""
    with open("/dev/zero", encoding="utf-8") as zeros:
        monkeypatch.setattr("sys.stdin", zeros)
        with pytest.raises(ScenarioError, match=r"bigger than 1,000,000|goes on for"):
            Talk(Path("/dev/zero") if source == "file" else None, quiet=True).ask("? ")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_answers_are_lines_however_they_end(tmp_path, end):
    path = tmp_path / "answers.txt"
    path.write_bytes(end.join(["\ufeffone", "# a remark", "two", ""]).encode())
    talk = Talk(path, quiet=True)
    assert [talk.ask("? "), talk.ask("? ")] == ["one", "two"]
