"""The page of a box to lean: it splits the flow as the library does, and opens as its address says.

The checks that need no browser run its parts in an engine without a document.
"""

import json
import re

import numpy as np
import pytest

from dbox import Circle, Notch, Slot, split
from dbox.drawings.phone_page import bench_of, box_page, lean_data, lesson_page
from dbox.fieldwork.lessons import FILLED, Bench, lesson_site
from dbox.fieldwork.site import Box, Outlet, Site
from dbox.units import DOSE, INCH, LITRE_PER_MINUTE, TRICKLE
from tests.drawings.cases import THREE, box, flows
from tests.drawings.scripts import Script

WICKED = ["</script><b>1", "\u05e7\u05d5 \u0661 \u202e<i>", 'line \U0001f6b0 & "it\'s"']


@pytest.fixture(scope="module")
def script():
    return Script("engine", "scene", "lean")


def held(page: str) -> dict:
    """The data in a page."""
    return json.loads(re.search(r'<script type="application/json"[^>]*>(.*?)</script>', page)[1])


def mixed() -> Site:
    """A box with an outlet capped and every other opening another one; invented."""
    placed = lesson_site(6)
    holes = (Circle(0.05), Notch(np.pi / 3), Slot(0.02), Circle(0.04), Slot(0.03, 0.02), Notch(1.2))
    outlets = tuple(
        Outlet(label=o.label, opening=hole, position=o.position, capped=i == 2)
        for i, (o, hole) in enumerate(zip(placed.outlets, holes, strict=True))
    )
    return Site(box=placed.box, outlets=outlets, flows=flows(THREE))


def settings(bench: Bench, count: int) -> list[dict]:
    """Settings drawn all over what the page offers."""
    rng, data = np.random.default_rng(5), lean_data(bench)
    uncapped = [i for i, o in enumerate(bench.site.outlets) if not o.capped]
    return [
        {
            "right": int(rng.integers(-16, 17)),
            "far": int(rng.integers(-16, 17)),
            "lip": int(rng.integers(-8, 9)),
            "outlet": int(rng.choice(uncapped)),
            "kind": int(rng.integers(len(data["kinds"]))),
            "trench": bool(rng.random() < 0.3),
            "flow": float(np.exp(rng.uniform(np.log(1.0), np.log(120.0)))) * LITRE_PER_MINUTE,
        }
        for _ in range(count)
    ]


def lips(site: Site, now: dict) -> list[float]:
    """Lips of a leaning box, written out: a fall from wall to wall over its own span. [m]"""
    length, width = site.box.inside
    step = INCH / 32
    return [
        np.inf if o.capped else step * (
            now["far"] * (0.5 - o.position[0] / length)
            + now["right"] * (0.5 - o.position[1] / width)
            + (now["lip"] if i == now["outlet"] else 0)
        )
        for i, o in enumerate(site.outlets)
    ]  # fmt: skip


@pytest.mark.parametrize("site", [lesson_site(), lesson_site(20), mixed()])
def test_the_page_splits_as_the_library_does(script, site):
    bench = bench_of(site)
    data = lean_data(bench)
    kinds = [[kind.opening] * len(site.outlets) for kind in bench.kinds]
    if not site.record.invented:
        kinds.insert(0, [o.opening for o in site.outlets])
    assert len(kinds) == len(data["kinds"])
    for now in settings(bench, 25):
        heights = lips(site, now)
        tail = [FILLED if i == now["outlet"] else -np.inf for i in range(len(heights))]
        tails = tail if now["trench"] else None
        one = split(now["flow"], heights, kinds[now["kind"]], tails)
        found = script.call("dbox.lean.waterAt", data, now)
        assert found["level"] == pytest.approx(float(one.level), abs=1e-9)
        assert found["share"] == pytest.approx(one.share, abs=1e-9)
        worst = script.call("dbox.lean.worstOf", data, found["share"])
        targets = np.array([o["target"] for o in data["outlets"]])
        over = np.divide(one.share, targets, out=np.zeros_like(targets), where=targets > 0)
        assert over[worst["place"]] == pytest.approx(over.max(), abs=1e-7)


def test_an_address_opens_the_setting_that_it_was_made_of(script):
    data = lean_data(bench_of(mixed()))
    for now in settings(bench_of(mixed()), 40):
        address = script.call("dbox.lean.addressOf", now)
        # a flow to four digits
        expected = {**now, "flow": pytest.approx(now["flow"], rel=6e-4)}
        assert script.call("dbox.lean.settingOf", data, address) == expected


