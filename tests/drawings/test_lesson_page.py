"""The page opens in a real browser: its sliders move the water, and nothing leaves it.

Chromium comes from the distribution's packages (`apt-get install chromium`); where it is not
installed, the tests that need it are skipped. The browser's own errands end at its resolver.
"""

import base64
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from dbox import ScenarioError
from dbox.drawings.lesson_view import HIGH, LOW, SECTION, numbers, player_html, save_html
from dbox.fieldwork.lessons import Bench, frames, lesson_site
from dbox.fieldwork.site import Site

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="chromium is not installed: apt-get install chromium"
)

SETTINGS = [
    {"right": 7, "far": 1, "lip": 1, "flow": 2, "kind": 3, "trench": 0},
    {"right": 2, "far": 6, "lip": 5, "flow": 6, "kind": 2, "trench": 1},
]


@pytest.fixture(scope="module")
def shown():
    return frames(Bench(site=lesson_site()))


@pytest.fixture(scope="module")
def page(shown):
    return player_html(shown)


WATCH = """<script>window.addEventListener("load", () => {
  const asked = performance.getEntriesByType("resource").map((entry) => entry.name);
  const told = asked.filter((name) => !name.startsWith("data:")).join(" ") || "nothing";
  document.body.insertAdjacentHTML("beforeend", `<p id="asked">${told}</p>`);
});</script></body>"""
"""Writes on the page what it asked for, once all of that has come or failed."""


class Elements(HTMLParser):
    """Attributes and words of every element that has an id."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: dict[str, dict[str, str]] = {}
        self._last = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):  # noqa: ARG002
        told = dict(attrs)
        self._last = told.get("id", "")
        if self._last:
            self.found[self._last] = {**told, "words": ""}

    def handle_data(self, data):
        if self._last:
            self.found[self._last]["words"] += data

    def handle_endtag(self, tag):  # noqa: ARG002
        self._last = ""


def opened(file: Path, folder: Path, address: str = "") -> tuple[dict, str]:
    """What the page looks like once its script has run, and what the console said."""
    run = subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--single-process", "--no-zygote",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND", "--enable-logging=stderr",
         "--v=0",
         f"--user-data-dir={folder / 'profile'}", "--virtual-time-budget=2000", "--dump-dom",
         f"file://{file}{address}"],
        capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    return Elements(run.stdout).found, run.stderr


def expected(shown, setting: dict[str, int]) -> tuple[float, np.ndarray]:
    """Level and shares at a setting."""
    place = tuple(setting[name] for name in ("kind", "trench", "flow", "far", "right", "lip"))
    return float(shown.level[place]), shown.share[place]


def check(found: dict, shown, setting: dict[str, int]) -> None:
    level, share = expected(shown, setting)
    y = pytest.approx((HIGH - level) / (HIGH - LOW) * SECTION, abs=0.1)
    assert float(found["water"]["y"]) == y
    assert float(found["level"]["y1"]) == y
    for i, one in enumerate(share):
        assert found[f"share{i}"]["words"] == f"{100 * round(float(one), 4):.0f} %"
        assert float(found[f"bar{i}"]["height"]) == pytest.approx(110 * one, abs=0.02)


@needs_chromium
def test_the_page_shows_what_was_computed(page, shown, tmp_path):
    setting = SETTINGS[0]
    file = tmp_path / "page.html"
    save_html(page, file)
    address = "#" + "&".join(f"{name}={value}" for name, value in setting.items())
    found, console = opened(file, tmp_path, address)
    check(found, shown, setting)
    assert "CONSOLE" not in console


@pytest.mark.slow
@needs_chromium
def test_a_slider_moves_the_water_and_nothing_leaves_the_page(page, shown, tmp_path):
    drive = """<script>
    const before = document.getElementById("water").getAttribute("y");
    for (const [name, value] of Object.entries(SETTING)) {
      const control = document.getElementById(name);
      if (name === "trench") control.checked = value === 1; else control.value = value;
      control.dispatchEvent(new Event("input", { bubbles: true }));
    }
    document.body.insertAdjacentHTML("beforeend", `<p id="before">${before}</p>`);
    </script>""".replace("SETTING", json.dumps(SETTINGS[1]))
    file = tmp_path / "driven.html"
    save_html(page.replace("</body>", drive + WATCH), file)
    found, console = opened(file, tmp_path)
    check(found, shown, SETTINGS[1])
    assert found["before"]["words"] != found["water"]["y"]
    assert "CONSOLE" not in console
    assert found["asked"]["words"] == "nothing"


@pytest.mark.slow
@needs_chromium
def test_a_broken_page_would_be_heard_of(page, tmp_path):
    """The check of the console itself: a script that fails is told there."""
    file = tmp_path / "broken.html"
    save_html(page.replace("fromAddress();\n", "noSuchThing();\n"), file)
    assert "CONSOLE" in opened(file, tmp_path)[1]


@pytest.mark.slow
@needs_chromium
def test_a_page_that_asks_for_something_is_held_back_and_heard_of(page, tmp_path):
    """The check of requests itself; and the page's own rule, which forbids them."""
    leak = '<img src="http://127.0.0.1:9/leak.png">'
    file = tmp_path / "leaks.html"
    save_html(page.replace("</body>", leak + WATCH), file)
    assert "Content Security Policy" in opened(file, tmp_path)[1]
    free = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    save_html(free.replace("</body>", leak + WATCH), file, overwrite=True)
    assert "leak.png" in opened(file, tmp_path)[0]["asked"]["words"]


def test_the_numbers_are_the_frames_to_their_step(shown):
    counts = np.frombuffer(base64.b64decode(numbers(shown)), "<u2").astype(float)
    counts = counts.reshape(*shown.level.shape, -1)
    assert (counts[..., 0] - 20_000) * 1e-5 == pytest.approx(shown.level, abs=0.6e-5)
    assert counts[..., 1:] * 1e-4 == pytest.approx(shown.share, abs=0.6e-4)


def test_the_page_names_no_other_place(page):
    assert re.findall(r"""(?:src|href)\s*=\s*["'](?!data:)""", page) == []
    assert "http:" not in page
    assert "https:" not in page
    assert "default-src 'none'" in page
    assert "Sewer gas kills" in page
    assert "Invented" in page


def test_a_label_cannot_leave_its_place():
    site = lesson_site(2)
    wicked = "</script><b>\"'&"
    outlets = (site.outlets[0], type(site.outlets[1])(**{**vars(site.outlets[1]), "label": wicked}))
    box = Site(title=wicked, box=site.box, outlets=outlets, flows=site.flows)
    page = player_html(
        frames(Bench(site=box, outlet=1), inflows=(1e-4,), leans=(0.0,), lips=(0.0,))
    )
    assert page.count("</script>") == 1
    assert "<b>" not in page


def test_a_page_is_named_as_one_and_not_replaced(tmp_path):
    file = tmp_path / "page.html"
    save_html("one", file)
    with pytest.raises(ScenarioError, match="not replaced"):
        save_html("two", file)
    assert file.read_text() == "one"
    with pytest.raises(ScenarioError, match=r"ends in \.html"):
        save_html("three", tmp_path / "page.htm")
