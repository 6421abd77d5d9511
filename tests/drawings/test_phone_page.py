"""The page at the box in a real browser: tapped through, reloaded, squeezed, refused its storage.

Chromium comes from the distribution's packages; without it these tests are skipped. Sizes: targets
of 48 css px (the figure of the brief; WCAG 2.2 asks for 24, success criterion 2.5.8); contrast by
the formula of WCAG 2.2, 4.5 to 1 for text and 3 to 1 for large text (1.4.3).
"""

import json
from dataclasses import replace

import numpy as np
import pytest

from dbox import Circle
from dbox.drawings.phone_page import box_page
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Rules
from dbox.fieldwork.site import ORDINARY_FLOWS, Box, Outlet, Site, Tolerance
from dbox.files.page_file import page_start, read_saved, take
from dbox.files.scenario import load
from tests.fieldwork import installer

from .browser import Browser, needs_chromium

pytestmark = [pytest.mark.slow, needs_chromium]

INCH = 0.0254
WICKED = [
    "</script><img src=x onerror=alert(1)>",
    "\u202e\u05e7\u05d5 3",
    "\U0001f6b0\U0001f469\u200d\U0001f527",
]


@pytest.fixture(scope="module")
def browser():
    with Browser() as opened:
        yield opened


def made(folder, site=None, name="page"):
    """Where a page of a site was written, or of none, opened at its jobs."""
    start, known = (None, None) if site is None else page_start(site, (), "job.toml")
    file = folder / f"{name}.html"
    file.write_text(box_page(start, known), encoding="utf-8")
    return f"{file.as_uri()}#box"


def site_of(n=3, **more):
    """A box with 1-3/4 in holes 1/2 in off their pipes, all straight down."""
    outlets = tuple(
        Outlet(label=str(i + 1), opening=Circle(1.75 * INCH), hole_offset=INCH / 2, clock=0.0)
        for i in range(n)
    )
    site = Site(title="North field", box=Box(inlet="turned down"), outlets=outlets,
                flows=ORDINARY_FLOWS, mark=INCH / 16, spread=INCH / 64)  # fmt: skip
    return replace(site, **more)


def begin(page):
    page.tap(".stack .main-step")


