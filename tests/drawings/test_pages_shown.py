"""The film and the box to lean in a real browser: every word can be read, and both can be used."""

from pathlib import Path

import pytest

import dbox
from dbox.drawings.phone_page import bench_of, box_page, lesson_page, save_page
from dbox.drawings.run_page import run_page
from dbox.fieldwork.lessons import lesson_site
from dbox.fieldwork.surge import house_event, run, run_days, side_by_side
from dbox.hydraulics.surge.inflow import steady
from dbox.units import GALLON
from tests.drawings import gallery
from tests.drawings.browser import Browser, needs_chromium
from tests.drawings.cases import GPM, LONG, box, sites

pytestmark = [pytest.mark.slow, needs_chromium]

WICKED = ["</script><b>1", "\u05e7\u05d5 \u0661 \u202e<i>", 'line \U0001f6b0 & "it\'s"']

PAGES = {
    "day": lambda: run_page([run_days(sites()["family-of-four"], 1)]),
    "contrast": lambda: run_page(side_by_side(sites()["family-of-four"], 20 * GALLON)),
    "twenty": lambda: run_page([run(sites()["twenty, no positions"], steady(20 * GPM, 60.0))]),
    "twelve, two capped": lambda: run_page(
        [run(sites()["twelve, two capped"], steady(5 * GPM, 60.0))]
    ),
    "wicked film": lambda: run_page([run(box(3, labels=WICKED), steady(5 * GPM, 60.0))]),
    "lean 4": lambda: lesson_page(bench_of(lesson_site())),
    "lean 20": lambda: lesson_page(bench_of(lesson_site(20))),
    "lean round": lambda: lesson_page(bench_of(sites()["round"])),
    "lean long": lambda: lesson_page(bench_of(box(6, labels=LONG[:6]))),
    "lean wicked": lambda: lesson_page(bench_of(box(3, labels=WICKED, title="<b>&amp;"))),
}

WIDTHS = (360, 390, 768, 1366)

OVERLAPS = """(() => {
  const found = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const parent = node.parentElement;
    if (!node.data.trim() || parent.closest('script, style, select')) continue;
    if (!parent.checkVisibility({ visibilityProperty: true })) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    for (const r of parent instanceof SVGElement ? [parent.getBoundingClientRect()]
      : range.getClientRects()) {
      // letters do not fill the height of their line
      const turned = (parent.getAttribute('transform') || '').startsWith('rotate(-90');
      const [across, up] = turned ? [0.18 * r.width, 0] : [0, 0.18 * r.height];
      found.push({ words: node.data.trim(), left: r.left + across, right: r.right - across,
        top: r.top + up, bottom: r.bottom - up,
        size: parseFloat(getComputedStyle(parent).fontSize) });
    }
  }
  const pairs = [];
  found.forEach((a, i) => found.slice(i + 1).forEach((b) => {
    if (a.left < b.right - 1 && b.left < a.right - 1 && a.top < b.bottom - 1 &&
      b.top < a.bottom - 1) pairs.push(`${a.words} / ${b.words}`);
  }));
  const off = found.filter((a) => a.left < -1 || a.right > innerWidth + 1).map((a) => a.words);
  return { pairs, off, least: Math.min(...found.map((a) => a.size)) };
})()"""
"""Words that lie on others, or off the screen, and the smallest letters."""


@pytest.fixture(scope="module")
def browser():
    with Browser() as browser:
        yield browser


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder, made = tmp_path_factory.mktemp("pages"), {}

    def file(name: str) -> Path:
        if name not in made:
            made[name] = folder / f"{name}.html"
            save_page(PAGES[name](), made[name])
        return made[name]

    return file


def scrub(page, part: float) -> None:
    page.run(
        "(() => { const s = document.querySelector('.w-scrub');"
        f"s.value = {1000 * part}; s.dispatchEvent(new Event('input')); }})()"
    )


def arrow(page, key: str, code: int) -> None:
    for kind in ("rawKeyDown", "keyUp"):
        page.send(
            "Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code
        )