@pytest.mark.parametrize(
    ("address", "expected"),
    [
        ("right=99&lip=-99", {"right": 16, "lip": -8}),
        ("right=1e3&far=&lip=<b>", {}),
        ("outlet=3&opening=0", {}),
        ("outlet=99&opening=-1&litres=0", {}),
        ("litres=1000000", {"flow": pytest.approx(120 * LITRE_PER_MINUTE)}),
        ("right=__proto__&constructor=1&trench=yes", {}),
    ],
)
def test_what_an_address_says_wrong_is_left_or_held_to_the_slider(script, address, expected):
    """Outlet 3 is capped: nothing can be set at it."""
    data = lean_data(bench_of(mixed()))
    start = script.call("dbox.lean.start", data)
    assert script.call("dbox.lean.settingOf", data, address) == {**start, **expected}


def test_flows_lie_on_the_slider_by_their_logarithm(script):
    data = lean_data(bench_of(None))
    least, most = data["leastFlow"], data["mostFlow"]
    middle = script.call("dbox.lean.flowAt", data, 0.5)
    assert middle == pytest.approx(np.sqrt(least * most), rel=1e-12)
    assert least < TRICKLE < DOSE < most
    for flow in data["flows"]:
        place = script.call("dbox.lean.placeOf", data, flow["inflow"])
        assert script.call("dbox.lean.flowAt", data, place) == pytest.approx(flow["inflow"])


def test_a_flow_of_the_box_beyond_the_slider_widens_it():
    wide = box(3, amounts={"drip": 0.05, "flood": 60.0})
    data = lean_data(bench_of(wide))
    assert [data["leastFlow"], data["mostFlow"]] == [flow.inflow for flow in wide.flows]


@pytest.mark.parametrize(
    ("shares", "full"),
    [([0.05] * 20, 0.1), ([0.25, 0.3, 0.45], 0.5), ([0.2, 0.8], 1.0), ([1.0], 1.0)],
)
def test_bars_have_the_least_full_scale_that_holds_them(script, shares, full):
    assert script.call("dbox.lean.fullScale", shares) == full


def test_a_box_that_cannot_be_leaned_gives_way_to_a_made_up_one():
    unplaced = box(3, placed=False)
    shut = box(2, capped=(0, 1))
    made = Bench(site=lesson_site())
    for site in (None, unplaced, box(21), shut):
        assert bench_of(site) == made
    assert bench_of(box(3, capped=(0,))).outlet == 1
    assert "Invented" in lean_data(made)["notes"][0]


def test_outlets_leave_by_their_wall_or_away_from_the_middle_of_a_round_box():
    ways = [(o["across"], o["along"]) for o in lean_data(bench_of(lesson_site()))["outlets"]]
    assert ways == [(-1.0, 0.0), (0.0, 1.0), (0.0, 1.0), (1.0, 0.0)]
    turned = lean_data(bench_of(box(5, shape="round", size=(18.0,))))["outlets"]
    for outlet in turned:
        away = np.array([outlet["x"], outlet["y"]]) - 9 * INCH
        assert [outlet["across"], outlet["along"]] == pytest.approx(away / (9 * INCH))


@pytest.mark.parametrize("n", [1, 4, 20])
def test_the_page_is_small_and_holds_its_box(n):
    site = lesson_site(n) if n > 1 else box(1)
    page = lesson_page(bench_of(site))
    assert len(page.encode()) <= 300_000
    data = held(page)["lean"]
    assert [o["label"] for o in data["outlets"]] == [o.label for o in site.outlets]
    assert any("Sewer gas kills" in note for note in data["notes"])
    for form in data["forms"]:
        assert np.array(form["outline"])[:, 1].min() == pytest.approx(0.0, abs=1e-4)


def test_labels_in_any_script_and_with_any_markup_stay_text():
    site = box(3, labels=WICKED, title="<h1>\u2028</script>&amp;")
    page = lesson_page(bench_of(site))
    plain = lesson_page(bench_of(box(3)))
    assert page.count("<") == plain.count("<")
    data = held(page)["lean"]
    assert [o["label"] for o in data["outlets"]] == WICKED
    assert data["title"] == site.title


def test_a_box_without_its_inside_measured_has_a_usual_one():
    site = lesson_site()
    bare = Site(box=Box(inlet="turned down"), outlets=site.outlets, flows=site.flows)
    data = lean_data(bench_of(bare))
    assert (data["along"], data["across"]) == (0.4, 0.5)


def test_the_page_at_the_box_holds_its_box_to_lean_and_stays_small():
    site = box(20)
    page = box_page(site, None)
    assert len(page.encode()) <= 300_000
    assert held(page)["lean"] == json.loads(json.dumps(lean_data(bench_of(site))))