def typed(page, height):
    """Tap a height in 32nds of an inch."""
    parts = round(abs(height) / INCH * 32)
    if height < 0:
        page.tap(words="− below water")
    for _ in range(parts // 32):
        page.tap("#inch-more")
    page.tap(f"#key-{parts % 32 // 2}")
    if parts % 2:
        page.tap("#finer-2")


def read_all(page, heights):
    """Read every outlet once from the step on."""
    page.tap("#next")
    for height in heights:
        typed(page, height)
        page.tap("#take")
        if "meant so" in page.text("h1"):
            page.tap(words="Yes, as typed")
            if page.run("Boolean(document.querySelector('#next'))"):
                page.tap("#next")


def kept(page):
    """The one job in the storage of the page."""
    return json.loads(str(page.run(
        "JSON.stringify(JSON.parse(Object.entries(localStorage).find(([k]) => "
        "k.startsWith('dbox job '))[1]))")))  # fmt: skip


def shown(page):
    """All that a person reads, but for what the last tap did."""
    return page.run(
        "[...document.querySelectorAll('#main > *')].filter((e) => !e.matches('.said'))"
        ".map((e) => e.innerText).join('\\n') + location.hash"
    )


# What a page must not do on any screen, by the rules above.
AUDIT = """(() => {
  const faults = [];
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth) faults.push(`scrolls sideways: ${root.scrollWidth}`);
  const seen = (e) => { const r = e.getBoundingClientRect(); const s = getComputedStyle(e);
    return r.width > 0 && r.height > 0 && s.visibility !== 'hidden' && Number(s.opacity) > 0
      && e.checkVisibility(); };
  const name = (e) =>
    `${e.tagName} ${e.id || (e.getAttribute('aria-label') || e.textContent).slice(0, 40)}`;
  const controls = [...document.querySelectorAll('button, a[href], summary, select, textarea, '
    + 'fieldset label, input:not([type=radio])')].filter(seen);
  for (const e of controls) {
    const r = e.getBoundingClientRect();
    if (Math.min(r.width, r.height) < 47.5) {
      faults.push(`small: ${name(e)} ${r.width} ${r.height}`);
    }
    if (r.left < -0.5 || r.right > root.clientWidth + 0.5) {
      faults.push(`off the screen: ${name(e)}`);
    }
    const told = e.getAttribute('aria-label') || e.textContent.trim()
      || (e.labels && [...e.labels].map((l) => l.textContent).join(''));
    if (!told) faults.push(`no label: ${name(e)}`);
  }
  controls.forEach((a, i) => controls.slice(i + 1).forEach((b) => {
    if (a.contains(b) || b.contains(a)) return;
    const [p, q] = [a.getBoundingClientRect(), b.getBoundingClientRect()];
    const wide = Math.min(p.right, q.right) - Math.max(p.left, q.left);
    const tall = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
    if (wide > 1 && tall > 1) faults.push(`overlap: ${name(a)} and ${name(b)}`);
  }));
  for (const e of document.querySelectorAll('input, textarea, select')) {
    if (seen(e) && !(e.labels && e.labels.length) && !e.getAttribute('aria-label')) {
      faults.push(`no label: ${name(e)}`);
    }
  }
  for (const e of document.querySelectorAll('svg:not([aria-hidden])')) {
    if (!e.getAttribute('aria-label')) faults.push('a drawing without words');
  }
  if (document.querySelectorAll('h1').length !== 1) faults.push('not one heading');
  const parse = (text) => (text.match(/[\\d.]+/g) || []).map(Number);
  const part = (c) => (c / 255 <= 0.04045 ? c / 255 / 12.92 : ((c / 255 + 0.055) / 1.055) ** 2.4);
  const light = ([r, g, b]) => 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  const behind = (e) => {
    for (let at = e; at; at = at.parentElement) {
      const style = getComputedStyle(at);
      const circle = at.matches && at.matches('a.mouth') && at.querySelector('circle');
      if (circle) return parse(getComputedStyle(circle).fill);
      const colour = parse(style.backgroundColor);
      if (colour.length === 3 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const e = node.parentElement;
    if (!node.textContent.trim() || e.closest('script, [disabled]') || !seen(e)) continue;
    const style = getComputedStyle(e);
    const svg = Boolean(e.closest('svg'));
    const [a, b] = [light(parse(svg ? style.fill : style.color)), light(behind(e))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    const size = parseFloat(style.fontSize);
    const large = size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700);
    if (ratio < (large ? 3 : 4.5)) {
      faults.push(`contrast ${ratio.toFixed(1)}: ${node.textContent.slice(0, 30)}`);
    }
    if (size < 12.5) faults.push(`letters of ${size} px: ${node.textContent.slice(0, 30)}`);
  }
  return faults;
})()"""


def tab_order(page):
    """Where the focus goes with Tab, and where the controls stand in the page."""
    wanted = page.run(
        "(() => { const all = [...document.querySelectorAll('button:not(:disabled), a[href], "
        "summary, input, textarea')].filter((e) => e.checkVisibility());"
        "all.forEach((e, i) => { e.dataset.at = i; }); document.body.tabIndex = -1;"
        "document.body.focus(); document.body.removeAttribute('tabindex');"
        "const once = new Set(); return all.filter((e) => { if (e.type !== 'radio') return true;"
        "const group = [...document.getElementsByName(e.name)]; const first = group.find((r) => "
        "r.checked) || group[0]; return e === first; }).map((e) => e.dataset.at); })()"
    )
    went = []
    for _ in wanted:
        page.press("Tab")
        went.append(page.run("document.activeElement.dataset.at"))
    return went, wanted


def screens(page, look):
    """Every screen of a job, from its list to its end; look: what is done at each."""
    page.run("location.hash = ''")
    page.run("0")
    look("front")
    page.tap(".door")
    look("list")
    page.tap(words="A box from nothing")
    look("form")
    page.run("location.hash = '#box'")
    page.tap(words="Open a saved job")
    look("open")
    page.run("location.hash = '#box'")
    page.run("0")
    begin(page)
    look("inlet or still")
    page.tap(words="Turned down")
    page.tap("#still")
    look("to read")
    page.tap("#next")
    look("keys")
    page.tap(words="In millimetres")
    look("digits")
    page.tap(words="In inches")
    typed(page, 3 * INCH)
    page.tap("#take")
    look("doubt")
    page.tap(words="No, read it again")
    for height in (3, 0, 8, 5):
        typed(page, height * INCH / 32)
        page.tap("#take")
    look("turn")
    page.tap(".tabs button:nth-child(2)")
    look("trickle")
    page.tap(words="Why, and what else")
    look("why")
    page.tap(words="Turned otherwise")
    look("face")
    page.tap(words="It was not turned")
    while page.run("Boolean(document.querySelector('#as-told'))"):
        page.tap("#as-told")
    look("turned")
    page.tap("#turned")
    page.tap("#still")
    page.tap(words="Pour test")
    page.type("#field-volume", "5")
    page.type("#field-time", "60")
    page.type("#field-jug", "1")
    page.type('[id="field-1"]', "12")
    look("pour")
    page.tap(words="‹ Back")
    page.tap(words="Record")
    look("record")
    page.tap(words="‹ Back")
    page.tap(words="Save or send")
    look("save")
    page.tap(words="‹ Back")
    page.tap(words="Cautions")
    look("cautions")


@pytest.mark.parametrize(("width", "height"), [(360, 740), (390, 844), (768, 1024), (1366, 768)])
def test_every_screen_fits_and_can_be_read_and_tapped(browser, tmp_path, width, height):
    labels = ["1", "2", "south-west corner", WICKED[1]]
    site = site_of(4, box=Box(), tolerance=Tolerance(share=0.1, source="permit"))
    outlets = tuple(replace(o, label=t) for o, t in zip(site.outlets, labels, strict=True))
    page = browser.open(made(tmp_path, replace(site, outlets=outlets)), width=width, height=height)
    faults = {}

    def look(name):
        if found := page.run(AUDIT):
            faults[name] = found
        went, wanted = tab_order(page)
        if went != wanted:
            faults[f"focus at {name}"] = [went, wanted]

    screens(page, look)
    assert not faults, json.dumps(faults, indent=1)
    assert page.faults() == []
    assert page.requests() == []


@pytest.mark.parametrize("n", [1, 12, 20])
def test_boxes_of_one_to_twenty_outlets_fit_a_phone(browser, tmp_path, n):
    page = browser.open(made(tmp_path, site_of(n)), width=360)
    begin(page)
    page.tap("#still")
    assert page.run(AUDIT) == []
    read_all(page, [i % 5 * INCH / 32 for i in range(n)])
    assert page.run(AUDIT) == []
    assert page.faults() == []


def test_a_reload_after_every_tap_loses_nothing(browser, tmp_path):
    """What stands on the screen after a tap stands there again once the tab was killed."""
    page = browser.open(made(tmp_path, site_of(3, box=Box())), width=360)
    taps = 0
    tap = page.tap

    def tapped(*place, **words):
        nonlocal taps
        tap(*place, **words)
        before = shown(page)
        page.reload()
        assert shown(page) == before, (place, words)
        taps += 1

    page.tap = tapped
    begin(page)
    page.tap(words="Tee")
    page.tap("#still")
    read_all(page, [5 * INCH / 32, 0.0, 11 * INCH / 32])
    page.tap("#as-told")
    page.tap(words="Turned otherwise")
    page.tap("#hour-more")
    page.tap("#set")
    page.tap("#turned")
    page.tap(words="Undo")
    page.tap(words="Pour test")
    page.type("#field-volume", "5")
    before = page.run("document.querySelector('#field-volume').value")
    page.reload()
    assert page.run("document.querySelector('#field-volume').value") == before == "5"
    assert taps > 15
    assert page.faults() == []


def test_several_jobs_stand_side_by_side_in_a_new_tab(browser, tmp_path):
    file = made(tmp_path, site_of(3))
    page = browser.open(file, tab=True)
    page.run("localStorage.clear()")
    for _ in range(2):
        page.run("location.hash = '#box'")
        page.run("0")
        begin(page)
        page.tap("#still")
    page.tap("#next")
    typed(page, INCH / 8)
    page.close()
    page = browser.open(file, tab=True)
    assert page.run("document.querySelectorAll('.jobs li').length") == 2
    page.tap(".jobs li:first-child .door")
    page.tap("#next")
    assert "+1/8 in" in page.text("#typed")
    page.run("location.hash = '#box'")
    for done in ("No, keep it", "Yes, delete it"):
        assert page.run("document.querySelectorAll('.jobs li').length") == 2
        page.tap(".jobs li:first-child .row :last-child")
        page.tap(words=done)
    page.tap(".jobs li:first-child .row :first-child")
    page.type("#field-name", "South <b>field</b>")
    page.tap(words="Done")
    assert page.run("document.querySelectorAll('.jobs li').length") == 1
    assert "South <b>field</b>" in page.text(".jobs strong")
    page.run("localStorage.clear()")
    page.close()


def test_two_tabs_on_one_job_lose_nothing_of_each_other(browser, tmp_path):
    file = made(tmp_path, site_of(3))
    first = browser.open(file, tab=True)
    first.run("localStorage.clear()")
    first.reload()
    begin(first)
    first.tap("#still")
    second = browser.open(file, tab=True)
    second.tap(".jobs .door")
    second.tap("#next")
    typed(second, INCH / 8)
    second.tap("#take")
    first.tap("#next")
    typed(first, INCH / 4)
    first.tap("#take")
    read = [e["readings_m"] for e in kept(first)["entries"] if e["event"] == "read"]
    assert read == [[INCH / 8], [INCH / 4]]
    first.run("localStorage.clear()")
    first.close()
    second.close()


def test_a_damaged_job_hides_no_other_and_what_is_left_of_it_is_shown(browser, tmp_path):
    page = browser.open(made(tmp_path, site_of(2)))
    begin(page)
    page.run("localStorage.setItem('dbox job broken', '{\"name\": \"Mill Lane')")
    page.run("location.hash = '#box'")
    page.run("0")
    assert page.run("document.querySelectorAll('.jobs li').length") == 1
    assert page.run("document.querySelector('#raw-broken').value") == '{"name": "Mill Lane'
    assert page.run(AUDIT) == page.faults() == []


def test_the_inlet_comes_first_and_the_readings_of_a_file_are_offered(browser, tmp_path):
    """A straight inlet is asked to be turned down before the box is filled."""
    heights = [0.0, INCH / 4, INCH / 2]
    site = site_of(3, box=Box(inlet="straight"))
    outlets = tuple(replace(o, readings=(h,)) for o, h in zip(site.outlets, heights, strict=True))
    page = browser.open(made(tmp_path, replace(site, outlets=outlets)))
    begin(page)
    assert page.text("h1") == "Turn the inlet down, or fit a tee"
    assert page.run(AUDIT) == []
    page.tap(words="Go on by the lips alone")
    page.tap("#still")
    page.tap("#next")
    for _ in heights:
        page.tap("#same")
    assert page.text("h1") == "Turn outlet 1"
    read = [e["readings_m"] for e in kept(page)["entries"] if e["event"] == "read"]
    assert read == [[height] for height in heights]
    assert page.faults() == []


FORBIDDEN = """Object.defineProperty(globalThis, 'localStorage',
  { get() { throw new DOMException('denied', 'SecurityError'); } });"""
FULL = """const put = Storage.prototype.setItem; Storage.prototype.setItem = function (key, value) {
  if (key.startsWith('dbox job')) throw new DOMException('full', 'QuotaExceededError');
  put.call(this, key, value); };"""


@pytest.mark.parametrize(("before", "says"), [(FORBIDDEN, "keeps nothing"), (FULL, "is full")])
def test_a_phone_that_keeps_nothing_is_told_and_a_file_takes_its_place(
    browser, tmp_path, before, says
):
    page = browser.open(made(tmp_path, site_of(2)), before=before)
    begin(page)
    assert says in page.text(".notice")
    page.tap("#still")
    read_all(page, [0.0, INCH / 8])
    assert says in page.text(".notice")
    page.tap(words="Save or copy now")
    text = page.run("document.querySelector('#text').value")
    other = browser.open(made(tmp_path, site_of(2)))
    other.tap(words="Open a saved job")
    other.run(f"document.querySelector('#pasted').value = {json.dumps(text)}")
    other.tap("#open")
    assert other.text("h1") == "Turn outlet 1"
    assert page.faults() == other.faults() == []


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"kind": "a film"}', "<b>no</b>"])
def test_a_text_that_is_no_job_is_refused_in_words(browser, tmp_path, text):
    page = browser.open(made(tmp_path))
    page.tap(words="Open a saved job")
    page.run(f"document.querySelector('#pasted').value = {json.dumps(text)}")
    page.tap("#open")
    assert page.text(".fault").endswith((".", "page like this one."))
    assert page.faults() == []


