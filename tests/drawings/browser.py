"""A browser that tests drive: Chromium over two pipes, by its DevTools protocol.

Nothing but the standard library. Messages are JSON, each ended by a NUL; what is sent is read by
Chromium from descriptor 3, what it answers comes from descriptor 4.

    with Browser() as browser:
        page = browser.open(path, width=360)
        page.tap("#still")
        page.text("h1")
"""

import base64
import json
import os
import select
import shutil
import subprocess
import tempfile
import time
from pathlib import Path

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
needs_chromium = pytest.mark.skipif(
    CHROMIUM is None, reason="chromium is not installed: apt-get install chromium"
)
LONGEST = 60.0
"""Seconds that an answer may take."""

FLAGS = ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--host-resolver-rules=MAP * ~NOTFOUND", "--remote-debugging-pipe"]  # fmt: skip

WATCHED = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")


class PageError(AssertionError):
    """What the page or the browser did not do."""


class Browser:
    """Chromium with a profile of its own, closed at the end of a `with`."""

    def __init__(self, *flags: str) -> None:
        self._folder = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        ours, theirs = os.pipe(), os.pipe()
        self._to, self._from = theirs[1], ours[0]
        passed = {3: theirs[0], 4: ours[1]}

        def connect() -> None:
            # copies above both numbers first, since one may stand on the other's
            high = {number: os.dup2(each, 100 + number) for number, each in passed.items()}
            for number, each in high.items():
                os.dup2(each, number)

        self._process = subprocess.Popen(
            [CHROMIUM or "chromium", *FLAGS, *flags, f"--user-data-dir={self._folder.name}"],
            preexec_fn=connect, close_fds=False,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        for each in passed.values():
            os.close(each)
        self._held, self._last = b"", 0
        self.events: list[dict] = []

    def __enter__(self) -> "Browser":
        return self

    def __exit__(self, *_: object) -> None:
        try:
            self.send("Browser.close")
            self._process.wait(10)
        except (OSError, PageError, subprocess.TimeoutExpired):
            self._process.kill()
            self._process.wait()
        os.close(self._to)
        os.close(self._from)
        self._folder.cleanup()

    def send(self, method: str, session: str | None = None, **params: object) -> dict:
        """Ask for something and wait for its answer; what happens meanwhile is kept."""
        self._last += 1
        asked = {"id": self._last, "method": method, "params": params}
        if session:
            asked["sessionId"] = session
        content = json.dumps(asked).encode() + b"\0"
        while content:
            content = content[os.write(self._to, content) :]
        while True:
            told = self._next(LONGEST, method)
            if told.get("id") == self._last:
                if "error" in told:
                    raise PageError(f"{method}: {told['error']['message']}")
                return told["result"]

    def _next(self, seconds: float, method: str) -> dict:
        end = time.monotonic() + seconds
        while b"\0" not in self._held:
            left = end - time.monotonic()
            if left <= 0 or not select.select([self._from], [], [], left)[0]:
                raise PageError(f"{method}: no answer in {seconds:g} s")
            more = os.read(self._from, 1 << 20)
            if not more:
                raise PageError(f"{method}: the browser has gone")
            self._held += more
        message, _, self._held = self._held.partition(b"\0")
        told = json.loads(message)
        if "method" in told:
            self.events.append(told)
        return told

    def wait(self, method: str, session: str, after: int) -> None:
        """Wait for an event that came later than those before it."""
        while not any(e["method"] == method and e.get("sessionId") == session
                      for e in self.events[after:]):  # fmt: skip
            self._next(LONGEST, method)

    def open(self, place: Path | str, *, width: int = 360, height: int = 740,
             throttle: float = 1.0, before: str = "", tab: bool = False) -> "Page":  # fmt: skip
        """Open a page in a window of its own; before: a script that runs ahead of the page's.

        tab: Whether it shares its storage with the pages opened before, as a new tab does.
        """
        context = {} if tab else {
            "browserContextId": self.send("Target.createBrowserContext")["browserContextId"]
        }  # fmt: skip
        target = self.send("Target.createTarget", url="about:blank", **context)["targetId"]
        session = self.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self, session, target)
        for domain in ("Page", "Runtime", "Log", "Network", "DOM"):
            page.send(f"{domain}.enable")
        page.size(width, height)
        if throttle != 1.0:
            page.send("Emulation.setCPUThrottlingRate", rate=throttle)
        if before:
            page.send("Page.addScriptToEvaluateOnNewDocument", source=before)
        page.go(place if isinstance(place, str) else place.resolve().as_uri())
        return page


