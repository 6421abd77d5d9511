"""Whole set-ups on the page, tapped through in a real browser, end as the library's do."""

import numpy as np
import pytest

from dbox.drawings.phone_page import box_page
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Rules
from dbox.files.job_log import event_of
from dbox.files.page_file import page_start, read_saved, take
from dbox.files.scenario import load
from tests.fieldwork import installer

from .browser import Browser, needs_chromium
from .phone import INCH, begin, kept, made, read_all, site_of, typed

pytestmark = [pytest.mark.slow, needs_chromium]


@pytest.fixture(scope="module")
def browser():
    with Browser() as opened:
        yield opened


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
                if page.run("Boolean(document.querySelector('.step'))") and "right" in page.text(
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
    job = setup.replay(job, [event_of(entry, site) for entry in entries])
    assert job.outcome == wanted.outcome
    assert page.faults() == page.requests() == []


def test_a_box_from_nothing_goes_into_a_scenario_and_back(browser, tmp_path):
    page = browser.open(made(tmp_path))
    page.tap(words="A new box")
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


def test_a_box_in_millimetres_is_typed_by_digits(browser, tmp_path):
    page = browser.open(made(tmp_path))
    page.tap(words="A new box")
    page.tap(words="millimetres")
    page.type("#outlets", "2")
    page.type("#size", "44")
    page.type("#offset", "12,5")
    page.tap(words="baffle")
    page.tap("#begin")
    page.tap("#still")
    page.tap("#next")
    for digits in ("12.5", "0"):
        for digit in digits:
            page.tap(f"#key-{'point' if digit == '.' else digit}")
        page.tap("#take")
    assert page.text("h1") == "Turn outlet 2"
    saved = tmp_path / "saved.json"
    page.tap(words="Save or send")
    saved.write_text(str(page.run("document.querySelector('#text').value")), encoding="utf-8")
    job = take(read_saved(saved), tmp_path / "job.toml", "2026-05-04T09:30:00+00:00").job
    assert job.site.metric
    assert [outlet.hole_offset for outlet in job.site.outlets] == [0.0125] * 2
    assert job.now.readings == ((0.0125,), (0.0,))


def test_the_outlet_that_gives_less_than_its_lip_says_is_named(browser, tmp_path):
    """Level lips share a pour equally: three of four catch a third each, one nothing."""
    page = browser.open(made(tmp_path, site_of(4)))
    begin(page)
    page.tap("#still")
    read_all(page, [0.0] * 4)
    page.tap(words="Pour test")
    page.type("#field-volume", "15")
    page.type("#field-time", "60")
    page.type("#field-jug", "4")
    assert "25 %" in page.text(".pour")
    # 15 gal are 60 qt: a third of them in 60 s fills 4 qt in 12 s
    for label in (1, 2, 4):
        page.type(f'[id="field-{label}"]', "12")
    page.tap('[aria-label="Outlet 3 stayed dry"]')
    assert page.text(".finding").startswith("Outlet 3 is odd: it gives less")
    assert "33 %" in page.text(".pour")
    page.reload()
    assert page.text(".finding").startswith("Outlet 3 is odd")
    page.type('[id="field-1"]', "soon")
    assert '"soon": write numbers only' in page.text(".fault")
    assert page.faults() == []