def test_without_a_script_the_page_says_so(browser, tmp_path):
    page = browser.open("about:blank")
    page.send("Emulation.setScriptExecutionDisabled", value=True)
    page.go(made(tmp_path))
    page.send("Emulation.setScriptExecutionDisabled", value=False)
    words = page.run(
        "new Promise((done) => setTimeout(() => { const e = document.querySelector('#asleep');"
        "done(getComputedStyle(e).visibility + e.innerText); }, 2000))"
    )
    assert str(words).startswith("visible")
    assert "script of this page does not run" in str(words)


@pytest.mark.parametrize("words", WICKED)
def test_titles_and_labels_are_only_text(browser, tmp_path, words):
    site = site_of(2, title=words, tolerance=Tolerance(share=0.1, source=words))
    outlets = (replace(site.outlets[0], label=words[:40]), site.outlets[1])
    page = browser.open(made(tmp_path, replace(site, outlets=outlets)))
    assert page.run("document.title") == words
    begin(page)
    page.tap("#still")
    read_all(page, [0.0, INCH / 4])
    assert page.run("document.querySelectorAll('img, iframe, b > img').length") == 0
    assert page.run(f"document.body.innerText.includes({json.dumps(words[:4])})")
    page.tap(words="Record")
    assert page.run(f"document.body.innerText.includes({json.dumps(words)})")
    assert page.run("document.querySelectorAll('img').length") == 0
    assert page.faults() == page.requests() == []