def check(page, width: int) -> None:
    seen = page.run(OVERLAPS)
    assert seen["pairs"] == []
    assert seen["off"] == []
    assert seen["least"] >= 11.0
    assert page.run("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("name", PAGES)
def test_every_word_can_be_read_at_every_width(browser, files, name):
    page = browser.open(files(name))
    for width in WIDTHS:
        page.size(width, 780)
        page.run("new Promise((done) => setTimeout(done, 120))")
        if name.startswith("lean"):
            check(page, width)
        else:
            for part in (0.0, 0.4, 1.0):
                scrub(page, part)
                check(page, width)
    assert page.faults() == []
    assert page.requests() == []
    page.close()


@pytest.mark.parametrize("name", gallery.BOXES)
def test_the_page_and_the_film_of_every_box_can_be_read_on_a_phone(browser, tmp_path, name):
    site = dbox.loads(gallery.scenario(gallery.BOXES[name]))
    film = run_page([run(site, house_event(["shower"]))])
    for file, made in (("box.html", box_page(site, None)), ("film.html", film)):
        save_page(made, tmp_path / file)
        page = browser.open(tmp_path / file)
        page.size(360, 780)
        page.run("new Promise((done) => setTimeout(done, 120))")
        check(page, 360)
    assert "invented" in page.run("document.body.innerText").lower()


FIRST_WORDS = """
  window.firstWords = '';
  new MutationObserver(() => {
    const words = document.querySelector('.w-words');
    window.firstWords = window.firstWords || (words ? words.textContent : '');
  }).observe(document, { subtree: true, childList: true, characterData: true });
"""


def test_a_film_plays_by_itself_to_a_still_that_tells_the_result(browser, files):
    page = browser.open("about:blank", width=768)
    page.send("Page.addScriptToEvaluateOnNewDocument", source=FIRST_WORDS)
    page.go(files("day").as_uri())
    # kept by the page, since a slow machine may be past the opening when it is asked
    assert "Watch" in str(page.run("window.firstWords"))
    page.run("new Promise((done) => setTimeout(done, 4000))")
    first = page.text(".w-time")
    assert first != "0:00:00"
    page.tap(words="Pause")
    held = page.text(".w-time")
    page.run("new Promise((done) => setTimeout(done, 300))")
    assert page.text(".w-time") == held
    page.tap(words="Step on")
    assert page.text(".w-time") > held
    page.run("document.querySelector('.w-scrub').focus()")
    arrow(page, "End", 35)
    assert "outlet 1 gets 50 %" in page.text(".w-words")
    assert "Outlet 1 got" in page.text(".w-state")
    assert page.text(".w-time") == "After 24 h"
    page.tap(words="Play again")
    assert "Watch" in page.text(".w-words")
    assert page.faults() == []
    page.close()


def test_nothing_moves_where_motion_is_unwanted(browser, files):
    page = browser.open("about:blank")
    page.send("Emulation.setEmulatedMedia",
              features=[{"name": "prefers-reduced-motion", "value": "reduce"}])  # fmt: skip
    for name in ("day", "lean 4"):
        page.go(files(name).as_uri())
        page.run("new Promise((done) => setTimeout(done, 3200))")
        if name == "day":
            assert page.text(".w-time") == "0:00:00"
        assert (
            page.run("document.getAnimations().filter((a) => a.playState === 'running').length")
            == 0
        )
    page.send("Emulation.setEmulatedMedia", features=[])
    assert page.run("document.getAnimations().length") > 0
    page.close()


def shares(page) -> list[str]:
    return page.run("[...document.querySelectorAll('.w-share')].map((e) => e.textContent)")


def test_a_guess_comes_before_the_answer(browser, files):
    page = browser.open(files("lean 4").as_uri() + "#lean/right=4", width=390)
    told = shares(page)
    assert [word[-1] for word in told] == ["%"] * 4
    page.tap(words="Guess first")
    assert shares(page) == ["?"] * 4
    assert not any(word[2:] in page.text("main") for word in told)
    assert page.run("[...document.querySelectorAll('.w-stream')].filter((e) =>"
                    "e.checkVisibility({visibilityProperty: true})).length") == 0  # fmt: skip
    page.type("#guess", "many")
    page.press("Enter")
    assert "from 0 to 100" in page.text(".w-fault")
    assert shares(page) == ["?"] * 4
    page.type("#guess", "30,5 %")
    page.press("Enter")
    assert page.text(".w-words").startswith("You said 30.5 %. Line 4 gets")
    assert shares(page) == told
    # the next setting hides it again
    page.run("document.querySelectorAll('.w-range')[1].focus()")
    arrow(page, "ArrowRight", 39)
    assert shares(page) == ["?"] * 4
    assert page.faults() == []
    page.close()


def test_an_address_opens_its_setting_and_follows_it(browser, files):
    start = files("lean 4").as_uri()
    page = browser.open(f"{start}#lean/right=4&far=-2&lip=3&outlet=2&litres=20&opening=3&trench=1")
    told = shares(page)
    assert page.run("document.querySelector('#trench').checked")
    assert page.run("document.querySelector('#opening').value") == "2"
    settle = "new Promise((done) => setTimeout(done, 600))"
    page.run(settle)
    hash_ = page.run("location.hash")
    page.reload()
    assert shares(page) == told
    page.run("document.querySelectorAll('.w-range')[2].focus()")
    arrow(page, "ArrowRight", 39)
    page.run(settle)
    assert page.run("location.hash") == hash_.replace("far=-2", "far=-1")
    page.tap(words="Copy this setting")
    page.run("new Promise((done) => setTimeout(done, 200))")
    assert "address" in page.text(".w-set > .w-small")
    page.tap(words="Level it again")
    page.run(settle)
    assert "right=0&far=0&lip=0" in page.run("location.hash")
    page.close()


def test_the_flow_before_stays_as_a_ghost(browser, files):
    page = browser.open(files("lean 4").as_uri() + "#lean/right=4")
    ghost = "getComputedStyle(document.querySelectorAll('.w-bar-ghost')[3]).width"
    bar = "getComputedStyle(document.querySelectorAll('.w-bar-now')[3]).width"
    before = page.run(bar)
    page.tap(".w-flows button:nth-child(2)")
    assert page.run(ghost) == pytest.approx(before) != page.run(bar)
    assert "Dashed outline: at 0.5 gpm" in page.text(".w-line-shares")
    page.close()


def test_every_control_has_a_name_and_is_reached_by_the_keyboard(browser, files):
    for name in ("day", "lean 4"):
        page = browser.open(files(name), width=390)
        names = page.run("""[...document.querySelectorAll('button, select, input')]
          .filter((e) => e.getClientRects().length)
          .map((e) => e.getAttribute('aria-label') || (e.labels && e.labels[0]?.innerText) ||
            e.innerText)""")
        assert len(names) > 4
        assert all(names)
        reached = set()
        for _ in range(len(names) + 3):
            page.press("Tab")
            reached.add(page.run("document.activeElement.getAttribute('aria-label') || "
                                 "document.activeElement.innerText"))  # fmt: skip
        assert len(reached) >= len(set(names)) - 1
        small = page.run("""[...document.querySelectorAll('button, select, .w-range, .w-tick-box')]
          .filter((e) => e.getClientRects().length && e.getBoundingClientRect().height < 47.5)
          .map((e) => e.outerHTML.slice(0, 80))""")
        assert small == []
        page.close()
