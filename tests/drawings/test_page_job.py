"""A set-up that the page keeps stands where the library's does, answer by answer.

Made-up people (invented) answer at random what is asked, and what is not; each answer is played by
both. The page runs in an embedded JavaScript engine, without a browser.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from py_mini_racer import MiniRacer

from dbox import Circle
from dbox.drawings.phone_page import script, site_data
from dbox.errors import DomainError
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Rules
from dbox.fieldwork.site import ORDINARY_FLOWS, Box, Outlet, Site
from dbox.files.job_log import entry_of

INCH = 0.0254
FEW = 200
"""Drawn boxes for the bands, on which nothing here rests."""

SHELL = "globalThis.dbox = Object.assign(globalThis.dbox || {}, {shell: {data: {kind: 'k'}}});"
DRIVER = """
  const plain = (pass) => ({ ...pass, previous: null, doneAt: null,
    left: [...pass.left.entries()].sort((a, b) => a[0] - b[0]) });
  const each = (text) => {
    const { site, entries } = JSON.parse(text);
    return JSON.stringify(entries.map((_, i) => {
      const state = dbox.job.replay({ site, entries: entries.slice(0, i + 1) });
      return { passes: state.passes.map(plain), closed: state.closed,
        asks: dbox.job.question(state) };
    }));
  };
"""


@pytest.fixture(scope="module")
def page():
    with MiniRacer() as js:
        engine, job = script("engine"), script("job")
        js.eval(f"{engine}\n{SHELL}\n{job}\n{DRIVER}")
        yield js


def box(rng):
    n = int(rng.integers(2, 6))
    outlets = [
        Outlet(label=f"{i + 1}</b>", opening=Circle(1.75 * INCH), hole_offset=INCH / 2,
               clock=None if rng.random() < 0.3 else float(rng.uniform(-3, 3)))
        for i in range(n)
    ]  # fmt: skip
    if n > 2 and rng.random() < 0.5:
        outlets[1] = replace(outlets[1], capped=True)
    return Site(box=Box(inlet="turned down"), outlets=tuple(outlets), flows=ORDINARY_FLOWS,
                mark=INCH / 32)  # fmt: skip


def answer(rng, job):
    """Something that a person may say now, sensible or not."""
    asked, n = job.question, len(job.site.outlets)
    if job.last is not None and rng.random() < 0.12:
        return setup.Undone()
    if asked is None:
        return setup.Undone()
    i = asked.outlet if asked.outlet is not None else int(rng.integers(n))
    if asked.kind == "clock":
        return setup.ClockSet(outlet=i, angle=None if rng.random() < 0.4 else 0.5)
    if asked.kind == "still":
        return setup.Still(method="rule")
    if asked.kind in ("reading", "repeat"):
        if rng.random() < 0.25:
            i = int(rng.integers(n))
        kind = rng.random()
        if kind < 0.1:
            return setup.Skipped(outlet=i)
        if kind < 0.2:
            return setup.Correcting(outlet=i)
        if kind < 0.45 and job.now.readings[i]:
            return setup.Settled(outlet=i)
        count = int(rng.integers(1, 3))
        heights = tuple((rng.integers(0, 10, count) * INCH / 32).tolist())
        return setup.Read(outlet=i, heights=heights, doubtful=bool(rng.random() < 0.15))
    if asked.kind == "confirm":
        return setup.Confirmed(sure=bool(rng.random() < 0.6))
    if rng.random() < 0.1 and not job.now.left:
        return setup.Stuck(outlets=tuple({i, n - 1}))
    if rng.random() < 0.3 and i not in job.now.stuck:
        return setup.Left(outlet=i, angle=None if rng.random() < 0.3 else 1.0)
    if rng.random() < 0.15:
        return setup.Closed()
    return setup.Turned(angles=job.told_angles)


def stands(job):
    """A job in the words of the page."""
    asked = job.question
    kinds = {"repeat": "reading"}
    asks = {"kind": "ended"} if asked is None else {"kind": kinds.get(asked.kind, asked.kind)}
    if asked is not None and asked.outlet is not None:
        asks["outlet"] = asked.outlet
    passes = [
        {
            "number": p.number, "angles": list(p.angles), "readings": [list(r) for r in p.readings],
            "settled": list(p.settled), "method": p.method, "stillAt": p.still_at,
            "doubtful": p.doubtful and {"outlet": p.doubtful[0], "heights": list(p.doubtful[1]),
                                        "all": p.doubtful[2]},
            "correcting": p.correcting, "skipped": list(p.skipped),
            "left": sorted([i, a] for i, a in p.left),
            "turned": None if p.turned is None else list(p.turned),
            "stuck": list(p.stuck), "previous": None, "doneAt": None,
        }
        for p in job.passes
    ]  # fmt: skip
    return {"passes": passes, "closed": job.closed, "asks": asks}


def near(value):
    """The same with numbers told to a nanometre, which is finer than either computes."""
    if isinstance(value, dict):
        return {key: near(each) for key, each in value.items()}
    if isinstance(value, list):
        return [near(each) for each in value]
    return round(value, 9) + 0.0 if isinstance(value, float) else value


@pytest.mark.everyday(2)
@pytest.mark.parametrize("seed", range(40))
def test_every_answer_leads_the_page_where_it_leads_the_library(page, seed):
    rng = np.random.default_rng(seed)
    site = box(rng)
    job, entries, states = setup.begin(site, Rules(samples=FEW)), [], []
    while len(entries) < 45:
        event = answer(rng, job)
        try:
            job = job.after(event)
        except DomainError:
            continue
        entries.append(entry_of(event, site, None))
        states.append(stands(job))
    told = json.dumps({"site": site_data(site, samples=FEW), "entries": entries})
    found = json.loads(page.eval(f"each({json.dumps(told)})"))
    for i, (there, here) in enumerate(zip(found, states, strict=True)):
        for mine, theirs in zip(there["passes"], here["passes"], strict=True):
            for name in theirs:
                assert near(mine[name]) == near(theirs[name]), (name, i, entries[i])
        assert (there["closed"], there["asks"]) == (here["closed"], here["asks"]), (i, entries[i])