def test_the_policy_lets_nothing_else_run(browser, tmp_path):
    made(tmp_path, site_of(2))
    file = tmp_path / "page.html"
    text = file.read_text(encoding="utf-8")
    leak = "<script>globalThis.leaked = 1</script><img src='https://example.org/x'></body>"
    file.write_text(text.replace("</body>", leak), encoding="utf-8")
    page = browser.open(file)
    assert page.run("typeof leaked") == "undefined"
    assert len(page.faults()) >= 2


def test_it_is_quick_on_a_slow_phone(browser, tmp_path):
    """First paint under 1 s with the processor slowed down four times; the least of a few tries."""
    file = made(tmp_path, site_of(8))
    painted = []
    while len(painted) < 6 and not min(painted, default=1000) < 1000:
        page = browser.open(file, throttle=4.0)
        painted.append(
            page.run(
                "new Promise((done) => new PerformanceObserver((list) => done(list.getEntries()"
                ".find((e) => e.name === 'first-contentful-paint').startTime))"
                ".observe({ type: 'paint', buffered: true }))"
            )
        )
        page.close()
    assert 0 < min(painted) < 1000


def test_an_answer_takes_less_than_50_ms(browser, tmp_path):
    """From the last reading to what is to be done, five outlets under a tolerance.

    The least of many tries, since other work of the machine only adds to it.
    """
    site = site_of(5, tolerance=Tolerance(share=0.1))
    page = browser.open(made(tmp_path, site))
    begin(page)
    page.tap("#still")
    read_all(page, [0.0, INCH / 8, INCH / 16, INCH / 4, INCH / 8])
    spent = page.run(
        "(() => { const job = [...dbox.job.jobs.values()][0]; const spent = [];"
        "for (let k = 0; k < 60 && !(Math.min(...spent) < 50); k += 1) {"
        "const state = dbox.job.replay(job);"
        "state.site = { ...state.site, title: String(k) }; const start = performance.now();"
        "dbox.job.answer(state); spent.push(performance.now() - start); }"
        "return Math.min(...spent); })()"
    )
    assert spent < 50