class Page:
    """One page of the browser."""

    def __init__(self, browser: Browser, session: str, target: str) -> None:
        self._browser, self._session, self._target = browser, session, target

    def send(self, method: str, **params: object) -> dict:
        """Ask for something of this page."""
        return self._browser.send(method, self._session, **params)

    def _came(self, *methods: str) -> list[dict]:
        return [e["params"] for e in self._browser.events
                if e.get("sessionId") == self._session and e["method"] in methods]  # fmt: skip

    def size(self, width: int, height: int) -> None:
        """Show it on a screen of this size. [css px]"""
        self.send("Emulation.setDeviceMetricsOverride", width=width, height=height,
                  deviceScaleFactor=2, mobile=width < 700)  # fmt: skip

    def _loaded(self, method: str, **params: object) -> None:
        seen = len(self._browser.events)
        self.send(method, **params)
        self._browser.wait("Page.loadEventFired", self._session, seen)

    def go(self, address: str) -> None:
        """Go to an address and wait until it is there."""
        self._loaded("Page.navigate", url=address)

    def reload(self) -> None:
        """Load it again, as after a killed tab."""
        self._loaded("Page.reload")

    def close(self) -> None:
        """Kill the tab."""
        self._browser.send("Target.closeTarget", targetId=self._target)

    def run(self, script: str) -> object:
        """The value of an expression in the page."""
        told = self.send("Runtime.evaluate", expression=script, returnByValue=True,
                         awaitPromise=True, userGesture=True)  # fmt: skip
        if "exceptionDetails" in told:
            raise PageError(json.dumps(told["exceptionDetails"])[:2000])
        return told["result"].get("value")

    def text(self, selector: str) -> str:
        """What a person reads in an element."""
        found = self.run(f"document.querySelector({json.dumps(selector)})?.innerText")
        if found is None:
            raise PageError(f"there is no {selector} on the page: {self.run('location.hash')}")
        return str(found)

    def until(self, script: str) -> None:
        """Wait until an expression holds in the page."""
        end = time.monotonic() + LONGEST
        while not self.run(script):
            if time.monotonic() > end:
                raise PageError(f"never came true: {script}")

    def tap(self, selector: str = "", words: str = "") -> None:
        """Tap in the middle of an element, found by selector, or a button or link by its words."""
        if words:
            find = (
                f"[...document.querySelectorAll('button, a, summary, label')].find((e) => "
                f"(e.innerText || '').trim() === {json.dumps(words)} && e.getClientRects().length)"
            )
        else:
            find = f"document.querySelector({json.dumps(selector)})"
        place = self.run(
            f"(() => {{ const e = {find}; if (!e || e.disabled) return null;"
            "e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect();"
            "const [x, y] = [r.left + r.width / 2, r.top + r.height / 2];"
            "const hit = document.elementFromPoint(x, y);"
            "return {x, y, hit: e.contains(hit) || Boolean(hit && hit.contains(e))}; })()"
        )
        if not place:
            raise PageError(f"there is no {selector or words} to tap: {self.text('body')[:600]}")
        if not place["hit"]:
            raise PageError(f"{selector or words} is under something else")
        for kind in ("mousePressed", "mouseReleased"):
            self.send("Input.dispatchMouseEvent", type=kind, x=place["x"], y=place["y"],
                      button="left", clickCount=1)  # fmt: skip
        # what the tap started is done once this is answered
        self.run("new Promise((done) => setTimeout(done, 0))")

    def type(self, selector: str, text: str) -> None:
        """Put text into a field, in place of what is there."""
        self.tap(selector)
        self.run(f"document.querySelector({json.dumps(selector)}).select()")
        self.send("Input.insertText", text=text)

    def press(self, key: str) -> None:
        """Press a key, as Tab."""
        for kind in ("keyDown", "keyUp"):
            self.send("Input.dispatchKeyEvent", type=kind, key=key, code=key,
                      windowsVirtualKeyCode={"Tab": 9, "Enter": 13}.get(key, 0),
                      text="\r" if key == "Enter" and kind == "keyDown" else "")  # fmt: skip

    def faults(self) -> list[str]:
        """Errors and warnings that the page gave."""
        self.run("0")
        return [json.dumps(told)[:600] for told in self._came(*WATCHED)]

    def requests(self) -> list[str]:
        """Addresses that the page asked for, itself and what it holds apart."""
        self.run("0")
        asked = [told["request"]["url"] for told in self._came("Network.requestWillBeSent")]
        return [url for url in asked if not url.startswith(("data:", "blob:", "file:"))]

    def picture(self, path: Path, *, whole: bool = True) -> None:
        """Write what it looks like to a PNG file."""
        told = self.send("Page.captureScreenshot", captureBeyondViewport=whole, **(
            {"clip": {**self._extent(), "scale": 1}} if whole else {}))  # fmt: skip
        path.write_bytes(base64.b64decode(told["data"]))

    def _extent(self) -> dict:
        size = self.send("Page.getLayoutMetrics")["cssContentSize"]
        return {"x": 0, "y": 0, "width": size["width"], "height": size["height"]}
