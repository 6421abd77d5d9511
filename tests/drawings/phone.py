"""What the tests of the page at the box share: boxes, taps, and what holds on every screen.

Targets of 48 css px for a thumb (judgement; WCAG 2.2, success criterion 2.5.8, asks for 24);
contrast by the formula of WCAG 2.2, 4.5 to 1 for text and 3 to 1 for large text (1.4.3).
"""

import json
from dataclasses import replace

from dbox import Circle
from dbox.drawings.phone_page import box_page
from dbox.fieldwork.site import ORDINARY_FLOWS, Box, Outlet, Site
from dbox.files.page_file import page_start

INCH = 0.0254


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
        page.tap(words="− below")
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
        if "is that right" in page.text("h1"):
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