def by_taps(page, rng, mark, repeats, folder):
    """Set a made-up box up on the page as `installer.guided` sets it up in the library."""
    box = installer.made_up(rng)
    site = installer.scenario(box, mark)
    start, known = page_start(site, (), "job.toml")
    file = folder / "tapped.html"
    file.write_text(box_page(start, known), encoding="utf-8")
    page = page.open(f"{file.as_uri()}#box", width=360)
    begin(page)
    lips, stands, turns, passes = box.lips.copy(), box.clocks.copy(), 0, 0
    while "End the job" not in page.text("#main") or "Nothing to turn yet" in page.text("#main"):
        if page.run("Boolean(document.querySelector('#still'))"):
            read = installer.readings(rng, lips, mark, repeats)
            passes += 1
            page.tap("#still")
            continue
        if page.run("Boolean(document.querySelector('#next'))"):
            page.tap("#next")
            outlet = int(page.run("location.hash").split("/")[-1])
            for k in range(repeats):
                typed(page, read[k, outlet])
                page.tap("#again" if k < repeats - 1 else "#take")
                if page.run("Boolean(document.querySelector('.step'))") and "meant" in page.text(
                    "h1"
                ):
                    page.tap(words="Yes, as typed")
                    break
            page.run("location.hash = location.hash.split('/').slice(0, 2).join('/')")
            page.run("0")
            continue
        before = np.array(
            page.run("dbox.job.now(dbox.job.replay([...dbox.job.jobs.values()][0])).angles")
        )
        while page.run("Boolean(document.querySelector('#as-told'))"):
            page.tap("#as-told")
        page.tap("#turned")
        told = kept(page)["entries"][-1]["angles_rad"]
        after = np.array([told[str(i + 1)] for i in range(lips.size)])
        moved = after != before
        turns += moved.sum()
        left = np.where(moved, after + rng.normal(0.0, installer.HAND, after.size), stands)
        lips = lips + installer.OFFSET * (np.cos(stands) - np.cos(left))
        stands = left
    page.tap(words="End the job")
    return page, site, lips, passes, int(turns)


@pytest.mark.parametrize("box", range(20))
def test_a_set_up_by_taps_ends_as_the_librarys(browser, tmp_path, box):
    mark, repeats = INCH / 32, 1
    wanted = installer.guided(np.random.default_rng((5, box)), mark, repeats)
    page, site, lips, passes, turns = by_taps(
        browser, np.random.default_rng((5, box)), mark, repeats, tmp_path
    )
    assert (passes, turns) == (wanted.passes, wanted.turns)
    assert lips == pytest.approx(wanted.lips, abs=1e-9)
    entries = kept(page)["entries"]
    job = setup.begin(site, Rules(samples=installer.FEW))
    from dbox.files.job_log import event_of

    job = setup.replay(job, [event_of(entry, site) for entry in entries])
    assert job.outcome == wanted.outcome
    assert page.faults() == page.requests() == []


def test_a_box_from_nothing_goes_into_a_scenario_and_back(browser, tmp_path):
    page = browser.open(made(tmp_path))
    page.tap(words="A box from nothing")
    page.type("#name", "12 Mill Lane")
    page.type("#outlets", "north, east, 3")
    page.type("#capped", "3")
    page.type("#size", "1-3/4")
    page.type("#offset", "1/2 in")
    page.type("#tolerance", "10")
    page.type("#source", "permit 7")
    page.tap(words="tee")
    page.reload()
    page.tap("#begin")
    page.tap("#still")
    read_all(page, [INCH / 2, 0.0])
    assert page.text("h1") == "Turn outlet east"
    page.tap(words="Save or send")
    saved = tmp_path / "saved.json"
    saved.write_text(str(page.run("document.querySelector('#text').value")), encoding="utf-8")
    found = take(read_saved(saved), tmp_path / "job.toml", "2026-05-04T09:30:00+00:00")
    site = load(tmp_path / "job.toml")
    assert [o.label for o in site.outlets] == ["north", "east", "3"]
    assert [o.capped for o in site.outlets] == [False, False, True]
    assert (site.box.inlet, site.tolerance.source) == ("tee", "permit 7")
    assert found.job.now.readings[:2] == ((INCH / 2,), (0.0,))
    assert found.job.now.levelling.order[0] == 1
    assert page.faults() == []
